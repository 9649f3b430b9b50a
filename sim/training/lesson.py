"""The lesson as data: what a lesson file holds, and the parser that accepts nothing else.

Contents: `Lesson` and its parts (`Spread`, `Step`, `Check`, `Hints`, `SolutionMove`, `Forbidden`, `Debrief`) and
`parse_lesson`. The parser checks form only, exactly as ``lessons/lesson.schema.json`` does, plus the few relations a
schema cannot state; `sim.training.lint` checks that every name exists and that the lesson can be done.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from sim.training.reader import LessonError, Problem, Table

__all__ = [
    "CHECK_KINDS",
    "DISTRIBUTIONS",
    "FORMAT_VERSION",
    "HINT_LEVELS",
    "LEVELS",
    "MODES",
    "PROVENANCE_MARKS",
    "Check",
    "Debrief",
    "Forbidden",
    "Hints",
    "Lesson",
    "SolutionMove",
    "Spread",
    "Step",
    "parse_lesson",
]

FORMAT_VERSION = 1
"""The format of lesson files this parser reads."""

MODES = ("demonstration", "guided", "practice", "diagnosis", "assessment")
LEVELS = ("beginner", "intermediate", "advanced")
CHECK_KINDS = ("target", "peak")
DISTRIBUTIONS = ("fixed", "uniform", "either_side", "normal", "choice")
PROVENANCE_MARKS = ("PUB", "QUOTED", "DERIVED", "TRADE", "MEMORY", "MODEL")
HINT_LEVELS = ("symptom", "cause", "step")

_IDENTIFIER = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")

# Longer than any working session; keeps a slipped digit from locking a trainee in.
_LONGEST_LESSON_MIN = 240
_LONGEST_HOLD_S = 10.0
_LARGEST_VERSION = 1_000_000


@dataclass(frozen=True)
class Spread:
    """How one start value is dealt from the seed.

    Attributes
    ----------
    distribution : str
        ``fixed`` (always `centre`), ``uniform`` (from `minimum` to `maximum`), ``either_side`` (`centre` plus or
        minus an amount from `minimum` to `maximum`), ``normal`` (`centre`, standard deviation `deviation`, never
        outside `minimum` to `maximum`), ``choice`` (one of `choices`).
    centre, minimum, maximum, deviation : float
        As above, in the unit of the control or condition the spread belongs to; 0 where not used.
    choices : tuple of float
        As above; empty where not used.
    """

    distribution: str
    centre: float = 0.0
    minimum: float = 0.0
    maximum: float = 0.0
    deviation: float = 0.0
    choices: tuple[float, ...] = ()


@dataclass(frozen=True)
class Step:
    """One step of the work: what to do, with which control, and what is then to be seen.

    `watch` lists the measurements the trainee looks at while moving `control`.
    """

    title: str
    text: str
    expect: str
    control: str | None = None
    stage: str | None = None
    watch: tuple[str, ...] = ()


@dataclass(frozen=True)
class Check:
    """One measurement that must come out right.

    Attributes
    ----------
    name, title : str
        Short name for logs; words for people.
    measurement : str
        What the instrument reads: a name from ``sim.instruments.MEASUREMENTS``.
    kind : str
        ``target``: the reading must lie within `tolerance` of `target`. ``peak``: it must lie no more than
        `tolerance` below the highest reading the right settings give on this machine in this condition.
    target : float
        For ``target``; for ``peak`` it is 0: the distance from the peak aimed at.
    tolerance : float
        Allowed departure, above 0.
    unit : str
        Unit of target and tolerance; the linter compares it with the instrument's.
    source, provenance : str
        Where the tolerance comes from, in words, and its mark.
    weight : float
        Share in the points, above 0. A pass needs every check whatever its weight.
    hold_s : float
        How long after the submission the reading must stay in tolerance, hands off [s].
    """

    name: str
    title: str
    measurement: str
    kind: str
    target: float
    tolerance: float
    unit: str
    source: str
    provenance: str
    weight: float
    hold_s: float

    @property
    def source_text(self) -> str:
        """The tolerance's source as a trainee may read it: nothing from memory or of our own passes for a standard."""
        lead = {
            "TRADE": "Common practice: ",
            "MEMORY": "Typical, unchecked: ",
            "MODEL": "Chosen for this exercise: ",
        }.get(self.provenance, "")
        return f"{lead}{self.source}"


@dataclass(frozen=True)
class Hints:
    """Three hints, each giving more away: what is seen, why, and what to do."""

    symptom: str
    cause: str
    step: str

    def text(self, level: int) -> str:
        """Return hint 1 (symptom), 2 (cause) or 3 (step)."""
        return (self.symptom, self.cause, self.step)[level - 1]


@dataclass(frozen=True)
class SolutionMove:
    """One move of the worked solution.

    The control is set to `value` + `gain` x the hidden condition named `cancels` (``head_timing_offset_ns_2`` is
    head 2 of a condition with one value a head), or to `value` alone.
    """

    control: str
    value: float
    text: str
    cancels: str | None = None
    gain: float = -1.0


@dataclass(frozen=True)
class Forbidden:
    """An act that endangers tape or heads: moving `control` outside `below`..`above`, or at all if neither is set."""

    control: str
    reason: str
    below: float | None = None
    above: float | None = None

    def broken_by(self, control: str, value: float) -> bool:
        """Tell whether moving `control` to `value` is the forbidden act."""
        if control != self.control:
            return False
        if self.below is None and self.above is None:
            return True
        return (self.below is not None and value < self.below) or (self.above is not None and value > self.above)


@dataclass(frozen=True)
class Debrief:
    """What is said afterwards: what happened, why, and what to do next."""

    what: str
    why: str
    next: str


@dataclass(frozen=True)
class Lesson:
    """One lesson. Texts are Markdown; names are those of `sim.recorder` and `sim.instruments`."""

    source: str
    version: int
    id: str
    title: str
    objectives: tuple[str, ...]
    prerequisites: tuple[str, ...]
    minutes: int
    level: str
    mode: str
    standard: str
    practice: str
    tape: str
    signal: str
    controls: tuple[str, ...]
    instruments: tuple[str, ...]
    briefing: str
    cautions: tuple[str, ...]
    start_controls: Mapping[str, Spread]
    start_condition: Mapping[str, Spread]
    must_fail: tuple[str, ...]
    steps: tuple[Step, ...]
    checks: tuple[Check, ...]
    hints: Hints
    solution: tuple[SolutionMove, ...]
    forbidden: tuple[Forbidden, ...]
    debrief: Debrief
    references: tuple[str, ...]


_KEYS = (
    "format_version",
    "version",
    "id",
    "title",
    "objectives",
    "prerequisites",
    "minutes",
    "level",
    "mode",
    "standard",
    "practice",
    "tape",
    "signal",
    "controls",
    "instruments",
    "briefing",
    "cautions",
    "start",
    "steps",
    "checks",
    "hints",
    "solution",
    "forbidden",
    "debrief",
    "references",
)

_SPREAD_KEYS: Mapping[str, tuple[str, ...]] = {
    "fixed": ("distribution", "centre"),
    "uniform": ("distribution", "minimum", "maximum"),
    "either_side": ("distribution", "centre", "minimum", "maximum"),
    "normal": ("distribution", "centre", "deviation", "minimum", "maximum"),
    "choice": ("distribution", "choices"),
}


def parse_lesson(data: object, source_name: str) -> Lesson:
    """Return the lesson that `data` describes.

    Parameters
    ----------
    data : object
        The file's content as plain tables, lists, texts and numbers, as a TOML or JSON parser gives it.
    source_name : str
        The file's name for error messages.

    Raises
    ------
    LessonError
        At the first thing that is not as a lesson must be; the error names file, key, reason and remedy.
    """
    if isinstance(data, Mapping) and "format_version" in data:
        _check_format(data["format_version"], source_name)
    top = Table(data, source_name, "", LessonError, _KEYS)
    _check_format(top.whole_number("format_version", 0, _LARGEST_VERSION), source_name)
    start = top.table("start", ("controls", "condition", "must_fail"))
    checks = tuple(_check(table) for table in top.tables("checks", _CHECK_KEYS, 1))
    for place, check in enumerate(checks, start=1):
        if check.name in [other.name for other in checks[: place - 1]]:
            raise top.refusal(
                f"checks[{place}].name", f"{check.name!r} names two checks", "Give each check its own name."
            )
    must_fail = start.texts("must_fail", 1, unique=True, pattern=_NAME) if "must_fail" in start else ()
    for place, name in enumerate(must_fail, start=1):
        if name not in [check.name for check in checks]:
            raise start.refusal(
                f"must_fail[{place}]", f"no check is named {name!r}", "Use the 'name' of one of the checks."
            )
    return Lesson(
        source=source_name,
        version=top.whole_number("version", 1, _LARGEST_VERSION),
        id=top.text("id", _IDENTIFIER),
        title=top.text("title"),
        objectives=top.texts("objectives", 1),
        prerequisites=top.texts("prerequisites", 0, unique=True, pattern=_IDENTIFIER),
        minutes=top.whole_number("minutes", 1, _LONGEST_LESSON_MIN),
        level=top.choice("level", LEVELS),
        mode=top.choice("mode", MODES),
        standard=top.text("standard"),
        practice=top.text("practice"),
        tape=top.text("tape"),
        signal=top.text("signal"),
        controls=top.texts("controls", 1, unique=True, pattern=_NAME),
        instruments=top.texts("instruments", 1, unique=True, pattern=_NAME),
        briefing=top.text("briefing"),
        cautions=top.texts("cautions", 1),
        start_controls=_spreads(start, "controls"),
        start_condition=_spreads(start, "condition"),
        must_fail=must_fail,
        steps=tuple(_step(table) for table in top.tables("steps", _STEP_KEYS, 1)),
        checks=checks,
        hints=_hints(top.table("hints", HINT_LEVELS)),
        solution=tuple(_solution_move(table) for table in top.tables("solution", _SOLUTION_KEYS, 1)),
        forbidden=tuple(_forbidden(table) for table in top.tables("forbidden", _FORBIDDEN_KEYS, 0)),
        debrief=_debrief(top.table("debrief", ("what", "why", "next"))),
        references=top.texts("references", 0),
    )


def _check_format(version: object, source_name: str) -> None:
    """Refuse another format before any unknown key of it is complained about."""
    if version != FORMAT_VERSION or isinstance(version, bool):
        raise LessonError(
            Problem(
                source_name,
                "format_version",
                f"is {version!r}, but this program reads format {FORMAT_VERSION}",
                f"Write format_version = {FORMAT_VERSION}, or use the program that belongs to the file's format.",
            )
        )


def _spreads(start: Table, key: str) -> dict[str, Spread]:
    table = start.table(key, None)
    for name in table.names():
        if not _NAME.fullmatch(name):
            raise table.refusal(name, "is not a name", "Use small letters, digits and '_', as in 'guide_position_um'.")
    return {name: _spread(table, name) for name in table.names()}


def _spread(parent: Table, name: str) -> Spread:
    every_key = tuple(dict.fromkeys(key for keys in _SPREAD_KEYS.values() for key in keys))
    distribution = parent.table(name, every_key).choice("distribution", DISTRIBUTIONS)
    table = parent.table(name, _SPREAD_KEYS[distribution])
    if distribution == "fixed":
        return Spread(distribution, centre=table.number("centre"))
    if distribution == "choice":
        return Spread(distribution, choices=table.numbers("choices", 1))
    lowest = 0.0 if distribution == "either_side" else None
    minimum = table.number("minimum", minimum=lowest)
    maximum = table.number("maximum", minimum=lowest)
    if minimum > maximum:
        raise table.refusal("maximum", f"{maximum:g} is below the minimum {minimum:g}", "Exchange minimum and maximum.")
    if distribution == "uniform":
        return Spread(distribution, minimum=minimum, maximum=maximum)
    centre = table.number("centre")
    if distribution == "either_side":
        return Spread(distribution, centre=centre, minimum=minimum, maximum=maximum)
    deviation = table.number("deviation", above=0.0)
    if not minimum <= centre <= maximum:
        raise table.refusal(
            "centre", f"{centre:g} is outside {minimum:g} to {maximum:g}", "Choose a centre between the limits."
        )
    return Spread(distribution, centre, minimum, maximum, deviation)


_STEP_KEYS = ("title", "text", "expect", "control", "stage", "watch")


def _step(table: Table) -> Step:
    return Step(
        title=table.text("title"),
        text=table.text("text"),
        expect=table.text("expect"),
        control=table.optional_text("control", _NAME),
        stage=table.optional_text("stage", _NAME),
        watch=table.texts("watch", 1, unique=True, pattern=_NAME) if "watch" in table else (),
    )


_CHECK_KEYS = (
    "name",
    "title",
    "measurement",
    "kind",
    "target",
    "tolerance",
    "unit",
    "source",
    "provenance",
    "weight",
    "hold_s",
)


def _check(table: Table) -> Check:
    kind = table.choice("kind", CHECK_KINDS)
    if kind == "peak" and "target" in table:
        raise table.refusal(
            "target", "a check of kind 'peak' has no target of its own", "Remove it, or use kind = 'target'."
        )
    return Check(
        name=table.text("name", _NAME),
        title=table.text("title"),
        measurement=table.text("measurement", _NAME),
        kind=kind,
        target=table.number("target") if kind == "target" else 0.0,
        tolerance=table.number("tolerance", above=0.0),
        unit=table.text("unit"),
        source=table.text("source"),
        provenance=table.choice("provenance", PROVENANCE_MARKS),
        weight=table.number("weight", above=0.0),
        hold_s=table.number("hold_s", minimum=0.0, maximum=_LONGEST_HOLD_S),
    )


def _hints(table: Table) -> Hints:
    return Hints(symptom=table.text("symptom"), cause=table.text("cause"), step=table.text("step"))


_SOLUTION_KEYS = ("control", "value", "text", "cancels", "gain")


def _solution_move(table: Table) -> SolutionMove:
    cancels = table.optional_text("cancels", _NAME)
    if "gain" in table and cancels is None:
        raise table.refusal("gain", "has nothing to act on", "Name the condition in 'cancels', or remove 'gain'.")
    return SolutionMove(
        control=table.text("control", _NAME),
        value=table.number("value"),
        text=table.text("text"),
        cancels=cancels,
        gain=table.number("gain") if "gain" in table else -1.0,
    )


_FORBIDDEN_KEYS = ("control", "reason", "below", "above")


def _forbidden(table: Table) -> Forbidden:
    below, above = table.optional_number("below"), table.optional_number("above")
    if below is not None and above is not None and below > above:
        raise table.refusal("below", f"{below:g} is greater than above = {above:g}", "Exchange the two limits.")
    return Forbidden(control=table.text("control", _NAME), reason=table.text("reason"), below=below, above=above)


def _debrief(table: Table) -> Debrief:
    return Debrief(what=table.text("what"), why=table.text("why"), next=table.text("next"))
