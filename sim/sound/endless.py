"""Sound of the endless tape: recorded throughout, with what this machine would record now.

Contents: `EndlessTape`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from sim.sound.sources import SoundError
from sim.sound.take import SoundTake, TapeSegment
from sim.wording import wording

__all__ = ["EndlessTape"]


@dataclass(frozen=True, eq=False)
class _Throughout:
    """A stretch that never ends."""

    content: object
    start_m: float = -math.inf
    end_m: float = math.inf


class EndlessTape:
    """A tape that holds one take on each sound track, from its beginning and for ever (a `SoundReel`).

    Parameters
    ----------
    takes : dict of str to SoundTake
        What each track holds, by its name.

    Examples
    --------
    >>> from sim.sound.sources import get_source
    >>> tape = EndlessTape({"cue": SoundTake(0.0, get_source("voice"))})
    >>> [len(tuple(tape.segments(track, 5.0, 6.0))) for track in ("programme", "cue")]
    [0, 1]
    """

    def __init__(self, takes: dict[str, SoundTake]) -> None:
        self._segments = {track: (_Throughout(take),) for track, take in takes.items()}

    def segments(self, track: str, start_m: float = 0.0, end_m: float | None = None) -> Iterable[TapeSegment]:
        """Return what lies on a stretch of a track."""
        return self._segments.get(track, ())

    def record(self, track: str, start_m: float, end_m: float, content: object) -> None:
        """Refuse: this tape is recorded already.

        Raises
        ------
        SoundError
            Always.
        """
        raise SoundError(wording("sound.endless_work_tape_holds"))
