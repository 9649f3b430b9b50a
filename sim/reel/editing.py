"""Electronic editing as arithmetic: where an edit begins and ends, what it erases, and how well its joints fit.

Contents: `EDIT_MODES`, `MASTER_ERASE_UPSTREAM_M`, `erase_delay_frames`, `EditPlan`, `plan_edit`, `continuing_control`,
`EditJoint`, `joints`, `joint_at`, `describe_joint`.

In an assembled edit the machine lays a new control track behind the old one; in an insert edit it keeps the old one,
which must then run through the whole of it. Both begin and end at a frame's beginning, found by the frame pulse.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from sim.errors import BandbenchError, UnknownNameError
from sim.reel.contents import FOUR_TRACKS_M, ControlTake, VideoTake, frame_length_m, wrapped
from sim.reel.playing import colour_step, control_step, sequence_step_frames
from sim.reel.reel import TRACKS, Reel, Segment
from sim.standards import Standard
from sim.wording import wording

__all__ = [
    "EDIT_MODES",
    "MASTER_ERASE_UPSTREAM_M",
    "EditJoint",
    "EditPlan",
    "continuing_control",
    "describe_joint",
    "erase_delay_frames",
    "joint_at",
    "joints",
    "plan_edit",
]

EDIT_MODES: Mapping[str, str] = MappingProxyType(
    {
        "assemble": wording("editing.lays_picture_new_control"),
        "insert": wording("editing.lays_picture_alone_over"),
    }
)

# MEMORY: the master erase head stands about nine inches upstream of the head wheel, 144 cycles of control track.
MASTER_ERASE_UPSTREAM_M = 9.0 * 25.4e-3

# Recording over an old recording that was not erased first leaves this much less of the new one [dB] (MODEL).
_NOT_ERASED_DB = -8.0
# Steps of the control track's phase up to this are followed unseen [deg] (MODEL: a tenth of the way to the next track).
_PHASE_TOLERANCE_DEG = 9.0


def erase_delay_frames(standard: Standard) -> float:
    """Return for how many frames tape runs from the master erase head to the wheel.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> [round(erase_delay_frames(get_standard(name)), 6) for name in ("525/60", "625/50")]
    [18.0, 14.4]
    """
    return MASTER_ERASE_UPSTREAM_M / frame_length_m(standard)


@dataclass(frozen=True)
class EditPlan:
    """One electronic edit.

    Attributes
    ----------
    mode : str
        "assemble" or "insert".
    standard : Standard
        Scanning standard.
    entry_m, exit_m : float
        Where the new picture begins and ends, at frames' beginnings [m]; an assembled edit may end at infinity: it
        goes on until the machine is stopped.
    delayed_erase : bool
        True if the erase head is switched on and off ahead of the heads, by the time tape takes from one to the
        other; False if it is switched together with them.
    """

    mode: str
    standard: Standard
    entry_m: float
    exit_m: float
    delayed_erase: bool = True
    _not_erased: dict[VideoTake, VideoTake] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def erased_m(self) -> tuple[float, float]:
        """The stretch of tape that is erased, from and to [m]."""
        late_m = 0.0 if self.delayed_erase else MASTER_ERASE_UPSTREAM_M
        return self.entry_m + late_m, self.exit_m + late_m

    @property
    def overlap_m(self) -> float:
        """Length of tape after the entry that is recorded over without having been erased [m]."""
        return min(self.erased_m[0], self.exit_m) - self.entry_m

    @property
    def hole_m(self) -> float:
        """Length of tape after the exit that is erased and not recorded [m]."""
        erase_from, erase_to = self.erased_m
        return 0.0 if math.isinf(self.exit_m) else erase_to - max(erase_from, self.exit_m)

    @property
    def erases_tracks(self) -> tuple[str, ...]:
        """Tracks that are erased: all of them, but in an insert edit the picture alone."""
        return ("video",) if self.mode == "insert" else TRACKS

    def run(self, reel: Reel, from_m: float, to_m: float, video: VideoTake, control: ControlTake | None = None) -> None:
        """Do what the edit does while tape runs at the wheel from one place to the next.

        Parameters
        ----------
        reel : Reel
            The tape; it is changed.
        from_m, to_m : float
            Where the wheel stands before and after [m]. Begin no later than the erase head's distance before the
            entry: what runs past the erase head before is not erased.
        video : VideoTake
            The new picture, the same object every time.
        control : ControlTake, optional
            The new control track, which an assembled edit needs (see `continuing_control`).

        Raises
        ------
        BandbenchError
            If an assembled edit is given no control track, an insert edit is given one, or the reel's ring is off.
        """
        if (control is None) != (self.mode == "insert"):
            raise BandbenchError(wording("editing.edit_assembled_edit_needs"))
        erase_from, erase_to = self.erased_m
        start, end = from_m + MASTER_ERASE_UPSTREAM_M, to_m + MASTER_ERASE_UPSTREAM_M
        start, end = max(start, erase_from), min(end, erase_to)
        if start < end:
            for track in self.erases_tracks:
                reel.erase(track, start, end)
        start, end = max(from_m, self.entry_m), min(to_m, self.exit_m)
        if not start < end:
            return
        if start < erase_from:
            self._record_unerased(reel, start, min(end, erase_from), video)
            start, picture_from = min(end, erase_from), start
        else:
            picture_from = start
        if start < end:
            reel.record("video", start, end, video)
        if control is not None:
            reel.record("control", picture_from, end, control)

    def _record_unerased(self, reel: Reel, start_m: float, end_m: float, video: VideoTake) -> None:
        """Record where the erase head has not been; only what lies there already harms the new recording."""
        old = [(max(part.start_m, start_m), min(part.end_m, end_m)) for part in self._old_parts(reel, start_m, end_m)]
        reel.record("video", start_m, end_m, video)
        if not old:
            return
        if video not in self._not_erased:
            levels = tuple(level_db + _NOT_ERASED_DB for level_db in video.spec.track_level_db)
            spec = replace(video.spec, track_level_db=(levels[0], levels[1], levels[2], levels[3]))
            self._not_erased[video] = replace(video, spec=spec)
        for first_m, last_m in old:
            reel.record("video", first_m, last_m, self._not_erased[video])

    def _old_parts(self, reel: Reel, start_m: float, end_m: float) -> list[Segment]:
        new = self._not_erased.values()
        return [
            part
            for part in reel.segments("video", start_m, end_m)
            if part.content not in self._not_erased and part.content not in new
        ]


def plan_edit(
    reel: Reel,
    mode: str,
    entry_m: float,
    exit_m: float | None = None,
    *,
    delayed_erase: bool = True,
    colour_frame: int | None = None,
) -> EditPlan:
    """Plan an edit: move its ends to frames' beginnings by the frame pulse, and refuse what cannot be done.

    Parameters
    ----------
    reel : Reel
        The tape as it is before the edit.
    mode : str
        A key of `EDIT_MODES`.
    entry_m, exit_m : float
        Where the new picture is wanted from and to [m]; an insert edit needs both.
    delayed_erase : bool
        See `EditPlan`.
    colour_frame : int, optional
        Frame of the colour sequence with which the new picture begins: the entry is moved to the nearest frame at
        which that continues the old picture's sequence.

    Raises
    ------
    UnknownNameError, BandbenchError
        If there is no such mode, nothing is left between entry and exit, or an insert edit finds a gap or a step in
        the control track.
    """
    if mode not in EDIT_MODES:
        raise UnknownNameError("edit mode", mode, EDIT_MODES)
    control = reel.at("control", entry_m) or reel.at("control", entry_m - FOUR_TRACKS_M)
    if mode == "insert":
        if exit_m is None:
            raise BandbenchError(wording("editing.insert_edit_give_place"))
        if not isinstance(control, ControlTake):
            raise BandbenchError(wording("editing.insert_edit_no_control", entry_m=f"{entry_m:.2f}"))
    wanted_exit_m = math.inf if exit_m is None else exit_m
    if isinstance(control, ControlTake):
        entry_m = control.frame_start_near(entry_m)
        if colour_frame is not None:
            entry_m = _in_sequence(reel, entry_m, colour_frame)
        if math.isfinite(wanted_exit_m):
            wanted_exit_m = control.frame_start_near(wanted_exit_m)
    if not wanted_exit_m > entry_m:
        raise BandbenchError(
            wording(f"editing.{mode}_ends_before", wanted_exit_m=f"{wanted_exit_m:.2f}", entry_m=f"{entry_m:.2f}")
        )
    if mode == "insert":
        _check_control_runs_through(reel, entry_m, wanted_exit_m)
    standard = control.standard if isinstance(control, ControlTake) else reel.standard
    return EditPlan(mode, standard, entry_m, wanted_exit_m, delayed_erase)


def _in_sequence(reel: Reel, entry_m: float, colour_frame: int) -> float:
    old = reel.at("video", entry_m - 0.5 * FOUR_TRACKS_M)
    if not isinstance(old, VideoTake):
        return entry_m
    frames = wrapped(colour_frame - old.colour_frame_at(entry_m), old.standard.colour_frames)
    return entry_m + frames * frame_length_m(old.standard)


def _check_control_runs_through(reel: Reel, entry_m: float, exit_m: float) -> None:
    segments = reel.segments("control", entry_m, exit_m)
    reached_m, before = entry_m, segments[0].content if segments else None
    for segment in segments:
        if segment.start_m > reached_m + 1e-9:
            break
        if isinstance(before, ControlTake) and isinstance(segment.content, ControlTake):
            pulse, phase_deg = control_step(before, segment.content, segment.start_m)
            if pulse or abs(phase_deg) > _PHASE_TOLERANCE_DEG:
                raise BandbenchError(wording("editing.insert_edit_control_track_2", start_m=f"{segment.start_m:.2f}"))
        reached_m, before = segment.end_m, segment.content
    if reached_m < exit_m - 1e-9:
        raise BandbenchError(wording("editing.insert_edit_control_track", reached_m=f"{reached_m:.2f}"))


def continuing_control(
    reel: Reel,
    entry_m: float,
    *,
    phase_error_deg: float = 0.0,
    frame_pulse_error_cycles: int = 0,
    level_db: float = 0.0,
    frame_pulse_pct: float = 100.0,
) -> ControlTake:
    """Return the control track an assembled edit lays: it continues the old one's phase and frame pulse.

    Parameters
    ----------
    reel : Reel
        The tape; where it has no control track before the entry, a frame begins at the entry.
    entry_m : float
        Where the edit begins [m].
    phase_error_deg, frame_pulse_error_cycles : float, int
        What the machine gets wrong: how far the new sine is ahead, and how many cycles the new frame pulse is late.
    level_db : float
        Level of the new control track [dB].
    frame_pulse_pct : float
        Height of its frame pulse [%].
    """
    old = reel.at("control", entry_m - 0.5 * FOUR_TRACKS_M)
    origin_m, standard = entry_m, reel.standard
    if isinstance(old, ControlTake):
        origin_m, standard = old.frame_start_near(entry_m), old.standard
    return ControlTake(origin_m, phase_error_deg, level_db, frame_pulse_error_cycles, standard.name, frame_pulse_pct)


@dataclass(frozen=True)
class EditJoint:
    """How well two recordings fit where they meet.

    Attributes
    ----------
    position_m : float
        Where the second begins [m].
    field_right : bool
        Whether its fields continue the first one's.
    colour_frame_right : bool
        Whether it continues the colour sequence; never where the field is wrong.
    control_phase_step_deg : float or None
        How far the control track behind the joint is ahead of the one before it [deg]; None where one is missing.
    frame_pulse_step_cycles : int or None
        How many whole cycles its frame pulse is ahead; None where one is missing.
    gap_m : float
        Length of tape without picture between the two [m].
    colour_step : int
        By how many frames the second is ahead of the colour sequence.
    """

    position_m: float
    field_right: bool
    colour_frame_right: bool
    control_phase_step_deg: float | None
    frame_pulse_step_cycles: int | None
    gap_m: float
    colour_step: int = 0

    def shift_ns(self, standard: Standard) -> float:
        """Return how far a picture that is held by its burst jumps sideways at the joint [ns]."""
        return 1e9 * _jump_cycles(self.colour_step, standard) / standard.subcarrier_hz

    def roll_lines(self, standard: Standard) -> float:
        """Return how far the picture stands up or down behind the joint [lines]: half a frame in the wrong field."""
        return 0.0 if self.field_right else standard.lines_per_frame / 2.0

    @property
    def clean(self) -> bool:
        """Whether nothing is seen of the joint but the change of picture."""
        step_deg = self.control_phase_step_deg
        held = step_deg is not None and abs(step_deg) <= _PHASE_TOLERANCE_DEG and self.frame_pulse_step_cycles == 0
        return held and self.field_right and self.colour_frame_right and self.gap_m == 0.0


def joints(reel: Reel) -> tuple[EditJoint, ...]:
    """Return every place of a reel where one take of video follows another, in order."""
    segments = reel.segments("video")
    return tuple(
        _joint(reel, before, after)
        for before, after in itertools.pairwise(segments)
        if isinstance(before.content, VideoTake) and isinstance(after.content, VideoTake)
    )


def joint_at(reel: Reel, position_m: float) -> EditJoint | None:
    """Return the joint within a frame of a place, the nearest; None if there is none."""
    near = [one for one in joints(reel) if abs(one.position_m - position_m) <= frame_length_m(reel.standard)]
    return min(near, key=lambda one: abs(one.position_m - position_m), default=None)


def _joint(reel: Reel, before: Segment, after: Segment) -> EditJoint:
    old, new = before.content, after.content
    assert isinstance(old, VideoTake)
    assert isinstance(new, VideoTake)
    place_m = after.start_m
    gap_m = place_m - before.end_m
    field_right, step = False, 0
    if old.standard is new.standard:
        frames = sequence_step_frames(old, new, place_m)
        step = colour_step(old, new, place_m)
        field_right = abs(wrapped(frames, 1.0)) < 0.25
    old_control = reel.at("control", before.end_m - 0.5 * FOUR_TRACKS_M)
    new_control = reel.at("control", place_m + 0.5 * FOUR_TRACKS_M)
    pulse: int | None = None
    phase_deg: float | None = None
    if isinstance(old_control, ControlTake) and isinstance(new_control, ControlTake):
        pulse, phase_deg = control_step(old_control, new_control, place_m)
    right = field_right and step == 0
    return EditJoint(place_m, field_right, right, phase_deg, pulse, gap_m, step)


def describe_joint(joint: EditJoint, standard: Standard) -> str:
    """Return what is right or wrong about a joint and what is seen of it, in one short text."""
    said = []
    if joint.gap_m > 0.0:
        frames = joint.gap_m / frame_length_m(standard)
        said.append(wording("editing.frames_tape_without_picture", frames=f"{frames:.1f}"))
    if joint.control_phase_step_deg is None:
        said.append(wording("editing.no_control_track_one"))
    else:
        if joint.frame_pulse_step_cycles:
            said.append(
                wording(
                    "editing.frame_pulse_steps_cycles", frame_pulse_step_cycles=f"{joint.frame_pulse_step_cycles:+d}"
                )
            )
        if abs(joint.control_phase_step_deg) > _PHASE_TOLERANCE_DEG:
            said.append(
                wording(
                    "editing.control_track_steps_deg", control_phase_step_deg=f"{joint.control_phase_step_deg:+.0f}"
                )
            )
    if not joint.field_right:
        said.append(wording("editing.wrong_field_picture_stands"))
    elif not joint.colour_frame_right:
        cycles = _jump_cycles(joint.colour_step, standard)
        key = "joint.half_cycle" if cycles == 0.5 else "joint.quarter_cycle"
        said.append(wording(key, ns=f"{joint.shift_ns(standard):.0f}"))
    return " ".join(said) if said else wording("editing.field_colour_frame_control")


def _jump_cycles(step: int, standard: Standard) -> float:
    """Return by what part of a cycle the subcarrier is off after `step` frames, without its sense."""
    per_frame = standard.lines_per_frame * standard.subcarrier_cycles_per_line
    # DERIVED: half cycles in NTSC, quarter cycles in PAL; the rest is rounding.
    return abs(wrapped(0.25 * round(4.0 * step * per_frame), 1.0))
