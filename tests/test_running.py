"""A wheel out of step, bare tape, slip rings, and the record side up to the heads, seen in what comes out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.faults import with_fault
from sim.errors import BandbenchError
from sim.headwheel import GuideGeometry
from sim.instruments import measure
from sim.recorder import Condition, Recorder
from sim.running import Running
from sim.signals import make_signal, visible_columns, visible_rows
from sim.standards import get_practice, get_standard
from sim.tape import RecordSettings, get_tape, record_frame
from tests.outside_checks import OutsideCheck

STANDARD = get_standard("525/60")
PRACTICE = get_practice("525 high-band")


@pytest.fixture(scope="module")
def recorder() -> Recorder:
    return Recorder(signal="grid", seed=2)


@pytest.mark.parametrize("lines", [1, 37, -200])
def test_a_picture_early_by_lines_has_rolled_by_them(recorder: Recorder, lines: int) -> None:
    # DERIVED: positive is early, so what belongs to line n + lines stands in line n.
    locked = recorder.play_frame(0)
    rolled = recorder.play_frame(0, Running(early_s=lines * STANDARD.line_period_s))
    for name in ("demod", "rf_envelope", "head_of_line", "pass_of_line"):
        np.testing.assert_array_equal(getattr(rolled, name), np.roll(getattr(locked, name), -lines, axis=0))


def test_a_rolled_picture_is_read_as_the_same_picture(recorder: Recorder) -> None:
    recorder.set_controls({"guide_position_um": 15.0, "channel_gain_db_2": -3.0})
    locked = recorder.play_frame(0)
    rolled = recorder.play_frame(0, Running(early_s=-131 * STANDARD.line_period_s))
    for name in ("rf_level_db", "rf_level_db_2", "skew_us", "head_position_ns_3"):
        assert measure(rolled, name) == pytest.approx(measure(locked, name), abs=2e-3)
    recorder.set_controls({"guide_position_um": 0.0, "channel_gain_db_2": 0.0})


def test_a_wheel_too_fast_makes_lines_drift(recorder: Recorder, outside_check: OutsideCheck) -> None:
    speed_error = 2e-4
    edges_s = recorder.play_frame(0, Running(speed_error=speed_error)).sync_edges_s
    lines = np.arange(edges_s.size)
    found = np.isfinite(edges_s) & (np.abs(lines - 262) < 200)
    drift_s = -np.polyfit(lines[found], edges_s[found], 1)[0]
    outside_check(
        "drift of the sync edge from line to line, wheel 0.02 % too fast",
        "DERIVED: speed error times the line period (ITU-R BT.470)",
        speed_error * STANDARD.line_period_s * 1e9,
        drift_s * 1e9,
        0.1,
        "ns",
    )


def test_a_wheel_too_fast_lifts_the_video(outside_check: OutsideCheck) -> None:
    recorder = Recorder(signal="flat", seed=1)
    region = np.ix_(
        visible_rows(STANDARD)[40:200], np.arange(STANDARD.samples_per_line)[visible_columns(STANDARD)][50:-50]
    )
    speed_error = 1e-4
    right, fast = (
        recorder.play_frame(0, Running(speed_error=error)).demod[region].mean() for error in (0.0, speed_error)
    )
    grey = recorder.play_frame(0).source[region].mean()
    carrier_hz = PRACTICE.blanking_hz + grey * PRACTICE.white_deviation_hz / STANDARD.white_level
    outside_check(
        "video level added by a wheel 0.01 % too fast, at blanking's carrier",
        "DERIVED: every frequency off the tape is too high by the speed error (carriers of physics.md, from memory)",
        speed_error * PRACTICE.blanking_hz / PRACTICE.white_deviation_hz * STANDARD.white_level,
        float(fast - right),
        0.005,
        "IRE",
    )
    # The model leaves out that the picture's own part rises too: at this grey it is a fifth of an already small thing.
    assert abs(carrier_hz / PRACTICE.blanking_hz - 1.0) < 0.3


def test_bare_tape_and_a_wheel_far_too_slow_give_noise(recorder: Recorder) -> None:
    good = recorder.play_frame(0)
    for running in (Running(has_recording=False), Running(speed_error=-0.5)):
        bare = recorder.play_frame(0, running)
        assert bare.rf_envelope.mean() < 0.3 * good.rf_envelope.mean()
        assert np.isnan(bare.sync_edges_s).mean() > 0.5 or np.nanstd(bare.sync_edges_s) > 1e-6


@settings(max_examples=12, deadline=None)
@given(
    early_s=st.floats(-0.02, 0.02),
    speed_error=st.floats(-0.3, 0.3),
    residual_peak_s=st.floats(0.0, 2e-6),
    phase_deg=st.floats(-1000.0, 1000.0),
)
def test_any_running_gives_finite_pictures(
    early_s: float, speed_error: float, residual_peak_s: float, phase_deg: float
) -> None:
    frame = _HUNTED.play_frame(3, Running(phase_deg, early_s, speed_error, residual_peak_s))
    for values in (frame.demod, frame.processed, frame.rf_envelope, frame.time_base_error_s):
        assert np.isfinite(values).all()


_HUNTED = Recorder(signal="bars", seed=5)


def test_a_dirty_slip_ring_streaks_only_its_own_bands() -> None:
    frame = Recorder(signal="flat", condition=with_fault(Condition(), "dirty_slip_ring_3"), seed=4).play_frame(0)
    good = Recorder(signal="flat", seed=4).play_frame(0)
    lowered = np.any(frame.rf_envelope < 0.3 * good.rf_envelope, axis=1)
    heads = frame.head_of_line
    # A line at a change of heads belongs to two of them.
    inside = (heads == np.roll(heads, 1)) & (heads == np.roll(heads, -1))
    assert lowered[inside & (heads == 3)].mean() > 0.1
    assert not lowered[inside & (heads != 3)].any()
    again = Recorder(signal="flat", condition=with_fault(Condition(), "dirty_slip_ring_3"), seed=4)
    np.testing.assert_array_equal(again.play_frame(0).rf, frame.rf)
    assert not np.array_equal(again.play_frame(1).rf_envelope < 0.3, frame.rf_envelope < 0.3)


def test_the_input_through_the_electronics_is_the_input(outside_check: OutsideCheck) -> None:
    frame = Recorder(signal="bars").electronics_frame()
    assert not frame.off_tape
    row = int(visible_rows(STANDARD)[100])
    difference = frame.electronics - frame.source
    outside_check(
        "largest error of the electronics-to-electronics path on a line of bars",
        "DERIVED: modulator and demodulator undo each other inside the video band",
        0.0,
        float(np.abs(difference[row]).max()),
        1.5,
        "IRE",
    )
    np.testing.assert_array_equal(frame.demod, frame.electronics)


def test_input_level_scales_video_about_blanking(outside_check: OutsideCheck) -> None:
    recorder = Recorder(signal="pulse_bar", controls={"input_level_db": -6.0})
    outside_check(
        "peak of the source at -6 dB of input level",
        "DERIVED: 100 IRE x 10^(-6/20)",
        100.0 * 10.0 ** (-6.0 / 20.0),
        float(recorder.play_frame(0).source.max()),
        0.05,
        "IRE",
    )
    # What this machine records of it has that level too.
    assert recorder.play_frame(0).demod.max() < 60.0


def test_a_source_of_the_wrong_shape_is_refused_and_the_old_one_stays() -> None:
    recorder = Recorder(signal="bars")
    before = recorder.record_programme
    with pytest.raises(BandbenchError, match="input video: shape"):
        recorder.load_source(np.zeros((2, 2)))
    with pytest.raises(BandbenchError, match="not finite"):
        recorder.load_source(np.full((525, 910), np.nan))
    assert recorder.record_programme is before


def test_a_recording_keeps_what_it_was_made_with() -> None:
    maker = Recorder(signal="grid", controls={"guide_position_um": 10.0, "fm_deviation_khz": 1800.0})
    spec = get_tape("interchange-525")
    player = Recorder(signal="bars")
    player.load_recording(spec, make_signal("grid", STANDARD), maker.record_settings)
    np.testing.assert_array_equal(
        player._recorded_frame.envelope,
        record_frame(make_signal("grid", STANDARD), spec, STANDARD, PRACTICE, maker.record_settings).envelope,
    )
    assert maker.machine_geometry == GuideGeometry(inward_um=10.0)
    # Turning this machine's record controls does not touch what is on the tape.
    before = measure(player.play_frame(0), "rf_level_db")
    player.set_controls({"fm_deviation_khz": 900.0, "record_current_pct_1": 50.0})
    assert measure(player.play_frame(0), "rf_level_db") == before


def test_going_to_and_fro_between_recordings_costs_no_new_recording() -> None:
    recorder = Recorder()
    spec, one, two = get_tape("station-525"), make_signal("bars", STANDARD), make_signal("grid", STANDARD)
    recorder.load_recording(spec, one, RecordSettings())
    first = recorder._recorded_frame
    recorder.load_recording(spec, two, RecordSettings())
    recorder.load_recording(spec, one, RecordSettings())
    assert recorder._recorded_frame is first
