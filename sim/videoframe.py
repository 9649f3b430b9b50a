"""The video of one played frame, from the switcher's RF on, and all that it takes to work it out elsewhere.

What comes before the switcher is many small things, which only the machine itself has; what comes after it is much
work on one long signal. A `VideoOrder` is the seam: whoever has one makes the same picture of it, sample by sample.

Contents: `VideoOrder`, `VideoFrame`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.demodulator import TimeBase
from sim.output import sync_edges_s
from sim.running import Moved
from sim.standards import Standard
from sim.videocircuits import SOUND_CIRCUITS, VideoCondition

__all__ = ["VideoFrame", "VideoOrder"]


@dataclass(frozen=True, eq=False)
class VideoOrder:
    """RF of one frame, and how everything stands that makes video of it. It can be pickled.

    Attributes
    ----------
    standard, practice : str
        Names of scanning standard and recording practice.
    seed : int
        Seed of all that trembles by itself.
    index : int
        Number of the frame.
    time_s : float
        When the frame begins [s].
    rf : ndarray of complex64, (samples_per_frame,)
        RF envelope at the switcher's output, where it was read.
    base : TimeBase
        Errors of guide and heads.
    line_error_s : ndarray of float64, (lines,)
        How early the wheel is in each line [s].
    speed_error : float
        How much too fast it turns.
    moved : Moved or None
        How far the frame is early or late by whole samples.
    level : float
        Gain of the level control.
    threshold_db : float or None
        RF level below which video is replaced [dB]; None leaves it.
    correction : str
        One of `sim.correction.CORRECTIONS`.
    circuits : VideoCondition
        What is wrong with the circuits.
    """

    standard: str
    practice: str
    seed: int
    index: int
    time_s: float
    rf: NDArray[np.complex64]
    base: TimeBase
    line_error_s: NDArray[np.float64]
    speed_error: float
    moved: Moved | None
    level: float
    threshold_db: float | None
    correction: str
    circuits: VideoCondition

    @cached_property
    def placed_rf(self) -> NDArray[np.complex64]:
        """RF in the places where its video stands, (samples_per_frame,)."""
        return self.rf if self.moved is None else self.moved.samples(self.rf)


@dataclass(frozen=True, eq=False, kw_only=True)
class VideoFrame:
    """Video of one played frame, worked out when first asked for. Do not write into its arrays.

    Attributes
    ----------
    standard : Standard
        Scanning standard.
    index : int
        Frame number since time 0.
    rf : ndarray of complex64, (samples_per_frame,)
        RF envelope at the switcher's output, centred on half the sample rate, 1.0 = a good head on its track.
    template, active : ndarray, (lines, samples)
        What the processing amplifier puts around the picture, and where the picture is.
    demodulate, correct : callables
        Work out what a reading of RF alone does not need: the demodulated frame, and the video after dropout
        compensation and time-base correction.
    circuits : VideoCondition
        How the processing amplifier is.
    """

    standard: Standard
    index: int
    rf: NDArray[np.complex64]
    template: NDArray[np.float32]
    active: NDArray[np.bool_]
    demodulate: Callable[[], NDArray[np.float32]]
    correct: Callable[[NDArray[np.float32]], NDArray[np.float32]]
    circuits: VideoCondition = SOUND_CIRCUITS

    @property
    def is_demodulated(self) -> bool:
        """Whether `demod` has been worked out: what is read from the video costs little then."""
        return "demod" in self.__dict__

    @cached_property
    def demod(self) -> NDArray[np.float32]:
        """Demodulated video in time order, (lines, samples) [level unit], each row from the reference's 0H."""
        return self.demodulate().reshape(self.template.shape)

    @cached_property
    def sync_edges_s(self) -> NDArray[np.float64]:
        """Position of each line's sync edge against 0H [s], positive late, NaN where none; shape (lines,)."""
        return sync_edges_s(self.demod, self.standard)

    @cached_property
    def corrected(self) -> NDArray[np.float32]:
        """Video after dropout compensation and time-base correction, (lines, samples); `demod` if both are off."""
        return self.correct(self.demod)

    @cached_property
    def processed(self) -> NDArray[np.float32]:
        """Processed video, (lines, samples) [level unit]."""
        video = self.corrected
        edges_s = self.sync_edges_s if video is self.demod else sync_edges_s(video, self.standard)
        return self.circuits.finished(video, edges_s, self.template, self.active, self.standard)
