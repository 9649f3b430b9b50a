"""The score of an attempt, computed from its log by replaying it on the machine.

Contents: `Submission`, `ForbiddenAct`, `Score` and `score_attempt`; `control_states` (what the controls were, when).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sim.controls import CONTROLS
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event, HintOpened, check_belongs
from sim.training.checks import CheckResult, all_passed, check_results
from sim.training.deal import deal
from sim.training.lesson import HINT_LEVELS, Lesson
from sim.training.machine import Machine, Start

__all__ = ["ForbiddenAct", "Score", "Submission", "control_states", "score_attempt", "submission_at"]


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
    """A move the lesson forbids, and why."""

    at_s: float
    control: str
    value: float
    reason: str


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
        Every check of the deciding submission in tolerance, and nothing that bars a pass before it.
    reason : str
        Why it is passed or not yet, in a sentence or two.
    points : float
        Share of the checks' weight that passed, 0 to 1; for information, a pass needs them all.
    hints_opened : tuple of int
        Levels opened before the deciding submission, in order, each once.
    forbidden_acts : tuple of ForbiddenAct
        Before the deciding submission.
    moves : int
        Control moves before the deciding submission.
    duration_s : float
        Time of the deciding submission, or of the last event if there is none [s].
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

    @property
    def outcome(self) -> str:
        """The overall outcome in words."""
        return "passed" if self.passed else "not yet"


def control_states(attempt: Attempt, start: Start) -> Iterator[tuple[Event, dict[str, float]]]:
    """Yield every event with the value of every control after it."""
    controls = dict(start.controls)
    for event in attempt.events:
        if isinstance(event, ControlMoved):
            controls[event.control] = event.value
        yield event, dict(controls)


def submission_at(
    lesson: Lesson, machine: Machine, start: Start, controls: Mapping[str, float], at_s: float
) -> Submission:
    """Return what submitting these settings at `at_s` gives."""
    index = machine.frame_index(at_s)
    return Submission(at_s, check_results(lesson, machine, start, controls, index))


def score_attempt(
    lesson: Lesson, attempt: Attempt, machine: Machine | None = None, source_name: str = "attempt"
) -> Score:
    """Score an attempt by replaying its log.

    Parameters
    ----------
    lesson : Lesson
        The lesson it was made on.
    attempt : Attempt
        The log.
    machine : Machine, optional
        The lesson's machine, if one is at hand.
    source_name : str
        The log's name for error messages.

    Raises
    ------
    AttemptError
        If the log belongs to another lesson or version, or holds what the lesson does not offer.
    """
    check_belongs(attempt, lesson, source_name)
    machine = machine or Machine(lesson)
    start = deal(lesson, attempt.seed, machine)
    submissions = tuple(
        submission_at(lesson, machine, start, controls, event.at_s)
        for event, controls in control_states(attempt, start)
        if isinstance(event, CheckSubmitted)
    )
    return _judged(lesson, attempt, start, submissions)


def _judged(lesson: Lesson, attempt: Attempt, start: Start, submissions: tuple[Submission, ...]) -> Score:
    chosen = _deciding_place(lesson, submissions)
    deciding = None if chosen is None else submissions[chosen]
    before = _events_before(attempt, chosen)
    hints = tuple(dict.fromkeys(event.level for event in before if isinstance(event, HintOpened)))
    moved = [event for event in before if isinstance(event, ControlMoved)]
    acts = tuple(
        ForbiddenAct(move.at_s, move.control, move.value, rule.reason)
        for move in moved
        for rule in lesson.forbidden
        if rule.broken_by(move.control, move.value)
    )
    reason, passed = _reason(lesson, deciding, hints, acts)
    weight = sum(check.weight for check in lesson.checks)
    earned = sum(result.check.weight for result in deciding.results if result.passed) if deciding else 0.0
    return Score(
        start=start,
        submissions=submissions,
        deciding=deciding,
        passed=passed,
        reason=reason,
        points=earned / weight,
        hints_opened=hints,
        forbidden_acts=acts,
        moves=len(moved),
        duration_s=deciding.at_s if deciding else attempt.duration_s,
    )


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


def _reason(
    lesson: Lesson, deciding: Submission | None, hints: tuple[int, ...], acts: tuple[ForbiddenAct, ...]
) -> tuple[str, bool]:
    if deciding is None:
        return "The signals were not submitted for checking.", False
    missed = [result.sentence for result in deciding.results if not result.passed]
    if missed:
        return " ".join(missed), False
    if acts:
        act = acts[0]
        spec = CONTROLS[act.control]
        where = f"{spec.label} at {act.value:g} {spec.unit}".rstrip()
        return f"All checks are in tolerance, but {where} is not allowed here: {act.reason}", False
    if hints and lesson.mode == "assessment":
        return "All checks are in tolerance, but a hint was opened, which an assessment does not allow.", False
    count = len(deciding.results)
    text = "The check is in tolerance." if count == 1 else f"All {count} checks are in tolerance."
    if len(HINT_LEVELS) in hints:
        text += " The last hint gave the step away: do a fresh variation without it."
    return text, True
