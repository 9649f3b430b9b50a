"""From a picture's red, green and blue to composite colour video.

Contents: `LUMA_WEIGHTS`, `B_Y_WEIGHT`, `R_Y_WEIGHT`, `encode_rgb` (the encoding equations), `chroma_response` (how
much of a colour edge is sent), `Drawing` (a picture before it is modulated), `composite`.

NTSC and PAL share the equations: luminance, and two colour differences, weighted so that the whole stays inside the
channel, which are the sine and the cosine part of one subcarrier. PAL turns the cosine part over on every second line
(`sim.signals.timing.v_sense`), NTSC has setup.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.signals.shapes import FloatArray
from sim.signals.timing import active_gate, burst, subcarrier, sync_pulses, v_sense
from sim.standards import Standard

__all__ = [
    "B_Y_WEIGHT",
    "LUMA_WEIGHTS",
    "R_Y_WEIGHT",
    "Drawing",
    "Frame",
    "chroma_response",
    "composite",
    "encode_rgb",
]

Frame = NDArray[np.float32]

# Luminance of the NTSC primaries, used by PAL as well (from memory; BT.601 class).
LUMA_WEIGHTS = (0.299, 0.587, 0.114)
# DERIVED: full yellow and full cyan shall both peak one third beyond white (the one third from memory); usually
# quoted as 1/2.03 and 1/1.14, or 0.493 and 0.877.
B_Y_WEIGHT = 0.492111
R_Y_WEIGHT = 0.877283

# MODEL: flat to half of the chrominance bandwidth, where it has lost nothing, 3 dB down at the bandwidth.
_FLAT_PART = 0.5
# DERIVED: the squared cosine is 3 dB down (2 ** -0.5) at this part of its fall.
_FALL_3_DB = float(np.arccos(2.0**-0.25) / (0.5 * np.pi))


@dataclass(frozen=True)
class Drawing:
    """A picture in the frame, before blanking and before its colour is modulated.

    Attributes
    ----------
    luma : ndarray, broadcastable to (lines, samples)
        Luminance level everywhere; what falls into blanking is gated away. [level unit]
    u, v : ndarray, broadcastable to (lines, samples), or None
        Weighted colour differences, the parts along B-Y and R-Y, already ended inside the active line; None for a
        picture without colour. [level unit]
    """

    luma: FloatArray
    u: FloatArray | None = None
    v: FloatArray | None = None


def encode_rgb(rgb: NDArray[np.floating], standard: Standard) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Turn red, green and blue into luminance and weighted colour differences.

    Parameters
    ----------
    rgb : ndarray, (..., 3)
        Red, green and blue with the gamma of a screen, 0 for black to 1 for white. [1]
    standard : Standard
        Levels of black and white.

    Returns
    -------
    luma, u, v : ndarray, (...)
        Luminance, and the parts along B-Y and R-Y of the subcarrier (half its peak-to-peak). [level unit]

    Notes
    -----
    ``Y = 0.299 R + 0.587 G + 0.114 B``, ``u = 0.492111 W (B - Y)``, ``v = 0.877283 W (R - Y)``, with ``W`` the level
    from setup to white.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> yellow = np.array([0.75, 0.75, 0.0])
    >>> luma, u, v = encode_rgb(yellow, get_standard("525/60"))
    >>> round(float(luma), 1), round(2.0 * float(np.hypot(u, v)), 1), round(float(np.degrees(np.arctan2(v, u))), 1)
    (69.0, 62.1, 167.1)
    """
    luma = rgb @ np.array(LUMA_WEIGHTS)
    white = standard.white_level - standard.setup_level
    u = white * B_Y_WEIGHT * (rgb[..., 2] - luma)
    v = white * R_Y_WEIGHT * (rgb[..., 0] - luma)
    return standard.setup_level + white * luma, u, v


def chroma_response(standard: Standard, frequency_hz: FloatArray) -> FloatArray:
    """Return how much of the colour differences the encoder sends at each frequency.

    Parameters
    ----------
    standard : Standard
        Chrominance bandwidth.
    frequency_hz : ndarray
        Frequency of the colour difference, before modulation. [Hz]

    Returns
    -------
    ndarray, shape of `frequency_hz`
        Gain, 0 to 1. [1]

    Notes
    -----
    MODEL: flat to half the bandwidth, then a squared cosine that is 3 dB down at the bandwidth and ends at 1.9 times
    it. Both colour differences alike; the narrower second axis that NTSC allows is not modelled.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> chroma_response(get_standard("525/60"), np.array([0.0, 0.65e6, 1.3e6, 3.0e6])).round(3).tolist()
    [1.0, 1.0, 0.707, 0.0]
    """
    flat_hz = _FLAT_PART * standard.chroma_bandwidth_hz
    fall_hz = (standard.chroma_bandwidth_hz - flat_hz) / _FALL_3_DB
    part = np.clip((frequency_hz - flat_hz) / fall_hz, 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * part) ** 2)


def composite(standard: Standard, drawing: Drawing, colour_frame: int, *, monochrome: bool = False) -> Frame:
    """Put a picture into the active part of a frame with sync, blanking and burst.

    Parameters
    ----------
    standard : Standard
        The scanning standard.
    drawing : Drawing
        The picture.
    colour_frame : int
        From 0: which frame of the colour sequence.
    monochrome : bool
        True leaves the burst and the picture's colour out.

    Returns
    -------
    ndarray, float32, (lines, samples)
        The composite signal. [level unit]

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> composite(get_standard("525/60"), Drawing(np.full((1, 1), 50.0)), 0)[20, [30, 400]].tolist()
    [-40.0, 50.0]
    """
    blanking = standard.blanking_level
    gate = active_gate(standard)
    frame = blanking + gate * (drawing.luma - blanking)
    if not monochrome:
        frame += burst(standard, colour_frame)
    frame += (standard.sync_level - blanking) * sync_pulses(standard)
    if drawing.u is not None and drawing.v is not None and not monochrome:
        sine, cosine = subcarrier(standard, colour_frame)
        frame += gate * (drawing.u * sine + drawing.v * (v_sense(standard, colour_frame)[:, None] * cosine))
    return frame.astype(np.float32)
