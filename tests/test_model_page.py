"""The page for teachers says the numbers that the code computes with; where one changes, the page must follow."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import sim
from bandbench.bench.faults import with_fault
from sim import correction, dropout, fm, headtape, headwheel, playback, recorder, running, sliprings
from sim.colour import vectors
from sim.condition import Condition
from sim.dropout import DropoutPattern
from sim.fm import noise_to_carrier_for_snr
from sim.reel import contents, editing
from sim.servos import capstan, guide, residual, wheel
from sim.signals import B_Y_WEIGHT, LUMA_WEIGHTS, R_Y_WEIGHT
from sim.sound import AUDIO_HEAD_DISTANCE_M, SOUND_TRACKS, audio_delay_s, head, unsteadiness
from sim.standards import FOOTPRINT, STANDARDS, get_practice, get_standard
from sim.transport import DeckCondition, drive, reels, rollers, services

PAGE = (Path(sim.__file__).parent / "model.md").read_text(encoding="utf-8")
# Without line breaks, so that a sentence can be looked for.
TEXT = " ".join(PAGE.split())
NTSC, PAL = get_standard("525/60"), get_standard("625/50")


def normal_snr_db(practice: str) -> float:
    """Picture signal to noise of another practice at the RF noise of the normal one."""
    normal, other = (
        noise_to_carrier_for_snr(recorder.NORMAL_PICTURE_SNR_DB, NTSC, get_practice(name))
        for name in (recorder.NORMAL_PRACTICE["525/60"], practice)
    )
    return float(recorder.NORMAL_PICTURE_SNR_DB + 10.0 * np.log10(other / normal))


def speeds() -> tuple[float, ...]:
    return tuple(FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz) for standard in STANDARDS.values())


GREY_WAVE_UM = speeds()[0] / 8.95e6 * 1e6
TURN_PPM = 2.0 * np.pi * NTSC.wheel_rate_hz / speeds()[0] * 1e-6

SOUND_WIDTH_M = SOUND_TRACKS["programme"].width_m

SENTENCES = [
    f"{unsteadiness.NORMAL_FLUTTER_PCT:g} % rms of wow and flutter",
    f"Hiss {-unsteadiness._HISS_DB:g} dB below reference level",
    f"{-unsteadiness._BLANK_DB:g} dB less where nothing was recorded",
    f"{10.0 * np.log10(SOUND_WIDTH_M / SOUND_TRACKS['cue'].width_m):.1f} dB more on the narrow track",
    f"their heads stand {AUDIO_HEAD_DISTANCE_M / 0.0254:g} in after the wheel (MEMORY), {audio_delay_s(0.381):.3f} s",
    f"a 1 kHz sine with {head.third_harmonic_pct(0.0):.2f} % third harmonic",
    f"with 3 % third harmonic at {head._LEVEL_OF_3_PCT_DB:+g} dB",
    f"sensitivity (b exp(1 - b))^{head._BIAS_SHARPNESS:g}",
    f"moves {head._BIAS_SPACING_UM:g} um away for each doubling",
    f"20 % too much takes {-float(head.bias_treble_db(120.0, 38.1e-6)):.1f} dB from 10 kHz",
    f"halves {head.edge_phase_deg(10.0, SOUND_WIDTH_M, 1e4, 0.381):.0f} degrees apart",
    f"from {unsteadiness._FLUTTER_HZ[0]:.1f} to {unsteadiness._FLUTTER_HZ[-1]:g} Hz",
    f"4 `fsc` in 525/60 ({NTSC.sample_rate_hz / 1e6:.3f} MHz), {PAL.sample_rate_hz / 1e6:.5f} MHz in 625/50",
    "Y = {} R + {} G + {} B".format(*LUMA_WEIGHTS),
    f"U = {B_Y_WEIGHT:.3f} (B - Y), V = {R_Y_WEIGHT:.3f} (R - Y)",
    f"3 dB down at {NTSC.chroma_bandwidth_hz / 1e6:g} MHz",
    f"sampled at `{fm.MODULATOR_OVERSAMPLING} fs`",
    f"flat to {fm.RF_FLAT_HZ / 1e6:g} MHz and falls to nothing at {fm.RF_STOP_HZ / 1e6:g} MHz",
    f"level = (x exp(1 - x))^{headtape._RECORD_SHARPNESS:g}",
    f"an extra spacing of {headtape._OVER_RECORD_SPACING_UM:g} um",
    f"median of {DropoutPattern().median_s * 1e6:g} us",
    f"the RF is {-DropoutPattern().depth_db:g} dB down",
    f"{NTSC.wheel_turns_per_frame} times a frame in 525/60 ({NTSC.wheel_rate_hz:.2f} rev/s)",
    f"and {PAL.wheel_turns_per_frame} times in 625/50",
    "`v` = {:.1f} and {:.1f} m/s".format(*speeds()),
    f"{headwheel.skew_s(25.4, NTSC) * 1e6:.3f} us per mil;",
    f"{headwheel.scallop_s(25.4, NTSC) * 1e6:.3f} us per mil: 4.83 times less",
    f"{headwheel.quadrature_s(1.0, NTSC) * 1e9:.0f} ns aside",
    f"{TURN_PPM * NTSC.line_period_s * 1e9:.1f} ns per um of guide",
    f"{TURN_PPM * 8.95e6 / 21e3:.3f} IRE per um of guide",
    f"by {25.4e-6 * headwheel._MEAN_COSINE / speeds()[0] * 1e6:.2f} us per mil",
    f"{NTSC.lines_per_pass:.5f} and {PAL.lines_per_pass:g} lines",
    f"r = f / {headtape.GOOD_HEAD.resonance_hz / 1e6:g} MHz, Q = {headtape.GOOD_HEAD.resonance_q:g}",
    f"`lambda` is {GREY_WAVE_UM:.1f} um: {54.575 / GREY_WAVE_UM:.1f} dB per um",
    f"sinc({headtape._EFFECTIVE_GAP:g} g / lambda)",
    f"stands out {headtape._NEW_PROJECTION_UM / 25.4:.1f} mil",
    f"presses {headtape._NEW_PENETRATION_UM:g} um deep",
    f"needs {headtape._NEEDED_PENETRATION_UM:g} um at mid-pass",
    f"by {100.0 * headtape._LIFT_PER_UM:g} %",
    f"{headtape._NORMAL_WEAR_UM_PER_HOUR:g} um/h at normal",
    f"gives {recorder.NORMAL_PICTURE_SNR_DB:g} dB of picture signal to noise",
    f"{-playback.LIMITER_NOISE_DB:g} dB under a good head",
    f"low-band monochrome comes out at {normal_snr_db('525 low-band monochrome'):.0f} dB "
    f"and low-band colour at {normal_snr_db('525 low-band colour'):.0f} dB",
    f"{headwheel.SWITCH_LEAD_S * 1e6:g} us before 0H",
    f"over {FOOTPRINT.head_arc_deg:g} degrees",
    f"flat to {fm._LOW_PASS_FLAT_RATIO:g} of the video band and gone at {fm._LOW_PASS_STOP_RATIO:g}",
    f"between {residual._LOWEST_HZ:g} Hz and {residual._HIGHEST_HZ / 1e3:g} kHz, "
    f"falling above {residual._CORNER_HZ:g} Hz",
    f"{residual.LOCK_RESIDUAL_NS['horizontal']:g} ns (MEMORY",
    f"up to {with_fault(Condition(), 'capstan_hunting').capstan_swing_deg:g} degrees",
    "`w` is {:g} rad/s for the wheel on vertical, {:g} on horizontal and {:g} for the capstan".format(
        *(loop.natural_rad_per_s for loop in (*wheel.wheel_loops(), capstan.capstan_loop()))
    ),
    f"at 6 dB the damping ratio is {capstan.capstan_loop().damping_ratio(2.0):.2f}",
    f"from {20.0 * np.log10(capstan.capstan_loop().hunting_gain):.0f} dB on the loop hunts",
    f"it runs up in {wheel._RUN_UP_S:g} s",
    f"stands within {wheel._HANDOVER_S * 1e6:g} us",
    f"lock-up takes about {wheel.LOCK_UP_NORMAL_S:g} s; "
    f"more than {wheel.LOCK_UP_ATTENTION_S:g} s needs attention, QUOTED",
    f"runs down with {wheel._COAST_S:g} s",
    f"it runs {100.0 * capstan._FRAMING_SHARE:g} % off its speed",
    f"({-capstan.CONTROL_LOST_DB:g} dB down)",
    f"{100.0 * capstan._FREE_LOW:g} to {100.0 * capstan._FREE_HIGH:g} % off",
    f"with {guide._TIME_CONSTANT_S:g} s, up to {guide.GUIDE_RANGE_UM:g} um either way",
    f"a hub of {reels.HUB_RADIUS_M * 1e3:g} mm radius and tape {reels.TAPE_THICKNESS_M * 1e6:g} um thick",
    f"4800 ft last {4800 * 12 / 15 / 60:.0f} minutes at 15 in/s",
    f"plays at {drive.PLAY_PULL_N:g} N and winds at up to {drive.WIND_SPEED_M_PER_S:g} m/s",
    f"a second-order spring of {rollers._ARM_HZ:g} Hz",
    f"from {services.AIR_OK_KPA:g} kPa on, the vacuum holds the tape from {services.VACUUM_OK_KPA:g} kPa on",
    f"slips by {DeckCondition().timer_slip_ppm:g} millionths",
    f"stands {editing.MASTER_ERASE_UPSTREAM_M / 25.4e-3:g} in before the wheel (MEMORY), "
    f"{editing.erase_delay_frames(NTSC):.0f} frames",
    f"leaves the new one {-editing._NOT_ERASED_DB:g} dB down",
    f"below {contents.PULSE_FOUND_PCT:g} % is not found",
    f"jumps {0.5e9 / NTSC.subcarrier_hz:.0f} ns",
    f"each line {1e6 * NTSC.line_period_s:.0f} ns earlier",
    f"lifts the picture by {running.speed_level(1e-3, NTSC, get_practice('525 high-band')):.3f} IRE",
    f"Beyond {100.0 * running._LARGEST_SPEED_ERROR:g} % off its speed",
    f"{-sliprings._LIFTED_DB:g} dB down for some {sliprings._MEDIAN_LIFT_S * 1e6:g} us",
    f"averaged over {dropout._DETECTOR_S * 1e6:g} us",
    f"holds for {dropout._HOLD_S * 1e6:g} us",
    f"up to {correction.RANGE_S * 1e6:g} us (MEMORY), leaving {3e9 * correction._MONOCHROME_RESIDUAL_S:.0f} ns",
    f"leaves {3e9 * correction._COLOUR_RESIDUAL_S:.0f} ns",
    f"{360e-9 * NTSC.subcarrier_hz:.2f} degrees per ns (NTSC) or {360e-9 * PAL.subcarrier_hz:.2f} (PAL)",
    f"({100.0 * vectors._INNER_BOX[0]:g} % and {vectors._INNER_BOX[1]:g} degrees, "
    f"{100.0 * vectors._OUTER_BOX[0]:g} % and {vectors._OUTER_BOX[1]:g} degrees)",
]


@pytest.mark.parametrize("sentence", SENTENCES, ids=lambda sentence: sentence[:40])
def test_page_says_what_the_code_computes_with(sentence: str) -> None:
    assert sentence in TEXT


def test_pages_it_points_to_are_there() -> None:
    targets = re.findall(r"\]\((\S+?)\)", PAGE)
    assert {"nomenclature.md", "outside_checks.md"} <= set(targets)
    for target in targets:
        assert (Path(sim.__file__).parent / target).is_file(), target
