"""Slip rings and brushes: the contacts that carry each head's signal off the turning wheel.

Contents: `contact_level`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.headwheel import PassSchedule
from sim.standards import Standard

__all__ = ["contact_level"]

# MODEL: a brush that jumps leaves its head this far down, for times around this median, spread by this factor.
_LIFTED_DB = -26.0
_MEDIAN_LIFT_S = 60e-6
_LIFT_SPREAD = 0.7


def contact_level(
    lifts_per_turn: tuple[float, float, float, float],
    playing: NDArray[np.integer],
    schedule: PassSchedule,
    standard: Standard,
    index: int,
    seed: int,
) -> NDArray[np.float32] | None:
    """Return the RF level that the contacts pass in one frame, or None if they all hold.

    Parameters
    ----------
    lifts_per_turn : four floats
        How often the brush of heads 1 to 4 loses its ring, on average, in a turn of the wheel.
    playing : ndarray of int, (passes,)
        Head, 0 to 3, of each pass.
    schedule : PassSchedule
        Which samples belong to which pass.
    standard : Standard
        Fixes the sampling.
    index, seed : int
        Frame number and seed; the same give the same contacts.

    Returns
    -------
    ndarray of float32, (samples_per_frame,)
        Level, 1 = good contact.

    Notes
    -----
    MODEL: moments at random in the turn, so a frame's share falls in the head's own passes only. The noise of the
    channel amplifiers comes behind the contact and stays.
    """
    if not any(lifts_per_turn):
        return None
    generator = np.random.default_rng([seed, 5, index])
    level = np.ones(standard.samples_per_frame, dtype=np.float32)
    heads = playing[schedule.pass_of_sample]
    lifted = np.float32(10.0 ** (_LIFTED_DB / 20.0))
    for head, rate in enumerate(lifts_per_turn):
        count = int(generator.poisson(rate * standard.wheel_turns_per_frame))
        starts = generator.integers(0, standard.samples_per_frame, count)
        lasts_s = _MEDIAN_LIFT_S * np.exp(_LIFT_SPREAD * generator.standard_normal(count))
        for start, samples in zip(starts, np.ceil(lasts_s * standard.sample_rate_hz).astype(np.intp), strict=True):
            window = slice(int(start), int(start + samples))
            level[window] = np.where(heads[window] == head, lifted, level[window])
    return level
