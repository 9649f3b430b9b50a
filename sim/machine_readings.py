"""Readings of a machine that runs: servos, transport, services, wear, the swing of the RF, joints, and sound.

Contents: `MachineReadingSpec`, `MACHINE_READINGS`, `MACHINE_GROUPS`, `read_machine`.

Each is what a meter, a counter or a test point of the machine shows now, or showed over the last seconds; readings of
the frame that is played are in `sim.instruments`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType

import numpy as np

from sim.errors import UnknownNameError
from sim.instruments import MeasurementError
from sim.reel import EditJoint, frame_length_m, joints
from sim.sound import SOUND_MEASUREMENTS, SoundError, sound_measurement
from sim.station import Station
from sim.tracking import match_tracks
from sim.wording import wording

__all__ = ["MACHINE_GROUPS", "MACHINE_READINGS", "MachineReadingSpec", "read_machine"]

MACHINE_GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "servos": wording("machine_readings.head_wheel_capstan"),
        "transport": wording("machine_readings.transport_services"),
        "joints": wording("machine_readings.joints_recordings"),
        "sound": wording("machine_readings.sound"),
    }
)
"""Groups of machine readings, each with its title."""

# MODEL: the swing of the RF is told by this many moments of the seconds that the servo traces hold; a level further
# down is told as this.
_SWING_MOMENTS = 100
# MODEL: so much tape behind the heads is still remembered when a joint is judged.
_JOINTS_S = 15.0
_LEAST_LEVEL = 0.01


@dataclass(frozen=True)
class MachineReadingSpec:
    """One reading of a machine: name, label, unit and meaning, and how it is read.

    Attributes
    ----------
    name, label, unit, description : str
        What it is called, what it is counted in, what it means.
    read : callable
        Reads it from a `Station`; MeasurementError where there is nothing to read.
    group : str
        One of `MACHINE_GROUPS`.
    needs : str
        What the machine must be doing, in words; empty if it can always be read.
    signed : bool
        False for a quantity that is no departure from anything.
    """

    name: str
    label: str
    unit: str
    description: str
    read: Callable[[Station], float]
    group: str = "servos"
    needs: str = ""
    signed: bool = True


def read_machine(station: Station, name: str) -> float:
    """Return one reading of a machine, in the unit that its `MACHINE_READINGS` entry states.

    Raises
    ------
    UnknownNameError
        If there is no such reading.
    MeasurementError
        If there is nothing to read now; says why.

    Examples
    --------
    >>> from sim.recorder import Recorder
    >>> station = Station(Recorder())
    >>> station.make_ready("standby"); station.advance(0.1)
    >>> round(read_machine(station, "wheel_speed_hz"), 1)
    239.8
    """
    if name not in MACHINE_READINGS:
        raise UnknownNameError("machine reading", name, MACHINE_READINGS)
    return MACHINE_READINGS[name].read(station)


def _timer_s(station: Station) -> float:
    return station.deck.timer_s


def _lock_time_s(station: Station) -> float:
    if station.wheel.lock_time_s is None:
        raise MeasurementError(wording("machine_readings.lock_up_time_head"))
    return station.wheel.lock_time_s


def _wheel_speed_hz(station: Station) -> float:
    return station.wheel.rate_hz


def _wheel_phase_us(station: Station) -> float:
    if not station.wheel.locked:
        raise MeasurementError(wording("machine_readings.head_wheel_phase_wheel"))
    return station.wheel.phase_error_s * 1e6


def _wheel_unsteadiness_ns(station: Station) -> float:
    if station.wheel.state != "horizontal":
        raise MeasurementError(wording("machine_readings.unsteadiness_head_wheel_wheel"))
    error_us = station.servo_history.trace("wheel_line_error")
    if error_us.size < 2:
        raise MeasurementError(wording("machine_readings.unsteadiness_head_wheel_machine"))
    # What came before the lock is lock-up, not unsteadiness: the last second counts.
    return float(np.std(error_us[station.servo_history.time_s > -1.0])) * 1e3


def _wheel_drive_pct(station: Station) -> float:
    return station.wheel.drive_pct


def _require_control(station: Station, what: str) -> None:
    if not station.deck.capstan_engaged:
        raise MeasurementError(wording("machine_readings.tape_does_not_run", what=what))
    if not station.capstan.has_control:
        raise MeasurementError(wording("machine_readings.capstan_servo_finds_no", what=what))


def _tracking_error_deg(station: Station) -> float:
    _require_control(station, wording("machine_readings.tracking_error"))
    return station.capstan.phase_error_deg


def _framing_error_cycles(station: Station) -> float:
    _require_control(station, wording("machine_readings.framing_error"))
    if not station.capstan.frame_pulses:
        raise MeasurementError(wording("machine_readings.framing_error_no_frame"))
    return float(station.capstan.frame_error_cycles)


def _control_level_db(station: Station) -> float:
    level_db = station.capstan.control_level_db
    if not station.deck.capstan_engaged or level_db is None:
        raise MeasurementError(wording("machine_readings.level_control_track_none"))
    return level_db


def _tape_speed_error_pct(station: Station) -> float:
    if not station.deck.capstan_engaged:
        raise MeasurementError(wording("machine_readings.tape_speed_error_capstan"))
    return 100.0 * (station.capstan.speed_ratio - 1.0)


def _capstan_slip_pct(station: Station) -> float:
    if not station.deck.capstan_engaged:
        raise MeasurementError(wording("machine_readings.slip_capstan_capstan_does"))
    return 100.0 * (station.capstan.rim_ratio - station.capstan.speed_ratio)


def _rf_swing_db(station: Station) -> float:
    """Return how far the RF level swung while the servo traces ran, from the tracking they show [dB]."""
    if not station.off_tape:
        raise MeasurementError(wording("machine_readings.swing_rf_no_tape"))
    history, capstan = station.servo_history, station.capstan
    errors_deg = history.trace("capstan_phase_error")
    if errors_deg.size < 2:
        raise MeasurementError(wording("machine_readings.swing_rf_machine_only"))
    playing = station.playing()
    ahead_deg = 0.0 if playing is None or playing.control is None else playing.control.ahead_of_tracks_deg
    held_deg = capstan.phase_deg - capstan.phase_error_deg - ahead_deg
    chosen = np.unique(np.linspace(0, errors_deg.size - 1, _SWING_MOMENTS).astype(np.intp))
    levels = []
    for at_s, error_deg in zip(history.time_s[chosen], errors_deg[chosen], strict=True):
        phase_deg = station.recorder.control_phase_deg(station.time_s + float(at_s), held_deg + float(error_deg))
        levels.append(max(match_tracks(phase_deg).own, _LEAST_LEVEL))
    return 20.0 * math.log10(max(levels) / min(levels))


def _air_kpa(station: Station) -> float:
    return station.deck.air_kpa


def _vacuum_kpa(station: Station) -> float:
    return station.deck.vacuum_kpa


def _tension_n(station: Station, side: str) -> float:
    if not station.deck.threaded:
        raise MeasurementError(wording(f"machine_readings.no_{side}_tension"))
    return station.deck.supply_tension_n if side == "supply" else station.deck.takeup_tension_n


def _head_seconds(station: Station) -> float:
    return station.deck.head_hours_h * 3600.0


def _played_joints(station: Station) -> list[EditJoint]:
    """Return the joints of the last seconds of tape that have passed the wheel."""
    if station.reel is None or not station.off_tape:
        raise MeasurementError(wording("machine_readings.joints_no_reel_being"))
    here_m = station.deck.position_m
    from_m = here_m - _JOINTS_S * station.deck.nominal_m_per_s
    return [one for one in joints(station.reel) if from_m <= one.position_m <= here_m]


def _joints_played(station: Station) -> float:
    return float(len(_played_joints(station)))


def _worst_joint(station: Station, what: str, figure: Callable[[EditJoint], float]) -> float:
    played = _played_joints(station)
    if not played:
        raise MeasurementError(wording("machine_readings.no_joint_been_played", what=what, joints_s=f"{_JOINTS_S:g}"))
    return max((figure(one) for one in played), key=abs)


def _joint_roll_lines(station: Station) -> float:
    return _worst_joint(
        station, wording("machine_readings.jump_picture_up_down"), lambda one: one.roll_lines(station.standard)
    )


def _joint_shift_ns(station: Station) -> float:
    return _worst_joint(
        station, wording("machine_readings.jump_picture_sideways"), lambda one: one.shift_ns(station.standard)
    )


def _joint_gap_frames(station: Station) -> float:
    frame_m = frame_length_m(station.standard)
    return _worst_joint(
        station, wording("machine_readings.tape_without_picture_joint"), lambda one: one.gap_m / frame_m
    )


def _joint_control_deg(station: Station) -> float:
    """Return the worst step of the control track; a joint with none on one side counts as half a turn."""
    return _worst_joint(
        station,
        wording("machine_readings.step_control_track"),
        lambda one: 180.0 if one.control_phase_step_deg is None else one.control_phase_step_deg,
    )


def _sound(station: Station, name: str) -> float:
    try:
        return sound_measurement(station.sound, name)
    except SoundError as error:
        raise MeasurementError(f"{SOUND_MEASUREMENTS[name].label}: {error}") from None


def _servo_specs() -> list[MachineReadingSpec]:
    plays = wording("machine_readings.tape_plays_control_track")
    return [
        MachineReadingSpec(
            "wheel_lock_time_s",
            wording("machine_readings.lock_up_time_head_2"),
            "s",
            wording("machine_readings.how_long_last_lock"),
            _lock_time_s,
            needs=wording("machine_readings.head_wheel_locked"),
            signed=False,
        ),
        MachineReadingSpec(
            "wheel_speed_hz",
            wording("machine_readings.speed_head_wheel"),
            "rev/s",
            wording("machine_readings.tachometer"),
            _wheel_speed_hz,
            signed=False,
        ),
        MachineReadingSpec(
            "wheel_phase_error_us",
            wording("machine_readings.phase_error_head_wheel"),
            "us",
            wording("machine_readings.how_early_head_wheel"),
            _wheel_phase_us,
            needs=wording("machine_readings.locked_head_wheel"),
        ),
        MachineReadingSpec(
            "wheel_unsteadiness_ns",
            wording("machine_readings.unsteadiness_head_wheel"),
            "ns",
            wording("machine_readings.rms_head_wheels_error"),
            _wheel_unsteadiness_ns,
            needs=wording("machine_readings.head_wheel_full_lock"),
            signed=False,
        ),
        MachineReadingSpec(
            "wheel_drive_pct",
            wording("machine_readings.drive_head_wheel"),
            "%",
            wording("machine_readings.torque_motor_against_full"),
            _wheel_drive_pct,
            signed=False,
        ),
        MachineReadingSpec(
            "tracking_error_deg",
            wording("machine_readings.tracking_error_2"),
            "deg",
            wording("machine_readings.how_far_control_track"),
            _tracking_error_deg,
            needs=plays,
        ),
        MachineReadingSpec(
            "framing_error_cycles",
            wording("machine_readings.framing_error_2"),
            "cycles",
            wording("machine_readings.control_track_cycles_which"),
            _framing_error_cycles,
            needs=wording("machine_readings.frame_pulses", plays=plays),
        ),
        MachineReadingSpec(
            "control_level_db",
            wording("machine_readings.level_control_track"),
            "dB",
            wording("machine_readings.level_control_head_gives"),
            _control_level_db,
            needs=plays,
        ),
        MachineReadingSpec(
            "tape_speed_error_pct",
            wording("machine_readings.tape_speed_error"),
            "%",
            wording("machine_readings.how_much_too_fast"),
            _tape_speed_error_pct,
            needs=wording("machine_readings.tape_plays"),
        ),
        MachineReadingSpec(
            "capstan_slip_pct",
            wording("machine_readings.slip_capstan"),
            "%",
            wording("machine_readings.how_much_faster_capstans"),
            _capstan_slip_pct,
            needs=wording("machine_readings.tape_plays"),
        ),
        MachineReadingSpec(
            "rf_swing_db",
            wording("machine_readings.swing_rf"),
            "dB",
            wording("machine_readings.highest_against_lowest_rf"),
            _rf_swing_db,
            needs=wording("machine_readings.tape_plays"),
            signed=False,
        ),
    ]


def _transport_specs() -> list[MachineReadingSpec]:
    return [
        MachineReadingSpec(
            "timer_s",
            wording("machine_readings.tape_timer"),
            "s",
            wording("machine_readings.seconds_play_timers_roller"),
            _timer_s,
            "transport",
            signed=False,
        ),
        MachineReadingSpec(
            "air_kpa",
            wording("machine_readings.air"),
            "kPa",
            wording("machine_readings.pressure_head_wheels_air"),
            _air_kpa,
            "transport",
            signed=False,
        ),
        MachineReadingSpec(
            "vacuum_kpa",
            wording("machine_readings.vacuum"),
            "kPa",
            wording("machine_readings.vacuum_guide_below_rooms"),
            _vacuum_kpa,
            "transport",
            signed=False,
        ),
        MachineReadingSpec(
            "supply_tension_n",
            wording("machine_readings.supply_tension"),
            "N",
            wording("machine_readings.tension_between_supply_reel"),
            partial(_tension_n, side="supply"),
            "transport",
            wording("machine_readings.threaded_tape"),
            False,
        ),
        MachineReadingSpec(
            "takeup_tension_n",
            wording("machine_readings.take_up_tension"),
            "N",
            wording("machine_readings.tension_between_capstan_take"),
            partial(_tension_n, side="takeup"),
            "transport",
            wording("machine_readings.threaded_tape"),
            False,
        ),
        MachineReadingSpec(
            "head_seconds",
            wording("machine_readings.head_time_used"),
            "s",
            wording("machine_readings.time_heads_have_run"),
            _head_seconds,
            "transport",
            signed=False,
        ),
    ]


def _joint_specs() -> list[MachineReadingSpec]:
    seen = wording("machine_readings.joints_among_last_s", joints_s=f"{_JOINTS_S:g}")
    return [
        MachineReadingSpec(
            "joints_played",
            wording("machine_readings.joints_played_over"),
            "joints",
            wording("machine_readings.places_among_last_s", joints_s=f"{_JOINTS_S:g}"),
            _joints_played,
            "joints",
            wording("machine_readings.reel_plays"),
            False,
        ),
        MachineReadingSpec(
            "joint_roll_lines",
            wording("machine_readings.jump_up_down_joint"),
            "lines",
            wording("machine_readings.how_far_picture_stands"),
            _joint_roll_lines,
            "joints",
            seen,
            False,
        ),
        MachineReadingSpec(
            "joint_shift_ns",
            wording("machine_readings.jump_sideways_joint"),
            "ns",
            wording("machine_readings.how_far_picture_held"),
            _joint_shift_ns,
            "joints",
            seen,
            False,
        ),
        MachineReadingSpec(
            "joint_gap_frames",
            wording("machine_readings.tape_without_picture_joint_2"),
            "frames",
            wording("machine_readings.length_tape_without_picture"),
            _joint_gap_frames,
            "joints",
            seen,
            False,
        ),
        MachineReadingSpec(
            "joint_control_deg",
            wording("machine_readings.step_control_track_joint"),
            "deg",
            wording("machine_readings.how_far_control_track_2"),
            _joint_control_deg,
            "joints",
            seen,
        ),
    ]


def _sound_specs() -> list[MachineReadingSpec]:
    return [
        MachineReadingSpec(
            f"sound_{spec.name}",
            spec.label,
            spec.unit,
            spec.description,
            partial(_sound, name=spec.name),
            "sound",
            wording("machine_readings.sound_from_tape"),
            spec.unit in ("dB", "deg"),
        )
        for spec in SOUND_MEASUREMENTS.values()
    ]


MACHINE_READINGS: Mapping[str, MachineReadingSpec] = MappingProxyType(
    {spec.name: spec for spec in (*_servo_specs(), *_transport_specs(), *_joint_specs(), *_sound_specs())}
)
"""Every reading of a machine by name."""
