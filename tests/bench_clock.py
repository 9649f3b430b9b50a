"""A clock for tests of the bench without a browser."""

from __future__ import annotations

__all__ = ["Clock"]


class Clock:
    """A clock that a test winds."""

    def __init__(self) -> None:
        self.now_s = 50.0

    def __call__(self) -> float:
        return self.now_s
