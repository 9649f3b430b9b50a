"""What is done at the bench, as statements: made while an attempt goes on and when it is over, kept with the records.

Contents: `Trail`. It knows the learner's records (`LearnerRecords.watchers`) and, if a learning system launched the
page, that launch. Whether and where statements are sent is the page's business (``site/static/statements.mjs``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta

from bandbench.bench.recordform import KeptAttempt, LeftAttempt
from bandbench.bench.records import LearnerRecords
from sim.training.assignment import score_within
from sim.training.attempt import CheckSubmitted, StepShown
from sim.training.cmi5 import Cmi5Session, Launch
from sim.training.lesson import Lesson
from sim.training.score import Score, Submission
from sim.training.session import Session
from sim.training.statementcheck import statement_problems
from sim.training.statements import (
    Circumstances,
    Statement,
    attempt_statements,
    ending,
    resumed,
    suspended,
    trail,
)

__all__ = ["Trail"]

# Behind everything else that is said at the same moment.
_LAST_PLACE = 1_000_000


def _moment_of(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00"))


def _began(row: KeptAttempt | LeftAttempt) -> datetime:
    """Return the moment of a log's 0 s, as near as its row tells.

    A row is first written at its first event that counts; it is written again after the last one, or later.
    """
    attempt = row.attempt
    first_s = next((event.at_s for event in attempt.events if not isinstance(event, StepShown)), 0.0)
    last = _moment_of(row.ended_at if isinstance(row, KeptAttempt) else row.saved_at)
    return min(_moment_of(row.started_at) - timedelta(seconds=first_s), last - timedelta(seconds=attempt.duration_s))


class Trail:
    """The statements of the learner at the bench.

    Parameters
    ----------
    records : LearnerRecords
        Whose attempts are told of, and who hands the page what to keep.
    moment : callable, optional
        Returns the present moment.
    """

    def __init__(self, records: LearnerRecords, moment: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._records = records
        self._moment = moment
        self._launch: Cmi5Session | None = None
        self._opened: Launch | None = None
        self._ended = False
        # What the page has been given in this visit; it drops by itself what it was given in another.
        self._given: set[str] = set()
        self._began: dict[str, datetime] = {}
        self._submissions: dict[str, list[Submission]] = {}
        records.watchers.append(self)

    # What becomes of attempts (`Watcher`) -------------------------------------------------------------------

    def going_on(self, row: LeftAttempt, session: Session) -> None:
        """Tell what is new in an attempt that goes on."""
        began = self._began.setdefault(row.id, _moment_of(row.saved_at) - timedelta(seconds=row.attempt.duration_s))
        self._give(row, self._so_far(row, session, began))

    def left(self, row: LeftAttempt, session: Session) -> None:
        """Tell that an attempt was left."""
        began = self._began.setdefault(row.id, _began(row))
        around = self._around(row, began)
        told = self._so_far(row, session, began)
        told += self._reached(row, session, around)
        self._give(row, [*told, suspended(session.lesson, row.attempt, around)])

    def _reached(self, row: LeftAttempt, session: Session, around: Circumstances) -> list[Statement]:
        """Return that an attempt that is left has reached the score its launch asks for: enough, though not all."""
        asked = self._launch is not None and self._launch.launch.mastery_score is not None
        if self._launch is None or not asked or not any(isinstance(one, CheckSubmitted) for one in row.attempt.events):
            return []
        score = score_within(session.score(), row.permitted, row.attempt)
        return self._launch.reaches(ending(session.lesson, row.attempt, around, score))

    def resumed(self, row: LeftAttempt, session: Session) -> None:
        """Tell that an attempt is gone on with; the time until now does not count."""
        began = self._began[row.id] = self._moment() - timedelta(seconds=row.attempt.duration_s)
        self._give(row, [resumed(session.lesson, row.attempt, self._around(row, began))])

    def over(self, row: KeptAttempt, lesson: Lesson, score: Score) -> None:
        """Tell everything of an attempt that is over."""
        live = self._began.pop(row.id, None)
        began = live or _began(row)
        self._submissions.pop(row.id, None)
        if self._opened and not live and _moment_of(row.started_at) < self._opened.opened_at:
            # An attempt of another day, scored again: that is none of this launch's.
            return
        self._give(row, attempt_statements(lesson, row.attempt, self._around(row, began), score))

    def _around(self, row: KeptAttempt | LeftAttempt, began: datetime) -> Circumstances:
        return Circumstances(row.profile, row.id, began, row.app_version)

    def _so_far(self, row: LeftAttempt, session: Session, began: datetime) -> list[Statement]:
        attempt = row.attempt
        known = self._submissions.setdefault(row.id, [])
        count = sum(isinstance(event, CheckSubmitted) for event in attempt.events)
        if len(known) < count:
            latest = session.last_submission
            if count == len(known) + 1 and latest is not None and attempt is session.attempt:
                known.append(latest)
            else:
                # Resumed: what was submitted before is measured again.
                known[:] = session.score().submissions[:count]
        around = self._around(row, began)
        return trail(session.lesson, attempt, around, session.start, known, session.answers)

    # The launch by a learning system ------------------------------------------------------------------------

    @property
    def launch(self) -> Launch | None:
        """What launched the page, if anything did."""
        return self._opened

    def open(self, launch: Launch) -> None:
        """Begin the session of a launch: from now on its rules hold."""
        self._opened, self._launch = launch, Cmi5Session(launch)
        self._keep(self._launch.opening(), launch.learner, "", 0)
        self._tell_closing()

    def end(self) -> None:
        """End the session of the launch: the page says what is left to say, and goes back to the learning system."""
        if self._launch is not None and not self._ended:
            self._tell_closing()
            self._ended = True
            self._records.ask_page("finish")

    def _tell_closing(self) -> None:
        """Let the page have ready what ends the session: it may be closed without a word."""
        if self._launch is None or self._opened is None:
            return
        rows = [
            self._row(statement, self._opened.learner, "", _LAST_PLACE + place)
            for place, statement in enumerate(self._launch.closing(self._moment()))
        ]
        opened_at = self._opened.opened_at.timestamp()
        self._records.ask_page("closing", rows=rows, opened_ms=round(1000.0 * opened_at))

    # To the page --------------------------------------------------------------------------------------------

    def _give(self, row: KeptAttempt | LeftAttempt, statements: Iterable[Statement]) -> None:
        fresh = [(place, one) for place, one in enumerate(statements) if one["id"] not in self._given]
        self._given |= {one["id"] for _, one in fresh}
        if self._launch is None:
            for place, statement in fresh:
                self._keep(statement, row.profile, row.id, place)
            return
        if self._ended or self._opened is None or row.profile != self._opened.learner:
            # Somebody else chose to go on here: that is not the launched learner's.
            return
        places = {one["id"]: place for place, one in fresh}
        place = 0
        for statement in self._launch.translated(one for _, one in fresh):
            # What the session adds of its own stands behind what it adds it to.
            place = places.get(statement["id"], place)
            self._keep(statement, row.profile, row.id, place)
        self._tell_closing()

    def _row(self, statement: Statement, profile: str, attempt: str, place: int) -> dict[str, object]:
        problems = statement_problems(statement)
        return {
            "id": statement["id"],
            "profile": profile,
            "attempt": attempt,
            "session": self._opened.session if self._opened else "",
            "place": place,
            "statement": statement,
            # One that a store would refuse is not even sent.
            "state": "refused" if problems else "waiting",
            "reason": "; ".join(problems),
        }

    def _keep(self, statement: Statement, profile: str, attempt: str, place: int) -> None:
        # Never over one that is there: what was told once stays as it was told.
        self._records.ask_page("add", store="statements", row=self._row(statement, profile, attempt, place))
