"""How the picture monitor is set, and what of it can be compared.

Contents: `KEPT`, `MonitorSettings`, `check_monitor`, `KeptPicture`, `side_by_side`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.instruments import VIDEO_POINTS

__all__ = ["KEPT", "KeptPicture", "MonitorSettings", "check_monitor", "side_by_side"]

KEPT = "kept"
"""What the picture is compared with when it is not another test point: the picture that was kept."""


@dataclass(frozen=True)
class MonitorSettings:
    """Settings of the picture monitor.

    Attributes
    ----------
    point : str
        Test point that is shown, from `VIDEO_POINTS`.
    compare : str
        What it is compared with: a test point or `KEPT`; empty for nothing.
    split : float
        Share of the width, from the left, that shows what it is compared with.
    whole : bool
        Whether what it is compared with fills the screen.
    """

    point: str = "processed"
    compare: str = ""
    split: float = 0.5
    whole: bool = False

    @property
    def drawn_points(self) -> tuple[str, ...]:
        """Test points of which something is seen."""
        compared = (self.compare,) if self.compare in VIDEO_POINTS else ()
        return compared if self.compare and self.whole else (self.point, *compared)


@dataclass(frozen=True, eq=False)
class KeptPicture:
    """A picture that was kept to compare later ones with.

    Attributes
    ----------
    image : ndarray of uint8, (rows, columns) or (3, rows, columns)
        As it was on the screen.
    sentence : str
        What it showed.
    """

    image: NDArray[np.uint8]
    sentence: str


def check_monitor(settings: MonitorSettings, kept: KeptPicture | None) -> None:
    """Raise BandbenchError if the picture monitor cannot be set like that."""
    if settings.point not in VIDEO_POINTS:
        raise UnknownNameError("test point of the picture monitor", settings.point, VIDEO_POINTS)
    if settings.compare not in ("", KEPT, *VIDEO_POINTS):
        raise UnknownNameError("picture to compare with", settings.compare, (KEPT, *VIDEO_POINTS))
    if settings.compare == KEPT and kept is None:
        raise BandbenchError("no picture has been kept yet to compare with; keep one first")
    if not 0.0 <= settings.split <= 1.0:
        raise BandbenchError(f"picture split at {settings.split}: use 0 (left edge) to 1 (right edge)")


def side_by_side(left: NDArray[np.uint8], right: NDArray[np.uint8], split: float) -> NDArray[np.uint8]:
    """Return two pictures of one size as one, the left one up to a share of the width; in colour if either is.

    Examples
    --------
    >>> both = side_by_side(np.zeros((2, 4), np.uint8), np.full((3, 2, 4), 9, np.uint8), 0.5)
    >>> both.shape, both[0, 0].tolist()
    ((3, 2, 4), [0, 0, 9, 9])
    """
    column = round(split * right.shape[-1])
    shape = left.shape if left.ndim > right.ndim else right.shape
    result = np.array(np.broadcast_to(right, shape))
    result[..., :column] = left[..., :column]
    return result
