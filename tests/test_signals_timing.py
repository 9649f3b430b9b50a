"""The frame around the picture, measured from its samples as one would with an oscilloscope.

Sources: "BT.470" is ITU-R BT.470 as tabled in physics.md section 1 (mark PUB). Where another number is
checked, its source stands beside it.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.signals import (
    SIGNALS,
    active_gate,
    blanking_template,
    make_signal,
    subcarrier,
    sync_pulses,
    visible_columns,
    visible_rows,
)
from sim.signals.shapes import SINE_SQUARED_RISE, periodic_pulses, sine_squared_pulse, step
from sim.standards import get_standard
from tests import signal_measuring
from tests.outside_checks import OutsideCheck
from tests.signal_measuring import Array, sync_pulses_of

STANDARD = get_standard("525/60")
RATE_HZ = STANDARD.sample_rate_hz
LINE_S = STANDARD.line_period_s
HALF_LINE = STANDARD.samples_per_line / 2
FRAME = STANDARD.samples_per_frame


def crossings_s(wave: Array, level: float, falling: bool) -> Array:
    return signal_measuring.crossings_s(wave, level, falling, RATE_HZ)


STARTS_S, WIDTHS_S = sync_pulses_of(make_signal("flat", STANDARD, monochrome=True).astype(np.float64), -20.0, STANDARD)
# BT.470: equalising 2.3, line sync 4.7 and broad pulses 27.1 us (H/2 less 4.7 us) are told apart by width.
IS_EQUALISING = WIDTHS_S < 3.5e-6
IS_BROAD = WIDTHS_S > 10e-6
IS_LINE = ~IS_EQUALISING & ~IS_BROAD


def test_every_line_starts_at_0h_on_sample_0() -> None:
    # The contract of the array: half amplitude of the leading edge on sample 0, within 3 ns by straight-line
    # interpolation. Line 1 starts in an equalising pulse, line 4 in a broad one, line 20 in a line-sync
    # pulse.
    for row in range(STANDARD.lines_per_frame):
        nearest_s = np.min(np.abs(STARTS_S - row * LINE_S))
        assert nearest_s < 3e-9, f"line {row + 1}"


def test_line_sync_width() -> None:
    # PUB BT.470: 4.7 +-0.1 us; 525 lines less the nine of each field's vertical sync (3H + 3H + 3H).
    assert np.count_nonzero(IS_LINE) == 525 - 2 * 9
    np.testing.assert_allclose(WIDTHS_S[IS_LINE], 4.7e-6, atol=0.1e-6)
    # The drawing itself is better than the tolerance of the standard: a few nanoseconds.
    np.testing.assert_allclose(WIDTHS_S[IS_LINE], 4.7e-6, atol=3e-9)


def test_equalising_width() -> None:
    # PUB BT.470: 2.3 us; the tolerance of 0.1 us is from memory.
    np.testing.assert_allclose(WIDTHS_S[IS_EQUALISING], 2.3e-6, atol=0.1e-6)


def test_broad_gap() -> None:
    # PUB BT.470: gap between broad pulses 4.7 us, so the pulse is what is left of half a line.
    np.testing.assert_allclose(LINE_S / 2 - WIDTHS_S[IS_BROAD], 4.7e-6, atol=0.1e-6)


@pytest.mark.parametrize(("field", "start_line"), [(1, 1.0), (2, 263.5)])
def test_vertical_sync_of_each_field(field: int, start_line: float, outside_check: OutsideCheck) -> None:
    # PUB BT.470: 3H of equalising, 3H of broad, 3H of equalising pulses, twice a line; field 2 half a line
    # later (262.5 lines after field 1), which is line 263 and a half counted from line 1.
    first = int(np.argmin(np.abs(STARTS_S - (start_line - 1.0) * LINE_S)))
    group = slice(first, first + 18)
    assert IS_EQUALISING[group].tolist() == [True] * 6 + [False] * 6 + [True] * 6
    assert IS_BROAD[group].tolist() == [False] * 6 + [True] * 6 + [False] * 6
    expected_s = (start_line - 1.0 + 0.5 * np.arange(18)) * LINE_S
    np.testing.assert_allclose(STARTS_S[group], expected_s, atol=3e-9)
    begin = (STARTS_S[group.start] - STARTS_S[0]) / LINE_S + 1.0
    source = "PUB ITU-R BT.470: fields 262.5 lines apart"
    outside_check(f"525/60 first equalising pulse of field {field}", source, start_line, begin, 1e-3, "lines")
    for what, marked in (("equalising", IS_EQUALISING), ("broad", IS_BROAD)):
        expected = {"equalising": 12, "broad": 6}[what]
        source = f"PUB ITU-R BT.470: {'3H before and 3H after' if what == 'equalising' else '3H'}, two each line"
        found = np.count_nonzero(marked[group])
        outside_check(f"525/60 {what} pulses, field {field}", source, expected, found, 0.5, "pulses")
    # Neighbours outside the group are ordinary lines: none of their pulses is left out or put in.
    assert IS_LINE[first - 1]
    assert IS_LINE[first + 18]


def test_number_of_pulses_in_a_frame() -> None:
    # DERIVED: 507 ordinary lines and 18 half-line pulses in each of two fields.
    assert len(STARTS_S) == 507 + 2 * 18


@pytest.mark.parametrize("edge", ["sync", "blanking"])
def test_edge_rise(edge: str) -> None:
    # From memory: 140 ns from 10 % to 90 %, for sync and for blanking; measured on a finer band-limited copy.
    wave = {"sync": sync_pulses, "blanking": active_gate}[edge](STANDARD)[99:102].ravel()
    fine = scipy.signal.resample(wave, 32 * wave.size)
    # Within 5 us of 0H of the middle line for sync, of its picture's start for blanking.
    centre = STANDARD.samples_per_line + (0.0 if edge == "sync" else 9.4e-6 * RATE_HZ)
    piece = fine[int((centre - 20) * 32) : int((centre + 20) * 32)]
    at = [float(np.flatnonzero(piece >= level)[0]) for level in (0.1, 0.9)]
    assert (at[1] - at[0]) / 32 / RATE_HZ == pytest.approx(140e-9, abs=5e-9)


def blanking_edges_s() -> tuple[Array, Array]:
    """Times of the flat grey's falls to blanking and rises from it, lines 100 and 101, at half its level."""
    rows = make_signal("flat", STANDARD).astype(np.float64)[99:101]
    # 25 IRE: half of the 50 IRE grey; burst reaches 20 only.
    return crossings_s(rows, 25.0, True), crossings_s(rows, 25.0, False)


def test_line_blanking_and_front_porch() -> None:
    falls_s, rises_s = blanking_edges_s()
    # PUB BT.470: line blanking 10.9 +-0.2 us, front porch 1.27 to 2.22 us.
    assert rises_s[1] - falls_s[0] == pytest.approx(10.9e-6, abs=0.2e-6)
    assert 1.27e-6 <= LINE_S - falls_s[0] <= 2.22e-6
    # Drawing precision.
    assert rises_s[1] - falls_s[0] == pytest.approx(10.9e-6, abs=3e-9)


def test_levels_of_blanking_and_sync() -> None:
    # PUB BT.470 ratios: sync tip -40, blanking 0 IRE. Back porch between sync and burst, sync tip in its
    # middle.
    frame = make_signal("flat", STANDARD)
    ordinary = frame[20:262]
    assert np.all(ordinary[:, 20:50] == -40.0)
    assert np.all(ordinary[:, 70:72] == 0.0)
    # Front porch, up to the edge of the next sync.
    assert np.all(ordinary[:, 893:907] == 0.0)


def test_active_lines() -> None:
    # From memory: picture from line 21 to the middle of 263 and from the middle of 283 to the end of 525.
    gate = active_gate(STANDARD)
    left, right = gate[:, 300] == 1.0, gate[:, 700] == 1.0
    line = np.arange(1, 526)
    np.testing.assert_array_equal(left, ((line >= 21) & (line <= 263)) | (line >= 284))
    np.testing.assert_array_equal(right, ((line >= 21) & (line <= 262)) | (line >= 283))
    assert STANDARD.first_active_line == (line[left & right][0], line[left & right & (line > 263)][0])


def test_half_lines_leave_line_blanking_round_the_middle() -> None:
    # DERIVED: field blanking is 20 H plus one line blanking (10.9 us) in both fields, so the half line of
    # 263 ends a front porch (1.5 us) before H/2 and that of 283 begins 9.4 us after it.
    gate = active_gate(STANDARD)
    assert crossings_s(gate[262], 0.5, True)[0] == pytest.approx(LINE_S / 2 - 1.5e-6, abs=3e-9)
    assert crossings_s(gate[282], 0.5, False)[0] == pytest.approx(LINE_S / 2 + 9.4e-6, abs=3e-9)


def test_visible_rows_interlace() -> None:
    rows = visible_rows(STANDARD) + 1
    # DERIVED: two fields of 242 lines and a half line; the half line of 283 is the higher one.
    assert rows.size == 486
    assert rows[:4].tolist() == [283, 21, 284, 22]
    assert rows[-3:].tolist() == [262, 525, 263]
    np.testing.assert_array_equal(rows[1::2], np.arange(21, 264))
    np.testing.assert_array_equal(rows[::2], np.arange(283, 526))


def test_visible_columns_are_the_open_gate() -> None:
    gate = active_gate(STANDARD)[100]
    columns = visible_columns(STANDARD)
    assert np.all(gate[columns] >= 0.5)
    assert np.count_nonzero(gate >= 0.5) == columns.stop - columns.start
    # DERIVED: (63.5555 - 10.9) us at 14.318 MHz.
    assert columns.stop - columns.start == 754


def burst_pieces(colour_frame: int = 0) -> Array:
    """The 5 to 8.5 us after 0H of every line, shape (525, samples)."""
    template, _ = blanking_template(STANDARD, colour_frame)
    return template[:, 71:122].astype(np.float64)


def test_burst_is_on_every_line_but_those_of_vertical_sync(outside_check: OutsideCheck) -> None:
    energy = np.sqrt(np.mean(burst_pieces() ** 2, axis=1))
    # Broad pulses fill this place with sync, so they are looked for by the alternating part only.
    alternating = np.abs(np.diff(burst_pieces(), axis=1)).max(axis=1)
    # PUB BT.470: no burst during the 9H of equalising and broad pulses of each field.
    without = [*range(1, 10), *range(264, 273)]
    assert (np.flatnonzero(alternating < 1.0) + 1).tolist() == without
    source = "PUB ITU-R BT.470: the 9H of vertical sync in each field"
    outside_check("525/60 lines without burst", source, 18.0, np.count_nonzero(alternating < 1.0), 0.5, "lines")
    assert np.ptp(energy[alternating >= 1.0]) < 1e-6


def burst_envelope(row: int) -> tuple[Array, Array]:
    """Time after 0H and size of the burst of a row by the analytic signal, eight points a sample."""
    piece = np.zeros(256)
    piece[100:151] = burst_pieces()[row]
    fine = np.abs(scipy.signal.hilbert(scipy.signal.resample(piece, 8 * piece.size)))
    return (np.arange(fine.size) / 8 - 100 + 71) / RATE_HZ, fine


@pytest.mark.parametrize("row", [9, 20, 262, 272, 524])
def test_burst_start_cycles_and_amplitude(row: int) -> None:
    time_s, envelope = burst_envelope(row)
    # From memory: 40 IRE peak to peak.
    plateau = envelope[(time_s > 6.2e-6) & (time_s < 7.0e-6)]
    np.testing.assert_allclose(plateau, 20.0, atol=0.2)
    above = time_s[envelope >= 10.0]
    # PUB BT.470: 5.3 us, between 4.71 and 5.71; 9 +-1 cycles.
    assert 4.71e-6 <= above[0] <= 5.71e-6
    assert above[0] == pytest.approx(5.3e-6, abs=20e-9)
    assert (above[-1] - above[0]) * STANDARD.subcarrier_hz == pytest.approx(9.0, abs=0.15)
    # From memory: envelope rise 300 ns (+200 -100).
    rise_s = time_s[envelope >= 18.0][0] - time_s[envelope >= 2.0][0]
    assert 200e-9 <= rise_s <= 500e-9


@pytest.mark.parametrize(("colour_frame", "phase_deg"), [(0, 180.0), (1, 0.0)])
def test_burst_phase_is_continuous_and_turns_over(colour_frame: int, phase_deg: float) -> None:
    # Reference: one sine at 455/2 fH (PUB BT.470) rising through 0H of line 1, computed here without the
    # package.
    template, _ = blanking_template(STANDARD, colour_frame)
    sample = np.arange(FRAME).reshape(525, 910)
    cycles = sample * (227.5 / 910.0)
    carrier = np.exp(-2j * np.pi * (cycles % 1.0))
    for row in (9, 10, 11, 100, 272, 524):
        place = slice(86, 102)  # four whole cycles on the plateau
        mean = np.mean(template[row, place] * carrier[row, place])
        # A sin has the coefficient A/(2j): its angle is -90 degrees.
        found_deg = np.rad2deg(np.angle(mean * 1j))
        assert abs((found_deg - phase_deg + 180.0) % 360.0 - 180.0) < 0.1


def test_subcarrier_alternates_from_line_to_line() -> None:
    # PUB BT.470: 227.5 cycles a line.
    sine, cosine = subcarrier(STANDARD)
    np.testing.assert_allclose(sine[1:], -sine[:-1], atol=1e-9)
    np.testing.assert_allclose(sine**2 + cosine**2, 1.0, atol=1e-12)


@pytest.mark.parametrize("colour_frame", [-1, 2])
def test_colour_frame_out_of_range(colour_frame: int) -> None:
    with pytest.raises(ValueError, match="525/60 repeats after 2 frames, so use 0 to 1"):
        make_signal("flat", STANDARD, colour_frame)


@pytest.mark.parametrize("name", SIGNALS)
def test_template_is_what_surrounds_every_signal(name: str) -> None:
    template, active = blanking_template(STANDARD)
    closed = active_gate(STANDARD) == 0.0
    np.testing.assert_array_equal(make_signal(name, STANDARD)[closed], template[closed])
    assert template.dtype == np.float32
    assert active.dtype == np.bool_
    # Between the closed gate and the mask lies only the half of each edge.
    assert np.count_nonzero(~closed & ~active) <= 4 * 486


def test_step_shape() -> None:
    time_s = np.linspace(-1e-6, 1e-6, 20001)
    edge = step(time_s, 140e-9)
    np.testing.assert_allclose(edge + edge[::-1], 1.0, atol=1e-12)
    assert np.all(np.diff(edge) >= 0.0)
    # Definition of the argument: 10 % to 90 %.
    measured_s = np.interp(0.9, edge, time_s) - np.interp(0.1, edge, time_s)
    assert measured_s == pytest.approx(140e-9, abs=0.1e-9)
    # It is the running integral of a sine-squared pulse of half its whole width.
    pulse = sine_squared_pulse(time_s, 0.5 * 140e-9 / SINE_SQUARED_RISE)
    np.testing.assert_allclose(edge, np.cumsum(pulse) / pulse.sum(), atol=1e-3)


@settings(max_examples=25, deadline=None)
@given(
    start=st.one_of(st.floats(-400.0, 400.0), st.floats(FRAME - 4000.0, FRAME - 400.0)),
    width=st.floats(10.0, 5000.0),
    shift=st.integers(-300, 300),
)
def test_periodic_pulses_repeat(start: float, width: float, shift: int) -> None:
    """A pulse moved by whole samples is the frame rolled by as many, also over the frame's ends."""

    def drawn(move: int) -> Array:
        starts_s = np.array([start + move]) / RATE_HZ
        return periodic_pulses(STANDARD, starts_s, starts_s + width / RATE_HZ, 140e-9).ravel()

    here = drawn(0)
    np.testing.assert_allclose(np.roll(here, shift), drawn(shift), atol=1e-9)
    # The area is the width but for the little of the edges' spectrum that sampling folds down: under 0.3 ns.
    assert here.sum() == pytest.approx(width, abs=0.3e-9 * RATE_HZ)
    assert here.min() >= 0.0
    assert here.max() <= 1.0
