"""Picture monitor, monochrome and colour: the interlaced frame, and which head draws which band.

Contents: `picture`, `colour_picture`, `has_bands`, `head_of_row`, `band_edges`.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.colour import ColourDecoder
from sim.errors import UnknownNameError
from sim.frame import PlaybackFrame
from sim.instruments.testpoints import VIDEO_POINTS, video_at
from sim.signals import visible_columns, visible_rows
from sim.standards import Standard
from sim.videoframe import VideoFrame

__all__ = ["band_edges", "colour_picture", "has_bands", "head_of_row", "picture"]


@lru_cache(maxsize=4)
def _decoder(standard: Standard, lock: str) -> ColourDecoder:
    return ColourDecoder(standard, lock=lock)


def _video(frame: VideoFrame, test_point: str) -> NDArray[np.float32]:
    if test_point not in VIDEO_POINTS:
        raise UnknownNameError("test point of the picture monitor", test_point, VIDEO_POINTS)
    return video_at(frame, test_point)


def picture(frame: VideoFrame, test_point: str = "processed") -> NDArray[np.float32]:
    """Return the picture as a monochrome monitor shows it.

    Parameters
    ----------
    frame : VideoFrame
        What to show.
    test_point : str
        One of `VIDEO_POINTS`.

    Returns
    -------
    ndarray of float32, (rows, columns)
        Brightness 0 (setup level) to 1 (peak white); rows in screen order, the two fields interlaced; shown 4:3.

    Raises
    ------
    UnknownNameError
        For another test point.

    Notes
    -----
    The monitor is locked to the reference, so time-base errors move picture detail sideways. Subcarrier is not
    trapped: chroma shows as a fine pattern of dots.
    """
    standard = frame.standard
    rows = _video(frame, test_point)[visible_rows(standard), visible_columns(standard)]
    black = standard.setup_level
    rows -= np.float32(black)
    rows *= np.float32(1.0 / (standard.white_level - black))
    return np.clip(rows, 0.0, 1.0, out=rows)


def colour_picture(frame: VideoFrame, test_point: str = "processed", *, lock: str = "slow") -> NDArray[np.float32]:
    """Return the picture as a colour monitor shows it.

    Parameters
    ----------
    frame : VideoFrame
        What to show.
    test_point : str
        One of `VIDEO_POINTS`.
    lock : str
        How the monitor's subcarrier follows the bursts, one of `sim.colour.LOCKS`; "slow" like a receiver's crystal, so
        that time-base errors show as errors of hue.

    Returns
    -------
    ndarray of float32, (rows, columns, 3)
        Red, green and blue, 0 to 1, rows in screen order. Grey throughout where there are no bursts to lock to: the
        processed video has them only if the time-base correction is set to colour.

    Raises
    ------
    UnknownNameError
        For another test point, or another lock.
    """
    return _decoder(frame.standard, lock)(_video(frame, test_point))


def has_bands(test_point: str) -> bool:
    """Tell whether the heads draw the picture at a test point of the monitor: not before the tape."""
    return test_point not in ("input", "electronics")


def head_of_row(frame: PlaybackFrame) -> NDArray[np.int8]:
    """Return the head, 1 to 4 (0 = channel off), that draws each picture row, shape (rows,)."""
    return frame.head_of_line[visible_rows(frame.standard)]


def band_edges(frame: PlaybackFrame, field: int) -> list[tuple[float, float, int]]:
    """Return the bands of one field as (top, bottom, head), in shares of the picture height from the top.

    Parameters
    ----------
    frame : PlaybackFrame
        What is shown.
    field : int
        0 or 1, in time order; a monitor shows the bands of both fields interleaved.

    Raises
    ------
    ValueError
        If `field` is neither 0 nor 1.
    """
    if field not in (0, 1):
        raise ValueError(f"field {field!r}: use 0 or 1")
    rows = visible_rows(frame.standard)
    half = (frame.standard.lines_per_frame + 1) // 2
    in_field = np.flatnonzero((rows >= half) == bool(field))
    passes = frame.pass_of_line[rows[in_field]]
    heads = frame.head_of_line[rows[in_field]]
    starts = np.flatnonzero(np.diff(passes, prepend=-1))
    stops = np.append(starts[1:], in_field.size)
    height = float(rows.size)
    return [
        (float(in_field[a]) / height, float(in_field[b - 1] + 2) / height, int(heads[a]))
        for a, b in zip(starts, stops, strict=True)
    ]
