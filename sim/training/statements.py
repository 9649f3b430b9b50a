"""What was done in an attempt as xAPI statements, computed from its log and its score; nothing is sent from here.

Contents: `Circumstances`; `trail` (the statements so far), `ending` (those of an attempt that is over),
`attempt_statements` (both), `suspended` and `resumed`; `statement_id`, `activity_of_lesson`, `utc_text`,
`duration_text`.

Identifiers are names, not addresses: everything of ours stands below `SITE`, a domain that nobody can own (RFC 2606).
Ids are UUIDs of learner, attempt and event: whatever is computed twice is the same statement, and counts once. Moves
of controls are not told one by one; what the controls were stands beside each submission.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sim.training.answers import AnswerResult
from sim.training.attempt import Attempt, CheckSubmitted, HintOpened, QuestionAnswered
from sim.training.lesson import HINT_LEVELS, Lesson
from sim.training.machine import Start
from sim.training.parts import Question
from sim.training.score import Score, Submission, control_states

__all__ = [
    "CAREFUL",
    "EXTENSIONS",
    "LANGUAGE",
    "SITE",
    "VERBS",
    "Circumstances",
    "Statement",
    "activity_of_lesson",
    "attempt_statements",
    "duration_text",
    "ending",
    "lesson_iri",
    "resumed",
    "statement_id",
    "suspended",
    "trail",
    "utc_text",
    "verb",
]

Statement = dict[str, Any]
"""A statement as plain tables, ready for JSON."""

SITE = "https://bandbench.example"
"""What every identifier of ours begins with: an invented domain, of those that RFC 2606 keeps free for ever."""
EXTENSIONS = f"{SITE}/xapi/extensions/"
"""Begins the names of what a statement says beyond the specification."""
CAREFUL = f"{EXTENSIONS}careful"
"""Extension of what was passed or failed: whether order of work, care and help were as they should be."""
LANGUAGE = "en-GB"
"""Language of the lessons' texts."""

VERBS = "http://adlnet.gov/expapi/verbs/"
_TYPES = "http://adlnet.gov/expapi/activities/"
_NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, f"{SITE}/xapi")
_COURSE = {"objectType": "Activity", "id": f"{SITE}/course", "definition": {"type": f"{_TYPES}course"}}


@dataclass(frozen=True)
class Circumstances:
    """Whose attempt it is, which, and when it began.

    Attributes
    ----------
    learner : str
        An opaque id of the learner, never a name.
    attempt_id : str
        UUID of the attempt.
    began_at : datetime
        The moment of the log's 0 s, with its time zone.
    app_version : str
        The program it was made with.
    """

    learner: str
    attempt_id: str
    began_at: datetime
    app_version: str


def statement_id(*parts: str) -> str:
    """Return the UUID (version 5) of what a statement is about: always the same for the same parts."""
    # Half a letter, which a learning system's text may hold, has no code of its own.
    about = "/".join(parts).encode("utf-8", "backslashreplace").decode("utf-8")
    return str(uuid.uuid5(_NAMESPACE, about))


def verb(name: str) -> dict[str, Any]:
    """Return one of ADL's verbs."""
    return {"id": f"{VERBS}{name}", "display": {"en": name}}


def utc_text(moment: datetime) -> str:
    """Return a moment in UTC to the millisecond, ending in Z.

    Examples
    --------
    >>> utc_text(datetime(2026, 3, 1, 12, 0, 5, 250000, UTC))
    '2026-03-01T12:00:05.250Z'
    """
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def duration_text(seconds: float) -> str:
    """Return an ISO 8601 duration in hundredths of a second, which is as fine as record stores compare.

    Examples
    --------
    >>> duration_text(83.456)
    'PT83.46S'
    >>> duration_text(120.0)
    'PT120S'
    """
    return f"PT{max(seconds, 0.0):.2f}".rstrip("0").rstrip(".") + "S"


def lesson_iri(lesson_id: str) -> str:
    """Return the identifier of a lesson."""
    return f"{SITE}/lessons/{lesson_id}"


def activity_of_lesson(lesson: Lesson) -> dict[str, Any]:
    """Return the lesson as an activity."""
    kind = "assessment" if lesson.mode == "assessment" else "simulation"
    return {
        "objectType": "Activity",
        "id": lesson_iri(lesson.id),
        "definition": {
            "name": _said(lesson, lesson.title),
            "description": _said(lesson, " ".join(lesson.objectives)),
            "type": f"{_TYPES}{kind}",
        },
    }


def attempt_statements(lesson: Lesson, attempt: Attempt, circumstances: Circumstances, score: Score) -> list[Statement]:
    """Return every statement of an attempt that is over, in order of time.

    Parameters
    ----------
    lesson : Lesson
        The lesson it was made on.
    attempt : Attempt
        The log.
    circumstances : Circumstances
        Whose it is, which, and when.
    score : Score
        What `sim.training.score.score_attempt` makes of the log.
    """
    answers = {answer.question.name: answer for answer in score.answers}
    so_far = trail(lesson, attempt, circumstances, score.start, score.submissions, answers, over=True)
    return [*so_far, *ending(lesson, attempt, circumstances, score)]


def trail(
    lesson: Lesson,
    attempt: Attempt,
    circumstances: Circumstances,
    start: Start,
    submissions: Sequence[Submission],
    answers: Mapping[str, AnswerResult],
    *,
    over: bool = False,
) -> list[Statement]:
    """Return the statements of an attempt as far as it has come: what is there stays as the log grows.

    Parameters
    ----------
    lesson, attempt, circumstances
        As in `attempt_statements`.
    start : Start
        What the seed dealt.
    submissions : sequence of Submission
        What each submission of the log gave, in order. The trail ends before one that is not there yet.
    answers : mapping of str to AnswerResult
        What each answer of the log was worth, by the question's name; the trail ends before one that is missing.
    over : bool
        Whether the attempt is over. While it goes on, the trail of a case or an assessment ends before its first
        answer: whether it is right is told with the submission, here as on the page.
    """
    return list(_trail(lesson, attempt, circumstances, start, submissions, answers, over))


def _trail(
    lesson: Lesson,
    attempt: Attempt,
    circumstances: Circumstances,
    start: Start,
    submissions: Sequence[Submission],
    answers: Mapping[str, AnswerResult],
    over: bool,
) -> Iterator[Statement]:
    held = not over and lesson.mode in ("diagnosis", "assessment") and not submissions
    say = _Speaker(lesson, attempt, circumstances)
    yield say("initialized", "initialized", 0.0, activity_of_lesson(lesson))
    submitted = 0
    for place, (event, controls) in enumerate(control_states(attempt, start)):
        key = f"event-{place}"
        match event:
            case HintOpened():
                yield say("interacted", key, event.at_s, _hint(lesson, event.level), parent=True)
            case QuestionAnswered():
                answer = answers.get(event.question)
                if held or answer is None:
                    return
                activity, result = _answered(lesson, event, answer)
                yield say("answered", key, event.at_s, activity, result, parent=True)
            case CheckSubmitted():
                if submitted == len(submissions):
                    return
                result = _submitted(submissions[submitted])
                submitted += 1
                machine = {"controls": {name: controls[name] for name in lesson.controls}}
                yield say("attempted", key, event.at_s, _checks(lesson), result, machine, parent=True)


def ending(lesson: Lesson, attempt: Attempt, circumstances: Circumstances, score: Score) -> list[Statement]:
    """Return what ends an attempt: passed or failed and completed as far as it came to that, and terminated.

    An attempt whose signals or answers were never submitted is neither passed nor failed; one that was left with
    something to do is not completed.
    """
    say = _Speaker(lesson, attempt, circumstances)
    activity, end_s = activity_of_lesson(lesson), attempt.duration_s
    spent = duration_text(score.duration_s)
    dealt = {"faults": [fault.name for fault in score.start.faults]}
    statements = []
    if score.deciding is not None:
        result = {
            "score": {"scaled": round(score.points, 4)},
            "success": score.passed,
            "duration": spent,
            "extensions": _named({"missed": _missed(score), "moves": score.moves, "hints": list(score.hints_opened)})
            | {CAREFUL: score.parts[-1].passed},
        }
        outcome = "passed" if score.passed else "failed"
        statements.append(say(outcome, outcome, end_s, activity, result, dealt))
    if _finished(lesson, score):
        statements.append(say("completed", "completed", end_s, activity, {"completion": True, "duration": spent}))
    total = {"duration": duration_text(end_s)}
    statements.append(say("terminated", "terminated", end_s, activity, total))
    return statements


def suspended(lesson: Lesson, attempt: Attempt, circumstances: Circumstances) -> Statement:
    """Return that an attempt was left after the last event of its log, to be resumed."""
    say = _Speaker(lesson, attempt, circumstances)
    result = {"duration": duration_text(attempt.duration_s)}
    key = f"suspended-{len(attempt.events)}"
    return say("suspended", key, attempt.duration_s, activity_of_lesson(lesson), result)


def resumed(lesson: Lesson, attempt: Attempt, circumstances: Circumstances) -> Statement:
    """Return that an attempt is gone on with after the last event of its log."""
    say = _Speaker(lesson, attempt, circumstances)
    key = f"resumed-{len(attempt.events)}"
    return say("resumed", key, attempt.duration_s, activity_of_lesson(lesson))


def _finished(lesson: Lesson, score: Score) -> bool:
    if score.deciding is None:
        return False
    if lesson.mode == "assessment":
        return True
    all_answered = all(answer.given is not None for answer in score.answers)
    return all_answered and any(submission.passed for submission in score.submissions)


class _Speaker:
    """Says what was done in one attempt."""

    def __init__(self, lesson: Lesson, attempt: Attempt, circumstances: Circumstances) -> None:
        self._lesson = lesson
        self._seed = attempt.seed
        self._circumstances = circumstances

    def __call__(
        self,
        verb_name: str,
        key: str,
        at_s: float,
        activity: Mapping[str, Any],
        result: Mapping[str, Any] | None = None,
        machine: Mapping[str, Any] | None = None,
        *,
        parent: bool = False,
    ) -> Statement:
        around = self._circumstances
        activities: dict[str, Any] = {"grouping": [_COURSE]}
        if parent:
            activities = {"parent": [{"objectType": "Activity", "id": lesson_iri(self._lesson.id)}], **activities}
        said = {
            "seed": self._seed,
            "attempt": around.attempt_id,
            "at_s": at_s,
            "app_version": around.app_version,
            **(machine or {}),
        }
        statement: Statement = {
            "id": statement_id(around.learner, around.attempt_id, key),
            "actor": {
                "objectType": "Agent",
                "account": {"homePage": f"{SITE}/learners", "name": around.learner},
            },
            "verb": verb(verb_name),
            "object": dict(activity),
        }
        if result:
            statement["result"] = dict(result)
        statement["context"] = {
            # An attempt in an imported file may have any number for its UUID; a registration must be a proper one.
            "registration": statement_id("attempt", around.attempt_id),
            "contextActivities": activities,
            "revision": str(self._lesson.version),
            "platform": "bandbench",
            "language": LANGUAGE,
            "extensions": _named(said),
        }
        statement["timestamp"] = utc_text(around.began_at + timedelta(seconds=at_s))
        return statement


def _said(lesson: Lesson, text: str) -> dict[str, str]:
    """Return a text of a lesson as a language map."""
    return {LANGUAGE if lesson.language == "en" else lesson.language: text}


def _missed(score: Score) -> list[str]:
    """Return the names of the checks and questions that were not right in the end: the same in every language."""
    checks = [result.check.name for result in score.deciding.results if not result.passed] if score.deciding else []
    return checks + [answer.question.name for answer in score.answers if not answer.passed]


def _named(values: Mapping[str, Any]) -> dict[str, Any]:
    return {f"{EXTENSIONS}{key}": value for key, value in values.items()}


def _part(
    lesson: Lesson, path: str, name: Mapping[str, str], description: Mapping[str, str], kind: str, **more: Any
) -> dict[str, Any]:
    definition = {"name": dict(name), "description": dict(description), "type": kind, **more}
    return {"objectType": "Activity", "id": f"{lesson_iri(lesson.id)}/{path}", "definition": definition}


def _hint(lesson: Lesson, level: int) -> dict[str, Any]:
    # What a hint says stays with the lesson: a record store is no place to look it up.
    name = {LANGUAGE: f"Hint {level} ({HINT_LEVELS[level - 1]})"}
    return _part(lesson, f"hints/{level}", name, _said(lesson, lesson.title), f"{SITE}/xapi/activities/hint")


def _checks(lesson: Lesson) -> dict[str, Any]:
    titles = "; ".join(check.title for check in lesson.checks) or "; ".join(one.title for one in lesson.questions)
    return _part(lesson, "checks", {LANGUAGE: "Checks"}, _said(lesson, titles), f"{_TYPES}assessment")


def _finite(value: float | None) -> float | None:
    # JSON has no infinity, which is what a head without any RF reads.
    return value if value is not None and math.isfinite(value) else None


def _submitted(submission: Submission) -> dict[str, Any]:
    checks = [
        {
            "name": result.check.name,
            "value": _finite(result.value),
            "target": _finite(result.target),
            "tolerance": result.check.tolerance,
            "unit": result.check.unit,
            "passed": result.passed,
        }
        for result in submission.results
    ]
    result: dict[str, Any] = {"success": submission.passed, "duration": duration_text(submission.at_s)}
    return {**result, "extensions": _named({"checks": checks})} if checks else result


def _answered(lesson: Lesson, event: QuestionAnswered, answer: AnswerResult) -> tuple[dict[str, Any], dict[str, Any]]:
    question = answer.question
    # One identifier stands for the same question in every variation: what a seed deals is not part of it.
    more: dict[str, Any] = {"interactionType": "numeric" if question.kind == "numeric" else "choice"}
    if question.kind == "choice":
        more["choices"] = [
            {"id": f"option-{place}", "description": _said(lesson, words)}
            for place, (_, words) in enumerate(question.option_words, start=1)
        ]
    kind = f"{_TYPES}cmi.interaction"
    activity = _part(
        lesson,
        f"questions/{question.name}",
        _said(lesson, question.title),
        _said(lesson, question.text.strip()),
        kind,
        **more,
    )
    result = {
        "success": answer.passed,
        "response": _response(question, event.answer),
        "extensions": _named({"given": event.answer}),
    }
    return activity, result


def _response(question: Question, answer: str) -> str:
    if question.kind == "choice":
        return f"option-{1 + question.options.index(answer)}"
    # Several choices in one response are parted so.
    return answer.replace("+", "[,]") if question.kind in ("cause", "head") else answer
