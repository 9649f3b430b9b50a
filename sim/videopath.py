"""Video on its way from the demodulator to the processing amplifier: level, dropout compensator, time-base corrector.

Contents: `VideoPath`. Its stages work when a frame is asked for them, with the settings of the moment it was played.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.correction import Corrector
from sim.demodulator import Demodulator, TimeBase
from sim.dropout import compensate, lost_samples
from sim.running import Moved
from sim.signals import blanking_template
from sim.standards import Practice, Standard
from sim.videocircuits import VideoCondition

__all__ = ["VideoPath"]

FloatArray = NDArray[np.float32]
ComplexArray = NDArray[np.complex64]


class VideoPath:
    """The circuits behind the switcher.

    Parameters
    ----------
    standard, practice : Standard, Practice
        How the machine is set.
    seed : int
        Seed of the corrector's own trembling.

    Attributes
    ----------
    active : ndarray of bool, (lines, samples)
        Where there is picture.
    """

    def __init__(self, standard: Standard, practice: Practice, seed: int) -> None:
        self._standard = standard
        self._demodulator = Demodulator(standard, practice)
        self._corrector = Corrector(standard, seed)
        self._template, self.active = blanking_template(standard)
        # Monochrome working: the burst goes with the blanking it came in.
        self._plain_template, _ = blanking_template(standard, with_burst=False)

    def blanking(self, correction: str, circuits: VideoCondition) -> FloatArray:
        """Return the new blanking, (lines, samples) [level unit]; monochrome working has no burst."""
        template = self._template if correction == "colour" else self._plain_template
        return circuits.new_blanking(template, self._plain_template)

    def demodulate(
        self,
        *,
        rf: ComplexArray,
        base: TimeBase,
        line_error_s: NDArray[np.float64],
        level: float,
        speed_error: float,
        moved: Moved | None,
        circuits: VideoCondition,
        time_s: float,
    ) -> FloatArray:
        """Return a frame's video behind the level control, (lines, samples) [level unit].

        Parameters
        ----------
        rf, base, line_error_s, speed_error
            As for `Demodulator.video`.
        level : float
            Gain of the level control.
        moved : Moved or None
            How far the frame is early or late by whole samples.
        circuits : VideoCondition
            What is wrong with the circuits.
        time_s : float
            When the frame begins [s].
        """
        video = self._demodulator.video(rf, base, line_error_s, speed_error)
        if level != 1.0:
            video *= np.float32(level)
        video = circuits.demodulated(video, rf, self._standard, time_s)
        return video if moved is None else moved.samples(video)

    def correct(
        self,
        demod: FloatArray,
        *,
        rf: ComplexArray,
        threshold_db: float | None,
        correction: str,
        index: int,
        circuits: VideoCondition,
    ) -> FloatArray:
        """Return demodulated video with dropouts compensated, then its time base corrected, (lines, samples).

        Parameters
        ----------
        demod : ndarray of float32, (lines, samples)
            Demodulated video [level unit].
        rf : ndarray of complex64, (samples_per_frame,)
            Where its level shows what was lost.
        threshold_db : float or None
            RF level below which video is replaced [dB]; None leaves it.
        correction : str
            One of `sim.correction.CORRECTIONS`.
        index : int
            Number of the frame.
        circuits : VideoCondition
            What is wrong with the circuits.
        """
        video = demod
        if threshold_db is not None:
            lost = lost_samples(rf, threshold_db, self._standard).reshape(demod.shape)
            if lost.any():
                video = compensate(demod, lost, self._standard)
        return self._corrector(video, correction, index, circuits.corrector_noise_ns * 1e-9)
