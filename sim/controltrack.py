"""The control track: a sine at the wheel's rate along the tape's edge, with a pulse that marks each frame.

Contents: `control_track`.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.standards import Standard

__all__ = ["control_track"]

# MODEL: how high the frame pulse stands on the sine's peak, and how long it lasts as a share of the sine's period.
_PULSE_HEIGHT = 0.5
_PULSE_SHARE = 0.03


def control_track(standard: Standard, phase_deg: float) -> NDArray[np.float32]:
    """Return the off-tape control-track signal of one frame against the wheel.

    Parameters
    ----------
    standard : Standard
        Fixes the wheel's rate and the sampling.
    phase_deg : float
        How far the tape is ahead of the wheel [deg of the sine's cycle, which is four tracks].

    Returns
    -------
    ndarray of float32, (lines, samples)
        Level, 1 = the sine's peak.

    Notes
    -----
    One cycle stands for four tracks, and the frame pulse sits on a positive peak (QUOTED). Which peak of the frame's
    eight or ten it is, and its shape, are a MODEL: the first one.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> track = control_track(get_standard("525/60"), 0.0)
    >>> track.shape, round(float(track.min()), 3), round(float(track.max()), 3)
    ((525, 910), -1.0, 1.5)
    """
    sine, cosine = _unit_waves(standard)
    angle = 2.0 * np.pi * phase_deg / 360.0
    level = sine * np.float32(np.cos(angle))
    level += cosine * np.float32(np.sin(angle))
    # The frame is a loop: the pulse stands on one peak of it wherever the phase has moved that peak.
    samples, turns = standard.samples_per_frame, standard.wheel_turns_per_frame
    centre = (0.25 - phase_deg / 360.0) * samples / turns
    half = 0.5 * _PULSE_SHARE * samples / turns
    level[np.arange(math.floor(centre - half) + 1, math.ceil(centre + half)) % samples] += np.float32(_PULSE_HEIGHT)
    return level.reshape(standard.lines_per_frame, standard.samples_per_line)


@lru_cache(maxsize=2)
def _unit_waves(standard: Standard) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return sine and cosine of the wheel's angle at every sample (read only); working them out takes long."""
    step = 2.0 * np.pi * standard.wheel_turns_per_frame / standard.samples_per_frame
    angle = np.arange(standard.samples_per_frame) * step
    waves = np.sin(angle).astype(np.float32), np.cos(angle).astype(np.float32)
    for wave in waves:
        wave.setflags(write=False)
    return waves
