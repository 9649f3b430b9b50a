"""What can lie on a reel's tracks: takes of video and of control track, and how both divide the tape into frames.

Contents: `FOUR_TRACKS_M`, `frame_length_m`, `tape_speed_m_per_s`, `VideoTake`, `ControlTake`, `wrapped`.

A take is one run of one recording. It carries its own origin, so that cutting it into pieces changes nothing about the
pieces: what lies at a place is worked out from the place and the take alone. Two takes are the same take only if they
are the same object.

Positions are metres of tape from its beginning.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError
from sim.reel.colourframe import in_colour_frame
from sim.standards import FOOTPRINT, Standard, get_practice, get_standard
from sim.tape import RecordSettings, TapeSpec

__all__ = [
    "FOUR_TRACKS_M",
    "ControlTake",
    "VideoTake",
    "frame_length_m",
    "tape_speed_m_per_s",
    "wrapped",
]

# DERIVED: four tracks of tape, one cycle of the control track; 62.5 mil (ANSI C98.6-1965, as quoted second-hand).
FOUR_TRACKS_M = FOOTPRINT.control_period_m

# MODEL: a frame pulse lower than this is lost in the sine it sits on.
PULSE_FOUND_PCT = 40.0


def frame_length_m(standard: Standard) -> float:
    """Return the length of tape that one frame takes [m]: four tracks for each turn of the wheel.

    Examples
    --------
    >>> [round(frame_length_m(get_standard(name)) * 1e3, 3) for name in ("525/60", "625/50")]
    [12.7, 15.875]
    """
    return standard.wheel_turns_per_frame * FOUR_TRACKS_M


def tape_speed_m_per_s(standard: Standard) -> float:
    """Return the speed at which the tracks lie at their pitch [m/s].

    Notes
    -----
    DERIVED, frame length times frame rate: 396.875 mm/s in 625/50. In 525/60 it is 15 in/s at 60 fields a second, so
    15 in/s x 1000/1001 at the colour standard's 59.94.
    """
    return frame_length_m(standard) * standard.frame_rate_hz


def wrapped(value: float, period: float) -> float:
    """Return `value` less whole periods, from -period/2 up to and including +period/2."""
    rest = value - period * math.floor(value / period + 0.5)
    return 0.5 * period if rest == -0.5 * period else rest


@dataclass(frozen=True, eq=False)
class VideoTake:
    """One run of video recording. Do not write into its programme: takes share it.

    Attributes
    ----------
    origin_m : float
        Where field `first_field` of its frame number 0 begins [m].
    spec : TapeSpec
        State of the tape and errors of the machine that recorded it (geometry, levels of the tracks); its standard is
        the take's.
    programme : ndarray of float32, (lines, samples)
        The frame that was recorded, as it is in colour frame 0 of the sequence [level unit].
    settings : RecordSettings
        Deviation, carrier and record currents it was made with.
    practice : str
        Recording practice.
    colour_frame : int
        Which frame of the colour sequence frame number 0 is, from 0.
    first_field : int
        0 if the first field of the frame begins at the origin, 1 if the second.
    title : str
        What a log calls it.

    Raises
    ------
    BandbenchError
        If the practice is not of the standard, the frame has the wrong shape, or a number is out of its range.
    """

    origin_m: float
    spec: TapeSpec
    programme: NDArray[np.float32]
    settings: RecordSettings
    practice: str
    colour_frame: int = 0
    first_field: int = 0
    title: str = ""
    _in_colour_frame: dict[int, NDArray[np.float32]] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        standard = self.standard
        if not math.isfinite(self.origin_m):
            raise BandbenchError(f"video take: origin {self.origin_m!r} is not a finite number of metres")
        if get_practice(self.practice).standard != standard.name:
            raise BandbenchError(f"video take: practice '{self.practice}' does not belong to {standard.name}")
        if self.spec.practice != self.practice:
            raise BandbenchError(f"video take: practice '{self.practice}' given, its tape says '{self.spec.practice}'")
        expected = (standard.lines_per_frame, standard.samples_per_line)
        if self.programme.shape != expected:
            raise BandbenchError(f"video take: programme of shape {self.programme.shape} given, {expected} needed")
        if self.colour_frame not in range(standard.colour_frames):
            last = standard.colour_frames - 1
            raise BandbenchError(f"video take: colour frame {self.colour_frame!r}; {standard.name} has 0 to {last}")
        if self.first_field not in (0, 1):
            raise BandbenchError(f"video take: first field {self.first_field!r}; use 0 or 1")

    @cached_property
    def standard(self) -> Standard:
        """The scanning standard it was recorded in."""
        if not self.spec.standard:
            raise BandbenchError(f"video take: tape '{self.spec.name}' names no standard; a take needs one")
        return get_standard(self.spec.standard)

    def programme_in(self, colour_frame: int) -> NDArray[np.float32]:
        """Return the programme as it is in another frame of the colour sequence, (lines, samples).

        Do not write into it. Playback loops one frame, against a reference that stays in colour frame 0; to it, a take
        that is `colour_frame` frames out of the sequence is this. The same array is returned every time.
        """
        if not colour_frame:
            return self.programme
        if colour_frame not in self._in_colour_frame:
            self._in_colour_frame[colour_frame] = in_colour_frame(self.programme, self.standard, colour_frame)
        return self._in_colour_frame[colour_frame]

    def frames_at(self, position_m: float) -> float:
        """Return how many frames, with their parts, have begun from that of number 0 up to a place on tape."""
        return (position_m - self.origin_m) / frame_length_m(self.standard) + 0.5 * self.first_field

    def colour_frame_at(self, position_m: float) -> int:
        """Return which frame of the colour sequence is recorded at a place on tape."""
        # A place a nanometre before a frame's beginning is its beginning.
        return (self.colour_frame + math.floor(self.frames_at(position_m) + 1e-6)) % self.standard.colour_frames


@dataclass(frozen=True, eq=False)
class ControlTake:
    """One run of control track.

    Attributes
    ----------
    origin_m : float
        Where a frame begins for the machine that recorded it [m].
    phase_deg : float
        How far the sine is ahead of where practice wants it against the tracks [deg of a cycle, which is four tracks].
    level_db : float
        Level, 0 = practice [dB].
    frame_pulse_cycles : int
        How many cycles late the frame pulse is: 0 if it marks the frame's beginning.
    standard_name : str
        Scanning standard: how many cycles a frame has.
    frame_pulse_pct : float
        Height of the frame pulse against a right one [%]; a low one is not found.

    Raises
    ------
    BandbenchError
        If a number is not finite.
    """

    origin_m: float
    phase_deg: float = 0.0
    level_db: float = 0.0
    frame_pulse_cycles: int = 0
    standard_name: str = "525/60"
    frame_pulse_pct: float = 100.0

    def __post_init__(self) -> None:
        numbers = (self.origin_m, self.phase_deg, self.level_db, self.frame_pulse_cycles, self.frame_pulse_pct)
        if not all(map(math.isfinite, numbers)):
            raise BandbenchError("control take: origin, phase, level and frame pulse must be finite numbers")

    @property
    def pulse_found(self) -> bool:
        """Whether playback finds the frame pulse."""
        return self.frame_pulse_pct >= PULSE_FOUND_PCT

    @cached_property
    def standard(self) -> Standard:
        """The scanning standard it was recorded in."""
        return get_standard(self.standard_name)

    def cycles_at(self, position_m: float) -> float:
        """Return the phase of the sine at a place on tape, in cycles from the frame pulse that counts as number 0."""
        return (position_m - self.origin_m) / FOUR_TRACKS_M + self.phase_deg / 360.0 - self.frame_pulse_cycles

    def frame_start_near(self, position_m: float) -> float:
        """Return the place nearest to `position_m` at which the frame pulse says that a frame begins [m]."""
        cycles = self.cycles_at(position_m)
        return position_m - wrapped(cycles, self.standard.wheel_turns_per_frame) * FOUR_TRACKS_M
