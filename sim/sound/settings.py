"""What a technician can turn about sound, and what can be wrong with it.

Contents: `SoundSettings`, `SoundCondition`, `TrackSettings`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from sim.sound.head import GOOD_SOUND_HEAD, SoundHead
from sim.sound.sources import SoundError
from sim.sound.tracks import get_sound_track

__all__ = ["SoundCondition", "SoundSettings", "TrackSettings"]

# MODEL: a hum this far below reference level is none.
_NO_HUM_DB = -120.0


@dataclass(frozen=True)
class TrackSettings:
    """The levels of one track: record and play level against nominal [dB]."""

    record_level_db: float
    play_level_db: float


@dataclass(frozen=True)
class SoundSettings:
    """The controls of the sound part, by their names in `sim.controls`.

    Attributes
    ----------
    audio_record_level_db, audio_play_level_db : float
        Levels of programme sound against nominal [dB].
    audio_bias_pct : float
        Bias of both record heads, in percent of nominal [%].
    audio_azimuth_arcmin : float
        Turn of the audio head stack [arcmin].
    cue_record_level_db, cue_play_level_db : float
        Levels of the cue track against nominal [dB].

    Raises
    ------
    SoundError
        If a value is not finite.
    """

    audio_record_level_db: float = 0.0
    audio_play_level_db: float = 0.0
    audio_bias_pct: float = 100.0
    audio_azimuth_arcmin: float = 0.0
    cue_record_level_db: float = 0.0
    cue_play_level_db: float = 0.0

    def __post_init__(self) -> None:
        _check_finite("sound setting", self)

    @classmethod
    def from_controls(cls, controls: Mapping[str, float]) -> SoundSettings:
        """Return the settings that are among the machine's controls; those that are not there stand at nominal."""
        return cls(**{entry.name: controls[entry.name] for entry in fields(cls) if entry.name in controls})

    def of(self, track: str) -> TrackSettings:
        """Return the levels of a track.

        Raises
        ------
        UnknownNameError
            If there is no such track.
        """
        if get_sound_track(track).name == "cue":
            return TrackSettings(self.cue_record_level_db, self.cue_play_level_db)
        return TrackSettings(self.audio_record_level_db, self.audio_play_level_db)


@dataclass(frozen=True)
class SoundCondition:
    """The hidden state of the sound part; every default is in order.

    Attributes
    ----------
    azimuth_offset_arcmin : float
        Turn of the head stack when its control reads 0 [arcmin].
    bias_offset_pct : float
        How much more bias there is than its control reads [%].
    hiss_db : float
        Hiss of the tape against normal [dB].
    head_spacing_um : float
        Dirt between head and tape [um].
    head_gap_um : float
        Length of the gap [um]; a worn head opens (`GOOD_SOUND_HEAD` has a good one).
    hum_db : float
        Hum of the mains against reference level [dB]; -120 is none.
    flutter_pct : float
        Wow and flutter beyond normal, rms [%].

    Raises
    ------
    SoundError
        If a value is not finite, or a length or the flutter is negative.
    """

    azimuth_offset_arcmin: float = 0.0
    bias_offset_pct: float = 0.0
    hiss_db: float = 0.0
    head_spacing_um: float = 0.0
    head_gap_um: float = GOOD_SOUND_HEAD.gap_um
    hum_db: float = _NO_HUM_DB
    flutter_pct: float = 0.0

    def __post_init__(self) -> None:
        _check_finite("sound condition", self)
        for name in ("head_spacing_um", "head_gap_um", "flutter_pct"):
            if getattr(self, name) < 0.0:
                raise SoundError(f"sound condition '{name}': {getattr(self, name):g} is negative; use 0 or more")

    def azimuth_arcmin(self, settings: SoundSettings) -> float:
        """Return the turn of the head stack against square [arcmin]."""
        return settings.audio_azimuth_arcmin + self.azimuth_offset_arcmin

    def bias_pct(self, settings: SoundSettings) -> float:
        """Return the bias in percent of the right one [%], 1 at least."""
        return max(settings.audio_bias_pct + self.bias_offset_pct, 1.0)

    def head(self, settings: SoundSettings) -> SoundHead:
        """Return the playback head; its azimuth is that against square."""
        return SoundHead(self.azimuth_arcmin(settings), self.head_spacing_um, self.head_gap_um)

    @property
    def hums(self) -> bool:
        """Whether there is a hum at all."""
        return self.hum_db > _NO_HUM_DB


def _check_finite(kind: str, record: SoundSettings | SoundCondition) -> None:
    for entry in fields(record):
        value = getattr(record, entry.name)
        if not math.isfinite(value):
            raise SoundError(f"{kind} '{entry.name}': {value!r} is not a finite number")
