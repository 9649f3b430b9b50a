"""Messages from Python to the page, and pictures among them. Imported in the browser only."""

from __future__ import annotations

from typing import Any

import numpy as np
from js import Object
from pyodide.ffi import to_js

from bandbench.runtime.application import FrameImage

__all__ = ["post_frame", "post_message", "post_order"]


def post_message(post: Any, message: dict[str, Any], buffers: list[Any] | None = None) -> None:
    """Send the page a message.

    Parameters
    ----------
    post : JS function
        ``post(message, buffers_to_hand_over)``.
    message : dict
        What to send; texts, numbers, lists and dicts become the page's own.
    buffers : list of JS ArrayBuffer, optional
        Those of the message that are handed over instead of copied.
    """
    post(to_js(message, dict_converter=Object.fromEntries), to_js(buffers or []))


def post_frame(post: Any, sequence: int, frame: FrameImage) -> None:
    """Send the page what it draws next; it acknowledges the sequence number."""
    images = []
    buffers = []
    for name, pixels in frame.images.items():
        rows, columns = pixels.shape[-2:]
        copied = to_js(np.ascontiguousarray(pixels).data.cast("B"))
        images.append({"name": name, "width": columns, "height": rows, "data": copied.buffer})
        buffers.append(copied.buffer)
    message = {"type": "frame", "seq": sequence, "after": frame.after, "revision": frame.revision, "images": images}
    post_message(post, message, buffers)


def post_order(post: Any, sequence: int, revision: int, pickled: bytes, buffers: list[memoryview]) -> None:
    """Send the picture worker an order (see `bandbench.runtime.orders`); its picture goes to the page."""
    arrays = [to_js(buffer).buffer for buffer in buffers]
    order = {"type": "order", "seq": sequence, "revision": revision, "pickled": to_js(pickled), "buffers": arrays}
    post_message(post, order, arrays)
