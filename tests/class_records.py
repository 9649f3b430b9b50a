"""Records of a small class for the tests of the class report: done at the bench's own sessions, written as exported.

Contents: `LESSONS`, `DONE`, `worth`, `row_of`, `file_of`, `anna`, `ben`, `report_of`.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Iterable, Sequence
from copy import deepcopy
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from bandbench.bench.classfiles import read_class_file
from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from bandbench.bench.recordform import FILE_FORMAT, FILE_FORMAT_VERSION, log_sha256, time_text
from sim.training.answers import right_answer
from sim.training.assignment import Task
from sim.training.attempt import Attempt
from sim.training.classform import LogKey, Report, log_key
from sim.training.classreport import ClassReport
from sim.training.lesson import Lesson
from sim.training.machine import Machine
from sim.training.rescore import Worth, worth_of
from sim.training.session import Session
from sim.training.solution import solution_moves

Data = dict[str, Any]

CASE, LINE_UP, TEST = "diagnosis-grainy-all-over", "tracking-and-guide", "final-assessment"
LESSONS: dict[str, Lesson] = read_lessons()
NOW = datetime.fromisoformat("2026-03-20T12:00:00+00:00")
_FIRST = datetime.fromisoformat("2026-03-02T08:00:00+00:00")


@cache
def machine_of(lesson: str) -> Machine:
    return Machine(LESSONS[lesson], faults=FAULTS)


_worths: dict[LogKey, Worth] = {}


def worth(attempt: Attempt) -> Worth:
    """Return what a log is worth; a log that has been scored before is not scored again."""
    key = log_key(attempt)
    if key not in _worths:
        _worths[key] = worth_of(LESSONS[attempt.lesson_id], attempt, machine_of(attempt.lesson_id), FAULTS)
    return _worths[key]


def done(lesson: str, seed: int, pace_s: float, before: Callable[[Session, float], None] | None = None) -> Attempt:
    """Do a lesson rightly at the bench's session, an act every `pace_s` seconds; return its log."""
    session = Session(LESSONS[lesson], seed, 0.0, machine_of(lesson))
    if before:
        before(session, 0.5)
    now_s = 1.0
    for question in session.lesson.questions:
        right = right_answer(session.lesson, question, session.start, session.machine)
        assert right is not None
        session.answer(question.name, right, now_s)
        now_s += pace_s
    for control, value in solution_moves(session.lesson, session.start):
        session.move(control, value, now_s)
        now_s += pace_s
    session.check_now(now_s)
    assert session.finished
    return session.attempt


def _tries(session: Session, now_s: float) -> None:
    session.show_step(2, now_s)
    session.open_hint(1, now_s + 0.1)
    session.note("the head drum is <b>loud</b>", now_s + 0.2)
    session.check_now(now_s + 0.3)


@cache
def attempts_of(person: int) -> tuple[Attempt, ...]:
    """Return the logs of person 0 or 1: a case twice, a line-up twice, the assessment once."""
    pace_s = 3.217 + person
    return (
        done(CASE, 11 + person, pace_s),
        done(CASE, 21 + person, pace_s + 0.3),
        done(LINE_UP, 31 + person, pace_s, _tries),
        done(LINE_UP, 41 + person, pace_s + 1.1),
        done(TEST, 51 + person, pace_s),
    )


def row_of(attempt: Attempt, profile: str, number: int, started: datetime) -> Data:
    """Return an attempt as the store keeps it, scored."""
    log = attempt.to_json()
    return {
        "id": str(uuid.UUID(int=number, version=4)),
        "profile": profile,
        "lesson": attempt.lesson_id,
        "lesson_version": attempt.lesson_version,
        "started_at": time_text(started),
        "ended_at": time_text(started + timedelta(seconds=attempt.duration_s + 2.0)),
        "app_version": "1a2b",
        "log": log,
        "outcome": {"passed": worth(attempt).passed, "app_version": "1a2b", "log_sha256": log_sha256(log)},
    }


def file_of(name: str, number: int, attempts: Sequence[Attempt]) -> Data:
    """Return an exported file as data."""
    profile = str(uuid.UUID(int=number, version=4))
    made = time_text(_FIRST - timedelta(minutes=5))
    rows = [
        row_of(attempt, profile, 1000 * number + place, _FIRST + timedelta(hours=place))
        for place, attempt in enumerate(attempts, start=1)
    ]
    note = {"id": str(uuid.UUID(int=1000 * number, version=4)), "profile": profile, "lesson": LINE_UP}
    return {
        "format": FILE_FORMAT,
        "format_version": FILE_FORMAT_VERSION,
        "exported_at": time_text(_FIRST + timedelta(days=1)),
        "app_version": "1a2b",
        "profile": {"id": profile, "name": name, "created_at": made, "used_at": made},
        "attempts": rows,
        "running": [],
        "notes": [{**note, "written_at": time_text(_FIRST + timedelta(hours=3)), "text": "Clean first."}],
    }


@cache
def _file(person: int) -> Data:
    return file_of(("Anna", "Ben")[person], 1 + person, attempts_of(person))


def anna() -> Data:
    """Return a fresh copy of Anna's file: everything in it is in order."""
    return deepcopy(_file(0))


def ben() -> Data:
    """Return a fresh copy of Ben's file."""
    return deepcopy(_file(1))


def report_of(
    texts: Iterable[tuple[str, str]], lessons: Iterable[Lesson] = LESSONS.values(), tasks: Sequence[Task] = ()
) -> Report:
    """Return the report of files, given as (name, text)."""
    report = ClassReport(lessons, NOW.timestamp(), tasks=tasks)
    for number, (name, text) in enumerate(texts):
        report.add(read_class_file(name, text, number))
    for attempt in report.to_score():
        report.note(attempt, worth(attempt))
    assert report.progress[0] == report.progress[1]
    return report.report()


def of_data(*files: Data) -> Report:
    """Return the report of files, given as data."""
    return report_of((f"{place}.json", json.dumps(data)) for place, data in enumerate(files))
