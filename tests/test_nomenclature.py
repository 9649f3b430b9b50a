"""The page of names, units and sources: complete, fresh, and read rightly out of the docstrings."""

from __future__ import annotations

import doctest
import re
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bandbench import constants, docstrings, nomenclature
from bandbench.bench.faults import FAULTS
from bandbench.constants import constants_in, unmarked
from bandbench.docstrings import classes_of, entries_of, marks_in, quantities_of, room_modules, sections_of, unit_in
from sim.condition import Condition
from sim.controls import CONTROLS
from sim.instruments import MEASUREMENTS, TEST_POINTS
from sim.signals import SIGNALS
from sim.standards import FOOTPRINT, PRACTICES, STANDARDS
from sim.tape import TAPES
from sim.training.lesson import PROVENANCE_MARKS

PAGE = nomenclature.page()


def rows_of(heading: str) -> list[list[str]]:
    """Return the cells of the tables under one heading of the page."""
    part = PAGE.partition(f"\n{heading}\n")[2]
    assert part, f"no heading {heading}"
    part = re.split(rf"\n{re.escape(heading.split()[0])} ", part)[0]
    lines = [line for line in part.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines[1:]]


def test_page_is_what_the_sources_say() -> None:
    kept = nomenclature.PAGE.read_text(encoding="utf-8")
    assert kept == PAGE, "sim/nomenclature.md is stale: run python3 bb.py docs and commit it"


def test_every_constant_of_sim_says_where_it_comes_from() -> None:
    assert unmarked() == [], "give each a mark (PUB, QUOTED, DERIVED, TRADE, MEMORY, MODEL) in the comment above it"


def test_check_tells_a_stale_page_from_a_fresh_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(nomenclature, "PAGE", tmp_path / "sim" / "nomenclature.md")
    (tmp_path / "sim").mkdir()
    monkeypatch.setattr(nomenclature, "unmarked", list)
    # Made once above: it is the same each time, and takes a second.
    monkeypatch.setattr(nomenclature, "page", lambda: PAGE)
    assert nomenclature.main(["--check"]) == 1
    assert "sim/nomenclature.md is not what the sources of sim say now: run python -m" in capsys.readouterr().err
    assert nomenclature.main([]) == 0
    assert nomenclature.main(["--check"]) == 0
    nomenclature.PAGE.write_text(PAGE.replace("6.5 MHz", "6.6 MHz"), encoding="utf-8")
    assert nomenclature.main(["--check"]) == 1
    monkeypatch.setattr(nomenclature, "unmarked", lambda: ["sim/it.py, line 3: _WIDTH_UM"])
    capsys.readouterr()
    assert nomenclature.main(["--check"]) == 1
    assert "sim/it.py, line 3: _WIDTH_UM has no provenance mark" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("heading", "names"),
    [
        ("## Controls", CONTROLS),
        ("## Faults", FAULTS),
        ("## Measurements", MEASUREMENTS),
        ("## Test points", TEST_POINTS),
        ("## Test signals", SIGNALS),
        ("## Tapes", TAPES),
        ("## Hidden condition", [entry.name for entry in fields(Condition)]),
        ("## Footprint on tape", FOOTPRINT.provenance),
        ("## Scanning standards", STANDARDS["525/60"].provenance),
    ],
)
def test_everything_declared_is_on_the_page(heading: str, names: list[str]) -> None:
    shown = {row[0].strip("`") for row in rows_of(heading)}
    missing = [name for name in names if name not in shown and re.sub(r"_[1-4]$", "_1 … _4", name) not in shown]
    assert not missing


def test_every_row_of_data_has_a_mark_and_every_condition_a_unit() -> None:
    for heading, column in (("## Recording practices", 4), ("## Footprint on tape", 3)):
        for row in rows_of(heading):
            assert set(row[column].split(", ")) <= set(PROVENANCE_MARKS), row
    for row in rows_of("## Scanning standards"):
        assert row[4].split(", ")[0] in PROVENANCE_MARKS, row
        assert row[7].split(", ")[0] in PROVENANCE_MARKS, row
    assert len(rows_of("## Recording practices")) == 5 * len(PRACTICES)
    for row in rows_of("## Hidden condition"):
        assert row[1], row
        assert row[2], row


def test_page_shows_what_the_code_says() -> None:
    # A few numbers looked up by hand in sim/standards/, sim/controls.py and sim/headtape.py.
    standards = {row[0]: row for row in rows_of("## Scanning standards")}
    assert standards["`front_porch_s`"][3:5] == ["1.5 us", "PUB"]
    assert standards["`sync_level`"][6] == "-300 mV"
    controls = {row[0]: row for row in rows_of("## Controls")}
    assert controls["`guide_position_um`"][2:6] == ["um", "-150 to 150", "0", "0.1 / 1 / 10"]
    assert controls["`channel_on_1 … _4`"][3:5] == ["off, on", "on"]
    losses = {row[0]: row for row in rows_of("### `sim.headtape`")}
    assert losses["`gap_loss_db`"][1:3] == ["*result*", "dB"]
    assert losses["`gap_loss_db`"][4] == "PUB"
    assert losses["`_EFFECTIVE_GAP`"][1:3] == ["1.11", "PUB"]


def test_pages_it_points_to_are_there() -> None:
    for target in re.findall(r"\]\((\S+?)\)", PAGE):
        assert (nomenclature.PAGE.parent / target).is_file(), target


def test_every_room_with_physics_is_listed() -> None:
    modules = room_modules()
    wanted = ("standards.scanning", "signals.timing", "headwheel", "recorder", "instruments.waveform")
    assert {f"sim.{name}" for name in wanted} <= set(modules)
    assert modules.index("sim.signals.timing") < modules.index("sim.fm") < modules.index("sim.recorder")
    assert not [name for name in modules if name.startswith("sim.training")]


# --- reading docstrings --------------------------------------------------------------------------------------------


def test_their_own_examples() -> None:
    for module in (docstrings, constants):
        result = doctest.testmod(module)
        assert result.attempted > 0
        assert result.failed == 0


def test_entries_with_several_names_units_and_lines() -> None:
    class Record:
        """One.

        Attributes
        ----------
        gap_um, azimuth_deg : four floats
            Gap length [um], and azimuth
            against the tape [deg].
        u, v : ndarray
            Both parts. [level unit]
        resonance_hz, resonance_q : float
            Resonance [Hz], and its sharpness (MODEL).
        plain : int
            A count, as in ``x[n]``.

        Notes
        -----
        Not an attribute : at all.
        """

    found = {quantity.name: quantity for quantity in classes_of(Record)}
    units = {name: quantity.unit for name, quantity in found.items()}
    assert units == {
        "gap_um": "um", "azimuth_deg": "deg", "u": "level unit", "v": "level unit", "resonance_hz": "Hz",
        "resonance_q": "", "plain": "",
    }  # fmt: skip
    assert found["gap_um"].meaning == "Gap length, and azimuth against the tape."
    assert marks_in(found["resonance_q"].text) == ("MODEL",)


def test_results_are_found_in_returns_or_in_the_summary() -> None:
    _, quantities = quantities_of("sim.headwheel")
    results = {quantity.owner: quantity.unit for quantity in quantities if quantity.name == ""}
    assert results["time_base_error"] == results["skew_s"] == "s"
    assert results["time_base_slope"] == "s/s"


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("Time. [s]", "s"),
        ("Loss [dB], of `x[2]` and y[n].", "dB"),
        ("Phase [deg of the control track's cycle]; a turn", "deg of the control track's cycle"),
        ("Share of the whole, 0 to 1.", ""),
        ("dt = f(x)[n]", ""),
    ],
)
def test_unit_in_brackets(text: str, unit: str) -> None:
    assert unit_in(text) == unit


@given(
    parts=st.dictionaries(
        st.sampled_from(["Parameters", "Returns", "Notes", "References"]),
        st.lists(st.from_regex(r"[a-z]+( [a-z]+)* : float", fullmatch=True), min_size=1, max_size=3),
        min_size=1,
    )
)
def test_sections_come_apart_as_they_were_put_together(parts: dict[str, list[str]]) -> None:
    written = "Summary.\n\n" + "\n\n".join(
        f"{name}\n{'-' * len(name)}\n" + "\n".join(f"{entry}\n    Text." for entry in entries)
        for name, entries in parts.items()
    )
    found = sections_of(written)
    assert found.pop("summary") == "Summary."
    assert list(found) == list(parts)
    for name, entries in parts.items():
        assert [f"{names} : {kind}" for names, kind, _ in entries_of(found[name])] == entries


def test_constants_take_the_comment_of_their_group() -> None:
    text = (
        "# From memory: two widths.\nA_UM = 1.0\nB_UM = 2.0\n\nBARE_HZ = 3.0\n\n"
        "# A count.\nCOUNT = 3\nNONE = (0.0, 0.0)\n"
        'NAMES = ("a",)\nPAIR_HZ, OTHER_HZ = 1.0, 2.0  # MODEL: just so.\n'
    )
    values: dict[str, object] = {}
    exec(text, values)
    found = {one.name: one for one in constants_in("sim.it", text, values)}
    assert list(found) == ["A_UM", "B_UM", "BARE_HZ", "COUNT", "NONE", "PAIR_HZ", "OTHER_HZ"]
    assert marks_in(found["B_UM"].comment) == ("MEMORY",)
    assert found["BARE_HZ"].needs_mark
    assert not marks_in(found["BARE_HZ"].comment)
    assert not found["COUNT"].needs_mark
    assert not found["NONE"].needs_mark
    assert "MODEL" in found["OTHER_HZ"].comment
