"""What an instructor sets: a lesson with its variation and the help that is permitted, alone or in a list for a class.

Contents: `Task` (one lesson to be done), `Assignment` (a titled list of them), the strict readers `task_of`,
`assignment_of` and `assignment_from_text` (a file, TOML or JSON), `help_breaches` (what a log shows beyond the help)
and `score_within`, `TaskState` and `task_state`. What help there is: `sim.training.help`.

A file looks so; ``due``, ``language``, ``seed`` and ``help`` may be left out::

    format_version = 1
    title = "Second week"
    due = "Friday, 4 December"
    language = "en"

    [[lessons]]
    lesson = "tracking-and-guide"
    seed = 7
    help = ["hints-1", "why"]
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from types import MappingProxyType

from sim.errors import known_names
from sim.training.attempt import ActDone, Attempt, ControlMoved, HintOpened
from sim.training.help import FULL_HELP, Help, help_of
from sim.training.lesson import Lesson
from sim.training.parts import IDENTIFIER, LARGEST_SEED
from sim.training.progress import Outcome
from sim.training.reader import DataError, Problem, Table, file_table
from sim.training.score import Score
from sim.wording import wording

__all__ = [
    "ASSIGNMENT_FORMAT_VERSION",
    "LANGUAGES",
    "LARGEST_ASSIGNMENT",
    "LONGEST_TITLE",
    "MOST_TASKS",
    "Assignment",
    "AssignmentError",
    "Task",
    "TaskState",
    "assignment_from_text",
    "assignment_of",
    "help_breaches",
    "language_of",
    "score_within",
    "task_of",
    "task_state",
]

ASSIGNMENT_FORMAT_VERSION = 1
"""The format of assignment files that is read and written here."""

LANGUAGES: Mapping[str, str] = MappingProxyType({"en": "English", "de": "Deutsch"})
"""Languages the bench speaks: tag and name."""

LONGEST_TITLE = 100
"""Characters of an assignment's title, and of the words that say when it is due."""
MOST_TASKS = 60
"""Lessons of one assignment."""
LARGEST_ASSIGNMENT = 100_000
"""Characters of an assignment file: many times what `MOST_TASKS` lessons take."""


class AssignmentError(DataError):
    """An assignment cannot be used as it is written."""


@dataclass(frozen=True)
class Task:
    """One lesson to be done: its id, its variation (None: one of chance), the help that is permitted."""

    lesson: str
    seed: int | None = None
    help: Help = FULL_HELP

    def to_data(self) -> dict[str, object]:
        """Return the task as a file holds it; what says nothing is left out."""
        data: dict[str, object] = {"lesson": self.lesson}
        if self.seed is not None:
            data["seed"] = self.seed
        if self.help != FULL_HELP:
            data["help"] = list(self.help.words)
        return data


@dataclass(frozen=True)
class Assignment:
    """Lessons for a class.

    Attributes
    ----------
    title : str
        As typed; data, never markup.
    tasks : tuple of Task
        What is to be done, in this order; no two alike.
    due : str
        Until when, in words; empty if nothing is said. Nobody reads a date from it.
    language : str
        One of `LANGUAGES`, or empty: each learner's own.
    """

    title: str
    tasks: tuple[Task, ...]
    due: str = ""
    language: str = ""

    def to_data(self) -> dict[str, object]:
        """Return the assignment as plain tables."""
        data: dict[str, object] = {"format_version": ASSIGNMENT_FORMAT_VERSION, "title": self.title}
        if self.due:
            data["due"] = self.due
        if self.language:
            data["language"] = self.language
        return {**data, "lessons": [task.to_data() for task in self.tasks]}

    def to_toml(self) -> str:
        """Return the assignment as the text of a file."""
        data = self.to_data()
        tasks = [task.to_data() for task in self.tasks]
        parts = [_toml_lines({key: value for key, value in data.items() if key != "lessons"})]
        parts += [f"[[lessons]]\n{_toml_lines(task)}" for task in tasks]
        return "\n".join(parts)


def _toml_lines(table: Mapping[str, object]) -> str:
    # A text of JSON is a basic string of TOML as well, and so are its lists and whole numbers.
    return "".join(f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in table.items())


# Reading ----------------------------------------------------------------------------------------------------


TASK_KEYS = ("lesson", "seed", "help")


def task_of(table: Table, lessons: Mapping[str, Lesson]) -> Task:
    """Return the task that a table (keys `TASK_KEYS`) describes; its lesson must be one of `lessons`."""
    name = table.text("lesson", IDENTIFIER)
    if name not in lessons:
        near = get_close_matches(name, lessons, n=3)
        if near:
            remedy = wording("refusal.no_such_lesson_near", names=known_names(near))
        else:
            remedy = wording("refusal.no_such_lesson_do")
        raise table.refusal("lesson", wording("refusal.no_such_lesson", name=name), remedy)
    return Task(
        lesson=name,
        seed=table.whole_number("seed", 0, LARGEST_SEED) if "seed" in table else None,
        help=help_of(table) if "help" in table else FULL_HELP,
    )


def language_of(table: Table) -> str:
    """Return the language a table asks for; empty if it asks for none."""
    return table.choice("language", LANGUAGES) if "language" in table else ""


def _line(table: Table, key: str) -> str:
    text = table.text(key)
    if len(text) > LONGEST_TITLE:
        raise table.refusal(
            key, wording("refusal.long_line", count=len(text)), wording("refusal.long_line_do", most=LONGEST_TITLE)
        )
    if not text.isprintable() or text != text.strip():
        raise table.refusal(
            key,
            wording("refusal.odd_line"),
            wording("refusal.odd_line_do"),
        )
    return text


ASSIGNMENT_KEYS = ("format_version", "title", "due", "language", "lessons")


def assignment_of(table: Table, lessons: Mapping[str, Lesson]) -> Assignment:
    """Return the assignment that a table describes (``title``, ``due``, ``language``, ``lessons``)."""
    rows = table.tables("lessons", TASK_KEYS, 1)
    if len(rows) > MOST_TASKS:
        raise table.refusal(
            "lessons",
            wording("refusal.too_many_lessons", count=len(rows)),
            wording("refusal.too_many_lessons_do", most=MOST_TASKS),
        )
    tasks: list[Task] = []
    for row in rows:
        task = task_of(row, lessons)
        if task in tasks:
            raise row.refusal("", wording("refusal.task_twice", lesson=task.lesson), wording("refusal.twice_do"))
        tasks.append(task)
    return Assignment(
        title=_line(table, "title"),
        tasks=tuple(tasks),
        due=_line(table, "due") if "due" in table else "",
        language=language_of(table),
    )


def _toml(text: str) -> object:
    # Only a file asks for it: the page starts without.
    import tomllib

    return tomllib.loads(text)


def assignment_from_text(text: str, source_name: str, lessons: Mapping[str, Lesson]) -> Assignment:
    """Return the assignment in a file.

    Parameters
    ----------
    text : str
        What it holds: JSON if its name ends in ``.json``, else TOML.
    source_name : str
        The file's name.
    lessons : mapping of str to Lesson
        The lessons there are, by id.

    Raises
    ------
    AssignmentError
        If it is not an assignment that can be done here; nothing of it is used then.
    """

    def refuse(reason: str, remedy: str) -> AssignmentError:
        return AssignmentError(Problem(source_name, wording("refusal.whole_file"), reason, remedy))

    if len(text) > LARGEST_ASSIGNMENT:
        raise refuse(
            wording("refusal.too_long", count=len(text)), wording("refusal.long_assignment_do", most=LARGEST_ASSIGNMENT)
        )
    form = "JSON" if source_name.lower().endswith(".json") else "TOML"
    try:
        data = json.loads(text) if form == "JSON" else _toml(text)
    except (ValueError, RecursionError) as problem:
        raise refuse(wording("refusal.not_form", form=form, error=problem), wording("refusal.not_form_do")) from None
    table = file_table(data, source_name, AssignmentError, ASSIGNMENT_KEYS, ASSIGNMENT_FORMAT_VERSION)
    return assignment_of(table, lessons)


# What has become of it --------------------------------------------------------------------------------------


def help_breaches(permitted: Help, attempt: Attempt) -> tuple[str, ...]:
    """Return what a log shows that was not permitted, in sentences; the bench itself lets none of it happen."""
    found = []
    highest = max((event.level for event in attempt.events if isinstance(event, HintOpened)), default=0)
    if highest > permitted.hints:
        key = "help.hint_beyond" if permitted.hints else "help.hint_at_all"
        found.append(wording(key, level=highest, permitted=permitted.hints))
    shown = any(isinstance(event, ControlMoved | ActDone) and event.shown for event in attempt.events)
    if shown and not permitted.worked:
        found.append(wording("help.lesson_did_step_but"))
    return tuple(found)


def score_within(score: Score, permitted: Help, attempt: Attempt) -> Score:
    """Return the score of an attempt, not passed if its log shows more help than was permitted, with that as reason."""
    breaches = help_breaches(permitted, attempt)
    if not breaches:
        return score
    # The last part is that of order and care (`sim.training.score.PARTS`).
    care = score.parts[-1]
    parts = (*score.parts[:-1], replace(care, passed=False, sentences=(*care.sentences, *breaches)))
    return replace(score, passed=False, reason=" ".join((score.reason, *breaches)), parts=parts)


@dataclass(frozen=True)
class TaskState:
    """How a task stands.

    Attributes
    ----------
    task : Task
        Which.
    attempts : int
        Submitted attempts at it that count: of its lesson and variation, with no more help than it permits.
    done_s : float or None
        When the first of them passed, on the clock of the outcomes [s]; None if none did.
    """

    task: Task
    attempts: int
    done_s: float | None


def task_state(task: Task, outcomes: Iterable[tuple[Outcome, Help]]) -> TaskState:
    """Return how a task stands.

    Parameters
    ----------
    task : Task
        Which.
    outcomes : iterable of (Outcome, Help)
        The learner's attempts, each with the help that was permitted in it.
    """
    counted = [
        outcome
        for outcome, permitted in outcomes
        if outcome.lesson_id == task.lesson
        and task.seed in (None, outcome.seed)
        and permitted.within(task.help)
        and outcome.submitted
    ]
    passes: Sequence[float] = [outcome.when_s for outcome in counted if outcome.passed]
    return TaskState(task, len(counted), min(passes, default=None))
