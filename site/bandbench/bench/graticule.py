"""What is drawn on the face of the waveform monitor, as numbers: levels with their names, targets, circle and cross.

Contents: `Marks`, `level_marks`, `share_marks`, `head_marks`, `carrier_marks` and `vector_marks`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from bandbench.bench.plots import FIGURES, GRATICULE, HEAD_HUES, MARKED, SCREEN_EDGE
from bandbench.bench.words import say
from sim.colour import BarTarget
from sim.standards import Standard

__all__ = ["Marks", "carrier_marks", "head_marks", "level_marks", "share_marks", "vector_marks"]

Range = tuple[float, float]

_LEVELS = {
    "white": "scope.level_white",
    "black": "scope.level_black",
    "blanking": "scope.level_blanking",
    "sync": "scope.level_sync",
}

# Where a name stands along the screen's width, as a share of it.
_NAMES_AT = 0.995
_HEADS_AT = (0.05, 0.1, 0.15, 0.2)
# The hue circle has a stroke every so many degrees, a longer one at every third. [degrees]
_STROKE_STEP_DEG = 10


@dataclass(frozen=True)
class Marks:
    """Lines and names on the face of a screen, in the units of its axes.

    Attributes
    ----------
    lines : sequence of (xs, ys, colour)
        Each a chain of straight pieces.
    names : sequence of (x, y, text, colour, align)
        ``align`` says which part of the text stands at the place: ``"center"``, ``"right"``.
    """

    lines: Sequence[tuple[Sequence[float], Sequence[float], str]] = field(default=())
    names: Sequence[tuple[float, float, str, str, str]] = field(default=())

    def line_columns(self) -> dict[str, list[object]]:
        """Return the lines as columns of a data source."""
        keys = ("xs", "ys", "colour")
        return {key: [line[place] for line in self.lines] for place, key in enumerate(keys)}

    def name_columns(self) -> dict[str, list[object]]:
        """Return the names as columns of a data source."""
        keys = ("x", "y", "name", "hue", "align")
        return {key: [name[place] for name in self.names] for place, key in enumerate(keys)}


def level_marks(standard: Standard, x: Range) -> Marks:
    """Return the levels that a technician sets by: white, black where it is raised, blanking, sync.

    Parameters
    ----------
    standard : Standard
        Whose levels they are.
    x : (left, right)
        What the screen's edges stand for.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> [name for _, _, name, _, _ in level_marks(get_standard("525/60"), (0.0, 63.5)).names]
    ['white 100', 'black 7.5', 'blanking 0', 'sync −40']
    """
    levels = {"white": standard.white_level, "black": standard.setup_level, "blanking": standard.blanking_level}
    levels["sync"] = standard.sync_level
    if standard.setup_level == 0.0:
        # Black is blanking: one line with one name.
        del levels["black"]
    at = x[0] + _NAMES_AT * (x[1] - x[0])
    # A name stands on its line; that of blanking hangs below, since black lies close above.
    lift = 0.03 * (standard.white_level - standard.sync_level)
    return Marks(
        [(list(x), [level, level], SCREEN_EDGE) for level in levels.values()],
        [
            (at, level + (-lift if name == "blanking" else lift), _named(name, level), FIGURES, "right")
            for name, level in levels.items()
        ],
    )


def _named(name: str, level: float) -> str:
    number = f"{level:g}".replace("-", "\N{MINUS SIGN}")
    return f"{say(_LEVELS[name])} {number}"


def share_marks(x: Range) -> Marks:
    """Return the two edges of an envelope at its nominal level."""
    at = x[0] + _NAMES_AT * (x[1] - x[0])
    return Marks(
        [(list(x), [share, share], SCREEN_EDGE) for share in (1.0, -1.0)],
        [(at, 1.08, say("scope.nominal"), FIGURES, "right")],
    )


def head_marks(x: Range, high: float) -> Marks:
    """Return the numbers of the heads in their hues along the top of the screen."""
    places = [x[0] + (x[1] - x[0]) * share for share in _HEADS_AT]
    return Marks(
        names=[
            (place, 0.88 * high, str(head), hue, "center")
            for head, (place, hue) in enumerate(zip(places, HEAD_HUES, strict=True), start=1)
        ]
    )


def carrier_marks(carriers_mhz: Mapping[str, float], low: float, high: float) -> Marks:
    """Return the carriers of a practice; the names stand one above the other, as the carriers lie close together."""
    tops = [high - 4.0 - 6.0 * number for number in range(len(carriers_mhz))]
    places = list(carriers_mhz.values())
    return Marks(
        [([place, place], [low, top - 3.0], MARKED) for place, top in zip(places, tops, strict=True)],
        [(place, top, name, MARKED, "center") for place, top, name in zip(places, tops, carriers_mhz, strict=True)],
    )


def vector_marks(targets: Iterable[BarTarget], limit: float) -> Marks:
    """Return the face of a vectorscope: cross, hue circle with strokes, boxes and names of the coloured bars."""
    radius = 0.94 * limit
    lines: list[tuple[Sequence[float], Sequence[float], str]] = [
        ([-limit, limit], [0.0, 0.0], GRATICULE),
        ([0.0, 0.0], [-limit, limit], GRATICULE),
    ]
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    lines.append(((radius * np.cos(turn)).tolist(), (radius * np.sin(turn)).tolist(), SCREEN_EDGE))
    for degrees in range(0, 360, _STROKE_STEP_DEG):
        inner = radius * (0.95 if degrees % (3 * _STROKE_STEP_DEG) == 0 else 0.975)
        cos, sin = float(np.cos(np.deg2rad(degrees))), float(np.sin(np.deg2rad(degrees)))
        lines.append(([inner * cos, radius * cos], [inner * sin, radius * sin], SCREEN_EDGE))
    names = []
    for target in targets:
        for box, colour in ((target.outer, SCREEN_EDGE), (target.inner, MARKED)):
            corners = (*box, box[0])
            lines.append(([u for u, _ in corners], [v for _, v in corners], colour))
        # Outside its box, or inside where the screen ends.
        far = 1.3 if 1.3 * float(np.hypot(target.u, target.v)) < 0.9 * limit else 0.7
        names.append((far * target.u, far * target.v, target.name, FIGURES, "center"))
    return Marks(lines, names)
