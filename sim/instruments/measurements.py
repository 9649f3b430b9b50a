"""Meters and measured readings, each taken from the signals of one frame.

Contents: `rf_levels_db`, `tracking_level_pct`, `MeasurementSpec`, `MEASUREMENTS`, `measure`.

Time readings follow one convention: positive is EARLY, further to the left on the picture.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.frame import PlaybackFrame
from sim.headwheel import HALF_PASS_RAD

__all__ = [
    "MEASUREMENTS",
    "MeasurementError",
    "MeasurementSpec",
    "measure",
    "rf_levels_db",
    "tracking_level_pct",
]

# A line takes part in a time reading only if its RF is above this (MODEL: safely over the FM threshold).
_LEAST_RF_FOR_TIMING = 0.1
# And if its edge lies within this of the fit; a click on an edge must not tilt a band (MODEL).
_OUTLIER_S = 1.0e-6


class MeasurementError(BandbenchError):
    """A reading that the present signals do not allow; says why."""


@dataclass(frozen=True)
class MeasurementSpec:
    """One reading: its name, unit, meaning, and how it is taken."""

    name: str
    label: str
    unit: str
    description: str
    measure: Callable[[PlaybackFrame], float]


def _line_level(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Rms RF amplitude of each line up to the moment the switcher may turn over, (lines,)."""
    power = np.square(frame.rf.real) + np.square(frame.rf.imag)
    lead = frame.schedule.switch_lead
    samples = slice(None, -lead) if lead > 0 else slice(-lead, None)
    one_head = power.reshape(frame.guide_error_s.shape)[:, samples]
    return np.asarray(np.sqrt(one_head.mean(axis=1, dtype=np.float64)))


# A dozen readings are taken of one frame: levels and fit are worked out once.
@lru_cache(maxsize=1)
def _levels(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Rms RF amplitude of the bands each head draws, heads in wheel order from the head of the first band.

    0 for each where nothing comes off the tape.
    """
    if not frame.off_tape:
        return np.zeros(4)
    level = _line_level(frame)
    passes = frame.pass_of_line
    heads = np.asarray(frame.head_of_line)
    result = np.full(4, np.nan)
    for slot in range(4):
        chosen = passes % 4 == slot
        head = int(heads[chosen][0]) or _missing_head(heads, passes, slot)
        result[head - 1] = math.sqrt(float(np.mean(np.square(level[chosen]))))
    return result


def _missing_head(heads: NDArray[np.int8], passes: NDArray[np.int64], slot: int) -> int:
    """Number of a head whose channel is off, told from its neighbours on the wheel."""
    for step in range(1, 4):
        neighbour = int(heads[passes % 4 == (slot + step) % 4][0])
        if neighbour:
            return (neighbour - 1 - step) % 4 + 1
    return slot + 1


def rf_levels_db(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Return the RF level of heads 1 to 4 at the switcher's output, against nominal [dB], shape (4,); -inf for none."""
    levels = _levels(frame)
    return 20.0 * np.log10(levels, out=np.full(4, -np.inf), where=levels > 0.0)


def tracking_level_pct(frame: PlaybackFrame) -> float:
    """Return the tracking meter's reading: mean RF amplitude of the four heads, in percent of nominal."""
    return 100.0 * float(np.mean(_levels(frame)))


def _rf_level_db(frame: PlaybackFrame) -> float:
    return 20.0 * math.log10(float(np.mean(_levels(frame))))


def _head_level_db(frame: PlaybackFrame, head: int) -> float:
    return float(rf_levels_db(frame)[head - 1])


@lru_cache(maxsize=1)
def _band_fit(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Fit lean, bow and the four heads' positions to the sync edges; returns six numbers [s], early positive.

    Raises MeasurementError when too few lines have usable sync.
    """
    edges = frame.sync_edges_s
    passes = frame.pass_of_line
    standard = frame.standard
    first_sample = np.arange(standard.lines_per_frame) * standard.samples_per_line
    basis = np.zeros((edges.size, 6))
    sine, cosine = (
        np.roll(values[first_sample], -frame.lines_early) for values in (frame.schedule.sine, frame.schedule.cosine)
    )
    basis[:, 0] = sine / (2.0 * math.sin(HALF_PASS_RAD))
    basis[:, 1] = -cosine / (1.0 - math.cos(HALF_PASS_RAD))
    basis[np.arange(edges.size), 2 + passes % 4] = 1.0
    usable = np.isfinite(edges) & (_line_level(frame) > _LEAST_RF_FOR_TIMING)
    early = -np.where(np.isfinite(edges), edges, 0.0)
    fit: NDArray[np.float64] = np.zeros(6)
    for _ in range(3):
        counts = np.bincount(passes[usable] % 4, minlength=4)
        if np.count_nonzero(counts >= 16) < 2:
            raise MeasurementError("too few lines with usable sync: fewer than two heads give enough RF")
        fit = np.asarray(np.linalg.lstsq(basis[usable], early[usable], rcond=None)[0], dtype=np.float64)
        fit[2:][counts < 16] = np.nan
        residual = np.abs(early - basis @ np.nan_to_num(fit))
        usable &= residual < max(_OUTLIER_S, 3.0 * float(np.median(residual[usable])))
    return fit


def _skew_us(frame: PlaybackFrame) -> float:
    return float(_band_fit(frame)[0]) * 1e6


def _scallop_us(frame: PlaybackFrame) -> float:
    return float(_band_fit(frame)[1]) * 1e6


def _head_position_ns(frame: PlaybackFrame, head: int) -> float:
    positions = _band_fit(frame)[2:]
    slots = frame.pass_of_line % 4
    chosen = np.flatnonzero(frame.head_of_line == head)
    if chosen.size == 0 or not math.isfinite(positions[slots[chosen[0]]]):
        raise MeasurementError(f"head {head} gives no usable sync: its channel is off or its RF too low")
    return float(positions[slots[chosen[0]]] - np.nanmean(positions)) * 1e9


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


def _specs() -> list[MeasurementSpec]:
    specs = [
        MeasurementSpec(
            "rf_level_db",
            "RF level",
            "dB",
            "Mean RF level of the four heads at the switcher's output, against a good head on its track.",
            _rf_level_db,
        ),
        MeasurementSpec(
            "skew_us",
            "Lean of the bands",
            "us",
            "How much further left the bottom of a band stands than its top, from the off-tape sync.",
            _skew_us,
        ),
        MeasurementSpec(
            "scallop_us",
            "Bow of the bands",
            "us",
            "How much further left the ends of a band stand than its middle, from the off-tape sync.",
            _scallop_us,
        ),
        MeasurementSpec(
            "noise_db",
            "Picture signal to noise",
            "dB",
            "Blanking to white over rms noise, on the blank lines before the picture of the first field.",
            _noise_db,
        ),
    ]
    for head in range(1, 5):
        specs += [
            MeasurementSpec(
                f"rf_level_db_{head}",
                f"RF level of head {head}",
                "dB",
                f"RF level of the bands of head {head} at the switcher's output, against a good head on its track.",
                partial(_head_level_db, head=head),
            ),
            MeasurementSpec(
                f"head_position_ns_{head}",
                f"Position of head {head}'s bands",
                "ns",
                f"How much further left the bands of head {head} stand than the mean of all heads.",
                partial(_head_position_ns, head=head),
            ),
        ]
    return specs


MEASUREMENTS: Mapping[str, MeasurementSpec] = MappingProxyType({spec.name: spec for spec in _specs()})


def measure(frame: PlaybackFrame, name: str) -> float:
    """Return one reading of a frame in the unit its `MEASUREMENTS` entry states.

    Raises
    ------
    UnknownNameError
        If there is no such reading.
    MeasurementError
        If the present signals do not allow it.

    Examples
    --------
    >>> from sim.recorder import Recorder
    >>> frame = Recorder(controls={"guide_position_um": 25.4}).play_frame(0)
    >>> round(measure(frame, "skew_us"), 1)
    0.9
    """
    if name not in MEASUREMENTS:
        raise UnknownNameError("measurement", name, MEASUREMENTS)
    if not frame.off_tape:
        raise MeasurementError("no tape is being played, so nothing comes off it to be read")
    return MEASUREMENTS[name].measure(frame)
