"""The second-order loop of the servos against scipy and against the formulas of control theory."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, signal

from sim.servos.capstan import capstan_loop
from sim.servos.loop import Chance, PhaseLoop
from sim.servos.wheel import wheel_loops
from tests.outside_checks import OutsideCheck

VERTICAL, HORIZONTAL = wheel_loops()
LOOPS = {"wheel, vertical": VERTICAL, "wheel, horizontal": HORIZONTAL, "capstan": capstan_loop()}


def moved(
    loop: PhaseLoop, start: tuple[float, float], steps: int, gain: float, force: float = 0.0, limit: float = math.inf
) -> np.ndarray:
    """Phase error and rate after every step of 10 ms, the start included."""
    rows = [start]
    for _ in range(steps):
        rows.append(loop.advance(*rows[-1], 0.01, gain, force, limit))
    return np.array(rows)


def system(loop: PhaseLoop, gain: float) -> signal.StateSpace:
    """The loop as scipy's state space, from natural frequency and damping alone; input: an acceleration."""
    natural, damping = loop.natural(gain), loop.damping_ratio(gain)
    return signal.StateSpace([[0.0, 1.0], [-(natural**2), -2.0 * damping * natural]], [[0.0], [1.0]], [[1.0, 0.0]], 0.0)


@pytest.mark.parametrize("name", sorted(LOOPS))
@pytest.mark.parametrize("gain_db", [-12.0, 0.0, 6.0, 11.0])
def test_step_response_is_that_of_scipy(name: str, gain_db: float, outside_check: OutsideCheck) -> None:
    loop, gain = LOOPS[name], 10.0 ** (gain_db / 20.0)
    time_s = np.arange(301) * 0.01
    # The reference steps by 1: the error begins at -1. scipy: the step response of w^2 / (s^2 + 2 z w s + w^2).
    natural, damping = loop.natural(gain), loop.damping_ratio(gain)
    _, wanted = signal.step(signal.lti([natural**2], [1.0, 2.0 * damping * natural, natural**2]), T=time_s)
    ours = 1.0 + moved(loop, (-1.0, 0.0), 300, gain)[:, 0]
    # Where they differ most is a matter of rounding, and another moment on another processor; by how much is not.
    outside_check(
        f"servo loop, {name}, gain {gain_db:+g} dB: largest difference of the step response",
        "scipy.signal.step of the second-order system",
        0.0,
        float(np.max(np.abs(ours - wanted))),
        1e-6,
    )


@given(
    st.sampled_from(sorted(LOOPS)), st.floats(-24.0, 11.0), st.floats(-1.0, 1.0), st.floats(-5.0, 5.0),
    st.floats(-20.0, 20.0),
)  # fmt: skip
def test_any_start_and_force_go_as_in_scipy(name: str, gain_db: float, x: float, v: float, force: float) -> None:
    loop, gain = LOOPS[name], 10.0 ** (gain_db / 20.0)
    time_s = np.arange(101) * 0.01
    # Outside check: scipy.signal.lsim with a constant input.
    _, wanted, _ = signal.lsim(system(loop, gain), np.full(time_s.size, force), time_s, [x, v])
    np.testing.assert_allclose(moved(loop, (x, v), 100, gain, force)[:, 0], wanted, atol=1e-8)


@given(st.sampled_from(sorted(LOOPS)), st.floats(-24.0, 24.0))
def test_two_half_steps_are_one_step(name: str, gain_db: float) -> None:
    loop, gain = LOOPS[name], 10.0 ** (gain_db / 20.0)
    halves = loop.advance(*loop.advance(1.0, -2.0, 0.005, gain, 3.0), 0.005, gain, 3.0)
    assert halves == pytest.approx(loop.advance(1.0, -2.0, 0.01, gain, 3.0), rel=1e-11, abs=1e-11)


@pytest.mark.parametrize("name", sorted(LOOPS))
@pytest.mark.parametrize("gain_db", [3.0, 6.0, 9.0])
def test_too_high_a_gain_overshoots_by_the_formula(name: str, gain_db: float, outside_check: OutsideCheck) -> None:
    loop, gain = LOOPS[name], 10.0 ** (gain_db / 20.0)
    damping = loop.damping_ratio(gain)
    ours = 1.0 + moved(loop, (-1.0, 0.0), 800, gain)[:, 0]
    outside_check(
        f"servo loop, {name}, gain {gain_db:+g} dB: overshoot",
        "DERIVED exp(-pi z / sqrt(1 - z^2)) with z from the loop's gain",
        100.0 * math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2)),
        100.0 * (ours.max() - 1.0),
        0.7,  # the peak falls between two steps
        "%",
    )


def test_right_gain_is_critically_damped_and_hunting_begins_at_plus_12_db() -> None:
    for loop in LOOPS.values():
        assert loop.damping_ratio(1.0) == pytest.approx(1.0)  # MODEL: chosen so
        assert loop.damping_ratio(loop.hunting_gain * 0.999) > 0.0 > loop.damping_ratio(loop.hunting_gain * 1.001)
        assert 20.0 * math.log10(loop.hunting_gain) == pytest.approx(12.0, abs=0.1)  # MODEL


@pytest.mark.parametrize("gain", [5.0, 8.0])
def test_beyond_that_it_hunts_with_a_swing_that_the_limit_bounds(gain: float, outside_check: OutsideCheck) -> None:
    loop, limit = capstan_loop(), 7000.0
    stiffness = gain * loop.natural_rad_per_s**2

    def slope(_time_s: float, state: np.ndarray) -> list[float]:
        drive = float(np.clip(-stiffness * (state[0] - loop.lag_s * state[1]), -limit, limit))
        return [state[1], drive - loop.rate_feedback_per_s * state[1]]

    # Outside check: scipy.integrate.solve_ivp of the loop with its limit.
    found = integrate.solve_ivp(slope, (0.0, 20.0), [1.0, 0.0], max_step=2e-3, rtol=1e-8, atol=1e-8)
    wanted = np.abs(found.y[0][found.t > 15.0]).max()
    ours = np.abs(moved(loop, (1.0, 0.0), 2000, gain, limit=limit)[1500:, 0]).max()
    outside_check(
        f"servo loop that hunts at {gain:g} times its gain: swing",
        "scipy.integrate.solve_ivp of the loop with its limit",
        wanted,
        ours,
        0.03 * wanted,
        "deg",
    )


def test_swing_just_beyond_is_that_of_the_describing_function() -> None:
    """DERIVED: with its limit the phase path is as strong as just makes the loop hunt. Good near the onset only."""
    loop, limit, gain = capstan_loop(), 7000.0, 4.2
    stiffness = gain * loop.natural_rad_per_s**2
    ours = np.abs(moved(loop, (60.0, 0.0), 4000, gain, limit=limit)[3500:, 0]).max()
    share = loop.hunting_gain / gain
    over = np.linspace(1.0, 50.0, 200000)
    function = 2.0 / math.pi * (np.arcsin(1.0 / over) + np.sqrt(1.0 - over**-2.0) / over)
    detector = limit / stiffness * over[np.argmin(np.abs(function - share))]
    lag = loop.lag_s * loop.natural(loop.hunting_gain)
    assert ours == pytest.approx(detector / math.hypot(1.0, lag), rel=0.05)


def test_an_unsteady_torque_leaves_more_error_the_lower_the_gain(outside_check: OutsideCheck) -> None:
    generator = np.random.default_rng(5)
    push = generator.standard_normal(60000)
    measured = {}
    for gain in (0.25, 1.0, 2.5):
        loop = capstan_loop()
        x, v, values = 0.0, 0.0, []
        for force in push:
            x, v = loop.advance(x, v, 0.01, gain, float(force))
            values.append(x)
        measured[gain] = float(np.std(values))
    for gain in (0.25, 2.5):
        outside_check(
            f"servo loop at {gain:g} times its gain: rms error under random torque against the right gain",
            "DERIVED variance under white torque, 1 / (damping x stiffness)",
            capstan_loop().unsteadiness(gain),
            measured[gain] / measured[1.0],
            0.06 * measured[gain] / measured[1.0],
        )
    assert capstan_loop().unsteadiness(20.0) == pytest.approx(10.0)


def test_chance_is_even_and_independent_of_the_seeds_nearby() -> None:
    chance = Chance(3, 1)
    values = np.array([chance.uniform() for _ in range(20000)])
    assert values.mean() == pytest.approx(0.5, abs=0.01)
    assert values.var() == pytest.approx(1.0 / 12.0, abs=0.002)
    assert abs(np.corrcoef(values[:-1], values[1:])[0, 1]) < 0.03
    firsts = np.array([Chance(seed, 1).uniform() for seed in range(500)])
    assert firsts.mean() == pytest.approx(0.5, abs=0.05)
    assert abs(np.corrcoef(firsts[:-1], firsts[1:])[0, 1]) < 0.15
    around = np.array([chance.around_zero() for _ in range(20000)])
    assert (around.mean(), around.std()) == (pytest.approx(0.0, abs=0.03), pytest.approx(1.0, abs=0.03))
