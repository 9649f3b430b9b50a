"""The waveform monitor: a Bokeh figure with its graticule, and what it is connected to."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import panel as pn
import param
from bokeh.core.properties import value
from bokeh.core.property.descriptors import UnsetValueError
from bokeh.models import ColumnDataSource, FixedTicker, LinearColorMapper, Range1d

from bandbench.bench.graticule import Marks, carrier_marks, head_marks, level_marks, share_marks, vector_marks
from bandbench.bench.monitoring import POINT_OF_STAGE, Scope
from bandbench.bench.plots import FACE, HEAD_HUES, MARKED, SCREEN, TRACE, brightness_ramp, overlaid, plain_figure
from bandbench.bench.readings import Readings, unit_sign
from bandbench.bench.scope_words import (
    COLUMNS,
    HEADS,
    VECTOR_SIZE,
    left_edge,
    name_of,
    of_servos,
    sentence_of,
    servos_shown,
    spectrum_shown,
    table_of,
    vector_point,
)
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.frame import PlaybackFrame
from sim.instruments import MAGNIFICATIONS, RATES, TEST_POINTS, carriers_hz, line_trace, superposition, waveform
from sim.instruments.testpoints import range_at
from sim.instruments.vectorscope import vectorscope

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ScopeSettings", "ScopeView"]

ROWS = 240

_SHARE = "of nominal"
# Screen of the spectrum [dB].
_SPECTRUM_RANGE = (-90.0, 10.0)
# Steps of the graticule by unit; other units get ten steps.
_STEPS = {_SHARE: 0.4, "MHz": 2.0, "dB": 10.0}
# The same on the vectorscope, counted from its centre.
_VECTOR_STEPS = {"IRE": 20.0, "mV": 100.0}


class ScopeSettings(Part):
    """What stands under the waveform monitor.

    Attributes
    ----------
    scope : dict
        Settings (see `bandbench.bench.monitoring.Scope`), and which inner test points can be reached; line 0 stands for
        all lines.
    points : list of [name, label, inner]
        Test points.
    rates : list of str
        Sweep rates.
    magnifications : list of int
        Magnifications to choose from.
    lines : int
        Lines of a frame.
    sentence, notice : str
        What the monitor shows, when asked; what could not be done.
    snapshot : dict
        A file that the page shall save: its name, its text if it is a table (else it is the screen), and a number
        that grows with each.
    """

    scope = param.Dict(default={})
    points = param.List(default=[])
    rates = param.List(default=[])
    magnifications = param.List(default=[])
    lines = param.Integer(default=525)
    sentence = param.String(default="")
    notice = param.String(default="")
    snapshot = param.Dict(default={})

    _esm = script("scope")


class ScopeView(View):
    """The waveform monitor."""

    WORDS: ClassVar[str] = "scope"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self.visible = True
        self._described: tuple[int, Scope] | None = None
        self._shown: tuple[PlaybackFrame, Scope, float] | None = None
        self.settings = ScopeSettings(
            self.receive,
            words=self.words,
            # Inner ones last, so that the keys of a list reach all others one after the other.
            points=[
                [point.name, point.label, point.inner]
                for point in sorted(TEST_POINTS.values(), key=lambda point: point.inner)
            ],
            rates=list(RATES),
            magnifications=list(MAGNIFICATIONS),
            lines=bench.recorder.standard.lines_per_frame,
        )
        self._raster = ColumnDataSource({"image": [np.zeros((ROWS, COLUMNS), np.uint8)]})
        self._coloured = ColumnDataSource({"image": [np.zeros((ROWS, COLUMNS), np.uint32)]})
        self._curves = ColumnDataSource({"xs": [], "ys": [], "hue": []})
        self._curve = ColumnDataSource({"x": np.zeros(1, np.float32), "y": np.zeros(1, np.float32)})
        self._build_figure()
        self.refresh()

    def _build_figure(self) -> None:
        self.x_range, self.y_range = Range1d(start=0, end=1), Range1d(start=0, end=1)
        plot = plain_figure(
            x_range=self.x_range,
            y_range=self.y_range,
            sizing_mode="stretch_both",
            min_height=160,
            min_border=4,
            min_border_top=9,
        )
        mapper = LinearColorMapper(palette=brightness_ramp(), low=0, high=255)
        self._image = plot.image("image", x=0, y=0, dw=1, dh=1, source=self._raster, color_mapper=mapper)
        # The graticule lies over the trace, as on the face of a screen, and what is written there over the graticule.
        plot.grid.level = "guide"
        self._line = plot.line("x", "y", source=self._curve, line_color=MARKED, line_width=1.5)
        self._heads = plot.image_rgba("image", x=0, y=0, dw=1, dh=1, source=self._coloured)
        self._lines = plot.multi_line("xs", "ys", source=self._curves, line_color="hue", line_width=1.5)
        # What is marked on the face of the screen, over the trace.
        self._marks = Marks()
        self._faces = ColumnDataSource(self._marks.line_columns())
        self._targets = ColumnDataSource(self._marks.name_columns())
        plot.multi_line("xs", "ys", source=self._faces, line_color="colour", line_width=1, level="annotation")
        plot.text(
            "x",
            "y",
            text="name",
            source=self._targets,
            text_color="hue",
            text_font=value(FACE),
            text_font_size="12px",
            text_align="align",
            text_baseline="middle",
            background_fill_color=SCREEN,
            background_fill_alpha=0.7,
            level="overlay",
        )
        self._ticker = FixedTicker(ticks=[])
        plot.yaxis[0].ticker = plot.ygrid[0].ticker = self._ticker
        self._plot = plot
        self.pane = pn.pane.Bokeh(plot, sizing_mode="stretch_both", margin=0)

    def roots(self) -> dict[str, Any]:
        """Return the figure and its settings."""
        return {"waveform": self.pane, "waveform-settings": self.settings}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed: ``{"set": {...}}``, ``{"describe": true}``, ``{"save": "png"}`` or the like."""
        match message:
            case {"set": settings}:
                wanted = dict(settings)
                if "magnify" in wanted:
                    wanted["magnify"] = int(wanted["magnify"])
                if "line" in wanted:
                    wanted["line"] = int(wanted["line"]) or None
                problem = self.act(partial(self.bench.set_scope, **wanted))
                # A refusal that comes twice is told twice: the page then shows what is set.
                self.refresh()
                self.settings.notice = ""
                self.settings.notice = problem or ""
            case {"describe": _}:
                self._described = (self.bench.revision, self.bench.scope)
                self.settings.sentence = ""
                self.settings.sentence = sentence_of(self.bench)
            case {"save": "csv"} if not self.bench.readings_shown:
                # A table is readings; the screen can still be saved.
                self.settings.notice = ""
                self.settings.notice = say("meters.away_table")
            case {"save": kind}:
                self.settings.snapshot = {
                    "number": self.settings.snapshot.get("number", 0) + 1,
                    "name": name_of(self.bench, str(kind)),
                    "text": table_of(self.bench) if kind == "csv" else "",
                }
            case {"visible": visible}:
                self.visible = bool(visible)
            case _:
                raise ValueError(f"the waveform monitor knows no {message!r}")

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
            "display": scope.display,
            "servo": of_servos(self.bench),
            "reached": [name for name, point in TEST_POINTS.items() if point.inner and self.bench.reaches(name)],
            "own_point": scope.test_point == POINT_OF_STAGE[self.bench.stage],
        }

    def draw(self) -> bool:
        """Draw the present frame, if it and the settings are not what is drawn already; tell whether it did."""
        frame, scope = self.bench.frame, self.bench.scope
        # The servos go on while the picture stands.
        shown = (frame, scope, self.bench.station.time_s if of_servos(self.bench) else 0.0)
        if not self.visible or self._shown == shown:
            return False
        self._shown = shown
        if scope.display == "vectors":
            self._draw_vectors(frame)
        elif scope.display == "spectrum":
            self._draw_spectrum(scope)
        elif of_servos(self.bench):
            self._draw_servo(scope)
        elif scope.line is not None:
            self._draw_line(frame, scope, scope.line)
        elif scope.test_point == HEADS:
            self._draw_heads(frame, scope)
        else:
            self._draw_raster(frame, scope)
        return True

    def _show(self, glyph: Any, marks: Marks) -> None:
        """Show this part of the figure and no other, and these marks on the face of the screen."""
        for one in (self._image, self._heads, self._line, self._lines):
            one.visible = one is glyph
        if marks != self._marks:
            self._marks = marks
            self._faces.data = marks.line_columns()
            self._targets.data = marks.name_columns()

    def _face(self, x: tuple[float, float], y_unit: str) -> Marks:
        """Return what the screen's face marks for levels of this unit."""
        standard = self.bench.frame.standard
        if y_unit == standard.level_unit:
            return level_marks(standard, x)
        return share_marks(x) if y_unit == _SHARE else Marks()

    def _draw_raster(self, frame: PlaybackFrame, scope: Scope) -> None:
        raster = waveform(
            frame,
            scope.test_point,
            scope.rate,
            rows=ROWS,
            columns=COLUMNS,
            magnify=scope.magnify,
            position=left_edge(self.bench),
        )
        (left, right), (low, high) = raster.x_range, raster.y_range
        self._set_axes((left, right), (low, high), raster.x_unit, raster.y_unit)
        self._image.glyph.update(x=left, y=low, dw=right - left, dh=high - low)
        self._raster.data = {"image": [(raster.image * np.float32(255.0)).astype(np.uint8)]}
        self._show(self._image, self._face((left, right), raster.y_unit))

    def _draw_heads(self, frame: PlaybackFrame, scope: Scope) -> None:
        """Draw the four channels over each other, each in its head's hue, with the heads' numbers."""
        rasters = superposition(
            frame, scope.rate, rows=ROWS, columns=COLUMNS, magnify=scope.magnify, position=left_edge(self.bench)
        )
        (left, right), (low, high) = rasters[0].x_range, rasters[0].y_range
        self._set_axes((left, right), (low, high), rasters[0].x_unit, rasters[0].y_unit)
        self._heads.glyph.update(x=left, y=low, dw=right - left, dh=high - low)
        self._coloured.data = {"image": [overlaid([raster.image for raster in rasters], HEAD_HUES)]}
        self._show(self._heads, head_marks((left, right), high))

    def _draw_servo(self, scope: Scope) -> None:
        trace = servos_shown(self.bench)
        span = trace.length_s / scope.magnify
        left = (left_edge(self.bench) - 1.0) * trace.length_s
        self._set_axes((left, left + span), trace.y_range, "s", trace.unit)
        self._curve.data = {"x": trace.time_s, "y": trace.values}
        self._line.glyph.line_color = MARKED
        self._show(self._line, Marks())

    def _draw_spectrum(self, scope: Scope) -> None:
        spectrum = spectrum_shown(self.bench)
        frequency_mhz = spectrum.frequency_hz / 1e6
        span = self.bench.frame.standard.sample_rate_hz / 1e6
        left, (low, high) = left_edge(self.bench) * span, _SPECTRUM_RANGE
        self.x_range.update(start=left, end=left + span / scope.magnify)
        self.y_range.update(start=low, end=high)
        self._name_axes(say("scope.axis_frequency"), say("scope.axis_power"), _STEPS["dB"], low)
        self._curve.data = {"x": frequency_mhz.astype(np.float32), "y": spectrum.power_db.astype(np.float32)}
        self._line.glyph.line_color = TRACE
        carriers = {name: carrier / 1e6 for name, carrier in carriers_hz(self.bench.recorder.practice).items()}
        self._show(self._line, carrier_marks(carriers, low, high))

    def _draw_vectors(self, frame: PlaybackFrame) -> None:
        raster = vectorscope(frame, vector_point(self.bench), size=VECTOR_SIZE)
        limit = raster.limit
        # Circles stay round: the wider side of the screen shows more.
        reach = limit * max(1.0, self._aspect())
        self.x_range.update(start=-reach, end=reach)
        self.y_range.update(start=-limit, end=limit)
        step = _VECTOR_STEPS[raster.unit]
        lowest = -step * (limit // step)
        self._name_axes(say("scope.axis_u", unit=raster.unit), say("scope.axis_v", unit=raster.unit), step, lowest)
        self._image.glyph.update(x=-limit, y=-limit, dw=2 * limit, dh=2 * limit)
        self._raster.data = {"image": [(raster.image * np.float32(255.0)).astype(np.uint8)]}
        self._show(self._image, vector_marks(raster.targets.values(), limit))

    def _aspect(self) -> float:
        """Return how much wider the screen is than high, as far as the page has told."""
        try:
            return float(self._plot.inner_width / self._plot.inner_height)
        except (UnsetValueError, TypeError, ZeroDivisionError):
            return 4.0 / 3.0

    def _draw_line(self, frame: PlaybackFrame, scope: Scope, line: int) -> None:
        heads = scope.test_point == HEADS
        names = [f"rf_head_{head}" for head in range(1, 5)] if heads else [scope.test_point]
        traces = [line_trace(frame, name, line) for name in names]
        span = frame.standard.line_period_s * 1e6
        left = left_edge(self.bench) * span
        right = left + span / scope.magnify
        # The same range as for all lines, so that nothing jumps when one is chosen.
        limits, y_unit = range_at(scope.test_point, frame.standard)
        self._set_axes((left, right), limits, "us", y_unit)
        if heads:
            self._curves.data = {
                "xs": [trace.x for trace in traces], "ys": [trace.y for trace in traces], "hue": list(HEAD_HUES)
            }  # fmt: skip
            self._show(self._lines, head_marks((left, right), limits[1]))
            return
        self._curve.data = {"x": traces[0].x, "y": traces[0].y}
        self._line.glyph.line_color = MARKED
        self._show(self._line, self._face((left, right), y_unit))

    def _set_axes(self, x: tuple[float, float], y: tuple[float, float], x_unit: str, y_unit: str) -> None:
        self.x_range.update(start=x[0], end=x[1])
        self.y_range.update(start=y[0], end=y[1])
        if y_unit == _SHARE:
            level = say("scope.axis_of")
        elif of_servos(self.bench):
            level = say("scope.axis_error", unit=unit_sign(y_unit))
        else:
            level = say("scope.axis_carrier" if y_unit == "MHz" else "scope.axis_level", unit=y_unit)
        step = _STEPS.get(y_unit, (y[1] - y[0]) / 10.0)
        self._name_axes(say("scope.axis_time", unit=unit_sign(x_unit)), level, step, y[0])

    def _name_axes(self, x_label: str, y_label: str, step: float, lowest: float) -> None:
        """Label the axes; a new vertical axis gets ticks `step` apart from `lowest` to the top of the screen."""
        plot = self._plot
        if plot.yaxis[0].axis_label != y_label:
            count = int((self.y_range.end - lowest) / step + 1e-6) + 1
            # Never another ticker: Bokeh would go through all of the page's models again.
            self._ticker.ticks = [round(lowest + step * number, 3) for number in range(count)]
            plot.yaxis[0].axis_label = y_label
        plot.xaxis[0].axis_label = x_label

    def update(self, readings: Readings) -> None:
        """Do nothing: `draw` brings the monitor up to date, more often than readings are taken."""
