"""The table of outside checks: what its rows must say, and how a whole run holds the kept page to them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.outside_checks import CheckRow, differences, kept_rows, named_sources, page_of, table

ROW = CheckRow("line period", "PUB ITU-R BT.470", 64.0, 64.0001, 5e-4, "us")
OTHER = CheckRow("clicks", "MEMORY: Rice 1963", 10.62, 10.3, 1.0, "")


@pytest.mark.parametrize(
    ("source", "mark", "said", "named"),
    [
        ("PUB ITU-R BT.470", "PUB", "ITU-R BT.470", ("ITU-R BT.470",)),
        ("MEMORY: Rice 1963", "MEMORY", "Rice 1963", ("Rice 1963",)),
        ("101 deg, from memory", "MEMORY", "101 deg, from memory", ()),
        ("DERIVED: 1 / (240 x 21 600) s, QUOTED", "DERIVED", "1 / (240 x 21 600) s, QUOTED", ()),
        ("ANSI C98.6-1965, as quoted second-hand", "QUOTED", "ANSI C98.6-1965, as quoted second-hand", None),
        ("QUOTED, publication not named: 8 dB", "QUOTED", "publication not named: 8 dB", ()),
        ("scipy.special.jv", "DERIVED", "scipy.special.jv", ("scipy",)),
    ],
)
def test_mark_and_publication_are_read_out_of_the_source(
    source: str, mark: str, said: str, named: tuple[str, ...] | None
) -> None:
    row = replace(ROW, source=source)
    assert row.mark == mark
    assert row.said == said
    assert row.named == (("ANSI C98.6-1965",) if named is None else named)


@pytest.mark.parametrize(
    ("source", "tolerance", "message"),
    [
        ("physics.md section 7", 1.0, "has no provenance mark; begin it with one of PUB, QUOTED"),
        ("PUB a book", 1.0, "names no publication of SOURCES"),
        ("QUOTED", 1.0, "names no publication of SOURCES"),
        ("DERIVED", 1.0, "is a mark alone"),
        ("DERIVED: 2 x 3", 0.0, "tolerance 0.0; use one above 0"),
        ("DERIVED: 2 x 3", float("nan"), "tolerance nan"),
    ],
)
def test_a_row_that_rests_on_nothing_is_refused(source: str, tolerance: float, message: str) -> None:
    with pytest.raises(ValueError, match=f"outside check 'line period': .*{message}"):
        replace(ROW, source=source, tolerance=tolerance)


def test_numbers_are_rounded_to_the_tolerance() -> None:
    cells = replace(ROW, measured=64.000123456).cells
    assert cells[3:6] == ("64.000000", "64.00012", "0.0005")
    assert replace(ROW, expected=3.6e6, measured=3_579_544.4545, tolerance=500.0).cells[3:5] == ("3600000", "3579540")
    assert replace(ROW, expected=0.0, measured=-2e-16, tolerance=1e-9).cells[3:5] == ("0", "0")
    # Far less than the tolerance apart: the same text.
    assert table([ROW]) == table([replace(ROW, measured=64.0001 + 1e-9)])


def test_rows_are_sorted_and_can_be_read_back() -> None:
    strange = replace(ROW, quantity="a | b", unit="|")
    page = page_of([ROW, OTHER, strange])
    assert [cells[0] for cells in kept_rows(page)] == ["a \\| b", "clicks", "line period"]
    assert all(len(cells) == 8 for cells in kept_rows(page))
    assert "3 rows; 2 publications and libraries" in page
    assert named_sources([ROW, OTHER, strange]) == {"ITU-R BT.470": 2, "Rice 1963": 1}
    assert differences(page, [OTHER, strange, ROW]) == []


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ([ROW], "no longer checked: clicks (Rice 1963)"),
        ([ROW, OTHER, replace(OTHER, quantity="more")], "not in the table: more (Rice 1963)"),
        ([replace(ROW, expected=64.0002), OTHER], "expects 64.0002 now, 64.000000 in the table: line period"),
        ([replace(ROW, tolerance=1e-3), OTHER], "changed: line period"),
        ([replace(ROW, source="MEMORY: ITU-R BT.470"), OTHER], "changed: line period"),
        ([replace(ROW, measured=65.0), OTHER], None),
        ([ROW, OTHER, OTHER], "two checks share a name: clicks (Rice 1963)"),
    ],
)
def test_differences_are_named(rows: list[CheckRow], found: str | None) -> None:
    said = differences(page_of([ROW, OTHER]), rows)
    if found is None:
        # Another machine may measure a little else: what it measured is held to the tolerance by the test itself.
        assert said == []
    else:
        assert len(said) == 1
        assert said[0].startswith(found)


def test_a_page_that_was_edited_by_hand_is_found_out() -> None:
    page = page_of([ROW, OTHER])
    assert differences(page.replace("10.3 ", "14.3 "), [ROW, OTHER])[0].startswith("measured 14.3 in the table")
    assert differences(page.replace("| yes |", "| NO |"), [ROW, OTHER]) != []
    assert differences("", [ROW])[0].startswith("not in the table: line period")


# --- the plugin in a small suite of its own ------------------------------------------------------------------------

SUITE = """
def test_one(outside_check):
    outside_check("one", "DERIVED: 1 + 0", 1.0, {measured}, 0.1)

def test_two(outside_check):
    outside_check("two", "DERIVED: 1 + 1", 2.0, 2.0, 0.1, "m")

def test_three():
    assert True
"""


class Suite:
    """A project with three tests, run by a pytest inside this one."""

    def __init__(self, pytester: pytest.Pytester) -> None:
        self._pytester = pytester
        self.kept = pytester.path / "sim" / "outside_checks.md"
        self.kept.parent.mkdir()
        (pytester.path / "tests").mkdir()
        pytester.makeini("[pytest]\ntestpaths = tests")
        self.write(1.0)

    def write(self, measured: float, other: str = "True") -> None:
        text = SUITE.replace("{measured}", repr(measured)).replace("assert True", f"assert {other}")
        (self._pytester.path / "tests" / "test_suite.py").write_text(text, encoding="utf-8")

    def run(self, *words: str) -> tuple[int, str]:
        result = self._pytester.runpytest_inprocess("-p", "tests.outside_checks", *words)
        return int(result.ret), result.stdout.str()


@pytest.fixture
def suite(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Suite:
    monkeypatch.setattr("tests.outside_checks._OUTPUT", tmp_path / "output" / "outside_checks.md")
    return Suite(pytester)


def test_a_whole_run_demands_the_kept_table_and_can_write_it(suite: Suite) -> None:
    status, said = suite.run()
    assert status == 1
    assert "sim/outside_checks.md is stale: run the tests with --write-outside-checks" in said
    assert "not in the table: one (1 + 0)" in said
    status, _ = suite.run("--write-outside-checks")
    assert status == 0
    assert [cells[0] for cells in kept_rows(suite.kept.read_text(encoding="utf-8"))] == ["one", "two"]
    assert suite.run()[0] == 0
    # Another measurement within the tolerance is no reason to complain; a vanished check is.
    suite.write(1.05)
    assert suite.run()[0] == 0
    suite.kept.write_text(page_of([OTHER]), encoding="utf-8")
    status, said = suite.run()
    assert status == 1
    assert "no longer checked: clicks" in said


@pytest.mark.parametrize(
    "words", [("-k", "three or one"), ("tests/test_suite.py",), ("--deselect=tests/test_suite.py::test_two",)]
)
def test_a_part_of_the_suite_is_not_held_to_the_table(suite: Suite, words: tuple[str, ...]) -> None:
    assert suite.run(*words)[0] == 0
    status, said = suite.run("--write-outside-checks", *words)
    assert status == 1
    assert "was not written: that takes a run of all tests" in said
    assert not suite.kept.exists()


def test_leaving_out_tests_without_a_check_is_a_whole_run(suite: Suite) -> None:
    assert suite.run("-k", "not three", "--write-outside-checks")[0] == 0
    assert suite.kept.exists()


def test_a_failing_check_writes_no_table(suite: Suite) -> None:
    suite.write(1.2)
    status, said = suite.run("--write-outside-checks")
    assert status == 1
    assert "one: measured 1.2 , expected 1 +-0.1 (DERIVED: 1 + 0)" in said
    assert not suite.kept.exists()


def test_a_failure_elsewhere_does_not_keep_the_table_from_being_written(suite: Suite) -> None:
    suite.write(1.0, other="False")
    assert suite.run("--write-outside-checks")[0] == 1
    assert suite.kept.exists()
    suite.kept.write_text(page_of([OTHER]), encoding="utf-8")
    assert "is stale" in suite.run()[1]
