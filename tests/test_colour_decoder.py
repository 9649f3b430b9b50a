"""The colour monitor's decoder: what was encoded comes back, and what turns the phase turns the hue as it should."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.ndimage
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sim.colour import LOCKS, PAL_DECODERS, SEPARATIONS, ColourDecoder
from sim.colour.decoder import low_pass
from sim.errors import BandbenchError, UnknownNameError
from sim.signals import bar_layout, make_signal, signal_from_picture, visible_columns, visible_rows
from sim.standards import STANDARDS, Standard, get_standard
from tests.colour_reference import bt601_ycbcr
from tests.outside_checks import OutsideCheck
from tests.signal_measuring import Array, degrees_apart

NTSC, PAL = get_standard("525/60"), get_standard("625/50")
BOTH = pytest.mark.parametrize("standard", STANDARDS.values(), ids=list(STANDARDS))
SIX = ("yellow", "cyan", "green", "magenta", "red", "blue")


# A colour that stays inside 0 to 1 when it is turned to any hue, so that no limiter hides a part of it.
MUTED = np.array([0.62, 0.4, 0.45])


def muted_field(standard: Standard) -> NDArray[np.float32]:
    return signal_from_picture(np.full((3, 4, 3), MUTED), standard)


def as_vector(rgb: Array) -> complex:
    """Colour as U + jV of white = 1 by the equations as books print them (from memory), not by our own."""
    luma = 0.299 * rgb[0] + 0.587 * rgb[1] + 0.114 * rgb[2]
    return complex(0.492111 * (rgb[2] - luma), 0.877283 * (rgb[0] - luma))


MUTED_DEG = float(np.rad2deg(np.angle(as_vector(MUTED))))


def bar_means(standard: Standard, picture: NDArray[np.float32], rows: slice = slice(20, 300)) -> dict[str, Array]:
    """Mean red, green and blue in the middle of each bar of a decoded picture."""
    names = bar_layout(standard).names
    width = picture.shape[1] / len(names)
    return {
        name: picture[rows, round((k + 0.35) * width) : round((k + 0.65) * width)].mean(axis=(0, 1), dtype=np.float64)
        for k, name in enumerate(names)
    }


def delayed(video: NDArray[np.floating], standard: Standard, delay_s: Array) -> NDArray[np.float32]:
    """Every line later by its own time; by the FFT, so exact for what is inside the band."""
    frequency_hz = np.fft.rfftfreq(standard.samples_per_line, 1.0 / standard.sample_rate_hz)
    spectrum = np.fft.rfft(video.astype(np.float64), axis=1)
    turned = spectrum * np.exp(-2j * np.pi * frequency_hz * delay_s[:, None])
    return np.asarray(np.fft.irfft(turned, standard.samples_per_line, axis=1), dtype=np.float32)


@BOTH
@pytest.mark.parametrize("separation", SEPARATIONS)
@pytest.mark.parametrize("lock", ["line", "slow"])
@pytest.mark.parametrize("pal", PAL_DECODERS)
def test_bars_come_back(standard: Standard, separation: str, lock: str, pal: str) -> None:
    decoder = ColourDecoder(standard, separation=separation, lock=lock, pal=pal)
    layout = bar_layout(standard)
    for colour_frame in range(standard.colour_frames):
        picture = decoder(make_signal("bars", standard, colour_frame))
        assert picture.shape == (visible_rows(standard).size, len(range(*visible_columns(standard).indices(2000))), 3)
        assert picture.dtype == np.float32
        for (name, found), rgb in zip(bar_means(standard, picture).items(), layout.rgb, strict=True):
            np.testing.assert_allclose(found, rgb, atol=0.002, err_msg=name)


@BOTH
def test_bars_against_the_table(standard: Standard, outside_check: OutsideCheck) -> None:
    # physics.md section 8: phases and peak-to-peak of the bars, from the picture that the decoder gives; 625 amplitudes
    # from memory. Within 1 degree and 1 %.
    span, table = {
        "525/60": (92.5, (62.1, 87.7, 81.9, 81.9, 87.7, 62.1)),
        "625/50": (700.0, (470.0, 663.0, 620.0, 620.0, 663.0, 470.0)),
    }[standard.name]
    source = {
        "525/60": "RS-189-A bars, DERIVED from the NTSC encoding equations",
        "625/50": "EBU 100/0/75/0 bars, DERIVED from the PAL encoding equations; mV from memory",
    }[standard.name]
    means = bar_means(standard, ColourDecoder(standard)(make_signal("bars", standard)))
    phases = (167.1, 283.5, 240.7, 60.7, 103.5, 347.1)
    for name, amplitude, phase_deg in zip(SIX, table, phases, strict=True):
        vector = as_vector(means[name])
        found_deg = float(np.rad2deg(np.angle(vector)) % 360.0)
        outside_check(
            f"{standard.name} {name} bar decoded, peak to peak", source, amplitude, 2.0 * span * abs(vector),
            0.01 * amplitude, standard.level_unit,
        )  # fmt: skip
        outside_check(f"{standard.name} {name} bar decoded, phase", source, phase_deg, found_deg, 1.0, "deg")


@BOTH
def test_decoded_luminance_is_that_of_bt601(standard: Standard, outside_check: OutsideCheck) -> None:
    # colour-science's Y, Cb, Cr of the decoded bars against those of what was encoded.
    means = bar_means(standard, ColourDecoder(standard)(make_signal("bars", standard)))
    layout = bar_layout(standard)
    difference = bt601_ycbcr(np.array(list(means.values()))) - bt601_ycbcr(np.array(layout.rgb))
    for component, worst in zip(("Y", "Cb", "Cr"), np.abs(difference).max(axis=0), strict=True):
        outside_check(
            f"{standard.name} bars there and back, {component} off", "colour-science, BT.601 Y Cb Cr", 0.0, worst, 0.005
        )


def blocks(seed: int) -> Array:
    """A picture of 4:3 in six by eight even blocks of random colour."""
    return np.asarray(np.kron(np.random.default_rng(seed).random((6, 8, 3)), np.ones((12, 12, 1))), dtype=np.float64)


@BOTH
@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), colour_frame=st.integers(0, 1), separation=st.sampled_from(SEPARATIONS))
def test_random_colours_come_back(standard: Standard, seed: int, colour_frame: int, separation: str) -> None:
    rgb = blocks(seed)
    picture = ColourDecoder(standard, separation=separation)(signal_from_picture(rgb, standard, colour_frame))
    rows, columns = picture.shape[0] // 6, picture.shape[1] / 8
    for row in range(6):
        for column in range(8):
            # Away from the blocks' edges: by ten rows, and by the reach of the filters, a quarter of a block's width.
            middle = picture[row * rows + 10 : (row + 1) * rows - 10]
            middle = middle[:, round((column + 0.3) * columns) : round((column + 0.7) * columns)]
            expected = rgb[12 * row + 6, 12 * column + 6]
            # Stated tolerance: 1.5 % of white for each sample, 0.5 % for the mean.
            assert np.abs(middle - expected).max() < 0.015
            np.testing.assert_allclose(middle.mean(axis=(0, 1)), expected, atol=0.005)


@BOTH
@settings(max_examples=5, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_smooth_pictures_come_back(standard: Standard, seed: int) -> None:
    rows = visible_rows(standard).size
    width = rows * 4 // 3
    noise = np.random.default_rng(seed).random((rows, width, 3))
    smooth = scipy.ndimage.gaussian_filter(noise, (12.0, 16.0, 0.0))
    rgb = np.clip(0.5 + 4.0 * (smooth - smooth.mean()), 0.0, 1.0)
    picture = ColourDecoder(standard)(signal_from_picture(rgb, standard))
    expected = scipy.ndimage.zoom(rgb, (1.0, picture.shape[1] / width, 1.0), order=1, grid_mode=True, mode="nearest")
    inner = (slice(8, -8), slice(30, -30))
    # Stated tolerance: 1 % of white on the average, 5 % anywhere.
    assert np.abs(picture[inner] - expected[inner]).mean() < 0.01
    assert np.abs(picture[inner] - expected[inner]).max() < 0.05


@BOTH
def test_rows_and_columns_stand_where_the_picture_stood(standard: Standard) -> None:
    # A white window on grey of a picture with one row for each visible row.
    rows = visible_rows(standard).size
    rgb = np.full((rows, rows * 4 // 3, 3), 0.25)
    rgb[100:201, 200:400] = 0.8
    picture = ColourDecoder(standard)(signal_from_picture(rgb, standard))
    across = picture[150, :, 1]
    rise, fall = (np.flatnonzero(across > 0.525)[k] / picture.shape[1] for k in (0, -1))
    assert rise == pytest.approx(200 / (rows * 4 / 3), abs=0.003)
    assert fall == pytest.approx(400 / (rows * 4 / 3), abs=0.003)
    down = np.flatnonzero(picture[:, picture.shape[1] * 300 // (rows * 4 // 3), 1] > 0.525)
    assert down.tolist() == list(range(100, 201))


@BOTH
def test_a_signal_without_burst_is_grey_and_sharp(standard: Standard) -> None:
    decoder = ColourDecoder(standard)
    grey = decoder(make_signal("bars", standard, monochrome=True))
    np.testing.assert_array_equal(grey[..., 0], grey[..., 1])
    np.testing.assert_array_equal(grey[..., 0], grey[..., 2])
    # The packet of the multiburst next to the subcarrier is whole without burst and small behind the notch (in 625/50
    # it is 0.37 MHz from the notch's middle).
    index = int(np.argmin(np.abs(np.array(standard.multiburst_hz) - standard.subcarrier_hz)))
    width = grey.shape[1]
    place = slice(*(round((0.15 + 0.14 * index + part) * width) for part in (0.03, 0.085)))
    sharp = decoder(make_signal("multiburst", standard, monochrome=True))[100, place, 1]
    notched = decoder(make_signal("multiburst", standard)).mean(axis=2)[100, place]
    assert np.ptp(sharp) > 0.5
    assert np.ptp(notched) < 0.6 * np.ptp(sharp)


def luminance_response(standard: Standard, separation: str, frequency_hz: float) -> float:
    """Amplitude of an even luminance wave behind the decoder as part of what was sent."""
    time_s = np.arange(standard.samples_per_line) / standard.sample_rate_hz
    video = make_signal("flat", standard)
    centre = float(video[100, 500])
    columns = visible_columns(standard)
    peak = 0.2 * standard.white_level
    wave = (peak * np.sin(2.0 * np.pi * frequency_hz * time_s)).astype(np.float32)
    video[visible_rows(standard), columns] = centre + wave[columns]
    picture = ColourDecoder(standard, separation=separation)(video).astype(np.float64)
    luma = picture @ np.array([0.299, 0.587, 0.114])
    piece = luma[200, 150:550]
    angle = 2.0 * np.pi * frequency_hz / standard.sample_rate_hz * np.arange(piece.size)
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones(piece.size)], axis=1)
    sine, cosine, _ = np.linalg.lstsq(basis, piece, rcond=None)[0]
    return float(np.hypot(sine, cosine) * (standard.white_level - standard.setup_level) / peak)


@BOTH
def test_luminance_behind_notch_and_comb(standard: Standard) -> None:
    # The class's own statement: 3 dB down 0.96 MHz (625/50: 1.19 MHz) below the subcarrier, nothing left at it.
    below_hz = {"525/60": 0.96e6, "625/50": 1.19e6}[standard.name]
    subcarrier_hz = standard.subcarrier_hz
    for frequency_hz in (0.3e6, 0.6e6, 1.0e6):
        assert luminance_response(standard, "notch", frequency_hz) == pytest.approx(1.0, abs=0.02)
    assert luminance_response(standard, "notch", subcarrier_hz - below_hz) == pytest.approx(2**-0.5, abs=0.03)
    assert luminance_response(standard, "notch", subcarrier_hz) < 0.02
    # Luminance that is the same on every line differs in its phase against the subcarrier by half a turn between the
    # lines that are combed, so a comb leaves it alone.
    for frequency_hz in (0.5e6, 2.5e6, subcarrier_hz - 0.3e6, subcarrier_hz):
        assert luminance_response(standard, "comb", frequency_hz) == pytest.approx(1.0, abs=0.03)


@BOTH
def test_comb_takes_cross_colour_out(standard: Standard) -> None:
    video = make_signal("multiburst", standard)

    def colour_noise(separation: str) -> float:
        picture = ColourDecoder(standard, separation=separation)(video)[50:-50, 20:-20]
        return float(np.abs(picture - picture.mean(axis=2, keepdims=True)).max())

    assert colour_noise("notch") > 0.3
    assert colour_noise("comb") < 0.1 * colour_noise("notch")


@pytest.mark.parametrize(("standard", "deg_per_ns"), [(NTSC, 1.289), (PAL, 1.596)], ids=["525/60", "625/50"])
def test_time_base_errors_turn_the_hue_of_a_slow_lock(
    standard: Standard, deg_per_ns: float, outside_check: OutsideCheck
) -> None:
    # physics.md section 3: 1 ns = 1.289 degrees of subcarrier (NTSC), 1.596 (PAL). Half of the lines early, half late,
    # in bands of sixteen, so that a slow lock stands in the middle; later is a hue turned back.
    band = (np.arange(standard.lines_per_frame) // 16) % 2
    delay_s = np.where(band == 1, 4e-9, -4e-9)
    video = delayed(muted_field(standard), standard, delay_s)
    band_of_row = band[visible_rows(standard)]
    inner = (band_of_row == np.roll(band_of_row, 4)) & (band_of_row == np.roll(band_of_row, -4))
    vectors = {}
    for lock in ("line", "slow"):
        picture = ColourDecoder(standard, lock=lock, pal="simple")(video).astype(np.float64)[:, 200:500]
        for late in (0, 1):
            rows = inner & (band_of_row == late)
            # PAL turns back and forward on alternate lines: take those with V as in NTSC (odd lines).
            if standard.switches_v:
                rows &= visible_rows(standard) % 2 == 0
            vectors[lock, late] = as_vector(picture[rows].mean(axis=(0, 1)))
    turn_deg = np.rad2deg(np.angle(vectors["slow", 1] / vectors["slow", 0]))
    outside_check(
        f"{standard.name} hue per nanosecond, slow lock", "DERIVED: 360 degrees x subcarrier", deg_per_ns,
        -turn_deg / 8.0, 0.03, "deg/ns",
    )  # fmt: skip
    assert abs(np.rad2deg(np.angle(vectors["line", 1] / vectors["line", 0]))) < 0.3


@pytest.mark.parametrize(("standard", "deg_per_ns"), [(NTSC, 1.289), (PAL, 1.596)], ids=["525/60", "625/50"])
def test_velocity_error_turns_the_hue_along_the_line(
    standard: Standard, deg_per_ns: float, outside_check: OutsideCheck
) -> None:
    # A line that is stretched: right at its burst, 10 ns late 52 us later. With each line's own burst for reference the
    # hue turns evenly along the line.
    rate_hz = standard.sample_rate_hz
    field = muted_field(standard).astype(np.float64)
    time = np.arange(standard.samples_per_line)
    burst_at = (standard.burst_start_s + 1.2e-6) * rate_hz
    late = 10e-9 * rate_hz * (time - burst_at) / (52e-6 * rate_hz)
    stretched = scipy.ndimage.map_coordinates(
        field, np.broadcast_arrays(np.arange(field.shape[0])[:, None], (time - late)[None, :]), order=5, mode="nearest"
    )
    picture = ColourDecoder(standard, pal="simple")(stretched).astype(np.float64)
    rows = np.flatnonzero(visible_rows(standard) % 2 == 0) if standard.switches_v else np.arange(40, 400)
    columns = visible_columns(standard)
    places = np.arange(60, columns.stop - columns.start - 60, 40)
    angle_deg = [
        np.rad2deg(np.angle(as_vector(picture[rows[20:-20], at : at + 20].mean(axis=(0, 1))))) for at in places
    ]
    after_ns = 10.0 * (places + 9.5 + columns.start - burst_at) / (52e-6 * rate_hz)
    slope, at_burst = np.polyfit(after_ns, angle_deg, 1)
    outside_check(
        f"{standard.name} hue along the line per nanosecond of velocity error", "DERIVED: 360 degrees x subcarrier",
        deg_per_ns, -slope, 0.05, "deg/ns",
    )  # fmt: skip
    assert degrees_apart(float(at_burst), MUTED_DEG) < 1.0


@pytest.mark.parametrize("hue_deg", [-40.0, -10.0, 15.0, 60.0])
def test_hue_control(hue_deg: float, outside_check: OutsideCheck) -> None:
    # NTSC: every colour turns. PAL with a delay line: none does, saturation falls by the cosine (DERIVED, the mean of
    # two vectors turned to both sides). Simple PAL: alternate lines turn to both sides.
    sent = as_vector(MUTED)
    for standard in (NTSC, PAL):
        even = muted_field(standard)
        picture = ColourDecoder(standard)(even, hue_deg=hue_deg).astype(np.float64)
        ratio = as_vector(picture[50:-50, 200:500].mean(axis=(0, 1))) / sent
        if standard is NTSC:
            assert np.rad2deg(np.angle(ratio)) == pytest.approx(hue_deg, abs=0.3)
            assert abs(ratio) == pytest.approx(1.0, abs=0.01)
        else:
            assert np.rad2deg(np.angle(ratio)) == pytest.approx(0.0, abs=0.3)
            outside_check(
                f"PAL delay line, saturation at {hue_deg:g} degrees of phase error",
                "DERIVED: mean of two vectors turned to both sides, cos", np.cos(np.deg2rad(hue_deg)), abs(ratio), 0.01,
            )  # fmt: skip
            simple = ColourDecoder(standard, pal="simple")(even, hue_deg=hue_deg).astype(np.float64)[:, 200:500]
            as_sent = visible_rows(standard) % 2 == 0
            for rows, sign in ((as_sent, 1.0), (~as_sent, -1.0)):
                turned = as_vector(simple[rows].mean(axis=(0, 1))) / sent
                assert np.rad2deg(np.angle(turned)) == pytest.approx(sign * hue_deg, abs=0.3)
                assert abs(turned) == pytest.approx(1.0, abs=0.01)


@BOTH
@pytest.mark.parametrize("saturation", [0.0, 0.5, 1.3])
def test_saturation_control(standard: Standard, saturation: float) -> None:
    rgb = np.array([0.5, 0.35, 0.4])
    picture = ColourDecoder(standard)(signal_from_picture(np.full((3, 4, 3), rgb), standard), saturation=saturation)
    found = picture[100:300, 200:500].mean(axis=(0, 1), dtype=np.float64)
    luma = float(rgb @ [0.299, 0.587, 0.114])
    np.testing.assert_allclose(found, luma + saturation * (rgb - luma), atol=0.002)


@BOTH
@pytest.mark.parametrize("lock", ["line", "slow"])
def test_noise_does_not_unlock(standard: Standard, lock: str) -> None:
    # MODEL: noise 30 dB below white, far worse than a recorder in order; the V sense and the mean hue must stand.
    rng = np.random.default_rng(11)
    for colour_frame in range(standard.colour_frames):
        video = make_signal("red", standard, colour_frame)
        video += rng.normal(0.0, 0.03 * standard.white_level, video.shape).astype(np.float32)
        found = ColourDecoder(standard, lock=lock)(video)[50:-50, 200:500].mean(axis=(0, 1), dtype=np.float64)
        # The tops of the noise are clipped at black, so green and blue come out a little above 0.
        assert degrees_apart(float(np.rad2deg(np.angle(as_vector(found)))), 103.5) < 2.0


@BOTH
def test_edges_let_the_gate_follow_a_displaced_line(standard: Standard) -> None:
    # Lines 1.4 us late in whole: their bursts have left the gate at 0H by half.
    late_s = np.where(np.arange(standard.lines_per_frame) % 40 < 20, 1.4e-6, 0.0)
    video = delayed(make_signal("red", standard), standard, late_s)
    picture = ColourDecoder(standard)(video, edges_s=late_s).astype(np.float64)
    vectors = [as_vector(rgb) for rgb in picture[60:-60, 200:500].mean(axis=1)]
    assert max(degrees_apart(float(np.rad2deg(np.angle(one))), 103.5) for one in vectors) < 0.5
    # Where an edge was not found the gate stays at 0H.
    unknown = np.full(standard.lines_per_frame, np.nan)
    plain = make_signal("red", standard)
    np.testing.assert_array_equal(
        ColourDecoder(standard)(plain, edges_s=unknown), ColourDecoder(standard)(plain, edges_s=np.zeros(unknown.size))
    )


@BOTH
def test_reference_lock_shows_the_phase_against_the_station(standard: Standard) -> None:
    video = delayed(muted_field(standard), standard, np.full(standard.lines_per_frame, 10e-9))
    picture = ColourDecoder(standard, lock="reference", pal="simple")(video).astype(np.float64)
    rows = visible_rows(standard) % 2 == 0 if standard.switches_v else np.ones(486, dtype=bool)
    angle = float(np.rad2deg(np.angle(as_vector(picture[rows, 200:500].mean(axis=(0, 1))))))
    # Later by 10 ns is a hue turned back (DERIVED, 360 degrees x subcarrier).
    assert degrees_apart(angle, MUTED_DEG - 10e-9 * 360.0 * standard.subcarrier_hz) < 0.5


@BOTH
def test_results_do_not_depend_on_history(standard: Standard) -> None:
    decoder = ColourDecoder(standard, separation="comb")
    bars, red = make_signal("bars", standard), make_signal("red", standard)
    first = decoder(bars)
    kept, video = first.copy(), bars.copy()
    decoder(red)
    np.testing.assert_array_equal(first, kept)
    assert decoder(bars).tobytes() == kept.tobytes()
    np.testing.assert_array_equal(bars, video)
    np.testing.assert_allclose(decoder(bars.astype(np.float64)), kept, atol=1e-5)
    np.testing.assert_array_equal(decoder(np.asfortranarray(bars)), kept)
    assert np.moveaxis(first, -1, 0).flags.c_contiguous


@BOTH
def test_values_stay_between_0_and_1(standard: Standard) -> None:
    noise = np.random.default_rng(2).normal(0.0, standard.white_level, (standard.lines_per_frame,
                                                                        standard.samples_per_line))  # fmt: skip
    picture = ColourDecoder(standard)(make_signal("bars", standard) + noise.astype(np.float32))
    assert picture.min() == 0.0
    assert picture.max() == 1.0


@BOTH
def test_low_pass(standard: Standard) -> None:
    # scipy as the judge: the same weights by convolution, and the bandwidths that the docstring states.
    weights = np.array([1, 2, 5, 8, 12, 16, 20, 24, 26, 28, 26, 24, 20, 16, 12, 8, 5, 2, 1])
    wave = np.random.default_rng(1).standard_normal(200).astype(np.float32)
    expected = scipy.signal.fftconvolve(wave, weights, mode="valid")
    np.testing.assert_allclose(low_pass(wave.copy(), np.empty_like(wave))[: expected.size], expected, atol=1e-3)
    frequency_hz, response = scipy.signal.freqz(weights / 256.0, worN=8192, fs=standard.sample_rate_hz)
    gain = np.abs(response)
    three_db_hz, six_db_hz = {"525/60": (0.53e6, 0.74e6), "625/50": (0.66e6, 0.91e6)}[standard.name]
    assert frequency_hz[np.flatnonzero(gain < 2**-0.5)[0]] == pytest.approx(three_db_hz, abs=0.01e6)
    assert frequency_hz[np.flatnonzero(gain < 0.5)[0]] == pytest.approx(six_db_hz, abs=0.01e6)
    assert np.interp(standard.subcarrier_hz, frequency_hz, gain) < 1e-5
    assert gain[frequency_hz > 1.9e6].max() < 0.02


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ({"separation": "comb filter"}, "unknown colour separation 'comb filter'; use one of 'notch', 'comb'"),
        ({"lock": "burst"}, "unknown colour lock 'burst'; use one of 'line', 'slow', 'reference'"),
        ({"pal": "delay line"}, "unknown PAL decoder 'delay line'; use one of 'delay_line', 'simple'"),
    ],
)
def test_unknown_names(arguments: dict[str, str], text: str) -> None:
    with pytest.raises(UnknownNameError) as raised:
        ColourDecoder(NTSC, **arguments)
    assert str(raised.value) == text


def test_wrong_shape_and_controls_out_of_range() -> None:
    decoder = ColourDecoder(NTSC)
    with pytest.raises(BandbenchError, match=r"shape \(625, 1134\) given, \(525, 910\) \(lines, samples\) needed"):
        decoder(make_signal("flat", PAL))
    video = make_signal("flat", NTSC)
    for hue_deg, saturation in ((np.nan, 1.0), (0.0, -0.1), (0.0, np.inf)):
        with pytest.raises(BandbenchError, match="use a finite hue and 0 or more"):
            decoder(video, hue_deg=hue_deg, saturation=saturation)
    assert LOCKS == ("line", "slow", "reference")
