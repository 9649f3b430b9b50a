"""The arithmetic that takes most of a frame's time.

It is written for NumPy, and that is what the model is tested with. Whoever runs it may put something quicker in the
place of NumPy's: the browser does (see `bandbench.runtime.kernels`), where NumPy's arctangent alone would take a
quarter of a frame's time. What is put there has to give the same numbers but for rounding.

Contents: `Arithmetic`, `arithmetic`, `use_arithmetic`, `line_ramps`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["CACHED_SAMPLES", "SPLINE_TAPS", "Arithmetic", "arithmetic", "line_ramps", "use_arithmetic"]

FloatArray = NDArray[np.float32]

CACHED_SAMPLES = 65536
"""Samples that are worked on at a time where each goes through many steps: more would not stay in the processor's
cache, fewer would leave Python more to do than NumPy. It takes half the time of working on a whole frame."""

SPLINE_TAPS = 6
"""Samples of which a quintic B-spline makes one."""


class Arithmetic:
    """NumPy's."""

    def phase_steps(self, envelope: NDArray[np.complex64], scale: float, offset: float) -> FloatArray:
        """Return by how much the phase of each sample is ahead of the one before, scaled.

        Parameters
        ----------
        envelope : ndarray of complex64, (n_samples,)
            Samples; before the first stands the last.
        scale, offset : float
            What the steps, -pi to pi [rad], are multiplied by, and what is added then.

        Returns
        -------
        ndarray of float32, (n_samples,)
        """
        product = np.empty_like(envelope)
        np.multiply(envelope[1:], np.conj(envelope[:-1]), out=product[1:])
        product[0] = envelope[0] * np.conj(envelope[-1])
        angle = np.arctan2(product.imag, product.real)
        angle *= np.float32(scale)
        angle += np.float32(offset)
        return angle

    def weighted_sums(self, values: FloatArray, weights: FloatArray) -> FloatArray:
        """Return sums of so many values in a row, each with a weight of its own.

        Parameters
        ----------
        values : ndarray of float32, (n_values,)
            The values.
        weights : ndarray of float32, (n_weights, n_values)
            Element (k, n) is the weight of value n + k in sum n.

        Returns
        -------
        ndarray of float32, (n_values,)
            The last ``n_weights - 1``, whose values are not all there, are undefined.
        """
        total, product = np.empty_like(values), np.empty(CACHED_SAMPLES, dtype=np.float32)
        count = values.size - len(weights) + 1
        for start in range(0, count, CACHED_SAMPLES):
            stop = min(start + CACHED_SAMPLES, count)
            part, work = total[start:stop], product[: stop - start]
            np.multiply(values[start:stop], weights[0, start:stop], out=part)
            for tap in range(1, len(weights)):
                np.multiply(values[start + tap : stop + tap], weights[tap, start:stop], out=work)
                part += work
        return total

    def spline_taps(self, shift: FloatArray, span: int, width: int, run: int) -> FloatArray:
        """Return the weights of a quintic B-spline's taps along segments that are read later by a changing shift.

        Parameters
        ----------
        shift : ndarray of float32, (segments, segment)
            Shift against the first tap's place [samples], 0 or more and less than `span` + 1.
        span : int
            By how many whole samples a shift may be larger than another of its segment.
        width : int
            Samples of a segment with its margin, in which all weights are 0.
        run : int
            Samples, a divisor of those of a segment, over which each weight is a straight line between its ends.

        Returns
        -------
        ndarray of float32, (SPLINE_TAPS + span, segments, width)
        """
        segments, segment = shift.shape
        runs = shift.reshape(segments, segment // run, run)
        ends = np.stack((runs[..., 0], runs[..., -1]))
        step = ends.astype(np.int8)
        weights = _spline_weights(ends - step)
        taps = np.zeros((SPLINE_TAPS + span, segments, width), dtype=np.float32)
        at_ends, part = np.empty_like(ends), np.empty_like(ends[0])
        for tap, along_tap in enumerate(taps):
            at_ends.fill(0.0)
            for extra in range(max(0, tap - SPLINE_TAPS + 1), min(span, tap) + 1):
                np.copyto(at_ends, weights[tap - extra], where=step == extra)
            start, rise = at_ends[0], (at_ends[1] - at_ends[0]) / np.float32(max(run - 1, 1))
            lines = along_tap[:, :segment].reshape(runs.shape)
            # All runs at once, place by place: what NumPy does in one go must be long, above all in the browser.
            for place in range(run):
                np.multiply(rise, np.float32(place), out=part)
                np.add(part, start, out=lines[..., place])
        return taps

    def filter_lines(
        self,
        lines: FloatArray,
        response: NDArray[np.complex64] | None,
        late_samples: NDArray[np.floating] | None,
    ) -> NDArray[np.floating]:
        """Return lines behind a filter, each read later by a shift of its own.

        Parameters
        ----------
        lines : ndarray of float32, (lines, length)
            An even number of samples each; their ends are joined.
        response : ndarray of complex64, (length // 2 + 1,), optional
            Gain from zero frequency to half the sample rate.
        late_samples : ndarray, (lines,), optional
            How much later each is read [samples].

        Returns
        -------
        ndarray of float32, (lines, length)
        """
        length = lines.shape[1]
        spectrum = np.fft.rfft(lines, axis=1)
        if response is not None:
            spectrum *= response
        if late_samples is not None:
            spectrum *= line_ramps(late_samples, length)
        return np.fft.irfft(spectrum, length, axis=1)


def _spline_weights(t: FloatArray) -> tuple[FloatArray, ...]:
    """Return the six weights of a quintic B-spline at the fraction t behind its third point."""
    t2 = t * t
    t3, t4 = t2 * t, t2 * t2
    t5 = t4 * t
    scale = np.float32(1.0 / 120.0)
    return (
        (1.0 - 5.0 * t + 10.0 * t2 - 10.0 * t3 + 5.0 * t4 - t5) * scale,
        (26.0 - 50.0 * t + 20.0 * t2 + 20.0 * t3 - 20.0 * t4 + 5.0 * t5) * scale,
        (66.0 - 60.0 * t2 + 30.0 * t4 - 10.0 * t5) * scale,
        (26.0 + 50.0 * t + 20.0 * t2 - 20.0 * t3 - 20.0 * t4 + 10.0 * t5) * scale,
        (1.0 + 5.0 * t + 10.0 * t2 + 10.0 * t3 + 5.0 * t4 - 5.0 * t5) * scale,
        t5 * scale,
    )


def line_ramps(shift_samples: NDArray[np.floating], length: int) -> NDArray[np.complex64]:
    """Return, for each line, the spectrum that reads a block `shift` samples later.

    Parameters
    ----------
    shift_samples : ndarray, (lines,)
        Shift of each line [samples].
    length : int
        Samples in a block.

    Returns
    -------
    ndarray of complex64, (lines, length // 2 + 1)
        exp(2 pi i k shift / length). Made from two short series of powers: a complex exponential for every bin costs
        ten times as much in the browser.
    """
    bins, step = length // 2 + 1, 32
    angle = (2.0 * np.pi / length) * np.asarray(shift_samples, dtype=np.float64)
    unit = np.exp(1j * angle)
    fine, far = _powers(unit, step)
    coarse, _ = _powers(far, -(-bins // step))
    ramps: NDArray[np.complex64] = coarse.astype(np.complex64)[:, :, None] * fine.astype(np.complex64)[:, None, :]
    return ramps.reshape(angle.size, -1)[:, :bins]


def _powers(unit: NDArray[np.complex128], count: int) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return the powers 0 to `count` - 1 of each value, (values, count), and the next if `count` is a power of two."""
    powers = np.ones((unit.size, 1), dtype=np.complex128)
    factor = unit
    while powers.shape[1] < count:
        powers = np.concatenate((powers, powers * factor[:, None]), axis=1)
        factor = factor * factor
    return powers[:, :count], factor


_in_use = Arithmetic()


def arithmetic() -> Arithmetic:
    """Return the arithmetic in use."""
    return _in_use


def use_arithmetic(quicker: Arithmetic) -> None:
    """Have this arithmetic used from now on."""
    global _in_use
    _in_use = quicker
