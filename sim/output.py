"""Sync separator and processing amplifier: clean sync and blanking around the picture as it came off the tape.

Contents: `sync_edges_s`, `clamp_levels`, `process`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.standards import Standard

__all__ = ["clamp_levels", "process", "sync_edges_s"]

FloatArray = NDArray[np.float32]

# The separator looks this far on both sides of 0H (MODEL: beyond any time-base error the controls allow, short of the
# half-line pulses).
_SEARCH_S = 6.5e-6
# Averaging before slicing (MODEL: well under the 2.3 us of an equalising pulse); symmetrical, so edges stay in place.
_SMOOTHING_S = 0.63e-6
# The line clamp never pulls further than this share of white (MODEL); noise must not throw the level about.
_CLAMP_LIMIT = 0.15
# White limit of the processing amplifier in shares of white; the black limit is sync level (MODEL: outside every
# legal composite signal; they tame full-scale noise).
_UPPER_LIMIT = 1.3


def sync_edges_s(demod: FloatArray, standard: Standard) -> NDArray[np.float64]:
    """Return where each line's leading sync edge lies against its nominal 0H.

    Parameters
    ----------
    demod : ndarray of float32, (lines, samples)
        Demodulated video in level units.
    standard : Standard
        Timing and levels.

    Returns
    -------
    ndarray, (lines,)
        Position [s], positive is late; NaN where no falling edge through half sync level was found.
    """
    reach = round(_SEARCH_S * standard.sample_rate_hz)
    width = 2 * (round(_SMOOTHING_S * standard.sample_rate_hz) // 2) + 1
    half = width // 2
    flat = demod.ravel()
    margin = reach + half
    padded = np.concatenate((flat[-margin:], flat, flat[:margin]))
    window = np.lib.stride_tricks.as_strided(
        padded,
        (standard.lines_per_frame, 2 * margin + 1),
        (standard.samples_per_line * 4, 4),
        writeable=False,
    )
    total = np.cumsum(window, axis=1, dtype=np.float64)
    total = np.concatenate((np.zeros((total.shape[0], 1)), total), axis=1)
    smooth = (total[:, width:] - total[:, :-width]) / width
    slice_level = 0.5 * (standard.sync_level + standard.blanking_level)
    below = smooth < slice_level
    falling = ~below[:, :-1] & below[:, 1:]
    distance = np.abs(np.arange(falling.shape[1]) + 0.5 - reach)
    cost = np.where(falling, distance, np.inf)
    nearest = np.argmin(cost, axis=1)
    row = np.arange(nearest.size)
    high, low = smooth[row, nearest], smooth[row, nearest + 1]
    found = falling[row, nearest]
    drop = np.where(found, high - low, 1.0)
    position = nearest + (high - slice_level) / drop - reach
    return np.where(found, position / standard.sample_rate_hz, np.nan)


def clamp_levels(demod: FloatArray, edges_s: NDArray[np.float64], standard: Standard) -> FloatArray:
    """Return the back-porch level of each line, measured from its own sync edge, shape (lines,).

    It averages whole cycles of burst, so burst does not move it; lines without sync give blanking level.
    """
    cycle = standard.sample_rate_hz / standard.subcarrier_hz
    start = round(standard.burst_start_s * standard.sample_rate_hz)
    length = round((standard.burst_cycles - 1) * cycle)
    found = np.isfinite(edges_s)
    shift = np.rint(np.where(found, edges_s, 0.0) * standard.sample_rate_hz).astype(np.int64)
    flat = demod.ravel()
    first = np.arange(standard.lines_per_frame) * standard.samples_per_line + start + shift
    porch = flat[(first[:, None] + np.arange(length)) % flat.size].mean(axis=1)
    limit = _CLAMP_LIMIT * standard.white_level
    level = np.clip(porch - standard.blanking_level, -limit, limit)
    return np.where(found, level, 0.0).astype(np.float32)


def process(
    demod: FloatArray,
    clamp: FloatArray,
    template: FloatArray,
    active: NDArray[np.bool_],
    standard: Standard,
) -> FloatArray:
    """Return processed video: the active picture of `demod`, clamped and limited, between new sync and blanking.

    Parameters
    ----------
    demod : ndarray of float32, (lines, samples)
        Demodulated video.
    clamp : ndarray of float32, (lines,)
        What `clamp_levels` measured.
    template, active : ndarray, (lines, samples)
        New sync and blanking, and where the picture goes (`sim.signals.blanking_template`).
    standard : Standard
        Levels.

    Notes
    -----
    The new sync stands at the reference's 0H. The picture keeps its time-base errors: this stage cannot mend them.
    """
    result = demod - clamp[:, None]
    np.clip(result, standard.sync_level, _UPPER_LIMIT * standard.white_level, out=result)
    np.copyto(result, template, where=~active)
    return result
