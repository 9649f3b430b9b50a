"""Debrief and replay at the bench, without a browser: what was done when, and the same again."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.application import ROUND, BenchApplication
from bandbench.bench.debrief import event_plot, event_rows, fault_rows, time_words
from bandbench.bench.errors import BenchError
from bandbench.bench.faults import FAULTS
from bandbench.bench.plots import PAGE_INKS
from bandbench.bench.replaying import SPEEDS, Replay
from bandbench.bench.words import say
from sim.condition import Condition
from sim.controls import default_controls
from sim.errors import BandbenchError
from sim.training.attempt import (
    Attempt,
    CheckSubmitted,
    ControlMoved,
    HintOpened,
    NoteWritten,
    QuestionAnswered,
    StepShown,
)
from sim.training.machine import Start
from sim.training.solution import solution_moves
from tests.bench_clock import Clock

START = Start(1, 0, default_controls(), Condition())
ATTEMPT = Attempt(
    "tracking-and-guide",
    1,
    1,
    (
        ControlMoved(2.0, "guide_position_um", 5.0),
        HintOpened(4.0, 1),
        ControlMoved(4.0, "guide_position_um", 9.0),
        CheckSubmitted(10.0),
    ),
)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def application(clock: Clock) -> BenchApplication:
    made = BenchApplication(clock)
    made.next_frame()
    made.bench.choose_lesson("tracking-and-guide")
    made.bench.begin_lesson(clock(), seed=4)
    return made


def tick_round(application: BenchApplication) -> None:
    for _ in range(2 * len(ROUND)):
        application.tick(0.0)


def solve(application: BenchApplication, clock: Clock) -> None:
    """Open a hint, make the worked solution's moves two seconds apart, and submit."""
    bench = application.bench
    session = bench.running_session()
    clock.now_s += 1.0
    bench.open_hint(1, clock())
    for control, value in solution_moves(session.lesson, session.start):
        clock.now_s += 2.0
        bench.set_control(control, value, clock())
    clock.now_s += 2.0
    bench.check_lesson(clock())
    assert session.finished


def shown(application: BenchApplication) -> dict[str, Any]:
    return dict(json.loads(application.replay.bar.shown))


# The clock of a replay --------------------------------------------------------------------------------------


@pytest.mark.parametrize("speed", SPEEDS)
def test_time_runs_at_the_speed_that_is_set_and_stops_at_the_end(speed: float) -> None:
    replay = Replay(ATTEMPT, START, 100.0)
    replay.set(100.0, speed=speed)
    replay.advance(100.5)
    assert replay.at_s == pytest.approx(0.5 * speed)
    replay.advance(200.0)
    assert (replay.at_s, replay.playing, replay.over) == (10.0, False, True)
    replay.set(200.0, playing=True)
    assert (replay.at_s, replay.over) == (0.0, False)


def test_while_paused_no_time_passes() -> None:
    replay = Replay(ATTEMPT, START, 0.0)
    replay.set(1.0, playing=False)
    replay.advance(9.0)
    assert replay.at_s == 1.0
    replay.set(9.0, playing=True)
    replay.advance(10.0)
    assert replay.at_s == 2.0


def test_steps_go_from_event_to_event_and_stop_there() -> None:
    replay = Replay(ATTEMPT, START, 0.0)
    seen = []
    for direction in (1, 1, 1, 1, -1, -1, -1, -1):
        replay.step(direction, 0.0)
        seen.append(replay.at_s)
    assert seen == [2.0, 4.0, 10.0, 10.0, 4.0, 2.0, 0.0, 0.0]
    assert not replay.playing


@pytest.mark.parametrize("speed", [0.0, -1.0, 3.0, float("nan")])
def test_other_speeds_are_refused(speed: float) -> None:
    replay = Replay(ATTEMPT, START, 0.0)
    with pytest.raises(BandbenchError, match="use one of 1, 4, 16"):
        replay.set(0.0, speed=speed)
    assert replay.speed == 1.0


@settings(max_examples=40, deadline=None)
@given(st.floats(-100.0, 100.0))
def test_a_place_in_time_is_always_inside_the_attempt(at_s: float) -> None:
    replay = Replay(ATTEMPT, START, 0.0)
    replay.seek(at_s, 0.0)
    assert 0.0 <= replay.at_s <= ATTEMPT.duration_s
    expected = 0.0 if replay.at_s < 2.0 else 5.0 if replay.at_s < 4.0 else 9.0
    assert replay.state.controls["guide_position_um"] == expected


# On the bench -----------------------------------------------------------------------------------------------


def test_a_replay_moves_the_machine_as_it_was_moved_and_leaving_restores_it(
    application: BenchApplication, clock: Clock
) -> None:
    bench = application.bench
    solve(application, clock)
    session = bench.running_session()
    after, log = dict(bench.recorder.controls), session.attempt
    bench.begin_replay(clock())
    assert bench.recorder.controls == session.start.controls
    delivered = bench.revision
    seen = [dict(bench.recorder.controls)]
    for _ in range(40):
        clock.now_s += 0.25
        application.next_frame()
        if bench.recorder.controls != seen[-1]:
            seen.append(dict(bench.recorder.controls))
    moves = solution_moves(session.lesson, session.start)
    assert len(seen) == 1 + len(moves)
    assert seen[-1] == after
    assert bench.revision > delivered
    bench.end_replay()
    assert bench.recorder.controls == after
    assert session.attempt is log
    assert bench.replay is None


def test_the_picture_follows_the_replay(application: BenchApplication, clock: Clock) -> None:
    bench = application.bench
    solve(application, clock)
    right = application.next_frame()
    bench.begin_replay(clock())
    delivered = application.next_frame()
    bench.seek_replay(1e9, clock())
    again = application.next_frame()
    assert right is not None
    assert delivered is not None
    assert again is not None
    difference = abs(delivered.images["picture"].astype(int) - right.images["picture"].astype(int)).mean()
    # Noise and the frame's number differ; the faults of the start differ by far more.
    assert abs(again.images["picture"].astype(int) - right.images["picture"].astype(int)).mean() < 0.5 * difference


def test_nothing_can_be_done_or_logged_in_a_replay(application: BenchApplication, clock: Clock) -> None:
    bench = application.bench
    bench.set_control("guide_position_um", 3.0, clock())
    bench.begin_replay(clock())
    log = bench.running_session().attempt
    refusals: tuple[Callable[[], object], ...] = (
        lambda: bench.set_control("guide_position_um", 9.0, clock()),
        lambda: bench.undo(clock()),
        lambda: bench.open_hint(1, clock()),
        lambda: bench.show_step(2, clock()),
        lambda: bench.check_lesson(clock()),
        lambda: bench.restart_lesson(clock()),
        lambda: bench.do_worked_step(clock()),
        lambda: bench.answer_question("any", "any", clock()),
    )
    for refused in refusals:
        with pytest.raises(BenchError, match="This is a replay"):
            refused()
    assert bench.running_session().attempt is log
    assert len(bench.log.moves) == 1


def test_leaving_the_lesson_ends_the_replay(application: BenchApplication, clock: Clock) -> None:
    bench = application.bench
    bench.set_control("guide_position_um", 3.0, clock())
    bench.begin_replay(clock())
    bench.choose_mode(None)
    assert bench.replay is None
    with pytest.raises(BenchError, match="no replay is running"):
        bench.end_replay()


def test_an_attempt_in_which_nothing_was_done_is_not_replayed(application: BenchApplication, clock: Clock) -> None:
    with pytest.raises(BenchError, match="nothing to replay"):
        application.bench.begin_replay(clock())


def test_bar_says_where_the_replay_stands(application: BenchApplication, clock: Clock) -> None:
    solve(application, clock)
    application.result.show()
    assert application.replay.bar.shown == ""
    application.result.receive({"do": "replay"})
    tick_round(application)
    assert application.result.page.result == {}
    assert shown(application)["at"] == 0.0
    assert shown(application)["playing"]
    application.replay.receive({"do": "event", "value": 1})
    assert shown(application)["events"][0][1].startswith("Hint 1")
    application.replay.receive({"do": "seek", "value": 1e6})
    assert shown(application)["over"]
    assert shown(application)["events"][-1][1] == say("replay.submitted")
    application.replay.receive({"do": "speed", "value": 7})
    assert "use one of" in application.replay.bar.notice
    application.replay.receive({"do": "leave"})
    assert application.replay.bar.shown == ""
    assert application.result.page.result["passed"]


# Debrief ----------------------------------------------------------------------------------------------------


def test_moves_of_one_control_that_follow_each_other_are_one_row(application: BenchApplication) -> None:
    events = (
        StepShown(0.5, 2),
        ControlMoved(1.0, "guide_position_um", 1.0),
        ControlMoved(2.0, "guide_position_um", 2.0),
        ControlMoved(3.0, "tracking_phase_deg", 5.0),
        ControlMoved(4.0, "tracking_phase_deg", 6.0, shown=True),
        HintOpened(61.0, 2),
        NoteWritten(62.0, "As I thought."),
        CheckSubmitted(125.0),
    )
    rows = event_rows(application.bench.running_session(), events)
    assert [(time, kind) for time, kind, _ in rows] == [
        ("0:00", "step"), ("0:02", "move"), ("0:03", "move"), ("0:04", "move"), ("1:01", "hint"), ("1:02", "note"),
        ("2:05", "submission"),
    ]  # fmt: skip
    assert "2 moves" in rows[1][2]
    assert rows[3][2].startswith("The lesson set")
    assert "**" not in rows[4][2]
    assert "As I thought." in rows[5][2]


def test_every_kind_of_event_has_a_row_and_a_mark_of_its_own() -> None:
    events = (
        StepShown(0.5, 2), ControlMoved(1.0, "guide_position_um", 1.0), HintOpened(2.0, 1),
        QuestionAnswered(3.0, "which", "2"), CheckSubmitted(4.0), NoteWritten(5.0, "x"),
    )  # fmt: skip
    plot = event_plot(events, 5.0, PAGE_INKS["light"])
    marks = [renderer.glyph.marker for renderer in plot.renderers]
    assert len(marks) == len(set(marks)) == len(plot.y_range.factors) == 6
    drawn = sorted(float(x) for renderer in plot.renderers for x in renderer.data_source.data["x"])
    assert drawn == [event.at_s for event in events]
    assert event_plot((), 5.0, PAGE_INKS["light"]) is None


def test_what_was_hidden_is_told_from_the_catalogue_and_only_at_the_end(clock: Clock) -> None:
    application = BenchApplication(clock)
    bench = application.bench
    bench.choose_lesson("diagnosis-noise-every-fourth-band")
    bench.begin_lesson(clock(), seed=3)
    session = bench.running_session()
    bench.open_hint(1, clock())
    application.result.show()
    assert application.result.page.result["faults"] == []
    rows = fault_rows(session)
    assert len(rows) == session.lesson.fault_count > 0
    spec = FAULTS[session.start.faults[0].name]
    assert rows[0]["title"] == spec.title
    assert len(rows[0]["shows"]) == len(spec.symptoms)
    assert rows[0]["proof"]
    assert rows[0]["remedy"]


@pytest.mark.parametrize(("seconds", "text"), [(0.0, "0:00"), (59.9, "0:59"), (60.0, "1:00"), (3600.0, "60:00")])
def test_times_are_minutes_and_seconds(seconds: float, text: str) -> None:
    assert time_words(seconds) == text
