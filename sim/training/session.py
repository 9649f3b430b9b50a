"""A trainee at the bench: the part of a lesson that goes on while it is done. No view, no clock of its own.

Contents: `Session` and `SessionError`. Views show what it holds and tell it what was done and when.
"""

from __future__ import annotations

import math

from sim.controls import check_control
from sim.errors import BandbenchError, known_names
from sim.training.attempt import (
    MOST_EVENTS,
    Attempt,
    CheckSubmitted,
    ControlMoved,
    Event,
    HintOpened,
    StepShown,
)
from sim.training.deal import LARGEST_SEED, deal
from sim.training.lesson import HINT_LEVELS, Lesson, Step
from sim.training.machine import Machine, Start
from sim.training.score import Score, Submission, score_attempt, submission_at

__all__ = ["Session", "SessionError"]


class SessionError(BandbenchError):
    """Something was asked of the session that the lesson does not allow now."""


class Session:
    """One lesson being done, from the dealt start to the pass.

    Parameters
    ----------
    lesson : Lesson
        The lesson; its names must exist (`sim.training.references`).
    seed : int
        What is dealt.
    now_s : float
        The caller's clock at the start [s]; any origin, as long as the same clock is used throughout.
    machine : Machine, optional
        The lesson's machine; give the bench's own recorder in one to spare a second recording of the tape.

    Notes
    -----
    The controls' new values and the hidden condition are for the bench to set on its recorder: `start.controls`,
    `start.condition`. Once `finished`, moves are free practice and are no longer logged.
    """

    def __init__(self, lesson: Lesson, seed: int, now_s: float = 0.0, machine: Machine | None = None) -> None:
        self.lesson = lesson
        self.machine = machine or Machine(lesson)
        self.past: list[Attempt] = []
        self._deal(seed, now_s)

    def _deal(self, seed: int, now_s: float) -> None:
        began_s = _clock(now_s)
        self.start: Start = deal(self.lesson, seed, self.machine)
        self.attempt = Attempt(self.lesson.id, self.lesson.version, seed)
        self.controls = dict(self.start.controls)
        self.hints_opened = 0
        self.last_submission: Submission | None = None
        self._step = 0
        self._began_s = began_s

    @property
    def seed(self) -> int:
        """Seed of the running attempt."""
        return self.attempt.seed

    @property
    def finished(self) -> bool:
        """Whether the attempt is over: passed, or submitted in an assessment."""
        if self.last_submission is None:
            return False
        return self.last_submission.passed or self.lesson.mode == "assessment"

    @property
    def step_number(self) -> int:
        """Number of the step shown, from 1."""
        return self._step + 1

    @property
    def current_step(self) -> Step:
        """The step shown."""
        return self.lesson.steps[self._step]

    def elapsed_s(self, now_s: float) -> float:
        """Return the attempt's time at the caller's clock [s], to the millisecond; it never runs backwards."""
        return max(round(_clock(now_s) - self._began_s, 3), self.attempt.duration_s)

    def move(self, control: str, value: float, now_s: float) -> None:
        """Log that a control was set.

        Raises
        ------
        BandbenchError
            If the lesson does not offer the control, or it cannot be set to this value; nothing is logged then.
        """
        if control not in self.lesson.controls:
            raise SessionError(
                f"control '{control}' is not part of lesson '{self.lesson.id}'; use {known_names(self.lesson.controls)}"
            )
        checked = check_control(control, value)
        if self.controls[control] != checked and not self.finished:
            self._log(ControlMoved(self.elapsed_s(now_s), control, checked))
        self.controls[control] = checked

    def show_step(self, number: int, now_s: float) -> Step:
        """Show step `number` (from 1), log it and return it."""
        if not 1 <= number <= len(self.lesson.steps):
            raise SessionError(f"step {number}: the lesson has steps 1 to {len(self.lesson.steps)}")
        if number != self.step_number:
            self._step = number - 1
            if not self.finished:
                self._log(StepShown(self.elapsed_s(now_s), number))
        return self.current_step

    def open_hint(self, level: int, now_s: float) -> str:
        """Open hint `level` (1 symptom, 2 cause, 3 step), log it the first time and return its text.

        Raises
        ------
        SessionError
            If there is no such hint or the one before it has not been opened.
        """
        if level not in range(1, len(HINT_LEVELS) + 1):
            raise SessionError(f"hint {level}: there are hints 1 to {len(HINT_LEVELS)}")
        if level > self.hints_opened + 1:
            raise SessionError(f"hint {level}: open hint {self.hints_opened + 1} first")
        if level > self.hints_opened:
            self.hints_opened = level
            if not self.finished:
                self._log(HintOpened(self.elapsed_s(now_s), level))
        return self.lesson.hints.text(level)

    def check_now(self, now_s: float) -> Submission:
        """Submit the signals as they are, log it and return what the instruments read.

        Raises
        ------
        SessionError
            If the attempt is finished.
        """
        if self.finished:
            raise SessionError("this attempt is finished; restart for a fresh variation")
        at_s = self.elapsed_s(now_s)
        submission = submission_at(self.lesson, self.machine, self.start, self.controls, at_s)
        self._log(CheckSubmitted(at_s))
        self.last_submission = submission
        return submission

    def score(self) -> Score:
        """Return the running attempt's score, computed from its log."""
        return score_attempt(self.lesson, self.attempt, self.machine)

    def restart(self, now_s: float, seed: int | None = None) -> Start:
        """Put the attempt aside in `past` and deal a fresh one, from the next seed if none is given."""
        following = (self.seed + 1) % (LARGEST_SEED + 1) if seed is None else seed
        ended = self.attempt
        self._deal(following, now_s)
        self.past.append(ended)
        return self.start

    def _log(self, event: Event) -> None:
        if len(self.attempt.events) >= MOST_EVENTS:
            raise SessionError(f"the log is full at {MOST_EVENTS} events; restart for a fresh variation")
        self.attempt = self.attempt.with_event(event)


def _clock(now_s: float) -> float:
    if not math.isfinite(now_s):
        raise SessionError(f"clock {now_s!r}: give a finite number of seconds")
    return now_s
