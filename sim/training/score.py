"""The score of an attempt, computed from its log by replaying it on the machine.

Contents: `Submission`, `ForbiddenAct`, `OutOfOrder`, `ScorePart`, `Score` and `score_attempt`; `control_states` (what
the controls were, when).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from sim.controls import CONTROLS
from sim.deeds import DEEDS
from sim.faults import FaultSpec
from sim.training.answers import AnswerError, AnswerResult, judged
from sim.training.attempt import (
    ActDone,
    Attempt,
    CheckSubmitted,
    ControlMoved,
    Event,
    HintOpened,
    QuestionAnswered,
    check_belongs,
)
from sim.training.checks import CheckResult, all_passed, check_results
from sim.training.deal import deal
from sim.training.lesson import HINT_LEVELS, Lesson
from sim.training.machine import NO_FAULTS, LessonMachine, Start
from sim.training.reader import AttemptError, Problem
from sim.training.run import machine_for
from sim.training.solution import solved_controls
from sim.transport import ACTS, Incident
from sim.wording import unit_words, wording

__all__ = [
    "PARTS",
    "ForbiddenAct",
    "OutOfOrder",
    "Score",
    "ScorePart",
    "Submission",
    "control_states",
    "score_attempt",
    "submission_at",
]

PARTS = ("result", "diagnosis", "order_and_care")
"""Parts of a score: the signals, the answers, and what was done to tape and heads on the way."""


@dataclass(frozen=True)
class Submission:
    """What a submission of the checks gave, `at_s` seconds after the start."""

    at_s: float
    results: tuple[CheckResult, ...]

    @property
    def passed(self) -> bool:
        """Whether every check passed."""
        return all_passed(self.results)


@dataclass(frozen=True)
class ForbiddenAct:
    """A move (`name` a control, with its value) or a deed (`value` None) that the lesson forbids, and why."""

    at_s: float
    name: str
    value: float | None
    reason: str


@dataclass(frozen=True)
class OutOfOrder:
    """Something done before what has to come first: `name` (a control, question or act) before any of `first`."""

    at_s: float
    name: str
    first: tuple[str, ...]


@dataclass(frozen=True)
class ScorePart:
    """One part of a score: whether it is in order, and why, in sentences about signals, answers and moves."""

    name: str
    passed: bool
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Score:
    """What an attempt amounts to.

    Attributes
    ----------
    start : Start
        What the seed dealt.
    submissions : tuple of Submission
        In order of time.
    deciding : Submission or None
        The one that counts: the first that passed, else the last; in an assessment always the first.
    passed : bool
        Every part in order, and nothing that bars a pass before the deciding submission.
    reason : str
        Why it is passed or not yet, in a sentence or two.
    points : float
        Share of the weight of checks and questions that passed, 0 to 1; for information, a pass needs them all.
    hints_opened : tuple of int
        Levels opened before the deciding submission, in order, each once.
    forbidden_acts : tuple of ForbiddenAct
        Before the deciding submission.
    moves : int
        The trainee's own moves and deeds before the deciding submission.
    duration_s : float
        Time of the deciding submission, or of the last event if there is none [s].
    answers : tuple of AnswerResult
        Every question, answered or not; in an assessment as answered before the submission.
    out_of_order : tuple of OutOfOrder
        Before the deciding submission.
    incidents : tuple of Incident
        What dangerous was tried at a running machine before the deciding submission.
    parts : tuple of ScorePart
        Those of `PARTS` that the lesson has: the result if it checks signals, the diagnosis if it asks.
    fluency : tuple of str
        Moves and time against the lesson's par, in sentences; empty if it sets none. Never needed for a pass.
    """

    start: Start
    submissions: tuple[Submission, ...]
    deciding: Submission | None
    passed: bool
    reason: str
    points: float
    hints_opened: tuple[int, ...]
    forbidden_acts: tuple[ForbiddenAct, ...]
    moves: int
    duration_s: float
    answers: tuple[AnswerResult, ...] = ()
    out_of_order: tuple[OutOfOrder, ...] = ()
    parts: tuple[ScorePart, ...] = ()
    fluency: tuple[str, ...] = ()
    incidents: tuple[Incident, ...] = ()

    @property
    def outcome(self) -> str:
        """The overall outcome in words."""
        return wording("score.passed") if self.passed else wording("score.not_yet")


def control_states(attempt: Attempt, start: Start) -> Iterator[tuple[Event, dict[str, float]]]:
    """Yield every event with the value of every control after it."""
    controls = dict(start.controls)
    for event in attempt.events:
        if isinstance(event, ControlMoved):
            controls[event.control] = event.value
        yield event, dict(controls)


def submission_at(
    lesson: Lesson, machine: LessonMachine, start: Start, events: Sequence[Event], at_s: float
) -> Submission:
    """Return what submitting at `at_s`, after `events`, gives."""
    return Submission(at_s, check_results(lesson, machine, start, events, at_s))


def score_attempt(
    lesson: Lesson,
    attempt: Attempt,
    machine: LessonMachine | None = None,
    source_name: str = "attempt",
    faults: Mapping[str, FaultSpec] = NO_FAULTS,
) -> Score:
    """Score an attempt by replaying its log.

    Parameters
    ----------
    lesson : Lesson
        The lesson it was made on.
    attempt : Attempt
        The log.
    machine : LessonMachine, optional
        The lesson's machine, if one is at hand.
    source_name : str
        The log's name for error messages.
    faults : mapping of str to FaultSpec
        The fault catalogue; needed by lessons that deal faults if no machine is given.

    Raises
    ------
    AttemptError
        If the log belongs to another lesson or version, or holds what the lesson does not offer.
    """
    check_belongs(attempt, lesson, source_name)
    machine = machine or machine_for(lesson, faults)
    start = deal(lesson, attempt.seed, machine)
    submissions: list[Submission] = []
    answers: dict[str, AnswerResult] = {}
    # In the order of the log, so that a machine that runs lives through it once.
    for place, event in enumerate(attempt.events):
        if isinstance(event, CheckSubmitted):
            submissions.append(submission_at(lesson, machine, start, attempt.events[: place + 1], event.at_s))
        elif isinstance(event, QuestionAnswered):
            before = attempt.events[:place]
            answers[event.question] = _answer(lesson, event, start, machine, before, source_name)
    return _judged(lesson, attempt, start, tuple(submissions), answers, machine)


def _answer(
    lesson: Lesson,
    event: QuestionAnswered,
    start: Start,
    machine: LessonMachine,
    before: Sequence[Event],
    source_name: str,
) -> AnswerResult:
    question = lesson.question(event.question)
    assert question is not None  # the log belongs to the lesson
    try:
        return judged(lesson, question, start, machine, event.answer, before, event.at_s)
    except AnswerError as error:
        raise AttemptError(
            Problem(source_name, f"answer to '{question.name}'", str(error), "The log was changed or damaged.")
        ) from None


def _judged(
    lesson: Lesson,
    attempt: Attempt,
    start: Start,
    submissions: tuple[Submission, ...],
    answered: Mapping[str, AnswerResult],
    machine: LessonMachine,
) -> Score:
    chosen = _deciding_place(lesson, submissions)
    deciding = None if chosen is None else submissions[chosen]
    before = _events_before(attempt, chosen)
    hints = tuple(dict.fromkeys(event.level for event in before if isinstance(event, HintOpened)))
    forbidden = tuple(act for event in before for act in _forbidden_by(lesson, event))
    # Only an assessment fixes the answers at the submission; elsewhere signals and answers may come in either order.
    counted = before if lesson.mode == "assessment" else attempt.events
    given = {event.question for event in counted if isinstance(event, QuestionAnswered)}
    answers = tuple(
        answered[question.name]
        if question.name in given
        else judged(lesson, question, start, machine, None, attempt.events, attempt.duration_s)
        for question in lesson.questions
    )
    duration_s = deciding.at_s if deciding else attempt.duration_s
    # What the machine refused has not been done, so it has not been done too early.
    refused = machine.refused(start, before, duration_s)
    done = tuple(event for place, event in enumerate(before) if place not in refused)
    out_of_order = tuple(_out_of_order(lesson, done, start))
    incidents = machine.incidents(start, before, duration_s)
    parts = _parts(lesson, deciding, answers, forbidden, out_of_order, incidents)
    reason, passed = _reason(lesson, deciding, answers, hints, parts[-1])
    weight = sum(check.weight for check in lesson.checks) + sum(question.weight for question in lesson.questions)
    earned = sum(result.check.weight for result in deciding.results if result.passed) if deciding else 0.0
    earned += sum(answer.question.weight for answer in answers if answer.passed)
    moves = sum(isinstance(event, ControlMoved | ActDone) and not event.shown for event in before)
    return Score(
        start=start,
        submissions=submissions,
        deciding=deciding,
        passed=passed,
        reason=reason,
        points=earned / weight,
        hints_opened=hints,
        forbidden_acts=forbidden,
        moves=moves,
        duration_s=duration_s,
        answers=answers,
        out_of_order=out_of_order,
        parts=parts,
        fluency=tuple(_fluency(lesson, moves, duration_s)) if deciding else (),
        incidents=incidents,
    )


def _forbidden_by(lesson: Lesson, event: Event) -> Iterator[ForbiddenAct]:
    for rule in lesson.forbidden:
        match event:
            case ControlMoved() if rule.broken_by(event.control, event.value):
                yield ForbiddenAct(event.at_s, event.control, event.value, rule.reason)
            case ActDone() if rule.broken_by_deed(event.act, event.choice):
                yield ForbiddenAct(event.at_s, event.act, None, rule.reason)


def _deciding_place(lesson: Lesson, submissions: tuple[Submission, ...]) -> int | None:
    if not submissions:
        return None
    if lesson.mode == "assessment":
        return 0
    return next((place for place, one in enumerate(submissions) if one.passed), len(submissions) - 1)


def _events_before(attempt: Attempt, submission: int | None) -> tuple[Event, ...]:
    """Return the events before submission number `submission` (from 0); all of them if None."""
    if submission is None:
        return attempt.events
    places = [place for place, event in enumerate(attempt.events) if isinstance(event, CheckSubmitted)]
    return attempt.events[: places[submission]]


def _out_of_order(lesson: Lesson, events: tuple[Event, ...], start: Start) -> Iterator[OutOfOrder]:
    """Yield what was done before any of an earlier group that the dealt start makes necessary; each name once."""
    if not lesson.order:
        return
    solved = solved_controls(lesson, start)
    always = {question.name for question in lesson.questions} | {deed.name for deed in lesson.acts}

    def needed(name: str) -> bool:
        return name in always or (name in solved and solved[name] != start.controls[name])

    told: set[str] = set()
    done: set[str] = set()
    for event in events:
        if isinstance(event, ControlMoved):
            name = event.control
        elif isinstance(event, ActDone):
            name = event.act
        elif isinstance(event, QuestionAnswered):
            name = event.question
        else:
            continue
        done.add(name)
        place = next((place for place, group in enumerate(lesson.order) if name in group), 0)
        for group in lesson.order[:place]:
            if name not in told and done.isdisjoint(group) and any(map(needed, group)):
                told.add(name)
                yield OutOfOrder(event.at_s, name, group)


def _named(lesson: Lesson, name: str) -> str:
    question = lesson.question(name)
    if question is not None:
        return f"'{question.title}'"
    return CONTROLS[name].label if name in CONTROLS else f"'{DEEDS[name].title}'"


def _parts(
    lesson: Lesson,
    deciding: Submission | None,
    answers: tuple[AnswerResult, ...],
    acts: tuple[ForbiddenAct, ...],
    out_of_order: tuple[OutOfOrder, ...],
    incidents: tuple[Incident, ...],
) -> tuple[ScorePart, ...]:
    parts = []
    if lesson.checks:
        results = deciding.results if deciding else ()
        sentences = tuple(result.sentence for result in results)
        parts.append(ScorePart("result", deciding is not None and all_passed(results), sentences))
    if answers:
        right = all(answer.passed for answer in answers)
        parts.append(ScorePart("diagnosis", right, tuple(answer.sentence for answer in answers)))
    care = [_act_sentence(act) for act in acts]
    for one in out_of_order:
        first = wording("list.or").join(_named(lesson, name) for name in one.first)
        care.append(wording("score.came_before_which_first", name=_named(lesson, one.name), first=first))
    care += [
        wording("score.tried_which_dangerous_here", title=ACTS[one.act].title, sentence=one.sentence)
        for one in incidents
    ]
    parts.append(ScorePart("order_and_care", not care, tuple(care)))
    return tuple(parts)


def _act_sentence(act: ForbiddenAct) -> str:
    if act.value is None:
        return wording("score.not_allowed_here_2", title=DEEDS[act.name].title, reason=act.reason)
    spec = CONTROLS[act.name]
    where = wording("score.at", label=spec.label, value=f"{act.value:g}", unit=unit_words(spec.unit)).rstrip()
    return wording("score.not_allowed_here", where=where, reason=act.reason)


def _fluency(lesson: Lesson, moves: int, duration_s: float) -> Iterator[str]:
    if lesson.care.moves_par is not None:
        yield wording("score.moves_practised_hand_needs", moves=moves, moves_par=lesson.care.moves_par)
    if lesson.care.minutes_par is not None:
        yield wording(
            "score.minutes_practised_hand_needs",
            duration_s=f"{duration_s / 60.0:.1f}",
            minutes_par=f"{lesson.care.minutes_par:g}",
        )


def _reason(
    lesson: Lesson,
    deciding: Submission | None,
    answers: tuple[AnswerResult, ...],
    hints: tuple[int, ...],
    care: ScorePart,
) -> tuple[str, bool]:
    if deciding is None:
        return wording("score.signals_not_submitted" if lesson.checks else "score.answers_not_submitted"), False
    missed = [result.sentence for result in deciding.results if not result.passed]
    missed += [answer.sentence for answer in answers if not answer.passed]
    if missed:
        return " ".join(missed), False
    both = "both" if lesson.checks and answers else "checks" if lesson.checks else "answers"
    all_good = wording(f"score.all_{both}")
    if care.sentences:
        return wording("score.but", all_good=all_good, sentences=care.sentences[0]), False
    if hints and lesson.mode == "assessment":
        return wording("score.but_hint_opened_which", all_good=all_good), False
    text = " ".join((*_counted("check", len(deciding.results)), *_counted("answer", len(answers))))
    if len(HINT_LEVELS) in hints:
        text += " " + wording("score.last_hint")
    return text, True


def _counted(what: str, count: int) -> Iterator[str]:
    if count:
        yield wording(f"score.one_{what}") if count == 1 else wording(f"score.many_{what}", count=count)
