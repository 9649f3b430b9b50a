"""Waveform monitor: any test point at line or field rate, as a raster of how often the beam passes each place.

Contents: `TestPoint` and `TEST_POINTS`, `RATES`, `WaveformRaster` and `waveform`, `LineTrace` and `line_trace`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.frame import PlaybackFrame
from sim.standards import Standard

__all__ = ["RATES", "TEST_POINTS", "LineTrace", "TestPoint", "WaveformRaster", "line_trace", "waveform"]

RATES = ("line", "field")


@dataclass(frozen=True)
class TestPoint:
    """A place where the waveform monitor can be connected; `stage` is empty for one beside the picture's path."""

    __test__ = False  # not a test case, whatever pytest thinks of the name

    name: str
    label: str
    stage: str
    is_rf: bool
    head: int
    description: str


_POINTS = (
    TestPoint(
        "control_track",
        "Control track",
        "",
        False,
        0,
        "The off-tape sine that places the tape against the wheel; a pulse marks each frame. Best at field rate.",
    ),
    *(
        TestPoint(
            f"rf_head_{head}",
            f"RF of head {head}",
            "channels",
            True,
            head,
            f"Channel {head} before the switcher: one burst of RF for each turn of the wheel.",
        )
        for head in range(1, 5)
    ),
    TestPoint(
        "rf_switched", "RF, switcher output", "switcher", True, 0, "The four channels joined into one RF signal."
    ),
    TestPoint(
        "demodulated", "Demodulated video", "demodulator", False, 0, "Video with the sync that came off the tape."
    ),
    TestPoint("processed", "Processed video", "processing", False, 0, "Video with new sync and clean blanking."),
)
TEST_POINTS: Mapping[str, TestPoint] = MappingProxyType({point.name: point for point in _POINTS})

# Vertical range of the screen (MODEL): video in shares of white (a third of it below sync tip is spare), RF in shares
# of the nominal level.
_VIDEO_RANGE = (-0.6, 1.4)
_RF_RANGE = (-1.6, 1.6)


@dataclass(frozen=True)
class WaveformRaster:
    """A waveform monitor's screen.

    Attributes
    ----------
    image : ndarray of float32, (rows, columns)
        Brightness 0 to 1; row 0 is the BOTTOM of the screen.
    x_range, y_range : tuple of float
        What the screen's edges stand for, in `x_unit` and `y_unit`.
    test_point, rate : str
        What is shown.
    """

    image: NDArray[np.float32]
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    x_unit: str
    y_unit: str
    test_point: str
    rate: str


@dataclass(frozen=True)
class LineTrace:
    """One line as a curve: `x` in microseconds from 0H, `y` in `y_unit`."""

    x: NDArray[np.float32]
    y: NDArray[np.float32]
    y_unit: str


def _point(name: str) -> TestPoint:
    if name not in TEST_POINTS:
        raise UnknownNameError("test point", name, TEST_POINTS)
    return TEST_POINTS[name]


def _rf(frame: PlaybackFrame, point: TestPoint) -> NDArray[np.complex64]:
    return frame.head_rf(point.head) if point.head else frame.rf


def _values(frame: PlaybackFrame, point: TestPoint) -> NDArray[np.float32]:
    """Return the signal, (lines, samples); RF as the real wave at one of its two quadratures."""
    if point.is_rf:
        # The wave itself passes zero several times a sample; its in-phase part is as good a sample of it as any.
        return np.ascontiguousarray(_rf(frame, point).real).reshape(frame.guide_error_s.shape)
    if point.name == "control_track":
        return frame.control_track
    return frame.processed if point.name == "processed" else frame.demod


def _units(point: TestPoint, standard: Standard) -> tuple[tuple[float, float], str]:
    if point.is_rf or point.name == "control_track":
        return _RF_RANGE, "of nominal"
    low, high = (part * standard.white_level for part in _VIDEO_RANGE)
    return (low, high), standard.level_unit


def waveform(
    frame: PlaybackFrame,
    test_point: str,
    rate: str = "line",
    *,
    rows: int = 240,
    columns: int = 480,
    magnify: float = 1.0,
    position: float = 0.0,
) -> WaveformRaster:
    """Return what a waveform monitor shows at a test point.

    Parameters
    ----------
    frame : PlaybackFrame
        What is played.
    test_point : str
        One of `TEST_POINTS`.
    rate : str
        "line" overlays all lines of the frame, "field" overlays its two fields.
    rows, columns : int
        Size of the raster, at least 16 each.
    magnify : float
        Horizontal magnification, 1 or more.
    position : float
        Left edge of the magnified screen as a share of the sweep, 0 to 1.

    Raises
    ------
    BandbenchError
        For an unknown test point or rate, or a size, magnification or position out of range.

    Examples
    --------
    >>> from sim.recorder import Recorder
    >>> screen = waveform(Recorder(signal="flat").play_frame(0), "processed", "line")
    >>> screen.image.shape, screen.y_unit
    ((240, 480), 'IRE')
    """
    point = _point(test_point)
    if rate not in RATES:
        raise UnknownNameError("sweep rate", rate, RATES)
    if rows < 16 or columns < 16:
        raise BandbenchError(f"waveform raster of {rows} x {columns}: use at least 16 x 16")
    if not (magnify >= 1.0 and 0.0 <= position <= 1.0):
        raise BandbenchError(f"waveform magnify {magnify}, position {position}: use 1 or more, and 0 to 1")
    standard = frame.standard
    (low, high), y_unit = _units(point, standard)
    values = _values(frame, point).ravel()

    sweep = standard.samples_per_line if rate == "line" else standard.samples_per_frame // 2
    left = min(position, 1.0 - 1.0 / magnify) * sweep
    phase = np.arange(sweep, dtype=np.float32)
    column_of_phase = np.floor((phase - np.float32(left)) * np.float32(columns * magnify / sweep)).astype(np.int32)
    row = ((values - np.float32(low)) * np.float32(rows / (high - low))).astype(np.int32)
    # What leaves the screen is not seen; it is counted in a row of its own above the raster.
    row[(row < 0) | (row >= rows) | (values < np.float32(low))] = rows
    first = max(0, int(np.searchsorted(column_of_phase, 0)))
    last = int(np.searchsorted(column_of_phase, columns))
    row_sweeps = row.reshape(-1, sweep)[:, first:last]
    place = row_sweeps * np.int32(columns) + column_of_phase[first:last]
    hits = np.bincount(place.ravel(), minlength=(rows + 1) * columns)[: rows * columns].reshape(rows, columns)
    # A beam that stays on one row through a whole column is full brightness; the square root lifts rare paths, as
    # a phosphor's eye adaptation would (MODEL).
    full = max(1.0, (last - first) / columns * row_sweeps.shape[0])
    image = np.sqrt(np.minimum(hits.astype(np.float32) * np.float32(4.0 / full), 1.0))

    span = standard.line_period_s * 1e6 if rate == "line" else 500.0 / standard.frame_rate_hz
    start = left / sweep * span
    return WaveformRaster(
        image=image,
        x_range=(start, start + span / magnify),
        y_range=(low, high),
        x_unit="us" if rate == "line" else "ms",
        y_unit=y_unit,
        test_point=test_point,
        rate=rate,
    )


def line_trace(frame: PlaybackFrame, test_point: str, line: int) -> LineTrace:
    """Return one line of a test point as a curve; RF as its amplitude.

    Parameters
    ----------
    frame : PlaybackFrame
        What is played.
    test_point : str
        One of `TEST_POINTS`.
    line : int
        Line number from 1, in time order.

    Raises
    ------
    BandbenchError
        For an unknown test point or a line that does not exist.
    """
    point = _point(test_point)
    standard = frame.standard
    if not 1 <= line <= standard.lines_per_frame:
        raise BandbenchError(f"line {line}: this standard has lines 1 to {standard.lines_per_frame}")
    if point.is_rf:
        values = np.abs(_rf(frame, point).reshape(frame.guide_error_s.shape)[line - 1])
    else:
        values = _values(frame, point)[line - 1].copy()
    _, y_unit = _units(point, standard)
    x = np.arange(standard.samples_per_line, dtype=np.float32) * np.float32(1e6 / standard.sample_rate_hz)
    return LineTrace(x, values, y_unit)
