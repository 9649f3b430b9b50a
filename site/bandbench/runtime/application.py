"""What the worker asks of the bench: named Panel parts, images, sound, a slow tick, files, notes and records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from panel.viewable import Viewable

    from bandbench.bench.pictures import PictureOrder

__all__ = ["Application", "FrameImage", "FrameOrder", "PictureFile", "SoundBlock"]


@dataclass(frozen=True)
class FrameImage:
    """What the page draws at one moment: one image for each named canvas.

    Parameters
    ----------
    images : Mapping[str, NDArray[np.uint8]], each of shape (rows, columns), or (3, rows, columns) for colour
        By the name of the canvas (``data-image`` in the page, such as ``"picture"``); 0 is black and 255 white, in
        colour for each of red, green and blue.
        A canvas that is not named keeps what it shows.
    revision : int
        Counts the changes of the controls that this frame already shows. The page measures with it how long a
        change takes to appear.
    after : int
        Sequence number of the frame that the page shows before this one; 0 if it shows it at once.
    """

    images: Mapping[str, NDArray[np.uint8]]
    revision: int = 0
    after: int = 0


@dataclass(frozen=True)
class FrameOrder:
    """A picture for the page that is not made yet: the picture worker can make it.

    Parameters
    ----------
    order : PictureOrder
        What is to be made.
    revision : int
        As in `FrameImage`.
    """

    order: PictureOrder
    revision: int = 0


@dataclass(frozen=True)
class PictureFile:
    """A picture the user gave, decoded by the page.

    Parameters
    ----------
    name : str
        The file's own name.
    levels : NDArray[np.float32], shape (rows, columns, 3)
        Red, green and blue, 0 to 1.
    """

    name: str
    levels: NDArray[np.float32]


@dataclass(frozen=True)
class SoundBlock:
    """What the page's loudspeaker plays next, right behind the block before.

    Parameters
    ----------
    samples : NDArray[np.float32], shape (samples,)
        The sound; 1 is the peak of a sine at reference level.
    rate_hz : int
        Samples a second. [Hz]
    """

    samples: NDArray[np.float32]
    rate_hz: int


class Application(Protocol):
    """A bench that the worker can run."""

    @property
    def revision(self) -> int:
        """How many changes of the controls there were, whether a frame shows them already or not (`FrameImage`)."""
        ...

    def roots(self) -> Mapping[str, Viewable]:
        """Return the Panel parts by the name of the place in the page (``data-root``) that each belongs in."""
        ...

    def next_frame(self) -> FrameImage | None:
        """Return what the page shall draw now, or None if nothing changed (the picture is paused, say)."""
        ...

    def next_order(self) -> FrameImage | FrameOrder | None:
        """Return the same as `next_frame`, as an order where making it is much work."""
        ...

    def lose_frame(self) -> None:
        """Take note that what was ordered last was never made: the next frame shows it."""
        ...

    def next_sound(self) -> SoundBlock | None:
        """Return the sound since this was last asked, or None if there is none or nobody listens."""
        ...

    def next_records(self) -> str:
        """Return what the page shall keep of the learner since this was last asked, as JSON, or an empty text."""
        ...

    def on_records(self, kind: str, text: str) -> None:
        """Take what the page tells of the records it keeps: which kind of message, and the message as JSON."""
        ...

    def next_console(self) -> str:
        """Return what the instructor's consoles shall be told since this was last asked, as JSON, or an empty text."""
        ...

    def on_console(self, text: str) -> None:
        """Take a message of an instructor's console, as JSON."""
        ...

    def tick(self, now_s: float) -> None:
        """Update the scopes and readings; called some ten times a second, and soon after a control moved.

        Parameters
        ----------
        now_s : float
            A clock that only goes forward. [s]
        """
        ...

    def work(self) -> bool:
        """Do a little of something that takes long, a tenth of a second or so; tell whether there was any to do.

        Called whenever nothing else is due; while the picture moves, not all of the time.
        """
        ...

    def free_memory(self) -> bool:
        """Give back memory whose contents can be worked out again; tell whether what was broken off can be left out.

        A moment of a machine that runs cannot be: the bench is to be started anew then.
        """
        ...

    def on_picture_file(self, picture: PictureFile) -> None:
        """Take a picture the user gave as the programme."""
        ...

    def on_microphone(self, samples: NDArray[np.float32]) -> None:
        """Take a note that the user spoke, shape (samples,), full scale 1, at `sim.sound.SAMPLE_RATE_HZ`."""
        ...
