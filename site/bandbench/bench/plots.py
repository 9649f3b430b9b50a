"""One look for every figure: what a monitor shows is a dark screen in both schemes, what is drawn of one's own work is
part of the page and has its colours.

Contents: the colours of screens, `FACE`, `Inks`, `SCREEN_INKS`, `PAGE_INKS`, `plain_figure`, `dress_legend`,
`brightness_ramp` and `overlaid`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from bokeh.plotting import figure
from numpy.typing import NDArray

from bandbench.bench.tokens import SCHEMES, TOKENS, Scheme, colour_of

__all__ = [
    "FACE",
    "FIGURES",
    "GRATICULE",
    "HEAD_HUES",
    "MARKED",
    "PAGE_INKS",
    "SCREEN",
    "SCREEN_EDGE",
    "SCREEN_INKS",
    "TRACE",
    "Inks",
    "brightness_ramp",
    "dress_legend",
    "overlaid",
    "plain_figure",
]

SCREEN = colour_of("screen")
GRATICULE = colour_of("screen-line")
SCREEN_EDGE = colour_of("screen-edge")
"""Lines of the graticule that are read by."""
FIGURES = colour_of("screen-text")
"""Numbers and words on the screen."""
TRACE = colour_of("trace")
MARKED = colour_of("marked")
"""What stands out from the trace, as one chosen line does."""

HEAD_HUES = tuple(colour_of(f"screen-head-{head}") for head in range(1, 5))
"""Traces of the heads 1 to 4, as on the picture monitor; the number always stands beside them."""

FACE = TOKENS["face"]
"""The page's face of letters: Bokeh's own is not on every machine, and a browser then takes one with serifs."""

_TEXT_SIZE = "13px"


@dataclass(frozen=True)
class Inks:
    """The colours of a figure.

    Attributes
    ----------
    ground, grid, axis : str
        What is drawn on; lines of the scale; axes and the figure's edge.
    title, words : str
        Its heading; numbers and words.
    trace, marked, band : str
        What was read or done; the right setting; where a reading is in tolerance.
    """

    ground: str
    grid: str
    axis: str
    title: str
    words: str
    trace: str
    marked: str
    band: str


SCREEN_INKS = Inks(SCREEN, GRATICULE, GRATICULE, FIGURES, FIGURES, TRACE, MARKED, colour_of("band"))
"""The colours of a monitor's screen."""


def _page_inks(scheme: Scheme) -> Inks:
    page = {name: colour_of(name, scheme) for name in ("ground", "line", "edge", "ink", "quiet")}
    marked, band = colour_of("figure-marked", scheme), colour_of("figure-band", scheme)
    return Inks(
        page["ground"], page["line"], page["edge"], page["ink"], page["quiet"], page["ink"], marked=marked, band=band
    )


PAGE_INKS: Mapping[str, Inks] = MappingProxyType({scheme: _page_inks(scheme) for scheme in SCHEMES})
"""The colours of a figure that is part of the page, in both schemes."""


def plain_figure(inks: Inks = SCREEN_INKS, **options: Any) -> Any:
    """Return an empty figure in these colours; `options` are those of Bokeh's ``figure``."""
    # Bokeh's own type information does not know half of what a figure takes: hence Any.
    plot: Any = figure(
        toolbar_location=None,
        tools="",
        background_fill_color=inks.ground,
        border_fill_color=inks.ground,
        outline_line_color=inks.grid,
        **options,
    )
    plot.grid.grid_line_color = inks.grid
    plot.axis.axis_label_text_font_style = "normal"
    plot.axis.axis_label_text_color = plot.axis.major_label_text_color = inks.words
    plot.title.text_color = inks.title
    plot.axis.axis_label_text_font_size = plot.axis.major_label_text_font_size = _TEXT_SIZE
    plot.title.text_font_size = "14px"
    plot.axis.axis_label_text_font = plot.axis.major_label_text_font = plot.title.text_font = FACE
    plot.axis.axis_line_color = plot.axis.major_tick_line_color = inks.axis
    plot.axis.minor_tick_line_color = None
    return plot


def dress_legend(plot: Any, inks: Inks) -> None:
    """Put the legend under the figure, in its look."""
    legend = plot.legend[0]
    plot.add_layout(legend, "below")
    legend.orientation = "horizontal"
    legend.background_fill_color = inks.ground
    legend.border_line_color = None
    legend.label_text_color = inks.words
    legend.label_text_font_size = _TEXT_SIZE
    legend.label_text_font = FACE
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
