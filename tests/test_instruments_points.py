"""Test points along the whole path and sweeps of the waveform monitor, against published values and formulas."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sim.controls import STAGES
from sim.errors import BandbenchError, UnknownNameError
from sim.instruments import (
    RATES,
    RF_POINTS,
    TEST_POINTS,
    VIDEO_POINTS,
    colour_picture,
    describe_picture,
    describe_superposition,
    describe_waveform,
    line_trace,
    picture,
    superposition,
    sweep_table,
    waveform,
)
from sim.instruments.testpoints import range_at, rf_at, values_at, video_at
from sim.instruments.vectorscope import describe_vectorscope
from sim.recorder import PlaybackFrame, Recorder
from sim.standards import FOOTPRINT, get_practice, get_standard
from tests.outside_checks import OutsideCheck

OF_FRAME = [name for name, point in TEST_POINTS.items() if point.kind != "servo"]
FRAME_POINTS = pytest.mark.parametrize("name", OF_FRAME)
NORMAL = {"525/60": "525 high-band", "625/50": "625 high-band"}


@cache
def played(standard: str = "525/60", signal: str = "bars", **controls: float) -> PlaybackFrame:
    return Recorder(standard, NORMAL[standard], signal=signal, controls=controls, seed=4).play_frame(0)


def with_source(source: NDArray[np.floating]) -> PlaybackFrame:
    """One frame of a machine with this video at its input."""
    recorder = Recorder(seed=4)
    recorder.load_source(source)
    return recorder.play_frame(0)


# Along the path ---------------------------------------------------------------------------------------------


def test_points_lie_along_the_path_and_inner_ones_on_a_card() -> None:
    order = ["input", "modulator", "channels", "switcher", "demodulator", "processing"]
    stages = [point.stage for point in TEST_POINTS.values() if point.stage]
    assert [order.index(stage) for stage in stages] == sorted(order.index(stage) for stage in stages)
    assert set(order) <= set(STAGES)
    inner = {name for name, point in TEST_POINTS.items() if point.inner}
    assert inner == {"pre_emphasised", "limiter", "discriminator", "clamped"}
    assert all(TEST_POINTS[name].stage for name in inner)
    assert not inner.intersection((*VIDEO_POINTS, *RF_POINTS))


@FRAME_POINTS
@pytest.mark.parametrize("standard", list(NORMAL))
def test_every_point_gives_a_number_for_each_sample(standard: str, name: str) -> None:
    frame = played(standard)
    values = values_at(frame, name)
    assert values.shape == (frame.standard.lines_per_frame, frame.standard.samples_per_line)
    assert np.isfinite(values).all()
    (low, high), unit = range_at(name, frame.standard)
    assert unit in ("of nominal", "MHz", frame.standard.level_unit)
    # A perfect machine with bars on it stays on every screen.
    assert low < np.percentile(values, 0.1) < np.percentile(values, 99.9) < high


def test_electronics_to_electronics_gives_the_published_levels(outside_check: OutsideCheck) -> None:
    american, european = played("525/60"), played("625/50", "flat")
    bars = video_at(american, "electronics")
    # Grey is the first of seven bars; the second half of a line is another bar each.
    grey = bars[60:200, 155:230].astype(np.float64).mean()
    outside_check("525/60 grey bar, electronics to electronics", "QUOTED RS-189: 77 IRE", 77.0, grey, 0.5, "IRE")
    sync = bars[60:200, 20:55].astype(np.float64).mean()
    source = "QUOTED RS-189: sync 40 IRE below blanking"
    outside_check("525/60 sync tip, electronics to electronics", source, -40.0, sync, 0.5, "IRE")
    sync = video_at(european, "electronics")[60:200, 25:70].astype(np.float64).mean()
    source = "QUOTED ITU-R BT.470: sync 300 mV of 1 V below blanking"
    outside_check("625/50 sync tip, electronics to electronics", source, -300.0, sync, 3.0, "mV")


def test_electronics_know_nothing_of_heads_and_tape_but_of_the_input_level() -> None:
    recorder = Recorder(signal="bars", seed=4)
    before = recorder.play_frame(0)
    recorder.set_controls({"guide_position_um": 40.0, "channel_on_2": 0.0, "tracking_phase_deg": 90.0})
    after = recorder.play_frame(0)
    assert (after.electronics == before.electronics).all()
    assert np.abs(after.demod - before.demod).mean() > 1.0
    recorder.set_control("input_level_db", -6.0)
    quiet = recorder.play_frame(0)
    for name in ("input", "electronics"):
        ratio = video_at(quiet, name)[100, 160:220].mean() / video_at(before, name)[100, 160:220].mean()
        # DERIVED: 10^(-6/20)
        assert ratio == pytest.approx(10.0 ** (-6.0 / 20.0), abs=0.01)


def test_pre_emphasis_raises_a_tone_as_scipy_says(outside_check: OutsideCheck) -> None:
    standard, practice = get_standard("525/60"), get_practice("525 high-band")
    count = standard.samples_per_frame
    cycles = round(1.0e6 * count / standard.sample_rate_hz)
    tone_hz = cycles * standard.sample_rate_hz / count
    time = np.arange(count)
    source = 30.0 + 20.0 * np.sin(2.0 * np.pi * cycles * time / count)
    frame = with_source(source.reshape(standard.lines_per_frame, -1).astype(np.float32))
    turned = values_at(frame, "pre_emphasised").ravel() * np.exp(-2j * np.pi * cycles * time / count)
    measured_mhz = 2.0 * abs(turned.mean())
    analog = ([practice.preemphasis_lead_s, 1.0], [practice.preemphasis_lag_s, 1.0])
    gain = abs(scipy.signal.freqs(*analog, worN=[2.0 * np.pi * tone_hz])[1][0])
    mhz_per_ire = practice.white_deviation_hz / 1e6 / 100.0
    # The discriminator's mean over a sample: sinc.
    expected_mhz = 20.0 * mhz_per_ire * gain * np.sinc(tone_hz / standard.sample_rate_hz)
    source_of = "DERIVED scipy.signal.freqs of (1 + s lead)/(1 + s lag)"
    outside_check("pre-emphasised 1 MHz tone at the modulator", source_of, expected_mhz, measured_mhz, 0.002, "MHz")
    # What comes out of the whole loop has it as it went in.
    out = frame.electronics.ravel() * np.exp(-2j * np.pi * cycles * time / count)
    assert 2.0 * abs(out.mean()) == pytest.approx(20.0, rel=0.01)


def test_carriers_of_held_levels_are_the_practices_own() -> None:
    frame = played(signal="bars")
    practice = get_practice("525 high-band")
    for name in ("pre_emphasised", "discriminator"):
        carrier = values_at(frame, name)
        # Sync tip and back porch behind the burst, held for microseconds.
        assert carrier[60:200, 25:55].mean() == pytest.approx(practice.sync_tip_hz / 1e6, abs=0.02), name
        assert carrier[60:200, 112:126].mean() == pytest.approx(practice.blanking_hz / 1e6, abs=0.04), name


def test_the_discriminator_is_louder_than_what_the_low_pass_leaves() -> None:
    # DERIVED (noise of FM grows with frequency, sim.fm): most of it lies above the picture's band.
    frame = played(signal="flat")
    mhz_per_ire = get_practice("525 high-band").white_deviation_hz / 1e8
    blank = (slice(11, 17), slice(200, 800))
    raw = values_at(frame, "discriminator")[blank].std() / mhz_per_ire
    assert raw > 3.0 * values_at(frame, "demodulated")[blank].std()


def test_the_limiter_holds_the_level_where_a_channel_is_low() -> None:
    frame = played(channel_gain_db_2=-12.0)
    assert np.abs(rf_at(frame, "limiter")) == pytest.approx(1.0, abs=1e-5)
    assert np.percentile(np.abs(rf_at(frame, "rf_switched")), 5) < 0.4
    # DERIVED: limiting changes no phase.
    assert np.abs(np.angle(rf_at(frame, "limiter") * np.conj(frame.rf))).max() < 1e-5


def test_the_clamp_holds_the_back_porch() -> None:
    frame = played(video_level_db=3.0)
    standard = frame.standard
    tilted = values_at(frame, "clamped")
    # Behind the burst of the picture's lines.
    porch = tilted[40:240, 112:126].mean(axis=1)
    assert np.abs(porch - standard.blanking_level).max() < 1.5
    # DERIVED: what is clamped is the corrected video moved by one level a line.
    moved = tilted - values_at(frame, "corrected")
    assert np.ptp(moved, axis=1).max() < 1e-4


# Sweeps -----------------------------------------------------------------------------------------------------


def test_a_sweep_lasts_a_turn_of_the_wheel(outside_check: OutsideCheck) -> None:
    for standard, rate_hz in (("525/60", 240.0 / 1.001), ("625/50", 250.0)):
        screen = waveform(played(standard), "rf_switched", "wheel")
        source = "QUOTED, publication not named: four times the field rate (525), five times (625)"
        outside_check(f"{standard}, a turn of the wheel", source, 1e3 / rate_hz, screen.x_range[1], 1e-3, "ms")
        quarter = waveform(played(standard), "rf_switched", "pass").x_range[1]
        assert quarter == pytest.approx(screen.x_range[1] / 4.0)
        assert screen.x_unit == "ms"


def test_one_head_fills_its_arc_of_the_turn() -> None:
    frame = played(signal="flat")
    for head in range(1, 5):
        image = waveform(frame, f"rf_head_{head}", "wheel", columns=720).image
        lit = (image[:60] > 0.05).sum(axis=0) > 2
        # DERIVED: 101 degrees of 360 (the footprint's head arc).
        assert lit.mean() == pytest.approx(FOOTPRINT.head_arc_deg / 360.0, abs=0.01)


def test_four_heads_over_each_other_show_the_one_that_is_low() -> None:
    frame = played(channel_gain_db_3=-6.0)
    for rate in ("wheel", "pass"):
        tops = []
        for raster in superposition(frame, rate):
            lit = np.flatnonzero((raster.image > 0.15).any(axis=1))
            tops.append(-1.6 + 3.2 * (lit[-1] + 1) / raster.image.shape[0])
        assert tops[:2] == pytest.approx([1.0, 1.0], abs=0.06)
        # DERIVED: -6 dB is 0.501 of nominal.
        assert tops[2] == pytest.approx(0.501, abs=0.06)
        assert tops[3] == pytest.approx(1.0, abs=0.06)
    said = describe_superposition(superposition(frame))
    assert "head 3 from -0.5" in said
    assert "at pass rate" in said


def test_the_strongest_of_four_heads_is_what_the_switcher_lets_through() -> None:
    frame = played(signal="flat")
    strongest = np.abs(rf_at(frame, "rf_heads"))
    assert (strongest >= np.abs(frame.head_rf(2)) - 1e-6).all()
    assert np.median(strongest) == pytest.approx(np.median(np.abs(frame.rf)), rel=0.02)


def test_a_table_at_line_rate_is_what_numpy_says_of_the_lines() -> None:
    frame = played()
    values = values_at(frame, "demodulated")
    table = sweep_table(frame, "demodulated", columns=frame.standard.samples_per_line)
    np.testing.assert_array_equal(table.low, values.min(axis=0))
    np.testing.assert_array_equal(table.high, values.max(axis=0))
    np.testing.assert_allclose(table.mean, values.astype(np.float64).mean(axis=0), atol=1e-4)
    assert table.x[-1] == pytest.approx(frame.standard.line_period_s * 1e6, abs=0.1)


@settings(max_examples=25, deadline=None)
@given(
    name=st.sampled_from([name for name in OF_FRAME if not name.startswith("rf_head")]),
    rate=st.sampled_from(RATES),
    magnify=st.sampled_from([1.0, 2.0, 5.0, 10.0]),
    position=st.floats(0.0, 1.0),
)
def test_table_and_raster_agree_at_any_setting(name: str, rate: str, magnify: float, position: float) -> None:
    frame = played()
    options = {"magnify": magnify, "position": position}
    table = sweep_table(frame, name, rate, columns=96, **options)
    screen = waveform(frame, name, rate, columns=96, **options)  # type: ignore[arg-type]  # floats alone
    assert (table.low <= table.mean + 1e-3).all()
    assert (table.mean <= table.high + 1e-3).all()
    assert table.x_unit == screen.x_unit
    assert screen.x_range[0] <= table.x.min() <= table.x.max() <= screen.x_range[1]
    low, high = screen.y_range
    rows = np.flatnonzero(screen.image.any(axis=1))
    bottom, top = (low + (high - low) * edge / screen.image.shape[0] for edge in (rows[0], rows[-1] + 1))
    inside = np.concatenate([table.low, table.high])
    inside = inside[(inside >= low) & (inside < high)]
    assert bottom - 1e-3 <= inside.min()
    assert inside.max() <= top + 1e-3


@FRAME_POINTS
def test_one_line_of_every_point(name: str) -> None:
    trace = line_trace(played(), name, 100)
    assert trace.y.shape == (910,)
    assert trace.y_unit == range_at(name, get_standard("525/60"))[1]
    assert (trace.y >= 0.0).all() or not TEST_POINTS[name].is_rf


# Picture and words ------------------------------------------------------------------------------------------


def test_the_picture_monitor_anywhere_along_the_path() -> None:
    frame = played(guide_position_um=10.0, correction=2.0)
    shown = {name: picture(frame, name) for name in VIDEO_POINTS}
    assert len({image.shape for image in shown.values()}) == 1
    # The loop through the electronics is the input again; the tape leans by what the guide is off.
    assert np.abs(shown["electronics"] - shown["input"]).mean() < 0.01
    assert np.abs(shown["demodulated"] - shown["input"]).mean() > 0.02
    # Yellow of the bars, three quarters of full (QUOTED RS-189), before the tape and behind the colour corrector, which
    # cannot mend what the lean does within a line.
    for name in ("input", "electronics", "corrected", "processed"):
        yellow = colour_picture(frame, name)[150:250, 150:172].mean(axis=(0, 1))
        assert yellow == pytest.approx([0.75, 0.75, 0.0], abs=0.05), name
    assert "no tape" in describe_picture(frame, "electronics")
    assert "lean" in describe_picture(frame, "demodulated")
    assert describe_vectorscope(frame, "input") == "Vectorscope: all six colours in their boxes."


@pytest.mark.parametrize("rate", RATES)
def test_the_waveform_monitor_says_what_it_shows(rate: str) -> None:
    said = describe_waveform(waveform(played(), "discriminator", rate))
    assert f"Discriminator output at {rate} rate, from" in said
    assert said.endswith("MHz.")


def test_points_that_do_not_carry_it_are_refused_with_those_that_do() -> None:
    frame = played()
    for call in (
        lambda: picture(frame, "rf_switched"),
        lambda: colour_picture(frame, "clamped"),
        lambda: video_at(frame, "limiter"),
        lambda: rf_at(frame, "processed"),
        lambda: values_at(frame, "nowhere"),
        lambda: values_at(frame, "servo_wheel_phase_error"),
        lambda: waveform(frame, "processed", "century"),
    ):
        with pytest.raises(UnknownNameError):
            call()
    for wrong in ({"columns": 4}, {"magnify": 0.5}, {"position": 2.0}):
        with pytest.raises(BandbenchError):
            sweep_table(frame, "input", **wrong)
