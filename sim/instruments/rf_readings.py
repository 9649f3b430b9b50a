"""Readings of the RF at the switcher's output: level of each head, shape of its bursts, dropouts.

Contents: `rf_levels_db`, `tracking_level_pct`, `line_rf_level`, `missing_head`, `dropouts`, `RF_READINGS`.
"""

from __future__ import annotations

import math
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from sim.frame import PlaybackFrame
from sim.instruments.specs import MeasurementError, MeasurementSpec
from sim.wording import wording

__all__ = ["RF_READINGS", "dropouts", "line_rf_level", "missing_head", "rf_levels_db", "tracking_level_pct"]

# Parts of a pass, from its middle (0) to its ends (1), that count as middle and as ends (MODEL: a third each, the
# last bit left out, where the switcher may turn over).
_MIDDLE = (0.0, 0.33)
_ENDS = (0.67, 0.97)
# A dropout is where the RF has fallen this far below its head's own level, averaged over so long, for at least as
# long: compensators trip at about 10 dB, dropouts run from 1-2 us upward (both QUOTED); the average is MODEL.
_DROPOUT_DB = -10.0
_DETECTOR_S = 0.5e-6
_SHORTEST_S = 1.0e-6
# A head below this is no head whose dropouts can be told from its noise (MODEL: 10 dB over the FM threshold).
_LEAST_RF = 0.1


@lru_cache(maxsize=1)
def line_rf_level(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Return the rms RF amplitude of each line up to the moment the switcher may turn over, (lines,) (read only)."""
    power = np.square(frame.rf.real) + np.square(frame.rf.imag)
    lead = frame.schedule.switch_lead
    samples = slice(None, -lead) if lead > 0 else slice(-lead, None)
    one_head = power.reshape(frame.guide_error_s.shape)[:, samples]
    level = np.asarray(np.sqrt(one_head.mean(axis=1, dtype=np.float64)))
    level.setflags(write=False)
    return level


# A dozen readings are taken of one frame: levels are worked out once.
@lru_cache(maxsize=1)
def _levels(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Rms RF amplitude of the bands each head draws, heads in wheel order from the head of the first band.

    0 for each where nothing comes off the tape.
    """
    if not frame.off_tape:
        return np.zeros(4)
    level = line_rf_level(frame)
    passes = frame.pass_of_line
    heads = np.asarray(frame.head_of_line)
    result = np.full(4, np.nan)
    for slot in range(4):
        chosen = passes % 4 == slot
        head = int(heads[chosen][0]) or missing_head(heads, passes, slot)
        result[head - 1] = math.sqrt(float(np.mean(np.square(level[chosen]))))
    return result


def missing_head(heads: NDArray[np.int8], passes: NDArray[np.int64], slot: int) -> int:
    """Return the number of a head whose channel is off, told from its neighbours on the wheel."""
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


def _played_heads(frame: PlaybackFrame) -> list[int]:
    return [head for head in range(1, 5) if np.any(frame.head_of_line == head)]


def _spread_db(frame: PlaybackFrame) -> float:
    heads = _played_heads(frame)
    if len(heads) < 2:
        raise MeasurementError(wording("readings.spread_rf_levels_fewer"))
    levels = rf_levels_db(frame)[[head - 1 for head in heads]]
    return float(np.ptp(levels))


@lru_cache(maxsize=1)
def _end_falls(frame: PlaybackFrame) -> NDArray[np.float64]:
    """By how much the lower end of each head's passes lies below their middle [dB], (4,); NaN for a channel off."""
    if frame.lines_early:
        raise MeasurementError(wording("readings.fall_rf_ends_picture"))
    envelope, along = frame.rf_envelope.ravel(), frame.schedule.along
    head_of_slot = np.zeros(4, dtype=np.int64)
    passes = frame.pass_of_line
    for slot in range(4):
        head_of_slot[slot] = frame.head_of_line[passes % 4 == slot][0]
    heads = head_of_slot[frame.schedule.pass_of_sample % 4]
    result = np.full(4, np.nan)
    for head in _played_heads(frame):
        own = heads == head
        middle = _rms(envelope[own & (np.abs(along) < _MIDDLE[1])])
        ends = [_rms(envelope[own & (side * along > _ENDS[0]) & (side * along < _ENDS[1])]) for side in (-1, 1)]
        if min(middle, *ends) > 0.0:
            result[head - 1] = 20.0 * math.log10(middle / min(ends))
    return result


def _rms(values: NDArray[np.floating]) -> float:
    return math.sqrt(float(np.mean(np.square(values, dtype=np.float64))))


def _end_fall_db(frame: PlaybackFrame, head: int) -> float:
    fall = float(_end_falls(frame)[head - 1])
    if not math.isfinite(fall):
        raise MeasurementError(wording("readings.head_gives_no_rf", head=head))
    return fall


def _worst_end_fall_db(frame: PlaybackFrame) -> float:
    falls = _end_falls(frame)
    if np.isnan(falls).all():
        raise MeasurementError(wording("readings.fall_rf_ends_all"))
    return float(np.nanmax(falls))


@lru_cache(maxsize=1)
def dropouts(frame: PlaybackFrame) -> NDArray[np.float64]:
    """Return how long each dropout of a frame lasts [s], (dropouts,), in time order.

    A dropout is where the RF, averaged over 0.5 us, lies 10 dB or more below the level of its own head for at least
    1 us. Heads whose channel is off, or which give next to nothing, are passed over.

    Raises
    ------
    MeasurementError
        If no head gives enough RF.
    """
    rate_hz = frame.standard.sample_rate_hz
    power = np.square(frame.rf.real, dtype=np.float64) + np.square(frame.rf.imag, dtype=np.float64)
    width = max(1, round(_DETECTOR_S * rate_hz))
    total = np.cumsum(np.concatenate((power[-(width // 2) :], power, power[: width - width // 2])))
    smooth = (total[width:] - total[:-width])[: power.size] / width
    # One pass after the other: the level of a head is the median of its pass, which no dropout moves.
    low = np.zeros(power.size, dtype=np.bool_)
    usable = False
    edges = np.clip(np.append(frame.schedule.switch_sample, power.size), 0, power.size)
    for begin, end in zip(np.append(0, edges[:-1]), edges, strict=True):
        if end > begin:
            level = float(np.median(smooth[begin:end]))
            if level > _LEAST_RF**2:
                usable = True
                low[begin:end] = smooth[begin:end] < level * 10.0 ** (_DROPOUT_DB / 10.0)
    if not usable:
        raise MeasurementError(wording("readings.dropouts_no_head_gives"))
    change = np.diff(low.astype(np.int8), prepend=0, append=0)
    lasting_s = (np.flatnonzero(change < 0) - np.flatnonzero(change > 0)) / rate_hz
    return np.asarray(lasting_s[lasting_s >= _SHORTEST_S])


def _dropout_count(frame: PlaybackFrame) -> float:
    return float(dropouts(frame).size)


def _longest_dropout_us(frame: PlaybackFrame) -> float:
    return float(np.max(dropouts(frame), initial=0.0)) * 1e6


def _lost_pct(frame: PlaybackFrame) -> float:
    return 100.0 * float(dropouts(frame).sum()) * frame.standard.frame_rate_hz


def _specs() -> tuple[MeasurementSpec, ...]:
    specs = [
        MeasurementSpec(
            "rf_level_db",
            wording("readings.rf_level"),
            "dB",
            wording("readings.mean_rf_level_four"),
            _rf_level_db,
        ),
        MeasurementSpec(
            "rf_spread_db",
            wording("readings.spread_rf_levels"),
            "dB",
            wording("readings.rf_level_strongest_head"),
            _spread_db,
            needs=wording("readings.two_more_channels"),
            signed=False,
        ),
        MeasurementSpec(
            "rf_end_fall_db",
            wording("readings.fall_rf_ends_worst"),
            "dB",
            wording("readings.how_much_rf_lower"),
            _worst_end_fall_db,
        ),
        MeasurementSpec(
            "dropouts_per_frame",
            wording("readings.dropouts_frame"),
            "dropouts",
            wording("readings.how_often_rf_falls"),
            _dropout_count,
            signed=False,
        ),
        MeasurementSpec(
            "longest_dropout_us",
            wording("readings.longest_dropout"),
            "us",
            wording("readings.how_long_longest_dropout"),
            _longest_dropout_us,
            signed=False,
        ),
        MeasurementSpec(
            "dropout_share_pct",
            wording("readings.time_lost_dropouts"),
            "%",
            wording("readings.share_frame_lies_dropouts"),
            _lost_pct,
            signed=False,
        ),
    ]
    for head in range(1, 5):
        specs += [
            MeasurementSpec(
                f"rf_level_db_{head}",
                wording("readings.rf_level_head", head=head),
                "dB",
                wording("readings.rf_level_bands_head", head=head),
                partial(_head_level_db, head=head),
            ),
            MeasurementSpec(
                f"rf_end_fall_db_{head}",
                wording("readings.fall_rf_ends_head", head=head),
                "dB",
                wording("readings.how_much_rf_head", head=head),
                partial(_end_fall_db, head=head),
                needs=wording("readings.channel_2", head=head),
            ),
        ]
    return tuple(specs)


RF_READINGS = _specs()
"""Readings of the RF."""
