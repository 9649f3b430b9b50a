"""The reels on the shelf, as data: what lies on each and from which machine. Every station and workshop is invented.

Contents: `Part`, `ControlRun`, `ReelSpec`, `REELS`, `make_reel`, `reels_of`, `log_of`.

Times count from the beginning of the tape at its nominal speed and are moved to whole frames.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.headwheel import GuideGeometry
from sim.reel.contents import ControlTake, VideoTake, frame_length_m, tape_speed_m_per_s
from sim.reel.reel import Reel
from sim.reel.scenes import SCENES, scene
from sim.signals import make_signal, signal_from_picture
from sim.sound import SoundTake, get_source
from sim.standards import Standard, get_standard
from sim.tape import TAPES, RecordSettings, TapeSpec
from sim.wording import wording

__all__ = ["REELS", "ControlRun", "Part", "ReelSpec", "log_of", "make_reel", "reels_of"]

# TRADE: a full reel is 4800 ft, an hour at full speed; a short one a quarter of it.
FULL_REEL_M = 4800.0 * 0.3048
SHORT_REEL_M = 1200.0 * 0.3048

# What is wound on by hand and left blank before the first recording [s] (MODEL).
_LEADER_S = 12.0


@dataclass(frozen=True)
class Part:
    """One run of recording on a reel.

    Attributes
    ----------
    title : str
        What the log says of it.
    start_s, end_s : float
        Where it lies [s].
    picture : str
        A test signal or one of `sim.reel.scenes.SCENES`; empty for none.
    machine : TapeSpec
        Errors of the machine that recorded it, and what the tape has suffered since.
    sound : str
        Source on the programme track, one of `sim.sound.SOURCES`; empty for none.
    colour_frames_out : int
        By how many frames the picture is ahead of the colour sequence that counts from the beginning of the tape.
    field_out : bool
        True if its second field lies where the first should.
    """

    title: str
    start_s: float
    end_s: float
    picture: str
    machine: TapeSpec
    sound: str = ""
    colour_frames_out: int = 0
    field_out: bool = False


@dataclass(frozen=True)
class ControlRun:
    """One run of control track on a reel, from and to [s], with its errors (see `ControlTake`)."""

    start_s: float
    end_s: float
    phase_deg: float = 0.0
    level_db: float = 0.0
    frame_pulse_cycles: int = 0


@dataclass(frozen=True)
class ReelSpec:
    """A reel on the shelf.

    Attributes
    ----------
    name, title, description : str
        Key, what is written on the box, what it is for.
    standard : str
        Scanning standard.
    length_m : float
        Length of tape [m].
    ring_fitted : bool
        False if it cannot be recorded on.
    parts : tuple of Part
        Pictures and sound, in the order in which they were recorded: a later one lies over an earlier.
    control : tuple of ControlRun
        Where there is control track.
    cue : tuple of (start_s, end_s, source)
        What is on the cue track.
    """

    name: str
    title: str
    description: str
    standard: str
    length_m: float = FULL_REEL_M
    ring_fitted: bool = True
    parts: tuple[Part, ...] = ()
    control: tuple[ControlRun, ...] = ()
    cue: tuple[tuple[float, float, str], ...] = ()


def _alignment(name: str, title: str, standard: str) -> ReelSpec:
    machine = TAPES[name]
    wanted = (
        (wording("reels.grid_tone_1_khz"), "grid", "tone_1k"),
        (wording("reels.multiburst_tone_10_khz"), "multiburst", "tone_10k"),
        (wording("reels.colour_bars_tone_1"), "bars", "tone_1k"),
        (wording("reels.stair_20_subcarrier_tone"), "stair_20", "tone_1k"),
        (wording("reels.pulse_bar_silence"), "pulse_bar", "silence"),
        (wording("reels.flat_grey_silence"), "flat", "silence"),
    )
    each_s = 120.0
    parts = tuple(
        Part(title, _LEADER_S + each_s * place, _LEADER_S + each_s * (place + 1), picture, machine, sound)
        for place, (title, picture, sound) in enumerate(wanted)
    )
    end_s = _LEADER_S + each_s * len(wanted)
    return ReelSpec(
        name,
        title,
        machine.description,
        standard,
        SHORT_REEL_M,
        ring_fitted=False,
        parts=parts,
        control=(ControlRun(_LEADER_S, end_s),),
        cue=((_LEADER_S, end_s, "pips"),),
    )


def _station(name: str, title: str, description: str, colour_frames_out: int) -> ReelSpec:
    """Return an evening's reel: clean edits, two wrong ones and some seconds without control track."""
    studio = TAPES[name]
    film_room = replace(
        studio,
        name=f"{name}-film-room",
        title=wording("reels.film_room", title=studio.title),
        geometry=GuideGeometry(inward_um=-5.0, height_um=3.0, head_timing_ns=(-10.0, 25.0, -5.0, -10.0)),
        track_level_db=(-0.4, 0.0, -0.6, 0.2),
        serial=studio.serial + 20,
    )
    parts = (
        Part(wording("reels.colour_bars_tone_1"), 12.0, 42.0, "bars", studio, "tone_1k"),
        Part(wording("reels.grey_silence"), 42.0, 50.0, "flat", studio, "silence"),
        Part(wording("reels.evening_news_studio"), 50.0, 350.0, "studio", studio, "voice"),
        Part(wording("reels.evening_news_harbour_report"), 110.0, 150.0, "harbour", film_room, "voice"),
        Part(
            wording("reels.evening_news_harvest_report"), 190.0, 220.0, "harvest", film_room, "voice", colour_frames_out
        ),
        Part(wording("reels.evening_news_harbour_once"), 260.0, 290.0, "harbour", film_room, "voice", field_out=True),
        Part(wording("reels.weather_studio"), 350.0, 420.0, "studio", film_room, "voice"),
    )
    # Between 342 and 348 s the control track was spoilt; what follows was laid by the other machine, 15 deg off.
    control = (ControlRun(12.0, 342.0), ControlRun(348.0, 420.0, phase_deg=15.0))
    cue = ((12.0, 50.0, "voice"), (50.0, 420.0, "pips"))
    return ReelSpec(name, title, description, studio.standard, SHORT_REEL_M, True, parts, control, cue)


def _archive() -> ReelSpec:
    machine = TAPES["archive-525"]
    parts = (
        Part(wording("reels.colour_bars"), 12.0, 40.0, "bars", machine, "tone_1k"),
        Part(wording("reels.harvest_parade"), 40.0, 300.0, "harvest", machine, "voice"),
    )
    # Where the tape was spliced the control track starts anew, weak and out of step.
    control = (
        ControlRun(12.0, 180.0, level_db=-8.0),
        ControlRun(180.0, 300.0, phase_deg=-60.0, level_db=-8.0, frame_pulse_cycles=3),
    )
    return ReelSpec(machine.name, machine.title, machine.description, "525/60", SHORT_REEL_M, False, parts, control)


def _interchange() -> ReelSpec:
    machine = TAPES["interchange-525"]
    parts = (
        Part(wording("reels.grid_tone_1_khz"), 12.0, 72.0, "grid", machine, "tone_1k"),
        Part(wording("reels.colour_bars_tone_1"), 72.0, 132.0, "bars", machine, "tone_1k"),
        Part(wording("reels.harbour"), 132.0, 240.0, "harbour", machine, "voice"),
    )
    control = (ControlRun(12.0, 240.0),)
    return ReelSpec(machine.name, machine.title, machine.description, "525/60", SHORT_REEL_M, True, parts, control)


_EDITED = wording("reels.leader_bars_tone_then")
_REELS = (
    ReelSpec("blank-525", wording("reels.new_tape_525_60"), wording("reels.nothing_yet"), "525/60"),
    ReelSpec("blank-625", wording("reels.new_tape_625_50"), wording("reels.nothing_yet"), "625/50"),
    _alignment("alignment-525", wording("reels.alder_sound_alignment_tape"), "525/60"),
    _alignment("alignment-625", wording("reels.alder_sound_alignment_tape_2"), "625/50"),
    _station("station-525", wording("reels.marlpit_bay_television_evening"), _EDITED, 1),
    _station("station-625", wording("reels.marlpit_bay_television_european"), _EDITED, 2),
    _interchange(),
    _archive(),
)
REELS: Mapping[str, ReelSpec] = MappingProxyType({spec.name: spec for spec in _REELS})


def reels_of(standard: str) -> tuple[ReelSpec, ...]:
    """Return the reels of one standard, in the order in which they stand on the shelf."""
    return tuple(spec for spec in REELS.values() if spec.standard == get_standard(standard).name)


def make_reel(name: str | ReelSpec) -> Reel:
    """Return a fresh reel with everything on it.

    Raises
    ------
    UnknownNameError, BandbenchError
        If there is no such reel, or a part does not fit on the tape.

    Notes
    -----
    A picture is made once, however many takes and reels hold it.
    """
    if not isinstance(name, ReelSpec) and name not in REELS:
        raise UnknownNameError("reel", name, REELS)
    spec = name if isinstance(name, ReelSpec) else REELS[name]
    standard = get_standard(spec.standard)
    reel = Reel(spec.name, spec.title, spec.standard, spec.length_m, description=spec.description)
    for part in spec.parts:
        start_m, end_m = (_place_m(time_s, standard) for time_s in (part.start_s, part.end_s))
        if not 0.0 <= start_m < end_m <= reel.length_m:
            raise BandbenchError(f"reel '{spec.name}': '{part.title}' does not lie on its {reel.length_m:g} m of tape")
        if part.picture:
            reel.record("video", start_m, end_m, _take(part, start_m, _picture(part.picture, standard), standard))
        if part.sound:
            reel.record("programme", start_m, end_m, _sound(part.sound, start_m, standard))
    for run in spec.control:
        start_m, end_m = (_place_m(time_s, standard) for time_s in (run.start_s, run.end_s))
        control = ControlTake(start_m, run.phase_deg, run.level_db, run.frame_pulse_cycles, standard.name)
        reel.record("control", start_m, end_m, control)
    for start_s, end_s, source in spec.cue:
        start_m, end_m = (_place_m(time_s, standard) for time_s in (start_s, end_s))
        reel.record("cue", start_m, end_m, _sound(source, start_m, standard))
    reel.ring_fitted = spec.ring_fitted
    return reel


def log_of(reel: Reel) -> tuple[tuple[float, str], ...]:
    """Return the log sheet of a reel: where each picture begins [m] and what it is called."""
    segments = reel.segments("video")
    return tuple((one.start_m, one.content.title) for one in segments if isinstance(one.content, VideoTake))


def _place_m(time_s: float, standard: Standard) -> float:
    return round(time_s * standard.frame_rate_hz) * frame_length_m(standard)


# As many as a few reels hold: each takes 2 MB, and painting one takes longer than all else of a reel.
@lru_cache(maxsize=6)
def _picture(name: str, standard: Standard) -> NDArray[np.float32]:
    """Return a picture or test signal of a reel (read only)."""
    frame = signal_from_picture(scene(name), standard) if name in SCENES else make_signal(name, standard)
    frame.setflags(write=False)
    return frame


def _take(part: Part, start_m: float, programme: NDArray[np.float32], standard: Standard) -> VideoTake:
    frames = round(start_m / frame_length_m(standard))
    return VideoTake(
        start_m,
        part.machine,
        programme,
        RecordSettings(),
        part.machine.practice,
        (frames + part.colour_frames_out) % standard.colour_frames,
        int(part.field_out),
        part.title,
    )


def _sound(source: str, start_m: float, standard: Standard) -> SoundTake:
    return SoundTake(start_m, get_source(source), speed_m_per_s=tape_speed_m_per_s(standard))
