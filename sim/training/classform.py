"""The form of a class report: what people hand in, and what is found of it.

Contents: what comes in, `Person`, `HandedIn`, `ClassFile`; what is found, `Flag` (of `FLAG_KINDS`), `Cell` (in one of
`CELL_STATES`), `PersonRow`, `Item`, `StepMisses`, `LessonItems`, `Report`; `log_key`, `name_order` and
`printable`.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from sim.training.attempt import Attempt
from sim.training.help import FULL_HELP, Help
from sim.training.lesson import Lesson

__all__ = [
    "CELL_STATES",
    "FLAG_KINDS",
    "HELD_KINDS",
    "LONGEST_TEXT",
    "Cell",
    "ClassFile",
    "Flag",
    "HandedIn",
    "Item",
    "LessonItems",
    "LogKey",
    "Person",
    "PersonRow",
    "Report",
    "StepMisses",
    "log_key",
    "name_order",
    "printable",
]

FLAG_KINDS = (
    "file",
    "entry",
    "lesson",
    "refused",
    "impossible",
    "changed",
    "stated",
    "unstated",
    "times",
    "help",
    "copied",
    "alike",
    "twice",
    "number",
    "name",
)
"""What a flag is about: a file, or an entry of it, that cannot be read; a lesson or version that is not here; a log
that does not belong to its lesson; one that cannot have happened; one changed since it was scored; a stated result that
differs; a pass whose file states no result; moments that cannot be; more help than was set; the same log of several
people; the same moves of several people; an attempt that stands twice; one number for two attempts; one learner under
two names."""

HELD_KINDS = frozenset({"lesson", "refused", "impossible", "changed", "times", "help", "copied", "number"})
"""Flags that keep an attempt from counting as evidence until somebody has looked at it."""

CELL_STATES = ("mastered", "due", "passed", "not_yet", "held", "open")
"""How a skill stands: mastered; mastered and due for review; passed, not often enough; tried, not passed; nothing
but attempts that are held; not tried."""

LONGEST_TEXT = 400
"""Characters of a file's own text that a report repeats."""


def printable(text: str) -> str:
    """Return a text from a file as it can be shown and written anywhere: escapes for what cannot, and not endless.

    Examples
    --------
    >>> printable("a\\nb")
    'a\\\\nb'
    """
    shown = "".join(char if char.isprintable() else char.encode("unicode_escape").decode("ascii") for char in text)
    return shown if len(shown) <= LONGEST_TEXT else f"{shown[: LONGEST_TEXT - 3]}..."


def name_order(name: str) -> tuple[object, ...]:
    """Return what people's names are sorted by, as lists in English and German are: large as small letters, accents
    only where nothing else differs, and numbers by what they are worth.

    Examples
    --------
    >>> sorted(["Otto", "Öhrli", "Zoe", "ada", "Group 10", "Group 9"], key=name_order)
    ['ada', 'Group 9', 'Group 10', 'Öhrli', 'Otto', 'Zoe']
    """
    small = name.casefold()
    plain = "".join(char for char in unicodedata.normalize("NFKD", small) if not unicodedata.combining(char))
    # Words and numbers take turns. A number is its length and its digits: however long, it costs nothing.
    parts = tuple(
        (len(digits := part.lstrip("0")), digits) if place % 2 else part
        for place, part in enumerate(re.split("([0-9]+)", plain))
    )
    return parts, small, name


@dataclass(frozen=True)
class Person:
    """Somebody whose attempts were handed in.

    Attributes
    ----------
    key : str
        What tells one from another, whatever they are called.
    name : str
        Data, never markup.
    created_s : float or None
        When the learner was made [s], where the file says so.
    """

    key: str
    name: str
    created_s: float | None = None


@dataclass(frozen=True)
class HandedIn:
    """An attempt as it was handed in. Moments are seconds since any fixed one; None where the file has none.

    Attributes
    ----------
    source, place : str
        The file, and where in it.
    person : str
        `Person.key`.
    number : str
        The attempt's own number; empty if it has none.
    attempt : Attempt
        Its log.
    started_s, ended_s : float or None
        When it was begun and over.
    exported_s : float or None
        When the file was written.
    stated : bool or None
        The result the file states: passed or not.
    untouched : bool or None
        Whether the log is still the one that the stated result was computed from.
    permitted : Help
        The help that was permitted; a pass with more is none.
    """

    source: str
    place: str
    person: str
    number: str
    attempt: Attempt
    started_s: float | None = None
    ended_s: float | None = None
    exported_s: float | None = None
    stated: bool | None = None
    untouched: bool | None = None
    permitted: Help = FULL_HELP


@dataclass(frozen=True)
class ClassFile:
    """A file as it was read: whose it is, the attempts in it, and what could not be read, as (place, reason).

    `person` is None if nothing of it can be read; `unfinished` counts attempts that are still going on.
    """

    source: str
    person: Person | None
    attempts: tuple[HandedIn, ...] = ()
    unreadable: tuple[tuple[str, str], ...] = ()
    unfinished: int = 0


@dataclass(frozen=True)
class Flag:
    """Something that needs a look: one of `FLAG_KINDS`, where it is, whom and which lesson it concerns, and why.

    `held`: the attempt does not count as evidence.
    """

    kind: str
    source: str
    place: str
    person: str
    lesson_id: str
    text: str
    held: bool


@dataclass(frozen=True)
class Cell:
    """How one skill stands for one person.

    Attributes
    ----------
    lesson_id : str
        Which skill.
    state : str
        One of `CELL_STATES`.
    attempts, passes, held : int
        Attempts that count, passes without the last hint among them, and attempts that are held.
    row, needed : int
        Passes in a row at the end, and how many make it mastered.
    mastered_s, last_pass_s, last_s, due_s : float or None
        When it was mastered, last passed, last tried, and when it is due again; None: never, or not known.
    reason : str
        Why the last attempt that counts did not pass; empty if it did.
    """

    lesson_id: str
    state: str = "open"
    attempts: int = 0
    passes: int = 0
    held: int = 0
    row: int = 0
    needed: int = 1
    mastered_s: float | None = None
    last_pass_s: float | None = None
    last_s: float | None = None
    due_s: float | None = None
    reason: str = ""


@dataclass(frozen=True)
class PersonRow:
    """One person: cells in the order of `Report.lessons`, how many skills are mastered, and the files."""

    person: Person
    cells: tuple[Cell, ...]
    mastered: int
    attempts: int
    held: int
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Item:
    """One check or question over all attempts that came to a submission.

    Attributes
    ----------
    kind : str
        ``check``, ``question`` or ``care`` (order and care).
    name, title : str
        Its name in the lesson, and in words.
    step : int or None
        The step it belongs to, from 1.
    asked, missed : int
        Attempts it was decided in, and those that missed it.
    common : str
        The wrong answer given most often, for a question; empty if none was given twice.
    """

    kind: str
    name: str
    title: str
    step: int | None
    asked: int
    missed: int
    common: str = ""


@dataclass(frozen=True)
class StepMisses:
    """A step (from 1) and how many attempts missed a check of it."""

    step: int
    title: str
    missed: int


@dataclass(frozen=True)
class LessonItems:
    """Item analysis of a lesson: attempts that came to a submission, passes, its items, its steps (worst first)."""

    lesson_id: str
    attempts: int
    passed: int
    items: tuple[Item, ...]
    steps: tuple[StepMisses, ...]


@dataclass(frozen=True)
class Report:
    """The class report.

    Attributes
    ----------
    files, attempts, counted, held, waiting, unfinished : int
        Files read; attempts read in them; those that count, are held, are still to be scored; and those still going
        on, which count for nothing.
    lessons : tuple of Lesson
        Skills that anybody tried, in the order they were given.
    people : tuple of PersonRow
        By name.
    items : tuple of LessonItems
        In the order of the lessons.
    flags : tuple of Flag
        In the order of the files.
    """

    files: int
    attempts: int
    counted: int
    held: int
    waiting: int
    unfinished: int
    lessons: tuple[Lesson, ...]
    people: tuple[PersonRow, ...]
    items: tuple[LessonItems, ...]
    flags: tuple[Flag, ...]


LogKey = tuple[object, ...]
"""See `log_key`."""


def log_key(attempt: Attempt) -> LogKey:
    """Return what makes two logs worth the same."""
    return attempt.lesson_id, attempt.lesson_version, attempt.seed, attempt.events
