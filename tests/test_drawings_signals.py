"""The FM spectrum, the record-current curve and the servo loops: drawn numbers against formulas and scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.special
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.drawings import capstan_loop_drawing, record_current_drawing, spectrum_drawing, wheel_loop_drawing
from sim.errors import BandbenchError
from sim.fm import emphasis_response, frequency_modulated_wave
from sim.headtape import record_current_db
from sim.standards import PRACTICES, get_practice, get_standard
from tests.outside_checks import OutsideCheck

STANDARD = get_standard("525/60")
HIGH = get_practice("525 high-band")


@given(
    tone_hz=st.floats(2e5, 5e6),
    deviation_hz=st.floats(5e5, 4e6),
    carrier_hz=st.floats(3.5e6, 9.5e6),
    amplitude=st.floats(1.0, 80.0),
)
@settings(max_examples=60, deadline=None)
def test_sidebands_are_bessel_functions_and_fold_at_zero(
    tone_hz: float, deviation_hz: float, carrier_hz: float, amplitude: float
) -> None:
    drawing = spectrum_drawing(STANDARD, HIGH, tone_hz, deviation_hz, carrier_hz, amplitude)
    gain = abs(complex(emphasis_response(np.array([tone_hz]), HIGH)[0]))
    index = amplitude / 100.0 * deviation_hz * gain / tone_hz
    assert drawing.index == pytest.approx(index, rel=1e-9)
    for line in drawing.lines:
        exact = abs(scipy.special.jv(line.order, index))
        assert 10.0 ** (line.level_db / 20.0) == pytest.approx(exact, abs=1e-9)
        signed = carrier_hz + line.order * tone_hz
        assert line.folded == (signed < 0.0)
        assert line.frequency_hz == pytest.approx(abs(signed), abs=1e-3)
        if line.folded:
            # PUB EP 0300801 (1989): products at 2 fc - n fs.
            assert line.product_hz == pytest.approx(abs(2.0 * carrier_hz + line.order * tone_hz), abs=1e-3)
        assert line.in_picture == (line.folded and line.product_hz <= STANDARD.video_bandwidth_hz)
    left_out = set(range(-8, 9)) - {line.order for line in drawing.lines}
    assert all(20.0 * math.log10(abs(scipy.special.jv(n, index)) + 1e-30) < drawing.floor_db for n in left_out)


@pytest.mark.parametrize(
    ("name", "order", "product_mhz"), [("525 high-band", -4, 1.48), ("525 low-band monochrome", -2, 2.84)]
)
def test_moire_of_the_subcarrier(name: str, order: int, product_mhz: float, outside_check: OutsideCheck) -> None:
    drawing = spectrum_drawing(STANDARD, get_practice(name))
    (line,) = [line for line in drawing.lines if line.order == order]
    assert line.folded
    assert line.in_picture
    source = "PUB EP 0300801 (1989): products at 2 fc - n fs"
    outside_check(f"drawn moire of order {-order}, {name}", source, product_mhz, line.product_hz / 1e6, 0.006, "MHz")
    assert f"Lower sideband {-order} folds back through 0 Hz" in drawing.sentence
    # High-band was chosen so that it does not show; low-band monochrome could not carry colour.
    assert ("too weak" in drawing.sentence) == (name == "525 high-band")


def test_the_drawn_spectrum_is_that_of_the_modulator_s_wave() -> None:
    drawing = spectrum_drawing(STANDARD, HIGH)
    count = STANDARD.samples_per_frame
    # Subcarrier is a whole number of cycles only every other frame: take the nearest tone that closes the loop.
    tone_hz = round(STANDARD.subcarrier_hz * count / STANDARD.sample_rate_hz) * STANDARD.sample_rate_hz / count
    time_s = np.arange(count) / STANDARD.sample_rate_hz
    video = 31.0 * np.cos(2.0 * np.pi * tone_hz * time_s)
    wave = frequency_modulated_wave(video, STANDARD, HIGH)
    bins = 2.0 * np.abs(np.fft.rfft(wave)) / wave.size
    bin_hz = STANDARD.sample_rate_hz / count
    for line in drawing.lines:
        if line.level_db < -45.0:
            continue
        near = bins[max(0, round(line.frequency_hz / bin_hz) - 8) :][:17]
        assert 20.0 * math.log10(near.max()) == pytest.approx(line.level_db, abs=0.3)


@pytest.mark.parametrize("name", list(PRACTICES))
def test_the_three_carriers_are_the_practice_s(name: str) -> None:
    practice = PRACTICES[name]
    drawing = spectrum_drawing(get_standard(practice.standard), practice)
    assert (drawing.blanking_hz, drawing.white_hz) == (practice.blanking_hz, practice.white_hz)
    # QUOTED carriers are rounded: the slope check holds within the rounding.
    assert drawing.sync_hz == pytest.approx(practice.sync_tip_hz, abs=0.03e6)
    assert drawing.carrier_hz == drawing.blanking_hz


def test_a_tone_of_no_frequency_is_refused() -> None:
    for tone_hz in (0.0, -1.0, math.nan):
        with pytest.raises(BandbenchError, match="video frequency"):
            spectrum_drawing(STANDARD, HIGH, tone_hz)


# Record current ---------------------------------------------------------------------------------------------


def test_curves_peak_at_each_head_s_best_and_points_lie_on_them() -> None:
    best = (100.0, 80.0, 130.0, 106.0)
    currents = (100.0, 95.0, 95.0, 180.0)
    drawing = record_current_drawing(STANDARD, 9.0e6, currents, best)
    # DERIVED: wavelength = tip speed / frequency, 39.55 m/s at 239.76 rev/s.
    assert drawing.wavelength_m == pytest.approx(math.pi * 2.067 * 25.4e-3 * 239.76 / 9.0e6, rel=1e-5)
    for point, current, peak in zip(drawing.heads, currents, best, strict=True):
        highest = drawing.currents_pct[int(np.argmax(point.curve_db))]
        assert abs(highest - peak) <= 6.0
        assert point.level_db == pytest.approx(float(record_current_db(100.0 * current / peak, drawing.wavelength_m)))
        assert point.level_db == pytest.approx(np.interp(current, drawing.currents_pct, point.curve_db), abs=0.15)
        # From memory: practice sets each head at, or up to 0.5 dB past, its peak.
        fallen = float(record_current_db(100.0 * point.past_peak_pct / peak, drawing.wavelength_m))
        assert fallen == pytest.approx(-0.5, abs=1e-4)
        assert point.past_peak_pct > peak
    assert [point.state for point in drawing.heads] == [
        "at the peak",
        "far past the peak",
        "below the peak",
        "far past the peak",
    ]
    assert "head 3 below the peak" in drawing.sentence


# Servo loops ------------------------------------------------------------------------------------------------


@given(phase=st.floats(-720.0, 720.0), wanted=st.floats(-180.0, 180.0))
def test_the_capstan_s_error_is_the_shortest_way_round(phase: float, wanted: float) -> None:
    error = capstan_loop_drawing(STANDARD, phase, wanted).error
    assert abs(error) <= 180.0
    turns = (phase - wanted - error) / 360.0
    assert turns == pytest.approx(round(turns), abs=1e-9)


def test_loops_go_round_and_say_their_state() -> None:
    wheel = wheel_loop_drawing(STANDARD, -0.35e-6, 125e-9, "speed", rate_hz=236.4)
    capstan = capstan_loop_drawing(STANDARD, 12.0, 10.0, recording=True)
    for drawing in (wheel, capstan):
        assert [block.name for block in drawing.blocks] == ["reference", "compare", "drive", "machine", "sensor"]
    assert wheel.error == pytest.approx(-0.35)
    assert "phase against vertical is not held. It makes 236.40 of 239.76 turns a second" in wheel.sentence
    assert "is 0.35 us late, unsteady by up to 0.12 us." in wheel.sentence
    assert "Tachometer on the capstan" in capstan.sentence
    # PUB SMPTE ST 4 abstract: 15 in/s is 381 mm/s, at 59.94 fields 0.1 % less.
    assert "380.6 mm/s and is 2.0 deg ahead" in capstan.sentence
