"""Readings of time: geometry of the bands, unsteadiness, the corrector's range, where the picture stands, tracking.

Contents: `TIMING_READINGS`. Positive is EARLY, further to the left on the picture.
"""

from __future__ import annotations

import math
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from sim.correction import RANGE_S
from sim.frame import PlaybackFrame
from sim.headwheel import HALF_PASS_RAD
from sim.instruments.rf_readings import line_rf_level
from sim.instruments.specs import MeasurementError, MeasurementSpec
from sim.wording import wording

__all__ = ["TIMING_READINGS"]

# A line takes part in a time reading only if its RF is above this (MODEL: safely over the FM threshold).
_LEAST_RF_FOR_TIMING = 0.1
# And if its edge lies within this of the fit; a click on an edge must not tilt a band (MODEL).
_OUTLIER_S = 1.0e-6
# The control track is read down to this against its nominal level (MODEL: what a servo can work from).
_LEAST_CONTROL = 0.01
# Share of lines that must carry the sync of a picture for its place to be told (MODEL).
_LEAST_LIKENESS = 0.5


def _basis(frame: PlaybackFrame) -> NDArray[np.float64]:
    """What lean, bow and the four heads' positions do to the lines, (lines, 6), early positive."""
    passes = frame.pass_of_line
    standard = frame.standard
    first_sample = np.arange(standard.lines_per_frame) * standard.samples_per_line
    basis = np.zeros((passes.size, 6))
    sine, cosine = (
        np.roll(values[first_sample], -frame.lines_early) for values in (frame.schedule.sine, frame.schedule.cosine)
    )
    basis[:, 0] = sine / (2.0 * math.sin(HALF_PASS_RAD))
    basis[:, 1] = -cosine / (1.0 - math.cos(HALF_PASS_RAD))
    basis[np.arange(passes.size), 2 + passes % 4] = 1.0
    return basis


@lru_cache(maxsize=1)
def _band_fit(frame: PlaybackFrame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fit lean, bow and the four heads' positions to the sync edges.

    Returns six numbers [s], early positive, and what the lines used stand away from them [s].
    Raises MeasurementError when too few lines have usable sync.
    """
    edges = frame.sync_edges_s
    passes = frame.pass_of_line
    basis = _basis(frame)
    usable = np.isfinite(edges) & (line_rf_level(frame) > _LEAST_RF_FOR_TIMING)
    early = -np.where(np.isfinite(edges), edges, 0.0)
    fit: NDArray[np.float64] = np.zeros(6)
    residual = early
    for _ in range(3):
        counts = np.bincount(passes[usable] % 4, minlength=4)
        if np.count_nonzero(counts >= 16) < 2:
            raise MeasurementError(wording("readings.too_few_lines_usable"))
        fit = np.asarray(np.linalg.lstsq(basis[usable], early[usable], rcond=None)[0], dtype=np.float64)
        fit[2:][counts < 16] = np.nan
        residual = early - basis @ np.nan_to_num(fit)
        usable &= np.abs(residual) < max(_OUTLIER_S, 3.0 * float(np.median(np.abs(residual[usable]))))
    return fit, residual[usable]


def _skew_us(frame: PlaybackFrame) -> float:
    return float(_band_fit(frame)[0][0]) * 1e6


def _scallop_us(frame: PlaybackFrame) -> float:
    return float(_band_fit(frame)[0][1]) * 1e6


def _head_position_ns(frame: PlaybackFrame, head: int) -> float:
    positions = _band_fit(frame)[0][2:]
    slots = frame.pass_of_line % 4
    chosen = np.flatnonzero(frame.head_of_line == head)
    if chosen.size == 0 or not math.isfinite(positions[slots[chosen[0]]]):
        raise MeasurementError(wording("readings.head_gives_no_usable", head=head))
    return float(positions[slots[chosen[0]]] - np.nanmean(positions)) * 1e9


def _quadrature_spread_ns(frame: PlaybackFrame) -> float:
    positions = _band_fit(frame)[0][2:]
    return float(np.nanmax(positions) - np.nanmin(positions)) * 1e9


def _jitter_ns(frame: PlaybackFrame) -> float:
    _, residual = _band_fit(frame)
    return float(np.sqrt(np.mean(np.square(residual)))) * 1e9


def _usable_edges(frame: PlaybackFrame) -> NDArray[np.float64]:
    _band_fit(frame)  # says why, where too few lines have sync
    edges = frame.sync_edges_s
    return edges[np.isfinite(edges) & (line_rf_level(frame) > _LEAST_RF_FOR_TIMING)]


def _corrector_range_pct(frame: PlaybackFrame) -> float:
    # A single click on an edge is not what the corrector is set for.
    return float(np.percentile(np.abs(_usable_edges(frame)), 99.0)) / RANGE_S * 100.0


def _centring_ns(frame: PlaybackFrame) -> float:
    return -float(np.median(_usable_edges(frame))) * 1e9


def _roll_lines(frame: PlaybackFrame) -> float:
    standard = frame.standard
    slice_level = 0.5 * (standard.sync_level + standard.blanking_level)
    low, wanted = ((video < slice_level).mean(axis=1) for video in (frame.demod, frame.template))
    spectra = [np.fft.rfft(np.minimum(part, 0.5) - np.median(part)) for part in (low, wanted)]
    likeness = np.fft.irfft(spectra[1] * np.conj(spectra[0]), low.size)
    best = int(np.argmax(likeness))
    whole = float(np.sum(np.square(np.minimum(wanted, 0.5) - np.median(wanted))))
    if likeness[best] < _LEAST_LIKENESS * whole:
        raise MeasurementError(wording("readings.vertical_position_no_vertical"))
    return float(best if best <= low.size // 2 else best - low.size)


@lru_cache(maxsize=1)
def _control_vector(frame: PlaybackFrame) -> complex:
    """Control track as amplitude and phase against the wheel: a fit of the sine at the wheel's rate."""
    level = frame.control_track.ravel()
    turns = np.arange(level.size) * (frame.standard.wheel_turns_per_frame / level.size)
    vector = complex(2.0 * np.mean(level * np.exp(-2j * np.pi * turns)) * 1j)
    if abs(vector) < _LEAST_CONTROL:
        raise MeasurementError(wording("readings.control_track_none_found"))
    return vector


def _control_phase_deg(frame: PlaybackFrame) -> float:
    return math.degrees(math.atan2(_control_vector(frame).imag, _control_vector(frame).real))


def _control_level_db(frame: PlaybackFrame) -> float:
    return 20.0 * math.log10(abs(_control_vector(frame)))


def _specs() -> tuple[MeasurementSpec, ...]:
    specs = [
        MeasurementSpec(
            "skew_us",
            wording("readings.lean_bands"),
            "us",
            wording("readings.how_much_further_left"),
            _skew_us,
            "bands",
        ),
        MeasurementSpec(
            "scallop_us",
            wording("readings.bow_bands"),
            "us",
            wording("readings.how_much_further_left_2"),
            _scallop_us,
            "bands",
        ),
        MeasurementSpec(
            "head_position_spread_ns",
            wording("readings.spread_heads_positions"),
            "ns",
            wording("readings.how_far_apart_bands"),
            _quadrature_spread_ns,
            "bands",
            signed=False,
        ),
        MeasurementSpec(
            "jitter_ns",
            wording("readings.jitter_lines"),
            "ns",
            wording("readings.rms_time_error_off"),
            _jitter_ns,
            "timing",
            signed=False,
        ),
        MeasurementSpec(
            "corrector_range_pct",
            wording("readings.range_corrector_use"),
            "%",
            wording("readings.largest_time_error_off"),
            _corrector_range_pct,
            "timing",
            signed=False,
        ),
        MeasurementSpec(
            "centring_ns",
            wording("readings.centring_corrector"),
            "ns",
            wording("readings.how_early_off_tape"),
            _centring_ns,
            "timing",
        ),
        MeasurementSpec(
            "roll_lines",
            wording("readings.vertical_position"),
            "lines",
            wording("readings.how_many_lines_picture"),
            _roll_lines,
            "timing",
        ),
        MeasurementSpec(
            "control_phase_deg",
            wording("readings.phase_control_track"),
            "deg",
            wording("readings.how_far_off_tape"),
            _control_phase_deg,
            "tracking",
            wording("readings.control_track"),
        ),
        MeasurementSpec(
            "control_level_db",
            wording("readings.level_control_track"),
            "dB",
            wording("readings.level_control_head_gives"),
            _control_level_db,
            "tracking",
            wording("readings.control_track"),
        ),
    ]
    for head in range(1, 5):
        specs.append(
            MeasurementSpec(
                f"head_position_ns_{head}",
                wording("readings.position_head_s_bands", head=head),
                "ns",
                wording("readings.how_much_further_left_3", head=head),
                partial(_head_position_ns, head=head),
                "bands",
                wording("readings.channel_2", head=head),
            )
        )
    return tuple(specs)


TIMING_READINGS = _specs()
"""Readings of time, and of the control track."""
