"""What a benchmark keeps of a run, and how two runs are set side by side."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bandbench.benchmark_table import Tables, compared, read_ratios
from sim.errors import BandbenchError


def test_a_run_is_kept_and_compared_by_its_ratios(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tables = Tables()
    tables.about = "two cores"
    tables.show([("full frame [ms]", "native", "browser", "ratio"), ("next frame", "10.0", "15.0", "1.50")])
    tables.show([("visit", "the site", "bare", "ratio"), ("next frame", 3, 2, "0.67"), ("bytes", 12, "", "")])
    printed = capsys.readouterr().out.splitlines()
    # The ratio stands first.
    assert printed[1].split() == ["next", "frame", "1.50", "10.0", "15.0"]
    path = tmp_path / "run.json"
    tables.write(path)
    assert json.loads(path.read_text("utf-8"))["about"] == "two cores"
    kept = read_ratios(path)
    assert kept == {"next frame": 1.5, "visit: next frame": 0.67} == tables.ratios
    rows = compared(kept, {"next frame": 1.2})
    assert rows[1] == ["next frame", "1.50", "1.20", "0.80"]
    assert rows[2] == ["visit: next frame", "0.67", "", ""]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"form": 1, "ratios": {"a": "b"}}', '{"form": 9, "ratios": {}}'])
def test_a_file_that_is_no_kept_run_is_refused_with_what_to_do(text: str, tmp_path: Path) -> None:
    path = tmp_path / "run.json"
    path.write_text(text, "utf-8")
    with pytest.raises(BandbenchError, match=r"run\.json.*--json"):
        read_ratios(path)
    with pytest.raises(BandbenchError, match="cannot be read"):
        read_ratios(tmp_path / "none.json")
