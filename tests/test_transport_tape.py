"""Tape, reels and timer: lengths, radii, times and tensions against arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.standards import FOOTPRINT, get_standard
from sim.transport import LEADER_M, PATH_M, WHEEL_TO_TAKEUP_M, Deck, DeckCondition, DeckError, wound_radius_m
from sim.transport.reels import HUB_RADIUS_M, TAPE_THICKNESS_M, TapePath, wound_inertia_kg_m2
from tests.outside_checks import OutsideCheck
from tests.transport_rig import FEET_4800_M, Rig


def minutes_of_play(standard: str) -> float:
    """Minutes in which 4800 ft pass the wheel."""
    rig = Rig(standard=standard, length_m=FEET_4800_M + 20.0).ready("play")
    start_m, start_s = rig.deck.position_m, rig.deck.time_s
    while rig.deck.position_m - start_m < FEET_4800_M:
        rig.step(0.05)
    over_m = rig.deck.position_m - start_m - FEET_4800_M
    assert rig.deck.mode == "play"
    return (rig.deck.time_s - start_s - over_m / rig.deck.nominal_m_per_s) / 60.0


def test_4800_feet_last_64_minutes(outside_check: OutsideCheck) -> None:
    source = "PUB SMPTE ST 4 abstract: 15 in/s; 4800 ft x 12 / 15 s"
    outside_check("525/60 playing time of 4800 ft", source, 64.0, minutes_of_play("525/60"), 1e-3, "min")
    source = "QUOTED, publication not named: 15.625 in/s; 4800 ft x 12 / 15.625 s"
    outside_check("625/50 playing time of 4800 ft", source, 61.44, minutes_of_play("625/50"), 1e-3, "min")


def test_tape_speed_fits_wheel_and_pitch_in_625() -> None:
    deck = Rig(standard="625/50").deck
    # DERIVED: four tracks a turn, 250 turns a second (QUOTED).
    assert deck.nominal_m_per_s == pytest.approx(FOOTPRINT.control_period_m * 250.0, rel=1e-12)


@given(st.floats(0.0, 2300.0))
def test_radius_covers_the_area_of_the_tape_edge(length_m: float) -> None:
    # DERIVED: area of a ring.
    ring = math.pi * (wound_radius_m(length_m) ** 2 - HUB_RADIUS_M**2)
    assert ring == pytest.approx(length_m * TAPE_THICKNESS_M, rel=1e-9, abs=1e-12)


def test_inertia_is_that_of_the_ring_summed_over_its_layers() -> None:
    # DERIVED: dJ = r^2 dm, summed numerically; 1600 kg/m^3 and 2 in width.
    radius = np.linspace(HUB_RADIUS_M, wound_radius_m(1000.0), 20001)
    layer = 2.0 * np.pi * radius * FOOTPRINT.tape_width_m * 1600.0 * radius**2
    summed = float(np.trapezoid(layer, radius))
    assert wound_inertia_kg_m2(1000.0) - wound_inertia_kg_m2(0.0) == pytest.approx(summed, rel=1e-6)


def test_reels_turn_as_often_as_the_layers_that_go() -> None:
    rig = Rig().ready("stop", 300.0).do("wind_forward")
    deck = rig.deck
    angles = deck.supply_angle_rad, deck.takeup_angle_rad
    radii = deck.supply_radius_m, deck.takeup_radius_m
    rig.run(60.0)
    # DERIVED: every turn takes one layer off the supply and puts one on the take-up.
    layers = (radii[0] - deck.supply_radius_m) / TAPE_THICKNESS_M, (deck.takeup_radius_m - radii[1]) / TAPE_THICKNESS_M
    assert (deck.supply_angle_rad - angles[0]) / (2.0 * math.pi) == pytest.approx(layers[0], rel=1e-3)
    assert (deck.takeup_angle_rad - angles[1]) / (2.0 * math.pi) == pytest.approx(layers[1], rel=1e-3)
    assert deck.supply_rotation_rad_per_s * deck.supply_radius_m == pytest.approx(deck.tape_speed_m_per_s)
    assert deck.takeup_rotation_rad_per_s * deck.takeup_radius_m == pytest.approx(deck.tape_speed_m_per_s)


def test_coasting_keeps_the_energy() -> None:
    tape = TapePath(FEET_4800_M)
    tape.place(5.0)
    tape.speed_m_per_s = 4.0
    energy = 0.5 * tape.moving_mass_kg * 16.0
    masses = set()
    for _ in range(30000):
        tape.coast(0.01, 0.0, 0.0, 0.0)
        masses.add(round(tape.moving_mass_kg, 2))
    assert len(masses) > 50
    # DERIVED: without forces the kinetic energy of reels and tape stays.
    assert 0.5 * tape.moving_mass_kg * tape.speed_m_per_s**2 == pytest.approx(energy, rel=1e-9)


def test_forces_do_the_work_that_the_energy_gains() -> None:
    tape = TapePath(FEET_4800_M)
    tape.place(100.0)
    tape.speed_m_per_s = 0.5
    before, start_m = 0.5 * tape.moving_mass_kg * 0.25, tape.edge_m
    for _ in range(20000):
        tape.coast(0.001, 2.0, 4.0, 0.5)
    gained = 0.5 * tape.moving_mass_kg * tape.speed_m_per_s**2 - before
    # DERIVED: (4 - 2 - 0.5) N along the way.
    assert gained == pytest.approx(1.5 * (tape.edge_m - start_m), rel=1e-3)


def test_tension_differs_along_the_path_by_drag_and_inertia_of_the_tape_alone() -> None:
    tape = TapePath(FEET_4800_M)
    tape.place(700.0)
    tape.speed_m_per_s = 1.0
    tape.coast(0.01, 2.0, 9.0, 0.5)
    path_kg = tape.moving_mass_kg - tape.supply_mass_kg - tape.takeup_mass_kg
    # DERIVED: Newton's law for the tape between the reels.
    assert tape.takeup_tension_n - tape.supply_tension_n == pytest.approx(
        0.5 + path_kg * tape.acceleration_m_per_s2, rel=1e-4
    )
    assert tape.supply_tension_n > 2.0
    assert tape.takeup_tension_n < 9.0


def test_a_full_reel_rewinds_in_five_to_seven_minutes_and_keeps_its_leader() -> None:
    rig = Rig().ready("stop", FEET_4800_M - PATH_M - LEADER_M).do("wind_reverse")
    fastest = 0.0
    start_s = rig.deck.time_s
    while rig.deck.mode != "stop":
        rig.step(0.05)
        fastest = max(fastest, abs(rig.deck.tape_speed_m_per_s))
    # From memory: a full 4800 ft reel rewinds in about five to seven minutes.
    assert 300.0 <= rig.deck.time_s - start_s <= 420.0
    assert fastest < 4.7
    assert LEADER_M - 0.2 <= rig.deck.takeup_m <= LEADER_M
    assert "beginning of the tape is near" in rig.deck.stopped_because
    assert rig.deck.threaded
    assert rig.deck.at_beginning


def test_winding_speeds_up_no_faster_than_the_torque_allows() -> None:
    rig = Rig().ready("stop", 50.0).do("wind_forward").run(1.0)
    deck = rig.deck
    # DERIVED: the take-up reel is nearly empty, so 1.6 N m at its radius is the greatest pull.
    assert 0.5 < deck.tape_speed_m_per_s < 1.6 / deck.takeup_radius_m / 6.0
    assert rig.run(12.0).deck.tape_speed_m_per_s == pytest.approx(4.6, rel=0.01)


@pytest.mark.parametrize("act", ["wind_forward", "wind_reverse"])
def test_stopping_from_speed_takes_time_and_spares_the_tape(act: str) -> None:
    rig = Rig().ready("stop", 700.0).do(act).run(20.0)
    deck = rig.deck
    start_m, speed = deck.position_m, abs(deck.tape_speed_m_per_s)
    rig.do("stop")
    tensions = []
    start_s = deck.time_s
    while deck.mode != "stop":
        rig.step()
        tensions += [deck.supply_tension_n, deck.takeup_tension_n]
    took_s = deck.time_s - start_s
    assert 2.0 < took_s < 8.0
    # DERIVED: nearly even slowing covers half of speed times time.
    assert abs(deck.position_m - start_m) == pytest.approx(0.5 * speed * took_s, rel=0.05)
    assert min(tensions) > 0.0
    assert max(tensions) < 20.0


def test_weak_brakes_take_longer_and_still_stop() -> None:
    times = []
    for weak in (0.0, 0.5, 0.9):
        rig = Rig(DeckCondition(brake_weak=weak)).ready("stop", 700.0).do("wind_forward").run(20.0).do("stop")
        times.append(rig.until("stop"))
    assert times[0] < 0.7 * times[1] < 0.7 * times[2] < 40.0


def test_tape_follows_the_capstan_within_tenths_of_a_second() -> None:
    rig = Rig().ready("standby", 400.0).do("play")
    rig.run(0.2)
    assert rig.deck.tape_speed_m_per_s == 0.0
    assert not rig.deck.capstan_engaged
    rig.run(1.0)
    assert rig.deck.start_s is not None
    assert 0.3 < rig.deck.start_s < 1.0
    for ratio in (1.0, 1.002, 0.9991, 1.01):
        rig.ratio = ratio
        before_m = rig.deck.position_m
        rig.step()
        assert rig.deck.tape_at_speed
        assert rig.deck.tape_speed_m_per_s == pytest.approx(0.381 * ratio, rel=1e-12)
        assert rig.deck.position_m - before_m == pytest.approx(0.381 * ratio * 0.01, rel=1e-9)


def test_a_worn_pinch_roller_lets_the_tape_fall_behind() -> None:
    rig = Rig(DeckCondition(pinch_slip=0.02)).ready().run(1.0)
    assert rig.deck.tape_speed_m_per_s == pytest.approx(0.381 * 0.98)


def test_position_is_the_sum_of_the_speed() -> None:
    rig = Rig().ready("stop", 100.0)
    way_m, start_m = 0.0, rig.deck.position_m
    for act in ("wind_forward", "play", "wind_reverse", "standby"):
        rig.do(act)
        for _ in range(1500):
            before = rig.deck.tape_speed_m_per_s
            rig.step()
            way_m += 0.5 * (before + rig.deck.tape_speed_m_per_s) * 0.01
    assert rig.deck.position_m - start_m == pytest.approx(way_m, abs=2e-3)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.0, 5000.0), st.floats(5.0, 60.0))
def test_timer_counts_the_way_of_its_roller(slip_ppm: float, seconds: float) -> None:
    rig = Rig(DeckCondition(timer_slip_ppm=slip_ppm)).ready("play", 500.0)
    rig.run(1.0).do("reset_timer")
    start_m = rig.deck.position_m
    rig.run(seconds)
    # DERIVED: metres over nominal speed, less the slip.
    way_s = (rig.deck.position_m - start_m) / 0.381
    assert rig.deck.timer_s == pytest.approx(way_s * (1.0 - slip_ppm * 1e-6), abs=1e-6)
    rig.do("wind_reverse").run(25.0).do("stop").until("stop")
    way_s = (rig.deck.position_m - start_m) / 0.381
    assert way_s < 0.0
    assert rig.deck.timer_s == pytest.approx(way_s * (1.0 - slip_ppm * 1e-6), abs=1e-6)
    assert rig.deck.timer_text.startswith("-0:0")


def test_the_timer_of_a_sound_machine_loses_less_than_a_second_an_hour() -> None:
    rig = Rig().ready("play").do("reset_timer").run(3600.0, dt_s=0.05)
    # MODEL: 200 millionths of an hour are 0.72 s.
    assert rig.deck.timer_s == pytest.approx(3600.0 - 0.72, abs=0.01)
    assert rig.deck.timer_text == "0:59:59"


def test_playing_past_the_end_unthreads_and_stops() -> None:
    rig = Rig().ready("play", FEET_4800_M - 5.0)
    deck = rig.deck
    rig.until("stopping")
    assert "supply tension arm stands at its slack stop" in deck.stopped_because
    assert deck.supply_m == 0.0
    assert 0.0 < deck.path_m < PATH_M
    rig.until("stop")
    assert not deck.threaded
    assert not deck.wheel_driven
    assert (deck.takeup_m, deck.path_m) == (FEET_4800_M, 0.0)
    assert "ran off" in deck.stopped_because
    assert "thread it again" in deck.stopped_because
    # Back on: the loose end goes to the supply reel, and all can be wound back.
    rig.run(10.0).do("open_covers")
    assert "take-up reel" in rig.refused("take_off_reel")
    rig.do("thread", "check_threading", "close_covers")
    assert deck.supply_m == pytest.approx(LEADER_M)
    assert "at its end" in rig.refused("wind_forward")
    rig.do("wind_reverse").until("stop", 500.0, dt_s=0.05)
    rig.run(10.0).do("open_covers", "unthread", "take_off_reel")
    assert deck.position_m == 0.0


def test_weak_brakes_near_the_beginning_run_the_tape_off() -> None:
    rig = Rig(DeckCondition(brake_weak=0.9)).ready("stop", 100.0).do("wind_reverse")
    while rig.deck.takeup_m > 30.0:
        rig.step()
    rig.do("stop").until("stop")
    assert not rig.deck.threaded
    assert rig.deck.supply_m == FEET_4800_M
    assert rig.deck.takeup_m == 0.0
    assert rig.thread().deck.refusal("play") is None


def test_both_sides_have_their_tension_in_play_and_it_swings_with_the_reels() -> None:
    rig = Rig(seed=4).ready("play", 700.0).run(2.0)
    supply, takeup = [], []
    for _ in range(3000):
        rig.step()
        supply.append(rig.deck.supply_tension_n)
        takeup.append(rig.deck.takeup_tension_n)
    for side in (np.array(supply), np.array(takeup)):
        # MODEL: 3.5 N and 2 %.
        assert side.mean() == pytest.approx(3.5, rel=0.01)
        assert np.ptp(side) / 2.0 == pytest.approx(0.02 * 3.5, rel=0.05)
    assert rig.deck.tension_ok


def test_seed_fixes_how_the_reels_stand() -> None:
    angles = [Rig(seed=seed).deck.supply_angle_rad for seed in (1, 1, 2)]
    assert angles[0] == angles[1] != angles[2]


@pytest.mark.parametrize("length_m", [14.9, 2400.1, math.nan, math.inf, -1463.0])
def test_a_reel_that_cannot_be_is_refused(length_m: float) -> None:
    with pytest.raises(DeckError, match="choose from 15 to 2400 m"):
        Deck(get_standard("525/60"), length_m)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((0.0, 240.0, True, 1.0), "transport step 0.0 s"),
        ((0.051, 240.0, True, 1.0), "at most 0.05 s"),
        ((math.nan, 240.0, True, 1.0), "transport step nan s"),
        ((0.01, -1.0, True, 1.0), "wheel speed -1.0 rev/s"),
        ((0.01, math.nan, True, 1.0), "wheel speed nan rev/s"),
        ((0.01, 240.0, True, 4.1), "capstan ratio 4.1"),
        ((0.01, 240.0, True, math.nan), "capstan ratio nan"),
    ],
)
def test_a_step_that_cannot_be_is_refused(arguments: tuple[float, float, bool, float], words: str) -> None:
    deck = Rig().deck
    with pytest.raises(DeckError, match=words):
        deck.step(*arguments)
    assert deck.time_s == 0.0


def test_ready_places_the_tape_at_the_wheel() -> None:
    deck = Rig().ready("play", 321.0).deck
    assert deck.position_m == pytest.approx(321.0)
    assert deck.takeup_m == pytest.approx(321.0 - WHEEL_TO_TAKEUP_M)
    with pytest.raises(DeckError, match=r"choose from 3\.7 to"):
        deck.make_ready("play", 1.0)
