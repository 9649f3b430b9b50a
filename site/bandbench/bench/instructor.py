"""What an instructor does at the bench from a console: plants, hides, marks and goes back, shows a demonstration.

Contents: `Instructor`, `Mark`, `caption_of`. What the console sees of it: `bandbench.bench.console`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bandbench.bench.errors import BenchError
from bandbench.bench.marks import BenchState, put_back, take_state
from bandbench.bench.planting import Planting
from bandbench.bench.words import say
from sim.errors import BandbenchError, UnknownNameError
from sim.showing import ActsToCome
from sim.station import Station
from sim.training.demonstration import Cue, Demonstration
from sim.transport import ACTS

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["MOST_MARKS", "Instructor", "Mark", "caption_of"]

MOST_MARKS = 9
"""How many states are kept; the oldest makes room for the next."""


@dataclass(frozen=True, eq=False)
class Mark:
    """A marked state: its number, which never comes again, and where the demonstration stood."""

    number: int
    state: BenchState
    demonstration: Demonstration | None
    cue_number: int


def caption_of(demonstration: Demonstration, number: int) -> dict[str, str]:
    """Return what the class reads of a cue, from 1."""
    cue = demonstration.cues[number - 1]
    return {
        "title": cue.title,
        "text": cue.caption,
        "demonstration": demonstration.title,
        "count": say("instructor.count", number=number, total=len(demonstration.cues)),
    }


class Instructor:
    """An instructor at the bench.

    Parameters
    ----------
    bench : Bench
        The class's bench.
    demonstrations : mapping of str to Demonstration
        Those that are prepared, by id.

    Attributes
    ----------
    demonstration, cue_number
        What is shown, and which of its cues, from 1.
    marks : list of Mark
        States to go back to, oldest first.
    began : int
        Counts the cues that were put up: what was read before belongs to another.
    """

    def __init__(self, bench: Bench, demonstrations: Mapping[str, Demonstration]) -> None:
        self.bench = bench
        self.demonstrations = demonstrations
        self.demonstration: Demonstration | None = None
        self.cue_number = 0
        self.marks: list[Mark] = []
        self._marked = 0
        self.began = 0
        self._acts: ActsToCome | None = None
        self._station: Station | None = None

    # What is planted ------------------------------------------------------------------------------------------

    def plant(self, fault: str, severity: float) -> None:
        """Plant a fault, or change how bad it is; 0 takes it away. A machine not yet open is opened first."""
        self._plant(self._open_secret().with_fault(fault, severity))

    def hide_value(self, name: str, value: float) -> None:
        """Move a hidden value of `bandbench.bench.planting.HIDDEN`."""
        self._plant(self._open_secret().with_value(name, value))

    def clear(self) -> None:
        """Take everything away that was planted; the controls stay where they are."""
        bench = self.bench
        bench.check_free("faults")
        bench.plant_secret(Planting())
        if bench.fault is not None:
            bench.clear_fault()

    def _plant(self, planting: Planting) -> None:
        self._open()
        self.bench.plant_secret(planting)

    def _open_secret(self) -> Planting:
        self.bench.check_free("faults")
        return Planting() if self.bench.held else self.bench.secret

    def _open(self) -> None:
        """Open the bench for demonstration if it stands before the choice or at a lesson not begun."""
        self.bench.check_free("faults")
        if self.bench.held:
            self.bench.choose_mode("demonstrate")

    # Marks ----------------------------------------------------------------------------------------------------

    def mark(self) -> None:
        """Mark the state of the bench; errors as for `bandbench.bench.marks.take_state`."""
        state = take_state(self.bench)
        self._marked += 1
        self.marks.append(Mark(self._marked, state, self.showing, self.cue_number))
        del self.marks[:-MOST_MARKS]

    def rewind(self, number: int) -> None:
        """Go back to a mark."""
        for mark in self.marks:
            if mark.number == number:
                self._go_to(mark)
                return
        raise BenchError(say("instructor.no_mark", number=number))

    def _go_to(self, mark: Mark) -> None:
        put_back(self.bench, mark.state)
        self.demonstration, self.cue_number = mark.demonstration, mark.cue_number
        self.began += 1
        self._acts = None

    def put_back_all(self, now: Mark | None, marks: Sequence[Mark]) -> None:
        """Put back what there was before this window was opened: the bench, and the marked states in place of any here.

        Parameters
        ----------
        now : Mark or None
            The bench as it was; None leaves it as it is.
        marks : sequence of Mark
            Marked states, their numbers rising.
        """
        self.bench.check_free("the bench")
        if now is not None:
            self._go_to(now)
        self.marks = list(marks)
        self._marked = max([self._marked, *(mark.number for mark in marks)])

    # Demonstrations -------------------------------------------------------------------------------------------

    @property
    def showing(self) -> Demonstration | None:
        """The demonstration that is shown; None once the class has left it."""
        if self.demonstration is not None and not self.bench.caption:
            self.demonstration, self.cue_number, self._acts = None, 0, None
        return self.demonstration

    @property
    def cue(self) -> Cue | None:
        """The cue that is shown."""
        return self.demonstration.cues[self.cue_number - 1] if self.showing and self.demonstration else None

    @property
    def act_in_s(self) -> float | None:
        """How long until the next act of the cue [s]; None if none is to come."""
        if self._acts is None or self._acts.next_s is None or self._station is None:
            return None
        return max(self._acts.next_s - self._station.time_s, 0.0)

    def show(self, name: str, number: int = 1) -> None:
        """Show a cue, from 1, of a demonstration: the machine, the monitors and what the class reads.

        Raises
        ------
        BandbenchError
            In a lesson, or if there is no such demonstration or cue.
        """
        if name not in self.demonstrations:
            raise UnknownNameError("demonstration", name, self.demonstrations)
        demonstration = self.demonstrations[name]
        if not 1 <= number <= len(demonstration.cues):
            raise BenchError(say("instructor.no_cue", number=number, total=len(demonstration.cues)))
        bench, cue = self.bench, demonstration.cues[number - 1]
        bench.check_free("faults")
        before = self.cue
        fresh = before is None or bool(before.acts) or bool(cue.acts)
        if bench.mode != "demonstrate":
            bench.choose_mode("demonstrate")
        bench.put_up_cue(demonstration, cue, fresh)
        self.demonstration, self.cue_number = demonstration, number
        self.began += 1
        self._station = bench.station
        self._acts = ActsToCome(cue.acts, bench.station.time_s)
        bench.caption = caption_of(demonstration, number)
        # What is shown moves, also where the picture stood still before.
        bench.set_playing(True)
        bench.changed()

    def step(self, direction: int) -> None:
        """Show the next cue (+1) or the one before (-1)."""
        demonstration = self.showing
        if demonstration is None:
            raise BenchError(say("instructor.none_shown"))
        number = self.cue_number + direction
        if not 1 <= number <= len(demonstration.cues):
            raise BenchError(say("instructor.first" if number < 1 else "instructor.last"))
        self.show(demonstration.id, number)

    def end(self) -> None:
        """End the demonstration with a machine in order."""
        if self.showing is None:
            raise BenchError(say("instructor.none_shown"))
        self.demonstration, self.cue_number, self._acts = None, 0, None
        self.bench.choose_mode("demonstrate")

    def follow(self) -> None:
        """Do the acts that are due; to be called some times a second."""
        if self._acts is None or self.showing is None or self.bench.station is not self._station:
            return
        try:
            self._acts.do_due(self._station.time_s, self._do)
        except BandbenchError as error:
            self.bench.notice = str(error)
            self.bench.changed()

    def _do(self, name: str, choice: str) -> None:
        """Do a deed of a cue as a hand at the bench would."""
        if name in ACTS:
            self.bench.do_act(name, choice)
        else:
            self.bench.do_deed(name, choice)
            self.bench.moved()
