"""Replay: how an attempt stood at any moment, from its log alone; and attempts broken off are taken up again."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import BandbenchError
from sim.training.attempt import (
    Attempt,
    CheckSubmitted,
    ControlMoved,
    Event,
    HintOpened,
    NoteWritten,
    QuestionAnswered,
    StepShown,
    attempt_from_json,
)
from sim.training.deal import deal
from sim.training.reader import AttemptError
from sim.training.replay import moments, state_at
from sim.training.score import control_states, score_attempt
from sim.training.session import Session, SessionError
from tests.training_examples import example, example_machine

LESSON, MACHINE, SEED = example("guided"), example_machine("guided"), 4
START = deal(LESSON, SEED, MACHINE)
LOG = Attempt(
    LESSON.id,
    LESSON.version,
    SEED,
    (
        StepShown(1.0, 2),
        ControlMoved(2.0, "tracking_phase_deg", 0.0, shown=True),
        HintOpened(2.0, 1),
        QuestionAnswered(3.5, "weakest", "2"),
        NoteWritten(4.0, "Head 2 is a little low."),
        ControlMoved(5.0, "guide_position_um", 12.0),
        CheckSubmitted(6.0),
        StepShown(7.0, 3),
    ),
)


@pytest.mark.parametrize(
    ("at_s", "events", "step", "hints", "answers", "guide_um"),
    [
        (0.0, 0, 1, 0, {}, None),
        (2.0, 3, 2, 1, {}, None),
        (3.9, 4, 2, 1, {"weakest": "2"}, None),
        (5.0, 6, 2, 1, {"weakest": "2"}, 12.0),
        (99.0, 8, 3, 1, {"weakest": "2"}, 12.0),
    ],
)
def test_state_at_a_moment(
    at_s: float, events: int, step: int, hints: int, answers: dict[str, str], guide_um: float | None
) -> None:
    state = state_at(LOG, START, at_s)
    assert (state.events, state.step, state.hints_opened, state.answers) == (events, step, hints, answers)
    expected = START.controls["guide_position_um"] if guide_um is None else guide_um
    assert state.controls["guide_position_um"] == expected
    assert state.at_s == min(at_s, 7.0)


def test_end_of_a_replay_is_the_end_of_the_log() -> None:
    state = state_at(LOG, START, 7.0)
    assert (state.submissions_s, state.notes) == ((6.0,), ("Head 2 is a little low.",))
    assert state.controls == list(control_states(LOG, START))[-1][1]
    assert moments(LOG) == (1.0, 2.0, 3.5, 4.0, 5.0, 6.0, 7.0)


@pytest.mark.parametrize("at_s", [-1.0, float("nan"), float("inf")])
def test_unusable_times_are_refused(at_s: float) -> None:
    with pytest.raises(BandbenchError, match="use a finite number"):
        state_at(LOG, START, at_s)


def resumed(log: Attempt, now_s: float = 500.0) -> Session:
    return Session.resumed(LESSON, log, now_s, MACHINE)


def test_attempt_that_was_broken_off_goes_on_where_it_was() -> None:
    session = resumed(attempt_from_json(LOG.to_json(), "log.json"))
    assert session.attempt == LOG
    assert (session.seed, session.step_number, session.hints_opened) == (SEED, 3, 1)
    assert session.controls == state_at(LOG, START, 7.0).controls
    assert session.answers["weakest"].given == "2"
    assert session.last_submission is not None
    assert not session.last_submission.passed
    # The time in between does not count.
    assert session.elapsed_s(502.0) == 9.0
    session.move("guide_position_um", -3.0, 503.0)
    assert session.attempt.events[-1] == ControlMoved(10.0, "guide_position_um", -3.0)
    with pytest.raises(SessionError, match="has been answered"):
        session.answer("weakest", "1", 504.0)


@given(st.integers(0, len(LOG.events)))
@settings(max_examples=9, deadline=None)
def test_wherever_it_is_broken_off_the_score_in_the_end_is_the_same(count: int) -> None:
    session = resumed(replace(LOG, events=LOG.events[:count]))
    for event in LOG.events[count:]:
        do(session, event, 500.0 + event.at_s - session.attempt.duration_s)
    assert strip(session.attempt.events) == strip(LOG.events)
    assert score_attempt(LESSON, session.attempt, MACHINE).points == score_attempt(LESSON, LOG, MACHINE).points


def strip(events: tuple[Event, ...]) -> list[Event]:
    """Events without their times and without who made a move."""
    return [
        replace(event, at_s=0.0, shown=False) if isinstance(event, ControlMoved) else replace(event, at_s=0.0)
        for event in events
    ]


def do(session: Session, event: Event, now_s: float) -> None:
    match event:
        case ControlMoved():
            session.move(event.control, event.value, now_s)
        case StepShown():
            session.show_step(event.step, now_s)
        case HintOpened():
            session.open_hint(event.level, now_s)
        case QuestionAnswered():
            session.answer(event.question, event.answer, now_s)
        case NoteWritten():
            session.note(event.text, now_s)
        case CheckSubmitted():
            session.check_now(now_s)


@pytest.mark.parametrize(
    ("log", "reason"),
    [
        (replace(LOG, lesson_id="other"), "is 'other', not 'example-guided'"),
        (replace(LOG, events=(QuestionAnswered(0.0, "colour", "2"),)), "the lesson asks no 'colour'"),
        (replace(LOG, events=(LOG.events[3], LOG.events[3])), "'weakest' was answered before"),
        (
            replace(LOG, events=(ControlMoved(0.0, "guide_position_um", 1.0, shown=True),)),
            "the lesson shows no move of 'guide_position_um'",
        ),
    ],
)
def test_foreign_logs_are_not_taken_up(log: Attempt, reason: str) -> None:
    with pytest.raises(AttemptError, match=reason):
        resumed(log)
