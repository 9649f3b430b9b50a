"""The machines of the bench as they run: this one and a second, the reel between them, and time.

Contents: `MACHINES`, `WORK_TAPE`, `Machines`.
"""

from __future__ import annotations

from collections.abc import Mapping

from sim.errors import BandbenchError, UnknownNameError
from sim.recorder import Recorder
from sim.reel import REELS, Reel, make_reel, reels_of
from sim.station import LONGEST_GAP_S, Station
from sim.tape import TAPES, WORK_TAPE

__all__ = ["MACHINES", "WORK_TAPE", "Machines"]

MACHINES = ("this", "second")
"""The machine that is worked on, and one in good order to play its recordings on."""


class Machines:
    """Two recorders with one reel between them.

    Parameters
    ----------
    recorder : Recorder
        The electronics of the machine that is worked on.

    Attributes
    ----------
    chosen : str
        Which of `MACHINES` is worked on.
    reel_name : str
        What lies on the machine: `WORK_TAPE` or a name from `sim.reel.REELS`.
    held : bool
        Whether the machine is held in play, at deterministic frames: its transport cannot be worked, its time stands.
    """

    def __init__(self, recorder: Recorder) -> None:
        self.held = True
        self.chosen = MACHINES[0]
        self.reel_name = WORK_TAPE
        self._stations: dict[str, Station] = {MACHINES[0]: Station(recorder)}
        self._shelf: dict[str, Reel] = {}
        self._last_s: float | None = None
        self._aside: Station | None = None

    @property
    def station(self) -> Station:
        """The machine that is worked on."""
        return self._stations[self.chosen]

    @property
    def recorder(self) -> Recorder:
        """Electronics and heads of the machine that is worked on."""
        return self.station.recorder

    @property
    def own(self) -> Station:
        """The machine with the faults, whichever is worked on."""
        return self._stations[MACHINES[0]]

    def all(self) -> tuple[Station, ...]:
        """Return every machine there is by now."""
        return tuple(self._stations.values())

    def begin(self, recorder: Recorder | None = None) -> None:
        """Put the bench's own machine in play with the work tape, and clear the shelf of what was recorded.

        Parameters
        ----------
        recorder : Recorder, optional
            Its electronics from now on, as for another standard.
        """
        self.chosen = MACHINES[0]
        self._stations = {MACHINES[0]: Station(recorder or self.own.recorder)}
        self._shelf.clear()
        self.reel_name = WORK_TAPE
        self._last_s = None
        self.station.make_ready("play")

    def lend(self, station: Station) -> None:
        """Work at a machine of somebody else's, which lives by another clock, until `take_back`."""
        if self._aside is None:
            self._aside = self._stations[MACHINES[0]]
        self.chosen = MACHINES[0]
        self._stations[MACHINES[0]] = station
        self.held = False

    def take_back(self) -> None:
        """Work at the bench's own machine again."""
        if self._aside is not None:
            self._stations[MACHINES[0]], self._aside = self._aside, None
            self.chosen = MACHINES[0]
            self.held = True

    def advance(self, now_s: float) -> bool:
        """Let the machine live up to now; tell whether its picture is another one.

        Raises
        ------
        BandbenchError
            If the machine could not go on with what it was told; it has stopped doing so.
        """
        before = self.station.frame_index
        elapsed_s = 0.0 if self._last_s is None else max(now_s - self._last_s, 0.0)
        self._last_s = now_s
        if elapsed_s <= LONGEST_GAP_S:
            self.station.advance(elapsed_s)
        return self.station.frame_index != before

    def names(self) -> Mapping[str, str]:
        """Return the reels that fit this machine, by name with their titles; the work tape is the first."""
        specs = reels_of(self.station.standard.name)
        return {WORK_TAPE: TAPES[WORK_TAPE].title} | {spec.name: spec.title for spec in specs}

    def _reel(self, name: str) -> Reel | None:
        """Return a reel from the shelf, with what was recorded on it before; None for the work tape."""
        if name == WORK_TAPE:
            return None
        if name not in self.names():
            raise UnknownNameError("reel", name, self.names())
        if name not in self._shelf:
            self._shelf[name] = make_reel(REELS[name])
        return self._shelf[name]

    def take_reel(self, name: str) -> None:
        """Take a reel to hand, to be fitted next; errors as for `Station.choose_reel`."""
        reel = self._reel(name)
        self.station.choose_reel(reel)
        self._lay_up(name)

    def put_on(self, name: str) -> None:
        """Put a reel on and play it at once."""
        reel = self._reel(name)
        station = self.station
        self._lay_up(name)
        station.put_on(reel, "play")

    def lay(self, name: str) -> Reel | None:
        """Take a reel from the shelf, None for the work tape, for the caller to put on the machine worked on."""
        reel = self._reel(name)
        self.reel_name = name
        return reel

    def shelve(self, name: str, reel: Reel | None) -> None:
        """Put a reel in the place of the one of that name; it is what is on the machine from then on."""
        if reel is not None:
            self._shelf[name] = reel
        self.reel_name = name

    def _lay_up(self, name: str) -> None:
        if name == WORK_TAPE:
            self.station.recorder.load_tape(WORK_TAPE)
        self.reel_name = name

    def choose(self, name: str) -> None:
        """Carry the reel to one of `MACHINES`; it lies there threaded, at the same place.

        Raises
        ------
        BandbenchError
            If there is no such machine, or the tape is not stopped.
        """
        if name not in MACHINES:
            raise UnknownNameError("machine", name, MACHINES)
        if name == self.chosen:
            return
        station = self.station
        if station.deck.mode != "stop":
            raise BandbenchError(
                "The tape is not at rest: stop the machine before you carry the reel to the other one."
            )
        if name not in self._stations:
            own = self.own.recorder
            other = Recorder(own.standard.name, own.practice.name)
            self._stations[name] = Station(other, seed=1)
        place_m = station.deck.position_m if station.deck.threaded else None
        self._stations[name].put_on(station.reel, "stop", place_m)
        self.chosen = name
