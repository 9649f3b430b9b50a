"""What is wrong in the circuits between the limiter and the output, and what that does to the video.

Contents: `VideoCondition`, whose methods do it, and `SOUND_CIRCUITS`, in which nothing is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, check_ranges
from sim.output import clamp_levels, process
from sim.standards import Standard

__all__ = ["SOUND_CIRCUITS", "VideoCondition", "VideoConditionError"]

FloatArray = NDArray[np.float32]
ComplexArray = NDArray[np.complex64]

# Range of each entry of `VideoCondition` (MODEL).
_RANGES = {
    "demodulator_gain_db": (-20.0, 20.0),
    "deemphasis_error_pct": (-100.0, 100.0),
    "limiter_leak_pct": (0.0, 100.0),
    "video_hum_pct": (0.0, 100.0),
    "compensator_offset_db": (-60.0, 60.0),
    "corrector_noise_ns": (0.0, 1000.0),
    "clamp_lost_pct": (0.0, 100.0),
    "setup_offset_pct": (-100.0, 100.0),
    "white_limit_pct": (10.0, 200.0),
    "new_sync_pct": (0.0, 200.0),
}
# MODEL: detail is what an average over so long takes away; near the time constants of the emphasis.
_DETAIL_S = 0.49e-6
# MODEL: the limiter's leak follows the RF averaged over this.
_LEAK_S = 0.21e-6
# MODEL: without a clamp the picture floats about its mean, right for a picture of so much of white on the average.
_MEAN_PICTURE = 0.3
# MODEL: frequency of the mains [Hz] for either colour system.
_MAINS_HZ = {"NTSC": 60.0, "PAL": 50.0}


class VideoConditionError(BandbenchError):
    """A state of the video circuits that cannot be; says which value and what would do."""


@dataclass(frozen=True)
class VideoCondition:
    """The hidden state of demodulator, compensator, corrector and processing; every default is sound.

    Attributes
    ----------
    demodulator_gain_db : float
        How much more the demodulator gives than it should [dB].
    deemphasis_error_pct : float
        How much more of the fine detail the de-emphasis leaves than it should [%].
    limiter_leak_pct : float
        How much of an amplitude change of the RF gets past the limiter into the video [% of white, for a change by
        the nominal amplitude].
    video_hum_pct : float
        Hum of the mains in the demodulated video, from middle to peak [% of white].
    compensator_offset_db : float
        How much higher the RF is at which the dropout compensator trips than its control reads [dB].
    corrector_noise_ns : float
        Time-base error that the corrector itself adds from line to line, rms [ns].
    clamp_lost_pct : float
        How much of the clamp's work is not done [%].
    setup_offset_pct : float
        How much too high the picture is set on new blanking [% of white].
    white_limit_pct : float
        Level above which the processing cuts white [% of white].
    new_sync_pct : float
        Level of the new sync against the standard's [%].

    Raises
    ------
    VideoConditionError
        If a value is not finite or out of its range.
    """

    demodulator_gain_db: float = 0.0
    deemphasis_error_pct: float = 0.0
    limiter_leak_pct: float = 0.0
    video_hum_pct: float = 0.0
    compensator_offset_db: float = 0.0
    corrector_noise_ns: float = 0.0
    clamp_lost_pct: float = 0.0
    setup_offset_pct: float = 0.0
    white_limit_pct: float = 130.0
    new_sync_pct: float = 100.0

    def __post_init__(self) -> None:
        check_ranges(self, _RANGES, "condition.outside", VideoConditionError)

    def demodulated(self, video: FloatArray, rf: ComplexArray, standard: Standard, time_s: float) -> FloatArray:
        """Return what the demodulator makes in place of right video.

        Parameters
        ----------
        video : ndarray of float32, (lines, samples) or flat
            Rightly demodulated video [level unit].
        rf : ndarray of complex64, (samples_per_frame,)
            RF envelope at the limiter, 1 = nominal.
        standard : Standard
            Levels and timing.
        time_s : float
            When the frame begins [s].
        """
        result = video.ravel()
        if self.deemphasis_error_pct:
            detail = result - _averaged(result, _DETAIL_S, standard)
            result = result + np.float32(0.01 * self.deemphasis_error_pct) * detail
        if self.limiter_leak_pct:
            amplitude = np.minimum(_averaged(np.abs(rf).ravel(), _LEAK_S, standard), 2.0)
            leak = 0.01 * self.limiter_leak_pct * standard.white_level
            result = result + np.float32(leak) * (amplitude - np.float32(1.0))
        if self.demodulator_gain_db:
            result = result * np.float32(10.0 ** (self.demodulator_gain_db / 20.0))
        if self.video_hum_pct:
            at_s = time_s + np.arange(result.size, dtype=np.float64) / standard.sample_rate_hz
            swing = 0.01 * self.video_hum_pct * standard.white_level
            turns = _MAINS_HZ[standard.colour_system] * at_s
            result = result + (swing * np.sin(2.0 * np.pi * (turns - np.floor(turns)))).astype(np.float32)
        return np.asarray(result.reshape(video.shape), dtype=np.float32)

    def threshold_db(self, control_db: float, lowest_db: float) -> float:
        """Return where the dropout compensator trips [dB], at most 0; `lowest_db` for never."""
        if control_db <= lowest_db:
            return lowest_db
        return min(max(control_db + self.compensator_offset_db, lowest_db), 0.0)

    def clamp_level(self, video: FloatArray, edges_s: NDArray[np.float64], standard: Standard) -> FloatArray:
        """Return what is taken from each line before it is finished, (lines,) (see `sim.output.clamp_levels`)."""
        level = clamp_levels(video, edges_s, standard)
        if not self.clamp_lost_pct:
            return level
        lost = np.float32(0.01 * self.clamp_lost_pct)
        floating = np.float32(float(video.mean(dtype=np.float64)) - _MEAN_PICTURE * standard.white_level)
        return (np.float32(1.0) - lost) * level + lost * floating

    def finished(
        self,
        video: FloatArray,
        edges_s: NDArray[np.float64],
        template: FloatArray,
        active: NDArray[np.bool_],
        standard: Standard,
    ) -> FloatArray:
        """Return processed video (see `sim.output.process`) as these circuits make it."""
        clamp = self.clamp_level(video, edges_s, standard)
        if self.setup_offset_pct:
            clamp = clamp - np.float32(0.01 * self.setup_offset_pct * standard.white_level)
        result = process(video, clamp, template, active, standard)
        limit = np.float32(0.01 * self.white_limit_pct * standard.white_level)
        return np.minimum(result, limit) if self.white_limit_pct < SOUND_CIRCUITS.white_limit_pct else result

    def new_blanking(self, template: FloatArray, plain: FloatArray) -> FloatArray:
        """Return the blanking that is put in: `template` has burst, `plain` is the same without, (lines, samples)."""
        if self.new_sync_pct == 100.0:
            return template
        sync = np.where(plain < 0.0, plain * np.float32(0.01 * self.new_sync_pct), plain)
        return np.asarray(sync + (template - plain), dtype=np.float32)


SOUND_CIRCUITS = VideoCondition()
"""Circuits in which nothing is wrong."""


def _averaged(values: FloatArray, over_s: float, standard: Standard) -> FloatArray:
    """Return the running mean over so long, in place; the frame is a loop."""
    half = max(1, round(0.5 * over_s * standard.sample_rate_hz))
    width = 2 * half + 1
    padded = np.concatenate((values[-half - 1 :], values, values[:half]))
    total = np.cumsum(padded, dtype=np.float64)
    return ((total[width:] - total[:-width]) / width).astype(np.float32)
