"""The demonstrations that came with the bench: read from ``lessons/demonstrations`` beside the package `sim`.

Contents: `DEMONSTRATIONS_FOLDER`, `read_demonstrations`.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from bandbench.bench.datafiles import FOLDER, data_names, data_stamp, read_data
from bandbench.bench.overlays import translated
from sim.training.demonstration import Demonstration, DemonstrationError, parse_demonstration
from sim.training.reader import Problem

__all__ = ["DEMONSTRATIONS_FOLDER", "read_demonstrations"]

DEMONSTRATIONS_FOLDER = FOLDER / "demonstrations"


def read_demonstrations(folder: Path = DEMONSTRATIONS_FOLDER) -> dict[str, Demonstration]:
    """Return the demonstrations of a folder by their id, in the order of their files' names.

    Raises
    ------
    DemonstrationError
        If a file is not a demonstration, or two have one id; names file, key, reason and remedy.
    """
    found: dict[str, Demonstration] = {}
    for name in data_names(folder):
        one = _demonstration_in(folder / name, data_stamp(folder / name))
        if one.id in found:
            where = f"{found[one.id].source} already has the id {one.id!r}"
            raise DemonstrationError(Problem(name, "id", where, "Give each demonstration its own id."))
        found[one.id] = one
    return found


@lru_cache(maxsize=32)
def _demonstration_in(path: Path, _stamp: str) -> Demonstration:
    """Return the demonstration in a file; kept while the file is the same."""
    return parse_demonstration(translated(path, read_data(path)), path.name)
