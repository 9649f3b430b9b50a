"""Automatic guide positioning: a slow servo that moves the guide until the bands stand upright.

Contents: `GuideServo`, `GUIDE_RANGE_UM`.
"""

from __future__ import annotations

import math

from sim.headwheel import skew_s
from sim.servos.settings import ServoError, check_step
from sim.standards import Standard

__all__ = ["GUIDE_RANGE_UM", "GuideServo"]

# MODEL: how far the servo may move the guide either way, how slowly it works and how fast its motor runs at most. Wide
# enough for small errors only: a guide that is knocked has to be set.
GUIDE_RANGE_UM = 40.0
_TIME_CONSTANT_S = 1.5
_FASTEST_UM_PER_S = 15.0


class GuideServo:
    """The servo that takes the measured lean of the bands and moves the guide against it.

    Parameters
    ----------
    standard : Standard
        Fixes how much lean a guide displacement makes.

    Attributes
    ----------
    correction_um : float
        What is to be added to the guide's displacement along its middle radius [um], at most 40 either way.
    at_limit : bool
        Whether the servo has come to the end of its range.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> servo = GuideServo(get_standard("525/60"))
    >>> guide_um = 20.0
    >>> for _ in range(2000):
    ...     correction_um = servo.step(0.01, skew_s(guide_um + servo.correction_um, servo.standard) * 1e6)
    >>> round(correction_um, 2), servo.at_limit
    (-20.0, False)
    """

    def __init__(self, standard: Standard) -> None:
        self.standard = standard
        self._us_per_um = skew_s(1.0, standard) * 1e6
        self.correction_um = 0.0

    @property
    def at_limit(self) -> bool:
        """Whether the servo has come to the end of its range."""
        return abs(self.correction_um) >= GUIDE_RANGE_UM

    def step(self, dt_s: float, skew_us: float | None, on: bool = True) -> float:
        """Let time pass and return the correction.

        Parameters
        ----------
        dt_s : float
            How much [s], up to 0.1 s.
        skew_us : float or None
            Lean of the bands as it is measured now, with the correction at work [us]: positive when the bottom of a
            band stands further left than its top (the measurement `skew_us`). None without a reading, which leaves the
            guide where it is.
        on : bool
            Whether the servo is switched on; when it is off the guide goes back to where it was set.

        Raises
        ------
        ServoError
            If `dt_s` is not above 0 and at most 0.1 s, or the reading is not finite.
        """
        check_step(dt_s)
        if skew_us is not None and not math.isfinite(skew_us):
            raise ServoError(f"lean of the bands {skew_us!r} us: use a finite number, or None without a reading")
        if not on:
            away_um = self.correction_um
        elif skew_us is None:
            return self.correction_um
        else:
            away_um = skew_us / self._us_per_um
        most_um = _FASTEST_UM_PER_S * dt_s
        move_um = min(max(away_um * math.expm1(-dt_s / _TIME_CONSTANT_S), -most_um), most_um)
        self.correction_um = min(max(self.correction_um + move_um, -GUIDE_RANGE_UM), GUIDE_RANGE_UM)
        return self.correction_um
