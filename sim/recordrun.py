"""A recording while it is being made: where it begins, how it is framed, and the takes that it writes.

Contents: `EditSettings`, `RecordRun`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.errors import BandbenchError
from sim.recorder import Recorder
from sim.reel import (
    MASTER_ERASE_UPSTREAM_M,
    ControlTake,
    EditPlan,
    Reel,
    VideoTake,
    continuing_control,
    frame_length_m,
    plan_edit,
    tape_speed_m_per_s,
    video_take,
)
from sim.wording import wording

__all__ = ["EditSettings", "RecordRun"]

# MODEL: an edit is entered so much tape after the button, so that the erase head can be switched on ahead of the heads.
_EDIT_LEAD_M = MASTER_ERASE_UPSTREAM_M + 0.02
# MODEL: shortest and longest insert edit.
_SHORTEST_EDIT_S, _LONGEST_EDIT_S = 0.2, 600.0
# MODEL: a turned control begins a new take no sooner than this after the last, so that a dragged one makes few.
_TAKE_AT_LEAST_S = 0.5


@dataclass(frozen=True)
class EditSettings:
    """How an electronic edit is made.

    Attributes
    ----------
    length_s : float
        Length of an insert edit [s], 0.2 to 600.
    colour_framed : bool
        Whether the tape is brought into the reference's colour sequence before the edit; without it the sequence fits
        by chance only.
    by_frame_pulse : bool
        Whether the edit waits for a frame pulse; without it the field fits by chance only.
    delayed_erase : bool
        Whether the erase head is switched ahead of the heads by the time that tape takes from one to the other.

    Raises
    ------
    BandbenchError
        If the length is out of its range.
    """

    length_s: float = 10.0
    colour_framed: bool = True
    by_frame_pulse: bool = True
    delayed_erase: bool = True

    def __post_init__(self) -> None:
        if not (math.isfinite(self.length_s) and _SHORTEST_EDIT_S <= self.length_s <= _LONGEST_EDIT_S):
            raise BandbenchError(
                wording(
                    "editing.insert_edit_s_choose",
                    length_s=repr(self.length_s),
                    shortest_edit_s=f"{_SHORTEST_EDIT_S:g}",
                    longest_edit_s=f"{_LONGEST_EDIT_S:g}",
                )
            )


class RecordRun:
    """One recording of picture or control track, from its entry on.

    Parameters
    ----------
    recorder : Recorder
        The machine that records; what is turned on it meanwhile goes into the recording.
    reel : Reel
        The tape.
    tracks : frozenset of str
        Tracks that are written.
    edit_mode : str
        "off", "assemble" or "insert".
    settings : EditSettings
        How an edit is made.
    position_m, time_s : float
        Where the tape is at the wheel [m] and the time of the reference [s] when recording is begun.

    Raises
    ------
    BandbenchError
        If the edit cannot be made on this tape.
    """

    def __init__(
        self,
        recorder: Recorder,
        reel: Reel,
        tracks: frozenset[str],
        edit_mode: str,
        settings: EditSettings,
        position_m: float,
        time_s: float,
    ) -> None:
        self.reel = reel
        self.tracks = tracks
        self._recorder = recorder
        standard = recorder.standard
        self._frame_m = frame_length_m(standard)
        self.plan, self._origin_m, self._colour_frame = self._planned(edit_mode, settings, position_m, time_s)
        self._control = self._control_take(edit_mode) if self.plan.mode == "assemble" else None
        self._take = self._new_take()
        self._take_since_s = time_s

    def _planned(
        self, edit_mode: str, settings: EditSettings, position_m: float, time_s: float
    ) -> tuple[EditPlan, float, int]:
        """Return the plan, where the new picture's frames begin, and which colour frame the first is."""
        standard = self._recorder.standard
        frames = time_s * standard.frame_rate_hz
        if edit_mode == "off":
            # The machine is locked to the reference: its frames lie where the reference's do.
            origin_m = position_m - (frames - math.floor(frames)) * self._frame_m
            mode = "assemble" if "control" in self.tracks else "insert"
            plan = EditPlan(mode, standard, position_m, math.inf, delayed_erase=False)
            return plan, origin_m, math.floor(frames) % standard.colour_frames
        entry_m = position_m + _EDIT_LEAD_M
        old_control = self.reel.at("control", entry_m)
        if isinstance(old_control, ControlTake) and not old_control.pulse_found and settings.by_frame_pulse:
            raise BandbenchError(wording(f"editing.{edit_mode}_no_pulse", entry_m=f"{entry_m:.2f}"))
        exit_m = entry_m + settings.length_s * tape_speed_m_per_s(standard) if edit_mode == "insert" else None
        plan = plan_edit(self.reel, edit_mode, entry_m, exit_m, delayed_erase=settings.delayed_erase)
        entry_m = plan.entry_m
        if not settings.by_frame_pulse and math.floor(2.0 * frames) % 2:
            # Without the pulse either field may come first.
            entry_m += 0.5 * self._frame_m
            plan = EditPlan(plan.mode, standard, entry_m, plan.exit_m, settings.delayed_erase)
        old = self.reel.at("video", entry_m - 0.5 * self._frame_m)
        frames += (entry_m - position_m) / self._frame_m
        colour_frame = round(frames) % standard.colour_frames
        if settings.colour_framed and isinstance(old, VideoTake):
            colour_frame = old.colour_frame_at(entry_m)
        return plan, entry_m, colour_frame

    def _control_take(self, edit_mode: str) -> ControlTake:
        recorder = self._recorder
        controls = recorder.controls
        phase_deg = controls["control_record_phase_deg"] + recorder.condition.control_record_offset_deg
        level_db = controls["control_record_level_db"] + recorder.condition.control_record_level_offset_db
        pulse_pct = max(controls["frame_pulse_level_pct"] + recorder.condition.frame_pulse_offset_pct, 0.0)
        if edit_mode == "off":
            return ControlTake(
                self._origin_m, phase_deg, level_db, 0, recorder.standard.name, frame_pulse_pct=pulse_pct
            )
        return continuing_control(
            self.reel, self.plan.entry_m, phase_error_deg=phase_deg, level_db=level_db, frame_pulse_pct=pulse_pct
        )

    def _new_take(self) -> VideoTake:
        return video_take(self._recorder, None, self._origin_m, colour_frame=self._colour_frame)

    @property
    def take(self) -> VideoTake:
        """The take that is being written."""
        return self._take

    def over(self, position_m: float) -> bool:
        """Tell whether the recording has come to its exit."""
        return position_m >= self.plan.exit_m

    def entered(self, position_m: float) -> bool:
        """Tell whether the recording has come to its entry."""
        return position_m >= self.plan.entry_m

    def write(self, from_m: float, to_m: float, time_s: float) -> None:
        """Write what passes the heads while the tape moves from one place to the next."""
        if time_s - self._take_since_s >= _TAKE_AT_LEAST_S and self._turned():
            self._take = self._new_take()
            self._take_since_s = time_s
        if "video" in self.tracks:
            self.plan.run(self.reel, from_m, to_m, self._take, self._control)
        elif self._control is not None:
            start_m = max(from_m, self.plan.entry_m)
            if start_m < to_m:
                self.reel.record("control", start_m, to_m, self._control)

    def _turned(self) -> bool:
        """Tell whether the machine would record otherwise now than in the take."""
        recorder, take = self._recorder, self._take
        return (
            recorder.record_programme is not take.programme
            or recorder.record_settings != take.settings
            or recorder.machine_geometry != take.spec.geometry
        )
