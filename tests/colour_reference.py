"""What the library colour-science says about primaries and encoding matrices, for the tests to compare with."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray

with warnings.catch_warnings():
    # It warns on import that its plots need another library; nothing here plots.
    warnings.simplefilter("ignore")
    import colour

__all__ = ["bt601_ycbcr", "luminance_of_primaries"]


def luminance_of_primaries(space: str) -> NDArray[np.float64]:
    """Luminance of full red, green and blue, from the chromaticities of the primaries and the white of a space."""
    found = colour.RGB_COLOURSPACES[space]
    return np.asarray(colour.normalised_primary_matrix(found.primaries, found.whitepoint)[1], dtype=np.float64)


def bt601_ycbcr(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """Y 0 to 1 and Cb, Cr -0.5 to 0.5 by BT.601."""
    weights = colour.WEIGHTS_YCBCR["ITU-R BT.601"]
    return np.asarray(colour.RGB_to_YCbCr(rgb, weights, out_int=False, out_legal=False), dtype=np.float64)
