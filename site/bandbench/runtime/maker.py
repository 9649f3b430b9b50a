"""The picture worker: a second processor's hands for the pictures. Imported in the browser only.

The bench's own worker can do all by itself; where the page finds that its pictures come too slowly, this one makes
most of them meanwhile (see `bandbench.runtime.loop`). It knows no machine: it gets RF, and makes a picture of it.
"""

from __future__ import annotations

from typing import Any

from bandbench.bench.pictures import ordered_picture
from bandbench.runtime.application import FrameImage
from bandbench.runtime.orders import OrderReceiver
from bandbench.runtime.posting import post_frame

__all__ = ["PictureMaker", "start"]


class PictureMaker:
    """Makes the pictures that are ordered.

    Parameters
    ----------
    post : JS function
        Sends a message to the page (see `bandbench.runtime.posting.post_message`).
    """

    def __init__(self, post: Any) -> None:
        self._post = post
        self._receiver = OrderReceiver()

    def make(self, sequence: int, revision: int, pickled: Any, buffers: Any) -> None:
        """Make a picture and send it to the page."""
        arrays = [buffer.to_py() for buffer in buffers]
        order = self._receiver.unpack(bytes(pickled.to_py()), arrays)
        post_frame(self._post, sequence, FrameImage({"picture": ordered_picture(order)}, revision))


def start(post: Any) -> PictureMaker:
    """Return what makes pictures and posts them to the page."""
    return PictureMaker(post)
