"""One look for every figure: a dark screen with a quiet graticule, in light and dark pages alike, as the picture is.

Contents: the colours, `screen_figure`, `dress_legend`, `brightness_ramp` and `overlaid`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from bokeh.plotting import figure
from numpy.typing import NDArray

from bandbench.bench.tokens import colour_of

__all__ = [
    "BAND",
    "FIGURES",
    "GRATICULE",
    "HEAD_HUES",
    "MARKED",
    "SCREEN",
    "SCREEN_EDGE",
    "TRACE",
    "brightness_ramp",
    "dress_legend",
    "overlaid",
    "screen_figure",
]

SCREEN = colour_of("screen")
GRATICULE = colour_of("screen-line")
SCREEN_EDGE = colour_of("screen-edge")
"""Lines of the graticule that are read by."""
FIGURES = colour_of("screen-text")
"""Numbers and words on the screen."""
TRACE = colour_of("trace")
MARKED = colour_of("marked")
"""What stands out from the trace: one chosen line, or the right setting."""
BAND = colour_of("band")
"""Where a reading is in tolerance."""

HEAD_HUES = tuple(colour_of(f"screen-head-{head}") for head in range(1, 5))
"""Traces of the heads 1 to 4, as on the picture monitor; the number always stands beside them."""

_TEXT_SIZE = "13px"


def screen_figure(**options: Any) -> Any:
    """Return an empty figure; `options` are those of Bokeh's ``figure``."""
    # Bokeh's own type information does not know half of what a figure takes: hence Any.
    plot: Any = figure(
        toolbar_location=None,
        tools="",
        background_fill_color=SCREEN,
        border_fill_color=SCREEN,
        outline_line_color=GRATICULE,
        **options,
    )
    plot.grid.grid_line_color = GRATICULE
    plot.axis.axis_label_text_font_style = "normal"
    plot.axis.axis_label_text_color = plot.axis.major_label_text_color = plot.title.text_color = FIGURES
    plot.axis.axis_label_text_font_size = plot.axis.major_label_text_font_size = _TEXT_SIZE
    plot.title.text_font_size = "14px"
    plot.axis.axis_line_color = plot.axis.major_tick_line_color = GRATICULE
    plot.axis.minor_tick_line_color = None
    return plot


def dress_legend(plot: Any) -> None:
    """Put the legend under the figure, in its look."""
    legend = plot.legend[0]
    plot.add_layout(legend, "below")
    legend.orientation = "horizontal"
    legend.background_fill_color = SCREEN
    legend.border_line_color = None
    legend.label_text_color = FIGURES
    legend.label_text_font_size = _TEXT_SIZE
    legend.padding = legend.margin = 2


def brightness_ramp() -> list[str]:
    """Return 256 colours from the dark screen to the brightest trace."""
    dark, bright = (np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) for colour in (SCREEN, TRACE))
    shares = np.linspace(0.0, 1.0, 256)[:, None] ** 0.8
    colours = np.round(dark + shares * (bright - dark)).astype(int)
    return ["#{:02x}{:02x}{:02x}".format(*colour) for colour in colours]


def _levels(colour: str) -> NDArray[np.float32]:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.float32)


def overlaid(images: Sequence[NDArray[np.float32]], hues: Sequence[str]) -> NDArray[np.uint32]:
    """Return several traces on one screen, each in its hue; where they cross, the stronger light is seen.

    Parameters
    ----------
    images : sequence of ndarray of float32, (rows, columns)
        Brightness 0 to 1.
    hues : sequence of str
        One for each image.

    Returns
    -------
    ndarray of uint32, (rows, columns)
        Opaque red, green, blue as Bokeh's ``image_rgba`` takes them.
    """
    dark = _levels(SCREEN)
    # Lifted, so that the hue of a thinly filled trace is seen.
    lights = [np.sqrt(image) for image in images]
    result = np.full((*images[0].shape, 4), 255, dtype=np.uint8)
    for channel in range(3):
        brightest = np.zeros(images[0].shape, dtype=np.float32)
        for light, hue in zip(lights, hues, strict=True):
            np.maximum(brightest, light * (_levels(hue)[channel] - dark[channel]), out=brightest)
        result[..., channel] = brightest + dark[channel]
    return np.ascontiguousarray(result).view(np.uint32)[..., 0]
