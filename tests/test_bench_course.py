"""The course at the bench without a browser: what is next, how each lesson stands, and what can be chosen."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from bandbench.bench.application import ROUND, BenchApplication
from bandbench.bench.course import completed
from bandbench.bench.lessons import read_course, read_lessons
from bandbench.bench.progress import advice_after, outcome_of_row, outcomes_of
from bandbench.bench.recordform import KeptAttempt, time_text
from bandbench.bench.words import say
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, HintOpened
from sim.training.course import Course, CourseGroup
from sim.training.lint import solution_attempt
from sim.training.machine import Machine
from sim.training.score import score_attempt
from tests.bench_clock import Clock
from tests.training_examples import example

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
EMPTY: dict[str, Any] = {
    "app_version": "test", "storage": {"state": "kept", "reason": ""}, "profile": "", "profiles": [],
    "attempts": [], "running": [], "notes": [], "elsewhere": [],
}  # fmt: skip


@pytest.fixture
def application() -> BenchApplication:
    made = BenchApplication(Clock())
    made.next_frame()
    made.learner.take("all", json.dumps(EMPTY))
    return made


def tick_round(application: BenchApplication) -> None:
    for _ in range(2 * len(ROUND)):
        application.tick(0.0)


def shown(application: BenchApplication) -> dict[str, Any]:
    return dict(json.loads(application.course.list.shown))


def entries(application: BenchApplication) -> dict[str, dict[str, Any]]:
    return {one["id"]: one for group in shown(application)["groups"] for one in group["lessons"]}


def learn(application: BenchApplication) -> None:
    application.lesson.receive({"do": "mode", "value": "learn"})
    tick_round(application)


def kept(lesson: str, attempt: Attempt, when: datetime) -> KeptAttempt:
    return KeptAttempt(
        f"{lesson}-{when}", "someone", lesson, attempt.lesson_version, time_text(when), time_text(when), "test",
        attempt.to_json(), attempt,
    )  # fmt: skip


# What is shown ----------------------------------------------------------------------------------------------


def test_course_is_shown_only_while_a_lesson_can_be_chosen(application: BenchApplication) -> None:
    tick_round(application)
    assert application.course.list.shown == ""
    learn(application)
    assert set(entries(application)) == set(application.bench.lessons)
    application.lesson.receive({"do": "begin"})
    tick_round(application)
    assert application.course.list.shown == ""


def test_a_new_learner_is_offered_the_first_lesson_and_only_its_group_is_open(application: BenchApplication) -> None:
    learn(application)
    first = application.course.course.lessons[0]
    data = shown(application)
    assert (data["next"], data["chosen"]) == (first, first)
    assert [group["open"] for group in data["groups"]] == [True] + [False] * (len(data["groups"]) - 1)
    one = entries(application)[first]
    lesson = application.bench.lessons[first]
    assert one["next"]
    assert one["text"] == say("course.open")
    assert str(lesson.minutes) in one["about"]
    assert lesson.level in one["about"]
    assert lesson.mode in one["about"]


def test_prerequisites_advise_and_do_not_lock(application: BenchApplication) -> None:
    learn(application)
    later = next(one for one in entries(application).values() if one["state"] == "later" and not one["locked"])
    application.course.receive({"do": "choose", "value": later["id"]})
    tick_round(application)
    assert application.course.list.notice == ""
    assert shown(application)["chosen"] == later["id"]
    assert application.lesson.card.lesson["title"]
    application.lesson.receive({"do": "begin"})
    assert application.bench.running_session().lesson.id == later["id"]


def test_an_assessment_opens_only_when_what_comes_before_is_mastered(application: BenchApplication) -> None:
    bench = application.bench
    first = next(iter(bench.lessons.values()))
    exam = replace(first, id="the-exam", mode="assessment", prerequisites=(first.id,), title="The exam")
    bench.lessons = {**bench.lessons, exam.id: exam}
    application.course.course = completed(application.course.course, bench.lessons)
    application.learner.records.version += 1
    learn(application)
    assert entries(application)[exam.id]["locked"]
    before = shown(application)["chosen"]
    application.course.receive({"do": "choose", "value": exam.id})
    tick_round(application)
    assert first.title in application.course.list.notice
    assert shown(application)["chosen"] == before


def test_a_lesson_that_the_course_does_not_list_is_still_within_reach() -> None:
    lessons = {name: replace(example("guided"), id=name) for name in ("a", "b")}
    course = completed(Course("c.toml", "C", (CourseGroup("one", "One", "One", ("a",)),)), lessons)
    assert course.lessons == ("a", "b")
    assert completed(course, lessons) is course


# What attempts amount to ------------------------------------------------------------------------------------


def test_a_pass_after_the_last_hint_is_not_clean() -> None:
    plain = Attempt("a", 1, 5, (ControlMoved(1.0, "guide_position_um", 2.0), CheckSubmitted(2.0)))
    helped = Attempt("a", 1, 5, (HintOpened(0.5, 1), HintOpened(0.6, 2), HintOpened(0.7, 3), CheckSubmitted(2.0)))
    left = Attempt("a", 1, 5, (ControlMoved(1.0, "guide_position_um", 2.0),))
    assert outcome_of_row(kept("a", plain, NOW), True).clean
    assert not outcome_of_row(kept("a", helped, NOW), True).clean
    assert outcome_of_row(kept("a", helped, NOW), True).passed
    assert not outcome_of_row(kept("a", left, NOW), False).submitted
    assert outcome_of_row(kept("a", plain, NOW), True).when_s == NOW.timestamp()


def test_attempts_that_have_not_been_scored_here_count_for_nothing() -> None:
    rows = [kept("a", Attempt("a", 1, seed, (CheckSubmitted(1.0),)), NOW) for seed in (1, 2, 3)]
    worth = {1: True, 2: None, 3: False}
    found = outcomes_of(rows, lambda row: worth[row.attempt.seed])
    assert [(one.seed, one.passed) for one in found] == [(1, True), (3, False)]


def test_a_mastered_lesson_says_when_it_comes_back_and_comes_first_when_it_is_due(
    application: BenchApplication, monkeypatch: pytest.MonkeyPatch
) -> None:
    records, first = application.learner.records, application.course.course.lessons[0]
    lesson = application.bench.lessons[first]
    for place in range(lesson.passes):
        row = kept(first, Attempt(first, lesson.version, place, (CheckSubmitted(1.0),)), NOW + timedelta(minutes=place))
        records.attempts[row.id] = row
    monkeypatch.setattr(records, "passed", lambda row: True)
    # Two hours later it is mastered, and the next lesson is on offer.
    monkeypatch.setattr(application.course, "_moment", lambda: NOW + timedelta(hours=2))
    records.version += 1
    learn(application)
    one = entries(application)[first]
    assert one["state"] == "mastered"
    back = datetime.fromisoformat(one["at"])
    assert timedelta(0) <= back - NOW - timedelta(days=1) < timedelta(hours=1)
    assert shown(application)["next"] != first
    # A day and a half later it is due, and comes before anything new.
    monkeypatch.setattr(application.course, "_moment", lambda: NOW + timedelta(days=1.5))
    records.version += 1
    tick_round(application)
    assert entries(application)[first]["state"] == "due"
    assert shown(application)["next"] == first


# One thing to do next ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def scored() -> dict[str, Any]:
    lessons = read_lessons()
    lesson = lessons["tracking-and-guide"]
    machine = Machine(lesson)
    blank = Attempt(lesson.id, lesson.version, 3, (CheckSubmitted(1.0),))
    missed = score_attempt(lesson, blank, machine)
    solved = solution_attempt(lesson, missed.start, machine)
    return {
        "lessons": lessons, "course": read_course(lessons), "lesson": lesson, "blank": blank, "missed": missed,
        "solved": solved, "passed": score_attempt(lesson, solved, machine), "machine": machine,
    }  # fmt: skip


def advice(scored: dict[str, Any], attempt: str, score: Any, *before: Any) -> Any:
    return advice_after(
        scored["lesson"], scored[attempt], score, before, scored["course"], scored["lessons"], NOW.timestamp()
    )


def test_after_a_miss_the_same_lesson_comes_again_with_the_step_that_moves_it(scored: dict[str, Any]) -> None:
    told = advice(scored, "blank", scored["missed"])
    assert told.again
    assert told.lesson == "tracking-and-guide"
    check = next(one.check for one in scored["missed"].deciding.results if not one.passed)
    assert check.title in told.text


def test_after_a_first_pass_another_variation_comes(scored: dict[str, Any]) -> None:
    assert scored["passed"].passed
    told = advice(scored, "solved", scored["passed"])
    assert told.again
    passes = scored["lesson"].passes
    assert told.text == say("result.do_variation", row=1, passes=passes)


def test_after_a_pass_with_the_last_hint_the_same_comes_without_it(scored: dict[str, Any]) -> None:
    told = advice(scored, "solved", replace(scored["passed"], hints_opened=(1, 2, 3)))
    assert (told.again, told.text) == (True, say("result.do_without_hint"))


def test_a_mastered_lesson_leads_on_to_another(scored: dict[str, Any]) -> None:
    lesson = scored["lesson"]
    earlier = [
        outcome_of_row(
            kept(lesson.id, replace(scored["solved"], seed=90 + place), NOW - timedelta(hours=5 - place)), True
        )
        for place in range(lesson.passes - 1)
    ]
    told = advice(scored, "solved", scored["passed"], *earlier)
    assert not told.again
    assert told.lesson != lesson.id
    assert scored["lessons"][told.lesson].title in told.text
