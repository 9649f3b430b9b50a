"""The lesson linter: proves that a lesson is well formed, undone as delivered, and can be done.

Contents: `SeedReport`, `LessonReport`, `lint_lesson`, `parse_problems`. For each seed: the delivered state fails its
checks, the worked solution passes them, and an operator who sees only the instruments reaches a pass.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from sim.faults import FaultSpec
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved
from sim.training.deal import deal
from sim.training.follower import follow_steps
from sim.training.lesson import Lesson, parse_lesson
from sim.training.machine import NO_FAULTS, Machine, Start
from sim.training.reader import LessonError, Problem
from sim.training.references import name_problems
from sim.training.score import Score, score_attempt
from sim.training.solution import solution_moves

__all__ = ["SEEDS", "LessonReport", "SeedReport", "lint_lesson", "parse_problems"]

SEEDS = range(1, 21)
"""Seeds a lesson is tried with."""

# Hands move a control about this often; only the order of the moves matters here.
_SECONDS_A_MOVE = 1.0


@dataclass(frozen=True)
class SeedReport:
    """What one seed showed.

    Attributes
    ----------
    seed : int
        The seed.
    start : Start
        What it dealt.
    delivered, solved, followed : Score
        Of submitting at once, of the worked solution, and of the operator who sees only the instruments.
    """

    seed: int
    start: Start
    delivered: Score
    solved: Score
    followed: Score


@dataclass(frozen=True)
class LessonReport:
    """All that was found: the problems, and what each seed tried so far showed."""

    source: str
    problems: tuple[Problem, ...]
    seeds: tuple[SeedReport, ...]


def parse_problems(
    data: object, source_name: str, faults: Mapping[str, FaultSpec] = NO_FAULTS
) -> tuple[Lesson | None, list[Problem]]:
    """Parse a lesson and check its names; return it (None if it cannot be read) and the problems."""
    try:
        lesson = parse_lesson(data, source_name)
    except LessonError as error:
        return None, [error.problem]
    return lesson, name_problems(lesson, faults)


def lint_lesson(
    lesson: Lesson,
    seeds: Iterable[int] = SEEDS,
    progress: Callable[[SeedReport], None] | None = None,
    faults: Mapping[str, FaultSpec] = NO_FAULTS,
) -> LessonReport:
    """Try a lesson with each seed and return what is wrong with it.

    Parameters
    ----------
    lesson : Lesson
        What to try.
    seeds : iterable of int
        The seeds.
    progress : callable, optional
        Told of each seed as it is done.
    faults : mapping of str to FaultSpec
        The fault catalogue; needed by lessons that deal faults.
    """
    problems = name_problems(lesson, faults)
    reports: list[SeedReport] = []
    if problems:
        return LessonReport(lesson.source, tuple(problems), ())
    machine = Machine(lesson, faults=faults)
    for seed in seeds:
        try:
            report = _tried(lesson, deal(lesson, seed, machine), machine)
        except LessonError as error:
            problems.append(error.problem)
            continue
        problems += _seed_problems(lesson, report)
        reports.append(report)
        if progress is not None:
            progress(report)
    return LessonReport(lesson.source, tuple(problems), tuple(reports))


def _tried(lesson: Lesson, start: Start, machine: Machine) -> SeedReport:
    blank = Attempt(lesson.id, lesson.version, start.seed)
    solved = blank
    for control, value in solution_moves(lesson, start):
        solved = solved.with_event(ControlMoved(solved.duration_s + _SECONDS_A_MOVE, control, value))
    solved = solved.with_event(CheckSubmitted(solved.duration_s + _SECONDS_A_MOVE))
    return SeedReport(
        seed=start.seed,
        start=start,
        delivered=score_attempt(lesson, blank.with_event(CheckSubmitted(0.0)), machine),
        solved=score_attempt(lesson, solved, machine),
        followed=_followed(lesson, start, machine),
    )


def _followed(lesson: Lesson, start: Start, machine: Machine) -> Score:
    """Return the score of an operator who sees only the instruments: quick first, thorough if that is not enough."""
    quick = score_attempt(lesson, follow_steps(lesson, start, machine, thorough=False).attempt, machine)
    if quick.passed:
        return quick
    return score_attempt(lesson, follow_steps(lesson, start, machine, thorough=True).attempt, machine)


def _seed_problems(lesson: Lesson, report: SeedReport) -> list[Problem]:
    problems = []
    if not report.solved.passed:
        problems.append(
            Problem(
                lesson.source,
                "solution",
                f"seed {report.seed}: the worked solution does not pass: {report.solved.reason}",
                "Correct the moves (control, value, cancels, gain, order), or the check it misses.",
            )
        )
    if not report.followed.passed:
        problems.append(
            Problem(
                lesson.source,
                "steps",
                f"seed {report.seed}: working by the instruments alone, step by step, does not lead to a pass: "
                f"{report.followed.reason}",
                "Give each check's reading to a step that names the control which moves it ('control', 'watch'), "
                "in an order in which a later step does not undo an earlier one, or widen the tolerance.",
            )
        )
    return problems
