"""Scores: computed from the log alone, criterion by criterion, and open to no trick."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from sim.controls import CONTROLS
from sim.errors import BandbenchError
from sim.instruments import measure
from sim.recorder import Recorder
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event, HintOpened, attempt_from_json
from sim.training.checks import CheckResult, check_results, number_text
from sim.training.deal import deal
from sim.training.lesson import Lesson
from sim.training.machine import Machine
from sim.training.reader import AttemptError
from sim.training.score import Score, score_attempt
from sim.training.solution import solution_moves, solved_controls
from sim.training.timeline import control_tracks, reading_tracks
from tests.training_lessons import line_up, line_up_machine

SEED = 5


def log(*events: Event, seed: int = SEED) -> Attempt:
    return Attempt(line_up().id, line_up().version, seed, events)


def solved_events() -> tuple[Event, ...]:
    moves = solution_moves(line_up(), deal(line_up(), SEED, line_up_machine()))
    return tuple(ControlMoved(10.0 * place, name, value) for place, (name, value) in enumerate(moves, start=1))


def scored(*events: Event, lesson: Lesson | None = None) -> Score:
    return score_attempt(lesson or line_up(), log(*events), line_up_machine())


def results_at(tracking_off_deg: float = 0.0, guide_off_um: float = 0.0, **others: float) -> dict[str, CheckResult]:
    """Results with tracking and guide so far from the worked solution."""
    lesson, machine = line_up(), line_up_machine()
    start = deal(lesson, SEED, machine)
    controls = solved_controls(lesson, start)
    controls["tracking_phase_deg"] += tracking_off_deg
    controls["guide_position_um"] += guide_off_um
    moves = [ControlMoved(0.0, name, value) for name, value in (controls | others).items()]
    return {result.check.name: result for result in check_results(lesson, machine, start, moves, 3.35)}


def test_worked_solution_passes_with_values_targets_tolerances_and_sources() -> None:
    score = scored(*solved_events(), CheckSubmitted(30.0))
    assert score.passed
    assert score.outcome == "passed"
    assert score.reason == "All 2 checks are in tolerance."
    assert (score.points, score.moves, score.duration_s) == (1.0, 2, 30.0)
    assert score.deciding is not None
    rf, skew = score.deciding.results
    assert rf.value == pytest.approx(rf.target, abs=0.02)
    assert skew.value == pytest.approx(0.0, abs=0.004)
    assert skew.target == 0.0
    assert rf.check.source_text.startswith("Chosen for this exercise: ")
    assert "0.070 us" in skew.check.source_text


def test_doing_nothing_does_not_pass() -> None:
    assert not scored().passed
    assert scored().reason == "The signals were not submitted for checking."
    submitted = scored(CheckSubmitted(1.0))
    assert not submitted.passed
    assert submitted.points == 0.0
    assert submitted.reason.count("not in tolerance") == 2


@pytest.mark.parametrize(
    ("offset_deg", "passed"), [(-2.2, False), (-1.8, True), (0.0, True), (1.8, True), (2.2, False), (45.0, False)]
)
def test_rf_check_across_tracking(offset_deg: float, passed: bool) -> None:
    # DERIVED: 0.3 dB = 1 - 10^(-0.3/20) = 3.4 % of a 10 mil track = 0.34 mil = 1.95 deg of 62.5 mil / 360 deg.
    result = results_at(tracking_off_deg=offset_deg)["rf"]
    assert result.passed is passed
    own = 1.0 - abs(offset_deg) * 62.5 / 360.0 / 10.0
    if abs(offset_deg) < 10.0:
        assert result.value is not None
        assert result.value - result.target == pytest.approx(20.0 * math.log10(own), abs=0.03)


@pytest.mark.parametrize("match", [-90.0, 90.0])
def test_each_of_the_four_peaks_passes_on_a_tape_recorded_with_equal_heads(match: float) -> None:
    assert results_at(tracking_off_deg=match)["rf"].passed


@pytest.mark.parametrize(("offset_um", "passed"), [(-2.1, False), (-1.8, True), (1.8, True), (2.1, False)])
def test_skew_check_across_guide_position(offset_um: float, passed: bool) -> None:
    # DERIVED: sqrt(2) e / v = 0.907 us per 25.4 um, so 0.070 us is 1.96 um.
    result = results_at(guide_off_um=offset_um)["skew"]
    assert result.passed is passed
    assert result.value == pytest.approx(0.907 / 25.4 * offset_um, rel=0.05)


@pytest.mark.parametrize("head", [1, 2, 3, 4])
def test_a_channel_left_switched_off_fails_the_rf_check(head: int) -> None:
    result = results_at(**{f"channel_on_{head}": 0.0})["rf"]
    assert not result.passed
    assert result.value is not None
    assert result.value < result.target - 1.0


def test_no_reading_is_a_failed_check_and_says_so() -> None:
    off = {f"channel_on_{head}": 0.0 for head in range(1, 5)}
    result = results_at(**off)["skew"]
    assert (result.passed, result.value) == (False, None)
    assert "no reading, not in tolerance" in result.sentence


def test_hold_time_reports_the_worst_reading_of_the_moments_it_looks() -> None:
    lesson, machine = line_up(), line_up_machine()
    start = deal(lesson, SEED, machine)
    controls = solved_controls(lesson, start)
    index, last = 50, 50 + 29  # 1 s is 29.97 frames
    readings = []
    for moment in (index, round((index + last) / 2), last):
        readings.append(machine.readings(controls, start.condition, moment, ["skew_us"])["skew_us"])
    moves = [ControlMoved(0.0, name, value) for name, value in controls.items()]
    result = check_results(lesson, machine, start, moves, (index + 0.5) / machine.frame_rate_hz)[1]
    assert result.value in readings
    assert result.value is not None
    assert abs(result.value) == max(map(abs, readings))


def test_score_is_the_same_from_a_fresh_machine_and_from_json() -> None:
    attempt = log(*solved_events(), CheckSubmitted(30.0))
    first = score_attempt(line_up(), attempt, line_up_machine())
    again = score_attempt(line_up(), attempt_from_json(attempt.to_json(), "log.json"), Machine(line_up()))
    assert again == first


def test_checked_values_are_what_the_instruments_read_on_a_recorder() -> None:
    lesson = line_up()
    start = deal(lesson, SEED, line_up_machine())
    recorder = Recorder(tape=lesson.tape, signal=lesson.signal, condition=start.condition, controls=start.controls)
    frame = recorder.play_frame(0)
    read = line_up_machine().readings(start.controls, start.condition, 0, ["rf_level_db", "skew_us"])
    assert read == {name: measure(frame, name) for name in ("rf_level_db", "skew_us")}


def test_in_practice_the_first_pass_decides_and_later_moves_do_not_undo_it() -> None:
    spoiled = ControlMoved(40.0, "guide_position_um", -90.0)
    score = scored(CheckSubmitted(1.0), *solved_events(), CheckSubmitted(30.0), spoiled, CheckSubmitted(50.0))
    assert score.passed
    assert [submission.passed for submission in score.submissions] == [False, True, False]
    assert (score.duration_s, score.moves) == (30.0, 2)


def test_in_an_assessment_the_first_submission_decides() -> None:
    lesson = replace(line_up(), mode="assessment")
    assert not scored(CheckSubmitted(1.0), *solved_events(), CheckSubmitted(30.0), lesson=lesson).passed
    assert scored(*solved_events(), CheckSubmitted(30.0), lesson=lesson).passed


def test_hints_are_free_in_practice_and_bar_an_assessment() -> None:
    events = (HintOpened(1.0, 1), *solved_events(), CheckSubmitted(30.0))
    assert scored(*events).passed
    assert scored(*events).hints_opened == (1,)
    barred = scored(*events, lesson=replace(line_up(), mode="assessment"))
    assert not barred.passed
    assert "a hint was opened" in barred.reason


def test_after_the_last_hint_a_fresh_variation_is_asked_for() -> None:
    hints = tuple(HintOpened(0.5, level) for level in (1, 2, 3))
    assert "do a fresh variation" in scored(*hints, *solved_events(), CheckSubmitted(30.0)).reason
    after = scored(*solved_events(), CheckSubmitted(30.0), *(replace(hint, at_s=40.0) for hint in hints))
    assert after.hints_opened == ()
    assert "fresh variation" not in after.reason


def test_a_forbidden_act_bars_the_pass_with_its_reason() -> None:
    harm = ControlMoved(2.0, "guide_position_um", 121.0)
    score = scored(harm, *solved_events(), CheckSubmitted(30.0))
    assert not score.passed
    assert [(act.at_s, act.value) for act in score.forbidden_acts] == [(2.0, 121.0)]
    assert score.reason == (
        "All checks are in tolerance, but Guide position at 121 um is not allowed here: "
        "the guide that far in presses the heads deep into the alignment tape."
    )
    assert scored(replace(harm, value=120.0), *solved_events(), CheckSubmitted(30.0)).passed


def test_points_follow_the_weights() -> None:
    lesson = line_up()
    weighted = replace(lesson, checks=(replace(lesson.checks[0], weight=3.0), lesson.checks[1]))
    tracking_only = solved_events()[:1]
    assert scored(*tracking_only, CheckSubmitted(30.0), lesson=weighted).points == 0.75


def test_random_turning_does_not_pass() -> None:
    # DERIVED: a random guide setting is in tolerance in 3.9 um of 300 um, tracking in 15.6 deg of 360 deg: 0.06 %.
    chance = random.Random(1)
    for _ in range(15):
        moves = []
        for number in range(6):
            spec = CONTROLS[chance.choice(["tracking_phase_deg", "guide_position_um"])]
            value = min(chance.uniform(spec.minimum, spec.maximum), 120.0)
            moves.append(ControlMoved(float(number), spec.name, value))
        assert not scored(*moves, CheckSubmitted(9.0)).passed


def test_log_of_another_lesson_is_not_scored() -> None:
    with pytest.raises(AttemptError, match="Score it with its own lesson"):
        score_attempt(line_up(), Attempt("other", 1, SEED), line_up_machine())


def test_machine_puts_a_lent_recorder_back_as_it_was() -> None:
    lesson = line_up()
    recorder = Recorder(tape=lesson.tape, signal=lesson.signal, controls={"guide_position_um": 12.0})
    before = recorder.play_frame(3)
    lent = Machine(lesson, recorder)
    start = deal(lesson, SEED, lent)
    assert lent.frames_played > 0
    assert start == deal(lesson, SEED, line_up_machine())
    after = recorder.play_frame(3)
    assert (after.demod == before.demod).all()
    assert recorder.controls["guide_position_um"] == 12.0


def test_recorder_with_another_tape_on_it_is_refused() -> None:
    with pytest.raises(BandbenchError, match="load that tape first"):
        Machine(line_up(), Recorder())


def test_control_tracks_hold_own_moves_beside_the_right_settings() -> None:
    lesson, machine = line_up(), line_up_machine()
    start = deal(lesson, SEED, machine)
    attempt = log(*solved_events(), CheckSubmitted(30.0))
    tracks = {track.control: track for track in control_tracks(lesson, attempt, start)}
    assert set(tracks) == {"tracking_phase_deg", "guide_position_um"}
    guide = tracks["guide_position_um"]
    assert guide.times_s == (0.0, 20.0, 30.0)
    assert guide.values == (start.controls["guide_position_um"], guide.reference, guide.reference)
    touched = log(ControlMoved(1.0, "channel_on_2", 0.0))
    assert "channel_on_2" in {track.control for track in control_tracks(lesson, touched, start)}


def test_reading_tracks_are_what_the_instruments_read_after_each_move() -> None:
    lesson, machine = line_up(), line_up_machine()
    start = deal(lesson, SEED, machine)
    attempt = log(*solved_events(), CheckSubmitted(30.0))
    rf, skew = reading_tracks(lesson, attempt, start, machine)
    assert rf.times_s == skew.times_s == (0.0, 10.0, 20.0, 30.0)
    assert rf.values[0] < rf.target - 0.3
    assert rf.values[1] == pytest.approx(rf.target, abs=0.02)
    assert abs(skew.values[1]) > skew.check.tolerance
    assert abs(skew.values[2]) < skew.check.tolerance
    assert skew.values[0] == machine.readings(start.controls, start.condition, 0, ["skew_us"])["skew_us"]


@pytest.mark.parametrize("most", [1, 2, 5, 12])
def test_reading_tracks_of_a_long_attempt_are_thinned(most: int) -> None:
    lesson, machine = line_up(), line_up_machine()
    start = deal(lesson, SEED, machine)
    moves = [ControlMoved(float(second), "guide_position_um", float(second)) for second in range(1, 41)]
    attempt = log(*moves[:20], CheckSubmitted(20.5), *moves[20:])
    times = reading_tracks(lesson, attempt, start, machine, most_points=most)[0].times_s
    assert len(times) == most
    assert list(times) == sorted(set(times))
    if most >= 3:
        assert {0.0, 20.5, 40.0} <= set(times)


@pytest.mark.parametrize(
    ("value", "tolerance", "text"),
    [
        (0.0412, 0.07, "+0.041"),
        (-1.0, 0.3, "−1.00"),
        (12.34, 5.0, "+12.3"),
        (100.0, 20.0, "+100"),
        (0.0, 0.5, "0.00"),
        (-0.001, 0.5, "0.00"),
    ],
)
def test_numbers_are_shown_one_digit_finer_than_their_tolerance(value: float, tolerance: float, text: str) -> None:
    assert number_text(value, tolerance) == text
