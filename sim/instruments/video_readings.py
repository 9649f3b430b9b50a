"""Readings of the picture off tape: frequency response, noise on the whole and head by head, switching, moire.

Contents: `packet_levels`, `VIDEO_READINGS`.
"""

from __future__ import annotations

import math
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from sim.frame import PlaybackFrame
from sim.instruments.lines import (
    PORCH_S,
    aligned_lines,
    line_levels,
    picture_rows,
    require_signal,
    rows_of_head,
    span_samples,
)
from sim.instruments.specs import LEVEL_UNIT, MeasurementError, MeasurementSpec
from sim.signals.patterns import MULTIBURST_FIRST, MULTIBURST_PITCH, MULTIBURST_WIDTH
from sim.standards import Standard
from sim.wording import wording

__all__ = ["VIDEO_READINGS", "nearest_packet", "packet_levels"]

# Frequency at which response is told (TRADE: boosts of FM channels are stated at 4 MHz).
_RESPONSE_HZ = 4.0e6
# Middle of a packet that is read, in parts of its width (MODEL: clear of its edges).
_PACKET_INSIDE = (0.2, 0.8)
# Where noise is read on sync tips, after the edge [s] (MODEL: behind what de-emphasis leaves of the edge).
_SYNC_TIP_S = (2.0e-6, 4.4e-6)
# Test signals whose picture lines are all alike, for hum.
_EVEN_SIGNALS = ("bars", "red", "stair", "stair_20", "stair_40", "multiburst", "flat", "pulse_bar")
# How long around the switching moment its disturbance is looked for [s] (MODEL: the low-pass's answer to a jump).
_SWITCH_WINDOW_S = (-0.2e-6, 0.45e-6)
# Moire is looked for from here to this part of the video band, away from subcarrier by this much (MODEL).
_MOIRE_FROM_HZ = 0.4e6
_MOIRE_PART = 1.0
_AROUND_SUBCARRIER_HZ = 0.15e6
# A line of a spectrum counts as moire if it stands this far above the noise around it (MODEL).
_OVER_NOISE_DB = 8.0


def nearest_packet(standard: Standard, frequency_hz: float) -> int:
    """Return which packet of multiburst, from 0, is nearest to a frequency.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> nearest_packet(get_standard("625/50"), 4.0e6)
    3
    """
    return int(np.argmin(np.abs(np.array(standard.multiburst_hz) - frequency_hz)))


def packet_levels(lines: NDArray[np.floating], standard: Standard, packet: int) -> NDArray[np.float64]:
    """Return the peak-to-peak level of a packet of multiburst on each line, (n_lines,) [level unit].

    Parameters
    ----------
    lines : ndarray, (n_lines, samples)
        Lines that begin at their own sync.
    standard : Standard
        Frequencies of the packets.
    packet : int
        Which, from 0.
    """
    begin = MULTIBURST_FIRST + packet * MULTIBURST_PITCH
    first, last = (begin + part * MULTIBURST_WIDTH for part in _PACKET_INSIDE)
    inside = span_samples(standard, (first, last))
    angle = (
        2.0 * np.pi * standard.multiburst_hz[packet] / standard.sample_rate_hz * np.arange(inside.stop - inside.start)
    )
    # A mean and a slope are fitted along with the wave, so that neither is taken for it.
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones(angle.size), np.linspace(-1.0, 1.0, angle.size)], axis=1)
    fitted = lines[:, inside].astype(np.float64) @ np.linalg.pinv(basis).T
    return np.asarray(2.0 * np.hypot(fitted[:, 0], fitted[:, 1]))


def _swing(levels: NDArray[np.float64], rows: NDArray[np.intp], standard: Standard) -> float:
    """Return the peak-to-peak size of what swings with the fields, as the mains nearly does, in levels of lines."""
    turns = rows * (2.0 / standard.lines_per_frame)
    angle = 2.0 * np.pi * turns
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones(angle.size)], axis=1)
    good = np.abs(levels - np.median(levels)) < 0.5 * standard.white_level
    fitted = np.linalg.lstsq(basis[good], levels[good], rcond=None)[0]
    return 2.0 * float(np.hypot(fitted[0], fitted[1]))


def _hum_level(frame: PlaybackFrame) -> float:
    standard, edges_s = frame.standard, frame.sync_edges_s
    rows = np.flatnonzero(np.isfinite(edges_s))
    rows = np.intersect1d(rows, picture_rows(standard))
    if rows.size < 64:
        raise MeasurementError(wording("readings.hum_too_few_lines"))
    first, last = (round(at_s * standard.sample_rate_hz) for at_s in PORCH_S)
    start = rows * standard.samples_per_line + np.rint(edges_s[rows] * standard.sample_rate_hz).astype(np.intp)
    place = start[:, None] + np.arange(first, last, dtype=np.intp)
    porch = frame.demod.ravel()[place % frame.demod.size].mean(axis=1, dtype=np.float64)
    return _swing(porch, rows, standard)


def _output_hum_level(frame: PlaybackFrame) -> float:
    signal = require_signal(frame, "processed", wording("readings.hum_output"), _EVEN_SIGNALS)
    standard = frame.standard
    rows = picture_rows(standard, 0.04, 0.70 if signal == "bars" else 0.96)
    inside = span_samples(standard, (0.05, 0.95))
    return _swing(line_levels(frame.processed[rows], inside), rows, standard)


def _response_db(frame: PlaybackFrame) -> float:
    require_signal(frame, "demodulated", wording("readings.frequency_response"), ("multiburst",))
    standard = frame.standard
    lines = aligned_lines(frame.demod, frame.sync_edges_s, standard, picture_rows(standard))
    levels = [
        float(np.median(packet_levels(lines, standard, packet)))
        for packet in (nearest_packet(standard, _RESPONSE_HZ), 0)
    ]
    return 20.0 * math.log10(levels[0] / levels[1])


def _noise_db(frame: PlaybackFrame) -> float:
    """Blanking-to-white over rms noise, measured on the blank lines of the vertical interval [dB]."""
    standard = frame.standard
    start = round(standard.line_blanking_s * standard.sample_rate_hz)
    stop = standard.samples_per_line - round(2.0 * standard.front_porch_s * standard.sample_rate_hz)
    last = standard.first_active_line[0] - 2
    first = last - 6
    blank = frame.demod[first:last, start:stop]
    rms = float(np.sqrt(np.mean(np.square(blank - blank.mean(axis=1, keepdims=True)))))
    return 20.0 * math.log10((standard.white_level - standard.blanking_level) / rms)


def _head_noise_db(frame: PlaybackFrame, head: int) -> float:
    """Blanking-to-white over rms noise on the sync tips of one head [dB]."""
    standard = frame.standard
    rows = rows_of_head(frame, head, picture_rows(standard))
    lines = aligned_lines(frame.demod, frame.sync_edges_s, standard, rows)
    first, last = (round(at_s * standard.sample_rate_hz) for at_s in _SYNC_TIP_S)
    tips = lines[:, first:last].astype(np.float64)
    tips -= tips.mean(axis=1, keepdims=True)
    # What all tips have alike is the end of the edge, not noise.
    tips -= tips.mean(axis=0)
    rms = float(np.sqrt(np.mean(np.square(tips)) * tips.shape[0] / (tips.shape[0] - 1)))
    return 20.0 * math.log10((standard.white_level - standard.blanking_level) / rms)


def _switch_transient(frame: PlaybackFrame) -> float:
    if frame.lines_early:
        raise MeasurementError(wording("readings.switching_disturbance_picture_rolls"))
    standard = frame.standard
    rate_hz, samples = standard.sample_rate_hz, standard.samples_per_line
    edges_s = frame.sync_edges_s
    flat = frame.demod.ravel()
    first, last = (round(at_s * rate_hz) for at_s in _SWITCH_WINDOW_S)
    window = np.arange(first, last + 1, dtype=np.intp)
    # The whole field blanking is left out: half-line pulses make its lines differ. Of the rest, every change of head
    # is held against the same place one and two lines on, where there is none.
    active = np.zeros(standard.lines_per_frame, dtype=np.bool_)
    active[picture_rows(standard)] = True
    heights = []
    for place in frame.schedule.switch_sample[:-1]:
        line = int((place + samples // 2) // samples) % standard.lines_per_frame
        after = [(line + step) % standard.lines_per_frame for step in (1, 2)]
        if (
            not (active[line] and active[after].all() and active[line - 1])
            or not np.isfinite(edges_s[[line, *after]]).all()
        ):
            continue
        here = flat[(place + round(float(edges_s[line]) * rate_hz) + window) % flat.size]
        there = [
            flat[(place + (step + 1) * samples + round(float(edges_s[at]) * rate_hz) + window) % flat.size]
            for step, at in enumerate(after)
        ]
        heights.append(float(np.max(np.abs(here - 0.5 * (there[0] + there[1])))))
    if not heights:
        raise MeasurementError(wording("readings.switching_disturbance_too_few"))
    return float(np.median(heights))


@lru_cache(maxsize=1)
def _moire(frame: PlaybackFrame) -> tuple[float, float]:
    """Frequency [MHz] and level against blanking to white [dB] of the strongest product that is not the signal."""
    require_signal(frame, "demodulated", "moire", ("red", "flat"))
    standard = frame.standard
    inside = span_samples(standard, (0.05, 0.95))
    lines = frame.demod[picture_rows(standard), inside].astype(np.float64)
    count = lines.shape[1]
    window = np.hanning(count + 1)[:-1]
    power = np.square(np.abs(np.fft.rfft((lines - lines.mean(axis=1, keepdims=True)) * window, axis=1)))
    # Peak-to-peak of a lone wave, from the median line: a head that gives noise, or a dropout, does not count.
    level = 4.0 * np.sqrt(np.median(power, axis=0)) / window.sum()
    frequency_hz = np.fft.rfftfreq(count, 1.0 / standard.sample_rate_hz)
    looked = (frequency_hz > _MOIRE_FROM_HZ) & (frequency_hz < _MOIRE_PART * standard.video_bandwidth_hz)
    looked &= np.abs(frequency_hz - standard.subcarrier_hz) > _AROUND_SUBCARRIER_HZ
    found = int(np.argmax(np.where(looked, level, 0.0)))
    near = looked.copy()
    near[max(found - 3, 0) : found + 4] = False
    near &= np.abs(frequency_hz - frequency_hz[found]) < 0.6e6
    noise = float(np.median(level[near]))
    if level[found] < noise * 10.0 ** (_OVER_NOISE_DB / 20.0):
        raise MeasurementError(wording("readings.moire_none_stands_out"))
    # The middle of the line, from its neighbours on the window's main lobe.
    lobe = slice(found - 1, found + 2)
    middle_hz = float(np.sum(frequency_hz[lobe] * np.square(level[lobe])) / np.sum(np.square(level[lobe])))
    span = standard.white_level - standard.blanking_level
    return middle_hz * 1e-6, 20.0 * math.log10(float(level[found]) / span)


def _moire_db(frame: PlaybackFrame) -> float:
    return _moire(frame)[1]


def _moire_mhz(frame: PlaybackFrame) -> float:
    return _moire(frame)[0]


def _specs() -> tuple[MeasurementSpec, ...]:
    specs = [
        MeasurementSpec(
            "noise_db",
            wording("readings.picture_signal_noise"),
            "dB",
            wording("readings.blanking_white_over_rms"),
            _noise_db,
            "picture",
            signed=False,
        ),
        MeasurementSpec(
            "response_db",
            wording("readings.response_4_mhz"),
            "dB",
            wording("readings.level_multiburst_packet_nearest"),
            _response_db,
            "picture",
            wording("readings.signal_multiburst"),
        ),
        MeasurementSpec(
            "hum_level",
            wording("readings.hum_off_tape"),
            LEVEL_UNIT,
            wording("readings.peak_peak_swing_blanking"),
            _hum_level,
            "picture",
            signed=False,
        ),
        MeasurementSpec(
            "output_hum_level",
            wording("readings.hum_output_2"),
            LEVEL_UNIT,
            wording("readings.peak_peak_swing_pictures"),
            _output_hum_level,
            "picture",
            wording("readings.signal_whose_lines_alike"),
            signed=False,
        ),
        MeasurementSpec(
            "switch_transient",
            wording("readings.switching_disturbance"),
            LEVEL_UNIT,
            wording("readings.height_disturbance_where_switcher"),
            _switch_transient,
            "picture",
            signed=False,
        ),
        MeasurementSpec(
            "moire_db",
            wording("readings.moire"),
            "dB",
            wording("readings.peak_peak_level_strongest"),
            _moire_db,
            "picture",
            wording("readings.signal_red_flat_no"),
        ),
        MeasurementSpec(
            "moire_mhz",
            wording("readings.frequency_moire"),
            "MHz",
            wording("readings.frequency_strongest_beat_even"),
            _moire_mhz,
            "picture",
            wording("readings.signal_red_flat_no"),
            signed=False,
        ),
    ]
    for head in range(1, 5):
        specs.append(
            MeasurementSpec(
                f"noise_db_{head}",
                wording("readings.signal_noise_head", head=head),
                "dB",
                wording("readings.blanking_white_over_rms_2", head=head),
                partial(_head_noise_db, head=head),
                "picture",
                wording("readings.channel_2", head=head),
                signed=False,
            )
        )
    return tuple(specs)


VIDEO_READINGS = _specs()
"""Readings of response, noise and disturbances."""
