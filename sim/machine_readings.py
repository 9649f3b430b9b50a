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

__all__ = ["MACHINE_GROUPS", "MACHINE_READINGS", "MachineReadingSpec", "read_machine"]

MACHINE_GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "servos": "Head wheel and capstan",
        "transport": "Transport and services",
        "joints": "Joints of recordings",
        "sound": "Sound",
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
        raise MeasurementError("lock-up time: the head wheel has not locked since it was started")
    return station.wheel.lock_time_s


def _wheel_speed_hz(station: Station) -> float:
    return station.wheel.rate_hz


def _wheel_phase_us(station: Station) -> float:
    if not station.wheel.locked:
        raise MeasurementError("head wheel phase: the wheel is not locked")
    return station.wheel.phase_error_s * 1e6


def _wheel_unsteadiness_ns(station: Station) -> float:
    if station.wheel.state != "horizontal":
        raise MeasurementError("unsteadiness of the head wheel: the wheel is not in full lock")
    error_us = station.servo_history.trace("wheel_line_error")
    if error_us.size < 2:
        raise MeasurementError("unsteadiness of the head wheel: the machine has only just begun to run")
    # What came before the lock is lock-up, not unsteadiness: the last second counts.
    return float(np.std(error_us[station.servo_history.time_s > -1.0])) * 1e3


def _wheel_drive_pct(station: Station) -> float:
    return station.wheel.drive_pct


def _require_control(station: Station, what: str) -> None:
    if not station.deck.capstan_engaged:
        raise MeasurementError(f"{what}: the tape does not run; play it")
    if not station.capstan.has_control:
        raise MeasurementError(f"{what}: the capstan servo finds no control track")


def _tracking_error_deg(station: Station) -> float:
    _require_control(station, "tracking error")
    return station.capstan.phase_error_deg


def _framing_error_cycles(station: Station) -> float:
    _require_control(station, "framing error")
    if not station.capstan.frame_pulses:
        raise MeasurementError("framing error: no frame pulses are found on the control track")
    return float(station.capstan.frame_error_cycles)


def _control_level_db(station: Station) -> float:
    level_db = station.capstan.control_level_db
    if not station.deck.capstan_engaged or level_db is None:
        raise MeasurementError("level of the control track: none is found; play a tape that has one")
    return level_db


def _tape_speed_error_pct(station: Station) -> float:
    if not station.deck.capstan_engaged:
        raise MeasurementError("tape speed error: the capstan does not drive the tape; play it")
    return 100.0 * (station.capstan.speed_ratio - 1.0)


def _capstan_slip_pct(station: Station) -> float:
    if not station.deck.capstan_engaged:
        raise MeasurementError("slip at the capstan: the capstan does not drive the tape; play it")
    return 100.0 * (station.capstan.rim_ratio - station.capstan.speed_ratio)


def _rf_swing_db(station: Station) -> float:
    """Return how far the RF level swung while the servo traces ran, from the tracking they show [dB]."""
    if not station.off_tape:
        raise MeasurementError("swing of the RF: no tape is being played")
    history, capstan = station.servo_history, station.capstan
    errors_deg = history.trace("capstan_phase_error")
    if errors_deg.size < 2:
        raise MeasurementError("swing of the RF: the machine has only just begun to play")
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
        raise MeasurementError(f"{side} tension: no tape is threaded")
    return station.deck.supply_tension_n if side == "supply" else station.deck.takeup_tension_n


def _head_seconds(station: Station) -> float:
    return station.deck.head_hours_h * 3600.0


def _played_joints(station: Station) -> list[EditJoint]:
    """Return the joints of the last seconds of tape that have passed the wheel."""
    if station.reel is None or not station.off_tape:
        raise MeasurementError("joints: no reel is being played; play over the joint")
    here_m = station.deck.position_m
    from_m = here_m - _JOINTS_S * station.deck.nominal_m_per_s
    return [one for one in joints(station.reel) if from_m <= one.position_m <= here_m]


def _joints_played(station: Station) -> float:
    return float(len(_played_joints(station)))


def _worst_joint(station: Station, what: str, figure: Callable[[EditJoint], float]) -> float:
    played = _played_joints(station)
    if not played:
        raise MeasurementError(f"{what}: no joint has been played over in the last {_JOINTS_S:g} s of tape")
    return max((figure(one) for one in played), key=abs)


def _joint_roll_lines(station: Station) -> float:
    return _worst_joint(station, "jump of the picture up or down", lambda one: one.roll_lines(station.standard))


def _joint_shift_ns(station: Station) -> float:
    return _worst_joint(station, "jump of the picture sideways", lambda one: one.shift_ns(station.standard))


def _joint_gap_frames(station: Station) -> float:
    frame_m = frame_length_m(station.standard)
    return _worst_joint(station, "tape without picture at a joint", lambda one: one.gap_m / frame_m)


def _joint_control_deg(station: Station) -> float:
    """Return the worst step of the control track; a joint with none on one side counts as half a turn."""
    return _worst_joint(
        station,
        "step of the control track",
        lambda one: 180.0 if one.control_phase_step_deg is None else one.control_phase_step_deg,
    )


def _sound(station: Station, name: str) -> float:
    try:
        return sound_measurement(station.sound, name)
    except SoundError as error:
        raise MeasurementError(f"{SOUND_MEASUREMENTS[name].label}: {error}") from None


def _servo_specs() -> list[MachineReadingSpec]:
    plays = "a tape that plays, with a control track"
    return [
        MachineReadingSpec(
            "wheel_lock_time_s",
            "Lock-up time of the head wheel",
            "s",
            "How long the last lock-up took, from rest or coasting to full lock.",
            _lock_time_s,
            needs="a head wheel that has locked",
            signed=False,
        ),
        MachineReadingSpec(
            "wheel_speed_hz", "Speed of the head wheel", "rev/s", "By its tachometer.", _wheel_speed_hz, signed=False
        ),
        MachineReadingSpec(
            "wheel_phase_error_us",
            "Phase error of the head wheel",
            "us",
            "How early the head wheel is against the reference.",
            _wheel_phase_us,
            needs="a locked head wheel",
        ),
        MachineReadingSpec(
            "wheel_unsteadiness_ns",
            "Unsteadiness of the head wheel",
            "ns",
            "Rms of the head wheel's error at line rate over the last second.",
            _wheel_unsteadiness_ns,
            needs="a head wheel in full lock for a second",
            signed=False,
        ),
        MachineReadingSpec(
            "wheel_drive_pct",
            "Drive of the head wheel",
            "%",
            "Torque of the motor against its full torque; what it takes in lock is drag.",
            _wheel_drive_pct,
            signed=False,
        ),
        MachineReadingSpec(
            "tracking_error_deg",
            "Tracking error",
            "deg",
            "How far the control track is ahead of the tracking phase that is set.",
            _tracking_error_deg,
            needs=plays,
        ),
        MachineReadingSpec(
            "framing_error_cycles",
            "Framing error",
            "cycles",
            "Control-track cycles by which the frame pulse is early; 0 is framed.",
            _framing_error_cycles,
            needs=f"{plays} and frame pulses",
        ),
        MachineReadingSpec(
            "control_level_db",
            "Level of the control track",
            "dB",
            "Level the control head gives, against that of a sound head on a good control track.",
            _control_level_db,
            needs=plays,
        ),
        MachineReadingSpec(
            "tape_speed_error_pct",
            "Tape speed error",
            "%",
            "How much too fast the tape runs.",
            _tape_speed_error_pct,
            needs="a tape that plays",
        ),
        MachineReadingSpec(
            "capstan_slip_pct",
            "Slip at the capstan",
            "%",
            "How much faster the capstan's rim runs than the tape.",
            _capstan_slip_pct,
            needs="a tape that plays",
        ),
        MachineReadingSpec(
            "rf_swing_db",
            "Swing of the RF",
            "dB",
            "Highest against lowest RF level over the last four seconds, from the swing of the tracking.",
            _rf_swing_db,
            needs="a tape that plays",
            signed=False,
        ),
    ]


def _transport_specs() -> list[MachineReadingSpec]:
    return [
        MachineReadingSpec("timer_s", "Tape timer", "s", "Seconds of play, as the timer's roller counts.", _timer_s,
                           "transport", signed=False),
        MachineReadingSpec("air_kpa", "Air", "kPa", "Pressure of the head wheel's air.", _air_kpa, "transport",
                           signed=False),
        MachineReadingSpec("vacuum_kpa", "Vacuum", "kPa", "Vacuum of the guide, below the room's pressure.",
                           _vacuum_kpa, "transport", signed=False),
        MachineReadingSpec("supply_tension_n", "Supply tension", "N", "Tension between supply reel and capstan.",
                           partial(_tension_n, side="supply"), "transport", "a threaded tape", False),
        MachineReadingSpec("takeup_tension_n", "Take-up tension", "N", "Tension between capstan and take-up reel.",
                           partial(_tension_n, side="take-up"), "transport", "a threaded tape", False),
        MachineReadingSpec("head_seconds", "Head time used", "s", "Time the heads have run on tape.", _head_seconds,
                           "transport", signed=False),
    ]  # fmt: skip


def _joint_specs() -> list[MachineReadingSpec]:
    seen = f"joints among the last {_JOINTS_S:g} s of tape played"
    return [
        MachineReadingSpec("joints_played", "Joints played over", "joints",
                           f"Places among the last {_JOINTS_S:g} s of tape where one recording follows another.",
                           _joints_played, "joints", "a reel that plays", False),
        MachineReadingSpec("joint_roll_lines", "Jump up or down at a joint", "lines",
                           "How far the picture stands up or down behind the worst of them, until it is framed anew.",
                           _joint_roll_lines, "joints", seen, False),
        MachineReadingSpec("joint_shift_ns", "Jump sideways at a joint", "ns",
                           "How far a picture held by its burst jumps sideways at the worst of them.",
                           _joint_shift_ns, "joints", seen, False),
        MachineReadingSpec("joint_gap_frames", "Tape without picture at a joint", "frames",
                           "Length of tape without picture between the two recordings, at the worst of them.",
                           _joint_gap_frames, "joints", seen, False),
        MachineReadingSpec("joint_control_deg", "Step of the control track at a joint", "deg",
                           "How far the control track behind the worst of them is ahead; 180 where there is none.",
                           _joint_control_deg, "joints", seen),
    ]  # fmt: skip


def _sound_specs() -> list[MachineReadingSpec]:
    return [
        MachineReadingSpec(
            f"sound_{spec.name}",
            spec.label,
            spec.unit,
            spec.description,
            partial(_sound, name=spec.name),
            "sound",
            "sound from the tape",
            spec.unit in ("dB", "deg"),
        )
        for spec in SOUND_MEASUREMENTS.values()
    ]


MACHINE_READINGS: Mapping[str, MachineReadingSpec] = MappingProxyType(
    {spec.name: spec for spec in (*_servo_specs(), *_transport_specs(), *_joint_specs(), *_sound_specs())}
)
"""Every reading of a machine by name."""
