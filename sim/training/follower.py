"""An operator who follows the lesson's steps and knows nothing but the instruments' numbers.

Contents: `FollowedWork`, `follow_steps`. The linter uses it to prove that a lesson can be passed from what a trainee
can see. It is not clever on purpose: it answers the questions first, by readings and the catalogue's proofs; then, for
each step that names a control and readings to watch, it turns that control, goes to the best place and closes in, until
the readings are right. At a machine that runs it does what each step says, waits as it says, and answers a question
when its step has been done.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from sim.controls import CONTROLS, ControlSpec
from sim.faults import FaultSpec
from sim.training.answers import answer_options, extreme_head
from sim.training.attempt import Attempt
from sim.training.deal import dealable
from sim.training.diagnosis import likely_faults, readings_for, standing_setups
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine, Start, on_step
from sim.training.parts import Question
from sim.training.references import readings_of
from sim.training.working import Hand

__all__ = ["MOST_MOVES", "FollowedWork", "follow_steps"]

MOST_MOVES = 300
"""Moves after which the operator gives up."""

# Places tried over a control's whole range; a peak narrower than a twelfth of the range would be missed.
_SWEEP_PLACES = 25
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
# Tolerances, and share of what is missing, by which a control must better the readings to stay where it was turned to;
# less is the noise of reading.
_WORTH_TURNING, _WORTH_SHARE = 0.05, 0.02
# Tolerances, for each reading watched, from its target at which nobody goes on turning: what is right is right.
_RIGHT_ENOUGH = 0.1
# Frames read for a diagnosis: what stands still is seen at once, what swings takes seconds.
_STILL_FRAMES = (0, 7, 16)
_SWING_FRAMES = (0, 7, 16, 24, 33, 41, 50, 58, 67, 75)


# The frame on which a held machine is read when something is asked of how it was delivered.
_AS_DELIVERED_S = 0.0


@dataclass(frozen=True)
class FollowedWork:
    """What the operator did: the log, ending in a submission, and how many moves it took."""

    attempt: Attempt
    moves: int


class _OutOfMovesError(Exception):
    """The operator has used up its moves; what it has set stands."""


class _Operator(Hand):
    """Turns controls, reads instruments, writes the log; looks into no condition and no solution."""

    def __init__(self, lesson: Lesson, start: Start, machine: LessonMachine) -> None:
        super().__init__(lesson, start, machine)
        self.moves = 0
        # How long a turned control takes to show on the instruments; a machine that is held shows it at once.
        self.settle_s = 0.0

    def turn(self, control: str, value: float) -> None:
        """Turn a control."""
        if self.moves >= MOST_MOVES:
            raise _OutOfMovesError
        super().turn(control, value)
        self.moves += 1
        if self.settle_s:
            self.wait(self.settle_s)

    def options(self, question: Question) -> tuple[str, ...]:
        """Return the answers that are offered."""
        return tuple(name for name, _ in answer_options(self.lesson, question, self._start, self._machine.faults))

    def diagnosed(self, names: tuple[str, ...] = ()) -> tuple[FaultSpec, ...]:
        """Return the faults that the readings speak for: of those `names`, or of all that the lesson can deal."""
        faults = self._machine.faults
        if names:
            candidates = [fault for fault in faults.values() if {fault.name, fault.entry}.intersection(names)]
        else:
            candidates = list(dealable(self.lesson, faults))
        setups = standing_setups(self.lesson)
        wanted, long = readings_for(candidates, setups, readings_of(self.lesson))
        shown = self._watched(wanted, _SWING_FRAMES if long else _STILL_FRAMES)
        series = {name: [values[name] for values in shown] for name in wanted}
        return likely_faults(candidates, series, self.lesson.fault_count, setups)

    def _watched(self, names: tuple[str, ...], frames: tuple[int, ...]) -> list[dict[str, float]]:
        """Return readings of some frames, hands off: from now on, or where the machine is held, from the first."""
        frame_s = 1.0 / self._machine.frame_rate_hz
        shown, watched = [], 0
        for frame in frames:
            if self.lesson.running:
                self.wait((frame - watched) * frame_s)
                watched = frame
            shown.append(self.read(names, (frame + 0.5) * frame_s))
        return shown

    def badness(self, watched: set[str]) -> float:
        """Return how far the watched readings are from what is asked, in tolerances; less is better.

        Of a peak only the reading itself is known, so it counts as it stands; a reading the instrument cannot take
        is worse than any other.
        """
        checks = [check for check in self.lesson.checks if check.measurement in watched]
        readings = self.read([check.measurement for check in checks])
        total = 0.0
        for check in checks:
            value = readings[check.measurement]
            if math.isnan(value):
                return math.inf
            total += (-value if check.kind == "peak" else abs(value - check.target)) / check.tolerance
        return total


def follow_steps(lesson: Lesson, start: Start, machine: LessonMachine, thorough: bool) -> FollowedWork:
    """Follow a lesson's steps by the instruments alone and submit the result.

    Parameters
    ----------
    lesson : Lesson
        Its steps say which control to turn and which readings to watch.
    start : Start
        The dealt state.
    machine : LessonMachine
        The lesson's machine.
    thorough : bool
        True: go through a control's whole range first. False: turn it the way that helps until it no longer does,
        which takes fewer moves and can end on a lesser peak.

    Returns
    -------
    FollowedWork
        Score it to learn whether it passed.
    """
    worker = _Operator(lesson, start, machine)
    _answer_all(worker, None)
    watched: set[str] = set()
    find = _swept if thorough else _climbed
    try:
        for number, step in enumerate(lesson.steps, start=1):
            worker.begin(number, step)
            worker.settle_s = step.settle_s if lesson.running else 0.0
            checked = {check.measurement for check in lesson.checks}.intersection(step.watch)
            watched |= checked
            if step.control is not None and checked:
                _set_best(worker, CONTROLS[step.control], watched, find)
            _answer_all(worker, number)
    except _OutOfMovesError:
        pass
    worker.submit()
    return FollowedWork(worker.attempt, worker.moves)


def _answer_all(worker: _Operator, step: int | None) -> None:
    """Answer the questions that come after a step; those that need none at None."""
    for question in worker.lesson.questions:
        if question.step == step:
            _answer(worker, question)


def _answer(worker: _Operator, question: Question) -> None:
    """Answer a question by the instruments; what is taught in words only, as the lesson has it."""
    if question.answer is not None:
        worker.answer(question.name, question.answer)
        return
    name = question.answer_measurement
    if question.kind == "numeric":
        value = worker.read([str(name)], _AS_DELIVERED_S)[str(name)]
        if not math.isnan(value):
            worker.answer(question.name, repr(value))
        return
    if question.kind == "head" and name is not None:
        read = worker.read([f"{name}_{head}" for head in range(1, 5)], _AS_DELIVERED_S)
        found = extreme_head(list(read.values()), question.extreme)
        if found is not None:
            worker.answer(question.name, str(found))
        return
    options = worker.options(question)
    likely = worker.diagnosed(options if question.kind == "cause" else ())
    if not likely:
        return
    if question.kind == "head":
        worker.answer(question.name, "+".join(sorted({str(fault.head) for fault in likely if fault.head})))
    elif question.kind == "choice":
        answers = dict(question.answers)
        fault = likely[0]
        worker.answer(
            question.name, next(answers[key] for key in (fault.name, fault.entry, fault.group) if key in answers)
        )
    else:
        told = [option for option in options if any(option in (fault.name, fault.entry) for fault in likely)]
        worker.answer(question.name, "+".join(told))


# Given a way to try a value, the value now, the range, the control and the badness that is good enough: two places that
# the best one lies between, or twice one that is good enough.
_Find = Callable[[Callable[[float], float], float, tuple[float, float], ControlSpec, float], tuple[float, float]]


def _set_best(worker: _Operator, spec: ControlSpec, watched: set[str], find: _Find) -> None:
    """Turn one control to where the watched readings are best."""

    def tried(value: float) -> float:
        worker.turn(spec.name, on_step(spec.name, value))
        return worker.badness(watched)

    now, before = worker.controls[spec.name], worker.badness(watched)
    enough = _good_enough(worker.lesson, watched)
    if before <= enough:
        return
    if spec.kind != "number":
        best = min((float(value) for value in range(int(spec.minimum), int(spec.maximum) + 1)), key=tried)
    else:
        low, high = find(tried, now, _allowed(worker.lesson, spec), spec, enough)
        best = on_step(spec.name, _closed_in(tried, low, high, spec.fine_step, enough))
    worth = _WORTH_TURNING + _WORTH_SHARE * abs(before) if math.isfinite(before) else 0.0
    # What turning does not help is put back: of four trims, three may be right already.
    if not tried(best) < before - worth:
        worker.turn(spec.name, now)


def _good_enough(lesson: Lesson, watched: set[str]) -> float:
    """Return the badness at which turning ends. How high a peak is nobody knows beforehand: it has to be found."""
    checks = [check for check in lesson.checks if check.measurement in watched]
    return -math.inf if any(check.kind == "peak" for check in checks) else _RIGHT_ENOUGH * len(checks)


def _swept(
    tried: Callable[[float], float], _now: float, limits: tuple[float, float], _spec: ControlSpec, _enough: float
) -> tuple[float, float]:
    """Go through the whole range and return the neighbours of the best place."""
    low, high = limits
    width = (high - low) / (_SWEEP_PLACES - 1)
    best = min((low + number * width for number in range(_SWEEP_PLACES)), key=tried)
    return max(low, best - width), min(high, best + width)


def _climbed(
    tried: Callable[[float], float], now: float, limits: tuple[float, float], spec: ControlSpec, enough: float
) -> tuple[float, float]:
    """Go in coarse steps the way that helps and return the places on both sides of the best one."""
    low, high = limits
    best, least = now, tried(now)
    for direction in (spec.coarse_step, -spec.coarse_step):
        place = best
        while low <= place + direction <= high:
            place += direction
            found = tried(place)
            if found >= least:
                break
            best, least = place, found
            if least <= enough:
                return best, best
        if best != now:
            break
    return max(low, best - spec.coarse_step), min(high, best + spec.coarse_step)


def _allowed(lesson: Lesson, spec: ControlSpec) -> tuple[float, float]:
    """Return the control's range without what the lesson forbids."""
    low, high = spec.minimum, spec.maximum
    for rule in lesson.forbidden:
        if rule.control == spec.name:
            low = low if rule.below is None else max(low, rule.below)
            high = high if rule.above is None else min(high, rule.above)
    return low, high


def _closed_in(badness: Callable[[float], float], low: float, high: float, finest: float, enough: float) -> float:
    """Return the place of the least badness between two places, by golden section down to `finest` or `enough`."""
    if low == high:
        return low
    left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    at_left, at_right = badness(left), badness(right)
    while high - low > 2.0 * finest and min(at_left, at_right) > enough:
        if at_left <= at_right:
            high, right, at_right = right, left, at_left
            left = high - _GOLDEN * (high - low)
            at_left = badness(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + _GOLDEN * (high - low)
            at_right = badness(right)
    return left if at_left <= at_right else right
