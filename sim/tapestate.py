"""What the tape on the machine has suffered, whatever is recorded on it: dropouts, a scratch, an edge, shedding.

Contents: `TapeCondition`, `TapeConditionError`, `tape_level`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.dropout import DropoutPattern, dropout_level
from sim.errors import BandbenchError, check_ranges
from sim.headwheel import PassSchedule
from sim.standards import Standard

__all__ = ["TapeCondition", "TapeConditionError", "tape_level"]

# Range of each entry of `TapeCondition` (MODEL).
_RANGES = {
    "tape_dropouts_per_frame": (0.0, 200.0),
    "tape_scratch_db": (-60.0, 0.0),
    "tape_edge_db": (-60.0, 0.0),
    "tape_shedding_um_per_min": (0.0, 60.0),
}
# MODEL: where across the tape the scratch runs, from the middle (0) to the edge where the heads leave it (1), and how
# wide it is; how far into a pass a damaged edge reaches.
_SCRATCH_AT, _SCRATCH_WIDE = 0.4, 0.05
_EDGE_REACH = 0.25


class TapeConditionError(BandbenchError):
    """A state of the tape that cannot be; says which value and what would do."""


@dataclass(frozen=True)
class TapeCondition:
    """The hidden state of whatever tape is on the machine; every default is a sound tape.

    Attributes
    ----------
    tape_dropouts_per_frame : float
        Dropouts beyond those that the tape is known for [per frame].
    tape_scratch_db : float
        RF level in a scratch along the tape [dB].
    tape_edge_db : float
        RF level at the edge where the heads leave the tape [dB].
    tape_shedding_um_per_min : float
        How fast the coating clogs the heads while it plays [um/min].

    Raises
    ------
    TapeConditionError
        If a value is not finite or out of its range.
    """

    tape_dropouts_per_frame: float = 0.0
    tape_scratch_db: float = 0.0
    tape_edge_db: float = 0.0
    tape_shedding_um_per_min: float = 0.0

    def __post_init__(self) -> None:
        check_ranges(self, _RANGES, "condition.outside", TapeConditionError)


def tape_level(
    condition: TapeCondition, schedule: PassSchedule, standard: Standard, index: int, seed: int
) -> NDArray[np.float32] | None:
    """Return the RF level that the tape's state leaves at each sample of a frame, 1 = undisturbed; None if all of it.

    Parameters
    ----------
    condition : TapeCondition
        What the tape has suffered.
    schedule : PassSchedule
        Where along a pass each sample lies: scratch and edge are at the same place of every pass.
    standard : Standard
        Fixes the frame.
    index, seed : int
        Which frame, and the tape's own chance: every frame has dropouts of its own.
    """
    level: NDArray[np.float32] | None = None
    if condition.tape_dropouts_per_frame:
        pattern = DropoutPattern(per_frame=condition.tape_dropouts_per_frame)
        level = dropout_level(pattern, standard, 1_000_003 * (seed + 1) + index)
    if condition.tape_scratch_db or condition.tape_edge_db:
        across = schedule.along
        in_scratch = np.clip(2.0 - np.abs(across - _SCRATCH_AT) / (0.5 * _SCRATCH_WIDE), 0.0, 1.0)
        at_edge = np.clip((across - (1.0 - _EDGE_REACH)) / _EDGE_REACH, 0.0, 1.0)
        level_db = condition.tape_scratch_db * in_scratch + condition.tape_edge_db * at_edge
        placed = (10.0 ** (level_db / 20.0)).astype(np.float32)
        level = placed if level is None else level * placed
    return level
