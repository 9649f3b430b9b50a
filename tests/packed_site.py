"""What tests of packages need of a built site's Python: an archive with the data files and nothing else.

Contents: `ARCHIVE` (its path), `ARCHIVE_PARTS` (what the page says of it), `python_archive`.
"""

from __future__ import annotations

from bandbench.bench.datafiles import FOLDER, PARSED, parsed
from bandbench.build_archive import archive_bytes
from bandbench.build_assets import compressed

__all__ = ["ARCHIVE", "ARCHIVE_PARTS", "python_archive"]

ARCHIVE = "assets/python-0/views.pack"
ARCHIVE_PARTS = {"archives": {"recorder": "assets/python-0/recorder.pack", "views": ARCHIVE}}


def python_archive() -> bytes:
    """Return the archive as the build makes it."""
    files = {f"{FOLDER.name}/{PARSED}": parsed().encode(), "sim/__init__.pyc": b"code"}
    return compressed(archive_bytes(files))
