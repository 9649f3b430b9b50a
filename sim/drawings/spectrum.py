"""The spectrum of the FM signal for one video frequency: sidebands, and those folded back through 0 Hz.

Contents: `SpectrumLine`, `SpectrumDrawing`, `spectrum_drawing`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim.errors import BandbenchError
from sim.fm import emphasis_response
from sim.standards import Practice, Standard
from sim.wording import wording

__all__ = ["SpectrumDrawing", "SpectrumLine", "spectrum_drawing"]

# Sidebands are drawn up to this order: beyond it they are below the floor at any setting of the machine.
_ORDERS = 8
# Lines weaker than this are left out (MODEL: the fourth folded sideband of high-band subcarrier is still in).
_FLOOR_DB = -90.0
# A folded line weaker than this makes no moire that one would see (MODEL: well below the picture's noise).
_SEEN_DB = -50.0
# Points of the mean that makes a Bessel function; exact to rounding for orders and indices far below their number.
_BESSEL_POINTS = 256
# Amplitude of the drawn video, as a share of blanking to white (MODEL: about that of a 75 % yellow bar, 31 IRE).
_AMPLITUDE_SHARE = 0.31


@dataclass(frozen=True)
class SpectrumLine:
    """One line of the spectrum.

    Attributes
    ----------
    order : int
        0 for the carrier, n for the n-th upper sideband, -n for the n-th lower one.
    frequency_hz : float
        Where it stands: for a folded line its mirror image [Hz].
    level_db : float
        Its level against the unmodulated carrier [dB].
    folded : bool
        Whether it went through 0 Hz and came back.
    product_hz : float
        For a folded line, the beat with the carrier that the demodulator makes of it, |2 fc - n fs| [Hz]; else its
        distance from the carrier.
    in_picture : bool
        Whether a folded line's beat lies inside the video band: moire.
    """

    order: int
    frequency_hz: float
    level_db: float
    folded: bool
    product_hz: float
    in_picture: bool


@dataclass(frozen=True)
class SpectrumDrawing:
    """What the spectrum shows.

    Attributes
    ----------
    sync_hz, blanking_hz, white_hz : float
        Carriers of the three levels [Hz].
    carrier_hz : float
        The carrier that is drawn: that of the mean video level [Hz].
    video_hz : float
        The video frequency [Hz].
    video_band_hz : float
        Upper edge of the video band [Hz].
    peak_deviation_hz : float
        Peak deviation by that video, pre-emphasis included [Hz].
    index : float
        Modulation index: peak deviation over video frequency.
    lines : tuple of SpectrumLine
        By order.
    floor_db : float
        Level below which lines are left out [dB].
    sentence : str
        What the drawing shows.
    """

    sync_hz: float
    blanking_hz: float
    white_hz: float
    carrier_hz: float
    video_hz: float
    video_band_hz: float
    peak_deviation_hz: float
    index: float
    lines: tuple[SpectrumLine, ...]
    floor_db: float
    sentence: str


def _bessel(order: int, index: float) -> float:
    """Return J_n: the mean of cos(n t - index sin t) over a turn."""
    turn = 2.0 * np.pi * np.arange(_BESSEL_POINTS) / _BESSEL_POINTS
    return float(np.mean(np.cos(order * turn - index * np.sin(turn))))


def spectrum_drawing(
    standard: Standard,
    practice: Practice,
    video_hz: float | None = None,
    white_deviation_hz: float | None = None,
    blanking_hz: float | None = None,
    amplitude: float | None = None,
    mean_level: float | None = None,
) -> SpectrumDrawing:
    """Return what the spectrum of a steady video tone shows.

    Parameters
    ----------
    standard, practice : Standard, Practice
        Scanning standard and recording practice.
    video_hz : float, optional
        Frequency of the tone [Hz]; the subcarrier when omitted.
    white_deviation_hz, blanking_hz : float, optional
        Deviation from blanking to white, and carrier at blanking [Hz]; the practice's own when omitted.
    amplitude, mean_level : float, optional
        Peak amplitude and mean of the tone [level unit]; 31 % of blanking to white on blanking when omitted.

    Raises
    ------
    BandbenchError
        If the tone's frequency is not above 0.

    Examples
    --------
    >>> from sim.standards import get_practice, get_standard
    >>> drawing = spectrum_drawing(get_standard("525/60"), get_practice("525 high-band"))
    >>> [round(line.product_hz / 1e6, 2) for line in drawing.lines if line.folded and line.in_picture]
    [1.48]
    """
    tone_hz = standard.subcarrier_hz if video_hz is None else video_hz
    if not (math.isfinite(tone_hz) and tone_hz > 0.0):
        raise BandbenchError(f"spectrum: video frequency {tone_hz!r} Hz; use one above 0")
    deviation_hz = practice.white_deviation_hz if white_deviation_hz is None else white_deviation_hz
    blank_hz = practice.blanking_hz if blanking_hz is None else blanking_hz
    span = standard.white_level - standard.blanking_level
    hz_per_level = deviation_hz / span
    tone = _AMPLITUDE_SHARE * span if amplitude is None else amplitude
    mean = standard.blanking_level if mean_level is None else mean_level
    carrier_hz = blank_hz + hz_per_level * (mean - standard.blanking_level)
    peak_hz = tone * hz_per_level * abs(complex(emphasis_response(np.array([tone_hz]), practice)[0]))
    index = peak_hz / tone_hz
    lines = []
    for order in range(-_ORDERS, _ORDERS + 1):
        level = abs(_bessel(order, index))
        level_db = 20.0 * math.log10(max(level, 1e-9))
        if level_db < _FLOOR_DB:
            continue
        place_hz = carrier_hz + order * tone_hz
        folded = place_hz < 0.0
        # A line and its mirror image beat with the carrier at the difference of what is on tape.
        product_hz = abs(carrier_hz - abs(place_hz))
        in_picture = folded and product_hz <= standard.video_bandwidth_hz
        lines.append(SpectrumLine(order, abs(place_hz), level_db, folded, product_hz, in_picture))
    return SpectrumDrawing(
        sync_hz=blank_hz + hz_per_level * (standard.sync_level - standard.blanking_level),
        blanking_hz=blank_hz,
        white_hz=blank_hz + deviation_hz,
        carrier_hz=carrier_hz,
        video_hz=tone_hz,
        video_band_hz=standard.video_bandwidth_hz,
        peak_deviation_hz=peak_hz,
        index=index,
        lines=tuple(lines),
        floor_db=_FLOOR_DB,
        sentence=_sentence(carrier_hz, tone_hz, index, lines),
    )


def _sentence(carrier_hz: float, tone_hz: float, index: float, lines: list[SpectrumLine]) -> str:
    said = wording(
        "drawings.spectrum.tone",
        tone_mhz=f"{tone_hz / 1e6:.2f}",
        carrier_mhz=f"{carrier_hz / 1e6:.2f}",
        index=f"{index:.2f}",
    )
    moire = [line for line in lines if line.in_picture]
    if not moire:
        return f"{said} {wording('drawings.spectrum.no_fold')}"
    worst = max(moire, key=lambda line: line.level_db)
    fold = wording(
        "drawings.spectrum.moire" if worst.level_db >= _SEEN_DB else "drawings.spectrum.weak_moire",
        order=-worst.order,
        level_db=f"{worst.level_db:.0f}",
        product_mhz=f"{worst.product_hz / 1e6:.2f}",
    )
    return f"{said} {fold}"
