"""Where downloads are kept between builds: one folder outside the repository, safe to delete."""

from __future__ import annotations

import os
import sys
from pathlib import Path

__all__ = ["cache_folder"]


def cache_folder() -> Path:
    """Return the folder for downloads that later runs may use again, made if it is missing.

    The environment variable ``BANDBENCH_CACHE`` names it; otherwise it is the system's own place for caches.

    Returns
    -------
    Path
        An existing folder.
    """
    named = os.environ.get("BANDBENCH_CACHE")
    if named:
        folder = Path(named).expanduser()
    elif sys.platform == "darwin":
        folder = Path.home() / "Library" / "Caches" / "bandbench"
    else:
        # The XDG specification has a relative value ignored.
        base = Path(os.environ.get("XDG_CACHE_HOME", ""))
        folder = (base if base.is_absolute() else Path.home() / ".cache") / "bandbench"
    folder.mkdir(parents=True, exist_ok=True)
    return folder
