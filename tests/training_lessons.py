"""What the tests of lessons share: the lesson that ships, as data to change and as a lesson."""

from __future__ import annotations

from functools import cache
from typing import Any

from bandbench.lessons import LESSONS_FOLDER, read_data
from sim.training.lesson import Lesson, parse_lesson
from sim.training.machine import Machine

LINE_UP_FILE = LESSONS_FOLDER / "tracking-and-guide.toml"


def line_up_data() -> dict[str, Any]:
    """Return a fresh copy of the lesson's data."""
    return read_data(LINE_UP_FILE)


def line_up(**changes: object) -> Lesson:
    """Return the lesson, with some of its top-level keys changed."""
    return parse_lesson(line_up_data() | changes, LINE_UP_FILE.name)


@cache
def line_up_machine() -> Machine:
    """Return the lesson's machine, made once: what it reads depends on nothing but what it is asked."""
    return Machine(line_up())
