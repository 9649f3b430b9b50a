"""A hand that works through a lesson and writes the log of it: turning, doing, waiting, reading, answering.

Contents: `Hand`, `do_worked_steps`. The linter's two workers are made of it: the one who knows the worked solution, and
the one who knows the instruments alone (`sim.training.follower`).
"""

from __future__ import annotations

from collections.abc import Iterable

from sim.training.attempt import (
    ActDone,
    Attempt,
    CheckSubmitted,
    ControlMoved,
    Event,
    QuestionAnswered,
    StepShown,
)
from sim.training.lesson import Deed, Lesson, Step, Until
from sim.training.machine import LessonMachine, Start
from sim.training.solution import step_moves

__all__ = ["LOOK_EVERY_S", "SECONDS_A_MOVE", "Hand", "do_worked_steps"]

# MODEL: only the order matters where the machine is held.
SECONDS_A_MOVE = 0.5
"""Time that a hand takes for one thing [s]."""

# MODEL: as often as one glances at a meter.
LOOK_EVERY_S = 0.5
"""How often a hand that waits for a reading looks at it [s]."""


class Hand:
    """Somebody at the lesson's machine.

    Parameters
    ----------
    lesson : Lesson
        The lesson.
    start : Start
        What was dealt; handed on to the machine, as the bench does.
    machine : LessonMachine
        The lesson's machine.

    Attributes
    ----------
    attempt : Attempt
        The log so far.
    controls : dict of str to float
        Every control's value.
    clock_s : float
        Time since the start [s].
    """

    def __init__(self, lesson: Lesson, start: Start, machine: LessonMachine) -> None:
        self.lesson = lesson
        self.attempt = Attempt(lesson.id, lesson.version, start.seed)
        self.controls = dict(start.controls)
        self.clock_s = 0.0
        self._start = start
        self._machine = machine

    def _log(self, event: Event) -> None:
        self.attempt = self.attempt.with_event(event)

    def _tick(self, seconds: float = SECONDS_A_MOVE) -> float:
        # Rounded as a session's clock is.
        self.clock_s = round(self.clock_s + seconds, 3)
        return self.clock_s

    def turn(self, control: str, value: float) -> None:
        """Turn a control."""
        self._log(ControlMoved(self._tick(), control, value))
        self.controls[control] = value

    def do(self, deed: Deed) -> None:
        """Do something at the machine."""
        self._log(ActDone(self._tick(), deed.name, deed.choice))

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self._tick(seconds)

    def wait_until(self, until: Until, at_most_s: float) -> None:
        """Wait until a reading is where it is waited for, or as long as one waits."""
        end_s = self.clock_s + at_most_s
        while self.clock_s < end_s and not until.reached(self.read([until.reading])[until.reading]):
            self._tick(min(LOOK_EVERY_S, end_s - self.clock_s))

    def begin(self, number: int, step: Step) -> None:
        """Turn to a step, do what it says at a machine that runs, and wait as it says."""
        self._log(StepShown(self.clock_s, number))
        for deed in step.acts:
            self.do(deed)
        if step.until is not None:
            self.wait_until(step.until, step.wait_s)
        elif step.wait_s:
            self.wait(step.wait_s)

    def read(self, names: Iterable[str], at_s: float | None = None) -> dict[str, float]:
        """Read instruments now, or, at a machine that is held, on the frame of another moment."""
        return self._machine.read(
            self._start, self.attempt.events, self.clock_s if at_s is None or self.lesson.running else at_s, names
        )

    def answer(self, question: str, answer: str) -> None:
        """Answer a question."""
        self._log(QuestionAnswered(self._tick(), question, answer))

    def submit(self) -> None:
        """Submit the signals."""
        self._log(CheckSubmitted(self._tick()))


def do_worked_steps(hand: Hand, lesson: Lesson, start: Start, number: int, step: Step) -> None:
    """Do one step of a machine that runs as the worked solution does it: its acts, then its moves."""
    hand.begin(number, step)
    for control, value, _ in step_moves(lesson, start, number):
        hand.turn(control, value)
        hand.wait(step.settle_s)
