"""A demonstration as data: cue by cue what is set, what the class reads, what the speaker says, what shows.

Contents: `Demonstration` and its parts (`Cue`, `CueAct`, `Planted`, `Expectation`), `TOPICS`, `DemonstrationError`,
`parse_demonstration` (reads one file and accepts nothing else) and `unknown_faults`. How it is put on a machine and
proven there: `sim.showing`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from types import MappingProxyType

from sim.condition import Condition, ConditionError
from sim.controls import CONTROLS, STAGES, check_control
from sim.deeds import DeedError, check_deed
from sim.errors import BandbenchError
from sim.faults import FaultSpec, with_fault
from sim.instruments import DISPLAYS, MAGNIFICATIONS, RATES, TEST_POINTS, VIDEO_POINTS
from sim.reel import REELS
from sim.signals import SIGNALS
from sim.standards import STANDARDS, get_practice
from sim.tape import WORK_TAPE
from sim.training.parts import DEED, IDENTIFIER, Deed
from sim.training.reader import DataError, Problem, Table, file_table

__all__ = [
    "DECK_MODES",
    "DEMONSTRATION_FORMAT_VERSION",
    "HOW",
    "TOPICS",
    "WORK_TAPE",
    "Cue",
    "CueAct",
    "Demonstration",
    "DemonstrationError",
    "Expectation",
    "Planted",
    "parse_demonstration",
    "unknown_faults",
]

DEMONSTRATION_FORMAT_VERSION = 1
"""The format of demonstrations this parser reads."""

DECK_MODES = ("play", "standby", "stop")
"""What the machine does when a cue begins."""

HOW = ("value", "swing", "no_reading")
"""What is expected of a reading: a value; that it moves by so much, peak to peak; that there is nothing to read."""

TOPICS: Mapping[str, str] = MappingProxyType(
    {
        "lean": "Every band leans",
        "bow": "Every band is bowed",
        "head_aside": "One band in four stands aside",
        "band_lost": "One band in four is lost",
        "band_noisy": "One band in four is noisy",
        "noise_all": "Noise in every band alike",
        "noise_at_band_end": "Noise where each band ends",
        "band_dark": "Bands of a weak head are darker",
        "band_saturation": "One band in four of another saturation",
        "pale_all": "Colour pale in every band alike",
        "band_hue": "Hue that runs through each band",
        "band_marks": "Marks where bands meet",
        "streaks": "Streaks: dropouts",
        "edges_unsteady": "Edges that will not stand still",
        "beat": "A beat over coloured areas",
        "before_processing": "Before the processing amplifier",
        "after_processing": "After the processing amplifier",
        "match_own": "Tracking match: each head on its own tracks",
        "match_next": "Tracking match: heads on the tracks of their neighbours, one further",
        "match_opposite": "Tracking match: heads on the tracks of those across the wheel",
        "match_before": "Tracking match: heads on the tracks of their neighbours, one back",
        "servo_run_up": "Servos run up",
        "servo_lock": "Servos in lock",
        "servo_hunting": "A servo hunts",
        "control_track_lost": "The control track is lost",
        "record_current_1": "Record current of head 1 at its peak",
        "record_current_2": "Record current of head 2 at its peak",
        "record_current_3": "Record current of head 3 at its peak",
        "record_current_4": "Record current of head 4 at its peak",
    }
)
"""What a cue can be there to show: name, and the same in words. Together the demonstrations show all of them."""

_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
_CONDITION = {entry.name: entry for entry in fields(Condition)}


class DemonstrationError(DataError):
    """A demonstration cannot be used as it is written."""


@dataclass(frozen=True)
class Planted:
    """A fault of the catalogue and how bad it is, 0 to 1."""

    fault: str
    severity: float


@dataclass(frozen=True)
class CueAct:
    """A deed of `sim.deeds.DEEDS`, done `after_s` seconds after the one before, or after the cue began [s]."""

    deed: Deed
    after_s: float = 0.0


@dataclass(frozen=True)
class Expectation:
    """What an instrument reads while a cue is shown.

    Attributes
    ----------
    reading : str
        A reading of a frame (`sim.instruments.MEASUREMENTS`) or of the machine (`sim.machine_readings`).
    how : str
        One of `HOW`.
    minimum, maximum : float or None
        Its range [unit]; None where it is open.
    unit : str
        The reading's unit.
    words : str
        The same for people.
    """

    reading: str
    how: str
    minimum: float | None
    maximum: float | None
    unit: str
    words: str

    def holds(self, values: Iterable[float | None]) -> bool:
        """Tell whether what was read, at one moment or several, is as expected; None where nothing could be read.

        Examples
        --------
        >>> Expectation("skew_us", "value", 0.5, None, "us", "Bands lean.").holds([0.7, 0.71])
        True
        """
        read = list(values)
        if self.how == "no_reading":
            return bool(read) and all(value is None for value in read)
        numbers = [value for value in read if value is not None]
        if not numbers or len(numbers) < len(read):
            return False
        shown = [max(numbers) - min(numbers)] if self.how == "swing" else numbers
        return all(self._within(value) for value in shown)

    def _within(self, value: float) -> bool:
        return (self.minimum is None or value >= self.minimum) and (self.maximum is None or value <= self.maximum)


@dataclass(frozen=True)
class Cue:
    """One state of a demonstration, told whole: whoever shows it needs no other cue.

    Attributes
    ----------
    title, caption : str
        What the class reads: the cue's name, and a sentence.
    notes : str
        What the speaker says and points at; the class never sees it.
    topics : tuple of str
        What it is there to show, from `TOPICS`.
    stage : str
        The stage that is open.
    deck : str
        One of `DECK_MODES`.
    tape : str
        `WORK_TAPE` or a name from `sim.reel.REELS`.
    place_s : float
        Place on a reel, as seconds of play from its beginning [s].
    signal : str
        What is sent to the machine, from `sim.signals.SIGNALS`.
    controls : mapping of str to float
        Controls off their defaults.
    condition : mapping of str to float or four floats
        Hidden values, by field of `sim.condition.Condition`.
    faults : tuple of Planted
        What is planted besides.
    acts : tuple of CueAct
        What is done at the machine from then on; written as in a lesson's steps.
    wait_s : float
        How long after the cue began what is expected shows [s].
    scope, monitor : mapping
        Settings of the waveform and of the picture monitor.
    why, readings : bool
        Whether the class sees the why views and the readings.
    expect : tuple of Expectation
        What the instruments then read: all of it.
    """

    title: str
    caption: str
    notes: str
    topics: tuple[str, ...]
    stage: str
    deck: str
    tape: str
    place_s: float
    signal: str
    controls: Mapping[str, float]
    condition: Mapping[str, float | tuple[float, ...]]
    faults: tuple[Planted, ...]
    acts: tuple[CueAct, ...]
    wait_s: float
    scope: Mapping[str, object]
    monitor: Mapping[str, object]
    why: bool
    readings: bool
    expect: tuple[Expectation, ...]

    def hidden_condition(self, faults: Mapping[str, FaultSpec]) -> Condition:
        """Return the machine's hidden state: the values given, then the faults on top.

        Raises
        ------
        BandbenchError
            If a fault is not in the catalogue or leads to what cannot be.
        """
        # Held to Condition's own fields when the file was read; the mapping's value type cannot say so.
        condition = replace(Condition(), **self.condition)  # type: ignore[arg-type]
        for planted in self.faults:
            condition = with_fault(condition, faults, planted.fault, planted.severity)
        return condition


@dataclass(frozen=True)
class Demonstration:
    """A prepared demonstration.

    Attributes
    ----------
    id, title : str
        What it is called in files, and for people.
    minutes : float
        How long it takes with a class [min].
    standard, practice : str
        What the machine is set to.
    cues : tuple of Cue
        In order.
    source : str
        The file it came from.
    """

    id: str
    title: str
    minutes: float
    standard: str
    practice: str
    cues: tuple[Cue, ...]
    source: str


_TOP_KEYS = ("format_version", "id", "title", "minutes", "standard", "practice", "tape", "signal", "deck", "cues")
_CUE_KEYS = (
    "title", "caption", "notes", "topics", "stage", "deck", "tape", "place_s", "signal", "controls", "condition",
    "faults", "acts", "wait_s", "scope", "monitor", "why", "readings", "expect",
)  # fmt: skip
_SCOPE_KEYS = ("test_point", "rate", "magnify", "position", "line", "display")
_MONITOR_KEYS = ("point", "compare", "split", "whole")
# MODEL: nobody waits longer in front of a class.
_LONGEST_WAIT_S = 60.0


def parse_demonstration(data: object, source_name: str) -> Demonstration:
    """Return the demonstration that `data` describes, as a TOML or JSON parser gives it.

    Raises
    ------
    DemonstrationError
        At the first thing that is not as a demonstration must be; the error names file, key, reason and remedy.
    """
    top = file_table(data, source_name, DemonstrationError, _TOP_KEYS, DEMONSTRATION_FORMAT_VERSION)
    standard = top.choice("standard", STANDARDS)
    practice = top.text("practice")
    try:
        of_standard = get_practice(practice).standard
    except BandbenchError as error:
        raise top.refusal("practice", str(error), "Use a practice of sim.standards.") from None
    if of_standard != standard:
        raise top.refusal("practice", f"is one of {of_standard}, not of {standard}", "Make the two agree.")
    cues = tuple(_cue(table, top) for table in top.tables("cues", _CUE_KEYS, 1))
    _check_tapes(top, cues, standard)
    return Demonstration(
        id=top.text("id", IDENTIFIER),
        title=top.text("title"),
        minutes=top.number("minutes", above=0.0),
        standard=standard,
        practice=practice,
        cues=cues,
        source=source_name,
    )


def _check_tapes(top: Table, cues: tuple[Cue, ...], standard: str) -> None:
    for place, cue in enumerate(cues, start=1):
        if cue.tape != WORK_TAPE and REELS[cue.tape].standard != standard:
            raise top.refusal(
                f"cues[{place}].tape", f"{cue.tape!r} is not a reel of {standard}", "Choose one of that standard."
            )


def _inherited(table: Table, top: Table, key: str, choices: Iterable[str], otherwise: str) -> str:
    """Return a choice of the cue, else of the whole demonstration, else the one given."""
    if key in table:
        return table.choice(key, choices)
    return top.choice(key, choices) if key in top else otherwise


def _cue(table: Table, top: Table) -> Cue:
    tape = _inherited(table, top, "tape", (WORK_TAPE, *REELS), WORK_TAPE)
    if "place_s" in table and tape == WORK_TAPE:
        raise table.refusal("place_s", "the endless work tape has no places", "Remove it, or name a reel as 'tape'.")
    return Cue(
        title=table.text("title"),
        caption=table.text("caption"),
        notes=table.text("notes"),
        topics=_topics(table),
        stage=table.choice("stage", STAGES),
        deck=_inherited(table, top, "deck", DECK_MODES, DECK_MODES[0]),
        tape=tape,
        place_s=table.number("place_s", minimum=0.0) if "place_s" in table else 0.0,
        signal=_inherited(table, top, "signal", SIGNALS, "bars"),
        controls=_controls(table),
        condition=_condition(table),
        faults=_faults(table),
        acts=_acts(table),
        wait_s=table.number("wait_s", minimum=0.0, maximum=_LONGEST_WAIT_S) if "wait_s" in table else 0.5,
        scope=_scope(table),
        monitor=_monitor(table),
        why=table.flag("why") if "why" in table else False,
        readings=table.flag("readings") if "readings" in table else True,
        expect=tuple(_expectation(item) for item in table.tables("expect", _EXPECT_KEYS, 1)),
    )


def _topics(table: Table) -> tuple[str, ...]:
    topics = table.texts("topics", 0, unique=True) if "topics" in table else ()
    for place, topic in enumerate(topics, start=1):
        if topic not in TOPICS:
            raise table.refusal(f"topics[{place}]", f"{topic!r} is no topic", "Use names of TOPICS.")
    return topics


def _controls(table: Table) -> Mapping[str, float]:
    if "controls" not in table:
        return MappingProxyType({})
    named = table.table("controls", CONTROLS)
    found = {}
    for name in named.names():
        value = named.value(name)
        try:
            if isinstance(value, bool) or not isinstance(value, int | float | str):
                raise named.refusal(name, f"{value!r} is neither a number nor a choice", "Write its value.")
            found[name] = check_control(name, value)
        except DataError:
            raise
        except BandbenchError as error:
            raise named.refusal(name, str(error), "Use a value the control can be set to.") from None
    return MappingProxyType(found)


def _condition(table: Table) -> Mapping[str, float | tuple[float, ...]]:
    if "condition" not in table:
        return MappingProxyType({})
    named = table.table("condition", _CONDITION)
    found: dict[str, float | tuple[float, ...]] = {}
    for name in named.names():
        found[name] = named.numbers(name, 4) if isinstance(_CONDITION[name].default, tuple) else named.number(name)
    try:
        replace(Condition(), **found)  # type: ignore[arg-type]  # Condition checks it itself
    except ConditionError as error:
        raise named.refusal("", str(error), "Use values a machine can have.") from None
    return MappingProxyType(found)


def _faults(table: Table) -> tuple[Planted, ...]:
    if "faults" not in table:
        return ()
    return tuple(
        Planted(item.text("fault", _NAME), item.number("severity", above=0.0, maximum=1.0))
        for item in table.tables("faults", ("fault", "severity"), 1)
    )


def _acts(table: Table) -> tuple[CueAct, ...]:
    if "acts" not in table:
        return ()
    return tuple(
        CueAct(
            _deed(item),
            item.number("after_s", minimum=0.0, maximum=_LONGEST_WAIT_S) if "after_s" in item else 0.0,
        )
        for item in table.tables("acts", ("act", "after_s"), 1)
    )


def _deed(item: Table) -> Deed:
    deed = Deed.written(item.text("act", DEED))
    try:
        return Deed(deed.name, check_deed(deed.name, deed.choice))
    except DeedError as error:
        remedy = "Write a deed as 'play', or with its choice as 'select_tracks:video'."
        raise item.refusal("act", str(error), remedy) from None


def _scope(table: Table) -> Mapping[str, object]:
    if "scope" not in table:
        return MappingProxyType({})
    given = table.table("scope", _SCOPE_KEYS)
    readers: dict[str, Callable[[], object]] = {
        # Inner points need a card on the extender, which a demonstration does not stop for.
        "test_point": lambda: given.choice("test_point", [name for name, one in TEST_POINTS.items() if not one.inner]),
        "rate": lambda: given.choice("rate", RATES),
        "magnify": lambda: given.whole_number("magnify", 1, MAGNIFICATIONS[-1]),
        "position": lambda: given.number("position", minimum=0.0, maximum=1.0),
        "line": lambda: given.whole_number("line", 1, 625),
        "display": lambda: given.choice("display", DISPLAYS),
    }
    found = {name: readers[name]() for name in given.names()}
    if found.get("magnify", 1) not in MAGNIFICATIONS:
        raise given.refusal("magnify", f"{found['magnify']} cannot be set", f"Use one of {MAGNIFICATIONS}.")
    return MappingProxyType(found)


def _monitor(table: Table) -> Mapping[str, object]:
    if "monitor" not in table:
        return MappingProxyType({})
    given = table.table("monitor", _MONITOR_KEYS)
    readers: dict[str, Callable[[], object]] = {
        "point": lambda: given.choice("point", VIDEO_POINTS),
        "compare": lambda: given.choice("compare", VIDEO_POINTS),
        "split": lambda: given.number("split", minimum=0.0, maximum=1.0),
        "whole": lambda: given.flag("whole"),
    }
    return MappingProxyType({name: readers[name]() for name in given.names()})


_EXPECT_KEYS = ("reading", "how", "minimum", "maximum", "unit", "words")


def _expectation(table: Table) -> Expectation:
    how = table.choice("how", HOW) if "how" in table else HOW[0]
    minimum = table.number("minimum") if "minimum" in table else None
    maximum = table.number("maximum") if "maximum" in table else None
    if how == "no_reading" and (minimum, maximum) != (None, None):
        raise table.refusal("how", "where nothing is read there is no range", "Remove 'minimum' and 'maximum'.")
    if how != "no_reading" and minimum is None and maximum is None:
        raise table.refusal("", "has no range", "Give 'minimum', 'maximum' or both.")
    if minimum is not None and maximum is not None and minimum > maximum:
        raise table.refusal("maximum", f"{maximum:g} is below the minimum {minimum:g}", "Exchange the two.")
    return Expectation(table.text("reading", _NAME), how, minimum, maximum, table.text("unit"), table.text("words"))


def unknown_faults(demonstration: Demonstration, faults: Mapping[str, FaultSpec]) -> list[Problem]:
    """Return a problem for each fault that is not in the catalogue, or that cannot be planted like that."""
    problems = []
    for place, cue in enumerate(demonstration.cues, start=1):
        try:
            cue.hidden_condition(faults)
        except BandbenchError as error:
            problems.append(
                Problem(demonstration.source, f"cues[{place}].faults", str(error), "Use names of lessons/faults.toml.")
            )
    return problems
