"""Meters of sound on waves that are known exactly, and their sentences."""

from __future__ import annotations

import contextlib
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.sound import (
    SAMPLE_RATE_HZ,
    SOUND_MEASUREMENTS,
    SoundError,
    SoundSettings,
    describe_sound,
    phase_figure,
    sound_measurement,
    sound_measurements,
)
from sim.sound.meters import flutter_of, level_db, peak_db, phase_between_deg, third_harmonic_of, tone_of
from tests.sound_machine import SoundMachine

TIME_S = np.arange(SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ


@settings(max_examples=25, deadline=None)
@given(frequency_hz=st.floats(100.0, 12000.0), amplitude=st.floats(0.01, 5.0))
def test_level_and_frequency_of_a_sine(frequency_hz: float, amplitude: float) -> None:
    wave = amplitude * np.sin(2 * np.pi * frequency_hz * TIME_S)
    assert level_db(wave) == pytest.approx(20 * math.log10(amplitude), abs=0.05)
    assert peak_db(wave) <= 20 * math.log10(amplitude) + 1e-9
    assert tone_of(wave) == pytest.approx(frequency_hz, abs=0.2)


@settings(max_examples=20, deadline=None)
@given(share=st.floats(0.001, 0.2))
def test_third_harmonic_of_a_known_wave(share: float) -> None:
    wave = np.sin(2 * np.pi * 997.0 * TIME_S) + share * np.sin(2 * np.pi * 2991.0 * TIME_S)
    assert third_harmonic_of(wave) == pytest.approx(100 * share, rel=0.01, abs=0.02)


@settings(max_examples=20, deadline=None)
@given(depth=st.floats(0.001, 0.02), rate_hz=st.floats(3.0, 80.0))
def test_flutter_of_a_known_modulation(depth: float, rate_hz: float) -> None:
    angle = 2 * np.pi * 3000.0 * (TIME_S - depth / (2 * np.pi * rate_hz) * np.cos(2 * np.pi * rate_hz * TIME_S))
    rms, peak = flutter_of(np.sin(angle))
    assert rms == pytest.approx(100 * depth / math.sqrt(2), rel=0.12)
    assert peak == pytest.approx(100 * depth, rel=0.25)


@settings(max_examples=20, deadline=None)
@given(lead_deg=st.floats(-179.0, 179.0))
def test_phase_of_a_known_lead(lead_deg: float) -> None:
    time_s = TIME_S[:3200]
    first = np.sin(2 * np.pi * 1000.0 * time_s + math.radians(lead_deg))
    assert phase_between_deg(first, 0.3 * np.sin(2 * np.pi * 1000.0 * time_s)) == pytest.approx(lead_deg, abs=0.1)


def test_readings_that_cannot_be_taken_say_why() -> None:
    chance = np.random.default_rng(1)
    for wave, why in ((np.zeros(3200), "no sound"), (chance.standard_normal(32000), "no steady tone")):
        with pytest.raises(SoundError, match=why):
            tone_of(wave)
    with pytest.raises(SoundError, match="lies too high"):
        third_harmonic_of(np.sin(2 * np.pi * 10000.0 * TIME_S))
    with pytest.raises(SoundError, match="not the same tone"):
        phase_between_deg(np.sin(2 * np.pi * 1000.0 * TIME_S), np.sin(2 * np.pi * 2000.0 * TIME_S))
    assert level_db(np.zeros(10)) == level_db(np.zeros(0)) == -math.inf


@settings(max_examples=60, deadline=None)
@given(
    frequency_hz=st.floats(0.0, SAMPLE_RATE_HZ / 2.0),
    noise=st.sampled_from([0.0, 0.01, 0.2]),
    count=st.integers(20, 2 * SAMPLE_RATE_HZ),
)
def test_any_sound_is_read_or_the_reason_said(frequency_hz: float, noise: float, count: int) -> None:
    # A tape that winds plays tones up to the highest that the samples can hold; a worker once stopped over one.
    chance = np.random.default_rng(5)
    sound = np.cos(2.0 * np.pi * frequency_hz * np.arange(count) / SAMPLE_RATE_HZ) + noise * chance.normal(size=count)
    for read in (flutter_of, tone_of, third_harmonic_of):
        with contextlib.suppress(SoundError):
            assert np.all(np.isfinite(np.atleast_1d(read(sound))))


def test_the_highest_tone_has_no_flutter_to_read() -> None:
    with pytest.raises(SoundError, match="too near an end"):
        flutter_of(np.cos(np.pi * np.arange(SAMPLE_RATE_HZ)))


def test_before_anything_has_played_there_is_silence() -> None:
    machine = SoundMachine()
    assert set(sound_measurements(machine.sound)) == set(SOUND_MEASUREMENTS)
    assert all(value is None for value in sound_measurements(machine.sound).values())
    assert describe_sound(machine.sound) == "Programme sound: silence. Cue track: silence."
    across, up = phase_figure(machine.sound)
    assert across.size == up.size == 0


def test_phase_of_programme_against_cue_and_the_figure() -> None:
    machine = SoundMachine()
    machine.record(1.3, programme="tone_1k", cue="tone_1k")
    machine.play(1.2)
    assert sound_measurement(machine.sound, "cue_phase_deg") == pytest.approx(0.0, abs=1.0)
    across, up = phase_figure(machine.sound, "cue")
    np.testing.assert_allclose(across, up, atol=0.05)
    machine.sound.settings = SoundSettings(audio_azimuth_arcmin=20.0)
    machine.record(1.3, programme="tone_10k")
    machine.sound.settings = SoundSettings()
    machine.play(1.2)
    across, up = phase_figure(machine.sound)
    assert np.corrcoef(across, up)[0, 1] == pytest.approx(
        math.cos(math.radians(sound_measurement(machine.sound, "halves_phase_deg"))), abs=0.05
    )


def test_a_sentence_for_each_track() -> None:
    machine = SoundMachine()
    machine.record(1.6, programme="tone_1k", cue="voice")
    machine.play(1.4)
    sentence = describe_sound(machine.sound)
    assert "Programme sound: +0.0 dB, a tone of 1000 Hz, third harmonic 0.5 %" in sentence
    assert "no steady tone" in sentence.partition("Cue track")[2]
    assert sentence.endswith("Phase across the programme track: +0 deg.")
