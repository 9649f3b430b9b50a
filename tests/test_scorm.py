"""What a SCORM 1.2 system is told: its forms, its vocabularies, and what a score, a lesson and a course amount to."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from bandbench.bench.recordform import checked_name
from bandbench.bench.scorm import (
    Standing,
    answer_values,
    check_values,
    course_objective,
    lesson_standing,
    objective_values,
    plain_text,
    points_of,
    read_launch,
    span,
    standing_of,
)
from bandbench.bench.scormstate import CourseOutcome
from sim.training.answers import judged, right_answer
from sim.training.attempt import Attempt, CheckSubmitted, HintOpened
from sim.training.checks import CheckResult
from sim.training.deal import deal
from sim.training.lesson import Lesson
from sim.training.lint import solution_attempt
from sim.training.machine import Machine
from sim.training.score import score_attempt
from tests.training_lessons import line_up, line_up_machine

LESSONS = read_lessons()
LESSON = LESSONS["tracking-and-guide"]
DEMONSTRATION = next(lesson for lesson in LESSONS.values() if lesson.mode == "demonstration")
NOON = datetime(2026, 3, 1, 12, 5, 9)

# QUOTED, SCORM 1.2 Run-Time Environment, data types: form of each element that is set.
FORMS = {
    "id": r"[\x21-\x7e]{1,255}",
    "time": r"([01]\d|2[0-3]):[0-5]\d:[0-5]\d(\.\d{1,2})?",
    "type": "true-false|choice|fill-in|matching|performance|sequencing|likert|numeric",
    "weighting": r"-?\d+(\.\d+)?",
    "student_response": r"[\x20-\x7e]{0,255}",
    "pattern": r"[\x20-\x7e]{0,255}",
    "result": r"correct|wrong|unanticipated|neutral|-?\d+(\.\d+)?",
    "latency": r"\d{4}:\d\d:\d\d(\.\d{1,2})?",
    "status": "passed|completed|failed|incomplete|browsed|not attempted",
    "raw": r"\d{1,2}|100",
    "min": "0",
    "max": "100",
}


def check_forms(values: list[tuple[str, str]]) -> dict[str, str]:
    """Fail if a value is not in its element's form; return the values by element."""
    for element, value in values:
        form = FORMS[element.rpartition(".")[2]]
        assert re.fullmatch(form, value), (element, value)
    return dict(values)


def done(lesson: Lesson, seed: int, minute: int, raw: int = 100) -> CourseOutcome:
    return CourseOutcome(lesson.id, seed, minute, raw == 100, raw == 100, raw)


# Forms ------------------------------------------------------------------------------------------------------


@given(seconds=st.floats(-1e9, 1e9))
def test_a_span_is_in_the_standards_form_and_right(seconds: float) -> None:
    text = span(seconds)
    assert re.fullmatch(FORMS["latency"], text)
    hours, minutes, rest = text.split(":")
    told_s = 3600 * int(hours) + 60 * int(minutes) + float(rest)
    assert told_s == pytest.approx(min(max(seconds, 0.0), 9999 * 3600 + 3599.99), abs=0.006)
    assert int(minutes) < 60
    assert float(rest) < 60


@given(text=st.text(max_size=400))
def test_a_plain_text_is_one_any_system_takes(text: str) -> None:
    assert re.fullmatch(FORMS["student_response"], plain_text(text))


WORDS = st.one_of(st.text(max_size=80), st.none(), st.integers(), st.sampled_from(["browse", "review", "normal", "70"]))


@settings(max_examples=60)
@given(data=st.dictionaries(st.sampled_from(list(vars(read_launch({})))), WORDS))
def test_whatever_a_system_says_is_taken_or_passed_over(data: dict[str, object]) -> None:
    launch = read_launch(data)
    assert launch.mastery is None or 0.0 <= launch.mastery <= 100.0
    assert launch.interactions >= 0
    assert launch.looking_only == (launch.lesson_mode in ("browse", "review"))
    # A name is shown and kept as any other learner's.
    assert launch.profile_name == "" or checked_name(launch.profile_name) == launch.profile_name
    assert re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", launch.profile_id)


def test_the_same_learner_is_always_the_same_profile() -> None:
    first = read_launch({"student_id": "s1", "student_name": "Muster, Ines"})
    assert read_launch({"student_id": "s1", "student_name": "Married, Ines"}).profile_id == first.profile_id
    assert read_launch({"student_id": "s2", "student_name": "Muster, Ines"}).profile_id != first.profile_id


# Status and score -------------------------------------------------------------------------------------------


def test_points_are_full_only_for_a_pass() -> None:
    lesson, machine = line_up(mode="assessment"), line_up_machine()
    start = deal(lesson, 5, machine)
    good = solution_attempt(lesson, start, machine)
    assert points_of(score_attempt(lesson, good, machine)) == 100
    hinted = Attempt(lesson.id, lesson.version, 5, (HintOpened(0.0, 1), *good.events))
    spoiled = score_attempt(lesson, hinted, machine)
    assert spoiled.points == 1.0
    assert points_of(spoiled) == 99
    nothing = Attempt(lesson.id, lesson.version, 5, (CheckSubmitted(1.0),))
    assert points_of(score_attempt(lesson, nothing, machine)) < 99


@pytest.mark.parametrize(
    ("raws", "mastery", "before", "expected"),
    [
        ([], None, "not attempted", Standing("incomplete", None)),
        ([40], None, "incomplete", Standing("failed", 40)),
        ([40, 100], None, "failed", Standing("passed", 100)),
        ([100, 40], None, "passed", Standing("passed", 100)),
        # What is no longer known takes nothing away, and brings no worse score.
        ([], None, "passed", Standing("passed", None)),
        ([40], None, "passed", Standing("passed", None)),
        ([], None, "failed", Standing("failed", None)),
        # The school's own measure.
        ([80], 80.0, "incomplete", Standing("passed", 80)),
        ([79], 80.0, "incomplete", Standing("failed", 79)),
        ([], 80.0, "incomplete", Standing("incomplete", None)),
    ],
)
def test_a_lesson_stands_by_its_best_attempt(
    raws: list[int], mastery: float | None, before: str, expected: Standing
) -> None:
    outcomes = [done(LESSON, seed, 1000 + seed, raw) for seed, raw in enumerate(raws)]
    assert standing_of([LESSON], True, outcomes, mastery, before) == expected


def test_a_demonstration_is_completed_and_cannot_be_failed() -> None:
    assert lesson_standing(DEMONSTRATION, [done(DEMONSTRATION, 1, 1, 30)]) == Standing("incomplete", 30)
    assert lesson_standing(DEMONSTRATION, [done(DEMONSTRATION, 1, 1)]) == Standing("completed", 100)


def test_a_course_is_passed_once_every_lesson_is_mastered() -> None:
    lessons = [replace(LESSON, passes=2), replace(DEMONSTRATION, passes=1)]
    outcomes: list[CourseOutcome] = []

    def told(mastery: float | None = None) -> Standing:
        return standing_of(lessons, False, outcomes, mastery, "incomplete")

    assert told() == Standing("incomplete", None)
    outcomes.append(done(LESSON, 1, 1000))
    assert told() == Standing("incomplete", 0)
    assert course_objective(lessons[0], outcomes, False) == Standing("incomplete", 100)
    # The same variation again proves nothing.
    outcomes.append(done(LESSON, 1, 1001))
    assert told() == Standing("incomplete", 0)
    outcomes.append(done(LESSON, 2, 1002))
    assert told() == Standing("incomplete", 50)
    assert course_objective(lessons[0], outcomes, False) == Standing("passed", 100)
    # No score for a system that would take a course half done as failed; one that asks for half has it.
    assert told(80.0) == Standing("incomplete", None)
    assert told(50.0) == Standing("passed", 50)
    outcomes.append(done(DEMONSTRATION, 1, 1003))
    assert told() == Standing("passed", 100)


def test_a_lesson_of_a_course_stands_as_its_objective_says() -> None:
    assert course_objective(LESSON, [], False) == Standing("not attempted", None)
    assert course_objective(LESSON, [], True) == Standing("incomplete", None)
    assert course_objective(LESSON, [done(LESSON, 1, 1, 30)], True) == Standing("failed", 30)


# Objectives and interactions --------------------------------------------------------------------------------


def test_an_objective_is_named_once_and_says_no_score_before_there_is_one() -> None:
    first = check_forms(list(objective_values(3, "check.rf", Standing("not attempted", None), True)))
    assert first == {"cmi.objectives.3.id": "check.rf", "cmi.objectives.3.status": "not attempted"}
    later = check_forms(list(objective_values(3, "check.rf", Standing("failed", 0), False)))
    assert later["cmi.objectives.3.score.raw"] == "0"
    assert "cmi.objectives.3.id" not in later


@pytest.mark.parametrize("value", [None, -1.25])
def test_a_check_is_a_performance(value: float | None) -> None:
    check = LESSON.checks[0]
    result = CheckResult(check, value, 0.0, False)
    values = check_forms(list(check_values(7, LESSON, result, "check.rf", NOON, 75.5)))
    assert values["cmi.interactions.7.type"] == "performance"
    assert values["cmi.interactions.7.id"] == f"{LESSON.id}.{check.name}"
    assert values["cmi.interactions.7.time"] == "12:05:09"
    assert values["cmi.interactions.7.latency"] == "0000:01:15.50"
    assert values["cmi.interactions.7.result"] == "wrong"
    assert values["cmi.interactions.7.student_response"] == plain_text(result.value_text)
    # The id comes before anything else of it: systems refuse the rest without it.
    assert next(iter(values)) == "cmi.interactions.7.id"


# Of each kind of question one lesson that asks it, and one where several answers are given together.
KINDS = {"choice": "choice", "head": "choice", "numeric": "numeric", "cause": "performance"}
ASKING = {kind: next(n for n, one in LESSONS.items() if any(q.kind == kind for q in one.questions)) for kind in KINDS}
TWO_FAULTS = [name for name, lesson in LESSONS.items() if lesson.fault_count > 1][:1]


@pytest.mark.parametrize("name", sorted({*ASKING.values(), *TWO_FAULTS}))
def test_questions_are_told_in_the_standards_forms(name: str) -> None:
    lesson = LESSONS[name]
    machine = Machine(lesson, faults=FAULTS)
    start = deal(lesson, 3, machine)
    for question in lesson.questions:
        given = right_answer(lesson, question, start, machine)
        result = judged(lesson, question, start, machine, given)
        values = check_forms(list(answer_values(0, lesson, result, "o", NOON, 1.0)))
        told = values["cmi.interactions.0.student_response"]
        assert told == values["cmi.interactions.0.correct_responses.0.pattern"]
        assert values["cmi.interactions.0.result"] == "correct"
        kind = values["cmi.interactions.0.type"]
        assert kind == KINDS[question.kind]
        if kind == "choice":
            # QUOTED, SCORM 1.2 Run-Time Environment, CMIFeedback of a choice: single letters or digits, with commas.
            assert re.fullmatch("[a-z0-9](,[a-z0-9])*", told)
        if kind == "numeric":
            assert float(told) == pytest.approx(float(given or "nan"), abs=1e-6)


def test_no_answer_is_told_without_a_response() -> None:
    lesson = next(lesson for lesson in LESSONS.values() if lesson.questions)
    machine = Machine(lesson, faults=FAULTS)
    result = judged(lesson, lesson.questions[0], deal(lesson, 3, machine), machine, None)
    values = check_forms(list(answer_values(0, lesson, result, "o", NOON, 1.0)))
    assert "cmi.interactions.0.student_response" not in values
    assert values["cmi.interactions.0.result"] == "wrong"
