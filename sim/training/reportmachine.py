"""Machines that score many logs: they spare frames that decide nothing, and do as little in a turn as is wanted.

Contents: `TurnOver`, `STEPS_A_TURN`, `Turn`, `ReportMachine` (held in play), `RunningReportMachine` (one that runs),
`report_machine_for`.

Readings are kept from turn to turn: whoever asks for the same score again and again gets it in the end, having been
free in between after every frame, and after every few seconds that a machine lives through.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sim.faults import FaultSpec
from sim.instruments import MEASUREMENTS
from sim.training.attempt import Attempt, CheckSubmitted
from sim.training.lesson import Lesson
from sim.training.machine import NO_FAULTS, LessonMachine, Machine, Start
from sim.training.run import Run, RunningMachine
from sim.training.score import Score, score_attempt

__all__ = ["STEPS_A_TURN", "ReportMachine", "RunningReportMachine", "Turn", "TurnOver", "report_machine_for"]

# MODEL: takes about as long as a frame.
STEPS_A_TURN = 400
"""Steps of a machine that runs (`sim.station.STEP_S`) in a turn, if no frame is read in it."""


class TurnOver(Exception):
    """What may be done in this turn is done; what was read is kept, so the same question gets further next time."""


class Turn:
    """How much is done before whoever waits gets a chance: a frame, a delivered machine, or `STEPS_A_TURN` steps.

    Parameters
    ----------
    endless : bool
        True for who waits for nothing else: nothing is ever too much.
    """

    def __init__(self, endless: bool = False) -> None:
        self._endless = endless
        self._left = 1.0

    def begin(self) -> None:
        """Begin the next turn."""
        self._left = 1.0

    def take(self) -> None:
        """Count a frame, or the delivery of a machine; raises TurnOver if there is nothing left."""
        self._check()
        self._left -= 1.0

    def take_steps(self, wanted: int) -> int:
        """Count steps and return how many may be done, at most as many as are wanted; raises TurnOver if none may."""
        self._check()
        if self._endless:
            return wanted
        steps = min(wanted, max(1, round(self._left * STEPS_A_TURN)))
        self._left -= steps / STEPS_A_TURN
        return steps

    def _check(self) -> None:
        if not self._endless and self._left <= 1e-9:
            raise TurnOver


class ReportMachine(Machine):
    """A held machine for many logs: it reads no more frames than a score needs, and one in a turn.

    Parameters
    ----------
    lesson : Lesson
        The lesson.
    faults : mapping of str to FaultSpec
        The fault catalogue.
    turn : Turn, optional
        When to stop for a while; never when omitted.
    """

    def __init__(self, lesson: Lesson, faults: Mapping[str, FaultSpec] = NO_FAULTS, turn: Turn | None = None) -> None:
        super().__init__(lesson, faults=faults)
        self._turn = turn or Turn(endless=True)
        self._brief: frozenset[float] = frozenset()

    def score(self, attempt: Attempt, source_name: str) -> Score:
        """Return an attempt's score, as `score_attempt` does, but for the readings of submissions that do not decide.

        A check that fails on its first frame fails, whatever its hold time shows later. So the submissions before the
        last are first read on one frame; only where one of them does not fail on it, everything is read in full.
        """
        submitted = [event.at_s for event in attempt.events if isinstance(event, CheckSubmitted)]
        one_counts = self.lesson.mode == "assessment"
        deciding = submitted[:1] if one_counts else submitted[-1:]
        # What a start is dealt by is read at 0 s, and in full.
        self._brief = frozenset(submitted).difference(deciding, {0.0})
        try:
            score = score_attempt(self.lesson, attempt, self, source_name)
        finally:
            brief, self._brief = self._brief, frozenset()
        passed_early = any(one.passed and one.at_s in brief for one in score.submissions)
        if one_counts or not passed_early:
            return score
        return score_attempt(self.lesson, attempt, self, source_name)

    def hold_times(self, at_s: float, hold_s: float, number: int) -> tuple[float, ...]:
        """Return the moments at which a check is read: only the first, where that is enough."""
        times = super().hold_times(at_s, hold_s, number)
        return times[:1] if at_s in self._brief else times

    def _measured(self, *asked: Any) -> dict[str, float]:
        self._turn.take()
        return super()._measured(*asked)


class RunningReportMachine(RunningMachine):
    """A machine that runs, for many logs: it is heard by nobody, and lives through a few seconds in a turn.

    Parameters
    ----------
    lesson, faults, turn
        As for `ReportMachine`.
    """

    def __init__(self, lesson: Lesson, faults: Mapping[str, FaultSpec] = NO_FAULTS, turn: Turn | None = None) -> None:
        super().__init__(lesson, faults)
        self._turn = turn or Turn(endless=True)

    def score(self, attempt: Attempt, source_name: str) -> Score:
        """Return an attempt's score, as `score_attempt` does."""
        return score_attempt(self.lesson, attempt, self, source_name)

    def _delivered(self, start: Start) -> Run:
        self._turn.take()
        return Run(self.lesson, start, heard=False, pace=self._turn.take_steps)

    def _read_run(self, run: Run, names: Sequence[str]) -> dict[str, float]:
        if any(name in MEASUREMENTS for name in names):
            self._turn.take()
        return super()._read_run(run, names)


def report_machine_for(
    lesson: Lesson, faults: Mapping[str, FaultSpec] = NO_FAULTS, turn: Turn | None = None
) -> LessonMachine:
    """Return a lesson's machine for scoring many logs; parameters as for `ReportMachine`."""
    return (ReportMachine if lesson.running is None else RunningReportMachine)(lesson, faults, turn)
