"""Programme sound and cue track.

Contents: `SoundSystem` (records and plays, block by block), `SoundSettings` and `SoundCondition` (controls, faults),
`SoundTake` (what a track holds), `SOURCES` (what can be sent to it), `SOUND_TRACKS`, `SOUND_MEASUREMENTS` and
`describe_sound` (what the meters say).
"""

from sim.sound.block import SoundReel
from sim.sound.meters import (
    SOUND_MEASUREMENTS,
    describe_sound,
    phase_figure,
    sound_measurement,
    sound_measurements,
)
from sim.sound.settings import SoundCondition, SoundSettings
from sim.sound.sources import OWN_NOTE, SOURCES, SoundError, Tone, get_source
from sim.sound.system import SoundSystem
from sim.sound.take import SoundTake
from sim.sound.tracks import AUDIO_HEAD_DISTANCE_M, SAMPLE_RATE_HZ, SOUND_TRACKS, SoundTrack, audio_delay_s

__all__ = [
    "AUDIO_HEAD_DISTANCE_M",
    "OWN_NOTE",
    "SAMPLE_RATE_HZ",
    "SOUND_MEASUREMENTS",
    "SOUND_TRACKS",
    "SOURCES",
    "SoundCondition",
    "SoundError",
    "SoundReel",
    "SoundSettings",
    "SoundSystem",
    "SoundTake",
    "SoundTrack",
    "Tone",
    "audio_delay_s",
    "describe_sound",
    "get_source",
    "phase_figure",
    "sound_measurement",
    "sound_measurements",
]
