"""Faults as data: what is wrong, what it looks like, what proves it, how it is put right, and what it is mistaken for.

Contents: `FaultSpec` and its parts (`Effect`, `Proof`, `Remedy`, `LookAlike`), `parse_faults` (reads the catalogue and
accepts nothing else), `apply_fault` and `with_fault`, `distinct_faults`. The catalogue itself is the file
``lessons/faults.toml``; whoever may read files reads it (`bandbench.bench.faults`). Its chart is `sim.faultchart`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from statistics import median
from types import MappingProxyType

from sim.condition import Condition, ConditionError
from sim.errors import UnknownNameError
from sim.training.reader import DataError, Table, file_table
from sim.wording import wording

__all__ = [
    "FAULT_FORMAT_VERSION",
    "GROUPS",
    "RELATIONS",
    "SETUPS",
    "VIEWS",
    "Effect",
    "FaultError",
    "FaultSpec",
    "LookAlike",
    "Proof",
    "Remedy",
    "apply_fault",
    "distinct_faults",
    "parse_faults",
    "with_fault",
]

FAULT_FORMAT_VERSION = 1
"""The format of fault catalogues this parser reads."""

GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "tape": wording("faults.tape"),
        "guide": wording("faults.guide"),
        "heads": wording("faults.heads"),
        "wheel_servo": wording("faults.wheel_servo"),
        "capstan_servo": wording("faults.capstan_servo"),
        "channels": wording("faults.channels"),
        "switcher": wording("faults.switcher"),
        "demodulator": wording("faults.demodulator"),
        "processing": wording("faults.processing"),
        "record": wording("faults.record_side"),
        "sound": wording("faults.sound"),
        "services": wording("faults.air_vacuum_tension"),
    }
)
"""Where in the machine a fault lies: name and title."""

VIEWS: Mapping[str, str] = MappingProxyType(
    {
        "picture": wording("faults.picture_monitor"),
        "waveform": wording("faults.waveform_monitor"),
        "vectorscope": wording("faults.vectorscope"),
        "rf": wording("faults.rf_envelope_meters"),
        "spectrum": wording("faults.spectrum_rf"),
        "servo": wording("faults.servo_traces"),
        "sound": wording("faults.sound_meters_ear"),
        "machine": wording("faults.machine_itself"),
    }
)
"""Where a symptom shows: name and title."""

SETUPS: Mapping[str, str] = MappingProxyType(
    {
        "playback": wording("faults.play_alignment_tape_time"),
        "weak_rf": wording("faults.play_alignment_tape_all"),
        "cleaned": wording("faults.clean_tape_path_heads"),
        "degaussed": wording("faults.degauss_heads_then_play"),
        "bars": wording("faults.play_colour_bars_recorded"),
        "colour": wording("faults.play_colour_bars_recorded_2"),
        "compensated": wording("faults.play_colour_bars_recorded_3"),
        "multiburst": wording("faults.play_multiburst_recorded_machine"),
        "electronics": wording("faults.send_colour_bars_input"),
        "running": wording("faults.start_machine_from_rest"),
        "minute": wording("faults.play_set_timer_0"),
        "winding": wording("faults.set_timer_0_wind"),
        "stopping": wording("faults.wind_forward_12_s"),
        "recording": wording("faults.record_blank_tape_some"),
        "alignment_sound": wording("faults.play_sound_alignment_tape"),
        "treble": wording("faults.record_play_10_khz"),
        "treble_cleaned": wording("faults.clean_sound_heads_then"),
        "silence": wording("faults.record_play_programme_sound"),
    }
)
"""What a proof is measured under: name, and what to do."""

RELATIONS = ("above", "below", "beyond", "between", "differs_by_head", "swings")
"""How a reading proves a fault: above or below a value, further than it from 0 either way, between two, one head's off
the others', or moving by so much from its least to its most."""

_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
_READING = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*(_\{head\})?")
_HEADS = (1, 2, 3, 4)


class FaultError(DataError):
    """The fault catalogue cannot be used as it is written."""


@dataclass(frozen=True)
class Effect:
    """What a fault does to one value of the hidden condition.

    Attributes
    ----------
    field : str
        A field of `sim.condition.Condition`.
    add : float
        What is added at severity 1, in the field's unit; less in proportion at less.
    exactly : float or None
        What the value becomes at any severity above 0, in place of adding; for what fails altogether.
    """

    field: str
    add: float = 0.0
    exactly: float | None = None

    def on(self, value: float, severity: float) -> float:
        """Return what `value` becomes."""
        if self.exactly is not None:
            return self.exactly if severity > 0.0 else value
        return value + self.add * severity


@dataclass(frozen=True)
class Proof:
    """A measurement that proves a fault.

    Attributes
    ----------
    reading : str
        The instrument's reading; ``rf_level_db_{head}`` stands for that of each head.
    relation : str
        One of `RELATIONS`.
    value : tuple of float
        One limit, or two for ``between`` [unit]. ``differs_by_head``: how far the head's reading lies from the middle
        one of the other three, with its sign; ``swings``: least peak to peak.
    unit : str
        The reading's unit.
    setup : str
        One of `SETUPS`.
    words : str
        The same for people.
    head : int
        The head that is meant; 0 for none in particular.
    """

    reading: str
    relation: str
    value: tuple[float, ...]
    unit: str
    setup: str
    words: str
    head: int = 0

    @property
    def readings(self) -> tuple[str, ...]:
        """Names of the readings that are to be taken."""
        if self.relation == "differs_by_head":
            return tuple(self.reading.format(head=head) for head in _HEADS)
        return (self.reading,)

    def holds(self, series: Mapping[str, Sequence[float]]) -> bool:
        """Tell whether readings prove it.

        Parameters
        ----------
        series : mapping of reading to numbers
            What each of `readings` showed, once or several times over a few seconds [unit]; NaN where the instrument
            could not read. For ``swings`` several, else their median counts.
        """
        shown = [[value for value in series[name] if not math.isnan(value)] for name in self.readings]
        if self.relation == "differs_by_head":
            return self._stands_out([median(values) if values else math.nan for values in shown])
        (values,) = shown
        if not values:
            return False
        if self.relation == "swings":
            return max(values) - min(values) > self.value[0]
        middle = median(values)
        if self.relation == "between":
            return self.value[0] <= middle <= self.value[1]
        if self.relation == "beyond":
            return abs(middle) > self.value[0]
        return middle > self.value[0] if self.relation == "above" else middle < self.value[0]

    def _stands_out(self, of_heads: list[float]) -> bool:
        (limit,) = self.value
        found = [head for head in _HEADS if self._departs(of_heads, head, limit)]
        return bool(found) and (self.head == 0 or found == [self.head])

    def _departs(self, of_heads: list[float], head: int, limit: float) -> bool:
        others = [of_heads[other - 1] for other in _HEADS if other != head and not math.isnan(of_heads[other - 1])]
        if not others or math.isnan(of_heads[head - 1]):
            return False
        away = of_heads[head - 1] - median(others)
        return away > limit if limit > 0.0 else away < limit


@dataclass(frozen=True)
class Remedy:
    """How a fault is put right.

    Attributes
    ----------
    text : str
        In words.
    control : str or None
        The control that makes up for it, if one does.
    act : str or None
        The act of `sim.transport.ACTS` that cures it, if one does.
    """

    text: str
    control: str | None = None
    act: str | None = None


@dataclass(frozen=True)
class LookAlike:
    """Another fault that looks the same: its entry in the catalogue, and how to tell this one from it."""

    fault: str
    tell: str


@dataclass(frozen=True)
class FaultSpec:
    """One fault that can be planted with a severity from 0 (none) to 1 (worst).

    Attributes
    ----------
    name : str
        What it is planted as; a fault of one head ends in its number.
    entry : str
        Its entry in the catalogue, the same for the four heads.
    head : int
        The head it is about; 0 for none in particular.
    title, description : str
        In a few words; in a sentence or two.
    group : str
        One of `GROUPS`.
    least, most : float
        Severities from the least that is worth planting to the worst [share].
    effects : tuple of Effect
        What it does to the hidden condition.
    symptoms : mapping of view to text
        What shows on each of `VIEWS` where anything does.
    proof : tuple of Proof
        What proves it: all of them together.
    remedy : Remedy
        How it is put right.
    look_alikes : tuple of LookAlike
        What it is mistaken for.
    """

    name: str
    entry: str
    head: int
    title: str
    description: str
    group: str
    least: float
    most: float
    effects: tuple[Effect, ...]
    symptoms: Mapping[str, str]
    proof: tuple[Proof, ...]
    remedy: Remedy
    look_alikes: tuple[LookAlike, ...]


# Planting ----------------------------------------------------------------------------------------------------------


def apply_fault(condition: Condition, fault: FaultSpec, severity: float = 1.0) -> Condition:
    """Return `condition` with one fault added.

    Parameters
    ----------
    condition : Condition
        Where the fault is added.
    fault : FaultSpec
        From the catalogue.
    severity : float
        0 (none) to 1 (worst).

    Raises
    ------
    ConditionError
        If the severity is not from 0 to 1, or what it leads to cannot be.
    """
    if not (math.isfinite(severity) and 0.0 <= severity <= 1.0):
        raise ConditionError(f"fault '{fault.name}': severity {severity!r} is not a number from 0 to 1")
    changed: dict[str, object] = {}
    for effect in fault.effects:
        value = getattr(condition, effect.field)
        if isinstance(value, tuple):
            changed[effect.field] = tuple(
                effect.on(of_head, severity) if fault.head in (0, head) else of_head
                for head, of_head in enumerate(value, start=1)
            )
        else:
            changed[effect.field] = effect.on(value, severity)
    # The names are Condition's own and the values numbers; the dictionary's value type cannot say so.
    return replace(condition, **changed)  # type: ignore[arg-type]


def with_fault(condition: Condition, faults: Mapping[str, FaultSpec], name: str, severity: float = 1.0) -> Condition:
    """Return `condition` with the fault of a catalogue that is called `name`; errors as for `apply_fault`.

    Raises
    ------
    UnknownNameError
        If there is no such fault.
    """
    if name not in faults:
        raise UnknownNameError("fault", name, faults)
    return apply_fault(condition, faults[name], severity)


def distinct_faults(faults: Mapping[str, FaultSpec]) -> dict[str, FaultSpec]:
    """Return one fault of each entry of a catalogue, by the entry's name: of four heads, the first."""
    found: dict[str, FaultSpec] = {}
    for fault in faults.values():
        found.setdefault(fault.entry, fault)
    return found


# Reading the catalogue ---------------------------------------------------------------------------------------------

_KEYS = (
    "name",
    "title",
    "group",
    "per_head",
    "description",
    "severity",
    "effects",
    "symptoms",
    "proof",
    "remedy",
    "look_alikes",
)
_PROOF_KEYS = ("reading", "relation", "value", "unit", "setup", "words")


def parse_faults(data: object, source_name: str) -> dict[str, FaultSpec]:
    """Return the faults of a catalogue by name, those of one head four times, in the file's order.

    Parameters
    ----------
    data : object
        The file's content as plain tables, lists, texts and numbers, as a TOML or JSON parser gives it.
    source_name : str
        The file's name for error messages.

    Raises
    ------
    FaultError
        At the first thing that is not as a catalogue must be; the error names file, key, reason and remedy.
    """
    top = file_table(data, source_name, FaultError, ("format_version", "faults"), FAULT_FORMAT_VERSION)
    tables = top.tables("faults", _KEYS, 1)
    found: dict[str, FaultSpec] = {}
    for place, table in enumerate(tables, start=1):
        for fault in _faults_of(table):
            if fault.name in found:
                raise top.refusal(
                    f"faults[{place}].name", f"{fault.name!r} names two faults", "Give each fault its own name."
                )
            found[fault.name] = fault
    entries = {fault.entry for fault in found.values()}
    for place, table in enumerate(tables, start=1):
        own = table.text("name")
        for number, other in enumerate(_look_alikes(table), start=1):
            if other.fault == own or other.fault not in entries:
                raise top.refusal(
                    f"faults[{place}].look_alikes[{number}].fault",
                    f"there is no other fault {other.fault!r}",
                    "Use the 'name' of another fault of this file.",
                )
    return found


def _faults_of(table: Table) -> list[FaultSpec]:
    entry = table.text("name", _NAME)
    per_head = table.flag("per_head") if "per_head" in table else False
    effects = tuple(_effect(item, per_head) for item in table.tables("effects", ("field", "add", "exactly"), 1))
    if per_head and not all(isinstance(getattr(_SOUND, effect.field), tuple) for effect in effects):
        raise table.refusal(
            "per_head", "an effect is on a value that all heads share", "Remove per_head, or use values of one head."
        )
    least, most = _severities(table)
    symptoms = table.table("symptoms", VIEWS)
    if not symptoms.names():
        raise table.refusal("symptoms", "is empty", "Say what shows on at least one of the views.")
    remedy = table.table("remedy", ("text", "control", "act"))
    title, description = table.text("title"), table.text("description")
    shown = {view: symptoms.text(view) for view in VIEWS if view in symptoms}
    proofs = tuple(_proof(item) for item in table.tables("proof", _PROOF_KEYS, 1))
    cure = Remedy(remedy.text("text"), remedy.optional_text("control", _READING), remedy.optional_text("act", _NAME))
    others = _look_alikes(table)
    group = table.choice("group", GROUPS)

    def of(head: int) -> FaultSpec:
        def told(text: str) -> str:
            return text.replace("{head}", str(head)) if head else text

        return FaultSpec(
            name=f"{entry}_{head}" if head else entry,
            entry=entry,
            head=head,
            title=told(title),
            description=told(description),
            group=group,
            least=least,
            most=most,
            effects=effects,
            symptoms=MappingProxyType({view: told(text) for view, text in shown.items()}),
            proof=tuple(_of_head(proof, head) for proof in proofs),
            remedy=replace(cure, text=told(cure.text), control=None if cure.control is None else told(cure.control)),
            look_alikes=tuple(LookAlike(other.fault, told(other.tell)) for other in others),
        )

    return [of(head) for head in (_HEADS if per_head else (0,))]


def _of_head(proof: Proof, head: int) -> Proof:
    if not head:
        return proof
    # The readings of all heads are compared; any other is the one head's own.
    compared = proof.relation == "differs_by_head"
    reading = proof.reading if compared else proof.reading.replace("{head}", str(head))
    return replace(proof, reading=reading, words=proof.words.replace("{head}", str(head)), head=head)


def _effect(table: Table, per_head: bool) -> Effect:
    field = table.choice("field", _FIELDS)
    if ("add" in table) == ("exactly" in table):
        raise table.refusal("", "needs either 'add' or 'exactly'", "Give one of the two.")
    if "exactly" in table:
        return Effect(field, exactly=table.number("exactly"))
    return Effect(field, add=table.number("add"))


def _severities(table: Table) -> tuple[float, float]:
    severity = table.table("severity", ("least", "most"))
    least, most = severity.number("least", above=0.0, maximum=1.0), severity.number("most", above=0.0, maximum=1.0)
    if least > most:
        raise severity.refusal("most", f"{most:g} is below the least {least:g}", "Exchange least and most.")
    return least, most


def _proof(table: Table) -> Proof:
    relation = table.choice("relation", RELATIONS)
    if relation == "between":
        value = table.numbers("value", 2)
        if len(value) != 2 or value[0] > value[1]:
            raise table.refusal("value", "must be two numbers, the lower first", "Write [lower, upper].")
    else:
        value = (table.number("value"),)
    return Proof(
        reading=table.text("reading", _READING),
        relation=relation,
        value=value,
        unit=table.text("unit"),
        setup=table.choice("setup", SETUPS),
        words=table.text("words"),
    )


def _look_alikes(table: Table) -> tuple[LookAlike, ...]:
    return tuple(
        LookAlike(item.text("fault", _NAME), item.text("tell"))
        for item in table.tables("look_alikes", ("fault", "tell"), 1)
    )


_SOUND = Condition()
_FIELDS: Iterable[str] = tuple(entry.name for entry in fields(Condition))
