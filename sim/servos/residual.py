"""What the servos leave over: unsteadiness of the wheel and of the tape's speed while they are locked.

Contents: `LOCK_RESIDUAL_NS`, `wheel_jitter_s`, `tracking_wobble_deg`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

__all__ = ["LOCK_RESIDUAL_NS", "tracking_wobble_deg", "wheel_jitter_s"]

# Peak time-base error by how the wheel is locked. Line lock is from memory (+-0.1 to 0.15 us before electronic
# correction); vertical lock alone is a MODEL, ten times as much.
LOCK_RESIDUAL_NS: Mapping[str, float] = MappingProxyType({"horizontal": 125.0, "vertical": 1250.0})

# MODEL: what remains of bearing and drive noise outside the loop's reach, as lines spread over these frequencies and
# falling above the corner; the wheel's own turn stands out by an unbalance.
_LOWEST_HZ, _HIGHEST_HZ, _CORNER_HZ = 3.0, 1500.0, 90.0
_COMPONENTS = 40
_UNBALANCE_SHARE = 0.4
# MODEL: a peak is taken as three times the rms value.
_PEAK_TO_RMS = 3.0


def wheel_jitter_s(time_s: NDArray[np.float64], peak_s: float, wheel_rate_hz: float, seed: int) -> NDArray[np.float64]:
    """Return the time-base error that the wheel servo leaves at each moment [s].

    Parameters
    ----------
    time_s : ndarray
        Moments since the start [s]; any two calls agree where their moments do.
    peak_s : float
        Peak error, three times its rms [s].
    wheel_rate_hz : float
        Wheel speed [rev/s]; the unbalance shows at it.
    seed : int
        Fixes the phases.

    Notes
    -----
    MODEL: a sum of sine waves, so that it is a function of time alone and runs on smoothly from frame to frame.

    Examples
    --------
    >>> time_s = np.arange(200000) / 15734.0
    >>> error_s = wheel_jitter_s(time_s, 125e-9, 240.0, seed=1)
    >>> bool(30e-9 < error_s.std() < 55e-9)
    True
    """
    generator = np.random.default_rng([seed, 2])
    spread = generator.uniform(-0.5, 0.5, _COMPONENTS)
    place = (np.arange(_COMPONENTS) + 0.5 + spread) / _COMPONENTS
    frequency_hz = _LOWEST_HZ * (_HIGHEST_HZ / _LOWEST_HZ) ** place
    amplitude = 1.0 / np.sqrt(1.0 + np.square(frequency_hz / _CORNER_HZ))
    amplitude *= np.sqrt((1.0 - _UNBALANCE_SHARE**2) / np.sum(np.square(amplitude)))
    frequency_hz = np.append(frequency_hz, wheel_rate_hz)
    amplitude = np.append(amplitude, _UNBALANCE_SHARE)
    phase = generator.uniform(0.0, 2.0 * np.pi, frequency_hz.size)
    angle = 2.0 * np.pi * np.outer(time_s, frequency_hz) + phase
    # Amplitudes are peaks of sines: their squares halve in the rms.
    return np.asarray(np.sin(angle) @ amplitude * (np.sqrt(2.0) * peak_s / _PEAK_TO_RMS))


def tracking_wobble_deg(time_s: float, peak_deg: float, rate_hz: float, seed: int) -> float:
    """Return how far the capstan servo lets the control-track phase stray at one moment [deg].

    Parameters
    ----------
    time_s : float
        Moment since the start [s].
    peak_deg : float
        Peak of the swing: a degree or two for the small bobble of the RF level that stays when the servo holds
        (common practice), tens of degrees when it hunts.
    rate_hz : float
        Main rate of the swing [Hz].
    seed : int
        Fixes the phases.

    Notes
    -----
    MODEL: one sine at `rate_hz` and a weaker one at 2.7 times it, so that the swing never quite repeats.

    Examples
    --------
    >>> abs(tracking_wobble_deg(1.3, 2.0, 0.8, seed=4)) <= 2.0
    True
    """
    first, second = np.random.default_rng([seed, 3]).uniform(0.0, 2.0 * np.pi, 2)
    angle = 2.0 * np.pi * rate_hz * time_s
    return float(peak_deg * (0.75 * np.sin(angle + first) + 0.25 * np.sin(2.7 * angle + second)))
