"""Bands, lean, bow and displaced heads, measured from the rendered picture and compared with the formulas."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.registration import phase_cross_correlation

from sim.headwheel import quadrature_s
from sim.instruments import band_edges, head_of_row, measure, picture
from sim.recorder import PlaybackFrame, Recorder
from sim.signals import make_signal
from sim.standards import get_standard
from tests.outside_checks import OutsideCheck
from tests.picture_measuring import displacement_of_rows_s, fold_by_band, line_of_row, rows_in_time_order

STANDARD = get_standard("525/60")
MIL_UM = 25.4
# DERIVED: 15 734.264 Hz (PUB ITU-R BT.470) over 4 x 239.76 rev/s (QUOTED).
LINES_PER_PASS = 16.40625
# The first and the last picture row are half lines.
WHOLE_ROWS = slice(1, -1)


def spread_of_rows(**controls: float) -> NDArray[np.float32]:
    """Rms spread of brightness along each picture row of a flat grey field, (rows,)."""
    shown = picture(Recorder(signal="flat", controls=controls, seed=5).play_frame(0))
    return np.asarray(shown[:, 60:-60].std(axis=1))


def played(**controls: float) -> PlaybackFrame:
    return Recorder(signal="multiburst", controls=controls, seed=7).play_frame(0)


@pytest.fixture(scope="module")
def straight() -> PlaybackFrame:
    return played()


@pytest.fixture(scope="module")
def noise_rows() -> dict[int, NDArray[np.bool_]]:
    """For each head, the picture rows that turn to noise when its channel is switched off."""
    return {head: spread_of_rows(**{f"channel_on_{head}": 0.0}) > 0.1 for head in range(1, 5)}


def test_a_head_switched_off_is_noise_in_every_fourth_band_and_nowhere_else(
    noise_rows: dict[int, NDArray[np.bool_]],
) -> None:
    together = np.sum(list(noise_rows.values()), axis=0)[WHOLE_ROWS]
    assert (together == 1).all(), "each row must belong to exactly one head"
    clean = spread_of_rows()[WHOLE_ROWS].max()
    for head, rows in noise_rows.items():
        spread = spread_of_rows(**{f"channel_on_{head}": 0.0})[WHOLE_ROWS]
        noisy = rows[WHOLE_ROWS]
        assert spread[noisy].min() > 20 * clean
        assert spread[~noisy].max() < 1.5 * clean
        assert 0.2 < noisy.mean() < 0.3


def test_noise_rows_are_those_the_head_numbers_name(noise_rows: dict[int, NDArray[np.bool_]]) -> None:
    heads = head_of_row(played())
    for head, rows in noise_rows.items():
        np.testing.assert_array_equal(rows[WHOLE_ROWS], (heads == head)[WHOLE_ROWS])


def test_band_height_is_16_40625_field_lines(
    noise_rows: dict[int, NDArray[np.bool_]], outside_check: OutsideCheck
) -> None:
    order = rows_in_time_order(STANDARD)
    order = order[(order > 0) & (order < order.size - 1)]
    head = np.sum([number * rows for number, rows in noise_rows.items()], axis=0)[order]
    line = line_of_row(STANDARD)[order]
    first = np.flatnonzero(np.diff(head)) + 1
    in_picture = np.diff(line)[first - 1] == 1  # not across the vertical blanking
    start_line = line[first[in_picture]]
    number = np.rint(start_line / LINES_PER_PASS)
    slope, _ = np.polyfit(number, start_line, 1)
    # Edges fall on whole lines: 28 of them over a frame give the slope to about 0.01 line.
    source = "DERIVED: ITU-R BT.470 line rate / (4 x 239.76 rev/s, QUOTED)"
    outside_check("band height", source, LINES_PER_PASS, slope, 0.012, "field lines")
    heights = np.diff(start_line)
    heights = heights[heights < 20]
    assert set(heights.tolist()) <= {16, 17}
    # 525 lines over 32 passes make 13 bands of 17 lines in every 32 (DERIVED); 4.2 of 32 rest in vertical blanking.
    assert np.mean(heights) == pytest.approx(LINES_PER_PASS, abs=0.12)


def measured_fold(frame: PlaybackFrame, straight: PlaybackFrame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rows = np.arange(2, 484)
    left = displacement_of_rows_s(frame, straight, rows)
    place = fold_by_band(STANDARD, rows)
    inside = np.abs(place) < 0.46  # a band's first and last line may belong to either pass
    return place[inside], left[inside]


@pytest.mark.parametrize("offset_um", [MIL_UM, -MIL_UM, 2 * MIL_UM])
def test_guide_offset_leans_the_bands(straight: PlaybackFrame, offset_um: float, outside_check: OutsideCheck) -> None:
    place, left = measured_fold(played(guide_position_um=offset_um), straight)
    lean = np.polynomial.Polynomial.fit(place, left, 3)
    expected_us = 0.907 * offset_um / MIL_UM
    source = "DERIVED: sqrt(2) e / v, 0.907 us per mil (tip speed from memory)"
    quantity = f"lean of the bands, guide {offset_um:+.1f} um"
    measured_us = (lean(0.5) - lean(-0.5)) * 1e6
    outside_check(quantity, source, expected_us, measured_us, 0.03 * abs(expected_us), "us")


@pytest.mark.parametrize("offset_um", [MIL_UM, -2 * MIL_UM])
def test_guide_height_bows_the_bands(straight: PlaybackFrame, offset_um: float, outside_check: OutsideCheck) -> None:
    place, left = measured_fold(played(guide_height_um=offset_um), straight)
    bow = np.polynomial.Polynomial.fit(place, left, 4)
    expected_us = 0.188 * offset_um / MIL_UM
    source = "DERIVED: (1 - cos 45) e / v, 0.188 us per mil"
    measured_us = (0.5 * (bow(0.5) + bow(-0.5)) - bow(0.0)) * 1e6
    quantity = f"bow of the bands, height {offset_um:+.1f} um"
    outside_check(quantity, source, expected_us, measured_us, 0.06 * abs(expected_us), "us")
    assert abs(bow(0.5) - bow(-0.5)) * 1e6 < 0.05 * abs(expected_us)


def test_one_head_an_arc_minute_ahead_stands_193_ns_to_the_left(
    straight: PlaybackFrame, outside_check: OutsideCheck
) -> None:
    source = "DERIVED: 1 / (240 x 21 600) s"
    assert quadrature_s(1.0, STANDARD) == pytest.approx(193e-9, rel=0.002)
    frame = played(head_timing_ns_2=193.0)
    rows = np.arange(2, 484)
    left_ns = displacement_of_rows_s(frame, straight, rows) * 1e9
    heads = head_of_row(frame)[rows]
    outside_check("head one arc minute ahead", source, 193.0, left_ns[heads == 2].mean(), 3.0, "ns")
    for other in (1, 3, 4):
        assert left_ns[heads == other].mean() == pytest.approx(0.0, abs=3.0)
    # What the instrument says is the same, against the mean of the four.
    assert measure(frame, "head_position_ns_2") == pytest.approx(0.75 * 193.0, abs=3.0)


def test_displaced_bands_by_image_registration(outside_check: OutsideCheck) -> None:
    """The same displacement found by scikit-image, from whole bands of a picture and knowing nothing of edges."""
    pictures = [
        picture(Recorder(signal="pulse_bar", controls=controls, seed=3).play_frame(0))
        for controls in ({}, {"head_timing_ns_2": 279.4})
    ]
    heads = head_of_row(played())
    rows = np.flatnonzero(heads == 2)
    band = rows[(rows > 100) & (rows < 300)]
    # The middle of the line alone: a picture shifted as a whole has nothing new coming in at its sides there.
    straight, shifted = (one[band][:, 60:-60] * np.hanning(one.shape[1] - 120) for one in pictures)
    moved, _, _ = phase_cross_correlation(straight, shifted, upsample_factor=100, normalization=None)  # type: ignore[no-untyped-call]
    # DERIVED: 279.4 ns are four samples of 69.84 ns.
    source = "scikit-image phase_cross_correlation"
    outside_check("displaced bands by registration", source, 4.0, moved[1], 0.15, "samples")


def test_readings_agree_with_the_picture(straight: PlaybackFrame) -> None:
    frame = played(guide_position_um=30.0, guide_height_um=-40.0)
    place, left = measured_fold(frame, straight)
    basis = np.stack([np.ones_like(place), np.sin(place * np.pi / 2), np.cos(place * np.pi / 2)], axis=1)
    _, sine, cosine = np.linalg.lstsq(basis, left, rcond=None)[0]
    assert measure(frame, "skew_us") == pytest.approx(np.sqrt(2.0) * sine * 1e6, rel=0.02)
    assert measure(frame, "scallop_us") == pytest.approx((np.sqrt(0.5) - 1.0) * cosine * 1e6, rel=0.04)


def test_band_edges_join_without_gap_and_name_the_rows_heads() -> None:
    frame = played()
    heads = head_of_row(frame)
    for field in (0, 1):
        edges = band_edges(frame, field)
        assert len(edges) in (15, 16)
        for (_, bottom, _), (top, _, _) in itertools.pairwise(edges):
            assert bottom == pytest.approx(top)
        for top, bottom, head in edges:
            middle = round(0.5 * (top + bottom) * heads.size)
            assert head in heads[middle - 1 : middle + 1]
    with pytest.raises(ValueError, match="field 2"):
        band_edges(frame, 2)


def test_bands_of_625_50(outside_check: OutsideCheck) -> None:
    standard = get_standard("625/50")
    recorder = Recorder("625/50", "625 high-band", tape="alignment-625", controls={"guide_position_um": MIL_UM})
    frame = recorder.play_frame(0)
    # DERIVED: sqrt(2) e / v with v = pi D x 250 rev/s, D = 2.064-2.070 in (from memory).
    expected_us = 1e6 * np.sqrt(2.0) * 25.4e-6 / (np.pi * 2.067 * 0.0254 * 250.0)
    quantity, source = "lean of the bands, 625/50, 1 mil", "DERIVED: sqrt(2) e / v"
    outside_check(quantity, source, expected_us, measure(frame, "skew_us"), 0.02, "us")
    starts = np.flatnonzero(np.diff(frame.head_of_line)) + 1
    slope, _ = np.polyfit(np.arange(starts.size), starts, 1)
    outside_check("band height, 625/50", "DERIVED: 15 625 Hz / (4 x 250 rev/s)", 15.625, slope, 0.01, "field lines")
    assert set(np.diff(starts).tolist()) == {15, 16}
    assert standard.passes_per_frame == 40
    assert measure(frame, "noise_db") == pytest.approx(46.0, abs=1.0)


@pytest.mark.parametrize("practice", ["625 low-band", "625 high-band"])
def test_625_gives_back_what_it_recorded(practice: str) -> None:
    frame = Recorder("625/50", practice, signal="stair").play_frame(0)
    programme = make_signal("stair", get_standard("625/50"))
    rows, columns = slice(30, 300), slice(220, 1080)
    # A hundredth of white; the noise of one line averages out over the rows.
    assert np.abs(np.mean(frame.demod[rows, columns] - programme[rows, columns], axis=0)).max() < 7.0
