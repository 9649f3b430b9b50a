"""Dealing a lesson's start from a seed: the mis-set controls and the hidden condition of the machine.

Contents: `check_seed`, `draw` (one draw), `drawn_faults` (its faults alone), `deal` (draws until there is work to do),
`dealable` and `fault_pool` (what a lesson can deal of the fault catalogue).
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import fields
from statistics import NormalDist
from types import MappingProxyType

import numpy as np

from sim.condition import Condition, ConditionError
from sim.controls import default_controls
from sim.errors import BandbenchError, known_names
from sim.faults import FaultSpec, apply_fault
from sim.standards import PRACTICES
from sim.training.checks import CheckResult, check_results
from sim.training.lesson import Lesson, Spread
from sim.training.machine import NO_FAULTS, DealtFault, LessonMachine, Start, on_step
from sim.training.parts import LARGEST_SEED
from sim.training.reader import LessonError, Problem
from sim.training.run import machine_for
from sim.wording import wording

__all__ = ["MOST_DRAWS", "check_seed", "deal", "dealable", "draw", "drawn_faults", "fault_pool"]

# Starts that a machine of a lesson remembers: every score of a log asks again what its seed deals.
_MOST_KNOWN = 256

MOST_DRAWS = 20
"""Draws before a lesson is refused for dealing nothing but finished work."""


def check_seed(seed: int) -> int:
    """Return `seed` if it can be dealt from.

    Raises
    ------
    BandbenchError
        If it is not a whole number from 0 to `LARGEST_SEED`.
    """
    if type(seed) is not int or not 0 <= seed <= LARGEST_SEED:
        raise BandbenchError(f"seed {seed!r}: use a whole number from 0 to {LARGEST_SEED}")
    return seed


def _drawn(spread: Spread, seed: int, draw_number: int, name: str) -> float:
    """Draw one value; each name has its own random stream, so that adding one value leaves the others alone.

    Only uniform doubles are taken from the generator: their stream does not change between NumPy versions.
    """
    generator = np.random.default_rng([seed, draw_number, zlib.crc32(name.encode())])
    chance = float(generator.random())
    width = spread.maximum - spread.minimum
    match spread.distribution:
        case "uniform":
            return spread.minimum + width * chance
        case "either_side":
            sign = 1.0 if generator.random() < 0.5 else -1.0
            return spread.centre + sign * (spread.minimum + width * chance)
        case "choice":
            return spread.choices[int(chance * len(spread.choices))]
        case "normal":
            bell = NormalDist(spread.centre, spread.deviation)
            low, high = bell.cdf(spread.minimum), bell.cdf(spread.maximum)
            # Limits in the far tail leave no probability between them that a double can hold.
            share = min(max(low + (high - low) * chance, 1e-12), 1.0 - 1e-12)
            return min(max(bell.inv_cdf(share), spread.minimum), spread.maximum)
    return spread.centre


def _chance(seed: int, draw_number: int, name: str) -> float:
    return float(np.random.default_rng([seed, draw_number, zlib.crc32(name.encode())]).random())


def fault_pool(lesson: Lesson, faults: Mapping[str, FaultSpec]) -> dict[str, list[FaultSpec]]:
    """Return what a lesson may draw of the catalogue: entries, each with its faults (of one head, or of all four).

    A name of the pool is that of a fault, of an entry (the same fault of all four heads) or of a group.
    """
    wanted = lesson.fault_choice.pool if lesson.fault_choice else ()
    found: dict[str, list[FaultSpec]] = {}
    for fault in faults.values():
        if {fault.name, fault.entry, fault.group}.intersection(wanted):
            found.setdefault(fault.entry, []).append(fault)
    return found


def dealable(lesson: Lesson, faults: Mapping[str, FaultSpec]) -> tuple[FaultSpec, ...]:
    """Return every fault of the catalogue that a lesson can deal."""
    always = [faults[name] for name in lesson.start_faults if name in faults]
    drawn = [fault for members in fault_pool(lesson, faults).values() for fault in members]
    return tuple({fault.name: fault for fault in (*always, *drawn)}.values())


def drawn_faults(lesson: Lesson, seed: int, number: int, faults: Mapping[str, FaultSpec]) -> tuple[DealtFault, ...]:
    """Return the faults that `draw` deals, without the rest.

    Each candidate draws its own lot: a new one leaves the others' order alone.
    """
    dealt = []
    for name, spread in lesson.start_faults.items():
        _known_fault(lesson, f"start.faults.{name}", name, faults)
        dealt.append(DealtFault(name, _drawn(spread, seed, number, f"fault:{name}")))
    choice = lesson.fault_choice
    if choice is None:
        return tuple(dealt)
    planted = {faults[fault.name].entry for fault in dealt}
    pool = {entry: members for entry, members in fault_pool(lesson, faults).items() if entry not in planted}
    if len(pool) < choice.count:
        raise LessonError(
            Problem(
                lesson.source,
                "start.fault_choice.from",
                wording("lesson_problem.small_catalogue", faults=len(pool), count=choice.count),
                wording(
                    "lesson_problem.small_catalogue_do",
                    groups=known_names(sorted({fault.group for fault in faults.values()})),
                ),
            )
        )
    order = sorted(pool, key=lambda entry: _chance(seed, number, f"entry:{entry}"))
    for entry in order[: choice.count]:
        fault = min(pool[entry], key=lambda one: _chance(seed, number, f"member:{one.name}"))
        spread = choice.severity or Spread("uniform", minimum=fault.least, maximum=fault.most)
        dealt.append(DealtFault(fault.name, _drawn(spread, seed, number, f"fault:{fault.name}")))
    return tuple(dealt)


def _known_fault(lesson: Lesson, key: str, name: str, faults: Mapping[str, FaultSpec]) -> None:
    if name not in faults:
        reason = wording("lesson_problem.fault_not_at_hand", name=repr(name))
        raise LessonError(Problem(lesson.source, key, reason, wording("lesson_problem.fault_not_at_hand_do")))


def draw(lesson: Lesson, seed: int, number: int = 0, faults: Mapping[str, FaultSpec] = NO_FAULTS) -> Start:
    """Return draw `number` of `seed`, whether or not it leaves anything to do.

    Parameters
    ----------
    lesson : Lesson
        A lesson whose names all exist.
    seed : int
        0 to `LARGEST_SEED`.
    number : int
        Which draw, from 0.
    faults : mapping of str to FaultSpec
        The fault catalogue; needed by lessons that deal faults.

    Raises
    ------
    LessonError
        If the lesson deals a fault that is not in the catalogue, or a condition that no machine can have.
    """
    check_seed(seed)
    controls = default_controls(PRACTICES[lesson.practice])
    for name, spread in lesson.start_controls.items():
        controls[name] = on_step(name, _drawn(spread, seed, number, name))
    hidden: dict[str, object] = {}
    for entry in fields(Condition):
        if isinstance(entry.default, tuple):
            per_head = []
            for head, default in enumerate(entry.default, start=1):
                own = f"{entry.name}_{head}"
                spread_or_none = lesson.start_condition.get(own, lesson.start_condition.get(entry.name))
                per_head.append(_drawn(spread_or_none, seed, number, own) if spread_or_none else default)
            hidden[entry.name] = tuple(per_head)
        elif entry.name in lesson.start_condition:
            hidden[entry.name] = _drawn(lesson.start_condition[entry.name], seed, number, entry.name)
    dealt = drawn_faults(lesson, seed, number, faults)
    try:
        # The names are Condition's own and the values finite; the dictionary's value type cannot say so.
        condition = Condition(**hidden)  # type: ignore[arg-type]
        for fault in dealt:
            condition = apply_fault(condition, faults[fault.name], fault.severity)
    except ConditionError as error:
        reason = wording("lesson_problem.with_seed", seed=seed, error=error)
        remedy = wording("lesson_problem.impossible_condition_do")
        raise LessonError(Problem(lesson.source, "start.condition", reason, remedy)) from None
    return Start(seed, number, MappingProxyType(controls), condition, dealt)


def deal(lesson: Lesson, seed: int, machine: LessonMachine | None = None) -> Start:
    """Return the start that `seed` deals: the first of its draws that leaves work to do.

    As delivered it fails every check the lesson lists under ``start.must_fail``, or at least one if it lists none. A
    lesson that only asks needs no check to fail.

    Parameters
    ----------
    lesson : Lesson
        A lesson whose names all exist.
    seed : int
        0 to `LARGEST_SEED`; the same seed always deals the same start.
    machine : LessonMachine, optional
        The lesson's machine, if one is at hand; building one takes as long as recording a frame.

    Raises
    ------
    LessonError
        If none of `MOST_DRAWS` draws does.
    BandbenchError
        If the seed is not usable.
    """
    machine = machine or machine_for(lesson)
    check_seed(seed)
    known = machine.dealt if machine.lesson is lesson else {}
    if seed in known:
        return known[seed]
    for number in range(MOST_DRAWS):
        start = draw(lesson, seed, number, machine.faults)
        if not lesson.checks or _leaves_work(lesson, machine, start):
            if len(known) >= _MOST_KNOWN:
                known.clear()
            known[seed] = start
            return start
    must_fail = known_names(lesson.must_fail)
    raise LessonError(
        Problem(
            lesson.source,
            "start",
            wording("lesson_problem.little_to_do_must_fail", seed=seed, draws=MOST_DRAWS, must_fail=must_fail)
            if must_fail
            else wording("lesson_problem.little_to_do", seed=seed, draws=MOST_DRAWS),
            wording("lesson_problem.little_to_do_do"),
        )
    )


def _leaves_work(lesson: Lesson, machine: LessonMachine, start: Start) -> bool:
    # Where the lesson says what must fail, nothing else is looked at. What is out at first sight is nearly always
    # enough; only else is it watched for the hold times.
    looked_at = lesson.must_fail or tuple(check.name for check in lesson.checks)
    return any(
        _missed_enough(lesson, check_results(lesson, machine, start, (), 0.0, hold, looked_at))
        for hold in (False, True)
    )


def _missed_enough(lesson: Lesson, results: Sequence[CheckResult]) -> bool:
    missed = {result.check.name for result in results if not result.passed}
    return missed.issuperset(lesson.must_fail) if lesson.must_fail else bool(missed)
