"""Vectorscope: colour as places on a plane, B-Y to the right and R-Y up.

Contents: `VectorRaster`, `vector_raster` (of any video), `vectorscope` (of a test point), `vector_points`,
`describe_vectors`, `describe_vectorscope`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.colour import BarTarget, VectorPoint, bar_points, bar_targets, demodulate, measure_burst
from sim.errors import BandbenchError, UnknownNameError
from sim.frame import PlaybackFrame
from sim.instruments.testpoints import VIDEO_POINTS, video_at
from sim.signals import visible_columns, visible_rows
from sim.standards import Standard
from sim.wording import wording

__all__ = [
    "VECTOR_POINTS",
    "VectorRaster",
    "describe_vectors",
    "describe_vectorscope",
    "vector_points",
    "vector_raster",
    "vectorscope",
]

VECTOR_POINTS = VIDEO_POINTS
"""Where a vectorscope can be connected."""

# The screen reaches to this part of white on each side of its centre (MODEL: a little more than the 0.585 of full
# cyan and red).
_SCREEN_PART_OF_WHITE = 0.65
# Lines drawn unless others are asked for: every third, an odd number so that both senses of V and all heads are seen;
# the beam is drawn half-way between samples as well, so that its path looks joined.
_LINE_STEP = 3
# A place where the beam rests this share of the time is at full brightness (MODEL; the square root below lifts the
# paths between the bars to where the eye sees them).
_FULL_SHARE = 2e-3

# What a description calls on target: the small box of `sim.colour.vectors` (from memory); and what it takes for bars
# at all (MODEL).
_ON_TARGET = (0.05, 3.0)
_BARS_AT_ALL = (0.6, 60.0)


@dataclass(frozen=True)
class VectorRaster:
    """A vectorscope's screen.

    Attributes
    ----------
    image : ndarray of float32, (size, size)
        Brightness 0 to 1; row 0 is the BOTTOM of the screen, column 0 its left edge.
    limit : float
        What the edges of the screen stand for, on both axes: half of the subcarrier's peak-to-peak. [`unit`]
    unit : str
        Level unit of the standard.
    targets : dict of BarTarget
        Boxes of the coloured bars; the same unit.
    locked : bool
        False if the signal has no bursts to lock to: the screen then shows it against the station's subcarrier.
    """

    image: NDArray[np.float32]
    limit: float
    unit: str
    targets: Mapping[str, BarTarget]
    locked: bool


def vector_raster(
    video: NDArray[np.floating],
    standard: Standard,
    lines: NDArray[np.integer] | None = None,
    *,
    lock: str = "line",
    switched: bool = True,
    size: int = 240,
    gain: float = 1.0,
    edges_s: NDArray[np.floating] | None = None,
) -> VectorRaster:
    """Draw the colour of a frame of video, bursts included.

    Parameters
    ----------
    video : ndarray, (lines, samples)
        Composite video in time order. [level unit]
    standard : Standard
        Of the video.
    lines : ndarray of int, optional
        Rows of the frame to draw, line number less one; every third of the picture's when omitted.
    lock : str
        One of `sim.colour.LOCKS`.
    switched : bool
        In PAL, False draws V as it is sent: every colour twice, mirrored about B-Y.
    size : int
        Rows and columns of the screen, at least 16.
    gain : float
        Enlargement about the centre, above 0.
    edges_s : ndarray, (lines,), optional
        Where the lines' sync edges lie against 0H (see `sim.colour.measure_burst`). [s]

    Raises
    ------
    BandbenchError
        If the array is not one frame of the standard, a name is unknown, or a number is out of range.

    Examples
    --------
    >>> from sim.signals import make_signal
    >>> from sim.standards import get_standard
    >>> standard = get_standard("525/60")
    >>> screen = vector_raster(make_signal("red", standard), standard)
    >>> red = screen.targets["red"]
    >>> row, column = (int((1.0 + place / screen.limit) * 120) for place in (red.v, red.u))
    >>> float(screen.image[row - 1 : row + 2, column - 1 : column + 2].max()), screen.locked, screen.unit
    (1.0, True, 'IRE')
    """
    if size < 16 or not (np.isfinite(gain) and gain > 0.0):
        raise BandbenchError(f"vectorscope of {size} x {size}, gain {gain}: use at least 16 x 16 and a gain above 0")
    rows = np.sort(visible_rows(standard))[::_LINE_STEP] if lines is None else np.asarray(lines)
    columns = slice(round(standard.burst_start_s * standard.sample_rate_hz), visible_columns(standard).stop)
    vectors = demodulate(video, standard, rows, columns, lock=lock, switched=switched, edges_s=edges_s)
    locked = lock == "reference" or measure_burst(video, standard, edges_s).present
    limit = _SCREEN_PART_OF_WHITE * (standard.white_level - standard.blanking_level) / gain
    between = np.complex64(0.5) * (vectors[:, 1:] + vectors[:, :-1])
    drawn = np.concatenate([vectors.ravel(), between.ravel()])
    scale, centre = np.float32(0.5 * size / limit), np.float32(0.5 * size)
    column = np.floor(drawn.real * scale + centre)
    row = np.floor(drawn.imag * scale + centre)
    inside = (column >= 0) & (column < size) & (row >= 0) & (row < size)
    # What leaves the screen is counted in a cell of its own.
    place = np.where(inside, row * np.float32(size) + column, np.float32(size * size)).astype(np.int32)
    hits = np.bincount(place, minlength=size * size + 1)[:-1].reshape(size, size)
    full = max(1.0, _FULL_SHARE * drawn.size)
    return VectorRaster(
        image=np.sqrt(np.minimum(hits.astype(np.float32) * np.float32(1.0 / full), 1.0)),
        limit=limit,
        unit=standard.level_unit,
        targets=bar_targets(standard),
        locked=locked,
    )


def _signal(frame: PlaybackFrame, test_point: str) -> tuple[NDArray[np.float32], NDArray[np.float64] | None]:
    """Return the video of a test point, and where its sync edges are if they are not at 0H."""
    if test_point not in VECTOR_POINTS:
        raise UnknownNameError("test point of the vectorscope", test_point, VECTOR_POINTS)
    video = video_at(frame, test_point)
    return video, frame.sync_edges_s if video is frame.demod else None


def vectorscope(
    frame: PlaybackFrame,
    test_point: str = "demodulated",
    lines: NDArray[np.integer] | None = None,
    *,
    lock: str = "line",
    switched: bool = True,
    size: int = 240,
    gain: float = 1.0,
) -> VectorRaster:
    """Return what a vectorscope shows at a test point; arguments as in `vector_raster`.

    Raises
    ------
    BandbenchError
        For an unknown test point or lock, or a number out of range.
    """
    video, edges_s = _signal(frame, test_point)
    return vector_raster(
        video, frame.standard, lines, lock=lock, switched=switched, size=size, gain=gain, edges_s=edges_s
    )


def vector_points(
    frame: PlaybackFrame,
    test_point: str = "demodulated",
    lines: NDArray[np.integer] | None = None,
    *,
    lock: str = "line",
) -> dict[str, VectorPoint]:
    """Return the mean vector of each coloured bar at a test point, by name of the bar.

    Parameters
    ----------
    frame : PlaybackFrame
        What is played; it should show bars.
    test_point : str
        One of `VECTOR_POINTS`.
    lines : ndarray of int, optional
        Rows of the frame, for instance those of one head; all that the bars fill when omitted.
    lock : str
        One of `sim.colour.LOCKS`.

    Returns
    -------
    dict of VectorPoint
        ``(amplitude, phase_deg)``: peak-to-peak amplitude in level units, phase from B-Y in degrees.

    Raises
    ------
    BandbenchError
        For an unknown test point or lock, or if there are no bursts to measure from.
    """
    video, edges_s = _signal(frame, test_point)
    return bar_points(video, frame.standard, lines, lock=lock, edges_s=edges_s)


def describe_vectors(points: Mapping[str, VectorPoint], standard: Standard) -> str:
    """Return vectors of the bars in a sentence: saturation and hue on the whole, and the bar that is furthest off.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> standard = get_standard("525/60")
    >>> points = {name: target.point for name, target in bar_targets(standard).items()}
    >>> describe_vectors(points, standard)
    'Vectorscope: all six colours in their boxes.'
    """
    targets = bar_targets(standard)
    size = {name: points[name].amplitude / target.point.amplitude for name, target in targets.items()}
    turn = {
        name: (points[name].phase_deg - target.point.phase_deg + 180.0) % 360.0 - 180.0
        for name, target in targets.items()
    }
    off = {name: max(abs(size[name] - 1.0) / _ON_TARGET[0], abs(turn[name]) / _ON_TARGET[1]) for name in targets}
    if any(abs(size[name] - 1.0) > _BARS_AT_ALL[0] or abs(turn[name]) > _BARS_AT_ALL[1] for name in targets):
        return wording("vectors.vectorscope_no_colour_bars")
    furthest = max(off, key=lambda name: off[name])
    if off[furthest] <= 1.0:
        return wording("vectors.vectorscope_all_six_colours")
    mean_size = sum(size.values()) / len(size)
    mean_turn = sum(turn.values()) / len(turn)
    return wording(
        "vectors.off",
        size_pct=f"{mean_size * 100.0:.0f}",
        turn_deg=f"{mean_turn:+.1f}",
        colour=wording(f"vectors.{furthest}"),
        colour_pct=f"{size[furthest] * 100.0:.0f}",
        colour_deg=f"{turn[furthest]:+.1f}",
    )


def describe_vectorscope(frame: PlaybackFrame, test_point: str = "demodulated", *, lock: str = "line") -> str:
    """Return what the vectorscope shows at a test point in a sentence."""
    video, edges_s = _signal(frame, test_point)
    if lock != "reference" and not measure_burst(video, frame.standard, edges_s).present:
        return wording("vectors.vectorscope_no_burst_lock")
    return describe_vectors(vector_points(frame, test_point, lock=lock), frame.standard)
