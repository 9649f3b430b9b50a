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
from bandbench.bench.readings import take_readings
from bandbench.bench.result import ResultView
from bandbench.bench.scope import ScopeView
from bandbench.bench.view import Action, View
from bandbench.runtime.application import FrameImage, PictureFile
from sim.errors import BandbenchError
from sim.frame import PlaybackFrame

if TYPE_CHECKING:
    from panel.viewable import Viewable

__all__ = ["BenchApplication"]

READINGS_EVERY = 2
"""The meters are read on every so many ticks: as often as one can read along."""


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
        self.log = LogView(bench, act, clock)
        self.views = [
            self.controls, self.path, self.lesson, self.monitor, self.scope, self.meters, self.log, self.result
        ]  # fmt: skip
        self._ticks = 0
        self._read: PlaybackFrame | None = None

    def act(self, action: Action) -> str | None:
        """Do something to the bench and have every view look again; return why it could not be done, or None."""
        problem = None
        version = self.bench.version
        try:
            action()
        except BandbenchError as error:
            problem = str(error)
        if self.bench.version != version:
            for view in self.views:
                view.refresh()
        return problem

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
        """Bring the waveform monitor up to date, and every other time the readings."""
        frame = self.bench.frame
        self._ticks += 1
        if self._ticks % READINGS_EVERY == 0 and frame is not self._read:
            self._read = frame
            readings = take_readings(frame)
            for view in self.views:
                view.update(readings)
        self.scope.draw()

    def on_picture_file(self, picture: PictureFile) -> None:
        """Play a picture the user gave."""
        self.monitor.take_picture(picture.name, picture.grey)
