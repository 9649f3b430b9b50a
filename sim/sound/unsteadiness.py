"""What adds itself to sound on its way off the tape: wow and flutter, hiss, hum.

Contents: `NORMAL_FLUTTER_PCT`, `Flutter`, `Hiss`, `hum`.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["NORMAL_FLUTTER_PCT", "Flutter", "Hiss", "hum"]

FloatArray = NDArray[np.float64]

# MODEL: wow and flutter that bearings and friction leave, recording and playing together, rms; beyond what the
# capstan's speed does.
NORMAL_FLUTTER_PCT = 0.05
# MODEL: where its lines lie, and their shares.
_FLUTTER_HZ = (0.73, 2.1, 6.3, 14.9, 41.0, 97.0)
_FLUTTER_SHARES = (0.5, 0.45, 0.55, 0.35, 0.3, 0.2)

_GRID_HZ = 2000

# MODEL: hiss of a recorded programme track, rms against a sine at reference level; blank tape is this much quieter.
_HISS_DB = -56.0
_BLANK_DB = -4.0
# MODEL: hiss rises with frequency from this corner.
_HISS_CORNER_HZ = 4000.0
_POOL = 1 << 17
_PROGRAMME_WIDTH_UM = 1778.0  # PUB, conference abstract of 1982 (publication not named): 0.070 in

# MODEL: harmonics of a hum, against its fundamental.
_HUM_HARMONICS = ((1, 1.0), (2, 0.2), (3, 0.35), (5, 0.12))


class Flutter:
    """Small errors of the tape's speed that no servo removes.

    Parameters
    ----------
    seed : int
        Fixes the phases of its lines.
    """

    def __init__(self, seed: int) -> None:
        chance = np.random.default_rng([seed, 12])
        self._angle = chance.uniform(0.0, 2.0 * np.pi, len(_FLUTTER_HZ))
        rate = 2.0 * np.pi * np.array(_FLUTTER_HZ)
        shares = np.array(_FLUTTER_SHARES)
        # Amplitudes are peaks of sines of speed; the displacement divides each by its rate.
        self._amount_s = shares / np.sqrt(np.sum(np.square(shares))) * math.sqrt(2.0) / rate
        self._rate = rate

    def displacement_s(self, time_s: FloatArray, extra_pct: float = 0.0) -> FloatArray:
        """Return how far the tape is ahead of an even run at each moment [s of tape].

        Parameters
        ----------
        time_s : ndarray
            Moments, in order [s].
        extra_pct : float
            Wow and flutter beyond normal, rms [%].
        """
        rms = math.hypot(NORMAL_FLUTTER_PCT, extra_pct) / 100.0
        # Slow against sound: worked out at fixed moments, the same ones however time is cut into blocks.
        if time_s.size == 0:
            return np.zeros(0)
        first, last = math.floor(float(time_s[0]) * _GRID_HZ), math.ceil(float(time_s[-1]) * _GRID_HZ)
        moments = np.arange(first, last + 1) / _GRID_HZ
        angle = np.outer(moments, self._rate) + self._angle
        return np.asarray(np.interp(time_s, moments, np.sin(angle) @ self._amount_s * rms))


@lru_cache(maxsize=4)
def _pool(seed: int, rate_hz: int) -> FloatArray:
    spectrum = np.fft.rfft(np.random.default_rng([seed, 13]).standard_normal(_POOL))
    frequency_hz = np.fft.rfftfreq(_POOL, 1.0 / rate_hz)
    spectrum *= np.sqrt(1.0 + np.square(frequency_hz / _HISS_CORNER_HZ))
    noise = np.fft.irfft(spectrum, _POOL)
    noise /= np.sqrt(np.mean(np.square(noise)))
    noise.flags.writeable = False
    return np.asarray(noise)


class Hiss:
    """The noise of the tape: the same place always hisses the same.

    Parameters
    ----------
    seed : int
        Fixes it.
    rate_hz : int
        Places a second at nominal speed [Hz].

    Notes
    -----
    A narrower track is noisier against its sound: 10 log of the widths (DERIVED). The noise is a long loop.
    """

    def __init__(self, seed: int, rate_hz: int) -> None:
        self._pool = _pool(seed, rate_hz)

    def along(self, first: int, recorded: NDArray[np.bool_], width_m: float, hiss_db: float) -> FloatArray:
        """Return the hiss at places on tape.

        Parameters
        ----------
        first : int
            Number of the first place.
        recorded : ndarray of bool, (count,)
            Whether anything was recorded there; blank tape is quieter.
        width_m : float
            Width of the track [m].
        hiss_db : float
            Hiss against normal [dB].

        Returns
        -------
        ndarray, (count,)
            1 is the peak of a sine at reference level.
        """
        # Each width has its own stretch of the loop, so that the tracks do not hiss alike.
        start = (first + round(width_m * 1e7)) % _POOL
        noise = self._pool[(start + np.arange(recorded.size)) % _POOL]
        narrow_db = 10.0 * math.log10(_PROGRAMME_WIDTH_UM * 1e-6 / width_m)
        rms = math.sqrt(0.5) * 10.0 ** ((_HISS_DB + narrow_db + hiss_db) / 20.0)
        blank = rms * 10.0 ** (_BLANK_DB / 20.0)
        return np.asarray(np.where(recorded, rms, blank) * noise)


def hum(time_s: FloatArray, mains_hz: float, level_db: float) -> FloatArray:
    """Return a hum of the mains with its harmonics.

    Parameters
    ----------
    time_s : ndarray
        Moments [s].
    mains_hz : float
        Frequency of the mains [Hz].
    level_db : float
        Its fundamental against reference level [dB].
    """
    angle = 2.0 * np.pi * mains_hz * time_s
    wave = np.zeros(time_s.size)
    for number, share in _HUM_HARMONICS:
        wave += share * np.sin(number * angle)
    return np.asarray(wave * 10.0 ** (level_db / 20.0))
