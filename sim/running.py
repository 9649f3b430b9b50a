"""How wheel and tape run while one frame is played, and what a wheel out of step does to the frame.

Contents: `Running`, `LOCKED`, `line_errors_s`, `Moved`, `speed_level`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sim.standards import Practice, Standard

__all__ = ["LOCKED", "Moved", "Running", "line_errors_s", "speed_level"]

_Kind = TypeVar("_Kind", bound=np.generic)

# A wheel further from its speed than this gives the discriminator nothing that it can follow (MODEL).
_LARGEST_SPEED_ERROR = 0.15
# Errors up to this many samples are left to the discriminator's filter, which moves each line smoothly (MODEL: well
# inside the blanking that it takes along with each line).
_SMOOTH_SAMPLES = 8.0


@dataclass(frozen=True)
class Running:
    """How wheel and tape run while one frame is played; the default is everything locked.

    Attributes
    ----------
    control_phase_deg : float or None
        Phase of the off-tape control track against the wheel [deg]; None: where the tracking control puts it.
    early_s : float
        How early the wheel is against the reference at the middle of the frame [s]; a picture that is early by more
        than a line has rolled by it.
    speed_error : float
        How much too fast the wheel turns, as a share of its speed.
    residual_peak_s : float or None
        Peak error that the wheel servo leaves from line to line [s]; None: the condition's own.
    control_level_db : float or None
        Level the control head gives [dB]; None: what the condition's head gives of a good control track.
    has_recording : bool
        False where nothing is recorded: the heads read noise.
    """

    control_phase_deg: float | None = None
    early_s: float = 0.0
    speed_error: float = 0.0
    residual_peak_s: float | None = None
    control_level_db: float | None = None
    has_recording: bool = True

    @property
    def readable(self) -> bool:
        """Whether the heads find RF that a discriminator can follow."""
        return self.has_recording and abs(self.speed_error) <= _LARGEST_SPEED_ERROR


LOCKED = Running()
"""Everything locked."""


def line_errors_s(running: Running, standard: Standard) -> NDArray[np.float64]:
    """Return how early each line is because the wheel is early or at the wrong speed [s], (lines,)."""
    lines = standard.lines_per_frame
    from_middle = np.arange(lines, dtype=np.float64) - 0.5 * (lines - 1)
    return running.early_s + running.speed_error * from_middle * standard.line_period_s


@dataclass(frozen=True, eq=False)
class Moved:
    """Where the samples of a frame stand when the wheel is early or at the wrong speed.

    Attributes
    ----------
    error_s : ndarray of float64, (lines,)
        How early each line is [s].
    places : ndarray of intp, (samples_per_frame,)
        Which sample of the frame on tape stands at each place.
    lines_early : int
        By how many whole lines the middle of the frame is early.
    """

    error_s: NDArray[np.float64]
    places: NDArray[np.intp]
    lines_early: int

    @classmethod
    def of(cls, running: Running, standard: Standard) -> Moved | None:
        """Return how the frame is moved; None if it stands close enough for the discriminator's own filter.

        Parameters
        ----------
        running : Running
            How the wheel turns.
        standard : Standard
            Fixes lines and samples.
        """
        lines = standard.lines_per_frame
        error_s = line_errors_s(running, standard)
        if np.abs(error_s).max() * standard.sample_rate_hz <= _SMOOTH_SAMPLES:
            return None
        early_samples = np.rint(error_s * standard.sample_rate_hz).astype(np.intp)
        starts = np.arange(lines, dtype=np.intp) * standard.samples_per_line + early_samples
        # The frame on tape is a loop.
        places = (starts[:, None] + np.arange(standard.samples_per_line, dtype=np.intp)) % standard.samples_per_frame
        return cls(error_s, places.ravel(), round(running.early_s / standard.line_period_s))

    def samples(self, values: NDArray[_Kind]) -> NDArray[_Kind]:
        """Return values of every sample, in their shape, where they stand."""
        return values.ravel()[self.places].reshape(values.shape)

    def lines(self, values: NDArray[_Kind]) -> NDArray[_Kind]:
        """Return one value a line, (lines,), where the lines stand."""
        return np.roll(values, -self.lines_early)


def speed_level(speed_error: float, standard: Standard, practice: Practice) -> float:
    """Return the video level that a wheel at the wrong speed adds, at blanking [level unit].

    Every frequency off the tape is too high by the speed error, the carrier of blanking too.

    Examples
    --------
    >>> from sim.standards import get_practice, get_standard
    >>> round(speed_level(0.001, get_standard("525/60"), get_practice("525 high-band")), 3)
    0.376
    """
    span = standard.white_level - standard.blanking_level
    return speed_error * practice.blanking_hz * span / practice.white_deviation_hz
