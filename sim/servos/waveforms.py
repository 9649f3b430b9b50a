"""Waveforms of the servos over one frame: the pulses and ramps that a technician looks at with an oscilloscope.

Contents: `SERVO_WAVEFORMS`, `ServoWaveformSpec`, `ServoWaveform`, `servo_waveform`, `describe_servo_waveform`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import UnknownNameError
from sim.servos.capstan import CONTROL_NOISE_DB, CapstanServo
from sim.servos.settings import SOUND, ServoCondition, WheelSettings
from sim.servos.wheel import TACHOMETER_GOOD_PCT, WheelServo
from sim.wording import wording

__all__ = ["SERVO_WAVEFORMS", "ServoWaveform", "ServoWaveformSpec", "describe_servo_waveform", "servo_waveform"]

_SAMPLES = 2400
# MODEL: length of a pulse of the reference and of the tachometer (from its positive to its negative peak), height of
# the frame's own reference pulse, and how high the sampling pulse stands on the ramp.
_PULSE_S = 100e-6
_FRAME_HEIGHT = 1.5
_SAMPLE_HEIGHT = 0.5
# MODEL: the frame pulse of the control track, as in `sim.controltrack`.
_CONTROL_PULSE_HEIGHT = 0.5
_CONTROL_PULSE_SHARE = 0.03


@dataclass(frozen=True)
class ServoWaveformSpec:
    """One waveform of the servos: what it is called, what it shows, and the range worth drawing (1 = nominal)."""

    name: str
    label: str
    description: str
    range: tuple[float, float]


@dataclass(frozen=True)
class ServoWaveform:
    """One waveform over one frame.

    Attributes
    ----------
    name : str
        One of `SERVO_WAVEFORMS`.
    time_s : ndarray of float64, (samples,)
        Time since the reference's frame pulse [s].
    values : ndarray of float64, (samples,)
        1 is the nominal height.
    """

    name: str
    time_s: NDArray[np.float64]
    values: NDArray[np.float64]


_SPECS = (
    ServoWaveformSpec(
        "reference", wording("servos.reference_pulses"), wording("servos.one_each_turn_wheel"), (-0.2, 1.7)
    ),
    ServoWaveformSpec(
        "tachometer",
        wording("servos.tachometer_pulses"),
        wording("servos.one_each_turn_wheel_2"),
        (-1.5, 1.5),
    ),
    ServoWaveformSpec(
        "phase_detector",
        wording("servos.ramp_sampling_pulse"),
        wording("servos.references_ramp_tachometers_pulse"),
        (-1.7, 1.7),
    ),
    ServoWaveformSpec(
        "control_track",
        wording("servos.control_track_off_tape"),
        wording("servos.sine_wheels_rate_frame"),
        (-2.0, 2.0),
    ),
)
SERVO_WAVEFORMS: Mapping[str, ServoWaveformSpec] = MappingProxyType({spec.name: spec for spec in _SPECS})


def servo_waveform(
    name: str,
    wheel: WheelServo,
    capstan: CapstanServo,
    settings: WheelSettings | None = None,
    condition: ServoCondition = SOUND,
    index: int = 0,
) -> ServoWaveform:
    """Return a waveform of the servos as they are now.

    Parameters
    ----------
    name : str
        One of `SERVO_WAVEFORMS`.
    wheel, capstan : WheelServo, CapstanServo
        The servos.
    settings : WheelSettings, optional
        What is set on the wheel servo; right when omitted.
    condition : ServoCondition, optional
        What is wrong.
    index : int
        Frame number, 0 or more: the noise differs from frame to frame.

    Raises
    ------
    UnknownNameError
        If there is no such waveform.

    Notes
    -----
    A tachometer's voltage goes with the wheel's speed (DERIVED, induction). The ramp is as steep as the vertical loop
    is strong, 1 being the drive's full torque, and ends there.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> standard = get_standard("525/60")
    >>> wave = servo_waveform("reference", WheelServo(standard), CapstanServo(standard))
    >>> above = wave.values > 0.5
    >>> int(np.count_nonzero(np.diff(above.astype(int)) == -1)), float(wave.values.max())
    (8, 1.5)
    """
    if name not in SERVO_WAVEFORMS:
        raise UnknownNameError("servo waveform", name, SERVO_WAVEFORMS)
    time_s = np.arange(_SAMPLES) / (_SAMPLES * wheel.standard.frame_rate_hz)
    if name == "control_track":
        return ServoWaveform(name, time_s, _control_track(time_s, capstan, index))
    makers: Mapping[str, Callable[[], NDArray[np.float64]]] = {
        "reference": lambda: _reference(time_s, wheel),
        "tachometer": lambda: _tachometer(time_s, wheel, condition),
        "phase_detector": lambda: _phase_detector(time_s, wheel, settings or WheelSettings(), condition),
    }
    return ServoWaveform(name, time_s, makers[name]())


def describe_servo_waveform(wave: ServoWaveform) -> str:
    """Return in a sentence how far a waveform reaches.

    Examples
    --------
    >>> describe_servo_waveform(ServoWaveform("reference", np.arange(2.0), np.array([0.0, 1.5])))
    'Reference pulses: from +0.00 to +1.50 of the nominal height.'
    """
    label = SERVO_WAVEFORMS[wave.name].label
    return wording(
        "servos.from_nominal_height", label=label, wave=f"{wave.values.min():+.2f}", wave_2=f"{wave.values.max():+.2f}"
    )


def _from_nearest(time_s: NDArray[np.float64], early_s: float, period_s: float) -> NDArray[np.float64]:
    """Return the time since the nearest of regular events, of which one lies `early_s` before 0 [s]."""
    place = (time_s + early_s) / period_s
    return np.asarray((place - np.round(place)) * period_s)


def _reference(time_s: NDArray[np.float64], wheel: WheelServo) -> NDArray[np.float64]:
    turn_s = 1.0 / wheel.nominal_hz
    pulse = (np.mod(time_s, turn_s) < _PULSE_S).astype(np.float64)
    return np.where(time_s < 0.5 * turn_s, _FRAME_HEIGHT, 1.0) * pulse


def _tachometer(time_s: NDArray[np.float64], wheel: WheelServo, condition: ServoCondition) -> NDArray[np.float64]:
    speed = wheel.rate_hz / wheel.nominal_hz
    if speed <= 0.0:
        return np.zeros(time_s.size)
    since = _from_nearest(time_s, wheel.phase_error_s / speed, 1.0 / wheel.rate_hz)
    # A magnet that passes a coil: the slope of a bell, 1 at its peak; a slower magnet makes a lower, longer pulse.
    place = since * speed / (0.5 * _PULSE_S)
    shape = -place * np.exp(0.5 * (1.0 - np.square(place)))
    return np.asarray(0.01 * condition.tachometer_pct * speed * shape)


def _phase_detector(
    time_s: NDArray[np.float64], wheel: WheelServo, settings: WheelSettings, condition: ServoCondition
) -> NDArray[np.float64]:
    turn_s = 1.0 / wheel.nominal_hz
    end_s = wheel.detector_range_s(settings, condition)
    since = _from_nearest(time_s, 0.0, turn_s)
    # A wheel that is late meets the ramp late, further up: more drive.
    ramp = np.clip(since / max(end_s, 1e-6), -1.0, 1.0)
    speed = wheel.rate_hz / wheel.nominal_hz
    if speed > 0.0 and condition.tachometer_pct > 0.0:
        passed = _from_nearest(time_s, wheel.phase_error_s / speed, 1.0 / wheel.rate_hz)
        height = _SAMPLE_HEIGHT * min(1.0, condition.tachometer_pct / TACHOMETER_GOOD_PCT)
        ramp = ramp + height * (np.abs(passed) < 0.5 * _PULSE_S)
    return np.asarray(ramp)


def _control_track(time_s: NDArray[np.float64], capstan: CapstanServo, index: int) -> NDArray[np.float64]:
    standard = capstan.standard
    noise = np.random.default_rng([capstan.seed, 5, index]).standard_normal(time_s.size)
    values = 10.0 ** (CONTROL_NOISE_DB / 20.0) / math.sqrt(2.0) * noise
    if capstan.control_level_db is None:
        return np.asarray(values)
    cycles = time_s * standard.wheel_rate_hz * capstan.speed_ratio
    cycles += capstan.frame_error_cycles + capstan.phase_deg / 360.0
    track = np.sin(2.0 * np.pi * cycles)
    if capstan.frame_pulses:
        turns = standard.wheel_turns_per_frame
        place = np.mod(cycles - 0.25, turns)
        track[np.minimum(place, turns - place) < 0.5 * _CONTROL_PULSE_SHARE] += _CONTROL_PULSE_HEIGHT
    return np.asarray(values + 10.0 ** (capstan.control_level_db / 20.0) * capstan.speed_ratio * track)
