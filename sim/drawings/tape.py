"""The tape from above: slanted tracks, guard bands, the control track, and the path of the heads over them.

Contents: `TrackShape`, `TapeDrawing`, `tape_drawing`.

Coordinates: x along the tape from the middle of the track that head 1 should follow, towards the tracks recorded
later; y across the tape from its middle, in the direction in which the heads sweep. Both in metres, on the tape: the
heads move over a tape that stands still.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.standards import FOOTPRINT, Footprint, Standard
from sim.tracking import match_tracks, overlap
from sim.wording import wording

__all__ = ["TapeDrawing", "TrackShape", "tape_drawing"]

# Tracks drawn before and after the one that head 1 should follow: two turns of the wheel and one more at each end,
# so that a head two tracks off, at the ends of its range, still has tracks around it.
_TRACKS_BEFORE, _TRACKS_AFTER = 3, 6
# Points of a track's middle line; a bow is smooth.
_POINTS = 9
# Along the tape everything is drawn this much larger than across it (MODEL: tracks become wide enough to see).
_ALONG = 30.0
# PUB, a conference abstract of 1982: programme sound track 0.070 in.
_SOUND_TRACK_M = 0.070 * 25.4e-3
# From memory (MEMORY): cue track about 0.020 in.
_CUE_TRACK_M = 0.020 * 25.4e-3


@dataclass(frozen=True)
class TrackShape:
    """One recorded track.

    Attributes
    ----------
    head : int
        Head of the recording machine that made it, 1 to 4.
    middle_m : tuple of (x, y)
        Points of its middle line, from where the heads come onto the tape to where they leave it [m].
    """

    head: int
    middle_m: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class TapeDrawing:
    """What the tape drawing shows.

    Attributes
    ----------
    tape_width_m, track_width_m, track_pitch_m, guard_band_m : float
        Widths; tracks and guard band are measured along the tape's pitch [m].
    angle_deg : float
        Angle of the tracks against the perpendicular to the tape's edge [deg].
    half_length_m : float
        From the middle of the tape to the end of a track, across the tape [m].
    control_period_m : float
        Length of one cycle of the control track: four tracks [m].
    control_cycles : float
        Phase of the control track's sine at x = 0, in cycles: level = sin 2 pi (x / period + cycles).
    frame_pulse_m : float
        Where a frame pulse sits on a positive peak of it [m].
    sound_width_m, cue_width_m : float
        Widths of the sound and the cue track [m].
    tracks : tuple of TrackShape
        Tracks, in order.
    path_x_m : float
        Where head 1 crosses the middle of the tape [m]; heads 2 to 4 run one, two and three pitches further on.
    offset_m : float
        Distance of the heads from the middle of the track they follow [m], signed.
    follows : int
        The recorded head, 1 to 4, whose tracks head 1 follows.
    own, neighbour : float
        Shares of the head's width over that track and over the next one, 0 to 1.
    exaggeration_along : float
        By how much more everything is drawn along the tape than across it.
    sentence : str
        What the drawing shows.
    """

    tape_width_m: float
    track_width_m: float
    track_pitch_m: float
    guard_band_m: float
    angle_deg: float
    half_length_m: float
    control_period_m: float
    control_cycles: float
    frame_pulse_m: float
    sound_width_m: float
    cue_width_m: float
    tracks: tuple[TrackShape, ...]
    path_x_m: float
    offset_m: float
    follows: int
    own: float
    neighbour: float
    exaggeration_along: float
    sentence: str


def tape_drawing(
    standard: Standard, control_phase_deg: float, bow_m: float = 0.0, footprint: Footprint = FOOTPRINT
) -> TapeDrawing:
    """Return what the tape drawing shows.

    Parameters
    ----------
    standard : Standard
        Fixes the tip speed and with it the angle of the tracks.
    control_phase_deg : float
        How far the tape is ahead of the wheel [deg of the control track] (`PlaybackFrame.control_phase_deg`).
    bow_m : float
        How far the middle of a track stands from the line through its ends [m] (`TapeSpec.track_bow_um`).

    Notes
    -----
    The control head is drawn where the wheel is (MODEL: on a machine it stands beside it, at a distance that the
    recorder allows for), so that it reads `sim.controltrack.control_track` of the same phase.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> drawing = tape_drawing(get_standard("525/60"), 36.0)
    >>> round(drawing.path_x_m * 1e6, 2), drawing.follows, round(drawing.own, 3)
    (158.75, 1, 0.375)
    """
    pitch = footprint.track_pitch_m
    tape_speed = 4.0 * standard.wheel_rate_hz * pitch
    slope = tape_speed / footprint.tip_speed_m_per_s(standard.wheel_rate_hz)
    half_length = 0.5 * math.pi * footprint.tip_circle_diameter_m * footprint.head_arc_deg / 360.0
    shape = []
    for point in range(_POINTS):
        along = 2.0 * point / (_POINTS - 1) - 1.0
        # A bow leaves the mean of the track where it is, as `sim.tracking.overlaps_along` has it.
        shape.append((slope * along * half_length + bow_m * (1.0 / 3.0 - along**2), along * half_length))
    tracks = tuple(
        TrackShape(k % 4 + 1, tuple((k * pitch + x, y) for x, y in shape))
        for k in range(-_TRACKS_BEFORE, _TRACKS_AFTER + 1)
    )
    match = match_tracks(control_phase_deg, footprint)
    wrapped_deg = (control_phase_deg + 180.0) % 360.0 - 180.0
    own = overlap(match.offset_m, footprint)
    return TapeDrawing(
        tape_width_m=footprint.tape_width_m,
        track_width_m=footprint.track_width_m,
        track_pitch_m=pitch,
        guard_band_m=pitch - footprint.track_width_m,
        angle_deg=math.degrees(math.atan(slope)),
        half_length_m=half_length,
        control_period_m=footprint.control_period_m,
        # The sine crosses zero where a pass of head 1 begins: an eighth of a turn before its middle.
        control_cycles=0.125,
        frame_pulse_m=0.125 * footprint.control_period_m,
        sound_width_m=_SOUND_TRACK_M,
        cue_width_m=_CUE_TRACK_M,
        tracks=tracks,
        path_x_m=footprint.control_period_m * wrapped_deg / 360.0,
        offset_m=match.offset_m,
        follows=match.head_shift + 1,
        own=own,
        neighbour=match.neighbour,
        exaggeration_along=_ALONG,
        sentence=_sentence(match.head_shift + 1, match.offset_m * 1e6, own, match.neighbour, bow_m * 1e6),
    )


def _sentence(follows: int, offset_um: float, own: float, neighbour: float, bow_um: float) -> str:
    if abs(offset_um) < 0.5:
        where = wording("drawings.tape.middle", head=follows)
    else:
        key = "drawings.tape.after_middle" if offset_um > 0 else "drawings.tape.before_middle"
        where = wording(key, um=f"{abs(offset_um):.0f}", head=follows)
    own_pct = f"{100.0 * own:.0f}"
    if neighbour > 0.0:
        said = [wording("drawings.tape.over_both", where=where, own_pct=own_pct, next_pct=f"{100.0 * neighbour:.0f}")]
    else:
        said = [wording("drawings.tape.over_own", where=where, own_pct=own_pct)]
    if follows != 1:
        said.append(wording("drawings.tape.whole_tracks"))
    if abs(bow_um) >= 0.5:
        said.append(wording("drawings.tape.bowed", um=f"{abs(bow_um):.0f}"))
    return " ".join(said)
