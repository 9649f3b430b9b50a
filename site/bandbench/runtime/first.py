"""The first picture: shown before anything of the page's parts is imported. Imported in the browser only.

A visitor sees the recorder play while Panel, Bokeh and the views are still on their way; the bench that they make goes
on with the same recorder.
"""

from __future__ import annotations

from typing import Any

from bandbench.bench.pictures import first_picture
from bandbench.runtime.application import FrameImage
from bandbench.runtime.posting import post_frame
from sim.recorder import Recorder

__all__ = ["show_first_picture"]


def show_first_picture(post: Any) -> Recorder:
    """Send the page the first picture of a recorder in order and return the recorder.

    Parameters
    ----------
    post : JS function
        See `bandbench.runtime.posting.post_message`.
    """
    recorder, picture = first_picture()
    post_frame(post, 0, FrameImage({"picture": picture}))
    return recorder
