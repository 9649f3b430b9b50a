"""What is kept of the learner at the bench: profiles, attempts, notes; what becomes of an attempt that was left.

Contents: `LearnerRecords`, `Storage`. The page keeps the rows (``site/static/records.mjs``); this side
reads and judges them, and says what to write. Nothing here knows a browser or shows anything.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Protocol

from bandbench.bench.bench import Bench, BenchError
from bandbench.bench.faults import FAULTS
from bandbench.bench.recordform import (
    KeptAttempt,
    LeftAttempt,
    Note,
    Outcome,
    Profile,
    ReadRows,
    RecordsFile,
    Unreadable,
    checked_name,
    parse_records,
    read_profiles,
    read_rows,
    time_text,
)
from bandbench.bench.recordimport import ImportPlan, planned_import
from bandbench.bench.words import say
from sim.errors import BandbenchError
from sim.training.assignment import FULL_HELP, score_within
from sim.training.attempt import LONGEST_NOTE, Attempt, StepShown, check_belongs
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine
from sim.training.run import machine_for
from sim.training.score import Score, score_attempt
from sim.training.session import Session

__all__ = ["STORE", "LearnerRecords", "Storage", "Watcher"]

STORE = "records in this browser"
"""What messages call the store."""

# An attempt is written this often while it goes on; a log of very many events takes longer to write out.
_SAVE_EVERY_S = 0.5
_SAVED_EVENTS_A_SECOND = 5_000


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


def _now() -> datetime:
    return datetime.now(UTC)


def _new_id() -> str:
    return str(uuid.uuid4())


class LearnerRecords:
    """The records of the learner at the bench.

    Parameters
    ----------
    bench : Bench
        Where lessons are done.
    first_name : str
        Name of the learner who begins a lesson before any was named.
    moment : callable, optional
        Returns the present moment.
    new_id : callable, optional
        Returns a fresh UUID.

    Notes
    -----
    `version` counts the changes of what is kept. Until `load` has been called nothing is kept or given away.
    """

    def __init__(
        self,
        bench: Bench,
        first_name: str,
        moment: Callable[[], datetime] = _now,
        new_id: Callable[[], str] = _new_id,
    ) -> None:
        self._bench = bench
        self._first_name = first_name
        self._moment = moment
        self._new_id = new_id
        self.storage = Storage()
        self.app_version = "unknown"
        self.profiles: dict[str, Profile] = {}
        self.profile: Profile | None = None
        self.attempts: dict[str, KeptAttempt] = {}
        self.left: dict[str, LeftAttempt] = {}
        self.notes: dict[str, Note] = {}
        self.unreadable: tuple[Unreadable, ...] = ()
        self.elsewhere: frozenset[str] = frozenset()
        self.version = 0
        self.loaded = False
        self._changes: list[dict[str, object]] = []
        self._file: tuple[str, RecordsFile] | None = None
        self.plan: ImportPlan | None = None
        self._asked_to_stay = False
        # The attempt that is followed: whose session, which of its attempts, as what it is kept.
        self._session: Session | None = None
        self._past = 0
        self._seen: Attempt | None = None
        self._own: LeftAttempt | None = None
        self._filed = False
        self._moments = ("", "")
        self._permitted = FULL_HELP
        self._save_at_s = 0.0
        self._machine: LessonMachine | None = None
        self.watchers: list[Watcher] = []

    # Between the page and here --------------------------------------------------------------------------

    def load(self, text: str) -> None:
        """Take over what the page keeps: ``storage``, ``app_version``, ``profiles``, the chosen one and its rows."""
        data = json.loads(text)
        self.app_version = str(data["app_version"])
        self.set_storage(data["storage"])
        if self._own is not None and data["profile"] != self._own.profile:
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
        if self._own is not None:
            self.left[self._own.id] = self._own
        self._changed()

    def set_storage(self, data: Mapping[str, object]) -> None:
        """Note whether the page can keep records: ``state`` and ``reason`` as in `Storage`."""
        self.storage = Storage(str(data["state"]), str(data["reason"]))
        self._changed()

    def next_changes(self) -> str:
        """Return what the page shall write, as JSON, or an empty text if there is nothing."""
        if not self._changes:
            return ""
        changes, self._changes = self._changes, []
        return json.dumps({"profile": self.profile.id if self.profile else "", "changes": changes})

    def _put(self, store: str, row: Mapping[str, object]) -> None:
        self._changes.append({"do": "put", "store": store, "row": row})

    def ask_page(self, do: str, **what: object) -> None:
        """Ask something of the page, after the changes so far."""
        self._changes.append({"do": do, **what})

    def look_again(self) -> None:
        """Have everything that shows records look at them again: something beside them has changed."""
        self._changed()

    # Learners -----------------------------------------------------------------------------------------------

    def create_profile(self, name: str) -> None:
        """Make a new learner and choose him or her."""
        checked = checked_name(name)
        self._need_loaded()
        self._leave_lesson()
        self._choose(self._made_profile(checked))

    def enter(self, profile_id: str, name: str) -> None:
        """Choose the learner of this id; one who is not known here yet is made, as when a learning system names him."""
        self._need_loaded()
        if profile_id in self.profiles:
            self.choose_profile(profile_id)
            return
        checked = checked_name(name)
        self._leave_lesson()
        now = time_text(self._moment())
        made = Profile(profile_id, checked, now, now)
        self.profiles[made.id] = made
        self._put("profiles", made.row())
        self._choose(made)

    def choose_profile(self, profile_id: str) -> None:
        """Choose another learner; a lesson that goes on is left, and can be resumed by who began it."""
        self._need_loaded()
        chosen = replace(self._profile_of(profile_id), used_at=time_text(self._moment()))
        self._leave_lesson()
        self.profiles[chosen.id] = chosen
        self._put("profiles", chosen.row())
        self._choose(chosen)

    def rename_profile(self, name: str) -> None:
        """Give the chosen learner another name."""
        renamed = replace(self._chosen(), name=checked_name(name))
        self.profile = self.profiles[renamed.id] = renamed
        self._put("profiles", renamed.row())
        self._changed()

    def delete_profile(self) -> None:
        """Delete the chosen learner with everything that is kept of him or her."""
        gone = self._chosen()
        self._leave_lesson()
        del self.profiles[gone.id]
        self._changes.append({"do": "forget", "profile": gone.id})
        latest = max(self.profiles.values(), key=lambda one: one.used_at, default=None)
        self._choose(latest)

    def _choose(self, profile: Profile | None) -> None:
        self.profile = profile
        self.attempts, self.left, self.notes, self.unreadable = {}, {}, {}, ()
        self.loaded = False
        self.drop_file()
        self._changes.append({"do": "load", "profile": profile.id if profile else ""})
        self._changed()

    def _made_profile(self, name: str) -> Profile:
        now = time_text(self._moment())
        made = Profile(self._new_id(), name, now, now)
        self.profiles[made.id] = made
        self._put("profiles", made.row())
        return made

    def _profile_of(self, profile_id: str) -> Profile:
        if profile_id not in self.profiles:
            raise BenchError("this learner is not kept here any more; choose another one")
        return self.profiles[profile_id]

    def _chosen(self) -> Profile:
        self._need_loaded()
        if self.profile is None:
            raise BenchError("no learner is chosen; make one first")
        return self.profile

    def _need_loaded(self) -> None:
        if not self.loaded:
            raise BenchError("the records are still being read; try again in a moment")

    def _leave_lesson(self) -> None:
        if self._bench.session is not None:
            self._bench.choose_mode(None)
        self._let_go()

    # The attempt that goes on -------------------------------------------------------------------------------

    def follow(self, now_s: float) -> None:
        """Look at the bench: keep the attempt that goes on, and put away the one that is over.

        Parameters
        ----------
        now_s : float
            A clock that only goes forward [s].
        """
        if not self.loaded:
            return
        # Nothing of a preview is kept, and what is only looked at is kept already.
        session = None if self._bench.previewing or self._bench.looking_back else self._bench.session
        if session is not self._session or (session is not None and len(session.past) != self._past):
            self._let_go()
            if session is None:
                return
            self._session, self._past, self._seen = session, len(session.past), session.attempt
            self._permitted = self._bench.permitted
            # What was done while the records were still being read belongs to the attempt as well.
            if session.attempt.events:
                self._seen = None
        if session is None or self._filed or session.attempt is self._seen:
            return
        if session.finished:
            self._seen = session.attempt
            self._file_attempt(self._kept(session.attempt), session)
        elif now_s >= self._save_at_s and _worth_keeping(session.attempt):
            self._seen = session.attempt
            self._save_at_s = now_s + _SAVE_EVERY_S + len(session.attempt.events) / _SAVED_EVENTS_A_SECOND
            self._own = self._kept(session.attempt)
            self.left[self._own.id] = self._own
            self._put("running", self._own.row())
            for watcher in self.watchers:
                watcher.going_on(self._own, session)
            self._changed()

    def _kept(self, attempt: Attempt) -> LeftAttempt:
        """Return the attempt that goes on as it is kept now."""
        now = time_text(self._moment())
        if self._own is not None:
            return replace(self._own, saved_at=now, log=attempt.to_json(), attempt=attempt)
        if self.profile is None:
            self.profile = self._made_profile(self._first_name)
        # Begun anew, a lesson that was left before is not gone on with.
        for row in list(self.left.values()):
            if row.lesson == attempt.lesson_id and row.id not in self.elsewhere:
                self._file_attempt(row, None)
        return LeftAttempt(
            id=self._new_id(),
            profile=self.profile.id,
            lesson=attempt.lesson_id,
            lesson_version=attempt.lesson_version,
            started_at=now,
            saved_at=now,
            app_version=self.app_version,
            log=attempt.to_json(),
            attempt=attempt,
            permitted=self._permitted,
        )

    def _let_go(self) -> None:
        """End following an attempt: a lesson begun anew puts it away, a lesson that was left keeps it to be resumed."""
        session, own, filed = self._session, self._own, self._filed
        begun_anew = session is not None and len(session.past) > self._past
        if session is not None and not filed:
            attempt = session.past[self._past] if begun_anew else session.attempt
            if _worth_keeping(attempt):
                own = self._kept(attempt)
                if begun_anew:
                    self._file_attempt(own, session)
                else:
                    self.left[own.id] = own
                    self._put("running", own.row())
                    for watcher in self.watchers:
                        watcher.left(own, session)
        if own is not None:
            self._changes.append({"do": "release", "id": own.id})
        self._session, self._past, self._seen, self._own, self._filed = None, 0, None, None, False
        self._moments = ("", "")
        self._save_at_s = 0.0
        self._changed()

    def _file_attempt(self, row: LeftAttempt, session: Session | None) -> None:
        """Put an attempt away among those that are over; with its session at hand it is scored right away."""
        kept = row.ended(time_text(self._moment()))
        if session is not None:
            kept = replace(kept, outcome=self._outcome(kept, session.machine))
            self._filed = True
            self._moments = (kept.started_at, kept.ended_at)
        self.attempts[kept.id] = kept
        self.left.pop(kept.id, None)
        self._put("attempts", kept.row())
        self._changes.append({"do": "delete", "store": "running", "id": kept.id})
        if kept.outcome and kept.outcome.passed and not self._asked_to_stay:
            # Now there is something to lose: the browser is asked not to clear it away.
            self._asked_to_stay = True
            self._changes.append({"do": "persist"})
        self._changed()

    def resume(self, attempt_id: str, now_s: float) -> None:
        """Go on with an attempt that was left, as it was then."""
        row = self._left_row(attempt_id)
        if row.id in self.elsewhere:
            raise BenchError("this attempt is open in another tab of this browser; go on with it there")
        problem = self.why_not_resumed(row)
        if problem:
            raise BenchError(problem)
        self._let_go()
        self._bench.resume_lesson(row.attempt, now_s, row.permitted)
        session = self._bench.running_session()
        self._session, self._past, self._seen, self._own = session, len(session.past), session.attempt, row
        self._permitted = row.permitted
        self._changes.append({"do": "hold", "id": row.id})
        for watcher in self.watchers:
            watcher.resumed(row, session)
        self._changed()

    def adopt(self, row: LeftAttempt) -> None:
        """Take over an attempt that was left elsewhere, unless it is over here or as much of it is here already."""
        here = self.left.get(row.id)
        if row.id in self.attempts or (here and len(here.attempt.events) >= len(row.attempt.events)):
            return
        self.left[row.id] = row
        self._put("running", row.row())
        self._changed()

    def set_aside(self, attempt_id: str) -> None:
        """Put an attempt that was left away, among those that are over."""
        self._file_attempt(self._left_row(attempt_id), None)

    def _left_row(self, attempt_id: str) -> LeftAttempt:
        if attempt_id not in self.left:
            raise BenchError("this attempt is not there to be resumed any more")
        return self.left[attempt_id]

    @property
    def resumable(self) -> tuple[LeftAttempt, ...]:
        """Attempts that were left, without the one that goes on; the latest first."""
        rows = (row for row in self.left.values() if self._own is None or row.id != self._own.id)
        return tuple(sorted(rows, key=lambda row: row.saved_at, reverse=True))

    @property
    def moments(self) -> tuple[str, str]:
        """When the attempt at the bench was begun and when it was over, as rows say it; empty where not known."""
        if self._own is not None and not self._filed:
            return self._own.started_at, ""
        return self._moments

    def why_not_resumed(self, row: LeftAttempt) -> str:
        """Return why an attempt cannot be gone on with here, or an empty text."""
        lesson = self._bench.lessons.get(row.lesson)
        if lesson is None:
            return f"The lesson '{row.lesson}' is not part of this site."
        try:
            check_belongs(row.attempt, lesson, "attempt")
        except BandbenchError as error:
            return str(error)
        return ""

    # Attempts that are over ---------------------------------------------------------------------------------

    @property
    def history(self) -> tuple[KeptAttempt, ...]:
        """Every attempt that is over and can be read, in order of time."""
        return tuple(sorted(self.attempts.values(), key=lambda row: (row.ended_at, row.id)))

    def lesson_of(self, row: KeptAttempt) -> Lesson | None:
        """Return the lesson of an attempt, if this site has it in the version that was done."""
        lesson = self._bench.lessons.get(row.lesson)
        return lesson if lesson is not None and lesson.version == row.lesson_version else None

    def why_not_shown(self, row: KeptAttempt) -> str:
        """Return why an attempt can be neither replayed nor debriefed here, or an empty text."""
        lesson = self._bench.lessons.get(row.lesson)
        if lesson is None:
            return say("learner.kept_gone", lesson=row.lesson)
        if lesson.version != row.lesson_version:
            return say("learner.kept_older", then=row.lesson_version, now=lesson.version)
        return ""

    def look_back(self, attempt_id: str, now_s: float) -> None:
        """Show an attempt that is over at the bench; a lesson that goes on is left, and can be resumed."""
        if attempt_id not in self.attempts:
            raise BenchError("this attempt is not kept here any more")
        row = self.attempts[attempt_id]
        problem = self.why_not_shown(row)
        if problem:
            raise BenchError(problem)
        self._let_go()
        self._bench.look_back(row.attempt, now_s, row.permitted)

    def passed(self, row: KeptAttempt) -> bool | None:
        """Tell whether an attempt is a pass, or None while its log has not been scored by this program."""
        outcome = row.outcome
        if outcome is None or outcome.app_version != self.app_version or outcome.log_sha256 != _sha256(row.log):
            return None
        return outcome.passed

    def score_next(self) -> bool:
        """Score one attempt that has to be, the latest first; tell whether there was one."""
        for row in reversed(self.history):
            lesson = self.lesson_of(row)
            if lesson is None or self.passed(row) is not None:
                continue
            try:
                scored = replace(row, outcome=self._outcome(row, self._machine_of(lesson)))
            except BandbenchError as error:
                # Its log does not belong to its lesson: as good as damaged.
                del self.attempts[row.id]
                self.unreadable = (*self.unreadable, Unreadable(row.id, str(error)))
            else:
                self.attempts[row.id] = scored
                self._put("attempts", scored.row())
            self._changed()
            return True
        return False

    def _outcome(self, row: KeptAttempt, machine: LessonMachine) -> Outcome:
        score = score_attempt(machine.lesson, row.attempt, machine, f"attempt of {row.started_at}")
        # Watchers and the record are told the same: a pass with more help than was permitted is none.
        score = score_within(score, row.permitted, row.attempt)
        for watcher in self.watchers:
            watcher.over(row, machine.lesson, score)
        return Outcome(score.passed, self.app_version, _sha256(row.log))

    def _machine_of(self, lesson: Lesson) -> LessonMachine:
        # Only the last one is kept: each holds a recorded tape.
        if self._machine is None or self._machine.lesson is not lesson:
            self._machine = machine_for(lesson, FAULTS)
        return self._machine

    # Notes --------------------------------------------------------------------------------------------------

    @property
    def note_lesson(self) -> str | None:
        """Id of the lesson that a note would be on, if one is being done or read about."""
        lesson = self._bench.lesson
        return None if lesson is None or self._bench.previewing else lesson.id

    def write_note(self, text: str, now_s: float) -> None:
        """Keep a note on the lesson, in the attempt's log too while it goes on."""
        self._need_loaded()
        lesson = self.note_lesson
        if lesson is None:
            raise BenchError("a note belongs to a lesson; choose Learn first")
        if not text.strip() or len(text.strip()) > LONGEST_NOTE:
            raise BenchError(f"a note has 1 to {LONGEST_NOTE} characters; this one has {len(text.strip())}")
        session = self._bench.session
        if session is not None and not session.finished and not self._bench.looking_back:
            session.note(text.strip(), now_s)
        if self.profile is None:
            self.profile = self._made_profile(self._first_name)
        note = Note(self._new_id(), self.profile.id, lesson, time_text(self._moment()), text.strip())
        self.notes[note.id] = note
        self._put("notes", note.row())
        self._changed()

    def notes_on(self, lesson: str) -> tuple[Note, ...]:
        """Return the notes on a lesson, the latest first."""
        rows = (note for note in self.notes.values() if note.lesson == lesson)
        return tuple(sorted(rows, key=lambda note: note.written_at, reverse=True))

    # Import -------------------------------------------------------------------------------------------------

    def offer_file(self, name: str, text: str) -> None:
        """Read a file that was chosen for import; what it would add is planned once the page has sent what is here.

        Raises
        ------
        RecordsError
            If it is damaged, foreign or too new; nothing has changed then.
        """
        self.drop_file()
        self._need_loaded()
        self._file = (name, parse_records(text, name))
        self._changes.append({"do": "fetch", "profile": self._file[1].profile.id})

    def plan_import(self, text: str) -> None:
        """Work out what the file would add to the rows of its learner, which the page has sent."""
        if self._file is None:
            return
        name, file = self._file
        data = json.loads(text)
        if data["profile"] != file.profile.id:
            return
        self.plan = planned_import(
            name, file, read_rows(data, file.profile.id, STORE), self.profiles, self._refused_here
        )
        self._changed()

    def _refused_here(self, row: KeptAttempt | LeftAttempt) -> str:
        """Return why a readable attempt of a file cannot be what it says, or an empty text."""
        lesson = self._bench.lessons.get(row.lesson)
        if lesson is None or lesson.version != row.lesson_version:
            return ""
        try:
            check_belongs(row.attempt, lesson, f"attempt of {row.started_at}")
        except BandbenchError as error:
            return str(error)
        return ""

    def accept_file(self) -> ImportPlan:
        """Add what was planned, and choose the file's learner; nothing that is here is overwritten."""
        plan = self.plan
        if plan is None:
            raise BenchError("no file is waiting to be imported; choose one first")
        self._need_loaded()
        self._leave_lesson()
        chosen = replace(self.profiles.get(plan.profile.id, plan.profile), used_at=time_text(self._moment()))
        self.profiles[chosen.id] = chosen
        self._put("profiles", chosen.row())
        # A score that somebody else's file claims is not believed: the log is scored here.
        for attempt in plan.attempts:
            self._add("attempts", replace(attempt, outcome=None).row())
        for left in plan.left:
            self._add("running", left.row())
        for note in plan.notes:
            self._add("notes", note.row())
        self._choose(chosen)
        return plan

    def drop_file(self) -> None:
        """Forget the file that was chosen."""
        self._file = self.plan = None
        self._changed()

    def _add(self, store: str, row: Mapping[str, object]) -> None:
        self._changes.append({"do": "add", "store": store, "row": row})

    def _changed(self) -> None:
        self.version += 1


def _sha256(text: str) -> str:
    # JSON escapes what UTF-8 cannot hold.
    return hashlib.sha256(json.dumps(text).encode()).hexdigest()


def _worth_keeping(attempt: Attempt) -> bool:
    """Tell whether anything was done but reading the steps."""
    return any(not isinstance(event, StepShown) for event in attempt.events)
