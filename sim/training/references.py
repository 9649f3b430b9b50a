"""Whether everything a lesson names exists, and is offered to the trainee where it is needed.

Contents: `INSTRUMENTS` (what a lesson may put on the bench), `readings_of` (what can be read in a lesson),
`name_problems`, `require_names`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from functools import lru_cache

from sim.condition import Condition
from sim.controls import CONTROLS, STAGES
from sim.deeds import ENDLESS, DeedError, check_deed
from sim.errors import known_names
from sim.faults import FaultSpec
from sim.instruments import MEASUREMENTS
from sim.machine_readings import MACHINE_READINGS
from sim.reel import REELS
from sim.signals import SIGNALS
from sim.standards import PRACTICES, STANDARDS
from sim.tape import TAPES
from sim.training.deal import dealable, fault_pool
from sim.training.lesson import Deed, Lesson, Question, Spread
from sim.training.machine import NO_FAULTS
from sim.training.parts import LOOK_ALIKES, POOL
from sim.training.reader import LessonError, Problem

__all__ = ["INSTRUMENTS", "condition_names", "name_problems", "readings_of", "require_names", "unit_of"]

INSTRUMENTS: tuple[str, ...] = ("picture", "waveform", "rf_meter", "tracking_meter", *MEASUREMENTS)
"""Monitors and meters, and every single reading of a frame."""


def readings_of(lesson: Lesson) -> tuple[str, ...]:
    """Return what can be read in a lesson: of the frame, and of the machine if it runs.

    Where both have a reading of one name, it is the frame's.
    """
    return (*MEASUREMENTS, *MACHINE_READINGS) if lesson.running else tuple(MEASUREMENTS)


@lru_cache(maxsize=1)
def condition_names() -> tuple[str, ...]:
    """Return every name a hidden condition can be planted under, per-head ones also with ``_1`` to ``_4``."""
    names: list[str] = []
    for entry in fields(Condition):
        names.append(entry.name)
        if isinstance(entry.default, tuple):
            names += [f"{entry.name}_{head}" for head in range(1, 5)]
    return tuple(names)


@lru_cache(maxsize=1)
def _single_conditions() -> tuple[str, ...]:
    """Return the names that stand for one number."""
    per_head = {entry.name for entry in fields(Condition) if isinstance(entry.default, tuple)}
    return tuple(name for name in condition_names() if name not in per_head)


class _Finder:
    """Collects problems of one lesson."""

    def __init__(self, lesson: Lesson, faults: Mapping[str, FaultSpec]) -> None:
        self.lesson = lesson
        self.faults = faults
        self.problems: list[Problem] = []

    def add(self, key: str, reason: str, remedy: str) -> None:
        self.problems.append(Problem(self.lesson.source, key, reason, remedy))

    def known(self, key: str, kind: str, name: str, names: Iterable[str]) -> bool:
        """Report `name` unless it is one of `names`; tell whether it is."""
        listed = tuple(names)
        if name in listed:
            return True
        self.add(key, f"there is no {kind} {name!r}", f"Use one of {known_names(listed)}.")
        return False

    def offered(self, key: str, kind: str, name: str, list_key: str, names: tuple[str, ...]) -> None:
        """Report `name` unless the lesson offers it to the trainee."""
        if name not in names:
            self.add(key, f"the lesson does not offer {kind} {name!r}", f"Add {name!r} to '{list_key}' or use another.")


def name_problems(lesson: Lesson, faults: Mapping[str, FaultSpec] = NO_FAULTS) -> list[Problem]:
    """Return every name in a lesson that does not exist or is not offered, and every value out of range.

    Parameters
    ----------
    lesson : Lesson
        What to look through.
    faults : mapping of str to FaultSpec
        The fault catalogue; needed by lessons that deal faults.
    """
    find = _Finder(lesson, faults)
    if find.known("standard", "standard", lesson.standard, STANDARDS):
        own = [name for name, practice in PRACTICES.items() if practice.standard == lesson.standard]
        find.known("practice", f"{lesson.standard} recording practice", lesson.practice, own)
        tapes = [name for name, tape in TAPES.items() if tape.standard in ("", lesson.standard)]
        find.known("tape", f"{lesson.standard} tape", lesson.tape, tapes)
    find.known("signal", "test signal", lesson.signal, SIGNALS)
    for place, name in enumerate(lesson.controls, start=1):
        find.known(f"controls[{place}]", "control", name, CONTROLS)
    for place, name in enumerate(lesson.instruments, start=1):
        find.known(f"instruments[{place}]", "instrument", name, (*INSTRUMENTS, *readings_of(lesson)))
    _start_problems(find)
    _step_problems(find)
    _check_problems(find)
    _fault_problems(find)
    _question_problems(find)
    _solution_problems(find)
    _order_problems(find)
    _running_problems(find)
    for place, rule in enumerate(lesson.forbidden, start=1):
        key = f"forbidden[{place}].control"
        if rule.act is not None:
            _deed_problems(find, f"forbidden[{place}].act", rule.act, any_choice=True)
        elif rule.control is not None and find.known(key, "control", rule.control, CONTROLS):
            find.offered(key, "control", rule.control, "controls", lesson.controls)
    return find.problems


def require_names(lesson: Lesson, faults: Mapping[str, FaultSpec] = NO_FAULTS) -> Lesson:
    """Return the lesson if everything it names exists; raise LessonError with the first problem otherwise."""
    for problem in name_problems(lesson, faults):
        raise LessonError(problem)
    return lesson


def _start_problems(find: _Finder) -> None:
    for name, spread in find.lesson.start_controls.items():
        key = f"start.controls.{name}"
        if not find.known(key, "control", name, CONTROLS):
            continue
        spec = CONTROLS[name]
        for value in _extremes(spread):
            if not spec.minimum <= value <= spec.maximum:
                find.add(
                    key,
                    f"can deal {value:g}, outside the control's range",
                    f"Keep it from {spec.minimum:g} to {spec.maximum:g} {spec.unit}.",
                )
                break
            if spec.kind == "switch" and (spread.distribution not in ("fixed", "choice") or value not in (0, 1)):
                find.add(key, "a switch can only be dealt 0 or 1", "Use distribution 'fixed' or 'choice'.")
                break
    for name in find.lesson.start_condition:
        find.known(f"start.condition.{name}", "hidden condition", name, condition_names())


def _extremes(spread: Spread) -> Iterator[float]:
    """Yield values among which are the lowest and the highest the spread can deal."""
    match spread.distribution:
        case "fixed":
            yield spread.centre
        case "choice":
            yield from spread.choices
        case "either_side":
            yield spread.centre - spread.maximum
            yield spread.centre + spread.maximum
        case _:
            yield spread.minimum
            yield spread.maximum


def _fault_problems(find: _Finder) -> None:
    lesson = find.lesson
    spreads = {f"start.faults.{name}": spread for name, spread in lesson.start_faults.items()}
    for name in lesson.start_faults:
        find.known(f"start.faults.{name}", "fault in the catalogue", name, find.faults)
    choice = lesson.fault_choice
    if choice is not None:
        if choice.severity is not None:
            spreads["start.fault_choice.severity"] = choice.severity
        known = {name for fault in find.faults.values() for name in (fault.name, fault.entry, fault.group)}
        for place, name in enumerate(choice.pool, start=1):
            find.known(f"start.fault_choice.from[{place}]", "fault or group in the catalogue", name, sorted(known))
        if len(fault_pool(lesson, find.faults)) < choice.count:
            find.add("start.fault_choice.count", f"there are fewer than {choice.count} to draw", "Name more in 'from'.")
    for key, spread in spreads.items():
        if not all(0.0 <= value <= 1.0 for value in _extremes(spread)):
            find.add(key, "can deal a severity outside 0 to 1", "Keep it from 0 (none) to 1 (worst).")


def _question_problems(find: _Finder) -> None:
    for place, question in enumerate(find.lesson.questions, start=1):
        key = f"questions[{place}]"
        if question.answer_measurement is not None:
            _measured_answer_problems(find, key, question)
        if question.answer_from is None:
            continue
        if not find.lesson.deals_faults:
            find.add(
                f"{key}.answer_from",
                "the start deals no fault of the catalogue",
                "Deal one with start.faults or start.fault_choice, or state the answer.",
            )
            continue
        _dealt_answer_problems(find, key, question)


def unit_of(lesson: Lesson, name: str) -> str:
    """Return what a reading is counted in: levels in the unit of the lesson's standard."""
    if name not in MEASUREMENTS:
        return MACHINE_READINGS[name].unit
    spec = MEASUREMENTS[name]
    return spec.unit_in(STANDARDS[lesson.standard]) if lesson.standard in STANDARDS else spec.unit


def _measured_answer_problems(find: _Finder, key: str, question: Question) -> None:
    stem = str(question.answer_measurement)
    key = f"{key}.answer_measurement"
    if question.kind == "numeric":
        if find.known(key, "measurement", stem, readings_of(find.lesson)):
            find.offered(key, "reading", stem, "instruments", find.lesson.instruments)
            unit = unit_of(find.lesson, stem)
            if question.unit != unit:
                find.add(
                    key.replace("answer_measurement", "unit"),
                    f"'{stem}' is read in {unit}, not in {question.unit}",
                    f"Write unit = {unit!r} and give the tolerance in it.",
                )
        return
    per_head = [name[:-2] for name in MEASUREMENTS if name.endswith("_1")]
    if find.known(key, "reading of each head", stem, per_head):
        for head in range(1, 5):
            find.offered(key, "reading", f"{stem}_{head}", "instruments", find.lesson.instruments)


def _dealt_answer_problems(find: _Finder, key: str, question: Question) -> None:
    can_be = dealable(find.lesson, find.faults)
    if question.kind == "head":
        for fault in can_be:
            if not fault.head:
                find.add(
                    f"{key}.answer_from",
                    f"fault '{fault.name}' can be dealt and is of no head",
                    "Deal faults of one head only, or ask for the cause.",
                )
                return
    names = dict(question.answers) if question.kind == "choice" else dict.fromkeys(question.options)
    where = "answers" if question.kind == "choice" else "options"
    if question.options in ((LOOK_ALIKES,), (POOL,)):
        if question.options == (POOL,) and len({fault.entry for fault in can_be}) < 2:
            find.add(f"{key}.options", "the lesson can deal one fault only", "Use 'look_alikes' or a list of faults.")
        return
    if question.kind == "head":
        return
    known = {name for fault in find.faults.values() for name in (fault.name, fault.entry)}
    if question.kind == "choice":
        known |= {fault.group for fault in find.faults.values()}
    for name in names:
        find.known(f"{key}.{where}", "fault in the catalogue", name, sorted(known))
    for fault in can_be:
        if not {fault.name, fault.entry, *([fault.group] if question.kind == "choice" else [])}.intersection(names):
            find.add(
                f"{key}.{where}", f"fault '{fault.name}' can be dealt and is not among them", f"Add it to '{where}'."
            )


def _deed_problems(find: _Finder, key: str, deed: Deed, any_choice: bool = False) -> None:
    if find.lesson.running is None:
        find.add(
            key, "nothing is done at a machine that is held in play", "Give the lesson a [running] table, or remove it."
        )
        return
    try:
        if not (any_choice and not deed.choice):
            check_deed(deed.name, deed.choice)
    except DeedError as error:
        find.add(key, str(error), "Write a deed as 'play', or with its choice as 'select_tracks:video'.")


def _running_problems(find: _Finder) -> None:
    lesson = find.lesson
    running = lesson.running
    if running is not None:
        own = [name for name, spec in REELS.items() if spec.standard == lesson.standard]
        find.known("running.reel", f"{lesson.standard} reel", running.reel, (ENDLESS, *own))
        for place, deed in enumerate(running.before, start=1):
            _deed_problems(find, f"running.before[{place}]", deed)
    for place, question in enumerate(lesson.questions, start=1):
        if question.step is not None and (running is None or question.step > len(lesson.steps)):
            find.add(
                f"questions[{place}].step",
                f"there is no step {question.step} after which the machine could be read",
                f"Use 1 to {len(lesson.steps)}, with a [running] table, or remove it.",
            )
    for place, step in enumerate(lesson.steps, start=1):
        key = f"steps[{place}]"
        for number, deed in enumerate(step.acts, start=1):
            _deed_problems(find, f"{key}.acts[{number}]", deed)
        if running is None and (step.wait_s or step.until is not None):
            find.add(f"{key}.wait_s", "a machine that is held does not change", "Remove 'wait_s' and 'until'.")
        if step.until is not None:
            if find.known(f"{key}.until.reading", "reading", step.until.reading, readings_of(lesson)):
                find.offered(f"{key}.until.reading", "reading", step.until.reading, "instruments", lesson.instruments)
            if not step.wait_s:
                find.add(f"{key}.until", "waits for no time at all", "Say with 'wait_s' how long at most.")


def _order_problems(find: _Finder) -> None:
    lesson = find.lesson
    asked = [question.name for question in lesson.questions]
    listed: list[str] = []
    for place, group in enumerate(lesson.order, start=1):
        for number, name in enumerate(group, start=1):
            key = f"order[{place}][{number}]"
            if name in listed:
                find.add(key, f"{name!r} is listed twice", "List it in one group only.")
            listed.append(name)
            if name in asked or name in [deed.name for deed in lesson.acts]:
                continue
            if find.known(key, "control, question or act of the steps", name, (*asked, *CONTROLS)):
                find.offered(key, "control", name, "controls", lesson.controls)
    if lesson.worked > len(lesson.steps):
        find.add("worked", f"is {lesson.worked}, but there are {len(lesson.steps)} steps", "Count the steps again.")
    if lesson.mode == "demonstration" and lesson.worked != len(lesson.steps):
        find.add("worked", "a demonstration does every step", "Remove 'worked', or use mode = 'guided'.")
    if lesson.mode not in ("demonstration", "guided") and lesson.worked:
        find.add("worked", f"in mode '{lesson.mode}' the trainee does every step", "Remove it, or use mode = 'guided'.")


def _step_problems(find: _Finder) -> None:
    lesson = find.lesson
    for place, step in enumerate(lesson.steps, start=1):
        key = f"steps[{place}]"
        if step.stage is not None:
            find.known(f"{key}.stage", "stage", step.stage, STAGES)
        if step.control is not None and find.known(f"{key}.control", "control", step.control, CONTROLS):
            find.offered(f"{key}.control", "control", step.control, "controls", lesson.controls)
        for number, name in enumerate(step.watch, start=1):
            where = f"{key}.watch[{number}]"
            if find.known(where, "measurement", name, readings_of(lesson)):
                find.offered(where, "reading", name, "instruments", lesson.instruments)


def _check_problems(find: _Finder) -> None:
    for place, check in enumerate(find.lesson.checks, start=1):
        key = f"checks[{place}]"
        if not find.known(f"{key}.measurement", "measurement", check.measurement, readings_of(find.lesson)):
            continue
        find.offered(f"{key}.measurement", "reading", check.measurement, "instruments", find.lesson.instruments)
        unit = unit_of(find.lesson, check.measurement)
        if check.unit != unit:
            find.add(
                f"{key}.unit",
                f"'{check.measurement}' is read in {unit}, not in {check.unit}",
                f"Write unit = {unit!r} and give target and tolerance in it.",
            )


def _solution_problems(find: _Finder) -> None:
    lesson = find.lesson
    planted: Mapping[str, Spread] = lesson.start_condition
    for place, move in enumerate(lesson.solution, start=1):
        key = f"solution[{place}]"
        if find.known(f"{key}.control", "control", move.control, CONTROLS):
            find.offered(f"{key}.control", "control", move.control, "controls", lesson.controls)
        if move.step is not None and move.step > len(lesson.steps):
            find.add(f"{key}.step", f"there is no step {move.step}", f"Use 1 to {len(lesson.steps)}.")
        if move.cancels is None or not find.known(
            f"{key}.cancels", "single hidden condition", move.cancels, _single_conditions()
        ):
            continue
        # A fault of the catalogue may plant any of them.
        if lesson.deals_faults:
            continue
        if move.cancels not in planted and move.cancels.rpartition("_")[0] not in planted:
            find.add(
                f"{key}.cancels",
                f"the start plants no '{move.cancels}'",
                "Plant it under start.condition, or remove 'cancels'.",
            )
