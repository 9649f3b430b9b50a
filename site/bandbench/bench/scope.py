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
from bandbench.bench.plots import FIGURES, MARKED, brightness_ramp, screen_figure
from bandbench.bench.readings import Readings, number, typeset, unit_sign
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.frame import PlaybackFrame
from sim.instruments import TEST_POINTS, describe_waveform, line_trace, waveform
from sim.instruments.vectorscope import VECTOR_POINTS, describe_vectorscope, vectorscope

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ScopeSettings", "ScopeView"]

ROWS, COLUMNS = 240, 480
VECTOR_SIZE = 240

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
        self._targets = ColumnDataSource({"xs": [], "ys": [], "x": [], "y": [], "name": []})
        boxes = plot.multi_line("xs", "ys", source=self._targets, line_color=MARKED, line_width=1)
        names = plot.text(
            "x",
            "y",
            text="name",
            source=self._targets,
            text_color=FIGURES,
            text_font_size="12px",
            text_align="center",
            text_baseline="middle",
        )
        self._boxes = (boxes, names)
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
        if scope.vectors:
            return typeset(describe_vectorscope(frame, self._vector_point()))
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
            "vectors": scope.vectors,
            "own_point": scope.test_point == POINT_OF_STAGE[self.bench.stage],
        }

    def draw(self) -> bool:
        """Draw the present frame, if it and the settings are not what is drawn already; tell whether it did."""
        frame, scope = self.bench.frame, self.bench.scope
        if not self.visible or self._shown == (frame, scope):
            return False
        self._shown = (frame, scope)
        for glyph in self._boxes:
            glyph.visible = scope.vectors
        if scope.vectors:
            self._draw_vectors(frame)
        elif scope.line is None:
            self._draw_raster(frame, scope)
        else:
            self._draw_line(frame, scope, scope.line)
        return True

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

    def _vector_point(self) -> str:
        """Return the video nearest to the test point that a vectorscope can show."""
        point = self.bench.scope.test_point
        if point == "processed" and not self.bench.in_colour:
            # Monochrome processing takes the burst out, which a vectorscope locks to.
            return "corrected"
        return point if point in VECTOR_POINTS else "demodulated"

    def _draw_vectors(self, frame: PlaybackFrame) -> None:
        raster = vectorscope(frame, self._vector_point(), size=VECTOR_SIZE)
        limit = raster.limit
        # Circles stay round: the wider side of the screen shows more.
        width, height = self._plot.inner_width or 4, self._plot.inner_height or 3
        reach = limit * max(1.0, width / height)
        self.x_range.update(start=-reach, end=reach)
        self.y_range.update(start=-limit, end=limit)
        self._name_axes(
            say("scope.axis_u", unit=raster.unit), say("scope.axis_v", unit=raster.unit), limit / 2.0, -limit
        )
        self._image.glyph.update(x=-limit, y=-limit, dw=2 * limit, dh=2 * limit)
        self._raster.data = {"image": [(raster.image * np.float32(255.0)).astype(np.uint8)]}
        self._image.visible, self._line.visible = True, False
        if len(self._targets.data["name"]) == 0:
            targets = list(raster.targets.values())
            corners = [(*target.inner, target.inner[0]) for target in targets]
            self._targets.data = {
                "xs": [[u for u, _ in box] for box in corners],
                "ys": [[v for _, v in box] for box in corners],
                "x": [1.22 * target.u for target in targets],
                "y": [1.22 * target.v for target in targets],
                "name": [target.name for target in targets],
            }

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
        self.x_range.update(start=x[0], end=x[1])
        self.y_range.update(start=y[0], end=y[1])
        shares = y_unit == _SHARE
        level = say("scope.axis_of") if shares else say("scope.axis_level", unit=y_unit)
        step = 0.4 if shares else (y[1] - y[0]) / 10.0
        self._name_axes(say("scope.axis_time", unit=unit_sign(x_unit)), level, step, y[0])

    def _name_axes(self, x_label: str, y_label: str, step: float, lowest: float) -> None:
        """Label the axes; a new vertical axis gets ticks `step` apart from `lowest` to the top of the screen."""
        plot = self._plot
        if plot.yaxis[0].axis_label != y_label:
            count = round((self.y_range.end - lowest) / step) + 1
            plot.yaxis[0].axis_label = y_label
            plot.yaxis[0].ticker = FixedTicker(ticks=[round(lowest + step * number, 3) for number in range(count)])
            plot.ygrid[0].ticker = plot.yaxis[0].ticker
        plot.xaxis[0].axis_label = x_label

    def update(self, readings: Readings) -> None:
        """Do nothing: `draw` brings the monitor up to date, more often than readings are taken."""
