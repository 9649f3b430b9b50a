"""A small application that proves the seam until the bench takes its place."""

from __future__ import annotations

import numpy as np
import panel as pn
import param
from bokeh.models import ColumnDataSource, Range1d
from bokeh.plotting import figure
from numpy.typing import NDArray
from panel.custom import JSComponent

from bandbench.runtime.application import FrameImage, PictureFile

ROWS, COLUMNS = 486, 720


class Counter(JSComponent):
    """A tiny component of our own."""

    value = param.Integer(default=0)

    _esm = """
    export function render({ model }) {
      const button = document.createElement("button");
      const label = () => { button.textContent = `Pressed ${model.value} times`; };
      button.addEventListener("click", () => { model.value += 1; });
      model.on("value", label);
      label();
      return button;
    }
    """


class DemoApplication:
    """A moving wedge whose contrast one slider sets, its line in a figure, and a component."""

    def __init__(self) -> None:
        self.contrast = pn.widgets.FloatSlider(name="Contrast", start=0.0, end=1.0, step=0.01, value=1.0)
        self.counter = Counter()  # type: ignore[no-untyped-call]
        self.revision = 0
        self.contrast.param.watch(self._changed, "value")
        self.background: NDArray[np.float32] = np.tile(np.linspace(0, 255, COLUMNS, dtype=np.float32), (ROWS, 1))
        self.source = ColumnDataSource({"x": np.arange(COLUMNS, dtype=np.float32), "y": np.zeros(COLUMNS, np.float32)})
        plot = figure(height=220, sizing_mode="stretch_width", y_range=Range1d(start=0, end=255), toolbar_location=None)
        plot.line("x", "y", source=self.source)
        self.plot = pn.pane.Bokeh(plot)
        self.count = 0

    def _changed(self, *_: object) -> None:
        self.revision += 1

    def roots(self) -> dict[str, pn.viewable.Viewable]:
        """Return the parts."""
        return {"controls": pn.Column(self.contrast, self.counter), "waveform": self.plot}

    def next_frame(self) -> FrameImage:
        """Return the moving wedge."""
        self.count += 4
        self.picture = (np.roll(self.background, self.count, axis=1) * np.float32(self.contrast.value)).astype(np.uint8)
        return FrameImage({"picture": self.picture}, self.revision)

    def tick(self, now_s: float) -> None:
        """Update the figure."""
        self.source.data = {"x": self.source.data["x"], "y": self.picture[ROWS // 2].astype(np.float32)}

    def on_picture_file(self, picture: PictureFile) -> None:
        """Take a picture as the background."""
        rows = np.linspace(0, picture.grey.shape[0] - 1, ROWS).astype(int)
        columns = np.linspace(0, picture.grey.shape[1] - 1, COLUMNS).astype(int)
        self.background = picture.grey[rows][:, columns] * np.float32(255)
