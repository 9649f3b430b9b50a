"""A visit from a SCORM 1.2 learning system: who has come, what is told of it as it goes on, and what is kept.

Contents: `ScormVisit`. The page (``site/static/scorm.mjs``) finds the system, reads and sets its values and says when
it does not take them; this side takes the learner, brings back what was left, and says what is told. How results become
values is `bandbench.bench.scorm`'s; what is kept between visits is `bandbench.bench.scormstate`'s.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from bandbench.bench.readings import typeset
from bandbench.bench.recordform import KeptAttempt, LeftAttempt
from bandbench.bench.records import LearnerRecords
from bandbench.bench.scorm import (
    Launch,
    Standing,
    answer_values,
    check_objective,
    check_values,
    course_objective,
    objective_values,
    points_of,
    question_objective,
    read_launch,
    standing_of,
)
from bandbench.bench.scormstate import CourseOutcome, LearnerState, PackedState, StateError, packed_state, read_state
from bandbench.bench.words import say
from sim.training.attempt import CheckSubmitted, QuestionAnswered
from sim.training.lesson import Lesson
from sim.training.progress import Outcome, outcome_of
from sim.training.score import Score
from sim.training.session import Session

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ScormVisit"]

# What goes on is told this often; a log of very many events takes longer to pack.
_TELL_EVERY_S = 1.0
_PACKED_EVENTS_A_SECOND = 2_000
_ATTEMPTED = "not attempted"


def _now() -> datetime:
    return datetime.now().astimezone()


class ScormVisit:
    """What goes on between the bench and the learning system; nothing until the page has heard of one.

    Parameters
    ----------
    bench : Bench
        Where lessons are done.
    records : LearnerRecords
        What is kept of the learner here; its `LearnerRecords.watchers` must have this visit among them.
    lessons : sequence of Lesson
        Those of the package.
    single : bool
        Whether the package is one lesson.
    moment : callable, optional
        Returns the present moment by the learner's clock.
    """

    def __init__(
        self,
        bench: Bench,
        records: LearnerRecords,
        lessons: Sequence[Lesson],
        single: bool,
        moment: Callable[[], datetime] = _now,
    ) -> None:
        self._bench = bench
        self._records = records
        self._lessons = tuple(lessons)
        self._single = single
        self._moment = moment
        self._launch: Launch | None = None
        self._alone = ""
        self._entered = self._restored = False
        self._outcomes: dict[tuple[str, int, int], CourseOutcome] = {}
        self._packed = PackedState("")
        self._packed_of: tuple[object, ...] = ()
        self._sent: dict[str, str] = {}
        self._waiting: list[tuple[str, str]] = []
        self._places: dict[str, int] = {}
        self._objectives: dict[str, Standing] = {}
        self._interactions = 0
        # How many events of an attempt the system has been told of.
        self._told: dict[str, int] = {}
        self._trouble: dict[str, str] = {}
        self._line = ""
        self._seen: tuple[object, ...] = ()
        self._tell_at_s = 0.0

    # From the page ------------------------------------------------------------------------------------------

    def take(self, text: str) -> None:
        """Take what the page says, as JSON.

        ``{"begun": true, "launch": {...}}`` (see `bandbench.bench.scorm.read_launch`), ``{"begun": false, "why":
        "none" | "closed"}``, ``{"refused": element}``, or ``{"taken": true | false}`` after a commit.
        """
        data = json.loads(text)
        if "begun" in data:
            if data["begun"]:
                self._begin(read_launch(data["launch"]))
            else:
                self._alone = "closed" if data["why"] == "closed" else "alone"
            if data.get("lesson") and not self._single:
                self._trouble["lesson"] = say("scorm.no_lesson", lesson=str(data["lesson"]))
        elif "refused" in data:
            self._trouble["refused"] = say("scorm.refused", element=str(data["refused"]))
        elif data["taken"]:
            self._trouble.pop("taken", None)
        else:
            self._trouble["taken"] = say("scorm.not_taken")

    def _begin(self, launch: Launch) -> None:
        self._launch = launch
        self._places = {name: place for place, name in enumerate(launch.objectives)}
        self._interactions = launch.interactions
        self._sent = {"cmi.core.lesson_status": launch.status}

    # From the records ---------------------------------------------------------------------------------------

    def going_on(self, row: LeftAttempt, session: Session) -> None:
        """Take an attempt that goes on, as it has just been kept."""
        self._tell_events(row.id, session)

    def left(self, row: LeftAttempt, session: Session) -> None:
        """Take an attempt that was left."""
        self._tell_events(row.id, session)

    def resumed(self, row: LeftAttempt, session: Session) -> None:
        """Take an attempt that is gone on with: what was done in it before has been told before."""
        self._told.setdefault(row.id, len(session.attempt.events))

    def over(self, row: KeptAttempt, lesson: Lesson, score: Score) -> None:
        """Take an attempt that has been scored."""
        if self._launch is None or row.profile != self._launch.profile_id:
            return
        session = self._bench.session
        if session is not None and session.attempt is row.attempt:
            self._tell_events(row.id, session)
        if score.deciding is None:
            return
        ended_s = datetime.fromisoformat(row.ended_at.replace("Z", "+00:00")).timestamp()
        outcome = outcome_of(row.attempt, score, ended_s)
        kept = CourseOutcome(
            lesson.id, row.attempt.seed, int(ended_s // 60), score.passed, outcome.clean, points_of(score)
        )  # fmt: skip
        self._outcomes.setdefault(kept.key, kept)
        # A result is told at once.
        self._tell_at_s = 0.0

    def outcomes(self, known: Iterable[Outcome]) -> tuple[Outcome, ...]:
        """Return what the learning system has kept of attempts beyond those that are known here."""
        there = {(one.lesson_id, one.seed, int(one.when_s // 60)) for one in known}
        return tuple(one.progress() for key, one in self._outcomes.items() if key not in there)

    # Some times a second ------------------------------------------------------------------------------------

    def follow(self, now_s: float) -> None:
        """Say what there is to tell; to be called some times a second.

        Parameters
        ----------
        now_s : float
            A clock that only goes forward [s].
        """
        launch = self._launch
        if launch is not None and self._records.loaded:
            if not self._entered:
                # Whoever was here last: this visit is the learner's whom the system names.
                self._entered = True
                self._records.enter(launch.profile_id, launch.profile_name or say("learner.first_name"))
                return
            if not self._restored:
                self._restored = True
                self._restore(launch)
            if self._is_own(launch) and not launch.looking_only and now_s >= self._tell_at_s:
                self._tell(launch, now_s)
        self._show()

    def _is_own(self, launch: Launch) -> bool:
        profile = self._records.profile
        return profile is not None and profile.id == launch.profile_id

    def _restore(self, launch: Launch) -> None:
        """Bring back what the system kept."""
        try:
            state = read_state(launch.suspend_data, launch.profile_id, self._records.app_version)
        except StateError as error:
            self._trouble["damaged"] = say("scorm.damaged", reason=str(error))
            state = LearnerState()
        self._outcomes = {one.key: one for one in state.outcomes} | self._outcomes
        if state.running is not None:
            self._records.adopt(state.running)
        for row in self._records.left.values():
            self._told.setdefault(row.id, len(row.attempt.events))
        self._records.look_again()

    # What is told -------------------------------------------------------------------------------------------

    def _tell(self, launch: Launch, now_s: float) -> None:
        running = self._running()
        seen = (self._records.version, len(self._outcomes), len(self._waiting))
        if seen == self._seen:
            return
        self._seen = seen
        events = len(running.attempt.events) if running else 0
        self._tell_at_s = now_s + _TELL_EVERY_S + events / _PACKED_EVENTS_A_SECOND
        outcomes = tuple(sorted(self._outcomes.values(), key=lambda one: one.minute))
        self._pack(outcomes, running)
        standing = standing_of(self._lessons, self._single, outcomes, launch.mastery, launch.status)
        values = [("cmi.core.lesson_status", standing.status)]
        if standing.raw is not None:
            values += [("cmi.core.score.min", "0"), ("cmi.core.score.max", "100")]
            values += [("cmi.core.score.raw", str(standing.raw))]
        if self._bench.lesson is not None and not self._bench.previewing:
            values.append(("cmi.core.lesson_location", self._bench.lesson.id))
        # A visit that is over for good is not resumed; a course, or a lesson that goes on, is.
        over = self._single and running is None and standing.status in ("passed", "completed")
        values.append(("cmi.core.exit", "" if over else "suspend"))
        values.append(("cmi.suspend_data", self._packed.text))
        for identifier, objective in self._standings(outcomes, running).items():
            values += self._objective(identifier, objective)
        changed = [(element, value) for element, value in values if self._sent.get(element) != value]
        self._sent |= dict(changed)
        waiting, self._waiting = self._waiting, []
        if changed or waiting:
            self._records.ask_page("scorm", values=[*changed, *waiting])

    def _running(self) -> LeftAttempt | None:
        """Return the attempt that goes on, or else the one that was left last."""
        return max(self._records.left.values(), key=lambda row: row.saved_at, default=None)

    def _pack(self, outcomes: tuple[CourseOutcome, ...], running: LeftAttempt | None) -> None:
        number = running.id if running else ""
        packed_of = (outcomes, number, self._packed.kept_until_s is not None)
        # A log that had to be cut only grows behind the cut.
        if running is not None and self._packed.kept_until_s is not None and packed_of == self._packed_of:
            return
        self._packed = packed_state(LearnerState(outcomes, running))
        self._packed_of = (outcomes, number, self._packed.kept_until_s is not None)

    def _standings(self, outcomes: Sequence[CourseOutcome], running: LeftAttempt | None) -> dict[str, Standing]:
        """Return how each objective stands: of a lesson its checks and questions, of a course its lessons."""
        if not self._single:
            going_on = running.lesson if running else ""
            return {lesson.id: course_objective(lesson, outcomes, going_on == lesson.id) for lesson in self._lessons}
        (lesson,) = self._lessons
        names = [check_objective(check.name) for check in lesson.checks]
        names += [question_objective(question.name) for question in lesson.questions]
        return {name: self._objectives.get(name, Standing(_ATTEMPTED, None)) for name in names}

    def _objective(self, identifier: str, standing: Standing) -> list[tuple[str, str]]:
        fresh = identifier not in self._places
        place = self._places.setdefault(identifier, len(self._places))
        lead = f"cmi.objectives.{place}"
        if standing.status == _ATTEMPTED and not fresh and f"{lead}.id" not in self._sent:
            # An earlier visit may have told more.
            return []
        return list(objective_values(place, identifier, standing, fresh or f"{lead}.id" in self._sent))

    def _tell_events(self, number: str, session: Session) -> None:
        """Tell of answers and checks that the system has not heard of yet."""
        attempt = session.attempt
        done = self._told.get(number, 0)
        self._told[number] = len(attempt.events)
        launch = self._launch
        if launch is None or launch.looking_only or not self._is_own(launch):
            return
        lesson, submission = session.lesson, session.last_submission
        for event in attempt.events[done:]:
            if isinstance(event, QuestionAnswered) and event.question in session.answers:
                answer = session.answers[event.question]
                objective = self._judged(lesson, question_objective(event.question), answer.passed)
                place, now = self._next_interaction(), self._moment()
                self._waiting += answer_values(place, lesson, answer, objective, now, event.at_s)
            elif isinstance(event, CheckSubmitted) and submission is not None and submission.at_s == event.at_s:
                for result in submission.results:
                    objective = self._judged(lesson, check_objective(result.check.name), result.passed)
                    place, now = self._next_interaction(), self._moment()
                    self._waiting += check_values(place, lesson, result, objective, now, event.at_s)

    def _next_interaction(self) -> int:
        self._interactions += 1
        return self._interactions - 1

    def _judged(self, lesson: Lesson, objective: str, passed: bool) -> str:
        """Note how an objective of the lesson stands; return the id of the one to name: a course has its lessons."""
        self._objectives[objective] = Standing("passed" if passed else "failed", 100 if passed else 0)
        return objective if self._single else lesson.id

    # What the page says -------------------------------------------------------------------------------------

    def _show(self) -> None:
        line = self._words()
        if line != self._line:
            self._line = line
            self._records.ask_page("scorm", line=line)

    def _words(self) -> str:
        launch, profile = self._launch, self._records.profile
        if launch is None:
            words = [say(f"scorm.{self._alone}")] if self._alone else []
            return " ".join([*words, *self._trouble.values()])
        if not self._restored:
            return ""
        name = launch.profile_name or say("learner.first_name")
        if launch.looking_only:
            words = [say("scorm.looking")]
        elif profile is None or not self._is_own(launch):
            words = [say("scorm.other", name=name)]
        else:
            words = [say("scorm.told", name=name), *self._kept_words()]
        return " ".join([*words, *self._trouble.values()])

    def _kept_words(self) -> Iterable[str]:
        running = self._running()
        if self._packed.kept_until_s is not None:
            minutes, seconds = divmod(int(self._packed.kept_until_s), 60)
            yield say("scorm.cut", minutes=minutes, seconds=f"{seconds:02d}")
        elif running is not None and self._bench.session is None and running.lesson in self._bench.lessons:
            yield say("scorm.left", title=typeset(self._bench.lessons[running.lesson].title))
        if self._packed.outcomes_left_out:
            yield say("scorm.left_out", count=self._packed.outcomes_left_out)
