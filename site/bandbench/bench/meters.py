"""The instruments: RF of the four heads, tracking meter, geometry of the bands, noise; and what a lesson adds."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.readings import Readings, reading_label, typeset
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.instruments import DEFAULT_READINGS, MEASUREMENTS
from sim.machine_readings import MACHINE_READINGS

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["Meters", "MetersView"]

# What the length of each bar stands for: (lowest, highest); one with its zero in the middle is drawn from there.
_RANGES: Mapping[str, tuple[float, float]] = {"dB": (-30.0, 3.0), "us": (-3.0, 3.0), "ns": (-500.0, 500.0)}
_NOISE_RANGE = (0.0, 50.0)
_TRACKING_RANGE = (0.0, 110.0)


class Meters(Part):
    """Readings as numbers with units, and as bars.

    Attributes
    ----------
    labels, abouts : dict of str to str
        What each reading is called and means.
    readings : str
        JSON: for each reading its text, its share of the bar's range, 0 to 1 (both null where there is none), and
        why there is none. As one text it crosses to the page in a tenth of the time that nested tables take.
    needed : list of str
        Readings that the lesson needs.
    added : list of str
        Readings that the lesson needs beyond those that are always shown.
    revision : int
        The bench's count of control changes when the readings were taken: whoever waits for the effect of a control
        sees here that it is in.
    """

    labels = param.Dict(default={})
    abouts = param.Dict(default={})
    readings = param.String(default="{}")
    needed = param.List(default=[])
    added = param.List(default=[])
    revision = param.Integer(default=0)

    _esm = script("meters")


def _range_of(name: str) -> tuple[float, float] | None:
    """Return what a reading's bar stands for; None for one without a bar, as all that lessons add."""
    if name not in DEFAULT_READINGS:
        return None
    return _NOISE_RANGE if name == "noise_db" else _RANGES[MEASUREMENTS[name].unit]


def _about(name: str) -> str:
    spec = MEASUREMENTS.get(name) or MACHINE_READINGS[name]
    return f"{spec.description} {say('meters.needs', what=spec.needs)}" if spec.needs else spec.description


def _share(value: float | None, limits: tuple[float, float] | None) -> float | None:
    if value is None or limits is None:
        return None
    low, high = limits
    return round(min(max((value - low) / (high - low), 0.0), 1.0), 3)


class MetersView(View):
    """The instruments."""

    WORDS: ClassVar[str] = "meters"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        names = (*MACHINE_READINGS, *MEASUREMENTS)
        self.meters = Meters(
            self.receive,
            words=self.words,
            labels={name: reading_label(name) for name in names},
            abouts={name: typeset(_about(name)) for name in names},
        )
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the meters."""
        return {"instruments": self.meters}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Refuse: the meters have nothing to press."""
        raise ValueError(f"the instruments send no message, got {message!r}")

    def refresh(self) -> None:
        """Dim what the lesson does not need."""
        bench = self.bench
        needed = [name for name in bench.readings if bench.needs_instrument(name)]
        if bench.needs_instrument("tracking_meter"):
            needed.append("tracking")
        added = [name for name in bench.readings if name not in DEFAULT_READINGS]
        self.meters.param.update(needed=needed, added=added)

    def update(self, readings: Readings) -> None:
        """Show the readings."""
        shown: dict[str, dict[str, object]] = {}
        if not self.bench.readings_shown:
            # What is put away does not go to the page at all.
            away = {"text": None, "share": None, "reason": say("meters.away")}
            names = (*readings.values, "tracking")
            self.meters.param.update(readings=json.dumps(dict.fromkeys(names, away)), revision=readings.revision)
            return
        for name, value in readings.values.items():
            share = _share(value, _range_of(name))
            shown[name] = {"text": readings.text(name), "share": share, "reason": readings.reasons.get(name)}
        shown["tracking"] = {
            "text": f"{readings.tracking_pct:.1f}\N{NO-BREAK SPACE}%",
            "share": _share(readings.tracking_pct, _TRACKING_RANGE),
            "reason": None,
        }
        self.meters.param.update(readings=json.dumps(shown), revision=readings.revision)
