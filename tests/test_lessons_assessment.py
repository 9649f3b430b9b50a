"""The final assessment cannot be passed by doing nothing, by turning knobs at random, or by always saying the same."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache

import numpy as np

from bandbench.bench.faults import FAULTS
from bandbench.lessons import LESSONS_FOLDER, read_lesson
from sim.controls import CONTROLS
from sim.training.answers import answer_options
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event, QuestionAnswered
from sim.training.deal import deal, draw
from sim.training.lesson import Lesson
from sim.training.lint import solution_attempt
from sim.training.machine import Machine, Start, on_step
from sim.training.score import Score, score_attempt
from sim.training.solution import solution_moves

ATTEMPTS = 1000
# Of so many starts, so many settings of the knobs each are worked out; the attempts share them.
SEEDS = range(101, 107)
SETTINGS_A_SEED = 6
# Every attempt is submitted at the same time, so that the frames that are read are the same.
SUBMITTED_S = 60.0
# The answers' share in the time before; their order among themselves does not matter.
ANSWERED_S = 5.0


@cache
def assessment() -> Lesson:
    return read_lesson(LESSONS_FOLDER / "final-assessment.toml")


@cache
def machine() -> Machine:
    return Machine(assessment(), faults=FAULTS)


@cache
def dealt(seed: int) -> Start:
    return deal(assessment(), seed, machine())


def submitted(seed: int, answers: Mapping[str, str], moves: Mapping[str, float]) -> Score:
    """Score of one who answers, sets the knobs in the order of the lesson and submits."""
    lesson = assessment()
    attempt = Attempt(lesson.id, lesson.version, seed)
    events: list[Event] = [QuestionAnswered(ANSWERED_S, name, answer) for name, answer in answers.items()]
    order = [name for group in lesson.order for name in group if name in moves]
    events += [ControlMoved(ANSWERED_S + place, name, moves[name]) for place, name in enumerate(order, start=1)]
    for event in (*events, CheckSubmitted(SUBMITTED_S)):
        attempt = attempt.with_event(event)
    return score_attempt(lesson, attempt, machine())


def right_answers(seed: int) -> dict[str, str]:
    attempt = solution_attempt(assessment(), dealt(seed), machine())
    return {event.question: event.answer for event in attempt.events if isinstance(event, QuestionAnswered)}


def right_moves(seed: int) -> dict[str, float]:
    return dict(solution_moves(assessment(), dealt(seed)))


def guessed(seed: int, chance: Callable[[], float]) -> dict[str, str]:
    """Answers by lot: any option, any lean that a guide in its range can make."""
    answers = {}
    for question in assessment().questions:
        options = [name for name, _ in answer_options(assessment(), question, dealt(seed), FAULTS)]
        # DERIVED: 0.0357 us a micrometre, of the guide displaced by at most 37 um in this lesson.
        answers[question.name] = options[int(chance() * len(options))] if options else repr(chance() * 2.6 - 1.3)
    return answers


def turned(chance: Callable[[], float]) -> dict[str, float]:
    """Every knob of the lesson's order anywhere in its range."""
    names = [name for group in assessment().order for name in group if name in CONTROLS]
    specs = [CONTROLS[name] for name in names]
    return {spec.name: on_step(spec.name, spec.minimum + chance() * (spec.maximum - spec.minimum)) for spec in specs}


def test_right_answers_and_right_settings_pass() -> None:
    # Without this the failures below would prove nothing.
    for seed in SEEDS:
        assert submitted(seed, right_answers(seed), right_moves(seed)).passed


def test_doing_nothing_fails() -> None:
    for seed in SEEDS:
        assert not submitted(seed, {}, {}).passed
        # Nor does it help to answer everything right and leave the machine as it is, or the other way round.
        asked = submitted(seed, right_answers(seed), {})
        assert [(part.name, part.passed) for part in asked.parts][:2] == [("result", False), ("diagnosis", True)]
        worked = submitted(seed, {}, right_moves(seed))
        assert [(part.name, part.passed) for part in worked.parts][:2] == [("result", True), ("diagnosis", False)]
        assert not asked.passed
        assert not worked.passed


def test_knobs_and_answers_at_random_fail_in_a_thousand_attempts() -> None:
    generator = np.random.default_rng(20)

    def chance() -> float:
        return float(generator.random())

    settings = {seed: [turned(chance) for _ in range(SETTINGS_A_SEED)] for seed in SEEDS}
    parts: Counter[str] = Counter()
    passed = 0
    for number in range(ATTEMPTS):
        seed = SEEDS[number % len(SEEDS)]
        score = submitted(seed, guessed(seed, chance), settings[seed][int(chance() * SETTINGS_A_SEED)])
        passed += score.passed
        parts.update(part.name for part in score.parts if part.passed)
    assert passed <= ATTEMPTS // 100
    # Either half alone stands in the way: all answers right by lot, or all four signals in tolerance by lot.
    assert parts["diagnosis"] <= ATTEMPTS // 100
    assert parts["result"] <= ATTEMPTS // 100


def lean_us(start: Start) -> float:
    """DERIVED: square root of 2 times the guide's displacement over the tip speed of 39.6 m/s (typical), inward."""
    return math.sqrt(2.0) * (start.controls["guide_position_um"] + start.condition.guide_offset_um) / 39.6


def test_always_the_same_answers_fail_even_with_perfect_settings() -> None:
    lesson = assessment()
    tolerance_us = next(question.tolerance for question in lesson.questions if question.name == "lean")
    starts = [draw(lesson, seed, 0, FAULTS) for seed in range(ATTEMPTS)]
    faults = Counter(start.faults[0].name for start in starts)
    # The catalogue's faults that come into question are dealt about equally often: four heads of each.
    entries = Counter(FAULTS[start.faults[0].name].entry for start in starts)
    assert len(faults) == 4 * len(entries)
    assert max(entries.values()) < 2.0 * min(entries.values())
    # Whoever answers by rote says the fault, head and lean that in hindsight fit most of the attempts.
    leans = np.array([lean_us(start) for start in starts])
    right, rote_lean_us, commonest = max(
        (int(np.sum(np.abs(own - lean) <= tolerance_us)), float(lean), name)
        for name in faults
        for own in [leans[[start.faults[0].name == name for start in starts]]]
        for lean in own
    )
    assert right <= ATTEMPTS // 100
    # The formula stands for the reading: near enough for the count, and the score says the same of whole attempts.
    entry, head = FAULTS[commonest].entry, FAULTS[commonest].head
    remedy = dict(next(question.answers for question in lesson.questions if question.name == "remedy"))[entry]
    rote = {"lean": repr(rote_lean_us), "head": str(head), "cause": entry, "remedy": remedy}
    for seed in SEEDS:
        start = dealt(seed)
        assert start.draw == 0
        assert abs(float(right_answers(seed)["lean"]) - lean_us(start)) < tolerance_us
        named = start.faults[0].name == commonest
        score = submitted(seed, rote, right_moves(seed))
        assert score.passed == (named and abs(float(right_answers(seed)["lean"]) - rote_lean_us) <= tolerance_us)
        assert [part.passed for part in score.parts if part.name == "result"] == [True]


def test_only_the_first_submission_counts() -> None:
    seed = SEEDS[0]
    lesson = assessment()
    attempt = solution_attempt(lesson, dealt(seed), machine())
    early = replace(attempt, events=(CheckSubmitted(0.0), *attempt.events))
    assert score_attempt(lesson, attempt, machine()).passed
    # Answers, too, count as they were at the first submission.
    assert not score_attempt(lesson, early, machine()).passed
