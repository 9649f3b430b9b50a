"""Re-reading a frame of video at displaced moments: what time-base errors do to the demodulated signal.

A time-base error acts on the RF; moving the demodulated video instead is the same to first order in the wheel's slow
motion (tests/test_recorder.py holds it to the RF chain).

Contents: `spline_compensation`, `Displacement` (any smooth error), `line_lead`, `LineBlocks` (a frame as lines with
margins), `shift_lines` (a constant shift a line).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.arithmetic import SPLINE_TAPS, arithmetic
from sim.standards import Standard

__all__ = [
    "Displacement",
    "LineBlocks",
    "line_lead",
    "shift_lines",
    "spline_compensation",
]

FloatArray = NDArray[np.float32]

_LONGEST_RUN = 13  # MODEL: samples over which a tap's weight is taken for a straight line, at the most


def spline_compensation(cycles_per_sample: NDArray[np.floating]) -> NDArray[np.float64]:
    """Return the gain that turns samples into quintic B-spline coefficients, at each frequency [cycles/sample].

    It is the reciprocal of the transfer of the spline's samples (1, 26, 66, 26, 1) / 120. Multiplying by it where
    the video is filtered anyway makes the six-point spline of `Displacement` pass through the samples.

    Examples
    --------
    >>> float(spline_compensation(np.array(0.0)))
    1.0
    """
    w = 2.0 * np.pi * np.asarray(cycles_per_sample, dtype=np.float64)
    return np.asarray(120.0 / (66.0 + 52.0 * np.cos(w) + 2.0 * np.cos(2.0 * w)))


class Displacement:
    """Where each output sample is read, prepared once per geometry and used for every frame.

    Parameters
    ----------
    error_s : ndarray of float32, (n_samples,)
        Time-base error at each output sample [s]; positive reads later in the recorded signal.
    rate_hz : float
        Sample rate [Hz].
    segment : int
        Samples handled together; must divide `n_samples`.
    first : int
        Sample at which a segment begins; errors may jump there and at whole segments from there, and are smooth in
        between.

    Raises
    ------
    ValueError
        If the error is not finite or too large to be read.

    Notes
    -----
    Quintic B-spline: at 4 fsc, images of the subcarrier stay below 0.2 % (DERIVED: (1/3)^6 = 0.14 %). Inside a
    segment the whole-sample part of the shift hardly changes, so each segment is copied once as a block and every
    tap is a slice of all blocks in a row; picking each tap sample by sample costs many times as much in the browser.
    The taps' weights are worked out for the ends of runs of some ten samples and are straight lines in between: with a
    guide 100 um off its place that adds 0.08 % of its size to the largest error of the subcarrier
    (tests/test_timebase.py).
    """

    _PAD = 256

    def __init__(self, error_s: FloatArray, rate_hz: float, segment: int, first: int) -> None:
        shift = np.roll(error_s * np.float32(rate_hz), -first).reshape(-1, segment)
        limit = self._PAD - segment - SPLINE_TAPS
        lowest, highest = shift.min(axis=1), shift.max(axis=1)
        # What is no number is neither.
        if not (lowest >= -limit).all() or not (highest <= limit).all():
            raise ValueError(f"time-base error beyond {limit / rate_hz * 1e6:.0f} us cannot be read")
        lowest = np.floor(lowest)
        shift -= lowest[:, None]
        span = int((highest - lowest).max())
        # Each segment is read with what the taps reach beyond it; there the weights are 0.
        self._width = segment + SPLINE_TAPS + span - 1
        run = max(length for length in range(1, _LONGEST_RUN + 1) if segment % length == 0)
        taps = arithmetic().spline_taps(shift, span, self._width, run)
        self._taps = taps.reshape(len(taps), -1)
        self._first = first
        self._segment = segment
        begin = np.arange(shift.shape[0], dtype=np.intp) * segment + first + self._PAD - 2
        self._begin = begin + lowest.astype(np.intp)

    def __call__(self, coefficients: FloatArray) -> FloatArray:
        """Return the displaced signal, shape (n_samples,), from spline coefficients of the loop."""
        pad = self._PAD
        padded = np.empty(coefficients.size + 2 * pad, dtype=np.float32)
        padded[pad:-pad] = coefficients
        padded[:pad] = coefficients[-pad:]
        padded[-pad:] = coefficients[:pad]
        blocks = np.lib.stride_tricks.sliding_window_view(padded, self._width)[self._begin].ravel()
        total = arithmetic().weighted_sums(blocks, self._taps)
        result = np.empty_like(coefficients)
        flat, first = total.reshape(-1, self._width)[:, : self._segment].ravel(), self._first
        result[first:] = flat[: flat.size - first]
        result[:first] = flat[flat.size - first :]
        return result


def line_lead(standard: Standard) -> int:
    """Return how many samples before 0H lines are cut apart: in the middle of the front porch, clear of sync."""
    return round(0.5 * standard.front_porch_s * standard.sample_rate_hz)


class LineBlocks:
    """A frame cut into its lines, each with margins, so that a filter's memory reaches over the line's ends.

    Parameters
    ----------
    lines, samples : int
        Shape of the frame, which is played as a loop.
    lead : int
        Samples before 0H at which each line is cut: in the front porch, so that no sync edge is torn when two lines
        are shifted differently.

    Notes
    -----
    The longer margin stands before the line: de-emphasis is causal. With 74 samples before and some 40 after, and a
    block length of small prime factors, filtering the blocks equals filtering the whole loop to 1e-4 of a step.
    """

    BEFORE = 74
    _LEAST_AFTER = 40

    def __init__(self, lines: int, samples: int, lead: int) -> None:
        self._lines, self._samples, self._lead = lines, samples, lead
        self.length = _next_fast_length(samples + self.BEFORE + self._LEAST_AFTER)
        self._after = self.length - samples - self.BEFORE

    def cut(self, flat: FloatArray, offset: float = 0.0) -> FloatArray:
        """Return blocks (lines, length), a view into a copy of the flat frame less `offset`."""
        count = flat.size
        before, after = self.BEFORE + self._lead, self._after - self._lead
        padded = np.empty(count + before + after, dtype=np.float32)
        np.subtract(flat, np.float32(offset), out=padded[before : before + count])
        padded[:before] = padded[count : count + before]
        padded[before + count :] = padded[before : before + after]
        return np.lib.stride_tricks.as_strided(
            padded, (self._lines, self.length), (self._samples * 4, 4), writeable=False
        )

    def join(self, blocks: NDArray[np.floating]) -> FloatArray:
        """Return the frame's insides of the blocks, shape (lines, samples)."""
        result = np.empty((self._lines, self._samples), dtype=np.float32)
        kept, start = self._samples - self._lead, self.BEFORE + self._lead
        result[:, :kept] = blocks[:, start : start + kept]
        # What stands before the first cut of the frame comes from the block of its first line: the frame is a loop.
        tail = blocks[:, self.BEFORE : start]
        result[:-1, kept:] = tail[1:]
        result[-1, kept:] = tail[0]
        return result


def _next_fast_length(length: int) -> int:
    """Return the next power of 4, or five times one, where that is hardly longer; else one without factors above 5.

    The browser's kernels transform the former (`bandbench.runtime.kernels`): 1024 for 525/60 and 1280 for 625/50.
    """
    quick = min(by << bits for by in (1, 5) for bits in range(6, 24, 2) if by << bits >= length)
    if quick <= 1.05 * length:
        return quick
    while True:
        rest = length
        for factor in (2, 3, 5):
            while rest % factor == 0:
                rest //= factor
        if rest == 1 and length % 2 == 0:
            return length
        length += 1


def shift_lines(video: FloatArray, shift_samples: NDArray[np.floating], lead: int) -> FloatArray:
    """Return video with each line read `shift` samples later, shape (lines, samples); see `LineBlocks` for `lead`.

    Examples
    --------
    >>> video = np.cos(np.arange(5000, dtype=np.float32) * (2 * np.pi / 50)).reshape(5, 1000)
    >>> moved = shift_lines(video, np.full(5, 12.5), lead=11)
    >>> bool(np.allclose(moved, -np.sin(np.arange(5000) * (2 * np.pi / 50)).reshape(5, 1000), atol=1e-3))
    True
    """
    lines, samples = video.shape
    cutter = LineBlocks(lines, samples, lead)
    return cutter.join(arithmetic().filter_lines(cutter.cut(video.ravel()), None, shift_samples))
