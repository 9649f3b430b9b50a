"""What the record head, the bias and the playback head do to sound: distortion and losses by wavelength.

Contents: `SoundHead`, `GOOD_SOUND_HEAD`; `azimuth_gain`, `edge_phase_deg` (formulas); `bias_sensitivity_db`,
`bias_treble_db`, `bias_distortion`, `third_harmonic_pct` (a smooth model); `saturate`, `head_gain` (the whole response
over wavelength) and `head_taps` (the same as a filter along the tape).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.headtape import gap_loss_db, spacing_loss_db

__all__ = [
    "GOOD_SOUND_HEAD",
    "SoundHead",
    "azimuth_gain",
    "bias_distortion",
    "bias_sensitivity_db",
    "bias_treble_db",
    "edge_phase_deg",
    "head_gain",
    "head_taps",
    "saturate",
    "third_harmonic_pct",
]

FloatArray = NDArray[np.float64]

# Third harmonic of 3 % at 8 dB over reference level, from memory; DERIVED: (a A)^2 / 12 for a hyperbolic tangent.
_LEVEL_OF_3_PCT_DB = 8.0
_SATURATION = math.sqrt(12.0 * 0.03) / 10.0 ** (_LEVEL_OF_3_PCT_DB / 20.0)
# DERIVED: the bent wave's own fundamental at reference level is brought back to reference level.
_ANGLE = np.arange(64) * (2.0 * np.pi / 64)
_MAKE_UP = float(_SATURATION / (2.0 * np.mean(np.tanh(_SATURATION * np.sin(_ANGLE)) * np.sin(_ANGLE))))
# MODEL: how sharp the peak of sensitivity over bias is; how deep (um, as a spacing) each doubling of the bias moves
# the recorded layer, so that 20 % too much costs 10 kHz some 3 dB; how fast distortion grows below the right bias.
_BIAS_SHARPNESS = 3.0
_BIAS_SPACING_UM = 10.0
_BIAS_DISTORTION_SLOPE = 5.0
_LEAST_BIAS_PCT = 1.0
# MODEL: treble that a wrong bias seems to add is not followed further than this.
_MOST_TREBLE_DB = 12.0
_TAPS = 64


@dataclass(frozen=True)
class SoundHead:
    """A sound head against a good one in line with what was recorded.

    Attributes
    ----------
    azimuth_arcmin : float
        Turn of the gap against the recorded one [arcmin].
    spacing_um : float
        Dirt between head and tape [um].
    gap_um : float
        Length of the gap [um]; about 0.25 mil in a good head, from memory, longer when worn open.
    """

    azimuth_arcmin: float = 0.0
    spacing_um: float = 0.0
    gap_um: float = 6.35


GOOD_SOUND_HEAD = SoundHead()


def azimuth_gain(azimuth_arcmin: float, width_m: float, wavelength_m: NDArray[np.floating] | float) -> FloatArray:
    """Return the gain of a head whose gap is turned against the recorded one; negative beyond the first null.

    Parameters
    ----------
    azimuth_arcmin : float
        Turn of the gap [arcmin].
    width_m : float
        Width of the track [m].
    wavelength_m : float or ndarray
        Recorded wavelength [m].

    Notes
    -----
    DERIVED: the mean of a wave over a slanted line, sinc(w tan a / lambda).

    Examples
    --------
    >>> round(float(azimuth_gain(20.0, 1.778e-3, 38.1e-6)), 3)
    0.883
    """
    return np.sinc(width_m * math.tan(math.radians(azimuth_arcmin / 60.0)) / np.asarray(wavelength_m))


def edge_phase_deg(azimuth_arcmin: float, width_m: float, frequency_hz: float, tape_speed_m_per_s: float) -> float:
    """Return by how much the middle of one half of a track leads that of the other half [deg].

    Parameters
    ----------
    azimuth_arcmin : float
        Turn of the gap against the recorded one [arcmin].
    width_m : float
        Width of the whole track [m]; the middles of its halves stand half of it apart.
    frequency_hz : float
        Frequency of the tone [Hz].
    tape_speed_m_per_s : float
        Tape speed [m/s].

    Notes
    -----
    DERIVED: 360 (w / 2) tan a / lambda.

    Examples
    --------
    >>> round(edge_phase_deg(10.0, 1.778e-3, 10000.0, 0.381), 1)
    24.4
    """
    slant_m = 0.5 * width_m * math.tan(math.radians(azimuth_arcmin / 60.0))
    return 360.0 * slant_m * frequency_hz / tape_speed_m_per_s


def bias_sensitivity_db(bias_pct: float) -> float:
    """Return what a bias current leaves of the recorded level at long wavelengths, against the best one [dB].

    MODEL: (b exp(1 - b))^3, which rises, peaks at the right bias and falls.

    Examples
    --------
    >>> [round(bias_sensitivity_db(pct), 2) for pct in (60.0, 100.0, 140.0)]
    [-2.89, 0.0, -1.66]
    """
    b = max(bias_pct, _LEAST_BIAS_PCT) / 100.0
    return 20.0 * _BIAS_SHARPNESS * math.log10(b * math.exp(1.0 - b))


def bias_treble_db(bias_pct: float, wavelength_m: NDArray[np.floating] | float) -> FloatArray:
    """Return what a bias current does to short wavelengths, against long ones [dB].

    MODEL: the layer that keeps the sound moves away from the head with rising bias, 10 um for each doubling of the
    right one: too much bias dulls the sound, too little makes it bright.

    Examples
    --------
    >>> [round(float(bias_treble_db(pct, 38.1e-6)), 1) for pct in (80.0, 100.0, 120.0)]
    [2.9, -0.0, -2.9]
    """
    moved_m = _BIAS_SPACING_UM * 1e-6 * (max(bias_pct, _LEAST_BIAS_PCT) / 100.0 - 1.0)
    change_db = np.sign(moved_m) * spacing_loss_db(abs(moved_m), np.asarray(wavelength_m, dtype=np.float64))
    return np.asarray(np.minimum(change_db, _MOST_TREBLE_DB))


def bias_distortion(bias_pct: float) -> float:
    """Return how much sooner the tape bends the wave than at the right bias, as a factor on its level.

    MODEL: grows steeply below the right bias and falls a little above it.

    Examples
    --------
    >>> [round(bias_distortion(pct), 2) for pct in (60.0, 100.0, 140.0)]
    [2.05, 1.0, 0.75]
    """
    missing = 1.0 - max(bias_pct, _LEAST_BIAS_PCT) / 100.0
    return math.sqrt(0.5 * (math.exp(_BIAS_DISTORTION_SLOPE * missing) + 1.0))


def saturate(level: FloatArray, bias_pct: float = 100.0) -> FloatArray:
    """Return what the tape keeps of a recorded wave; 1 is the peak of a sine at reference level.

    Parameters
    ----------
    level : ndarray
        The wave at the record head.
    bias_pct : float
        Bias in percent of the right one [%].

    Notes
    -----
    MODEL: a hyperbolic tangent, symmetric as the tape with bias is, so that it makes odd harmonics only. The machine
    is lined up so that a sine at reference level plays at reference level.

    Examples
    --------
    >>> saturate(np.array([0.0, 0.01, 100.0])).round(3).tolist()
    [0.0, 0.01, 4.246]
    """
    bend = _SATURATION * bias_distortion(bias_pct)
    return np.asarray(np.tanh(bend * level) * (_MAKE_UP / bend))


def third_harmonic_pct(level_db: float, bias_pct: float = 100.0) -> float:
    """Return the third harmonic that `saturate` adds to a weak enough sine [% of the fundamental].

    Parameters
    ----------
    level_db : float
        Record level against reference level [dB]; the first term of the series, good below some 5 %.
    bias_pct : float
        Bias in percent of the right one [%].

    Examples
    --------
    >>> round(third_harmonic_pct(8.0), 2), round(third_harmonic_pct(0.0), 2)
    (3.0, 0.48)
    """
    bent = _SATURATION * bias_distortion(bias_pct) * 10.0 ** (level_db / 20.0)
    return float(100.0 * bent * bent / 12.0)


def head_gain(head: SoundHead, width_m: float, bias_pct: float, wavelength_m: NDArray[np.floating]) -> FloatArray:
    """Return the response of record bias and playback head together against good ones, at each wavelength.

    Parameters
    ----------
    head : SoundHead
        The playback head against what was recorded.
    width_m : float
        Width of the track [m].
    bias_pct : float
        Bias of the recording in percent of the right one [%].
    wavelength_m : ndarray
        Recorded wavelengths [m].

    Notes
    -----
    Only differences from a good head count: the fixed equalisation is taken to make a good one flat.
    """
    loss_db = spacing_loss_db(head.spacing_um * 1e-6, np.asarray(wavelength_m, dtype=np.float64))
    loss_db = loss_db + gap_loss_db(head.gap_um * 1e-6, np.asarray(wavelength_m, dtype=np.float64))
    loss_db = loss_db - gap_loss_db(GOOD_SOUND_HEAD.gap_um * 1e-6, np.asarray(wavelength_m, dtype=np.float64))
    loss_db = loss_db + bias_sensitivity_db(bias_pct) + bias_treble_db(bias_pct, wavelength_m)
    return np.asarray(10.0 ** (loss_db / 20.0) * azimuth_gain(head.azimuth_arcmin, width_m, wavelength_m))


@lru_cache(maxsize=32)
def head_taps(head: SoundHead, width_m: float, bias_pct: float, step_m: float, part: int = 0) -> FloatArray:
    """Return `head_gain` as a filter along the tape, of odd length, its middle tap without delay.

    Parameters
    ----------
    head, width_m, bias_pct
        As for `head_gain`; `width_m` is that of the whole track.
    step_m : float
        Distance of the samples on tape [m].
    part : int
        0 for the whole track, 1 or -1 for one half of it alone, as a phase display of a track's two halves sees it.

    Notes
    -----
    The inverse transform of the response at 64 frequencies: exact at these, smooth in between.
    """
    cycles_per_m = np.fft.rfftfreq(_TAPS) / step_m
    # A wave ten thousand track widths long stands for the constant part, which has no loss.
    wavelength = 1.0 / np.maximum(cycles_per_m, 1e-4 / width_m)
    seen_m = width_m if part == 0 else 0.5 * width_m
    response = head_gain(head, seen_m, bias_pct, wavelength).astype(np.complex128)
    # The middle of a half stands a quarter of the track's width from that of the track.
    slant_m = 0.25 * part * width_m * math.tan(math.radians(head.azimuth_arcmin / 60.0))
    response *= np.exp(2j * np.pi * cycles_per_m * slant_m)
    impulse = np.fft.fftshift(np.fft.irfft(response, _TAPS))
    taps = np.concatenate([impulse, impulse[:1]])
    taps[[0, -1]] *= 0.5
    taps.flags.writeable = False
    return np.asarray(taps)
