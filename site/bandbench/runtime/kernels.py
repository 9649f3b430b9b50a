"""The arithmetic of a frame in WebAssembly with vectors of four values, where the browser has it.

NumPy has no vector instructions in the browser: there its arctangent alone takes a quarter of a frame's time. What
`kernels.wat` says in WebAssembly's own text format, assembled when the site is built, does the same to NumPy's arrays
in an eighth of that.

Contents: `Kernels`, `KernelArithmetic`, `start`.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from sim.arithmetic import SPLINE_TAPS, Arithmetic, use_arithmetic

__all__ = ["KERNELS_FILE", "KERNELS_TEXT", "KernelArithmetic", "Kernels", "start"]

KERNELS_TEXT, KERNELS_FILE = "kernels.wat", "kernels.wasm"
"""The kernels beside this file as they are written, and as the browser gets them."""

FloatArray = NDArray[np.float32]

_AT_ONCE = 4
_LINES_AT_ONCE = 8
_MOST_TAPS = 16
# Powers of 4, and five times one.
_LENGTHS = (64, 256, 320, 1024, 1280, 4096)


class Kernels(Protocol):
    """What the assembled file exports; `kernels.wat` tells what the numbers are."""

    def phase_steps(self, samples: int, to: int, count: int, scale: float, offset: float, /) -> None:
        """Work out phase steps."""

    def weighted_sums(self, values: int, weights: int, row: int, taps: int, to: int, count: int, /) -> None:
        """Work out weighted sums."""

    def spline_taps(
        self, shift: int, to: int, segments: int, runs: int, length: int, margin: int, taps: int, row: int, work: int, /
    ) -> None:
        """Work out the weights of a spline's taps."""

    def filter_lines(
        self,
        lines: int,
        row: int,
        to: int,
        to_row: int,
        count: int,
        length: int,
        response: int,
        units: int,
        units_row: int,
        turns: int,
        work: int,
        /,
    ) -> None:
        """Filter lines and shift them."""


class KernelArithmetic(Arithmetic):
    """That of the kernels; NumPy's for what is left over of their vectors, and for arrays that lie otherwise.

    Parameters
    ----------
    kernels : Kernels
        They work on the memory in which NumPy's arrays lie.
    """

    def __init__(self, kernels: Kernels) -> None:
        # Looked up once: each of them is an object of the browser's.
        self._phase_steps, self._weighted_sums = kernels.phase_steps, kernels.weighted_sums
        self._spline_taps, self._filter_lines = kernels.spline_taps, kernels.filter_lines
        # The last lines' length, the table of its transform, and room for two lines of eight.
        self._length, self._turns, self._work = 0, np.empty(0, np.complex64), np.empty(0, np.float32)

    def phase_steps(self, envelope: NDArray[np.complex64], scale: float, offset: float) -> FloatArray:
        """Return by how much the phase of each sample is ahead of the one before, scaled."""
        count = envelope.size
        if count <= _AT_ONCE or not _lies_in_a_row(envelope, np.complex64):
            return super().phase_steps(envelope, scale, offset)
        steps = np.empty(count, dtype=np.float32)
        # The first sample's neighbour stands at the other end.
        steps[0] = super().phase_steps(envelope[[-1, 0]], scale, offset)[1]
        samples, to = _address(envelope), _address(steps)
        whole = (count - 1) // _AT_ONCE * _AT_ONCE
        # What is left over is less than a vector: the last vector's place is further back, in part on what is done.
        for first, length in ((1, whole), (count - _AT_ONCE, _AT_ONCE)):
            self._phase_steps(samples + 8 * first, to + 4 * first, length, scale, offset)
        return steps

    def weighted_sums(self, values: FloatArray, weights: FloatArray) -> FloatArray:
        """Return sums of so many values in a row, each with a weight of its own."""
        taps, count = len(weights), values.size - len(weights) + 1
        if count < _AT_ONCE or not (_lies_in_a_row(values, np.float32) and _lies_in_a_row(weights, np.float32)):
            return super().weighted_sums(values, weights)
        sums = np.empty_like(values)
        read, weighed, to = _address(values), _address(weights), _address(sums)
        for first, length in ((0, count // _AT_ONCE * _AT_ONCE), (count - _AT_ONCE, _AT_ONCE)):
            by = 4 * first
            self._weighted_sums(read + by, weighed + by, weights.strides[0], taps, to + by, length)
        return sums

    def spline_taps(self, shift: FloatArray, span: int, width: int, run: int) -> FloatArray:
        """Return the weights of a quintic B-spline's taps along segments that are read later by a changing shift."""
        (segments, segment), count = shift.shape, SPLINE_TAPS + span
        if run < _AT_ONCE or count > _MOST_TAPS or not _lies_in_a_row(shift, np.float32):
            return super().spline_taps(shift, span, width, run)
        taps = np.empty((count, segments, width), dtype=np.float32)
        taps[..., segment:] = 0.0
        work = np.empty(2 * _MOST_TAPS, dtype=np.float32)
        self._spline_taps(
            _address(shift), _address(taps), segments, segment // run, run, 4 * (width - segment),
            count, taps.strides[0], _address(work),
        )  # fmt: skip
        return taps

    def filter_lines(
        self,
        lines: FloatArray,
        response: NDArray[np.complex64] | None,
        late_samples: NDArray[np.floating] | None,
    ) -> NDArray[np.floating]:
        """Return lines behind a filter, each read later by a shift of its own."""
        count, length = lines.shape
        if count < _LINES_AT_ONCE or length not in _LENGTHS or lines.dtype != np.float32 or lines.strides[1] != 4:
            return super().filter_lines(lines, response, late_samples)
        if length != self._length:
            self._length, self._work = length, np.empty(16 * length, np.float32)
            self._turns = np.exp(-2j * np.pi / length * np.arange(length)).astype(np.complex64)
        # There and back a transform makes everything `length` times as large; the two halves of a spectrum of two lines
        # are taken apart by adding it to its mirror image.
        gain = np.ones(length // 2 + 1, np.complex64) if response is None else response
        gain = np.ascontiguousarray(gain * np.float32(0.5 / length), dtype=np.complex64)
        late = np.zeros(count) if late_samples is None else np.asarray(late_samples, np.float64)
        angle = (2.0 * np.pi / length) * late
        units = np.array([np.cos(angle), np.sin(angle)], dtype=np.float32)
        filtered = np.empty((count, length), dtype=np.float32)
        (row, _), (to_row, _), (units_row, _) = lines.strides, filtered.strides, units.strides
        read, to, unit, work = _address(lines), _address(filtered), _address(units), _address(self._work)
        for first, some in ((0, count // _LINES_AT_ONCE * _LINES_AT_ONCE), (count - _LINES_AT_ONCE, _LINES_AT_ONCE)):
            self._filter_lines(
                read + row * first, row, to + to_row * first, to_row, some, length,
                _address(gain), unit + 4 * first, units_row, _address(self._turns), work,
            )  # fmt: skip
        return filtered


def _lies_in_a_row(array: NDArray[Any], dtype: type) -> bool:
    return array.dtype == dtype and array.flags.c_contiguous


def _address(array: NDArray[Any]) -> int:
    return int(array.__array_interface__["data"][0])


def start(kernels: Kernels) -> None:
    """Have the kernels used from now on."""
    use_arithmetic(KernelArithmetic(kernels))
