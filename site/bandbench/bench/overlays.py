"""Texts of data files in other languages: which values are texts, and putting another language's in their place.

Contents: `data_texts` (the texts of a file by key), `with_texts` (the file with other ones), `placeholders`,
`PLACEHOLDER`, `text_digest`; `translated` and `data_language` (what the bench reads).

A text's key is its path in the file, the parts joined by dots; what stands in a list is named by its ``name``, ``id``
or ``term`` where it has one, else by its place from 1: ``steps.3.expect``, ``checks.rf_level.title``. Names, numbers
and units are no texts: they are the same in every language, and so are logs and scores. The options of a question are
what a log holds, so they stay, too; what is shown for them is put beside them (`sim.training.parts.Question.shown`).
"""

from __future__ import annotations

import copy
import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Any

from bandbench.bench.datafiles import FOLDER
from bandbench.bench.languages import ENGLISH, LANGUAGE, language_texts

__all__ = [
    "PLACEHOLDER",
    "data_language",
    "data_texts",
    "placeholders",
    "shown_options",
    "text_digest",
    "texts_of",
    "translated",
    "with_texts",
]

_LESSON = (
    "title", "briefing", "objectives.[]", "cautions.[]", "references.[]",
    "steps.[].title", "steps.[].text", "steps.[].expect", "checks.[].title", "checks.[].source",
    "questions.[].title", "questions.[].text", "questions.[].explain", "questions.[].source",
    "hints.symptom", "hints.cause", "hints.step", "debrief.what", "debrief.why", "debrief.next", "debrief.chain.[]",
    "solution.[].text", "forbidden.[].reason",
)  # fmt: skip
_TEXTS: Mapping[str, tuple[str, ...]] = {
    "course.toml": ("title", "groups.[].title", "groups.[].text"),
    "faults.toml": (
        "faults.[].title", "faults.[].description", "faults.[].symptoms.*",
        "faults.[].proof.[].words", "faults.[].look_alikes.[].tell", "faults.[].remedy.text",
    ),
    "glossary.toml": ("terms.[].term", "terms.[].meaning", "terms.[].source"),
    "demonstrations": ("title", "cues.[].title", "cues.[].caption", "cues.[].notes", "cues.[].expect.[].words"),
}  # fmt: skip
_OPTIONS = "questions.[].options.[]"
_NAMED_BY = ("name", "id", "term")
PLACEHOLDER = re.compile(r"\{(\w*)\}")
"""What is filled in into a text."""
_DIGEST_LENGTH = 8


def _patterns(name: str) -> tuple[str, ...]:
    path = PurePosixPath(name)
    return _TEXTS.get(path.name, _TEXTS.get(path.parent.name, _LESSON))


def _places(value: Any, parts: Sequence[str], lead: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Yield key, container and index of every text that a pattern names."""
    part, rest = parts[0], parts[1:]
    found: list[tuple[str, Any]]
    if part == "[]":
        found = [(_named(item, place), place - 1) for place, item in enumerate(value, start=1)]
    elif part == "*":
        found = [(key, key) for key in value]
    else:
        found = [(part, part)] if part in value else []
    for name, index in found:
        key = f"{lead}{name}"
        if rest:
            yield from _places(value[index], rest, f"{key}.")
        elif isinstance(value[index], str):
            yield key, value, index


def _named(item: object, place: int) -> str:
    if isinstance(item, Mapping):
        for key in _NAMED_BY:
            if key in item:
                return str(item[key])
    return str(place)


def _of_choices(data: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the questions whose options are texts, and not names of faults."""
    return {"questions": [one for one in data.get("questions", ()) if one["kind"] == "choice"]}


def data_texts(name: str, data: Mapping[str, Any]) -> dict[str, str]:
    """Return the texts of a data file by key.

    Parameters
    ----------
    name : str
        Its path under ``lessons``.
    data : mapping
        What it says, as a TOML parser gives it.

    Examples
    --------
    >>> data_texts("course.toml", {"title": "A course", "groups": [{"name": "first", "title": "One", "text": "Two"}]})
    {'title': 'A course', 'groups.first.title': 'One', 'groups.first.text': 'Two'}
    """
    found: dict[str, str] = {}
    for pattern in _patterns(name):
        found |= {key: owner[index] for key, owner, index in _places(data, pattern.split("."))}
    if _patterns(name) is _LESSON:
        places = _places(_of_choices(data), _OPTIONS.split("."))
        found |= {key: owner[index] for key, owner, index in places}
    # What belongs to one thing stands together.
    owners = list(dict.fromkeys(_owner(key) for key in found))
    return dict(sorted(found.items(), key=lambda item: owners.index(_owner(item[0]))))


def _owner(key: str) -> str:
    return key.rpartition(".")[0]


def with_texts(name: str, data: Mapping[str, Any], texts: Mapping[str, str]) -> dict[str, Any]:
    """Return a data file with other texts; its questions' options, which logs hold, stay (see `data_texts`)."""
    copied: dict[str, Any] = copy.deepcopy(dict(data))
    # All places first: a glossary's terms are named by texts that change.
    places = [place for pattern in _patterns(name) for place in _places(copied, pattern.split("."))]
    for key, owner, index in places:
        owner[index] = texts[key]
    return copied


def placeholders(text: str) -> list[str]:
    """Return the names that are filled in, in alphabetical order.

    Examples
    --------
    >>> placeholders("{value} of {head}")
    ['head', 'value']
    """
    return sorted(PLACEHOLDER.findall(text))


def text_digest(text: str) -> str:
    """Return what an overlay keeps of the English text it translates, to notice that it has changed."""
    return hashlib.sha256(" ".join(text.split()).encode()).hexdigest()[:_DIGEST_LENGTH]


def shown_options(question: str, count: int, texts: Mapping[str, str]) -> tuple[str, ...]:
    """Return what is shown for the options of a question of a lesson."""
    return tuple(texts[f"questions.{question}.options.{place}"] for place in range(1, count + 1))


def texts_of(path: Path) -> Mapping[str, str] | None:
    """Return the texts that the bench's language has of a data file; None in English and where it has none."""
    if LANGUAGE == ENGLISH or not path.is_relative_to(FOLDER):
        return None
    return language_texts().data.get(path.relative_to(FOLDER).as_posix())


def data_language(path: Path) -> str:
    """Return the language a data file is shown in: the bench's, or English where it has no texts of it."""
    return ENGLISH if texts_of(path) is None else LANGUAGE


def translated(path: Path, data: object) -> object:
    """Return what a data file says in the bench's language; as it is where there are no texts of it."""
    texts = texts_of(path)
    if texts is None or not isinstance(data, Mapping):
        return data
    return with_texts(path.relative_to(FOLDER).as_posix(), data, texts)
