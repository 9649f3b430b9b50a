"""Playback level against record current, with the four heads' operating points.

Contents: `CurrentPoint`, `RecordCurrentDrawing`, `record_current_drawing`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.headtape import record_current_db, wavelength_m
from sim.standards import FOOTPRINT, Standard
from sim.wording import wording

__all__ = ["CurrentPoint", "RecordCurrentDrawing", "record_current_drawing"]

# The currents that are drawn [% of nominal]: the range of the control (MODEL).
_CURRENTS_PCT = tuple(float(value) for value in range(10, 251, 6))
# Practice sets each head at its peak or up to this much past it (MEMORY).
PAST_PEAK_DB = -0.5
# Halvings of an interval of 100 %: to a millionth.
_HALVINGS = 27
# Levels within this of the peak count as at it [dB] (MODEL: less than an RF meter shows).
_AT_PEAK_DB = 0.05


@dataclass(frozen=True)
class CurrentPoint:
    """How one head records.

    Attributes
    ----------
    head : int
        1 to 4.
    current_pct : float
        Its record current [% of nominal].
    level_db : float
        What that leaves on playback, against the peak [dB].
    peak_pct : float
        The current of its peak [% of nominal].
    past_peak_pct : float
        The current past its peak at which the level has fallen by 0.5 dB [% of nominal].
    state : str
        "below the peak", "at the peak", "past the peak" or "far past the peak".
    curve_db : tuple of float
        Level at each of `RecordCurrentDrawing.currents_pct` [dB].
    """

    head: int
    current_pct: float
    level_db: float
    peak_pct: float
    past_peak_pct: float
    state: str
    curve_db: tuple[float, ...]


@dataclass(frozen=True)
class RecordCurrentDrawing:
    """What the record-current drawing shows.

    Attributes
    ----------
    wavelength_m : float
        Recorded wavelength for which the levels are given [m].
    currents_pct : tuple of float
        Currents of the curves [% of nominal].
    heads : four CurrentPoint
        The four heads.
    past_peak_db : float
        Level at `CurrentPoint.past_peak_pct` [dB].
    sentence : str
        What the drawing shows.
    """

    wavelength_m: float
    currents_pct: tuple[float, ...]
    heads: tuple[CurrentPoint, ...]
    past_peak_db: float
    sentence: str


def record_current_drawing(
    standard: Standard, carrier_hz: float, currents_pct: Sequence[float], best_pct: Sequence[float]
) -> RecordCurrentDrawing:
    """Return what the record-current drawing shows.

    Parameters
    ----------
    standard : Standard
        Fixes the tip speed.
    carrier_hz : float
        The RF frequency that is recorded [Hz].
    currents_pct : four floats
        Record current of each head [% of nominal].
    best_pct : four floats
        Record current of each head's playback peak [% of nominal] (`Condition.record_current_best_pct`).

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> drawing = record_current_drawing(get_standard("525/60"), 9e6, (100.0,) * 4, (100.0, 90.0, 130.0, 100.0))
    >>> [point.state for point in drawing.heads]
    ['at the peak', 'past the peak', 'below the peak', 'at the peak']
    """
    wave_m = float(wavelength_m(carrier_hz, FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz)))

    def level_db(current_pct: float, best: float) -> float:
        return float(record_current_db(100.0 * current_pct / best, wave_m))

    past_share = _past_peak_share(wave_m)
    heads = []
    for head, (current, best) in enumerate(zip(currents_pct, best_pct, strict=True)):
        level = level_db(current, best)
        if level >= -_AT_PEAK_DB:
            state = "at the peak"
        elif current < best:
            state = "below the peak"
        else:
            state = "past the peak" if level >= PAST_PEAK_DB else "far past the peak"
        curve = tuple(level_db(value, best) for value in _CURRENTS_PCT)
        heads.append(CurrentPoint(head + 1, float(current), level, float(best), past_share * best, state, curve))
    each = "; ".join(
        wording(
            f"drawings.recordcurrent.{point.state.replace(' ', '_')}",
            head=point.head,
            down_db=f"{abs(point.level_db):.1f}",
        )
        for point in heads
    )
    return RecordCurrentDrawing(
        wavelength_m=wave_m,
        currents_pct=_CURRENTS_PCT,
        heads=tuple(heads),
        past_peak_db=PAST_PEAK_DB,
        sentence=wording("drawings.recordcurrent.sentence", wave_um=f"{wave_m * 1e6:.1f}", each=each),
    )


def _past_peak_share(wave_m: float) -> float:
    """Return the current, over that of the peak, at which the level has fallen by `PAST_PEAK_DB` past the peak."""
    low, high = 1.0, 2.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if float(record_current_db(100.0 * middle, np.float64(wave_m))) > PAST_PEAK_DB:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
