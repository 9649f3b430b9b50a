"""Count the flashes of a moving picture as WCAG 2.2 defines them, from what is seen alone.

Contents: `flashes` of pictures, `flashes_of_light` of means that were taken elsewhere. It knows nothing of the page's
limiter (`site/static/flashing.mjs`): other blocks, another way to count.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["flashes", "flashes_of_light"]

# PUB WCAG 2.2, "general flash and red flash thresholds": changes of a tenth of the largest relative luminance whose
# darker state is below 0.80; a quarter of any 341 x 256 CSS pixels; one second. Saturated red: R / (R + G + B) >= 0.8;
# a change from or to it: more than 0.2 in the CIE 1976 UCS diagram, or more than 20 / 320 in R - G - B.
_CHANGE = 0.1
_DARKEST = 0.80
_RECTANGLE_PX = (341.0, 256.0)
_SHARE = 0.25
_SECOND_S = 1.0
_SATURATED = 0.8
_UCS_CHANGE = 0.2
_RED_CHANGE = 20.0 / 320.0

# PUB IEC 61966-2-1: from red, green and blue to CIE X, Y and Z.
_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def _mean_light(frames: NDArray[np.uint8], cell: tuple[int, int], corner: tuple[int, int]) -> NDArray[np.float64]:
    """Return the mean light of the cells of every frame.

    Parameters
    ----------
    frames : array of shape (n_frames, rows, columns) or (n_frames, rows, columns, 3)
        Codes of the screen, of grey or of red, green and blue.
    cell : tuple of int
        Rows and columns of a cell.
    corner : tuple of int
        Row and column where the first cell begins; what does not fill a cell is left out.

    Returns
    -------
    array of shape (n_frames, cells down, cells across, 3)
        Linear red, green and blue, from 0 to 1.
    """
    codes = np.arange(256) / 255.0
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4).astype(np.float32)
    cut = frames[:, corner[0] :, corner[1] :]
    down, across = cut.shape[1] // cell[0], cut.shape[2] // cell[1]
    cut = cut[:, : down * cell[0], : across * cell[1]]
    planes = cut.reshape(*cut.shape[:3], -1)
    means = np.empty((len(frames), down, across, 3))
    for number, frame in enumerate(planes):
        # Whole lines first, which is quicker. Of grey there is one plane, which stands for all three.
        lines = light[frame].reshape(down, cell[0], across * cell[1], -1).sum(axis=1)
        means[number] = lines.reshape(down, across, cell[1], -1).sum(axis=2) / (cell[0] * cell[1])
    return means


def _swings(values: NDArray[np.float64], change: float, darkest: float = np.inf) -> NDArray[np.bool_]:
    """Tell in which frames a value has gone from a peak or valley to at least `change` away from it."""
    found = np.zeros(values.shape, bool)
    peak, valley = values[0].copy(), values[0].copy()
    # 0 until the first change: then either may come.
    way = np.zeros(values.shape[1:], int)
    for number, now in enumerate(values):
        fallen = (way >= 0) & (peak - now >= change) & (now < darkest)
        risen = (way <= 0) & (now - valley >= change) & (valley < darkest)
        found[number] = fallen | risen
        way = np.where(risen, 1, np.where(fallen, -1, way))
        peak = np.where(found[number], now, np.maximum(peak, now))
        valley = np.where(found[number], now, np.minimum(valley, now))
    return found


def _red_swings(light: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell in which frames a colour has come from, or gone to, a saturated red, by either definition."""
    total = light.sum(axis=-1)
    saturated = (light[..., 0] >= _SATURATED * total) & (total > 0.0)
    xyz = light @ _TO_XYZ.T
    below = np.maximum(xyz @ np.array([1.0, 15.0, 3.0]), 1e-9)
    ucs = np.stack([4.0 * xyz[..., 0] / below, 9.0 * xyz[..., 1] / below], axis=-1)
    redness = np.maximum(light[..., 0] - light[..., 1] - light[..., 2], 0.0)
    found = np.zeros(total.shape, bool)
    last = (saturated[0], ucs[0], redness[0])
    for number in range(1, len(light)):
        now = (saturated[number], ucs[number], redness[number])
        apart = np.hypot(*np.moveaxis(now[1] - last[1], -1, 0)) > _UCS_CHANGE
        apart |= np.abs(now[2] - last[2]) > _RED_CHANGE
        # Black has no hue: what is hardly lit does not count for the diagram's sake.
        found[number] = (now[0] != last[0]) & apart & (np.maximum(now[2], last[2]) > 0.01)
        kept = found[number]
        last = (
            np.where(kept, now[0], last[0]),
            np.where(kept[..., None], now[1], last[1]),
            np.where(kept, now[2], last[2]),
        )
    return found | _swings(np.where(saturated, redness, 0.0), _RED_CHANGE)


def flashes(
    frames: NDArray[np.uint8],
    times_s: NDArray[np.float64],
    css_per_pixel: tuple[float, float],
    cell_css: tuple[float, float] = (12.0, 9.0),
    shift: float = 0.4,
) -> float:
    """Return the most flashes within a second that a quarter of any 341 x 256 CSS pixels takes part in.

    Parameters
    ----------
    frames : array of shape (n_frames, rows, columns) or (n_frames, rows, columns, 3)
        Codes of the screen, of grey or of red, green and blue.
    times_s : array of shape (n_frames,)
        When each was shown. [s]
    css_per_pixel : tuple of float
        How large a picture element is across and down. [CSS px]
    cell_css : tuple of float
        About how large the cells across and down are whose mean is taken. [CSS px]
    shift : float
        How far the first cell is from the picture's corner, in cells.

    Returns
    -------
    float
        Pairs of opposing changes, in halves: one change that has no opposite counts half a flash.
    """
    cell = tuple(max(1, round(css / one)) for css, one in zip(cell_css, css_per_pixel, strict=True))
    light = _mean_light(frames, (cell[1], cell[0]), (int(shift * cell[1]), int(shift * cell[0])))
    return flashes_of_light(light, times_s, (cell[0] * css_per_pixel[0], cell[1] * css_per_pixel[1]))


def flashes_of_light(light: NDArray[np.float64], times_s: NDArray[np.float64], cell_css: tuple[float, float]) -> float:
    """Return the same as `flashes` of the mean linear red, green and blue of cells so large across and down.

    Parameters
    ----------
    light : array of shape (n_frames, cells down, cells across, 3)
        From 0 to 1.
    times_s : array of shape (n_frames,)
        When each was shown. [s]
    cell_css : tuple of float
        How large a cell is across and down. [CSS px]
    """
    worst = 0
    for swings in (_swings(light @ _TO_XYZ[1], _CHANGE, _DARKEST), _red_swings(light)):
        for end in np.flatnonzero(swings.any(axis=(1, 2))):
            within = (times_s > times_s[end] - _SECOND_S) & (times_s <= times_s[end])
            counts = swings[within].sum(axis=0)
            while _covers(counts > worst, cell_css):
                worst += 1
    return worst / 2.0


def _covers(cells: NDArray[np.bool_], size_css: tuple[float, float]) -> bool:
    """Tell whether these cells fill a quarter of any 341 x 256 CSS pixels."""
    needed = _SHARE * _RECTANGLE_PX[0] * _RECTANGLE_PX[1] / (size_css[0] * size_css[1])
    if cells.sum() < needed:
        return False
    down = min(cells.shape[0], round(_RECTANGLE_PX[1] / size_css[1]))
    across = min(cells.shape[1], round(_RECTANGLE_PX[0] / size_css[0]))
    sums = np.pad(cells.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    inside = sums[down:, across:] - sums[:-down, across:] - sums[down:, :-across] + sums[:-down, :-across]
    return bool(inside.max() >= needed)
