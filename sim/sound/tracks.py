"""The two sound tracks, where their heads stand, and the sampling of sound.

Contents: `SAMPLE_RATE_HZ`, `AUDIO_HEAD_DISTANCE_M`, `SoundTrack`, `SOUND_TRACKS`, `get_sound_track`, `audio_delay_s`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from sim.errors import UnknownNameError
from sim.wording import wording

__all__ = [
    "AUDIO_HEAD_DISTANCE_M",
    "SAMPLE_RATE_HZ",
    "SOUND_TRACKS",
    "SoundTrack",
    "audio_delay_s",
    "get_sound_track",
]

SAMPLE_RATE_HZ = 32000
"""Samples of sound a second, at nominal tape speed. [Hz]"""

# MEMORY: the audio heads stand about 9.25 in downstream of the head wheel.
AUDIO_HEAD_DISTANCE_M = 9.25 * 25.4e-3


@dataclass(frozen=True)
class SoundTrack:
    """One sound track.

    Attributes
    ----------
    name, title, description : str
        What it is called, on tape and in words, and what it is for.
    width_m : float
        Width of the track and of its head [m].
    """

    name: str
    title: str
    description: str
    width_m: float


SOUND_TRACKS: Mapping[str, SoundTrack] = MappingProxyType(
    {
        # PUB, conference abstract of 1982 (publication not named): 0.070 in wide.
        "programme": SoundTrack(
            "programme", wording("sound.programme_sound"), wording("sound.sound_belongs_picture"), 0.070 * 25.4e-3
        ),
        # MEMORY: about 0.020 in wide.
        "cue": SoundTrack(
            "cue", wording("sound.cue_track"), wording("sound.narrow_track_spoken_notes"), 0.020 * 25.4e-3
        ),
    }
)


def get_sound_track(name: str) -> SoundTrack:
    """Return the sound track called `name`.

    Raises
    ------
    UnknownNameError
        If there is none.
    """
    if name not in SOUND_TRACKS:
        raise UnknownNameError("sound track", name, SOUND_TRACKS)
    return SOUND_TRACKS[name]


def audio_delay_s(tape_speed_m_per_s: float) -> float:
    """Return how long the tape takes from the head wheel to the audio heads [s].

    Sound that is recorded at the same moment as a picture lies this much further down the tape: a cut of the tape
    parts them, and a machine whose heads stand elsewhere plays them apart.

    Parameters
    ----------
    tape_speed_m_per_s : float
        Tape speed [m/s].

    Notes
    -----
    DERIVED: 9.25 in (from memory) at 15 in/s.

    Examples
    --------
    >>> round(audio_delay_s(0.381), 3)
    0.617
    """
    return AUDIO_HEAD_DISTANCE_M / tape_speed_m_per_s
