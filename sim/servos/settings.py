"""What a technician sets on the servos, what is wrong with them, and what the control head reads.

Contents: `WheelSettings`, `CapstanSettings`, `ServoCondition`, `ControlReading`, `ServoError`, `gain_ratio`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.errors import BandbenchError, check_ranges

__all__ = [
    "GAIN_LIMIT_DB",
    "SOUND",
    "CapstanSettings",
    "ControlReading",
    "ServoCondition",
    "ServoError",
    "WheelSettings",
    "check_step",
    "gain_ratio",
]

# MODEL: further than this no servo gain goes, either way.
GAIN_LIMIT_DB = 24.0
# MODEL: a single step may be no longer than this; the loops are exact but their decisions are taken once a step.
_LONGEST_STEP_S = 0.1
# Range of each entry of `ServoCondition` (MODEL).
_RANGES = {
    "tachometer_pct": (0.0, 200.0),
    "wheel_drag_pct": (0.0, 2000.0),
    "brush_friction_pct": (0.0, 1000.0),
    "control_head_db": (-80.0, 20.0),
    "capstan_slip_pct": (0.0, 50.0),
}


class ServoError(BandbenchError):
    """A servo setting, condition, reading or time step that makes no sense."""


def gain_ratio(gain_db: float) -> float:
    """Return a loop gain as a ratio to the right one.

    Examples
    --------
    >>> gain_ratio(0.0), round(gain_ratio(6.0), 3)
    (1.0, 1.995)
    """
    return math.exp(gain_db * (math.log(10.0) / 20.0))


def check_step(dt_s: float) -> None:
    """Refuse a time step that is not above 0 and at most 0.1 s; raises ServoError."""
    if not 0.0 < dt_s <= _LONGEST_STEP_S:
        raise ServoError(f"servo step of {dt_s!r} s: use more than 0 and at most {_LONGEST_STEP_S:g} s")


def _check_gain(servo: str, gain_db: float) -> None:
    if not (math.isfinite(gain_db) and abs(gain_db) <= GAIN_LIMIT_DB):
        raise ServoError(f"{servo} gain {gain_db!r} dB: use a number from {-GAIN_LIMIT_DB:g} to {GAIN_LIMIT_DB:g} dB")


@dataclass(frozen=True)
class WheelSettings:
    """What can be set on the wheel servo.

    Attributes
    ----------
    gain_db : float
        Loop gain against the right one [dB]: higher hunts, lower is slow and leaves more error.

    Raises
    ------
    ServoError
        If the gain is not finite or beyond 24 dB either way.
    """

    gain_db: float = 0.0

    def __post_init__(self) -> None:
        _check_gain("wheel servo", self.gain_db)


@dataclass(frozen=True)
class CapstanSettings:
    """What can be set on the capstan servo.

    Attributes
    ----------
    gain_db : float
        Loop gain against the right one [dB]: higher hunts, lower is slow.

    Raises
    ------
    ServoError
        If the gain is not finite or beyond 24 dB either way.
    """

    gain_db: float = 0.0

    def __post_init__(self) -> None:
        _check_gain("capstan servo", self.gain_db)


@dataclass(frozen=True)
class ServoCondition:
    """What is wrong or worn in the servos; every default is sound.

    Attributes
    ----------
    tachometer_pct : float
        Amplitude of the wheel tachometer's pulse, one each turn [% of a sound one].
    wheel_drag_pct : float
        Drag of the wheel's bearing beyond the normal one [% of the normal one].
    brush_friction_pct : float
        How unevenly the brushes grip the slip rings: 0 not at all, 100 badly [%].
    control_head_db : float
        Level the control head gives, against a sound one [dB].
    capstan_slip_pct : float
        How much slower the tape runs than the capstan's rim, by a weak or dirty pinch roller [%].

    Raises
    ------
    ServoError
        If a value is not finite or out of its range.
    """

    tachometer_pct: float = 100.0
    wheel_drag_pct: float = 0.0
    brush_friction_pct: float = 0.0
    control_head_db: float = 0.0
    capstan_slip_pct: float = 0.0

    def __post_init__(self) -> None:
        check_ranges(self, _RANGES, "condition.servo_outside", ServoError)


SOUND = ServoCondition()


@dataclass(frozen=True)
class ControlReading:
    """What the control head finds on the tape below it.

    Attributes
    ----------
    phase_deg : float
        Phase of the control track against the wheel if the capstan ran exactly right from the start [deg of a
        control-track cycle, which is four tracks]: how far the track was recorded ahead.
    level_db : float
        Level of the control track against a right one [dB].
    frame_pulse_cycles : int or None
        How many whole control-track cycles the frame pulse stands ahead of the reference frame, on the same
        supposition; None if the track has no frame pulses.

    Raises
    ------
    ServoError
        If a number is not finite.
    """

    phase_deg: float = 0.0
    level_db: float = 0.0
    frame_pulse_cycles: int | None = 0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.phase_deg) and math.isfinite(self.level_db)):
            raise ServoError(f"control reading {self!r}: phase and level must be finite numbers")
