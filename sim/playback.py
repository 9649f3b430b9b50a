"""From tape to one continuous RF signal: heads, four channel amplifiers with equalisers, and the switcher.

Contents: `ChannelSettings`, `as_read_by`, `head_of_pass`, `equaliser_taps`, `equalise`,
`head_phases`, `NoisePool`, `switched_signal`, `add_noise`, `single_head_signal`.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.headwheel import PassSchedule
from sim.standards import FOOTPRINT, Practice, Standard
from sim.tracking import TrackMatch, overlaps_along

__all__ = [
    "ChannelSettings",
    "NoisePool",
    "add_noise",
    "as_read_by",
    "equalise",
    "equaliser_taps",
    "head_of_pass",
    "head_phases",
    "single_head_signal",
    "switched_signal",
]

ComplexArray = NDArray[np.complex64]

# The limiter's own noise against a good head's RF (MODEL: well below channel noise in normal working, and all that is
# left when a channel is off).
LIMITER_NOISE_DB = -50.0
# The equaliser acts about the carrier of this video level, half-way from blanking to white (MODEL).
_EQUALISER_CENTRE = 0.5

# Of a frame.
_WHOLE = slice(None)


@dataclass(frozen=True)
class ChannelSettings:
    """One channel: signal and noise it delivers.

    Attributes
    ----------
    signal : float
        Amplitude of a fully tracked head at the channel's output, nominal 1.
    noise : float
        Rms of the complex channel noise at its output.
    equaliser_db : float
        Net error or boost at subcarrier frequency [dB].
    """

    signal: float
    noise: float
    equaliser_db: float


def head_of_pass(match: TrackMatch, passes: int) -> NDArray[np.int64]:
    """Return which head (0 to 3) plays each pass of the frame.

    The servo holds the picture, so pass k is always track k; what tracking changes is the head that finds it.

    Examples
    --------
    >>> from sim.tracking import match_tracks
    >>> head_of_pass(match_tracks(90.0), 5).tolist()
    [3, 0, 1, 2, 3]
    """
    return (np.arange(passes) - match.head_shift) % 4


def equaliser_taps(boost_db: float, standard: Standard, practice: Practice) -> tuple[float, complex]:
    """Return the centre tap and the side tap of a channel's cosine equaliser.

    Parameters
    ----------
    boost_db : float
        Gain one subcarrier frequency above and below the centre carrier [dB].
    standard, practice : Standard, Practice
        Fix subcarrier, sample rate and the centre carrier.

    Returns
    -------
    centre, side : float, complex
        ``y[n] = centre x[n] + side x[n - 2] + conj(side) x[n + 2]``.

    Notes
    -----
    H(f) = 1 + (g - 1) (1 - cos(pi (f - fc) / fsc)) / 2: gain 1 at the carrier, g at the sidebands of subcarrier, phase
    linear. Two samples at four times subcarrier are the half-period delays that make it. Demodulated, it is a
    response error of `boost_db` at subcarrier frequency that leaves low frequencies (luminance areas) alone: a MODEL
    of a tuned channel equaliser.
    """
    gain = 10.0 ** (boost_db / 20.0)
    centre_hz = practice.blanking_hz + _EQUALISER_CENTRE * practice.white_deviation_hz
    angle = 4.0 * math.pi * (centre_hz - standard.sample_rate_hz / 2.0) / standard.sample_rate_hz
    return 1.0 + (gain - 1.0) / 2.0, -(gain - 1.0) / 4.0 * cmath.exp(1j * angle)


def equalise(padded: ComplexArray, taps: tuple[float, complex]) -> ComplexArray:
    """Return the equalised signal; `padded` has two samples more at each end than the result."""
    centre, side = taps
    result: ComplexArray = padded[2:-2] * np.complex64(centre)
    result += padded[:-4] * np.complex64(side)
    result += padded[4:] * np.complex64(side.conjugate())
    return result


class NoisePool:
    """White complex noise of unit rms, drawn once and read from a new place for every frame.

    Parameters
    ----------
    standard : Standard
        Fixes the frame length; the pool is twice as long.
    seed : int
        Any two pools of one seed are equal.
    """

    _MARGIN = 2

    def __init__(self, standard: Standard, seed: int) -> None:
        self._seed = seed
        self._count = standard.samples_per_frame
        self._pool = _white_noise(seed, 2 * self._count + 2 * self._MARGIN)

    def frame(self, index: int) -> ComplexArray:
        """Return the noise of frame `index` with two samples of margin at each end (read only)."""
        start = int(np.random.default_rng([self._seed, 1, index]).integers(self._count))
        return self._pool[start : start + self._count + 2 * self._MARGIN]


# Each takes some 8 MB; the machines of one bench share theirs.
@lru_cache(maxsize=2)
def _white_noise(seed: int, length: int) -> ComplexArray:
    """Return complex noise of unit rms (read only)."""
    parts = np.random.default_rng([seed, 0]).standard_normal(2 * length, dtype=np.float32)
    parts *= np.float32(math.sqrt(0.5))
    noise = parts.view(np.complex64)
    noise.setflags(write=False)
    return noise


def _pass_slices(schedule: PassSchedule, count: int) -> list[tuple[int, slice]]:
    """Return (pass, slice of the frame) in time order; the frame's ends belong to the loop's neighbouring passes."""
    edges = np.clip(schedule.switch_sample, 0, count)
    slices = [(schedule.passes - 1, slice(0, int(edges[0])))]
    slices += [(k, slice(int(edges[k]), int(edges[k + 1]))) for k in range(schedule.passes)]
    slices.append((0, slice(int(edges[-1]), count)))
    return [(k, where) for k, where in slices if where.stop > where.start]


def head_phases(standard: Standard, peak_deg: float, seed: int) -> NDArray[np.complex64]:
    """Return the carrier phase of each pass at the switcher, as unit phasors, shape (passes,).

    Heads do not meet the recorded carrier in step: where the switcher turns over, the phase jumps, and the demodulator
    answers with a transient. A gate in the demodulator normally hides it (MODEL: then `peak_deg`, what is left of the
    jump, is 0); without the gate it is 180.
    """
    angle = np.random.default_rng([seed, 6]).uniform(-1.0, 1.0, standard.passes_per_frame)
    return np.asarray(np.exp(1j * np.radians(peak_deg) * angle), dtype=np.complex64)


def _off_tape(
    envelope: ComplexArray,
    match: TrackMatch,
    bow_m: float,
    schedule: PassSchedule,
    standard: Standard,
    where: slice = _WHOLE,
) -> ComplexArray:
    """Return the envelope as the heads read it, `where` it is wanted: own track and its neighbour beyond the guard."""
    own: NDArray[np.float32] | np.complex64 = np.complex64(match.own)
    neighbour: NDArray[np.float32] | np.complex64 = np.complex64(match.neighbour)
    if bow_m:
        own, neighbour = overlaps_along(match, bow_m, schedule.along[where])
    read: ComplexArray = envelope[where] * own
    if np.any(neighbour):
        shift = round(standard.samples_per_frame / standard.passes_per_frame) * match.neighbour_step
        # Picking sample by sample is worth it for a part alone.
        if where == _WHOLE:
            read += np.roll(envelope, -shift) * neighbour
        else:
            read += envelope.take(np.arange(where.start, where.stop) + shift, mode="wrap") * neighbour
    return read


def as_read_by(envelope: ComplexArray, gain: NDArray[np.complexfloating]) -> ComplexArray:
    """Return an envelope behind a head's response, given at the frequencies of `sim.fm.envelope_frequency_hz`."""
    # NumPy transforms single precision in double, unless the result is scaled: with "ortho" it is, both ways.
    spectrum = np.fft.fft(envelope, norm="ortho")
    spectrum *= gain.astype(np.complex64)
    return np.fft.ifft(spectrum, norm="ortho").astype(np.complex64)


def switched_signal(
    envelopes: Sequence[ComplexArray],
    match: TrackMatch,
    bow_m: float,
    channels: tuple[ChannelSettings, ...],
    schedule: PassSchedule,
    phases: NDArray[np.complex64],
    standard: Standard,
    practice: Practice,
) -> ComplexArray:
    """Return the noise-free RF at the switcher's output for one frame.

    Parameters
    ----------
    envelopes : four ndarrays of complex64, (samples_per_frame,)
        Recorded RF as each of heads 1 to 4 reads it when it is on its track.
    match : TrackMatch
        Tracking.
    bow_m : float
        Bow of the tracks [m].
    channels : four ChannelSettings
        Channels of heads 1 to 4.
    schedule : PassSchedule
        When each pass plays.
    phases : ndarray of complex64, (passes,)
        Carrier phase of each pass (`head_phases`).
    standard, practice
        What fixes the equaliser.
    """
    heads = head_of_pass(match, schedule.passes)
    # Good heads share one envelope: read it off the tape once.
    off_tape = {id(envelope): _off_tape(envelope, match, bow_m, schedule, standard) for envelope in envelopes}
    result = np.empty_like(envelopes[0])
    for k, where in _pass_slices(schedule, result.size):
        channel = channels[heads[k]]
        read = off_tape[id(envelopes[heads[k]])]
        gain = np.complex64(channel.signal) * phases[k]
        if channel.equaliser_db:
            taps = equaliser_taps(channel.equaliser_db, standard, practice)
            beside = np.arange(where.start - 2, where.stop + 2) % read.size
            result[where] = equalise(read[beside], taps)
            result[where] *= gain
        else:
            np.multiply(read[where], gain, out=result[where])
    return result


def add_noise(
    parts: Sequence[tuple[float, ComplexArray]],
    noise: ComplexArray,
    match: TrackMatch,
    channels: tuple[ChannelSettings, ...],
    schedule: PassSchedule,
    standard: Standard,
    practice: Practice,
) -> ComplexArray:
    """Return switched signals, each at its share, with each channel's noise, behind its equaliser, and the limiter's.

    Parameters
    ----------
    parts : sequence of (share, signal)
        From `switched_signal`; none at all where nothing is read.
    noise : ndarray of complex64
        From `NoisePool.frame`: white, unit rms, two samples longer at each end than a signal.
    match, channels, schedule, standard, practice
        As for `switched_signal`.
    """
    limiter = 10.0 ** (LIMITER_NOISE_DB / 20.0)
    levels = [np.float32(math.hypot(channel.noise, limiter)) for channel in channels]
    shaped = [bool(channel.equaliser_db) and channel.noise > limiter for channel in channels]
    result = np.empty(noise.size - 4, dtype=np.complex64)
    if len(set(levels)) == 1 and not any(shaped):
        # Four channels alike, in one step: each step costs the browser more than a pass has samples for.
        np.multiply(_reals(noise[2:-2]), levels[0], out=_reals(result))
    else:
        heads = head_of_pass(match, schedule.passes)
        for k, where in _pass_slices(schedule, result.size):
            head = heads[k]
            source = noise[where.start + 2 : where.stop + 2]
            if shaped[head]:
                taps = equaliser_taps(channels[head].equaliser_db, standard, practice)
                source = equalise(noise[where.start : where.stop + 4], taps)
            np.multiply(_reals(source), levels[head], out=_reals(result[where]))
    for share, signal in parts:
        if share == 1.0:
            result += signal
        else:
            scaled = _reals(signal) * np.float32(share)
            result += scaled.view(np.complex64)
    return result


def _reals(values: ComplexArray) -> NDArray[np.float32]:
    """Return contiguous complex values as pairs of real ones, which are scaled with half the work."""
    return values.view(np.float32)


def single_head_signal(
    head: int,
    envelope: ComplexArray,
    noise: ComplexArray,
    match: TrackMatch,
    bow_m: float,
    channel: ChannelSettings,
    schedule: PassSchedule,
    standard: Standard,
    practice: Practice,
) -> ComplexArray:
    """Return the RF of one head's channel for a frame: a burst of some 101 degrees in each turn, else noise.

    Parameters
    ----------
    head : int
        0 to 3.
    envelope, noise, match, bow_m, channel, schedule, standard, practice
        As for `switched_signal` and `add_noise`.
    """
    count = envelope.size
    turn = 4.0 * count / schedule.passes
    first = int(np.flatnonzero(head_of_pass(match, schedule.passes) == head)[0])
    half = turn * FOOTPRINT.head_arc_deg / 720.0
    read = np.zeros_like(envelope)
    # What is over one end of the frame is at the other: it is played as a loop.
    for centre in (first + 0.5) * turn / 4.0 + turn * np.arange(-1, schedule.passes // 4 + 1):
        where = slice(max(0, math.ceil(centre - half)), min(count, math.floor(centre + half) + 1))
        if where.start < where.stop:
            read[where] = _off_tape(envelope, match, bow_m, schedule, standard, where)
            read[where] *= np.complex64(channel.signal)
    total = noise * np.complex64(channel.noise)
    total[2:-2] += read
    total[:2] += read[-2:]
    total[-2:] += read[:2]
    if not channel.equaliser_db:
        return total[2:-2]
    return equalise(total, equaliser_taps(channel.equaliser_db, standard, practice))
