"""Dropouts: where the tape gives no RF, and the compensator that hides it with what came a line before.

Contents: `DropoutPattern`, `dropout_level`, `lost_samples`, `compensate`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.standards import Standard

__all__ = ["DropoutPattern", "compensate", "dropout_level", "lost_samples"]

FloatArray = NDArray[np.float32]

# Edges of a dropout: the tape lifts and comes back over about this time (MODEL).
_EDGE_S = 0.4e-6
# The compensator looks at the RF averaged over this time, and keeps hold for as long after (MODEL).
_DETECTOR_S = 0.5e-6
_HOLD_S = 1.0e-6


@dataclass(frozen=True)
class DropoutPattern:
    """How often and how long a tape drops out.

    Attributes
    ----------
    per_frame : float
        Mean number of dropouts in a frame, 0 or more.
    median_s, spread : float
        Median length [s], and the spread of its natural logarithm: lengths are log-normal. Dropouts run from 1-2 us
        upward, visible ones from 10 to 50 us (as quoted second-hand); the law itself is a MODEL.
    depth_db : float
        RF level inside a dropout [dB].
    """

    per_frame: float = 0.0
    median_s: float = 8e-6
    spread: float = 1.0
    depth_db: float = -40.0


def dropout_level(pattern: DropoutPattern, standard: Standard, seed: int) -> FloatArray:
    """Return the RF level of a frame of tape with its dropouts, 1 = undisturbed, shape (samples_per_frame,).

    Parameters
    ----------
    pattern : DropoutPattern
        How often and how long.
    standard : Standard
        Fixes the frame.
    seed : int
        Places and lengths; the same tape has the same dropouts every time it is played.
    """
    count, rate_hz = standard.samples_per_frame, standard.sample_rate_hz
    generator = np.random.default_rng([seed, 5])
    number = int(generator.poisson(pattern.per_frame))
    starts = generator.uniform(0.0, count, number)
    lengths = pattern.median_s * rate_hz * np.exp(pattern.spread * generator.standard_normal(number))
    level_db = np.zeros(count, dtype=np.float32)
    edge = max(1, round(_EDGE_S * rate_hz))
    for start, length in zip(starts, lengths, strict=True):
        whole = int(min(max(length, 1.0), count // 2)) + 2 * edge
        shape = np.minimum(1.0, np.minimum(np.arange(1, whole + 1), np.arange(whole, 0, -1)) / edge)
        place = (int(start) + np.arange(whole)) % count
        level_db[place] = np.minimum(level_db[place], (pattern.depth_db * shape).astype(np.float32))
    return np.asarray(10.0 ** (level_db / 20.0), dtype=np.float32)


def _running_mean(values: FloatArray, width: int) -> FloatArray:
    total = np.cumsum(np.concatenate((values[-width:], values)), dtype=np.float64)
    return ((total[width:] - total[:-width]) / width).astype(np.float32)


def lost_samples(rf: NDArray[np.complex64], threshold_db: float, standard: Standard) -> NDArray[np.bool_]:
    """Return where the compensator takes the RF for lost, shape (samples_per_frame,).

    Parameters
    ----------
    rf : ndarray of complex64, (samples_per_frame,)
        RF at the switcher's output, 1 = nominal.
    threshold_db : float
        It trips when the RF has fallen to this [dB]; about -10 dB in practice (as quoted second-hand).
    standard : Standard
        Sample rate.
    """
    rate_hz = standard.sample_rate_hz
    width = max(1, round(_DETECTOR_S * rate_hz))
    power = _running_mean(np.square(rf.real) + np.square(rf.imag), width)
    low = power < 10.0 ** (threshold_db / 10.0)
    hold = round(_HOLD_S * rate_hz)
    # Averaging makes the detector late by half its width: reach back as far, and hold on after.
    reach = width + hold
    spread = _running_mean(low.astype(np.float32), reach) > 0.0
    return np.roll(spread, -width)


def compensate(video: FloatArray, lost: NDArray[np.bool_], standard: Standard) -> FloatArray:
    """Return video with lost samples of the active picture replaced by the line before (same field).

    Parameters
    ----------
    video : ndarray of float32, (lines, samples)
        Demodulated video.
    lost : ndarray of bool, (lines, samples)
        Where it is not to be trusted.
    standard : Standard
        Fixes how far back subcarrier has the same phase: two lines back in NTSC, four in PAL, where V turns over
        from line to line; one line back only luminance would fit.

    Notes
    -----
    A line that is itself lost there has been replaced before it is used, so long dropouts repeat the last good line.
    """
    step = 2 if standard.colour_system == "NTSC" else 4
    result = video.copy()
    for line in np.flatnonzero(lost.any(axis=1)):
        source = (line - step) % video.shape[0]
        np.copyto(result[line], result[source], where=lost[line])
    return result
