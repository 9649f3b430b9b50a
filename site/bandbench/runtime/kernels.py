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

from sim.arithmetic import Arithmetic, use_arithmetic

__all__ = ["KERNELS_FILE", "KERNELS_TEXT", "KernelArithmetic", "Kernels", "start"]

KERNELS_TEXT, KERNELS_FILE = "kernels.wat", "kernels.wasm"
"""The kernels beside this file as they are written, and as the browser gets them."""

FloatArray = NDArray[np.float32]

_AT_ONCE = 4


class Kernels(Protocol):
    """What the assembled file exports; `kernels.wat` tells what the numbers are."""

    def phase_steps(self, samples: int, to: int, count: int, scale: float, offset: float, /) -> None:
        """Work out phase steps."""

    def weighted_sums(self, values: int, weights: int, row: int, taps: int, to: int, count: int, /) -> None:
        """Work out weighted sums."""

    def fill_runs(self, start: int, rise: int, to: int, segments: int, runs: int, length: int, row: int, /) -> None:
        """Fill runs with straight lines."""


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
        self._fill_runs = kernels.fill_runs

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

    def fill_runs(self, start: FloatArray, rise: FloatArray, out: FloatArray) -> None:
        """Fill runs with straight lines."""
        segments, runs, length = out.shape
        in_rows = out.dtype == np.float32 and out.strides[1:] == (4 * length, 4)
        if not (in_rows and out.size and _lies_in_a_row(start, np.float32) and _lies_in_a_row(rise, np.float32)):
            super().fill_runs(start, rise, out)
            return
        self._fill_runs(_address(start), _address(rise), _address(out), segments, runs, length, out.strides[0])


def _lies_in_a_row(array: NDArray[Any], dtype: type) -> bool:
    return array.dtype == dtype and array.flags.c_contiguous


def _address(array: NDArray[Any]) -> int:
    return int(array.__array_interface__["data"][0])


def start(kernels: Kernels) -> None:
    """Have the kernels used from now on."""
    use_arithmetic(KernelArithmetic(kernels))
