"""The class report at the bench, without a browser: files come in, are scored in turns, shown and handed out."""

from __future__ import annotations

import json
from typing import Any

import pytest

from bandbench.bench.application import BenchApplication
from bandbench.bench.classdesk import ClassDeskView
from bandbench.bench.lessons import read_course
from bandbench.bench.reportpage import report_page
from bandbench.bench.reporttables import CSV_NAMES, ReportTables, csv_tables
from tests.class_records import LESSONS, NOW, Data, anna, ben, report_of


class Clock:
    """Goes forward by a second whenever it is asked."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        self.now_s += 1.0
        return self.now_s


@pytest.fixture(scope="module")
def application() -> BenchApplication:
    return BenchApplication(Clock())


@pytest.fixture
def desk(application: BenchApplication) -> ClassDeskView:
    # Of its own, so that its day is that of the files.
    return ClassDeskView(application.bench, application.act, read_course(LESSONS), Clock(), lambda: NOW)


def give(desk: ClassDeskView, *files: Data) -> None:
    for place, data in enumerate(files):
        desk.receive({"do": "file", "name": f"{place}.json", "text": json.dumps(data)})


def shown(desk: ClassDeskView) -> dict[str, Any]:
    return dict(json.loads(desk.desk.shown))


def tables(desk: ClassDeskView) -> dict[str, Any]:
    return dict(json.loads(desk.desk.tables))


def test_files_are_scored_in_turns_and_shown_as_the_command_has_them(desk: ClassDeskView) -> None:
    give(desk, anna(), ben())
    assert shown(desk)["going"]
    turns = 0
    while desk.work():
        turns += 1
        state = shown(desk)
        assert state["done"] <= state["total"] == 10
    # A frame a turn: many more turns than logs.
    assert turns > 30
    assert shown(desk)["text"] == "All 10 logs are scored."
    course = read_course(LESSONS)
    texts = [("0.json", json.dumps(anna())), ("1.json", json.dumps(ben()))]
    expected = ReportTables(report_of(texts, [LESSONS[name] for name in course.lessons]), course)
    told = tables(desk)
    assert told["counts"] == expected.counts
    assert [row["name"] for row in told["rows"]] == ["Anna", "Ben"]
    assert told["rows"][0]["cells"] == [[cell.state, expected.state(cell)] for cell in expected.report.people[0].cells]
    assert told["flags"] == []
    for name, text in csv_tables(expected).items():
        desk.receive({"do": "save", "value": name})
        assert (desk.desk.file["name"], desk.desk.file["text"]) == (f"class-{name}.csv", text)
    desk.receive({"do": "save", "value": "page"})
    assert desk.desk.file["text"] == report_page(expected, NOW.timestamp())
    assert desk.desk.file["number"] == 1 + len(CSV_NAMES)
    desk.receive({"do": "person", "value": 1})
    person = json.loads(desk.desk.person)
    assert (person["name"], person["place"], len(person["lines"])) == ("Ben", 1, 3)


def test_scoring_stops_goes_on_and_is_taken_away(desk: ClassDeskView) -> None:
    give(desk, anna())
    while shown(desk)["done"] == 0:
        assert desk.work()
    desk.receive({"do": "stop"})
    done = shown(desk)["done"]
    assert not desk.work()
    assert shown(desk)["text"].startswith(f"Stopped after {done} of 5 logs.")
    assert f"counted: {done}, held: 0, not scored yet: {5 - done}" in tables(desk)["counts"]
    desk.receive({"do": "go"})
    assert "Scoring:" in shown(desk)["text"]
    assert desk.work()
    desk.receive({"do": "clear"})
    assert not desk.work()
    assert (desk.desk.tables, shown(desk)["files"], shown(desk)["total"]) == ("", 0, 0)


def test_a_file_that_comes_while_others_are_scored_is_scored_too(desk: ClassDeskView) -> None:
    give(desk, anna())
    for _ in range(5):
        assert desk.work()
    give(desk, ben())
    while desk.work():
        pass
    assert (shown(desk)["done"], shown(desk)["total"]) == (10, 10)


def test_a_spoilt_file_is_flagged_and_harms_nothing(desk: ClassDeskView) -> None:
    desk.receive({"do": "file", "name": "<b>.json", "text": "{"})
    while desk.work():
        pass
    (flag,) = tables(desk)["flags"]
    assert flag[0] == "file not readable"
    assert flag[2] == "<b>.json: the whole file"


def test_it_is_there_for_instructors_not_in_lessons(application: BenchApplication) -> None:
    view = application.class_desk
    assert shown(view)["on"]
    for mode, on in (("learn", False), ("demonstrate", True), ("practise", False), (None, True)):
        application.bench.choose_mode(mode)
        view.refresh()
        assert shown(view)["on"] is on
    assert not application.work()
