"""What can be sent to the sound tracks: silence, tones, pips, a voice that counts, a note of the user's own.

Contents: `SoundSource`, `Tone`, `Pips`, `Samples`, `SourceSpec`, `SOURCES`, `OWN_NOTE`, `get_source`, `own_note`,
`MOST_NOTE_S`.

A source is a function of its own time: any two calls agree where their moments do. 1 is the peak of a sine at
reference level.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.sound.resample import sample_at
from sim.sound.tracks import SAMPLE_RATE_HZ
from sim.sound.voice import speak
from sim.wording import wording

__all__ = [
    "MOST_NOTE_S",
    "OWN_NOTE",
    "SOURCES",
    "Pips",
    "Samples",
    "SoundError",
    "SoundSource",
    "SourceSpec",
    "Tone",
    "get_source",
    "own_note",
]

FloatArray = NDArray[np.float64]

OWN_NOTE = "own_note"
"""Name of the source that a note of the user's own becomes."""
MOST_NOTE_S = 20
"""Longest note that is taken. [s]"""

# MODEL: 10 kHz is sent 10 dB low, so that the tape does not bend it; the voice peaks 6 dB over reference level.
_TREBLE_TONE_DB = -10.0
_VOICE_PEAK_DB = 6.0
# MODEL: a pip lasts 0.1 s of every second and comes and goes within 5 ms, so that it does not click.
_PIP_S = 0.1
_PIP_EDGE_S = 0.005
_PIP_HZ = 1000.0
# MODEL: an own note is brought to this peak, and one whose peak is lower than this holds nothing but noise.
_NOTE_PEAK_DB = 6.0
_QUIETEST_NOTE = 1e-3


class SoundError(BandbenchError):
    """Sound that cannot be taken, recorded or played; says why and what to do."""


class SoundSource(Protocol):
    """Anything that can be sent to a sound track."""

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return its level at each moment of its own time [s]; 1 is the peak of a sine at reference level."""
        ...


@dataclass(frozen=True)
class Tone:
    """A steady sine.

    Attributes
    ----------
    frequency_hz : float
        Frequency [Hz]; 0 is silence.
    level_db : float
        Level against reference level [dB].
    """

    frequency_hz: float
    level_db: float = 0.0

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return the sine at each moment [s].

        Examples
        --------
        >>> Tone(1000.0, -20.0).at(np.array([0.0, 0.25e-3])).round(3).tolist()
        [0.0, 0.1]
        """
        return np.asarray(10.0 ** (self.level_db / 20.0) * np.sin(2.0 * np.pi * self.frequency_hz * time_s))


@dataclass(frozen=True)
class Pips:
    """A short tone at the beginning of every second: tells where on the tape one is, and how far sound is off."""

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return the pips at each moment [s]."""
        into = np.mod(time_s, 1.0)
        envelope = np.clip(np.minimum(into, _PIP_S - into) / _PIP_EDGE_S, 0.0, 1.0)
        return np.asarray(envelope * np.sin(2.0 * np.pi * _PIP_HZ * into))


class Samples:
    """Recorded or made samples.

    Parameters
    ----------
    samples : ndarray, (samples,)
        The sound at `SAMPLE_RATE_HZ`.
    repeated : bool
        Whether it begins anew at its end; otherwise silence surrounds it.
    """

    def __init__(self, samples: NDArray[np.floating], repeated: bool = False) -> None:
        self._samples = np.ascontiguousarray(samples, dtype=np.float64)
        self._samples.flags.writeable = False
        self._again = repeated

    @property
    def duration_s(self) -> float:
        """How long it lasts [s]."""
        return float(self._samples.size / SAMPLE_RATE_HZ)

    def repeated(self) -> Samples:
        """Return the same sound over and over."""
        return Samples(self._samples, repeated=True)

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return the sound at each moment [s]."""
        return sample_at(self._samples, time_s * SAMPLE_RATE_HZ, self._again)


@dataclass(frozen=True)
class SourceSpec:
    """A source that can be chosen.

    Attributes
    ----------
    name, title, description : str
        What it is called in code and in words, and what it is for.
    make : callable
        Makes it.
    """

    name: str
    title: str
    description: str
    make: Callable[[], SoundSource]


def _voice() -> SoundSource:
    return Samples(speak(SAMPLE_RATE_HZ) * 10.0 ** (_VOICE_PEAK_DB / 20.0), repeated=True)


_SOURCES = (
    SourceSpec("silence", wording("sound.silence_2"), wording("sound.nothing_what_heard_then"), lambda: Tone(0.0)),
    SourceSpec("tone_1k", wording("sound.tone_1_khz"), wording("sound.1_khz_reference_level"), lambda: Tone(1000.0)),
    SourceSpec(
        "tone_10k",
        wording("sound.tone_10_khz"),
        wording("sound.10_khz_10_db"),
        lambda: Tone(10000.0, _TREBLE_TONE_DB),
    ),
    SourceSpec("pips", wording("sound.pips"), wording("sound.short_tone_beginning_every"), Pips),
    SourceSpec("voice", wording("sound.voice"), wording("sound.made_up_voice_counts"), _voice),
)
SOURCES: Mapping[str, SourceSpec] = MappingProxyType({spec.name: spec for spec in _SOURCES})


@lru_cache(maxsize=len(_SOURCES))
def get_source(name: str) -> SoundSource:
    """Return the made source called `name`.

    Raises
    ------
    UnknownNameError
        If there is none.

    Examples
    --------
    >>> get_source("tone_1k")
    Tone(frequency_hz=1000.0, level_db=0.0)
    """
    if name not in SOURCES:
        raise UnknownNameError("sound source", name, SOURCES)
    return SOURCES[name].make()


def own_note(samples: NDArray[np.floating]) -> Samples:
    """Return a note of the user's as a source, brought to a level that fits the tape.

    Parameters
    ----------
    samples : ndarray, (samples,)
        The sound at `SAMPLE_RATE_HZ`, full scale 1; no longer than `MOST_NOTE_S`.

    Raises
    ------
    SoundError
        If it is no row of finite numbers, is empty, too long or silent.

    Examples
    --------
    >>> note = own_note(0.1 * np.sin(np.arange(16000)))
    >>> note.duration_s, round(float(abs(note.at(np.arange(16000) / 32000)).max()), 2)
    (0.5, 2.0)
    """
    values = np.asarray(samples, dtype=np.float64)
    if values.ndim != 1 or values.size == 0:
        raise SoundError(wording("sound.note_holds_no_sound"))
    if not np.all(np.isfinite(values)):
        raise SoundError(wording("sound.note_damaged_holds_values"))
    if values.size > MOST_NOTE_S * SAMPLE_RATE_HZ:
        raise SoundError(wording("sound.note_longer_than_s", most_note_s=MOST_NOTE_S))
    values = values - np.mean(values)
    peak = float(np.max(np.abs(values)))
    if peak < _QUIETEST_NOTE:
        raise SoundError(wording("sound.note_silent_check_microphone"))
    return Samples(values * (10.0 ** (_NOTE_PEAK_DB / 20.0) / peak))
