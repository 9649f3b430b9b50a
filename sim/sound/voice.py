"""A voice that counts from one to five, made of nothing but numbers: a small formant synthesiser.

Contents: `Phone`, `PHONES`, `WORDS`, `SECONDS_A_WORD`, `speak`.

A voiced sound is a row of harmonics of the voice's pitch, each as strong as three resonances of the mouth, the
formants, make it; the formants glide from sound to sound. A hiss is noise shaped by the same resonances.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

__all__ = ["PHONES", "SECONDS_A_WORD", "WORDS", "Phone", "speak"]

FloatArray = NDArray[np.float64]

SECONDS_A_WORD = 1
"""One word a second: what is heard tells the time. [s]"""

# MODEL: pitch at the beginning and the end of a word, how wide the formants are, and how long sounds glide.
_PITCH_HZ = (132.0, 98.0)
_BANDWIDTHS_HZ = (70.0, 100.0, 150.0)
_GLIDE_S = 0.045
_ATTACK_S = 0.03
_HIGHEST_HZ = 5000.0
_CONTROL_HZ = 200
_HISS_SHARE = 0.35


@dataclass(frozen=True)
class Phone:
    """One sound of speech.

    Attributes
    ----------
    formants_hz : three floats
        The mouth's resonances [Hz].
    voiced, hissed : float
        How strongly the voice sounds and the breath hisses, 0 to 1.
    duration_s : float
        How long it is held [s].
    """

    formants_hz: tuple[float, float, float]
    voiced: float
    hissed: float
    duration_s: float


# MEMORY: mean formants of men's vowels; consonants and durations are a MODEL, tried by ear and by their spectra.
PHONES: Mapping[str, Phone] = MappingProxyType(
    {
        "w": Phone((290.0, 610.0, 2150.0), 0.5, 0.0, 0.07),
        "uh": Phone((640.0, 1190.0, 2390.0), 1.0, 0.0, 0.14),
        "n": Phone((250.0, 1200.0, 2600.0), 0.4, 0.0, 0.13),
        "t": Phone((400.0, 1800.0, 3500.0), 0.0, 0.9, 0.04),
        "oo": Phone((300.0, 870.0, 2240.0), 1.0, 0.0, 0.26),
        "th": Phone((1400.0, 3400.0, 4600.0), 0.0, 0.35, 0.10),
        "r": Phone((420.0, 1060.0, 1500.0), 0.7, 0.0, 0.07),
        "ee": Phone((270.0, 2290.0, 3010.0), 1.0, 0.0, 0.24),
        "f": Phone((1200.0, 3000.0, 4800.0), 0.0, 0.4, 0.11),
        "aw": Phone((570.0, 840.0, 2410.0), 1.0, 0.0, 0.22),
        "ah": Phone((730.0, 1090.0, 2440.0), 1.0, 0.0, 0.14),
        "ih": Phone((390.0, 1990.0, 2550.0), 0.9, 0.0, 0.10),
        "v": Phone((300.0, 1100.0, 2300.0), 0.4, 0.15, 0.08),
    }
)

WORDS: Sequence[tuple[str, ...]] = (
    ("w", "uh", "n"),
    ("t", "oo"),
    ("th", "r", "ee"),
    ("f", "aw", "r"),
    ("f", "ah", "ih", "v"),
)
"""The sounds of "one, two, three, four, five"."""


def _resonance(frequency_hz: FloatArray, formants_hz: FloatArray) -> FloatArray:
    """Return how strongly the mouth passes each frequency; shapes broadcast, formants along the last axis."""
    gain = np.ones(np.broadcast_shapes(frequency_hz.shape, formants_hz.shape[:-1]))
    for index, width_hz in enumerate(_BANDWIDTHS_HZ):
        centre = formants_hz[..., index]
        detuning = np.square(centre) - np.square(frequency_hz)
        gain = gain * np.square(centre) / np.sqrt(np.square(detuning) + np.square(width_hz * frequency_hz))
    return gain


def _tracks(word: Sequence[str], points: int) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Return formants (points, 3), voicing and hiss (points,) of one word over `points` control points, and its end."""
    phones = [PHONES[name] for name in word]
    ends = np.cumsum([phone.duration_s for phone in phones])
    time_s = np.arange(points) / _CONTROL_HZ
    which = np.minimum(np.searchsorted(ends, time_s, side="right"), len(phones) - 1)
    smooth = np.hanning(round(_GLIDE_S * _CONTROL_HZ) + 2)[1:-1]
    smooth /= smooth.sum()
    formants = np.array([phone.formants_hz for phone in phones])[which]
    glided = np.stack([_smoothed(formants[:, index], smooth) for index in range(3)], axis=1)
    over = time_s >= ends[-1]
    voiced = np.where(over, 0.0, np.array([phone.voiced for phone in phones])[which])
    hissed = np.where(over, 0.0, np.array([phone.hissed for phone in phones])[which])
    attack = np.hanning(round(_ATTACK_S * _CONTROL_HZ) + 2)[1:-1]
    attack /= attack.sum()
    return glided, _smoothed(voiced, attack), _smoothed(hissed, attack), float(ends[-1])


def _smoothed(values: FloatArray, kernel: FloatArray) -> FloatArray:
    half = kernel.size // 2
    padded = np.concatenate([np.full(half, values[0]), values, np.full(kernel.size - 1 - half, values[-1])])
    return np.convolve(padded, kernel, mode="valid")


def _word(word: Sequence[str], rate_hz: int, chance: np.random.Generator) -> FloatArray:
    samples = SECONDS_A_WORD * rate_hz
    formants, voiced, hissed, end_s = _tracks(word, SECONDS_A_WORD * _CONTROL_HZ)
    at = np.arange(samples, dtype=np.float64) * (_CONTROL_HZ / rate_hz)
    points = np.arange(voiced.size)
    pitch_hz = np.interp(np.arange(samples) / rate_hz, [0.0, end_s], _PITCH_HZ)
    phase = 2.0 * np.pi * np.cumsum(pitch_hz) / rate_hz
    control_pitch_hz = np.interp(np.arange(voiced.size) / _CONTROL_HZ, [0.0, end_s], _PITCH_HZ)
    count = int(_HIGHEST_HZ / _PITCH_HZ[0])
    numbers = np.arange(1, count + 1, dtype=np.float64)
    # The voice's own spectrum falls with the square of the number; what leaves the mouth rises with the frequency.
    strength = _resonance(numbers[:, None] * control_pitch_hz, formants) / numbers[:, None] * voiced
    sound = np.zeros(samples)
    # Chebyshev's recurrence gives sin(k x) without a sine for each harmonic.
    before, now, twice_cosine = np.zeros(samples), np.sin(phase), 2.0 * np.cos(phase)
    for harmonic in range(count):
        sound += np.interp(at, points, strength[harmonic]) * now
        before, now = now, twice_cosine * now - before
    sound /= np.sqrt(np.mean(np.square(sound[: round(end_s * rate_hz)])))
    return sound + _hiss(formants, hissed, at, rate_hz, chance)


def _hiss(
    formants: FloatArray, hissed: FloatArray, at: FloatArray, rate_hz: int, chance: np.random.Generator
) -> FloatArray:
    loudest = formants[int(np.argmax(hissed))]
    spectrum = np.fft.rfft(chance.standard_normal(at.size))
    frequency_hz = np.asarray(np.fft.rfftfreq(at.size, 1.0 / rate_hz), dtype=np.float64)
    spectrum *= _resonance(frequency_hz, loudest) * frequency_hz
    noise = np.fft.irfft(spectrum, at.size)
    noise *= _HISS_SHARE / np.sqrt(np.mean(np.square(noise)))
    return np.asarray(noise * np.interp(at, np.arange(hissed.size), hissed))


def speak(rate_hz: int, seed: int = 5) -> FloatArray:
    """Return the voice counting from one to five, one word a second, with a peak of 1.

    Parameters
    ----------
    rate_hz : int
        Samples a second [Hz], at least 10 000.
    seed : int
        Fixes the hiss of the consonants.

    Returns
    -------
    ndarray, (5 * rate_hz,)
        The sound.

    Examples
    --------
    >>> sound = speak(16000)
    >>> sound.size, float(abs(sound).max())
    (80000, 1.0)
    """
    chance = np.random.default_rng([seed, 11])
    sound = np.concatenate([_word(word, rate_hz, chance) for word in WORDS])
    return np.asarray(sound / np.max(np.abs(sound)))
