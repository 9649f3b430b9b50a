"""A lesson's machine that runs: its log is lived through, second by second, and read at any moment.

Contents: `Run` (a machine living through one log), `RunningMachine`, `machine_for`, `events_before`.

Such a machine has a past: what the servos, the reel and the sound are like at a moment follows from everything that was
done before. So a reading is taken by living through the log up to that moment; the same log is always lived the same
way, on any computer.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping, Sequence

from sim.deeds import ENDLESS, do_deed
from sim.errors import BandbenchError
from sim.faults import FaultSpec
from sim.frame import PlaybackFrame
from sim.instruments import MEASUREMENTS, MeasurementError, measure
from sim.machine_readings import read_machine
from sim.recorder import Recorder
from sim.reel import Reel, make_reel
from sim.station import STEP_S, Station
from sim.training.attempt import ActDone, Attempt, ControlMoved, Event
from sim.training.lesson import Lesson
from sim.training.machine import NO_FAULTS, LessonMachine, Machine, Start
from sim.training.reader import LessonError, Problem
from sim.training.working import Hand, do_worked_steps
from sim.transport import LEADER_M, WHEEL_TO_TAKEUP_M, Incident
from sim.wording import wording

__all__ = ["SAMPLE_EVERY_S", "Run", "RunningMachine", "events_before", "machine_for"]

SAMPLE_EVERY_S = 5.0
"""How often the readings of the checks are noted while a machine runs, for the debrief [s]."""

# Moments whose readings are kept: more than the score and the debrief of a long attempt ask for.
_KEPT_MOMENTS = 5_000
_KEPT_STARTS = 4


class Run:
    """A machine living through one attempt, always forward.

    Parameters
    ----------
    lesson : Lesson
        A lesson whose machine runs.
    start : Start
        What was dealt.
    heard : bool
        Whether somebody hears it (`sim.station.Station.heard`).
    pace : callable, optional
        Is told how many steps of the machine are wanted and returns how many may be lived at once, one or more; what
        it raises comes out of `follow`, which may be called again then.

    Attributes
    ----------
    station : Station
        The machine.
    events : list of Event
        What it has been through.
    refused : set of int
        Places in `events` of what it refused.
    refusal : str
        Why the machine refused what was done last, or could not go on with it; empty if it did it.

    Raises
    ------
    LessonError
        If the machine cannot be delivered as the lesson says.
    """

    def __init__(
        self, lesson: Lesson, start: Start, heard: bool = True, pace: Callable[[int], int] | None = None
    ) -> None:
        assert lesson.running is not None
        running = lesson.running
        self._pace = pace
        self.start = start
        self.events: list[Event] = []
        self.refused: set[int] = set()
        self.refusal = ""
        self._strayed = False
        self._shelf: dict[str, Reel] = {}
        recorder = Recorder(
            lesson.standard,
            lesson.practice,
            signal=lesson.signal,
            condition=start.condition,
            controls=dict(start.controls),
        )
        # The servos' own chance is the seed's, too; their generators take any whole number.
        self.station = Station(recorder, start.seed)
        self.station.heard = heard
        try:
            reel = None
            if running.reel != ENDLESS:
                reel = self._shelf[running.reel] = make_reel(running.reel)
            place_m = LEADER_M + WHEEL_TO_TAKEUP_M + running.position_s * self.station.deck.nominal_m_per_s
            self.station.put_on(reel, running.mode, place_m)
            for deed in running.before:
                do_deed(self.station, deed.name, deed.choice, self._shelf)
        except BandbenchError as error:
            raise LessonError(
                Problem(
                    lesson.source,
                    "running",
                    wording("lesson_problem.with_seed", seed=start.seed, error=error),
                    wording("lesson_problem.not_delivered_do"),
                )
            ) from None

    @property
    def at_s(self) -> float:
        """How far it has lived [s]."""
        return self.station.time_s

    def precedes(self, events: Sequence[Event], at_s: float) -> bool:
        """Tell whether what this machine has been through is the beginning of a log up to a moment."""
        if self._strayed:
            return False
        count = len(self.events)
        return _steps(self.at_s) <= _steps(at_s) and count <= len(events) and list(events[:count]) == self.events

    def has_been_through(self, events: Sequence[Event], at_s: float) -> bool:
        """Tell whether a log up to a moment is part of what this machine has been through."""
        return not self._strayed and self.at_s >= at_s and self.events[: len(events)] == list(events)

    def follow(self, events: Sequence[Event], at_s: float) -> None:
        """Live on through a log up to a moment; it must continue what this machine has been through."""
        for event in events[len(self.events) :]:
            self._live_to(event.at_s)
            self._do(event)
            if self.refusal and isinstance(event, ActDone):
                self.refused.add(len(self.events))
            self.events.append(event)
        self._live_to(at_s)

    def _live_to(self, at_s: float) -> None:
        station, goal = self.station, _steps(at_s)
        while (steps := goal - _steps(station.time_s)) > 0:
            if self._pace is not None:
                steps = min(steps, self._pace(steps))
            try:
                station.advance(steps * STEP_S)
            except BandbenchError as error:
                # The machine has stopped doing what it could not go on with; time goes on.
                self.refusal = str(error)

    def stray(self, event: Event) -> None:
        """Do something that does not stand in the log: from then on this machine tells nothing about it."""
        self._strayed = True
        self._do(event)

    def _do(self, event: Event) -> None:
        self.refusal = ""
        match event:
            case ControlMoved():
                self.station.recorder.set_control(event.control, event.value)
            case ActDone():
                try:
                    do_deed(self.station, event.act, event.choice, self._shelf)
                except BandbenchError as error:
                    self.refusal = str(error)

    def read(self, names: Iterable[str]) -> dict[str, float]:
        """Return what the instruments read now; NaN where they have nothing to read."""
        found: dict[str, float] = {}
        frame: PlaybackFrame | None = None
        for name in names:
            try:
                if name in MEASUREMENTS:
                    frame = frame or self.station.frame()
                    found[name] = measure(frame, name)
                else:
                    found[name] = read_machine(self.station, name)
            except MeasurementError:
                found[name] = math.nan
        return found


def events_before(events: Sequence[Event], at_s: float) -> tuple[Event, ...]:
    """Return what was done before a moment, without what was done at that very moment."""
    return tuple(event for event in events if event.at_s < at_s)


def _steps(at_s: float) -> int:
    """Return how many whole steps of the machine have passed at a moment."""
    return math.floor(at_s / STEP_S + 1e-6)


class RunningMachine(LessonMachine):
    """The lesson's machine that runs: one at the bench, and another on which the log is lived through again.

    Parameters
    ----------
    lesson : Lesson
        A lesson whose machine runs.
    faults : mapping of str to FaultSpec
        The fault catalogue; needed by lessons that deal faults.

    Attributes
    ----------
    live : Run or None
        The machine at the bench, of the attempt that goes on; only `begin` and `live_on` move it.
    """

    def __init__(self, lesson: Lesson, faults: Mapping[str, FaultSpec] = NO_FAULTS) -> None:
        super().__init__(lesson, faults)
        self.live: Run | None = None
        self._again: Run | None = None
        self._kept: OrderedDict[tuple[object, ...], dict[str, float]] = OrderedDict()
        self._solved: OrderedDict[tuple[int, int], Attempt] = OrderedDict()

    def begin(self, start: Start) -> Run:
        """Deliver a fresh machine to the bench and return it."""
        self.live = Run(self.lesson, start)
        self._again = None
        return self.live

    def live_on(self, events: Sequence[Event], at_s: float) -> None:
        """Let the machine at the bench live on up to a moment, and note the readings of the checks on the way."""
        run = self.live
        assert run is not None
        names = [check.measurement for check in self.lesson.checks]
        while names and (sample_s := SAMPLE_EVERY_S * (math.floor(run.at_s / SAMPLE_EVERY_S + 1e-6) + 1)) <= at_s:
            before = events_before(events, sample_s)
            run.follow(before, sample_s)
            self.read(run.start, before, sample_s, names)
        run.follow(events, at_s)

    def run_at(self, start: Start, events: Sequence[Event], at_s: float) -> Run:
        """Return a machine that has lived through a log up to a moment, for looking at and hearing."""
        run = self._run_at(start, events, at_s)
        run.station.heard = True
        return run

    def _run_at(self, start: Start, events: Sequence[Event], at_s: float) -> Run:
        live = self.live
        # The machine at the bench lives with its trainee: it is read where it stands, and never moved on from here.
        if (
            live is not None
            and live.start == start
            and live.precedes(events, at_s)
            and len(live.events) == len(events)
            and _steps(live.at_s) == _steps(at_s)
        ):
            return live
        again = self._again
        if again is None or again.start != start or not again.precedes(events, at_s):
            again = self._again = self._delivered(start)
        again.follow(events, at_s)
        return again

    def _delivered(self, start: Start) -> Run:
        """Return a fresh machine that is to be read alone."""
        return Run(self.lesson, start, heard=False)

    def read(self, start: Start, events: Sequence[Event], at_s: float, names: Iterable[str]) -> dict[str, float]:
        """Return what the instruments read at a moment (see `LessonMachine`)."""
        key = (start.seed, start.draw, tuple(events), _steps(at_s))
        kept = self._kept.setdefault(key, {})
        self._kept.move_to_end(key)
        wanted = tuple(dict.fromkeys(names))
        missing = [name for name in wanted if name not in kept]
        if missing:
            kept.update(self._read_run(self._run_at(start, events, at_s), missing))
        if len(self._kept) > _KEPT_MOMENTS:
            self._kept.popitem(last=False)
        return {name: kept[name] for name in wanted}

    def _read_run(self, run: Run, names: Sequence[str]) -> dict[str, float]:
        return run.read(names)

    def read_solved(self, start: Start, solved: Mapping[str, float], names: Iterable[str]) -> dict[str, float]:
        """Return what the instruments read after the worked solution has been gone through, step by step."""
        key = (start.seed, start.draw)
        if key not in self._solved:
            hand = Hand(self.lesson, start, self)
            for number, step in enumerate(self.lesson.steps, start=1):
                do_worked_steps(hand, self.lesson, start, number, step)
            hand.submit()
            self._solved[key] = hand.attempt
            if len(self._solved) > _KEPT_STARTS:
                self._solved.popitem(last=False)
        log = self._solved[key]
        return self.read(start, log.events, log.duration_s, names)

    def hold_times(self, at_s: float, hold_s: float, number: int) -> tuple[float, ...]:
        """Return moments spread over the hold time, both ends included."""
        if not hold_s:
            return (at_s,)
        return tuple(round(at_s + hold_s * share / (number - 1), 3) for share in range(number))

    def incidents(self, start: Start, events: Sequence[Event], at_s: float) -> tuple[Incident, ...]:
        """Return what dangerous was tried until a moment."""
        incidents = self._run_through(start, events, at_s).station.deck.incidents
        return tuple(one for one in incidents if one.at_s <= at_s + STEP_S / 2.0)

    def refused(self, start: Start, events: Sequence[Event], at_s: float) -> frozenset[int]:
        """Return the places of what the machine refused."""
        return frozenset(place for place in self._run_through(start, events, at_s).refused if place < len(events))

    def _run_through(self, start: Start, events: Sequence[Event], at_s: float) -> Run:
        """Return a machine that has been through a log up to a moment, and may have been through more."""
        for run in (self.live, self._again):
            if run is not None and run.start == start and run.has_been_through(events, at_s):
                return run
        return self._run_at(start, events, at_s)


def machine_for(
    lesson: Lesson, faults: Mapping[str, FaultSpec] = NO_FAULTS, recorder: Recorder | None = None
) -> LessonMachine:
    """Return a machine for a lesson: held in play, on the recorder lent if one is, or running."""
    return Machine(lesson, recorder, faults) if lesson.running is None else RunningMachine(lesson, faults)
