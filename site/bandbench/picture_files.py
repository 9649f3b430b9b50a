"""Pictures in files: reading a person's own for the recorder, writing the monitor's as PNG."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from sim.signals import PictureError

__all__ = ["picture_image", "read_picture"]

_READABLE = ("PNG", "JPEG", "WEBP", "GIF", "BMP")
_FULL_SCALE_16_BIT = 65535.0


def read_picture(path: Path, *, colour: bool = False) -> NDArray[np.float32]:
    """Read a picture file as grey or in colour.

    Parameters
    ----------
    path : Path
        A PNG, JPEG, WebP, GIF (its first picture) or BMP file.
    colour : bool
        True gives red, green and blue; False grey.

    Returns
    -------
    ndarray of float32, (rows, columns) or (rows, columns, 3)
        0 for black to 1 for white; grey is the luma of ITU-R BT.601 of the stored values. What is transparent shows
        black behind it.

    Raises
    ------
    PictureError
        If the file is missing, no such picture, damaged, or too large to be a picture anybody means.
    """
    try:
        with warnings.catch_warnings():
            # Pillow warns from 89 million pixels on: such a file is a mistake, or meant to exhaust the memory.
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(path, formats=_READABLE) as file:
                return _as_levels(ImageOps.exif_transpose(file), colour)
    except FileNotFoundError:
        raise PictureError(f"there is no picture file {str(path)!r}") from None
    except (IsADirectoryError, PermissionError) as error:
        raise PictureError(f"the picture file {str(path)!r} cannot be read: {error.strerror}") from None
    except (Image.DecompressionBombWarning, Image.DecompressionBombError):
        raise PictureError(f"the picture {str(path)!r} is too large; make it smaller, 2000 x 1500 is plenty") from None
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        # Pillow tells damage of different kinds by different exceptions, SyntaxError among them.
        raise PictureError(
            f"the file {str(path)!r} is not a whole picture of a kind that can be read "
            f"({', '.join(_READABLE)}): {error}"
        ) from None


def _as_levels(image: Image.Image, colour: bool) -> NDArray[np.float32]:
    if image.mode.startswith("I"):
        grey: NDArray[np.float32] = np.asarray(image, dtype=np.float32) / np.float32(_FULL_SCALE_16_BIT)
        return np.clip(grey, 0.0, 1.0, out=grey)
    if image.has_transparency_data:
        image = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", image.size, "black"), image)
    return np.asarray(image.convert("RGB" if colour else "L"), dtype=np.float32) / np.float32(255.0)


def picture_image(picture: NDArray[np.float32], aspect: float) -> Image.Image:
    """Return the monitor's picture with square pixels.

    Parameters
    ----------
    picture : ndarray of float32, (rows, columns) or (rows, columns, 3)
        0 for black to 1 for white.
    aspect : float
        Width over height of the screen.

    Returns
    -------
    Image
        8-bit grey or colour. Its rows are those of `picture`, untouched, so that every line stays one line; only along
        the lines it is resampled.
    """
    rows = picture.shape[0]
    eight_bit = np.rint(np.clip(picture, 0.0, 1.0) * 255.0).astype(np.uint8)
    return Image.fromarray(eight_bit).resize((round(rows * aspect), rows), Image.Resampling.LANCZOS)
