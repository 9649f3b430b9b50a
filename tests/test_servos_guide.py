"""Automatic guide positioning, on the real machine: the lean is measured, never known."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.condition import Condition
from sim.headwheel import skew_s
from sim.instruments import measure
from sim.recorder import Recorder
from sim.servos import GUIDE_RANGE_UM, GuideServo, ServoError
from sim.standards import STANDARDS, get_standard
from tests.outside_checks import OutsideCheck

PRACTICES = {"525/60": "525 high-band", "625/50": "625 high-band"}


def settle(recorder: Recorder, servo: GuideServo, set_um: float, rounds: int) -> float:
    """Let the servo work for `rounds` of half a second with the reading of each; return the last lean [us]."""
    for index in range(rounds):
        recorder.set_control("guide_position_um", set_um + servo.correction_um)
        skew_us = measure(recorder.play_frame(index), "skew_us")
        for _ in range(50):
            servo.step(0.01, skew_us)
    recorder.set_control("guide_position_um", set_um + servo.correction_um)
    return measure(recorder.play_frame(rounds), "skew_us")


@pytest.mark.parametrize("standard", sorted(STANDARDS))
@pytest.mark.parametrize("offset_um", [30.0, -25.0])
def test_servo_takes_away_the_measured_lean(standard: str, offset_um: float, outside_check: OutsideCheck) -> None:
    tape = f"alignment-{standard[:3]}"
    recorder = Recorder(standard, PRACTICES[standard], tape, condition=Condition(guide_offset_um=offset_um))
    servo = GuideServo(recorder.standard)
    before_us = measure(recorder.play_frame(0), "skew_us")
    assert abs(before_us) > 0.5
    after_us = settle(recorder, servo, 0.0, 14)
    outside_check(
        f"automatic guide, {standard}, guide {offset_um:+g} um out: lean of the bands that is left",
        "DERIVED none: the lean is proportional to the guide's displacement",
        0.0,
        after_us,
        0.03,
        "us",
    )
    outside_check(
        f"automatic guide, {standard}, guide {offset_um:+g} um out: correction",
        "DERIVED the guide's error with its sign turned",
        -offset_um,
        servo.correction_um,
        1.0,
        "um",
    )


def test_guide_that_is_knocked_is_beyond_its_range() -> None:
    recorder = Recorder(tape="alignment-525", condition=Condition(guide_offset_um=75.0))
    servo = GuideServo(recorder.standard)
    left_us = settle(recorder, servo, 0.0, 12)
    assert servo.at_limit
    assert servo.correction_um == pytest.approx(-GUIDE_RANGE_UM)
    assert left_us == pytest.approx(skew_s(35.0, recorder.standard) * 1e6, abs=0.1)


def test_without_a_reading_it_stays_and_switched_off_it_goes_back() -> None:
    servo = GuideServo(get_standard("525/60"))
    for _ in range(300):
        servo.step(0.01, 0.4)
    moved = servo.correction_um
    assert moved < -5.0
    for _ in range(300):
        assert servo.step(0.01, None) == moved
    for _ in range(1500):
        servo.step(0.01, None, on=False)
    assert servo.correction_um == pytest.approx(0.0, abs=0.01)


@given(st.lists(st.one_of(st.none(), st.floats(-50.0, 50.0)), max_size=200))
def test_it_never_leaves_its_range_nor_hurries(readings: list[float | None]) -> None:
    servo, before = GuideServo(get_standard("625/50")), 0.0
    for skew_us in readings:
        after = servo.step(0.1, skew_us)
        assert abs(after) <= GUIDE_RANGE_UM
        assert abs(after - before) <= 1.5 + 1e-9  # MODEL: 15 um/s
        before = after


def test_what_makes_no_sense_is_refused() -> None:
    servo = GuideServo(get_standard("525/60"))
    with pytest.raises(ServoError, match="use a finite number, or None without a reading"):
        servo.step(0.01, math.nan)
    with pytest.raises(ServoError, match=r"at most 0\.1 s"):
        servo.step(1.0, 0.0)
    assert servo.correction_um == 0.0
