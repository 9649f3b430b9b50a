"""All readings of one frame at once, and numbers as people read them.

Contents: `Readings` and `take_readings`, `reading_label`; `number`, `quantity`, `unit_sign` and `typeset`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bandbench.bench.words import say
from sim.controls import ControlSpec
from sim.frame import PlaybackFrame
from sim.instruments import DEFAULT_READINGS, MEASUREMENTS, MeasurementError, measure, tracking_level_pct
from sim.machine_readings import MACHINE_READINGS, read_machine
from sim.station import Station
from sim.wording import unit_words

__all__ = [
    "Readings",
    "decimals_of_step",
    "number",
    "quantity",
    "reading_label",
    "setting",
    "take_readings",
    "typeset",
    "unit_sign",
]

_MINUS = "\N{MINUS SIGN}"
_NARROW = "\N{NO-BREAK SPACE}"
_SIGNS = {"um": "µm", "us": "µs", "deg": "°"}
_DECIMALS = {"dB": 2, "us": 2, "ns": 0, "IRE": 1, "mV": 0, "MHz": 3, "%": 1, "deg": 1, "lines": 0, "frames": 0,
             "dropouts": 0, "rev/s": 1, "kPa": 1, "N": 1, "Hz": 0, "cycles": 0}  # fmt: skip
_RANGE = re.compile(r"(?<=\d)-(?=\d)")
# An en dash, and a word joiner so that no line ends between the two numbers.
_DASH = "\N{EN DASH}\N{WORD JOINER}"
_PLAIN_UNIT = re.compile(r"(?<=\d)( ?)(um|us|deg)\b")


@dataclass(frozen=True)
class Readings:
    """What the instruments read on one frame.

    Attributes
    ----------
    frame : PlaybackFrame
        That frame.
    revision : int
        The bench's count of control changes that the frame shows.
    values : mapping of str to float or None
        By name of `MEASUREMENTS` or `MACHINE_READINGS`, in its unit; None where the signals do not allow the reading.
        Those that were asked for, and no others.
    reasons : mapping of str to str
        Why, for those that are None.
    tracking_pct : float
        The tracking meter [%].
    """

    frame: PlaybackFrame
    revision: int
    values: Mapping[str, float | None]
    reasons: Mapping[str, str]
    tracking_pct: float

    def text(self, name: str) -> str | None:
        """Return a reading with its unit, or None if there is none or it was not asked for."""
        value = self.values.get(name)
        if value is None:
            return None
        if name not in MEASUREMENTS:
            of_machine = MACHINE_READINGS[name]
            return quantity(value, of_machine.unit, signed=of_machine.signed)
        spec = MEASUREMENTS[name]
        return quantity(value, spec.unit_in(self.frame.standard), signed=spec.signed)


def reading_label(name: str) -> str:
    """Return what a reading of the frame or of the machine is called."""
    spec = MEASUREMENTS.get(name) or MACHINE_READINGS[name]
    return spec.label


def take_readings(
    frame: PlaybackFrame,
    revision: int = 0,
    names: Iterable[str] = DEFAULT_READINGS,
    station: Station | None = None,
) -> Readings:
    """Read the named instruments once on a frame of the given revision; those of a machine at that which runs."""
    values: dict[str, float | None] = {}
    reasons: dict[str, str] = {}
    for name in names:
        try:
            value = measure(frame, name) if station is None or name in MEASUREMENTS else read_machine(station, name)
        except MeasurementError as error:
            values[name], reasons[name] = None, str(error)
        else:
            values[name] = value if math.isfinite(value) else None
            if values[name] is None:
                reasons[name] = say("meters.no_signal")
    return Readings(frame, revision, values, reasons, tracking_level_pct(frame))


def unit_sign(unit: str) -> str:
    """Return a unit as it is printed: µm for um, words in the language of the page."""
    return _SIGNS.get(unit) or unit_words(unit)


def typeset(text: str) -> str:
    """Return a text with the units behind its numbers, and the dash between two numbers, as they are printed.

    Examples
    --------
    >>> typeset("25.4 um is about 0.91 us")
    '25.4 µm is about 0.91 µs'
    """
    text = _RANGE.sub(_DASH, text)
    return _PLAIN_UNIT.sub(lambda match: ("" if match[2] == "deg" else match[1]) + _SIGNS[match[2]], text)


def number(value: float, decimals: int, signed: bool = True) -> str:
    """Return a number with a real minus; no sign at all where it rounds to zero.

    Examples
    --------
    >>> number(-1.234, 2), number(3.0, 1), number(-0.001, 2)
    ('−1.23', '+3.0', '0.00')
    """
    rounded = round(value, decimals)
    if rounded == 0.0:
        return f"{0.0:.{decimals}f}"
    return f"{rounded:{'+' if signed else ''}.{decimals}f}".replace("-", _MINUS)


def quantity(value: float, unit: str, signed: bool = True) -> str:
    """Return a reading with its unit, to the digits its instrument is good for."""
    return f"{number(value, _DECIMALS.get(unit, 2), signed)}{_NARROW}{unit_sign(unit)}"


def decimals_of_step(step: float) -> int:
    """Return how many decimals a control needs to show its finest step.

    Examples
    --------
    >>> decimals_of_step(0.05), decimals_of_step(5.0)
    (2, 0)
    """
    for decimals in range(7):
        if math.isclose(step * 10**decimals, round(step * 10**decimals), rel_tol=1e-9):
            return decimals
    return 6


def setting(spec: ControlSpec, value: float) -> str:
    """Return a control's value as people read it."""
    if spec.kind == "switch":
        return say("controls.on" if value else "controls.off")
    if spec.kind == "choice":
        return spec.choices[int(value)]
    space = "" if spec.unit == "deg" else _NARROW
    return f"{number(value, decimals_of_step(spec.fine_step), spec.minimum < 0)}{space}{unit_sign(spec.unit)}"
