"""One frame of playback: every signal the instruments look at, worked out when first asked for.

Contents: `PlaybackFrame`; what is behind the switcher is in `sim.videoframe`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.controltrack import control_track
from sim.headwheel import PassSchedule
from sim.videoframe import VideoFrame, VideoOrder

__all__ = ["PlaybackFrame"]


@dataclass(frozen=True, eq=False, kw_only=True)
class PlaybackFrame(VideoFrame):
    """Signals of one played frame: those of `VideoFrame` and the following. Do not write into its arrays.

    Attributes
    ----------
    guide_error_s : ndarray of float32, (lines, samples)
        Time-base error of guide and heads, played less recorded [s]; positive is early (see `sim.headwheel`).
    servo_error_s : ndarray, (lines,)
        Time-base error that the wheel servo leaves in each line [s].
    head_of_line : ndarray of int8, (lines,)
        Head, 1 to 4, that plays the active part of each line; 0 where its channel is switched off.
    control_phase_deg : float
        Phase of the off-tape control track against the wheel [deg].
    schedule : PassSchedule
        Wheel angle and pass of every sample.
    single_head : callable
        Works out one head's RF (head 0 to 3).
    source : ndarray of float32, (lines, samples)
        Video at the machine's input, after the input level control [level unit].
    modulate, loop_back : callables
        Work out the RF of the modulator, and the video that a demodulator makes of it at once.
    off_tape : bool
        True if the frame came off the tape; False if the machine shows its input through its own electronics.
    control_level : float
        Level the control head gives, 1 = a sound head on a good control track.
    lines_early : int
        By how many whole lines the picture has rolled; the schedule's passes stand so much earlier.
    order : VideoOrder or None
        What it takes to work out the video elsewhere; None where that is no work.
    """

    guide_error_s: NDArray[np.float32]
    servo_error_s: NDArray[np.float64]
    head_of_line: NDArray[np.int8]
    control_phase_deg: float
    schedule: PassSchedule
    single_head: Callable[[int], NDArray[np.complex64]]
    source: NDArray[np.float32]
    modulate: Callable[[], NDArray[np.complex64]]
    loop_back: Callable[[], NDArray[np.float32]]
    off_tape: bool = True
    lines_early: int = 0
    control_level: float = 1.0
    order: VideoOrder | None = None

    @cached_property
    def pass_of_line(self) -> NDArray[np.int64]:
        """Pass of the wheel, from 0, that plays the active part of each line, (lines,); a picture that has rolled has
        its passes rolled too."""
        return np.roll(self.schedule.pass_of_line(), -self.lines_early)

    @cached_property
    def record_rf(self) -> NDArray[np.complex64]:
        """RF envelope at the modulator's output, (samples_per_frame,), as `rf` but before any tape."""
        return self.modulate()

    @cached_property
    def electronics(self) -> NDArray[np.float32]:
        """The input through modulator and demodulator with no tape between, (lines, samples) [level unit]."""
        return self.loop_back()

    @cached_property
    def time_base_error_s(self) -> NDArray[np.float32]:
        """How early each sample of `demod` was read [s], (lines, samples)."""
        return self.guide_error_s + self.servo_error_s[:, None].astype(np.float32)

    @cached_property
    def rf_envelope(self) -> NDArray[np.float32]:
        """Amplitude of the RF at the switcher's output, (lines, samples), 1.0 = nominal."""
        return np.abs(self.rf).reshape(self.guide_error_s.shape)

    @cached_property
    def control_track(self) -> NDArray[np.float32]:
        """Off-tape control track, (lines, samples), 1 = the sine's peak where all is well."""
        return control_track(self.standard, self.control_phase_deg) * np.float32(self.control_level)

    def head_rf(self, head: int) -> NDArray[np.complex64]:
        """Return the RF of one head's channel before the switcher, (samples_per_frame,); `head` is 1 to 4."""
        if head not in (1, 2, 3, 4):
            raise ValueError(f"head {head!r}: there are heads 1 to 4")
        return self.single_head(head - 1)
