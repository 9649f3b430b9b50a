"""All readings by name, and how one is taken.

Contents: `MEASUREMENTS`, `DEFAULT_READINGS`, `measure`; from the modules beside this one `MeasurementSpec`,
`MeasurementError`, `rf_levels_db`, `tracking_level_pct`.

Time readings follow one convention: positive is EARLY, further to the left on the picture.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from sim.errors import UnknownNameError
from sim.frame import PlaybackFrame
from sim.instruments.colour_readings import COLOUR_READINGS
from sim.instruments.level_readings import LEVEL_READINGS
from sim.instruments.rf_readings import RF_READINGS, rf_levels_db, tracking_level_pct
from sim.instruments.specs import MeasurementError, MeasurementSpec
from sim.instruments.timing_readings import TIMING_READINGS
from sim.instruments.video_readings import VIDEO_READINGS
from sim.wording import wording

__all__ = [
    "DEFAULT_READINGS",
    "MEASUREMENTS",
    "MeasurementError",
    "MeasurementSpec",
    "measure",
    "rf_levels_db",
    "tracking_level_pct",
]

MEASUREMENTS: Mapping[str, MeasurementSpec] = MappingProxyType(
    {spec.name: spec for spec in (*RF_READINGS, *TIMING_READINGS, *LEVEL_READINGS, *VIDEO_READINGS, *COLOUR_READINGS)}
)
"""Every reading by name."""

DEFAULT_READINGS = (
    "rf_level_db",
    "skew_us",
    "scallop_us",
    "noise_db",
    *(f"{name}_{head}" for head in range(1, 5) for name in ("rf_level_db", "head_position_ns")),
)
"""Readings that the instruments of a machine show all the time; the others are taken when they are asked for."""


def measure(frame: PlaybackFrame, name: str) -> float:
    """Return one reading of a frame in the unit its `MEASUREMENTS` entry states.

    Raises
    ------
    UnknownNameError
        If there is no such reading.
    MeasurementError
        If the present signals do not allow it.

    Examples
    --------
    >>> from sim.recorder import Recorder
    >>> frame = Recorder(controls={"guide_position_um": 25.4}).play_frame(0)
    >>> round(measure(frame, "skew_us"), 1)
    0.9
    """
    if name not in MEASUREMENTS:
        raise UnknownNameError("measurement", name, MEASUREMENTS)
    spec = MEASUREMENTS[name]
    if spec.needs_tape and not frame.off_tape:
        raise MeasurementError(wording("readings.no_tape_being_played"))
    return spec.measure(frame)
