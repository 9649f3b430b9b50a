"""A prepared demonstration put on a machine, cue by cue, and the proof that each cue shows what it says.

Contents: `demonstration_recorder`, `set_cue`, `ActsToCome`, `read_now`, `expectation_problems`; `CueWatch` and
`Verdict` (while a cue is shown); `CueReport`, `lint_demonstration`. What a demonstration is:
`sim.training.demonstration`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, MutableMapping, Sequence
from dataclasses import dataclass

from sim.controls import default_controls
from sim.deeds import do_deed
from sim.errors import BandbenchError, UnknownNameError
from sim.faults import FaultSpec
from sim.frame import PlaybackFrame
from sim.instruments import MEASUREMENTS, MeasurementError, measure
from sim.machine_readings import MACHINE_READINGS, read_machine
from sim.recorder import Recorder
from sim.reel import REELS, Reel, make_reel, tape_speed_m_per_s
from sim.servos import GuideServo
from sim.station import Station
from sim.training.demonstration import WORK_TAPE, Cue, CueAct, Demonstration, Expectation, unknown_faults
from sim.training.parts import Deed
from sim.training.reader import Problem

__all__ = [
    "ActsToCome",
    "CueReport",
    "CueWatch",
    "Verdict",
    "demonstration_recorder",
    "expectation_problems",
    "lint_demonstration",
    "read_now",
    "set_cue",
]

# MODEL: a class looks for some seconds; a value must stand that long, and a swing shows in that time.
_MOMENTS_S = (0.0, 1.7)
_SWING_MOMENTS_S = tuple(0.31 * number for number in range(14))


def demonstration_recorder(demonstration: Demonstration) -> Recorder:
    """Return a recorder set to the demonstration's standard and practice, in order."""
    return Recorder(demonstration.standard, demonstration.practice)


def set_cue(
    station: Station, cue: Cue, faults: Mapping[str, FaultSpec], reel: Reel | None, anew: bool = True, sent: str = ""
) -> None:
    """Put a machine into the state in which a cue begins; its acts are done by `ActsToCome`.

    Parameters
    ----------
    station : Station
        The machine, of the demonstration's standard and practice.
    cue : Cue
        What is set.
    faults : mapping of str to FaultSpec
        The fault catalogue.
    reel : Reel or None
        The cue's tape; None for the endless work tape.
    anew : bool
        Whether the tape is put on, led to its place and brought up to speed again; False lets a machine that is
        already in the cue's mode with that tape on it run on.
    sent : str
        The signal that this tape is given already, which is then not made anew; empty if that is not known.

    Raises
    ------
    BandbenchError
        If a fault is not known or the tape does not fit.
    """
    recorder = station.recorder
    condition = cue.hidden_condition(faults)
    recorder.set_controls(default_controls(recorder.practice) | dict(cue.controls))
    if recorder.condition != condition:
        recorder.set_condition(condition)
    # Wherever an automatic guide went before, it starts from the middle.
    station.guide = GuideServo(station.standard)
    recorder.set_guide_correction(0.0)
    if reel is None:
        if sent != cue.signal:
            recorder.load_tape(WORK_TAPE, cue.signal)
    elif sent != cue.signal:
        recorder.load_source(cue.signal)
    if anew:
        place_m = None if reel is None else cue.place_s * tape_speed_m_per_s(station.standard)
        station.put_on(reel, cue.deck, place_m)


class ActsToCome:
    """Acts of a cue that wait for their moment.

    Parameters
    ----------
    acts : sequence of CueAct
        In order.
    now_s : float
        When the cue began, on the station's clock [s].
    """

    def __init__(self, acts: Sequence[CueAct], now_s: float) -> None:
        self._waiting: list[tuple[float, Deed]] = []
        at_s = now_s
        for act in acts:
            at_s += act.after_s
            self._waiting.append((at_s, act.deed))

    @property
    def next_s(self) -> float | None:
        """When the next act is due [s], or None if there is none."""
        return self._waiting[0][0] if self._waiting else None

    def do_due(self, now_s: float, do: Callable[[str, str], None]) -> None:
        """Do what is due by now on the station's clock [s]; BandbenchError if the machine refuses: then no more is.

        `do` does a deed of `sim.deeds.DEEDS`, given its name and choice.
        """
        while self._waiting and self._waiting[0][0] <= now_s + 1e-9:
            _, deed = self._waiting.pop(0)
            try:
                do(deed.name, deed.choice)
            except BandbenchError:
                self._waiting.clear()
                raise


def read_now(station: Station, frame: PlaybackFrame, name: str) -> float | None:
    """Return what an instrument reads, of the frame or of the machine; None where there is nothing to read.

    Raises
    ------
    UnknownNameError
        If there is no such reading.
    """
    if name not in MEASUREMENTS and name not in MACHINE_READINGS:
        raise UnknownNameError("reading", name, (*MEASUREMENTS, *MACHINE_READINGS))
    try:
        # Where both have a reading of one name, the machine's own meter is meant.
        return read_machine(station, name) if name in MACHINE_READINGS else measure(frame, name)
    except MeasurementError:
        return None


@dataclass(frozen=True)
class Verdict:
    """What is told of one expectation while its cue is shown.

    Attributes
    ----------
    value : float or None
        What the instrument reads now [unit]; None where there is nothing to read.
    swing : float or None
        How far it has moved over the last seconds, peak to peak [unit], where a swing is expected.
    holds : bool or None
        Whether it is as expected; None while that cannot be told yet.
    shown : bool
        Whether it has been so at any time since the cue began.
    wait_s : float
        How long until it can be told [s]; 0 where it can.
    """

    value: float | None
    swing: float | None
    holds: bool | None
    shown: bool
    wait_s: float


class CueWatch:
    """The instruments of a cue, looked at again and again while it is shown.

    A swing is judged over the same stretch of time as by the linter; it is told early where it is enough already and
    could only grow.

    Parameters
    ----------
    cue : Cue
        What is expected.
    """

    def __init__(self, cue: Cue) -> None:
        self._cue = cue
        self._frame: PlaybackFrame | None = None
        self._of_frame: dict[str, float | None] = {}
        self._shown = [False] * len(cue.expect)
        self._seen: deque[tuple[float, tuple[float | None, ...]]] = deque()

    def look(self, station: Station, frame: PlaybackFrame) -> tuple[Verdict, ...]:
        """Read every instrument at the machine and on its present frame; return what is told of each expectation."""
        if frame is not self._frame:
            self._frame, self._of_frame = frame, {}
        read = tuple(self._read(station, frame, one.reading) for one in self._cue.expect)
        now_s = station.time_s
        if self._seen and now_s < self._seen[-1][0]:
            # Another machine, with a clock of its own.
            self._seen.clear()
        if not self._seen or now_s > self._seen[-1][0]:
            self._seen.append((now_s, read))
        # The oldest that is kept lies at the beginning of the stretch, or just before it.
        while len(self._seen) > 1 and self._seen[1][0] <= now_s - _SWING_MOMENTS_S[-1]:
            self._seen.popleft()
        return tuple(self._verdict(place, one, read[place]) for place, one in enumerate(self._cue.expect))

    def _read(self, station: Station, frame: PlaybackFrame, name: str) -> float | None:
        if name in MACHINE_READINGS:
            return read_now(station, frame, name)
        if name not in self._of_frame:
            self._of_frame[name] = read_now(station, frame, name)
        return self._of_frame[name]

    def _verdict(self, place: int, one: Expectation, value: float | None) -> Verdict:
        swing, wait_s = None, 0.0
        if one.how != "swing":
            holds: bool | None = one.holds([value])
        else:
            values = [read[place] for _, read in self._seen]
            numbers = [number for number in values if number is not None]
            swing = max(numbers) - min(numbers) if numbers else None
            wait_s = max(_SWING_MOMENTS_S[-1] - (self._seen[-1][0] - self._seen[0][0]), 0.0)
            holds = one.holds(values)
            if wait_s > 0.0 and not (holds and one.maximum is None):
                holds = None
            else:
                wait_s = 0.0
        self._shown[place] |= bool(holds)
        return Verdict(value, swing, holds, self._shown[place], wait_s)


def expectation_problems(demonstration: Demonstration) -> list[Problem]:
    """Return a problem for each reading that no instrument has, or that is given in another unit."""
    problems = []
    for place, cue in enumerate(demonstration.cues, start=1):
        for number, one in enumerate(cue.expect, start=1):
            key = f"cues[{place}].expect[{number}]"
            spec = MACHINE_READINGS.get(one.reading) or MEASUREMENTS.get(one.reading)
            if spec is None:
                reason = str(UnknownNameError("reading", one.reading, (*MEASUREMENTS, *MACHINE_READINGS)))
                problems.append(
                    Problem(demonstration.source, f"{key}.reading", reason, "Name one that an instrument has.")
                )
            elif one.unit not in spec.unit.split(" or "):
                problems.append(
                    Problem(
                        demonstration.source,
                        f"{key}.unit",
                        f"is {one.unit!r}, but that instrument reads in {spec.unit}",
                        "Correct the unit, and the range with it.",
                    )
                )
    return problems


# The linter --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CueReport:
    """What one cue showed: its number from 1, and the values read for each of its expectations, in order."""

    number: int
    cue: Cue
    values: tuple[tuple[float | None, ...], ...]

    @property
    def missed(self) -> tuple[Expectation, ...]:
        """What did not show as it was said."""
        return tuple(one for one, read in zip(self.cue.expect, self.values, strict=True) if not one.holds(read))


def lint_demonstration(
    demonstration: Demonstration,
    faults: Mapping[str, FaultSpec],
    progress: Callable[[CueReport], None] | None = None,
) -> list[Problem]:
    """Run every cue on a machine and return what is wrong: names, refused acts, and what does not show as it says.

    Parameters
    ----------
    demonstration : Demonstration
        What to run.
    faults : mapping of str to FaultSpec
        The fault catalogue.
    progress : callable, optional
        Told of each cue as it is done.
    """
    problems = [*unknown_faults(demonstration, faults), *expectation_problems(demonstration)]
    if problems:
        return problems
    recorder = demonstration_recorder(demonstration)
    for number, cue in enumerate(demonstration.cues, start=1):
        key = f"cues[{number}]"
        try:
            station = Station(recorder)
            # The instruments that read sound work out what they need of it.
            station.heard = False
            report = CueReport(number, cue, _shown(station, cue, faults))
        except BandbenchError as error:
            problems.append(Problem(demonstration.source, key, str(error), "Correct the cue's settings or acts."))
            continue
        if progress is not None:
            progress(report)
        for one, read in zip(cue.expect, report.values, strict=True):
            if not one.holds(read):
                told = ", ".join("nothing" if value is None else f"{value:.4g} {one.unit}" for value in read)
                problems.append(
                    Problem(
                        demonstration.source,
                        f"{key}.expect[{cue.expect.index(one) + 1}]",
                        f"{one.reading} reads {told}",
                        "Correct the range, or set what shows it; a later 'wait_s' gives the machine more time.",
                    )
                )
    return problems


def _shown(station: Station, cue: Cue, faults: Mapping[str, FaultSpec]) -> tuple[tuple[float | None, ...], ...]:
    """Return what each expectation's instrument reads at the moments that count."""
    set_cue(station, cue, faults, None if cue.tape == WORK_TAPE else make_reel(REELS[cue.tape]), True)
    began_s = station.time_s
    acts = ActsToCome(cue.acts, began_s)
    shelf: MutableMapping[str, Reel] = {} if station.reel is None else {station.reel.name: station.reel}

    def do(name: str, choice: str) -> None:
        do_deed(station, name, choice, shelf)

    def run_to(at_s: float) -> None:
        acts.do_due(station.time_s, do)
        while acts.next_s is not None and acts.next_s <= at_s:
            station.advance(acts.next_s - station.time_s)
            acts.do_due(station.time_s, do)
        station.advance(at_s - station.time_s)

    swings = any(one.how == "swing" for one in cue.expect)
    read: list[list[float | None]] = [[] for _ in cue.expect]
    for moment_s in _SWING_MOMENTS_S if swings else _MOMENTS_S:
        run_to(began_s + cue.wait_s + moment_s)
        frame = station.frame()
        for values, one in zip(read, cue.expect, strict=True):
            values.append(read_now(station, frame, one.reading))
    return tuple(tuple(values) for values in read)
