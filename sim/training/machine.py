"""The machine a lesson is done on, as far as a score needs it: settings in, instrument readings out.

Contents: `NO_FAULTS`, `DealtFault`, `Start`, `LessonMachine` (what every such machine can be asked), `Machine` (one
that is held in play; one that runs is `sim.training.run.RunningMachine`), `controls_after`, `on_step` (a control value
a hand can set), `condition_value` (one hidden value by name).
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from sim.condition import Condition
from sim.controls import CONTROLS
from sim.errors import BandbenchError
from sim.faults import FaultSpec
from sim.instruments import MEASUREMENTS, MeasurementError, measure
from sim.recorder import PlaybackFrame, Recorder
from sim.standards import get_standard
from sim.training.attempt import ControlMoved, Event
from sim.training.lesson import Lesson
from sim.transport import Incident

__all__ = [
    "NO_FAULTS",
    "DealtFault",
    "LessonMachine",
    "Machine",
    "Start",
    "condition_value",
    "controls_after",
    "on_step",
]

NO_FAULTS: Mapping[str, FaultSpec] = MappingProxyType({})
"""The catalogue of lessons that deal no faults."""

# States whose readings are kept: more than the score and the debrief of a long attempt ask for.
_KEPT_STATES = 2_000


def on_step(name: str, value: float) -> float:
    """Return `value` on the control's finest step, where a hand can also put it.

    Examples
    --------
    >>> on_step("guide_position_um", -12.3456)
    -12.3
    """
    step = CONTROLS[name].fine_step
    # The last rounding removes what binary fractions add, so that a readout shows 0.3 and not 0.30000000000000004.
    return round(round(value / step) * step, 6)


def condition_value(condition: Condition, name: str) -> float:
    """Return one hidden value: a field of `Condition`, with ``_1`` to ``_4`` if it has one value a head.

    Examples
    --------
    >>> condition_value(Condition(head_output_db=(0.0, 0.0, -3.0, 0.0)), "head_output_db_3")
    -3.0
    """
    if hasattr(condition, name):
        return float(getattr(condition, name))
    stem, _, head = name.rpartition("_")
    return float(getattr(condition, stem)[int(head) - 1])


@dataclass(frozen=True)
class DealtFault:
    """A fault of the catalogue that is hidden in the machine, and how bad it is, 0 to 1."""

    name: str
    severity: float


@dataclass(frozen=True)
class Start:
    """What one seed deals.

    Attributes
    ----------
    seed : int
        The seed.
    draw : int
        Which draw of that seed it is, from 0.
    controls : mapping of str to float
        Every control of the machine, also those the lesson leaves at their defaults.
    condition : Condition
        What is hidden in the machine, faults included.
    faults : tuple of DealtFault
        Faults of the catalogue among it.
    """

    seed: int
    draw: int
    controls: Mapping[str, float]
    condition: Condition
    faults: tuple[DealtFault, ...] = ()


def controls_after(start: Start, events: Iterable[Event]) -> dict[str, float]:
    """Return every control's value after what was done."""
    controls = dict(start.controls)
    for event in events:
        if isinstance(event, ControlMoved):
            controls[event.control] = event.value
    return controls


class LessonMachine(ABC):
    """The machine of a lesson, asked what its instruments read at any moment of an attempt.

    Parameters
    ----------
    lesson : Lesson
        Says which standard, practice, tape and signal.
    faults : mapping of str to FaultSpec
        The fault catalogue; needed by lessons that deal faults.
    """

    def __init__(self, lesson: Lesson, faults: Mapping[str, FaultSpec]) -> None:
        self.lesson = lesson
        self.faults = faults
        # What its seeds deal, as far as `sim.training.deal.deal` has been asked.
        self.dealt: dict[int, Start] = {}
        self.frame_rate_hz = get_standard(lesson.standard).frame_rate_hz

    def frame_index(self, at_s: float) -> int:
        """Return the index of the frame that is on screen `at_s` seconds after the start."""
        return math.floor(at_s * self.frame_rate_hz)

    @abstractmethod
    def read(self, start: Start, events: Sequence[Event], at_s: float, names: Iterable[str]) -> dict[str, float]:
        """Return what the instruments read at a moment.

        Parameters
        ----------
        start : Start
            What was dealt.
        events : sequence of Event
            What was done until then.
        at_s : float
            The moment [s], not before the last of `events`.
        names : iterable of str
            Names of readings.

        Returns
        -------
        dict of str to float
            One value a name, in the reading's unit; NaN where the instrument has nothing to read.
        """

    @abstractmethod
    def read_solved(self, start: Start, solved: Mapping[str, float], names: Iterable[str]) -> dict[str, float]:
        """Return what the instruments read when all is as the worked solution leaves it, with its controls `solved`."""

    @abstractmethod
    def hold_times(self, at_s: float, hold_s: float, number: int) -> tuple[float, ...]:
        """Return the moments [s] at which a check submitted at `at_s` is read, at most `number`, the first at once."""

    def incidents(self, start: Start, events: Sequence[Event], at_s: float) -> tuple[Incident, ...]:
        """Return what dangerous was tried until a moment; nothing can be where the machine is held."""
        return ()

    def refused(self, start: Start, events: Sequence[Event], at_s: float) -> frozenset[int]:
        """Return the places in `events` of what the machine refused to do; a machine that is held does all."""
        return frozenset()


class Machine(LessonMachine):
    """The lesson's recorder, held in play and asked for readings.

    A reading depends only on the lesson, the settings, the condition and the frame's index, so readings are kept and
    the machine remembers nothing else. A recorder that is also shown on the bench may be lent: its controls and
    condition are put back after every reading.

    Parameters
    ----------
    lesson : Lesson
        Says which standard, practice, tape and signal.
    recorder : Recorder, optional
        A recorder with that tape on it; a new one is made if none is given.
    faults : mapping of str to FaultSpec
        The fault catalogue; needed by lessons that deal faults.

    Raises
    ------
    BandbenchError
        If the recorder lent has another tape on it.
    """

    def __init__(
        self, lesson: Lesson, recorder: Recorder | None = None, faults: Mapping[str, FaultSpec] = NO_FAULTS
    ) -> None:
        super().__init__(lesson, faults)
        self._lent = recorder is not None
        if recorder is None:
            recorder = Recorder(
                standard=lesson.standard, practice=lesson.practice, tape=lesson.tape, signal=lesson.signal
            )
        if recorder.tape.name != lesson.tape:
            raise BandbenchError(
                f"the recorder has tape '{recorder.tape.name}' on it; lesson '{lesson.id}' needs "
                f"'{lesson.tape}': load that tape first"
            )
        self.recorder = recorder
        self.frames_played = 0
        self._kept: OrderedDict[tuple[object, ...], dict[str, float]] = OrderedDict()

    def read(self, start: Start, events: Sequence[Event], at_s: float, names: Iterable[str]) -> dict[str, float]:
        """Return what the instruments read at a moment (see `LessonMachine`)."""
        return self.readings(controls_after(start, events), start.condition, self.frame_index(at_s), names)

    def read_solved(self, start: Start, solved: Mapping[str, float], names: Iterable[str]) -> dict[str, float]:
        """Return what the instruments read at the right settings, always on the same frame."""
        return self.readings(solved, start.condition, 0, names)

    def hold_times(self, at_s: float, hold_s: float, number: int) -> tuple[float, ...]:
        """Return a moment in each frame that is read."""
        first = self.frame_index(at_s)
        frames = self.frame_index(hold_s)
        indices = sorted({round(first + frames * share / (number - 1)) for share in range(number)})
        return tuple((index + 0.5) / self.frame_rate_hz for index in indices)

    def readings(
        self, controls: Mapping[str, float], condition: Condition, index: int, names: Iterable[str]
    ) -> dict[str, float]:
        """Return what the instruments read on one frame.

        Parameters
        ----------
        controls : mapping
            Every control's value.
        condition : Condition
            The machine's hidden state.
        index : int
            Which frame.
        names : iterable of str
            Names from `MEASUREMENTS`.

        Returns
        -------
        dict of str to float
            One value a name, in the measurement's unit; NaN where the instrument has nothing to read.
        """
        state = (tuple(sorted(controls.items())), condition, index)
        wanted = tuple(dict.fromkeys(names))
        kept = self._kept.setdefault(state, {})
        missing = [name for name in wanted if name not in kept]
        if missing:
            kept.update(self._measured(controls, condition, index, missing))
        if len(self._kept) > _KEPT_STATES:
            self._kept.popitem(last=False)
        return {name: kept[name] for name in wanted}

    def _measured(
        self, controls: Mapping[str, float], condition: Condition, index: int, names: Sequence[str]
    ) -> dict[str, float]:
        recorder = self.recorder
        kept_controls, kept_condition = dict(recorder.controls), recorder.condition
        try:
            self._set(controls, condition)
            # Modulator and electronics are read without playing what was recorded.
            off_tape = any(name not in MEASUREMENTS or MEASUREMENTS[name].needs_tape for name in names)
            frame = recorder.play_frame(index) if off_tape else recorder.electronics_frame(index)
            self.frames_played += 1
            return {name: _reading(frame, name) for name in names}
        finally:
            # A recorder of our own may stay as it is: the next reading often differs in one control only.
            if self._lent:
                self._set(kept_controls, kept_condition)

    def _set(self, controls: Mapping[str, float], condition: Condition) -> None:
        # Setting an equal condition would make the recorder work everything out anew.
        if self.recorder.condition != condition:
            self.recorder.set_condition(condition)
        self.recorder.set_controls(controls)


def _reading(frame: PlaybackFrame, name: str) -> float:
    try:
        return measure(frame, name)
    except MeasurementError:
        return math.nan
