"""The test signals, measured from their samples: levels, colour, frequencies, pulse widths, bandwidth.

Sources stand beside each check. "physics.md section 8" numbers are DERIVED from the NTSC encoding equations.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from sim.errors import UnknownNameError
from sim.signals import SIGNALS, blanking_template, make_signal, visible_columns, visible_rows
from sim.standards import get_standard
from tests import signal_measuring
from tests.outside_checks import OutsideCheck
from tests.signal_measuring import Array, degrees_apart, half_height

STANDARD = get_standard("525/60")
RATE_HZ = STANDARD.sample_rate_hz
# Active line from 9.4 us after 0H to 1.5 us before the next 0H (PUB BT.470: 10.9 us of blanking, 1.5 us
# chosen for the front porch).
ACTIVE_START = 9.4e-6 * RATE_HZ
ACTIVE_WIDTH = 910 - 10.9e-6 * RATE_HZ
COLOURED = ("bars", "red", "stair_20", "stair_40")
BAR_NAMES = ("grey", "yellow", "cyan", "green", "magenta", "red", "blue")


def frame_of(name: str, colour_frame: int = 0) -> Array:
    return make_signal(name, STANDARD, colour_frame).astype(np.float64)


def between(begin: float, end: float) -> slice:
    """The samples between two places of the active line, given as parts of it."""
    return slice(round(ACTIVE_START + begin * ACTIVE_WIDTH), round(ACTIVE_START + end * ACTIVE_WIDTH))


def lock_in(piece: Array, first_sample: int, frequency_hz: float) -> tuple[complex, float]:
    return signal_measuring.lock_in(piece, first_sample, frequency_hz, RATE_HZ)


def colour_of(row: Array, place: slice) -> tuple[float, float, float]:
    return signal_measuring.colour_of(row, place, STANDARD)


def bar_place(index: int) -> slice:
    return between((index + 0.3) / 7, (index + 0.7) / 7)


def test_names() -> None:
    # The names of the project's contract in its order, and those that came with colour.
    assert [name for name in SIGNALS if name not in ("red", "stair_20", "stair_40")] == [
        "bars",
        "grid",
        "stair",
        "multiburst",
        "flat",
        "sweep",
        "pulse_bar",
    ]
    assert len(SIGNALS) == 10
    for name, spec in SIGNALS.items():
        assert spec.name == name
        assert spec.description.count(".") - spec.description.count("0.") == 1
        assert spec.description.endswith(".")
        assert any(mark in spec.source for mark in ("PUB", "DERIVED", "from memory", "MODEL", "TRADE"))


def test_unknown_name() -> None:
    with pytest.raises(UnknownNameError, match=r"unknown test signal 'bar'; use one of 'bars', 'red', 'grid'"):
        make_signal("bar", STANDARD)


@pytest.mark.parametrize("name", SIGNALS)
def test_shape_and_determinism(name: str) -> None:
    frame = make_signal(name, STANDARD)
    assert frame.shape == (525, 910)
    assert frame.dtype == np.float32
    assert frame.flags.c_contiguous
    assert np.all(np.isfinite(frame))
    assert frame.tobytes() == make_signal(name, STANDARD).tobytes()


@pytest.mark.parametrize("name", SIGNALS)
def test_levels_stay_legal(name: str) -> None:
    # PUB BT.470 ratios: sync tip -40; from memory: colour may reach -20 to 120 IRE, luminance 7.5 to 100.
    frame = frame_of(name)
    assert frame.min() == pytest.approx(-40.0, abs=1e-4)
    columns = visible_columns(STANDARD)
    inner = frame[visible_rows(STANDARD)[1:-1], columns.start + 4 : columns.stop - 4]
    low, high = (-20.0, 120.0) if name in COLOURED else (7.5, 100.0)
    assert inner.min() >= low - 1e-3
    assert inner.max() <= high + 1e-3


@pytest.mark.parametrize(
    ("index", "luma", "chroma", "phase_deg"),
    [
        # physics.md section 8 (DERIVED), luminance and chrominance to 0.1 IRE, phase to 0.1 degree.
        (0, 76.9, 0.0, None),
        (1, 69.0, 62.1, 167.1),
        (2, 56.1, 87.7, 283.5),
        (3, 48.2, 81.9, 240.7),
        (4, 36.2, 81.9, 60.7),
        (5, 28.2, 87.7, 103.5),
        (6, 15.4, 62.1, 347.1),
    ],
    ids=BAR_NAMES,
)
@pytest.mark.parametrize("line", [21, 22, 150, 284, 380])
def test_bar_levels(line: int, index: int, luma: float, chroma: float, phase_deg: float | None) -> None:
    found_luma, found_chroma, found_deg = colour_of(frame_of("bars")[line - 1], bar_place(index))
    assert found_luma == pytest.approx(luma, abs=0.06)
    assert found_chroma == pytest.approx(chroma, abs=0.06)
    if phase_deg is not None:
        assert degrees_apart(found_deg, phase_deg) < 0.06


@pytest.mark.parametrize("index", range(1, 7), ids=BAR_NAMES[1:])
def test_bar_colours_by_the_i_and_q_equations(index: int, outside_check: OutsideCheck) -> None:
    # The other form of the NTSC equations (47 CFR 73.682, from memory), with its two-figure coefficients:
    # E = Y + Q sin(wt + 33) + I cos(wt + 33), I = 0.74 (R-Y) - 0.27 (B-Y), Q = 0.48 (R-Y) + 0.41 (B-Y).
    # It agrees with the exact one to about the 1 % of its coefficients.
    red, green, blue = 0.75 * np.array([[1, 1, 0], [0, 1, 1], [0, 1, 0], [1, 0, 1], [1, 0, 0], [0, 0, 1]][index - 1])
    luma = 0.30 * red + 0.59 * green + 0.11 * blue
    i_axis = 0.74 * (red - luma) - 0.27 * (blue - luma)
    q_axis = 0.48 * (red - luma) + 0.41 * (blue - luma)
    expected = 2.0 * 92.5 * np.hypot(i_axis, q_axis)
    expected_deg = 33.0 + np.rad2deg(np.arctan2(i_axis, q_axis))
    _, chroma, phase_deg = colour_of(frame_of("bars")[100], bar_place(index))
    source, name = "MEMORY: 47 CFR 73.682, I and Q equations with two figures", BAR_NAMES[index]
    outside_check(f"525/60 {name} bar, chrominance", source, expected, chroma, 0.015 * expected, "IRE")
    off_deg = degrees_apart(phase_deg, float(expected_deg))
    outside_check(f"525/60 {name} bar, phase off {expected_deg % 360.0:.1f} deg", source, 0.0, off_deg, 1.0, "deg")


def test_bars_peak_and_trough() -> None:
    # physics.md section 8 (DERIVED): yellow peaks at 100.0, blue and red trough at -15.6 IRE.
    frame = frame_of("bars")
    # The wave's true peaks lie between samples: from the fit.
    yellow, blue, red = (colour_of(frame[100], bar_place(index)) for index in (1, 6, 5))
    assert yellow[0] + yellow[1] / 2 == pytest.approx(100.0, abs=0.06)
    assert blue[0] - blue[1] / 2 == pytest.approx(-15.6, abs=0.06)
    assert red[0] - red[1] / 2 == pytest.approx(-15.6, abs=0.06)


def test_bars_lower_strip() -> None:
    # RS-189-A from memory: the lower quarter is -I, white, Q, each 5/4 of a bar wide, then black; -I and Q of
    # 40 IRE peak to peak on setup, at 303 and 33 degrees.
    picture = frame_of("bars")[visible_rows(STANDARD)]
    is_white = picture[:, between(0.2, 0.34)].mean(axis=1) > 95.0
    assert np.flatnonzero(is_white)[0] == pytest.approx(0.75 * 486, abs=1)
    assert np.all(is_white[np.flatnonzero(is_white)[0] :])
    row = picture[450]
    block = 5 / 28
    minus_i, white, q, black = (colour_of(row, between(left * block + 0.04, left * block + 0.14)) for left in range(4))
    assert minus_i[:2] == pytest.approx((7.5, 40.0), abs=0.06)
    assert degrees_apart(minus_i[2], 303.0) < 0.1
    assert white[:2] == pytest.approx((100.0, 0.0), abs=0.06)
    assert q[:2] == pytest.approx((7.5, 40.0), abs=0.06)
    assert degrees_apart(q[2], 33.0) < 0.1
    assert black[:2] == pytest.approx((7.5, 0.0), abs=0.06)


def test_bars_colour_frame_turns_chrominance_over() -> None:
    pair = [frame_of("bars", colour_frame) for colour_frame in (0, 1)]
    luma = (pair[0] + pair[1]) / 2
    place = bar_place(1)
    np.testing.assert_allclose(luma[100, place], 69.0, atol=0.06)
    np.testing.assert_allclose(pair[0] - luma, luma - pair[1], atol=1e-4)


@pytest.mark.parametrize("name", [name for name in SIGNALS if name not in COLOURED])
def test_grey_signals_have_no_chrominance(name: str) -> None:
    # Chrominance is what turns over between the colour frames, burst aside.
    difference = frame_of(name, 0) - frame_of(name, 1)
    assert np.abs(difference[:, visible_columns(STANDARD)]).max() < 1e-4


def test_grid_upright_lines() -> None:
    # MODEL: sixteen lines at the centres of sixteen equal cells, 75 % white above setup, 250 ns (2T) wide.
    line = frame_of("grid")[99]
    spacing = ACTIVE_WIDTH / 16
    height = 0.75 * 92.5
    for column in range(16):
        centre = ACTIVE_START + (column + 0.5) * spacing
        begin = round(centre) - 20
        piece = line[begin : begin + 40] - 7.5
        # Place by the centre of gravity, width at half height.
        found = begin + np.sum(np.arange(40) * piece) / np.sum(piece)
        assert (found - centre) / RATE_HZ == pytest.approx(0.0, abs=1e-9)
        rise, fall = half_height(piece, height / 2)
        assert (fall - rise) / RATE_HZ == pytest.approx(250e-9, abs=5e-9)


def test_grid_level_lines() -> None:
    picture = frame_of("grid")[visible_rows(STANDARD)]
    # Between two upright lines.
    inside = picture[:, between(0.5 / 16 + 0.02, 1.5 / 16 - 0.02)].mean(axis=1)
    bright = np.flatnonzero(inside > 40.0)
    np.testing.assert_allclose(inside[bright], 7.5 + 0.75 * 92.5, atol=1e-3)
    # MODEL: twelve lines of two rows, one in each field, at the cells' centres to the nearest row.
    assert bright.size == 24
    pairs = bright.reshape(12, 2)
    np.testing.assert_array_equal(pairs[:, 1] - pairs[:, 0], 1)
    np.testing.assert_allclose(pairs[:, 1], (np.arange(12) + 0.5) * 486 / 12, atol=0.5)
    # MODEL: cells are square on a 4:3 picture, here to the nearest row over eleven cells and sample over fifteen.
    upright = scipy.signal.find_peaks(frame_of("grid")[99], height=40.0)[0]
    cell_height = 3 * (pairs[-1, 1] - pairs[0, 1]) / 11 / 486
    cell_width = 4 * (upright[-1] - upright[0]) / 15 / ACTIVE_WIDTH
    assert cell_width == pytest.approx(cell_height, rel=0.005)


def test_stair_levels() -> None:
    # MODEL: ten equal steps, eleven treads from setup 7.5 to white 100 IRE.
    line = frame_of("stair")[300]
    for tread in range(11):
        piece = line[between((tread + 0.3) / 11, (tread + 0.7) / 11)]
        np.testing.assert_allclose(piece, 7.5 + 9.25 * tread, atol=1e-3)


@pytest.mark.parametrize(("name", "peak_to_peak"), [("stair_20", 20.0), ("stair_40", 40.0)])
def test_subcarrier_over_the_stair(name: str, peak_to_peak: float) -> None:
    # From memory: 20 or 40 IRE peak to peak in the phase of burst, on the same stair.
    row = frame_of(name)[300]
    for tread in range(11):
        luma, chroma, phase_deg = colour_of(row, between((tread + 0.3) / 11, (tread + 0.7) / 11))
        assert luma == pytest.approx(7.5 + 9.25 * tread, abs=0.01)
        assert chroma == pytest.approx(peak_to_peak, abs=0.01)
        assert degrees_apart(phase_deg, 180.0) < 0.1


def test_red_field_is_the_red_bar() -> None:
    # physics.md section 8 (DERIVED): the red bar.
    luma, chroma, phase_deg = colour_of(frame_of("red")[300], between(0.1, 0.9))
    assert luma == pytest.approx(28.2, abs=0.06)
    assert chroma == pytest.approx(87.7, abs=0.06)
    assert degrees_apart(phase_deg, 103.5) < 0.06


def multiburst_packet(index: int) -> slice:
    return between(0.15 + 0.14 * index, 0.15 + 0.14 * index + 0.115)


@pytest.mark.parametrize("line", [21, 400])
@pytest.mark.parametrize(("index", "frequency_hz"), list(enumerate([0.5e6, 1.25e6, 2.0e6, 3.0e6, 3.58e6, 4.1e6])))
def test_multiburst_packets(index: int, frequency_hz: float, line: int) -> None:
    # Frequencies from memory (physics.md section 8); 50 IRE centre and 60 IRE peak to peak MODEL.
    place = multiburst_packet(index)
    piece = frame_of("multiburst")[line - 1, place] - 50.0
    spectrum_hz, power = scipy.signal.periodogram(piece, RATE_HZ, window="hann", nfft=1 << 16)
    assert spectrum_hz[np.argmax(power)] == pytest.approx(frequency_hz, rel=0.01)
    # The flat middle of the packet, between the ends' shaped edges.
    middle = slice(place.start + 12, place.stop - 12)
    phasor, mean = lock_in(frame_of("multiburst")[line - 1, middle], middle.start, frequency_hz)
    assert 2.0 * abs(phasor) == pytest.approx(60.0, abs=0.5)
    assert mean == pytest.approx(50.0, abs=0.5)


def test_multiburst_packets_rise_and_fall_gently() -> None:
    # DERIVED in the signal: rise 0.35 / (4.2 - 3.58 MHz), about 0.56 us; the ends of a packet meet mid grey.
    line = frame_of("multiburst")[100] - 50.0
    for index in range(6):
        place = multiburst_packet(index)
        assert abs(line[place.start - 9]) < 0.1
        assert abs(line[place.stop + 9]) < 0.1
    place = multiburst_packet(4)
    wide = slice(place.start - 9, place.stop + 9)
    envelope = np.abs(scipy.signal.hilbert(scipy.signal.resample(line[wide], 8 * (wide.stop - wide.start))))
    rise = (np.flatnonzero(envelope >= 27.0)[0] - np.flatnonzero(envelope >= 3.0)[0]) / 8 / RATE_HZ
    assert rise == pytest.approx(0.35 / 0.62e6, rel=0.1)


def test_multiburst_white_flag() -> None:
    # TRADE: a white flag leads; its place is MODEL.
    line = frame_of("multiburst")[100]
    np.testing.assert_allclose(line[between(0.05, 0.1)], 100.0, atol=1e-3)


def test_flat_is_flat() -> None:
    # MODEL: 50 IRE.
    _, active = blanking_template(STANDARD)
    inner = active & np.roll(active, 3, axis=1) & np.roll(active, -3, axis=1)
    assert np.all(frame_of("flat")[inner] == 50.0)


def test_sweep_frequency_runs_straight() -> None:
    # MODEL: 0.2 to 4.2 MHz, linear in time between 3 % and 97 % of the active line, 60 IRE peak to peak.
    line = frame_of("sweep")[200] - 50.0
    begin = ACTIVE_START + 0.03 * ACTIVE_WIDTH
    span = 0.94 * ACTIVE_WIDTH
    slope = 4.0e6 * RATE_HZ / span

    def fit(frequency_hz: float, place: float) -> tuple[float, float]:
        """Peak of the best-fitting chirp with this frequency at this place, and the squares it leaves over."""
        sample = np.arange(round(place) - 36, round(place) + 37)
        offset_s = (sample - place) / RATE_HZ
        angle = 2.0 * np.pi * (frequency_hz * offset_s + 0.5 * slope * offset_s**2)
        basis = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        parts, left_over, _, _ = np.linalg.lstsq(basis, line[sample], rcond=None)
        return float(np.hypot(*parts)), float(left_over[0])

    for frequency_hz in (0.5e6, 1.0e6, 2.0e6, 3.0e6, 3.8e6):
        place = begin + span * (frequency_hz - 0.2e6) / 4.0e6
        tried_hz = frequency_hz + np.arange(-100e3, 101e3, 2e3)
        best_hz = tried_hz[np.argmin([fit(float(one), place)[1] for one in tried_hz])]
        assert best_hz == pytest.approx(frequency_hz, abs=5e3)
        assert 2.0 * fit(frequency_hz, place)[0] == pytest.approx(60.0, rel=0.01)


def test_pulse_is_2t() -> None:
    # From memory: half-amplitude duration of the 2T pulse 250 ns in 525/60; from setup to white.
    line = frame_of("pulse_bar")[100]
    place = between(0.12, 0.28)
    piece = line[place] - 7.5
    rise, fall = half_height(piece, 92.5 / 2)
    assert (fall - rise) / RATE_HZ == pytest.approx(250e-9, abs=5e-9)
    assert scipy.signal.resample(piece, 64 * piece.size).max() == pytest.approx(92.5, abs=0.3)


def test_bar_of_pulse_and_bar() -> None:
    line = frame_of("pulse_bar")[100]
    np.testing.assert_allclose(line[between(0.43, 0.77)], 100.0, atol=1e-3)
    # MODEL: between 40 % and 80 % of the active line, at half amplitude.
    rise, fall = half_height(line[between(0.3, 0.9)] - 7.5, 92.5 / 2)
    begin = between(0.3, 0.9).start
    assert (begin + rise - ACTIVE_START) / ACTIVE_WIDTH == pytest.approx(0.4, abs=1e-4)
    assert (begin + fall - ACTIVE_START) / ACTIVE_WIDTH == pytest.approx(0.8, abs=1e-4)


@pytest.mark.parametrize("name", SIGNALS)
def test_picture_is_band_limited(name: str) -> None:
    # PUB BT.470: video bandwidth 4.2 MHz. Beyond a tenth more than that, less than 1/1000 of the picture's
    # power (mean aside) is left; the picture alone is looked at, for sync and blanking have faster edges
    # than that.
    columns = visible_columns(STANDARD)
    picture = frame_of(name)[visible_rows(STANDARD)[1:-1], columns.start + 4 : columns.stop - 4]
    spectrum_hz, power = scipy.signal.periodogram(picture, RATE_HZ, window="blackmanharris", axis=1)
    total, beyond = power.sum(), power[:, spectrum_hz > 1.1 * 4.2e6].sum()
    # A flat picture has no power to speak of, in band or out.
    assert beyond <= 1e-3 * total + 1e-9
