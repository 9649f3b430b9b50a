"""Pictures as the page's canvas takes them. Needs no part of the page: the first one is there before any view is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.frame import PlaybackFrame
from sim.instruments.picture import colour_picture, picture
from sim.recorder import Recorder

__all__ = ["first_picture", "grey_or_colour"]


def first_picture() -> tuple[Recorder, NDArray[np.uint8]]:
    """Return a recorder as the bench begins with it, and the picture that the bench will show first."""
    recorder = Recorder()
    return recorder, grey_or_colour(recorder.play_frame(0), "processed", in_colour=False)


def grey_or_colour(frame: PlaybackFrame, point: str, *, in_colour: bool) -> NDArray[np.uint8]:
    """Return the picture at a test point, 0 black and 255 white: shape (rows, columns), or (3, rows, columns).

    While the machine works in colour it is in colour wherever each line has its burst in its place: the
    demodulator's output is shown in grey, as it has no colour burst that a monitor could lock to line after line.

    Parameters
    ----------
    frame : PlaybackFrame
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
