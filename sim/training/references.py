"""Whether everything a lesson names exists, and is offered to the trainee where it is needed.

Contents: `INSTRUMENTS` (what a lesson may put on the bench), `readings_of` (what can be read in a lesson),
`name_problems`, `require_names`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from difflib import get_close_matches
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
from sim.wording import wording

__all__ = ["INSTRUMENTS", "condition_names", "name_problems", "readings_of", "require_names", "unit_of"]

INSTRUMENTS: tuple[str, ...] = ("picture", "waveform", "rf_meter", "tracking_meter", *MEASUREMENTS)
"""Monitors and meters, and every single reading of a frame."""

# Of more names than these only those are offered that are like the wrong one.
_MOST_LISTED = 12


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


def _offered(wrong: str, names: tuple[str, ...]) -> tuple[str, ...]:
    """Return the names to choose from instead of a wrong one: those most like it, where all of them are too many."""
    alike = get_close_matches(wrong, names, n=5) if len(names) > _MOST_LISTED else []
    return tuple(alike) or names


class _Finder:
    """Collects problems of one lesson."""

    def __init__(self, lesson: Lesson, faults: Mapping[str, FaultSpec]) -> None:
        self.lesson = lesson
        self.faults = faults
        self.problems: list[Problem] = []

    def add(self, key: str, reason: str, remedy: str) -> None:
        self.problems.append(Problem(self.lesson.source, key, reason, remedy))

    def known(self, key: str, name: str, names: Iterable[str], reason: str) -> bool:
        """Report `name` for a reason unless it is one of `names`; tell whether it is."""
        listed = tuple(dict.fromkeys(names))
        if name in listed:
            return True
        self.add(key, reason, wording("lesson_problem.not_known_do", names=known_names(_offered(name, listed))))
        return False

    def control(self, key: str, name: str) -> bool:
        """Report `name` unless it is a control; tell whether it is."""
        return self.known(key, name, CONTROLS, wording("lesson_problem.no_control", name=repr(name)))

    def fault(self, key: str, name: str, names: Iterable[str]) -> None:
        """Report `name` unless it is one of some faults."""
        self.known(key, name, names, wording("lesson_problem.no_fault", name=repr(name)))

    def measurement(self, key: str, name: str) -> bool:
        """Report `name` unless it can be measured in this lesson; tell whether it can."""
        no_such = wording("lesson_problem.no_measurement", name=repr(name))
        return self.known(key, name, readings_of(self.lesson), no_such)

    def offered_control(self, key: str, name: str) -> None:
        """Report a control unless the lesson offers it to the trainee."""
        if name not in self.lesson.controls:
            self.add(
                key,
                wording("lesson_problem.control_not_offered", name=repr(name)),
                wording("lesson_problem.control_not_offered_do", name=repr(name)),
            )

    def offered_reading(self, key: str, name: str) -> None:
        """Report a reading unless the lesson offers it to the trainee."""
        if name not in self.lesson.instruments:
            self.add(
                key,
                wording("lesson_problem.reading_not_offered", name=repr(name)),
                wording("lesson_problem.reading_not_offered_do", name=repr(name)),
            )


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
    standard = lesson.standard
    if find.known("standard", standard, STANDARDS, wording("lesson_problem.no_standard", name=repr(standard))):
        own = [name for name, practice in PRACTICES.items() if practice.standard == standard]
        no_practice = wording("lesson_problem.no_practice", standard=standard, name=repr(lesson.practice))
        find.known("practice", lesson.practice, own, no_practice)
        tapes = [name for name, tape in TAPES.items() if tape.standard in ("", standard)]
        no_tape = wording("lesson_problem.no_tape", standard=standard, name=repr(lesson.tape))
        find.known("tape", lesson.tape, tapes, no_tape)
    find.known("signal", lesson.signal, SIGNALS, wording("lesson_problem.no_signal", name=repr(lesson.signal)))
    for place, name in enumerate(lesson.controls, start=1):
        find.control(f"controls[{place}]", name)
    for place, name in enumerate(lesson.instruments, start=1):
        no_instrument = wording("lesson_problem.no_instrument", name=repr(name))
        find.known(f"instruments[{place}]", name, (*INSTRUMENTS, *readings_of(lesson)), no_instrument)
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
        elif rule.control is not None and find.control(key, rule.control):
            find.offered_control(key, rule.control)
    return find.problems


def require_names(lesson: Lesson, faults: Mapping[str, FaultSpec] = NO_FAULTS) -> Lesson:
    """Return the lesson if everything it names exists; raise LessonError with the first problem otherwise."""
    for problem in name_problems(lesson, faults):
        raise LessonError(problem)
    return lesson


def _start_problems(find: _Finder) -> None:
    for name, spread in find.lesson.start_controls.items():
        key = f"start.controls.{name}"
        if not find.control(key, name):
            continue
        spec = CONTROLS[name]
        for value in _extremes(spread):
            if not spec.minimum <= value <= spec.maximum:
                find.add(
                    key,
                    wording("lesson_problem.deals_outside", value=f"{value:g}"),
                    wording(
                        "lesson_problem.deals_outside_do",
                        minimum=f"{spec.minimum:g}",
                        maximum=f"{spec.maximum:g} {spec.unit}".rstrip(),
                    ),
                )
                break
            if spec.kind == "switch" and (spread.distribution not in ("fixed", "choice") or value not in (0, 1)):
                find.add(key, wording("lesson_problem.switch_dealt"), wording("lesson_problem.switch_dealt_do"))
                break
    for name in find.lesson.start_condition:
        no_condition = wording("lesson_problem.no_condition", name=repr(name))
        find.known(f"start.condition.{name}", name, condition_names(), no_condition)


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
        find.fault(f"start.faults.{name}", name, find.faults)
    choice = lesson.fault_choice
    if choice is not None:
        if choice.severity is not None:
            spreads["start.fault_choice.severity"] = choice.severity
        known = {name for fault in find.faults.values() for name in (fault.name, fault.entry, fault.group)}
        for place, name in enumerate(choice.pool, start=1):
            no_fault = wording("lesson_problem.no_fault_or_group", name=repr(name))
            find.known(f"start.fault_choice.from[{place}]", name, sorted(known), no_fault)
        if len(fault_pool(lesson, find.faults)) < choice.count:
            find.add(
                "start.fault_choice.count",
                wording("lesson_problem.few_to_draw", count=choice.count),
                wording("lesson_problem.few_to_draw_do"),
            )
    for key, spread in spreads.items():
        if not all(0.0 <= value <= 1.0 for value in _extremes(spread)):
            find.add(key, wording("lesson_problem.severity_outside"), wording("lesson_problem.severity_outside_do"))


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
                wording("lesson_problem.nothing_dealt"),
                wording("lesson_problem.nothing_dealt_do"),
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
        if find.measurement(key, stem):
            find.offered_reading(key, stem)
            unit = unit_of(find.lesson, stem)
            if question.unit != unit:
                find.add(
                    key.replace("answer_measurement", "unit"),
                    wording("lesson_problem.other_unit", name=stem, unit=unit, given=question.unit),
                    wording("lesson_problem.question_unit_do", unit=repr(unit)),
                )
        return
    per_head = [name[:-2] for name in MEASUREMENTS if name.endswith("_1")]
    if find.known(key, stem, per_head, wording("lesson_problem.no_head_reading", name=repr(stem))):
        for head in range(1, 5):
            find.offered_reading(key, f"{stem}_{head}")


def _dealt_answer_problems(find: _Finder, key: str, question: Question) -> None:
    can_be = dealable(find.lesson, find.faults)
    if question.kind == "head":
        for fault in can_be:
            if not fault.head:
                find.add(
                    f"{key}.answer_from",
                    wording("lesson_problem.fault_of_no_head", name=fault.name),
                    wording("lesson_problem.fault_of_no_head_do"),
                )
                return
    names = dict(question.answers) if question.kind == "choice" else dict.fromkeys(question.options)
    where = "answers" if question.kind == "choice" else "options"
    if question.options in ((LOOK_ALIKES,), (POOL,)):
        if question.options == (POOL,) and len({fault.entry for fault in can_be}) < 2:
            find.add(
                f"{key}.options", wording("lesson_problem.one_fault_only"), wording("lesson_problem.one_fault_only_do")
            )
        return
    if question.kind == "head":
        return
    known = {name for fault in find.faults.values() for name in (fault.name, fault.entry)}
    if question.kind == "choice":
        known |= {fault.group for fault in find.faults.values()}
    for name in names:
        find.fault(f"{key}.{where}", name, sorted(known))
    for fault in can_be:
        if not {fault.name, fault.entry, *([fault.group] if question.kind == "choice" else [])}.intersection(names):
            find.add(
                f"{key}.{where}",
                wording("lesson_problem.fault_not_among", name=fault.name),
                wording("lesson_problem.fault_not_among_do", where=where),
            )


def _deed_problems(find: _Finder, key: str, deed: Deed, any_choice: bool = False) -> None:
    if find.lesson.running is None:
        find.add(key, wording("lesson_problem.nothing_done"), wording("lesson_problem.nothing_done_do"))
        return
    try:
        if not (any_choice and not deed.choice):
            check_deed(deed.name, deed.choice)
    except DeedError as error:
        find.add(key, str(error), wording("lesson_problem.deed_do"))


def _running_problems(find: _Finder) -> None:
    lesson = find.lesson
    running = lesson.running
    if running is not None:
        own = [name for name, spec in REELS.items() if spec.standard == lesson.standard]
        no_reel = wording("lesson_problem.no_reel", standard=lesson.standard, name=repr(running.reel))
        find.known("running.reel", running.reel, (ENDLESS, *own), no_reel)
        for place, deed in enumerate(running.before, start=1):
            _deed_problems(find, f"running.before[{place}]", deed)
    for place, question in enumerate(lesson.questions, start=1):
        if question.step is not None and (running is None or question.step > len(lesson.steps)):
            find.add(
                f"questions[{place}].step",
                wording("lesson_problem.no_step_to_read", step=question.step),
                wording("lesson_problem.no_step_to_read_do", steps=len(lesson.steps)),
            )
    for place, step in enumerate(lesson.steps, start=1):
        key = f"steps[{place}]"
        for number, deed in enumerate(step.acts, start=1):
            _deed_problems(find, f"{key}.acts[{number}]", deed)
        if running is None and (step.wait_s or step.until is not None):
            find.add(f"{key}.wait_s", wording("lesson_problem.held_waits"), wording("lesson_problem.held_waits_do"))
        if step.until is not None:
            no_reading = wording("lesson_problem.no_reading", name=repr(step.until.reading))
            if find.known(f"{key}.until.reading", step.until.reading, readings_of(lesson), no_reading):
                find.offered_reading(f"{key}.until.reading", step.until.reading)
            if not step.wait_s:
                find.add(f"{key}.until", wording("lesson_problem.no_wait"), wording("lesson_problem.no_wait_do"))


def _order_problems(find: _Finder) -> None:
    lesson = find.lesson
    asked = [question.name for question in lesson.questions]
    listed: list[str] = []
    for place, group in enumerate(lesson.order, start=1):
        for number, name in enumerate(group, start=1):
            key = f"order[{place}][{number}]"
            if name in listed:
                find.add(key, wording("refusal.twice", item=repr(name)), wording("lesson_problem.order_twice_do"))
            listed.append(name)
            if name in asked or name in [deed.name for deed in lesson.acts]:
                continue
            if find.known(key, name, (*asked, *CONTROLS), wording("lesson_problem.no_order_part", name=repr(name))):
                find.offered_control(key, name)
    if lesson.worked > len(lesson.steps):
        find.add(
            "worked",
            wording("lesson_problem.worked_beyond", worked=lesson.worked, steps=len(lesson.steps)),
            wording("lesson_problem.worked_beyond_do"),
        )
    if lesson.mode == "demonstration" and lesson.worked != len(lesson.steps):
        find.add("worked", wording("lesson_problem.shown_whole"), wording("lesson_problem.shown_whole_do"))
    if lesson.mode not in ("demonstration", "guided") and lesson.worked:
        find.add(
            "worked",
            wording("lesson_problem.worked_alone", mode=lesson.mode),
            wording("lesson_problem.worked_alone_do"),
        )


def _step_problems(find: _Finder) -> None:
    lesson = find.lesson
    for place, step in enumerate(lesson.steps, start=1):
        key = f"steps[{place}]"
        if step.stage is not None:
            no_stage = wording("lesson_problem.no_stage", name=repr(step.stage))
            find.known(f"{key}.stage", step.stage, STAGES, no_stage)
        if step.control is not None and find.control(f"{key}.control", step.control):
            find.offered_control(f"{key}.control", step.control)
        for number, name in enumerate(step.watch, start=1):
            where = f"{key}.watch[{number}]"
            if find.measurement(where, name):
                find.offered_reading(where, name)


def _check_problems(find: _Finder) -> None:
    for place, check in enumerate(find.lesson.checks, start=1):
        key = f"checks[{place}]"
        if not find.measurement(f"{key}.measurement", check.measurement):
            continue
        find.offered_reading(f"{key}.measurement", check.measurement)
        unit = unit_of(find.lesson, check.measurement)
        if check.unit != unit:
            find.add(
                f"{key}.unit",
                wording("lesson_problem.other_unit", name=check.measurement, unit=unit, given=check.unit),
                wording("lesson_problem.check_unit_do", unit=repr(unit)),
            )


def _solution_problems(find: _Finder) -> None:
    lesson = find.lesson
    planted: Mapping[str, Spread] = lesson.start_condition
    for place, move in enumerate(lesson.solution, start=1):
        key = f"solution[{place}]"
        if find.control(f"{key}.control", move.control):
            find.offered_control(f"{key}.control", move.control)
        if move.step is not None and move.step > len(lesson.steps):
            find.add(
                f"{key}.step",
                wording("lesson_problem.move_no_step", step=move.step),
                wording("lesson_problem.move_no_step_do", steps=len(lesson.steps)),
            )
        if move.cancels is None:
            continue
        no_condition = wording("lesson_problem.no_single_condition", name=repr(move.cancels))
        if not find.known(f"{key}.cancels", move.cancels, _single_conditions(), no_condition):
            continue
        # A fault of the catalogue may plant any of them.
        if lesson.deals_faults:
            continue
        if move.cancels not in planted and move.cancels.rpartition("_")[0] not in planted:
            find.add(
                f"{key}.cancels",
                wording("lesson_problem.not_planted", name=move.cancels),
                wording("lesson_problem.not_planted_do"),
            )
