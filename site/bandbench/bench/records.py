"""The records of the learner at the bench: profiles, attempts, notes, import, and what may be done with them.

Contents: `LearnerRecords`. What is kept is in `bandbench.bench.recordstore`; beside it, how the attempt that goes on is
followed, in `recordfollow`, and what attempts come to, in `recordscores`. Nothing here knows a browser.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from bandbench.bench.bench import Bench
from bandbench.bench.errors import BenchError
from bandbench.bench.recordfollow import Following
from bandbench.bench.recordform import (
    KeptAttempt,
    LeftAttempt,
    Note,
    Profile,
    RecordsFile,
    checked_name,
    parse_records,
    read_rows,
)
from bandbench.bench.recordimport import ImportPlan, planned_import
from bandbench.bench.recordscores import Scores
from bandbench.bench.recordstore import STORE, KeptRecords, fresh_id, present_moment
from bandbench.bench.words import say
from sim.errors import BandbenchError
from sim.training.attempt import LONGEST_NOTE, check_belongs
from sim.training.lesson import Lesson

__all__ = ["LearnerRecords"]


class LearnerRecords(KeptRecords):
    """The kept records, with everything that the learner can do with them.

    Parameters
    ----------
    bench : Bench
        Where lessons are done.
    first_name, moment, new_id
        As for `KeptRecords`.

    Attributes
    ----------
    plan : ImportPlan or None
        What importing the file that was chosen would do.
    """

    def __init__(
        self,
        bench: Bench,
        first_name: str,
        moment: Callable[[], datetime] = present_moment,
        new_id: Callable[[], str] = fresh_id,
    ) -> None:
        super().__init__(first_name, moment, new_id)
        self._bench = bench
        self._scores = Scores(self, bench)
        self._following = Following(self, bench, self._scores)
        self._file: tuple[str, RecordsFile] | None = None
        self.plan: ImportPlan | None = None

    # Learners -----------------------------------------------------------------------------------------------

    def create_profile(self, name: str) -> None:
        """Make a new learner and choose him or her."""
        checked = checked_name(name)
        self.need_loaded()
        self._leave_lesson()
        self._choose(self.make_profile(checked))

    def enter(self, profile_id: str, name: str) -> None:
        """Choose the learner of this id; one who is not known here yet is made, as when a learning system names him.

        A lesson of the same learner goes on.
        """
        self.need_loaded()
        if self.profile is not None and self.profile.id == profile_id:
            return
        if profile_id in self.profiles:
            self.choose_profile(profile_id)
            return
        checked = checked_name(name)
        self._leave_lesson()
        self._choose(self.make_profile(checked, profile_id))

    def leave(self) -> None:
        """Leave the lesson that goes on, if any; it can be resumed."""
        self._leave_lesson()

    def choose_profile(self, profile_id: str) -> None:
        """Choose another learner; a lesson that goes on is left, and can be resumed by who began it."""
        self.need_loaded()
        chosen = replace(self._profile_of(profile_id), used_at=self.now)
        self._leave_lesson()
        self.keep_profile(chosen)
        self._choose(chosen)

    def rename_profile(self, name: str) -> None:
        """Give the chosen learner another name."""
        renamed = replace(self._chosen(), name=checked_name(name))
        self.profile = renamed
        self.keep_profile(renamed)
        self.look_again()

    def delete_profile(self) -> None:
        """Delete the chosen learner with everything that is kept of him or her."""
        gone = self._chosen()
        self._leave_lesson()
        del self.profiles[gone.id]
        self.ask_page("forget", profile=gone.id)
        latest = max(self.profiles.values(), key=lambda one: one.used_at, default=None)
        self._choose(latest)

    def _profile_of(self, profile_id: str) -> Profile:
        if profile_id not in self.profiles:
            raise BenchError("this learner is not kept here any more; choose another one")
        return self.profiles[profile_id]

    def _chosen(self) -> Profile:
        self.need_loaded()
        if self.profile is None:
            raise BenchError("no learner is chosen; make one first")
        return self.profile

    def _choose(self, profile: Profile | None) -> None:
        self.drop_file()
        self.show_rows_of(profile)

    def _leave_lesson(self) -> None:
        if self._bench.session is not None:
            self._bench.choose_mode(None)
        self._following.let_go()

    # Attempts -----------------------------------------------------------------------------------------------

    def follow(self, now_s: float) -> None:
        """Look at the bench (see `Following.follow`)."""
        self._following.follow(now_s)

    def resume(self, attempt_id: str, now_s: float) -> None:
        """Go on with an attempt that was left, as it was then."""
        row = self._left_row(attempt_id)
        if row.id in self.elsewhere:
            raise BenchError("this attempt is open in another tab of this browser; go on with it there")
        problem = self.why_not_resumed(row)
        if problem:
            raise BenchError(problem)
        self._following.go_on_with(row, now_s)

    def adopt(self, row: LeftAttempt) -> None:
        """Take over an attempt that was left elsewhere, unless it is over here or as much of it is here already."""
        here = self.left.get(row.id)
        if row.id in self.attempts or (here and len(here.attempt.events) >= len(row.attempt.events)):
            return
        self.keep_left(row)
        self.look_again()

    def set_aside(self, attempt_id: str) -> None:
        """Put an attempt that was left away, among those that are over."""
        self._following.file(self._left_row(attempt_id), None)

    def _left_row(self, attempt_id: str) -> LeftAttempt:
        if attempt_id not in self.left:
            raise BenchError("this attempt is not there to be resumed any more")
        return self.left[attempt_id]

    @property
    def resumable(self) -> tuple[LeftAttempt, ...]:
        """Attempts that were left, without the one that goes on; the latest first."""
        rows = (row for row in self.left.values() if self.going_on is None or row.id != self.going_on.id)
        return tuple(sorted(rows, key=lambda row: row.saved_at, reverse=True))

    @property
    def moments(self) -> tuple[str, str]:
        """When the attempt at the bench was begun and when it was over (see `Following.moments`)."""
        return self._following.moments

    def why_not_resumed(self, row: LeftAttempt) -> str:
        """Return why an attempt cannot be gone on with here, or an empty text."""
        lesson = self._bench.lessons.get(row.lesson)
        if lesson is None:
            return say("refused.no_lesson_here", lesson=row.lesson)
        try:
            check_belongs(row.attempt, lesson, say("refused.attempt"))
        except BandbenchError as error:
            return str(error)
        return ""

    @property
    def history(self) -> tuple[KeptAttempt, ...]:
        """Every attempt that is over and can be read, in order of time."""
        return self._scores.history

    def lesson_of(self, row: KeptAttempt) -> Lesson | None:
        """Return the lesson of an attempt, if this site has it in the version that was done."""
        return self._scores.lesson_of(row)

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
        self._following.let_go()
        self._bench.look_back(row.attempt, now_s)

    def passed(self, row: KeptAttempt) -> bool | None:
        """Tell whether an attempt is a pass, or None while its log has not been scored by this program."""
        return self._scores.passed(row)

    def score_next(self) -> bool:
        """Score one attempt that has to be, the latest first; tell whether there was one."""
        return self._scores.score_next()

    # Notes --------------------------------------------------------------------------------------------------

    @property
    def note_lesson(self) -> str | None:
        """Id of the lesson that a note would be on, if one is being done or read about."""
        lesson = self._bench.lesson
        return None if lesson is None or self._bench.previewing else lesson.id

    def write_note(self, text: str, now_s: float) -> None:
        """Keep a note on the lesson, in the attempt's log too while it goes on."""
        self.need_loaded()
        lesson = self.note_lesson
        if lesson is None:
            raise BenchError("a note belongs to a lesson; choose Learn first")
        if not text.strip() or len(text.strip()) > LONGEST_NOTE:
            raise BenchError(f"a note has 1 to {LONGEST_NOTE} characters; this one has {len(text.strip())}")
        session = self._bench.session
        if session is not None and not session.finished and not self._bench.looking_back:
            session.note(text.strip(), now_s)
        note = Note(self.new_id(), self.learner().id, lesson, self.now, text.strip())
        self.notes[note.id] = note
        self.put("notes", note.row())
        self.look_again()

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
        self.need_loaded()
        self._file = (name, parse_records(text, name))
        self.ask_page("fetch", profile=self._file[1].profile.id)

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
        self.look_again()

    def _refused_here(self, row: KeptAttempt | LeftAttempt) -> str:
        """Return why a readable attempt of a file cannot be what it says, or an empty text."""
        lesson = self._bench.lessons.get(row.lesson)
        if lesson is None or lesson.version != row.lesson_version:
            return ""
        try:
            check_belongs(row.attempt, lesson, say("refused.attempt_of", moment=row.started_at))
        except BandbenchError as error:
            return str(error)
        return ""

    def accept_file(self) -> ImportPlan:
        """Add what was planned, and choose the file's learner; nothing that is here is overwritten."""
        plan = self.plan
        if plan is None:
            raise BenchError("no file is waiting to be imported; choose one first")
        self.need_loaded()
        self._leave_lesson()
        chosen = replace(self.profiles.get(plan.profile.id, plan.profile), used_at=self.now)
        self.keep_profile(chosen)
        # A score that somebody else's file claims is not believed: the log is scored here.
        for attempt in plan.attempts:
            self.ask_page("add", store="attempts", row=replace(attempt, outcome=None).row())
        for left in plan.left:
            self.ask_page("add", store="running", row=left.row())
        for note in plan.notes:
            self.ask_page("add", store="notes", row=note.row())
        self._choose(chosen)
        return plan

    def drop_file(self) -> None:
        """Forget the file that was chosen."""
        self._file = self.plan = None
        self.look_again()
