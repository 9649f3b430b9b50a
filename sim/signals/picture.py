"""A person's own picture, grey or colour, as a test signal: checked, fitted into the 4:3 frame, band-limited.

Contents: `PictureError`, `signal_from_picture`.

The picture is laid over the active part of the frame in continuous coordinates: every sample of a visible
line is one cell of it. Where the picture is finer than the cells it is averaged over each cell's area, where
it is coarser it is interpolated between pixel centres, separately down and along.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError
from sim.signals.encoder import Drawing, Frame, chroma_response, composite, encode_rgb
from sim.signals.shapes import FloatArray
from sim.signals.timing import active_interval_s, visible_columns, visible_rows
from sim.standards import Standard
from sim.wording import wording

__all__ = ["PictureError", "signal_from_picture"]

SMALLEST_SIDE = 2
COLOURS = 3

# MODEL: from this part of the video bandwidth up to the whole of it the response falls as a squared cosine.
# Wider would soften pictures, narrower would ring longer; a black-to-white edge overshoots by 7 % either
# way.
PASSBAND_PART = 0.7


class PictureError(BandbenchError):
    """A picture that cannot be shown; the text says what is wrong with it and what to do."""


def _checked(given: NDArray[np.generic]) -> NDArray[np.generic]:
    """Return the picture as an array of real numbers, or say what is wrong with it."""
    picture = np.asarray(given)
    if picture.ndim not in (2, 3) or (picture.ndim == 3 and picture.shape[2] != COLOURS):
        raise PictureError(wording("picture.picture_shape_but_grey", shape=picture.shape))
    if min(picture.shape[:2]) < SMALLEST_SIDE:
        raise PictureError(
            wording(
                "picture.picture_rows_columns_needs",
                shape=picture.shape[0],
                shape_2=picture.shape[1],
                smallest_side=SMALLEST_SIDE,
            )
        )
    if picture.dtype.kind not in "buif":
        raise PictureError(wording("picture.picture_holds_values_needs", dtype=picture.dtype))
    if picture.dtype.kind == "b":
        picture = picture.astype(np.float64)
    # NaN makes both extremes NaN, so one test of them finds it.
    lowest, highest = float(picture.min()), float(picture.max())
    if np.isnan(lowest):
        row, column = np.argwhere(np.isnan(picture))[0][:2]
        raise PictureError(wording("picture.picture_not_number_row", row=row, column=column))
    if lowest < 0.0 or highest > 1.0:
        raise PictureError(wording("picture.pictures_values_run_from", lowest=f"{lowest:g}", highest=f"{highest:g}"))
    return picture


def _resample(picture: NDArray[np.generic], start: float, pitch: float, count: int, filled: bool) -> FloatArray:
    """Resample the rows of a picture onto `count` cells.

    Cell ``k`` reaches from ``start + k pitch`` to ``start + (k + 1) pitch``, in rows of the picture. What a
    cell covers outside the picture counts as black, unless the picture is said to fill its direction: then
    the little that the outermost cells stick out is ignored.
    """
    length = picture.shape[0]
    edges = start + pitch * np.arange(count + 1)
    inside = np.clip(edges, 0.0, length)
    width = np.diff(inside)
    if pitch >= 1.0:
        total = np.zeros((length + 1, picture.shape[1]))
        np.cumsum(picture, axis=0, dtype=np.float64, out=total[1:])
        whole = np.minimum(inside.astype(np.int64), length - 1)
        running = total[whole] + (inside - whole)[:, None] * picture[whole].astype(np.float64)
        mean = np.diff(running, axis=0) / np.where(width > 0.0, width, 1.0)[:, None]
    else:
        place = np.clip(0.5 * (edges[:-1] + edges[1:]) - 0.5, 0.0, length - 1.0)
        whole = np.minimum(place.astype(np.int64), length - 2)
        part = (place - whole)[:, None]
        mean = (1.0 - part) * picture[whole] + part * picture[whole + 1]
    covered = np.ones(count) if filled else width / pitch
    shown: FloatArray = covered[:, None] * mean
    return shown


def _fit(plane: NDArray[np.generic], standard: Standard) -> FloatArray:
    """Lay one plane of a picture over the visible part of the frame; (lines, samples), 0 around it."""
    rows, columns = visible_rows(standard), visible_columns(standard)
    active_start, active_end = (time_s * standard.sample_rate_hz for time_s in active_interval_s(standard))
    # Above 1 the picture is wider than the frame, below 1 it is narrower.
    relative_aspect = plane.shape[1] / plane.shape[0] / standard.picture_aspect
    box_height = len(rows) * min(1.0, 1.0 / relative_aspect)
    box_width = (active_end - active_start) * min(1.0, relative_aspect)
    box_top = 0.5 * (len(rows) - box_height)
    box_left = 0.5 * (active_start + active_end - box_width)

    pitch = plane.shape[0] / box_height
    fitted = _resample(plane, -box_top * pitch, pitch, len(rows), relative_aspect <= 1.0)
    pitch = plane.shape[1] / box_width
    start = (columns.start - 0.5 - box_left) * pitch
    count = columns.stop - columns.start
    frame = np.zeros((standard.lines_per_frame, standard.samples_per_line))
    frame[rows, columns] = _resample(fitted.T, start, pitch, count, relative_aspect >= 1.0).T
    return frame


def _line_frequency_hz(standard: Standard) -> FloatArray:
    return np.asarray(np.fft.rfftfreq(standard.samples_per_line, 1.0 / standard.sample_rate_hz))


def _filter_lines(picture: FloatArray, response: FloatArray) -> FloatArray:
    return np.asarray(np.fft.irfft(np.fft.rfft(picture) * response, picture.shape[1]))


def _low_pass_lines(standard: Standard, picture: FloatArray) -> FloatArray:
    """Limit each line of luminance to the video bandwidth; shape (lines, samples).

    What is outside the visible columns is bridged from the right-hand edge back to the left-hand one, so that nothing
    rings in from the blanking.
    """
    columns = visible_columns(standard)
    bridged = picture.copy()
    left, right = picture[:, columns.start], picture[:, columns.stop - 1]
    outside = np.arange(columns.stop, columns.start + standard.samples_per_line)
    part = (outside - columns.stop + 1) / (len(outside) + 1)
    bridged[:, outside % standard.samples_per_line] = right[:, None] + (left - right)[:, None] * part
    passband_hz = PASSBAND_PART * standard.video_bandwidth_hz
    beyond_hz = _line_frequency_hz(standard) - passband_hz
    fall = np.clip(beyond_hz / (standard.video_bandwidth_hz - passband_hz), 0.0, 1.0)
    return _filter_lines(bridged, np.cos(0.5 * np.pi * fall) ** 2)


def signal_from_picture(
    picture: NDArray[np.generic], standard: Standard, colour_frame: int = 0, *, monochrome: bool = False
) -> Frame:
    """Make one frame of composite signal from a grey or colour picture of any size.

    The whole picture is shown with its own proportions, as large as the frame allows; what is left over at
    the top and bottom or at the sides is black. Pixels are taken as square.

    Parameters
    ----------
    picture : ndarray, (rows, columns) or (rows, columns, 3)
        Grey, or red, green and blue, from top left, 0 to 1, at least 2 by 2 pixels. [1]
    standard : Standard
        The scanning standard.
    colour_frame : int, default 0
        From 0: which frame of the standard's colour sequence.
    monochrome : bool, default False
        True sends the luminance of a colour picture alone, and no burst.

    Returns
    -------
    ndarray, float32, (lines, samples)
        Time order, row 0 is line 1, sample 0 of each row is 0H. [level unit]

    Raises
    ------
    PictureError
        If the picture has another shape, is smaller than 2 by 2, or holds anything but real numbers from 0 to 1.
    ValueError
        If `colour_frame` is not in the sequence.

    Notes
    -----
    Grey or red, green and blue are taken as the signals themselves, already with the gamma of a screen: setup for 0,
    white for 1. Along the line luminance is limited to the video bandwidth, flat to 0.7 of it and nothing beyond; a
    hard edge then overshoots by about 7 %, as one from a band-limited camera does. The colour differences are limited
    by `sim.signals.encoder.chroma_response` and start from no colour at the sides of the frame. Down the picture
    nothing is limited: fine level lines flicker from field to field. Saturated colours of full brightness reach beyond
    white, by a third for yellow and cyan; nothing is clipped here.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> frame = signal_from_picture(np.full((3, 4), 1.0), get_standard("525/60"))
    >>> round(float(frame[100, 400]), 3), float(frame[100, 30])
    (100.0, -40.0)
    >>> red = np.zeros((3, 4, 3))
    >>> red[..., 0] = 1.0
    >>> signal_from_picture(red, get_standard("625/50")).shape
    (625, 1134)
    """
    pixels = _checked(picture)
    if pixels.ndim == 2:
        shown = _fit(pixels, standard)
        level = standard.setup_level + (standard.white_level - standard.setup_level) * shown
        drawing = Drawing(_low_pass_lines(standard, level))
    else:
        fitted = np.stack([_fit(pixels[:, :, colour], standard) for colour in range(COLOURS)], axis=-1)
        luma, u, v = encode_rgb(fitted, standard)
        response = chroma_response(standard, _line_frequency_hz(standard))
        drawing = Drawing(_low_pass_lines(standard, luma), _filter_lines(u, response), _filter_lines(v, response))
    return composite(standard, drawing, colour_frame, monochrome=monochrome)
