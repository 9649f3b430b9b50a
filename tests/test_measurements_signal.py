"""Readings of RF, time, response, noise and colour, held against planted errors, formulas and scipy."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import scipy.ndimage
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.condition import Condition
from sim.correction import RANGE_S
from sim.dropout import DropoutPattern, dropout_level
from sim.frame import PlaybackFrame
from sim.headtape import contact_spacing_um, spacing_loss_db, wavelength_m
from sim.instruments import MeasurementError, measure
from sim.instruments.lines import aligned_lines, picture_rows
from sim.instruments.video_readings import packet_levels
from sim.recorder import TAPES, Recorder, check_control
from sim.running import Running
from sim.signals import make_signal
from sim.standards import FOOTPRINT, get_standard
from sim.station import Station
from tests.outside_checks import OutsideCheck

STANDARD = get_standard("525/60")
COLOUR = check_control("correction", "colour")
# DERIVED (physics.md section 3): 1 ns is 1.289 degrees of NTSC subcarrier.
DEG_PER_NS = 1.289


def played(signal: str = "bars", condition: Condition | None = None, **controls: float) -> PlaybackFrame:
    return Recorder(signal=signal, condition=condition, controls=controls, seed=8).play_frame(0)


@cache
def straight(signal: str = "bars") -> PlaybackFrame:
    return played(signal)


# RF ---------------------------------------------------------------------------------------------------------


def test_spread_of_the_heads_is_what_was_planted() -> None:
    frame = played("flat", Condition(head_output_db=(0.0, -3.0, 1.0, -1.0)))
    assert measure(frame, "rf_spread_db") == pytest.approx(4.0, abs=0.05)
    # A channel that is off is no weak head.
    off = played("flat", Condition(head_output_db=(0.0, -3.0, 1.0, -1.0)), channel_on_2=0.0)
    assert measure(off, "rf_spread_db") == pytest.approx(2.0, abs=0.05)
    with pytest.raises(MeasurementError, match="fewer than two"):
        measure(played("flat", channel_on_1=0.0, channel_on_2=0.0, channel_on_3=0.0), "rf_spread_db")


def test_fall_at_the_ends_of_a_worn_tip_is_its_spacing_loss(outside_check: OutsideCheck) -> None:
    # A quarter of a mil left in the middle: too little at the ends of the pass.
    condition = Condition(head_projection_um=(70.0, 70.0, 15.0, 70.0))
    frame = played("flat", condition)
    sine = np.sin(np.radians(np.linspace(0.67 * 45.0, 0.97 * 45.0, 200)))
    middle = np.sin(np.radians(np.linspace(0.0, 0.33 * 45.0, 200)))
    wave = wavelength_m(8.95e6, FOOTPRINT.tip_speed_m_per_s(STANDARD.wheel_rate_hz))
    level = [
        np.sqrt(np.mean(10.0 ** (spacing_loss_db(1e-6, wave) * contact_spacing_um(condition.tip(2), 0.0, part) / 10.0)))
        for part in (middle, sine)
    ]
    expected = abs(20.0 * np.log10(level[0] / level[1]))
    assert expected > 1.0
    outside_check(
        "fall of the RF at the ends of a worn tip's pass",
        "DERIVED from PUB Wallace 1951: 54.6 dB a wavelength of spacing, which is a MODEL of the worn tip",
        expected,
        measure(frame, "rf_end_fall_db_3"),
        0.15,
        "dB",
    )
    assert measure(frame, "rf_end_fall_db") == measure(frame, "rf_end_fall_db_3")
    assert abs(measure(frame, "rf_end_fall_db_1")) < 0.05


@pytest.mark.parametrize("serial", [3, 11, 29])
def test_dropouts_are_counted_as_planted(serial: int, outside_check: OutsideCheck) -> None:
    pattern = DropoutPattern(per_frame=14.0, median_s=9e-6, spread=0.7)
    tape = replace(TAPES["station-525"], dropouts=pattern, serial=serial)
    frame = Recorder(tape=tape, signal="flat", seed=1).play_frame(0)
    low = 20.0 * np.log10(dropout_level(pattern, STANDARD, serial)) < -10.0
    labels, _ = scipy.ndimage.label(low)
    lengths_us = np.bincount(labels)[1:] / STANDARD.sample_rate_hz * 1e6
    source = "DERIVED: the planted pattern below -10 dB, counted by scipy.ndimage.label"
    outside_check(f"dropouts of tape {serial}", source, lengths_us.size, measure(frame, "dropouts_per_frame"), 1.0)
    outside_check(
        f"longest dropout of tape {serial}", source, lengths_us.max(), measure(frame, "longest_dropout_us"), 0.7, "us"
    )
    share = 100.0 * lengths_us.sum() * 1e-6 * STANDARD.frame_rate_hz
    outside_check(f"time lost of tape {serial}", source, share, measure(frame, "dropout_share_pct"), 0.05 * share, "%")
    assert measure(straight("flat"), "dropouts_per_frame") == 0.0
    assert measure(played("flat", channel_on_3=0.0), "dropouts_per_frame") == 0.0


# Time -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("peak_ns", [60.0, 125.0, 400.0])
def test_jitter_is_that_of_the_wheel(peak_ns: float, outside_check: OutsideCheck) -> None:
    frame = played("flat", Condition(wheel_jitter_ns=peak_ns), guide_position_um=20.0, head_timing_ns_2=150.0)
    passes = frame.pass_of_line
    angle = np.arcsin(frame.schedule.sine[:: STANDARD.samples_per_line])
    basis = np.stack([np.sin(angle), np.cos(angle), *(passes % 4 == slot for slot in range(4))], axis=1)
    fit = scipy.linalg.lstsq(basis, frame.servo_error_s)[0]
    expected_ns = np.std(frame.servo_error_s - basis @ fit) * 1e9
    outside_check(
        f"jitter of the lines, {peak_ns:.0f} ns peak planted",
        "DERIVED: planted error of the wheel less what looks like lean, bow and heads, by scipy.linalg.lstsq",
        expected_ns,
        measure(frame, "jitter_ns"),
        1.5 + 0.02 * expected_ns,
        "ns",
    )
    # MODEL: a peak is three times the rms; a frame is too short for the slowest parts, and a turn's is the heads'.
    assert 0.45 * peak_ns / 3.0 < measure(frame, "jitter_ns") < 1.1 * peak_ns / 3.0


def test_range_of_the_corrector_in_use(outside_check: OutsideCheck) -> None:
    frame = played("flat", guide_position_um=14.0)
    # DERIVED: half the lean either way (physics.md section 3, 0.907 us a mil), of +-0.5 us (from memory).
    expected = 100.0 * 0.5 * 0.907e-6 * 14.0 / 25.4 / RANGE_S
    outside_check("range in use, 14 um of lean", "DERIVED: lean over twice the range", expected,
                  measure(frame, "corrector_range_pct"), 2.5, "%")  # fmt: skip
    early = Recorder(signal="flat", seed=8).play_frame(0, Running(early_s=200e-9))
    assert measure(early, "centring_ns") == pytest.approx(200.0, abs=2.0)


@settings(max_examples=10, deadline=None)
@given(lines=st.integers(-250, 250))
def test_vertical_position_is_told_from_vertical_sync(lines: int) -> None:
    frame = Recorder(signal="flat", seed=8).play_frame(0, Running(early_s=lines * STANDARD.line_period_s))
    assert measure(frame, "roll_lines") == lines


@settings(max_examples=10, deadline=None)
@given(phase_deg=st.floats(-175.0, 175.0))
def test_control_phase_is_where_tracking_puts_it(phase_deg: float) -> None:
    machine = Recorder(signal="flat", controls={"tracking_phase_deg": phase_deg})
    assert measure(machine.play_frame(0), "control_phase_deg") == pytest.approx(phase_deg, abs=0.5)


def test_control_level_is_what_the_head_gives_held_or_running() -> None:
    dirty = Condition(control_head_db=-12.0)
    assert measure(played("flat", dirty), "control_level_db") == pytest.approx(-12.0, abs=0.1)
    assert measure(straight("flat"), "control_level_db") == pytest.approx(0.0, abs=0.1)
    station = Station(Recorder(signal="flat", condition=dirty))
    station.make_ready("play")
    station.advance(0.1)
    assert measure(station.frame(), "control_level_db") == pytest.approx(-12.0, abs=0.1)
    with pytest.raises(MeasurementError, match="none is found"):
        measure(Recorder(signal="flat").play_frame(0, Running(control_level_db=-90.0)), "control_level_db")


# Response, noise, disturbances ------------------------------------------------------------------------------


def test_packets_are_what_scipy_finds(outside_check: OutsideCheck) -> None:
    frame = straight("multiburst")
    lines = aligned_lines(frame.demod, frame.sync_edges_s, STANDARD, picture_rows(STANDARD))
    for packet, frequency_hz in enumerate(STANDARD.multiburst_hz[1:], start=1):
        start = 9.4e-6 + (0.15 + 0.14 * packet + 0.2 * 0.115) * 52.66e-6
        inside = slice(
            round(start * STANDARD.sample_rate_hz), round((start + 0.6 * 0.115 * 52.66e-6) * STANDARD.sample_rate_hz)
        )
        analytic = np.abs(scipy.signal.hilbert(lines[:, inside] - lines[:, inside].mean(axis=1, keepdims=True), axis=1))
        third = analytic.shape[1] // 3
        outside_check(
            f"level of the {frequency_hz / 1e6:.2f} MHz packet",
            "scipy.signal.hilbert, middle of the packet",
            2.0 * float(np.median(analytic[:, third:-third])),
            float(np.median(packet_levels(lines, STANDARD, packet))),
            2.0,
            "IRE",
        )


def test_response_and_channels_tell_an_equaliser(outside_check: OutsideCheck) -> None:
    even = straight("multiburst")
    assert abs(measure(even, "response_db")) < 0.1
    bent = played("multiburst", None, **{f"channel_eq_db_{head}": 2.0 for head in range(1, 5)})
    # MODEL: a cosine equaliser, 2 dB at subcarrier off the carrier, H = 1 + (g - 1)(1 - cos(pi f / fsc)) / 2.
    gain = 10.0 ** (2.0 / 20.0)
    packets = [1.0 + (gain - 1.0) * (1.0 - np.cos(np.pi * hz / STANDARD.subcarrier_hz)) / 2.0 for hz in (4.1e6, 0.5e6)]
    outside_check("response at 4 MHz, equalisers at +2 dB", "DERIVED: definition of the equaliser (MODEL)",
                  20.0 * np.log10(packets[0] / packets[1]), measure(bent, "response_db"), 0.35, "dB")  # fmt: skip


@pytest.mark.parametrize("signal", ["bars", "red", "stair_40", "multiburst"])
def test_one_channel_out_stands_out_of_the_mean(signal: str, outside_check: OutsideCheck) -> None:
    frame = played(signal, channel_eq_db_2=1.0)
    for head in range(1, 5):
        # DERIVED: 1 dB on one of four is 3/4 dB over the mean, and a quarter below it on the others.
        outside_check(
            f"response of channel {head} on {signal}, equaliser 2 at +1 dB",
            "DERIVED: 1 dB (MODEL, definition of the equaliser) against the mean of four",
            0.75 if head == 2 else -0.25,
            measure(frame, f"channel_response_db_{head}"),
            0.25 if head == 2 else 0.1,
            "dB",
        )


def test_noise_of_each_head(outside_check: OutsideCheck) -> None:
    frame = played("flat", Condition(head_output_db=(0.0, -6.0, 0.0, 0.0)))
    # DERIVED: above threshold the noise rises as the carrier falls, dB for dB; 46 dB in normal working (QUOTED).
    for head, expected in ((1, 46.0), (2, 40.0), (3, 46.0), (4, 46.0)):
        outside_check(
            f"signal to noise of head {head}, head 2 6 dB down",
            "DERIVED: SNR falls with C/N dB for dB, from 46 dB",
            expected,
            measure(frame, f"noise_db_{head}"),
            0.7,
            "dB",
        )
    with pytest.raises(MeasurementError, match="head 3 draws no picture"):
        measure(played("flat", channel_on_3=0.0), "noise_db_3")


def test_hum_is_read_off_tape_and_gone_at_the_output_unless_the_clamp_is(outside_check: OutsideCheck) -> None:
    source = "DERIVED: twice the planted swing of 5 % of white"
    frame = played("flat", Condition(video_hum_pct=5.0))
    outside_check("hum, off tape", source, 10.0, measure(frame, "hum_level"), 0.4, "IRE")
    assert measure(frame, "output_hum_level") < 0.5
    open_clamp = played("flat", Condition(video_hum_pct=5.0, clamp_lost_pct=100.0))
    outside_check("hum, at the output without a clamp", source, 10.0, measure(open_clamp, "output_hum_level"), 0.6,
                  "IRE")  # fmt: skip
    assert measure(straight("flat"), "hum_level") < 0.3
    assert measure(straight("bars"), "output_hum_level") < 0.3
    with pytest.raises(MeasurementError, match="hum at the output: grid is seen"):
        measure(played("grid"), "output_hum_level")


def test_new_burst_and_levels_that_processing_gets_wrong() -> None:
    frame = played("bars", Condition(setup_offset_pct=5.0, white_limit_pct=90.0), correction=COLOUR)
    # DERIVED: four samples a cycle; blanking put in a sample late has its burst a quarter of a cycle behind.
    late = replace(frame, template=np.roll(frame.template, 1, axis=1))
    assert measure(late, "output_burst_phase_deg") == pytest.approx(-90.0, abs=1.0)
    assert measure(frame, "output_black_level") == pytest.approx(12.5, abs=0.5)
    assert measure(frame, "output_white_level") == pytest.approx(90.0, abs=0.5)
    assert measure(played("bars", correction=COLOUR), "output_burst_phase_deg") == pytest.approx(0.0, abs=0.5)
    with pytest.raises(MeasurementError, match="set the time-base correction to colour"):
        measure(straight(), "output_burst_phase_deg")


def test_switching_disturbance_grows_with_the_jump() -> None:
    heights = [measure(played("flat", Condition(switch_jump_deg=jump)), "switch_transient") for jump in (0, 60, 180)]
    # Noise alone reaches a few of its 0.5 IRE rms; jumps of a good part of a turn are tens of IRE.
    assert heights[0] < 3.0
    assert heights[0] < 0.5 * heights[1] < heights[2]
    assert heights[2] > 15.0


@pytest.mark.parametrize(("practice", "order"), [("525 low-band monochrome", 2), ("525 low-band colour", 3)])
def test_moire_stands_where_the_folded_sideband_says(practice: str, order: int, outside_check: OutsideCheck) -> None:
    machine = Recorder("525/60", practice, signal="red", condition=Condition(noise_db=-15.0), seed=2)
    frame = machine.play_frame(0)
    # DERIVED: red at 28.2 IRE by the NTSC equations; its carrier by the slope from blanking to white.
    slope = machine.practice.white_deviation_hz / 100.0
    carrier_hz = machine.practice.blanking_hz + 28.2 * slope
    expected_mhz = abs(2.0 * carrier_hz - order * STANDARD.subcarrier_hz) / 1e6
    if not 0.5 < expected_mhz < 4.1:
        pytest.fail(f"{expected_mhz} MHz is out of band: choose another order")
    outside_check(f"moire of red, {practice}", "PUB EP 0300801 (1989): products at 2 fc - n fs", expected_mhz,
                  measure(frame, "moire_mhz"), 0.04, "MHz")  # fmt: skip
    assert -70.0 < measure(frame, "moire_db") < -15.0


# Colour -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("head", [1, 3])
def test_an_equaliser_raises_the_saturation_of_its_head(head: int, outside_check: OutsideCheck) -> None:
    frame = played("bars", None, **{f"channel_eq_db_{head}": 1.0})
    for number in range(1, 5):
        outside_check(
            f"saturation read of head {number}, equaliser {head} at +1 dB",
            "MODEL: definition of the equaliser; PUB: preservation artefact atlas, saturation and not luminance",
            1.0 if number == head else 0.0,
            measure(frame, f"saturation_db_{number}"),
            0.3 if number == head else 0.06,
            "dB",
        )
    spread = measure(frame, f"saturation_db_{head}") - min(measure(frame, f"saturation_db_{n}") for n in range(1, 5))
    assert measure(frame, "saturation_spread_db") == pytest.approx(spread)
    mean = np.mean([measure(frame, f"saturation_db_{number}") for number in range(1, 5)])
    assert measure(frame, "saturation_db") == pytest.approx(mean)


def test_hue_and_velocity_error_of_a_guide_that_is_in(outside_check: OutsideCheck) -> None:
    """Between burst and colour each line gains e_in w cos(theta) / v of time (physics.md section 3)."""
    inward_um = 2.54
    frame = played("bars", guide_position_um=inward_um, correction=COLOUR)
    angles = np.linspace(-np.pi / 4.0, np.pi / 4.0, 1001)
    slope = inward_um * 1e-6 * 2.0 * np.pi * STANDARD.wheel_rate_hz / 39.546
    burst_s = 5.3e-6 + 4.5 / STANDARD.subcarrier_hz
    # The six colours stand from the second to the seventh bar of seven: on the mean at 4/7 + 1/14 of the line.
    mean_s = 9.4e-6 + 52.66e-6 * 4.5 / 7.0 - burst_s
    expected_deg = slope * mean_s * 1e9 * DEG_PER_NS * float(np.mean(np.cos(angles)))
    for head in range(1, 5):
        turned = measure(frame, f"hue_deg_{head}") - measure(straight(), f"hue_deg_{head}")
        source = "DERIVED: e_in w cos(theta) / v, 1.289 deg a nanosecond"
        outside_check(f"hue of head {head}, guide 0.1 mil in", source, expected_deg, turned, 0.6, "deg")
    end_s = 9.4e-6 + 52.66e-6 * 6.5 / 7.0 - burst_s
    expected_ns = slope * end_s * 1e9 * float(np.sqrt(np.mean(np.cos(angles) ** 2)))
    outside_check("velocity error, guide 0.1 mil in", "DERIVED: e_in w cos(theta) / v from burst to the last bar",
                  expected_ns, measure(frame, "velocity_error_ns"), 0.5, "ns")  # fmt: skip
    for signal in ("red", "stair_40"):
        other = played(signal, guide_position_um=inward_um, correction=COLOUR)
        at_s = 9.4e-6 + 52.66e-6 * 0.915 - burst_s
        expected_ns = slope * at_s * 1e9 * float(np.sqrt(np.mean(np.cos(angles) ** 2)))
        outside_check(f"velocity error on {signal}, guide 0.1 mil in", "DERIVED: e_in w cos(theta) / v from burst",
                      expected_ns, measure(other, "velocity_error_ns"), 0.5, "ns")  # fmt: skip


def test_in_pal_the_phase_error_is_read_and_the_monitor_hides_it() -> None:
    machine = Recorder("625/50", "625 high-band", signal="bars", seed=8)
    before = machine.play_frame(0)
    machine.set_control("guide_position_um", 2.54)
    after = machine.play_frame(0)
    # DERIVED: 1.596 degrees a nanosecond, over the mean of the bars 2 to 7 of eight.
    slope = 2.54e-6 * 2.0 * np.pi * 250.0 / FOOTPRINT.tip_speed_m_per_s(250.0) * 0.9003
    expected = slope * (10.5e-6 + 52.0e-6 * 0.5 - 6.73e-6) * 1e9 * 1.596
    for head in range(1, 5):
        turned = measure(after, f"hue_deg_{head}") - measure(before, f"hue_deg_{head}")
        assert turned == pytest.approx(expected, abs=0.7)


def test_jitter_of_the_bursts_behind_each_corrector(outside_check: OutsideCheck) -> None:
    for name, peak_ns, tolerance in (("monochrome", 25.0, 8.0), ("colour", 3.0, 2.0)):
        frame = played("bars", Condition(wheel_jitter_ns=125.0), correction=check_control("correction", name))
        outside_check(f"jitter of the bursts read, times three, {name} correction", "MEMORY: physics.md section 7",
                      peak_ns, 3.0 * measure(frame, "burst_jitter_ns"), tolerance, "ns")  # fmt: skip
    with pytest.raises(MeasurementError, match="correct the time base first"):
        measure(played("bars", Condition(wheel_jitter_ns=600.0)), "burst_jitter_ns")


@pytest.mark.parametrize(
    ("standard", "practice", "frames"), [("525/60", "525 high-band", 2), ("625/50", "625 high-band", 4)]
)
def test_colour_framing_is_counted_in_frames(standard: str, practice: str, frames: int) -> None:
    scanning = get_standard(standard)
    machine = Recorder(standard, practice, condition=Condition(wheel_jitter_ns=100.0), seed=8)
    for number in range(frames):
        machine.load_programme(make_signal("bars", scanning, number))
        assert measure(machine.play_frame(0), "colour_frame") == number
