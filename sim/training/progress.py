"""Progress of one learner: what is mastered, what comes back when, and what to do next. Computed from scored attempts.

Contents: `Outcome` and `outcome_of` (what one attempt amounts to here), `passes_in_a_row`, `mastered_at`, `Review` and
`next_review`, `LessonState`, `CourseState` and `course_state`.

Nothing here forbids anything: every lesson is open at all times, the course only says what is best done next.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sim.training.attempt import Attempt
from sim.training.course import Course
from sim.training.lesson import HINT_LEVELS, Lesson
from sim.training.score import Score

__all__ = [
    "REVIEW_DAYS",
    "STATES",
    "CourseState",
    "LessonState",
    "Outcome",
    "Review",
    "course_state",
    "mastered_at",
    "next_review",
    "outcome_of",
    "passes_in_a_row",
]

REVIEW_DAYS = (1, 3, 7, 21)
"""Days after which a mastered lesson comes back (MODEL: a common expanding series); the last one repeats."""

STATES = ("mastered", "due", "begun", "open", "later")
"""How a lesson stands: mastered; mastered, and due for review; tried; ready to be done; best done later."""

_DAY_S = 86_400.0


@dataclass(frozen=True)
class Outcome:
    """What one attempt amounts to for the learner's progress.

    Attributes
    ----------
    lesson_id : str
        Which lesson.
    seed : int
        Which variation.
    when_s : float
        When it ended, seconds since any fixed moment.
    submitted : bool
        Whether it came to a submission; an attempt left before that counts for nothing.
    passed : bool
        Whether it passed.
    clean : bool
        Whether it passed without the last hint, which gives the step away.
    """

    lesson_id: str
    seed: int
    when_s: float
    submitted: bool
    passed: bool
    clean: bool


def outcome_of(attempt: Attempt, score: Score, when_s: float) -> Outcome:
    """Return what a scored attempt that ended at `when_s` amounts to."""
    clean = score.passed and len(HINT_LEVELS) not in score.hints_opened
    return Outcome(attempt.lesson_id, attempt.seed, when_s, score.deciding is not None, score.passed, clean)


def _of_lesson(lesson: Lesson, outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Return a lesson's submitted outcomes in order of time."""
    own = [outcome for outcome in outcomes if outcome.lesson_id == lesson.id and outcome.submitted]
    return sorted(own, key=lambda outcome: outcome.when_s)


def _rows(lesson: Lesson, outcomes: Iterable[Outcome]) -> list[tuple[Outcome, int]]:
    """Return each outcome with how many clean passes in a row, on different seeds, there were after it."""
    row: list[int] = []
    found = []
    for outcome in _of_lesson(lesson, outcomes):
        if not outcome.clean:
            row = []
        elif outcome.seed not in row:
            row = [*row, outcome.seed]
        found.append((outcome, len(row)))
    return found


def passes_in_a_row(lesson: Lesson, outcomes: Iterable[Outcome]) -> int:
    """Return how many of the last attempts were passes in a row, on different seeds and without the last hint."""
    rows = _rows(lesson, outcomes)
    return rows[-1][1] if rows else 0


def mastered_at(lesson: Lesson, outcomes: Iterable[Outcome]) -> float | None:
    """Return when a lesson was first mastered (`Lesson.passes` passes in a row) [s], or None."""
    return next((outcome.when_s for outcome, row in _rows(lesson, outcomes) if row >= lesson.passes), None)


@dataclass(frozen=True)
class Review:
    """When a mastered lesson is due again [s], and how many reviews it has stood (up to the last of `REVIEW_DAYS`)."""

    due_s: float
    stood: int


def next_review(lesson: Lesson, outcomes: Iterable[Outcome]) -> Review | None:
    """Return when a lesson comes back, or None if it is not mastered.

    A pass when it is due moves it on to the next interval; one before that changes nothing, as what is fresh proves
    nothing. An attempt that does not pass brings it back to the first interval.
    """
    own = _of_lesson(lesson, outcomes)
    since_s = mastered_at(lesson, own)
    if since_s is None:
        return None
    stood, due_s = 0, since_s + REVIEW_DAYS[0] * _DAY_S
    for outcome in own:
        if outcome.when_s <= since_s:
            continue
        if not outcome.clean:
            stood = 0
        elif outcome.when_s >= due_s:
            stood = min(stood + 1, len(REVIEW_DAYS) - 1)
        else:
            continue
        due_s = outcome.when_s + REVIEW_DAYS[stood] * _DAY_S
    return Review(due_s, stood)


@dataclass(frozen=True)
class LessonState:
    """How one lesson stands for a learner.

    Attributes
    ----------
    lesson_id : str
        Which lesson.
    state : str
        One of `STATES`.
    attempts : int
        Attempts that came to a submission.
    row, passes : int
        Passes in a row so far, and how many make it mastered.
    review : Review or None
        When it comes back, if it is mastered.
    missing : tuple of str
        Prerequisites that are not mastered yet.
    """

    lesson_id: str
    state: str
    attempts: int
    row: int
    passes: int
    review: Review | None
    missing: tuple[str, ...]


@dataclass(frozen=True)
class CourseState:
    """How a course stands for a learner: every lesson in order, and the lesson to do next (None: all is mastered)."""

    lessons: tuple[LessonState, ...]
    next_lesson: str | None


def course_state(
    course: Course, lessons: Mapping[str, Lesson], outcomes: Sequence[Outcome], now_s: float
) -> CourseState:
    """Return how a course stands.

    Parameters
    ----------
    course : Course
        The order.
    lessons : mapping of str to Lesson
        The lessons by id; what the course lists beyond them is left out.
    outcomes : sequence of Outcome
        The learner's attempts, in any order.
    now_s : float
        Now, on the clock of the outcomes [s].
    """
    known = [lessons[name] for name in course.lessons if name in lessons]
    mastered = {lesson.id for lesson in known if mastered_at(lesson, outcomes) is not None}
    states = tuple(_lesson_state(lesson, outcomes, now_s, mastered, lessons) for lesson in known)
    due = [(state.review.due_s, state.lesson_id) for state in states if state.state == "due" and state.review]
    fresh = [state.lesson_id for state in states if state.state in ("begun", "open")]
    # What is about to be forgotten comes before what is new.
    return CourseState(states, min(due)[1] if due else fresh[0] if fresh else None)


def _lesson_state(
    lesson: Lesson, outcomes: Sequence[Outcome], now_s: float, mastered: set[str], lessons: Mapping[str, Lesson]
) -> LessonState:
    attempts = len(_of_lesson(lesson, outcomes))
    review = next_review(lesson, outcomes)
    missing = tuple(name for name in lesson.prerequisites if name in lessons and name not in mastered)
    if review is not None:
        state = "due" if now_s >= review.due_s else "mastered"
    elif attempts:
        state = "begun"
    else:
        state = "later" if missing else "open"
    row = passes_in_a_row(lesson, outcomes)
    return LessonState(lesson.id, state, attempts, row, lesson.passes, review, missing)
