"""The modulator's RF of a frame of video, the last few kept: making one takes long, and it is wanted more than once.

A recorder wants the same RF on its tape and behind its electronics; the machines of one lesson record the same
programme at the same levels again and again.

Contents: `modulated`, `spectrum_of`.
"""

from __future__ import annotations

from collections import OrderedDict
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

from sim.fm import modulate
from sim.standards import Practice, Standard

__all__ = ["modulated", "spectrum_of"]

# Each takes some 4 MB: what is recorded now and at the right levels, for the lessons that go to and fro.
_MOST_KEPT = 6

_kept: OrderedDict[tuple[object, ...], NDArray[np.complex64]] = OrderedDict()
# The last RF whose spectrum was asked for, with its spectrum: one head's current after the other is turned.
_spectrum: list[tuple[NDArray[np.complex64], NDArray[np.complexfloating]]] = []


def spectrum_of(envelope: NDArray[np.complex64]) -> NDArray[np.complexfloating]:
    """Return the Fourier transform, scaled to keep the power, of what `modulated` returned; do not write into it."""
    if not _spectrum or _spectrum[0][0] is not envelope:
        # NumPy transforms single precision in double, unless the result is scaled.
        _spectrum[:] = [(envelope, np.fft.fft(envelope, norm="ortho"))]
    return _spectrum[0][1]


def modulated(
    video: NDArray[np.floating],
    standard: Standard,
    practice: Practice,
    white_deviation_hz: float | None = None,
    blanking_hz: float | None = None,
) -> NDArray[np.complex64]:
    """Return what `sim.fm.modulate` returns of the same, read only.

    What is kept is found by the video's samples, not by its place in memory: equal frames are one.

    Parameters
    ----------
    video : ndarray, (lines, samples)
        Composite video in level units.
    standard, practice : Standard, Practice
        Scanning standard and recording practice.
    white_deviation_hz, blanking_hz : float, optional
        Deviation from blanking to peak white, and carrier at blanking [Hz]; the practice's own when omitted.

    Examples
    --------
    >>> from sim.signals import make_signal
    >>> from sim.standards import get_practice, get_standard
    >>> machine = get_standard("525/60"), get_practice("525 high-band")
    >>> first, again = (modulated(make_signal("flat", machine[0]), *machine) for _ in range(2))
    >>> first is again
    True
    """
    deviation_hz = practice.white_deviation_hz if white_deviation_hz is None else white_deviation_hz
    carrier_hz = practice.blanking_hz if blanking_hz is None else blanking_hz
    samples = np.ascontiguousarray(video)
    digest = blake2b(samples.reshape(-1).view(np.uint8).data, digest_size=16).digest()
    key = (digest, samples.dtype.str, samples.shape, standard.name, practice, deviation_hz, carrier_hz)
    if key not in _kept:
        envelope = modulate(video, standard, practice, deviation_hz, carrier_hz)
        envelope.setflags(write=False)
        while len(_kept) >= _MOST_KEPT:
            _kept.popitem(last=False)
        _kept[key] = envelope
    _kept.move_to_end(key)
    return _kept[key]
