"""An attempt played again: what the trainee had before them at any moment, from the log alone.

Contents: `ReplayState`, `state_at`, `moments`. A view sets its recorder to the state's controls and the start's
condition, shows the frame of the moment, and may let the time run at any speed; nothing is played twice differently.
A machine that runs is lived through again (`sim.training.run.RunningMachine.run_at`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from sim.errors import BandbenchError
from sim.training.attempt import (
    ActDone,
    Attempt,
    CheckSubmitted,
    ControlMoved,
    HintOpened,
    NoteWritten,
    QuestionAnswered,
    StepShown,
)
from sim.training.machine import Start

__all__ = ["ReplayState", "moments", "state_at"]


@dataclass(frozen=True)
class ReplayState:
    """How an attempt stood at one moment.

    Attributes
    ----------
    at_s : float
        The moment [s], not after the end.
    events : int
        How many events of the log had happened.
    controls : mapping of str to float
        Every control's value.
    step : int
        The step shown, from 1.
    hints_opened : int
        The highest hint opened; 0 for none.
    answers : mapping of str to str
        Questions answered, and how.
    submissions_s : tuple of float
        When the signals had been submitted [s].
    notes : tuple of str
        Notes written.
    acts : tuple of ActDone
        What had been done at a machine that runs.
    """

    at_s: float
    events: int
    controls: Mapping[str, float]
    step: int
    hints_opened: int
    answers: Mapping[str, str]
    submissions_s: tuple[float, ...]
    notes: tuple[str, ...]
    acts: tuple[ActDone, ...] = ()


def state_at(attempt: Attempt, start: Start, at_s: float) -> ReplayState:
    """Return how an attempt stood `at_s` seconds after its start, events of that very moment included.

    Raises
    ------
    BandbenchError
        If the time is negative or not finite.
    """
    if not (math.isfinite(at_s) and at_s >= 0.0):
        raise BandbenchError(f"replay at {at_s!r} s: use a finite number, 0 or more")
    controls = dict(start.controls)
    answers: dict[str, str] = {}
    submissions: list[float] = []
    notes: list[str] = []
    acts: list[ActDone] = []
    step, hints, count = 1, 0, 0
    for event in attempt.events:
        if event.at_s > at_s:
            break
        count += 1
        match event:
            case ControlMoved():
                controls[event.control] = event.value
            case ActDone():
                acts.append(event)
            case StepShown():
                step = event.step
            case HintOpened():
                hints = max(hints, event.level)
            case QuestionAnswered():
                answers[event.question] = event.answer
            case CheckSubmitted():
                submissions.append(event.at_s)
            case NoteWritten():
                notes.append(event.text)
    return ReplayState(
        min(at_s, attempt.duration_s),
        count,
        controls,
        step,
        hints,
        answers,
        tuple(submissions),
        tuple(notes),
        tuple(acts),
    )


def moments(attempt: Attempt) -> tuple[float, ...]:
    """Return the times at which something happened [s], each once, in order; for going from one to the next."""
    return tuple(dict.fromkeys(event.at_s for event in attempt.events))
