"""Band-limited shapes in continuous time: the edges and pulses every test signal is drawn with.

Contents: `SINE_SQUARED_RISE`, `step` (an edge), `sine_squared_pulse`, and `periodic_pulses` (many pulses at
once, sampled on one frame that repeats).

All of them are members of one family. A sine-squared pulse has almost no spectrum beyond the reciprocal of
its half-amplitude duration; its running integral is the edge used for sync, blanking, burst envelope and
picture transitions. Because the shape is known in continuous time, an edge may fall anywhere between two
samples.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.standards import Standard

__all__ = ["SINE_SQUARED_RISE", "periodic_pulses", "sine_squared_pulse", "step"]

# 10-90 % rise of the integral of a sine-squared pulse, as a part of the whole width of the edge (DERIVED:
# twice the root u of u + sin(2 pi u) / (2 pi) = 0.4).
SINE_SQUARED_RISE = 0.48218833

FloatArray = NDArray[np.float64]


def sine_squared_pulse(time_s: FloatArray, half_amplitude_duration_s: float) -> FloatArray:
    """Evaluate a sine-squared pulse of height 1 centred on time zero.

    The pulse is one period of a raised cosine, so that its width at half height is half of its base. With a
    duration of ``2T``, ``T`` being half the period of the highest video frequency, it fills the video band
    and has its first spectral zero at the band's edge.

    Parameters
    ----------
    time_s : ndarray, any shape
        Time from the centre of the pulse. [s]
    half_amplitude_duration_s : float
        Width at half height. [s]

    Returns
    -------
    ndarray, shape of `time_s`
        Value from 0 to 1. [1]

    Examples
    --------
    >>> sine_squared_pulse(np.array([-125e-9, 0.0, 125e-9, 300e-9]), 250e-9).round(6).tolist()
    [0.5, 1.0, 0.5, 0.0]
    """
    inside = np.abs(time_s) < half_amplitude_duration_s
    return np.where(inside, np.cos(np.pi * time_s / (2.0 * half_amplitude_duration_s)) ** 2, 0.0)


def step(time_s: FloatArray, rise_s: float) -> FloatArray:
    """Evaluate an edge from 0 to 1 that passes half amplitude at time zero.

    Parameters
    ----------
    time_s : ndarray, any shape
        Time from the half-amplitude point. [s]
    rise_s : float
        Time from 10 % to 90 % of the edge. [s]

    Returns
    -------
    ndarray, shape of `time_s`
        Value from 0 to 1. [1]

    Notes
    -----
    The integral of a sine-squared pulse: with ``u`` the time as a part of the whole width ``w`` of the edge,
    ``0.5 + u + sin(2 pi u) / (2 pi)`` for ``|u| < 0.5``, where ``w = rise_s / SINE_SQUARED_RISE``.

    Examples
    --------
    >>> step(np.array([-70e-9, 0.0, 70e-9, 1e-6]), 140e-9).round(6).tolist()
    [0.1, 0.5, 0.9, 1.0]
    """
    part = np.clip(time_s * (SINE_SQUARED_RISE / rise_s), -0.5, 0.5)
    return 0.5 + part + np.sin(2.0 * np.pi * part) / (2.0 * np.pi)


def periodic_pulses(standard: Standard, starts_s: FloatArray, ends_s: FloatArray, rise_s: float) -> FloatArray:
    """Sample many pulses of height 1 on one frame that repeats for ever.

    Parameters
    ----------
    standard : Standard
        Gives the sample rate and the length of the frame.
    starts_s, ends_s : ndarray, (n_pulses,)
        Half-amplitude points of each pulse, counted from 0H of line 1. They may lie outside the frame by less
        than its length: what sticks out at one end comes in at the other. [s]
    rise_s : float
        10-90 % rise of every edge. [s]

    Returns
    -------
    ndarray, (lines, samples)
        Value from 0 to 1. [1]

    Notes
    -----
    Only the few samples inside an edge cost anything: the differences from sample to sample are gathered
    there and summed once over the frame.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> pulse = periodic_pulses(get_standard("525/60"), np.array([0.0]), np.array([5e-6]), 140e-9)
    >>> pulse[0, [0, 10]].round(6).tolist(), round(float(pulse[-1, -1]), 3)
    ([0.5, 1.0], 0.101)
    """
    rate_hz, length = standard.sample_rate_hz, standard.samples_per_frame
    centres = np.concatenate([starts_s, ends_s]) * rate_hz
    signs = np.repeat([1.0, -1.0], [len(starts_s), len(ends_s)])
    width = rise_s * rate_hz / SINE_SQUARED_RISE
    first = np.ceil(centres - 0.5 * width).astype(np.int64)
    sample = first[:, None] + np.arange(int(np.ceil(width)) + 1)
    offset_s = (sample - centres[:, None]) / rate_hz
    change = signs[:, None] * (step(offset_s, rise_s) - step(offset_s - 1.0 / rate_hz, rise_s))
    # The level just before sample 0: what began before the frame, and what has not ended when it ends.
    before = float(change[sample < 0].sum() - change[sample >= length].sum())
    summed = np.bincount((sample % length).ravel(), weights=change.ravel(), minlength=length)
    # Rounded so that the sum's last digits leave 0 and 1 exact between the edges.
    level = np.round(before + np.cumsum(summed, dtype=np.float64), 12)
    return level.reshape(standard.lines_per_frame, standard.samples_per_line)
