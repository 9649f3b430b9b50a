"""What is on a tape along its length: reels, the takes on them, and electronic editing.

Contents: `Reel`, `Segment` and `TRACKS` (which take lies where), `VideoTake` and `ControlTake` (what can lie there),
`frame_length_m` and `tape_speed_m_per_s`, `video_take`, `control_take` and `copy_programme` (takes from a machine),
`Playing`, `ControlAt`, `playing_at`, `control_at` and `colour_step` (what the heads meet at a place), `EDIT_MODES`,
`EditPlan`, `plan_edit`, `continuing_control`, `EditJoint`, `joints`, `joint_at`, `describe_joint`,
`MASTER_ERASE_UPSTREAM_M` and `erase_delay_frames` (editing), `REELS`, `ReelSpec`, `make_reel`, `reels_of` and `log_of`
(the reels on the shelf).
"""

from sim.reel.contents import ControlTake, VideoTake, frame_length_m, tape_speed_m_per_s
from sim.reel.editing import (
    EDIT_MODES,
    MASTER_ERASE_UPSTREAM_M,
    EditJoint,
    EditPlan,
    continuing_control,
    describe_joint,
    erase_delay_frames,
    joint_at,
    joints,
    plan_edit,
)
from sim.reel.playing import ControlAt, Playing, colour_step, control_at, playing_at
from sim.reel.reel import TRACKS, Reel, Segment
from sim.reel.reels import REELS, ReelSpec, log_of, make_reel, reels_of
from sim.reel.takes import control_take, copy_programme, video_take

__all__ = [
    "EDIT_MODES",
    "MASTER_ERASE_UPSTREAM_M",
    "REELS",
    "TRACKS",
    "ControlAt",
    "ControlTake",
    "EditJoint",
    "EditPlan",
    "Playing",
    "Reel",
    "ReelSpec",
    "Segment",
    "VideoTake",
    "colour_step",
    "continuing_control",
    "control_at",
    "control_take",
    "copy_programme",
    "describe_joint",
    "erase_delay_frames",
    "frame_length_m",
    "joint_at",
    "joints",
    "log_of",
    "make_reel",
    "plan_edit",
    "playing_at",
    "reels_of",
    "tape_speed_m_per_s",
    "video_take",
]
