"""The faults that came with the bench: read once from ``lessons/faults.toml`` beside the package `sim`.

Contents: `FAULTS_FILE`, `FAULTS`, `read_faults`, `with_fault`.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from bandbench.bench.datafiles import FOLDER, read_data
from bandbench.bench.overlays import translated
from sim import faults
from sim.condition import Condition
from sim.faults import FaultSpec, parse_faults

__all__ = ["FAULTS", "FAULTS_FILE", "read_faults", "with_fault"]

FAULTS_FILE = FOLDER / "faults.toml"


def read_faults(path: Path = FAULTS_FILE) -> Mapping[str, FaultSpec]:
    """Return the faults of a catalogue by name.

    Raises
    ------
    FaultError
        If the file is not a catalogue; names file, key, reason and remedy.
    """
    return MappingProxyType(parse_faults(translated(path, read_data(path)), path.name))


FAULTS = read_faults()
"""The catalogue that came with the bench."""


def with_fault(condition: Condition, name: str, severity: float = 1.0) -> Condition:
    """Return `condition` with one fault of `FAULTS` added; errors as for `sim.faults.with_fault`.

    Examples
    --------
    >>> with_fault(Condition(), "clogged_head_3", 0.5).head_debris_um
    (0.0, 0.0, 1.75, 0.0)
    """
    return faults.with_fault(condition, FAULTS, name, severity)
