"""Losses, bias and distortion of sound: formulas against what is heard off a recorded tape."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from sim.sound import SOUND_TRACKS, SoundCondition, SoundSettings, SoundTake, Tone, sound_measurement
from sim.sound.head import (
    SoundHead,
    azimuth_gain,
    bias_distortion,
    bias_sensitivity_db,
    bias_treble_db,
    edge_phase_deg,
    head_gain,
    head_taps,
    saturate,
    third_harmonic_pct,
)
from sim.sound.meters import level_db
from tests.outside_checks import OutsideCheck
from tests.sound_machine import SoundMachine

WIDTHS = {track.name: track.width_m for track in SOUND_TRACKS.values()}
# Hiss of -56 dB (MODEL) moves a level of -10 dB by less than this.
LEVEL_TOLERANCE_DB = 0.05


def level_of(machine: SoundMachine, track: str, **settings_of: float) -> float:
    """Return the level off tape with some of the controls moved [dB]."""
    machine.sound.settings = SoundSettings(**settings_of)
    machine.play(1.2)
    return sound_measurement(machine.sound, f"{track}_level_db")


def test_azimuth_is_the_mean_over_a_slanted_line() -> None:
    # DERIVED by quadrature: the mean of a wave over the width of the track.
    for track, width_m in WIDTHS.items():
        for arcmin in (-30.0, 5.0, 60.0):
            across = np.linspace(-0.5, 0.5, 20001) * width_m * math.tan(math.radians(arcmin / 60.0))
            mean = np.trapezoid(np.cos(2 * np.pi * across / 38.1e-6), across) / (across[-1] - across[0])
            assert float(azimuth_gain(arcmin, width_m, 38.1e-6)) == pytest.approx(mean, abs=1e-6), track


@pytest.mark.parametrize("track", ["programme", "cue"])
@pytest.mark.parametrize("arcmin", [-20.0, 12.0, 25.0])
def test_azimuth_loss_of_a_recorded_tone(track: str, arcmin: float, outside_check: OutsideCheck) -> None:
    machine = SoundMachine()
    machine.record(1.3, **{track: "tone_10k"})
    fall_db = level_of(machine, track, audio_azimuth_arcmin=arcmin) - level_of(machine, track)
    wave_m = machine.nominal_m_per_s / 10000.0
    expected = 20 * math.log10(abs(np.sinc(WIDTHS[track] * math.tan(math.radians(arcmin / 60)) / wave_m)))
    outside_check(
        f"azimuth loss at 10 kHz, {track}, {arcmin:g} arcmin", "DERIVED: sinc(w tan a / lambda)", expected, fall_db,
        LEVEL_TOLERANCE_DB, "dB",
    )  # fmt: skip


def test_a_tape_recorded_askew_plays_best_with_the_head_askew_alike() -> None:
    machine = SoundMachine()
    machine.sound.condition = SoundCondition(azimuth_offset_arcmin=30.0)
    machine.record(1.3, programme="tone_10k")
    in_line = level_of(machine, "programme")
    machine.sound.condition = SoundCondition()
    assert level_of(machine, "programme") < in_line - 1.5
    assert level_of(machine, "programme", audio_azimuth_arcmin=30.0) == pytest.approx(in_line, abs=LEVEL_TOLERANCE_DB)


@pytest.mark.parametrize("arcmin", [-8.0, 3.0, 10.0])
def test_phase_between_the_halves_of_the_track(arcmin: float, outside_check: OutsideCheck) -> None:
    machine = SoundMachine()
    machine.record(1.3, programme="tone_10k")
    machine.sound.settings = SoundSettings(audio_azimuth_arcmin=arcmin)
    machine.play(1.0)
    expected = 360.0 * 0.5 * 1.778e-3 * math.tan(math.radians(arcmin / 60)) / (machine.nominal_m_per_s / 1e4)
    measured = sound_measurement(machine.sound, "halves_phase_deg")
    outside_check(
        f"phase between track halves, 10 kHz, {arcmin:g} arcmin", "DERIVED: 360 (w/2) tan a / lambda", expected,
        measured, 0.5, "deg",
    )  # fmt: skip
    assert edge_phase_deg(arcmin, 1.778e-3, 1e4, machine.nominal_m_per_s) == pytest.approx(expected)


def test_dirt_and_an_open_gap_dull_the_sound(outside_check: OutsideCheck) -> None:
    machine = SoundMachine()
    machine.record(1.3, programme="tone_10k")
    good = level_of(machine, "programme")
    wave_um = machine.nominal_m_per_s / 1e4 * 1e6
    machine.sound.condition = SoundCondition(head_spacing_um=4.0)
    outside_check(
        "loss at 10 kHz by 4 um of dirt", "MEMORY: Wallace 1951, 54.6 d / lambda", -54.6 * 4.0 / wave_um,
        level_of(machine, "programme") - good, LEVEL_TOLERANCE_DB, "dB",
    )  # fmt: skip
    machine.sound.condition = SoundCondition(head_gap_um=15.0)
    gap_db = 20 * math.log10(np.sinc(1.11 * 15.0 / wave_um) / np.sinc(1.11 * 6.35 / wave_um))
    outside_check(
        "loss at 10 kHz by a gap open to 15 um", "PUB Eargle, Electroacoustical Reference Data: effective gap 1.11 g",
        gap_db, level_of(machine, "programme") - good, LEVEL_TOLERANCE_DB, "dB",
    )  # fmt: skip


def test_the_filter_along_the_tape_has_the_response_of_the_head(outside_check: OutsideCheck) -> None:
    step_m = 0.381 / 32000
    head = SoundHead(azimuth_arcmin=18.0, spacing_um=3.0, gap_um=9.0)
    taps = head_taps(head, WIDTHS["programme"], 85.0, step_m)
    frequency_hz = np.array([100.0, 1000.0, 5250.0, 9750.0, 12300.0])
    _, response = signal.freqz(taps, worN=frequency_hz, fs=32000)
    formula = head_gain(head, WIDTHS["programme"], 85.0, 0.381 / frequency_hz)
    worst_db = float(np.max(np.abs(20 * np.log10(np.abs(response) / formula))))
    outside_check(
        "filter of a sound head against its formula, worst", "DERIVED, scipy freqz", 0.0, worst_db, 0.05, "dB"
    )
    # Its middle is without delay, so that a control that is turned does not shift the sound.
    np.testing.assert_allclose(taps, taps[::-1], atol=1e-12)


def test_bias_under_and_over() -> None:
    # MODEL: the shape that the trade describes, no more.
    around = np.array([bias_sensitivity_db(pct) for pct in range(50, 180, 5)])
    assert np.argmax(around) == 10  # 100 %
    assert np.all(np.diff(around)[:10] > 0)
    assert np.all(np.diff(around)[10:] < 0)
    assert bias_treble_db(70.0, 38.1e-6) > 0.0 > bias_treble_db(130.0, 38.1e-6)
    assert abs(float(bias_treble_db(130.0, 381e-6))) < 0.2 * abs(float(bias_treble_db(130.0, 38.1e-6)))
    assert bias_distortion(60.0) > 1.5 > bias_distortion(100.0) == pytest.approx(1.0)


def test_too_little_bias_is_heard_as_distortion_and_too_much_as_lost_treble() -> None:
    machine = SoundMachine()
    harmonic, treble_db = {}, {}
    for pct in (55.0, 100.0, 140.0):
        machine.sound.settings = SoundSettings(audio_bias_pct=pct)
        machine.record(1.3, programme="tone_1k")
        machine.play(1.2)
        harmonic[pct] = sound_measurement(machine.sound, "programme_third_harmonic_pct")
        low_db = sound_measurement(machine.sound, "programme_level_db")
        machine.record(1.3, programme="tone_10k")
        machine.play(1.2)
        treble_db[pct] = sound_measurement(machine.sound, "programme_level_db") - low_db
    assert harmonic[55.0] > 3.0 * harmonic[100.0] > 3.0 * harmonic[140.0] * 0.99
    assert treble_db[55.0] > treble_db[100.0] + 3.0 > treble_db[140.0] + 7.0


@pytest.mark.parametrize("level", [-6.0, 0.0, 8.0])
def test_third_harmonic_of_the_tape(level: float, outside_check: OutsideCheck) -> None:
    machine = SoundMachine()
    machine.sound.settings = SoundSettings(audio_record_level_db=level)
    machine.record(1.3, programme="tone_1k")
    machine.play(1.2)
    measured = sound_measurement(machine.sound, "programme_third_harmonic_pct")
    # By numerical integration of the bent wave, at one turn of the tone.
    angle = np.arange(4096) * 2 * np.pi / 4096
    bent = saturate(10 ** (level / 20) * np.sin(angle))
    expected = 100 * abs(np.mean(bent * np.sin(3 * angle)) / np.mean(bent * np.sin(angle)))
    outside_check(
        f"third harmonic at {level:+g} dB", "DERIVED by quadrature; 3 % at +8 dB from memory", expected, measured,
        0.05, "%",
    )  # fmt: skip
    assert third_harmonic_pct(level) == pytest.approx(expected, rel=0.15)


def test_a_tone_at_reference_level_plays_at_reference_level() -> None:
    machine = SoundMachine()
    machine.record(1.3, programme="tone_1k", cue="tone_1k")
    heard = machine.play(1.2)
    for track in ("programme", "cue"):
        assert level_db(heard[track][8000:]) == pytest.approx(0.0, abs=0.02), track


@settings(max_examples=20, deadline=None)
@given(record_db=st.floats(-30.0, -6.0), play_db=st.floats(-12.0, 12.0))
def test_record_and_play_level_add_up(record_db: float, play_db: float) -> None:
    machine = SoundMachine()
    machine.sound.settings = SoundSettings(cue_record_level_db=record_db, cue_play_level_db=play_db)
    machine.record(0.5, cue="tone_1k")
    heard = machine.play(0.4)
    # Reference level is 0.12 dB into the bend of the tape, and the narrow track hisses at -51 dB (both MODEL).
    assert level_db(heard["cue"][4800:]) == pytest.approx(record_db + play_db, abs=0.2)


def test_a_take_refuses_what_cannot_be() -> None:
    with pytest.raises(Exception, match="finite"):
        SoundTake(math.nan, Tone(1000.0))
    with pytest.raises(Exception, match="above 0"):
        SoundTake(0.0, Tone(1000.0), bias_pct=0.0)
    with pytest.raises(Exception, match=r"head_gap_um.*negative"):
        SoundCondition(head_gap_um=-1.0)
    with pytest.raises(Exception, match=r"audio_bias_pct.*finite"):
        SoundSettings(audio_bias_pct=math.inf)
