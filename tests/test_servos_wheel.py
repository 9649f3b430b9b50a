"""The head wheel's servo: run-up, the order of the locks, lock-up time, faults, and that it always comes back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from sim.servos import (
    LOCK_RESIDUAL_NS,
    LOCK_UP_ATTENTION_S,
    LOCK_UP_NORMAL_S,
    WHEEL_STATES,
    ServoCondition,
    ServoError,
    WheelServo,
    WheelSettings,
)
from sim.servos.wheel import wheel_loops
from sim.standards import STANDARDS, Standard, get_standard
from tests.outside_checks import OutsideCheck

NTSC = get_standard("525/60")
BOTH = pytest.mark.parametrize("standard", STANDARDS.values(), ids=str)
TURN_S = 1.0 / NTSC.wheel_rate_hz


def run(
    wheel: WheelServo, seconds: float, *, driven: bool = True, gain_db: float = 0.0, **condition: float
) -> list[tuple[str, float, float]]:
    """State, rate error and phase error after every step."""
    rows = []
    for _ in range(round(seconds * 100)):
        wheel.step(0.01, driven, True, WheelSettings(gain_db), ServoCondition(**condition))
        rows.append((wheel.state, wheel.rate_error, wheel.phase_error_s))
    return rows


def locked_wheel(standard: Standard = NTSC, seed: int = 0) -> WheelServo:
    wheel = WheelServo(standard, seed)
    run(wheel, 6.0)
    assert wheel.state == "horizontal"
    return wheel


@BOTH
def test_lock_up_takes_about_the_published_time(standard: Standard, outside_check: OutsideCheck) -> None:
    times = []
    for seed in range(40):
        wheel = WheelServo(standard, seed)
        run(wheel, 5.0)
        assert wheel.lock_time_s is not None
        times.append(wheel.lock_time_s)
    outside_check(
        f"wheel servo, {standard.name}: mean lock-up time of 40 starts",
        "QUOTED about 3.5 s is normal (publication not named)",
        LOCK_UP_NORMAL_S,
        float(np.mean(times)),
        0.2,
        "s",
    )
    # QUOTED: more than 4 s needs attention (publication not named); no start of a sound machine does.
    assert max(times) < LOCK_UP_ATTENTION_S
    assert max(times) - min(times) > 0.1, "how long it takes depends on where the wheel happens to stand"


@BOTH
def test_speed_comes_before_vertical_and_vertical_before_horizontal(standard: Standard) -> None:
    rows = run(WheelServo(standard, 2), 5.0)
    states = list(dict.fromkeys(state for state, _, _ in rows))
    assert states == ["running_up", "speed", "vertical", "horizontal"]
    assert [state for state, _, _ in rows] == sorted((state for state, _, _ in rows), key=states.index)


def test_run_up_is_that_of_a_full_torque_against_a_drag(outside_check: OutsideCheck) -> None:
    rates = [1.0 + rate for state, rate, _ in run(WheelServo(NTSC), 3.0) if state == "running_up"]
    # DERIVED: w' = torque - w / 15 s (MODEL), scipy's step response of the first-order lag, scaled at the last moment.
    time_s = np.arange(1, len(rates) + 1) * 0.01
    _, lag = signal.step(signal.lti([1.0], [1.0, 1.0 / 15.0]), T=np.concatenate([[0.0], time_s]))
    half = len(rates) // 2
    outside_check(
        "head wheel's speed half-way through its run-up",
        "scipy.signal.step of torque against drag",
        rates[-1] * lag[half + 1] / lag[-1],
        rates[half],
        1e-4,
        "nominal speeds",
    )
    assert 2.0 < time_s[-1] < 2.5  # MODEL: about 2 to 2.5 s


@BOTH
@pytest.mark.parametrize("gain_db", [-6.0, 0.0, 6.0])
def test_phase_comes_in_as_scipy_says(standard: Standard, gain_db: float, outside_check: OutsideCheck) -> None:
    """From the moment the phase loop is closed: the picture rolls in on the second-order curve."""
    wheel = WheelServo(standard, 7)
    rows = run(wheel, 5.0, gain_db=gain_db)
    first = next(index for index, row in enumerate(rows) if row[0] == "vertical")
    last = next(index for index, row in enumerate(rows) if row[0] == "horizontal")
    _, rate, phase = rows[first]
    loop, gain = wheel_loops()[0], 10.0 ** (gain_db / 20.0)
    natural, damping = loop.natural(gain), loop.damping_ratio(gain)
    matrix = [[0.0, 1.0], [-(natural**2), -2.0 * damping * natural]]
    time_s = np.arange(last - first) * 0.01
    system = signal.StateSpace(matrix, [[0.0], [1.0]], [[1.0, 0.0]], 0.0)
    _, wanted, _ = signal.lsim(system, np.zeros(time_s.size), time_s, [phase, rate])
    ours = np.array([row[2] for row in rows[first:last]])
    worst = int(np.argmax(np.abs(ours - wanted)))
    outside_check(
        f"wheel servo, {standard.name}, gain {gain_db:+g} dB: phase on its way to vertical lock, where it differs most",
        "scipy.signal.lsim of the second-order system",
        1e6 * wanted[worst],
        1e6 * ours[worst],
        1.0,  # the noise of the bearing is in it
        "us",
    )
    assert np.abs(ours).max() > 50e-6, "there is something to see rolling"


def test_phase_moves_without_a_jump_but_for_whole_turns() -> None:
    wheel = WheelServo(NTSC, 5)
    place, before = [], wheel.phase_error_s
    for _ in range(400):
        wheel.step(0.01, True, True)
        assert abs(wheel.phase_error_s) <= 0.5 * TURN_S + 1e-12
        place.append(wheel.phase_error_s + wheel.turn_slips * TURN_S)
    steps = np.diff([before, *place])
    assert np.abs(steps).max() < 0.0101  # no faster than a wheel that stands still
    assert np.abs(np.diff(steps)).max() < 1e-4, "nor does its rate jump"


@given(st.integers(0, 500))
@settings(max_examples=25, deadline=None)
def test_lock_leaves_the_residual_of_its_state(seed: int) -> None:
    wheel = WheelServo(NTSC, seed)
    for _ in range(450):
        wheel.step(0.01, True, True)
        if wheel.locked:
            # MEMORY for horizontal, MODEL for vertical: sim.servos.LOCK_RESIDUAL_NS.
            assert wheel.residual_peak_s == pytest.approx(LOCK_RESIDUAL_NS[wheel.state] * 1e-9)
    assert wheel.state == "horizontal"
    assert abs(wheel.phase_error_s) < 30e-9
    assert wheel.rate_hz == pytest.approx(NTSC.wheel_rate_hz, rel=1e-6)


def test_without_drive_it_runs_down_for_tens_of_seconds(outside_check: OutsideCheck) -> None:
    wheel = locked_wheel()
    rows = run(wheel, 15.0, driven=False)
    assert {row[0] for row in rows} == {"coasting"}
    # DERIVED: w' = -w / 15 s - 0.003 /s (MODEL both).
    outside_check(
        "head wheel's speed 15 s after its drive was taken away",
        "DERIVED exp(-1) less what dry friction takes, 0.045 (1 - exp(-1))",
        math.exp(-1.0) - 0.045 * (1.0 - math.exp(-1.0)),
        1.0 + rows[-1][1],
        1e-6,
        "nominal speeds",
    )
    run(wheel, 60.0, driven=False)
    assert (wheel.state, wheel.rate_hz, wheel.residual_peak_s) == ("stopped", 0.0, 0.0)
    assert WHEEL_STATES[wheel.state].endswith("still.")


def test_without_air_it_is_not_driven() -> None:
    wheel = WheelServo(NTSC)
    for _ in range(200):
        wheel.step(0.01, True, False)
    assert (wheel.state, wheel.rate_hz) == ("stopped", 0.0)
    wheel = locked_wheel()
    wheel.step(0.01, True, False)
    assert wheel.state == "coasting"


def test_driven_again_while_coasting_it_locks_sooner() -> None:
    wheel = locked_wheel()
    run(wheel, 3.0, driven=False)
    run(wheel, 5.0)
    assert wheel.lock_time_s is not None
    assert wheel.lock_time_s < 2.5


@pytest.mark.parametrize(("gain_db", "least_s"), [(-6.0, LOCK_UP_ATTENTION_S), (-12.0, 6.0)])
def test_too_low_a_gain_locks_late_and_leaves_more_error(gain_db: float, least_s: float) -> None:
    wheel = WheelServo(NTSC, 3)
    run(wheel, 12.0, gain_db=gain_db)
    assert wheel.lock_time_s is not None
    assert wheel.lock_time_s > least_s
    assert wheel.residual_peak_s > 1.2 * LOCK_RESIDUAL_NS["horizontal"] * 1e-9


@pytest.mark.parametrize("gain_db", [13.0, 16.0, 20.0])
def test_too_high_a_gain_hunts_within_bounds_and_stops_when_it_is_put_right(gain_db: float) -> None:
    wheel = locked_wheel()
    # From perfect lock: what the bearing's noise begins, the loop makes larger.
    rows = run(wheel, 30.0, gain_db=gain_db)
    early, late = (np.array([row[2] for row in part]) for part in (rows[:20], rows[-300:]))
    assert np.ptp(late) > 3.0 * np.ptp(early), "it grows"
    assert np.ptp(late) > 2.0 * NTSC.line_period_s
    assert np.ptp(late) <= TURN_S
    assert "horizontal" not in {row[0] for row in rows[-300:]}
    run(wheel, 5.0)
    assert wheel.state == "horizontal"
    assert abs(wheel.phase_error_s) < 1e-7


def test_heavy_bearing_locks_late_then_never_comes_to_speed() -> None:
    times = []
    for drag_pct in (0.0, 100.0, 300.0, 450.0):
        wheel = WheelServo(NTSC, 1)
        run(wheel, 12.0, wheel_drag_pct=drag_pct)
        assert wheel.lock_time_s is not None
        times.append(wheel.lock_time_s)
    assert times == sorted(times)
    assert times[0] < LOCK_UP_ATTENTION_S < times[2]
    wheel = WheelServo(NTSC, 1)
    assert {row[0] for row in run(wheel, 30.0, wheel_drag_pct=900.0)} == {"running_up"}
    assert 0.3 < 1.0 + wheel.rate_error < 0.9


def test_sound_bearing_leaves_nanoseconds_that_are_steady() -> None:
    phase = np.array([row[2] for row in run(locked_wheel(), 60.0)])
    # MODEL: far inside the peak of LOCK_RESIDUAL_NS, which the fast error of wheel_jitter_s makes up.
    assert 2e-9 < phase.std() < 10e-9
    assert np.abs(phase).max() < 0.3 * LOCK_RESIDUAL_NS["horizontal"] * 1e-9


def test_brushes_that_grip_unevenly_unsteady_the_wheel() -> None:
    sound, rough = locked_wheel(), locked_wheel()
    calm = np.array([row[2] for row in run(sound, 5.0)])
    shaken = np.array([row[2] for row in run(rough, 5.0, brush_friction_pct=60.0)])
    assert calm.std() < 10e-9 < 100e-9 < shaken.std()
    assert rough.residual_peak_s > 2.0 * sound.residual_peak_s


def test_weak_tachometer_first_falls_out_of_horizontal_then_never_leaves_speed_lock() -> None:
    shares = {}
    for pulse_pct in (100.0, 62.0, 52.0, 35.0, 0.0):
        rows = run(WheelServo(NTSC, 3), 40.0, tachometer_pct=pulse_pct)[1000:]
        shares[pulse_pct] = {state: sum(row[0] == state for row in rows) / len(rows) for state in WHEEL_STATES}
    assert shares[100.0]["horizontal"] == shares[62.0]["horizontal"] == 1.0
    assert shares[52.0]["horizontal"] > 0.0 < shares[52.0]["vertical"]
    assert shares[35.0]["speed"] == shares[0.0]["speed"] == 1.0
    # A wheel whose pulses are missed is driven too fast.
    wheel = WheelServo(NTSC, 3)
    run(wheel, 10.0, tachometer_pct=35.0)
    assert 0.005 < wheel.rate_error < 0.1


CONDITIONS = st.fixed_dictionaries(
    {
        "tachometer_pct": st.sampled_from([100.0, 55.0, 45.0, 0.0]),
        "wheel_drag_pct": st.floats(0.0, 2000.0),
        "brush_friction_pct": st.floats(0.0, 1000.0),
    }
)


@given(
    st.integers(0, 1000),
    st.lists(
        st.tuples(st.booleans(), st.booleans(), st.floats(-24.0, 24.0), CONDITIONS, st.integers(1, 150)), max_size=6
    ),
    st.sampled_from([0.01, 0.004, 0.1]),
)
@settings(max_examples=60, deadline=None)
def test_whatever_happens_it_stays_bounded_and_locks_when_put_right(
    seed: int,
    events: list[tuple[bool, bool, float, dict[str, float], int]],
    dt_s: float,
) -> None:
    wheel = WheelServo(NTSC, seed)
    for driven, air_ok, gain_db, condition, steps in events:
        for _ in range(steps):
            wheel.step(dt_s, driven, air_ok, WheelSettings(gain_db), ServoCondition(**condition))
            assert wheel.state in WHEEL_STATES
            assert 0.0 <= wheel.rate_hz <= 1.1 * NTSC.wheel_rate_hz + 1e-9
            assert abs(wheel.phase_error_s) <= 0.5 * TURN_S + 1e-12
            assert 0.0 <= wheel.residual_peak_s < 1e-3
    for _ in range(round(12.0 / dt_s)):
        wheel.step(dt_s, True, True)
    assert wheel.state == "horizontal"
    assert abs(wheel.phase_error_s) < 1e-7


def test_same_seed_same_wheel_and_another_seed_another() -> None:
    one, other, third = (
        run(WheelServo(NTSC, seed), 6.0, tachometer_pct=50.0, brush_friction_pct=20.0) for seed in (4, 4, 5)
    )
    assert one == other
    assert one != third


@pytest.mark.parametrize("dt_s", [0.0, -0.01, 0.2, math.nan, math.inf])
def test_step_that_makes_no_sense_is_refused(dt_s: float) -> None:
    wheel = WheelServo(NTSC)
    with pytest.raises(ServoError, match=r"use more than 0 and at most 0\.1 s"):
        wheel.step(dt_s, True, True)
    assert wheel.state == "stopped"
