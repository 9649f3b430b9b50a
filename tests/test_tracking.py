"""RF level against tracking, read from the RF meter."""

from __future__ import annotations

import numpy as np
import pytest

from sim.instruments import measure, picture, rf_levels_db, tracking_level_pct, waveform
from sim.recorder import Condition, Recorder
from tests.outside_checks import OutsideCheck

# One control-track cycle is four tracks, 62.5 mil (ANSI C98.6-1965, as quoted second-hand: 0.0625 in).
DEG_PER_MIL = 360.0 / 62.5


@pytest.fixture(scope="module")
def recorder() -> Recorder:
    return Recorder(signal="flat", seed=3)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize(("offset_mil", "level_db"), [(1.0, -0.92), (2.5, -2.50), (5.0, -6.02)])
def test_rf_level_against_offset(
    recorder: Recorder, offset_mil: float, level_db: float, side: int, outside_check: OutsideCheck
) -> None:
    recorder.set_control("tracking_phase_deg", side * offset_mil * DEG_PER_MIL)
    source = "DERIVED: overlap of head and track, both 10 mil wide (common practice)"
    measured = measure(recorder.play_frame(0), "rf_level_db")
    outside_check(f"RF level, tracking {side * offset_mil:+.1f} mil off", source, level_db, measured, 0.2, "dB")


def test_four_maxima_ninety_degrees_apart(recorder: Recorder) -> None:
    phases = np.arange(-180.0, 180.0, 3.0)
    levels = []
    for phase in phases:
        recorder.set_control("tracking_phase_deg", phase)
        levels.append(tracking_level_pct(recorder.play_frame(0)))
    level = np.array(levels)
    peaks = phases[(level > np.roll(level, 1)) & (level > np.roll(level, -1)) & (level > 90.0)]
    # Common practice: head 1 may follow the track of head 1, 2, 3 or 4.
    np.testing.assert_allclose(peaks, [-180.0, -90.0, 0.0, 90.0])
    assert level.max() == pytest.approx(100.0, abs=0.5)


def test_half_way_both_tracks_are_read_and_beat(recorder: Recorder) -> None:
    recorder.set_control("tracking_phase_deg", 45.0)
    envelope = recorder.play_frame(0).rf_envelope
    # DERIVED: both overlap 2.19 of 10 mil, so the beat runs from 0 to twice that.
    assert np.percentile(envelope, 99) == pytest.approx(2 * 0.219, abs=0.03)
    assert np.percentile(envelope, 1) < 0.06


def test_mistracking_makes_the_picture_noisier_by_as_much_as_the_rf_falls(recorder: Recorder) -> None:
    recorder.set_control("tracking_phase_deg", 0.0)
    full = measure(recorder.play_frame(0), "noise_db")
    recorder.set_control("tracking_phase_deg", 5.0 * DEG_PER_MIL)
    half = measure(recorder.play_frame(0), "noise_db")
    # DERIVED: above threshold the picture's signal to noise follows the carrier to noise.
    assert full - half == pytest.approx(6.02, abs=1.0)


def test_tracking_turns_the_heads_round_but_not_the_picture() -> None:
    recorder = Recorder(signal="bars", controls={"head_timing_ns_1": 0.0})
    before = recorder.play_frame(0)
    recorder.set_control("tracking_phase_deg", 90.0)
    after = recorder.play_frame(0)
    assert np.abs(picture(after) - picture(before)).max() < 1e-6
    np.testing.assert_array_equal((after.head_of_line - before.head_of_line) % 4, 3)


def test_only_like_for_like_cancels_what_two_machines_share() -> None:
    """A condition error of one head follows the head, so it moves to other bands when tracking jumps a track."""
    worn = Condition(head_output_db=(0.0, -6.0, 0.0, 0.0))
    recorder = Recorder(signal="flat", condition=worn)
    for phase in (0.0, 90.0, 180.0, -90.0):
        recorder.set_control("tracking_phase_deg", phase)
        np.testing.assert_allclose(rf_levels_db(recorder.play_frame(0)), [0.0, -6.0, 0.0, 0.0], atol=0.1)


def test_hidden_tracking_offset_and_control_add_up() -> None:
    recorder = Recorder(signal="flat", condition=Condition(tracking_offset_deg=-20.0))
    recorder.set_control("tracking_phase_deg", 20.0)
    assert tracking_level_pct(recorder.play_frame(0)) == pytest.approx(100.0, abs=0.5)


def test_control_track_is_a_sine_at_the_wheel_s_rate_with_a_frame_pulse(outside_check: OutsideCheck) -> None:
    for phase in (0.0, 60.0, -120.0):
        frame = Recorder(signal="flat", controls={"tracking_phase_deg": phase}).play_frame(0)
        track = frame.control_track.ravel().astype(float)
        spectrum = np.fft.rfft(np.clip(track, -1.0, 1.0))
        line = int(np.argmax(np.abs(spectrum)))
        rate_hz = line * frame.standard.frame_rate_hz
        outside_check(
            f"control track at {phase:+.0f} deg",
            "QUOTED: the wheel's rate, publication not named",
            239.76,
            rate_hz,
            0.01,
            "Hz",
        )
        # A sine of this phase has the angle phase - 90 deg in the cosine transform.
        measured = np.angle(spectrum[line], deg=True) + 90.0
        assert (measured - phase + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.5)
        # The frame pulse sits on one positive peak a frame (QUOTED).
        pulse = np.flatnonzero(track > 1.2)
        turns = (pulse * 8 / track.size + phase / 360.0) % 8
        assert np.median(np.minimum(np.abs(turns - 0.25), np.abs(turns - 8.25))) < 0.02
    raster = waveform(frame, "control_track", "field")
    assert raster.y_unit == "of nominal"
    assert raster.image.max() > 0.5
