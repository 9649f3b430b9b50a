"""The made-up voice: a row of harmonics with the formants of its vowels, words a second apart."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from sim.sound.voice import PHONES, SECONDS_A_WORD, WORDS, speak
from tests.outside_checks import OutsideCheck

RATE_HZ = 32000


def vowel(word: int) -> np.ndarray:
    """Return 0.12 s from the middle of the vowel that ends or carries a word."""
    sound = speak(RATE_HZ)[word * SECONDS_A_WORD * RATE_HZ :][:RATE_HZ]
    lengths = [PHONES[name].duration_s for name in WORDS[word]]
    which = int(np.argmax([PHONES[name].voiced * PHONES[name].duration_s for name in WORDS[word]]))
    middle = sum(lengths[:which]) + 0.55 * lengths[which]
    return sound[round((middle - 0.06) * RATE_HZ) : round((middle + 0.06) * RATE_HZ)]


def envelope_peaks_hz(sound: np.ndarray) -> np.ndarray:
    """Return the resonances of a sound by linear prediction, a method of its own: roots of the predictor."""
    slow = signal.resample_poly(sound, 1, 4)  # 8 kHz
    slow = signal.lfilter([1.0, -0.95], [1.0], slow) * np.hamming(slow.size)
    lags = np.correlate(slow, slow, "full")[slow.size - 1 :][:13]
    from scipy.linalg import solve_toeplitz

    predictor = np.concatenate([[1.0], -solve_toeplitz(lags[:-1] * (1 + 1e-9), lags[1:])])
    roots = np.roots(predictor)
    roots = roots[(roots.imag > 0.01) & (np.abs(roots) > 0.85)]
    return np.sort(np.angle(roots)) * 8000 / (2 * np.pi)


@pytest.mark.parametrize(("word", "name"), [(0, "uh"), (1, "oo"), (2, "ee"), (3, "aw")])
def test_vowels_have_their_formants(word: int, name: str, outside_check: OutsideCheck) -> None:
    assert name in WORDS[word]
    peaks = envelope_peaks_hz(vowel(word))
    for number, wanted_hz in enumerate(PHONES[name].formants_hz[:2], start=1):
        nearest = float(peaks[np.argmin(np.abs(peaks - wanted_hz))])
        outside_check(
            f"formant {number} of '{name}'", "MEMORY: mean formants of men's vowels; found by linear prediction, scipy",
            wanted_hz, nearest, 90.0, "Hz",
        )  # fmt: skip


def test_the_voice_is_a_row_of_harmonics() -> None:
    sound = vowel(2)
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(sound.size), 8 * sound.size))
    # The pitch by autocorrelation lies in a man's range.
    lags = np.correlate(sound, sound, "full")[sound.size - 1 :]
    lag = RATE_HZ // 160 + int(np.argmax(lags[RATE_HZ // 160 : RATE_HZ // 80]))
    pitch_hz = RATE_HZ / lag
    assert 95.0 < pitch_hz < 135.0
    # Between the harmonics there is next to nothing.
    line = RATE_HZ / (8 * sound.size)
    on = spectrum[[round(pitch_hz * number / line) for number in (1, 2, 3)]]
    between = spectrum[[round(pitch_hz * (number + 0.5) / line) for number in (1, 2)]]
    assert between.max() < 0.2 * on.max()


def test_one_word_a_second_and_a_pause_after_each() -> None:
    sound = speak(RATE_HZ).reshape(len(WORDS), RATE_HZ)
    rms = np.sqrt(np.mean(np.square(sound.reshape(len(WORDS), 20, -1)), axis=2))
    assert np.all(rms[:, :4].max(axis=1) > 0.05)
    assert np.all(rms[:, 14:] < 1e-3)


def test_hissed_sounds_have_no_pitch_and_lie_high() -> None:
    hiss = speak(RATE_HZ)[3 * RATE_HZ :][round(0.02 * RATE_HZ) : round(0.09 * RATE_HZ)]
    power = np.square(np.abs(np.fft.rfft(hiss)))
    frequency_hz = np.fft.rfftfreq(hiss.size, 1 / RATE_HZ)
    assert power[frequency_hz > 2000.0].sum() > power[frequency_hz < 1000.0].sum()


def test_the_same_voice_every_time() -> None:
    np.testing.assert_array_equal(speak(16000), speak(16000))
    assert np.max(np.abs(speak(16000))) == 1.0
