"""The tables of a benchmark: printed with the ratio first, kept as JSON, and set beside those of an earlier run.

Contents: `Tables`, `read_ratios`, `compared`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from sim.errors import BandbenchError

__all__ = ["Row", "Tables", "compared", "read_ratios"]

Row = Sequence[object]
"""What is measured, then its columns; the last is the ratio, or empty."""

_FORM = 1


class Tables:
    """Tables as they are printed, one after the other.

    Attributes
    ----------
    about : str
        What was measured on.
    """

    def __init__(self) -> None:
        self.about = ""
        self._ratios: dict[str, float] = {}
        self._tables: list[list[list[str]]] = []

    @property
    def ratios(self) -> dict[str, float]:
        """Every ratio by the name of its row; a row of the same name in a later table gets that table's title too."""
        return dict(self._ratios)

    def show(self, rows: Sequence[Row]) -> None:
        """Print a table, the ratio right behind the name; the first row names table and columns."""
        table = [[str(cell) for cell in row] for row in rows]
        self._tables.append(table)
        title = table[0][0]
        for name, *columns in table:
            print(f"{name:42}" + "".join(f"{cell:>22}" for cell in (*columns[-1:], *columns[:-1])))
            ratio = _number(columns[-1])
            if ratio is not None:
                self._ratios[f"{title}: {name}" if name in self._ratios else name] = ratio
        print(flush=True)

    def write(self, path: Path) -> None:
        """Keep everything as JSON: what it was measured on, the ratios by name, and the tables as printed."""
        kept = {"form": _FORM, "about": self.about, "ratios": self._ratios, "tables": self._tables}
        path.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", "utf-8")


def read_ratios(path: Path) -> dict[str, float]:
    """Return the ratios of a kept run.

    Raises
    ------
    BandbenchError
        If the file cannot be read or is no such run; it says which and what to do.
    """
    try:
        kept = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise BandbenchError(f"{path}: cannot be read as a kept run ({error}); make one with --json") from None
    ratios = kept.get("ratios") if isinstance(kept, dict) and kept.get("form") == _FORM else None
    if not isinstance(ratios, dict) or not all(isinstance(value, int | float) for value in ratios.values()):
        raise BandbenchError(f"{path}: not a run kept by this benchmark; make one with --json")
    return {str(name): float(value) for name, value in ratios.items()}


def compared(before: Mapping[str, float], now: Mapping[str, float]) -> list[list[str]]:
    """Return a table of the ratios of two runs: the change first, as `Tables.show` prints it.

    Examples
    --------
    >>> compared({"next frame": 1.5, "gone": 1.0}, {"next frame": 1.2, "new": 2.0})[1:]
    [['next frame', '1.50', '1.20', '0.80'], ['new', '', '2.00', ''], ['gone', '1.00', '', '']]
    """
    rows = [["ratios of two runs", "before", "now", "now / before"]]
    for name in (*now, *(name for name in before if name not in now)):
        old, new = before.get(name), now.get(name)
        change = f"{new / old:.2f}" if new is not None and old else ""
        rows.append([name, "" if old is None else f"{old:.2f}", "" if new is None else f"{new:.2f}", change])
    return rows


def _number(cell: str) -> float | None:
    """Return the number a cell begins with, if it does."""
    try:
        return float(cell.split()[0])
    except (ValueError, IndexError):
        return None
