"""Readings of colour off tape: saturation, hue and response of each head, bursts, velocity error, colour framing.

Contents: `bar_errors`, `COLOUR_READINGS`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from sim.colour import bar_lines, bar_targets, bar_vectors, demodulate, measure_burst
from sim.colour.burst import BurstReading
from sim.frame import PlaybackFrame
from sim.instruments.lines import (
    aligned_lines,
    picture_rows,
    require_signal,
    rows_of_head,
    signal_at,
    span_samples,
)
from sim.instruments.specs import MeasurementError, MeasurementSpec
from sim.instruments.video_readings import nearest_packet, packet_levels
from sim.wording import wording

__all__ = ["COLOUR_READINGS", "BarErrors", "bar_errors"]

# Even colour along the line near its end, for velocity error (MODEL: clear of blanking).
_LINE_END = (0.88, 0.95)
_VELOCITY_SIGNALS = ("bars", "red", "stair_20", "stair_40")
_CHROMA_SIGNALS = ("bars", "red", "stair_20", "stair_40")
# Below this the bursts' phases agree too little for their mean to mean anything (MODEL).
_LEAST_AGREEMENT = 0.5
# Colour frames are a whole step apart; a phase further from all of them than this is told as none (MODEL).
_FRAMING_REST = 0.3


@dataclass(frozen=True)
class BarErrors:
    """What is wrong with the coloured bars on each line of a frame.

    Attributes
    ----------
    rows : ndarray of int, (n_lines,)
        Rows of the frame.
    size : ndarray, (n_lines, n_bars)
        Amplitude against nominal.
    turn_deg : ndarray, (n_lines, n_bars)
        Phase against nominal, as sent: on both senses of V alike [deg].
    """

    rows: NDArray[np.intp]
    size: NDArray[np.float64]
    turn_deg: NDArray[np.float64]


def _burst(frame: PlaybackFrame, point: str) -> BurstReading:
    video, edges_s = signal_at(frame, point)
    found = measure_burst(video, frame.standard, edges_s)
    if not found.present:
        raise MeasurementError(wording("readings.no_bursts_colour_cannot"))
    return found


@lru_cache(maxsize=1)
def bar_errors(frame: PlaybackFrame) -> BarErrors:
    """Return amplitude and phase of the demodulated coloured bars against nominal, each line by its own burst.

    Raises
    ------
    MeasurementError
        If no bars are seen, or there are no bursts.
    """
    require_signal(frame, "demodulated", wording("readings.saturation_hue"), ("bars",))
    found = _burst(frame, "demodulated")
    standard = frame.standard
    rows = bar_lines(standard)
    vectors = bar_vectors(frame.demod, standard, rows, edges_s=frame.sync_edges_s)
    nominal = np.array([complex(target.u, target.v) for target in bar_targets(standard).values()])
    turn = np.angle(vectors / nominal, deg=True) * found.sense[rows, None]
    return BarErrors(rows, np.abs(vectors / nominal), turn)


def _of_head(errors: BarErrors, frame: PlaybackFrame, head: int) -> NDArray[np.bool_]:
    return np.isin(errors.rows, rows_of_head(frame, head, errors.rows))


def _saturation_db(frame: PlaybackFrame, head: int) -> float:
    errors = bar_errors(frame)
    sizes = errors.size[_of_head(errors, frame, head)]
    return 20.0 * float(np.mean(np.log10(np.median(sizes, axis=0))))


def _hue_deg(frame: PlaybackFrame, head: int) -> float:
    errors = bar_errors(frame)
    return float(np.mean(np.median(errors.turn_deg[_of_head(errors, frame, head)], axis=0)))


def _values_of_heads(frame: PlaybackFrame, what: str) -> list[float]:
    values = []
    for head in range(1, 5):
        try:
            values.append(_saturation_db(frame, head) if what == "saturation" else _hue_deg(frame, head))
        except MeasurementError:
            bar_errors(frame)  # raised again if it is not this head alone
    if len(values) < 2:
        raise MeasurementError(wording(f"readings.no_{what}_spread"))
    return values


def _saturation_db_mean(frame: PlaybackFrame) -> float:
    return float(np.mean(_values_of_heads(frame, "saturation")))


def _spread(frame: PlaybackFrame, what: str) -> float:
    return float(np.ptp(_values_of_heads(frame, what)))


@lru_cache(maxsize=1)
def _chroma_levels(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Level at subcarrier of each head's lines, (4,), NaN where a head draws none."""
    signal = require_signal(
        frame, "demodulated", wording("readings.response_channels_subcarrier"), (*_CHROMA_SIGNALS, "multiburst")
    )
    standard = frame.standard
    rows = bar_lines(standard) if signal == "bars" else picture_rows(standard, 0.05, 0.95)
    levels = np.full(4, np.nan)
    for head in range(1, 5):
        try:
            own = rows_of_head(frame, head, rows)
        except MeasurementError:
            continue
        if signal == "multiburst":
            lines = aligned_lines(frame.demod, frame.sync_edges_s, standard, own)
            levels[head - 1] = np.median(
                packet_levels(lines, standard, nearest_packet(standard, standard.subcarrier_hz))
            )
        elif signal == "bars":
            errors = bar_errors(frame)
            sizes = np.median(errors.size[_of_head(errors, frame, head)], axis=0)
            levels[head - 1] = math.exp(float(np.mean(np.log(sizes))))
        else:
            vectors = demodulate(
                frame.demod, standard, own, span_samples(standard, (0.05, 0.95)), edges_s=frame.sync_edges_s
            )
            levels[head - 1] = float(np.median(np.abs(vectors)))
    return levels


def _channel_response_db(frame: PlaybackFrame, head: int) -> float:
    levels = _chroma_levels(frame)
    if not math.isfinite(levels[head - 1]):
        raise MeasurementError(wording("readings.head_draws_no_picture", head=head))
    return 20.0 * float(np.log10(levels[head - 1]) - np.nanmean(np.log10(levels)))


def _velocity_error_ns(frame: PlaybackFrame) -> float:
    signal = require_signal(frame, "corrected", wording("readings.velocity_error"), _VELOCITY_SIGNALS)
    standard = frame.standard
    found = _burst(frame, "corrected")
    video, edges_s = signal_at(frame, "corrected")
    if signal == "bars":
        rows = bar_lines(standard)
        last = len(bar_targets(standard)) - 1
        vectors = bar_vectors(video, standard, rows, edges_s=edges_s)[:, last]
    else:
        rows = picture_rows(standard, 0.05, 0.95)
        # Even colour: the mean of its beginning, where there is hardly an error yet, is what it ought to be.
        columns = span_samples(standard, _LINE_END)
        vectors = demodulate(video, standard, rows, columns, edges_s=edges_s).mean(axis=1)
    good = found.good[rows] & (np.abs(vectors) > 0.0)
    rows, vectors = rows[good], vectors[good]
    if signal == "bars":
        target = list(bar_targets(standard).values())[-1]
        nominal = complex(target.u, target.v)
    elif signal == "red":
        target = bar_targets(standard)["red"]
        nominal = complex(target.u, target.v)
    else:
        nominal = complex(-1.0, 0.0)
    turns = np.angle(vectors / nominal) / (2.0 * np.pi) * found.sense[rows]
    return float(np.sqrt(np.mean(np.square(turns)))) / standard.subcarrier_hz * 1e9


def _output_burst_phase_deg(frame: PlaybackFrame) -> float:
    found = measure_burst(frame.processed, frame.standard)
    if not found.present:
        raise MeasurementError(wording("readings.burst_phase_there_no"))
    return math.degrees(found.mean_phase_rad)


def _burst_jitter_ns(frame: PlaybackFrame) -> float:
    found = _burst(frame, "corrected")
    lines = found.good
    # Burst against the station's subcarrier: colour frames apart, what is left is time.
    pointers = np.exp(1j * found.phase_rad[lines])
    mean = pointers.mean()
    if abs(mean) < _LEAST_AGREEMENT:
        raise MeasurementError(wording("readings.burst_jitter_bursts_phases"))
    turns = np.angle(pointers * np.conj(mean)) / (2.0 * np.pi)
    return float(np.std(turns)) / frame.standard.subcarrier_hz * 1e9


@lru_cache(maxsize=1)
def _sc_h_deg(frame: PlaybackFrame) -> float:
    """Phase of the off-tape subcarrier at the off-tape sync against colour frame 0 [deg]."""
    found = _burst(frame, "demodulated")
    edges_s = frame.sync_edges_s
    lines = found.good & np.isfinite(edges_s)
    if not lines.any():
        raise MeasurementError(wording("readings.colour_framing_no_line"))
    # A line that is late by e has its burst late as well: by its own sync the phase is further on by that.
    by_sync = found.phase_rad[lines] + 2.0 * np.pi * frame.standard.subcarrier_hz * edges_s[lines]
    mean = complex(np.exp(1j * by_sync).mean())
    if abs(mean) < _LEAST_AGREEMENT:
        raise MeasurementError(wording("readings.colour_framing_burst_sync"))
    return math.degrees(math.atan2(mean.imag, mean.real))


def _colour_frame(frame: PlaybackFrame) -> float:
    steps = frame.standard.colour_frames
    # Each frame leaves half a cycle over in NTSC; in PAL three quarters, that is, a quarter less (DERIVED).
    place = -_sc_h_deg(frame) / 360.0 * steps
    if abs(place - round(place)) > _FRAMING_REST:
        raise MeasurementError(wording("readings.colour_framing_subcarrier_stands", frame=f"{_sc_h_deg(frame):+.0f}"))
    return float(round(place) % steps)


def _specs() -> tuple[MeasurementSpec, ...]:
    bars, burst = wording("readings.signal_bars"), wording("readings.signal_burst")
    specs = [
        MeasurementSpec(
            "saturation_db",
            wording("readings.saturation"),
            "dB",
            wording("readings.amplitude_colour_bars_against"),
            _saturation_db_mean,
            "colour",
            bars,
        ),
        MeasurementSpec(
            "saturation_spread_db",
            wording("readings.spread_saturation"),
            "dB",
            wording("readings.saturation_most_saturated_heads"),
            partial(_spread, what="saturation"),
            "colour",
            bars,
            signed=False,
        ),
        MeasurementSpec(
            "hue_spread_deg",
            wording("readings.spread_hue"),
            "deg",
            wording("readings.how_far_apart_hues"),
            partial(_spread, what="hue"),
            "colour",
            bars,
            signed=False,
        ),
        MeasurementSpec(
            "velocity_error_ns",
            wording("readings.velocity_error_2"),
            "ns",
            wording("readings.rms_time_error_end"),
            _velocity_error_ns,
            "colour",
            wording("readings.bars_red_stair_subcarrier"),
            signed=False,
        ),
        MeasurementSpec(
            "burst_jitter_ns",
            wording("readings.jitter_bursts"),
            "ns",
            wording("readings.rms_time_error_from"),
            _burst_jitter_ns,
            "colour",
            burst,
            signed=False,
        ),
        MeasurementSpec(
            "output_burst_phase_deg",
            wording("readings.phase_burst_output"),
            "deg",
            wording("readings.how_far_burst_processing"),
            _output_burst_phase_deg,
            "colour",
            wording("readings.time_base_correction_set"),
        ),
        MeasurementSpec(
            "subcarrier_phase_deg",
            wording("readings.phase_subcarrier_sync"),
            "deg",
            wording("readings.phase_off_tape_subcarrier"),
            _sc_h_deg,
            "colour",
            burst,
        ),
        MeasurementSpec(
            "colour_frame",
            wording("readings.colour_framing"),
            "frames",
            wording("readings.how_many_frames_off"),
            _colour_frame,
            "colour",
            burst,
            signed=False,
        ),
    ]
    for head in range(1, 5):
        specs += [
            MeasurementSpec(
                f"saturation_db_{head}",
                wording("readings.saturation_head", head=head),
                "dB",
                wording("readings.amplitude_colour_bars_bands", head=head),
                partial(_saturation_db, head=head),
                "colour",
                wording("readings.channel", bars=bars, head=head),
            ),
            MeasurementSpec(
                f"hue_deg_{head}",
                wording("readings.hue_head", head=head),
                "deg",
                wording("readings.how_far_colours_bars", head=head),
                partial(_hue_deg, head=head),
                "colour",
                wording("readings.channel", bars=bars, head=head),
            ),
            MeasurementSpec(
                f"channel_response_db_{head}",
                wording("readings.response_channel_subcarrier", head=head),
                "dB",
                wording("readings.level_near_subcarrier_bands", head=head),
                partial(_channel_response_db, head=head),
                "colour",
                wording("readings.bars_red_stair_subcarrier_2", head=head),
            ),
        ]
    return tuple(specs)


COLOUR_READINGS = _specs()
"""Readings of colour."""
