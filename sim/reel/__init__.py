"""What is on a tape along its length.

Contents: `Reel`, `Segment` and `TRACKS` (which take lies where), `VideoTake`, `ControlTake` and `ControlReading` (what
can lie there), `frame_length_m` and `tape_speed_m_per_s`.
"""

from sim.reel.contents import ControlReading, ControlTake, VideoTake, frame_length_m, tape_speed_m_per_s
from sim.reel.reel import TRACKS, Reel, Segment

__all__ = [
    "TRACKS",
    "ControlReading",
    "ControlTake",
    "Reel",
    "Segment",
    "VideoTake",
    "frame_length_m",
    "tape_speed_m_per_s",
]
