"""Checking the signals: measured value, target, tolerance, in or out.

Contents: `CheckResult`, `check_results`, `all_passed`, `number_text`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sim.instruments import MEASUREMENTS
from sim.machine_readings import MACHINE_READINGS
from sim.training.attempt import Event
from sim.training.lesson import Check, Lesson
from sim.training.machine import LessonMachine, Start
from sim.training.solution import solved_controls
from sim.wording import unit_words, wording

__all__ = [
    "HOLD_READINGS",
    "CheckResult",
    "all_passed",
    "check_results",
    "has_sign",
    "number_text",
    "peak_readings",
]

HOLD_READINGS = 3
"""Readings taken over a check's hold time, both ends included."""

_MINUS = "\N{MINUS SIGN}"


def number_text(value: float, tolerance: float, signed: bool = True) -> str:
    """Return a number with one digit more than its tolerance has, and its sign; none where it rounds to zero.

    Examples
    --------
    >>> number_text(0.0412, 0.1)
    '+0.04'
    >>> number_text(3.0, 2.0, signed=False)
    '3.0'
    """
    decimals = max(0, 1 - math.floor(math.log10(tolerance)))
    rounded = round(value, decimals)
    if rounded == 0.0:
        return f"{0.0:.{decimals}f}"
    text = f"{rounded:{'+' if signed else ''}.{decimals}f}"
    return text.replace("-", _MINUS)


def has_sign(reading: str | None) -> bool:
    """Tell whether a reading has two senses; only then is a plus sign worth printing.

    Examples
    --------
    >>> has_sign("skew_us"), has_sign("wheel_speed_hz")
    (True, False)
    """
    if reading is None:
        return True
    return (MEASUREMENTS.get(reading) or MACHINE_READINGS[reading]).signed


@dataclass(frozen=True)
class CheckResult:
    """One check's outcome.

    Attributes
    ----------
    check : Check
        What was checked.
    value : float or None
        The reading furthest from the target during the hold time [check.unit]; None if the instrument had nothing
        to read.
    target : float
        What it should have been [check.unit]; for a ``peak`` check the reading at the right settings.
    passed : bool
        Whether every reading of the hold time was in tolerance.
    """

    check: Check
    value: float | None
    target: float
    passed: bool

    @property
    def target_text(self) -> str:
        """Target and tolerance in words."""
        check = self.check
        wide = number_text(check.tolerance, check.tolerance, signed=False)
        goal = number_text(self.target, check.tolerance, has_sign(check.measurement))
        if check.kind == "peak":
            return wording("check.peak_most_below", goal=goal, unit=unit_words(check.unit), wide=wide)
        return wording("check.within", goal=goal, unit=unit_words(check.unit), wide=wide)

    @property
    def value_text(self) -> str:
        """The reading in words."""
        if self.value is None:
            return wording("check.no_reading")
        number = number_text(self.value, self.check.tolerance, has_sign(self.check.measurement))
        return f"{number} {unit_words(self.check.unit)}"

    @property
    def sentence(self) -> str:
        """The whole result in one sentence: about the signal, never about the person."""
        key = "check.passed" if self.passed else "check.missed"
        return wording(key, title=self.check.title, value=self.value_text, target=self.target_text)


def all_passed(results: Sequence[CheckResult]) -> bool:
    """Tell whether every check passed."""
    return all(result.passed for result in results)


def peak_readings(lesson: Lesson, machine: LessonMachine, start: Start) -> dict[str, float]:
    """Return, for each ``peak`` check by name, the reading after the worked solution [check.unit]."""
    peaks = [check for check in lesson.checks if check.kind == "peak"]
    if not peaks:
        return {}
    reference = machine.read_solved(start, solved_controls(lesson, start), [check.measurement for check in peaks])
    return {check.name: reference[check.measurement] for check in peaks}


def departure(check: Check, value: float, target: float) -> float:
    """Return how far a reading is out, in tolerances: 1 or less is in tolerance, NaN counts as infinitely far."""
    if math.isnan(value) or math.isnan(target):
        return math.inf
    distance = target - value if check.kind == "peak" else abs(value - target)
    return max(distance, 0.0) / check.tolerance


def check_results(
    lesson: Lesson,
    machine: LessonMachine,
    start: Start,
    events: Sequence[Event],
    at_s: float,
    hold: bool = True,
    names: Collection[str] | None = None,
) -> tuple[CheckResult, ...]:
    """Measure the checks of a lesson from a moment on, hands off.

    Parameters
    ----------
    lesson : Lesson
        Whose checks.
    machine : LessonMachine
        The lesson's machine.
    start : Start
        What was dealt.
    events : sequence of Event
        What was done until the submission.
    at_s : float
        Time of the submission [s].
    hold : bool
        Whether each is watched for its hold time; False reads it once: a check that fails so fails in any case.
    names : collection of str, optional
        The checks that are measured; all of them when omitted.
    """
    checks = [check for check in lesson.checks if names is None or check.name in names]
    peaks = peak_readings(lesson, machine, start)
    number = HOLD_READINGS if hold else 1
    moments = {check.name: machine.hold_times(at_s, check.hold_s, HOLD_READINGS)[:number] for check in checks}
    due: dict[float, list[str]] = {}
    for check in checks:
        for moment in moments[check.name]:
            due.setdefault(moment, []).append(check.measurement)
    # In order of time: a machine that runs does not run backwards.
    read = {moment: machine.read(start, events, moment, due[moment]) for moment in sorted(due)}
    results = []
    for check in checks:
        target = peaks.get(check.name, check.target)
        values = [read[moment][check.measurement] for moment in moments[check.name]]
        worst = max(values, key=lambda value: departure(check, value, target))
        passed = departure(check, worst, target) <= 1.0
        results.append(CheckResult(check, None if math.isnan(worst) else worst, target, passed))
    return tuple(results)
