"""The class report as files: names stay data in CSV and HTML, and the command reads, scores and writes."""

from __future__ import annotations

import csv
import html
import io
import json
import random
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.classsample import sample_log, sample_records
from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_course
from bandbench.bench.reportpage import element, report_page
from bandbench.bench.reporttables import CSV_NAMES, ReportTables, csv_tables, safe_cell
from bandbench.command import main
from bandbench.report import class_files, lessons_of, score_all
from sim.training.attempt import attempt_from_json, check_belongs
from sim.training.classform import Report, printable
from sim.training.classreport import ClassReport
from sim.training.lesson import Lesson
from tests.class_records import CASE, LESSONS, LINE_UP, NOW, Data, anna, ben, report_of

HOSTILE = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    '"><svg onload=alert(1)>',
    "</td></table><iframe srcdoc='<script>alert(1)</script>'>",
    "</title><style>*{display:none}</style>",
    "javascript:alert(1)",
    "&lt;b&gt; &#60;b&#62; {{7*7}} ${7*7}",
    "=HYPERLINK(\"http://a.example\",\"x\")",
    "@SUM(1+1)",
    "-2+3",
    "+cmd|' /C calc'!A0",
)  # fmt: skip


def spoilt(name: str) -> tuple[str, Data]:
    """Return a file with `name` in every place that a name, note, answer, key or id has: as (name, data)."""
    data = anna()
    data["profile"]["name"] = name[:60]
    data["notes"][0]["text"] = name
    rows = data["attempts"]
    for row, edit in zip(rows, range(len(rows)), strict=True):
        log = json.loads(row["log"])
        if edit == 0:
            log["events"][0]["answer"] = name
        elif edit == 1:
            log["events"][0]["question"] = name
        elif edit == 2:
            log["events"].insert(0, {"at_s": 0.0, "kind": "note_written", "text": name})
        elif edit == 3:
            row[name] = name
        else:
            row["lesson"] = log["lesson"] = name
        row["log"] = json.dumps(log)
    data["attempts"].append({"id": name, "profile": name})
    return f"{name}.json", data


def tables_of(*files: tuple[str, Data]) -> ReportTables:
    report = report_of([(name, json.dumps(data)) for name, data in files])
    return ReportTables(report, read_course(LESSONS))


class Structure(HTMLParser):
    """The elements of a page with their attributes, and its texts."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, tuple[tuple[str, str | None], ...]]] = []
        self.texts: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(attrs)))

    def handle_comment(self, data: str) -> None:
        raise AssertionError("the page has no comments")

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


# Names are data -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", HOSTILE)
def test_no_element_or_attribute_of_the_page_comes_from_a_file(name: str) -> None:
    made_s = NOW.timestamp()
    page = report_page(tables_of(spoilt(name)), made_s)
    plain = report_page(tables_of(spoilt("Somebody")), made_s)
    found = Structure(page)
    assert found.elements == Structure(plain).elements
    assert name[:60] in found.texts
    assert sum(f"{name}.json" in text for text in found.texts) >= 4
    (policy,) = [dict(attrs)["content"] for tag, attrs in found.elements if dict(attrs).get("http-equiv")]
    assert policy is not None
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "script" not in policy
    assert not {"script", "iframe", "img", "link", "a"} & {tag for tag, _ in found.elements}


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=80))
def test_an_element_holds_any_text_as_it_is(text: str) -> None:
    shown = printable(text)
    made = element("p", shown, element("b", shown))
    found = Structure(str(made))
    assert [tag for tag, _ in found.elements] == ["p", "b"]
    assert html.unescape("".join(found.texts)) == html.unescape(shown + shown)
    assert shown.isprintable()
    shown.encode("utf-8")


@pytest.mark.parametrize("name", HOSTILE)
def test_no_cell_of_the_csv_is_a_formula(name: str) -> None:
    for text in csv_tables(tables_of(spoilt(name))).values():
        rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"))))
        assert len({len(row) for row in rows}) == 1
        for row in rows:
            assert not [cell for cell in row if cell.lstrip()[:1] in tuple("=+-@\t\r")]


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=20))
def test_a_safe_cell_keeps_its_text_and_begins_no_formula(text: str) -> None:
    cell = safe_cell(text)
    assert cell in (text, f"'{text}")
    assert cell.lstrip()[:1] not in tuple("=+-@\uff1d\uff0b\uff0d\uff20")


def test_csv_holds_one_row_for_each_person_and_skill_with_its_dates() -> None:
    tables = csv_tables(tables_of(("anna.json", anna()), ("ben.json", ben())))
    assert tuple(tables) == CSV_NAMES
    rows = list(csv.DictReader(io.StringIO(tables["skills"].removeprefix("\ufeff"))))
    assert len(rows) == 2 * 3
    (row,) = (one for one in rows if (one["learner"], one["lesson"]) == ("Anna", CASE))
    assert (row["state"], row["passes"], row["mastered_on"], row["due_on"]) == ("due", "2", "2026-03-02", "2026-03-03")
    items = list(csv.DictReader(io.StringIO(tables["items"].removeprefix("\ufeff"))))
    checks = [(one["name"], one["submitted"], one["missed"]) for one in items if one["lesson"] == LINE_UP]
    assert checks == [("rf", "4", "0"), ("skew", "4", "0"), ("", "4", "0")]
    assert len(tables["flags"].splitlines()) == 1


def test_the_page_tells_flags_matrix_items_and_evidence() -> None:
    texts = " ".join(Structure(report_page(tables_of(spoilt("Eve"), ("ben.json", ben())), NOW.timestamp())).texts)
    for wanted in ("Class report of 2026-03-20", "Held", "Ben", "review due 2026-03-03", "changed after scoring"):
        assert wanted in texts
    assert LESSONS[LINE_UP].title in texts


# The command ----------------------------------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep what the tests' commands keep in a folder of the test's own."""
    cache = tmp_path_factory.mktemp("cache")
    monkeypatch.setenv("BANDBENCH_CACHE", str(cache))
    return cache


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, data in (("anna", anna()), ("ben", ben())):
        (tmp_path / f"{name}.json").write_text(json.dumps(data), "utf-8")
    (tmp_path / "spoilt.json").write_bytes(b"\xff\xfe\x00")
    return tmp_path


def test_the_command_reads_files_and_folders_and_writes_what_is_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = folder / "out"
    out.mkdir()
    words = ["report", str(folder), "--csv", str(out / "class.csv"), "--html", str(out / "class.html")]
    assert main(words) == 0
    shown = capsys.readouterr().out
    assert "Files: 3. Learners: 2. Attempts: 10; counted: 10, held: 0, not scored yet: 0." in shown
    assert "file not readable: spoilt.json: the whole file: is not text in UTF-8" in shown
    assert sorted(path.name for path in out.iterdir()) == [
        "class-flags.csv",
        "class-items.csv",
        "class.csv",
        "class.html",
    ]
    assert "Anna" in (out / "class.html").read_text("utf-8")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["nowhere.json"], "nowhere.json: no such file or folder"),
        (["{folder}", "--jobs", "0"], "--jobs '0': use a whole number from 1"),
        (["{folder}", "--lessons", "nowhere"], "--lessons nowhere: no such folder"),
        (["{folder}/ben.json", "--csv", "{folder}/no/such/place.csv"], "cannot be written"),
    ],
)
def test_the_command_says_what_is_wrong(
    words: list[str], told: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", *(word.format(folder=folder) for word in words)]) == 2
    assert told in capsys.readouterr().err


def test_several_processes_come_to_the_same_report(tmp_path: Path) -> None:
    lessons, _ = lessons_of(())
    quick = [LESSONS[name] for name in (CASE, "audio-and-cue", "diagnosis-two-bands-of-four")]
    for name, text in sample_records(quick, FAULTS, learners=3, attempts=4):
        (tmp_path / name).write_text(text, "utf-8")

    def scored(jobs: int) -> Report:
        report = ClassReport(lessons, NOW.timestamp())
        for file in class_files([tmp_path]):
            report.add(file)
        score_all(report, (), jobs)
        return report.report()

    one = scored(1)
    assert one == scored(2)
    assert (one.attempts, one.waiting, [row.person.name for row in one.people]) == (
        12,
        0,
        ["Learner 1", "Learner 2", "Learner 3"],
    )
    assert {lesson.id for lesson in one.lessons} == {lesson.id for lesson in quick}


@pytest.mark.parametrize("lesson", LESSONS.values(), ids=lambda lesson: lesson.id)
def test_a_sample_log_belongs_to_its_lesson(lesson: Lesson) -> None:
    log = sample_log(lesson, 5, FAULTS, random.Random(5))
    assert attempt_from_json(log.to_json(), "sample") == log
    check_belongs(log, lesson, "sample")


@pytest.mark.parametrize("words", [["report"], ["lessons", "lint"], ["demonstrations", "lint"]])
def test_a_name_that_the_system_refuses_is_told(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    name = "a" * 5000
    assert main([*words, name]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"bandbench {words[0]}: ")
    assert name in told
    assert told.rstrip().endswith("check the name")
