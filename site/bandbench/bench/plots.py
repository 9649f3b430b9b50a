"""One look for every figure: a dark screen with a quiet graticule, in light and dark pages alike, as the picture is.

Contents: the colours, `screen_figure`, `dress_legend` and `brightness_ramp`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from bokeh.plotting import figure

__all__ = [
    "BAND",
    "FIGURES",
    "GRATICULE",
    "MARKED",
    "SCREEN",
    "TRACE",
    "brightness_ramp",
    "dress_legend",
    "screen_figure",
]

SCREEN = "#12171a"
GRATICULE = "#3d484e"
FIGURES = "#c3ccd0"
"""Numbers and words on the screen."""
TRACE = "#ecf3f5"
MARKED = "#ffc27a"
"""What stands out from the trace: one chosen line, or the right setting."""
BAND = "#4f8f7a"
"""Where a reading is in tolerance."""

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
