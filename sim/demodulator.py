"""The demodulator under the time base of guide, heads and wheel: RF of a frame in, video where it stands out.

Contents: `TimeBase`, `time_base`, `Demodulator`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.fm import OutputFilter, discriminate
from sim.headwheel import GuideGeometry, PassSchedule, time_base_error, time_base_slope
from sim.playback import head_of_pass
from sim.running import speed_level
from sim.standards import Practice, Standard
from sim.timebase import Displacement
from sim.tracking import TrackMatch

__all__ = ["Demodulator", "TimeBase", "time_base"]

# Pieces of a line in which time-base errors are smooth; the switcher turns over between two of them.
_SEGMENTS_PER_LINE = 7


@dataclass(frozen=True, eq=False)
class TimeBase:
    """Time-base error of guide and heads: playback's less what the tape already has.

    Attributes
    ----------
    error_s, slope : ndarray of float32, (samples_per_frame,)
        How early each sample is read [s], and by what share faster.
    rate_hz : float
        Sample rate [Hz].
    segment, first : int
        Samples in which errors are smooth, and where such a segment begins (see `Displacement`).

    Notes
    -----
    Pickled without what it can work out again, which is much longer than itself.
    """

    error_s: NDArray[np.float32]
    slope: NDArray[np.float32]
    rate_hz: float
    segment: int
    first: int

    @cached_property
    def displacement(self) -> Displacement | None:
        """What moves samples by the error; None if there is nothing to move."""
        if not self.error_s.any():
            return None
        return Displacement(self.error_s, self.rate_hz, self.segment, self.first)

    def __getstate__(self) -> dict[str, object]:
        return {name: value for name, value in self.__dict__.items() if name != "displacement"}


def time_base(
    machine: GuideGeometry, recorded: GuideGeometry, match: TrackMatch, schedule: PassSchedule, standard: Standard
) -> TimeBase:
    """Work out the time base of a machine that plays a recording of another.

    Parameters
    ----------
    machine, recorded : GuideGeometry
        Errors of the machine that plays, and of the one that recorded.
    match : TrackMatch
        Which head follows which track.
    schedule, standard : PassSchedule, Standard
        Where the wheel is at each sample.
    """
    # In all but the heads an error is in proportion to the geometry: that of the difference is their difference.
    apart = replace(
        machine,
        inward_um=machine.inward_um - recorded.inward_um,
        height_um=machine.height_um - recorded.height_um,
        stretch_ppm=machine.stretch_ppm - recorded.stretch_ppm,
    )
    error = time_base_error(apart, head_of_pass(match, schedule.passes), standard, schedule)
    if any(recorded.head_timing_ns):
        heads = GuideGeometry(head_timing_ns=recorded.head_timing_ns)
        error -= time_base_error(heads, np.arange(schedule.passes) % 4, standard, schedule)
    slope = time_base_slope(apart, standard, schedule)
    segment = standard.samples_per_line // _SEGMENTS_PER_LINE
    return TimeBase(error, slope, standard.sample_rate_hz, segment, -schedule.switch_lead % segment)


class Demodulator:
    """The discriminator with its filters.

    Parameters
    ----------
    standard, practice : Standard, Practice
        How the machine is set.
    """

    def __init__(self, standard: Standard, practice: Practice) -> None:
        self._standard, self._practice = standard, practice
        self._sample_filter = OutputFilter(standard, practice)
        self._spline_filter = OutputFilter(standard, practice, spline=True)

    def video(
        self,
        rf: NDArray[np.complex64],
        base: TimeBase,
        line_error_s: NDArray[np.float64],
        speed_error: float,
    ) -> NDArray[np.float32]:
        """Return the video of one frame's RF, each sample where its time base puts it [level unit].

        Parameters
        ----------
        rf : ndarray of complex64, (samples_per_frame,)
            RF at the switcher's output.
        base : TimeBase
            Errors of guide and heads.
        line_error_s : ndarray of float64, (lines,)
            How early the wheel is in each line [s].
        speed_error : float
            How much too fast it turns.
        """
        standard, practice = self._standard, self._practice
        frequency_hz = discriminate(rf, standard.sample_rate_hz)
        late = line_error_s if line_error_s.any() else None
        if base.displacement is None:
            video = self._sample_filter(frequency_hz, late)
        else:
            video = base.displacement(self._spline_filter(frequency_hz, late))
            # The reproduced carrier is faster by the slope: blanking's own frequency moves as well.
            hz_per_level = practice.white_deviation_hz / (standard.white_level - standard.blanking_level)
            video += base.slope * (video + np.float32(practice.blanking_hz / hz_per_level - standard.blanking_level))
        if speed_error:
            video += np.float32(speed_level(speed_error, standard, practice))
        return video
