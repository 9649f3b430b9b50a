"""A stretch of sound: what it needs of a reel, what it will be made of, and what was under the heads.

Contents: `SoundReel`, `PassedBlock`, `HeardBlock`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sim.sound.head import SoundHead
from sim.sound.settings import SoundCondition, SoundSettings
from sim.sound.take import TapeSegment

__all__ = ["HeardBlock", "PassedBlock", "SoundReel"]

FloatArray = NDArray[np.float64]


class SoundReel(Protocol):
    """What the sound part needs of a reel of tape (`sim.reel.Reel`)."""

    def segments(self, track: str, start_m: float = 0.0, end_m: float | None = None) -> Iterable[TapeSegment]:
        """Return what lies on a stretch of a track."""
        ...

    def record(self, track: str, start_m: float, end_m: float, content: object) -> None:
        """Put a recording onto a stretch of a track."""
        ...


@dataclass(frozen=True, eq=False)
class HeardBlock:
    """What one block of playing had to do with.

    Attributes
    ----------
    segments : mapping of str to tuple
        What lay under the heads, by track.
    place : ndarray, (samples,)
        Where the audio heads were on the tape at each sample [m].
    gain : ndarray, (samples,)
        What the playback amplifier passed; 0 where it was shut.
    head : SoundHead
        The playback head.
    hiss_db : float
        Hiss of the tape against normal [dB].
    """

    segments: Mapping[str, tuple[TapeSegment, ...]]
    place: FloatArray
    gain: FloatArray
    head: SoundHead
    hiss_db: float


@dataclass(frozen=True, eq=False)
class PassedBlock:
    """A stretch of time whose sound has not been worked out yet: all that it will be made of.

    Attributes
    ----------
    reel : SoundReel or None
        The tape that passed.
    knots : ndarray, (steps + 1,)
        Tape at the head wheel, at equal steps of time [m].
    steps_a_second : float
        How long a step is, the other way round [1/s].
    recording : frozenset of str
        Tracks that were recorded meanwhile.
    first, last : int
        Numbers of its first sample, and of the one behind its last.
    start_s : float
        When it began [s].
    speed_m_per_s : float
        Speed of the tape before it [m/s].
    settings, condition : SoundSettings, SoundCondition
        How the sound part was set, and what was wrong with it.
    """

    reel: SoundReel | None
    knots: FloatArray
    steps_a_second: float
    recording: frozenset[str]
    first: int
    last: int
    start_s: float
    speed_m_per_s: float
    settings: SoundSettings
    condition: SoundCondition
