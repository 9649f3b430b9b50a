"""The worked solution: the right settings, computed from what is hidden in the machine.

Contents: `solution_moves`, `step_moves` and `solved_controls`. Trainees never see a hidden value; the linter, the
debrief's reference line and the peak of a ``peak`` check come from here.
"""

from __future__ import annotations

from sim.controls import ControlError, check_control
from sim.training.lesson import Lesson
from sim.training.machine import Start, condition_value, on_step
from sim.training.reader import LessonError, Problem
from sim.wording import wording

__all__ = ["solution_moves", "solved_controls", "step_moves"]


def solution_moves(lesson: Lesson, start: Start) -> list[tuple[str, float]]:
    """Return the worked solution's moves in order: (control, value on the control's finest step).

    Raises
    ------
    LessonError
        If a move asks for what its control cannot be set to.
    """
    moves = []
    for place, move in enumerate(lesson.solution, start=1):
        value = move.value
        if move.cancels is not None:
            value += move.gain * condition_value(start.condition, move.cancels)
        try:
            moves.append((move.control, check_control(move.control, on_step(move.control, value))))
        except ControlError as error:
            raise LessonError(
                Problem(
                    lesson.source,
                    f"solution[{place}]",
                    wording("lesson_problem.with_seed", seed=start.seed, error=error),
                    wording("lesson_problem.move_not_set_do"),
                )
            ) from None
    return moves


def step_moves(lesson: Lesson, start: Start, step: int) -> list[tuple[str, float, str]]:
    """Return the moves of the worked solution that belong to a step (from 1): control, value and reason."""
    return [
        (control, value, move.text)
        for move, (control, value) in zip(lesson.solution, solution_moves(lesson, start), strict=True)
        if lesson.step_of(move) == step
    ]


def solved_controls(lesson: Lesson, start: Start) -> dict[str, float]:
    """Return every control's value after the worked solution."""
    return {**start.controls, **dict(solution_moves(lesson, start))}
