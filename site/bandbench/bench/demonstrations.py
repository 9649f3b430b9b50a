"""The demonstrations that came with the bench: read from ``lessons/demonstrations`` beside the package `sim`.

Contents: `DEMONSTRATIONS_FOLDER`, `read_demonstrations`.
"""

from __future__ import annotations

from pathlib import Path

from bandbench.bench.datafiles import FOLDER, data_names, read_data
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
        one = parse_demonstration(translated(folder / name, read_data(folder / name)), name)
        if one.id in found:
            where = f"{found[one.id].source} already has the id {one.id!r}"
            raise DemonstrationError(Problem(name, "id", where, "Give each demonstration its own id."))
        found[one.id] = one
    return found
