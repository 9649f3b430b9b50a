"""Where the replay of an attempt stands: a clock that runs at any speed over a log. No view, no machine.

Contents: `SPEEDS`, `Replay`.
"""

from __future__ import annotations

import math

from sim.errors import BandbenchError
from sim.training.attempt import Attempt
from sim.training.machine import Start
from sim.training.replay import ReplayState, moments, state_at

__all__ = ["SPEEDS", "Replay"]

SPEEDS = (1.0, 4.0, 16.0)
"""How many times faster than it was done."""


class Replay:
    """An attempt being played again.

    Parameters
    ----------
    attempt : Attempt
        What was done.
    start : Start
        What its seed dealt.
    now_s : float
        A clock that only goes forward [s].

    Attributes
    ----------
    at_s : float
        Time of the attempt that is shown [s].
    speed : float
        One of `SPEEDS`.
    playing : bool
        Whether the time runs; at the end it stops.
    """

    def __init__(self, attempt: Attempt, start: Start, now_s: float) -> None:
        self.attempt = attempt
        self.start = start
        self.at_s = 0.0
        self.speed = SPEEDS[0]
        self.playing = True
        self._seen_s = now_s

    @property
    def state(self) -> ReplayState:
        """How the attempt stood at the time shown."""
        return state_at(self.attempt, self.start, self.at_s)

    @property
    def over(self) -> bool:
        """Whether the end is reached."""
        return self.at_s >= self.attempt.duration_s

    def advance(self, now_s: float) -> None:
        """Let the time run up to now."""
        passed_s = max(now_s - self._seen_s, 0.0)
        self._seen_s = now_s
        if self.playing:
            self.at_s = min(self.at_s + self.speed * passed_s, self.attempt.duration_s)
            self.playing = not self.over

    def set(self, now_s: float, *, playing: bool | None = None, speed: float | None = None) -> None:
        """Let the time run or stand, at one of `SPEEDS`; from the end it begins anew."""
        if speed is not None and speed not in SPEEDS:
            raise BandbenchError(f"replay speed {speed:g}: use one of {', '.join(f'{one:g}' for one in SPEEDS)}")
        self.advance(now_s)
        self.speed = self.speed if speed is None else speed
        if playing is not None:
            self.playing = playing
            if playing and self.over:
                self.at_s = 0.0

    def seek(self, at_s: float, now_s: float) -> None:
        """Go to a time of the attempt [s]; beyond its ends, to the nearer one."""
        if not math.isfinite(at_s):
            raise BandbenchError(f"replay at {at_s!r} s: use a finite number")
        self._seen_s = now_s
        self.at_s = min(max(at_s, 0.0), self.attempt.duration_s)

    def step(self, direction: int, now_s: float) -> None:
        """Stop at the next event (+1) or the one before (-1); beyond the last, at the end, beyond the first, at 0."""
        times = moments(self.attempt)
        if direction > 0:
            aim = next((time for time in times if time > self.at_s), self.attempt.duration_s)
        else:
            aim = next((time for time in reversed(times) if time < self.at_s), 0.0)
        self.seek(aim, now_s)
        self.playing = False
