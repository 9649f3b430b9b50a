"""The fuzzing itself: input is spoilt, what reaches new lines is spoilt further, what must not happen is kept.

Contents: `Outcome`, `Fault`, `fuzz`, `try_one`. Which lines are reached is asked of Python's own tracing: the engine
needs nothing that has to be installed, and runs wherever the bench does.
"""

from __future__ import annotations

import random
import signal
import sys
import time
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import Any

from tests.fuzz.mutation import spoilt
from tests.fuzz.oracle import Refused
from tests.fuzz.targets import Target

__all__ = ["LONGEST_S", "Fault", "Outcome", "fuzz", "try_one"]

LONGEST_S = 5.0
"""What takes longer has frozen the page, as far as its user can tell. [s]"""
_CUT_OFF_S = 20.0
_LARGEST_KEPT = 60_000
_MOST_KEPT = 400
_ROOT = Path(__file__).parents[2]
_WATCHED = (str(_ROOT / "sim"), str(_ROOT / "site"))


class _CutOff(BaseException):
    """A run was cut off: it would not have ended."""


@dataclass(frozen=True)
class Fault:
    """Something that must not happen.

    Attributes
    ----------
    where : str
        What tells it from others: kind of error, file and line.
    told : str
        The whole story.
    data : bytes
        The input.
    """

    where: str
    told: str
    data: bytes


@dataclass
class Outcome:
    """What the fuzzing of one target came to."""

    cases: int = 0
    taken: int = 0
    refused: int = 0
    lines: int = 0
    slowest_s: float = 0.0
    faults: dict[str, Fault] = field(default_factory=dict)


@contextmanager
def _cut_off() -> Iterator[None]:
    def ring(_signal: int, _frame: FrameType | None) -> None:
        raise _CutOff

    # By the processor's time of this program, for the same reason as below.
    before = signal.signal(signal.SIGVTALRM, ring)
    signal.setitimer(signal.ITIMER_VIRTUAL, _CUT_OFF_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, before)


@contextmanager
def _traced(reached: set[tuple[str, int]]) -> Iterator[None]:
    def inside(frame: FrameType, event: str, _argument: Any) -> Any:
        if event == "line":
            reached.add((frame.f_code.co_filename, frame.f_lineno))
        return inside

    def enter(frame: FrameType, _event: str, _argument: Any) -> Any:
        return inside if frame.f_code.co_filename.startswith(_WATCHED) else None

    before = sys.gettrace()
    sys.settrace(enter)
    try:
        yield
    finally:
        sys.settrace(before)


def try_one(target: Target, data: bytes) -> tuple[str, Fault | None]:
    """Give a target one input; return "taken", "refused" or "fault", and the fault."""
    # Of the processor's time: a busy machine is no fault of the bench's.
    started = time.process_time()
    try:
        # The bench warns of nothing on purpose: a warning is a sum that went wrong.
        with _cut_off(), warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            target.run(data)
    except Refused:
        end = "refused"
    except (Exception, _CutOff) as error:
        return "fault", _fault(error, data)
    else:
        end = "taken"
    took_s = time.process_time() - started
    if took_s > LONGEST_S:
        return "fault", Fault("slow", f"took {took_s:.1f} s", data)
    return end, None


def _fault(error: BaseException, data: bytes) -> Fault:
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if frame.filename.startswith(_WATCHED)] or list(frames)
    where = f"{type(error).__name__} {Path(own[-1].filename).name}:{own[-1].lineno}"
    return Fault(where, "".join(traceback.format_exception(error)), data)


def fuzz(target: Target, seconds: float, seed: int) -> Outcome:
    """Spoil the input of a target for so long.

    Parameters
    ----------
    target : Target
        What takes the input.
    seconds : float
        How long.
    seed : int
        What the spoiling follows from.
    """
    chance = random.Random(seed)
    outcome = Outcome()
    seeds = target.seeds()
    kept = list(seeds)
    reached: set[tuple[str, int]] = set()
    # What is read once and kept is not read line by line.
    try_one(target, seeds[0])
    end_s = time.monotonic() + seconds
    waiting = list(seeds)
    while time.monotonic() < end_s:
        data = waiting.pop() if waiting else spoilt(chance.choice(kept), target.form, chance, seeds)
        before = len(reached)
        started = time.process_time()
        with _traced(reached):
            end, fault = try_one(target, data)
        outcome.slowest_s = max(outcome.slowest_s, time.process_time() - started)
        outcome.cases += 1
        outcome.taken += end == "taken"
        outcome.refused += end == "refused"
        if fault is not None:
            known = outcome.faults.get(fault.where)
            if known is None or len(fault.data) < len(known.data):
                outcome.faults[fault.where] = fault
        elif len(reached) > before and len(data) < _LARGEST_KEPT:
            kept.append(data)
            if len(kept) > _MOST_KEPT:
                # Never one of the seeds.
                del kept[chance.randrange(len(seeds), len(kept))]
    outcome.lines = len(reached)
    outcome.faults = {where: _smaller(target, fault) for where, fault in outcome.faults.items()}
    return outcome


def _smaller(target: Target, fault: Fault, most: int = 300) -> Fault:
    """Return the same fault by less input, as far as cutting pieces out finds any."""
    data, piece, tries = fault.data, max(1, len(fault.data) // 2), 0
    if fault.where == "slow":
        return fault
    while piece >= 1 and tries < most:
        place = 0
        while place < len(data) and tries < most:
            tries += 1
            less = data[:place] + data[place + piece :]
            _, again = try_one(target, less)
            if again is not None and again.where == fault.where:
                data, fault = less, again
            else:
                place += piece
        piece //= 2
    return fault
