"""The session: what the bench tells it and what it answers, from start to pass, with a clock passed in."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from sim.errors import BandbenchError
from sim.training import session as session_module
from sim.training.attempt import CheckSubmitted, ControlMoved, HintOpened, StepShown
from sim.training.deal import deal
from sim.training.parts import LARGEST_SEED
from sim.training.session import Session, SessionError
from sim.training.solution import solution_moves
from tests.training_lessons import line_up, line_up_machine


def begun(seed: int = 5, now_s: float = 1000.0) -> Session:
    return Session(line_up(), seed, now_s, line_up_machine())


def do_solution(session: Session, now_s: float) -> float:
    for control, value in solution_moves(session.lesson, session.start):
        now_s += 2.0
        session.move(control, value, now_s)
    return now_s


def test_from_start_to_pass() -> None:
    session = begun()
    assert session.start == deal(line_up(), 5, line_up_machine())
    assert session.current_step.title == "Record inhibited"
    session.show_step(3, 1003.0)
    first = session.check_now(1005.0)
    assert (first.passed, session.finished) == (False, False)
    now_s = do_solution(session, 1005.0)
    last = session.check_now(now_s + 1.0)
    assert (last.passed, session.finished) == (True, True)
    score = session.score()
    assert score.passed
    assert score.submissions == (first, last)
    assert [type(event) for event in session.attempt.events] == [
        StepShown,
        CheckSubmitted,
        ControlMoved,
        ControlMoved,
        CheckSubmitted,
    ]
    assert [event.at_s for event in session.attempt.events] == [3.0, 5.0, 7.0, 9.0, 10.0]


def test_moves_after_the_pass_are_free_practice() -> None:
    session = begun()
    session.check_now(do_solution(session, 1000.0))
    logged = session.attempt
    session.move("guide_position_um", -100.0, 1100.0)
    session.show_step(2, 1101.0)
    session.open_hint(1, 1102.0)
    assert session.attempt == logged
    assert session.score().passed
    with pytest.raises(SessionError, match="this attempt is finished"):
        session.check_now(1103.0)


def test_assessment_ends_with_its_first_submission() -> None:
    session = Session(replace(line_up(), mode="assessment"), 5, 0.0, line_up_machine())
    assert not session.check_now(1.0).passed
    assert session.finished


def test_unchanged_value_is_not_a_move() -> None:
    session = begun()
    session.move("guide_position_um", session.start.controls["guide_position_um"], 1001.0)
    assert session.attempt.events == ()


@pytest.mark.parametrize(
    ("control", "value", "words"),
    [
        ("video_level_db", 0.0, "is not part of lesson 'tracking-and-guide'"),
        ("guide_position_um", 1e6, "outside its range"),
        ("guide_position_um", math.nan, "not a finite number"),
    ],
)
def test_moves_that_cannot_be_made_are_refused_and_not_logged(control: str, value: float, words: str) -> None:
    session = begun()
    before = dict(session.controls)
    with pytest.raises(BandbenchError, match=words):
        session.move(control, value, 1001.0)
    assert session.attempt.events == ()
    assert session.controls == before


def test_hints_open_in_order_and_are_logged_once() -> None:
    session = begun()
    with pytest.raises(SessionError, match="open hint 1 first"):
        session.open_hint(2, 1001.0)
    assert session.open_hint(1, 1002.0) == line_up().hints.symptom
    assert session.open_hint(2, 1003.0) == line_up().hints.cause
    assert session.open_hint(1, 1004.0) == line_up().hints.symptom
    assert session.open_hint(3, 1005.0) == line_up().hints.step
    assert session.attempt.events == (HintOpened(2.0, 1), HintOpened(3.0, 2), HintOpened(5.0, 3))


@pytest.mark.parametrize("level", [0, 4, -1])
def test_hints_that_do_not_exist_are_refused(level: int) -> None:
    with pytest.raises(SessionError, match="there are hints 1 to 3"):
        begun().open_hint(level, 1001.0)


@pytest.mark.parametrize("number", [0, 7])
def test_steps_that_do_not_exist_are_refused(number: int) -> None:
    session = begun()
    with pytest.raises(SessionError, match="steps 1 to 6"):
        session.show_step(number, 1001.0)
    assert session.step_number == 1


def test_step_shown_again_is_not_logged_again() -> None:
    session = begun()
    assert session.show_step(2, 1001.0) == line_up().steps[1]
    session.show_step(2, 1002.0)
    assert session.attempt.events == (StepShown(1.0, 2),)


def test_clock_that_runs_backwards_does_not_break_the_log() -> None:
    session = begun()
    session.show_step(2, 1010.0)
    session.show_step(3, 1004.0)
    assert [event.at_s for event in session.attempt.events] == [10.0, 10.0]


def test_clock_that_is_not_a_number_is_refused() -> None:
    with pytest.raises(SessionError, match="finite number of seconds"):
        begun(now_s=math.inf)


def test_restart_deals_afresh_and_keeps_the_old_attempt() -> None:
    session = begun()
    session.open_hint(1, 1001.0)
    session.move("guide_position_um", 3.0, 1002.0)
    session.check_now(1003.0)
    old = session.attempt
    start = session.restart(2000.0, seed=9)
    assert session.past == [old]
    assert (session.seed, session.step_number, session.hints_opened, session.last_submission) == (9, 1, 0, None)
    assert session.controls == dict(start.controls)
    session.show_step(2, 2000.5)
    assert session.attempt.events == (StepShown(0.5, 2),)


def test_restart_takes_the_next_seed_when_none_is_given() -> None:
    session = begun()
    session.restart(2000.0)
    assert session.seed == 6
    last = begun(LARGEST_SEED)
    last.restart(2000.0)
    assert last.seed == 0


def test_restart_with_an_unusable_seed_changes_nothing() -> None:
    session = begun()
    session.show_step(2, 1001.0)
    before = session.attempt
    with pytest.raises(BandbenchError, match="use a whole number"):
        session.restart(2000.0, seed=-4)
    assert (session.attempt, session.past, session.step_number) == (before, [], 2)


def test_full_log_is_refused_before_it_becomes_unreadable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(session_module, "MOST_EVENTS", 2)
    session = begun()
    session.show_step(2, 1001.0)
    session.show_step(3, 1002.0)
    with pytest.raises(SessionError, match="the log is full at 2 events"):
        session.show_step(4, 1003.0)
