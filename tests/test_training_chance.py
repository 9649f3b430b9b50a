"""An assessment cannot be passed by chance: doing nothing, turning knobs at random, saying the commonest thing."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import cache

import pytest

from sim.condition import Condition
from sim.controls import CONTROLS
from sim.training.answers import answer_options
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event, QuestionAnswered
from sim.training.deal import deal
from sim.training.lint import solution_attempt
from sim.training.machine import Machine, Start, on_step
from sim.training.score import score_attempt
from sim.training.solution import solved_controls
from tests.training_examples import example, example_faults, example_machine

LESSON, REAL_MACHINE, FAULTS = example("assessment"), example_machine("assessment"), example_faults()


class FormulaMachine(Machine):
    """Reads what the formulas of the three line-up errors give, in no time: a thousand attempts need thousands of
    readings. A test below holds it to the real machine.
    """

    def readings(
        self, controls: Mapping[str, float], condition: Condition, index: int, names: Iterable[str]
    ) -> dict[str, float]:
        # The condition adds to the control; any of four tracks, a quarter turn apart, will do.
        off_deg = (controls["tracking_phase_deg"] + condition.tracking_offset_deg + 45.0) % 90.0 - 45.0
        guide_um = controls["guide_position_um"] + condition.guide_offset_um
        height_um = controls["guide_height_um"] + condition.guide_height_offset_um
        read = {
            # DERIVED: overlap of head and track, 10 mil wide; 62.5 mil of tape to a turn of the wheel.
            "rf_level_db": 20.0 * math.log10(1.0 - abs(off_deg) * 62.5 / 360.0 / 10.0),
            # DERIVED: sqrt(2) e / v = 0.907 us of lean for 25.4 um.
            "skew_us": 0.907 / 25.4 * guide_um,
            # DERIVED: (1 - cos 45 deg) e / v, the same displacement at right angles to it.
            "scallop_us": (1.0 - math.cos(math.pi / 4.0)) / math.sqrt(2.0) * 0.907 / 25.4 * height_um,
        }
        return {name: read[name] for name in names}


MACHINE = FormulaMachine(LESSON, faults=FAULTS)

ATTEMPTS = 1_000
# The issue asks for 99 in 100.
MOST_PASSED = 10
# Starts are dealt from so many seeds: a thousand attempts take turns at them.
STARTS: list[Start] = [deal(LESSON, seed, MACHINE) for seed in range(1, 21)]


def passed(events_for: Callable[[random.Random, Start], list[Event]]) -> int:
    """Score a thousand attempts and return how many passed."""
    chance = random.Random(7)
    count = 0
    for number in range(ATTEMPTS):
        start = STARTS[number % len(STARTS)]
        attempt = Attempt(LESSON.id, LESSON.version, start.seed, tuple(events_for(chance, start)))
        count += passes(attempt.with_event(CheckSubmitted(60.0)))
    return count


@cache
def passes(attempt: Attempt) -> bool:
    """Tell whether an attempt passes; the same one, which many make who turn nothing, is scored once."""
    return score_attempt(LESSON, attempt, MACHINE).passed


def answered(answer: str) -> QuestionAnswered:
    return QuestionAnswered(1.0, "cause", answer)


def random_answer(chance: random.Random, start: Start) -> QuestionAnswered:
    options = answer_options(LESSON, LESSON.questions[0], start, FAULTS)
    return answered(chance.choice(options)[0])


def random_moves(chance: random.Random, start: Start) -> list[Event]:
    moves: list[Event] = []
    for place in range(chance.randint(1, 8)):
        spec = CONTROLS[chance.choice(LESSON.controls)]
        value = min(chance.uniform(spec.minimum, spec.maximum), 120.0)
        moves.append(ControlMoved(2.0 + place, spec.name, on_step(spec.name, value)))
    return moves


@pytest.mark.parametrize("seed", range(1, 7))
def test_formula_machine_reads_what_the_real_one_does_wherever_a_pass_is_near(seed: int) -> None:
    chance = random.Random(seed)
    start = deal(LESSON, seed, MACHINE)
    assert start == deal(LESSON, seed, REAL_MACHINE)
    controls = solved_controls(LESSON, start)
    # A few tolerances to either side of the right settings.
    for name, reach in (("tracking_phase_deg", 6.0), ("guide_position_um", 6.0), ("guide_height_um", 25.0)):
        controls[name] += chance.uniform(-reach, reach)
    names = [check.measurement for check in LESSON.checks]
    quick = MACHINE.readings(controls, start.condition, 0, names)
    real = REAL_MACHINE.readings(controls, start.condition, 0, names)
    for check in LESSON.checks:
        assert quick[check.measurement] == pytest.approx(real[check.measurement], abs=0.5 * check.tolerance)


def test_the_same_starts_can_be_passed() -> None:
    for start in STARTS:
        assert score_attempt(LESSON, solution_attempt(LESSON, start, MACHINE), MACHINE).passed


def test_doing_nothing_never_passes() -> None:
    assert passed(lambda _chance, _start: []) == 0


def test_answering_by_chance_and_doing_nothing_never_passes() -> None:
    assert passed(lambda chance, start: [random_answer(chance, start)]) == 0


def test_saying_the_commonest_cause_every_time_never_passes_alone() -> None:
    commonest = Counter(start.faults[0].name for start in STARTS).most_common(1)[0][0]
    assert passed(lambda _chance, _start: [answered(commonest)]) == 0


def test_turning_knobs_at_random_fails_in_at_least_99_of_100_attempts() -> None:
    assert passed(lambda chance, start: [random_answer(chance, start), *random_moves(chance, start)]) <= MOST_PASSED


def test_knowing_the_cause_and_turning_at_random_fails_in_at_least_99_of_100_attempts() -> None:
    def events(chance: random.Random, start: Start) -> list[Event]:
        return [answered(start.faults[0].name), *random_moves(chance, start)]

    assert passed(events) <= MOST_PASSED
