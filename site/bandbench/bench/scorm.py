"""What a SCORM 1.2 learning system is told of an attempt and of a course: its words and numbers, nothing of its calls.

Contents: `Launch` (what it says at the beginning) with `read_launch`; `points_of` and `Standing` with `standing_of`,
`lesson_standing` and `course_objective` (status and score); `objective_values`, `answer_values`, `check_values`
(objectives and interactions); the forms of times and texts (`time_of_day`, `span`, `plain_text`). Pure: no clock, no
page. Who tells what and when is `bandbench.bench.scormvisit`'s.

Elements and vocabularies are the SCORM 1.2 Run-Time Environment's (QUOTED); all values are texts.
"""

from __future__ import annotations

import math
import unicodedata
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from bandbench.bench.recordform import LONGEST_NAME
from bandbench.bench.scormstate import CourseOutcome
from sim.training.answers import AnswerResult
from sim.training.checks import CheckResult, number_text
from sim.training.lesson import Lesson
from sim.training.progress import mastered_at
from sim.training.score import Score

__all__ = [
    "LONGEST_IDENTIFIER",
    "Launch",
    "Standing",
    "answer_values",
    "check_objective",
    "check_values",
    "course_objective",
    "lesson_standing",
    "objective_values",
    "plain_text",
    "points_of",
    "question_objective",
    "read_launch",
    "span",
    "standing_of",
    "time_of_day",
]

LONGEST_IDENTIFIER = 255
"""QUOTED, SCORM 1.2 Run-Time Environment, CMIIdentifier and CMIString255: characters."""

_FULL_SCORE = 100
_DECIDED = ("passed", "failed", "completed")
_LOOKING_ONLY = ("browse", "review")
# Any name space will do, as long as it stays the same: one learner of one system is always the same profile here.
_LEARNERS = uuid.UUID("6f0d2a52-9a2c-5c0e-8f63-0e6a4c1a7b11")


@dataclass(frozen=True)
class Launch:
    """What the learning system says at the beginning of a visit.

    Attributes
    ----------
    student_id, student_name : str
        The learner; data, never markup.
    entry : str
        ``ab-initio``, ``resume`` or empty.
    lesson_mode : str
        ``normal``, ``browse`` or ``review``.
    mastery : float or None
        Score, 0 to 100, from which the school takes it as passed; None if it sets none.
    launch_data : str
        What the manifest, or the school, gives along.
    status : str
        Status of the visits before.
    suspend_data : str
        What was kept (see `bandbench.bench.scormstate`).
    objectives : tuple of str
        Ids of the objectives that are there already, in order.
    interactions : int
        How many interactions are there already.
    """

    student_id: str = ""
    student_name: str = ""
    entry: str = ""
    lesson_mode: str = "normal"
    mastery: float | None = None
    launch_data: str = ""
    status: str = "not attempted"
    suspend_data: str = ""
    objectives: tuple[str, ...] = ()
    interactions: int = 0

    @property
    def looking_only(self) -> bool:
        """Whether nothing of this visit may be told or kept."""
        return self.lesson_mode in _LOOKING_ONLY

    @property
    def profile_id(self) -> str:
        """Id of the learner's profile here, always the same for the same learner."""
        # Half a letter, which a text of the browser's may hold, has no code of its own.
        named = (self.student_id or self.student_name).encode("utf-8", "backslashreplace").decode("utf-8")
        return str(uuid.uuid5(_LEARNERS, named))

    @property
    def profile_name(self) -> str:
        """The learner's name as it can be shown; systems write the family name first, after it a comma."""
        shown = "".join(letter if letter.isprintable() else " " for letter in self.student_name)
        return " ".join(shown.split())[:LONGEST_NAME].strip()


# More interactions than any visit has; Python itself refuses numbers of thousands of digits.
_MOST_DIGITS = 9


def read_launch(data: Mapping[str, object]) -> Launch:
    """Return what the page read from the learning system; whatever is missing or makes no sense counts as not said.

    Parameters
    ----------
    data : mapping
        Texts by the names of `Launch`; ``objectives`` is a list of texts.
    """

    def text(key: str) -> str:
        return str(data.get(key) or "").strip()

    try:
        mastery: float | None = float(text("mastery"))
    except ValueError:
        mastery = None
    objectives = data.get("objectives")
    counted = text("interactions")
    return Launch(
        student_id=text("student_id"),
        student_name=text("student_name"),
        entry=text("entry"),
        lesson_mode=text("lesson_mode") or "normal",
        mastery=mastery if mastery is not None and 0.0 <= mastery <= _FULL_SCORE else None,
        launch_data=text("launch_data"),
        status=text("status") or "not attempted",
        suspend_data=text("suspend_data"),
        objectives=tuple(map(str, objectives)) if isinstance(objectives, list) else (),
        interactions=int(counted) if counted.isdecimal() and len(counted) <= _MOST_DIGITS else 0,
    )


# Forms ------------------------------------------------------------------------------------------------------


def time_of_day(moment: datetime) -> str:
    """Return a moment's time as CMITime.

    Examples
    --------
    >>> time_of_day(datetime(2026, 3, 1, 9, 5, 7))
    '09:05:07'
    """
    return moment.strftime("%H:%M:%S")


def span(seconds: float) -> str:
    """Return a length of time as CMITimespan, to the hundredth of a second.

    Examples
    --------
    >>> span(3725.5)
    '0001:02:05.50'
    """
    hundredths = min(round(max(seconds, 0.0) * 100), 9999 * 360_000 + 359_999)
    minutes, rest = divmod(hundredths, 6000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:04d}:{minutes:02d}:{rest // 100:02d}.{rest % 100:02d}"


def plain_text(text: str) -> str:
    """Return a text in ASCII, in one line and short enough for any system.

    Examples
    --------
    >>> plain_text("\N{MINUS SIGN}0.5 \N{MICRO SIGN}s")
    '-0.5 us'
    """
    for sign, plain in (("\N{MINUS SIGN}", "-"), ("\N{MICRO SIGN}", "u"), ("\N{DEGREE SIGN}", " deg")):
        text = text.replace(sign, plain)
    ascii_only = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    printable = "".join(letter if letter.isprintable() else " " for letter in ascii_only)
    return " ".join(printable.split())[:LONGEST_IDENTIFIER]


# Status and score -------------------------------------------------------------------------------------------


def points_of(score: Score) -> int:
    """Return an attempt's score, 0 to 100: the share of the weight in order; 100 is kept for a pass.

    A system that judges by the score alone then comes to the same result as the bench: what was reached by a forbidden
    act, in the wrong order or with a hint in an assessment is no full score.
    """
    if score.passed:
        return _FULL_SCORE
    return min(math.floor(_FULL_SCORE * score.points), _FULL_SCORE - 1)


@dataclass(frozen=True)
class Standing:
    """How a lesson or a course stands: one of SCORM's statuses, and the score, if there is one yet."""

    status: str
    raw: int | None


def lesson_standing(lesson: Lesson, outcomes: Sequence[CourseOutcome], mastery: float | None = None) -> Standing:
    """Return how a lesson stands, by the best of its submitted attempts.

    A demonstration is completed, it cannot be failed. Where the school sets a score to be reached, that decides.
    """
    own = [one for one in outcomes if one.lesson == lesson.id]
    if not own:
        return Standing("incomplete", None)
    raw = max(one.raw for one in own)
    passed = any(one.passed for one in own) if mastery is None else raw >= mastery
    if lesson.mode == "demonstration":
        return Standing("completed" if passed else "incomplete", raw)
    return Standing("passed" if passed else "failed", raw)


def standing_of(
    lessons: Sequence[Lesson], single: bool, outcomes: Sequence[CourseOutcome], mastery: float | None, before: str
) -> Standing:
    """Return what the learning system is told of the whole package.

    Parameters
    ----------
    lessons : sequence of Lesson
        Those inside.
    single : bool
        Whether the package is one lesson; else it is a course, which is passed once every lesson is mastered, and
        whose score is the share of the lessons that are.
    outcomes : sequence of CourseOutcome
        The learner's submitted attempts.
    mastery : float or None
        The score that the school asks for.
    before : str
        The status so far: what was passed or completed stays so.

    Notes
    -----
    A system with a score to be reached judges at the end of each visit by whatever score it then has. It is told one
    only when the status is decided, so that a course half done does not come out as failed.
    """
    if single:
        standing = lesson_standing(lessons[0], outcomes, mastery)
    else:
        mastered = sum(_is_mastered(lesson, outcomes) for lesson in lessons)
        raw = _FULL_SCORE * mastered // len(lessons)
        done = mastered == len(lessons) if mastery is None else raw >= mastery
        standing = Standing("passed" if done else "incomplete", raw if outcomes else None)
    status, raw_told = standing.status, standing.raw
    if before in ("passed", "completed") and status != "passed":
        # A worse attempt later, or one that is no longer known, takes nothing away.
        return Standing(before, raw_told if status == before else None)
    if before == "failed" and status == "incomplete":
        status = before
    if mastery is not None and status not in _DECIDED:
        raw_told = None
    return Standing(status, raw_told)


def course_objective(lesson: Lesson, outcomes: Sequence[CourseOutcome], going_on: bool) -> Standing:
    """Return how a lesson stands as an objective of the course: passed only once it is mastered."""
    own = [one for one in outcomes if one.lesson == lesson.id]
    if not own:
        return Standing("incomplete" if going_on else "not attempted", None)
    raw = max(one.raw for one in own)
    if _is_mastered(lesson, own):
        return Standing("passed", raw)
    return Standing("incomplete" if any(one.passed for one in own) else "failed", raw)


def _is_mastered(lesson: Lesson, outcomes: Sequence[CourseOutcome]) -> bool:
    return mastered_at(lesson, [one.progress() for one in outcomes if one.lesson == lesson.id]) is not None


# Objectives and interactions --------------------------------------------------------------------------------


def check_objective(name: str) -> str:
    """Return the id of a check's objective."""
    return f"check.{name}"


def question_objective(name: str) -> str:
    """Return the id of a question's objective."""
    return f"question.{name}"


def objective_values(place: int, identifier: str, standing: Standing, fresh: bool) -> Iterator[tuple[str, str]]:
    """Yield elements and values of one objective; `fresh`: it is not there yet."""
    lead = f"cmi.objectives.{place}"
    if fresh:
        yield f"{lead}.id", identifier
    if standing.raw is not None:
        yield f"{lead}.score.min", "0"
        yield f"{lead}.score.max", str(_FULL_SCORE)
        yield f"{lead}.score.raw", str(standing.raw)
    yield f"{lead}.status", standing.status


def _interaction(
    place: int, identifier: str, objective: str, at: datetime, weight: float, kind: str
) -> Iterator[tuple[str, str]]:
    lead = f"cmi.interactions.{place}"
    yield f"{lead}.id", identifier[:LONGEST_IDENTIFIER]
    yield f"{lead}.objectives.0.id", objective[:LONGEST_IDENTIFIER]
    yield f"{lead}.time", time_of_day(at)
    yield f"{lead}.type", kind
    yield f"{lead}.weighting", f"{weight:g}"


def check_values(
    place: int, lesson: Lesson, result: CheckResult, objective: str, at: datetime, latency_s: float
) -> Iterator[tuple[str, str]]:
    """Yield elements and values of the interaction that one check of a submission is: a performance.

    Parameters
    ----------
    place : int
        Number of the interaction.
    lesson, result
        What was checked, and what came out.
    objective : str
        Id of the objective it belongs to.
    at : datetime
        When, by the learner's clock.
    latency_s : float
        Time since the attempt began [s].
    """
    lead = f"cmi.interactions.{place}"
    yield from _interaction(
        place, f"{lesson.id}.{result.check.name}", objective, at, result.check.weight, "performance"
    )
    yield f"{lead}.student_response", plain_text(_value(result))
    yield f"{lead}.correct_responses.0.pattern", plain_text(_target(result))
    yield f"{lead}.result", "correct" if result.passed else "wrong"
    yield f"{lead}.latency", span(latency_s)


def _value(result: CheckResult) -> str:
    """Return a reading as a learning system gets it: in the same words whatever language the page speaks."""
    if result.value is None:
        return "no reading"
    return f"{number_text(result.value, result.check.tolerance)} {result.check.unit}"


def _target(result: CheckResult) -> str:
    check = result.check
    wide = number_text(check.tolerance, check.tolerance, signed=False)
    goal = number_text(result.target, check.tolerance)
    if check.kind == "peak":
        return f"the peak {goal} {check.unit}, at most {wide} {check.unit} below it"
    return f"{goal} {check.unit} within {wide} {check.unit}"


def answer_values(
    place: int, lesson: Lesson, result: AnswerResult, objective: str, at: datetime, latency_s: float
) -> Iterator[tuple[str, str]]:
    """Yield elements and values of the interaction that an answer is; parameters as for `check_values`.

    A choice is told as letters, in the order of the lesson's own options, so that ``a`` is the same for every learner;
    a head by its number; a cause, whose options are dealt, by its names.
    """
    lead = f"cmi.interactions.{place}"
    question = result.question
    kind = {"choice": "choice", "head": "choice", "numeric": "numeric"}.get(question.kind, "performance")
    yield from _interaction(place, f"{lesson.id}.{question.name}", objective, at, question.weight, kind)
    for element, answer in (("student_response", result.given), ("correct_responses.0.pattern", result.right)):
        if answer is not None:
            yield f"{lead}.{element}", _told(question.kind, question.options, answer)
    yield f"{lead}.result", "correct" if result.passed else "wrong"
    yield f"{lead}.latency", span(latency_s)


def _told(kind: str, options: Sequence[str], answer: str) -> str:
    if kind == "choice" and answer in options:
        return chr(ord("a") + options.index(answer))
    if kind == "head":
        return answer.replace("+", ",")
    if kind == "numeric":
        # CMIDecimal knows no exponents.
        return f"{float(answer):.6f}".rstrip("0").rstrip(".")
    return plain_text(answer)
