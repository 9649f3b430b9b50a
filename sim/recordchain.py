"""The record side up to the heads: input and its level, modulator, the electronics-to-electronics path.

Contents: `RecordChain`, `RecordingShelf`, `with_level`.
"""

from __future__ import annotations

from collections import OrderedDict

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError
from sim.fm import OutputFilter, discriminate
from sim.modulated import modulated
from sim.signals import make_signal
from sim.standards import Practice, Standard, get_practice
from sim.tape import RecordedFrame, RecordSettings, TapeSpec, record_frame

__all__ = ["RecordChain", "RecordingShelf", "with_level"]

FloatArray = NDArray[np.float32]
ComplexArray = NDArray[np.complex64]

# Recordings kept ready: those on either side of a joint, and one more for going to and fro.
_MOST_RECORDINGS = 4


class RecordChain:
    """What happens to the input before the heads; it keeps what it last worked out.

    Parameters
    ----------
    standard, practice : Standard, Practice
        How the machine is set.
    source : ndarray of float32, (lines, samples)
        Video at the input [level unit].
    """

    def __init__(self, standard: Standard, practice: Practice, source: FloatArray) -> None:
        self._standard, self._practice = standard, practice
        self._source = source
        self._low_pass = OutputFilter(standard, practice)
        self._levelled: tuple[float, FloatArray] | None = None
        self._modulated: tuple[FloatArray, RecordSettings, ComplexArray] | None = None
        self._looped: tuple[ComplexArray, FloatArray] | None = None

    def set_source(self, programme: str | NDArray[np.floating]) -> None:
        """Change the video at the input: a test signal's name, or a frame (lines, samples) in level units.

        Raises
        ------
        BandbenchError
            If there is no such signal, the frame has the wrong shape or a sample is not finite.
        """
        frame = make_signal(programme, self._standard) if isinstance(programme, str) else programme
        expected = (self._standard.lines_per_frame, self._standard.samples_per_line)
        if frame.shape != expected:
            raise BandbenchError(f"input video: shape {frame.shape} given, {expected} (lines, samples) needed")
        if not np.isfinite(frame).all():
            raise BandbenchError("input video: it holds samples that are not finite numbers")
        self._source, self._levelled = np.asarray(frame, dtype=np.float32), None

    def at_level(self, level_db: float) -> FloatArray:
        """Return the input behind its level control, (lines, samples) [level unit]; do not write into it."""
        if self._levelled is None or self._levelled[0] != level_db:
            self._levelled = level_db, with_level(self._source, level_db)
        return self._levelled[1]

    def modulate(self, video: FloatArray, settings: RecordSettings) -> ComplexArray:
        """Return the modulator's RF envelope of one frame, (samples_per_frame,); that of the last one is kept."""
        last = self._modulated
        if last is None or last[0] is not video or last[1] != settings:
            levels = (settings.deviation_hz, settings.carrier_hz)
            self._modulated = last = video, settings, modulated(video, self._standard, self._practice, *levels)
        return last[2]

    def loop_back(self, video: FloatArray, settings: RecordSettings) -> FloatArray:
        """Return the frame through modulator and demodulator, no tape between, (lines, samples) [level unit]."""
        rf = self.modulate(video, settings)
        if self._looped is None or self._looped[0] is not rf:
            frequency_hz = discriminate(rf, self._standard.sample_rate_hz)
            self._looped = rf, self._low_pass(frequency_hz, None).reshape(video.shape)
        return self._looped[1]


def with_level(frame: NDArray[np.floating], level_db: float) -> FloatArray:
    """Return a frame behind a gain of `level_db`; blanking, 0 in both level units, stays."""
    video = np.asarray(frame, dtype=np.float32)
    return video * np.float32(10.0 ** (level_db / 20.0)) if level_db else video


class RecordingShelf:
    """Recordings of a reel as RF, the last few kept: making one takes long.

    Parameters
    ----------
    standard, practice : Standard, Practice
        How the machine is set; a tape without a practice of its own was recorded by that.
    """

    def __init__(self, standard: Standard, practice: Practice) -> None:
        self._standard, self._practice = standard, practice
        self._kept: OrderedDict[tuple[object, ...], tuple[FloatArray, RecordedFrame]] = OrderedDict()

    def recorded(self, tape: TapeSpec, programme: FloatArray, settings: RecordSettings | None) -> RecordedFrame:
        """Return what a recording left on tape (see `sim.tape.record_frame`); the programme is told by identity."""
        key = (tape, id(programme), settings)
        if key not in self._kept:
            practice = get_practice(tape.practice) if tape.practice else self._practice
            recorded = record_frame(programme, tape, self._standard, practice, settings)
            if len(self._kept) >= _MOST_RECORDINGS:
                self._kept.popitem(last=False)
            # The programme is kept with it: its identity must not go to another array.
            self._kept[key] = programme, recorded
        self._kept.move_to_end(key)
        return self._kept[key][1]
