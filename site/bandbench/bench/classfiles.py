"""Files handed in for a class report: exported records and single attempt logs, as text, read strictly.

Contents: `LARGEST_FILE`, `read_class_file`. What cannot be read is told with its reason, never repaired or dropped.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import PurePath

from bandbench.bench.recordform import FILE_FORMAT, KeptAttempt, log_sha256, parse_records
from bandbench.bench.words import say
from sim.training.attempt import attempt_from_json
from sim.training.classform import ClassFile, HandedIn, Person
from sim.training.reader import DataError

__all__ = ["LARGEST_FILE", "read_class_file"]

LARGEST_FILE = 64_000_000
"""Bytes of a file at most: as large as the page imports."""


def read_class_file(name: str, text: str, number: int) -> ClassFile:
    """Return what a file holds.

    Parameters
    ----------
    name : str
        The file's name. A single log names nobody, so its learner is called as its file is.
    text : str
        Its content.
    number : int
        Which file it is: tells two of the same name apart.
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        return _unread(name, say("refused.no_json", error=error))
    if isinstance(data, Mapping) and data.get("format") == FILE_FORMAT:
        return _records(name, text, data)
    if isinstance(data, Mapping) and "events" in data:
        return _single_log(name, text, number)
    return _unread(name, say("refused.neither"))


def _unread(name: str, reason: str) -> ClassFile:
    return ClassFile(name, None, unreadable=((say("refused.whole_file"), reason),))


def _told(error: DataError) -> tuple[str, str]:
    return error.problem.key, f"{error.problem.reason}. {error.problem.remedy}"


def _single_log(name: str, text: str, number: int) -> ClassFile:
    person = Person(f"log {number}: {name}", PurePath(name).stem or name)
    try:
        attempt = attempt_from_json(text, name)
    except DataError as error:
        return ClassFile(name, None, unreadable=(_told(error),))
    return ClassFile(
        name, person, (HandedIn(name, say("refused.whole_file"), person.key, "", attempt, permitted=attempt.help),)
    )


def _records(name: str, text: str, data: Mapping[str, object]) -> ClassFile:
    try:
        file = parse_records(text, name)
    except DataError as error:
        return ClassFile(name, None, unreadable=(_told(error),))
    profile, rows = file.profile, file.rows
    person = Person(f"learner {profile.id}", profile.name, _seconds(profile.created_at))
    exported_s = _seconds(str(data["exported_at"]))
    return ClassFile(
        name,
        person,
        tuple(_handed_in(name, row, person, exported_s) for row in rows.attempts),
        tuple((one.id or say("refused.entry"), one.reason.removeprefix(f"{name}: ")) for one in rows.unreadable),
        len(rows.left),
    )


def _handed_in(name: str, row: KeptAttempt, person: Person, exported_s: float) -> HandedIn:
    outcome = row.outcome
    return HandedIn(
        source=name,
        place=say("refused.attempt_of", moment=row.started_at),
        person=person.key,
        number=row.id,
        attempt=row.attempt,
        started_s=_seconds(row.started_at),
        ended_s=_seconds(row.ended_at),
        exported_s=exported_s,
        stated=None if outcome is None else outcome.passed,
        permitted=row.permitted,
        untouched=None if outcome is None else outcome.log_sha256 == log_sha256(row.log),
    )


def _seconds(moment: str) -> float:
    """Return a moment, as records write it, in seconds."""
    return datetime.fromisoformat(moment.replace("Z", "+00:00")).timestamp()
