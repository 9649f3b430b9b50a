"""The picture monitor: the moving picture with its head numbers, and what is played on it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import param
from numpy.typing import NDArray

from bandbench.bench.readings import Readings, typeset
from bandbench.bench.view import Action, Part, View, script
from sim.instruments import band_edges, colour_picture, describe_picture, picture

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["MonitorView", "PictureMonitor"]


class PictureMonitor(Part):
    """What stands under and over the picture; the picture itself is the page's canvas.

    Attributes
    ----------
    playing, processed : bool
        Whether the tape runs, and which video is shown.
    bands : str
        JSON: for each field its bands as [top, bottom, head], in shares of the picture height.
    sentence, notice : str
        What the picture shows, when asked; what could not be done.
    """

    playing = param.Boolean(default=False)
    processed = param.Boolean(default=True)
    bands = param.String(default="[]")
    sentence = param.String(default="")
    notice = param.String(default="")

    _esm = script("monitor")


class MonitorView(View):
    """The picture monitor."""

    WORDS: ClassVar[str] = "picture"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self._described = 0
        self._drawn: tuple[object, bool] | None = None
        self.monitor = PictureMonitor(self.receive, words=self.words)
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
            case "point":
                action = partial(bench.set_show_processed, value == "processed")
            case "describe":
                self._described = bench.revision
                self.monitor.sentence = ""
                self.monitor.sentence = typeset(describe_picture(bench.frame))
                return
            case other:
                raise ValueError(f"the picture monitor knows no {other!r}")
        self.monitor.notice = self.act(action) or ""

    def take_picture(self, name: str, levels: NDArray[np.float32]) -> None:
        """Play a picture the user gave."""
        self.monitor.notice = self.act(lambda: self.bench.play_picture(name, levels)) or ""

    def refresh(self) -> None:
        """Show how the monitor is set."""
        bench = self.bench
        self.monitor.param.update(playing=bench.playing, processed=bench.show_processed)
        if self._described != bench.revision:
            # What was said of another machine would only mislead.
            self.monitor.param.update(sentence="", notice="")

    def update(self, readings: Readings) -> None:
        """Bring the head numbers up to date."""
        frame = readings.frame
        fields = [
            [[round(top, 4), round(bottom, 4), head] for top, bottom, head in band_edges(frame, field)]
            for field in (0, 1)
        ]
        self.monitor.bands = json.dumps(fields)

    def next_picture(self) -> NDArray[np.uint8] | None:
        """Return the picture if it is not what was returned last, for the page's canvas: grey, or three planes.

        In colour it is the picture behind the processing amplifier when that works in colour; the monitor shows the
        demodulator's output in grey: it has no colour burst that a monitor could lock to line after line.
        """
        bench = self.bench
        if bench.playing:
            bench.advance()
        frame = bench.frame
        drawn = (frame, bench.show_processed)
        if drawn == self._drawn:
            return None
        self._drawn = drawn
        if bench.show_processed and bench.in_colour:
            shown = np.moveaxis(colour_picture(frame), -1, 0)
        else:
            shown = picture(frame, processed=bench.show_processed)
        shown *= np.float32(255.0)
        shown += np.float32(0.5)
        return shown.astype(np.uint8)
