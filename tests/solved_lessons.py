"""What one seed of each lesson comes to, worked out once in a run of all tests: to solve them all takes minutes.

Contents: `SEED`, `linted` (what the linter finds), `solved` (the worked solution and its score).
"""

from __future__ import annotations

from functools import cache

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from sim.training.attempt import Attempt
from sim.training.deal import deal
from sim.training.lint import LessonReport, lint_lesson, solution_attempt
from sim.training.run import machine_for
from sim.training.score import Score, score_attempt

__all__ = ["SEED", "linted", "solved"]

# Of the linter's own (`SEEDS`), the first.
SEED = 1
_LESSONS = read_lessons()
_reports: dict[str, LessonReport] = {}


def linted(lesson_id: str) -> LessonReport:
    """Return the linter's report of a lesson that ships, tried with `SEED`."""
    if lesson_id not in _reports:
        _reports[lesson_id] = lint_lesson(_LESSONS[lesson_id], [SEED], None, FAULTS)
    return _reports[lesson_id]


@cache
def solved(lesson_id: str) -> tuple[Attempt, Score]:
    """Return the worked solution of a lesson that ships and its score: the linter's, if it has tried the lesson."""
    if lesson_id in _reports:
        (report,) = _reports[lesson_id].seeds
        return report.solution, report.solved
    lesson = _LESSONS[lesson_id]
    machine = machine_for(lesson, FAULTS)
    attempt = solution_attempt(lesson, deal(lesson, SEED, machine), machine)
    return attempt, score_attempt(lesson, attempt, machine)
