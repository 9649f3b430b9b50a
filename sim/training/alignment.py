"""Values found and values left: what a technician writes down of a line-up, computed from the log of the session.

Contents: `SettingFound`, `ReadingFound`, `AlignmentRecord` and `alignment_record`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sim.instruments import MEASUREMENTS
from sim.machine_readings import MACHINE_READINGS
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event
from sim.training.checks import check_results
from sim.training.lesson import Check, Lesson
from sim.training.machine import LessonMachine, controls_after
from sim.training.score import Score, score_attempt

__all__ = ["AlignmentRecord", "ReadingFound", "SettingFound", "alignment_record"]

_READINGS = frozenset({*MEASUREMENTS, *MACHINE_READINGS})


@dataclass(frozen=True)
class SettingFound:
    """One control: where it was found and left [its own unit], and how often it was moved in between."""

    control: str
    found: float
    left: float
    moves: int


@dataclass(frozen=True)
class ReadingFound:
    """One reading: what it was as found and as left, in its own unit; None where the instrument had nothing to read.

    Attributes
    ----------
    measurement : str
        One of `sim.instruments.MEASUREMENTS` or `sim.machine_readings.MACHINE_READINGS`.
    found, left : float or None
        For a reading that is checked, the one furthest from the target during the hold time, as it is scored.
    check : Check or None
        The check it belongs to, if any.
    target : float or None
        What the check asks for; for a ``peak`` check the reading at the right settings.
    passed : bool or None
        Whether the reading was left in tolerance; None if it is not checked.
    """

    measurement: str
    found: float | None
    left: float | None
    check: Check | None = None
    target: float | None = None
    passed: bool | None = None


@dataclass(frozen=True)
class AlignmentRecord:
    """What was found and left.

    Attributes
    ----------
    submitted : bool
        Whether the values left are those of the deciding submission; else they are those at the end of the log.
    left_at_s : float
        When that was, from the start [s].
    settings : tuple of SettingFound
        Every control the lesson offers.
    readings : tuple of ReadingFound
        Every reading it checks, then those it only has looked at.
    score : Score
        What the attempt amounts to.
    """

    submitted: bool
    left_at_s: float
    settings: tuple[SettingFound, ...]
    readings: tuple[ReadingFound, ...]
    score: Score


def alignment_record(
    lesson: Lesson, attempt: Attempt, machine: LessonMachine, source_name: str = "attempt"
) -> AlignmentRecord:
    """Return what was found and left in an attempt, by replaying its log.

    Parameters
    ----------
    lesson : Lesson
        The lesson it was made on.
    attempt : Attempt
        The log.
    machine : LessonMachine
        The lesson's machine.
    source_name : str
        The log's name for error messages.

    Raises
    ------
    AttemptError
        If the log belongs to another lesson or version, or holds what the lesson does not offer.
    """
    score = score_attempt(lesson, attempt, machine, source_name)
    start, deciding = score.start, score.deciding
    done = attempt.events if deciding is None else _until(attempt, score.submissions.index(deciding))
    left_at_s = attempt.duration_s if deciding is None else deciding.at_s
    controls = controls_after(start, done)
    settings = tuple(
        SettingFound(name, start.controls[name], controls[name], _moves(done, name)) for name in lesson.controls
    )
    watched = _watched(lesson)
    # In order of time: a machine that runs does not run backwards.
    found = check_results(lesson, machine, start, (), 0.0)
    found_watched = machine.read(start, (), 0.0, watched)
    left = deciding.results if deciding else check_results(lesson, machine, start, done, left_at_s)
    left_watched = machine.read(start, done, left_at_s, watched)
    checked = tuple(
        ReadingFound(one.check.measurement, before.value, one.value, one.check, one.target, one.passed)
        for before, one in zip(found, left, strict=True)
    )
    looked_at = tuple(ReadingFound(name, _number(found_watched[name]), _number(left_watched[name])) for name in watched)
    return AlignmentRecord(deciding is not None, left_at_s, settings, (*checked, *looked_at), score)


def _until(attempt: Attempt, submission: int) -> tuple[Event, ...]:
    """Return what was done until submission number `submission` (from 0), with it."""
    places = [place for place, event in enumerate(attempt.events) if isinstance(event, CheckSubmitted)]
    return attempt.events[: places[submission] + 1]


def _moves(events: Sequence[Event], control: str) -> int:
    return sum(isinstance(event, ControlMoved) and event.control == control for event in events)


def _watched(lesson: Lesson) -> tuple[str, ...]:
    """Return the readings the lesson has looked at but does not check, in the order of its steps."""
    checked = {check.measurement for check in lesson.checks}
    names = (name for step in lesson.steps for name in step.watch)
    return tuple(dict.fromkeys(name for name in names if name in _READINGS and name not in checked))


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value
