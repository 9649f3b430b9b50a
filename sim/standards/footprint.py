"""The footprint on tape, and the wheel that puts it there.

Contents: `Footprint`, `FOOTPRINT`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from sim.standards.provenance import marks

__all__ = ["FOOTPRINT", "Footprint"]


@dataclass(frozen=True)
class Footprint:
    """What lies where on the tape, and the wheel that put it there.

    Attributes
    ----------
    tape_width_m : float
        Width of the tape [m].
    track_width_m : float
        Width of a video track, and of a head [m].
    track_pitch_m : float
        From the middle of one track to that of the next [m].
    tip_circle_diameter_m : float
        Diameter of the circle that the tips of the heads describe [m].
    head_arc_deg : float
        Part of a turn for which a head is on the tape [deg].
    tape_speed_m_per_s : float
        Nominal tape speed in 525/60 [m/s].
    provenance : mapping
        Where each number comes from, by attribute.
    """

    tape_width_m: float = 50.8e-3
    track_width_m: float = 254e-6
    track_pitch_m: float = 396.875e-6
    tip_circle_diameter_m: float = 2.067 * 25.4e-3
    head_arc_deg: float = 101.0
    tape_speed_m_per_s: float = 0.381
    provenance: Mapping[str, str] = field(
        default_factory=lambda: marks(
            tape_width_m="TRADE, 2.000 in",
            track_width_m="TRADE, 10 mil at full speed",
            track_pitch_m="DERIVED, tape speed / (4 wheel turns a second) = 15.625 mil; agrees with "
            "ANSI C98.6-1965, as quoted second-hand, 0.0625 in per four tracks",
            tip_circle_diameter_m="MEMORY, 2.064-2.070 in; the middle",
            head_arc_deg="MEMORY, about 101 degrees carry video",
            tape_speed_m_per_s="PUB SMPTE ST 4 abstract, 15 in/s",
        ),
        repr=False,
        compare=False,
    )

    @property
    def control_period_m(self) -> float:
        """Length of one control-track cycle on tape [m]: four tracks."""
        return 4.0 * self.track_pitch_m

    def tip_speed_m_per_s(self, wheel_rate_hz: float) -> float:
        """Speed of a head tip over the tape [m/s] for a wheel speed [rev/s].

        Examples
        --------
        >>> round(FOOTPRINT.tip_speed_m_per_s(240.0), 2)
        39.59
        """
        return math.pi * self.tip_circle_diameter_m * wheel_rate_hz


FOOTPRINT = Footprint()
