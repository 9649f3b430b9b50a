"""Electronic time-base correction: put each line back where its sync, and then its burst, should be.

Contents: `CORRECTIONS`, `Corrector`. A corrector measures the demodulated signal; it knows nothing of the machine.
What it leaves is what it cannot see: its own uncertainty, errors beyond its range, and whatever changes within a line
(velocity error), because it takes each line as a whole.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.output import sync_edges_s
from sim.signals import burst
from sim.standards import Standard
from sim.timebase import line_lead, shift_lines

__all__ = ["CORRECTIONS", "Corrector"]

FloatArray = NDArray[np.float32]

# By how much the machine is corrected: not at all, by sync (monochrome), or by sync and then burst (colour).
CORRECTIONS = ("off", "monochrome", "colour")

# Range of a corrector (about +-0.5 us, from memory).
RANGE_S = 0.5e-6
# Peak residuals: +-20-30 ns after monochrome correction, +-3 ns after colour correction (from memory); a peak is
# taken as three times the rms value.
_MONOCHROME_RESIDUAL_S = 25e-9 / 3.0
_COLOUR_RESIDUAL_S = 3e-9 / 3.0
# Least burst, in shares of the standard's, by which a line can be judged (MODEL).
_LEAST_BURST = 0.25


class Corrector:
    """A time-base corrector of a standard.

    Parameters
    ----------
    standard : Standard
        Timing and subcarrier.
    seed : int
        Seed of its own uncertainty.
    """

    def __init__(self, standard: Standard, seed: int) -> None:
        self._standard = standard
        self._seed = seed
        rate_hz = standard.sample_rate_hz
        self._lead = line_lead(standard)
        first = int((standard.burst_start_s + 0.5e-6) * rate_hz)
        cycles = standard.burst_cycles - 3
        self._window = slice(first, first + round(cycles * rate_hz / standard.subcarrier_hz))
        lines = np.arange(standard.lines_per_frame)[:, None] * standard.samples_per_line
        sample = lines + np.arange(self._window.start, self._window.stop)
        turns = sample * (standard.subcarrier_hz / rate_hz)
        self._carrier = np.exp(-2j * np.pi * (turns - np.floor(turns))).astype(np.complex64)
        self._expected = self._burst_phasors(_burst_in(standard, self._window.start, self._window.stop))

    def _burst_phasors(self, window: FloatArray) -> NDArray[np.complex64]:
        return np.asarray(((window - window.mean(axis=1, keepdims=True)) * self._carrier).sum(axis=1))

    def __call__(self, demod: FloatArray, mode: str, index: int, noise_s: float = 0.0) -> FloatArray:
        """Return corrected video, (lines, samples).

        Parameters
        ----------
        demod : ndarray of float32, (lines, samples)
            Demodulated video.
        mode : str
            One of `CORRECTIONS`.
        index : int
            Frame number; fixes the uncertainty of this frame.
        noise_s : float
            Error that a faulty corrector adds to each line, rms [s].
        """
        if mode == "off":
            return demod
        rate_hz = self._standard.sample_rate_hz
        uncertainty = np.random.default_rng([self._seed, 4, index]).standard_normal((2, demod.shape[0]))
        edges_s = _held(sync_edges_s(demod, self._standard))
        move_s = np.clip(edges_s, -RANGE_S, RANGE_S) + _MONOCHROME_RESIDUAL_S * uncertainty[0]
        if mode == "colour":
            # Burst is judged where the monochrome stage puts it: whole cycles are that stage's business.
            late_s = self._burst_lateness_s(demod, move_s)
            residual = np.where(np.isfinite(late_s), _COLOUR_RESIDUAL_S * uncertainty[1], 0.0)
            move_s = move_s + np.nan_to_num(late_s) + residual
        if noise_s:
            move_s = move_s + noise_s * np.random.default_rng([self._seed, 10, index]).standard_normal(demod.shape[0])
        return shift_lines(demod, move_s * rate_hz, self._lead)

    def _burst_lateness_s(self, video: FloatArray, move_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return how late each line's burst is once the line has been read `move_s` later [s]; NaN without burst.

        Less than half a cycle. Reading later turns the subcarrier forward by that time: no need to move the picture.
        """
        turned = np.exp(2j * np.pi * self._standard.subcarrier_hz * move_s)
        measured = self._burst_phasors(video[:, self._window]) * turned
        least = _LEAST_BURST * np.abs(self._expected).max()
        present = (np.abs(measured) > least) & (np.abs(self._expected) > least)
        turns = np.angle(measured * np.conj(self._expected)) / (2.0 * np.pi)
        return np.where(present, -turns / self._standard.subcarrier_hz, np.nan)


@lru_cache(maxsize=2)
def _burst_in(standard: Standard, start: int, stop: int) -> FloatArray:
    """Return the burst of the standard in the samples of each line where a corrector looks for it (read only)."""
    samples = burst(standard)[:, start:stop].astype(np.float32)
    samples.setflags(write=False)
    return samples


def _held(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return values with gaps (NaN) filled by the last good one; zeros if there is none at all."""
    good = np.isfinite(values)
    if not good.any():
        return np.zeros_like(values)
    last = np.maximum.accumulate(np.where(good, np.arange(values.size), -1))
    # Before the first good one: the frame is a loop, so the last of the frame.
    return values[np.where(last < 0, np.flatnonzero(good)[-1], last)]
