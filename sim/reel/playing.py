"""What the heads meet at one place of a reel, and how the picture there is framed.

Contents: `ControlAt`, `Playing`, `playing_at`, `control_at`, `sequence_step_frames`, `colour_step`, `control_step`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.errors import BandbenchError
from sim.reel.contents import FOUR_TRACKS_M, ControlTake, VideoTake, wrapped
from sim.reel.reel import Reel
from sim.wording import wording

__all__ = ["ControlAt", "Playing", "colour_step", "control_at", "control_step", "playing_at", "sequence_step_frames"]


@dataclass(frozen=True)
class ControlAt:
    """The control track at one place of the tape.

    Attributes
    ----------
    phase_deg : float
        How far its sine is ahead of a ruler of four tracks a cycle laid along the tape from its beginning [deg], above
        -180 up to 180. A step of it at a joint is a step the capstan servo must follow.
    level_db : float
        Its level, 0 = practice [dB].
    frame_pulse_cycles : int
        How many whole cycles its frame pulse is ahead of the same ruler's frames.
    ahead_of_tracks_deg : float
        How far its sine is ahead of where practice wants it against the tracks recorded there [deg]; 0 where there
        are none.
    pulse_found : bool
        Whether its frame pulse is high enough to be found.
    """

    phase_deg: float
    level_db: float
    frame_pulse_cycles: int
    ahead_of_tracks_deg: float = 0.0
    pulse_found: bool = True


@dataclass(frozen=True)
class Playing:
    """What a machine finds at one place of the tape.

    Attributes
    ----------
    position_m : float
        The place [m].
    video : VideoTake or None
        The take that lies there.
    control : ControlAt or None
        The control track that lies there.
    line_offset : float
        By how many lines the picture stands too low when the machine is framed by the frame pulse: half a frame where
        an edit took the wrong field. A picture that low is late by as many line periods.
    colour_frame : int
        By how many frames the take is out of the colour sequence the machine has locked to, 0 = right: what it plays
        is `programme_in` of that.
    """

    position_m: float
    video: VideoTake | None
    control: ControlAt | None
    line_offset: float = 0.0
    colour_frame: int = 0


def sequence_step_frames(before: VideoTake, after: VideoTake, position_m: float) -> float:
    """Return by how many frames one take is ahead of another's colour sequence, running on to the same place.

    Returns
    -------
    float
        Frames with their parts, over half a sequence below 0 up to half a sequence. A half is the wrong field.

    Raises
    ------
    BandbenchError
        If the takes are of different standards.
    """
    if before.standard is not after.standard:
        raise BandbenchError(
            wording(
                "reels.m_take_meets_take",
                position_m=f"{position_m:.2f}",
                name=before.standard.name,
                name_2=after.standard.name,
            )
        )
    step = after.colour_frame + after.frames_at(position_m) - before.colour_frame - before.frames_at(position_m)
    return wrapped(step, before.standard.colour_frames)


def colour_step(before: VideoTake, after: VideoTake, position_m: float) -> int:
    """Return by how many frames one take is ahead of another's colour sequence, 0 = it continues it."""
    step = sequence_step_frames(before, after, position_m)
    whole = math.floor(step + 0.5 - 1e-6)
    return whole % before.standard.colour_frames


def control_step(before: ControlTake, after: ControlTake, position_m: float) -> tuple[int, float]:
    """Return by how many whole cycles the frame pulse, and by how many degrees the sine, of one take is ahead of
    another's that runs on to the same place."""
    turns = before.standard.wheel_turns_per_frame
    step = wrapped(after.cycles_at(position_m) - before.cycles_at(position_m), turns)
    return _whole_and_degrees(step, turns)


def _whole_and_degrees(cycles: float, turns: int) -> tuple[int, float]:
    # A hair below a half turn is a half turn, whichever way the last bit was rounded.
    whole = math.ceil(cycles - 0.5 - 1e-9)
    degrees = wrapped(360.0 * (cycles - whole), 360.0)
    return (whole + turns if 2 * whole <= -turns else whole), degrees


def playing_at(reel: Reel, position_m: float, locked_to: VideoTake | None = None) -> Playing:
    """Return what a machine finds on a reel at a place.

    Parameters
    ----------
    reel : Reel
        The tape.
    position_m : float
        The place at the wheel [m].
    locked_to : VideoTake, optional
        The take on which the machine locked its colour framing; when omitted the one where the unbroken recording of
        picture and control track begins, as if it had been played from there.

    Notes
    -----
    MODEL: the control head stands at the wheel. A tape without control track, or with a control track of another
    standard, gives the picture no place to be framed by: its line offset is 0.
    """
    video, control, line_offset = _found(reel, position_m)
    colour_frame = 0
    if video is not None:
        lock = _locked_to(reel, position_m, video) if locked_to is None else locked_to
        if lock.standard is video.standard:
            colour_frame = colour_step(lock, video, position_m)
    return Playing(position_m, video, control, line_offset, colour_frame)


def control_at(reel: Reel, position_m: float) -> ControlAt | None:
    """Return the control track at a place, or None where there is none: what `playing_at` says of it, at less cost."""
    return _found(reel, position_m)[1]


def _found(reel: Reel, position_m: float) -> tuple[VideoTake | None, ControlAt | None, float]:
    """Return picture and control track at a place, and by how many lines the picture stands too low."""
    picture, track = reel.at("video", position_m), reel.at("control", position_m)
    video = picture if isinstance(picture, VideoTake) else None
    if not isinstance(track, ControlTake):
        return video, None, 0.0
    return video, *_control_at(track, video, position_m)


def _control_at(track: ControlTake, video: VideoTake | None, position_m: float) -> tuple[ControlAt, float]:
    turns = track.standard.wheel_turns_per_frame
    cycles = track.cycles_at(position_m)
    pulse, phase_deg = _whole_and_degrees(wrapped(cycles - position_m / FOUR_TRACKS_M, turns), turns)
    if video is None or video.standard is not track.standard:
        return ControlAt(phase_deg, track.level_db, pulse, 0.0, track.pulse_found), 0.0
    late, ahead_deg = _whole_and_degrees(wrapped(cycles - video.frames_at(position_m) * turns, turns), turns)
    lines = late * track.standard.lines_per_frame / turns
    return ControlAt(phase_deg, track.level_db, pulse, ahead_deg, track.pulse_found), lines


def _locked_to(reel: Reel, position_m: float, video: VideoTake) -> VideoTake:
    """Return the take on which a machine locks that runs up to a place: where picture and control track begin."""
    place_m = max(reel.unbroken_from_m(track, position_m) for track in ("video", "control"))
    first = reel.at("video", place_m)
    return first if isinstance(first, VideoTake) and first.standard is video.standard else video
