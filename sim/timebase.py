"""Re-reading a frame of video at displaced moments: what time-base errors do to the demodulated signal.

A time-base error acts on the RF; moving the demodulated video instead is the same to first order in the wheel's slow
motion (test_time_base_equivalence holds it to the RF chain).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["Displacement", "spline_compensation"]

FloatArray = NDArray[np.float32]


def spline_compensation(cycles_per_sample: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the gain that turns samples into cubic B-spline coefficients, at each frequency [cycles/sample].

    It is the reciprocal of the transfer (2 + cos w) / 3 of the spline's samples (1/6, 4/6, 1/6). Multiplying by it
    where the video is filtered anyway makes the four-point spline of `Displacement` pass through the samples.
    """
    return np.asarray(3.0 / (2.0 + np.cos(2.0 * np.pi * cycles_per_sample)))


class Displacement:
    """Where each output sample is read, prepared once per geometry and used for every frame.

    Parameters
    ----------
    error_s : ndarray of float32, (n_samples,)
        Time-base error at each output sample [s]; positive reads later in the recorded signal.
    rate_hz : float
        Sample rate of the output [Hz].
    upsampling : int
        Samples of the input per sample of the output.

    Notes
    -----
    Cubic B-spline on input that is `upsampling` times denser: with 2 and 4 fsc, images of the subcarrier stay
    below 0.1 % (DERIVED: (1/7)^4 = 0.04 %).
    """

    _PAD = 1024

    def __init__(self, error_s: FloatArray, rate_hz: float, upsampling: int) -> None:
        shift = error_s * np.float32(rate_hz * upsampling)
        limit = self._PAD - 4
        if not np.isfinite(shift).all() or np.abs(shift).max() > limit:
            raise ValueError(f"time-base error beyond {limit / rate_hz / upsampling * 1e6:.0f} us cannot be read")
        whole = np.floor(shift)
        t = shift - whole
        base = np.arange(error_s.size, dtype=np.int32) * np.int32(upsampling)
        self._index = base + whole.astype(np.int32) + np.int32(self._PAD - 1)
        t2 = t * t
        t3 = t2 * t
        sixth = np.float32(1.0 / 6.0)
        self._weight = (
            (1.0 - 3.0 * t + 3.0 * t2 - t3) * sixth,
            (4.0 - 6.0 * t2 + 3.0 * t3) * sixth,
            (1.0 + 3.0 * t + 3.0 * t2 - 3.0 * t3) * sixth,
            t3 * sixth,
        )

    def __call__(self, coefficients: FloatArray) -> FloatArray:
        """Return the displaced signal, shape (n_samples,), from spline coefficients of the loop."""
        pad = self._PAD
        padded = np.empty(coefficients.size + 2 * pad, dtype=np.float32)
        padded[pad:-pad] = coefficients
        padded[:pad] = coefficients[-pad:]
        padded[-pad:] = coefficients[:pad]
        result: FloatArray = padded[self._index]
        result *= self._weight[0]
        for offset in (1, 2, 3):
            tap = padded[offset:][self._index]
            tap *= self._weight[offset]
            result += tap
        return result
