"""The picture monitor: the moving picture with its head numbers, what it is compared with, and what is played on it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import param
from numpy.typing import NDArray

from bandbench.bench.pictures import PictureOrder, grey_or_colour, order_of
from bandbench.bench.readings import Readings, typeset
from bandbench.bench.settings import KEPT, KeptPicture, side_by_side
from bandbench.bench.snapshot import file_name
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.instruments import (
    TEST_POINTS,
    VIDEO_POINTS,
    band_edges,
    describe_picture,
    has_bands,
)

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["MonitorView", "PictureMonitor"]


class PictureMonitor(Part):
    """What stands under and over the picture; the picture itself is the page's canvas.

    Attributes
    ----------
    playing : bool
        Whether the tape runs.
    monitor : dict
        Settings (see `bandbench.bench.settings.MonitorSettings`).
    points : list of [name, label]
        Test points.
    kept : bool
        Whether a picture has been kept.
    bands : str
        JSON: for each field its bands as [top, bottom, head], in shares of the picture height.
    sentence, notice : str
        What the picture shows, when asked; what could not be done.
    snapshot : dict
        Name of the file that the page shall make of the picture, and a number that grows with each.
    """

    playing = param.Boolean(default=False)
    monitor = param.Dict(default={})
    points = param.List(default=[])
    kept = param.Boolean(default=False)
    bands = param.String(default="[]")
    sentence = param.String(default="")
    notice = param.String(default="")
    snapshot = param.Dict(default={})

    _esm = script("monitor")


class MonitorView(View):
    """The picture monitor."""

    WORDS: ClassVar[str] = "picture"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self._described: tuple[object, ...] = ()
        self._drawn: tuple[object, ...] | None = None
        self._readings: Readings | None = None
        self.monitor = PictureMonitor(
            self.receive,
            words=self.words,
            points=[[name, TEST_POINTS[name].label] for name in VIDEO_POINTS],
        )
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return what stands under the picture."""
        return {"picture": self.monitor}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed: ``{"do": ..., "value": ...}``."""
        bench, value = self.bench, message.get("value")
        match message["do"]:
            case "play":
                action = partial(bench.set_playing, bool(value))
            case "set":
                action = partial(bench.set_monitor, **dict(value or {}))
            case "keep":
                kept = KeptPicture(self._image(bench.monitor.point), describe_picture(bench.frame, bench.monitor.point))
                action = partial(bench.keep_picture, kept)
            case "describe":
                self._described = (bench.revision, bench.monitor)
                self.monitor.sentence = ""
                self.monitor.sentence = typeset(self.sentence())
                return
            case "save":
                self.monitor.snapshot = {
                    "number": self.monitor.snapshot.get("number", 0) + 1,
                    "name": file_name(bench, ("picture", *self._shown_names()), "png"),
                }
                return
            case other:
                raise ValueError(f"the picture monitor knows no {other!r}")
        # A refusal that comes twice is told twice.
        self.monitor.notice = ""
        self.monitor.notice = self.act(action) or ""

    def take_picture(self, name: str, levels: NDArray[np.float32]) -> None:
        """Play a picture the user gave."""
        self.monitor.notice = self.act(lambda: self.bench.play_picture(name, levels)) or ""

    def sentence(self) -> str:
        """Return what the picture shows, and what it is compared with."""
        bench, settings = self.bench, self.bench.monitor
        if not bench.readings_shown:
            return say("meters.away_judge")
        shown = describe_picture(bench.frame, settings.point)
        if not settings.compare:
            return shown
        if settings.compare == KEPT and bench.kept is not None:
            compared = bench.kept.sentence
        else:
            compared = describe_picture(bench.frame, settings.compare)
        if settings.whole:
            return say("picture.sentence_whole", compared=compared)
        return say("picture.sentence_split", shown=shown, compared=compared, split=round(100.0 * settings.split))

    def _shown_names(self) -> tuple[str, ...]:
        settings = self.bench.monitor
        if not settings.compare:
            return (settings.point,)
        return (settings.compare,) if settings.whole else (settings.compare, "and", settings.point)

    def refresh(self) -> None:
        """Show how the monitor is set."""
        bench = self.bench
        self.monitor.param.update(playing=bench.playing, monitor=asdict(bench.monitor), kept=bench.kept is not None)
        if self._described != (bench.revision, bench.monitor):
            # What was said of another machine would only mislead.
            self.monitor.param.update(sentence="", notice="")
        if self._readings is not None:
            self.update(self._readings)

    def update(self, readings: Readings) -> None:
        """Bring the head numbers up to date; before the tape there are none."""
        self._readings = readings
        frame, settings = readings.frame, self.bench.monitor
        banded = any(has_bands(point) for point in settings.drawn_points)
        fields = [
            [[round(top, 4), round(bottom, 4), head] for top, bottom, head in band_edges(frame, field)]
            for field in (0, 1)
            if banded
        ]
        self.monitor.bands = json.dumps(fields)

    def lose_picture(self) -> None:
        """Take note that the picture returned last was never shown."""
        self._drawn = None

    def next_picture(self) -> NDArray[np.uint8] | None:
        """Return the picture if it is not what was returned last, for the page's canvas: grey, or three planes."""
        bench = self.bench
        if not self._note_drawn():
            return None
        settings = bench.monitor
        if not settings.compare:
            return self._image(settings.point)
        shown = self._image(settings.point) if settings.split < 1.0 and not settings.whole else None
        compared = bench.kept.image if settings.compare == KEPT and bench.kept else self._image(settings.compare)
        if shown is None:
            return compared
        # A picture that was kept of another standard has another size.
        fits = shown.shape[-2:] == compared.shape[-2:]
        return side_by_side(compared, shown, settings.split) if fits else shown

    def next_order(self) -> PictureOrder | None:
        """Return the same as an order, if it can be one; None leaves it to `next_picture`."""
        bench, settings = self.bench, self.bench.monitor
        order = None if settings.compare else order_of(bench.frame, settings.point, in_colour=bench.in_colour)
        return order if order is not None and self._note_drawn() else None

    def _note_drawn(self) -> bool:
        """Take note of what is to be drawn now; tell whether it is not what was returned last."""
        drawn = (self.bench.frame, self.bench.monitor, self.bench.kept)
        fresh = drawn != self._drawn
        self._drawn = drawn
        return fresh

    def _image(self, point: str) -> NDArray[np.uint8]:
        """Return the picture at a test point."""
        return grey_or_colour(self.bench.frame, point, in_colour=self.bench.in_colour)
