"""A pytest plugin: checks against something we did not write, collected into one table.

A test asks for the fixture `outside_check` and calls it with what it measured from the OUTPUT arrays; the call asserts
and leaves a row. At the end of the run the rows are printed and written to ``tests/output/outside_checks.md``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

__all__ = ["CheckRow", "OutsideCheck"]

OutsideCheck = Callable[..., None]
_OUTPUT = Path(__file__).parent / "output" / "outside_checks.md"


@dataclass(frozen=True)
class CheckRow:
    """One row of the table; `tolerance` is absolute, in `unit`."""

    quantity: str
    source: str
    expected: float
    measured: float
    tolerance: float
    unit: str

    @property
    def passed(self) -> bool:
        return abs(self.measured - self.expected) <= self.tolerance


_rows = pytest.StashKey[list[CheckRow]]()


@pytest.fixture
def outside_check(request: pytest.FixtureRequest) -> OutsideCheck:
    """Return a function (quantity, source, expected, measured, tolerance, unit) that asserts and keeps a row."""

    def check(quantity: str, source: str, expected: float, measured: float, tolerance: float, unit: str = "") -> None:
        row = CheckRow(quantity, source, float(expected), float(measured), float(tolerance), unit)
        request.config.stash.setdefault(_rows, []).append(row)
        assert row.passed, (
            f"{quantity}: measured {measured:.6g} {unit}, expected {expected:.6g} +-{tolerance:.2g} ({source})"
        )

    return check


def _table(rows: list[CheckRow]) -> list[str]:
    lines = [
        "| quantity | source | expected | measured | tolerance | unit | pass |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {row.quantity} | {row.source} | {row.expected:.6g} | {row.measured:.6g} | {row.tolerance:.2g} "
        f"| {row.unit} | {'yes' if row.passed else 'NO'} |"
        for row in sorted(rows, key=lambda row: row.quantity)
    ]
    return lines


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print the table and write it for people."""
    rows = config.stash.get(_rows, [])
    if not rows:
        return
    lines = _table(rows)
    terminalreporter.section(f"checks against outside sources: {len(rows)}")
    for line in lines:
        terminalreporter.write_line(line)
    _OUTPUT.parent.mkdir(exist_ok=True)
    _OUTPUT.write_text("\n".join(["# Checks against outside sources", "", *lines, ""]), encoding="utf-8")
