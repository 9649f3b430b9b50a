"""The parts a lesson is made of, as data: what each holds, and the words and limits they share.

Contents: `Spread` (one dealt value), `FaultChoice` (faults drawn from the catalogue), `Deed` and `RunningStart` (of a
machine that runs), `Step` and `Until`, `Check`, `Question`, `Hints`, `SolutionMove`, `Forbidden`, `Care`, `Debrief`;
the words they are chosen from (`MODES`, `LEVELS`, ...).
`sim.training.lesson` reads them from a file.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from sim.wording import wording

__all__ = [
    "CHECK_KINDS",
    "DEED",
    "DISTRIBUTIONS",
    "EXTREMES",
    "FORMAT_VERSION",
    "HINT_LEVELS",
    "IDENTIFIER",
    "LARGEST_SEED",
    "LEVELS",
    "LOOK_ALIKES",
    "MODES",
    "NAME",
    "NO_PAR",
    "POOL",
    "PROVENANCE_MARKS",
    "QUESTION_KINDS",
    "RUNNING_MODES",
    "TOPIC_WORDS",
    "Care",
    "Check",
    "Debrief",
    "Deed",
    "FaultChoice",
    "Forbidden",
    "Hints",
    "Question",
    "RunningStart",
    "SolutionMove",
    "Spread",
    "Step",
    "Until",
    "source_text",
]

FORMAT_VERSION = 1
"""The format of lesson files this parser reads."""

LARGEST_SEED = 2**53 - 1
"""Largest whole number that every JSON reader keeps exact."""

MODES = ("demonstration", "guided", "practice", "diagnosis", "assessment")
LEVELS = ("beginner", "intermediate", "advanced")
CHECK_KINDS = ("target", "peak")
DISTRIBUTIONS = ("fixed", "uniform", "either_side", "normal", "choice")
PROVENANCE_MARKS = ("PUB", "QUOTED", "DERIVED", "TRADE", "MEMORY", "MODEL")
HINT_LEVELS = ("symptom", "cause", "step")
QUESTION_KINDS = ("choice", "numeric", "head", "cause")
RUNNING_MODES = ("stop", "standby", "play")
EXTREMES = ("lowest", "highest", "furthest")
TOPIC_WORDS = ("diagnosis", "line-up", "assessment")

LOOK_ALIKES = "look_alikes"
"""Options of a cause question: the fault that was dealt and those the catalogue says it is mistaken for."""
POOL = "pool"
"""Options of a cause question: every fault the lesson can deal."""

IDENTIFIER = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
DEED = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*(:[a-z0-9][a-z0-9+._-]*)?")


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
class FaultChoice:
    """Faults drawn from the catalogue: `count` different ones of those that `pool` names (faults or whole groups).

    `severity` is how bad each is, 0 to 1; None stands for what the catalogue finds worth planting.
    """

    pool: tuple[str, ...]
    count: int
    severity: Spread | None = None


@dataclass(frozen=True)
class Deed:
    """One deed of `sim.deeds.DEEDS` and what is chosen in it; written ``play`` or ``select_tracks:video``."""

    name: str
    choice: str = ""

    @classmethod
    def written(cls, text: str) -> Deed:
        """Return the deed that is written like this."""
        name, _, choice = text.partition(":")
        return cls(name, choice)


@dataclass(frozen=True)
class RunningStart:
    """How a machine that runs is delivered: not held in play, but with reels, servos and sound that live through time.

    Attributes
    ----------
    reel : str
        The reel on the machine, a name from `sim.reel.REELS`; ``endless`` for the machine's own endless tape.
    mode : str
        ``stop``, ``standby`` or ``play``.
    position_s : float
        Place on the tape at the wheel, in seconds of play from where a threaded tape begins.
    before : tuple of Deed
        What was done to it after that, before the trainee comes.
    """

    reel: str
    mode: str
    position_s: float = 0.0
    before: tuple[Deed, ...] = ()


@dataclass(frozen=True)
class Until:
    """What is waited for: `reading` at least `above` and at most `below`, whichever of the two is set."""

    reading: str
    above: float | None = None
    below: float | None = None

    def reached(self, value: float) -> bool:
        """Tell whether a reading is where it is waited for; NaN, no reading, never is."""
        return (self.above is None or value >= self.above) and (self.below is None or value <= self.below)


@dataclass(frozen=True)
class Step:
    """One step of the work: what to do, with which control, and what is then to be seen.

    Attributes
    ----------
    control : str or None
        The control that is turned.
    stage : str or None
        Where in the signal path one looks.
    watch : tuple of str
        The measurements the trainee looks at while moving `control`.
    acts : tuple of Deed
        On a running machine: what is done first, in this order, each after the machine has done the one before.
    wait_s : float
        On a running machine: how long is then waited, or at most, if there is something to wait for [s].
    until : Until or None
        What is waited for.
    settle_s : float
        On a running machine: how long a turned control takes until the instruments show what it did [s].
    """

    title: str
    text: str
    expect: str
    control: str | None = None
    stage: str | None = None
    watch: tuple[str, ...] = ()
    acts: tuple[Deed, ...] = ()
    wait_s: float = 0.0
    until: Until | None = None
    settle_s: float = 0.5


@dataclass(frozen=True)
class Check:
    """One measurement that must come out right.

    Attributes
    ----------
    name, title : str
        Short name for logs; words for people.
    measurement : str
        What the instrument reads: a name from `sim.instruments.MEASUREMENTS`, or of a running machine from
        `sim.machine_readings.MACHINE_READINGS`.
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
        """The tolerance's source as a trainee may read it."""
        return source_text(self.source, self.provenance)


@dataclass(frozen=True)
class Question:
    """One thing to be told from the machine, answered once: as it was delivered, or while it runs.

    Attributes
    ----------
    name, title, text : str
        Short name for logs; a heading; the question itself.
    kind : str
        ``choice`` (one of `options`), ``numeric`` (a reading), ``head`` (1 to 4), ``cause`` (one of the fault
        catalogue, or all of them where several are dealt).
    options : tuple of str
        For ``choice`` the texts to choose from. For ``cause`` names of faults (a name without its head stands for the
        head that was dealt), or `LOOK_ALIKES` or `POOL` alone.
    answer : str or None
        The right answer where the lesson states it, as it is logged; None where it is dealt or measured.
    answer_from : str or None
        ``fault`` or ``fault_head``: the answer is what was dealt.
    answers : tuple of (str, str)
        For a ``choice`` by the dealt fault: name of a fault or of a group, and the option that is right for it.
    answer_measurement : str or None
        For ``numeric`` what is read in the delivered state. For ``head`` the reading, without its head, by which one
        head is told from the others.
    extreme : str
        For ``head`` by a measurement: the head that reads ``lowest``, ``highest`` or ``furthest`` from the others.
    tolerance : float
        For ``numeric``: allowed departure, above 0.
    unit : str
        For ``numeric``: unit of answer and tolerance.
    source, provenance : str
        Where answer or tolerance come from, in words, and its mark.
    weight : float
        Share in the points, above 0.
    explain : str
        What is said about the answer afterwards.
    shown : tuple of str
        What is shown for each of the options of a ``choice`` in another language; empty in English. What is logged and
        compared is the option.
    step : int or None
        On a running machine: the step (from 1) after which it can be answered; a measured answer is what the
        instrument reads at that moment. None: at any time.
    """

    name: str
    title: str
    text: str
    kind: str
    source: str
    provenance: str
    weight: float
    explain: str
    options: tuple[str, ...] = ()
    answer: str | None = None
    answer_from: str | None = None
    answers: tuple[tuple[str, str], ...] = ()
    answer_measurement: str | None = None
    extreme: str = "furthest"
    tolerance: float = 0.0
    unit: str = ""
    shown: tuple[str, ...] = ()
    step: int | None = None

    @property
    def option_words(self) -> tuple[tuple[str, str], ...]:
        """The options of a ``choice``, each with what is shown for it."""
        return tuple(zip(self.options, self.shown or self.options, strict=True))

    @property
    def source_text(self) -> str:
        """The source as a trainee may read it."""
        return source_text(self.source, self.provenance)


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
    head 2 of a condition with one value a head), or to `value` alone. `step` is the step (from 1) it belongs to; where
    it is None, that is the first step with its control.
    """

    control: str
    value: float
    text: str
    cancels: str | None = None
    gain: float = -1.0
    step: int | None = None


@dataclass(frozen=True)
class Forbidden:
    """What endangers tape or heads: turning `control` outside `below`..`above`, or at all if neither is set; or `act`.

    Exactly one of `control` and `act` (a deed, with its choice or with any) is set.
    """

    reason: str
    control: str | None = None
    below: float | None = None
    above: float | None = None
    act: Deed | None = None

    def broken_by(self, control: str, value: float) -> bool:
        """Tell whether moving `control` to `value` is the forbidden act."""
        if control != self.control:
            return False
        if self.below is None and self.above is None:
            return True
        return (self.below is not None and value < self.below) or (self.above is not None and value > self.above)

    def broken_by_deed(self, name: str, choice: str) -> bool:
        """Tell whether a deed is the forbidden one."""
        return self.act is not None and self.act.name == name and self.act.choice in ("", choice)


@dataclass(frozen=True)
class Care:
    """Par of a practised hand, told at the end and never needed for a pass: moves, and minutes; None where not set."""

    moves_par: int | None = None
    minutes_par: float | None = None


NO_PAR = Care()
"""For a lesson that sets no par."""


@dataclass(frozen=True)
class Debrief:
    """What is said afterwards: what happened, why (`chain`: from cause to picture, link by link), and what next."""

    what: str
    why: str
    next: str
    chain: tuple[str, ...] = ()


def source_text(source: str, provenance: str) -> str:
    """Return a source as a trainee may read it: nothing from memory or of our own passes for a standard.

    Examples
    --------
    >>> source_text("so it is", "MEMORY")
    'Typical, unchecked: so it is'
    """
    lead = {
        "TRADE": wording("source.common_practice"),
        "MEMORY": wording("source.typical_unchecked"),
        "MODEL": wording("source.chosen_exercise"),
    }.get(provenance, "")
    return f"{lead}{source}"
