"""What an attempt that somebody handed in is worth: scored from its log alone, and whether the log can be real.

Contents: `ItemResult`, `Worth`, `worth_of`, `worth_within`, `impossible_events`. Machines for many logs are in
`sim.training.reportmachine`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from sim.errors import BandbenchError
from sim.faults import FaultSpec
from sim.training.answers import AnswerError, checked_answer
from sim.training.assignment import help_breaches
from sim.training.attempt import (
    Attempt,
    CheckSubmitted,
    ControlMoved,
    Event,
    HintOpened,
    QuestionAnswered,
    StepShown,
)
from sim.training.help import Help
from sim.training.lesson import HINT_LEVELS, Lesson
from sim.training.machine import NO_FAULTS, LessonMachine
from sim.training.reportmachine import ReportMachine, RunningReportMachine
from sim.training.score import Score, score_attempt
from sim.training.solution import solution_moves
from sim.wording import wording

__all__ = ["ItemResult", "Worth", "impossible_events", "worth_of", "worth_within"]


@dataclass(frozen=True)
class ItemResult:
    """One check or question of an attempt: its name, whether it passed, and the reading or answer in words."""

    name: str
    passed: bool
    given: str


@dataclass(frozen=True)
class Worth:
    """What a log is worth; small, so that it can be sent from one process to another.

    Attributes
    ----------
    refused : str
        Why it cannot be scored; empty if it can.
    impossible : tuple of str
        What in it cannot have happened at the bench, as sentences: the log was changed.
    submitted, passed, clean : bool
        As in `sim.training.progress.Outcome`.
    reason : str
        Why it is passed or not yet.
    checks, questions : tuple of ItemResult
        At the deciding submission; empty if there was none.
    careful : bool
        Whether order and care are in order.
    """

    refused: str = ""
    impossible: tuple[str, ...] = ()
    submitted: bool = False
    passed: bool = False
    clean: bool = False
    reason: str = ""
    checks: tuple[ItemResult, ...] = ()
    questions: tuple[ItemResult, ...] = ()
    careful: bool = True


def worth_of(
    lesson: Lesson,
    attempt: Attempt,
    machine: LessonMachine | None = None,
    faults: Mapping[str, FaultSpec] = NO_FAULTS,
    source_name: str = "attempt",
) -> Worth:
    """Return what a log is worth.

    Parameters
    ----------
    lesson : Lesson
        The lesson in the version it was made on.
    attempt : Attempt
        The log.
    machine : LessonMachine, optional
        The lesson's machine, if one is at hand.
    faults : mapping of str to FaultSpec
        The fault catalogue.
    source_name : str
        The log's name in messages.
    """
    try:
        if isinstance(machine, ReportMachine | RunningReportMachine):
            score = machine.score(attempt, source_name)
        else:
            score = score_attempt(lesson, attempt, machine, source_name, faults)
        impossible = tuple(impossible_events(lesson, attempt, score, faults))
    except BandbenchError as error:
        return Worth(refused=str(error))
    deciding = score.deciding
    return Worth(
        impossible=impossible,
        submitted=deciding is not None,
        passed=score.passed,
        clean=score.passed and len(HINT_LEVELS) not in score.hints_opened,
        reason=score.reason,
        checks=tuple(ItemResult(one.check.name, one.passed, one.value_text) for one in deciding.results)
        if deciding
        else (),
        questions=tuple(ItemResult(one.question.name, one.passed, one.given_text) for one in score.answers)
        if deciding
        else (),
        careful=score.parts[-1].passed,
    )


def worth_within(worth: Worth, permitted: Help, attempt: Attempt) -> Worth:
    """Return what a log is worth where only so much help was permitted; as `sim.training.assignment.score_within`."""
    breaches = help_breaches(permitted, attempt)
    if not breaches or worth.refused:
        return worth
    return replace(worth, passed=False, clean=False, reason=" ".join((worth.reason, *breaches)))


def impossible_events(
    lesson: Lesson, attempt: Attempt, score: Score, faults: Mapping[str, FaultSpec] = NO_FAULTS
) -> Iterator[str]:
    """Yield what in a scored log no `sim.training.session.Session` would have written, as sentences.

    Parameters
    ----------
    lesson, attempt : Lesson, Attempt
        The log and its lesson; `score_attempt` has accepted them.
    score : Score
        Its score.
    faults : mapping of str to FaultSpec
        The fault catalogue.
    """
    events = attempt.events
    for event in events:
        # The bench's clock is read to the millisecond.
        if round(event.at_s, 3) != event.at_s:
            yield wording("flags.time_s_finer_than", at_s=_as_fine_as_told(event.at_s))
            break
    yield from _after_the_end(lesson, events, score)
    yield from _hints_and_steps(events)
    yield from _answers(lesson, events, score, faults)
    # Only a held machine's controls are moved by nothing but the moves of the log.
    if lesson.running is None:
        yield from _moves(lesson, events, score)


def _as_fine_as_told(at_s: float) -> str:
    """Return a time with as few digits as show that it is no whole millisecond: binary fractions have a long tail.

    Examples
    --------
    >>> _as_fine_as_told(46.649010000000004)
    '46.64901'
    """
    texts = (f"{at_s:.{digits}f}" for digits in range(4, 13))
    return next((text for text in texts if float(text) != round(at_s, 3)), repr(at_s))


def _after_the_end(lesson: Lesson, events: tuple[Event, ...], score: Score) -> Iterator[str]:
    """Yield what was done after a passed attempt, or an assessment, was over."""
    waiting = {question.name for question in lesson.questions}
    only_once = lesson.mode in ("diagnosis", "assessment") or not lesson.checks
    submitted = 0
    good = False
    for place, event in enumerate(events, start=1):
        if isinstance(event, QuestionAnswered):
            waiting.discard(event.question)
        elif isinstance(event, CheckSubmitted):
            if only_once and waiting:
                yield wording("flags.event_submits_before_every", place=place)
                return
            # An assessment's later submissions may be left out of the score.
            good = good or (submitted < len(score.submissions) and score.submissions[submitted].passed)
            submitted += 1
        over = submitted > 0 and (lesson.mode == "assessment" or (good and not waiting))
        if over and place < len(events):
            yield wording("flags.attempt_over_event_but", place=place, place_2=len(events) - place)
            return


def _hints_and_steps(events: tuple[Event, ...]) -> Iterator[str]:
    opened, step = 0, 1
    for place, event in enumerate(events, start=1):
        if isinstance(event, HintOpened):
            if event.level != opened + 1:
                yield wording("flags.event_opens_hint_after", place=place, level=event.level, opened=opened)
                return
            opened = event.level
        elif isinstance(event, StepShown):
            if event.step == step:
                yield wording("flags.event_shows_step_which", place=place, step=step)
                return
            step = event.step


def _answers(lesson: Lesson, events: tuple[Event, ...], score: Score, faults: Mapping[str, FaultSpec]) -> Iterator[str]:
    for place, event in enumerate(events, start=1):
        asked = lesson.question(event.question) if isinstance(event, QuestionAnswered) else None
        if asked is None or not isinstance(event, QuestionAnswered):
            continue
        try:
            written = checked_answer(lesson, asked, score.start, faults, event.answer)
        except AnswerError as error:
            yield wording("flags.event", place=place, error=error)
            return
        if written != event.answer:
            yield wording("flags.event_answer_bench_does", place=place)
            return


def _moves(lesson: Lesson, events: tuple[Event, ...], score: Score) -> Iterator[str]:
    controls = dict(score.start.controls)
    worked: set[tuple[str, float]] | None = None
    for place, event in enumerate(events, start=1):
        if not isinstance(event, ControlMoved):
            continue
        if controls[event.control] == event.value:
            yield wording("flags.event_moves_where_already", place=place, control=event.control)
            return
        if event.shown:
            worked = set(solution_moves(lesson, score.start)) if worked is None else worked
            if (event.control, event.value) not in worked:
                yield wording("flags.event_said_lessons_but", place=place, control=event.control)
                return
        controls[event.control] = event.value
