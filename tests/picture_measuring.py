"""Measuring displacement from rendered pictures alone, as an engineer would from a photograph."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from sim.instruments import picture
from sim.recorder import PlaybackFrame
from sim.signals import visible_rows
from sim.standards import Standard

# Where the white flag of our multiburst ends, in lines after 0H; a tenth of a line either way changes nothing below.
FLAG_END_LINES = 0.247

__all__ = ["displacement_of_rows_s", "edge_of_rows", "fold_by_band", "line_of_row", "rows_in_time_order"]


def line_of_row(standard: Standard) -> NDArray[np.int64]:
    """Return the line, in time order from 0, that each picture row shows."""
    return visible_rows(standard)


def rows_in_time_order(standard: Standard) -> NDArray[np.int64]:
    """Return the picture rows in the order in which they were scanned."""
    return np.argsort(line_of_row(standard))


def edge_of_rows(frame: PlaybackFrame, rows: NDArray[np.int64], level: float, near: slice) -> NDArray[np.float64]:
    """Return the column, with fractions, where each row first falls through a brightness inside `near`.

    The crossing is found on a cubic spline through the samples (scipy), so it does not depend on our own interpolator.
    """
    shown = picture(frame)
    columns = np.arange(shown.shape[1])[near]
    result = np.full(rows.size, np.nan)
    for place, row in enumerate(rows):
        crossings = CubicSpline(columns, shown[row, near].astype(float) - level).roots(extrapolate=False)
        if crossings.size:
            result[place] = crossings[0]
    return result


def displacement_of_rows_s(
    frame: PlaybackFrame, reference: PlaybackFrame, rows: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Return how far LEFT the white flag of multiburst ends in each row, against a reference picture [s].

    Both frames must play multiburst; rows without a clear edge give NaN.
    """
    flag_end = slice(40, 140)
    here, straight = (edge_of_rows(one, rows, 0.7, flag_end) for one in (frame, reference))
    return np.asarray((straight - here) / frame.standard.sample_rate_hz)


def fold_by_band(standard: Standard, rows: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return where the end of each row's white flag lies in its band: -0.5 (start of the pass) to +0.5."""
    passes = (line_of_row(standard)[rows] + FLAG_END_LINES) / (525 / 32)
    return np.asarray(passes - np.floor(passes) - 0.5)
