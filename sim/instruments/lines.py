"""Lines of video as a person reads them: each from its own sync, above its own blanking, on a signal that is known.

Contents: `PORCH_S`, `picture_rows`, `aligned_lines`, `span_samples`, `line_levels`, `seen_signal`, `signal_at`,
`require_signal`, `rows_of_head`.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.frame import PlaybackFrame
from sim.instruments.rf_readings import rf_levels_db
from sim.instruments.specs import MeasurementError
from sim.output import sync_edges_s
from sim.signals import SIGNALS, active_interval_s, visible_rows
from sim.standards import Standard
from sim.wording import wording

__all__ = [
    "PORCH_S",
    "aligned_lines",
    "line_levels",
    "picture_rows",
    "require_signal",
    "rows_of_head",
    "seen_signal",
    "signal_at",
    "span_samples",
]

FloatArray = NDArray[np.float32]

# DERIVED from BT.470: from the end of the burst, 7.86 us, to the beginning of the picture, 9.4 us.
PORCH_S = (8.2e-6, 9.1e-6)
"""Where each line's blanking is read, after 0H [s]: behind the burst, before the picture."""

# Part of the picture's height by which a signal is told: 525-line bars have a strip of others below (MODEL).
_TOLD_BY = (0.1, 0.65)
# What is seen counts as a test signal if it is like it to this rms part of white, at a size within these (MODEL: half
# of what two test signals differ by at least; the size goes beyond the video level control).
_LIKE = 0.07
_SIZES = (0.4, 2.2)
# Detail is told apart from level by averages over so many samples, about four cycles of subcarrier (MODEL).
_AVERAGE = 16
# A head weaker than this draws noise rather than picture (MODEL, near the FM threshold).
_LEAST_RF_DB = -25.0


def picture_rows(standard: Standard, top: float = 0.0, bottom: float = 1.0) -> NDArray[np.intp]:
    """Return the rows of the frame between two parts of the picture's height, in time order."""
    rows = visible_rows(standard)
    return np.sort(rows[round(top * rows.size) : round(bottom * rows.size)]).astype(np.intp)


def aligned_lines(
    video: NDArray[np.floating], edges_s: NDArray[np.float64], standard: Standard, rows: NDArray[np.intp]
) -> FloatArray:
    """Return lines of video, each from its own sync edge to the nearest sample, less its own blanking.

    Parameters
    ----------
    video : ndarray, (lines, samples)
        Composite video in time order. [level unit]
    edges_s : ndarray, (lines,)
        Where each line's sync edge lies against 0H [s]; lines without are left out.
    standard : Standard
        Timing.
    rows : ndarray of int
        Rows of the frame.

    Returns
    -------
    ndarray of float32, (n_lines, samples)
        [level unit]

    Raises
    ------
    MeasurementError
        If fewer than eight of the lines have sync.
    """
    found = rows[np.isfinite(edges_s[rows])]
    if found.size < 8:
        raise MeasurementError(wording("readings.too_few_lines_sync_2"))
    start = found * standard.samples_per_line + np.rint(edges_s[found] * standard.sample_rate_hz).astype(np.intp)
    place = start[:, None] + np.arange(standard.samples_per_line, dtype=np.intp)
    lines = video.ravel()[place % video.size].astype(np.float32, copy=False)
    return np.asarray(lines - lines[:, _samples(standard, PORCH_S)].mean(axis=1, keepdims=True))


def _samples(standard: Standard, span_s: tuple[float, float]) -> slice:
    first, last = (round(at_s * standard.sample_rate_hz) for at_s in span_s)
    return slice(first, last)


def span_samples(standard: Standard, span: tuple[float, float]) -> slice:
    """Return the samples of a line between two parts of its picture, 0 its left edge and 1 its right."""
    start_s, end_s = active_interval_s(standard)
    first, last = (start_s + part * (end_s - start_s) for part in span)
    return _samples(standard, (first, last))


def line_levels(lines: NDArray[np.floating], samples: slice) -> NDArray[np.float64]:
    """Return the mean of a stretch of each line, (n_lines,), weighted so that subcarrier does not count."""
    weights = np.hanning(samples.stop - samples.start + 2)[1:-1]
    # Not as a product of matrices, whose last digit may depend on how many cores share it.
    return np.asarray(np.einsum("ij,j->i", lines[:, samples].astype(np.float64), weights) / weights.sum())


def _averaged(lines: NDArray[np.floating]) -> NDArray[np.float64]:
    total = np.cumsum(np.pad(lines, ((0, 0), (_AVERAGE // 2 + 1, _AVERAGE // 2 - 1))), axis=1, dtype=np.float64)
    return np.asarray((total[:, _AVERAGE:] - total[:, :-_AVERAGE]) / _AVERAGE)


def _in_band(lines: NDArray[np.floating], standard: Standard) -> NDArray[np.float64]:
    spectrum = np.fft.rfft(lines, axis=1)
    frequency_hz = np.fft.rfftfreq(lines.shape[1], 1.0 / standard.sample_rate_hz)
    spectrum[:, frequency_hz > 1.1 * standard.video_bandwidth_hz] = 0.0
    return np.asarray(np.fft.irfft(spectrum, lines.shape[1], axis=1))


def _features(lines: NDArray[np.floating], standard: Standard) -> NDArray[np.float64]:
    """Level and rms detail along the picture of a line, in parts of white: what tells one signal from another."""
    lines = _in_band(lines, standard)
    level, told = _averaged(lines), _told_samples(standard)
    detail = np.sqrt(np.maximum(np.median(_averaged(np.square(lines - level))[:, told], axis=0), 0.0))
    return _told(np.median(level[:, told], axis=0), detail, standard)


def _told(level: NDArray[np.float64], detail: NDArray[np.float64], standard: Standard) -> NDArray[np.float64]:
    return np.concatenate((level, detail)) / standard.white_level


def _told_samples(standard: Standard) -> slice:
    """Return the samples of a line that are looked at."""
    # The ends of the line, where blanking comes into the averages, say nothing.
    inside = span_samples(standard, (0.03, 0.97))
    return slice(inside.start, inside.stop, 4)


@lru_cache(maxsize=2)
def _references(standard: Standard) -> dict[str, NDArray[np.float64]]:
    rows, told = picture_rows(standard, *_TOLD_BY), _told_samples(standard)
    features = {}
    for name, spec in SIGNALS.items():
        drawing = spec.draw(standard)
        full = (standard.lines_per_frame, standard.samples_per_line)
        luma = np.median(np.broadcast_to(drawing.luma, full)[rows], axis=0)[None]
        luma = _in_band(luma, standard)
        level = _averaged(luma)
        power = _averaged(np.square(luma - level))[0]
        for colour in (drawing.u, drawing.v):
            if colour is not None:
                part = np.median(np.broadcast_to(colour, full)[rows], axis=0)[None]
                power = power + 0.5 * _averaged(np.square(part))[0]
        features[name] = _told(level[0][told], np.sqrt(np.maximum(power[told], 0.0)), standard)
    return features


def seen_signal(video: NDArray[np.floating], edges_s: NDArray[np.float64], standard: Standard) -> str:
    """Return which of the test signals a frame of video shows, empty if it is none of them.

    Parameters
    ----------
    video, edges_s, standard
        As for `aligned_lines`.

    Raises
    ------
    MeasurementError
        If too few lines have sync.

    Examples
    --------
    >>> from sim.signals import make_signal
    >>> from sim.standards import get_standard
    >>> standard = get_standard("525/60")
    >>> seen_signal(make_signal("stair_20", standard), np.zeros(525), standard)
    'stair_20'
    """
    lines = aligned_lines(video, edges_s, standard, picture_rows(standard, *_TOLD_BY)[::2])
    seen = _features(lines, standard)
    best, best_error = "", _LIKE
    for name, reference in _references(standard).items():
        size = float(np.clip(seen @ reference / (reference @ reference), *_SIZES))
        error = float(np.sqrt(np.mean(np.square(seen - size * reference)))) / size
        if error < best_error:
            best, best_error = name, error
    return best


# A dozen readings look at the same few signals of a frame.
@lru_cache(maxsize=3)
def _seen(frame: PlaybackFrame, point: str) -> str:
    return seen_signal(*signal_at(frame, point), frame.standard)


def signal_at(frame: PlaybackFrame, point: str) -> tuple[FloatArray, NDArray[np.float64]]:
    """Return the video of a test point and where its lines begin [s]."""
    if point == "input":
        return frame.source, np.zeros(frame.standard.lines_per_frame)
    if point == "electronics":
        return frame.electronics, _electronics_edges_s(frame)
    if point == "corrected":
        return frame.corrected, _corrected_edges_s(frame)
    if point == "processed":
        return frame.processed, np.zeros(frame.standard.lines_per_frame)
    return frame.demod, frame.sync_edges_s


@lru_cache(maxsize=1)
def _electronics_edges_s(frame: PlaybackFrame) -> NDArray[np.float64]:
    return sync_edges_s(frame.electronics, frame.standard)


@lru_cache(maxsize=1)
def _corrected_edges_s(frame: PlaybackFrame) -> NDArray[np.float64]:
    return sync_edges_s(frame.corrected, frame.standard)


def require_signal(frame: PlaybackFrame, point: str, reading: str, names: tuple[str, ...]) -> str:
    """Return which test signal is seen at a test point if it is one of `names`.

    Raises
    ------
    MeasurementError
        If it is none of them; says what is seen and what is needed.
    """
    seen = _seen(frame, point)
    if seen in names:
        return seen
    titles = ", ".join(wording(f"signal_names.{name}") for name in names)
    what = wording(f"signal_names.{seen}") if seen else wording("readings.no_test_signal")
    raise MeasurementError(wording("readings.seen_read", reading=reading, what=what, titles=titles))


def rows_of_head(frame: PlaybackFrame, head: int, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return those of some rows that a head draws.

    Raises
    ------
    MeasurementError
        If its channel is off or its RF too low.
    """
    chosen = rows[frame.head_of_line[rows] == head]
    if not chosen.size or rf_levels_db(frame)[head - 1] < _LEAST_RF_DB:
        raise MeasurementError(wording("readings.head_draws_no_picture", head=head))
    return np.asarray(chosen, dtype=np.intp)
