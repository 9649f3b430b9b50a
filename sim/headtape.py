"""Head to tape: what gap, spacing, thickness, azimuth and record current do to each wavelength; contact and wear.

Contents: `wavelength_m`, `spacing_loss_db`, `gap_loss_db`, `thickness_loss_db`, `azimuth_loss_db` (published losses);
`record_current_db` (a smooth model curve); `HeadTip`, `penetration_um`, `contact_spacing_um`, `wear_um_per_hour`
(contact, a model); `head_response` (a head against a good one, over RF frequency).

Losses are in dB and negative or zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "GOOD_HEAD",
    "HeadTip",
    "azimuth_loss_db",
    "contact_spacing_um",
    "gap_loss_db",
    "head_response",
    "penetration_um",
    "record_current_db",
    "spacing_loss_db",
    "thickness_loss_db",
    "wavelength_m",
    "wear_um_per_hour",
]

FloatArray = NDArray[np.float64]

# DERIVED: 54.6 dB per wavelength is 20 log10 exp(2 pi).
_SPACING_DB_PER_WAVELENGTH = 20.0 * math.log10(math.exp(2.0 * math.pi))
# Effective length of the gap, in physical ones (PUB, Eargle; see `gap_loss_db`).
_EFFECTIVE_GAP = 1.11
# Below this a loss is not followed further: the head gives nothing but its amplifier's noise (MODEL).
_FLOOR_DB = -120.0

# Contact of tip and tape (MODEL throughout; projections from memory: 2.5-3.5 mil new, 0.5-1 mil at the end of life).
_NEW_PROJECTION_UM = 76.2
_NEW_PENETRATION_UM = 50.0
_NEEDED_PENETRATION_UM = 10.0
_LIFT_PER_UM = 0.02
_NORMAL_WEAR_UM_PER_HOUR = 0.2

# Shape of the record-current curve (MODEL): how sharp its peak is, and how fast short waves suffer beyond it.
_RECORD_SHARPNESS = 1.5
_OVER_RECORD_SPACING_UM = 0.15


def wavelength_m(frequency_hz: NDArray[np.floating] | float, tip_speed_m_per_s: float) -> FloatArray:
    """Return the recorded wavelength v / f [m].

    Examples
    --------
    >>> round(float(wavelength_m(10e6, 39.6)) * 1e6, 2)
    3.96
    """
    return np.asarray(tip_speed_m_per_s / np.maximum(np.asarray(frequency_hz, dtype=np.float64), 1.0))


def spacing_loss_db(spacing_m: float, wavelength: FloatArray | float) -> FloatArray:
    """Return the loss from a gap between head and tape: -54.6 d / lambda [dB].

    Parameters
    ----------
    spacing_m : float
        Distance between tip and tape [m], 0 or more.
    wavelength : float or ndarray
        Recorded wavelength [m].

    References
    ----------
    R. L. Wallace, "The reproduction of magnetically recorded signals", Bell System Technical Journal 30, 1951 (from
    memory; an observatory's memo of 1997 on tape heads has 55 dB per wavelength).

    Examples
    --------
    >>> round(float(spacing_loss_db(1e-6, 4e-6)), 2)
    -13.64
    """
    return np.maximum(-_SPACING_DB_PER_WAVELENGTH * spacing_m / np.asarray(wavelength), _FLOOR_DB)


def gap_loss_db(gap_m: float, wavelength: FloatArray | float) -> FloatArray:
    """Return the loss from the length of the head gap: sinc of 1.11 gap / lambda [dB].

    References
    ----------
    PUB: J. M. Eargle, "Gap length losses in tape playback", in Electroacoustical Reference Data, 1994,
    doi:10.1007/978-1-4615-2027-6_167 (its abstract gives the equation with the factor 1.11).

    Examples
    --------
    >>> round(float(gap_loss_db(1.143e-6, 3.96e-6)), 2)
    -1.52
    """
    return _loss_db(np.sinc(_EFFECTIVE_GAP * gap_m / np.asarray(wavelength)))


def thickness_loss_db(thickness_m: float, wavelength: FloatArray | float) -> FloatArray:
    """Return the loss from the depth of the recorded layer: (1 - exp(-x)) / x, x = 2 pi depth / lambda [dB].

    References
    ----------
    R. L. Wallace, 1951 (as for `spacing_loss_db`; from memory).
    """
    x = 2.0 * np.pi * thickness_m / np.asarray(wavelength)
    return _loss_db(-np.expm1(-x) / np.maximum(x, 1e-12))


def azimuth_loss_db(angle_deg: float, track_width_m: float, wavelength: FloatArray | float) -> FloatArray:
    """Return the loss from a head gap turned by `angle_deg` against the recorded one: sinc(w tan a / lambda) [dB].

    Examples
    --------
    >>> round(float(azimuth_loss_db(0.5, 254e-6, 4e-6)), 1)
    -4.9
    """
    return _loss_db(np.sinc(track_width_m * math.tan(math.radians(angle_deg)) / np.asarray(wavelength)))


def _loss_db(gain: FloatArray) -> FloatArray:
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(gain), 10.0 ** (_FLOOR_DB / 20.0))))


def record_current_db(current_pct: float, wavelength: FloatArray | float) -> FloatArray:
    """Return the playback level a record current leaves, against the best current at long wavelengths [dB].

    Parameters
    ----------
    current_pct : float
        Record current in percent of the one that gives the playback peak, above 0.
    wavelength : float or ndarray
        Recorded wavelength [m].

    Notes
    -----
    MODEL: (x exp(1 - x))^1.5 rises, peaks at x = 1 and falls; past the peak the magnetised zone moves away from the
    head, which costs short waves more, like a spacing of 0.15 um for each doubling. Fitted to nothing but the shape
    the trade describes: practice sets each head at its peak or up to 0.5 dB past it (from memory).

    Examples
    --------
    >>> [round(float(record_current_db(pct, 4.4e-6)), 2) for pct in (70.0, 100.0, 120.0)]
    [-0.74, 0.0, -0.6]
    """
    x = max(current_pct, 1e-3) / 100.0
    level_db = 20.0 * _RECORD_SHARPNESS * math.log10(x * math.exp(1.0 - x))
    over_m = _OVER_RECORD_SPACING_UM * 1e-6 * max(0.0, x - 1.0)
    return np.maximum(level_db + spacing_loss_db(over_m, wavelength), _FLOOR_DB)


@dataclass(frozen=True)
class HeadTip:
    """One head: its tip, its gap, and what lies between it and the tape.

    Attributes
    ----------
    projection_um : float
        How far the tip stands out of the wheel [um]; 2.5-3.5 mil when new (from memory).
    debris_um : float
        Spacing by debris on the tip [um].
    gap_um : float
        Gap length [um].
    azimuth_deg : float
        Turn of the gap against the recorded one [deg].
    resonance_hz, resonance_q : float
        Resonance of the head with its cable and amplifier [Hz], and its sharpness (MODEL).
    """

    projection_um: float = _NEW_PROJECTION_UM
    debris_um: float = 0.0
    gap_um: float = 1.143
    azimuth_deg: float = 0.0
    resonance_hz: float = 18.0e6
    resonance_q: float = 1.0


GOOD_HEAD = HeadTip()


def penetration_um(tip: HeadTip, guide_inward_um: float, sine: NDArray[np.floating]) -> FloatArray:
    """Return how deep the tip presses into the tape along a pass [um]; negative: it does not reach.

    Parameters
    ----------
    tip : HeadTip
        Its projection falls with wear.
    guide_inward_um : float
        Guide displacement towards the wheel [um].
    sine : ndarray
        Sine of the wheel angle from mid-pass.

    Notes
    -----
    MODEL: a new tip on a concentric guide presses 50 um deep; every um of projection and, along the guide's middle
    radius, every um of guide displacement adds one.
    """
    cosine = np.sqrt(1.0 - np.square(np.asarray(sine, dtype=np.float64)))
    return _NEW_PENETRATION_UM + (tip.projection_um - _NEW_PROJECTION_UM) + guide_inward_um * cosine


def contact_spacing_um(tip: HeadTip, guide_inward_um: float, sine: NDArray[np.floating]) -> FloatArray:
    """Return the distance between tip and tape along a pass [um].

    MODEL: contact needs 10 um of penetration in the middle of a pass and twice that at its ends, where the tape must
    first be pressed into the groove; what is missing lifts the tape by 2 % of itself. Debris comes on top.
    """
    ends = 2.0 * np.square(np.asarray(sine, dtype=np.float64))
    missing = _NEEDED_PENETRATION_UM * (1.0 + ends) - penetration_um(tip, guide_inward_um, sine)
    return tip.debris_um + _LIFT_PER_UM * np.maximum(missing, 0.0)


def wear_um_per_hour(tip: HeadTip, guide_inward_um: float) -> float:
    """Return how fast the tip wears [um/h].

    MODEL: proportional to the penetration's square root, 0.2 um/h for a new head on a concentric guide, so that a new
    tip lasts some 250 hours to its last 1 mil (head life of a few hundred hours at best, from memory).

    Examples
    --------
    >>> round(wear_um_per_hour(GOOD_HEAD, 0.0), 3), wear_um_per_hour(GOOD_HEAD, 25.4) > 0.2
    (0.2, True)
    """
    depth = float(penetration_um(tip, guide_inward_um, np.zeros(1))[0])
    return _NORMAL_WEAR_UM_PER_HOUR * math.sqrt(max(depth, 0.0) / _NEW_PENETRATION_UM)


def head_response(
    tip: HeadTip, spacing_um: float, frequency_hz: NDArray[np.floating], tip_speed_m_per_s: float, track_width_m: float
) -> NDArray[np.complex128]:
    """Return the response of a head against a good one at each RF frequency, as complex gain.

    Parameters
    ----------
    tip : HeadTip
        The head.
    spacing_um : float
        Its mean distance from the tape [um].
    frequency_hz : ndarray
        RF frequencies [Hz].
    tip_speed_m_per_s, track_width_m : float
        Tip speed and track width.

    Notes
    -----
    Only differences from a good head count: the machine's fixed equalisation is taken to make a good head flat.
    """
    wave = wavelength_m(frequency_hz, tip_speed_m_per_s)
    loss_db = spacing_loss_db(spacing_um * 1e-6, wave)
    # Most heads differ in their spacing alone, and half a million frequencies are asked for: the rest only where it is.
    if tip.gap_um != GOOD_HEAD.gap_um:
        loss_db = loss_db + gap_loss_db(tip.gap_um * 1e-6, wave) - gap_loss_db(GOOD_HEAD.gap_um * 1e-6, wave)
    if tip.azimuth_deg != GOOD_HEAD.azimuth_deg:
        loss_db = loss_db + azimuth_loss_db(tip.azimuth_deg, track_width_m, wave)
    gain = np.asarray(10.0 ** (loss_db / 20.0), dtype=np.complex128)
    if (tip.resonance_hz, tip.resonance_q) != (GOOD_HEAD.resonance_hz, GOOD_HEAD.resonance_q):
        gain *= _resonance(tip, frequency_hz) / _resonance(GOOD_HEAD, frequency_hz)
    return gain


def _resonance(tip: HeadTip, frequency_hz: NDArray[np.floating]) -> NDArray[np.complex128]:
    """Second-order resonance of head inductance and cable capacitance, 1 at low frequencies."""
    ratio = np.asarray(frequency_hz, dtype=np.float64) / tip.resonance_hz
    return np.asarray(1.0 / (1.0 - np.square(ratio) + 1j * ratio / tip.resonance_q))
