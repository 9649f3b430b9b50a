"""The colour sequence: one frame of composite video as it would be in another frame of the sequence.

Contents: `in_colour_frame`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.signals import subcarrier
from sim.standards import Standard

__all__ = ["in_colour_frame"]

# Lines of one field between which subcarrier is turned half a cycle over while luminance hardly differs (DERIVED:
# 227.5 cycles a line in NTSC; 2 x 283.7516 cycles in PAL, whose V has the same sense on every second line).
_COMB_LINES = {"NTSC": 1, "PAL": 2}


def in_colour_frame(programme: NDArray[np.floating], standard: Standard, colour_frame: int) -> NDArray[np.float32]:
    """Return a frame as it would be `colour_frame` frames later in the colour sequence.

    Parameters
    ----------
    programme : ndarray, (lines, samples)
        Composite video [level unit]; its colour may come from a camera, a test signal or another tape.
    standard : Standard
        Scanning standard.
    colour_frame : int
        How many frames later, 0 up to the standard's sequence.

    Returns
    -------
    ndarray of float32, (lines, samples)
        The same picture, its chrominance and burst turned as the subcarrier turns between frames (half a cycle a
        frame in 525/60), with V in the other sense after an odd number of frames in PAL.

    Raises
    ------
    ValueError
        If `colour_frame` is not in the sequence.

    Notes
    -----
    Chrominance is what a comb over neighbouring lines and a band of 1.6 chrominance bandwidths to either side of the
    subcarrier leave (MODEL). Written as the imaginary part of A, the analytic signal of (U + j V) carried by
    exp(j p), a turn is a factor; V in the other sense is the conjugate of A carried by exp(2 j p) (DERIVED). Where
    colours change from line to line the comb leaves a little behind, as a decoder's does.
    """
    sine, cosine = subcarrier(standard, 0)
    later_sine, later_cosine = subcarrier(standard, colour_frame)
    if not colour_frame:
        return np.asarray(programme, dtype=np.float32)
    analytic = _chrominance(programme, standard)
    carrier, later = cosine + 1j * sine, later_cosine + 1j * later_sine
    baseband = analytic * carrier.conj()
    if standard.switches_v and colour_frame % 2:
        baseband = baseband.conj()
    return np.asarray(programme + ((baseband * later).imag - analytic.imag), dtype=np.float32)


def _chrominance(programme: NDArray[np.floating], standard: Standard) -> NDArray[np.complex128]:
    """Return the analytic signal whose imaginary part is the frame's chrominance, (lines, samples)."""
    video = np.asarray(programme, dtype=np.float64)
    step = _COMB_LINES[standard.colour_system]
    combed = 0.5 * video - 0.25 * (np.roll(video, step, axis=0) + np.roll(video, -step, axis=0))
    spectrum = np.fft.fft(combed.ravel())
    frequency_hz = np.fft.fftfreq(combed.size, 1.0 / standard.sample_rate_hz)
    half_width_hz = 1.6 * standard.chroma_bandwidth_hz
    # One everywhere near the subcarrier, falling to nothing like a cosine over the outer half.
    out = np.clip(2.0 * np.abs(frequency_hz - standard.subcarrier_hz) / half_width_hz - 1.0, 0.0, 1.0)
    # Positive frequencies alone, twice: the real part is the band; a turn by j makes that the imaginary part.
    analytic = np.fft.ifft(spectrum * (1j * (1.0 + np.cos(np.pi * out))))
    return analytic.reshape(combed.shape)
