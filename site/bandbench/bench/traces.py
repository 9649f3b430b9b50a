"""The mini-traces of the signal path: for each stage a curve of a few points, from the signals of one frame.

Contents: `POINTS`, `GAP`, `BAR_STAGES`, `Trend` and `mini_traces`.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from bandbench.bench.readings import Readings
from sim.controls import STAGES
from sim.frame import PlaybackFrame
from sim.instruments import rf_levels_db
from sim.signals import visible_columns, visible_rows

__all__ = ["BAR_STAGES", "GAP", "POINTS", "Trend", "mini_traces"]

POINTS = 64
"""Points of one curve."""

GAP = 255
"""Value of a point that is not drawn."""

BAR_STAGES = ("channels",)
"""Stages shown as four bars, one a head, in the curve's first four points."""

# What the height of a mini-trace stands for (MODEL: the range that a line-up goes through).
_EDGE_RANGE_S = (-3.0e-6, 3.0e-6)
_VIDEO_RANGE_IRE = (-50.0, 120.0)
_RF_RANGE = (0.0, 1.3)
_CONTROL_RANGE = (-1.2, 1.7)
_LEVEL_RANGE_DB = (-30.0, 3.0)
_TREND_RANGE_PCT = (0.0, 110.0)
_SOUND_RANGE = (-2.0, 2.0)


class Trend:
    """The tracking meter over the last readings, oldest first."""

    def __init__(self) -> None:
        self._values: deque[float] = deque(maxlen=POINTS)

    def note(self, readings: Readings) -> None:
        """Add the present reading."""
        self._values.append(readings.tracking_pct)

    @property
    def curve(self) -> NDArray[np.float64]:
        """The trend, (POINTS,) [%]; NaN before there was a reading."""
        curve = np.full(POINTS, np.nan)
        if self._values:
            curve[-len(self._values) :] = self._values
        return curve


def _height(values: NDArray[np.floating], limits: tuple[float, float]) -> NDArray[np.uint8]:
    """Turn values into heights 0 to 254, GAP where there is none."""
    low, high = limits
    share = np.clip((values - low) / (high - low), 0.0, 1.0)
    return np.where(np.isfinite(share), np.round(np.nan_to_num(share) * 254.0), GAP).astype(np.uint8)


def _picked(values: NDArray[np.floating]) -> NDArray[np.floating]:
    """Pick POINTS values evenly."""
    return values[_places(values.size)]


def _places(count: int) -> NDArray[np.intp]:
    """Return POINTS places, evenly over so many."""
    return np.linspace(0, count - 1, POINTS).astype(np.intp)


def _levels_of_lines(frame: PlaybackFrame, columns: slice) -> NDArray[np.floating]:
    """Return the mean RF level of as many lines of the first field as are drawn, not of all."""
    lines = _places(frame.standard.lines_per_frame // 2)
    return np.asarray(np.abs(frame.rf.reshape(frame.template.shape)[lines, columns]).mean(axis=1))


def mini_traces(
    frame: PlaybackFrame, trend: Trend, record_side: bool = False, sound: NDArray[np.floating] | None = None
) -> bytes:
    """Return the curves of all stages in the order of `STAGES`, POINTS bytes each, 0 bottom to 254 top.

    Parameters
    ----------
    frame : PlaybackFrame
        What is played.
    trend : Trend
        The tracking meter so far.
    record_side : bool
        Whether to work out the modulator's output, which takes long and changes seldom; it stays empty otherwise.
    sound : ndarray, optional
        Samples of the programme sound, 1 at the peak of reference level; empty or left out where there is none.
    """
    empty = np.full(POINTS, GAP, dtype=np.uint8)
    standard = frame.standard
    field = slice(0, standard.lines_per_frame // 2)
    # A line in the middle of the picture stands for the video of its stage.
    line = int(visible_rows(standard)[standard.lines_per_frame // 2])
    columns = visible_columns(standard)
    levels = np.full(POINTS, np.nan)
    levels[:4] = rf_levels_db(frame)
    curves = {
        "tape": _height(trend.curve, _TREND_RANGE_PCT),
        "headwheel": _height(_picked(-frame.sync_edges_s[field]), _EDGE_RANGE_S),
        "channels": _height(levels, _LEVEL_RANGE_DB),
        "switcher": _height(_levels_of_lines(frame, columns), _RF_RANGE),
        "demodulator": _height(_picked(frame.demod[line]), _VIDEO_RANGE_IRE),
        "processing": _height(_picked(frame.processed[line]), _VIDEO_RANGE_IRE),
        "output": _height(_picked(frame.processed[line, columns]), _VIDEO_RANGE_IRE),
        "input": _height(_picked(frame.source[line]), _VIDEO_RANGE_IRE),
        "modulator": _height(_picked(frame.electronics[line]), _VIDEO_RANGE_IRE) if record_side else empty,
        "record_drive": _height(_picked(frame.control_track[field].ravel()), _CONTROL_RANGE),
        "sound": _height(_picked(sound), _SOUND_RANGE) if sound is not None and sound.size else empty,
    }
    return b"".join(curves[name].tobytes() for name in STAGES)
