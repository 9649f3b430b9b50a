"""A pytest plugin: checks against something we did not write, collected into one table.

A test asks for the fixture `outside_check` and calls it with what it measured from the OUTPUT arrays; the call asserts
and leaves a row. At the end of the run the rows are written to ``tests/output/outside_checks.md``.

The table kept in the repository is ``sim/outside_checks.md``. ``pytest --write-outside-checks`` writes it; a run of the
whole suite without that option fails when the kept table no longer names the same checks. A run of a part of the suite
leaves it alone.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Generator, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from bandbench.docstrings import marks_in
from sim.training.lesson import PROVENANCE_MARKS

__all__ = ["SOURCES", "CheckRow", "OutsideCheck", "differences", "kept_rows", "named_sources", "page_of", "table"]

OutsideCheck = Callable[..., None]
_OUTPUT = Path(__file__).parent / "output" / "outside_checks.md"
_KEPT = Path("sim") / "outside_checks.md"
_OPTION = "--write-outside-checks"

# What a source may be called, and the words it is known by in a check. Every check marked PUB or QUOTED must name one.
SOURCES: dict[str, str] = {
    "47 CFR 73.682": r"47 CFR 73\.682",
    "ANSI C98.6-1965": r"ANSI C98\.6",
    "Bessel functions": r"Bessel",
    "CCIR 1966 (K factor)": r"CCIR 1966",
    "colour-science": r"colour-science",
    "EBU 100/0/75/0 bars": r"EBU 100/0/75/0",
    "EP 0300801": r"EP 0300801",
    "Eargle, Electroacoustical Reference Data": r"Eargle",
    "Federal Standard 1037C (Carson)": r"Federal Standard 1037C",
    "Journal of the SMPTE 1975": r"J\. SMPTE 1975",
    "Haystack Observatory memo 1997": r"Haystack Observatory",
    "ITU-R BT.470": r"BT\.470",
    "ITU-R BT.601": r"BT\.601",
    "ITU-R BT.1700": r"BT\.1700",
    "preservation artefact atlas": r"artefact atlas",
    "Rice 1963": r"Rice 1963",
    "RS-189-A": r"RS-189",
    "scikit-image": r"scikit-image",
    "scipy": r"scipy",
    "SMPTE RP 6-1994": r"SMPTE RP 6",
    "SMPTE ST 4": r"SMPTE ST 4",
    "Wallace 1951": r"Wallace 1951",
}
# A library works its numbers out from what it is given: named without a mark it stands for DERIVED.
_LIBRARIES = ("colour-science", "scikit-image", "scipy")
_UNNAMED = "publication not named"


@dataclass(frozen=True)
class CheckRow:
    """One row of the table; `tolerance` is absolute, in `unit`.

    Raises ValueError if the source has no provenance mark, names nothing where it must, or the tolerance is not
    positive.
    """

    quantity: str
    source: str
    expected: float
    measured: float
    tolerance: float
    unit: str

    def __post_init__(self) -> None:
        if not self.mark:
            raise ValueError(
                f"outside check '{self.quantity}': its source {self.source!r} has no provenance mark; begin it with "
                f"one of {', '.join(PROVENANCE_MARKS)} (see sim/standards/)"
            )
        if self.mark in ("PUB", "QUOTED") and not self.named and _UNNAMED not in self.source:
            raise ValueError(
                f"outside check '{self.quantity}': its source {self.source!r} is marked {self.mark} but names no "
                f"publication of SOURCES in tests/outside_checks.py; name it, add it there, or say '{_UNNAMED}'"
            )
        if not self.said:
            raise ValueError(f"outside check '{self.quantity}': its source is a mark alone; say what it rests on")
        if not self.tolerance > 0.0:
            raise ValueError(f"outside check '{self.quantity}': tolerance {self.tolerance!r}; use one above 0")

    @property
    def mark(self) -> str:
        """The provenance mark: the first that the source's text gives; empty if it gives none."""
        marks = marks_in(self.source)
        return marks[0] if marks else "DERIVED" if set(self.named) & set(_LIBRARIES) else ""

    @property
    def named(self) -> tuple[str, ...]:
        """The publications and libraries that the source names."""
        return tuple(name for name, pattern in SOURCES.items() if re.search(pattern, self.source))

    @property
    def said(self) -> str:
        """The source without the mark it begins with."""
        return re.sub(rf"^({'|'.join(PROVENANCE_MARKS)})\b[:,;]?\s*", "", self.source)

    @property
    def passed(self) -> bool:
        return abs(self.measured - self.expected) <= self.tolerance

    @property
    def cells(self) -> tuple[str, ...]:
        """The row as text; numbers rounded so that another run on the same platform gives the same."""
        return (
            _escaped(self.quantity),
            _escaped(self.said),
            self.mark,
            _rounded(self.expected, self.tolerance, 2),
            _rounded(self.measured, self.tolerance, 1),
            f"{self.tolerance:.2g}",
            _escaped(self.unit),
            "yes" if self.passed else "NO",
        )


_HEADER = ("quantity", "source", "mark", "expected", "measured", "tolerance", "unit", "pass")


def _escaped(text: str) -> str:
    return text.replace("|", "\\|")


def _rounded(value: float, tolerance: float, more: int) -> str:
    """Return a number with `more` digits after the first one of its tolerance."""
    decimals = more - math.floor(math.log10(tolerance))
    # Adding zero turns a rounded minus zero into zero.
    rounded = round(value, decimals) + 0.0
    if decimals <= 7:
        return f"{rounded:.{max(0, decimals)}f}"
    digits = decimals + math.floor(math.log10(abs(rounded))) + 1 if rounded else 1
    return f"{rounded:.{max(1, digits)}g}"


def _line(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def table(rows: Sequence[CheckRow]) -> list[str]:
    """Return the rows as the lines of a table, sorted."""
    ordered = sorted(rows, key=lambda row: (row.quantity, row.source))
    return [_line(_HEADER), "|---" * len(_HEADER) + "|", *(_line(row.cells) for row in ordered)]


def named_sources(rows: Sequence[CheckRow]) -> dict[str, int]:
    """Return how many rows name each publication or library."""
    counts = {name: sum(name in row.named for row in rows) for name in SOURCES}
    return {name: count for name, count in counts.items() if count}


def page_of(rows: Sequence[CheckRow]) -> str:
    counts = named_sources(rows)
    return "\n".join(
        [
            "# Checks against outside sources",
            "",
            f"Written by a run of all tests (`python3 bb.py unit {_OPTION}`), not by hand. Each row was measured "
            "from what the simulator puts out and compared with something this project did not write; the tests hold "
            "every row to its tolerance. Marks: PUB a published text that was read, QUOTED a publication known through "
            "a later quotation, DERIVED arithmetic from marked numbers, TRADE common practice, MEMORY from memory and "
            "not checked, MODEL a free parameter.",
            "",
            f"{len(rows)} rows; {len(counts)} publications and libraries, with the number of rows that name each: "
            + "; ".join(f"{name} ({count})" for name, count in sorted(counts.items(), key=lambda item: item[0].lower()))
            + ".",
            "",
            *table(rows),
            "",
        ]
    )


def kept_rows(page: str) -> list[tuple[str, ...]]:
    """Return the cells of every row of a written page."""
    lines = [line for line in page.splitlines() if line.startswith("| ")]
    return [tuple(re.split(r"(?<!\\) \| ", line.removeprefix("| ").removesuffix(" |"))) for line in lines[1:]]


def differences(page: str, rows: Sequence[CheckRow]) -> list[str]:
    """Return in what a written page and the rows of a run differ: checks, expectations, tolerances, verdicts."""
    kept = {cells[:2]: cells for cells in kept_rows(page)}
    here = {row.cells[:2]: row for row in rows}
    found = [f"not in the table: {key[0]} ({key[1]})" for key in sorted(here.keys() - kept.keys())]
    found += [f"no longer checked: {key[0]} ({key[1]})" for key in sorted(kept.keys() - here.keys())]
    for key in sorted(here.keys() & kept.keys()):
        row, cells = here[key], kept[key]
        _, _, mark, expected, measured, tolerance, unit, verdict = cells
        if (mark, tolerance, unit, verdict) != (row.mark, row.cells[5], row.cells[6], "yes"):
            found.append(f"changed: {key[0]} ({key[1]})")
        elif abs(float(expected) - row.expected) > 0.02 * row.tolerance:
            found.append(f"expects {row.expected:.6g} now, {expected} in the table: {key[0]} ({key[1]})")
        elif abs(float(measured) - row.expected) > 1.1 * row.tolerance:
            found.append(f"measured {measured} in the table, out of tolerance: {key[0]} ({key[1]})")
    names = [row.cells[:2] for row in rows]
    found += [f"two checks share a name: {key[0]} ({key[1]})" for key in sorted(here) if names.count(key) > 1]
    return found


# --- the plugin ----------------------------------------------------------------------------------------------------

_rows = pytest.StashKey[list[CheckRow]]()
_left_out = pytest.StashKey[bool]()
_notes = pytest.StashKey[list[str]]()


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


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the option that writes the kept table."""
    parser.addoption(_OPTION, action="store_true", help=f"write {_KEPT} from the checks of this run of all tests")


def pytest_deselected(items: Sequence[pytest.Item]) -> None:
    """Note whether a test that checks was left out of this run."""
    for item in items:
        if "outside_check" in getattr(item, "fixturenames", ()):
            item.config.stash[_left_out] = True


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Note whether a test that checks did not come to its end."""
    report = yield
    if not report.passed and "outside_check" in getattr(item, "fixturenames", ()):
        item.config.stash[_left_out] = True
    return report


def _is_whole(session: pytest.Session) -> bool:
    """Tell whether every check of the suite was in this run, and ran."""
    config = session.config
    return (
        config.args_source == pytest.Config.ArgsSource.TESTPATHS
        and not config.stash.get(_left_out, False)
        and not config.option.collectonly
        and not config.option.ignore
        and not config.option.ignore_glob
        and not session.shouldstop
        and bool(config.stash.get(_rows, []))
    )


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Write the kept table when asked to, else hold it to what this run checked."""
    config = session.config
    rows, notes = config.stash.get(_rows, []), config.stash.setdefault(_notes, [])
    kept = config.rootpath / _KEPT
    if config.getoption(_OPTION):
        if not _is_whole(session):
            notes.append(f"{_KEPT} was not written: that takes a run of all tests in which no check fails")
        elif doubled := [note for note in differences(page_of(rows), rows) if note.startswith("two checks")]:
            notes += doubled
        else:
            kept.write_text(page_of(rows), encoding="utf-8")
            return
    elif _is_whole(session):
        found = differences(kept.read_text(encoding="utf-8") if kept.exists() else "", rows)
        if not found:
            return
        notes += [f"{_KEPT} is stale: run the tests with {_OPTION} and commit it", *found]
    if notes and exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Write the table for people; say what is wrong with the kept one."""
    rows = config.stash.get(_rows, [])
    if rows:
        terminalreporter.section(f"checks against outside sources: {len(rows)}, {len(named_sources(rows))} sources")
        for row in rows:
            if not row.passed:
                terminalreporter.write_line(_line(row.cells), red=True)
        terminalreporter.write_line("the table: tests/output/outside_checks.md")
        _OUTPUT.parent.mkdir(exist_ok=True)
        _OUTPUT.write_text(page_of(rows), encoding="utf-8")
    for note in config.stash.get(_notes, []):
        terminalreporter.write_line(note, red=True)
