"""Colour picture monitor: from composite video to red, green and blue.

Contents: `SEPARATIONS`, `PAL_DECODERS`, `ColourDecoder`.

Chrominance is multiplied by the regenerated subcarrier, low-passed, and taken out of luminance by putting it back onto
the same subcarrier. The whole path is a few dozen passes of multiplying and adding over float32 arrays, the cheapest
NumPy has in a browser; the subcarrier of each line is a row of a table of waves, picked by its phase.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.colour.burst import LOCKS, check_frame, reference_phase
from sim.errors import BandbenchError, UnknownNameError
from sim.signals import B_Y_WEIGHT, LUMA_WEIGHTS, R_Y_WEIGHT, visible_columns, visible_rows
from sim.standards import Standard

__all__ = ["LOW_PASS_REACH", "LOW_PASS_SUM", "PAL_DECODERS", "SEPARATIONS", "ColourDecoder", "low_pass"]

SEPARATIONS = ("notch", "comb")
PAL_DECODERS = ("delay_line", "simple")

FloatArray = NDArray[np.float32]

# The low-pass is a wave added to itself at these distances one after the other: sums over eight samples twice, which
# put luminance, multiplied to the subcarrier's frequency and twice it, into zeros; and twice one more zero there, which
# takes the first ripple beyond the band from 5 % down to 1 % (MODEL).
_DISTANCES = (1, 2, 4, 1, 2, 4, 2, 2)
LOW_PASS_SUM = 2.0 ** len(_DISTANCES)
LOW_PASS_REACH = sum(_DISTANCES) // 2
# Samples taken in on each side of the picture.
_MARGIN = LOW_PASS_REACH
# Size of the subcarrier. It is there twice, to demodulate and to put chrominance back, and so makes up for the sum of
# the low-pass and for the half of a product that is not at twice the frequency (DERIVED).
_CARRIER_SIZE = math.sqrt(2.0 / LOW_PASS_SUM)
# Waves in the table, one every quarter of a degree: the decoded phase is right to half of that.
_PHASES = 1440


def low_pass(wave: FloatArray, work: FloatArray) -> FloatArray:
    """Limit a wave to the band of a monitor's colour, in place and at 256 times its size.

    Parameters
    ----------
    wave : ndarray of float32, (n,)
        Overwritten by the result: element ``k`` is centred on element ``k + 9`` of the input; the last 18 elements
        are not meaningful.
    work : ndarray of float32, (n,)
        Scratch.

    Notes
    -----
    19 weights, 1 2 5 8 12 16 20 24 26 28 26 .. 1, sum 256. In 525/60 the response is 3 dB down at 0.53 MHz and 6 dB at
    0.74 MHz, in 625/50 at 0.66 and 0.91 MHz; nothing at the subcarrier, under 2 % elsewhere beyond 1.9 MHz (DERIVED).
    Only additions, because they cost least.

    Examples
    --------
    >>> pulse = np.zeros(40, dtype=np.float32)
    >>> pulse[18] = 1.0
    >>> low_pass(pulse, np.empty_like(pulse))[:20].astype(int).tolist()
    [1, 2, 5, 8, 12, 16, 20, 24, 26, 28, 26, 24, 20, 16, 12, 8, 5, 2, 1, 0]
    """
    here, there, length = wave, work, wave.size
    for distance in _DISTANCES:
        length -= distance
        np.add(here[:length], here[distance : distance + length], out=there[:length])
        here, there = there, here
    return here


@lru_cache(maxsize=4)
def _waves(standard: Standard, first: int, count: int) -> FloatArray:
    """Return sines of the subcarrier over a stretch of the line, one a row for each phase at 0H."""
    angle = 2.0 * np.pi * standard.subcarrier_hz / standard.sample_rate_hz * np.arange(first, first + count)
    phase = 2.0 * np.pi / _PHASES * np.arange(_PHASES)
    scale = _CARRIER_SIZE
    sine, cosine = scale * np.sin(angle), scale * np.cos(angle)
    turned = np.cos(phase)[:, None] * sine + np.sin(phase)[:, None] * cosine
    return np.asarray(turned, dtype=np.float32)


class ColourDecoder:
    """A colour monitor's decoder, prepared for one standard.

    Parameters
    ----------
    standard : Standard
        The scanning standard.
    separation : str
        "notch" takes a band about the subcarrier out of luminance: simple, soft, patterns where luminance is fine.
        "comb" takes out only what alternates from line to line (lines 1 apart in NTSC, 2 apart in PAL): sharp, but
        blurs colour downwards.
    lock : str
        One of `sim.colour.burst.LOCKS`.
    pal : str
        "delay_line" averages each line's colour with that of the line before, so that a phase error becomes a loss of
        saturation; "simple" leaves that to the eye. No effect in NTSC.

    Raises
    ------
    UnknownNameError
        For an unknown name.

    Notes
    -----
    MODEL: the bandwidth of chrominance is that of `low_pass`; luminance behind the notch is 3 dB down 0.96 MHz
    (625/50: 1.19 MHz) below the subcarrier. The monitor's scan is locked to the reference.

    Examples
    --------
    >>> from sim.signals import make_signal
    >>> from sim.standards import get_standard
    >>> standard = get_standard("525/60")
    >>> picture = ColourDecoder(standard)(make_signal("bars", standard))
    >>> picture.shape, picture[100, 161].round(2).tolist()  # in the middle of yellow
    ((486, 754, 3), [0.75, 0.75, 0.0])
    """

    def __init__(
        self,
        standard: Standard,
        *,
        separation: str = "notch",
        lock: str = "line",
        pal: str = "delay_line",
    ) -> None:
        for kind, name, known in (
            ("colour separation", separation, SEPARATIONS),
            ("colour lock", lock, LOCKS),
            ("PAL decoder", pal, PAL_DECODERS),
        ):
            if name not in known:
                raise UnknownNameError(kind, name, known)
        self.standard = standard
        self._lock = lock
        self._comb_lines = 0 if separation == "notch" else 2 if standard.switches_v else 1
        self._averages_lines = standard.switches_v and pal == "delay_line"
        rows, columns = visible_rows(standard), visible_columns(standard)
        self._columns = columns.stop - columns.start
        self._window = slice(columns.start - _MARGIN, columns.stop + _MARGIN)
        self._waves = _waves(standard, self._window.start, self._columns + 2 * _MARGIN)
        # The lines of the two fields: picture rows 0, 2, .. and 1, 3, .. are each a stretch of the frame.
        self._fields = tuple(slice(int(rows[first]), int(rows[first]) + rows.size // 2) for first in (0, 1))
        shape = (rows.size // 2, self._columns + 2 * _MARGIN)
        self._video = np.empty(shape, dtype=np.float32)
        self._work = np.empty(shape, dtype=np.float32)
        self._carriers = np.empty((2, *shape), dtype=np.float32)
        self._chroma = np.empty((2, *shape), dtype=np.float32)
        self._luma = np.empty((shape[0], self._columns), dtype=np.float32)
        self._product = np.empty_like(self._luma)

    def __call__(
        self,
        video: NDArray[np.floating],
        *,
        hue_deg: float = 0.0,
        saturation: float = 1.0,
        edges_s: NDArray[np.floating] | None = None,
    ) -> FloatArray:
        """Decode one frame.

        Parameters
        ----------
        video : ndarray, (lines, samples)
            Composite video in time order. [level unit]
        hue_deg : float
            The monitor's hue control: how far the regenerated subcarrier is turned back. In NTSC all colours turn
            forward by this angle; in PAL they turn forward and back on alternate lines. [deg]
        saturation : float
            The monitor's saturation control, 0 or more; 0 shows luminance alone, 1 is right. [1]
        edges_s : ndarray, (lines,), optional
            Where each line's sync edge lies against 0H (see `sim.colour.burst.measure_burst`). [s]

        Returns
        -------
        ndarray of float32, (rows, columns, 3)
            Red, green and blue, 0 to 1, rows in screen order. A view of three separate planes: ``moveaxis(-1, 0)`` of
            it is contiguous.

        Raises
        ------
        BandbenchError
            If the array is not one frame of the standard, or a control is out of range.

        Notes
        -----
        A signal without bursts is shown in grey and with the full bandwidth of luminance, as by a colour killer.
        """
        check_frame(video, self.standard)
        if not (np.isfinite(hue_deg) and np.isfinite(saturation) and saturation >= 0.0):
            raise BandbenchError(
                f"colour monitor: hue {hue_deg} degrees, saturation {saturation}; use a finite hue and 0 or more"
            )
        phase_rad, sense, has_colour = reference_phase(video, self.standard, self._lock, edges_s)
        phase_rad = phase_rad - np.deg2rad(hue_deg)
        planes = np.empty((3, 2 * self._video.shape[0], self._columns), dtype=np.float32)
        # One field at a time: measured a quarter quicker in a browser than both fields in one array.
        for first, lines in enumerate(self._fields):
            shown = planes[:, first::2]
            self._normalise(video[lines])
            if has_colour:
                self._demodulate(phase_rad[lines], sense[lines])
                self._separate()
                self._mix(saturation, shown)
            else:
                np.copyto(shown, self._video[:, _MARGIN:-_MARGIN])
        np.clip(planes, 0.0, 1.0, out=planes)
        return np.moveaxis(planes, 0, -1)

    def _normalise(self, lines: NDArray[np.floating]) -> None:
        """Fill `_video` with the lines of a field, 0 at setup and 1 at white."""
        standard = self.standard
        gain = 1.0 / (standard.white_level - standard.setup_level)
        np.multiply(lines[:, self._window], np.float32(gain), out=self._video, casting="same_kind")
        if standard.setup_level:
            self._video -= np.float32(gain * standard.setup_level)

    def _demodulate(self, phase_rad: NDArray[np.float64], sense: NDArray[np.float64]) -> None:
        """Fill `_chroma` with U and V, 1 / `_CARRIER_SIZE` times their size, each element ahead of its sample."""
        nearest = np.rint(phase_rad * (_PHASES / (2.0 * np.pi)))
        for turn, carrier, chroma in zip((0.0, _PHASES / 4 * sense), self._carriers, self._chroma, strict=True):
            row = np.mod(nearest + turn, _PHASES).astype(np.intp)
            np.take(self._waves, row, axis=0, out=carrier, mode="clip")
            np.multiply(self._video, carrier, out=chroma)
            low_pass(chroma.reshape(-1), self._work.reshape(-1))
            if self._comb_lines:
                self._comb(chroma)

    def _comb(self, chroma: FloatArray) -> None:
        """Average each line's colour with the lines before and after, a quarter, half and a quarter, in place."""
        distance, work = self._comb_lines, self._work
        np.add(chroma[distance:], chroma[:-distance], out=work[distance:])
        middle = chroma[distance:-distance]
        np.add(work[distance:-distance], work[2 * distance :], out=middle)
        middle *= np.float32(0.25)

    def _separate(self) -> None:
        """Fill `_luma` with what is left when chrominance is put back onto its subcarrier and taken out."""
        inner, centred = slice(_MARGIN, _MARGIN + self._columns), slice(self._columns)
        left = self._video[:, inner]
        for chroma, carrier in zip(self._chroma, self._carriers, strict=True):
            np.multiply(chroma[:, centred], carrier[:, inner], out=self._product)
            np.subtract(left, self._product, out=self._luma)
            left = self._luma

    def _mix(self, saturation: float, shown: FloatArray) -> None:
        """Fill the rows of a field in the three planes, (3, field rows, columns)."""
        chroma = self._chroma
        gain = saturation * _CARRIER_SIZE
        if self._averages_lines:
            # Each line and the one before it, at twice the size; the first line has none before it. The carriers
            # have done their work.
            chroma = self._carriers
            np.add(self._chroma[:, 1:], self._chroma[:, :-1], out=chroma[:, 1:])
            np.add(self._chroma[:, 0], self._chroma[:, 0], out=chroma[:, 0])
            gain *= 0.5
        u, v = chroma[:, :, : self._columns]
        red, green, blue = shown
        of_red, of_green, of_blue = LUMA_WEIGHTS
        luma, product = self._luma, self._product
        np.multiply(v, np.float32(gain / R_Y_WEIGHT), out=product)
        np.add(luma, product, out=red)
        product *= np.float32(-of_red / of_green)
        np.add(luma, product, out=green)
        np.multiply(u, np.float32(gain / B_Y_WEIGHT), out=product)
        np.add(luma, product, out=blue)
        product *= np.float32(-of_blue / of_green)
        green += product
