"""The colour reference as it is found in a signal: phase and size of each line's burst, and the sense of V.

Contents: `LOCKS`, `BurstReading`, `measure_burst`, `nominal_phase`, `reference_phase`, `fit_weights`, `check_frame`.

Chrominance is written as one complex number, ``C = U + j V``: on a line whose subcarrier stands at the angle ``p`` at
0H the signal is the imaginary part of ``C exp(j (w t + p))``. In PAL every second line sends the conjugate of ``C``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.signals import burst_lines, v_sense
from sim.standards import Standard

__all__ = [
    "LOCKS",
    "BurstReading",
    "check_frame",
    "fit_weights",
    "measure_burst",
    "nominal_phase",
    "reference_phase",
]

LOCKS = ("line", "slow", "reference")

# What is left out at both ends of the burst: its edges, and a little of timing error (MODEL).
_MARGIN_S = 0.4e-6
# A burst that is smaller than this part of the nominal, or as much larger, is not believed (MODEL).
_BELIEVED = 0.3

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class BurstReading:
    """The bursts of one frame.

    Attributes
    ----------
    vector : ndarray of complex, (lines,)
        Burst of each line against the phase that the subcarrier of colour frame 0 has there: size is half its
        peak-to-peak value. [level unit]
    sense : ndarray, (lines,)
        1 or -1: in which sense each line carries V, as found from the swing of the bursts; 1 in NTSC.
    phase_rad : ndarray, (lines,)
        Angle of the subcarrier of each line against colour frame 0, from the line's own burst; a line without a
        believable burst has that of the line before. [rad]
    good : ndarray of bool, (lines,)
        Where there is a believable burst.
    mean_phase_rad : float
        Angle of the subcarrier averaged over all good lines. [rad]
    present : bool
        False if fewer than half of the lines that should have a burst have one: the signal is monochrome.
    """

    vector: ComplexArray
    sense: FloatArray
    phase_rad: FloatArray
    good: NDArray[np.bool_]
    mean_phase_rad: float
    present: bool


def nominal_phase(standard: Standard) -> FloatArray:
    """Return the angle of the subcarrier at 0H of each line in colour frame 0, (lines,) [rad].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> np.degrees(nominal_phase(get_standard("525/60"))[:3]).round(6).tolist()
    [0.0, 180.0, 0.0]
    """
    row = np.arange(standard.lines_per_frame)
    return np.asarray(2.0 * np.pi * np.mod(row * standard.subcarrier_cycles_per_line, 1.0))


@lru_cache(maxsize=32)
def fit_weights(standard: Standard, count: int) -> ComplexArray:
    """Return the weights, (count,), that fit a wave at the subcarrier's frequency to as many samples.

    The sum of the samples times the weights is the wave as ``C`` (see the top of this module), its phase counted from
    the first sample. A mean and a slope are fitted with it and thrown away, so that luminance does not turn the phase.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> standard = get_standard("625/50")
    >>> angle = 2.0 * np.pi * standard.subcarrier_hz / standard.sample_rate_hz * np.arange(40)
    >>> wave = 300.0 + 2.0 * np.arange(40) + 50.0 * np.sin(angle + 0.25)
    >>> fitted = fit_weights(standard, 40) @ wave
    >>> round(float(abs(fitted)), 6), round(float(np.angle(fitted)), 6)
    (50.0, 0.25)
    """
    angle = 2.0 * np.pi * standard.subcarrier_hz / standard.sample_rate_hz * np.arange(count)
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones(count), np.linspace(-1.0, 1.0, count)], axis=1)
    fit = np.linalg.pinv(basis)
    return np.asarray(fit[0] + 1j * fit[1])


def _gate(standard: Standard) -> tuple[int, int]:
    """Return the first sample of the burst gate and how many there are."""
    rate_hz = standard.sample_rate_hz
    length_s = standard.burst_cycles / standard.subcarrier_hz
    first = round((standard.burst_start_s + _MARGIN_S) * rate_hz)
    return first, round((length_s - 2.0 * _MARGIN_S) * rate_hz)


def measure_burst(
    video: NDArray[np.floating], standard: Standard, edges_s: NDArray[np.floating] | None = None
) -> BurstReading:
    """Measure the burst of every line of a frame.

    Parameters
    ----------
    video : ndarray, (lines, samples)
        Composite video in time order. [level unit]
    standard : Standard
        Timing of the burst and the subcarrier.
    edges_s : ndarray, (lines,), optional
        Where each line's sync edge lies against 0H, positive late, NaN where unknown: the gate follows it. At 0H when
        omitted. [s]

    Raises
    ------
    BandbenchError
        If the array is not one frame of the standard.

    Notes
    -----
    The sense of V is taken from all lines together: from one line to the next the burst swings back or forth by a
    quarter turn, which a slow drift of phase cannot hide.

    Examples
    --------
    >>> from sim.signals import make_signal
    >>> from sim.standards import get_standard
    >>> standard = get_standard("625/50")
    >>> reading = measure_burst(make_signal("flat", standard, 1), standard)
    >>> reading.present, reading.sense[:3].tolist(), round(float(np.degrees(reading.mean_phase_rad)), 1)
    (True, [-1.0, 1.0, -1.0], -90.0)
    """
    check_frame(video, standard)
    first, count = _gate(standard)
    weights = fit_weights(standard, count)
    lines = standard.lines_per_frame
    begin = np.full(lines, first, dtype=np.intp)
    if edges_s is None:
        pieces = video[:, first : first + count]
    else:
        shift = np.where(np.isfinite(edges_s), edges_s, 0.0) * standard.sample_rate_hz
        begin += np.rint(shift).astype(np.intp)
        row = np.arange(lines, dtype=np.intp)[:, None] * standard.samples_per_line
        place = row + begin[:, None] + np.arange(count, dtype=np.intp)
        pieces = video.ravel()[place % video.size]
    at_gate = pieces @ weights.real.astype(video.dtype) + 1j * (pieces @ weights.imag.astype(video.dtype))
    step = 2.0 * np.pi * standard.subcarrier_hz / standard.sample_rate_hz
    vector = at_gate * np.exp(-1j * (step * begin + nominal_phase(standard)))

    size = np.abs(vector)
    good = (size > _BELIEVED * standard.burst_amplitude) & (size < standard.burst_amplitude / _BELIEVED)
    # Noise has no lines that ought to be free of it, so only those that carry burst in every frame are counted.
    expected = burst_lines(standard)
    present = bool(np.count_nonzero(good[expected]) >= 0.5 * expected.size)
    sense = _find_sense(vector, good, standard)
    # Where the subcarrier itself would be if this is its burst: minus B-Y, turned by the swing.
    swing = np.deg2rad(180.0 - standard.burst_swing_deg)
    subcarrier = vector * np.exp(-1j * swing * sense)
    return BurstReading(
        vector=vector,
        sense=sense,
        phase_rad=_hold(np.angle(subcarrier), good),
        good=good,
        mean_phase_rad=float(np.angle(subcarrier[good].sum())) if good.any() else 0.0,
        present=present,
    )


def check_frame(video: NDArray[np.floating], standard: Standard) -> None:
    """Raise BandbenchError unless `video` is one frame of the standard."""
    expected = (standard.lines_per_frame, standard.samples_per_line)
    if video.shape != expected:
        raise BandbenchError(
            f"colour decoder: shape {video.shape} given, {expected} (lines, samples) needed for {standard.name}"
        )


def _find_sense(vector: ComplexArray, good: NDArray[np.bool_], standard: Standard) -> FloatArray:
    if not standard.switches_v:
        return np.ones(vector.size)
    alternating = np.where(np.arange(vector.size) % 2 == 0, 1.0, -1.0)
    step = (vector[1:] * vector[:-1].conj()).imag * (good[1:] & good[:-1])
    # From a line turned over (225 degrees) to one that is not (135) the burst steps back.
    is_even_positive = float(alternating[1:] @ step) <= 0.0
    return alternating if is_even_positive else -alternating


def _hold(phase_rad: FloatArray, good: NDArray[np.bool_]) -> FloatArray:
    """Give each line without burst the phase of the last line that has one (the first line that has one, if none)."""
    if not good.any():
        return np.zeros(phase_rad.size)
    last = np.maximum.accumulate(np.where(good, np.arange(good.size), int(np.argmax(good))))
    return phase_rad[last]


def reference_phase(
    video: NDArray[np.floating],
    standard: Standard,
    lock: str,
    edges_s: NDArray[np.floating] | None = None,
) -> tuple[FloatArray, FloatArray, bool]:
    """Return the subcarrier a decoder regenerates for each line, and the sense of V it assumes.

    Parameters
    ----------
    video, standard, edges_s
        As in `measure_burst`.
    lock : str
        "line": each line from its own burst. "slow": one phase for the whole frame, the mean of its bursts, as from a
        crystal that follows slowly; time-base errors then turn the hue. "reference": the station's subcarrier, colour
        frame 0, without looking at the signal.

    Returns
    -------
    phase_rad : ndarray, (lines,)
        Angle at 0H. [rad]
    sense : ndarray, (lines,)
        1 or -1.
    present : bool
        False for a signal without bursts (never for the lock "reference").

    Raises
    ------
    UnknownNameError
        For an unknown lock.
    """
    if lock not in LOCKS:
        raise UnknownNameError("colour lock", lock, LOCKS)
    nominal = nominal_phase(standard)
    if lock == "reference":
        check_frame(video, standard)
        return nominal, v_sense(standard), True
    reading = measure_burst(video, standard, edges_s)
    offset = reading.phase_rad if lock == "line" else reading.mean_phase_rad
    return nominal + offset, reading.sense, reading.present
