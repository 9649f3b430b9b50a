"""Readings of video levels: off tape, at the input and electronics to electronics; and of the modulator's carriers.

Contents: `LEVEL_READINGS`. Levels are read from blanking, line by line, as a clamped waveform monitor shows them.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache, partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.colour import measure_burst
from sim.fm import discriminate
from sim.frame import PlaybackFrame
from sim.instruments.lines import (
    PORCH_S,
    aligned_lines,
    line_levels,
    picture_rows,
    require_signal,
    signal_at,
    span_samples,
)
from sim.instruments.specs import LEVEL_UNIT, MeasurementError, MeasurementSpec
from sim.signals import burst_lines
from sim.standards import Standard
from sim.wording import wording

__all__ = ["BLACK_SIGNALS", "LEVEL_READINGS", "WHITE_SIGNALS", "carriers_mhz"]

Span = tuple[float, float]

# Where peak white and black stand in each test signal (DERIVED from how `sim.signals` draws them): parts of the
# picture's height, then parts of the line; edges left out.
_UPPER: Span = (0.05, 0.70)
_ALL: Span = (0.05, 0.95)
_WHITE: Mapping[str, tuple[Span, Span]] = MappingProxyType(
    {
        "stair": (_ALL, (0.925, 0.985)),
        "stair_20": (_ALL, (0.925, 0.985)),
        "stair_40": (_ALL, (0.925, 0.985)),
        "multiburst": (_ALL, (0.05, 0.10)),
        "pulse_bar": (_ALL, (0.50, 0.70)),
    }
)
_BLACK: Mapping[str, tuple[Span, Span]] = MappingProxyType(
    {
        "stair": (_ALL, (0.02, 0.07)),
        "stair_20": (_ALL, (0.02, 0.07)),
        "stair_40": (_ALL, (0.02, 0.07)),
        "pulse_bar": (_ALL, (0.90, 0.97)),
        "grid": (_ALL, (0.48, 0.52)),
    }
)
# DERIVED likewise: bars of 525/60 have white and black in the strip below them, those of 625/50 at the line's ends.
_BARS_WHITE: Mapping[str, tuple[Span, Span]] = MappingProxyType(
    {"NTSC": ((0.80, 0.97), (0.22, 0.32)), "PAL": (_UPPER, (0.03, 0.10))}
)
# DERIVED likewise.
_BARS_BLACK: Mapping[str, tuple[Span, Span]] = MappingProxyType(
    {"NTSC": ((0.80, 0.97), (0.70, 0.95)), "PAL": (_UPPER, (0.90, 0.97))}
)

WHITE_SIGNALS = ("bars", *_WHITE)
"""Test signals that hold peak white long enough to be read."""
BLACK_SIGNALS = ("bars", *_BLACK)
"""Test signals that hold black long enough to be read."""

# Where sync tip is read, after 0H [s]: the edge, and what pre-emphasis leaves of it, are over by then (MODEL).
_SYNC_TIP_S = (2.3e-6, 4.3e-6)
# An RF amplitude below this is none (MODEL).
_LEAST_RF = 0.1


def _place(standard: Standard, signal: str, which: str) -> tuple[Span, Span]:
    if signal == "bars":
        return (_BARS_WHITE if which == "white" else _BARS_BLACK)[standard.colour_system]
    return (_WHITE if which == "white" else _BLACK)[signal]


def _lines(frame: PlaybackFrame, point: str, rows: NDArray[np.intp]) -> NDArray[np.float32]:
    video, edges_s = signal_at(frame, point)
    return aligned_lines(video, edges_s, frame.standard, rows)


def _held_level(frame: PlaybackFrame, point: str, which: str) -> float:
    """Return white or black from blanking, the median of the lines."""
    names = WHITE_SIGNALS if which == "white" else BLACK_SIGNALS
    signal = require_signal(frame, point, wording(f"readings.{which}"), names)
    height, span = _place(frame.standard, signal, which)
    lines = _lines(frame, point, picture_rows(frame.standard, *height))
    return float(np.median(line_levels(lines, span_samples(frame.standard, span))))


def _time_slice(standard: Standard, span_s: Span) -> slice:
    first, last = (round(at_s * standard.sample_rate_hz) for at_s in span_s)
    return slice(first, last)


def _sync_level(frame: PlaybackFrame, point: str) -> float:
    lines = _lines(frame, point, picture_rows(frame.standard))
    return float(np.median(line_levels(lines, _time_slice(frame.standard, _SYNC_TIP_S))))


def _blanking_level(frame: PlaybackFrame, point: str) -> float:
    """Return blanking as it is, unclamped, the median of the lines."""
    video, edges_s = signal_at(frame, point)
    standard = frame.standard
    rows = picture_rows(standard)
    rows = rows[np.isfinite(edges_s[rows])]
    if rows.size < 8:
        raise MeasurementError(wording("readings.too_few_lines_sync"))
    porch = _time_slice(standard, PORCH_S)
    start = rows * standard.samples_per_line + np.rint(edges_s[rows] * standard.sample_rate_hz).astype(np.intp)
    place = start[:, None] + np.arange(porch.start, porch.stop, dtype=np.intp)
    return float(np.median(video.ravel()[place % video.size].mean(axis=1)))


def _burst_level(frame: PlaybackFrame, point: str) -> float:
    video, edges_s = signal_at(frame, point)
    found = measure_burst(video, frame.standard, edges_s)
    if not found.present:
        raise MeasurementError(wording("readings.burst_level_there_no"))
    lines = burst_lines(frame.standard)
    return 2.0 * float(np.median(np.abs(found.vector[lines])))


@lru_cache(maxsize=1)
def carriers_mhz(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Return the modulator's carrier on every sample of the frame, (lines, samples) [MHz].

    Raises
    ------
    MeasurementError
        If the modulator gives no RF.
    """
    rf = frame.record_rf
    if float(np.median(np.abs(rf))) < _LEAST_RF:
        raise MeasurementError(wording("readings.carriers_modulator_gives_no"))
    frequency_hz = discriminate(rf, frame.standard.sample_rate_hz)
    return np.asarray(frequency_hz.reshape(frame.source.shape) * 1e-6, dtype=np.float64)


def _sync_carrier(frame: PlaybackFrame) -> float:
    lines = carriers_mhz(frame)[picture_rows(frame.standard)]
    return float(np.median(line_levels(lines, _time_slice(frame.standard, _SYNC_TIP_S))))


def _blanking_carrier(frame: PlaybackFrame) -> float:
    # The blank lines before the picture: nothing but blanking from sync to sync.
    last = frame.standard.first_active_line[0] - 2
    return float(np.median(line_levels(carriers_mhz(frame)[last - 6 : last], span_samples(frame.standard, _ALL))))


def _white_carrier(frame: PlaybackFrame) -> float:
    mhz = carriers_mhz(frame)
    signal = require_signal(frame, "input", wording("readings.carrier_white"), WHITE_SIGNALS)
    height, span = _place(frame.standard, signal, "white")
    lines = mhz[picture_rows(frame.standard, *height)]
    return float(np.median(line_levels(lines, span_samples(frame.standard, span))))


def _deviation(frame: PlaybackFrame) -> float:
    return _white_carrier(frame) - _blanking_carrier(frame)


def _titles(names: tuple[str, ...]) -> str:
    return wording("readings.one_signals", names=", ".join(wording(f"signal_names.{name}") for name in names))


_FOUND_AT = (
    ("", wording("readings.off_tape"), wording("readings.demodulated_video"), "levels", "demodulated", True),
    (
        "ee_",
        wording("readings.electronics_electronics"),
        wording("readings.through_modulator_demodulator_without"),
        "record",
        "electronics",
        False,
    ),
    ("output_", wording("readings.output"), wording("readings.processed_video"), "levels", "processed", True),
)


def _specs() -> tuple[MeasurementSpec, ...]:
    specs = []
    for prefix, where, long, group, point, tape in _FOUND_AT:
        specs += [
            MeasurementSpec(
                f"{prefix}white_level",
                wording("readings.white_level", where=where),
                LEVEL_UNIT,
                wording("readings.peak_white_above_blanking_2", long=long),
                partial(_held_level, point=point, which="white"),
                group,
                _titles(WHITE_SIGNALS),
                tape,
                False,
            ),
            MeasurementSpec(
                f"{prefix}black_level",
                wording("readings.black_level_setup", where=where),
                LEVEL_UNIT,
                wording("readings.black_above_blanking", long=long),
                partial(_held_level, point=point, which="black"),
                group,
                _titles(BLACK_SIGNALS),
                tape,
            ),
            MeasurementSpec(
                f"{prefix}sync_level",
                wording("readings.sync_level", where=where),
                LEVEL_UNIT,
                wording("readings.sync_tip_against_blanking", long=long),
                partial(_sync_level, point=point),
                group,
                "",
                tape,
            ),
            MeasurementSpec(
                f"{prefix}burst_level",
                wording("readings.burst", where=where),
                LEVEL_UNIT,
                wording("readings.burst_from_peak_peak", long=long),
                partial(_burst_level, point=point),
                group,
                wording("readings.signal_burst")
                if prefix != "output_"
                else wording("readings.burst_time_base_correction"),
                tape,
                False,
            ),
        ]
        if prefix != "output_":
            specs.append(
                MeasurementSpec(
                    f"{prefix}blanking_level",
                    wording("readings.blanking_level", where=where),
                    LEVEL_UNIT,
                    wording("readings.blanking_not_clamped_0", long=long),
                    partial(_blanking_level, point=point),
                    group,
                    "",
                    tape,
                )
            )
    specs += [
        MeasurementSpec(
            "input_level",
            wording("readings.white_level_input"),
            LEVEL_UNIT,
            wording("readings.peak_white_above_blanking"),
            partial(_held_level, point="input", which="white"),
            "record",
            _titles(WHITE_SIGNALS),
            False,
            False,
        ),
        MeasurementSpec(
            "carrier_sync_mhz",
            wording("readings.carrier_sync_tip"),
            "MHz",
            wording("readings.frequency_modulators_carrier_sync"),
            _sync_carrier,
            "record",
            "",
            False,
            False,
        ),
        MeasurementSpec(
            "carrier_blanking_mhz",
            wording("readings.carrier_blanking"),
            "MHz",
            wording("readings.frequency_modulators_carrier_blank"),
            _blanking_carrier,
            "record",
            "",
            False,
            False,
        ),
        MeasurementSpec(
            "carrier_white_mhz",
            wording("readings.carrier_white_2"),
            "MHz",
            wording("readings.frequency_modulators_carrier_peak"),
            _white_carrier,
            "record",
            _titles(WHITE_SIGNALS),
            False,
            False,
        ),
        MeasurementSpec(
            "deviation_mhz",
            wording("readings.deviation_blanking_white"),
            "MHz",
            wording("readings.how_far_modulators_carrier"),
            _deviation,
            "record",
            _titles(WHITE_SIGNALS),
            False,
            False,
        ),
    ]
    return tuple(specs)


LEVEL_READINGS = _specs()
"""Readings of video levels and of the modulator's carriers."""
