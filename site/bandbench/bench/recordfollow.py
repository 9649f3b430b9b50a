"""The attempt that goes on at the bench, followed: kept while it is done, put away when it is over.

Contents: `Following`.
"""

from __future__ import annotations

from dataclasses import replace

from bandbench.bench.bench import Bench
from bandbench.bench.recordform import LeftAttempt
from bandbench.bench.recordscores import Scores
from bandbench.bench.recordstore import KeptRecords
from sim.training.attempt import Attempt, StepShown
from sim.training.session import Session

__all__ = ["Following"]

# An attempt is written this often while it goes on; a log of very many events takes longer to write out.
_SAVE_EVERY_S = 0.5
_SAVED_EVENTS_A_SECOND = 5_000


class Following:
    """What is kept of the session at the bench, and when.

    Parameters
    ----------
    records : KeptRecords
        Where it is kept; `KeptRecords.going_on` is the attempt as it is kept so far.
    bench : Bench
        Where it is done.
    scores : Scores
        Tell what an attempt that is over comes to.
    """

    def __init__(self, records: KeptRecords, bench: Bench, scores: Scores) -> None:
        self._records = records
        self._bench = bench
        self._scores = scores
        self._asked_to_stay = False
        # The attempt that is followed: whose session, which of its attempts, how far it was seen.
        self._session: Session | None = None
        self._past = 0
        self._seen: Attempt | None = None
        self._filed = False
        self._moments = ("", "")
        self._save_at_s = 0.0

    @property
    def moments(self) -> tuple[str, str]:
        """When the attempt at the bench was begun and when it was over, as rows say it; empty where not known."""
        own = self._records.going_on
        return (own.started_at, "") if own is not None and not self._filed else self._moments

    def follow(self, now_s: float) -> None:
        """Look at the bench: keep the attempt that goes on, and put away the one that is over.

        Parameters
        ----------
        now_s : float
            A clock that only goes forward [s].
        """
        records = self._records
        if not records.loaded:
            return
        # Nothing of a preview is kept, and what is only looked at is kept already.
        session = None if self._bench.previewing or self._bench.looking_back else self._bench.session
        if session is not self._session or (session is not None and len(session.past) != self._past):
            self.let_go()
            if session is None:
                return
            self._take_up(session)
            # What was done while the records were still being read belongs to the attempt as well.
            if session.attempt.events:
                self._seen = None
        if session is None or self._filed or session.attempt is self._seen:
            return
        if session.finished:
            self._seen = session.attempt
            self.file(self._kept(session.attempt), session)
        elif now_s >= self._save_at_s and _worth_keeping(session.attempt):
            self._seen = session.attempt
            self._save_at_s = now_s + _SAVE_EVERY_S + len(session.attempt.events) / _SAVED_EVENTS_A_SECOND
            own = records.going_on = self._kept(session.attempt)
            records.keep_left(own)
            for watcher in records.watchers:
                watcher.going_on(own, session)
            records.look_again()

    def go_on_with(self, row: LeftAttempt, now_s: float) -> None:
        """Resume an attempt that was left, and follow it."""
        self.let_go()
        self._bench.resume_lesson(row.attempt, now_s)
        session = self._bench.running_session()
        self._take_up(session)
        records = self._records
        records.going_on = row
        records.ask_page("hold", id=row.id)
        for watcher in records.watchers:
            watcher.resumed(row, session)
        records.look_again()

    def let_go(self) -> None:
        """End following an attempt: a lesson begun anew puts it away, a lesson that was left keeps it to be resumed."""
        records, session, own = self._records, self._session, self._records.going_on
        begun_anew = session is not None and len(session.past) > self._past
        if session is not None and not self._filed:
            attempt = session.past[self._past] if begun_anew else session.attempt
            if _worth_keeping(attempt):
                own = self._kept(attempt)
                if begun_anew:
                    self.file(own, session)
                else:
                    records.keep_left(own)
                    for watcher in records.watchers:
                        watcher.left(own, session)
        if own is not None:
            records.ask_page("release", id=own.id)
        self._session, self._past, self._seen, self._filed = None, 0, None, False
        self._moments = ("", "")
        self._save_at_s = 0.0
        records.going_on = None
        records.look_again()

    def file(self, row: LeftAttempt, session: Session | None) -> None:
        """Put an attempt away among those that are over; with its session at hand it is scored right away."""
        records = self._records
        kept = row.ended(records.now)
        if session is not None:
            kept = replace(kept, outcome=self._scores.outcome(kept, session.machine))
            self._filed = True
            self._moments = (kept.started_at, kept.ended_at)
        records.keep_over(kept)
        records.left.pop(kept.id, None)
        records.ask_page("delete", store="running", id=kept.id)
        if kept.outcome and kept.outcome.passed and not self._asked_to_stay:
            # Now there is something to lose: the browser is asked not to clear it away.
            self._asked_to_stay = True
            records.ask_page("persist")
        records.look_again()

    def _take_up(self, session: Session) -> None:
        self._session, self._past, self._seen = session, len(session.past), session.attempt

    def _kept(self, attempt: Attempt) -> LeftAttempt:
        """Return the attempt that goes on as it is kept now."""
        records = self._records
        if records.going_on is not None:
            log = attempt.to_json()
            return replace(records.going_on, saved_at=records.now, log=log, attempt=attempt, help_beside=None)
        learner = records.learner()
        # Begun anew, a lesson that was left before is not gone on with.
        for row in list(records.left.values()):
            if row.lesson == attempt.lesson_id and row.id not in records.elsewhere:
                self.file(row, None)
        now = records.now
        return LeftAttempt(
            id=records.new_id(),
            profile=learner.id,
            lesson=attempt.lesson_id,
            lesson_version=attempt.lesson_version,
            started_at=now,
            saved_at=now,
            app_version=records.app_version,
            log=attempt.to_json(),
            attempt=attempt,
        )


def _worth_keeping(attempt: Attempt) -> bool:
    """Tell whether anything was done but reading the steps."""
    return any(not isinstance(event, StepShown) for event in attempt.events)
