"""The log of moves: what was turned, from where to where, and the way back one move at a time.

Contents: `Move` and `MoveLog`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

__all__ = ["GESTURE_S", "Move", "MoveLog"]

GESTURE_S = 1.0
"""Settings of one control that follow each other within this time are one move: a drag, or keys pressed in a row."""


@dataclass(frozen=True)
class Move:
    """One move of one control.

    Attributes
    ----------
    control : str
        Name from `sim.controls.CONTROLS`.
    before, after : float
        Its value before and after, in the control's unit.
    at_s : float
        When it last changed, on the caller's clock [s].
    """

    control: str
    before: float
    after: float
    at_s: float


class MoveLog:
    """Moves in order of time, gathered into gestures."""

    def __init__(self) -> None:
        self._moves: list[Move] = []
        self._open = False

    @property
    def moves(self) -> tuple[Move, ...]:
        """All moves, oldest first."""
        return tuple(self._moves)

    def note(self, control: str, before: float, after: float, at_s: float) -> None:
        """Note that a control went from one value to another.

        A change that goes on from the last move is added to it; a gesture that ends where it began is no move.
        """
        last = self._moves[-1] if self._moves else None
        if self._open and last and last.control == control and at_s - last.at_s <= GESTURE_S:
            self._moves[-1] = replace(last, after=after, at_s=at_s)
        elif before != after:
            self._moves.append(Move(control, before, after, at_s))
        self._open = True

    def take_back(self) -> Move | None:
        """Remove the last move and return it, or None if there is none.

        A gesture that came back to where it began is passed over: undoing it would change nothing.
        """
        self._open = False
        while self._moves:
            last = self._moves.pop()
            if last.before != last.after:
                return last
        return None

    def clear(self) -> None:
        """Forget all moves."""
        self._moves.clear()
        self._open = False
