"""What is kept of a learner: profile, attempts, notes, each one row of the store in the page.

Contents: `Profile`, `KeptAttempt` with its `Outcome`, `LeftAttempt`, `Note`; `ReadRows` and `RecordsFile` hold what was
read; `RecordsError`, `checked_name`, `log_sha256`, `time_text`. How rows are read is in `bandbench.bench.recordform`.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime

from bandbench.bench.words import say
from sim.training.attempt import Attempt
from sim.training.help import Help
from sim.training.reader import DataError, Problem

__all__ = [
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
    "time_text",
]

LONGEST_NAME = 60
"""Characters of a learner's name."""


class RecordsError(DataError):
    """Records are damaged, foreign or too new; `problem` says where, why and what to do."""


@dataclass(frozen=True)
class Profile:
    """A learner: no account, only a name in this browser.

    Attributes
    ----------
    id : str
        UUID.
    name : str
        As typed; data, never markup.
    created_at, used_at : str
        Moments in UTC, as ISO 8601 with ``Z``.
    """

    id: str
    name: str
    created_at: str
    used_at: str

    def row(self) -> dict[str, object]:
        """Return the profile as the store keeps it."""
        return dict(vars(self))


@dataclass(frozen=True)
class Outcome:
    """A score that was computed here, kept so that it need not be computed at every visit.

    It counts only for the same log and the same program (`log_sha256`, `app_version`); anything else is scored anew.
    """

    passed: bool
    app_version: str
    log_sha256: str


@dataclass(frozen=True)
class KeptAttempt:
    """An attempt that is over.

    Attributes
    ----------
    id, profile : str
        UUIDs of the attempt and its learner.
    lesson : str
        Id of the lesson.
    lesson_version : int
        Its version then.
    started_at, ended_at : str
        Moments in UTC.
    app_version : str
        The program it was made with.
    log : str
        The attempt's log as JSON, exactly as first written (`Attempt.to_json`).
    outcome : Outcome or None
        See there.
    attempt : Attempt
        What the log says.
    help_beside : Help or None
        The help that was permitted where the log, of a format before 4, does not say so; kept under ``help``, in the
        words of `sim.training.help.HELP_WORDS`. The attempt itself has it either way.
    """

    id: str
    profile: str
    lesson: str
    lesson_version: int
    started_at: str
    ended_at: str
    app_version: str
    log: str
    attempt: Attempt
    outcome: Outcome | None = None
    help_beside: Help | None = None

    @property
    def permitted(self) -> Help:
        """The help that was permitted."""
        return self.attempt.help

    def row(self) -> dict[str, object]:
        """Return the attempt as the store keeps it."""
        row = _attempt_row(self)
        return row if self.outcome is None else {**row, "outcome": dict(vars(self.outcome))}

    @property
    def content(self) -> tuple[str, str, str]:
        """What makes two attempts one and the same, whatever their numbers."""
        return self.lesson, self.started_at, self.log


@dataclass(frozen=True)
class LeftAttempt:
    """An attempt that is still going on, or was when the page was left; its keys are `KeptAttempt`'s."""

    id: str
    profile: str
    lesson: str
    lesson_version: int
    started_at: str
    saved_at: str
    app_version: str
    log: str
    attempt: Attempt
    help_beside: Help | None = None

    @property
    def permitted(self) -> Help:
        """The help that is permitted."""
        return self.attempt.help

    def row(self) -> dict[str, object]:
        """Return the attempt as the store keeps it."""
        return _attempt_row(self)

    def ended(self, ended_at: str) -> KeptAttempt:
        """Return it as an attempt that is over."""
        return KeptAttempt(
            self.id,
            self.profile,
            self.lesson,
            self.lesson_version,
            self.started_at,
            ended_at,
            self.app_version,
            self.log,
            self.attempt,
            help_beside=self.help_beside,
        )


@dataclass(frozen=True)
class Note:
    """A note the learner wrote on a lesson; `lesson` is its id."""

    id: str
    profile: str
    lesson: str
    written_at: str
    text: str

    def row(self) -> dict[str, object]:
        """Return the note as the store keeps it."""
        return dict(vars(self))

    @property
    def content(self) -> tuple[str, str, str]:
        """What makes two notes one and the same, whatever their numbers."""
        return self.lesson, self.written_at, self.text


Row = KeptAttempt | LeftAttempt | Note


def _attempt_row(kept: KeptAttempt | LeftAttempt) -> dict[str, object]:
    row = {key: value for key, value in vars(kept).items() if key not in ("attempt", "outcome", "help_beside")}
    return row if kept.help_beside is None else {**row, "help": list(kept.help_beside.words)}


@dataclass(frozen=True)
class Unreadable:
    """A row that cannot be read and stays as it is.

    Attributes
    ----------
    id : str
        Its number, empty if even that is damaged.
    reason : str
        Where it is damaged, how, and what to do.
    """

    id: str
    reason: str


@dataclass(frozen=True)
class ReadRows:
    """Rows of one learner, those that can be read and those that cannot."""

    attempts: tuple[KeptAttempt, ...]
    left: tuple[LeftAttempt, ...]
    notes: tuple[Note, ...]
    unreadable: tuple[Unreadable, ...]


@dataclass(frozen=True)
class RecordsFile:
    """An exported file: one learner with everything kept of him or her."""

    profile: Profile
    rows: ReadRows


def time_text(moment: datetime) -> str:
    """Return a moment as records write it, to the millisecond.

    Examples
    --------
    >>> time_text(datetime(2026, 3, 1, 12, 30, 5, 250000, UTC))
    '2026-03-01T12:30:05.250Z'
    """
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def log_sha256(log: str) -> str:
    """Return the digest by which an outcome names the log it was computed from."""
    # JSON escapes what UTF-8 cannot hold.
    return hashlib.sha256(json.dumps(log).encode()).hexdigest()


def checked_name(name: str) -> str:
    """Return a learner's name without blanks around it.

    Raises
    ------
    RecordsError
        If it is empty, too long or holds what no name can.
    """

    def refuse(reason: str, remedy: str) -> RecordsError:
        return RecordsError(Problem(say("refused.learners_name"), "name", reason, remedy))

    trimmed = name.strip()
    if not trimmed:
        raise refuse(say("refused.name_empty"), say("refused.name_empty_do"))
    if len(trimmed) > LONGEST_NAME:
        raise refuse(say("refused.name_long", count=len(trimmed)), say("refused.name_long_do", most=LONGEST_NAME))
    if not trimmed.isprintable():
        raise refuse(say("refused.name_odd"), say("refused.name_odd_do"))
    return trimmed
