"""The bench without a page: what can be done to it, and what it then holds."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest

from bandbench.bench.bench import MODES, Bench
from bandbench.bench.errors import BenchError
from bandbench.bench.lessons import read_lessons
from bandbench.bench.machines import WORK_TAPE
from bandbench.bench.monitoring import POINT_OF_STAGE
from bandbench.bench.moves import GESTURE_S, MoveLog
from bandbench.bench.programme import OWN_PICTURE
from sim.condition import Condition
from sim.controls import CONTROLS, STAGES, ControlError, default_controls
from sim.errors import BandbenchError, UnknownNameError
from sim.instruments import MAGNIFICATIONS, MEASUREMENTS, TEST_POINTS, measure, picture
from sim.reel import REELS
from sim.training.session import SessionError
from sim.training.solution import solution_moves


@pytest.fixture
def bench() -> Bench:
    return Bench(read_lessons(), random.Random(1))


@pytest.fixture
def lesson_bench(bench: Bench) -> Bench:
    bench.choose_mode("learn")
    bench.begin_lesson(now_s=100.0, seed=5)
    return bench


# Controls and the log ---------------------------------------------------------------------------------------


def test_a_moved_control_changes_the_picture_and_is_counted(bench: Bench) -> None:
    before = picture(bench.frame).copy()
    bench.set_control("guide_position_um", 25.4, 0.0)
    assert bench.recorder.controls["guide_position_um"] == 25.4
    assert bench.revision == 1
    assert np.abs(picture(bench.frame) - before).mean() > 0.01
    # DERIVED, physics.md section 3: 25.4 um of guide lean every band by 0.907 us.
    assert measure(bench.frame, "skew_us") == pytest.approx(0.907, rel=0.03)


@pytest.mark.parametrize("value", [150.1, -1e9, float("nan"), float("inf")])
def test_a_value_out_of_range_changes_nothing(bench: Bench, value: float) -> None:
    version = bench.version
    with pytest.raises(ControlError, match="guide_position_um"):
        bench.set_control("guide_position_um", value, 0.0)
    assert bench.recorder.controls == default_controls()
    assert bench.log.moves == ()
    assert bench.version == version


def test_undo_takes_back_one_move_at_a_time(bench: Bench) -> None:
    bench.set_control("guide_position_um", 10.0, 0.0)
    bench.set_control("tracking_phase_deg", 5.0, 10.0)
    bench.set_control("channel_on_2", 0.0, 20.0)
    bench.undo(30.0)
    assert bench.recorder.controls == default_controls() | {"guide_position_um": 10.0, "tracking_phase_deg": 5.0}
    bench.undo(31.0)
    bench.undo(32.0)
    assert bench.recorder.controls == default_controls()
    revision = bench.revision
    bench.undo(33.0)
    assert bench.revision == revision


def test_settings_in_one_gesture_are_one_move() -> None:
    log = MoveLog()
    for number in range(20):
        log.note("guide_position_um", float(number), float(number + 1), 0.1 * number)
    assert [(move.before, move.after) for move in log.moves] == [(0.0, 20.0)]
    log.note("guide_position_um", 20.0, 25.0, 1.9 + 2 * GESTURE_S)
    log.note("guide_height_um", 0.0, 5.0, 1.9 + 2 * GESTURE_S)
    assert [(move.before, move.after) for move in log.moves] == [(0.0, 20.0), (20.0, 25.0), (0.0, 5.0)]


def test_a_gesture_that_came_back_is_passed_over_by_undo() -> None:
    log = MoveLog()
    log.note("guide_height_um", 0.0, 4.0, 0.0)
    log.note("guide_position_um", 0.0, 4.0, 10.0)
    log.note("guide_position_um", 4.0, 0.0, 10.5)
    undone = log.take_back()
    assert undone is not None
    assert undone.control == "guide_height_um"
    assert log.take_back() is None


def test_after_undo_a_new_gesture_begins() -> None:
    log = MoveLog()
    log.note("guide_height_um", 0.0, 4.0, 0.0)
    log.note("guide_position_um", 0.0, 1.0, 0.2)
    log.take_back()
    log.note("guide_height_um", 4.0, 9.0, 0.4)
    assert [(move.before, move.after) for move in log.moves] == [(0.0, 4.0), (4.0, 9.0)]


# Where one looks --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_connects_the_waveform_monitor_to_its_test_point(bench: Bench, stage: str) -> None:
    bench.choose_stage(stage)
    point = TEST_POINTS[bench.scope.test_point]
    # Its own, or one behind it in the signal path, where what its controls do can be seen; nothing is behind the last.
    order = list(STAGES)
    beside_the_path = point.stage == ""
    assert beside_the_path or order.index(point.stage) >= order.index(stage) or stage == "output"
    assert POINT_OF_STAGE[stage] == bench.scope.test_point


def test_a_stage_keeps_a_test_point_of_its_own(bench: Bench) -> None:
    bench.set_scope(test_point="rf_head_3")
    bench.choose_stage("channels")
    assert bench.scope.test_point == "rf_head_3"


@pytest.mark.parametrize(
    "settings",
    [
        {"test_point": "nowhere"},
        {"rate": "frame"},
        {"magnify": 3},
        {"position": 1.5},
        {"line": 0},
        {"line": 526},
        {"x": 1},
    ],
)
def test_the_waveform_monitor_refuses_what_it_cannot_show(bench: Bench, settings: dict[str, object]) -> None:
    before = bench.scope
    with pytest.raises(BandbenchError):
        bench.set_scope(**settings)
    assert bench.scope == before


def test_the_waveform_monitor_takes_every_setting(bench: Bench) -> None:
    for magnify in MAGNIFICATIONS:
        bench.set_scope(test_point="processed", rate="field", magnify=magnify, position=0.25, line=525)
        assert (bench.scope.magnify, bench.scope.line) == (magnify, 525)


# What is played ---------------------------------------------------------------------------------------------


def test_the_picture_stands_still_until_it_is_played(bench: Bench) -> None:
    frame = bench.frame
    assert bench.frame is frame
    assert not bench.playing
    bench.advance(0.0)
    bench.advance(1.0)
    assert bench.frame is frame
    bench.set_playing(True)
    bench.advance(1.0)
    bench.advance(1.0 + 1.01 / 29.97)
    assert bench.frame is not frame
    assert bench.frame.index == 1


def test_frames_are_dropped_and_time_never(bench: Bench) -> None:
    bench.set_playing(True)
    bench.advance(5.0)
    bench.advance(15.0)
    # DERIVED: 29.97 frames a second for ten seconds.
    assert bench.frame.index == 299


def test_a_picture_of_ones_own_is_played(bench: Bench) -> None:
    grey = np.zeros((48, 64), np.float32)
    grey[:, 32:] = 1.0
    bench.play_picture("half.png", grey)
    shown = picture(bench.frame)
    assert shown[:, 100:300].mean() < 0.05
    assert shown[:, -300:-100].mean() > 0.95
    bench.load_programme("flat")
    assert np.ptp(picture(bench.frame)[:, 100:-100].mean(axis=0)) < 0.05
    bench.load_programme(OWN_PICTURE)
    assert picture(bench.frame)[:, -300:-100].mean() > 0.95


def test_a_picture_goes_onto_the_work_tape_never_onto_a_made_one(bench: Bench) -> None:
    bench.load_tape("alignment-525")
    bench.play_picture("grey.png", np.full((4, 4), 0.5, np.float32))
    assert bench.recorder.tape.recorded_here


def test_what_cannot_be_played_is_refused_and_nothing_changes(bench: Bench) -> None:
    with pytest.raises(BenchError, match="picture"):
        bench.load_programme(OWN_PICTURE)
    with pytest.raises(UnknownNameError, match="testcard"):
        bench.load_programme("testcard")
    with pytest.raises(UnknownNameError):
        bench.load_tape("lost")
    assert (bench.programme, bench.recorder.tape.name, bench.revision) == ("bars", "programme", 0)


def test_only_reels_of_the_machines_standard_are_offered_and_each_plays(bench: Bench) -> None:
    bench.choose_mode("demonstrate")
    names = [name for name, _ in bench.reels()]
    assert names == [WORK_TAPE, *(name for name, spec in REELS.items() if spec.standard == "525/60")]
    for name in names:
        bench.load_tape(name)
        assert bench.reel_name == name
        assert bench.frame.off_tape
        assert np.isfinite(picture(bench.frame)).all()


def test_a_lessons_machine_is_held_and_refuses_to_be_worked(lesson_bench: Bench) -> None:
    bench = lesson_bench
    refused: list[Callable[[], None]] = [
        partial(bench.do_act, "stop"),
        partial(bench.take_reel, "blank-525"),
        partial(bench.put_on, "blank-525"),
        partial(bench.choose_machine, "second"),
        partial(bench.select_edit_mode, "insert"),
        partial(bench.set_edit, length_s=3.0),
        bench.copy_to_input,
    ]
    for act in refused:
        with pytest.raises(BenchError, match="lesson"):
            act()
    assert bench.act_refusal("stop") is not None
    assert bench.frame.off_tape


def test_in_the_free_modes_time_is_lived_through_and_frames_are_dropped(bench: Bench) -> None:
    bench.choose_mode("demonstrate")
    bench.set_playing(True)
    for now_s in (10.0, 10.4, 13.0):
        bench.advance(now_s)
    assert bench.station.time_s == pytest.approx(3.0, abs=0.011)
    assert bench.frame.index == int(bench.station.time_s * 30000 / 1001)
    assert bench.station.deck.timer_s == pytest.approx(3.0, rel=0.01)


def test_a_held_picture_does_not_hold_the_machine(bench: Bench) -> None:
    bench.choose_mode("demonstrate")
    frame = bench.frame
    for now_s in (10.0, 12.0):
        bench.advance(now_s)
    assert bench.frame is frame
    assert bench.station.time_s > 1.9


def test_a_recording_made_here_leans_on_the_second_machine(bench: Bench) -> None:
    """DERIVED, physics.md section 3: 10 um of guide are 0.357 us of lean, and a machine's own error stands straight."""
    bench.choose_mode("demonstrate")
    bench.put_on("blank-525")
    bench.set_playing(True)
    bench.set_control("guide_position_um", 10.0, 0.0)
    bench.load_programme("grid")
    clock_s = [0.0]

    def live(seconds: float) -> None:
        for _ in range(round(10 * seconds)):
            clock_s[0] += 0.1
            bench.advance(clock_s[0])

    live(0.5)
    bench.do_act("record_arm")
    bench.do_act("record")
    live(6.0)
    place_m = bench.station.deck.position_m
    bench.do_act("stop")
    live(4.0)
    with pytest.raises(BandbenchError, match="not armed"):
        bench.do_act("record")
    for machine, lean_us in (("this", 0.0), ("second", -10.0 * 0.907 / 25.4)):
        bench.station.make_ready("stop", place_m)
        bench.choose_machine(machine)
        bench.station.make_ready("play", place_m - 1.5)
        live(0.5)
        assert measure(bench.frame, "skew_us") == pytest.approx(lean_us, abs=0.015)
    # What the second machine plays goes into a copy as picture.
    bench.copy_to_input()
    assert bench.frame.source is not None
    np.testing.assert_array_equal(bench.frame.source, bench.recorder.record_programme)


def test_a_card_on_the_extender_lets_the_probe_in(bench: Bench) -> None:
    bench.choose_mode("demonstrate")
    with pytest.raises(BandbenchError, match="extender"):
        bench.set_scope(test_point="limiter")
    bench.advance(0.0)
    bench.do_act("stop")
    for now_s in range(1, 120):
        bench.advance(float(now_s))
    for act in ("isolate", "open_covers"):
        if bench.act_refusal(act) is None:
            bench.do_act(act)
    for now_s in range(120, 140):
        bench.advance(float(now_s))
    bench.do_act("put_on_extender", "demodulator")
    assert bench.extended == {"demodulator"}
    bench.set_scope(test_point="limiter")


# Modes, lessons, faults -------------------------------------------------------------------------------------


def test_every_mode_begins_with_a_machine_in_order(bench: Bench) -> None:
    for mode in MODES:
        bench.plant_fault("guide_knocked", 0.8)
        bench.set_control("tracking_phase_deg", 30.0, 0.0)
        bench.load_tape("alignment-525")
        bench.choose_mode(mode)
        assert abs(measure(bench.frame, "skew_us")) < 0.02
        assert abs(measure(bench.frame, "rf_level_db")) < 0.1
        assert (bench.programme, bench.recorder.tape.name) == ("bars", "programme")
        assert bench.log.moves == ()


def test_a_lesson_deals_its_start(lesson_bench: Bench) -> None:
    bench = lesson_bench
    session = bench.running_session()
    assert session.seed == 5
    assert bench.recorder.tape.name == session.lesson.tape
    assert bench.recorder.controls == dict(session.start.controls)
    assert bench.recorder.condition == session.start.condition
    assert bench.log.moves == ()


def test_a_lesson_offers_its_controls_and_no_others(lesson_bench: Bench) -> None:
    bench = lesson_bench
    offered = [name for name in CONTROLS if bench.offers(name)]
    assert tuple(offered) == tuple(name for name in CONTROLS if name in bench.running_session().lesson.controls)
    closed = next(name for name in CONTROLS if name not in offered)
    before = bench.recorder.controls
    with pytest.raises(SessionError, match=closed):
        bench.set_control(closed, CONTROLS[closed].maximum, 101.0)
    assert bench.recorder.controls == before


def test_a_lesson_dims_stages_and_instruments_it_does_not_need(lesson_bench: Bench) -> None:
    bench = lesson_bench
    assert [name for name in STAGES if not bench.needs_stage(name)] == [
        "switcher", "demodulator", "processing", "input", "modulator", "record_drive", "sound"
    ]  # fmt: skip
    assert {name for name in MEASUREMENTS if bench.needs_instrument(name)} == {
        "rf_level_db", "rf_level_db_1", "rf_level_db_2", "rf_level_db_3", "rf_level_db_4", "skew_us"
    }  # fmt: skip


def test_in_a_lesson_tape_programme_and_faults_are_fixed(lesson_bench: Bench) -> None:
    bench = lesson_bench
    before = (bench.recorder.tape, bench.programme, bench.recorder.condition)
    acts: list[Callable[[], None]] = [
        partial(bench.load_tape, "programme"),
        partial(bench.load_programme, "bars"),
        partial(bench.play_picture, "x", np.zeros((4, 4), np.float32)),
        bench.hide_fault,
        bench.clear_fault,
        partial(bench.plant_fault, "noisy_rf", 0.5),
    ]
    for act in acts:
        with pytest.raises(BenchError, match="leave the lesson"):
            act()
    assert (bench.recorder.tape, bench.programme, bench.recorder.condition) == before


def test_the_lesson_is_passed_with_the_right_settings_and_not_before(lesson_bench: Bench) -> None:
    bench = lesson_bench
    session = bench.running_session()
    outcomes = []
    bench.check_lesson(101.0)
    outcomes.append(session.finished)
    for control, value in solution_moves(session.lesson, session.start):
        bench.set_control(control, value, 110.0)
    bench.check_lesson(120.0)
    outcomes.append(session.finished)
    assert outcomes == [False, True]
    assert session.score().passed


def test_a_step_opens_its_stage(lesson_bench: Bench) -> None:
    bench = lesson_bench
    bench.show_step(4, 101.0)
    assert bench.stage == "headwheel"
    assert bench.scope.test_point == POINT_OF_STAGE["headwheel"]


def test_restart_deals_another_variation(lesson_bench: Bench) -> None:
    bench = lesson_bench
    controls = bench.recorder.controls
    bench.restart_lesson(200.0)
    assert bench.running_session().seed != 5
    assert bench.recorder.controls != controls
    assert bench.recorder.condition == bench.running_session().start.condition


def test_undo_in_a_lesson_is_a_logged_move(lesson_bench: Bench) -> None:
    bench = lesson_bench
    start = bench.recorder.controls["guide_position_um"]
    bench.set_control("guide_position_um", start + 1.0, 101.0)
    bench.undo(105.0)
    session = bench.running_session()
    assert session.controls["guide_position_um"] == start
    assert len(session.attempt.events) == 2


def test_lesson_acts_need_a_lesson(bench: Bench) -> None:
    with pytest.raises(BenchError, match="choose Learn"):
        bench.begin_lesson(0.0)
    acts: list[Callable[[], None]] = [
        partial(bench.check_lesson, 0.0),
        partial(bench.open_hint, 1, 0.0),
        partial(bench.restart_lesson, 0.0),
    ]
    for act in acts:
        with pytest.raises(BenchError, match="no lesson"):
            act()


def test_a_hidden_fault_shows_and_goes_away(bench: Bench) -> None:
    bench.hide_fault()
    states = [(bench.fault is not None, bench.fault_shown)]
    assert bench.recorder.condition != Condition()
    bench.show_fault()
    states.append((bench.fault is not None, bench.fault_shown))
    bench.clear_fault()
    states.append((bench.fault is not None, bench.fault_shown))
    assert states == [(True, False), (True, True), (False, False)]
    assert bench.recorder.condition == Condition()


def test_a_planted_fault_takes_the_place_of_the_one_before(bench: Bench) -> None:
    bench.plant_fault("guide_knocked", 0.5)
    bench.plant_fault("tracking_drifted", 0.5)
    assert abs(measure(bench.frame, "skew_us")) < 0.02
    assert measure(bench.frame, "rf_level_db") < -1.0


def test_colour_comes_with_the_colour_corrector_and_a_picture_is_sent_anew(bench: Bench) -> None:
    """Of a red picture the monochrome machine sends luminance alone, the colour machine subcarrier as well."""
    red = np.zeros((8, 8, 3), np.float32)
    red[..., 0] = 0.7
    bench.play_picture("red.png", red)
    assert bench.in_colour is False

    def chroma() -> float:
        line = bench.frame.demod[100, 300:700].astype(np.float64)
        return float(np.abs(np.fft.rfft(line - line.mean()))[100]) / 200.0

    plain = chroma()
    bench.set_control("correction", 2, 1.0)
    assert chroma() > 20.0 * plain
    bench.undo(2.0)
    assert chroma() < 2.0 * plain
