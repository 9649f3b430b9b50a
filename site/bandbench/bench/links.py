"""Links: what the address of the bench can fix, written and read in this one place.

Contents: `PARAMETERS` (every parameter with what it means), `Link`, `parse_link`, `format_link`, `LinkError`.

Everything stands in the query of the page's address. Nothing in it is guessed: a link is used as a whole or refused as
a whole, with a sentence that says what is wrong where and what to do; the bench then opens as it does without a link.

    ?lesson=tracking-and-guide&seed=7&help=hints-1,why
    ?mode=practise&practice=625%20high-band
    ?title=Second%20week&due=Friday&lessons=tracking-and-guide:7,rf-envelope&help=hints-1
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from urllib.parse import parse_qsl, quote, urlencode

from bandbench.bench.bench import MODES
from bandbench.bench.words import say
from sim.errors import known_names
from sim.recorder import NORMAL_PRACTICE
from sim.standards import PRACTICES, STANDARDS
from sim.training.assignment import LANGUAGES, Assignment, Task, assignment_of, language_of, task_of
from sim.training.help import FULL_HELP, Help
from sim.training.lesson import Lesson
from sim.training.reader import DataError, Problem, Table

__all__ = ["FOREIGN", "LONGEST_LINK", "PARAMETERS", "Link", "LinkError", "format_link", "parse_link"]

LONGEST_LINK = 4_000
"""Characters of a query. What is longer would be cut short by mail programs and servers: use a file."""

PARAMETERS: Mapping[str, str] = MappingProxyType(
    {
        "lesson": "id of a lesson (the course lists them: `bandbench lessons list`)",
        "seed": "its variation: a whole number from 0; one of chance if left out",
        "help": "what is permitted, joined by commas: hints-1, hints-2 or hints-3 (to that level), worked (worked "
        "steps), why (why views), glossary (reference pages), or none alone; everything the lesson offers if left out",
        "lessons": "an assignment: ids joined by commas, each with :SEED behind it if its variation is fixed, and "
        ":HELP behind that (its words joined by dots) if its help is another than `help` says",
        "title": "title of the assignment",
        "due": "until when, in words",
        "mode": f"what the bench opens for, without a lesson: {', '.join(MODES)}",
        "standard": f"{', '.join(STANDARDS)}; free where no lesson fixes it: with mode=practise or mode=demonstrate",
        "practice": "recording practice; free in the same places",
        "language": f"{', '.join(LANGUAGES)}; each reader's own if left out",
    }
)
"""Every parameter of a link, and what it can be."""

FOREIGN = frozenset({"endpoint", "fetch", "actor", "registration", "activityId"})
"""Parameters that a learning management system adds when it launches a package (PUB, cmi5 specification, section 8.1):
others read them."""

_NO_LESSON = ("practise", "demonstrate")
_SOURCE = say("refused.link")
_REMEDY = say("refused.link_do")
_DIGITS = re.compile(r"[0-9]{1,16}")
_SEPARATORS = ":,/"


class LinkError(DataError):
    """A link cannot be used as it is; `problem` says which parameter, why and what to do."""


@dataclass(frozen=True)
class Link:
    """What a link fixes: one task, or an assignment, or a use of the open bench, or the language alone.

    Attributes
    ----------
    task : Task or None
        One lesson with variation and help.
    assignment : Assignment or None
        Lessons for a class.
    mode : str
        One of `MODES`, or empty.
    practice : str
        Recording practice of the open bench, and with it the standard; empty for the usual one.
    language : str
        One of `LANGUAGES`, or empty: each reader's own.
    """

    task: Task | None = None
    assignment: Assignment | None = None
    mode: str = ""
    practice: str = ""
    language: str = ""


def _refusal(key: str, reason: str, remedy: str = _REMEDY) -> LinkError:
    return LinkError(Problem(_SOURCE, key, reason, remedy))


def parse_link(query: str, lessons: Mapping[str, Lesson]) -> Link | None:
    """Return what the query of an address fixes; None if it says nothing.

    Parameters
    ----------
    query : str
        With or without its question mark.
    lessons : mapping of str to Lesson
        The lessons there are, by id.

    Raises
    ------
    LinkError
        If any part of it is not as it must be; nothing of it is used then.

    Examples
    --------
    >>> parse_link("?mode=practise", {}).mode
    'practise'
    """
    given = _parameters(query.removeprefix("?"))
    if not given:
        return None
    if "lessons" in given:
        _only(given, "lessons", ("lessons", "title", "due", "help", "language"))
        return _assignment_link(given, lessons)
    if "lesson" in given:
        _only(given, "lesson", ("lesson", "seed", "help", "standard", "practice", "language"))
        return _lesson_link(given, lessons)
    for key, needs in (("seed", "lesson"), ("help", "lesson"), ("title", "lessons"), ("due", "lessons")):
        if key in given:
            raise _refusal(key, say("refused.without", needs=needs), say("refused.without_do", needs=needs, name=key))
    return _open_link(given)


def _parameters(query: str) -> dict[str, str]:
    """Return each parameter once, all of them known."""
    if len(query) > LONGEST_LINK:
        raise _refusal(
            say("refused.whole_link"),
            say("refused.long_link", count=len(query)),
            say("refused.long_link_do", most=LONGEST_LINK),
        )
    if not query:
        return {}
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=True, encoding="utf-8", errors="strict")
    except ValueError:
        raise _refusal(say("refused.whole_link"), say("refused.no_list")) from None
    given: dict[str, str] = {}
    for key, value in pairs:
        if key in FOREIGN:
            continue
        if key not in PARAMETERS:
            shown = key if key.strip() and key.isprintable() and len(key) <= 40 else f"{key[:40]!r}"
            raise _refusal(
                shown, say("refused.no_parameter"), say("refused.no_parameter_do", names=known_names(PARAMETERS))
            )
        if key in given:
            raise _refusal(key, say("refused.twice"), say("refused.twice_do"))
        given[key] = value
    return given


def _only(given: Mapping[str, str], what: str, allowed: tuple[str, ...]) -> None:
    for key in given:
        if key not in allowed:
            raise _refusal(
                key,
                say("refused.not_with", what=what),
                say("refused.not_with_do", what=what, names=known_names(allowed[1:])),
            )


def _whole(text: str, key: str) -> int:
    if not _DIGITS.fullmatch(text):
        raise _refusal(key, say("refused.no_digits", text=_shown(text)), say("refused.no_digits_do"))
    return int(text)


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else f"{text[:37]}...")


def _table(data: Mapping[str, object]) -> Table:
    return Table(data, _SOURCE, "", LinkError, None)


def _lesson_link(given: Mapping[str, str], lessons: Mapping[str, Lesson]) -> Link:
    data: dict[str, object] = {"lesson": given["lesson"]}
    if "seed" in given:
        data["seed"] = _whole(given["seed"], "seed")
    if "help" in given:
        data["help"] = given["help"].split(",")
    task = task_of(_table(data), lessons)
    lesson = lessons[task.lesson]
    for key, own in (("standard", lesson.standard), ("practice", lesson.practice)):
        if key in given and given[key] != own:
            raise _refusal(
                key,
                say("refused.lessons_own", given=_shown(given[key]), lesson=lesson.id, own=own),
                say("refused.remove_do", name=key),
            )
    return Link(task=task, language=language_of(_table(given)))


def _assignment_link(given: Mapping[str, str], lessons: Mapping[str, Lesson]) -> Link:
    rows = []
    for place, item in enumerate(given["lessons"].split(","), start=1):
        name, *rest = item.split(":")
        row: dict[str, object] = {"lesson": name}
        if len(rest) > 2:
            raise _refusal(f"lessons[{place}]", say("refused.colons", item=_shown(item)), say("refused.colons_do"))
        if rest and rest[0]:
            row["seed"] = _whole(rest[0], f"lessons[{place}].seed")
        if len(rest) == 2:
            row["help"] = rest[1].split(".")
        elif "help" in given:
            row["help"] = given["help"].split(",")
        rows.append(row)
    words = {key: given[key] for key in ("title", "due", "language") if key in given}
    assignment = assignment_of(_table({**words, "lessons": rows}), lessons)
    return Link(assignment=assignment, language=assignment.language)


def _open_link(given: Mapping[str, str]) -> Link:
    table = _table(given)
    mode = table.choice("mode", MODES) if "mode" in table else ""
    practice = table.choice("practice", PRACTICES) if "practice" in table else ""
    if "standard" in table:
        standard = table.choice("standard", STANDARDS)
        if practice and PRACTICES[practice].standard != standard:
            raise _refusal(
                "practice", say("refused.practice", practice=practice, standard=standard), say("refused.practice_do")
            )
        practice = practice or NORMAL_PRACTICE[standard]
    if practice and mode not in _NO_LESSON:
        raise _refusal(
            "practice" if "practice" in table else "standard",
            say("refused.fixed"),
            say("refused.fixed_do"),
        )
    return Link(mode=mode, practice=practice, language=language_of(table))


def format_link(link: Link) -> str:
    """Return the query, without its question mark, that `parse_link` reads as this link.

    Raises
    ------
    LinkError
        If it would be too long to travel; give the assignment as a file then.

    Examples
    --------
    >>> format_link(Link(task=Task("tracking-and-guide", 7, Help(1, False, True, False))))
    'lesson=tracking-and-guide&seed=7&help=hints-1,why'
    """
    given: dict[str, str] = {}
    if link.task is not None:
        given["lesson"] = link.task.lesson
        if link.task.seed is not None:
            given["seed"] = str(link.task.seed)
        if link.task.help != FULL_HELP:
            given["help"] = ",".join(link.task.help.words)
    elif link.assignment is not None:
        given |= _assignment_words(link.assignment)
    if link.mode:
        given["mode"] = link.mode
    if link.practice:
        given["practice"] = link.practice
    if link.language:
        given["language"] = link.language
    query = urlencode(given, quote_via=quote, safe=_SEPARATORS)
    if len(query) > LONGEST_LINK:
        raise _refusal(say("refused.whole_link"), say("refused.long_link", count=len(query)), say("refused.as_file_do"))
    return query


def _assignment_words(assignment: Assignment) -> dict[str, str]:
    words = {"title": assignment.title}
    if assignment.due:
        words["due"] = assignment.due
    common = assignment.tasks[0].help
    if any(task.help != common for task in assignment.tasks):
        common = FULL_HELP
    words["lessons"] = ",".join(_item(task, common) for task in assignment.tasks)
    if common != FULL_HELP:
        words["help"] = ",".join(common.words)
    return words


def _item(task: Task, common: Help) -> str:
    seed = "" if task.seed is None else f":{task.seed}"
    if task.help == common:
        return f"{task.lesson}{seed}"
    return f"{task.lesson}{seed or ':'}:{'.'.join(task.help.words)}"
