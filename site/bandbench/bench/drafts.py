"""A lesson of an instructor's own, as a file that was chosen or dropped: read, judged, and proved seed by seed.

Contents: `LARGEST_DRAFT`, `Draft`, `read_draft`, `Proof`. Nothing of it is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

from bandbench.bench.datafiles import read_toml
from bandbench.bench.faults import FAULTS
from bandbench.bench.words import say
from sim.training.lesson import Lesson
from sim.training.lint import lint_lesson, parse_problems
from sim.training.reader import Problem

__all__ = ["LARGEST_DRAFT", "MOST_SEEDS", "Draft", "Proof", "read_draft"]

LARGEST_DRAFT = 500_000
"""Characters of a lesson file at most: the longest of the course has a tenth of it."""

MOST_SEEDS = 3
"""Seeds that are tried here; `bandbench lessons lint` tries twenty."""


@dataclass(frozen=True)
class Draft:
    """A file as it was read.

    Attributes
    ----------
    source : str
        The file's name.
    lesson : Lesson or None
        What it describes, if it can be read.
    problems : tuple of Problem
        What is wrong with its form and its names; a lesson with wrong names cannot be begun.
    """

    source: str
    lesson: Lesson | None
    problems: tuple[Problem, ...]

    @property
    def usable(self) -> bool:
        """Whether it can be begun."""
        return self.lesson is not None and not self.problems


def read_draft(name: str, text: str) -> Draft:
    """Return a lesson file as it was read; whatever is wrong with it is among its problems.

    Parameters
    ----------
    name : str
        The file's name, for messages.
    text : str
        Its content.
    """
    if len(text) > LARGEST_DRAFT:
        return _refused(
            name, say("refused.long_draft", count=len(text)), say("refused.long_draft_do", most=LARGEST_DRAFT)
        )
    try:
        data = read_toml(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError) as error:
        return _refused(name, say("refused.no_toml", error=error), say("refused.no_toml_do"))
    lesson, problems = parse_problems(data, name, FAULTS)
    return Draft(name, lesson, tuple(problems))


def _refused(name: str, reason: str, remedy: str) -> Draft:
    return Draft(name, None, (Problem(name, say("refused.whole_file"), reason, remedy),))


class Proof:
    """A lesson being tried: as delivered, by its own solution, and by the instruments alone; one seed at a time.

    Parameters
    ----------
    lesson : Lesson
        What is tried; its names must exist.
    seeds : int
        How many seeds, 1 to `MOST_SEEDS`.
    """

    def __init__(self, lesson: Lesson, seeds: int) -> None:
        self.lesson = lesson
        self.total = min(max(seeds, 1), MOST_SEEDS)
        self.done = 0
        self.problems: tuple[Problem, ...] = ()

    @property
    def over(self) -> bool:
        """Whether every seed has been tried."""
        return self.done >= self.total

    def next_seed(self) -> None:
        """Try one more seed."""
        if self.over:
            return
        self.done += 1
        self.problems += lint_lesson(self.lesson, [self.done], faults=FAULTS).problems
