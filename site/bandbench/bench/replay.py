"""An attempt played again on the bench: its time runs at any speed, and the controls move by themselves.

Contents: `ReplayBar` (its part of the page), `ReplayView`. Where it stands is told by `bandbench.bench.replaying`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.debrief import event_rows, time_words
from bandbench.bench.readings import typeset
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ReplayBar", "ReplayView"]

_EVENTS_SHOWN = 2


class ReplayBar(Part):
    """What a replay shows, and its controls.

    Attributes
    ----------
    shown : str
        JSON: where it stands; empty while there is none.
    notice : str
        What could not be done.
    """

    shown = param.String(default="")
    notice = param.String(default="")

    _esm = script("replay")


class ReplayView(View):
    """The replay's bar.

    Parameters
    ----------
    show_result : callable
        Shows the result again when the replay is left.
    """

    WORDS: ClassVar[str] = "replay"

    def __init__(
        self,
        bench: Bench,
        act: Callable[[Action], str | None],
        clock: Callable[[], float],
        show_result: Callable[[], None],
    ) -> None:
        super().__init__(bench, act)
        self._clock = clock
        self._show_result = show_result
        self.bar = ReplayBar(self.receive, words=self.words)

    def roots(self) -> dict[str, Any]:
        """Return the bar."""
        return {"replay": self.bar}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed: ``{"do": ..., "value": ...}``."""
        self.bar.notice = typeset(self.act(self._action(str(message["do"]), message.get("value"))) or "")
        self.refresh()

    def _action(self, what: str, value: Any) -> Action:
        bench, now_s = self.bench, self._clock()
        match what:
            case "play":
                return partial(self._set, playing=bool(value))
            case "speed":
                return partial(self._set, speed=float(value))
            case "seek":
                return partial(bench.seek_replay, float(value), now_s)
            case "event":
                return partial(bench.step_replay, int(value), now_s)
            case "leave":
                return self._leave
        raise ValueError(f"the replay knows no {what!r}")

    def _set(self, **settings: Any) -> None:
        self.bench.set_replay(self._clock(), **settings)

    def _leave(self) -> None:
        self.bench.end_replay()
        self._show_result()

    def live(self) -> None:
        """Show where the replay stands; to be called some times a second while there is one."""
        self.refresh()

    def refresh(self) -> None:
        """Show where the replay stands, or nothing without one."""
        replay, session = self.bench.replay, self.bench.session
        shown = ""
        if replay is not None and session is not None:
            state = replay.state
            rows = event_rows(session, replay.attempt.events[: state.events])
            step = session.lesson.steps[state.step - 1]
            shown = json.dumps(
                {
                    "title": typeset(say("replay.of", title=session.lesson.title, seed=replay.attempt.seed)),
                    "at": round(state.at_s, 1),
                    "end": round(replay.attempt.duration_s, 1),
                    "time": say("replay.time", at=time_words(state.at_s), end=time_words(replay.attempt.duration_s)),
                    "playing": replay.playing,
                    "speed": replay.speed,
                    "over": replay.over,
                    "step": typeset(say("replay.step", number=state.step, title=step.title)),
                    "events": [[time, text] for time, _, text in rows[-_EVENTS_SHOWN:]],
                }
            )
        if shown != self.bar.shown:
            self.bar.shown = shown
