"""The stage a learner is in with a lesson: shown, guided, on one's own. Worked examples fade from the last step back.

Contents: `STAGES`, `Stage`, `worked_work`, `stage_at`, `stage_of`, `stage_with`.

A skill is first shown as a whole, each step with its reason; then the last of the work is left to the learner; the pass
that makes the lesson mastered is always one's own (Atkinson and Renkl 2003: worked examples that fade backwards).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sim.training.lesson import Lesson
from sim.training.progress import Outcome, passes_in_a_row

__all__ = ["STAGES", "Stage", "stage_at", "stage_of", "stage_with", "worked_work"]

STAGES = ("shown", "guided", "own")
"""The lesson does all of the work for who asks; a part of it; none of it."""


@dataclass(frozen=True)
class Stage:
    """How much of a lesson's work is done for the learner.

    Attributes
    ----------
    name : str
        One of `STAGES`.
    worked : int
        How many of the first steps the lesson does for who asks.
    yours : tuple of int
        The steps (from 1) with work in them that are the learner's own.
    """

    name: str
    worked: int
    yours: tuple[int, ...]


def worked_work(lesson: Lesson) -> tuple[int, ...]:
    """Return the steps (from 1) in which something is set or done, in order."""
    moved = {lesson.step_of(move) for move in lesson.solution}
    done = {number for number, step in enumerate(lesson.steps, start=1) if step.acts}
    return tuple(sorted(done.union(number for number in moved if number is not None)))


def stage_with(lesson: Lesson, worked: int) -> Stage:
    """Return the stage in which the lesson does its first `worked` steps."""
    work = worked_work(lesson)
    yours = tuple(number for number in work if number > worked)
    if lesson.mode not in ("demonstration", "guided") or worked == 0:
        return Stage("own", 0, work)
    return Stage("guided" if yours else "shown", worked, yours)


def stage_at(lesson: Lesson, row: int) -> Stage:
    """Return the stage after so many passes in a row.

    Of a guided lesson all that it shows is shown first. Each pass takes away the last of the work that is still shown,
    in equal parts, so that nothing is left of it before the pass that makes the lesson mastered.
    """
    if lesson.mode != "guided" or row <= 0 or lesson.passes < 2:
        return stage_with(lesson, lesson.worked)
    shown = [number for number in worked_work(lesson) if number <= lesson.worked]
    last = lesson.passes - 1
    kept = len(shown) * max(last - row, 0) // last
    # Up to the first step of the work that is no longer shown; what is only to be read stays with it.
    return stage_with(lesson, shown[kept] - 1 if kept and kept < len(shown) else 0)


def stage_of(lesson: Lesson, outcomes: Iterable[Outcome]) -> Stage:
    """Return the stage a learner is in now."""
    return stage_at(lesson, passes_in_a_row(lesson, outcomes))
