"""Watch the picture on the page for flashes, from the pixels of its canvas.

Contents: `seen_flashes`, `FlashesSeen`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from playwright.sync_api import Page

from tests.flash_counting import flashes_of_light

__all__ = ["FlashesSeen", "seen_flashes"]

_SCRIPT = Path(__file__).with_name("canvas_light.mjs").read_text("utf-8")


@dataclass(frozen=True)
class FlashesSeen:
    """What was seen in some seconds.

    Attributes
    ----------
    most : float
        The most flashes within a second, as `tests.flash_counting.flashes` counts them.
    pictures_per_s : float
        How often the canvas was drawn. [1/s]
    lights : frozenset of int
        What the cells' green was. [0.01 of the brightest]
    said : str
        What the page said on the picture meanwhile, last; empty if nothing.
    """

    most: float
    pictures_per_s: float
    lights: frozenset[int]
    said: str


def seen_flashes(page: Page, seconds: float, cell: tuple[int, int] = (21, 14)) -> FlashesSeen:
    """Watch the canvas for so long.

    Parameters
    ----------
    page : Page
        With a picture that moves.
    seconds : float
        How long. [s]
    cell : tuple of int
        Columns (a multiple of three) and rows of the cells whose mean is taken: picture elements.
    """
    told = page.evaluate(_SCRIPT, [seconds, *cell])
    times_s = np.array(told["times"])
    assert len(times_s) > 2, "the picture did not move"
    light = np.array(told["cells"], dtype=float).reshape(len(times_s), told["down"], told["across"], 3) / 1e4
    most = flashes_of_light(light, times_s, tuple(told["css"]))
    lights = frozenset(np.unique(np.round(100.0 * light[..., 1])).astype(int).tolist())
    return FlashesSeen(most, float((len(times_s) - 1) / (times_s[-1] - times_s[0])), lights, told["said"])
