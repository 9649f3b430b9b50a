"""The data files as the built site has them: the same as TOML says, without any TOML."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from bandbench.bench.datafiles import FOLDER, PARSED, data_names, parsed, read_data
from bandbench.bench.demonstrations import read_demonstrations
from bandbench.bench.faults import FAULTS, read_faults
from bandbench.bench.glossary import read_glossary
from bandbench.bench.lessons import read_course, read_lessons
from bandbench.build_python import own_files


@pytest.fixture
def built(tmp_path: Path) -> Path:
    """Return the folder of data as the site gets it."""
    for name, content in own_files().items():
        if name.startswith("lessons/"):
            path = tmp_path / name.removeprefix("lessons/")
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
    return tmp_path


def test_the_built_site_has_every_data_file_and_no_toml(built: Path) -> None:
    files = sorted(path.relative_to(built).as_posix() for path in built.rglob("*") if path.is_file())
    assert files == [f"demonstrations/{PARSED}", PARSED]
    sources = {path.name: tomllib.loads(path.read_text("utf-8")) for path in FOLDER.glob("*.toml")}
    assert data_names(built) == data_names() == sorted(sources)
    assert {name: read_data(built / name) for name in sources} == sources


def test_it_reads_the_same_lessons_course_faults_and_terms(built: Path) -> None:
    lessons = read_lessons(built)
    assert lessons == read_lessons()
    assert list(lessons) == list(read_lessons())
    assert read_course(lessons, built) == read_course(lessons)
    assert dict(read_faults(built / "faults.toml")) == dict(FAULTS)
    assert read_glossary(built / "glossary.toml") == read_glossary()
    assert read_demonstrations(built / "demonstrations") == read_demonstrations()


def test_toml_that_is_there_is_what_counts(built: Path) -> None:
    (built / "glossary.toml").write_text("format_version = 7\n", "utf-8")
    assert read_data(built / "glossary.toml") == {"format_version": 7}
    assert data_names(built) == ["glossary.toml"]


def test_a_file_that_is_nowhere_is_told(built: Path) -> None:
    with pytest.raises(FileNotFoundError, match="no-such"):
        read_data(built / "no-such.toml")


@pytest.mark.parametrize("text", ["day = 2026-03-01\n", "number = nan\n", "number = inf\n"])
def test_what_json_cannot_say_is_refused_when_it_is_built(tmp_path: Path, text: str) -> None:
    (tmp_path / "one.toml").write_text(text, "utf-8")
    with pytest.raises((TypeError, ValueError), match="JSON"):
        parsed(tmp_path)


def test_whole_numbers_stay_whole_and_signs_stay(tmp_path: Path) -> None:
    (tmp_path / "one.toml").write_text('whole = 1\nhalf = 1.0\nlong = 123456789012345678901\nsign = "−Ω"\n', "utf-8")
    data = json.loads(parsed(tmp_path))["one.toml"]
    assert data == {"whole": 1, "half": 1.0, "long": 123456789012345678901, "sign": "−Ω"}
    assert [type(data[key]) for key in ("whole", "half")] == [int, float]
