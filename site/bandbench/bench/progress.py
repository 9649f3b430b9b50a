"""From kept attempts to progress: what each amounts to, and what to do next after one that has just been scored.

Contents: `outcome_of_row`, `outcomes_of`, `Advice`, `advice_after`, `advice_now`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from bandbench.bench.recordform import KeptAttempt
from bandbench.bench.words import say
from sim.controls import CONTROLS
from sim.training.attempt import Attempt, CheckSubmitted, HintOpened
from sim.training.course import Course
from sim.training.lesson import HINT_LEVELS, Lesson
from sim.training.progress import CourseState, Outcome, course_state
from sim.training.score import Score

__all__ = ["Advice", "advice_after", "advice_now", "outcome_of_row", "outcomes_of"]


def outcome_of_row(row: KeptAttempt, passed: bool) -> Outcome:
    """Return what a kept attempt amounts to.

    Parameters
    ----------
    row : KeptAttempt
        The attempt.
    passed : bool
        What its log was worth when this program scored it.
    """
    submitted = [place for place, event in enumerate(row.attempt.events) if isinstance(event, CheckSubmitted)]
    before = row.attempt.events[: submitted[-1]] if submitted else ()
    gave_away = any(isinstance(event, HintOpened) and event.level == len(HINT_LEVELS) for event in before)
    when_s = datetime.fromisoformat(row.ended_at).timestamp()
    return Outcome(
        row.lesson, row.attempt.seed, when_s, bool(submitted), passed and bool(submitted), passed and not gave_away
    )


def outcomes_of(rows: Iterable[KeptAttempt], passed: Callable[[KeptAttempt], bool | None]) -> tuple[Outcome, ...]:
    """Return what kept attempts amount to; those that this program has not scored yet are left out."""
    scored = ((row, passed(row)) for row in rows)
    return tuple(outcome_of_row(row, worth) for row, worth in scored if worth is not None)


@dataclass(frozen=True)
class Advice:
    """One thing to do next: its words, the lesson it is about, and whether that is the same lesson again."""

    text: str
    lesson: str
    again: bool


def advice_after(
    lesson: Lesson,
    attempt: Attempt,
    score: Score,
    before: Sequence[Outcome],
    course: Course,
    lessons: Mapping[str, Lesson],
    now_s: float,
) -> Advice:
    """Return the one thing to do after an attempt.

    Parameters
    ----------
    lesson, attempt, score
        What was done, and what it was worth.
    before : sequence of Outcome
        The learner's other attempts.
    course, lessons
        What there is.
    now_s : float
        Now, on the clock of the outcomes [s].

    Notes
    -----
    What is not passed comes first, then what is passed but not mastered; then whatever the course advises: a review
    that is due before something new.
    """
    if not score.passed:
        return Advice(_why_again(lesson, score), lesson.id, True)
    clean = len(HINT_LEVELS) not in score.hints_opened
    if not clean:
        return Advice(say("result.do_without_hint"), lesson.id, True)
    own = Outcome(lesson.id, attempt.seed, now_s, True, True, clean)
    state = course_state(course, lessons, (*before, own), now_s)
    here = next((one for one in state.lessons if one.lesson_id == lesson.id), None)
    if here is not None and here.state not in ("mastered", "due"):
        return Advice(say("result.do_variation", row=here.row, passes=here.passes), lesson.id, True)
    if state.next_lesson == lesson.id:
        return Advice(say("result.do_rest"), lesson.id, True)
    return advice_now(state, lessons)


def advice_now(state: CourseState, lessons: Mapping[str, Lesson]) -> Advice:
    """Return the one thing to do as the course stands, whatever was done last."""
    following = lessons.get(state.next_lesson or "")
    if following is None:
        return Advice(say("result.do_rest"), "", True)
    due = any(one.lesson_id == following.id and one.state == "due" for one in state.lessons)
    key = "result.do_review" if due else "result.do_lesson"
    return Advice(say(key, title=following.title), following.id, False)


def _why_again(lesson: Lesson, score: Score) -> str:
    if score.deciding is None:
        return say("result.do_submit")
    for result in score.deciding.results:
        if result.passed:
            continue
        step = next(
            (
                (place, one)
                for place, one in enumerate(lesson.steps, start=1)
                if result.check.measurement in one.watch and one.control
            ),
            None,
        )
        if step is None:
            return say("result.do_reading", title=result.check.title)
        place, one = step
        label = CONTROLS[one.control].label if one.control else ""
        return say("result.do_step", title=result.check.title, step=place, name=one.title, label=label)
    missed = next((answer for answer in score.answers if not answer.passed), None)
    if missed is not None:
        return say("result.do_question", title=missed.question.title)
    return say("result.do_care")
