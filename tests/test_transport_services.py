"""Arms, timer, air, vacuum and supplies against their solutions in closed form, and the transport's faults."""

from __future__ import annotations

import math
from dataclasses import fields

import numpy as np
import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st

from sim.transport import DeckCondition, DeckError, timer_text
from sim.transport.rollers import ARM_FULL_N, TensionArm
from sim.transport.services import Services
from tests.outside_checks import OutsideCheck
from tests.transport_rig import Rig


@pytest.mark.parametrize("dt_s", [0.002, 0.01, 0.05])
def test_arm_moves_as_a_second_order_system(dt_s: float, outside_check: OutsideCheck) -> None:
    natural = 2.0 * np.pi * 1.5
    system = scipy.signal.TransferFunction([natural**2], [1.0, 2.0 * 0.7 * natural, natural**2])
    time_s = np.arange(0, round(2.0 / dt_s)) * dt_s
    _, answer = scipy.signal.step(system, T=time_s)
    arm = TensionArm()
    positions = [0.0]
    for _ in time_s[1:]:
        arm.step(dt_s, 0.5 * ARM_FULL_N)
        positions.append(arm.position)
    worst = float(np.abs(np.array(positions) - 0.5 * answer).max())
    outside_check(f"tension arm, step of {1e3 * dt_s:g} ms", "scipy: step response", 0.0, worst, 1e-6)


@given(st.lists(st.tuples(st.sampled_from([0.005, 0.01, 0.05]), st.floats(0.0, 1e3)), max_size=60))
def test_arm_stays_between_its_stops(moves: list[tuple[float, float]]) -> None:
    arm = TensionArm()
    for dt_s, tension_n in moves:
        arm.step(dt_s, tension_n)
        assert 0.0 <= arm.position <= 1.0
        assert math.isfinite(arm.speed_per_s)


@given(st.integers(-400_000, 400_000))
def test_timer_text_says_the_seconds(seconds: int) -> None:
    hours, minutes, rest = (int(part) for part in timer_text(seconds).lstrip("-").split(":"))
    assert 3600 * hours + 60 * minutes + rest == abs(seconds)
    assert timer_text(seconds).startswith("-") == (seconds < 0)


def test_air_and_vacuum_rise_and_fall_exponentially() -> None:
    services = Services()
    for _ in range(150):
        services.step(0.01, True, True, True, False, DeckCondition())
    # MODEL: 300 kPa with 1 s, 8 kPa with 0.4 s; DERIVED: 1 - exp(-t / T).
    assert services.air_kpa == pytest.approx(300.0 * (1.0 - math.exp(-1.5)), rel=1e-9)
    assert services.vacuum_kpa == pytest.approx(8.0 * (1.0 - math.exp(-1.5 / 0.4)), rel=1e-9)
    air_kpa, vacuum_kpa = services.air_kpa, services.vacuum_kpa
    for _ in range(6):
        services.step(0.05, True, False, False, False, DeckCondition())
    assert services.air_kpa == pytest.approx(air_kpa * math.exp(-0.3 / 6.0), rel=1e-9)
    assert services.vacuum_kpa == pytest.approx(vacuum_kpa * math.exp(-0.3 / 0.15), rel=1e-9)


@pytest.mark.parametrize("leak", [0.0, 0.2, 0.6])
def test_a_leak_shows_on_the_gauge(leak: float) -> None:
    services = Services()
    for _ in range(1000):
        services.step(0.05, True, True, True, False, DeckCondition(air_leak=leak, vacuum_leak=leak))
    assert services.air_kpa == pytest.approx(300.0 * (1.0 - leak))
    assert services.vacuum_kpa == pytest.approx(8.0 * (1.0 - leak))
    assert services.air_ok == services.vacuum_ok == (leak < 0.3)


def test_the_wheel_is_not_driven_before_there_is_air() -> None:
    rig = Rig().thread().do("standby")
    seen = []
    for _ in range(3):
        seen.append((rig.deck.mode, rig.deck.air_ok, rig.deck.wheel_driven))
        rig.run(0.6)
    assert seen == [("running_up", False, False), ("running_up", False, False), ("running_up", True, True)]
    rig.until("standby")
    # MODEL: about a second for the air and two and a half for the wheel of the rig.
    assert rig.deck.run_up_s == pytest.approx(3.5, abs=0.2)


@pytest.mark.parametrize("condition", [DeckCondition(air_pump_failed=True), DeckCondition(air_leak=0.5)])
def test_without_air_there_is_no_standby(condition: DeckCondition) -> None:
    rig = Rig(condition).thread().do("play")
    rig.until("stop", 25.0)
    assert "air for the head wheel does not hold" in rig.deck.stopped_because
    assert "Look at the gauge, pump and lines" in rig.deck.stopped_because
    assert rig.wheel_hz == 0.0


def test_air_lost_in_play_stops_all_and_a_wheel_that_coasts_dry_is_counted() -> None:
    rig = Rig().ready().run(1.0)
    rig.deck.condition = DeckCondition(air_pump_failed=True)
    rig.until("stopping", 5.0)
    assert "air for the head wheel does not hold" in rig.deck.stopped_because
    rig.until("stop")
    assert not rig.deck.wheel_driven
    assert rig.wheel_hz > 100.0
    rig.run(10.0)
    assert 3.0 < rig.deck.dry_spin_s < 10.0


def test_air_runs_on_until_the_wheel_is_at_rest() -> None:
    rig = Rig().ready().run(1.0).do("stop")
    rig.until("stop")
    while not rig.deck.wheel_at_rest:
        rig.step()
        assert rig.deck.air_ok
    assert rig.run(30.0).deck.air_kpa < 3.0
    assert rig.deck.dry_spin_s == 0.0


@pytest.mark.parametrize(("failed", "drag_n"), [(False, 0.6), (True, 2.4)])
def test_without_air_the_guides_drag_at_the_tape(failed: bool, drag_n: float) -> None:
    rig = Rig(DeckCondition(air_pump_failed=failed)).ready("stop", 500.0).do("wind_forward").run(20.0)
    # MODEL: 0.6 N with the tape floating on air, 2.4 N without; at even speed the two tensions differ by the drag.
    assert rig.deck.takeup_tension_n - rig.deck.supply_tension_n == pytest.approx(drag_n, abs=0.02)
    assert rig.deck.mode == "wind_forward"


def test_a_wheel_that_does_not_lock_is_given_up() -> None:
    rig = Rig().thread()
    rig.wheel_can_lock = False
    took_s = rig.do("standby").until("stop")
    assert took_s == pytest.approx(20.0, abs=0.1)
    assert rig.deck.stopped_because.startswith("The head wheel did not lock in time")


def test_vacuum_holds_the_tape_in_the_guide_only_while_it_plays() -> None:
    rig = Rig().ready("standby").run(1.0)
    seen = [(rig.deck.vacuum_ok, rig.deck.guide_closed, rig.deck.tape_on_guide)]
    for act in ("play", "standby"):
        rig.do(act).run(1.0)
        seen.append((rig.deck.vacuum_ok, rig.deck.guide_closed, rig.deck.tape_on_guide))
    assert seen == [(True, False, False), (True, True, True), (True, False, False)]


def test_vacuum_lost_in_play_stops_the_tape() -> None:
    rig = Rig().ready().run(1.0)
    rig.deck.condition = DeckCondition(vacuum_pump_failed=True)
    rig.until("stopping", 1.0)
    # The tape does not stop dead: brakes take it down.
    assert rig.deck.tape_speed_m_per_s > 0.3
    assert "vacuum does not hold the tape" in rig.deck.stopped_because
    rig.until("stop", 5.0)


def test_without_vacuum_play_never_starts_the_tape() -> None:
    rig = Rig(DeckCondition(vacuum_leak=0.9)).thread().do("play")
    start_m = rig.deck.position_m
    rig.until("play")
    rig.until("stop", 5.0)
    assert "gauge, pump and guide" in rig.deck.stopped_because
    assert rig.deck.position_m == start_m
    assert rig.deck.head_hours_h == 0.0


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        (DeckCondition(supply_tension_drift=-1.0), "supply tension arm stands at its slack stop"),
        (DeckCondition(takeup_tension_drift=-0.95), "take-up tension arm stands at its slack stop"),
        (DeckCondition(supply_tension_drift=1.5), "supply tension arm stands at its tight stop"),
        (DeckCondition(takeup_tension_drift=2.0), "take-up tension arm stands at its tight stop"),
    ],
)
def test_an_arm_at_its_stop_stops_the_tape(condition: DeckCondition, words: str) -> None:
    rig = Rig(condition).ready().run(1.0)
    rig.until("stop", 10.0)
    assert words in rig.deck.stopped_because
    assert not rig.deck.wheel_driven


def test_a_tension_that_drifted_shows_and_plays_on() -> None:
    rig = Rig(DeckCondition(supply_tension_drift=0.4)).ready().run(5.0)
    assert rig.deck.mode == "play"
    assert rig.deck.supply_tension_n == pytest.approx(1.4 * 3.5, rel=0.03)
    assert rig.deck.supply_arm == pytest.approx(1.4 * 3.5 / ARM_FULL_N, rel=0.05)
    assert rig.deck.takeup_tension_n == pytest.approx(3.5, rel=0.03)


def test_head_hours_count_the_wheel_on_tape_alone() -> None:
    rig = Rig().thread().do("standby")
    rig.until("standby")
    rig.run(20.0)
    assert rig.deck.head_hours_h == 0.0
    rig.do("play").run(36.0)
    # DERIVED: 36 s are a hundredth of an hour, less the quarter second that the guide takes.
    assert rig.deck.head_hours_h == pytest.approx(0.01, abs=1e-4)
    rig.do("wind_forward").run(1.0)
    hours = rig.deck.head_hours_h
    assert rig.run(20.0).deck.head_hours_h == hours


@pytest.mark.parametrize("name", [entry.name for entry in fields(DeckCondition)])
def test_a_condition_that_cannot_be_is_refused(name: str) -> None:
    for value in (math.nan, -1.5, 1e9, None):
        with pytest.raises(DeckError, match=f"transport condition '{name}'"):
            DeckCondition(**{name: value})  # type: ignore[arg-type]
