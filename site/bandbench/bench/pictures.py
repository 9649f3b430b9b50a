"""Pictures as the page's canvas takes them. Needs no part of the page: the first one is there before any view is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.frame import PlaybackFrame
from sim.instruments.picture import colour_picture, picture
from sim.instruments.testpoints import PLAYED_POINTS
from sim.recorder import Recorder
from sim.videoframe import VideoFrame, VideoOrder
from sim.videopath import video_frame

__all__ = ["PictureOrder", "first_picture", "grey_or_colour", "order_of", "ordered_picture"]


@dataclass(frozen=True)
class PictureOrder:
    """All that it takes to work out a picture away from the machine.

    Attributes
    ----------
    video : VideoOrder
        RF of the frame, and what is to be made of it.
    point : str
        One of `sim.instruments.testpoints.PLAYED_POINTS`.
    in_colour : bool
        Whether the machine works in colour.
    """

    video: VideoOrder
    point: str
    in_colour: bool


def order_of(frame: PlaybackFrame, point: str, *, in_colour: bool) -> PictureOrder | None:
    """Return the order for a picture; None if it did not come off the tape, which makes it little work."""
    if frame.order is None or point not in PLAYED_POINTS:
        return None
    return PictureOrder(frame.order, point, in_colour)


def ordered_picture(order: PictureOrder) -> NDArray[np.uint8]:
    """Return the picture that was ordered: the same as `grey_or_colour` makes of the frame itself."""
    return grey_or_colour(video_frame(order.video), order.point, in_colour=order.in_colour)


def first_picture() -> tuple[Recorder, NDArray[np.uint8]]:
    """Return a recorder as the bench begins with it, and the picture that the bench will show first."""
    recorder = Recorder()
    return recorder, grey_or_colour(recorder.play_frame(0), "processed", in_colour=False)


def grey_or_colour(frame: VideoFrame, point: str, *, in_colour: bool) -> NDArray[np.uint8]:
    """Return the picture at a test point, 0 black and 255 white: shape (rows, columns), or (3, rows, columns).

    While the machine works in colour it is in colour wherever each line has its burst in its place: the
    demodulator's output is shown in grey, as it has no colour burst that a monitor could lock to line after line.

    Parameters
    ----------
    frame : VideoFrame
        What is played.
    point : str
        One of `sim.instruments.VIDEO_POINTS`.
    in_colour : bool
        Whether the machine works in colour.
    """
    colour = in_colour and point != "demodulated"
    shown = np.moveaxis(colour_picture(frame, point), -1, 0) if colour else picture(frame, point)
    shown *= np.float32(255.0)
    shown += np.float32(0.5)
    return shown.astype(np.uint8)
