"""The symptom chart: every symptom of the catalogue on it, once, and the page what the catalogue says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bandbench import symptomchart
from bandbench.bench.faults import FAULTS
from sim.faultchart import symptom_chart
from sim.faults import GROUPS, VIEWS, distinct_faults

ROWS = symptom_chart(FAULTS)
DISTINCT = distinct_faults(FAULTS)


def test_page_is_what_the_catalogue_says() -> None:
    kept = symptomchart.PAGE.read_text(encoding="utf-8")
    assert kept == symptomchart.page(), "lessons/symptom-chart.md is stale: run python3 bb.py docs and commit it"


def test_every_symptom_of_every_fault_is_a_row_and_leads_to_it() -> None:
    named = {(row.view, cause.entry) for row in ROWS for cause in row.causes}
    assert named == {(view, entry) for entry, fault in DISTINCT.items() for view in fault.symptoms}
    assert len(ROWS) == len({(row.view, row.symptom) for row in ROWS})
    assert [row.view for row in ROWS] == sorted((row.view for row in ROWS), key=list(VIEWS).index)
    for row in ROWS:
        for cause in row.causes:
            assert cause.group in GROUPS.values()
            assert cause.proofs
            assert cause.told_from


def test_one_symptom_of_several_faults_is_one_row() -> None:
    same = {"rf": "Fuzzy."}
    both = dict(FAULTS) | {
        name: replace(FAULTS[name], symptoms=same) for name in ("noisy_rf", "video_hums", "noisy_channel_1")
    }
    (row,) = (row for row in symptom_chart(both) if row.symptom == "Fuzzy.")
    assert [cause.entry for cause in row.causes] == ["noisy_rf", "noisy_channel", "video_hums"]


def test_faults_of_one_head_stand_there_for_any() -> None:
    cause = next(cause for row in ROWS for cause in row.causes if cause.entry == "clogged_head")
    assert cause.title == "Head N clogged"
    assert "The RF of head N is far below that of the others." in cause.proofs
    assert "Head N worn" in dict(cause.told_from)


def test_check_tells_a_stale_page_from_a_fresh_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(symptomchart, "PAGE", tmp_path / "symptom-chart.md")
    assert symptomchart.main(["--check"]) == 1
    assert "run python -m bandbench.symptomchart" in capsys.readouterr().err
    assert symptomchart.main([]) == 0
    assert symptomchart.main(["--check"]) == 0
    symptomchart.PAGE.write_text(symptomchart.page().replace("Head N worn", "Head N tired"), encoding="utf-8")
    assert symptomchart.main(["--check"]) == 1
