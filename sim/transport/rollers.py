"""What the tape moves on its way: the tension arms and the roller of the tape timer.

Contents: `TensionArm`, `TapeTimer`, `timer_text`.
"""

from __future__ import annotations

import math

__all__ = ["ARM_FULL_N", "TapeTimer", "TensionArm", "timer_text"]

# MODEL: the tension that lays an arm against its far stop, its natural frequency and damping.
ARM_FULL_N = 8.0
_ARM_HZ = 1.5
_ARM_DAMPING = 0.7


class TensionArm:
    """A sprung arm that the tape pulls over: a mass on a spring between two stops.

    Attributes
    ----------
    position : float
        0 against the slack stop, 1 against the tight stop, in between the tension over `ARM_FULL_N`.
    speed_per_s : float
        Change of the position [1/s].
    """

    __slots__ = ("_decay", "_dt_s", "_gain", "_pull", "_swing", "position", "speed_per_s")

    def __init__(self) -> None:
        self.position = 0.0
        self.speed_per_s = 0.0
        self._dt_s = 0.0

    def step(self, dt_s: float, tension_n: float) -> None:
        """Move for a step during which the tension stays [N].

        Notes
        -----
        DERIVED: the exact solution of ``x'' = w^2 (u - x) - 2 z w x'`` for a constant ``u``; at a stop the arm rests.
        """
        if dt_s != self._dt_s:
            self._prepare(dt_s)
        wanted = tension_n / ARM_FULL_N
        if wanted > 1.0:
            wanted = 1.0
        away, speed = self.position - wanted, self.speed_per_s
        position = wanted + self._decay * away + self._swing * speed
        self.speed_per_s = self._pull * away + self._gain * speed
        if position < 0.0 or position > 1.0:
            position = 0.0 if position < 0.0 else 1.0
            self.speed_per_s = 0.0
        self.position = position

    def settle(self, tension_n: float) -> None:
        """Let the arm come to rest under a tension [N]."""
        self.position = min(max(tension_n / ARM_FULL_N, 0.0), 1.0)
        self.speed_per_s = 0.0

    def _prepare(self, dt_s: float) -> None:
        natural = 2.0 * math.pi * _ARM_HZ
        damped = natural * math.sqrt(1.0 - _ARM_DAMPING**2)
        fall = math.exp(-_ARM_DAMPING * natural * dt_s)
        cosine, sine = math.cos(damped * dt_s), math.sin(damped * dt_s)
        lean = _ARM_DAMPING * natural / damped
        self._decay = fall * (cosine + lean * sine)
        self._swing = fall * sine / damped
        self._pull = -fall * natural * natural / damped * sine
        self._gain = fall * (cosine - lean * sine)
        self._dt_s = dt_s


class TapeTimer:
    """Counts the tape's way in seconds of play, by a roller of its own; reset by hand.

    Parameters
    ----------
    nominal_m_per_s : float
        Tape speed at which it counts a second a second [m/s].

    Attributes
    ----------
    seconds : float
        What it reads [s], negative before the place where it was reset.
    """

    __slots__ = ("_nominal_m_per_s", "seconds")

    def __init__(self, nominal_m_per_s: float) -> None:
        self._nominal_m_per_s = nominal_m_per_s
        self.seconds = 0.0

    def roll(self, way_m: float, slip_ppm: float) -> None:
        """Count `way_m` of tape [m], less what the roller slips [millionths]."""
        self.seconds += way_m * (1.0 - 1e-6 * slip_ppm) / self._nominal_m_per_s

    def reset(self) -> None:
        """Set it to 0 by hand."""
        self.seconds = 0.0


def timer_text(seconds: float) -> str:
    """Return a time as the timer shows it, in whole seconds towards 0.

    Examples
    --------
    >>> timer_text(3725.9), timer_text(-61.0), timer_text(-0.4)
    ('1:02:05', '-0:01:01', '0:00:00')
    """
    whole = int(abs(seconds))
    sign = "-" if seconds < 0.0 and whole else ""
    return f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
