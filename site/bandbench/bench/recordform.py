"""The form of learners' records: the strict reader of their rows, and the one file they are exported in.

Contents: `read_rows`, `read_profiles`, `parse_records`, and the rows themselves (`bandbench.bench.recordrows`). Nothing
is repaired or guessed: a row or a file is as it was written here, or it is refused with a reason.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace
from datetime import datetime
from typing import TypeVar

from bandbench.bench.recordrows import (
    LONGEST_NAME,
    KeptAttempt,
    LeftAttempt,
    Note,
    Outcome,
    Profile,
    ReadRows,
    RecordsError,
    RecordsFile,
    Row,
    Unreadable,
    checked_name,
    log_sha256,
    time_text,
)
from bandbench.bench.words import say
from sim.training.attempt import FORMAT_WITH_HELP, LONGEST_NOTE, Attempt, attempt_from_json
from sim.training.help import Help, help_of
from sim.training.reader import DataError, Problem, Table, file_table

__all__ = [
    "FILE_FORMAT",
    "FILE_FORMAT_VERSION",
    "LONGEST_NAME",
    "KeptAttempt",
    "LeftAttempt",
    "Note",
    "Outcome",
    "Profile",
    "ReadRows",
    "RecordsError",
    "RecordsFile",
    "Row",
    "Unreadable",
    "checked_name",
    "log_sha256",
    "parse_records",
    "read_profiles",
    "read_rows",
    "time_text",
]

FILE_FORMAT = "bandbench-records"
"""What an exported file calls itself."""
FILE_FORMAT_VERSION = 1
"""Format of exported files; attempt logs inside have a format of their own, and older ones are read too."""

_LARGEST_VERSION = 1_000_000
# More than a career of training; a file beyond it would only stall the page.
_MOST_ROWS = 20_000
_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z")
_VERSION = re.compile(r"[\w.+-]{1,80}")
_LESSON = re.compile(r"[a-z0-9][a-z0-9-]{0,199}")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_DAMAGED = say("refused.damaged_do")


def _known_keys(kind: type[Profile | Outcome | Row]) -> tuple[str, ...]:
    names = (field.name for field in fields(kind) if field.name != "attempt")
    return tuple("help" if name == "help_beside" else name for name in names)


def _time(table: Table, key: str) -> str:
    text = table.text(key, _TIME)
    try:
        datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        raise table.refusal(key, say("refused.no_moment", text=text), _DAMAGED) from None
    return text


def _limited(table: Table, key: str, most: int) -> str:
    text = table.text(key)
    if len(text) > most:
        raise table.refusal(key, say("refused.too_long", count=len(text)), say("refused.too_long_do", most=most))
    return text


def _profile(table: Table) -> Profile:
    try:
        name = checked_name(_limited(table, "name", LONGEST_NAME))
    except RecordsError as error:
        raise table.refusal("name", error.problem.reason, _DAMAGED) from None
    return Profile(table.text("id", _ID), name, _time(table, "created_at"), _time(table, "used_at"))


def _log(table: Table) -> tuple[str, Attempt, Help | None]:
    """Return the log as it stands, what it says, and the help that is told beside it; all must be of one mind."""
    text = table.text("log")
    try:
        attempt = attempt_from_json(text, "log")
    except DataError as error:
        raise table.refusal("log", f"{error.problem.key} {error.problem.reason}", error.problem.remedy) from None
    lesson, version = table.text("lesson", _LESSON), table.whole_number("lesson_version", 1, _LARGEST_VERSION)
    if (attempt.lesson_id, attempt.lesson_version) != (lesson, version):
        raise table.refusal("log", say("refused.other_lesson", lesson=lesson, version=version), _DAMAGED)
    if "help" not in table:
        return text, attempt, None
    # Only a log that cannot say it itself leaves it to its row.
    if json.loads(text)["format_version"] >= FORMAT_WITH_HELP:
        raise table.refusal("help", say("refused.help_beside"), _DAMAGED)
    beside = help_of(table)
    return text, replace(attempt, help=beside), beside


def _outcome(table: Table) -> Outcome | None:
    if "outcome" not in table:
        return None
    own = table.table("outcome", _known_keys(Outcome))
    return Outcome(own.flag("passed"), own.text("app_version", _VERSION), own.text("log_sha256", _DIGEST))


def _kept_attempt(table: Table) -> KeptAttempt:
    log, attempt, beside = _log(table)
    started_at, ended_at = _time(table, "started_at"), _time(table, "ended_at")
    return KeptAttempt(
        id=table.text("id", _ID),
        profile=table.text("profile", _ID),
        lesson=attempt.lesson_id,
        lesson_version=attempt.lesson_version,
        started_at=started_at,
        ended_at=ended_at,
        app_version=table.text("app_version", _VERSION),
        log=log,
        attempt=attempt,
        outcome=_outcome(table),
        help_beside=beside,
    )


def _left_attempt(table: Table) -> LeftAttempt:
    log, attempt, beside = _log(table)
    return LeftAttempt(
        id=table.text("id", _ID),
        profile=table.text("profile", _ID),
        lesson=attempt.lesson_id,
        lesson_version=attempt.lesson_version,
        started_at=_time(table, "started_at"),
        saved_at=_time(table, "saved_at"),
        app_version=table.text("app_version", _VERSION),
        log=log,
        attempt=attempt,
        help_beside=beside,
    )


def _note(table: Table) -> Note:
    return Note(
        id=table.text("id", _ID),
        profile=table.text("profile", _ID),
        lesson=table.text("lesson", _LESSON),
        written_at=_time(table, "written_at"),
        text=_limited(table, "text", LONGEST_NOTE),
    )


_R = TypeVar("_R", KeptAttempt, LeftAttempt, Note)

_PARTS: Mapping[str, str] = {"attempts": "attempt", "running": "attempt left", "notes": "note"}
"""Lists of rows, and what a person calls one of them."""


def _read(
    items: Sequence[object],
    part: str,
    kind: type[_R],
    read: Callable[[Table], _R],
    profile: str,
    source: str,
    unreadable: list[Unreadable],
) -> tuple[_R, ...]:
    rows: dict[str, _R] = {}
    for place, item in enumerate(items, start=1):
        try:
            table = Table(item, source, f"{part}[{place}]", RecordsError, _known_keys(kind))
            row = read(table)
            if row.profile != profile:
                raise table.refusal("profile", say("refused.other_learner"), _DAMAGED)
            if row.id in rows:
                raise table.refusal("id", say("refused.second_time", part=part), _DAMAGED)
        except DataError as error:
            number = item.get("id") if isinstance(item, Mapping) else None
            known = number if isinstance(number, str) and _ID.fullmatch(number) else ""
            unreadable.append(Unreadable(known, str(error)))
        else:
            rows[row.id] = row
    return tuple(rows.values())


def read_rows(data: Mapping[str, object], profile: str, source: str) -> ReadRows:
    """Return the rows of one learner in plain tables; what cannot be read is told apart, never dropped.

    Parameters
    ----------
    data : mapping
        Lists ``attempts``, ``running`` and ``notes``; other keys are left alone.
    profile : str
        Id of the learner they must belong to.
    source : str
        Where they come from, for messages.

    Raises
    ------
    RecordsError
        If one of the three is no list, or is longer than any record.
    """
    lists: dict[str, list[object]] = {}
    for part in _PARTS:
        items = data.get(part)
        if not isinstance(items, list):
            raise RecordsError(Problem(source, part, say("refused.no_rows"), _DAMAGED))
        if len(items) > _MOST_ROWS:
            raise RecordsError(
                Problem(
                    source,
                    part,
                    say("refused.many_rows", count=len(items)),
                    say("refused.too_long_do", most=_MOST_ROWS),
                )
            )
        lists[part] = items
    unreadable: list[Unreadable] = []
    return ReadRows(
        attempts=_read(lists["attempts"], "attempts", KeptAttempt, _kept_attempt, profile, source, unreadable),
        left=_read(lists["running"], "running", LeftAttempt, _left_attempt, profile, source, unreadable),
        notes=_read(lists["notes"], "notes", Note, _note, profile, source, unreadable),
        unreadable=tuple(unreadable),
    )


def read_profiles(items: Sequence[object], source: str) -> tuple[dict[str, Profile], tuple[Unreadable, ...]]:
    """Return the learners in plain tables by their id, and those that cannot be read."""
    profiles: dict[str, Profile] = {}
    unreadable = []
    for place, item in enumerate(items, start=1):
        try:
            profile = _profile(Table(item, source, f"profiles[{place}]", RecordsError, _known_keys(Profile)))
        except DataError as error:
            unreadable.append(Unreadable("", str(error)))
        else:
            profiles[profile.id] = profile
    return profiles, tuple(unreadable)


# The exported file ------------------------------------------------------------------------------------------

_OTHER_FORMAT = say("refused.newer_do")
_FILE_KEYS = ("format", "format_version", "exported_at", "app_version", "profile", *_PARTS)


def _not_a_number(text: str) -> object:
    raise ValueError(f"{text} is no number of JSON")


def parse_records(text: str, source_name: str) -> RecordsFile:
    """Return what an exported file holds.

    Parameters
    ----------
    text : str
        The file's text.
    source_name : str
        The file's name for messages.

    Raises
    ------
    RecordsError
        If the file as a whole is damaged, foreign or too new. Single rows that cannot be read are told in
        `ReadRows.unreadable`.
    """
    try:
        data = json.loads(text, parse_constant=_not_a_number)
    except (ValueError, RecursionError) as problem:
        raise RecordsError(
            Problem(
                source_name,
                say("refused.whole_file"),
                say("refused.no_records", error=problem),
                say("refused.exported_or_cut_do"),
            )
        ) from None
    if not isinstance(data, Mapping) or data.get("format") != FILE_FORMAT:
        raise RecordsError(
            Problem(
                source_name,
                "format",
                say("refused.foreign", format=FILE_FORMAT),
                say("refused.exported_do"),
            )
        )
    table = file_table(data, source_name, RecordsError, _FILE_KEYS, FILE_FORMAT_VERSION, _OTHER_FORMAT)
    _time(table, "exported_at")
    table.text("app_version", _VERSION)
    profile = _profile(table.table("profile", _known_keys(Profile)))
    return RecordsFile(profile, read_rows(data, profile.id, source_name))
