"""The start a seed deals: spread as the lesson says, the same every time, and never finished work."""

from __future__ import annotations

import statistics
from dataclasses import replace

import pytest

from sim.condition import Condition
from sim.controls import CONTROLS, default_controls
from sim.errors import BandbenchError
from sim.training.checks import check_results
from sim.training.deal import deal, draw
from sim.training.lesson import Lesson, Spread
from sim.training.machine import Machine, condition_value, on_step
from sim.training.parts import LARGEST_SEED
from sim.training.reader import LessonError
from tests.training_lessons import line_up, line_up_machine


def with_control(name: str, spread: Spread) -> Lesson:
    return replace(line_up(), start_controls={name: spread}, start_condition={}, must_fail=())


def drawn(name: str, spread: Spread, count: int = 400) -> list[float]:
    lesson = with_control(name, spread)
    return [draw(lesson, seed).controls[name] for seed in range(count)]


def test_uniform_fills_its_range_evenly() -> None:
    values = drawn("guide_position_um", Spread("uniform", minimum=-40.0, maximum=20.0))
    assert -40.0 <= min(values) < -37.0
    assert 17.0 < max(values) <= 20.0
    # DERIVED: mean (a + b) / 2, standard error (b - a) / sqrt(12 n) = 0.87; four of them allowed.
    assert statistics.mean(values) == pytest.approx(-10.0, abs=3.5)
    assert statistics.stdev(values) == pytest.approx(60.0 / 12**0.5, rel=0.1)


def test_either_side_keeps_its_distance_from_the_centre_on_both_sides() -> None:
    values = drawn("guide_position_um", Spread("either_side", centre=10.0, minimum=20.0, maximum=60.0))
    distances = [abs(value - 10.0) for value in values]
    assert min(distances) >= 20.0
    assert max(distances) <= 60.0
    # DERIVED: half of 400 with a standard deviation of 10; four allowed.
    assert 160 <= sum(value > 10.0 for value in values) <= 240


def test_normal_has_its_spread_and_stays_inside_its_limits() -> None:
    values = drawn("guide_position_um", Spread("normal", centre=5.0, deviation=10.0, minimum=-100.0, maximum=100.0))
    assert statistics.mean(values) == pytest.approx(5.0, abs=2.0)
    assert statistics.stdev(values) == pytest.approx(10.0, rel=0.12)
    cut = drawn("guide_position_um", Spread("normal", centre=5.0, deviation=10.0, minimum=4.0, maximum=5.5))
    assert min(cut) >= 4.0
    assert max(cut) <= 5.5


def test_normal_with_limits_in_the_far_tail_is_still_inside_them() -> None:
    values = drawn("guide_position_um", Spread("normal", centre=0.0, deviation=0.001, minimum=0.0, maximum=50.0), 50)
    assert all(0.0 <= value <= 50.0 for value in values)


def test_choice_and_fixed() -> None:
    assert set(drawn("channel_on_2", Spread("choice", choices=(0.0, 1.0)), 50)) == {0.0, 1.0}
    assert set(drawn("video_level_db", Spread("fixed", centre=-1.5), 5)) == {-1.5}


def test_start_values_lie_on_the_finest_step_of_the_control() -> None:
    step = CONTROLS["guide_height_um"].fine_step
    for value in drawn("guide_height_um", Spread("uniform", minimum=-50.0, maximum=50.0), 50):
        assert value / step == pytest.approx(round(value / step), abs=1e-9)


def test_controls_the_lesson_does_not_name_are_at_their_defaults() -> None:
    start = draw(line_up(), 3)
    named = set(line_up().start_controls)
    assert {k: v for k, v in start.controls.items() if k not in named} == {
        k: v for k, v in default_controls().items() if k not in named
    }


def test_condition_of_all_heads_or_of_one() -> None:
    spread = Spread("uniform", minimum=-3.0, maximum=-1.0)
    lesson = replace(line_up(), start_condition={"head_output_db": spread})
    every = draw(lesson, 1).condition.head_output_db
    assert len(set(every)) == 4
    assert all(-3.0 <= level <= -1.0 for level in every)
    lesson = replace(line_up(), start_condition={"head_output_db_3": spread})
    one = draw(lesson, 1).condition.head_output_db
    assert one == (0.0, 0.0, every[2], 0.0)
    lesson = replace(
        line_up(), start_condition={"head_output_db": spread, "head_output_db_3": Spread("fixed", centre=-9.0)}
    )
    assert draw(lesson, 1).condition.head_output_db == (every[0], every[1], -9.0, every[3])


def test_one_more_spread_leaves_the_others_as_they_were() -> None:
    lesson = line_up()
    more = replace(lesson, start_condition={**lesson.start_condition, "guide_height_offset_um": Spread("fixed")})
    assert draw(more, 11).controls == draw(lesson, 11).controls
    assert draw(more, 11).condition == draw(lesson, 11).condition


def test_same_seed_same_start_other_seed_other_right_settings() -> None:
    lesson, machine = line_up(), line_up_machine()
    starts = [deal(lesson, seed, machine) for seed in range(1, 7)]
    assert deal(lesson, 4, Machine(lesson)) == starts[3]
    assert len({(s.condition.tracking_offset_deg, s.condition.guide_offset_um) for s in starts}) == len(starts)


@pytest.mark.parametrize(
    ("spread", "dealt"),
    [
        (Spread("uniform", minimum=-100.0, maximum=100.0), [-57.5, -9.7, -68.0]),
        (Spread("either_side", minimum=0.0, maximum=100.0), [21.3, 45.2, -16.0]),
        (Spread("normal", deviation=20.0, minimum=-100.0, maximum=100.0), [-15.9, -2.4, -19.9]),
    ],
)
def test_numbers_dealt_do_not_change_between_releases(spread: Spread, dealt: list[float]) -> None:
    # Written down from this generator on 2026-11-25; a change would give old attempt logs another start.
    assert drawn("guide_position_um", spread, 3) == dealt


def test_every_check_that_must_fail_does_as_delivered() -> None:
    lesson, machine = line_up(), line_up_machine()
    for seed in range(15):
        start = deal(lesson, seed, machine)
        results = check_results(lesson, machine, start, (), 0.0)
        assert [result.passed for result in results] == [False, False]


def test_draws_that_leave_nothing_to_do_are_dealt_again() -> None:
    # Half of the draws are already at the right tracking; guide right throughout.
    lesson = replace(
        with_control("tracking_phase_deg", Spread("choice", choices=(0.0, 20.0))),
        solution=(replace(line_up().solution[0], cancels=None),),
    )
    starts = [deal(lesson, seed, line_up_machine()) for seed in range(12)]
    assert {start.controls["tracking_phase_deg"] for start in starts} == {20.0}
    assert max(start.draw for start in starts) > 0


def test_lesson_that_deals_only_finished_work_is_refused() -> None:
    lesson = replace(
        with_control("tracking_phase_deg", Spread("fixed")), solution=(replace(line_up().solution[0], cancels=None),)
    )
    with pytest.raises(LessonError, match="draws leave too little to do") as caught:
        deal(lesson, 5, line_up_machine())
    assert caught.value.problem.key == "start"


@pytest.mark.parametrize("seed", [-1, LARGEST_SEED + 1, True, 1.0, "1"])
def test_unusable_seeds_are_refused(seed: object) -> None:
    with pytest.raises(BandbenchError, match="use a whole number from 0"):
        draw(line_up(), seed)  # type: ignore[arg-type]


def test_largest_seed_deals() -> None:
    assert draw(line_up(), LARGEST_SEED).seed == LARGEST_SEED


def test_condition_value_by_name() -> None:
    condition = Condition(guide_offset_um=3.0, head_timing_offset_ns=(1.0, 2.0, 3.0, 4.0))
    assert condition_value(condition, "guide_offset_um") == 3.0
    assert [condition_value(condition, f"head_timing_offset_ns_{head}") for head in range(1, 5)] == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("value", "settled"), [(0.04, 0.0), (0.06, 0.1), (-0.06, -0.1), (0.30000000000000004, 0.3), (149.99, 150.0)]
)
def test_on_step_rounds_to_the_finest_step(value: float, settled: float) -> None:
    assert on_step("guide_position_um", value) == settled
