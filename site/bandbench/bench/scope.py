"""The waveform monitor: a Bokeh figure with its graticule, and what it is connected to."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import panel as pn
import param
from bokeh.models import ColumnDataSource, FixedTicker, LinearColorMapper, Range1d

from bandbench.bench.bench import MAGNIFICATIONS, POINT_OF_STAGE, Scope
from bandbench.bench.plots import MARKED, brightness_ramp, screen_figure
from bandbench.bench.readings import Readings, number, typeset, unit_sign
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.frame import PlaybackFrame
from sim.instruments import TEST_POINTS, describe_waveform, line_trace, waveform

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ScopeSettings", "ScopeView"]

ROWS, COLUMNS = 240, 480

# The unit of test points that carry no video, and the screen's range for one line alone: the same as for all lines, so
# that nothing jumps when one is chosen.
_SHARE = "of nominal"
_SHARE_RANGE = (-1.6, 1.6)
_VIDEO_RANGE = (-0.6, 1.4)


class ScopeSettings(Part):
    """What stands under the waveform monitor.

    Attributes
    ----------
    scope : dict
        Settings (see `bandbench.bench.bench.Scope`); line 0 stands for all lines.
    points : list of [name, label]
        Test points.
    magnifications : list of int
        Magnifications to choose from.
    lines : int
        Lines of a frame.
    sentence, notice : str
        What the monitor shows, when asked; what could not be done.
    """

    scope = param.Dict(default={})
    points = param.List(default=[])
    magnifications = param.List(default=[])
    lines = param.Integer(default=525)
    sentence = param.String(default="")
    notice = param.String(default="")

    _esm = script("scope")


class ScopeView(View):
    """The waveform monitor."""

    WORDS: ClassVar[str] = "scope"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self.visible = True
        self._described: tuple[int, Scope] | None = None
        self._shown: tuple[PlaybackFrame, Scope] | None = None
        self.settings = ScopeSettings(
            self.receive,
            words=self.words,
            points=[[point.name, point.label] for point in TEST_POINTS.values()],
            magnifications=list(MAGNIFICATIONS),
            lines=bench.recorder.standard.lines_per_frame,
        )
        self._raster = ColumnDataSource({"image": [np.zeros((ROWS, COLUMNS), np.uint8)]})
        self._curve = ColumnDataSource({"x": np.zeros(1, np.float32), "y": np.zeros(1, np.float32)})
        self._build_figure()
        self.refresh()

    def _build_figure(self) -> None:
        self.x_range, self.y_range = Range1d(start=0, end=1), Range1d(start=0, end=1)
        plot = screen_figure(
            x_range=self.x_range, y_range=self.y_range, sizing_mode="stretch_both", min_height=160, min_border=4
        )
        mapper = LinearColorMapper(palette=brightness_ramp(), low=0, high=255)
        self._image = plot.image("image", x=0, y=0, dw=1, dh=1, source=self._raster, color_mapper=mapper)
        # The graticule lies over the trace, as on the face of a screen.
        plot.grid.level = "overlay"
        self._line = plot.line("x", "y", source=self._curve, line_color=MARKED, line_width=1.5)
        self._plot = plot
        self.pane = pn.pane.Bokeh(plot, sizing_mode="stretch_both", margin=0)

    def roots(self) -> dict[str, Any]:
        """Return the figure and its settings."""
        return {"waveform": self.pane, "waveform-settings": self.settings}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed: ``{"set": {...}}``, ``{"describe": true}`` or ``{"visible": bool}``."""
        match message:
            case {"set": settings}:
                wanted = dict(settings)
                if "magnify" in wanted:
                    wanted["magnify"] = int(wanted["magnify"])
                if "line" in wanted:
                    wanted["line"] = int(wanted["line"]) or None
                problem = self.act(partial(self.bench.set_scope, **wanted))
                self.settings.notice = problem or ""
            case {"describe": _}:
                self._described = (self.bench.revision, self.bench.scope)
                self.settings.sentence = ""
                self.settings.sentence = self.sentence()
            case {"visible": visible}:
                self.visible = bool(visible)
            case _:
                raise ValueError(f"the waveform monitor knows no {message!r}")

    def sentence(self) -> str:
        """Return what the monitor shows."""
        scope, frame = self.bench.scope, self.bench.frame
        if scope.line is None:
            return typeset(describe_waveform(waveform(frame, scope.test_point, scope.rate)))
        trace = line_trace(frame, scope.test_point, scope.line)
        return say(
            "scope.line_sentence",
            point=TEST_POINTS[scope.test_point].label,
            line=scope.line,
            low=number(float(trace.y.min()), 2),
            high=number(float(trace.y.max()), 2),
            unit=trace.y_unit,
        )

    def refresh(self) -> None:
        """Show how the monitor is set."""
        scope = self.bench.scope
        if self._described != (self.bench.revision, scope):
            # What was said of another signal would only mislead.
            self.settings.param.update(sentence="", notice="")
        self.settings.scope = {
            "test_point": scope.test_point,
            "rate": scope.rate,
            "magnify": scope.magnify,
            "position": scope.position,
            "line": scope.line or 0,
            "own_point": scope.test_point == POINT_OF_STAGE[self.bench.stage],
        }

    def draw(self) -> None:
        """Draw the present frame, if it and the settings are not what is drawn already."""
        frame, scope = self.bench.frame, self.bench.scope
        if not self.visible or self._shown == (frame, scope):
            return
        self._shown = (frame, scope)
        if scope.line is None:
            self._draw_raster(frame, scope)
        else:
            self._draw_line(frame, scope, scope.line)

    def _draw_raster(self, frame: PlaybackFrame, scope: Scope) -> None:
        raster = waveform(
            frame,
            scope.test_point,
            scope.rate,
            rows=ROWS,
            columns=COLUMNS,
            magnify=scope.magnify,
            position=min(scope.position, 1.0 - 1.0 / scope.magnify),
        )
        (left, right), (low, high) = raster.x_range, raster.y_range
        self._set_axes((left, right), (low, high), raster.x_unit, raster.y_unit)
        self._image.glyph.update(x=left, y=low, dw=right - left, dh=high - low)
        self._raster.data = {"image": [(raster.image * np.float32(255.0)).astype(np.uint8)]}
        self._image.visible, self._line.visible = True, False

    def _draw_line(self, frame: PlaybackFrame, scope: Scope, line: int) -> None:
        trace = line_trace(frame, scope.test_point, line)
        span = frame.standard.line_period_s * 1e6
        left = min(scope.position, 1.0 - 1.0 / scope.magnify) * span
        white = frame.standard.white_level
        limits = _SHARE_RANGE if trace.y_unit == _SHARE else (_VIDEO_RANGE[0] * white, _VIDEO_RANGE[1] * white)
        self._set_axes((left, left + span / scope.magnify), limits, "us", trace.y_unit)
        self._curve.data = {"x": trace.x, "y": trace.y}
        self._image.visible, self._line.visible = False, True

    def _set_axes(self, x: tuple[float, float], y: tuple[float, float], x_unit: str, y_unit: str) -> None:
        plot = self._plot
        self.x_range.update(start=x[0], end=x[1])
        self.y_range.update(start=y[0], end=y[1])
        shares = y_unit == _SHARE
        level = say("scope.axis_of") if shares else say("scope.axis_level", unit=y_unit)
        if plot.yaxis[0].axis_label != level:
            step = 0.4 if shares else (y[1] - y[0]) / 10.0
            ticks = [round(y[0] + step * number, 3) for number in range(round((y[1] - y[0]) / step) + 1)]
            plot.yaxis[0].axis_label = level
            plot.yaxis[0].ticker = FixedTicker(ticks=ticks)
            plot.ygrid[0].ticker = plot.yaxis[0].ticker
        plot.xaxis[0].axis_label = say("scope.axis_time", unit=unit_sign(x_unit))

    def update(self, readings: Readings) -> None:
        """Do nothing: `draw` brings the monitor up to date, more often than readings are taken."""
