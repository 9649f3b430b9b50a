"""Spectrum of the RF: power against frequency, averaged over the frame.

Contents: `RESOLUTIONS`, `Spectrum`, `rf_spectrum` (of a test point), `spectrum_of` (of any envelope), `carriers_hz`,
`occupied_hz`, `total_db`, `describe_spectrum`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.frame import PlaybackFrame
from sim.instruments.testpoints import RF_POINTS, TEST_POINTS, rf_at
from sim.standards import Practice
from sim.wording import wording

__all__ = [
    "RESOLUTIONS",
    "Spectrum",
    "carriers_hz",
    "describe_spectrum",
    "occupied_hz",
    "rf_spectrum",
    "spectrum_of",
    "total_db",
]

RESOLUTIONS = (256, 1024, 4096)
"""Samples of one piece: few draw a smooth curve quickly, many tell close lines apart."""

# Below this nothing is drawn or told (MODEL: beyond the noise of a good channel).
_FLOOR_DB = -120.0
# A signal this far below the carrier on its whole is called none (MODEL: only the limiter's or a channel's noise).
_NO_SIGNAL_DB = -25.0


@dataclass(frozen=True)
class Spectrum:
    """A spectrum analyser's screen.

    Attributes
    ----------
    frequency_hz : ndarray of float64, (bins,)
        Rising from 0 to the sample rate, each bin the middle of its band. [Hz]
    power_db : ndarray of float64, (bins,)
        Power in the analyser's bandwidth, against the unmodulated carrier at nominal level. [dB]
    bandwidth_hz : float
        The analyser's noise bandwidth. [Hz]
    pieces : int
        How many pieces of the frame are averaged.
    test_point : str
        Where it is connected; empty for an envelope of one's own.
    """

    frequency_hz: NDArray[np.float64]
    power_db: NDArray[np.float64]
    bandwidth_hz: float
    pieces: int
    test_point: str


def spectrum_of(
    envelope: NDArray[np.complexfloating], rate_hz: float, *, samples: int = 1024, test_point: str = ""
) -> Spectrum:
    """Return the averaged spectrum of an RF envelope that is centred on half its sample rate.

    Parameters
    ----------
    envelope : ndarray of complex, (n_samples,)
        RF envelope as `PlaybackFrame.rf`, at least `samples` long.
    rate_hz : float
        Its sample rate. [Hz]
    samples : int
        Length of the pieces, one of `RESOLUTIONS`; each overlaps the next by half.
    test_point : str
        Noted in the result.

    Raises
    ------
    BandbenchError
        For another length of pieces, or fewer samples than one piece.

    Notes
    -----
    Periodic Hann window, powers averaged (Welch's method), scaled so that a lone carrier of amplitude 1 on a bin
    reads 0 dB.

    Examples
    --------
    >>> lone = np.exp(2j * np.pi * np.arange(4096) / 8)
    >>> found = spectrum_of(lone, 8e6)
    >>> peak = found.power_db.argmax()
    >>> round(float(found.frequency_hz[peak]) / 1e6, 3), abs(round(float(found.power_db[peak]), 3))
    (5.0, 0.0)
    """
    if samples not in RESOLUTIONS:
        raise BandbenchError(f"spectrum in pieces of {samples} samples: use one of {RESOLUTIONS}")
    if envelope.ndim != 1 or envelope.size < samples:
        raise BandbenchError(f"spectrum of {envelope.size} samples: at least one piece of {samples} is needed")
    window = (0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(samples) / samples)).astype(np.float32)
    first = np.arange(0, envelope.size - samples + 1, samples // 2)
    within = np.arange(samples)
    power = np.zeros(samples)
    # A few pieces at a time: all at once would need twice the frame again.
    for some in np.array_split(first, math.ceil(first.size / 128)):
        bins = np.fft.fft(envelope[some[:, None] + within] * window, axis=1)
        power += (np.square(bins.real) + np.square(bins.imag)).sum(axis=0, dtype=np.float64)
    power /= first.size * float(window.sum(dtype=np.float64)) ** 2
    frequency_hz = np.fft.fftshift(np.fft.fftfreq(samples, 1.0 / rate_hz)) + rate_hz / 2.0
    bandwidth_hz = rate_hz * float(np.square(window, dtype=np.float64).sum()) / float(window.sum(dtype=np.float64)) ** 2
    level = np.maximum(np.fft.fftshift(power), 10.0 ** (_FLOOR_DB / 10.0))
    return Spectrum(frequency_hz, 10.0 * np.log10(level), bandwidth_hz, first.size, test_point)


def rf_spectrum(frame: PlaybackFrame, test_point: str = "rf_switched", *, samples: int = 1024) -> Spectrum:
    """Return the spectrum of the RF at a test point; see `spectrum_of`.

    Raises
    ------
    BandbenchError
        If the test point is not one of `RF_POINTS`, or for another length of pieces.
    """
    if test_point not in RF_POINTS:
        raise UnknownNameError("test point of the spectrum", test_point, RF_POINTS)
    rf = rf_at(frame, test_point)
    return spectrum_of(rf, frame.standard.sample_rate_hz, samples=samples, test_point=test_point)


def carriers_hz(practice: Practice) -> dict[str, float]:
    """Return the carriers of a recording practice: sync tip, blanking and peak white [Hz].

    Examples
    --------
    >>> from sim.standards import get_practice
    >>> {name: carrier / 1e6 for name, carrier in carriers_hz(get_practice("525 high-band")).items()}
    {'sync tip': 7.06, 'blanking': 7.9, 'white': 10.0}
    """
    return {"sync tip": practice.sync_tip_hz, "blanking": practice.blanking_hz, "white": practice.white_hz}


def occupied_hz(spectrum: Spectrum, share: float = 0.99) -> tuple[float, float]:
    """Return the band that holds a share of the power, as much of the rest below it as above [Hz]."""
    if not 0.0 < share < 1.0:
        raise BandbenchError(f"share of the power {share}: use a number between 0 and 1")
    sums = np.cumsum(10.0 ** (spectrum.power_db / 10.0))
    rest = 0.5 * (1.0 - share)
    low, high = np.searchsorted(sums, [rest * sums[-1], (1.0 - rest) * sums[-1]])
    return float(spectrum.frequency_hz[low]), float(spectrum.frequency_hz[high])


def total_db(spectrum: Spectrum) -> float:
    """Return the whole power against the unmodulated carrier [dB]."""
    spacing_hz = float(spectrum.frequency_hz[1] - spectrum.frequency_hz[0])
    return 10.0 * float(np.log10(np.sum(10.0 ** (spectrum.power_db / 10.0)) * spacing_hz / spectrum.bandwidth_hz))


def describe_spectrum(spectrum: Spectrum) -> str:
    """Return what a spectrum analyser shows, in a sentence."""
    where = TEST_POINTS[spectrum.test_point].label if spectrum.test_point in TEST_POINTS else "RF"
    if total_db(spectrum) < _NO_SIGNAL_DB:
        return wording("describe.spectrum_noise_only", where=where)
    peak = int(np.argmax(spectrum.power_db))
    low, high = occupied_hz(spectrum)
    return wording(
        "describe.spectrum_strongest_mhz_db",
        where=where,
        frequency_hz=f"{spectrum.frequency_hz[peak] / 1000000.0:.2f}",
        power_db=f"{spectrum.power_db[peak]:+.1f}",
        low=f"{low / 1000000.0:.1f}",
        high=f"{high / 1000000.0:.1f}",
    )
