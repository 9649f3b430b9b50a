"""What the page keeps of learners, as it is known here, and what the page is to write. Nothing here knows the bench.

Contents: `STORE`, `Storage`, `Watcher`, `present_moment`, `fresh_id`, `KeptRecords`. The page keeps the rows themselves
(``site/static/records.mjs``).
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

from bandbench.bench.errors import BenchError
from bandbench.bench.recordform import (
    KeptAttempt,
    LeftAttempt,
    Note,
    Profile,
    ReadRows,
    Unreadable,
    read_profiles,
    read_rows,
    time_text,
)
from sim.training.lesson import Lesson
from sim.training.score import Score
from sim.training.session import Session

__all__ = ["STORE", "KeptRecords", "Storage", "Watcher", "fresh_id", "present_moment"]

STORE = "records in this browser"
"""What messages call the store."""


@dataclass(frozen=True)
class Storage:
    """Whether records are kept.

    Attributes
    ----------
    state : str
        ``opening``, ``kept`` (in this browser) or ``memory`` (only until the page is left).
    reason : str
        Why only in memory: ``missing``, ``refused``, ``full``, ``blocked``, ``newer`` or ``lost``.
    """

    state: str = "opening"
    reason: str = ""


class Watcher(Protocol):
    """Who is told what becomes of attempts, as `bandbench.bench.scormvisit` is."""

    def going_on(self, row: LeftAttempt, session: Session) -> None:
        """Take an attempt that goes on, as it has just been kept."""

    def left(self, row: LeftAttempt, session: Session) -> None:
        """Take an attempt that was left, to be resumed."""

    def resumed(self, row: LeftAttempt, session: Session) -> None:
        """Take an attempt that is gone on with."""

    def over(self, row: KeptAttempt, lesson: Lesson, score: Score) -> None:
        """Take an attempt that is over and has just been scored, perhaps not for the first time."""


def present_moment() -> datetime:
    """Return the present moment, in UTC."""
    return datetime.now(UTC)


def fresh_id() -> str:
    """Return a UUID that nothing has yet."""
    return str(uuid.uuid4())


class KeptRecords:
    """Learners, and the rows of the one who is chosen.

    Parameters
    ----------
    first_name : str
        Name of the learner who begins a lesson before any was named.
    moment : callable, optional
        Returns the present moment.
    new_id : callable, optional
        Returns a fresh UUID.

    Attributes
    ----------
    storage : Storage
        Whether anything is kept.
    app_version : str
        The program that runs.
    profiles : dict of str to Profile
        Learners by their id.
    profile : Profile or None
        The one who is chosen.
    attempts, left, notes : dict
        His or her rows by their id: attempts that are over, those to be resumed, and notes.
    unreadable : tuple of Unreadable
        Rows that stay as they are.
    elsewhere : frozenset of str
        Attempts that are open in another tab.
    going_on : LeftAttempt or None
        The attempt that goes on here, as it is kept.
    loaded : bool
        Whether the page has sent the rows; until then nothing is kept or given away.
    version : int
        Counts the changes of what is kept.
    watchers : list of Watcher
        Who is told what becomes of attempts.
    """

    def __init__(
        self, first_name: str, moment: Callable[[], datetime] = present_moment, new_id: Callable[[], str] = fresh_id
    ) -> None:
        self._first_name = first_name
        self._moment = moment
        self.new_id = new_id
        self.storage = Storage()
        self.app_version = "unknown"
        self.profiles: dict[str, Profile] = {}
        self.profile: Profile | None = None
        self.attempts: dict[str, KeptAttempt] = {}
        self.left: dict[str, LeftAttempt] = {}
        self.notes: dict[str, Note] = {}
        self.unreadable: tuple[Unreadable, ...] = ()
        self.elsewhere: frozenset[str] = frozenset()
        self.going_on: LeftAttempt | None = None
        self.loaded = False
        self.version = 0
        self.watchers: list[Watcher] = []
        self._changes: list[dict[str, object]] = []

    # Between the page and here --------------------------------------------------------------------------

    def load(self, text: str) -> None:
        """Take over what the page keeps: ``storage``, ``app_version``, ``profiles``, the chosen one and its rows."""
        data = json.loads(text)
        self.app_version = str(data["app_version"])
        self.set_storage(data["storage"])
        own = self.going_on
        if own is not None and data["profile"] != own.profile:
            # The page has not yet heard of the learner who goes on here.
            return
        self.profiles, spoilt = read_profiles(data["profiles"], STORE)
        chosen = self.profiles.get(data["profile"]) if data["profile"] else None
        self.profile = chosen
        rows = read_rows(data, chosen.id, STORE) if chosen else ReadRows((), (), (), ())
        self.attempts = {row.id: row for row in rows.attempts}
        self.left = {row.id: row for row in rows.left}
        self.notes = {row.id: row for row in rows.notes}
        self.unreadable = (*spoilt, *rows.unreadable)
        self.elsewhere = frozenset(map(str, data["elsewhere"]))
        self.loaded = True
        if own is not None:
            self.left[own.id] = own
        self.look_again()

    def set_storage(self, data: Mapping[str, object]) -> None:
        """Note whether the page can keep records: ``state`` and ``reason`` as in `Storage`."""
        self.storage = Storage(str(data["state"]), str(data["reason"]))
        self.look_again()

    def next_changes(self) -> str:
        """Return what the page shall write, as JSON, or an empty text if there is nothing."""
        if not self._changes:
            return ""
        changes, self._changes = self._changes, []
        return json.dumps({"profile": self.profile.id if self.profile else "", "changes": changes})

    def ask_page(self, do: str, **what: object) -> None:
        """Ask something of the page, after the changes so far."""
        self._changes.append({"do": do, **what})

    def put(self, store: str, row: Mapping[str, object]) -> None:
        """Have a row written, in place of the one of its id."""
        self.ask_page("put", store=store, row=row)

    def look_again(self) -> None:
        """Have everything that shows records look at them again."""
        self.version += 1

    def need_loaded(self) -> None:
        """Raise BenchError while the page has not sent the rows."""
        if not self.loaded:
            raise BenchError("the records are still being read; try again in a moment")

    @property
    def now(self) -> str:
        """The present moment as rows say it."""
        return time_text(self._moment())

    # Rows ---------------------------------------------------------------------------------------------------

    def make_profile(self, name: str, profile_id: str = "") -> Profile:
        """Make a learner, with an id of his or her own if none is given."""
        now = self.now
        made = Profile(profile_id or self.new_id(), name, now, now)
        self.keep_profile(made)
        return made

    def keep_profile(self, profile: Profile) -> None:
        """Keep a learner as he or she is now."""
        self.profiles[profile.id] = profile
        self.put("profiles", profile.row())

    def learner(self) -> Profile:
        """Return the chosen learner; without one, a new one of the first name is chosen."""
        if self.profile is None:
            self.profile = self.make_profile(self._first_name)
        return self.profile

    def show_rows_of(self, profile: Profile | None) -> None:
        """Choose a learner, or none; the page is asked for the rows."""
        self.profile = profile
        self.attempts, self.left, self.notes, self.unreadable = {}, {}, {}, ()
        self.loaded = False
        self.ask_page("load", profile=profile.id if profile else "")
        self.look_again()

    def keep_left(self, row: LeftAttempt) -> None:
        """Keep an attempt that can be resumed, or goes on."""
        self.left[row.id] = row
        self.put("running", row.row())

    def keep_over(self, row: KeptAttempt) -> None:
        """Keep an attempt that is over."""
        self.attempts[row.id] = row
        self.put("attempts", row.row())
