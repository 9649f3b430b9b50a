"""The spectrum of the RF and the traces of the servos, held against scipy, Bessel functions and Carson's rule."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import scipy.signal
import scipy.special
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import BandbenchError, UnknownNameError
from sim.fm import emphasis_response
from sim.instruments import (
    RF_POINTS,
    TEST_POINTS,
    carriers_hz,
    describe_servo_trace,
    is_servo_wave,
    rf_spectrum,
    servo_trace,
    servo_wave_trace,
)
from sim.instruments.spectrum import RESOLUTIONS, Spectrum, describe_spectrum, occupied_hz, spectrum_of, total_db
from sim.recorder import PlaybackFrame, Recorder
from sim.servos import SERVO_WAVEFORMS, TRACES, CapstanServo, ServoHistory, WheelServo, servo_waveform
from sim.standards import PRACTICES, get_practice, get_standard
from tests.outside_checks import OutsideCheck

STANDARD, PRACTICE = get_standard("525/60"), get_practice("525 high-band")
TONE_IRE, MEAN_IRE = 20.0, 50.0
# Harmonics of the frame near 1 and 3 MHz.
TONES_HZ = tuple(
    round(hz * STANDARD.samples_per_frame / STANDARD.sample_rate_hz) * STANDARD.sample_rate_hz
    / STANDARD.samples_per_frame for hz in (1.0e6, 3.0e6)
)  # fmt: skip


@cache
def played() -> PlaybackFrame:
    return Recorder(signal="bars", seed=4).play_frame(0)


@cache
def modulated(tone_hz: float) -> PlaybackFrame:
    """A machine with one tone at its input."""
    time_s = np.arange(STANDARD.samples_per_frame) / STANDARD.sample_rate_hz
    source = MEAN_IRE + TONE_IRE * np.sin(2.0 * np.pi * tone_hz * time_s)
    recorder = Recorder(seed=4)
    recorder.load_source(source.reshape(STANDARD.lines_per_frame, -1).astype(np.float32))
    return recorder.play_frame(0)


def line_db(spectrum: Spectrum, frequency_hz: float) -> float:
    """Power of a lone line: the sum over the window's main lobe, for which a lone line counts its noise bandwidth."""
    near = np.abs(spectrum.frequency_hz - frequency_hz) < 3.5 * (spectrum.frequency_hz[1] - spectrum.frequency_hz[0])
    return float(10.0 * np.log10(np.sum(10.0 ** (spectrum.power_db[near] / 10.0)) / 1.5))


@pytest.mark.parametrize("samples", RESOLUTIONS)
@pytest.mark.parametrize("point", RF_POINTS)
def test_spectrum_is_what_scipy_says(point: str, samples: int, outside_check: OutsideCheck) -> None:
    frame = played()
    envelope = frame.record_rf if point == "modulator_rf" else frame.rf
    if TEST_POINTS[point].head:
        envelope = frame.head_rf(TEST_POINTS[point].head)
    rate_hz = STANDARD.sample_rate_hz
    frequency_hz, power = scipy.signal.welch(
        envelope, rate_hz, nperseg=samples, detrend=False, return_onesided=False, scaling="spectrum"
    )
    order = np.argsort(frequency_hz)
    expected_db = 10.0 * np.log10(power[order])
    measured = rf_spectrum(frame, point, samples=samples)
    np.testing.assert_allclose(measured.frequency_hz, frequency_hz[order] + rate_hz / 2.0, atol=1.0)
    worst = float(np.abs(measured.power_db - expected_db).max())
    outside_check(f"spectrum of {point} in pieces of {samples}", "scipy.signal.welch", 0.0, worst, 0.01, "dB")
    assert measured.bandwidth_hz == pytest.approx(1.5 * rate_hz / samples)


@pytest.mark.parametrize("tone_hz", TONES_HZ)
def test_sidebands_of_a_tone_are_bessel_functions(tone_hz: float, outside_check: OutsideCheck) -> None:
    spectrum = rf_spectrum(modulated(tone_hz), "modulator_rf", samples=4096)
    hz_per_ire = PRACTICE.white_deviation_hz / 100.0
    deviation_hz = TONE_IRE * hz_per_ire * abs(emphasis_response(np.array([tone_hz]), PRACTICE)[0])
    index = deviation_hz / tone_hz
    carrier_hz = PRACTICE.blanking_hz + MEAN_IRE * hz_per_ire
    for order in (0, 1, -1, 2, -2):
        level = abs(float(scipy.special.jv(order, index)))
        frequency_hz = carrier_hz + order * tone_hz
        if not 0.5e6 < frequency_hz < STANDARD.sample_rate_hz - 0.5e6 or level < 0.003:
            continue
        outside_check(
            f"sideband {order:+d} of a {tone_hz / 1e6:.0f} MHz tone at the modulator",
            "PUB Bessel functions of the first kind, by scipy.special.jv",
            20.0 * np.log10(level),
            line_db(spectrum, frequency_hz),
            0.15,
            "dB",
        )


def test_carsons_band_holds_98_per_cent(outside_check: OutsideCheck) -> None:
    tone_hz = TONES_HZ[0]
    spectrum = rf_spectrum(modulated(tone_hz), "modulator_rf", samples=4096)
    low, high = occupied_hz(spectrum, 0.98)
    gain = abs(emphasis_response(np.array([tone_hz]), PRACTICE)[0])
    deviation_hz = TONE_IRE * PRACTICE.white_deviation_hz / 100.0 * gain
    carson_hz = 2.0 * (deviation_hz + tone_hz)
    share = (high - low) / carson_hz
    # The rule is an upper bound for a weak tone, whose band is its first sidebands: 2 MHz of Carson's 3.
    outside_check(
        "98 % of the power against Carson's band", "QUOTED Federal Standard 1037C (Carson)", 0.75, share, 0.25
    )


@pytest.mark.parametrize("practice", [one for one in PRACTICES.values() if one.standard == "525/60"])
def test_carriers_that_are_marked_are_the_practices(practice: object) -> None:
    assert practice in PRACTICES.values()
    marked = carriers_hz(practice)  # type: ignore[arg-type]  # pytest knows no types of parameters
    assert list(marked) == ["sync tip", "blanking", "white"]
    assert sorted(marked.values()) == list(marked.values())


def test_a_held_level_stands_on_its_carrier() -> None:
    recorder = Recorder(seed=4)
    for level, carrier_hz in zip((-40.0, 0.0, 100.0), carriers_hz(PRACTICE).values(), strict=True):
        recorder.load_source(np.full((525, 910), level, np.float32))
        spectrum = rf_spectrum(recorder.play_frame(0), "modulator_rf")
        peak = int(spectrum.power_db.argmax())
        # DERIVED: one carrier of nominal level is 0 dB, less at most 1.42 dB between two bins of a Hann window.
        assert spectrum.frequency_hz[peak] == pytest.approx(carrier_hz, abs=STANDARD.sample_rate_hz / 1024)
        assert -1.43 < spectrum.power_db[peak] < 0.01


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), samples=st.sampled_from(RESOLUTIONS), gain_db=st.floats(-40.0, 10.0))
def test_the_whole_power_is_the_envelopes(seed: int, samples: int, gain_db: float) -> None:
    # DERIVED (Parseval): whatever its phase does, an envelope of one amplitude has one power.
    steps = np.random.default_rng(seed).normal(0.0, 1.0, 40_960)
    envelope = 10.0 ** (gain_db / 20.0) * np.exp(1j * np.cumsum(steps))
    assert total_db(spectrum_of(envelope, 14.3e6, samples=samples)) == pytest.approx(gain_db, abs=0.35)


def test_a_spectrum_in_words() -> None:
    said = describe_spectrum(rf_spectrum(played(), "modulator_rf"))
    assert said.startswith("Spectrum: RF, modulator output, strongest at ")
    assert "99 % of the power" in said
    off = Recorder(controls={f"channel_on_{head}": 0 for head in range(1, 5)}).play_frame(0)
    assert describe_spectrum(rf_spectrum(off)) == "Spectrum: RF, switcher output, noise only."


def test_what_no_spectrum_can_be_taken_of() -> None:
    with pytest.raises(BandbenchError, match="test point of the spectrum"):
        rf_spectrum(played(), "processed")
    with pytest.raises(BandbenchError, match="pieces of 100"):
        rf_spectrum(played(), samples=100)
    with pytest.raises(BandbenchError, match="at least one piece"):
        spectrum_of(np.ones(10, np.complex64), 1e6)
    for share in (0.0, 1.0, float("nan")):
        with pytest.raises(BandbenchError, match="share of the power"):
            occupied_hz(rf_spectrum(played()), share)


# Servos -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SERVO_WAVEFORMS)
def test_pulses_and_ramps_of_the_servos_are_shown_over_one_frame(name: str) -> None:
    standard = get_standard("525/60")
    wave = servo_waveform(name, WheelServo(standard), CapstanServo(standard))
    trace = servo_wave_trace(wave)
    assert is_servo_wave(trace.test_point)
    assert TEST_POINTS[trace.test_point].trace == name
    # DERIVED: one frame, two fields of 59.94 Hz (ITU-R BT.470).
    assert trace.length_s == pytest.approx(2.0 / 59.94, rel=1e-3)
    assert trace.time_s[0] == pytest.approx(-trace.length_s)
    np.testing.assert_array_equal(trace.values, wave.values)
    assert "over one frame" in describe_servo_trace(trace)
    with pytest.raises(UnknownNameError):
        servo_trace(ServoHistory(), trace.test_point)


@pytest.mark.parametrize("name", TRACES)
def test_a_trace_of_the_servos_is_their_history(name: str) -> None:
    wheel, capstan, history = WheelServo(STANDARD), CapstanServo(STANDARD), ServoHistory()
    point = f"servo_{name}"
    assert describe_servo_trace(servo_trace(history, point)).endswith("nothing yet.")
    for _ in range(500):
        wheel.step(0.01, True, True)
        history.record(wheel, capstan, 0.01)
    trace = servo_trace(history, point)
    np.testing.assert_array_equal(trace.values, history.trace(name))
    assert (trace.time_s[0], trace.time_s[-1]) == (pytest.approx(-3.99), 0.0)
    assert (trace.y_range, trace.unit) == (TRACES[name].range, TRACES[name].unit)
    said = describe_servo_trace(trace)
    assert TEST_POINTS[point].label in said
    assert f"now {trace.values[-1]:+.3g} {trace.unit}" in said


def test_a_trace_that_no_servo_has() -> None:
    with pytest.raises(BandbenchError, match="test point of the servos"):
        servo_trace(ServoHistory(), "processed")
