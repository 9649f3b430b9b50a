"""Chrominance as vectors: over whole lines, in the bars, and where the bars ought to be.

Contents: `VectorPoint`, `BarTarget`, `bar_targets`, `demodulate`, `bar_lines`, `bar_vectors`, `bar_points`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.colour.burst import check_frame, fit_weights, reference_phase
from sim.colour.decoder import LOW_PASS_REACH, LOW_PASS_SUM, low_pass
from sim.errors import BandbenchError
from sim.signals import bar_interval, bar_layout, encode_rgb, visible_rows
from sim.standards import Standard

__all__ = ["BarTarget", "VectorPoint", "bar_lines", "bar_points", "bar_targets", "bar_vectors", "demodulate"]

# Boxes round the targets, as part of the vector's length and in degrees (from memory, typical of the trade).
_INNER_BOX = (0.05, 3.0)
_OUTER_BOX = (0.20, 10.0)
# Lines demodulated together: little enough for a processor's cache.
_BLOCK = 64
# Part of the bars' height that is left out at their top and bottom (MODEL).
_EDGE_PART = 0.04


class VectorPoint(NamedTuple):
    """One vector: peak-to-peak amplitude of the subcarrier [level unit] and its phase, 0 along B-Y [deg]."""

    amplitude: float
    phase_deg: float


@dataclass(frozen=True)
class BarTarget:
    """Where a vectorscope should show a bar.

    Attributes
    ----------
    name : str
        The bar.
    point : VectorPoint
        Its vector.
    u, v : float
        The same as a place on the screen: parts along B-Y and R-Y, half of peak-to-peak. [level unit]
    inner, outer : tuple of (u, v)
        Corners of the small and the large box round it. [level unit]
    """

    name: str
    point: VectorPoint
    u: float
    v: float
    inner: tuple[tuple[float, float], ...]
    outer: tuple[tuple[float, float], ...]


def _box(vector: complex, size: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    part, degrees = size
    turn = np.exp(1j * np.deg2rad(degrees))
    corners = [vector * (1.0 + side * part) * (turn if ahead else 1.0 / turn)
               for side, ahead in ((-1, False), (-1, True), (1, True), (1, False))]  # fmt: skip
    return tuple((float(corner.real), float(corner.imag)) for corner in corners)


def bar_targets(standard: Standard) -> dict[str, BarTarget]:
    """Return the targets of the coloured bars by name, in the order of the bars.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> target = bar_targets(get_standard("525/60"))["cyan"]
    >>> round(target.point.amplitude, 1), round(target.point.phase_deg, 1)
    (87.7, 283.5)
    """
    layout = bar_layout(standard)
    targets = {}
    for name, rgb in zip(layout.names, layout.rgb, strict=True):
        _, u, v = encode_rgb(np.array(rgb), standard)
        vector = complex(u, v)
        if len(set(rgb)) > 1:
            point = _point(vector)
            targets[name] = BarTarget(
                name, point, float(u), float(v), _box(vector, _INNER_BOX), _box(vector, _OUTER_BOX)
            )
    return targets


def _point(vector: complex) -> VectorPoint:
    return VectorPoint(2.0 * abs(vector), float(np.rad2deg(np.angle(vector)) % 360.0))


def demodulate(
    video: NDArray[np.floating],
    standard: Standard,
    lines: NDArray[np.integer],
    columns: slice,
    *,
    lock: str = "line",
    switched: bool = True,
    edges_s: NDArray[np.floating] | None = None,
) -> NDArray[np.complex64]:
    """Return chrominance along lines as vectors ``U + j V``.

    Parameters
    ----------
    video : ndarray, (lines, samples)
        Composite video in time order. [level unit]
    standard : Standard
        Of the video.
    lines : ndarray of int, (n_lines,)
        Rows of the frame, line number less one.
    columns : slice
        Samples of each line, at least 9 away from both ends of it.
    lock, edges_s
        As in `sim.colour.burst.reference_phase`; a signal without bursts is taken against the station's subcarrier.
    switched : bool
        False leaves V turned over on every second line of PAL, as it is sent.

    Returns
    -------
    ndarray of complex64, (n_lines, n_columns)
        [level unit]

    Raises
    ------
    BandbenchError
        If the array is not one frame of the standard, or lines or columns are outside of it.

    Examples
    --------
    >>> from sim.signals import make_signal
    >>> from sim.standards import get_standard
    >>> standard = get_standard("525/60")
    >>> red = demodulate(make_signal("red", standard), standard, np.array([100, 101]), slice(300, 302))
    >>> np.degrees(np.angle(red)).round(1).tolist()
    [[103.5, 103.5], [103.5, 103.5]]
    """
    check_frame(video, standard)
    rows = np.asarray(lines, dtype=np.intp)
    first, last, step = columns.indices(standard.samples_per_line)
    if step != 1 or first < LOW_PASS_REACH or last > standard.samples_per_line - LOW_PASS_REACH or last <= first:
        raise BandbenchError(
            f"columns {columns.start} to {columns.stop}: use a stretch between {LOW_PASS_REACH} and "
            f"{standard.samples_per_line - LOW_PASS_REACH}"
        )
    if rows.size == 0 or rows.min() < 0 or rows.max() >= standard.lines_per_frame:
        raise BandbenchError(f"lines to demodulate: use some of rows 0 to {standard.lines_per_frame - 1}")
    phase_rad, sense, _ = reference_phase(video, standard, lock, edges_s)
    if not switched:
        sense = np.ones_like(sense)
    window = slice(first - LOW_PASS_REACH, last + LOW_PASS_REACH)
    step_rad = 2.0 * np.pi * standard.subcarrier_hz / standard.sample_rate_hz
    along = (2.0 / LOW_PASS_SUM * np.exp(1j * step_rad * np.arange(window.start, window.stop))).astype(np.complex64)
    at_0h = np.exp(1j * phase_rad[rows]).astype(np.complex64)
    vectors = np.empty((rows.size, last - first), dtype=np.complex64)
    work = np.empty(_BLOCK * along.size, dtype=np.float32)
    for begin in range(0, rows.size, _BLOCK):
        block = slice(begin, begin + _BLOCK)
        carrier = at_0h[block, None] * along
        cut = video[rows[block], window].astype(np.float32, copy=False)
        for wave, sign, part in (
            (carrier.imag, np.ones(rows.size), vectors.real),
            (carrier.real, sense[rows], vectors.imag),
        ):
            product = cut * wave
            low_pass(product.reshape(-1), work[: product.size])
            np.multiply(product[:, : last - first], sign[block, None].astype(np.float32), out=part[block])
    return vectors


def bar_vectors(
    video: NDArray[np.floating],
    standard: Standard,
    lines: NDArray[np.integer] | None = None,
    *,
    lock: str = "line",
    edges_s: NDArray[np.floating] | None = None,
) -> NDArray[np.complex128]:
    """Return the mean vector in the middle of each coloured bar on each line, for bars on the screen.

    Parameters
    ----------
    video, standard, lock, edges_s
        As in `demodulate`.
    lines : ndarray of int, optional
        Rows of the frame; when omitted, those that the bars fill, from the top of the picture.

    Returns
    -------
    ndarray of complex, (n_lines, n_bars)
        ``U + j V``, in the order of `bar_targets`. [level unit]

    Raises
    ------
    BandbenchError
        If the array is not one frame of the standard, or the signal has no bursts to measure from.
    """
    rows = bar_lines(standard) if lines is None else np.asarray(lines, dtype=np.intp)
    phase_rad, sense, present = reference_phase(video, standard, lock, edges_s)
    if not present:
        raise BandbenchError(
            "vectors of the bars: the signal has no bursts to measure from; choose a test point before burst is taken "
            "out, or the lock 'reference'"
        )
    step_rad = 2.0 * np.pi * standard.subcarrier_hz / standard.sample_rate_hz
    columns = []
    for name in bar_targets(standard):
        place = bar_interval(standard, name)
        weights = fit_weights(standard, place.stop - place.start)
        pieces = video[rows, place]
        # Two sums of products: as a product with complex weights, a library that shares such work among the cores
        # spends more time on the sharing than on the work.
        real, imaginary = (
            np.einsum("ij,j->i", pieces, part.astype(np.float32)) for part in (weights.real, weights.imag)
        )
        fitted = real + 1j * imaginary
        columns.append(fitted * np.exp(-1j * (step_rad * place.start + phase_rad[rows])))
    vectors = np.stack(columns, axis=1)
    turned = sense[rows] < 0.0
    vectors[turned] = vectors[turned].conj()
    return vectors


def bar_lines(standard: Standard) -> NDArray[np.intp]:
    """Return the rows of the frame that the bars fill, a little of their top and bottom left out, in time order."""
    rows = visible_rows(standard)
    upper = bar_layout(standard).upper_part
    inside = rows[round(_EDGE_PART * rows.size) : round((upper - _EDGE_PART) * rows.size)]
    return np.sort(inside).astype(np.intp)


def bar_points(
    video: NDArray[np.floating],
    standard: Standard,
    lines: NDArray[np.integer] | None = None,
    *,
    lock: str = "line",
    edges_s: NDArray[np.floating] | None = None,
) -> dict[str, VectorPoint]:
    """Return the vector of each coloured bar, the mean of `bar_vectors` over the lines, by name.

    Examples
    --------
    >>> from sim.signals import make_signal
    >>> from sim.standards import get_standard
    >>> standard = get_standard("625/50")
    >>> green = bar_points(make_signal("bars", standard), standard)["green"]
    >>> round(green.amplitude), round(green.phase_deg, 1)
    (620, 240.7)
    """
    means = bar_vectors(video, standard, lines, lock=lock, edges_s=edges_s).mean(axis=0)
    return {name: _point(complex(mean)) for name, mean in zip(bar_targets(standard), means, strict=True)}
