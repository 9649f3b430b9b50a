"""Tracking: how far a head is from the middle of a track, and how much of which track it reads."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.standards import FOOTPRINT, Footprint

__all__ = ["TrackMatch", "match_tracks", "overlap", "overlaps_along", "whole_tracks"]


@dataclass(frozen=True)
class TrackMatch:
    """What the heads meet at one tracking setting.

    Attributes
    ----------
    head_shift : int
        0 to 3: head 1 follows the tracks recorded by head 1, 2, 3 or 4 of the recording machine.
    offset_m : float
        Distance of the head from the middle of the track it follows [m], signed.
    own : float
        Share of the head's width over that track, 0 to 1.
    neighbour : float
        Share over the next track on the side of `offset_m`, 0 to 1.
    """

    head_shift: int
    offset_m: float
    own: float
    neighbour: float

    @property
    def neighbour_step(self) -> int:
        """+1 or -1: whether the neighbour is the next track or the one before."""
        return 1 if self.offset_m >= 0.0 else -1


def overlap(offset_m: float, footprint: Footprint = FOOTPRINT) -> float:
    """Return the share of a head's width over a track whose middle is `offset_m` away, 0 to 1.

    Head and track are equally wide.

    Examples
    --------
    >>> round(overlap(63.5e-6), 3)
    0.75
    """
    return max(0.0, 1.0 - abs(offset_m) / footprint.track_width_m)


def overlaps_along(
    match: TrackMatch, bow_m: float, along: NDArray[np.floating], footprint: Footprint = FOOTPRINT
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return own and neighbouring share along a pass over tracks that are not straight.

    Parameters
    ----------
    match : TrackMatch
        Tracking at the mean of the track.
    bow_m : float
        How far the middle of a track stands from the line through its ends [m].
    along : ndarray
        Place along the pass, -1 (start) to +1 (end).

    Returns
    -------
    own, neighbour : ndarray of float32, same shape as `along`
        The neighbour is the next track on the side `match.neighbour_step` names.
    """
    # The servo follows the mean of the bow, two thirds of its height.
    offset = match.offset_m - bow_m * (1.0 / 3.0 - np.square(along))
    width, pitch = footprint.track_width_m, footprint.track_pitch_m
    own = np.clip(1.0 - np.abs(offset) / width, 0.0, 1.0)
    neighbour = np.clip(1.0 - np.abs(match.neighbour_step * pitch - offset) / width, 0.0, 1.0)
    return own.astype(np.float32), neighbour.astype(np.float32)


def match_tracks(phase_deg: float, footprint: Footprint = FOOTPRINT) -> TrackMatch:
    """Return what the heads meet when the tape is `phase_deg` of control track away from like-for-like.

    Parameters
    ----------
    phase_deg : float
        Phase between control track and wheel [deg of the control track's cycle]; a whole cycle is four tracks.

    Examples
    --------
    >>> match_tracks(90.0).head_shift, match_tracks(90.0).own
    (1, 1.0)
    """
    position_m = footprint.control_period_m * phase_deg / 360.0
    nearest = math.floor(position_m / footprint.track_pitch_m + 0.5)
    offset_m = position_m - nearest * footprint.track_pitch_m
    own = overlap(offset_m, footprint)
    neighbour = overlap(footprint.track_pitch_m - abs(offset_m), footprint)
    return TrackMatch(nearest % 4, offset_m, own, neighbour)


def whole_tracks(match: TrackMatch, footprint: Footprint = FOOTPRINT) -> dict[TrackMatch, float]:
    """Return what heads read of straight tracks as tracks that are read whole, and the share of each.

    Parameters
    ----------
    match : TrackMatch
        What the heads meet.

    Returns
    -------
    dict of TrackMatch to float
        The track that a head follows, alone; then its neighbour, alone and as if it were followed, if any of it is
        read.

    Examples
    --------
    >>> parts = whole_tracks(match_tracks(40.0))
    >>> [(part.own, part.neighbour, round(share, 3)) for part, share in parts.items()]
    [(1.0, 0.0, 0.306), (0.0, 1.0, 0.132)]
    """
    parts = {TrackMatch(match.head_shift, 0.0, 1.0, 0.0): match.own} if match.own else {}
    if match.neighbour:
        offset_m = match.neighbour_step * footprint.track_pitch_m
        parts[TrackMatch(match.head_shift, offset_m, 0.0, 1.0)] = match.neighbour
    return parts
