"""The control track: a sine at the wheel's rate along the tape's edge, with a pulse that marks each frame.

Contents: `control_track`.
"""

from __future__ import annotations

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
    cycles = np.arange(standard.samples_per_frame) * (standard.wheel_turns_per_frame / standard.samples_per_frame)
    cycles += phase_deg / 360.0
    level = np.sin(2.0 * np.pi * cycles)
    # The frame is a loop: the pulse stands on one peak of it wherever the phase has moved that peak.
    place = (cycles - 0.25) % standard.wheel_turns_per_frame
    level[np.minimum(place, standard.wheel_turns_per_frame - place) < 0.5 * _PULSE_SHARE] += _PULSE_HEIGHT
    frame = level.reshape(standard.lines_per_frame, standard.samples_per_line)
    return np.asarray(frame, dtype=np.float32)
