"""The instruments: RF of the four heads, tracking meter, geometry of the bands, noise; what a lesson adds to them."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.readings import Readings, number, reading_label, typeset, unit_sign
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.instruments import DEFAULT_READINGS, MEASUREMENTS
from sim.machine_readings import MACHINE_READINGS

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["AddedReadings", "Meters", "MetersView"]


@dataclass(frozen=True)
class Scale:
    """What the length of a bar stands for: its ends and the distance of its strokes, in the reading's unit."""

    low: float
    high: float
    step: float

    def share(self, value: float | None) -> float | None:
        """Return where a value stands between the ends, 0 to 1."""
        if value is None:
            return None
        return round(min(max((value - self.low) / (self.high - self.low), 0.0), 1.0), 3)


# By unit; a scale with its zero in the middle is filled from there.
_SCALES: Mapping[str, Scale] = {
    "dB": Scale(-30.0, 3.0, 3.0), "us": Scale(-3.0, 3.0, 1.0), "ns": Scale(-500.0, 500.0, 250.0)
}  # fmt: skip
_NOISE_SCALE = Scale(0.0, 50.0, 10.0)
_TRACKING_SCALE = Scale(0.0, 110.0, 10.0)


class Meters(Part):
    """Readings as numbers with units, and as bars.

    Attributes
    ----------
    labels, abouts : dict of str to str
        What each reading is called and means.
    readings : str
        JSON: for each reading its text, its share of the bar's range, 0 to 1 (both null where there is none), and
        why there is none. As one text it crosses to the page in a tenth of the time that nested tables take.
    scales : dict of str to [str, float]
        For each bar its scale in words, and how many parts its strokes divide it into.
    zones : dict of str to [float, float]
        Where the lesson wants a reading, as shares of its bar's range.
    needed : list of str
        Readings that the lesson needs.
    revision : int
        The bench's count of control changes when the readings were taken: whoever waits for the effect of a control
        sees here that it is in.
    """

    labels = param.Dict(default={})
    abouts = param.Dict(default={})
    readings = param.String(default="{}")
    scales = param.Dict(default={})
    zones = param.Dict(default={})
    needed = param.List(default=[])
    revision = param.Integer(default=0)

    _esm = script("meters")


class AddedReadings(Part):
    """Readings that the lesson needs beyond those that are always shown.

    Attributes
    ----------
    labels, abouts, readings
        As for `Meters`, without a bar.
    names : list of str
        Which they are, in their order; none where the lesson adds nothing.
    """

    labels = param.Dict(default={})
    abouts = param.Dict(default={})
    readings = param.String(default="{}")
    names = param.List(default=[])

    _esm = script("added")


def _scale_of(name: str) -> Scale | None:
    """Return what a reading's bar stands for; None for one without a bar, as all that lessons add."""
    if name == "tracking":
        return _TRACKING_SCALE
    if name not in DEFAULT_READINGS:
        return None
    return _NOISE_SCALE if name == "noise_db" else _SCALES[MEASUREMENTS[name].unit]


def _scales() -> dict[str, list[object]]:
    """Return every bar's scale: in words, and in how many parts its strokes divide it."""
    shown: dict[str, list[object]] = {}
    for name in ("tracking", *DEFAULT_READINGS):
        scale = _scale_of(name)
        assert scale is not None
        unit = "%" if name == "tracking" else unit_sign(MEASUREMENTS[name].unit)
        ends = {"low": number(scale.low, 0), "high": number(scale.high, 0)}
        text = say("meters.scale", step=f"{scale.step:g}", unit=unit, **ends)
        shown[name] = [text, (scale.high - scale.low) / scale.step]
    return shown


def _about(name: str) -> str:
    spec = MEASUREMENTS.get(name) or MACHINE_READINGS[name]
    return f"{spec.description} {say('meters.needs', what=spec.needs)}" if spec.needs else spec.description


class MetersView(View):
    """The instruments."""

    WORDS: ClassVar[str] = "meters"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        names = (*MACHINE_READINGS, *MEASUREMENTS)
        told = {
            "words": self.words,
            "labels": {name: reading_label(name) for name in names},
            "abouts": {name: typeset(_about(name)) for name in names},
        }
        self.meters = Meters(self.receive, scales=_scales(), **told)
        self.added = AddedReadings(self.receive, **told)
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the meters, and what the lesson adds."""
        return {"instruments": self.meters, "readings": self.added}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Refuse: the meters have nothing to press."""
        raise ValueError(f"the instruments send no message, got {message!r}")

    def refresh(self) -> None:
        """Dim what the lesson does not need."""
        bench = self.bench
        needed = [name for name in bench.readings if bench.needs_instrument(name)]
        if bench.needs_instrument("tracking_meter"):
            needed.append("tracking")
        self.meters.param.update(needed=needed, zones=self._zones())
        self.added.names = [name for name in bench.readings if name not in DEFAULT_READINGS]

    def _zones(self) -> dict[str, list[float]]:
        """Return where the lesson wants its readings; nowhere while they are to be found out or proven."""
        session = self.bench.session
        if session is None or (session.lesson.mode in ("assessment", "diagnosis") and not session.finished):
            return {}
        zones: dict[str, list[float]] = {}
        for check in session.lesson.checks:
            scale = _scale_of(check.measurement)
            if check.kind != "target" or scale is None:
                continue
            ends = [scale.share(check.target + side * check.tolerance) for side in (-1.0, 1.0)]
            zones[check.measurement] = [end for end in ends if end is not None]
        return zones

    def update(self, readings: Readings) -> None:
        """Show the readings."""
        shown: dict[str, dict[str, object]] = {}
        if not self.bench.readings_shown:
            # What is put away does not go to the page at all.
            away = {"text": None, "share": None, "reason": say("meters.away")}
            self._show(dict.fromkeys((*readings.values, "tracking"), away), readings.revision)
            return
        for name, value in readings.values.items():
            scale = _scale_of(name)
            share = scale.share(value) if scale else None
            shown[name] = {"text": readings.text(name), "share": share, "reason": readings.reasons.get(name)}
        shown["tracking"] = {
            "text": f"{readings.tracking_pct:.1f}\N{NO-BREAK SPACE}%",
            "share": _TRACKING_SCALE.share(readings.tracking_pct),
            "reason": None,
        }
        self._show(shown, readings.revision)

    def _show(self, shown: Mapping[str, Mapping[str, object]], revision: int) -> None:
        always, added = (
            {name: one for name, one in shown.items() if (_scale_of(name) is None) == own} for own in (False, True)
        )
        self.meters.param.update(readings=json.dumps(always), revision=revision)
        self.added.readings = json.dumps(added)
