"""Errors a person can act on: each says what is wrong, where, and what to do."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from sim.wording import wording

__all__ = ["BandbenchError", "UnknownNameError", "check_ranges", "known_names"]


class BandbenchError(Exception):
    """Base of every error that bandbench raises on purpose; its text is meant for a person."""


def known_names(names: Iterable[str]) -> str:
    """Return the names as one readable list for an error message."""
    return ", ".join(f"'{name}'" for name in names)


class UnknownNameError(BandbenchError):
    """A name that is not in the list it must come from.

    Parameters
    ----------
    kind : str
        What the name was meant to be ("standard", "control", ...).
    name : object
        What was given.
    known : Iterable[str]
        Every name that would have been accepted.
    """

    def __init__(self, kind: str, name: object, known: Iterable[str]) -> None:
        super().__init__(f"unknown {kind} {name!r}; use one of {known_names(known)}")
        self.kind = kind
        self.name = name


def check_ranges(
    record: object, ranges: Mapping[str, tuple[float, float]], outside: str, error: type[BandbenchError]
) -> None:
    """Refuse a record whose numbers are not all finite and in their ranges.

    Parameters
    ----------
    record : object
        Has an attribute for each name in `ranges`.
    ranges : mapping of str to (lowest, highest)
        Both ends are allowed.
    outside : str
        Key of the text that says so, with places for name, value, lowest and highest.
    error : type of BandbenchError
        The error to raise.
    """
    for name, (lowest, highest) in ranges.items():
        value = getattr(record, name)
        if not (math.isfinite(value) and lowest <= value <= highest):
            raise error(wording(outside, name=name, value=repr(value), lowest=f"{lowest:g}", highest=f"{highest:g}"))
