"""The reference pages: complete, made from the data, and the glossary's file held to its form."""

from __future__ import annotations

import json
import math
import re
import tomllib

import pytest

from bandbench.bench.application import BenchApplication
from bandbench.bench.faults import FAULTS
from bandbench.bench.glossary import GLOSSARY_FILE, GlossaryError, parse_glossary, read_glossary
from bandbench.bench.lessons import read_lessons
from bandbench.bench.readings import typeset, unit_sign
from bandbench.bench.referencepages import Page, label_of, reference_pages, source_words, value_words
from sim.controls import CONTROLS
from sim.faultchart import symptom_chart
from sim.instruments import MEASUREMENTS
from sim.standards import FOOTPRINT, PRACTICES, STANDARDS
from sim.transport import ACTS

GOOD = {
    "format_version": 1,
    "terms": [
        {"term": "band", "meaning": "Lines of one pass.", "provenance": "TRADE", "source": "as used"},
        {"term": "lock", "meaning": "Held.", "provenance": "TRADE", "source": "as used"},
    ],
}


@pytest.fixture(scope="module")
def pages() -> dict[str, Page]:
    return {page.name: page for page in reference_pages(read_glossary(), read_lessons())}


def words(page: Page) -> str:
    return "\n".join(cell for section in page.sections for row in section.rows for cell in row)


def number_in(cell: str) -> float:
    found = re.match(r"[\u2212-]?[\d.]+", cell)
    assert found, cell
    return float(found[0].replace("\u2212", "-"))


# Glossary ---------------------------------------------------------------------------------------------------


def test_glossary_has_the_words_that_the_bench_uses() -> None:
    terms = {term.term for term in read_glossary()}
    assert len(terms) >= 60
    assert {"band", "skew", "scallop", "quadrature", "RF envelope", "like for like", "interchange", "tracking"} <= terms


def test_glossary_says_where_each_meaning_comes_from() -> None:
    for term in read_glossary():
        assert term.source_text
        assert term.meaning.endswith(".")
        assert term.provenance != "MEMORY" or term.source_text.startswith("Typical, unchecked")


def test_see_leads_to_a_term() -> None:
    terms = {term.term: term.meaning for term in read_glossary()}
    for meaning in terms.values():
        if found := re.fullmatch(r"See (.+)\.", meaning):
            assert found[1] in terms


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"format_version": 2}, "format_version"),
        ({"terms": []}, "terms"),
        ({"extra": 1}, "extra"),
        ({"terms": [{"term": "band", "meaning": "x", "provenance": "TRADE"}]}, "terms[1].source"),
        ({"terms": [{**GOOD["terms"][0], "provenance": "HEARSAY"}]}, "terms[1].provenance"),  # type: ignore[index]
        ({"terms": GOOD["terms"][::-1]}, "terms[2].term"),  # type: ignore[index]
        ({"terms": [GOOD["terms"][0]] * 2}, "terms[2].term"),  # type: ignore[index]
    ],
)
def test_a_glossary_that_is_not_one_is_refused(change: dict[str, object], key: str) -> None:
    with pytest.raises(GlossaryError) as caught:
        parse_glossary({**GOOD, **change}, "glossary.toml")
    assert caught.value.problem.key == key
    assert caught.value.problem.remedy


def test_good_glossary_is_read_in_order() -> None:
    assert [term.term for term in parse_glossary(GOOD, "g")] == ["band", "lock"]
    assert len(read_glossary()) == len(tomllib.loads(GLOSSARY_FILE.read_text("utf-8"))["terms"])


# Standards and formulas -------------------------------------------------------------------------------------


def test_every_number_of_the_standards_is_there_with_its_source(pages: dict[str, Page]) -> None:
    scanning = pages["standards"].sections[0]
    labels = [row[0] for row in scanning.rows]
    assert labels == [
        label_of(name) for name in STANDARDS["525/60"].provenance if hasattr(STANDARDS["525/60"], name)
    ] or (set(labels) == {label_of(name) for name in STANDARDS["525/60"].provenance})
    assert all(row[2] and row[4] for row in scanning.rows)
    assert len(pages["standards"].sections) == 2 + len(PRACTICES)
    assert len(pages["standards"].sections[-1].rows) == len(FOOTPRINT.provenance)


def test_numbers_are_those_of_the_standard(pages: dict[str, Page]) -> None:
    rows = {row[0]: row for row in pages["standards"].sections[0].rows}
    # PUB ITU-R BT.470: 15 734.264 Hz, 4.7 us, -40 IRE to 100 IRE by ratio; 12.0 us.
    assert number_in(rows["Line rate"][1]) == pytest.approx(15.734264, rel=1e-6)
    assert rows["Line sync"][1] == "4.7\N{NO-BREAK SPACE}\N{MICRO SIGN}s"
    assert rows["Sync level"][1] == "\N{MINUS SIGN}40\N{NO-BREAK SPACE}IRE"
    assert rows["Line blanking"][3] == "12\N{NO-BREAK SPACE}\N{MICRO SIGN}s"


def test_nothing_from_memory_or_of_our_own_passes_for_a_standard() -> None:
    assert source_words("MEMORY, 300 ns").startswith("Typical, unchecked")
    assert source_words("MODEL, four samples").startswith("Chosen for this simulator")
    assert "typical" in source_words("PUB ITU-R BT.470, ratio 3 to 7; -300 mV from memory")
    assert source_words("PUB ITU-R BT.470, 4.7 +-0.1 us") == "ITU-R BT.470, 4.7 \N{PLUS-MINUS SIGN}0.1 us"
    records = [*(one.provenance for one in STANDARDS.values()), *(one.provenance for one in PRACTICES.values())]
    for provenance in (*records, FOOTPRINT.provenance):
        for mark in provenance.values():
            assert not re.match(r"(PUB|QUOTED|DERIVED|TRADE|MEMORY|MODEL)\b", source_words(mark))


def test_values_are_told_in_the_unit_of_their_name() -> None:
    assert value_words("line_sync_s", 4.7e-6) == "4.7\N{NO-BREAK SPACE}\N{MICRO SIGN}s"
    assert value_words("white_hz", 10e6) == "10\N{NO-BREAK SPACE}MHz"
    assert value_words("tape_speed_m_per_s", 0.381) == "0.381 m/s"
    assert value_words("white_level", 700.0, "mV") == "700\N{NO-BREAK SPACE}mV"
    assert value_words("first_active_line", (21, 284)) == "21, 284"


def test_formulas_are_worked_out_right(pages: dict[str, Page]) -> None:
    rows = {row[0]: row for row in pages["formulas"].sections[0].rows}
    # DERIVED by hand from line rate, lines, turns and tip circle.
    assert number_in(rows["Frame rate"][2]) == pytest.approx(4.5e6 / 286 / 525, rel=1e-6)
    assert number_in(rows["Lines in a band"][2]) == pytest.approx(525 / 32, abs=0.005)
    assert number_in(rows["Lines in a band"][3]) == pytest.approx(625 / 40, abs=0.006)
    tip = math.pi * 2.067 * 0.0254 * 250
    assert number_in(rows["Speed of a tip over the tape"][3]) == pytest.approx(tip, abs=0.006)
    assert number_in(rows["Wavelength on tape"][3]) == pytest.approx(tip / 7.8, abs=0.006)
    spacing = next(row for name, row in rows.items() if name.startswith("Spacing loss"))
    assert number_in(spacing[3]) == pytest.approx(-54.6 / (tip / 7.8), abs=0.02)
    assert all("{" not in cell for row in rows.values() for cell in row)


# The rest ---------------------------------------------------------------------------------------------------


def test_every_control_and_reading_is_explained(pages: dict[str, Page]) -> None:
    controls = {row[0] for section in pages["controls"].sections for row in section.rows}
    assert controls == {typeset(spec.label) for spec in CONTROLS.values()}
    readings = {(row[0], row[2]) for section in pages["readings"].sections for row in section.rows}
    assert readings == {(typeset(spec.label), unit_sign(spec.unit)) for spec in MEASUREMENTS.values()}


def test_symptom_chart_has_every_symptom_and_cause(pages: dict[str, Page]) -> None:
    chart = symptom_chart(FAULTS)
    assert sum(len(section.rows) for section in pages["symptoms"].sections) == sum(len(row.causes) for row in chart)
    said = words(pages["symptoms"])
    for row in chart:
        assert typeset(row.symptom) in said
        for cause in row.causes:
            assert typeset(cause.title) in said
            assert typeset(cause.remedy) in said


def test_cautions_are_those_of_the_machine_and_of_the_lessons(pages: dict[str, Page]) -> None:
    said = words(pages["cautions"])
    for act in ACTS.values():
        assert typeset(act.caution) in said
    for lesson in read_lessons().values():
        for caution in lesson.cautions:
            assert typeset(caution) in said


def test_pages_are_made_only_when_they_are_opened_and_hold_whole_tables() -> None:
    application = BenchApplication(lambda: 0.0)
    book = application.reference.book
    assert book.pages == ""
    application.reference.receive({"do": "open"})
    made = json.loads(book.pages)
    assert [page["name"] for page in made] == [
        "glossary", "standards", "formulas", "controls", "readings", "symptoms", "cautions",
    ]  # fmt: skip
    for page in made:
        for section in page["sections"]:
            assert {len(row) for row in section["rows"]} == {len(section["columns"])}
            assert all(row[0] for row in section["rows"])
    with pytest.raises(ValueError, match="know no"):
        application.reference.receive({"do": "shut"})
