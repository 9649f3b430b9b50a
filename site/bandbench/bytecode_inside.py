"""Compile an archive of sources with the Python this runs in: the build starts it inside Pyodide (``bytecode.mjs``)."""

from __future__ import annotations

from importlib.util import MAGIC_NUMBER
from marshal import dumps
from pathlib import Path, PurePosixPath

from build_archive import archive_bytes, archive_files  # type: ignore[import-not-found]

_UNCHECKED_HASH = (0b01).to_bytes(4, "little") + bytes(8)
"""The rest of a compiled file's head (PEP 552): a hash that is never compared, for there is no source beside it."""


def compile_archive(archive: bytes, optimise: int, place: str) -> bytes:
    """Return the archive with each ``.py`` file replaced by its compiled form, ``.pyc`` in the same folder.

    Parameters
    ----------
    archive : bytes
        Files by their path in the place.
    optimise : int
        0 keeps all, 2 leaves out assertions and the texts that only help() shows.
    place : str
        Where the files will be in the browser: the paths that a traceback shows.
    """
    files = {}
    for path, content in archive_files(archive).items():
        if path.endswith(".py"):
            code = compile(content, str(PurePosixPath(place) / path), "exec", dont_inherit=True, optimize=optimise)
            files[path + "c"] = MAGIC_NUMBER + _UNCHECKED_HASH + dumps(code)
        else:
            files[path] = content
    packed: bytes = archive_bytes(files)
    return packed


def compile_in(folder: Path, optimise: int, place: str) -> None:
    """Compile ``in.pack`` of a folder into ``out.pack``."""
    Path(folder, "out.pack").write_bytes(compile_archive(Path(folder, "in.pack").read_bytes(), optimise, place))
