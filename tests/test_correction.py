"""Time-base correction, dropouts and their compensation, seen at the output."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.arithmetic import line_ramps
from sim.dropout import DropoutPattern, compensate, dropout_level, lost_samples
from sim.headwheel import GuideGeometry
from sim.instruments import measure
from sim.output import sync_edges_s
from sim.recorder import TAPES, Condition, Recorder, check_control
from sim.signals import burst, make_signal
from sim.standards import get_standard
from sim.timebase import LineBlocks
from tests.outside_checks import OutsideCheck

STANDARD = get_standard("525/60")
UNSTEADY = Condition(wheel_jitter_ns=125.0)


def residual_peak_ns(correction: str) -> float:
    """Three times the rms time-base error of bars through an unsteady machine, by sync and burst [ns]."""
    recorder = Recorder(signal="bars", condition=UNSTEADY, seed=5)
    recorder.set_control("correction", check_control("correction", correction))
    errors = []
    for index in range(3):
        video = recorder.play_frame(index).corrected
        errors.append(_burst_error_ns(video))
    return 3.0 * float(np.std(np.concatenate(errors)))


def _burst_error_ns(video: np.ndarray) -> np.ndarray:
    """Phase of each line's burst against the generator's, as time: independent of the corrector's own window."""
    expected = burst(STANDARD)
    lines = np.flatnonzero(np.abs(expected).max(axis=1) > 1.0)
    window = slice(82, 110)  # seven cycles in the middle of the burst
    carrier = np.exp(-0.5j * np.pi * np.arange(window.start, window.stop))
    phasors = [((one[lines, window] - one[lines, window].mean(axis=1, keepdims=True)) * carrier).sum(axis=1)
               for one in (video, expected)]  # fmt: skip
    turns = np.angle(phasors[0] * np.conj(phasors[1])) / (2 * np.pi)
    return np.asarray(turns / STANDARD.subcarrier_hz * 1e9)


def test_residuals_after_each_kind_of_correction(outside_check: OutsideCheck) -> None:
    source = "MEMORY: physics.md section 7"
    assert residual_peak_ns("off") > 70.0
    outside_check("peak residual, monochrome correction", source, 25.0, residual_peak_ns("monochrome"), 8.0, "ns")
    outside_check("peak residual, colour correction", source, 3.0, residual_peak_ns("colour"), 2.0, "ns")


def test_correction_hides_small_guide_errors_from_the_picture_but_not_the_velocity_error() -> None:
    """PUB, artefact atlas: so the guide is set on the uncorrected picture."""
    recorder = Recorder(signal="grid", controls={"guide_position_um": 8.0, "correction": 1})
    frame = recorder.play_frame(0)
    edges_ns = sync_edges_s(frame.corrected, STANDARD) * 1e9
    assert np.std(edges_ns) < 12.0
    # The reading is taken off the tape, before correction: it still tells.
    assert measure(frame, "skew_us") == pytest.approx(0.907 * 8.0 / 25.4, rel=0.03)


def test_errors_beyond_the_range_remain(outside_check: OutsideCheck) -> None:
    recorder = Recorder(signal="grid", controls={"guide_position_um": 60.0, "correction": 1})
    edges_s = sync_edges_s(recorder.play_frame(0).corrected, STANDARD)
    # DERIVED: 60 um lean +-1.07 us; +-0.5 us (from memory) can be taken out.
    expected = 0.5 * 0.907e-6 * 60.0 / 25.4 - 0.5e-6
    outside_check(
        "error left beyond +-0.5 us of range",
        "DERIVED: lean less the range, which is from memory",
        expected * 1e9,
        np.abs(edges_s).max() * 1e9,
        60.0,
        "ns",
    )


def test_colour_mode_keeps_a_clean_burst_and_monochrome_removes_it() -> None:
    recorder = Recorder(signal="bars")
    for correction, present in (("off", False), ("monochrome", False), ("colour", True)):
        recorder.set_control("correction", check_control("correction", correction))
        window = recorder.play_frame(0).processed[30:250, 80:110]
        assert bool(np.ptp(window) > 30.0) == present


def test_velocity_error_along_the_line(outside_check: OutsideCheck) -> None:
    """What start-of-line correction leaves: the lean's slope goes on within the line (physics.md section 3)."""
    straight = Recorder(signal="multiburst", controls={"correction": 2}, seed=2).play_frame(0)
    leaning = Recorder(signal="multiburst", controls={"correction": 2, "guide_position_um": 2.54}, seed=2).play_frame(0)
    rows = np.flatnonzero(straight.active[:, 500])
    angle = np.arcsin(straight.schedule.sine.reshape(525, 910)[rows, 700])
    rows = rows[np.abs(angle) < 0.15]  # the middle of a pass, where the slope is greatest
    start, stop = 704, 728  # 3.58 MHz packet, near the end of the line
    carrier = np.exp(-2j * np.pi * 3.58e6 / STANDARD.sample_rate_hz * np.arange(start, stop))
    phase = [((one.corrected[rows, start:stop] - 50.0) * carrier).sum(axis=1) for one in (leaning, straight)]
    early_ns = np.angle(phase[0] * np.conj(phase[1])) / (2 * np.pi * 3.58e6) * 1e9
    # DERIVED: slope e_in w / v times the time from burst (6.5 us) to the packet (50 us).
    slope = 2.54e-6 * 2 * np.pi * 239.76 / 39.546
    expected_ns = slope * (716 / STANDARD.sample_rate_hz - 6.6e-6) * 1e9
    outside_check(
        "velocity error, 0.1 mil", "DERIVED: physics.md section 3, e_in w / v", expected_ns, early_ns.mean(), 0.6, "ns"
    )


@given(shift=st.floats(-20.0, 20.0))
def test_line_ramps_are_exact_complex_exponentials(shift: float) -> None:
    ramps = line_ramps(np.array([shift]), 1024)[0]
    exact = np.exp(2j * np.pi * np.arange(513) * shift / 1024)
    np.testing.assert_allclose(ramps, exact, atol=2e-6)


# The last has no length that the kernels know near its own.
@pytest.mark.parametrize(("lines", "samples", "length"), [(525, 910, 1024), (625, 1134, 1280), (20, 700, 864)])
def test_line_blocks_put_a_frame_together_again(lines: int, samples: int, length: int) -> None:
    frame = np.random.default_rng(0).standard_normal(lines * samples).astype(np.float32)
    cutter = LineBlocks(lines, samples, 11)
    assert cutter.length == length
    np.testing.assert_array_equal(cutter.join(cutter.cut(frame)).ravel(), frame)


@settings(deadline=None, max_examples=20)
@given(per_frame=st.floats(0.0, 60.0), median_us=st.floats(1.0, 60.0), seed=st.integers(0, 1000))
def test_dropouts_stay_between_their_depth_and_the_tape(per_frame: float, median_us: float, seed: int) -> None:
    level = dropout_level(DropoutPattern(per_frame, median_us * 1e-6), STANDARD, seed)
    assert level.shape == (STANDARD.samples_per_frame,)
    assert level.max() <= 1.0
    assert level.min() >= 10 ** (-40 / 20) * 0.999


def test_dropout_lengths_follow_the_stated_law() -> None:
    pattern = DropoutPattern(per_frame=3.0, median_s=12e-6, spread=0.6)
    lengths = []
    for seed in range(250):
        low = dropout_level(pattern, STANDARD, seed) < 10 ** (-20 / 20)
        starts, stops = (np.flatnonzero(np.diff(low.astype(np.int8)) == sign) for sign in (1, -1))
        if starts.size == stops.size and (starts < stops).all():
            lengths += ((stops - starts) / STANDARD.sample_rate_hz * 1e6).tolist()
    assert len(lengths) > 500
    # MODEL law: log-normal; the detector of this test adds the edges' width.
    assert np.median(lengths) == pytest.approx(12.0, rel=0.1)
    assert np.std(np.log(lengths)) == pytest.approx(0.6, rel=0.1)


def test_compensator_hides_dropouts() -> None:
    dropping = replace(TAPES["station-525"], dropouts=DropoutPattern(per_frame=25.0, median_s=15e-6), serial=7)
    sound = replace(dropping, dropouts=DropoutPattern())
    wanted = Recorder(tape=sound, signal="stair", seed=1).play_frame(0).demod
    recorder = Recorder(tape=dropping, signal="stair", seed=1)
    raw = recorder.play_frame(0)
    recorder.set_control("dropout_threshold_db", -10.0)
    mended = recorder.play_frame(0)
    lost = lost_samples(raw.rf, -10.0, STANDARD).reshape(525, 910) & raw.active
    lost[:24], lost[262:290] = False, False  # no line of the same field two before
    assert lost.sum() > 2000
    before, after = (np.abs(one - wanted)[lost].mean() for one in (raw.demod, mended.corrected))
    assert before > 20.0
    assert after < 0.1 * before
    untouched = ~lost_samples(raw.rf, -10.0, STANDARD).reshape(525, 910)
    np.testing.assert_array_equal(mended.corrected[untouched], raw.demod[untouched])
    # At the lowest threshold the compensator is off.
    recorder.set_control("dropout_threshold_db", -40.0)
    assert recorder.play_frame(0).corrected is not None
    np.testing.assert_array_equal(recorder.play_frame(0).corrected, raw.demod)


@pytest.mark.parametrize(("name", "white"), [("525/60", 100.0), ("625/50", 700.0)])
def test_compensation_repeats_the_line_of_the_same_subcarrier_phase(name: str, white: float) -> None:
    """In PAL the V switch must agree as well: four lines back, where subcarrier is 2.3 degrees off (DERIVED)."""
    video = make_signal("bars", get_standard(name))
    lost = np.zeros(video.shape, dtype=bool)
    lost[100, 300:400] = True
    damaged = video.copy()
    damaged[lost] = 0.0
    mended = compensate(damaged, lost, get_standard(name))
    np.testing.assert_allclose(mended[100, 300:400], video[100, 300:400], atol=0.02 * white)
    assert compensate(video, np.zeros_like(lost), get_standard(name)) is not video


def test_record_current_sets_the_level_of_its_own_tracks() -> None:
    currents = {"record_current_pct_1": 70.0, "record_current_pct_3": 150.0}
    frame = Recorder(signal="flat", controls=currents).play_frame(0)
    levels = [measure(frame, f"rf_level_db_{head}") for head in range(1, 5)]
    assert levels[1] == pytest.approx(0.0, abs=0.1)
    assert levels[0] == pytest.approx(-0.74, abs=0.15)  # MODEL curve
    assert levels[2] < -2.0
    hidden = Condition(record_current_best_pct=(70.0, 100.0, 150.0, 100.0))
    best = Recorder(signal="flat", controls=currents, condition=hidden).play_frame(0)
    assert measure(best, "rf_level_db") == pytest.approx(0.0, abs=0.1)


def test_carrier_offset_shifts_every_level() -> None:
    frame = Recorder(signal="flat", controls={"fm_carrier_khz": 7900.0 + 105.0}).play_frame(0)
    # DERIVED: 105 kHz of 21 kHz an IRE are 5 IRE.
    assert frame.demod[100, 300:700].mean() == pytest.approx(55.0, abs=0.3)
    assert frame.demod[100, 15:55].mean() == pytest.approx(-35.0, abs=0.3)


def test_interchange_tape_leans_by_the_errors_under_which_it_was_recorded() -> None:
    frame = Recorder(tape="interchange-525").play_frame(0)
    # What is seen is playback error minus recorded error: 10 um out, so a perfect machine shows the opposite lean.
    assert measure(frame, "skew_us") == pytest.approx(-0.907 * 10.0 / 25.4, rel=0.03)
    assert measure(frame, "head_position_ns_3") == pytest.approx(-0.75 * 150.0, abs=4.0)
    assert measure(frame, "rf_level_db_2") == pytest.approx(-4.0, abs=0.1)
    # A quarter turn of tracking gives the weak track to another head: the level stays with the track.
    turned = Recorder(tape="interchange-525", controls={"tracking_phase_deg": 90.0}).play_frame(0)
    assert measure(turned, "rf_level_db_1") == pytest.approx(-4.0, abs=0.1)


def test_bowed_tracks_lower_the_rf_where_they_leave_the_head() -> None:
    bowed = replace(TAPES["alignment-525"], track_bow_um=120.0)
    frame = Recorder(tape=bowed, signal="flat").play_frame(0)
    level = frame.rf_envelope[:, 200:850].mean(axis=1)
    place = np.arcsin(frame.schedule.sine.reshape(525, 910)[:, 500]) / (np.pi / 4)
    # DERIVED: y = bow (1/3 - x^2), level 1 - |y| / 254 um.
    expected = 1.0 - np.abs(120.0 * (1 / 3 - np.square(place))) / 254.0
    np.testing.assert_allclose(level, expected, atol=0.015)


def test_shrunk_tape_leans_and_the_guide_takes_it_out(outside_check: OutsideCheck) -> None:
    shrunk = replace(TAPES["alignment-525"], geometry=GuideGeometry(stretch_ppm=-500.0))
    recorder = Recorder(tape=shrunk)
    # DERIVED: 500 ppm of a quarter turn, 1.043 ms.
    expected_us = 500e-6 * 0.25 / 239.76 * 1e6
    outside_check(
        "lean of tape shrunk by 0.05 %",
        "DERIVED: shrinkage x a quarter turn",
        expected_us,
        measure(recorder.play_frame(0), "skew_us"),
        0.03,
        "us",
    )
    recorder.set_control("guide_position_um", -expected_us / 0.908 * 25.4)
    edges_ns = recorder.play_frame(0).sync_edges_s * 1e9
    assert np.ptp(edges_ns) < 40.0  # the S-shaped rest (DERIVED: 42 ns p-p for each mil of such error)


def test_over_deviation_grows_beards_on_white_edges() -> None:
    programme = make_signal("grid", STANDARD)
    worst = {}
    for deviation_khz in (2100.0, 4900.0):
        frame = Recorder(signal="grid", controls={"fm_deviation_khz": deviation_khz}).play_frame(0)
        wrong = np.abs(frame.demod / (deviation_khz / 2100.0) - programme)[frame.active] > 15.0
        worst[deviation_khz] = int(wrong.sum())
    assert worst[2100.0] == 0
    assert worst[4900.0] > 1000


def test_under_deviation_makes_the_picture_noisier_by_the_ratio(outside_check: OutsideCheck) -> None:
    noise = {}
    for deviation_khz in (2100.0, 1050.0):
        frame = Recorder(signal="flat", controls={"fm_deviation_khz": deviation_khz}, seed=1).play_frame(0)
        noise[deviation_khz] = measure(frame, "noise_db") + 20 * np.log10(deviation_khz / 2100.0)
    # DERIVED: signal to noise goes with the square of the deviation, 6.02 dB for half.
    source = "DERIVED: 3 (D/B)^2 C/(N0 B)"
    outside_check("loss of S/N at half deviation", source, 6.02, noise[2100.0] - noise[1050.0], 0.3, "dB")
