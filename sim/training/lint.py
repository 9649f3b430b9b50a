"""The lesson linter: proves that a lesson is well formed, undone as delivered, and can be done.

Contents: `SeedReport`, `LessonReport`, `lint_lesson`, `parse_problems`, `solution_attempt`. For each seed: the
delivered state fails its checks, the worked solution passes them, and an operator who sees only the instruments
reaches a pass.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from sim.faults import FaultSpec
from sim.training.answers import right_answer
from sim.training.attempt import Attempt, CheckSubmitted
from sim.training.deal import deal
from sim.training.follower import follow_steps
from sim.training.lesson import Lesson, parse_lesson
from sim.training.machine import NO_FAULTS, LessonMachine, Start
from sim.training.reader import LessonError, Problem
from sim.training.references import name_problems
from sim.training.run import machine_for
from sim.training.score import Score, score_attempt
from sim.training.solution import solution_moves
from sim.training.working import Hand, do_worked_steps
from sim.wording import wording

__all__ = ["SEEDS", "LessonReport", "SeedReport", "lint_lesson", "parse_problems", "solution_attempt"]

SEEDS = range(1, 21)
"""Seeds a lesson is tried with."""


@dataclass(frozen=True)
class SeedReport:
    """What one seed showed.

    Attributes
    ----------
    seed : int
        The seed.
    start : Start
        What it dealt.
    solution : Attempt
        The worked solution.
    delivered, solved, followed : Score
        Of submitting at once, of the worked solution, and of the operator who sees only the instruments.
    """

    seed: int
    start: Start
    solution: Attempt
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
    machine = machine_for(lesson, faults)
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


def _tried(lesson: Lesson, start: Start, machine: LessonMachine) -> SeedReport:
    blank = Attempt(lesson.id, lesson.version, start.seed)
    solved = solution_attempt(lesson, start, machine)
    return SeedReport(
        seed=start.seed,
        start=start,
        solution=solved,
        delivered=score_attempt(lesson, blank.with_event(CheckSubmitted(0.0)), machine),
        solved=score_attempt(lesson, solved, machine),
        followed=_followed(lesson, start, machine),
    )


def solution_attempt(lesson: Lesson, start: Start, machine: LessonMachine) -> Attempt:
    """Return the log of one who answers everything right, makes the worked solution's moves and submits.

    Raises
    ------
    LessonError
        If a question has no right answer with this start, or a move asks for what its control cannot be set to.
    """
    hand = Hand(lesson, start, machine)

    def answer_all(step: int | None) -> None:
        for place, question in enumerate(lesson.questions, start=1):
            if question.step != step:
                continue
            right = right_answer(lesson, question, start, machine, hand.attempt.events, hand.clock_s)
            if right is None:
                raise LessonError(
                    Problem(
                        lesson.source,
                        f"questions[{place}].answer_measurement",
                        wording("lesson_problem.nothing_to_read", seed=start.seed),
                        wording("lesson_problem.nothing_to_read_do"),
                    )
                )
            hand.answer(question.name, right)

    answer_all(None)
    if lesson.running is None:
        for control, value in solution_moves(lesson, start):
            hand.turn(control, value)
    else:
        for number, step in enumerate(lesson.steps, start=1):
            do_worked_steps(hand, lesson, start, number, step)
            answer_all(number)
    hand.submit()
    return hand.attempt


def _followed(lesson: Lesson, start: Start, machine: LessonMachine) -> Score:
    """Return the score of an operator who sees only the instruments: quick first, thorough if that is not enough."""
    quick = score_attempt(lesson, follow_steps(lesson, start, machine, thorough=False).attempt, machine)
    if quick.passed:
        return quick
    return score_attempt(lesson, follow_steps(lesson, start, machine, thorough=True).attempt, machine)


def _seed_problems(lesson: Lesson, report: SeedReport) -> list[Problem]:
    problems = []
    if report.delivered.passed:
        problems.append(
            Problem(
                lesson.source,
                "start",
                wording("lesson_problem.passes_untouched", seed=report.seed),
                wording("lesson_problem.passes_untouched_do"),
            )
        )
    if not report.solved.passed:
        problems.append(
            Problem(
                lesson.source,
                "solution",
                wording("lesson_problem.not_solved", seed=report.seed, reason=report.solved.reason.rstrip(".")),
                wording("lesson_problem.not_solved_do"),
            )
        )
    if not report.followed.passed:
        problems.append(
            Problem(
                lesson.source,
                "steps",
                wording("lesson_problem.not_followed", seed=report.seed, reason=report.followed.reason.rstrip(".")),
                wording("lesson_problem.not_followed_do"),
            )
        )
    return problems
