"""The tape drawing: footprint, the path of the heads and the control track, against numbers and against the machine."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.controltrack import control_track
from sim.drawings import tape_drawing
from sim.instruments import tracking_level_pct
from sim.recorder import Recorder
from sim.standards import get_standard
from tests.outside_checks import OutsideCheck

STANDARDS = ("525/60", "625/50")


@pytest.mark.parametrize("name", STANDARDS)
def test_the_drawn_footprint(name: str, outside_check: OutsideCheck) -> None:
    drawing = tape_drawing(get_standard(name), 0.0)
    middles = [track.middle_m[len(track.middle_m) // 2][0] for track in drawing.tracks]
    four = (middles[4] - middles[0]) * 1e3
    source = "QUOTED ANSI C98.6-1965, as quoted second-hand: 0.0625 in per four tracks"
    # 525/60 runs at 59.94 fields: 0.1 % off the round numbers of the publication.
    outside_check(f"four drawn tracks, {name}", source, 1.5875, four, 0.002, "mm")
    (x0, y0), (x1, y1) = drawing.tracks[0].middle_m[0], drawing.tracks[0].middle_m[-1]
    lean_deg = math.degrees(math.atan2(x1 - x0, y1 - y0))
    source = "DERIVED: atan(tape speed / tip speed), 15 in/s over pi 2.067 in x 240/s"
    expected = math.degrees(math.atan(15.0 / (math.pi * 2.067 * 240.0)))
    outside_check(f"angle of the drawn tracks, {name}", source, expected, lean_deg, 0.002, "deg")
    assert drawing.angle_deg == pytest.approx(lean_deg, abs=1e-9)
    # DERIVED: guard band = pitch - width = 5.625 mil.
    assert drawing.guard_band_m == pytest.approx(5.625 * 25.4e-6, rel=1e-3)
    # The tracks and both edge tracks have room on the tape.
    assert drawing.half_length_m + max(drawing.sound_width_m, drawing.cue_width_m) <= drawing.tape_width_m / 2.0


@given(phase=st.floats(-720.0, 720.0))
@settings(max_examples=60, deadline=None)
def test_the_path_lies_where_the_phase_puts_it_and_follows_the_nearest_track(phase: float) -> None:
    drawing = tape_drawing(get_standard("525/60"), phase)
    # DERIVED: tracking phase moves the heads by 62.5 mil x phase / 360, and repeats after a turn.
    expected = 62.5 * 25.4e-6 * phase / 360.0
    assert math.remainder(drawing.path_x_m - expected, drawing.control_period_m) == pytest.approx(0.0, abs=1e-9)
    middles = {track.middle_m[len(track.middle_m) // 2][0]: track.head for track in drawing.tracks}
    nearest = min(middles, key=lambda x: abs(x - drawing.path_x_m))
    distance = drawing.path_x_m - nearest
    assert abs(drawing.offset_m) == pytest.approx(abs(distance), abs=1e-9)
    # Half-way between two tracks either may be followed.
    if abs(distance) < 0.499 * drawing.track_pitch_m:
        assert drawing.offset_m == pytest.approx(distance, abs=1e-9)
        assert drawing.follows == middles[nearest]
    # DERIVED: own-track amplitude = overlap / width.
    assert drawing.own == pytest.approx(max(0.0, 1.0 - abs(distance) / 254e-6), abs=1e-6)
    # Tracks stand on either side of the path of every head, four pitches of it.
    assert min(middles) < drawing.path_x_m
    assert max(middles) > drawing.path_x_m + 3.0 * drawing.track_pitch_m


@pytest.mark.parametrize("phase", [0.0, 17.0, -30.0, 95.0])
def test_what_the_drawing_shows_is_what_the_rf_meter_reads(phase: float) -> None:
    recorder = Recorder(signal="flat", controls={"tracking_phase_deg": phase})
    frame = recorder.play_frame(0)
    drawing = tape_drawing(frame.standard, frame.control_phase_deg)
    assert tracking_level_pct(frame) == pytest.approx(100.0 * drawing.own, abs=1.0)


@pytest.mark.parametrize("phase", [0.0, 60.0, -120.0])
def test_the_drawn_control_track_passes_the_wheel_as_the_control_head_reads_it(phase: float) -> None:
    standard = get_standard("625/50")
    drawing = tape_drawing(standard, phase)
    track = np.clip(control_track(standard, phase).ravel(), -1.0, 1.0)
    turns = np.arange(track.size) * (standard.wheel_turns_per_frame / track.size)
    # The tape runs by one period a turn; in the middle of head 1's pass, an eighth of a turn in, it is at the path.
    x = drawing.path_x_m + (turns - 0.125) * drawing.control_period_m
    drawn = np.sin(2.0 * np.pi * (x / drawing.control_period_m + drawing.control_cycles))
    off_pulse = np.abs(track - drawn) < 1e-3
    # All but the frame pulse, which covers 3 % of one turn in ten.
    assert off_pulse.mean() > 0.99
    pulse_level = math.sin(2.0 * math.pi * (drawing.frame_pulse_m / drawing.control_period_m + drawing.control_cycles))
    # QUOTED: the frame pulse sits on the positive peak.
    assert pulse_level == pytest.approx(1.0, abs=1e-9)


def test_a_bowed_track_is_bowed_about_its_mean() -> None:
    drawing = tape_drawing(get_standard("525/60"), 0.0, bow_m=35e-6)
    points = np.array(drawing.tracks[3].middle_m)
    chord = np.interp(points[:, 1], points[[0, -1], 1], points[[0, -1], 0])
    assert (points[:, 0] - chord).max() == pytest.approx(35e-6, rel=1e-6)
    along = points[:, 1] / drawing.half_length_m
    # Simpson's rule is exact for the parabola: the bow leaves the mean of the track on its middle line.
    weights = np.array([1, 4, 2, 4, 2, 4, 2, 4, 1]) / 24.0
    straight = along * (points[-1, 0] - points[0, 0]) / 2.0
    assert float(weights @ (points[:, 0] - straight)) == pytest.approx(0.0, abs=1e-12)


def test_the_sentence_says_it() -> None:
    standard = get_standard("525/60")
    assert "along the middle of the tracks that head 1 recorded; 100 %" in tape_drawing(standard, 0.0).sentence
    beside = tape_drawing(standard, 18.0).sentence
    assert "79 um after the middle" in beside
    assert "69 %" in beside
    assert "head 3 recorded" in tape_drawing(standard, 180.0).sentence
    assert "like for like" in tape_drawing(standard, 180.0).sentence
