"""A person's own picture: where it lands, what is kept of it, how it is limited, what is refused."""

from __future__ import annotations

import re

import numpy as np
import pytest
import scipy.ndimage
import scipy.signal
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sim.signals import (
    PictureError,
    active_gate,
    blanking_template,
    signal_from_picture,
    visible_columns,
    visible_rows,
)
from sim.standards import get_standard

Array = NDArray[np.float64]

STANDARD = get_standard("525/60")
RATE_HZ = STANDARD.sample_rate_hz
ROWS, COLUMNS = visible_rows(STANDARD), visible_columns(STANDARD)
TEMPLATE, _ = blanking_template(STANDARD)
CLOSED = active_gate(STANDARD) == 0.0

sides = st.integers(2, 60)
seeds = st.integers(0, 2**32 - 1)


def shown(grey: NDArray[np.generic]) -> Array:
    """The visible part of the signal as 0 for black to 1 for white, without the outermost rows and columns."""
    # PUB BT.470 ratios: setup 7.5, white 100 IRE.
    frame = signal_from_picture(grey, STANDARD).astype(np.float64)
    return (frame[ROWS, COLUMNS][1:-1, 4:-4] - 7.5) / 92.5


@settings(max_examples=10, deadline=None)
@given(rows=sides, columns=sides, seed=seeds)
def test_any_size_makes_a_whole_frame(rows: int, columns: int, seed: int) -> None:
    grey = np.random.default_rng(seed).random((rows, columns))
    frame = signal_from_picture(grey, STANDARD)
    assert frame.shape == (525, 910)
    assert frame.dtype == np.float32
    assert np.all(np.isfinite(frame))
    np.testing.assert_array_equal(frame[CLOSED], TEMPLATE[CLOSED])
    assert frame.tobytes() == signal_from_picture(grey, STANDARD).tobytes()
    # A hard edge overshoots by 7 % (DERIVED from the filter); a line between two such by twice that at most.
    picture = shown(grey)
    assert picture.min() > -0.15
    assert picture.max() < 1.15


@settings(max_examples=10, deadline=None)
@given(rows=sides, columns=sides, level=st.floats(0.0, 1.0))
def test_even_grey_fills_a_box_of_its_own_proportions(rows: int, columns: int, level: float) -> None:
    picture = shown(np.full((rows, columns), level))
    height, width = picture.shape
    # DERIVED: a picture wider than 4:3 takes the whole width, a narrower one the whole height.
    relative = columns / rows * 3 / 4
    half_rows, half_columns = 243 * min(1.0, 1 / relative), 377 * min(1.0, relative)
    # All of the grey is there: the mean is the box's part of the frame.
    part = min(relative, 1 / relative)
    assert picture.mean() == pytest.approx(level * part, abs=0.015)
    # A box too narrow for the ringing of its sides to die out has no even middle.
    assume(min(half_rows, half_columns) >= 20)
    middle = picture[round(height / 2 - half_rows / 2) : round(height / 2 + half_rows / 2)]
    middle = middle[:, round(width / 2 - half_columns / 2) : round(width / 2 + half_columns / 2)]
    # Away from the box's sides by a quarter of it and by the ringing of them.
    np.testing.assert_allclose(middle, level, atol=0.02)


@settings(max_examples=10, deadline=None)
@given(scale=st.integers(20, 250), seed=seeds)
def test_mean_is_kept(scale: int, seed: int) -> None:
    # A smooth picture of 4:3: neither averaging nor interpolation nor the filter moves the mean.
    grey = scipy.ndimage.gaussian_filter(
        np.random.default_rng(seed).random((3 * scale, 4 * scale)), 2.0, mode="nearest"
    )
    assert shown(grey).mean() == pytest.approx(grey.mean(), abs=0.003)


@settings(max_examples=10, deadline=None)
@given(rows=sides, columns=sides, seed=seeds)
def test_upside_down_is_upside_down(rows: int, columns: int, seed: int) -> None:
    grey = np.random.default_rng(seed).random((rows, columns))
    np.testing.assert_allclose(shown(grey[::-1]), shown(grey)[::-1], atol=1e-5)


def test_letterbox_and_pillarbox() -> None:
    # DERIVED: a 2:1 picture fills 2/3 of the height of 4:3 (324 of 486 rows), a square one 3/4 of the width.
    wide = shown(np.ones((100, 200)))[:, 300]
    assert np.count_nonzero(wide > 0.5) == 324
    assert np.flatnonzero(wide > 0.5)[0] == 81 - 1
    square = shown(np.ones((100, 100)))[200]
    # Blanking 10.9 us of 63.5555 us (PUB BT.470): the active line is 753.9 samples.
    assert np.count_nonzero(square > 0.5) == pytest.approx(753.9 * 3 / 4, abs=1)


@pytest.mark.parametrize("columns", [2, 8, 64, 400, 754, 1600, 4000])
def test_an_edge_stays_where_it_is(columns: int) -> None:
    # Left half white, right half black: half amplitude in the middle of the active line, from 9.4 us to 1.5 us
    # before the next 0H (DERIVED from BT.470 numbers), to a few nanoseconds however the picture is resampled.
    grey = np.zeros((columns * 3 // 4 + 1, columns))
    grey[:, : columns // 2] = 1.0
    row = signal_from_picture(grey, STANDARD).astype(np.float64)[100]
    fine = scipy.signal.resample(row, 64 * row.size)
    inside = np.arange(64 * 200, 64 * 820)
    fall = inside[np.flatnonzero(fine[inside] > 7.5 + 46.25)[-1]] / 64 / RATE_HZ
    assert fall == pytest.approx((9.4e-6 + STANDARD.line_period_s - 1.5e-6) / 2, abs=10e-9)


def test_rows_land_on_rows() -> None:
    # A picture of exactly the visible rows is neither averaged nor shifted down the frame.
    grey = np.zeros((486, 648))
    grey[100] = 1.0
    picture = shown(grey)
    np.testing.assert_allclose(picture[99], 1.0, atol=1e-5)
    np.testing.assert_allclose(picture[[98, 100]], 0.0, atol=1e-5)
    frame = signal_from_picture(grey, STANDARD)
    # Row 100 from the top is the 51st of the upper field: line 283 + 50.
    assert frame[333 - 1, 400] == pytest.approx(100.0, abs=1e-3)


def test_fine_pictures_are_averaged() -> None:
    # A chequerboard finer than a cell is even grey: nothing of it may alias into the picture.
    grey = np.indices((1944, 2592)).sum(axis=0) % 2
    np.testing.assert_allclose(shown(grey), 0.5, atol=0.1)
    # Four rows make one: the area average is exact there.
    fine = np.repeat(np.linspace(0.0, 1.0, 486), 4)[:, None] * np.ones(2592)
    np.testing.assert_allclose(shown(fine)[:, 300], np.linspace(0.0, 1.0, 486)[1:-1], atol=1e-5)


def test_coarse_pictures_are_interpolated() -> None:
    # DERIVED: between pixel centres at a quarter and three quarters of the height grey runs straight, outside of
    # them it stays.
    grey = np.array([[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]])
    picture = shown(np.repeat(grey, 1, axis=1))
    height = 486 * (4 / 3) / 1.5
    from_top = (np.arange(486) + 0.5 - (486 - height) / 2) / height
    expected = np.clip((from_top - 0.25) / 0.5, 0.0, 1.0) * (from_top < 1.0)
    # The row that the lower side of the box cuts is partly covered.
    whole = np.abs(from_top - 1.0) * height > 1.0
    np.testing.assert_allclose(picture[whole[1:-1], 300], expected[1:-1][whole[1:-1]], atol=1e-5)


def test_lines_are_limited_to_the_video_band() -> None:
    # PUB BT.470: 4.2 MHz. White noise at full resolution: nothing beyond, most of the power kept below 2.9 MHz.
    grey = np.random.default_rng(1).random((486, 754))
    frame = signal_from_picture(grey, STANDARD).astype(np.float64)
    piece = frame[ROWS[1:-1], COLUMNS.start + 4 : COLUMNS.stop - 4]
    spectrum_hz, power = scipy.signal.periodogram(piece, RATE_HZ, window="blackmanharris", axis=1)
    assert power[:, spectrum_hz > 1.02 * 4.2e6].sum() < 1e-5 * power.sum()
    density = power.mean(axis=0)
    # DERIVED: 4:3 area averaging of white noise is white up to 2.9 MHz but for the sinc of the averaging cell.
    assert density[(spectrum_hz > 2.4e6) & (spectrum_hz < 2.9e6)].mean() > (
        0.5 * density[(spectrum_hz > 0.2e6) & (spectrum_hz < 0.7e6)].mean()
    )


@pytest.mark.parametrize("dtype", [np.bool_, np.uint8, np.int64, np.float32, np.float64])
def test_dtypes(dtype: type[np.generic]) -> None:
    grey = (np.random.default_rng(2).random((30, 40)) > 0.5).astype(dtype)
    before = grey.copy()
    np.testing.assert_array_equal(
        signal_from_picture(grey, STANDARD), signal_from_picture(grey.astype(np.float64), STANDARD)
    )
    np.testing.assert_array_equal(grey, before)


def test_colour_frame_turns_burst_only() -> None:
    grey = np.random.default_rng(3).random((30, 40))
    one, other = (signal_from_picture(grey, STANDARD, colour_frame) for colour_frame in (0, 1))
    np.testing.assert_array_equal(one[:, COLUMNS], other[:, COLUMNS])
    assert one[20, 90] != other[20, 90] or one[20, 91] != other[20, 91]


@pytest.mark.parametrize(
    ("grey", "text"),
    [
        (np.zeros((4, 4, 4)), "the shape (4, 4, 4), but grey has two dimensions"),
        (np.zeros((3, 4, 4)), "colour three, (rows, columns, 3) for red, green and blue; leave transparency out"),
        (np.zeros(9), "the shape (9,)"),
        (np.zeros((1, 50, 3)), "1 rows by 50 columns; it needs at least 2 of each"),
        (np.full((2, 2, 3), np.nan), "not a number at row 0, column 0"),
        (np.zeros((1, 50)), "1 rows by 50 columns; it needs at least 2 of each"),
        (np.zeros((50, 0)), "50 rows by 0 columns"),
        (np.array([[0.0, 0.5], [np.nan, 1.0]]), "not a number at row 1, column 0"),
        (np.array([[0.0, 0.5], [-0.25, 1.0]]), "from -0.25 to 1"),
        (np.array([[0, 128], [255, 1]], dtype=np.uint8), "divide 8-bit values by 255"),
        (np.array([[0.0, np.inf], [0.5, 1.0]]), "from 0 to inf"),
        (np.array([[0.0, 1j], [0.5, 1.0]]), "complex128 values; it needs real numbers"),
        (np.array([["a", "b"], ["c", "d"]]), "it needs real numbers"),
    ],
)
def test_refused_pictures(grey: NDArray[np.generic], text: str) -> None:
    with pytest.raises(PictureError, match=re.escape(text)):
        signal_from_picture(grey, STANDARD)
