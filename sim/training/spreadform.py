"""Reading what a lesson file deals: which keys each distribution has, exactly as ``lessons/lesson.schema.json`` says.

Contents: `spread_of`, `spreads_of`.
"""

from __future__ import annotations

from collections.abc import Mapping

from sim.training.parts import DISTRIBUTIONS, NAME, Spread
from sim.training.reader import Table
from sim.wording import wording

__all__ = ["spread_of", "spreads_of"]

_SPREAD_KEYS: Mapping[str, tuple[str, ...]] = {
    "fixed": ("distribution", "centre"),
    "uniform": ("distribution", "minimum", "maximum"),
    "either_side": ("distribution", "centre", "minimum", "maximum"),
    "normal": ("distribution", "centre", "deviation", "minimum", "maximum"),
    "choice": ("distribution", "choices"),
}


def spreads_of(start: Table, key: str) -> dict[str, Spread]:
    """Return the spreads of the table under `key`, by name; raise (as `Table` does) at the first thing wrong."""
    table = start.table(key, None)
    for name in table.names():
        if not NAME.fullmatch(name):
            raise table.refusal(name, wording("lesson_problem.no_name"), wording("lesson_problem.no_name_do"))
    return {name: spread_of(table, name) for name in table.names()}


def spread_of(parent: Table, name: str) -> Spread:
    """Return the spread called `name`; raise (as `Table` does) at the first thing wrong with it."""
    every_key = tuple(dict.fromkeys(key for keys in _SPREAD_KEYS.values() for key in keys))
    distribution = parent.table(name, every_key).choice("distribution", DISTRIBUTIONS)
    table = parent.table(name, _SPREAD_KEYS[distribution])
    if distribution == "fixed":
        return Spread(distribution, centre=table.number("centre"))
    if distribution == "choice":
        return Spread(distribution, choices=table.numbers("choices", 1))
    lowest = 0.0 if distribution == "either_side" else None
    minimum = table.number("minimum", minimum=lowest)
    maximum = table.number("maximum", minimum=lowest)
    if minimum > maximum:
        raise table.refusal(
            "maximum",
            wording("lesson_problem.maximum_below", maximum=f"{maximum:g}", minimum=f"{minimum:g}"),
            wording("lesson_problem.maximum_below_do"),
        )
    if distribution == "uniform":
        return Spread(distribution, minimum=minimum, maximum=maximum)
    centre = table.number("centre")
    if distribution == "either_side":
        return Spread(distribution, centre=centre, minimum=minimum, maximum=maximum)
    deviation = table.number("deviation", above=0.0)
    if not minimum <= centre <= maximum:
        raise table.refusal(
            "centre",
            wording(
                "lesson_problem.centre_outside", centre=f"{centre:g}", minimum=f"{minimum:g}", maximum=f"{maximum:g}"
            ),
            wording("lesson_problem.centre_outside_do"),
        )
    return Spread(distribution, centre, minimum, maximum, deviation)
