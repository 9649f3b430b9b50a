"""Waveform monitor: any test point at any sweep, as a raster of how often the beam passes each place.

Contents: `RATES`, `MAGNIFICATIONS`, `DISPLAYS`, `WaveformRaster`, `waveform` and `superposition`,
`SweepTable` and `sweep_table`, `LineTrace` and `line_trace`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.frame import PlaybackFrame
from sim.instruments.testpoints import find_point, range_at, rf_at, values_at
from sim.standards import Standard

__all__ = [
    "DISPLAYS",
    "MAGNIFICATIONS",
    "RATES",
    "LineTrace",
    "SweepTable",
    "WaveformRaster",
    "line_trace",
    "superposition",
    "sweep_table",
    "waveform",
]

RATES = ("line", "field", "wheel", "pass")
"""How long one sweep lasts: a line, a field, one turn of the head wheel, or the quarter turn of one pass."""

MAGNIFICATIONS = (1, 5, 10)
"""How many times a sweep can be magnified."""

DISPLAYS = ("waveform", "vectors", "spectrum")
"""What the waveform monitor works as."""


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


@dataclass(frozen=True)
class SweepTable:
    """What a waveform monitor shows, as numbers: for each place along the sweep what lies there.

    Attributes
    ----------
    x : ndarray of float64, (places,)
        Middle of each place, in `x_unit` from the beginning of the sweep.
    low, mean, high : ndarray of float32, (places,)
        Lowest, mean and highest value of all sweeps there, in `y_unit`.
    """

    x: NDArray[np.float64]
    low: NDArray[np.float32]
    mean: NDArray[np.float32]
    high: NDArray[np.float32]
    x_unit: str
    y_unit: str


def _check(rate: str, columns: int, magnify: float, position: float) -> None:
    if rate not in RATES:
        raise UnknownNameError("sweep rate", rate, RATES)
    if columns < 16:
        raise BandbenchError(f"waveform sweep in {columns} places: use at least 16")
    if not (magnify >= 1.0 and 0.0 <= position <= 1.0):
        raise BandbenchError(f"waveform magnify {magnify}, position {position}: use 1 or more, and 0 to 1")


def _sweep_samples(standard: Standard, rate: str) -> float:
    """Return the samples of one sweep; those of a turn or a pass are not whole."""
    if rate == "line":
        return float(standard.samples_per_line)
    if rate == "field":
        return float(standard.samples_per_frame // 2)
    return standard.samples_per_frame * (4.0 if rate == "wheel" else 1.0) / standard.passes_per_frame


def _sweep_span(standard: Standard, rate: str) -> tuple[float, str]:
    """Return how long one sweep lasts, and the unit."""
    if rate == "line":
        return standard.line_period_s * 1e6, "us"
    return 1e3 * _sweep_samples(standard, rate) / standard.sample_rate_hz, "ms"


# The raster is drawn again and again at the same settings: of the sweeps that do not fit whole samples, or of all of
# them together, which column each sample of the frame falls into is worked out once.
@lru_cache(maxsize=2)
def _column_of_sample(
    standard: Standard, rate: str, columns: int, magnify: float, left: float
) -> tuple[NDArray[np.int32], int]:
    """Return the column of each sample, `columns` for one off the screen, and how many samples are on it."""
    sweep = _sweep_samples(standard, rate)
    phase = np.arange(standard.samples_per_frame) % sweep
    column = np.floor((phase - left) * (columns * magnify / sweep)).astype(np.int32)
    column[(column < 0) | (column >= columns)] = columns
    return column, int(np.count_nonzero(column < columns))


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
        One of `RATES`. "line" overlays all lines of the frame, "field" its two fields, "wheel" all turns of the
        wheel and "pass" all passes; a turn begins with pass 0.
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
    _check(rate, columns, magnify, position)
    if rows < 16:
        raise BandbenchError(f"waveform raster of {rows} rows: use at least 16")
    values = values_at(frame, test_point)
    return _drawn(values, frame.standard, (test_point, rate), (rows, columns), (magnify, position))


def superposition(
    frame: PlaybackFrame,
    rate: str = "pass",
    *,
    rows: int = 240,
    columns: int = 480,
    magnify: float = 1.0,
    position: float = 0.0,
) -> tuple[WaveformRaster, WaveformRaster, WaveformRaster, WaveformRaster]:
    """Return the RF of the heads 1 to 4 as four rasters of one screen, to be shown over each other.

    Parameters are those of `waveform`. At pass rate the four bursts lie over each other, so that a level or a shape
    that differs stands out; at wheel rate each has its own quarter of the screen.

    Raises
    ------
    BandbenchError
        As `waveform`.
    """
    options = {"rows": rows, "columns": columns}
    one, two, three, four = (
        waveform(frame, f"rf_head_{head}", rate, magnify=magnify, position=position, **options) for head in range(1, 5)
    )
    return one, two, three, four


def _drawn(
    values: NDArray[np.float32],
    standard: Standard,
    shown: tuple[str, str],
    size: tuple[int, int],
    window: tuple[float, float],
) -> WaveformRaster:
    (test_point, rate), (rows, columns), (magnify, position) = shown, size, window
    (low, high), y_unit = range_at(test_point, standard)
    sweep = _sweep_samples(standard, rate)
    left = min(position, 1.0 - 1.0 / magnify) * sweep
    values = values.ravel()
    row = ((values - np.float32(low)) * np.float32(rows / (high - low))).astype(np.int32)
    # What leaves the screen is not seen; it is counted in a row of its own above the raster.
    row[(row < 0) | (row >= rows) | (values < np.float32(low))] = rows
    if rate in ("line", "field"):
        whole = round(sweep)
        phase = np.arange(whole, dtype=np.float32)
        column = np.floor((phase - np.float32(left)) * np.float32(columns * magnify / sweep)).astype(np.int32)
        first = max(0, int(np.searchsorted(column, 0)))
        last = int(np.searchsorted(column, columns))
        row_sweeps = row.reshape(-1, whole)[:, first:last]
        place = row_sweeps * np.int32(columns) + column[first:last]
        count = row_sweeps.size
    else:
        column, count = _column_of_sample(standard, rate, columns, magnify, left)
        # One column more than the screen has takes what lies to its left and right.
        place = row * np.int32(columns) + column
        place[column == columns] = rows * columns
    hits = np.bincount(place.ravel(), minlength=(rows + 1) * columns)[: rows * columns].reshape(rows, columns)
    # A beam that stays on one row through a whole column is full brightness; the square root lifts rare paths, as
    # a phosphor's eye adaptation would (MODEL).
    full = max(1.0, count / columns)
    image = np.sqrt(np.minimum(hits.astype(np.float32) * np.float32(4.0 / full), 1.0))

    span, x_unit = _sweep_span(standard, rate)
    start = left / sweep * span
    return WaveformRaster(
        image=image,
        x_range=(start, start + span / magnify),
        y_range=(low, high),
        x_unit=x_unit,
        y_unit=y_unit,
        test_point=test_point,
        rate=rate,
    )


def sweep_table(
    frame: PlaybackFrame,
    test_point: str,
    rate: str = "line",
    *,
    columns: int = 480,
    magnify: float = 1.0,
    position: float = 0.0,
) -> SweepTable:
    """Return what `waveform` draws as numbers; parameters and errors as there.

    Examples
    --------
    >>> from sim.recorder import Recorder
    >>> table = sweep_table(Recorder(signal="flat").play_frame(0), "input", columns=64)
    >>> table.x.size, table.y_unit, round(float(table.low.min()))
    (64, 'IRE', -40)
    """
    _check(rate, columns, magnify, position)
    standard = frame.standard
    values = values_at(frame, test_point).ravel()
    left = min(position, 1.0 - 1.0 / magnify) * _sweep_samples(standard, rate)
    column, _ = _column_of_sample(standard, rate, columns, magnify, left)
    order = np.argsort(column, kind="stable")
    places, first = np.unique(column[order], return_index=True)
    ordered = values[order]
    count = np.diff(np.append(first, ordered.size))
    seen = places < columns
    span, x_unit = _sweep_span(standard, rate)
    start = min(position, 1.0 - 1.0 / magnify) * span
    return SweepTable(
        x=np.asarray(start + (places[seen] + 0.5) * (span / magnify / columns), dtype=np.float64),
        low=np.minimum.reduceat(ordered, first)[seen],
        mean=(np.add.reduceat(ordered, first, dtype=np.float64) / count)[seen].astype(np.float32),
        high=np.maximum.reduceat(ordered, first)[seen],
        x_unit=x_unit,
        y_unit=range_at(test_point, standard)[1],
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
    point = find_point(test_point)
    standard = frame.standard
    if not 1 <= line <= standard.lines_per_frame:
        raise BandbenchError(f"line {line}: this standard has lines 1 to {standard.lines_per_frame}")
    if point.is_rf:
        shape = (standard.lines_per_frame, standard.samples_per_line)
        values = np.abs(rf_at(frame, test_point).reshape(shape)[line - 1])
    else:
        values = values_at(frame, test_point)[line - 1].copy()
    _, y_unit = range_at(test_point, standard)
    x = np.arange(standard.samples_per_line, dtype=np.float32) * np.float32(1e6 / standard.sample_rate_hz)
    return LineTrace(x, values, y_unit)
