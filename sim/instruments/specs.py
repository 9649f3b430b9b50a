"""What a reading is: name, unit, meaning, what it needs, and why it sometimes cannot be taken.

Contents: `GROUPS`, `LEVEL_UNIT`, `MeasurementError`, `MeasurementSpec`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from sim.errors import BandbenchError
from sim.frame import PlaybackFrame
from sim.standards import Standard
from sim.wording import wording

__all__ = ["GROUPS", "LEVEL_UNIT", "MeasurementError", "MeasurementSpec"]

GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "rf": wording("readings.rf_heads"),
        "bands": wording("readings.geometry_bands"),
        "tracking": wording("readings.tracking_control_track"),
        "levels": wording("readings.video_levels"),
        "picture": wording("readings.response_noise_disturbances_picture"),
        "colour": wording("readings.colour"),
        "timing": wording("readings.time_base"),
        "record": wording("readings.input_modulator_electronics_electronics"),
    }
)
"""Groups of readings, each with its title."""

LEVEL_UNIT = "IRE or mV"
"""Unit of readings that are taken in the level unit of the standard."""


class MeasurementError(BandbenchError):
    """A reading that the present signals do not allow; says why."""


@dataclass(frozen=True)
class MeasurementSpec:
    """One reading: its name, unit, meaning, and how it is taken.

    Attributes
    ----------
    name, label, unit, description : str
        What it is called, what it is counted in (`LEVEL_UNIT` stands for the standard's level unit), what it means.
    measure : callable
        Takes it from a frame; MeasurementError where the signals do not allow it.
    group : str
        One of `GROUPS`.
    needs : str
        What signal it needs, in words; empty if any that plays will do.
    needs_tape : bool
        False if it can also be taken while no tape is played.
    signed : bool
        False for a quantity that is no departure from anything, printed without a plus sign.
    """

    name: str
    label: str
    unit: str
    description: str
    measure: Callable[[PlaybackFrame], float]
    group: str = "rf"
    needs: str = ""
    needs_tape: bool = True
    signed: bool = True

    def unit_in(self, standard: Standard) -> str:
        """Return the unit as it is in a standard."""
        return standard.level_unit if self.unit == LEVEL_UNIT else self.unit
