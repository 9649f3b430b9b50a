"""Which of the kept attempts are passes: scores computed from logs, once for every log and program.

Contents: `Scores`.
"""

from __future__ import annotations

from dataclasses import replace

from bandbench.bench.bench import Bench
from bandbench.bench.faults import FAULTS
from bandbench.bench.recordform import KeptAttempt, Outcome, Unreadable, log_sha256
from bandbench.bench.recordstore import KeptRecords
from sim.errors import BandbenchError
from sim.training.assignment import score_within
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine
from sim.training.run import machine_for
from sim.training.score import score_attempt

__all__ = ["Scores"]


class Scores:
    """Outcomes of the attempts that are over.

    Parameters
    ----------
    records : KeptRecords
        Where the attempts are, and the outcomes go.
    bench : Bench
        Whose lessons they are of.
    """

    def __init__(self, records: KeptRecords, bench: Bench) -> None:
        self._records = records
        self._bench = bench
        self._machine: LessonMachine | None = None

    @property
    def history(self) -> tuple[KeptAttempt, ...]:
        """Every attempt that is over and can be read, in order of time."""
        return tuple(sorted(self._records.attempts.values(), key=lambda row: (row.ended_at, row.id)))

    def lesson_of(self, row: KeptAttempt) -> Lesson | None:
        """Return the lesson of an attempt, if this site has it in the version that was done."""
        lesson = self._bench.lessons.get(row.lesson)
        return lesson if lesson is not None and lesson.version == row.lesson_version else None

    def passed(self, row: KeptAttempt) -> bool | None:
        """Tell whether an attempt is a pass, or None while its log has not been scored by this program."""
        outcome = row.outcome
        if outcome is None or outcome.app_version != self._records.app_version:
            return None
        return outcome.passed if outcome.log_sha256 == log_sha256(row.log) else None

    def score_next(self) -> bool:
        """Score one attempt that has to be, the latest first; tell whether there was one."""
        records = self._records
        for row in reversed(self.history):
            lesson = self.lesson_of(row)
            if lesson is None or self.passed(row) is not None:
                continue
            try:
                scored = replace(row, outcome=self.outcome(row, self._machine_of(lesson)))
            except BandbenchError as error:
                # Its log does not belong to its lesson: as good as damaged.
                del records.attempts[row.id]
                records.unreadable = (*records.unreadable, Unreadable(row.id, str(error)))
            else:
                records.keep_over(scored)
            records.look_again()
            return True
        return False

    def outcome(self, row: KeptAttempt, machine: LessonMachine) -> Outcome:
        """Return what an attempt comes to on its lesson's machine; watchers are told."""
        score = score_attempt(machine.lesson, row.attempt, machine, f"attempt of {row.started_at}")
        # Watchers and the record are told the same: a pass with more help than was permitted is none.
        score = score_within(score, row.permitted, row.attempt)
        for watcher in self._records.watchers:
            watcher.over(row, machine.lesson, score)
        return Outcome(score.passed, self._records.app_version, log_sha256(row.log))

    def _machine_of(self, lesson: Lesson) -> LessonMachine:
        # Only the last one is kept: each holds a recorded tape.
        if self._machine is None or self._machine.lesson is not lesson:
            self._machine = machine_for(lesson, FAULTS)
        return self._machine
