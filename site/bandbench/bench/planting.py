"""What an instructor has planted in the machine: faults of the catalogue and hidden values, several at once.

Contents: `HiddenValue`, `HIDDEN` (the values that can be moved by hand) and `Planting`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from bandbench.bench.errors import BenchError
from bandbench.bench.faults import with_fault
from bandbench.bench.words import say
from sim.condition import Condition
from sim.errors import UnknownNameError
from sim.training.demonstration import Cue
from sim.training.machine import condition_value

__all__ = ["HIDDEN", "HiddenValue", "Planting"]

_HEADS = (1, 2, 3, 4)


@dataclass(frozen=True)
class HiddenValue:
    """A value of `sim.condition.Condition` that an instructor can move.

    Attributes
    ----------
    name : str
        The field; with ``_1`` to ``_4`` behind it where each head has its own.
    label : str
        What it is called.
    unit : str
        Its unit.
    minimum, maximum, step : float
        How far, and by what steps [unit].
    """

    name: str
    label: str
    unit: str
    minimum: float
    maximum: float
    step: float

    @property
    def sound(self) -> float:
        """What it is in a machine in order [unit]."""
        return condition_value(Condition(), self.name)


# MODEL: as far as what they do is worth showing.
_RANGES: tuple[tuple[str, str, float, float, float], ...] = (
    ("tracking_offset_deg", "deg", -90.0, 90.0, 1.0),
    ("guide_offset_um", "um", -100.0, 100.0, 1.0),
    ("guide_height_offset_um", "um", -200.0, 200.0, 2.0),
    ("noise_db", "dB", 0.0, 25.0, 0.5),
    ("switch_timing_offset_us", "us", -10.0, 12.0, 0.5),
    ("wheel_jitter_ns", "ns", 0.0, 2000.0, 50.0),
    ("capstan_swing_deg", "deg", 0.0, 60.0, 1.0),
    ("wheel_servo_gain_offset_db", "dB", -16.0, 16.0, 0.5),
    ("capstan_servo_gain_offset_db", "dB", -16.0, 16.0, 0.5),
    ("control_head_db", "dB", -40.0, 0.0, 1.0),
    ("tape_dropouts_per_frame", "per frame", 0.0, 40.0, 1.0),
    ("tape_edge_db", "dB", -30.0, 0.0, 1.0),
    ("demodulator_gain_db", "dB", -6.0, 3.0, 0.25),
    ("video_hum_pct", "%", 0.0, 40.0, 1.0),
    ("input_level_offset_db", "dB", -6.0, 3.0, 0.25),
    ("record_deviation_offset_khz", "kHz", -700.0, 700.0, 10.0),
)
_RANGES_OF_HEADS: tuple[tuple[str, str, float, float, float], ...] = (
    ("head_timing_offset_ns", "ns", -450.0, 450.0, 5.0),
    ("head_output_db", "dB", -12.0, 2.0, 0.25),
    ("head_debris_um", "um", 0.0, 3.5, 0.05),
    ("channel_gain_offset_db", "dB", -12.0, 6.0, 0.25),
    ("channel_eq_offset_db", "dB", -5.0, 5.0, 0.1),
    ("channel_noise_db", "dB", 0.0, 20.0, 0.5),
    ("record_current_best_pct", "%", 50.0, 200.0, 1.0),
)


def _hidden() -> list[HiddenValue]:
    alike = [
        HiddenValue(name, say(f"hidden.{name}"), unit, minimum, maximum, step)
        for name, unit, minimum, maximum, step in _RANGES
    ]
    of_heads = [
        HiddenValue(f"{name}_{head}", say(f"hidden.{name}", head=head), unit, minimum, maximum, step)
        for name, unit, minimum, maximum, step in _RANGES_OF_HEADS
        for head in _HEADS
    ]
    return alike + of_heads


HIDDEN: Mapping[str, HiddenValue] = MappingProxyType({one.name: one for one in _hidden()})
"""Values that can be moved by hand, by name."""


@dataclass(frozen=True)
class Planting:
    """What is planted, in the order in which it was.

    Attributes
    ----------
    faults : mapping of str to float
        Severity, above 0 to 1, by the fault's name.
    values : mapping of str to float
        Hidden values off what they are in a machine in order, by name; those of a cue need not be in `HIDDEN`.
    """

    faults: Mapping[str, float] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.faults or self.values)

    @classmethod
    def of_cue(cls, cue: Cue) -> Planting:
        """Return what a cue of a demonstration plants."""
        values: dict[str, float] = {}
        for name, value in cue.condition.items():
            if isinstance(value, tuple):
                values |= {f"{name}_{head}": one for head, one in zip(_HEADS, value, strict=True)}
            else:
                values[name] = value
        return cls({planted.fault: planted.severity for planted in cue.faults}, _off(values))

    def with_fault(self, name: str, severity: float) -> Planting:
        """Return this with a fault planted so badly, or as it is now with severity 0 taken away.

        Raises
        ------
        BandbenchError
            If there is no such fault, or the severity is not from 0 to 1.
        """
        with_fault(Condition(), name, severity)
        others = {other: bad for other, bad in self.faults.items() if other != name or severity > 0.0}
        return replace(self, faults=others | ({name: severity} if severity > 0.0 else {}))

    def with_value(self, name: str, value: float) -> Planting:
        """Return this with a hidden value moved.

        Raises
        ------
        BandbenchError
            If there is no such value in `HIDDEN`, or it cannot go so far.
        """
        if name not in HIDDEN:
            raise UnknownNameError("hidden value", name, HIDDEN)
        one = HIDDEN[name]
        if not one.minimum <= value <= one.maximum:
            raise BenchError(f"{one.label}: {value:g} is outside {one.minimum:g} to {one.maximum:g} {one.unit}")
        return replace(self, values=_off({**self.values, name: value}))

    def condition(self) -> Condition:
        """Return a machine with all of it in it: the values, then the faults on top."""
        condition = Condition()
        for name, value in self.values.items():
            condition = _with_value(condition, name, value)
        for fault, severity in self.faults.items():
            condition = with_fault(condition, fault, severity)
        return condition


def _off(values: Mapping[str, float]) -> dict[str, float]:
    """Leave out what is as in a machine in order."""
    return {name: value for name, value in values.items() if value != condition_value(Condition(), name)}


def _with_value(condition: Condition, name: str, value: float) -> Condition:
    # The names are Condition's own and the values numbers; the dictionary's value type cannot say so.
    if hasattr(condition, name):
        return replace(condition, **{name: value})  # type: ignore[arg-type]
    stem, _, head = name.rpartition("_")
    of_heads = list(getattr(condition, stem))
    of_heads[int(head) - 1] = value
    return replace(condition, **{stem: tuple(of_heads)})  # type: ignore[arg-type]
