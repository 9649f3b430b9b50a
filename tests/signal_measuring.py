"""How the tests measure a composite signal: crossings, pulses, waves fitted to a piece of a line, widths of pulses."""

from __future__ import annotations

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from sim.standards import Standard

__all__ = ["Array", "colour_of", "crossings_s", "degrees_apart", "half_height", "lock_in", "sync_pulses_of"]

Array = NDArray[np.float64]


def crossings_s(wave: Array, level: float, falling: bool, rate_hz: float) -> Array:
    """Times at which a repeating wave crosses a level, by a straight line between two samples."""
    if falling:
        wave, level = -wave, -level
    here, following = wave.ravel(), np.roll(wave.ravel(), -1)
    at = np.flatnonzero((here < level) & (following >= level))
    times_s: Array = (at + (level - here[at]) / (following[at] - here[at])) / rate_hz
    return times_s


def sync_pulses_of(wave: Array, level: float, standard: Standard) -> tuple[Array, Array]:
    """Start and width of every sync pulse of a frame without burst at a level, the first one that of line 1."""
    rate_hz = standard.sample_rate_hz
    starts_s, ends_s = crossings_s(wave, level, True, rate_hz), crossings_s(wave, level, False, rate_hz)
    frame_s = standard.samples_per_frame / rate_hz
    # A start a hair before 0H of line 1 is found at the frame's end.
    starts_s = np.sort(np.where(starts_s > frame_s - 1e-6, starts_s - frame_s, starts_s))
    # The first rise after each start; a pulse that begins at the frame's end would rise in the next one.
    widths_s = ends_s[np.searchsorted(ends_s, starts_s) % len(ends_s)] - starts_s
    return starts_s, widths_s % frame_s


def lock_in(piece: Array, first_sample: int, frequency_hz: float, rate_hz: float) -> tuple[complex, float]:
    """Fit a wave and a mean: the phasor (relative to a cosine at sample 0 of the piece's line) and the mean."""
    angle = 2.0 * np.pi * frequency_hz * (first_sample + np.arange(piece.size)) / rate_hz
    basis = np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle)], axis=1)
    cosine, sine, mean = np.linalg.lstsq(basis, piece, rcond=None)[0]
    return complex(cosine, -sine), float(mean)


def colour_of(row: Array, place: slice, standard: Standard, burst_deg: float = 180.0) -> tuple[float, float, float]:
    """Luminance, chrominance peak to peak and phase of a piece of a line, its own burst standing at `burst_deg`."""
    rate_hz, subcarrier_hz = standard.sample_rate_hz, standard.subcarrier_hz
    # The plateau of the burst: 0.7 us after its start, 1.1 us long.
    start = round((standard.burst_start_s + 0.7e-6) * rate_hz)
    stop = start + round(1.1e-6 * rate_hz)
    reference, _ = lock_in(row[start:stop], start, subcarrier_hz, rate_hz)
    phasor, luma = lock_in(row[place], place.start, subcarrier_hz, rate_hz)
    phase_deg = burst_deg + np.rad2deg(np.angle(phasor / reference))
    return luma, 2.0 * abs(phasor), float(phase_deg % 360.0)


def degrees_apart(one: float, other: float) -> float:
    return abs((one - other + 180.0) % 360.0 - 180.0)


def half_height(wave: Array, level: float) -> tuple[float, float]:
    """First rise through a level and the next fall, in samples, on a band-limited copy 64 times finer."""
    fine = scipy.signal.resample(wave, 64 * wave.size)
    above = np.flatnonzero(fine >= level)
    last = above[0] + np.flatnonzero(np.diff(fine[above[0] :] >= level))[0]
    return above[0] / 64, last / 64
