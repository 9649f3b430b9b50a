"""Moire: spurious products of the FM channel appear in the demodulated picture where 2 fc - n fs says they must."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.special
from numpy.typing import NDArray

from sim.fm import OutputFilter, discriminate, emphasis_response, modulate
from sim.standards import Practice, get_practice, get_standard
from tests.outside_checks import OutsideCheck

STANDARD = get_standard("525/60")
COUNT = STANDARD.samples_per_frame
BIN_HZ = STANDARD.sample_rate_hz / COUNT
SOURCE = "PUB EP 0300801 (1989): products at 2 fc - n fs"


def demodulated_tone(practice: Practice, mean: float, amplitude: float, tone_hz: float) -> NDArray[np.float64]:
    """Record and play a steady tone on a grey of `mean`, without noise; returns the spectrum in level units."""
    time = np.arange(COUNT) / STANDARD.sample_rate_hz
    video = mean + amplitude * np.cos(2 * np.pi * tone_hz * time)
    envelope = modulate(video, STANDARD, practice)
    played = OutputFilter(STANDARD, practice)(discriminate(envelope, STANDARD.sample_rate_hz)).astype(np.float64)
    return np.asarray(2.0 * np.abs(np.fft.rfft(played - played.mean())) / COUNT)


def whole_bins(frequency_hz: float) -> float:
    return round(frequency_hz / BIN_HZ) * BIN_HZ


@pytest.mark.parametrize(
    ("name", "order", "amplitude"),
    [("525 low-band monochrome", 2, 20.0), ("525 low-band monochrome", 3, 30.0), ("525 high-band", 4, 40.0)],
)
def test_moire_stands_at_its_order_with_the_level_of_the_folded_sideband(
    name: str, order: int, amplitude: float, outside_check: OutsideCheck
) -> None:
    practice = get_practice(name)
    tone_hz = whole_bins(STANDARD.subcarrier_hz)
    carrier_hz = whole_bins(practice.blanking_hz)
    spectrum = demodulated_tone(practice, 0.0, amplitude, tone_hz)
    expected_hz = abs(2.0 * carrier_hz - order * tone_hz)
    # Look for the strongest product other than the tone and its harmonics, near where the order says.
    near = slice(round((expected_hz - 60e3) / BIN_HZ), round((expected_hz + 60e3) / BIN_HZ))
    found = near.start + int(np.argmax(spectrum[near]))
    outside_check(f"moire of order {order}, {name}", SOURCE, expected_hz / 1e6, found * BIN_HZ / 1e6, 2e-4, "MHz")
    if order != 2:
        return  # higher products also come by way of the second order's beat, which single-tone arithmetic leaves out
    # DERIVED: the sideband J_n beyond 0 Hz folds back and beats with the carrier: a frequency ripple of its ratio to
    # the carrier times the beat, through the de-emphasis.
    tone_gain = abs(complex(emphasis_response(np.array([tone_hz]), practice)[0]))
    beat_gain = abs(complex(emphasis_response(np.array([expected_hz]), practice)[0]))
    hz_per_level = practice.white_deviation_hz / 100.0
    beta = amplitude * hz_per_level * tone_gain / tone_hz
    ratio = abs(scipy.special.jv(order, beta) / scipy.special.jv(0, beta))
    level = ratio * expected_hz / (hz_per_level * beat_gain)
    expected_db, measured_db = 20 * np.log10(level), 20 * np.log10(spectrum[found])
    source = "DERIVED by scipy.special.jv: Bessel functions, de-emphasis"
    outside_check(f"moire level, order {order}, {name}", source, expected_db, measured_db, 1.0, "dB IRE")


def test_low_band_monochrome_could_not_carry_colour() -> None:
    """Physics.md section 6: strong moire in band at 5.0 MHz, little at 7.9 MHz, for the same chroma."""
    tone_hz = whole_bins(STANDARD.subcarrier_hz)
    worst = {}
    for name, order in (("525 low-band monochrome", 2), ("525 high-band", 4)):
        practice = get_practice(name)
        spectrum = demodulated_tone(practice, 0.0, 30.0, tone_hz)
        worst[name] = spectrum[round(abs(2 * whole_bins(practice.blanking_hz) - order * tone_hz) / BIN_HZ)]
    # Of 30 IRE chroma some 0.7 IRE of moire, at the edge of what the noise of normal working hides.
    assert worst["525 low-band monochrome"] > 0.5
    assert worst["525 high-band"] < 0.1 * worst["525 low-band monochrome"]
