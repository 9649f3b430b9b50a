"""Pictures for programmes, painted with arithmetic: no photograph, no person, no place that exists.

Contents: `SCENES`, `scene`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import UnknownNameError

__all__ = ["SCENES", "scene"]

Picture = NDArray[np.float64]
Colour = tuple[float, float, float]

# Rows and columns of a painted picture (MODEL).
_ROWS, _COLUMNS = 360, 480
# Places in a picture: 0 to 1 from left to right, 0 to 1 from top to bottom.
_ACROSS, _DOWN = np.meshgrid((np.arange(_COLUMNS) + 0.5) / _COLUMNS, (np.arange(_ROWS) + 0.5) / _ROWS)
# DERIVED: width of the picture over its height.
_ASPECT = _COLUMNS / _ROWS


def _paint(picture: Picture, where: NDArray[np.bool_], colour: Colour) -> None:
    picture[where] = colour


def _blended(top: Colour, bottom: Colour) -> Picture:
    share = _DOWN[..., None]
    return np.asarray((1.0 - share) * np.array(top) + share * np.array(bottom))


def _disc(across: float, down: float, radius: float, tall: float = 1.0) -> NDArray[np.bool_]:
    inside = ((_ACROSS - across) * _ASPECT) ** 2 + ((_DOWN - down) / tall) ** 2 < radius**2
    return np.asarray(inside)


def _box(left: float, top: float, right: float, bottom: float) -> NDArray[np.bool_]:
    return np.asarray((left <= _ACROSS) & (right > _ACROSS) & (top <= _DOWN) & (bottom > _DOWN))


def _studio() -> Picture:
    picture = _blended((0.20, 0.30, 0.45), (0.10, 0.16, 0.26))
    for left in np.arange(0.05, 1.0, 0.15):
        _paint(picture, _box(left, 0.0, left + 0.02, 0.75), (0.26, 0.38, 0.54))
    _paint(picture, _disc(0.5, 0.72, 0.24, 0.9), (0.32, 0.10, 0.14))
    _paint(picture, _box(0.46, 0.44, 0.54, 0.56), (0.66, 0.48, 0.38))
    _paint(picture, _disc(0.5, 0.34, 0.115, 1.3), (0.76, 0.56, 0.45))
    _paint(picture, _disc(0.5, 0.27, 0.12, 0.9) & (_DOWN < 0.27), (0.22, 0.14, 0.08))
    for across in (0.465, 0.535):
        _paint(picture, _disc(across, 0.33, 0.012), (0.10, 0.08, 0.08))
    _paint(picture, _box(0.465, 0.41, 0.535, 0.42), (0.55, 0.25, 0.22))
    _paint(picture, _box(0.0, 0.75, 1.0, 1.0), (0.45, 0.33, 0.20))
    _paint(picture, _box(0.0, 0.75, 1.0, 0.77), (0.60, 0.46, 0.30))
    return picture


def _harbour() -> Picture:
    picture = _blended((0.35, 0.55, 0.80), (0.85, 0.72, 0.55))
    _paint(picture, _disc(0.74, 0.30, 0.07), (0.98, 0.88, 0.55))
    sea = _DOWN > 0.58
    waves = 0.05 * np.sin(2.0 * np.pi * (_DOWN * 40.0 + 0.3 * np.sin(12.0 * _ACROSS)))
    picture[sea] = np.clip(np.array((0.10, 0.30, 0.42)) + waves[sea][:, None], 0.0, 1.0)
    _paint(
        picture,
        (_DOWN > 0.62) & (_DOWN < 0.72) & (np.abs(_ACROSS - 0.36) < 0.20 - 0.6 * (_DOWN - 0.62)),
        (0.55, 0.12, 0.10),
    )
    _paint(picture, _box(0.355, 0.18, 0.365, 0.62), (0.30, 0.20, 0.12))
    _paint(picture, (_ACROSS > 0.37) & (_DOWN < 0.58) & (_ACROSS - 0.37 < 0.55 * (_DOWN - 0.20)), (0.92, 0.90, 0.84))
    _paint(picture, (_ACROSS < 0.35) & (_DOWN < 0.58) & (0.35 - _ACROSS < 0.40 * (_DOWN - 0.28)), (0.80, 0.55, 0.20))
    return picture


def _harvest() -> Picture:
    picture = _blended((0.55, 0.68, 0.86), (0.92, 0.90, 0.80))
    _paint(picture, 0.42 + 0.04 * np.sin(6.0 * _ACROSS) < _DOWN, (0.32, 0.46, 0.20))
    field = _DOWN > 0.55
    furrow = 0.08 * np.sin(2.0 * np.pi * 6.0 * (_ACROSS - 0.5) / (_DOWN - 0.35).clip(0.05))
    picture[field] = np.clip(np.array((0.74, 0.60, 0.24)) + furrow[field][:, None], 0.0, 1.0)
    for across, tall in ((0.18, 0.16), (0.34, 0.13), (0.66, 0.13), (0.83, 0.16)):
        narrow = np.abs(_ACROSS - across) < 0.02 + 0.25 * np.abs(_DOWN - 0.78)
        _paint(picture, narrow & (np.abs(_DOWN - 0.78) < tall), (0.86, 0.72, 0.34))
    _paint(picture, _box(0.40, 0.30, 0.58, 0.48), (0.62, 0.24, 0.18))
    _paint(
        picture, (_DOWN > 0.20) & (_DOWN < 0.30) & (np.abs(_ACROSS - 0.49) < 1.1 * (_DOWN - 0.20)), (0.28, 0.22, 0.22)
    )
    return picture


SCENES: Mapping[str, Callable[[], Picture]] = MappingProxyType(
    {"studio": _studio, "harbour": _harbour, "harvest": _harvest}
)


def scene(name: str) -> Picture:
    """Return a painted picture, (rows, columns, 3), red, green and blue from 0 to 1.

    Raises
    ------
    UnknownNameError
        If there is none of that name.

    Examples
    --------
    >>> scene("harbour").shape
    (360, 480, 3)
    """
    if name not in SCENES:
        raise UnknownNameError("scene", name, SCENES)
    return SCENES[name]()
