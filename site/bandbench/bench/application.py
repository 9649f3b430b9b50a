"""The bench as the worker runs it: the model, its views, and when each of them looks again."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from bandbench.bench.bench import Bench
from bandbench.bench.controls import ControlsView
from bandbench.bench.lesson import LessonView
from bandbench.bench.lessons import read_lessons
from bandbench.bench.log import LogView
from bandbench.bench.meters import MetersView
from bandbench.bench.monitor import MonitorView
from bandbench.bench.path import PathView
from bandbench.bench.readings import Readings, take_readings
from bandbench.bench.result import ResultView
from bandbench.bench.scope import ScopeView
from bandbench.bench.view import Action, View
from bandbench.bench.why import WhyView
from bandbench.runtime.application import FrameImage, PictureFile
from sim.errors import BandbenchError
from sim.frame import PlaybackFrame

if TYPE_CHECKING:
    from panel.viewable import Viewable

__all__ = ["BenchApplication"]

ROUND = ("scope", "read", "scope", "show")
"""What one tick after the other does: a little at a time, so that a control never waits long for its picture. The
waveform monitor is drawn, the instruments are read, the waveform monitor is drawn, the readings are shown."""


class BenchApplication:
    """The bench for `bandbench.runtime` (its `Application`).

    Parameters
    ----------
    clock : Callable[[], float]
        Goes forward only [s].
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.bench = Bench(read_lessons())
        bench, act = self.bench, self.act
        self.views: list[View] = []
        self.result = ResultView(bench, act, clock)
        self.lesson = LessonView(bench, act, clock, self.result.show)
        self.monitor = MonitorView(bench, act)
        self.scope = ScopeView(bench, act)
        self.meters = MetersView(bench, act)
        self.path = PathView(bench, act)
        self.controls = ControlsView(bench, act, clock)
        self.why = WhyView(bench, act)
        self.log = LogView(bench, act, clock)
        self.views = [
            self.controls, self.path, self.lesson, self.monitor, self.scope, self.meters, self.why, self.log,
            self.result,
        ]  # fmt: skip
        self._ticks = 0
        self._seen = self.bench.version
        self._read: PlaybackFrame | None = None
        self._unseen: Readings | None = None

    def act(self, action: Action) -> str | None:
        """Do something to the bench; return why it could not be done, or None.

        The views look again at the next tick: the picture goes first.
        """
        try:
            action()
        except BandbenchError as error:
            return str(error)
        return None

    def roots(self) -> dict[str, Viewable]:
        """Return the views' parts by their places in the page."""
        parts: dict[str, Any] = {}
        for view in self.views:
            parts |= view.roots()
        return parts

    def next_frame(self) -> FrameImage | None:
        """Return the next picture, or None while nothing changes."""
        picture = self.monitor.next_picture()
        return None if picture is None else FrameImage({"picture": picture}, self.bench.revision)

    def tick(self, now_s: float) -> None:
        """Bring one part of what the bench shows up to date (see `ROUND`)."""
        if self._seen != self.bench.version:
            self._seen = self.bench.version
            for view in self.views:
                view.refresh()
            return
        # What has nothing to do is passed over.
        for _ in ROUND:
            task = ROUND[self._ticks % len(ROUND)]
            self._ticks += 1
            if self._do(task):
                return

    def _do(self, task: str) -> bool:
        """Do one task of the round; tell whether there was anything to do."""
        bench = self.bench
        if task == "scope":
            return self.scope.draw()
        if task == "read":
            fresh = bench.frame is not self._read
            if fresh:
                self._read = bench.frame
                self._unseen = take_readings(bench.frame, bench.revision)
            return fresh
        readings, self._unseen = self._unseen, None
        if readings is not None:
            for view in self.views:
                view.update(readings)
        return readings is not None

    def on_picture_file(self, picture: PictureFile) -> None:
        """Play a picture the user gave."""
        self.monitor.take_picture(picture.name, picture.levels)
