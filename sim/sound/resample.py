"""Sound between its samples: band-limited interpolation at any places.

Contents: `HALF_LENGTH`, `sample_at`, `interpolate`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["HALF_LENGTH", "interpolate", "sample_at"]

FloatArray = NDArray[np.float64]

HALF_LENGTH = 8
"""Samples on either side that a value between them is made of."""
_PHASES = 4096
# MODEL: form of the Kaiser window over the sinc; passes 12 kHz of 32 kHz samples within 0.01 dB, images 65 dB down.
_KAISER = 6.0


def _kernels() -> FloatArray:
    """Return one kernel for each fraction of a sample, (phases + 1, 2 * HALF_LENGTH), each with a sum of 1."""
    fraction = np.arange(_PHASES + 1)[:, None] / _PHASES
    distance = np.arange(1 - HALF_LENGTH, HALF_LENGTH + 1)[None, :] - fraction
    window = np.i0(_KAISER * np.sqrt(np.clip(1.0 - np.square(distance / HALF_LENGTH), 0.0, None))) / np.i0(_KAISER)
    kernels = np.sinc(distance) * window
    return np.asarray(kernels / kernels.sum(axis=1, keepdims=True))


_KERNELS = _kernels()


def interpolate(samples: FloatArray, places: FloatArray) -> FloatArray:
    """Return a signal between its samples.

    Parameters
    ----------
    samples : ndarray, (samples,)
        The signal.
    places : ndarray, (places,)
        Where to take it [samples], `HALF_LENGTH` away from both ends at least.

    Notes
    -----
    Sinc under a Kaiser window. Places are rounded to 1/4096 sample: an error 70 dB below a tone of a third of the
    sampling rate, less below slower ones.

    Examples
    --------
    >>> wave = np.sin(0.3 * np.arange(100))
    >>> bool(np.allclose(interpolate(wave, np.array([40.0, 50.5])), np.sin([12.0, 15.15]), atol=1e-3))
    True
    """
    fine = np.rint(places * _PHASES).astype(np.int64)
    whole, fraction = np.divmod(fine, _PHASES)
    if not np.any(fraction):
        return samples[whole]
    windows = np.lib.stride_tricks.sliding_window_view(samples, 2 * HALF_LENGTH)
    return np.asarray(np.einsum("ij,ij->i", windows[whole - (HALF_LENGTH - 1)], _KERNELS[fraction]))


def sample_at(samples: FloatArray, places: FloatArray, repeated: bool = False) -> FloatArray:
    """Return a signal between its samples, also beyond its ends.

    Parameters
    ----------
    samples : ndarray, (samples,)
        The signal.
    places : ndarray, (places,)
        Where to take it [samples].
    repeated : bool
        Whether it begins anew at its end; otherwise there is silence beyond.
    """
    if places.size == 0 or samples.size == 0:
        return np.zeros(places.size)
    # Counted from the first place needed, so that long tapes lose no precision.
    first = int(np.floor(places.min())) - HALF_LENGTH
    last = int(np.ceil(places.max())) + HALF_LENGTH
    wanted = np.arange(first, last + 1)
    if repeated:
        around = samples[wanted % samples.size]
    else:
        inside = (wanted >= 0) & (wanted < samples.size)
        around = np.where(inside, samples[np.clip(wanted, 0, samples.size - 1)], 0.0)
    return interpolate(around, places - first)
