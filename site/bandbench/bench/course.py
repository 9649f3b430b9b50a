"""The course: every lesson in order, how it stands for the learner, which one is next; any of them can be chosen."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.errors import BenchError
from bandbench.bench.progress import Advice, advice_after, advice_now, outcomes_of
from bandbench.bench.readings import typeset
from bandbench.bench.records import LearnerRecords
from bandbench.bench.stagewords import stage_words
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.training.course import Course, CourseGroup
from sim.training.lesson import Lesson
from sim.training.progress import CourseState, LessonState, Outcome, course_state
from sim.training.score import Score
from sim.training.session import Session
from sim.training.stages import stage_at

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["CourseList", "CourseView", "completed", "state_words"]

# Reviews come due while the page is open; once a minute is often enough to see it.
_LOOK_AGAIN_S = 60


class CourseList(Part):
    """The list of lessons.

    Attributes
    ----------
    shown : str
        JSON: everything it says but the texts in `words`; empty while there is nothing to choose. Moments go as
        ISO 8601: the page knows the reader's clock.
    notice : str
        What could not be done.
    """

    shown = param.String(default="")
    notice = param.String(default="")

    _esm = script("course")


def completed(course: Course, lessons: Mapping[str, Lesson]) -> Course:
    """Return the course with what it does not list in a last group, so that no lesson is out of reach."""
    listed = course.lessons
    others = tuple(name for name in lessons if name not in listed)
    if not others:
        return course
    rest = CourseGroup("others", say("course.others"), say("course.others_text"), others)
    return Course(course.source, course.title, (*course.groups, rest))


def state_words(state: LessonState, lessons: Mapping[str, Lesson]) -> tuple[str, str]:
    """Return how a lesson stands in words, and the moment that belongs in ``{date}``, if any."""
    if state.state == "due" and state.review:
        return say("course.due", date="{date}"), _iso(state.review.due_s)
    if state.state == "mastered" and state.review:
        return say("course.mastered", date="{date}"), _iso(state.review.due_s)
    if state.state == "later":
        locked = lessons[state.lesson_id].mode == "assessment"
        first = _named(state.missing, lessons)
        return say("course.locked" if locked else "course.later", first=first), ""
    if state.row:
        return say("course.passed_of", row=state.row, passes=state.passes), ""
    if state.state == "begun":
        return say("course.begun_once" if state.attempts == 1 else "course.begun", attempts=state.attempts), ""
    return say("course.open"), ""


def _named(names: Sequence[str], lessons: Mapping[str, Lesson], most: int = 2) -> str:
    """Return lessons by their titles, no more than a line or two of them."""
    titles = "; ".join(lessons[name].title for name in names[:most])
    return titles if len(names) <= most else say("course.and_more", titles=titles, count=len(names) - most)


def _iso(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).isoformat()


class CourseView(View):
    """The course in the lesson's place of the page, while no lesson goes on.

    Parameters
    ----------
    records : LearnerRecords
        What the learner has done.
    course : Course
        The order.
    moment : callable, optional
        Returns the present moment.
    """

    WORDS: ClassVar[str] = "course"

    def __init__(
        self,
        bench: Bench,
        act: Callable[[Action], str | None],
        records: LearnerRecords,
        course: Course,
        moment: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        super().__init__(bench, act)
        self._records = records
        self._moment = moment
        self.course = completed(course, bench.lessons)
        self._seen: tuple[object, ...] = ()
        # What is known of the learner's attempts from elsewhere, beyond those that are known here.
        self.elsewhere: Callable[[Sequence[Outcome]], Sequence[Outcome]] = lambda known: ()
        self.list = CourseList(self.receive, words=self.words)
        self.follow()

    def roots(self) -> dict[str, Any]:
        """Return the list."""
        return {"course": self.list}

    @property
    def _open(self) -> bool:
        return self.bench.mode == "learn" and self.bench.session is None

    def outcomes(self, but: str = "") -> tuple[Outcome, ...]:
        """Return what the learner's attempts amount to, without the one whose log is `but`."""
        rows = (row for row in self._records.history if row.log != but)
        known = outcomes_of(rows, self._records.passed)
        return (*known, *self.elsewhere(outcomes_of(self._records.history, self._records.passed)))

    def now_s(self) -> float:
        """Return now on the clock of the outcomes [s]."""
        return self._moment().timestamp()

    def state(self, outcomes: Sequence[Outcome] | None = None) -> CourseState:
        """Return how the course stands for the learner."""
        known = self.outcomes() if outcomes is None else outcomes
        return course_state(self.course, self.bench.lessons, known, self.now_s())

    def advice(self, session: Session, score: Score) -> Advice:
        """Return the one thing to do after the attempt that has just been scored."""
        if self.bench.looking_back:
            return advice_now(self.state(), self.bench.lessons)
        before = self.outcomes(but=session.attempt.to_json())
        return advice_after(
            session.lesson, session.attempt, score, before, self.course, self.bench.lessons, self.now_s()
        )

    def follow(self) -> None:
        """Say which lesson is next when the records or the day change; to be called some times a second."""
        seen = (self._records.version, self.now_s() // _LOOK_AGAIN_S, self.bench.version)
        if seen == self._seen or self.bench.session is not None:
            return
        fresh = self._seen[:2] != seen[:2]
        self._seen = seen
        if fresh:
            self._state = self.state()
            self.bench.advise_lesson(self._state.next_lesson)
        self.refresh()

    def score_next(self) -> bool:
        """Score one attempt of the learner's that has not been scored here, while the course is looked at."""
        return self._open and self._records.score_next()

    def receive(self, message: Mapping[str, Any]) -> None:
        """Choose the lesson that was pressed: ``{"do": "choose", "value": id}``."""
        if message["do"] != "choose":
            raise ValueError(f"the course knows no {message['do']!r}")
        problem = self.act(partial(self._choose, str(message["value"])))
        self.list.notice = typeset(problem or "")
        self.refresh()

    def _choose(self, name: str) -> None:
        state = next((one for one in self._state.lessons if one.lesson_id == name), None)
        lesson = self.bench.lessons.get(name)
        if lesson is not None and lesson.mode == "assessment" and state is not None and state.missing:
            first = _named(state.missing, self.bench.lessons, most=len(state.missing))
            raise BenchError(say("course.refused", title=lesson.title, first=first))
        self.bench.choose_lesson(name)

    def refresh(self) -> None:
        """Show the list while a lesson can be chosen."""
        shown = json.dumps(self._shown()) if self._open else ""
        if shown != self.list.shown:
            self.list.shown = shown
        if not shown and self.list.notice:
            self.list.notice = ""

    def _shown(self) -> dict[str, Any]:
        state, lessons = self._state, self.bench.lessons
        of_lesson = {one.lesson_id: one for one in state.lessons}
        following = lessons.get(state.next_lesson or "")
        due = following is not None and of_lesson[following.id].state == "due"
        mastered = sum(one.state in ("mastered", "due") for one in state.lessons)
        return {
            "chosen": self.bench.lesson.id if self.bench.lesson and not self.bench.previewing else "",
            "next": following.id if following else "",
            "next_text": say("course.next_due" if due else "course.next", title=typeset(following.title))
            if following
            else say("course.all_mastered"),
            "count": say("course.count", mastered=mastered, total=len(state.lessons)),
            "groups": [self._group(group, of_lesson, state.next_lesson) for group in self.course.groups],
        }

    def _group(self, group: CourseGroup, states: Mapping[str, LessonState], following: str | None) -> dict[str, Any]:
        own = [states[name] for name in group.lessons if name in states]
        mastered = sum(one.state in ("mastered", "due") for one in own)
        return {
            "name": group.name,
            "title": typeset(group.title),
            "text": typeset(group.text),
            "count": say("course.group_count", mastered=mastered, total=len(own)),
            "open": any(one.lesson_id == following or one.state == "due" for one in own),
            "lessons": [self._lesson(one, one.lesson_id == following) for one in own],
        }

    def _stage(self, lesson: Lesson, row: int) -> str:
        """Return which stage the learner is in, where a lesson has more than one."""
        return say("course.stage", stage=stage_words(stage_at(lesson, row))) if lesson.mode == "guided" else ""

    def _lesson(self, state: LessonState, following: bool) -> dict[str, Any]:
        lesson = self.bench.lessons[state.lesson_id]
        text, moment = state_words(state, self.bench.lessons)
        return {
            "id": lesson.id,
            "title": typeset(lesson.title),
            "about": say(
                "course.about",
                minutes=lesson.minutes,
                level=say(f"course.level_{lesson.level}"),
                mode=say(f"course.mode_{lesson.mode}"),
            )
            + self._stage(lesson, state.row),
            "state": state.state,
            "text": typeset(text),
            "at": moment,
            "next": following,
            "locked": lesson.mode == "assessment" and bool(state.missing),
        }
