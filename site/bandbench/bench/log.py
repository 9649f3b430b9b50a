"""The log of moves, and the way back."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.readings import setting
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.controls import CONTROLS

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["LogView", "MoveList"]

_SHOWN = 8


class MoveList(Part):
    """The last moves, newest first.

    Attributes
    ----------
    moves : str
        JSON: each move in words.
    count : int
        How many there are in all.
    notice : str
        What was taken back.
    """

    moves = param.String(default="[]")
    count = param.Integer(default=0)
    notice = param.String(default="")

    _esm = script("log")


class LogView(View):
    """The log of moves."""

    WORDS: ClassVar[str] = "log"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None], clock: Callable[[], float]) -> None:
        super().__init__(bench, act)
        self._clock = clock
        self.list = MoveList(self.receive, words=self.words)

    def roots(self) -> dict[str, Any]:
        """Return the list."""
        return {"log": self.list}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Take the last move back."""
        moves = self.bench.log.moves
        problem = self.act(lambda: self.bench.undo(self._clock()))
        undone = say("log.undone", label=CONTROLS[moves[-1].control].label) if moves else ""
        self.list.notice = problem or undone

    def refresh(self) -> None:
        """Show the moves."""
        moves = self.bench.log.moves
        texts = []
        for move in reversed(moves[-_SHOWN:]):
            spec = CONTROLS[move.control]
            texts.append(
                say("log.move", label=spec.label, before=setting(spec, move.before), after=setting(spec, move.after))
            )
        self.list.param.update(moves=json.dumps(texts), count=len(moves))
