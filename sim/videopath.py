"""Video on its way from the demodulator to the processing amplifier: level, dropout compensator, time-base corrector.

Contents: `VideoPath`, `video_frame`. Its stages work when a frame is asked for them, with the settings of the moment it
was played.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.correction import Corrector
from sim.demodulator import Demodulator
from sim.dropout import compensate, lost_samples
from sim.signals import blanking_template
from sim.standards import Practice, Standard, get_practice, get_standard
from sim.videocircuits import VideoCondition
from sim.videoframe import VideoFrame, VideoOrder

__all__ = ["VideoPath", "video_frame"]

FloatArray = NDArray[np.float32]


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

    def frame(self, order: VideoOrder) -> VideoFrame:
        """Return the video of a frame, from its RF on."""
        return VideoFrame(
            standard=self._standard,
            index=order.index,
            rf=order.placed_rf,
            template=self.blanking(order.correction, order.circuits),
            active=self.active,
            demodulate=lambda: self.demodulate(order),
            correct=lambda demod: self.correct(demod, order),
            circuits=order.circuits,
        )

    def demodulate(self, order: VideoOrder) -> FloatArray:
        """Return a frame's video behind the level control, (lines, samples) [level unit]."""
        video = self._demodulator.video(order.rf, order.base, order.line_error_s, order.speed_error)
        if order.level != 1.0:
            video *= np.float32(order.level)
        video = order.circuits.demodulated(video, order.rf, self._standard, order.time_s)
        return video if order.moved is None else order.moved.samples(video)

    def correct(self, demod: FloatArray, order: VideoOrder) -> FloatArray:
        """Return demodulated video with dropouts compensated, then its time base corrected, (lines, samples)."""
        video = demod
        if order.threshold_db is not None:
            lost = lost_samples(order.placed_rf, order.threshold_db, self._standard).reshape(demod.shape)
            if lost.any():
                video = compensate(demod, lost, self._standard)
        return self.time_base_corrected(video, order.correction, order.index, order.circuits)

    def time_base_corrected(
        self, video: FloatArray, correction: str, index: int, circuits: VideoCondition
    ) -> FloatArray:
        """Return video as the time-base corrector leaves it, (lines, samples).

        Parameters
        ----------
        video : ndarray of float32, (lines, samples)
            Video before it [level unit].
        correction : str
            One of `sim.correction.CORRECTIONS`.
        index : int
            Number of the frame.
        circuits : VideoCondition
            What is wrong with the circuits.
        """
        return self._corrector(video, correction, index, circuits.corrector_noise_ns * 1e-9)


def video_frame(order: VideoOrder) -> VideoFrame:
    """Return the video of a frame as the machine that played it has it, from the order alone."""
    return _path(order.standard, order.practice, order.seed).frame(order)


@lru_cache(maxsize=1)
def _path(standard: str, practice: str, seed: int) -> VideoPath:
    return VideoPath(get_standard(standard), get_practice(practice), seed)
