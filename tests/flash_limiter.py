"""The page's flash limiter in a Node.js, and what it draws counted by the definition of WCAG 2.2.

Contents: `Limiter`, `seen_at`, `counted_at`, `DIVISIONS`, `MOST_FLASHES`.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bandbench.npm_client import pinned_node
from tests.flash_counting import flashes

__all__ = ["DIVISIONS", "MOST_FLASHES", "Division", "Frames", "Limiter", "counted_at", "seen_at"]

Frames = NDArray[np.uint8]
Division = tuple[tuple[float, float], float]

_SITE = Path(__file__).parents[1] / "site" / "static"
# Cells in which flashes are counted: how large in CSS pixels, and how far the first is shifted.
DIVISIONS: list[Division] = [((12.0, 9.0), 0.4), ((25.0, 25.0), 0.0), ((60.0, 10.0), 0.6)]
# PUB WCAG 2.2, success criterion 2.3.1.
MOST_FLASHES = 3.0


class Limiter:
    """The page's own module in a Node.js that goes on from scene to scene.

    Parameters
    ----------
    seen : dict
        How the picture is seen where a scene tells nothing else, as `seen_at` tells it.
    """

    def __init__(self, seen: dict[str, float]) -> None:
        self._seen = seen
        node = shutil.which("node") or str(pinned_node())
        script = Path(__file__).with_name("flashing_frames.mjs")
        command = [node, str(script), str(_SITE / "flashing.mjs")]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def play(
        self, frames: Frames, times_s: NDArray[np.float64], seen: list[dict[str, float]] | None = None
    ) -> tuple[Frames, list[bool]]:
        """Return what is drawn of these frames, grey or in colour, and in which anything was held back."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        grey = frames.ndim == 3
        head = {"width": frames.shape[2], "height": frames.shape[1], "planes": 1 if grey else 3,
                "seen": seen or [self._seen], "times": (1000.0 * times_s).tolist()}  # fmt: skip
        planes = frames if grey else np.moveaxis(frames, -1, 1)
        self._process.stdin.write(json.dumps(head).encode() + b"\n" + planes.tobytes())
        self._process.stdin.flush()
        told = json.loads(self._process.stdout.readline())
        drawn = np.frombuffer(self._process.stdout.read(told["bytes"]), np.uint8)
        return drawn.reshape(len(frames), *frames.shape[1:3], 4)[..., :3], told["atWork"]

    def close(self) -> None:
        """End it."""
        with self._process:
            pass


def seen_at(frames: Frames, css_width: float) -> dict[str, float]:
    """Return how the whole picture is seen so wide on the page, in CSS pixels."""
    rows, columns = frames.shape[1:3]
    return {"left": 0.0, "top": 0.0, "width": float(columns), "height": float(rows),
            "cssWidth": css_width, "cssHeight": 0.75 * css_width}  # fmt: skip


def counted_at(
    frames: Frames, times_s: NDArray[np.float64], css_width: float, divisions: list[Division] = DIVISIONS
) -> float:
    """Return the most flashes a second of pictures so wide on the page, by several divisions."""
    size = (css_width / frames.shape[2], 0.75 * css_width / frames.shape[1])
    return max(flashes(frames, times_s, size, cell, shift) for cell, shift in divisions)
