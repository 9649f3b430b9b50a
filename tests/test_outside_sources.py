"""Publications held against what comes OUT of the machine: each row is measured from the arrays of a played frame.

Texts read for this file (mark PUB), or known through a quotation (QUOTED), all in October 2026:

- 47 CFR 73.682 (a)(5), (6) (PUB, text of 2006): subcarrier 63/88 x 5 MHz +-10 Hz, line rate 2/455 of it, 525 lines.
- ITU-R BT.1700 (QUOTED, a compilation that verified its values by it): the NTSC subcarrier is 3 579 545.45 Hz.
- ITU-R BT.601 (QUOTED, a university's page): Y = 0.299 R + 0.587 G + 0.114 B.
- RS-189 (QUOTED, a training course): three fourths of the lines, seven equal intervals, first one grey of 77 IRE.
- EBU 100/0/75/0 bars (QUOTED): phases to whole degrees, amplitudes to two figures.
- CCIR 1966 (QUOTED, an instrument's graticule): pulse over bar between 1/(1 + 4 K) and 1/(1 - 4 K).
- Federal Standard 1037C (QUOTED): Carson's bandwidth 2 (deviation + modulating frequency).
- Haystack Observatory, memo of 1997 on tape heads (PUB): spacing loss 55 dB per wavelength.
- Eargle (PUB, the publisher's abstract): gap loss with 1.11 times the gap.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import scipy.signal
import scipy.special
from numpy.typing import NDArray

from sim.fm import emphasis_response, modulate
from sim.instruments import measure
from sim.recorder import Condition, PlaybackFrame, Recorder
from sim.signals import burst_lines, make_signal, visible_rows
from sim.standards import PRACTICES, STANDARDS, Standard, get_practice, get_standard
from tests.outside_checks import OutsideCheck
from tests.signal_measuring import colour_of, degrees_apart, half_height, lock_in

BOTH = pytest.mark.parametrize("name", list(STANDARDS))
NORMAL = {"525/60": "525 high-band", "625/50": "625 high-band"}
PRACTICE = get_practice("525 high-band")
FSC_HZ = 455.0 / 2.0 * 15_734.264
SIX = ("yellow", "cyan", "green", "magenta", "red", "blue")
SIX_RGB = ((1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1))


@cache
def played(name: str, signal: str, **controls: float) -> PlaybackFrame:
    """One frame of a perfect machine."""
    return Recorder(name, NORMAL[name], signal=signal, controls=controls, seed=21).play_frame(0)


def between(standard: Standard, begin: float, end: float) -> slice:
    """The samples between two places of the active line, given as parts of it."""
    start = (standard.line_blanking_s - standard.front_porch_s) * standard.sample_rate_hz
    width = standard.samples_per_line - standard.line_blanking_s * standard.sample_rate_hz
    return slice(round(start + begin * width), round(start + end * width))


def bar_place(standard: Standard, index: int) -> slice:
    """The middle of a bar: seven bars in 525/60, eight in 625/50; 1 is yellow in both."""
    count = 7 if standard.name == "525/60" else 8
    return between(standard, (index + 0.3) / count, (index + 0.7) / count)


# --- rates ---------------------------------------------------------------------------------------------------------


def subcarrier_of_bursts_hz(frame: NDArray[np.float64], standard: Standard) -> float:
    """Frequency of the bursts of a frame, from their phases: within one, from line to line, then over the frame."""
    rate_hz, count = standard.sample_rate_hz, standard.samples_per_line
    start = round((standard.burst_start_s + 0.6e-6) * rate_hz)
    length = round(1.1e-6 * rate_hz)
    lines = burst_lines(standard)
    # Every second line: in PAL the burst swings from one to the next.
    lines = lines[lines % 2 == lines[0] % 2]

    def phase(line: int, guess_hz: float) -> float:
        piece = frame[line, start : start + length]
        return float(np.angle(lock_in(piece, line * count + start, guess_hz, rate_hz)[0]))

    # What turns the phase evenly is an error of the guess; each step looks over a longer time and finds a finer one.
    guess_hz = float(standard.subcarrier_hz) + 900.0
    for step in (1, 8, 100, lines.size - 1):
        turn = np.angle(np.exp(1j * (phase(int(lines[step]), guess_hz) - phase(int(lines[0]), guess_hz))))
        guess_hz += turn / (2.0 * np.pi) * rate_hz / ((lines[step] - lines[0]) * count)
    return guess_hz


def test_subcarrier_and_line_rate_of_the_played_signal(outside_check: OutsideCheck) -> None:
    frame = played("525/60", "bars", correction=2.0)
    standard = frame.standard
    measured_hz = subcarrier_of_bursts_hz(frame.corrected.astype(np.float64), standard)
    source = "PUB 47 CFR 73.682: 63/88 x 5 MHz +-10 Hz"
    outside_check("subcarrier of the played bursts, 525/60", source, 63.0 / 88.0 * 5e6, measured_hz, 10.0, "Hz")
    source = "QUOTED ITU-R BT.1700: 3 579 545.45 Hz"
    outside_check("subcarrier of the played bursts, 525/60", source, 3_579_545.45, measured_hz, 10.0, "Hz")
    lines = np.arange(30, 250)
    line_s = np.polyfit(lines, lines * standard.line_period_s + frame.sync_edges_s[lines], 1)[0]
    source = "PUB 47 CFR 73.682: line rate 2/455 of the subcarrier"
    outside_check("cycles of subcarrier in a played line", source, 455.0 / 2.0, measured_hz * line_s, 1e-3, "cycles")
    outside_check("lines in a played frame", "PUB 47 CFR 73.682: 525", 525.0, frame.demod.shape[0], 0.5, "lines")


def test_subcarrier_of_the_played_signal_625(outside_check: OutsideCheck) -> None:
    frame = played("625/50", "bars", correction=2.0)
    measured_hz = subcarrier_of_bursts_hz(frame.corrected.astype(np.float64), frame.standard)
    source = "QUOTED, publication not named: (284 - 1/4) line rate + 25 Hz"
    outside_check("subcarrier of the played bursts, 625/50", source, 4_433_618.75, measured_hz, 10.0, "Hz")


# --- bars ----------------------------------------------------------------------------------------------------------


def test_rs189_bars_through_the_machine(outside_check: OutsideCheck) -> None:
    frame = played("525/60", "bars", correction=2.0)
    standard = frame.standard
    upper = frame.processed[40:180].astype(np.float64)
    levels = (76.9, 69.0, 56.1, 48.2, 36.2, 28.2, 15.4)
    for index, (bar, level) in enumerate(zip(("grey", *SIX), levels, strict=True)):
        measured = upper[:, bar_place(standard, index)].mean()
        source = "DERIVED: RS-189-A by the NTSC encoding equations, physics.md section 8"
        outside_check(f"525/60 {bar} bar played, luminance", source, level, measured, 0.5, "IRE")
        if bar == "grey":
            outside_check(f"525/60 {bar} bar played, luminance", "QUOTED RS-189: 77 IRE", 77.0, measured, 0.5, "IRE")


def test_rs189_layout_in_the_played_picture(outside_check: OutsideCheck) -> None:
    frame = played("525/60", "bars", correction=2.0)
    standard = frame.standard
    shown = frame.processed[visible_rows(standard)].astype(np.float64)
    # The white of the lower strip stands where the bars above it are yellow and cyan.
    white = shown[:, between(standard, 0.2, 0.34)].mean(axis=1) > 90.0
    part = np.flatnonzero(white)[0] / white.size
    outside_check("part of the lines with bars", "QUOTED RS-189: three fourths", 0.75, part, 1.0 / 486.0)
    # The mean of many lines has no colour: it turns over from line to line. Bars end half-way between their levels.
    line = shown[20:180].mean(axis=0)
    levels = [line[bar_place(standard, index)].mean() for index in range(7)]
    ends = []
    for index in range(6):
        near = between(standard, (index + 0.7) / 7, (index + 1.3) / 7)
        half = 0.5 * (levels[index] + levels[index + 1])
        ends.append(near.start + np.interp(-half, -line[near], np.arange(near.stop - near.start)))
    widths = np.diff(ends) / (standard.samples_per_line - standard.line_blanking_s * standard.sample_rate_hz)
    worst = widths[np.argmax(np.abs(widths - 1.0 / 7.0))]
    outside_check("width of a bar, part of the line", "QUOTED RS-189: seven equal intervals", 1 / 7, worst, 0.002)


def test_luminance_of_625_bars_through_the_machine(outside_check: OutsideCheck) -> None:
    frame = played("625/50", "bars", correction=2.0)
    picture = frame.processed[60:290].astype(np.float64)
    for index, (bar, rgb) in enumerate(zip(SIX, SIX_RGB, strict=True), start=1):
        expected = 0.75 * 700.0 * float(np.dot((0.299, 0.587, 0.114), rgb))
        measured = picture[:, bar_place(frame.standard, index)].mean()
        source = "QUOTED ITU-R BT.601: 0.299 R + 0.587 G + 0.114 B, of 525 mV"
        outside_check(f"625/50 {bar} bar played, luminance", source, expected, measured, 3.5, "mV")


def test_vectors_of_625_bars_through_the_machine(outside_check: OutsideCheck) -> None:
    frame = played("625/50", "bars", correction=2.0)
    video = frame.corrected.astype(np.float64)
    source = "QUOTED EBU 100/0/75/0 bars: whole degrees, two figures"
    table = ((0.33, 167.0), (0.47, 283.0), (0.44, 241.0), (0.44, 61.0), (0.47, 103.0), (0.33, 347.0))
    # Lines on which V is sent as in NTSC: the odd ones of colour frame 0, whose burst stands at 135 degrees.
    rows = np.arange(60, 290, 2)
    for index, (bar, (amplitude, phase_deg)) in enumerate(zip(SIX, table, strict=True), start=1):
        place = bar_place(frame.standard, index)
        found = [colour_of(video[row], place, frame.standard, 135.0) for row in rows]
        vector = np.mean([one[1] * np.exp(1j * np.deg2rad(one[2])) for one in found])
        outside_check(
            f"625/50 {bar} bar played, peak of chrominance", source, amplitude, abs(vector) / 1400.0, 0.01, "of white"
        )
        turn = degrees_apart(float(np.rad2deg(np.angle(vector))), phase_deg)
        outside_check(f"625/50 {bar} bar played, phase off {phase_deg:.0f} deg", source, 0.0, turn, 1.0, "deg")


# --- pulse and bar -------------------------------------------------------------------------------------------------


@BOTH
def test_pulse_and_bar_through_the_machine(name: str, outside_check: OutsideCheck) -> None:
    frame = played(name, "pulse_bar")
    standard = frame.standard
    line = frame.demod[40:240].astype(np.float64).mean(axis=0)
    black = line[between(standard, 0.04, 0.1)].mean()
    bar = line[between(standard, 0.5, 0.7)].mean() - black
    place = between(standard, 0.14, 0.26)
    fine = scipy.signal.resample(line[place] - black, 64 * (place.stop - place.start))
    # K = 0.5 %: good for a long chain of machines, let alone one.
    source = "QUOTED CCIR 1966: pulse over bar within 1/(1 +- 4 K), K = 0.5 %"
    outside_check(f"{name} 2T pulse over bar, played", source, 1.0, fine.max() / bar, 0.02)
    rise, fall = half_height(line[place] - black, bar / 2)
    width_ns = {"525/60": 250.0, "625/50": 200.0}[name]
    source = f"MEMORY: half-amplitude duration {width_ns:.0f} ns"
    outside_check(f"{name} 2T pulse played", source, width_ns, (fall - rise) / standard.sample_rate_hz * 1e9, 5.0, "ns")
    # Tilt of the bar's middle half, by straight line.
    top = line[between(standard, 0.5, 0.7)]
    tilt = np.polyfit(np.linspace(-0.5, 0.5, top.size), top, 1)[0] / bar
    outside_check(f"{name} tilt of the bar, played", "MEMORY: bar rating within K = 0.5 %", 0.0, tilt, 0.005)


# --- the FM channel ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", list(PRACTICES))
def test_carriers_in_the_played_rf(name: str, outside_check: OutsideCheck) -> None:
    practice = get_practice(name)
    table = {
        # physics.md section 1.
        "525 low-band monochrome": (4.28, 5.00, 6.80, "QUOTED: a practice that SMPTE RP 6-1994 names"),
        "525 low-band colour": (5.50, 5.79, 6.50, "QUOTED, publication not named: low-band colour"),
        "525 high-band": (7.06, 7.90, 10.00, "MEMORY: 525 high-band"),
        "625 low-band": (5.00, 5.54, 6.80, "QUOTED, publication not named: 625 low-band"),
        "625 high-band": (7.16, 7.80, 9.30, "MEMORY: 625 high-band"),
    }
    *carriers, source = table[name]
    frame = Recorder(practice.standard, name, signal="pulse_bar", seed=3).play_frame(0)
    standard, rate_hz = frame.standard, frame.standard.sample_rate_hz
    # Mean frequency of a stretch from the phases at its ends, counted here: the RF is centred on half the sample rate.
    turns = np.angle(frame.rf[1:] * np.conj(frame.rf[:-1])) / (2.0 * np.pi)
    frequency = (np.append(turns, turns[-1]) * rate_hz + rate_hz / 2.0).reshape(frame.demod.shape)[40:240]
    # Sync tip, and blanking between the end of the burst and the picture, once pre-emphasis has died away.
    burst_end_s = standard.burst_start_s + standard.burst_cycles / standard.subcarrier_hz + 0.4e-6
    picture_s = standard.line_blanking_s - standard.front_porch_s - 0.4e-6
    stretches = {
        "sync tip": slice(round(1.5e-6 * rate_hz), round(3.5e-6 * rate_hz)),
        "blanking": slice(round(burst_end_s * rate_hz), round(picture_s * rate_hz)),
        "white": between(standard, 0.5, 0.7),
    }
    for (level, place), carrier_mhz in zip(stretches.items(), carriers, strict=True):
        measured = float(np.mean(frequency[:, place])) / 1e6
        # Carriers are given to 10 kHz.
        outside_check(f"carrier at {level} in the played RF, {name}", source, carrier_mhz, measured, 0.01, "MHz")


@pytest.mark.parametrize("index", [1.0, 2.0])
def test_carson_bandwidth_of_the_recorded_rf(index: float, outside_check: OutsideCheck) -> None:
    """The band about the carrier that holds 98 % of the power of a tone is Carson's, to the nearest sideband."""
    standard, practice = get_standard("525/60"), get_practice("525 high-band")
    count, rate_hz = standard.samples_per_frame, standard.sample_rate_hz
    tone_hz = round(0.25e6 * count / rate_hz) * rate_hz / count
    lead, lag = practice.preemphasis_lead_s, practice.preemphasis_lag_s
    gain = abs((1 + 2j * np.pi * tone_hz * lead) / (1 + 2j * np.pi * tone_hz * lag))
    peak = index * tone_hz / (practice.white_deviation_hz / 100.0 * gain)
    video = 30.0 + peak * np.cos(2.0 * np.pi * tone_hz * np.arange(count) / rate_hz)
    power = np.square(np.abs(np.fft.fft(modulate(video, standard, practice).astype(np.complex128))))
    frequency_hz = np.fft.fftfreq(count, 1.0 / rate_hz) + rate_hz / 2.0
    away_hz = np.abs(frequency_hz - practice.blanking_hz - 0.3 * practice.white_deviation_hz)
    nearest = np.argsort(away_hz)
    held = np.cumsum(power[nearest]) / power.sum()
    measured_hz = 2.0 * away_hz[nearest[np.searchsorted(held, 0.98)]]
    source = "QUOTED Federal Standard 1037C: 2 (deviation + modulating frequency)"
    outside_check(
        f"RF band of a tone, index {index:g}",
        source,
        2.0 * (index + 1.0) * tone_hz / 1e6,
        measured_hz / 1e6,
        0.1,
        "MHz",
    )


# --- head, tape and track ------------------------------------------------------------------------------------------


def test_spacing_and_gap_loss_in_the_played_rf(outside_check: OutsideCheck) -> None:
    spacing_um, gap_um = 0.4, 1.9
    condition = Condition(head_debris_um=(0.0, spacing_um, 0.0, 0.0), head_gap_um=(1.143, 1.143, gap_um, 1.143))
    frame = Recorder(signal="flat", condition=condition).play_frame(0)
    level = np.square(frame.rf_envelope[30:250, 200:850]).mean(axis=1)
    heads = frame.head_of_line[30:250]
    head_db = {head: 10.0 * np.log10(level[heads == head].mean()) for head in (1, 2, 3)}
    # Flat grey of half white: the carrier stands half-way from 7.9 to 10.0 MHz.
    wave_um = np.pi * 2.067 * 25.4e3 * 239.76 / 8.95e6
    fall_db = (head_db[1] - head_db[2]) * wave_um / spacing_um
    source = "PUB Haystack Observatory memo 1997: 55 dB per wavelength"
    outside_check("spacing loss in the played RF", source, 55.0, fall_db, 0.6, "dB per wavelength")

    def gap_db(length_um: float) -> float:
        return float(20.0 * np.log10(np.sinc(1.11 * length_um / wave_um)))

    source = "PUB Eargle: 20 log sin(1.11 pi g / lambda) / (1.11 pi g / lambda)"
    expected = gap_db(gap_um) - gap_db(1.143)
    outside_check("gap of 1.9 um against 1.143 um, played RF", source, expected, head_db[3] - head_db[1], 0.1, "dB")


def test_pitch_and_tape_speed_from_the_rf_level(outside_check: OutsideCheck) -> None:
    """The RF falls by a track's width of misplacement from full to nothing: that measures the pitch in widths."""
    recorder = Recorder(signal="flat", seed=3)
    phases = np.arange(-20.0, 121.0, 4.0)
    levels = []
    for phase in phases:
        recorder.set_control("tracking_phase_deg", float(phase))
        levels.append(10.0 ** (measure(recorder.play_frame(0), "rf_level_db") / 20.0))
    level = np.array(levels)
    slope = (phases > 4.0) & (phases < 30.0)
    per_deg = -np.polyfit(phases[slope], level[slope], 1)[0]
    peaks = phases[scipy.signal.find_peaks(level, height=0.9)[0]]
    np.testing.assert_allclose(peaks, [0.0, 90.0], atol=4.0)
    pitch_mil = 90.0 * per_deg * 10.0  # heads and tracks are 10 mil wide (common practice)
    source = "QUOTED ANSI C98.6-1965: 0.0625 in per four tracks"
    outside_check("four track pitches, from the played RF", source, 62.5, 4.0 * pitch_mil, 1.0, "mil")
    source = "PUB SMPTE ST 4: 15 in/s"
    outside_check("tape speed, from the played RF", source, 15.0, 4.0 * pitch_mil * 0.240, 0.25, "in/s")


def test_one_channel_equaliser_shows_in_colour_and_not_in_luminance(outside_check: OutsideCheck) -> None:
    even, bent = (played("525/60", "bars", correction=2.0, channel_eq_db_2=gain) for gain in (0.0, 1.0))
    rows = np.flatnonzero(even.head_of_line[40:180] == 2) + 40
    standard = even.standard
    source = "PUB preservation artefact atlas: in colour saturation, little in luminance (1 % here)"
    for index, bar in enumerate(SIX, start=1):
        place = bar_place(standard, index)
        luma = [float(frame.processed[rows, place].mean()) for frame in (even, bent)]
        outside_check(
            f"luminance of {bar}, one channel's equaliser 1 dB up", source, 0.0, luma[1] - luma[0], 1.0, "IRE"
        )
    sizes = []
    for frame in (even, bent):
        video = frame.corrected.astype(np.float64)
        sizes.append(np.mean([colour_of(video[row], bar_place(standard, 2), standard)[1] for row in rows]))
    # DERIVED: sidebands of odd order rise by g and those of even order do not, so the phase p of the carrier becomes
    # arctan(g tan p), about p + (g - 1) sin(2 p) / 2; of p = beta sin wt the fundamental is beta + (g - 1) J1(2 beta).
    beta = 0.5 * 87.7 * 21e3 * abs(complex(emphasis_response(np.array(FSC_HZ), PRACTICE))) / FSC_HZ
    expected = 20.0 * np.log10(1.0 + (10.0 ** (1.0 / 20.0) - 1.0) * scipy.special.jv(1, 2.0 * beta) / beta)
    source = "DERIVED by scipy.special.jv: Bessel functions, sidebands of odd order 1 dB up"
    measured = 20.0 * np.log10(sizes[1] / sizes[0])
    outside_check("saturation of cyan, one channel's equaliser 1 dB up", source, expected, measured, 0.1, "dB")


def test_wheel_speed_in_one_head_s_rf(outside_check: OutsideCheck) -> None:
    for name, turns in (("525/60", 239.76), ("625/50", 250.0)):
        frame = played(name, "flat")
        on_tape = np.abs(frame.head_rf(1)) > 0.5
        starts = np.flatnonzero(np.diff(on_tape.astype(int)) == 1)
        measured = frame.standard.sample_rate_hz / np.diff(starts).mean()
        source = f"QUOTED, publication not named: {240 if turns < 240 else 250} rev/s nominal"
        outside_check(f"turns of the wheel in head 1's RF, {name}", source, turns, measured, 0.05, "rev/s")


def test_programme_and_playback_are_the_same_signal(outside_check: OutsideCheck) -> None:
    """Registration: what is played lies where the generator drew it, to a hundredth of a sample."""
    for name in STANDARDS:
        frame = played(name, "multiburst")
        drawn = make_signal("multiburst", frame.standard)[40:240].astype(np.float64)
        shown = frame.demod[40:240].astype(np.float64)
        spectrum = np.fft.rfft(drawn) * np.conj(np.fft.rfft(shown))
        fine = np.fft.irfft(spectrum.sum(axis=0), 64 * drawn.shape[1])
        lag = int(np.argmax(fine))
        lag -= fine.size if lag > fine.size // 2 else 0
        late_ns = -lag / 64.0 / frame.standard.sample_rate_hz * 1e9
        source = "DERIVED by cross-correlation with the generator's own signal"
        outside_check(f"{name} multiburst played, late by", source, 0.0, late_ns, 5.0, "ns")
