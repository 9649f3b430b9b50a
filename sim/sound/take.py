"""What a sound track holds: takes of a source, and what of them lies on a stretch of tape.

Contents: `SoundTake`, `TapeSegment` (what a reel gives), `flux`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sim.sound.head import GOOD_SOUND_HEAD, SoundHead, head_taps, saturate
from sim.sound.sources import SoundError, SoundSource

__all__ = ["SoundTake", "TapeSegment", "flux"]

FloatArray = NDArray[np.float64]

_RIGHT_BIAS_PCT = 100


@dataclass(frozen=True, eq=False)
class SoundTake:
    """One recording on a sound track.

    Attributes
    ----------
    origin_m : float
        Place on tape where it begins, from the beginning of the tape [m].
    source : SoundSource
        What was recorded.
    level_db : float
        Record level against nominal [dB].
    bias_pct : float
        Bias in percent of the right one [%].
    azimuth_arcmin : float
        Turn of the record head's gap against square [arcmin].
    speed_m_per_s : float
        Tape speed while it was recorded [m/s].
    source_start_s : float
        The source's own time where the take begins [s].

    Raises
    ------
    SoundError
        If a number is not finite, or bias or speed is not above 0.
    """

    origin_m: float
    source: SoundSource
    level_db: float = 0.0
    bias_pct: float = 100.0
    azimuth_arcmin: float = 0.0
    speed_m_per_s: float = 0.381
    source_start_s: float = 0.0

    def __post_init__(self) -> None:
        numbers = (
            self.origin_m,
            self.level_db,
            self.bias_pct,
            self.azimuth_arcmin,
            self.speed_m_per_s,
            self.source_start_s,
        )
        if not all(math.isfinite(value) for value in numbers):
            raise SoundError(f"a sound recording needs finite numbers, got {numbers}")
        if self.bias_pct <= 0.0 or self.speed_m_per_s <= 0.0:
            raise SoundError(
                f"a sound recording needs bias and speed above 0, got {self.bias_pct:g} % and "
                f"{self.speed_m_per_s:g} m/s"
            )

    def level_at(self, place_m: FloatArray) -> FloatArray:
        """Return what the tape keeps at each place [m], before any loss; 1 is the peak of a sine at reference level."""
        time_s = (place_m - self.origin_m) / self.speed_m_per_s + self.source_start_s
        return saturate(10.0 ** (self.level_db / 20.0) * self.source.at(time_s), self.bias_pct)


class TapeSegment(Protocol):
    """A stretch of a track and what it holds, as a reel gives it."""

    @property
    def start_m(self) -> float:
        """Where it begins [m]."""
        ...

    @property
    def end_m(self) -> float:
        """Where it ends [m]."""
        ...

    @property
    def content(self) -> object:
        """What it holds."""
        ...


def flux(
    segments: Iterable[TapeSegment],
    first: int,
    count: int,
    step_m: float,
    head: SoundHead,
    width_m: float,
    part: int = 0,
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return what a head finds on a stretch of tape, and where anything was recorded.

    Parameters
    ----------
    segments : iterable of TapeSegment
        What lies on the track; those that are no `SoundTake` are passed over.
    first, count : int
        Places on tape, as multiples of `step_m`: the first, and how many.
    step_m : float
        Distance between places [m].
    head : SoundHead
        The playback head, its azimuth against square.
    width_m : float
        Width of the track [m].
    part : int
        Half of the track, as for `head_taps`.

    Returns
    -------
    level : ndarray, (count,)
        What the head finds at each place; 1 is the peak of a sine at reference level.
    recorded : ndarray of bool, (count,)
        Whether anything was recorded there.
    """
    level = np.zeros(count)
    recorded = np.zeros(count, dtype=np.bool_)
    for segment in segments:
        take = segment.content
        if not isinstance(take, SoundTake):
            continue
        start = math.ceil(max(segment.start_m / step_m, first)) - first
        stop = math.ceil(min(segment.end_m / step_m, first + count)) - first
        if start >= stop:
            continue
        against = SoundHead(head.azimuth_arcmin - take.azimuth_arcmin, head.spacing_um, head.gap_um)
        if against == GOOD_SOUND_HEAD and take.bias_pct == _RIGHT_BIAS_PCT:
            # Nothing is lost: the filter would change nothing.
            level[start:stop] = take.level_at(np.arange(first + start, first + stop, dtype=np.float64) * step_m)
            recorded[start:stop] = True
            continue
        taps = head_taps(against, width_m, take.bias_pct, step_m, part)
        around = taps.size // 2
        # The record head has written whole waves: the take goes on, for the losses, beyond where it was cut.
        places = np.arange(first + start - around, first + stop + around, dtype=np.float64) * step_m
        level[start:stop] = np.convolve(take.level_at(places), taps, "valid")
        recorded[start:stop] = True
    return level, recorded
