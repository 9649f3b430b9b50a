"""A bench with an instructor's console and a clock, without a page.

Contents: `DEMONSTRATIONS`, `Bed`.
"""

from __future__ import annotations

import json
from typing import Any

from bandbench.bench.bench import Bench
from bandbench.bench.console import ConsoleView
from bandbench.bench.demonstrations import read_demonstrations
from bandbench.bench.instructor import Instructor
from bandbench.bench.lessons import read_lessons
from bandbench.bench.readings import take_readings
from sim.errors import BandbenchError
from tests.bench_clock import Clock

__all__ = ["DEMONSTRATIONS", "Bed"]

DEMONSTRATIONS = read_demonstrations()


class Bed:
    """A bench with an instructor's console, and a clock."""

    def __init__(self) -> None:
        self.clock = Clock()
        self.bench = Bench(read_lessons())
        self.instructor = Instructor(self.bench, DEMONSTRATIONS)
        self.console = ConsoleView(self.bench, self.act, self.instructor)

    def act(self, action: Any) -> str | None:
        try:
            action()
        except BandbenchError as error:
            return str(error)
        return None

    def live(self, seconds: float) -> None:
        """Let time pass as the page does, in tenths of a second."""
        for _ in range(round(seconds * 10)):
            self.clock.now_s += 0.1
            self.bench.advance(self.clock())
            self.instructor.follow()

    def say(self, **message: Any) -> list[dict[str, Any]]:
        """Send a message and return what comes back."""
        self.console.take(json.dumps(message))
        return self.told()

    def told(self) -> list[dict[str, Any]]:
        text = self.console.next_messages()
        return list(json.loads(text)) if text else []

    def do(self, action: str, **value: Any) -> str:
        """Ask for something and return why it was not done."""
        (answer, *_) = self.say(kind="do", number=1, action=action, value=value)
        assert (answer["kind"], answer["number"]) == ("answer", 1)
        return str(answer["problem"])

    def state(self) -> dict[str, Any]:
        self.console.update(take_readings(self.bench.frame, self.bench.revision))
        self.console.take(json.dumps({"kind": "hello"}))
        return self.told()[-1]
