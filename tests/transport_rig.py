"""A transport with a head wheel that runs up and down by itself, for the tests of `sim.transport`."""

from __future__ import annotations

import pytest

from sim.standards import get_standard
from sim.transport import Deck, DeckCondition, InterlockError

__all__ = ["FEET_4800_M", "Rig", "wheel_after"]

FEET_4800_M = 4800 * 12 * 0.0254


def wheel_after(rate_hz: float, driven: bool, nominal_hz: float, dt_s: float) -> float:
    """Speed of a wheel that takes about two and a half seconds up and eight seconds down [rev/s]."""
    return min(nominal_hz, rate_hz + 100.0 * dt_s) if driven else max(0.0, rate_hz - 30.0 * dt_s)


class Rig:
    """A transport, its wheel, and somebody who waits."""

    def __init__(
        self,
        condition: DeckCondition | None = None,
        standard: str = "525/60",
        length_m: float = FEET_4800_M,
        ring: bool = False,
        seed: int = 0,
    ) -> None:
        self.deck = Deck(get_standard(standard), length_m, seed=seed, condition=condition)
        self.nominal_hz = self.deck.standard.wheel_rate_hz
        self.wheel_hz = 0.0
        self.wheel_can_lock = True
        self.ratio = 1.0
        if ring:
            self.do("open_covers", "take_off_reel", "fit_ring", "fit_reel", "close_covers")

    def do(self, *acts: str) -> Rig:
        """Do one act after the other."""
        for act in acts:
            self.deck.do(act)
        return self

    def refused(self, act: str, stage: str = "") -> str:
        """Try an act that must be refused; return the sentence."""
        foretold = self.deck.refusal(act, stage)
        with pytest.raises(InterlockError) as refusal:
            self.deck.do(act, stage)
        assert str(refusal.value) == foretold
        return str(refusal.value)

    def thread(self) -> Rig:
        """Thread the tape, look at it and close the covers."""
        return self.do("open_covers", "thread", "check_threading", "close_covers")

    def ready(self, mode: str = "play", position_m: float | None = None) -> Rig:
        """Make the transport ready in a mode, with the wheel as it is then."""
        self.deck.make_ready(mode, position_m)
        self.wheel_hz = 0.0 if mode == "stop" else self.nominal_hz
        return self

    def step(self, dt_s: float = 0.01) -> None:
        """Let one step pass."""
        self.wheel_hz = wheel_after(self.wheel_hz, self.deck.wheel_driven, self.nominal_hz, dt_s)
        self.deck.step(dt_s, self.wheel_hz, self.wheel_can_lock and self.wheel_hz >= self.nominal_hz, self.ratio)

    def run(self, seconds: float, dt_s: float = 0.01) -> Rig:
        """Let time pass."""
        for _ in range(round(seconds / dt_s)):
            self.step(dt_s)
        return self

    def until(self, mode: str, limit_s: float = 60.0, dt_s: float = 0.01) -> float:
        """Let time pass until the transport is in `mode`; return how long it took."""
        start_s = self.deck.time_s
        while self.deck.mode != mode:
            assert self.deck.time_s - start_s < limit_s, f"still {self.deck.mode}, not {mode}"
            self.step(dt_s)
        return self.deck.time_s - start_s
