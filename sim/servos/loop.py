"""The second-order loop of a phase servo, moved on exactly, and a small generator of chance for the steps.

Contents: `PhaseLoop`, `Chance`.
"""

from __future__ import annotations

import math

__all__ = ["Chance", "PhaseLoop"]

# A step in which the drive reaches its limit is cut into this many, because the limit sets in somewhere inside it.
_PIECES = 4
# Sets of coefficients kept; a gain control that is being turned makes a new one at every touch.
_MOST_KEPT = 32
# MODEL: unsteadiness is not made more than this many times as large by the loop, because its peaks meet the limits.
_LARGEST_UNSTEADINESS = 10.0


class PhaseLoop:
    """A motor that a phase detector drives: second order, with a lag that makes too high a gain hunt.

    With the phase error `x`, its rate `v`, the gain `k` (1 = right) and a disturbing acceleration `f`

        x' = v,   v' = -k w^2 (x - lag v) - c v + f

    The rate feedback `c` is not touched by the gain; the lag of the phase path works against it in proportion to the
    gain. Hence the natural frequency is `w sqrt(k)` and the damping falls to nothing at `k = hunting_gain`. The phase
    path (the first term) ends at a limit, so that beyond that gain the loop hunts with a bounded swing.

    Parameters
    ----------
    natural_rad_per_s : float
        Natural frequency at the right gain [rad/s].
    damping : float
        Damping ratio at the right gain; 1 is critical.
    hunting_gain : float
        Gain at which the damping is gone, above 1.

    Examples
    --------
    >>> loop = PhaseLoop(9.0, 1.0, 4.0)
    >>> round(loop.damping_ratio(1.0), 3), round(loop.damping_ratio(2.0), 3), round(loop.damping_ratio(4.0), 3)
    (1.0, 0.471, 0.0)
    >>> x, v = 1.0, 0.0
    >>> for _ in range(100):
    ...     x, v = loop.advance(x, v, 0.01, 1.0)
    >>> abs(x - (1.0 + 9.0) * math.exp(-9.0)) < 1e-12
    True
    """

    def __init__(self, natural_rad_per_s: float, damping: float, hunting_gain: float) -> None:
        self.natural_rad_per_s = natural_rad_per_s
        self.hunting_gain = hunting_gain
        self.rate_feedback_per_s = 2.0 * damping * natural_rad_per_s / (1.0 - 1.0 / hunting_gain)
        self.lag_s = self.rate_feedback_per_s / (hunting_gain * natural_rad_per_s**2)
        self._kept: dict[tuple[float, float], tuple[float, ...]] = {}

    def natural(self, gain: float) -> float:
        """Return the natural frequency at a gain [rad/s]."""
        return self.natural_rad_per_s * math.sqrt(gain)

    def damping_ratio(self, gain: float) -> float:
        """Return the damping ratio at a gain: below 0 a swing grows up to the limits."""
        return self._damping_per_s(gain) / (2.0 * self.natural(gain))

    def unsteadiness(self, gain: float) -> float:
        """Return how much larger than at the right gain the rms error under a random torque is.

        Notes
        -----
        DERIVED: the variance under white torque is proportional to 1 / (damping x stiffness) of the loop. At most 10.
        """
        damping = self._damping_per_s(gain) * gain
        least = self._damping_per_s(1.0) / _LARGEST_UNSTEADINESS**2
        return math.sqrt(self._damping_per_s(1.0) / max(damping, least))

    def advance(
        self, position: float, rate: float, dt_s: float, gain: float, force: float = 0.0, limit: float = math.inf
    ) -> tuple[float, float]:
        """Return the phase error and its rate one step later.

        Parameters
        ----------
        position, rate : float
            Phase error in any unit, and its rate in that unit a second.
        dt_s : float
            Step [s].
        gain : float
            Loop gain, above 0; 1 is right.
        force : float
            Acceleration from outside, constant over the step.
        limit : float
            Largest acceleration that the phase path can give, 0 or more.

        Notes
        -----
        Exact (the matrix exponential) inside the limit, and exact at the limit; only the moment at which one gives way
        to the other is taken to a quarter of the step.
        """
        step = self._coefficients(dt_s, gain)
        next_position, next_rate = _linear(position, rate, force, step)
        stiffness, lag_s = step[4], self.lag_s
        if (
            stiffness * abs(position - lag_s * rate) <= limit
            and stiffness * abs(next_position - lag_s * next_rate) <= limit
        ):
            return next_position, next_rate
        piece = self._coefficients(dt_s / _PIECES, gain)
        for _ in range(_PIECES):
            drive = -stiffness * (position - lag_s * rate)
            if abs(drive) <= limit:
                position, rate = _linear(position, rate, force, piece)
            else:
                # x' = v, v' = a - c v with the drive at its limit.
                settled = (math.copysign(limit, drive) + force) / self.rate_feedback_per_s
                fading = (rate - settled) * piece[5]
                position += settled * dt_s / _PIECES + (rate - settled - fading) / self.rate_feedback_per_s
                rate = settled + fading
        return position, rate

    def _damping_per_s(self, gain: float) -> float:
        return self.rate_feedback_per_s * (1.0 - gain / self.hunting_gain)

    def _coefficients(self, dt_s: float, gain: float) -> tuple[float, ...]:
        """Return the four of the matrix exponential, the stiffness, and the decay of the rate at the limit."""
        key = (dt_s, gain)
        found = self._kept.get(key)
        if found is None:
            stiffness = gain * self.natural_rad_per_s**2
            half = 0.5 * self._damping_per_s(gain)
            inside = half * half - stiffness
            root = math.sqrt(abs(inside))
            if root * dt_s < 1e-6:
                even, odd = 1.0, dt_s
            elif inside > 0.0:
                even, odd = math.cosh(root * dt_s), math.sinh(root * dt_s) / root
            else:
                even, odd = math.cos(root * dt_s), math.sin(root * dt_s) / root
            decay = math.exp(-half * dt_s)
            found = (
                decay * (even + half * odd),
                decay * odd,
                -decay * stiffness * odd,
                decay * (even - half * odd),
                stiffness,
                math.exp(-self.rate_feedback_per_s * dt_s),
            )
            if len(self._kept) >= _MOST_KEPT:
                self._kept.clear()
            self._kept[key] = found
        return found


def _linear(position: float, rate: float, force: float, step: tuple[float, ...]) -> tuple[float, float]:
    rest = force / step[4]
    away = position - rest
    return rest + step[0] * away + step[1] * rate, step[2] * away + step[3] * rate


class Chance:
    """Numbers by chance from a seed, one at a time and cheaply: a linear congruential generator of 64 bits.

    Parameters
    ----------
    seed : int
        Any whole number.
    stream : int
        Keeps two generators of the same seed apart.

    Examples
    --------
    >>> one, other = Chance(1, 0), Chance(1, 0)
    >>> [one.uniform() for _ in range(3)] == [other.uniform() for _ in range(3)]
    True
    """

    _MASK = (1 << 64) - 1

    def __init__(self, seed: int, stream: int) -> None:
        # Stirred, because neighbouring seeds would else begin with neighbouring numbers.
        state = (seed * 0x9E3779B97F4A7C15 + stream * 0xD1B54A32D192ED03 + 1) & self._MASK
        for factor in (0xBF58476D1CE4E5B9, 0x94D049BB133111EB, 0xBF58476D1CE4E5B9):
            state = ((state ^ (state >> 31)) * factor) & self._MASK
        self._state = state ^ (state >> 29)

    def uniform(self) -> float:
        """Return a number from 0 to 1, 1 left out."""
        # Multiplier and increment of Knuth's MMIX (from memory).
        self._state = (self._state * 6364136223846793005 + 1442695040888963407) & self._MASK
        return (self._state >> 11) * 2.0**-53

    def around_zero(self) -> float:
        """Return a number whose mean is 0 and whose rms is 1: the sum of three even ones, at most 3 either way."""
        return 2.0 * (self.uniform() + self.uniform() + self.uniform()) - 3.0
