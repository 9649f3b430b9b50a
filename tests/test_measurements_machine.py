"""Readings of a running machine, held against its parts and the frames it plays, and refused where there are none."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from sim.condition import Condition
from sim.errors import UnknownNameError
from sim.instruments import MeasurementError, measure
from sim.machine_readings import MACHINE_GROUPS, MACHINE_READINGS, read_machine
from sim.recorder import Recorder
from sim.reel import joints, make_reel
from sim.servos import LOCK_UP_NORMAL_S
from sim.sound import SOUND_MEASUREMENTS, sound_measurement
from sim.standards import get_standard
from sim.station import Station
from tests.outside_checks import OutsideCheck

STANDARD = get_standard("525/60")


def station_in(mode: str, condition: Condition | None = None, controls: Mapping[str, float] | None = None) -> Station:
    station = Station(Recorder(signal="flat", condition=condition, controls=controls, seed=6), seed=3)
    station.heard = False
    station.make_ready(mode)
    station.advance(0.5)
    return station


def test_every_reading_is_told() -> None:
    for name, spec in MACHINE_READINGS.items():
        assert spec.name == name
        assert spec.group in MACHINE_GROUPS
        assert spec.label
        assert spec.unit
        assert spec.description.endswith(".")


def test_a_playing_machine_reads_as_its_parts_stand(outside_check: OutsideCheck) -> None:
    station = station_in("play", Condition(control_head_db=-6.0), {"tracking_phase_deg": 20.0})
    before_s = read_machine(station, "head_seconds")
    timer_s = read_machine(station, "timer_s")
    station.advance(3.0)
    # DERIVED: head time and tape timer run as long as the tape plays.
    outside_check(
        "head time of 3 s of play", "DERIVED: time passed", 3.0, read_machine(station, "head_seconds") - before_s, 0.011
    )
    outside_check(
        "tape timer over 3 s of play",
        "DERIVED: time passed, less the 0.1 % by which the tape runs slower at 59.94 Hz",
        3.0 / 1.001,
        read_machine(station, "timer_s") - timer_s,
        0.02,
        "s",
    )
    outside_check(
        "speed of the head wheel",
        "QUOTED publication not named, as quoted second-hand: 240 rev/s (239.76 at 59.94 Hz)",
        239.76,
        read_machine(station, "wheel_speed_hz"),
        0.05,
        "rev/s",
    )
    outside_check(
        "lock-up time read",
        "QUOTED publication not named, as quoted second-hand: about 3.5 s is normal",
        LOCK_UP_NORMAL_S,
        read_machine(station, "wheel_lock_time_s"),
        0.4,
        "s",
    )
    # MEMORY: +-0.1 to 0.15 us line-locked; a peak is taken as three times the rms.
    outside_check(
        "unsteadiness of the locked wheel, times three",
        "MEMORY: physics.md section 7",
        125.0,
        3.0 * read_machine(station, "wheel_unsteadiness_ns"),
        25.0,
        "ns",
    )
    assert read_machine(station, "control_level_db") == pytest.approx(-6.0, abs=0.1)
    assert abs(read_machine(station, "tracking_error_deg")) < 2.0
    assert read_machine(station, "framing_error_cycles") == 0.0
    assert abs(read_machine(station, "tape_speed_error_pct")) < 0.2
    assert abs(read_machine(station, "wheel_phase_error_us")) < 1.0
    deck = station.deck
    for name in ("air_kpa", "vacuum_kpa", "supply_tension_n", "takeup_tension_n"):
        assert read_machine(station, name) == getattr(deck, name) > 0.0


def test_swing_of_the_rf_is_that_of_the_frames_played(outside_check: OutsideCheck) -> None:
    station = station_in("play", Condition(capstan_swing_deg=30.0))
    levels = []
    for _ in range(50):
        station.advance(0.08)
        levels.append(measure(station.frame(), "rf_level_db"))
    outside_check(
        "swing of the RF over four seconds, against fifty frames",
        "DERIVED: highest less lowest RF level of the frames played",
        float(np.ptp(levels)),
        read_machine(station, "rf_swing_db"),
        0.25,
        "dB",
    )
    # The swing of the lock-up has gone after as long as the traces hold.
    steady = station_in("play")
    steady.advance(4.0)
    assert read_machine(steady, "rf_swing_db") < 0.2


def test_a_tape_that_slips_and_a_wheel_that_drags_are_read() -> None:
    slipping = station_in("play", Condition(capstan_slip_pct=1.0))
    slipping.advance(2.0)
    assert read_machine(slipping, "capstan_slip_pct") == pytest.approx(1.0, abs=0.1)
    sound, dragging = station_in("standby"), station_in("standby", Condition(wheel_drag_pct=300.0))
    # DERIVED: a bearing that drags four times as much takes four times the torque at the same speed.
    for station in (sound, dragging):
        station.advance(6.0)
    ratio = read_machine(dragging, "wheel_drive_pct") / read_machine(sound, "wheel_drive_pct")
    assert ratio == pytest.approx(4.0, rel=0.03)


def test_sound_is_read_as_its_meters_read_it() -> None:
    station = station_in("play")
    station.advance(1.5)
    assert {f"sound_{name}" for name in SOUND_MEASUREMENTS} <= set(MACHINE_READINGS)
    for name in ("programme_level_db", "programme_frequency_hz", "halves_phase_deg"):
        assert read_machine(station, f"sound_{name}") == sound_measurement(station.sound, name)


def test_joints_are_judged_when_they_have_been_played_over(outside_check: OutsideCheck) -> None:
    station = Station(Recorder(signal="flat"), seed=3)
    reel = make_reel("station-525")
    speed_m_per_s = station.deck.nominal_m_per_s
    found: dict[str, list[float]] = {"joint_shift_ns": [], "joint_roll_lines": [], "joint_control_deg": []}
    for joint in joints(reel):
        station.put_on(reel, "play", joint.position_m - 0.5 * speed_m_per_s)
        station.advance(1.0)
        assert read_machine(station, "joints_played") >= 1
        for name, values in found.items():
            values.append(read_machine(station, name))
    assert min(found["joint_shift_ns"]) == min(found["joint_roll_lines"]) == 0.0
    # The reel's log says that one edit is in the wrong colour frame and one in the wrong field.
    outside_check(
        "sideways jump of a joint one frame out of the colour sequence",
        "DERIVED: half a cycle of 3.579545 MHz (ITU-R BT.470)",
        0.5e9 / 3.579545e6,
        max(found["joint_shift_ns"]),
        0.1,
        "ns",
    )
    outside_check(
        "vertical jump of a joint in the wrong field",
        "DERIVED: half of 525 lines",
        262.5,
        max(found["joint_roll_lines"]),
        0.001,
        "lines",
    )
    station.put_on(None, "play")
    for name in ("joints_played", "joint_shift_ns"):
        with pytest.raises(MeasurementError, match="no reel is being played"):
            read_machine(station, name)
    station.put_on(make_reel("alignment-525"), "play", 40.0)
    assert read_machine(station, "joints_played") == 0.0
    with pytest.raises(MeasurementError, match="no joint has been played over"):
        read_machine(station, "joint_gap_frames")


@pytest.mark.parametrize(
    ("mode", "name", "why"),
    [
        ("stop", "wheel_lock_time_s", "has not locked"),
        ("stop", "wheel_phase_error_us", "not locked"),
        ("stop", "wheel_unsteadiness_ns", "not in full lock"),
        ("standby", "tracking_error_deg", "does not run"),
        ("standby", "framing_error_cycles", "does not run"),
        ("standby", "control_level_db", "play a tape"),
        ("standby", "tape_speed_error_pct", "does not drive"),
        ("standby", "capstan_slip_pct", "does not drive"),
        ("standby", "rf_swing_db", "no tape is being played"),
        ("standby", "sound_programme_frequency_hz", "no sound"),
    ],
)
def test_what_cannot_be_read_says_why(mode: str, name: str, why: str) -> None:
    with pytest.raises(MeasurementError, match=why):
        read_machine(station_in(mode), name)


def test_tensions_need_a_tape_and_a_reading_must_exist() -> None:
    station = station_in("stop")
    for act in ("open_covers", "unthread"):
        station.do(act)
    for name in ("supply_tension_n", "takeup_tension_n"):
        with pytest.raises(MeasurementError, match="no tape is threaded"):
            read_machine(station, name)
    with pytest.raises(UnknownNameError, match="machine reading"):
        read_machine(station, "nothing")
