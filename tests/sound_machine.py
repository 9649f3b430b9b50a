"""A tape, its sound part and a transport that moves evenly: what the tests of sound share."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from sim.reel import Reel
from sim.sound import SoundSystem
from sim.standards import get_standard

__all__ = ["BLOCK_S", "START_M", "TRACKS", "SoundMachine"]

BLOCK_S = 0.1
STEPS = 10
START_M = 2.0
TRACKS = ("programme", "cue")
Speed = Callable[[float], float]


class SoundMachine:
    """A work reel on a machine that plays and records from `START_M`."""

    def __init__(self, standard: str = "525/60", seed: int = 3, reel: Reel | None = None) -> None:
        self.sound = SoundSystem(get_standard(standard), seed)
        self.reel = reel or Reel("work", "Work reel", standard, 60.0)
        self.position_m = START_M

    @property
    def nominal_m_per_s(self) -> float:
        return self.sound.tape_speed_m_per_s

    def knots(self, duration_s: float, steps: int = STEPS, ratio: float = 1.0) -> list[float]:
        """Move the tape and return where it was at the wheel."""
        step_m = ratio * self.nominal_m_per_s * duration_s / steps
        knots = [self.position_m + step_m * step for step in range(steps + 1)]
        self.position_m = knots[-1]
        return knots

    def record(self, seconds: float, tracks: Sequence[str] = TRACKS, **sources: str) -> None:
        """Record sources (by track) from `START_M` on."""
        for track, name in sources.items():
            self.sound.choose_source(track, name)
        self.position_m = START_M
        self.sound.stop_recording()
        for _ in range(round(seconds / BLOCK_S)):
            knots = self.knots(BLOCK_S)
            self.sound.record_block(self.reel, tracks, knots)
            self.sound.play_block(self.reel, knots, BLOCK_S, recording=tracks)
        self.sound.stop_recording()

    def play(self, seconds: float, ratio: float = 1.0, start_m: float = START_M) -> dict[str, NDArray[np.float32]]:
        """Play from `start_m` at an even speed; return what is heard, by track."""
        self.position_m = start_m
        blocks = [
            self.sound.play_block(self.reel, self.knots(BLOCK_S, ratio=ratio), BLOCK_S)
            for _ in range(round(seconds / BLOCK_S))
        ]
        return {track: np.concatenate([block[track] for block in blocks]) for track in TRACKS}
