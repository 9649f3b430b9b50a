"""The attempt over time: each control against the worked solution, each check's reading as it was at that moment.

Contents: `ControlTrack`, `ReadingTrack`, `control_tracks` and `reading_tracks`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event
from sim.training.checks import peak_readings
from sim.training.lesson import Check, Lesson
from sim.training.machine import LessonMachine, Start
from sim.training.run import SAMPLE_EVERY_S, events_before
from sim.training.solution import solved_controls

__all__ = ["ControlTrack", "ReadingTrack", "control_tracks", "reading_tracks"]


@dataclass(frozen=True)
class ControlTrack:
    """One control over the attempt, to be drawn as steps.

    Attributes
    ----------
    control : str
        Which control.
    times_s, values : tuple of float
        The value from each time on; the first entry is the start, the last repeats the value at the end.
    reference : float
        Where the worked solution leaves the control.
    """

    control: str
    times_s: tuple[float, ...]
    values: tuple[float, ...]
    reference: float


@dataclass(frozen=True)
class ReadingTrack:
    """One check's reading over the attempt [check.unit]; NaN where the instrument had nothing to read."""

    check: Check
    times_s: tuple[float, ...]
    values: tuple[float, ...]
    target: float


def control_tracks(lesson: Lesson, attempt: Attempt, start: Start) -> tuple[ControlTrack, ...]:
    """Return a track for every control the lesson offers that was moved or that the solution moves."""
    solved = solved_controls(lesson, start)
    moved = {event.control for event in attempt.events if isinstance(event, ControlMoved)}
    tracks = []
    for name in lesson.controls:
        if name not in moved and solved[name] == start.controls[name]:
            continue
        times, values = [0.0], [start.controls[name]]
        for event in attempt.events:
            if isinstance(event, ControlMoved) and event.control == name:
                times.append(event.at_s)
                values.append(event.value)
        times.append(attempt.duration_s)
        values.append(values[-1])
        tracks.append(ControlTrack(name, tuple(times), tuple(values), solved[name]))
    return tuple(tracks)


def reading_tracks(
    lesson: Lesson, attempt: Attempt, start: Start, machine: LessonMachine, most_points: int = 60
) -> tuple[ReadingTrack, ...]:
    """Return a track for every check, replaying the log.

    Parameters
    ----------
    lesson, attempt, start, machine
        What was done, on what.
    most_points : int
        Moments read at most. Where the machine is held they follow the moves: of more moves, an even choice is taken;
        the start, every submission and the end are always among them, as far as the number allows. Where it runs they
        are spread evenly over time.
    """
    chosen = _times(attempt, most_points) if lesson.running else _stops(attempt, most_points)
    names = [check.measurement for check in lesson.checks]
    read = [machine.read(start, events, at_s, names) for at_s, events in chosen]
    times = tuple(at_s for at_s, _ in chosen)
    peaks = peak_readings(lesson, machine, start)
    return tuple(
        ReadingTrack(
            check,
            times,
            tuple(values[check.measurement] for values in read),
            peaks.get(check.name, check.target),
        )
        for check in lesson.checks
    )


_Moment = tuple[float, Sequence[Event]]


def _stops(attempt: Attempt, most: int) -> list[_Moment]:
    """Return the start, moves and submissions, each with what was done until then."""
    stops: list[_Moment] = [(0.0, ())]
    kept = {0}
    for place, event in enumerate(attempt.events, start=1):
        if isinstance(event, ControlMoved | CheckSubmitted):
            if isinstance(event, CheckSubmitted):
                kept.add(len(stops))
            stops.append((event.at_s, attempt.events[:place]))
    kept.add(len(stops) - 1)
    return [stops[place] for place in _thinned(len(stops), kept, most)]


def _times(attempt: Attempt, most: int) -> list[_Moment]:
    """Return moments at which a machine that runs was read while the attempt went on, and the end."""
    count = math.floor(attempt.duration_s / SAMPLE_EVERY_S + 1e-6)
    every = max(1, math.ceil(count / max(most - 1, 1)))
    sampled = [SAMPLE_EVERY_S * number for number in range(every, count + 1, every)]
    moments: list[_Moment] = [(at_s, events_before(attempt.events, at_s)) for at_s in sampled]
    if not sampled or sampled[-1] < attempt.duration_s:
        moments.append((attempt.duration_s, attempt.events))
    return moments


def _thinned(count: int, kept: set[int], most: int) -> list[int]:
    """Return at most `most` places out of `count`, all of `kept` if they fit, the others evenly spread."""
    if count <= most:
        return list(range(count))
    fixed = sorted(kept)
    if len(fixed) >= most:
        return sorted({fixed[round(i * (len(fixed) - 1) / max(most - 1, 1))] for i in range(most)})
    free = [place for place in range(count) if place not in kept]
    room = most - len(fixed)
    spread = {free[i * len(free) // room] for i in range(room)}
    return sorted(spread | kept)
