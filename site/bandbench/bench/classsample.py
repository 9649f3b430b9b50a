"""A made-up class: records as pages export them, to measure and to try the class report with.

Contents: `sample_log`, `sample_records`. People and attempts are invented; the same numbers always make the same class.
"""

from __future__ import annotations

import json
import random
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from bandbench.bench.recordform import FILE_FORMAT, FILE_FORMAT_VERSION, log_sha256, time_text
from sim.deeds import check_deed
from sim.faults import FaultSpec
from sim.training.answers import answer_options, takes_many
from sim.training.attempt import ActDone, Attempt, CheckSubmitted, ControlMoved, Event, QuestionAnswered
from sim.training.deal import draw
from sim.training.lesson import Lesson
from sim.training.machine import Start
from sim.training.solution import solution_moves, step_moves

__all__ = ["sample_log", "sample_records"]

_FIRST = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
_SEEDS = 10_000
_EARLY_SHARE = 0.3


def sample_log(lesson: Lesson, seed: int, faults: Mapping[str, FaultSpec], chance: random.Random) -> Attempt:
    """Return a log of somebody who answers by lot, makes the worked solution's moves, and sometimes submits too early.

    Parameters
    ----------
    lesson : Lesson
        What is done.
    seed : int
        The variation. The first draw of it is taken for its start, which spares playing a frame.
    faults : mapping of str to FaultSpec
        The fault catalogue.
    chance : random.Random
        Decides what is left open.
    """
    start = draw(lesson, seed, 0, faults)
    events: list[Event] = []
    at_s = 0.0

    def now() -> float:
        nonlocal at_s
        at_s = round(at_s + chance.uniform(1.0, 20.0), 3)
        return at_s

    for question in lesson.questions:
        options = [name for name, _ in answer_options(lesson, question, start, faults)]
        answer = chance.choice(options) if options else repr(round(chance.uniform(-1.0, 1.0), 2))
        if options and takes_many(lesson, question):
            two = chance.sample(options, min(2, len(options)))
            answer = "+".join(name for name in options if name in two)
        events.append(QuestionAnswered(now(), question.name, answer))
    if lesson.running is not None:
        # A machine that runs is run up, waited for and turned as the steps say, by somebody who takes some seconds.
        for number, step in enumerate(lesson.steps, start=1):
            # A log holds a choice as a session writes it down.
            events += [ActDone(now(), deed.name, check_deed(deed.name, deed.choice)) for deed in step.acts]
            at_s = round(at_s + step.wait_s, 3)
            events += [ControlMoved(now(), control, value) for control, value, _ in step_moves(lesson, start, number)]
    else:
        for place, (control, value) in enumerate(_moves(lesson, start)):
            if lesson.mode != "assessment" and place == 0 and chance.random() < _EARLY_SHARE:
                events.append(CheckSubmitted(now()))
            events.append(ControlMoved(now(), control, value))
    events.append(CheckSubmitted(now()))
    return Attempt(lesson.id, lesson.version, seed, tuple(events))


def _moves(lesson: Lesson, start: Start) -> Iterator[tuple[str, float]]:
    controls = dict(start.controls)
    for control, value in solution_moves(lesson, start):
        if controls[control] != value:
            controls[control] = value
            yield control, value


def _spoilt(log: Attempt, chance: random.Random) -> Attempt:
    events = list(log.events)
    place = chance.randrange(len(events))
    match chance.randrange(3):
        case 0:
            del events[place]
        case 1:
            events[-1] = replace(events[-1], at_s=events[-1].at_s + 1e-5)
        case _:
            events = [event for event in events if not isinstance(event, ControlMoved)]
    return replace(log, events=tuple(events))


def sample_records(
    lessons: Sequence[Lesson],
    faults: Mapping[str, FaultSpec],
    learners: int,
    attempts: int,
    seed: int = 1,
    spoilt_share: float = 0.0,
) -> Iterator[tuple[str, str]]:
    """Yield a file for each learner, as (name, text): so many attempts each, over all lessons in turn.

    Parameters
    ----------
    lessons : sequence of Lesson
        What is done.
    faults : mapping of str to FaultSpec
        The fault catalogue.
    learners, attempts : int
        How many people, and attempts of each.
    seed : int
        Which class.
    spoilt_share : float
        Part of the attempts that were changed after they had been scored: a log that is not the sealed one, times finer
        than the clock, or an event taken out.
    """
    chance = random.Random(seed)

    def new_id() -> str:
        return str(uuid.UUID(int=chance.getrandbits(128), version=4))

    for number in range(1, learners + 1):
        learner, moment = new_id(), _FIRST + timedelta(minutes=number)
        made = time_text(moment)
        rows = []
        for place in range(attempts):
            lesson = lessons[(place + number) % len(lessons)]
            log = sample_log(lesson, chance.randrange(_SEEDS), faults, chance)
            started = moment + timedelta(hours=place)
            sealed = log_sha256(log.to_json())
            spoilt = chance.random() < spoilt_share
            if spoilt:
                log = _spoilt(log, chance)
            rows.append(
                {
                    "id": new_id(),
                    "profile": learner,
                    "lesson": lesson.id,
                    "lesson_version": lesson.version,
                    "started_at": time_text(started),
                    "ended_at": time_text(started + timedelta(seconds=log.duration_s)),
                    "app_version": "sample",
                    "log": log.to_json(),
                    **({"outcome": {"passed": True, "app_version": "sample", "log_sha256": sealed}} if spoilt else {}),
                }
            )
        name = f"Learner {number}"
        data = {
            "format": FILE_FORMAT,
            "format_version": FILE_FORMAT_VERSION,
            "exported_at": time_text(moment + timedelta(hours=attempts + 1)),
            "app_version": "sample",
            "profile": {"id": learner, "name": name, "created_at": made, "used_at": made},
            "attempts": rows,
            "running": [],
            "notes": [],
        }
        yield f"learner-{number}.json", json.dumps(data)
