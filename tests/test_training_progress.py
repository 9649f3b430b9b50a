"""Progress: mastery on different seeds, lessons that come back, worked examples that fade, what to do next."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.training.attempt import Attempt, CheckSubmitted, HintOpened
from sim.training.course import Course, CourseGroup
from sim.training.lesson import Lesson
from sim.training.lint import solution_attempt
from sim.training.progress import (
    REVIEW_DAYS,
    Outcome,
    course_state,
    mastered_at,
    next_review,
    outcome_of,
    passes_in_a_row,
)
from sim.training.score import score_attempt
from tests.training_examples import example, example_machine
from tests.training_lessons import line_up

DAY_S = 86_400.0


def done(seed: int, day: float, result: str = "pass", lesson_id: str = "tracking-and-guide") -> Outcome:
    """One attempt: "pass", "hint" (passed with the last hint), "fail" or "left" (without a submission)."""
    passed = result in ("pass", "hint")
    return Outcome(lesson_id, seed, day * DAY_S, result != "left", passed, result == "pass")


@pytest.mark.parametrize(
    ("history", "row", "mastered"),
    [
        ([], 0, False),
        ([(1, "pass")], 1, False),
        ([(1, "pass"), (2, "pass")], 2, True),
        ([(1, "pass"), (1, "pass")], 1, False),
        ([(1, "pass"), (1, "pass"), (3, "pass")], 2, True),
        ([(1, "pass"), (2, "fail"), (3, "pass")], 1, False),
        ([(1, "pass"), (2, "hint"), (3, "pass")], 1, False),
        ([(1, "pass"), (2, "left"), (3, "pass")], 2, True),
        ([(1, "pass"), (2, "pass"), (3, "fail")], 0, True),
    ],
)
def test_mastery_is_passes_in_a_row_on_different_seeds_without_the_last_hint(
    history: list[tuple[int, str]], row: int, mastered: bool
) -> None:
    outcomes = [done(seed, float(day), result) for day, (seed, result) in enumerate(history)]
    assert passes_in_a_row(line_up(), outcomes) == row
    assert (mastered_at(line_up(), outcomes) is not None) is mastered
    assert (next_review(line_up(), outcomes) is not None) is mastered


def test_one_pass_masters_a_lesson_that_asks_for_one() -> None:
    assert mastered_at(replace(line_up(), passes=1), [done(1, 2.0)]) == 2.0 * DAY_S


def test_other_lessons_do_not_count() -> None:
    assert passes_in_a_row(line_up(), [done(1, 0.0, lesson_id="other")]) == 0


def reviewed(*later: tuple[float, str]) -> tuple[float, int]:
    """Mastered on day 0, then these attempts; return the day it is due and how many reviews it stood."""
    outcomes = [done(1, -0.1), done(2, 0.0)]
    outcomes += [done(10 + number, day, result) for number, (day, result) in enumerate(later)]
    review = next_review(line_up(), outcomes)
    assert review is not None
    return round(review.due_s / DAY_S, 6), review.stood


def test_mastered_lesson_comes_back_after_1_3_7_and_21_days() -> None:
    assert reviewed() == (1.0, 0)
    assert reviewed((1.0, "pass")) == (4.0, 1)
    assert reviewed((1.0, "pass"), (4.0, "pass")) == (11.0, 2)
    assert reviewed((1.0, "pass"), (4.0, "pass"), (11.0, "pass")) == (32.0, 3)
    assert reviewed((1.0, "pass"), (4.0, "pass"), (11.0, "pass"), (40.0, "pass")) == (61.0, 3)


def test_a_pass_before_it_is_due_changes_nothing_and_a_failure_begins_anew() -> None:
    assert reviewed((0.5, "pass")) == (1.0, 0)
    assert reviewed((1.0, "pass"), (2.0, "pass")) == (4.0, 1)
    assert reviewed((1.0, "pass"), (4.0, "fail")) == (5.0, 0)
    assert reviewed((0.2, "hint")) == (1.2, 0)
    assert reviewed((0.2, "left")) == (1.0, 0)


HISTORIES = st.lists(
    st.tuples(st.integers(1, 4), st.floats(0.0, 60.0), st.sampled_from(["pass", "hint", "fail", "left"])), max_size=12
)


@given(HISTORIES)
@settings(max_examples=200, deadline=None)
def test_a_review_is_always_one_interval_after_an_attempt(history: list[tuple[int, float, str]]) -> None:
    outcomes = [done(*one) for one in history]
    review = next_review(line_up(), outcomes)
    since_s = mastered_at(line_up(), outcomes)
    assert (review is None) is (since_s is None)
    if review is None or since_s is None:
        return
    assert 0 <= review.stood < len(REVIEW_DAYS)
    gaps = [review.due_s - outcome.when_s for outcome in outcomes if outcome.submitted]
    assert any(gap == pytest.approx(REVIEW_DAYS[review.stood] * DAY_S) for gap in gaps)
    assert review.due_s >= since_s + DAY_S * 0.999


@given(HISTORIES, st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_the_order_in_which_attempts_are_kept_does_not_matter(
    history: list[tuple[int, float, str]], chance: object
) -> None:
    # Two attempts never end at the same moment.
    outcomes = [done(seed, day + number * 1e-3, result) for number, (seed, day, result) in enumerate(history)]
    shuffled = list(outcomes)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]  # hypothesis gives a random.Random
    assert next_review(line_up(), shuffled) == next_review(line_up(), outcomes)
    assert passes_in_a_row(line_up(), shuffled) == passes_in_a_row(line_up(), outcomes)


@given(HISTORIES, st.integers(1, 5))
@settings(max_examples=100, deadline=None)
def test_more_attempts_never_take_mastery_away(history: list[tuple[int, float, str]], seed: int) -> None:
    outcomes = [done(*one) for one in history]
    before = mastered_at(line_up(), outcomes)
    after = mastered_at(line_up(), [*outcomes, done(seed, 61.0, "fail")])
    assert after == before


def test_outcome_of_a_scored_attempt() -> None:
    lesson, machine = example("demonstration"), example_machine("demonstration")
    log = Attempt(lesson.id, lesson.version, 3)
    left = outcome_of(log, score_attempt(lesson, log, machine), 10.0)
    assert (left.submitted, left.passed, left.clean) == (False, False, False)
    failed = log.with_event(CheckSubmitted(1.0))
    assert outcome_of(failed, score_attempt(lesson, failed, machine), 1.0).submitted
    solved = solution_attempt(lesson, score_attempt(lesson, log, machine).start, machine)
    good = outcome_of(solved, score_attempt(lesson, solved, machine), 5.0)
    assert good == Outcome(lesson.id, 3, 5.0, True, True, True)
    told = replace(solved, events=(*(HintOpened(0.0, level) for level in (1, 2, 3)), *solved.events))
    given_away = outcome_of(told, score_attempt(lesson, told, machine), 5.0)
    assert (given_away.passed, given_away.clean) == (True, False)


def lessons() -> dict[str, Lesson]:
    first, second, third = (replace(line_up(), id=name, passes=1) for name in ("first", "second", "third"))
    return {
        "first": first,
        "second": replace(second, prerequisites=("first",)),
        "third": replace(third, prerequisites=("second",)),
    }


COURSE = Course("course.toml", "Course", (CourseGroup("all", "All", "All.", ("first", "second", "third", "gone")),))


def states(outcomes: list[Outcome], day: float) -> tuple[list[str], str | None]:
    state = course_state(COURSE, lessons(), outcomes, day * DAY_S)
    return [one.state for one in state.lessons], state.next_lesson


def test_course_state_leads_from_the_first_lesson_to_the_last_and_back_to_what_is_due() -> None:
    assert states([], 0.0) == (["open", "later", "later"], "first")
    tried = [done(1, 0.0, "fail", "first")]
    assert states(tried, 0.1) == (["begun", "later", "later"], "first")
    first = [*tried, done(2, 0.2, "pass", "first")]
    assert states(first, 0.3) == (["mastered", "open", "later"], "second")
    assert states(first, 1.3) == (["due", "open", "later"], "first")
    ahead = [*first, done(1, 0.3, "fail", "third")]
    assert states(ahead, 0.4) == (["mastered", "open", "begun"], "second")
    every = [done(1, 0.0, "pass", name) for name in ("first", "second", "third")]
    assert states(every, 0.5) == (["mastered", "mastered", "mastered"], None)


def test_lesson_state_says_what_is_missing() -> None:
    state = course_state(COURSE, lessons(), [done(1, 0.0, "fail", "first")], 0.0)
    assert state.lessons[1].missing == ("first",)
    assert (state.lessons[0].attempts, state.lessons[0].row, state.lessons[0].passes) == (1, 0, 1)
