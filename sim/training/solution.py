"""The worked solution: the right settings, computed from what is hidden in the machine.

Contents: `solution_moves` and `solved_controls`. Trainees never see a hidden value; the linter, the debrief's
reference line and the peak of a ``peak`` check come from here.
"""

from __future__ import annotations

from collections.abc import Mapping

from sim.condition import Condition
from sim.training.lesson import Lesson
from sim.training.machine import condition_value, on_step

__all__ = ["solution_moves", "solved_controls"]


def solution_moves(lesson: Lesson, condition: Condition) -> list[tuple[str, float]]:
    """Return the worked solution's moves in order: (control, value on the control's finest step)."""
    moves = []
    for move in lesson.solution:
        value = move.value
        if move.cancels is not None:
            value += move.gain * condition_value(condition, move.cancels)
        moves.append((move.control, on_step(move.control, value)))
    return moves


def solved_controls(lesson: Lesson, controls: Mapping[str, float], condition: Condition) -> dict[str, float]:
    """Return `controls` after the worked solution."""
    return {**controls, **dict(solution_moves(lesson, condition))}
