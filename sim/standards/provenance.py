"""Where numbers come from: the marks of a class of data, by attribute."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["marks"]


def marks(**sources: str) -> Mapping[str, str]:
    """Return the sources of a class's numbers by attribute, each beginning with its mark (see `sim.standards`)."""
    return MappingProxyType(sources)
