"""Bursts and vectors: what is measured of them, and the vectorscope's screen and sentence."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sim.colour import (
    VectorPoint,
    bar_lines,
    bar_points,
    bar_targets,
    bar_vectors,
    demodulate,
    measure_burst,
    reference_phase,
)
from sim.errors import BandbenchError, UnknownNameError
from sim.instruments.vectorscope import (
    describe_vectors,
    describe_vectorscope,
    vector_points,
    vector_raster,
    vectorscope,
)
from sim.recorder import Recorder
from sim.signals import bar_layout, burst_lines, encode_rgb, make_signal, signal_from_picture, v_sense, visible_rows
from sim.standards import STANDARDS, Standard, get_standard
from tests.outside_checks import OutsideCheck
from tests.signal_measuring import degrees_apart

NTSC, PAL = get_standard("525/60"), get_standard("625/50")
BOTH = pytest.mark.parametrize("standard", STANDARDS.values(), ids=list(STANDARDS))
SIX = ("yellow", "cyan", "green", "magenta", "red", "blue")
# physics.md section 8 (DERIVED from the encoding equations); peak to peak of the 625 bars in mV from memory.
PHASES_DEG = (167.1, 283.5, 240.7, 60.7, 103.5, 347.1)
PEAK_TO_PEAK = {"525/60": (62.1, 87.7, 81.9, 81.9, 87.7, 62.1), "625/50": (470.0, 663.0, 620.0, 620.0, 663.0, 470.0)}
TABLE_SOURCE = {
    "525/60": "RS-189-A bars, DERIVED from the NTSC encoding equations",
    "625/50": "EBU 100/0/75/0 bars, DERIVED from the PAL encoding equations; mV from memory",
}


def delayed(video: NDArray[np.floating], standard: Standard, delay_s: NDArray[np.floating]) -> NDArray[np.float32]:
    """Every line later by its own time, by the FFT."""
    frequency_hz = np.fft.rfftfreq(standard.samples_per_line, 1.0 / standard.sample_rate_hz)
    turned = np.fft.rfft(video.astype(np.float64)) * np.exp(-2j * np.pi * frequency_hz * delay_s[:, None])
    return np.asarray(np.fft.irfft(turned, standard.samples_per_line), dtype=np.float32)


# --- bursts --------------------------------------------------------------------------------------------------------


@BOTH
def test_burst_of_every_colour_frame(standard: Standard) -> None:
    # From memory: 20 IRE / 150 mV to the peak; 180 degrees in NTSC, 135 and 225 in PAL, against the frame's own
    # subcarrier, which each frame starts half a cycle (NTSC) or three quarters (PAL) further on.
    step_deg = {"525/60": 180.0, "625/50": 270.0}[standard.name]
    peak = {"525/60": 20.0, "625/50": 150.0}[standard.name]
    for colour_frame in range(standard.colour_frames):
        reading = measure_burst(make_signal("flat", standard, colour_frame), standard)
        lines = burst_lines(standard, colour_frame)
        assert reading.present
        np.testing.assert_array_equal(np.flatnonzero(reading.good), lines)
        np.testing.assert_allclose(np.abs(reading.vector[lines]), peak, rtol=1e-3)
        sense = v_sense(standard, colour_frame)
        np.testing.assert_array_equal(reading.sense, sense)
        swing = np.where(sense > 0.0, 135.0, 225.0) if standard.switches_v else np.full(sense.size, 180.0)
        expected = np.exp(1j * np.deg2rad(swing + colour_frame * step_deg))
        assert np.abs(np.angle(reading.vector[lines] / expected[lines], deg=True)).max() < 0.05
        assert degrees_apart(float(np.rad2deg(reading.mean_phase_rad)), colour_frame * step_deg) < 0.05
        np.testing.assert_allclose(np.exp(1j * reading.phase_rad), np.exp(1j * reading.mean_phase_rad), atol=1e-3)


@BOTH
def test_burst_phase_follows_time(standard: Standard) -> None:
    # DERIVED: a delay turns a wave back by 360 degrees x frequency x delay.
    delay_s = np.random.default_rng(1).uniform(-20e-9, 20e-9, standard.lines_per_frame)
    plain = measure_burst(make_signal("flat", standard), standard)
    late = measure_burst(delayed(make_signal("flat", standard), standard, delay_s), standard)
    good = plain.good & late.good
    turn = np.angle(late.vector[good] / plain.vector[good])
    np.testing.assert_allclose(turn, -2.0 * np.pi * standard.subcarrier_hz * delay_s[good], atol=2e-3)


@BOTH
def test_sense_of_v_survives_a_drift_of_phase(standard: Standard) -> None:
    # A band of sixteen lines that leans by 0.4 us from top to bottom: more than one cycle of subcarrier.
    lean_s = 0.4e-6 * (np.arange(standard.lines_per_frame, dtype=np.float64) % 16 / 16.0 - 0.5)
    for colour_frame in range(standard.colour_frames):
        video = delayed(make_signal("flat", standard, colour_frame), standard, lean_s)
        reading = measure_burst(video, standard)
        np.testing.assert_array_equal(reading.sense, v_sense(standard, colour_frame))


@BOTH
def test_signals_without_bursts(standard: Standard) -> None:
    mono = measure_burst(make_signal("bars", standard, monochrome=True), standard)
    assert not mono.present
    assert not mono.good.any()
    assert mono.mean_phase_rad == 0.0
    np.testing.assert_array_equal(mono.phase_rad, 0.0)
    faint = make_signal("flat", standard, monochrome=True)
    faint += np.float32(0.2) * (make_signal("flat", standard) - faint)
    assert not measure_burst(faint, standard).present
    shape = (standard.lines_per_frame, standard.samples_per_line)
    assert not measure_burst(np.zeros(shape, dtype=np.float32), standard).present


@BOTH
def test_a_line_without_burst_keeps_the_phase_of_the_one_before(standard: Standard) -> None:
    turn_s = np.arange(standard.lines_per_frame) * 0.02e-9
    video = delayed(make_signal("flat", standard), standard, turn_s)
    gone = slice(100, 110)
    video[gone, 60:160] = 0.0
    reading = measure_burst(video, standard)
    assert not reading.good[gone].any()
    assert reading.good[99]
    np.testing.assert_array_equal(reading.phase_rad[gone], reading.phase_rad[99])
    assert reading.phase_rad[110] < reading.phase_rad[99]
    # Lines before the first burst have that of the first.
    first = int(np.flatnonzero(reading.good)[0])
    np.testing.assert_array_equal(reading.phase_rad[:first], reading.phase_rad[first])


@BOTH
@settings(max_examples=10, deadline=None)
@given(level=st.floats(-0.1, 0.1), slope=st.floats(-0.1, 0.1))
def test_level_errors_do_not_turn_the_burst(standard: Standard, level: float, slope: float) -> None:
    video = make_signal("flat", standard)
    plain = measure_burst(video, standard).vector
    ramp = np.linspace(-1.0, 1.0, standard.samples_per_line)
    video += (standard.white_level * (level + slope * ramp)).astype(np.float32)
    np.testing.assert_allclose(measure_burst(video, standard).vector, plain, atol=2e-5 * standard.white_level)


# --- vectors -------------------------------------------------------------------------------------------------------


@BOTH
def test_points_of_the_bars(standard: Standard, outside_check: OutsideCheck) -> None:
    for colour_frame in range(standard.colour_frames):
        points = bar_points(make_signal("bars", standard, colour_frame), standard)
        assert tuple(points) == SIX
        for name, amplitude, phase_deg in zip(SIX, PEAK_TO_PEAK[standard.name], PHASES_DEG, strict=True):
            assert points[name].amplitude == pytest.approx(amplitude, rel=0.002)
            assert degrees_apart(points[name].phase_deg, phase_deg) < 0.1
            if colour_frame == 0:
                source, unit = TABLE_SOURCE[standard.name], standard.level_unit
                outside_check(
                    f"{standard.name} {name} bar on the vectorscope, peak to peak", source, amplitude,
                    points[name].amplitude, 0.01 * amplitude, unit,
                )  # fmt: skip
                outside_check(
                    f"{standard.name} {name} bar on the vectorscope, phase", source, phase_deg, points[name].phase_deg,
                    1.0, "deg",
                )  # fmt: skip


@BOTH
def test_targets_are_the_table(standard: Standard) -> None:
    targets = bar_targets(standard)
    assert tuple(targets) == SIX
    for name, amplitude, phase_deg in zip(SIX, PEAK_TO_PEAK[standard.name], PHASES_DEG, strict=True):
        target = targets[name]
        assert target.point.amplitude == pytest.approx(amplitude, rel=0.002)
        assert target.point.phase_deg == pytest.approx(phase_deg, abs=0.06)
        assert 2.0 * abs(complex(target.u, target.v)) == pytest.approx(target.point.amplitude)
        # From memory: boxes of 5 % and 3 degrees, 20 % and 10 degrees to each side.
        for box, part, degrees in ((target.inner, 0.05, 3.0), (target.outer, 0.2, 10.0)):
            corners = np.array([complex(*corner) for corner in box]) / complex(target.u, target.v)
            np.testing.assert_allclose(np.sort(np.abs(corners)), 1.0 + part * np.array([-1, -1, 1, 1]))
            np.testing.assert_allclose(np.sort(np.rad2deg(np.angle(corners))), degrees * np.array([-1, -1, 1, 1]))


@BOTH
@settings(max_examples=10, deadline=None)
@given(red=st.floats(0.0, 1.0), green=st.floats(0.0, 1.0), blue=st.floats(0.0, 1.0), colour_frame=st.integers(0, 1))
def test_any_colour_is_demodulated(
    standard: Standard, red: float, green: float, blue: float, colour_frame: int
) -> None:
    rgb = np.array([red, green, blue])
    video = signal_from_picture(np.full((3, 4, 3), rgb), standard, colour_frame)
    vectors = demodulate(video, standard, np.arange(60, 200), slice(300, 700))
    _, u, v = encode_rgb(rgb, standard)
    assert vectors.shape == (140, 400)
    np.testing.assert_allclose(vectors, complex(u, v), atol=1e-3 * standard.white_level)


def test_pal_as_sent_is_mirrored_line_by_line() -> None:
    video = make_signal("red", PAL)
    lines = np.arange(100, 110)
    found = demodulate(video, PAL, lines, slice(400, 600), switched=False)
    right = demodulate(video, PAL, lines, slice(400, 600))
    np.testing.assert_allclose(found[0::2], right[0::2], atol=1.0)
    np.testing.assert_allclose(found[1::2], right[1::2].conj(), atol=1.0)


@BOTH
def test_vectors_line_by_line(standard: Standard) -> None:
    # Half of the lines 2 ns late: against the station's subcarrier their colours are turned back, against their own
    # bursts they are not (DERIVED, 360 degrees x subcarrier x time).
    late_s = np.where(np.arange(standard.lines_per_frame) % 32 < 16, 2e-9, 0.0)
    video = delayed(make_signal("bars", standard), standard, late_s)
    rows = bar_lines(standard)
    turned = bar_vectors(video, standard, lock="reference")
    own = bar_vectors(video, standard)
    assert turned.shape == own.shape == (rows.size, 6)
    expected = np.exp(-2j * np.pi * standard.subcarrier_hz * late_s[rows])
    # The conjugate on the turned-over lines of PAL turns the error over as well.
    sense = v_sense(standard)[rows]
    expected = np.where(sense > 0.0, expected, expected.conj())
    targets = np.array([complex(target.u, target.v) for target in bar_targets(standard).values()])
    np.testing.assert_allclose(turned / targets, np.repeat(expected[:, None], 6, axis=1), atol=3e-3)
    np.testing.assert_allclose(own / targets, 1.0, atol=3e-3)


@BOTH
def test_bar_lines_are_filled_by_the_bars(standard: Standard) -> None:
    rows = bar_lines(standard)
    on_screen = visible_rows(standard).tolist()
    places = np.array([on_screen.index(row) for row in rows.tolist()]) / len(on_screen)
    assert 0.02 < places.min() < 0.06
    assert places.max() < bar_layout(standard).upper_part - 0.02
    assert np.all(np.diff(rows) > 0)


def test_errors_of_vectors() -> None:
    video = make_signal("bars", NTSC)
    some = np.array([100])
    for columns in (slice(0, 100), slice(800, 910), slice(300, 200), slice(100, 200, 2)):
        with pytest.raises(BandbenchError, match="use a stretch between 9 and 901"):
            demodulate(video, NTSC, some, columns)
    for lines in (np.array([-1]), np.array([525]), np.array([], dtype=int)):
        with pytest.raises(BandbenchError, match="use some of rows 0 to 524"):
            demodulate(video, NTSC, lines, slice(300, 400))
    with pytest.raises(BandbenchError, match=r"\(625, 1134\) \(lines, samples\) needed for 625/50"):
        bar_points(video, PAL)
    with pytest.raises(UnknownNameError, match="unknown colour lock 'crystal'"):
        reference_phase(video, NTSC, "crystal")
    with pytest.raises(BandbenchError, match="no bursts to measure from; choose a test point"):
        bar_points(make_signal("bars", NTSC, monochrome=True), NTSC)


# --- the screen ----------------------------------------------------------------------------------------------------


def brightness_at(image: NDArray[np.float32], vector: complex, limit: float, reach: int = 2) -> float:
    """The brightest spot within `reach` rows and columns of a place; row 0 is the bottom."""
    centre = image.shape[0] / 2
    row, column = (int(centre * (1.0 + part / limit)) for part in (vector.imag, vector.real))
    return float(image[row - reach : row + reach + 1, column - reach : column + reach + 1].max())


@BOTH
@pytest.mark.parametrize("size", [120, 240])
def test_screen_shows_bars_in_their_boxes_and_burst(standard: Standard, size: int) -> None:
    screen = vector_raster(make_signal("bars", standard), standard, size=size)
    assert screen.image.shape == (size, size)
    assert screen.image.dtype == np.float32
    assert screen.image.min() == 0.0
    assert screen.image.max() == 1.0
    assert screen.locked
    assert screen.unit == standard.level_unit
    for target in screen.targets.values():
        assert brightness_at(screen.image, complex(target.u, target.v), screen.limit) == 1.0
        # Mirrored about B-Y there is nothing: V is put right.
        if target.name in ("cyan", "red"):
            assert brightness_at(screen.image, complex(target.u, -target.v), screen.limit) == 0.0
    burst_deg = 135.0 if standard.switches_v else 180.0
    burst = standard.burst_amplitude * np.exp(1j * np.deg2rad(burst_deg))
    assert brightness_at(screen.image, complex(burst), screen.limit) > 0.3
    if standard.switches_v:
        as_sent = vector_raster(make_signal("bars", standard), standard, size=size, switched=False)
        red = as_sent.targets["red"]
        assert brightness_at(as_sent.image, complex(red.u, -red.v), as_sent.limit) == 1.0
        assert brightness_at(as_sent.image, complex(burst.conjugate()), as_sent.limit) > 0.3


@BOTH
def test_gain_and_lines_of_the_screen(standard: Standard) -> None:
    video = make_signal("red", standard)
    wide, close = vector_raster(video, standard), vector_raster(video, standard, gain=0.5)
    assert close.limit == pytest.approx(2.0 * wide.limit)
    red = wide.targets["red"]
    for screen in (wide, close):
        assert brightness_at(screen.image, complex(red.u, red.v), screen.limit) == 1.0
    # One late line alone against the station: its red is turned back (by 20 ns, DERIVED).
    late_s = np.zeros(standard.lines_per_frame)
    late_s[200] = 20e-9
    one = vector_raster(delayed(video, standard, late_s), standard, np.array([200]), lock="reference")
    turned = complex(red.u, red.v) * np.exp(-2j * np.pi * standard.subcarrier_hz * 20e-9)
    assert brightness_at(one.image, complex(turned), one.limit) == 1.0
    assert brightness_at(one.image, complex(red.u, red.v), one.limit) == 0.0
    # What leaves the screen, here the whole red field, is not piled up at its edge: only the beam's way out.
    beyond = vector_raster(video, standard, gain=2.0).image
    assert max(beyond[0].max(), beyond[-1].max(), beyond[:, 0].max(), beyond[:, -1].max()) < 0.3


def test_unlocked_screen_and_bad_sizes() -> None:
    assert not vector_raster(make_signal("bars", NTSC, monochrome=True), NTSC).locked
    video = make_signal("bars", NTSC)
    assert vector_raster(video, NTSC, lock="reference").locked
    for size, gain in ((15, 1.0), (240, 0.0), (240, np.nan)):
        with pytest.raises(BandbenchError, match="use at least 16 x 16 and a gain above 0"):
            vector_raster(video, NTSC, size=size, gain=gain)


def turned_points(standard: Standard, turn_deg: float, size: float) -> dict[str, VectorPoint]:
    return {
        name: VectorPoint(target.point.amplitude * size, (target.point.phase_deg + turn_deg) % 360.0)
        for name, target in bar_targets(standard).items()
    }


@BOTH
def test_sentence(standard: Standard) -> None:
    assert describe_vectors(turned_points(standard, 2.0, 1.04), standard).endswith("all six colours in their boxes.")
    text = describe_vectors(turned_points(standard, -12.5, 0.8), standard)
    assert "colours at 80 % of their size, turned by -12.5 degrees" in text
    assert "-12.5 degrees." in text
    points = turned_points(standard, 1.0, 1.0)
    points["green"] = VectorPoint(points["green"].amplitude * 0.9, points["green"].phase_deg + 4.0)
    assert "furthest off is green, 90 % and +5.0 degrees." in describe_vectors(points, standard)
    assert describe_vectors(turned_points(standard, 0.0, 0.1), standard) == "Vectorscope: no colour bars."


# --- through the machine -------------------------------------------------------------------------------------------


def test_the_frame_is_handed_on() -> None:
    # What the machine's colour is worth is tested in test_colour_machine.py; here only that each test point is the
    # right array, and that the gate follows the sync of the demodulated one.
    frame = Recorder(signal="bars").play_frame(0)
    edges_s = frame.sync_edges_s
    lines = np.arange(60, 90)
    assert vector_points(frame) == bar_points(frame.demod, NTSC, edges_s=edges_s)
    assert vector_points(frame, "demodulated", lines, lock="slow") == bar_points(
        frame.demod, NTSC, lines, lock="slow", edges_s=edges_s
    )
    for test_point, video in (("corrected", frame.corrected), ("processed", frame.processed)):
        given = vector_points(frame, test_point, lock="reference")
        assert given == bar_points(video, NTSC, lock="reference")
    np.testing.assert_array_equal(
        vectorscope(frame, size=64, gain=1.5).image,
        vector_raster(frame.demod, NTSC, size=64, gain=1.5, edges_s=edges_s).image,
    )
    assert describe_vectorscope(frame) == "Vectorscope: all six colours in their boxes."
    with pytest.raises(UnknownNameError, match="unknown test point of the vectorscope 'rf_switched'"):
        vectorscope(frame, "rf_switched")


def test_a_grey_programme_has_no_bars() -> None:
    frame = Recorder(signal="flat").play_frame(0)
    assert describe_vectorscope(frame) == "Vectorscope: no colour bars."


@BOTH
def test_a_signal_without_burst_is_said_to_have_none(standard: Standard) -> None:
    recorder = Recorder(standard.name, f"{standard.name[:3]} high-band", signal="bars")
    recorder.load_programme(make_signal("bars", standard, monochrome=True))
    frame = recorder.play_frame(0)
    assert describe_vectorscope(frame) == "Vectorscope: no burst to lock to."
    assert not vectorscope(frame).locked
