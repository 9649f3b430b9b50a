"""What is wrong or worn in the transport: hidden from the trainee.

Contents: `DeckCondition` and `DeckError`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType

from sim.errors import BandbenchError

__all__ = ["DeckCondition", "DeckError"]

# How far each value may go (MODEL: beyond these it would not be a transport that stops, winds or keeps tape).
_RANGES: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "air_leak": (0.0, 1.0),
        "vacuum_leak": (0.0, 1.0),
        "supply_tension_drift": (-1.0, 2.0),
        "takeup_tension_drift": (-1.0, 2.0),
        "timer_slip_ppm": (0.0, 100_000.0),
        "pinch_slip": (0.0, 0.05),
        "brake_weak": (0.0, 0.9),
        "wind_weak": (0.0, 0.8),
        "reel_eccentricity": (0.0, 0.5),
    }
)


class DeckError(BandbenchError):
    """A transport that cannot be, or a step that cannot be taken; says which value and what would do."""


@dataclass(frozen=True)
class DeckCondition:
    """The transport's hidden state; every default is a sound machine.

    Attributes
    ----------
    air_leak, vacuum_leak : float
        Part of the working pressure that is lost, 0 to 1.
    air_pump_failed, vacuum_pump_failed : bool
        The pump does not run.
    supply_tension_drift, takeup_tension_drift : float
        Part by which the tension of a side in play differs from its set value, -1 to 2.
    timer_slip_ppm : float
        Part of the tape's way that the timer's roller misses [millionths]; it always slips a little
        (common practice; the 200 of a sound machine is a MODEL).
    pinch_slip : float
        Part of the capstan's way that the tape misses under a worn pinch roller, 0 to 0.05.
    brake_weak : float
        Part of the reel brakes' torque that is lost, 0 to 0.9.
    wind_weak : float
        Part of the reel motors' winding torque that is lost, 0 to 0.8.
    reel_eccentricity : float
        Part by which the tension swings as a reel turns, 0 to 0.5 (2 % in a sound machine, MODEL).

    Raises
    ------
    DeckError
        If a value is not finite or out of its range.
    """

    air_leak: float = 0.0
    vacuum_leak: float = 0.0
    air_pump_failed: bool = False
    vacuum_pump_failed: bool = False
    supply_tension_drift: float = 0.0
    takeup_tension_drift: float = 0.0
    timer_slip_ppm: float = 200.0
    pinch_slip: float = 0.0
    brake_weak: float = 0.0
    wind_weak: float = 0.0
    reel_eccentricity: float = 0.02

    def __post_init__(self) -> None:
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name not in _RANGES:
                if not isinstance(value, bool):
                    raise DeckError(f"transport condition '{entry.name}': {value!r} is neither True nor False")
                continue
            lowest, highest = _RANGES[entry.name]
            if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                raise DeckError(f"transport condition '{entry.name}': {value!r} is not a finite number")
            if not lowest <= value <= highest:
                raise DeckError(f"transport condition '{entry.name}': {value!r} is not from {lowest:g} to {highest:g}")
