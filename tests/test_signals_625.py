"""The 625/50 frame and its test signals, measured from their samples as with an oscilloscope.

Sources: "BT.470" is ITU-R BT.470 as tabled in physics.md section 1 (mark PUB). Rows of the table of outside checks are
left for both standards, so that they can be read side by side.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from sim.signals import (
    SIGNALS,
    active_gate,
    bar_layout,
    blanking_template,
    burst_lines,
    make_signal,
    subcarrier,
    v_sense,
    visible_columns,
    visible_rows,
)
from sim.standards import STANDARDS, Standard, get_standard
from tests.outside_checks import OutsideCheck
from tests.signal_measuring import Array, colour_of, crossings_s, degrees_apart, half_height, lock_in, sync_pulses_of

STANDARD = get_standard("625/50")
RATE_HZ = 1134 * 15625.0
LINE_S = 64e-6
# PUB BT.470: 12.0 us of blanking, of which 1.5 us front porch.
ACTIVE_START = 10.5e-6 * RATE_HZ
ACTIVE_WIDTH = 52.0e-6 * RATE_HZ
FLAT = make_signal("flat", STANDARD, monochrome=True).astype(np.float64)
STARTS_S, WIDTHS_S = sync_pulses_of(FLAT, -150.0, STANDARD)
# Equalising 2.35, line sync 4.7 and broad pulses 27.3 us (H/2 less 4.7 us) are told apart by width.
IS_EQUALISING = WIDTHS_S < 3.5e-6
IS_BROAD = WIDTHS_S > 10e-6
IS_LINE = ~IS_EQUALISING & ~IS_BROAD
EIGHT_BARS = ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")


def frame_of(name: str, colour_frame: int = 0) -> Array:
    return make_signal(name, STANDARD, colour_frame).astype(np.float64)


def between(begin: float, end: float) -> slice:
    """The samples between two places of the active line, given as parts of it."""
    return slice(round(ACTIVE_START + begin * ACTIVE_WIDTH), round(ACTIVE_START + end * ACTIVE_WIDTH))


def bar_place(index: int) -> slice:
    return between((index + 0.3) / 8, (index + 0.7) / 8)


@pytest.mark.parametrize("standard", STANDARDS.values(), ids=list(STANDARDS))
def test_every_number_says_where_it_comes_from(standard: Standard) -> None:
    fields = set(vars(standard)) - {"name", "provenance"}
    assert set(standard.provenance) == fields
    marks = ("PUB", "QUOTED", "DERIVED", "TRADE", "MEMORY", "MODEL")
    assert all(text.startswith(marks) for text in standard.provenance.values())


def test_sampling() -> None:
    # MODEL: 1134 samples, 17.71875 MHz, factors of the frame small enough for quick FFTs.
    assert STANDARD.sample_rate_hz == RATE_HZ == 17.71875e6
    assert 625 * 1134 == 2 * 3**4 * 5**4 * 7 == STANDARD.samples_per_frame
    assert STANDARD.frame_rate_hz == 25.0
    assert STANDARD.lines_per_pass == 15.625  # physics.md section 1, DERIVED


@pytest.mark.parametrize(
    ("name", "sync_us", "equalising_us", "porch_us", "blanking_us", "burst_us", "cycles", "burst_level"),
    [
        # PUB BT.470 with its tolerances; burst levels from memory.
        ("525/60", (4.7, 0.1), (2.3, 0.1), (1.745, 0.475), (10.9, 0.2), (5.21, 0.5), 9, 40.0),
        ("625/50", (4.7, 0.2), (2.35, 0.1), (1.5, 0.3), (12.0, 0.3), (5.6, 0.1), 10, 300.0),
    ],
)
def test_table_of_bt470(
    name: str,
    sync_us: tuple[float, float],
    equalising_us: tuple[float, float],
    porch_us: tuple[float, float],
    blanking_us: tuple[float, float],
    burst_us: tuple[float, float],
    cycles: int,
    burst_level: float,
    outside_check: OutsideCheck,
) -> None:
    standard = get_standard(name)
    source = "PUB ITU-R BT.470"
    rate_hz, line_s = standard.sample_rate_hz, standard.line_period_s
    frame = make_signal("flat", standard, monochrome=True).astype(np.float64)
    half_sync = 0.5 * (standard.sync_level + standard.blanking_level)
    starts_s, widths_s = sync_pulses_of(frame, half_sync, standard)
    broad_s = widths_s[widths_s > 10e-6]
    outside_check(
        f"{name} line period", source, {"525/60": 63.5555, "625/50": 64.0}[name], np.diff(starts_s[60:62])[0] * 1e6,
        5e-4, "us",
    )  # fmt: skip
    line_us = widths_s[(widths_s > 3.5e-6) & (widths_s < 10e-6)] * 1e6
    outside_check(f"{name} line sync width", source, *_worst(line_us, sync_us), "us")
    equalising = widths_s[widths_s < 3.5e-6] * 1e6
    outside_check(f"{name} equalising pulse width", source, *_worst(equalising, equalising_us), "us")
    outside_check(f"{name} gap between broad pulses", source, *_worst((line_s / 2 - broad_s) * 1e6, (4.7, 0.1)), "us")
    rows = frame[99:101]
    half_grey = 0.5 * (frame[100, 500] + standard.blanking_level)
    falls_s, rises_s = (crossings_s(rows, half_grey, falling, rate_hz) for falling in (True, False))
    outside_check(f"{name} front porch", source, porch_us[0], (line_s - falls_s[0]) * 1e6, porch_us[1], "us")
    outside_check(
        f"{name} line blanking", source, blanking_us[0], (rises_s[1] - falls_s[0]) * 1e6, blanking_us[1], "us"
    )
    depth = frame[100, 500]  # half of white
    outside_check(
        f"{name} sync to white ratio", f"{source} ratios (4 to 10, 3 to 7)", 4 / 10 if name == "525/60" else 3 / 7,
        -frame[100, 40] / (2 * depth), 1e-4,
    )  # fmt: skip

    template, _ = blanking_template(standard)
    window = slice(round(4.95e-6 * rate_hz), round(9.0e-6 * rate_hz))
    piece = np.zeros(512)
    length = window.stop - window.start
    piece[200 : 200 + length] = template[100, window]
    fine = np.abs(scipy.signal.hilbert(scipy.signal.resample(piece, 8 * piece.size)))
    time_us = ((np.arange(fine.size) / 8 - 200) + window.start) / rate_hz * 1e6
    middle = fine[(time_us > 6.3) & (time_us < 7.1)]
    outside_check(
        f"{name} burst peak to peak", "MEMORY, 40 IRE / 300 mV", burst_level, 2 * middle.mean(), 0.01 * burst_level,
        standard.level_unit,
    )  # fmt: skip
    above_us = time_us[fine >= middle.mean() / 2]
    outside_check(f"{name} burst start after 0H", source, burst_us[0], above_us[0], burst_us[1], "us")
    outside_check(
        f"{name} burst length", source, cycles, (above_us[-1] - above_us[0]) * 1e-6 * standard.subcarrier_hz, 1.0,
        "cycles",
    )  # fmt: skip
    # How exactly it is drawn: a few nanoseconds of the values chosen inside the tolerances.
    assert above_us[0] == pytest.approx(standard.burst_start_s * 1e6, abs=0.02)


def _worst(values: Array, table: tuple[float, float]) -> tuple[float, float, float]:
    """Expected, the value furthest from it, tolerance."""
    expected, tolerance = table
    return expected, float(values[np.argmax(np.abs(values - expected))]), tolerance


def test_every_line_starts_at_0h_on_sample_0() -> None:
    for row in range(625):
        assert np.min(np.abs(STARTS_S - row * LINE_S)) < 3e-9, f"line {row + 1}"


def test_pulse_widths_to_nanoseconds() -> None:
    # PUB BT.470: 4.7, 2.35 us and a gap of 4.7 us, drawn far better than their tolerances.
    np.testing.assert_allclose(WIDTHS_S[IS_LINE], 4.7e-6, atol=3e-9)
    np.testing.assert_allclose(WIDTHS_S[IS_EQUALISING], 2.35e-6, atol=3e-9)
    np.testing.assert_allclose(LINE_S / 2 - WIDTHS_S[IS_BROAD], 4.7e-6, atol=3e-9)


@pytest.mark.parametrize("start_line", [-1.5, 311.0])
def test_vertical_sync_of_each_field(start_line: float, outside_check: OutsideCheck) -> None:
    # PUB BT.470: 2.5H of equalising, 2.5H of broad, 2.5H of equalising pulses; from memory: field 1's broad pulses
    # begin with line 1, field 2's in the middle of line 313, so that the groups begin 2.5H before.
    expected_s = (start_line - 1.0 + 0.5 * np.arange(15)) * LINE_S % (625 * LINE_S)
    nearest = np.array([np.argmin(np.abs(STARTS_S - one)) for one in expected_s])
    np.testing.assert_allclose(STARTS_S[nearest], expected_s, atol=3e-9)
    assert IS_EQUALISING[nearest].tolist() == [True] * 5 + [False] * 5 + [True] * 5
    assert IS_BROAD[nearest].tolist() == [False] * 5 + [True] * 5 + [False] * 5
    field = 1 if start_line < 0.0 else 2
    for what, marked in (("equalising", IS_EQUALISING), ("broad", IS_BROAD)):
        expected = {"equalising": 10, "broad": 5}[what]
        source = f"PUB ITU-R BT.470: {'2.5H before and 2.5H after' if what == 'equalising' else '2.5H'}, two each line"
        found = np.count_nonzero(marked[nearest])
        outside_check(f"625/50 {what} pulses, field {field}", source, expected, found, 0.5, "pulses")


def test_number_of_pulses_in_a_frame() -> None:
    # DERIVED: 15 half-line pulses a field; of the lines' own starts 8 in field 1's group (624 to 5 less 624's middle)
    # and 7 in field 2's (312 to 318) begin one of them.
    assert np.count_nonzero(~IS_LINE) == 30
    assert np.count_nonzero(IS_LINE) == 625 - 7 - 8


def test_active_lines_and_rows() -> None:
    # From memory: picture from the middle of line 23 to 310 and from 336 to the middle of 623.
    gate = active_gate(STANDARD)
    left, right = gate[:, 400] == 1.0, gate[:, 900] == 1.0
    line = np.arange(1, 626)
    np.testing.assert_array_equal(left, ((line >= 24) & (line <= 310)) | ((line >= 336) & (line <= 623)))
    np.testing.assert_array_equal(right, ((line >= 23) & (line <= 310)) | ((line >= 336) & (line <= 622)))
    assert STANDARD.first_active_line == (line[left & right][0], line[left & right & (line > 310)][0])
    # From memory: the half line of 23 begins 42.5 us after 0H (10.5 us after H/2), that of 623 ends 30.5 us after.
    assert crossings_s(gate[22], 0.5, False, RATE_HZ)[0] == pytest.approx(42.5e-6, abs=3e-9)
    assert crossings_s(gate[622], 0.5, True, RATE_HZ)[0] == pytest.approx(30.5e-6, abs=3e-9)
    rows = visible_rows(STANDARD) + 1
    assert rows.size == 576
    assert rows[[0, 1, 2, 3, -2, -1]].tolist() == [23, 336, 24, 337, 310, 623]
    np.testing.assert_array_equal(rows[::2], np.arange(23, 311))
    np.testing.assert_array_equal(rows[1::2], np.arange(336, 624))
    # DERIVED: 52 us at 17.71875 MHz.
    columns = visible_columns(STANDARD)
    assert columns.stop - columns.start == pytest.approx(52.0 * 17.71875, abs=1)


@pytest.mark.parametrize("edge", ["sync", "blanking"])
def test_edge_rises(edge: str) -> None:
    # From memory (BT.470 class): 0.2 +-0.1 us for sync, 0.3 +-0.1 us for blanking.
    row = FLAT[99:102].ravel()
    piece = row[1134 - 20 : 1134 + 20] if edge == "sync" else row[1134 + 186 - 30 : 1134 + 186 + 30]
    low, high = (0.0, -300.0) if edge == "sync" else (0.0, 350.0)
    fine = scipy.signal.resample_poly(piece, 32, 1, padtype="line")
    share = (fine - low) / (high - low)
    at = [float(np.flatnonzero(share >= level)[0]) for level in (0.1, 0.9)]
    expected = 200e-9 if edge == "sync" else 300e-9
    assert (at[1] - at[0]) / 32 / RATE_HZ == pytest.approx(expected, abs=8e-9)


# --- colour: subcarrier, V sense, burst ----------------------------------------------------------------------------


def test_subcarrier_has_the_quarter_line_and_25_hz_offset(outside_check: OutsideCheck) -> None:
    # Cycles in one whole frame, counted from the phase at its ends and the zero crossings between.
    sine, cosine = (wave.ravel() for wave in subcarrier(STANDARD))
    phase = np.unwrap(np.arctan2(sine, cosine))
    cycles = (phase[-1] - phase[0]) / (2.0 * np.pi) * sine.size / (sine.size - 1)
    outside_check(
        "PAL subcarrier", "DERIVED: (1135/4 + 1/625) line rate, from memory", (1135 / 4 + 1 / 625) * 15625.0,
        cycles * 25.0, 0.1, "Hz",
    )  # fmt: skip


@pytest.mark.parametrize("standard", STANDARDS.values(), ids=list(STANDARDS))
def test_colour_frames_follow_on_each_other(standard: Standard) -> None:
    # DERIVED: the subcarrier and V run on from the end of one frame to the beginning of the next, and the last frame
    # of the sequence runs on into the first.
    step = 2.0 * np.pi * standard.subcarrier_hz / standard.sample_rate_hz
    for now in range(standard.colour_frames):
        after = (now + 1) % standard.colour_frames
        (sine, cosine), (next_sine, next_cosine) = (subcarrier(standard, frame) for frame in (now, after))
        here, there = complex(cosine[-1, -1], sine[-1, -1]), complex(next_cosine[0, 0], next_sine[0, 0])
        assert np.angle(there / here) == pytest.approx(np.angle(np.exp(1j * step)), abs=1e-6)
        turn = -1.0 if standard.switches_v else 1.0
        assert v_sense(standard, now)[-1] == turn * v_sense(standard, after)[0]


def burst_angles(colour_frame: int) -> dict[int, float]:
    """Phase of every burst of a frame against its own subcarrier, by line number [deg]."""
    template, _ = blanking_template(STANDARD, colour_frame)
    cycles_before = (colour_frame * 625 + np.arange(625)) * (1135 / 4 + 1 / 625)
    start, stop = round(6.3e-6 * RATE_HZ), round(7.3e-6 * RATE_HZ)
    angles = {}
    for row in range(625):
        piece = template[row, start:stop].astype(np.float64)
        phasor, _ = lock_in(piece, start, 4.43361875e6, RATE_HZ)
        if abs(phasor) > 75.0:
            # A sine of phase p is a cosine of p - 90 degrees.
            angle = np.rad2deg(np.angle(phasor)) + 90.0 - 360.0 * (cycles_before[row] % 1.0)
            angles[row + 1] = float(angle % 360.0)
    return angles


@pytest.mark.parametrize("colour_frame", range(4))
def test_burst_swings_about_180(colour_frame: int) -> None:
    angles = burst_angles(colour_frame)
    # From memory: 135 degrees where V is as in NTSC, 225 where it is turned over.
    sense = v_sense(STANDARD, colour_frame)
    for line, angle in angles.items():
        assert angle == pytest.approx(135.0 if sense[line - 1] > 0 else 225.0, abs=0.1), f"line {line}"


def test_burst_is_blanked_in_the_four_field_sequence(outside_check: OutsideCheck) -> None:
    # From memory: nine lines without burst in each field: 623-6, 310-318, 622-5, 311-319. The lines at the end of one
    # frame belong to the field that begins in the next.
    without = [sorted(set(range(1, 626)) - set(burst_angles(frame))) for frame in range(4)]
    assert without[0] == without[2] == [*range(1, 7), *range(310, 319), *range(622, 626)]
    assert without[1] == without[3] == [*range(1, 6), *range(311, 320), *range(623, 626)]
    # What the sequence is for: every field's first and last burst has the same phase.
    for colour_frame in range(4):
        angles = burst_angles(colour_frame)
        lines = sorted(angles)
        gap = next(k for k in range(len(lines) - 1) if lines[k + 1] - lines[k] > 1)
        ends = [angles[lines[k]] for k in (0, gap, gap + 1, -1)]
        outside_check(
            f"PAL burst at the ends of the fields of frame {colour_frame + 1}",
            "MEMORY, burst blanking of nine lines so that fields begin and end alike",
            135.0, ends[int(np.argmax(np.abs(np.array(ends) - 135.0)))], 0.1, "deg",
        )  # fmt: skip
        assert burst_lines(STANDARD, colour_frame).tolist() == [line - 1 for line in lines]


@pytest.mark.parametrize("colour_frame", [-1, 4, 1.5])
def test_colour_frame_out_of_range(colour_frame: int) -> None:
    with pytest.raises(ValueError, match="625/50 repeats after 4 frames, so use 0 to 3"):
        make_signal("flat", STANDARD, colour_frame)


# --- test signals --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("line", [24, 25, 150, 336, 480])
@pytest.mark.parametrize("colour_frame", range(4))
def test_bars(line: int, colour_frame: int) -> None:
    # physics.md section 8: luminance of 100/0/75/0 bars in mV; chrominance from memory (470, 663, 620 mV peak to
    # peak); phases those of NTSC (both DERIVED from the same equations), V turned over line by line.
    assert bar_layout(STANDARD).names == EIGHT_BARS
    luma_mv = (700.0, 465.1, 368.0, 308.2, 216.8, 157.0, 59.9, 0.0)
    chroma_mv = (0.0, 470.0, 663.0, 620.0, 620.0, 663.0, 470.0, 0.0)
    phase_deg = (None, 167.1, 283.5, 240.7, 60.7, 103.5, 347.1, None)
    row = frame_of("bars", colour_frame)[line - 1]
    is_turned = (line + colour_frame) % 2 == 0
    for index in range(8):
        luma, chroma, phase = colour_of(row, bar_place(index), STANDARD, 225.0 if is_turned else 135.0)
        assert luma == pytest.approx(luma_mv[index], abs=0.1)
        assert chroma == pytest.approx(chroma_mv[index], abs=1.0)
        expected = phase_deg[index]
        if expected is not None:
            assert degrees_apart(phase, -expected if is_turned else expected) < 0.1


def test_monochrome_leaves_colour_out() -> None:
    # No burst, no chrominance: luminance alone.
    grey, colour = make_signal("bars", STANDARD, monochrome=True).astype(np.float64), frame_of("bars")
    for index in range(8):
        luma, _, _ = colour_of(colour[100], bar_place(index), STANDARD)
        np.testing.assert_allclose(grey[100, bar_place(index)], luma, atol=0.01)
    assert np.all(grey[100, 90:150] == 0.0)
    for name in SIGNALS:
        frames = [make_signal(name, STANDARD, frame, monochrome=True) for frame in (0, 1)]
        np.testing.assert_array_equal(frames[0], frames[1])


def test_stairs() -> None:
    # MODEL: eleven treads from 0 to 700 mV; from memory: subcarrier of 140 and 280 mV peak to peak, here at minus B-Y
    # on every line.
    for name, peak_to_peak in (("stair", 0.0), ("stair_20", 140.0), ("stair_40", 280.0)):
        for line, burst_deg in ((101, 135.0), (102, 225.0)):
            row = frame_of(name)[line - 1]
            for tread in range(11):
                place = between((tread + 0.3) / 11, (tread + 0.7) / 11)
                luma, chroma, phase = colour_of(row, place, STANDARD, burst_deg)
                assert luma == pytest.approx(70.0 * tread, abs=0.01)
                assert chroma == pytest.approx(peak_to_peak, abs=0.05)
                if peak_to_peak:
                    assert degrees_apart(phase, 180.0) < 0.1


@pytest.mark.parametrize(("index", "frequency_hz"), list(enumerate([0.5e6, 1.0e6, 2.0e6, 4.0e6, 4.8e6, 5.8e6])))
def test_multiburst(index: int, frequency_hz: float) -> None:
    # From memory; 350 mV centre and 420 mV peak to peak MODEL (60 % of white).
    start = 0.15 + 0.14 * index
    place = between(start, start + 0.115)
    middle = slice(place.start + 14, place.stop - 14)
    row = frame_of("multiburst")[300]
    spectrum_hz, power = scipy.signal.periodogram(row[place] - 350.0, RATE_HZ, window="hann", nfft=1 << 16)
    assert spectrum_hz[np.argmax(power)] == pytest.approx(frequency_hz, rel=0.01)
    phasor, mean = lock_in(row[middle], middle.start, frequency_hz, RATE_HZ)
    assert 2.0 * abs(phasor) == pytest.approx(420.0, abs=3.0)
    assert mean == pytest.approx(350.0, abs=3.0)


def test_sweep_ends_at_the_video_band() -> None:
    # MODEL: 0.2 MHz to 5.0 MHz (PUB BT.470, System B,G), linear in time.
    row = frame_of("sweep")[300] - 350.0
    for part, frequency_hz in ((0.25, 0.2e6 + 0.22 / 0.94 * 4.8e6), (0.5, 2.6e6), (0.94, 0.2e6 + 0.91 / 0.94 * 4.8e6)):
        place = between(part - 0.02, part + 0.02)
        spectrum_hz, power = scipy.signal.periodogram(row[place], RATE_HZ, window="hann", nfft=1 << 16)
        assert np.average(spectrum_hz, weights=power) == pytest.approx(frequency_hz, abs=0.06e6)
        assert np.sqrt(2.0) * row[place].std() == pytest.approx(210.0, rel=0.05)


def test_pulse_and_bar() -> None:
    # From memory: 2T pulse of 200 ns half-amplitude duration in 625/50; black to white.
    row = frame_of("pulse_bar")[100]
    piece = row[between(0.12, 0.28)]
    rise, fall = half_height(piece, 350.0)
    assert (fall - rise) / RATE_HZ == pytest.approx(200e-9, abs=5e-9)
    assert scipy.signal.resample(piece, 64 * piece.size).max() == pytest.approx(700.0, abs=3.0)
    np.testing.assert_allclose(row[between(0.43, 0.77)], 700.0, atol=0.01)


def test_grid_and_flat() -> None:
    # MODEL: twelve lines of two rows, sixteen 2T pulses, 75 % of white; grey of half white.
    picture = frame_of("grid")[visible_rows(STANDARD)]
    inside = picture[:, between(0.5 / 16 + 0.02, 1.5 / 16 - 0.02)].mean(axis=1)
    bright = np.flatnonzero(inside > 300.0)
    assert bright.size == 24
    np.testing.assert_allclose(inside[bright], 525.0, atol=0.01)
    np.testing.assert_allclose(bright.reshape(12, 2)[:, 1], (np.arange(12) + 0.5) * 576 / 12, atol=0.5)
    assert scipy.signal.find_peaks(frame_of("grid")[99], height=300.0)[0].size == 16
    assert np.all(frame_of("flat")[100, between(0.02, 0.98)] == 350.0)


@pytest.mark.parametrize("name", SIGNALS)
def test_levels_and_band(name: str) -> None:
    frame = frame_of(name)
    assert frame.shape == (625, 1134)
    assert frame.min() == pytest.approx(-300.0, abs=1e-3)
    columns = visible_columns(STANDARD)
    inner = frame[visible_rows(STANDARD)[1:-1], columns.start + 6 : columns.stop - 6]
    # DERIVED: the blue and red bars reach down to 157.0 - 663 / 2 mV, no bar above white; where yellow's slow
    # chrominance edge begins in white it peaks 10 % higher. Stairs: half the subcarrier beyond black and white.
    low, high = {
        "bars": (-175.0, 770.0),
        "red": (-175.0, 700.0),
        "stair_20": (-70.0, 770.0),
        "stair_40": (-140.0, 840.0),
    }.get(name, (0.0, 700.0))
    assert inner.min() >= low - 0.1
    assert inner.max() <= high + 0.1
    # PUB BT.470: 5.0 MHz; beyond a tenth more, less than 1/1000 of the picture's power. The last packet of multiburst
    # is meant to lie outside (5.8 MHz, from memory): it ends at 85 % of the line and is left out.
    if name == "multiburst":
        inner = inner[:, : round(0.84 * inner.shape[1])]
    spectrum_hz, power = scipy.signal.periodogram(inner, RATE_HZ, window="blackmanharris", axis=1)
    assert power[:, spectrum_hz > 5.5e6].sum() <= 1e-3 * power.sum() + 1e-9
