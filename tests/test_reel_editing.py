"""Electronic editing: frames on tape, erasing ahead of the heads, and joints that are right or visibly wrong."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import BandbenchError, UnknownNameError
from sim.reel import (
    MASTER_ERASE_UPSTREAM_M,
    ControlTake,
    EditJoint,
    EditPlan,
    Reel,
    VideoTake,
    colour_step,
    continuing_control,
    control_at,
    describe_joint,
    erase_delay_frames,
    frame_length_m,
    joint_at,
    joints,
    plan_edit,
    playing_at,
    tape_speed_m_per_s,
)
from sim.standards import get_standard
from sim.tape import TAPES, RecordSettings
from tests.outside_checks import OutsideCheck

NAMES = {"525/60": "alignment-525", "625/50": "alignment-625"}
# DERIVED: 8 and 10 turns of the wheel a frame, four tracks of 15.625 mil a turn.
FRAME_M = {"525/60": 8 * 62.5 * 25.4e-6, "625/50": 10 * 62.5 * 25.4e-6}
CYCLE_M = 62.5 * 25.4e-6
BLACK = {
    name: np.zeros((standard.lines_per_frame, standard.samples_per_line), dtype=np.float32)
    for name, standard in ((name, get_standard(name)) for name in NAMES)
}
standards = st.sampled_from(sorted(NAMES))


def take(standard: str, origin_m: float, colour_frame: int = 0, first_field: int = 0) -> VideoTake:
    spec = TAPES[NAMES[standard]]
    return VideoTake(origin_m, spec, BLACK[standard], RecordSettings(), spec.practice, colour_frame, first_field)


def recorded(standard: str, origin_m: float = 1.0, end_m: float = 20.0, **control: float) -> Reel:
    """Return a reel with one recording on it, from origin to end."""
    reel = Reel("scrap", "Scrap reel", standard, 30.0)
    reel.record("video", origin_m, end_m, take(standard, origin_m))
    errors = ControlTake(origin_m, control.get("phase_deg", 0.0), 0.0, int(control.get("pulse", 0)), standard)
    reel.record("control", origin_m, end_m, errors)
    reel.record("programme", origin_m, end_m, "old sound")
    return reel


def make_edit(reel: Reel, plan: EditPlan, video: VideoTake, control: ControlTake | None = None) -> None:
    """Run the tape past the heads, from well before the entry to well behind the exit, in steps of 10 ms."""
    step_m = 0.01 * tape_speed_m_per_s(plan.standard)
    first, last = plan.entry_m - 0.3, min(plan.exit_m + 0.3, 25.0)
    for place in range(int((last - first) / step_m)):
        plan.run(reel, first + place * step_m, first + (place + 1) * step_m, video, control)


def stretches(reel: Reel, track: str) -> list[tuple[float, float]]:
    return [(round(one.start_m, 6), round(one.end_m, 6)) for one in reel.segments(track)]


def test_a_frame_of_tape(outside_check: OutsideCheck) -> None:
    # PUB SMPTE ST 4 abstract: 15 in/s, here at 59.94 fields a second; 625/50: 396.875 mm/s (as quoted second-hand).
    speeds = {"525/60": 15.0 * 25.4e-3 / 1.001, "625/50": 0.396875}
    for name, speed in speeds.items():
        standard = get_standard(name)
        source = "DERIVED: tape speed / frame rate"
        expected_mm = 1e3 * speed / {"525/60": 30.0 / 1.001, "625/50": 25.0}[name]
        outside_check(f"frame of tape, {name}", source, expected_mm, 1e3 * frame_length_m(standard), 1e-6, "mm")
        assert tape_speed_m_per_s(standard) == pytest.approx(speed)
        assert frame_length_m(standard) == pytest.approx(FRAME_M[name])


def test_tape_runs_18_frames_from_the_erase_head_to_the_wheel() -> None:
    # DERIVED: 9 in (from memory) over 0.5 in a frame, and over 0.625 in.
    assert erase_delay_frames(get_standard("525/60")) == pytest.approx(18.0)
    assert erase_delay_frames(get_standard("625/50")) == pytest.approx(14.4)


@given(standards, st.floats(0.5, 3.0), st.floats(6.0, 15.0), st.integers(0, 7), st.floats(-170.0, 170.0))
@settings(max_examples=60, deadline=None)
def test_an_edit_begins_at_a_frame_by_the_frame_pulse(
    name: str, origin_m: float, wanted_m: float, pulse: int, phase_deg: float
) -> None:
    reel = recorded(name, origin_m, phase_deg=phase_deg, pulse=pulse)
    plan = plan_edit(reel, "assemble", wanted_m)
    # DERIVED: a pulse that is late by whole cycles, and a sine that is ahead, move the places they mark.
    marked_m = origin_m + (pulse - phase_deg / 360.0) * CYCLE_M
    frames = (plan.entry_m - marked_m) / FRAME_M[name]
    assert frames == pytest.approx(round(frames), abs=1e-6)
    assert abs(plan.entry_m - wanted_m) <= 0.5 * FRAME_M[name] + 1e-9


@pytest.mark.parametrize("name", NAMES)
def test_an_insert_erases_ahead_of_the_heads_and_leaves_the_rest_alone(name: str) -> None:
    reel = recorded(name)
    before = reel.at("control", 10.0)
    plan = plan_edit(reel, "insert", 8.0, 12.0)
    new = take(name, plan.entry_m)
    make_edit(reel, plan, new)
    entry, leave = round(plan.entry_m, 6), round(plan.exit_m, 6)
    assert stretches(reel, "video") == [(1.0, entry), (entry, leave), (leave, 20.0)]
    assert reel.at("video", 10.0) is new
    assert reel.at("video", 7.0) is reel.at("video", 13.0)
    assert [one.content for one in reel.segments("control")] == [before]
    assert stretches(reel, "control") == stretches(reel, "programme") == [(1.0, 20.0)]
    assert plan.hole_m == plan.overlap_m == 0.0
    # DERIVED: whole frames on tape.
    frames = (plan.exit_m - plan.entry_m) / FRAME_M[name]
    assert frames == pytest.approx(round(frames))


@pytest.mark.parametrize("name", NAMES)
def test_erasing_together_with_the_heads_leaves_an_overlap_and_a_hole(name: str) -> None:
    reel = recorded(name)
    plan = plan_edit(reel, "insert", 8.0, 12.0, delayed_erase=False)
    new = take(name, plan.entry_m)
    make_edit(reel, plan, new)
    # MEMORY: erase head nine inches upstream; DERIVED: the stretch between the heads, at either end.
    assert plan.hole_m == pytest.approx(0.2286)
    assert plan.overlap_m == pytest.approx(0.2286)
    assert pytest.approx(144 * CYCLE_M) == MASTER_ERASE_UPSTREAM_M
    entry, leave = plan.entry_m, plan.exit_m
    expected = [(1.0, entry), (entry, entry + 0.2286), (entry + 0.2286, leave), (leave + 0.2286, 20.0)]
    assert stretches(reel, "video") == [(round(start, 6), round(end, 6)) for start, end in expected]
    over = reel.at("video", entry + 0.1)
    assert isinstance(over, VideoTake)
    # What was recorded over an old recording is the weaker for it (MODEL), and the same picture.
    assert over.programme is new.programme
    assert max(over.spec.track_level_db) < min(new.spec.track_level_db) - 3.0
    hole = joint_at(reel, leave + 0.2286)
    assert hole is not None
    assert hole.gap_m == pytest.approx(0.2286)
    assert "without picture" in describe_joint(hole, get_standard(name))


@pytest.mark.parametrize("name", NAMES)
def test_a_short_edit_with_undelayed_erase_is_all_overlap(name: str) -> None:
    reel = recorded(name)
    plan = plan_edit(reel, "insert", 8.0, 8.1, delayed_erase=False)
    make_edit(reel, plan, take(name, plan.entry_m))
    assert plan.overlap_m == pytest.approx(plan.exit_m - plan.entry_m)
    assert plan.hole_m == pytest.approx(plan.exit_m - plan.entry_m)
    over = reel.at("video", plan.entry_m + 0.02)
    assert isinstance(over, VideoTake)
    assert over.spec.track_level_db[0] < -3.0
    # The erase head has cut a hole behind untouched tape: as long as the edit, nine inches after it.
    kept = stretches(reel, "video")
    assert kept[-1] == (round(plan.exit_m + 0.2286, 6), 20.0)
    assert kept[-2][1] == round(plan.entry_m + 0.2286, 6)


def test_only_what_lies_there_already_harms_a_recording_over_tape_that_was_not_erased() -> None:
    reel = Reel("half", "Half blank reel", "525/60", 30.0)
    reel.record("video", 8.1, 20.0, take("525/60", 8.1))
    new = take("525/60", 8.0)
    plan = EditPlan("assemble", get_standard("525/60"), 8.0, 12.0, delayed_erase=False)
    make_edit(reel, plan, new, ControlTake(8.0))
    # DERIVED: the old recording begins at 8.1 m, the erase head began nine inches after the entry.
    assert stretches(reel, "video")[:3] == [(8.0, 8.1), (8.1, 8.2286), (8.2286, 12.0)]
    assert reel.at("video", 8.05) is reel.at("video", 9.0) is new
    over = reel.at("video", 8.15)
    assert isinstance(over, VideoTake)
    assert max(over.spec.track_level_db) < -3.0
    assert [one.content for one in reel.segments("control")] == [reel.at("control", 9.0)]


@pytest.mark.parametrize("name", NAMES)
def test_an_assembled_edit_continues_the_control_track_and_ends_in_a_hole(name: str) -> None:
    reel = recorded(name)
    plan = plan_edit(reel, "assemble", 8.0)
    old, control = reel.at("video", 7.0), continuing_control(reel, plan.entry_m)
    assert isinstance(old, VideoTake)
    new = take(name, plan.entry_m, old.colour_frame_at(plan.entry_m))
    step_m = 0.01 * tape_speed_m_per_s(plan.standard)
    steps = int((12.0 - 7.5) / step_m)
    for place in range(steps):
        plan.run(reel, 7.5 + place * step_m, 7.5 + (place + 1) * step_m, new, control)
    stopped = 7.5 + steps * step_m
    for track in ("video", "control"):
        entry = round(plan.entry_m, 6)
        behind = round(stopped + MASTER_ERASE_UPSTREAM_M, 6)
        assert stretches(reel, track) == [(1.0, entry), (entry, round(stopped, 6)), (behind, 20.0)]
    # Sound is erased with everything else: the erase head takes the whole width.
    assert stretches(reel, "programme") == [(1.0, round(plan.entry_m, 6)), (behind, 20.0)]
    joint = joint_at(reel, plan.entry_m)
    assert joint is not None
    assert joint.clean
    assert describe_joint(joint, plan.standard) == "Field, colour frame and control track all continue."


@given(
    standards,
    st.floats(0.2, 3.0),
    st.floats(6.0, 15.0),
    st.floats(-85.0, 85.0),
    st.integers(-3, 4),
    st.integers(0, 3),
    st.integers(0, 1),
    st.floats(-170.0, 170.0),
)
@settings(max_examples=80, deadline=None)
def test_a_joint_tells_what_was_done(
    name: str,
    origin_m: float,
    wanted_m: float,
    phase_error_deg: float,
    pulse_error: int,
    colour_error: int,
    field: int,
    old_phase_deg: float,
) -> None:
    """Whatever an assembled edit gets wrong is what its joint says, and nothing else."""
    standard = get_standard(name)
    reel = recorded(name, origin_m, phase_deg=0.0)
    # The old recording need not begin with frame number 0, nor its control track in phase.
    old = reel.at("video", origin_m)
    assert isinstance(old, VideoTake)
    reel.record("control", origin_m, 20.0, ControlTake(origin_m, old_phase_deg, 0.0, 0, name))
    plan = plan_edit(reel, "assemble", wanted_m)
    control = continuing_control(
        reel, plan.entry_m, phase_error_deg=phase_error_deg, frame_pulse_error_cycles=pulse_error
    )
    # The new picture is laid where the old one's frames begin, next to the entry.
    start_m = plan.entry_m + old_phase_deg / 360.0 * CYCLE_M
    colour = (old.colour_frame_at(start_m) + colour_error) % standard.colour_frames
    plan.run(reel, wanted_m - 1.0, wanted_m + 1.0, take(name, start_m, colour, field), control)
    joint = joint_at(reel, plan.entry_m)
    assert joint is not None
    assert joint.gap_m == pytest.approx(0.0, abs=1e-9)
    assert joint.field_right == (field == 0)
    assert joint.colour_frame_right == (field == 0 and colour_error % standard.colour_frames == 0)
    if field == 0:
        assert joint.colour_step == colour_error % standard.colour_frames
    assert joint.control_phase_step_deg == pytest.approx(phase_error_deg, abs=1e-3)
    # Half a frame ahead is half a frame behind: it is given as ahead.
    turns = standard.wheel_turns_per_frame
    assert joint.frame_pulse_step_cycles == (turns // 2 if 2 * pulse_error == turns else -pulse_error)
    said = describe_joint(joint, standard)
    assert ("Wrong field" in said) == (field == 1)
    assert ("frame pulse steps" in said) == (pulse_error != 0)


@pytest.mark.parametrize(("name", "half_frame"), [("525/60", 262.5), ("625/50", 312.5)])
def test_the_wrong_field_stands_half_a_frame_away_until_the_old_picture_comes_back(
    name: str, half_frame: float
) -> None:
    reel = recorded(name)
    plan = plan_edit(reel, "insert", 8.0, 12.0)
    make_edit(reel, plan, take(name, plan.entry_m, 0, first_field=1))
    pulses = set()
    for place, offset in ((7.9, 0.0), (8.1, half_frame), (11.9, half_frame), (12.1, 0.0)):
        found = playing_at(reel, place)
        assert abs(found.line_offset) == pytest.approx(offset)
        assert found.control is not None
        pulses.add(found.control.frame_pulse_cycles)
    assert len(pulses) == 1, "an insert keeps the control track"


def test_a_late_frame_pulse_puts_the_picture_too_high() -> None:
    reel = recorded("525/60", pulse=3)
    # DERIVED: 525 lines over 8 cycles.
    assert playing_at(reel, 5.0).line_offset == pytest.approx(-3 * 65.625)


@pytest.mark.parametrize(("name", "frames"), [("525/60", 2), ("625/50", 4)])
def test_colour_framing_on_tape(name: str, frames: int) -> None:
    """The entry goes to a frame that continues the sequence; a take that does not is out by what it was given."""
    standard = get_standard(name)
    for wanted in range(frames):
        reel = recorded(name)
        plan = plan_edit(reel, "insert", 8.0, 12.0, colour_frame=wanted)
        old = reel.at("video", 7.0)
        assert isinstance(old, VideoTake)
        assert old.colour_frame_at(plan.entry_m) == wanted
        # DERIVED: never further than half a sequence and half a frame.
        assert abs(plan.entry_m - 8.0) <= (0.5 * frames + 0.5) * FRAME_M[name] + 1e-9
        for out in range(frames):
            new = take(name, plan.entry_m, (wanted + out) % frames)
            make_edit(reel, plan, new)
            assert playing_at(reel, 7.9).colour_frame == 0
            assert playing_at(reel, 10.0).colour_frame == out
            assert playing_at(reel, 13.0).colour_frame == 0
            # A machine that has locked to the inserted picture finds the old one out of step instead.
            assert playing_at(reel, 10.0, locked_to=new).colour_frame == 0
            assert playing_at(reel, 13.0, locked_to=new).colour_frame == -out % frames
            assert colour_step(old, new, plan.entry_m) == out
            joint = joint_at(reel, plan.entry_m)
            assert joint is not None
            assert joint.colour_frame_right == (out == 0)
    assert frames == standard.colour_frames


def test_what_is_said_of_a_wrong_colour_frame() -> None:
    # DERIVED: half a cycle of 3.579545 MHz; half and a quarter of one of 4.43361875 MHz.
    for name, step, jump in (("525/60", 1, "140 ns"), ("625/50", 2, "113 ns"), ("625/50", 1, "56 ns")):
        said = describe_joint(EditJoint(5.0, True, False, 0.0, 0, 0.0, step), get_standard(name))
        assert jump in said
        assert ("half a cycle" in said) == (jump != "56 ns")


def test_colour_framing_is_locked_anew_after_a_stretch_without_control_track() -> None:
    reel = recorded("525/60")
    plan = plan_edit(reel, "insert", 8.0, 12.0)
    old = reel.at("video", 7.0)
    assert isinstance(old, VideoTake)
    make_edit(reel, plan, take("525/60", plan.entry_m, old.colour_frame_at(plan.entry_m) ^ 1))
    assert playing_at(reel, 10.0).colour_frame == 1
    reel.erase("control", 9.0, 9.5)
    assert playing_at(reel, 8.9).colour_frame == 1
    lost = playing_at(reel, 9.2)
    assert lost.control is None
    assert (lost.line_offset, lost.colour_frame) == (0.0, 0)
    assert playing_at(reel, 10.0).colour_frame == 0
    assert playing_at(reel, 13.0).colour_frame == 1


def test_what_the_servo_reads_of_the_control_track() -> None:
    reel = recorded("525/60", origin_m=0.0, phase_deg=30.0)
    found = playing_at(reel, 5.0).control
    assert found is not None
    assert found.phase_deg == pytest.approx(30.0)
    assert found.ahead_of_tracks_deg == pytest.approx(30.0)
    # A recording begun a quarter cycle along the tape is right in itself and a quarter cycle behind the ruler.
    reel = recorded("525/60", origin_m=FRAME_M["525/60"] * 4 + 0.25 * CYCLE_M)
    found = playing_at(reel, 5.0).control
    assert found is not None
    assert found.phase_deg == pytest.approx(-90.0)
    assert found.ahead_of_tracks_deg == pytest.approx(0.0, abs=1e-6)
    assert control_at(reel, 5.0) == found
    assert control_at(reel, 25.0) is None
    reel.record("control", 4.0, 6.0, ControlTake(FRAME_M["525/60"], frame_pulse_pct=10.0))
    found = playing_at(reel, 5.0).control
    assert found is not None
    assert not found.pulse_found
    blank = playing_at(reel, 25.0)
    assert (blank.video, blank.control, blank.line_offset, blank.colour_frame) == (None, None, 0.0, 0)


def test_edits_that_cannot_be_made_say_why() -> None:
    reel = recorded("525/60")
    with pytest.raises(UnknownNameError, match="'assemble', 'insert'"):
        plan_edit(reel, "splice", 8.0)
    with pytest.raises(BandbenchError, match="give a place where it ends"):
        plan_edit(reel, "insert", 8.0)
    with pytest.raises(BandbenchError, match="not after its entry"):
        plan_edit(reel, "insert", 8.0, 7.995)
    with pytest.raises(BandbenchError, match=r"no control track at 25\.00 m"):
        plan_edit(reel, "insert", 25.0, 26.0)
    with pytest.raises(BandbenchError, match=r"gap at 20\.00 m; assemble instead"):
        plan_edit(reel, "insert", 19.0, 21.0)
    reel.record("control", 10.0, 20.0, ControlTake(1.0, 40.0))
    with pytest.raises(BandbenchError, match=r"step at 10\.00 m"):
        plan_edit(reel, "insert", 9.0, 11.0)
    reel.erase("control", 9.2, 9.3)
    with pytest.raises(BandbenchError, match=r"gap at 9\.20 m"):
        plan_edit(reel, "insert", 9.0, 9.9)
    plan = plan_edit(reel, "assemble", 8.0)
    with pytest.raises(BandbenchError, match="needs a new control track"):
        plan.run(reel, 7.0, 9.0, take("525/60", plan.entry_m))
    reel.ring_fitted = False
    with pytest.raises(BandbenchError, match="record ring is off"):
        plan.run(reel, 7.0, 9.0, take("525/60", plan.entry_m), ControlTake(plan.entry_m))


def test_a_first_recording_is_assembled_onto_blank_tape() -> None:
    reel = Reel("blank", "Blank reel", "625/50", 30.0)
    plan = plan_edit(reel, "assemble", 2.345)
    assert plan.entry_m == 2.345
    control = continuing_control(reel, plan.entry_m)
    plan.run(reel, 2.0, 4.0, take("625/50", plan.entry_m), control)
    assert stretches(reel, "video") == stretches(reel, "control") == [(2.345, 4.0)]
    assert playing_at(reel, 3.0).line_offset == 0.0
    assert joints(reel) == ()


def test_takes_of_two_standards_have_no_frames_in_common() -> None:
    reel = recorded("525/60")
    reel.record("video", 10.0, 12.0, take("625/50", 10.0))
    joint = joint_at(reel, 10.0)
    assert joint is not None
    assert not joint.field_right
    with pytest.raises(BandbenchError, match="no frames in common"):
        colour_step(take("525/60", 0.0), take("625/50", 0.0), 1.0)
