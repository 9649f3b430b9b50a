"""Statements at the bench: made as the learner works, kept with the records, and those of a launch by its rules."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest

from bandbench.bench.reporting import ReportingView
from sim.errors import BandbenchError
from sim.training.cmi5 import CATEGORY
from sim.training.statementcheck import statement_problems
from sim.training.statements import VERBS
from tests.statement_judges import cmi5_problems
from tests.test_records import LESSON, Place, Store
from tests.test_training_cmi5 import PUBLISHER, said


class StatementStore(Store):
    """The page's side with its statements (``site/static/statements.mjs``)."""

    def __init__(self) -> None:
        super().__init__()
        self.rows["statements"] = {}
        self.closing: list[dict[str, Any]] = []
        self.finished = 0

    def carry_out(self, records: Any, change: dict[str, Any]) -> None:
        match change["do"]:
            case "closing":
                self.closing = change["rows"]
            case "finish":
                self.finished += 1
            case _:
                super().carry_out(records, change)


class Reported(Place):
    """A bench whose work is reported."""

    def __init__(self, store: StatementStore | None = None) -> None:
        self.statements = store or StatementStore()
        super().__init__(self.statements)

        def act(action: Any) -> str | None:
            try:
                action()
            except BandbenchError as error:
                return str(error)
            return None

        self.view = ReportingView(self.bench, act, self.records, self.moment)

    @property
    def rows(self) -> list[dict[str, Any]]:
        rows = self.statements.rows["statements"].values()
        return sorted(rows, key=lambda row: (row["statement"]["timestamp"], row["place"]))

    @property
    def told(self) -> list[str]:
        return [row["statement"]["verb"]["id"].removeprefix(VERBS) for row in self.rows]


@pytest.fixture
def place() -> Reported:
    return Reported()


def test_a_lesson_is_told_while_it_goes_on(place: Reported) -> None:
    place.begin()
    assert place.told == []
    place.bench.open_hint(1, place.now_s)
    place.follow()
    assert place.told == ["initialized", "interacted"]
    place.bench.check_lesson(place.now_s)
    place.follow()
    assert place.told == ["initialized", "interacted", "attempted"]
    place.solve()
    assert place.told[-4:] == ["attempted", "passed", "completed", "terminated"]
    assert place.told.count("attempted") == 2
    for row in place.rows:
        assert row["state"] == "waiting"
        assert row["session"] == ""
        assert row["profile"] == place.statements.profile
        assert row["statement"]["actor"]["account"]["name"] == row["profile"]
        assert statement_problems(row["statement"]) == ()
    # What the log says happened then, happened then.
    (hint,) = (row["statement"] for row in place.rows if row["statement"]["verb"]["id"].endswith("interacted"))
    (submitted, *_) = (row["statement"] for row in place.rows if row["statement"]["verb"]["id"].endswith("attempted"))
    assert hint["timestamp"] < submitted["timestamp"] < place.rows[-1]["statement"]["timestamp"]


def test_leaving_and_going_on_are_told_and_nothing_twice(place: Reported) -> None:
    place.begin()
    place.bench.open_hint(1, place.now_s)
    place.follow()
    place.bench.choose_mode(None)
    place.follow()
    assert place.told == ["initialized", "interacted", "suspended"]
    again = Reported(place.statements)
    again.now_s = place.now_s + 86_400.0
    (left,) = again.records.resumable
    again.do(lambda: again.records.resume(left.id, again.now_s))
    assert again.told[-1] == "resumed"
    again.solve()
    assert again.told == [
        "initialized", "interacted", "suspended", "resumed", "attempted", "passed", "completed", "terminated",
    ]  # fmt: skip
    day = timedelta(days=1).total_seconds()
    assert again.now_s - place.now_s >= day
    # The night between does not count, and what came after it is told as of the next day.
    first, *_, last = (row["statement"]["timestamp"] for row in again.rows)
    assert first[:10] < last[:10]


def test_an_attempt_that_is_scored_again_adds_nothing(place: Reported) -> None:
    place.begin()
    place.solve()
    before = json.dumps(place.statements.rows["statements"])
    for row in place.statements.rows["attempts"].values():
        row["outcome"]["app_version"] = "another"
    later = Reported(place.statements)
    assert later.records.score_next()
    later.statements.serve(later.records)
    assert json.dumps(place.statements.rows["statements"]) == before


def test_an_imported_attempt_is_told_once_it_is_scored(place: Reported) -> None:
    place.begin()
    place.solve()
    told = {row["id"]: row["statement"] for row in place.rows}
    file = place.statements.export()
    data = json.loads(file)
    data.pop("statements")
    other = Reported()
    other.records.offer_file("file.json", json.dumps(data))
    other.statements.serve(other.records)
    other.do(other.records.accept_file)
    assert other.told == []
    assert other.records.score_next()
    other.statements.serve(other.records)
    # The same statements under the same ids, and at very nearly the same moments: nothing can count twice.
    assert {row["id"] for row in other.rows} == set(told)


# --- launched by a learning system -----------------------------------------------------------------------------------


def launched(place: Reported, **changes: object) -> dict[str, Any]:
    data = said(**changes)
    place.view.take(json.dumps(data))
    place.statements.serve(place.records)
    return data


def judged(data: dict[str, Any]) -> dict[str, Any]:
    extensions = data["launch_data"]["contextTemplate"]["extensions"]
    return {
        "actor": data["actor"],
        "registration": data["registration"],
        "activityId": data["activity_id"],
        "session": next(iter(extensions.values())),
        "mode": data["launch_data"]["launchMode"],
        "masteryScore": data["launch_data"]["masteryScore"],
        "passed": data["passed"],
        "completed": data["completed"],
        "publisher": PUBLISHER,
    }


def leave(place: Reported) -> list[dict[str, Any]]:
    place.now_s += 5.0
    place.view.receive({"do": "leave"})
    place.statements.serve(place.records)
    assert place.statements.finished == 1
    rows = [row for row in place.rows if row["session"]]
    return [row["statement"] for row in [*rows, *place.statements.closing]]


def test_a_launch_brings_its_learner_and_its_lesson(place: Reported) -> None:
    data = launched(place)
    assert place.who == "4711"
    assert place.bench.lesson is not None
    assert place.bench.lesson.id == LESSON
    shown = json.loads(place.view.card.shown)
    assert "4711" in shown["launched"]
    assert "Your course waits for a pass." in shown["launched"]
    assert (shown["problem"], shown["audio"]) == ("", None)
    place.begin()
    place.bench.open_hint(1, place.now_s)
    place.follow()
    place.solve()
    statements = leave(place)
    assert cmi5_problems(statements, judged(data)) == []
    told = [one["verb"]["id"].removeprefix(VERBS) for one in statements]
    assert told == ["initialized", "interacted", "attempted", "passed", "completed", "terminated"]
    # Launched once more, the learner is the same one.
    profiles = dict(place.statements.rows["profiles"])
    again = Reported(place.statements)
    launched(again, passed=True, completed=True)
    assert again.statements.rows["profiles"].keys() == profiles.keys()


def test_a_score_that_the_launch_asks_for_counts_when_the_lesson_is_left(place: Reported) -> None:
    # Whatever was right of it is enough here.
    data = launched(place, masteryScore=0, moveOn="CompletedAndPassed")
    shown = json.loads(place.view.card.shown)["launched"]
    assert "It counts as passed from 0 % on" in shown
    assert "waits for a pass with all of it done" in shown
    place.begin()
    place.bench.check_lesson(place.now_s)
    place.follow()
    statements = leave(place)
    assert cmi5_problems(statements, judged(data)) == []
    assert [one["verb"]["id"].removeprefix(VERBS) for one in statements] == [
        "initialized", "attempted", "passed", "completed", "suspended", "terminated",
    ]  # fmt: skip


def test_a_lesson_that_is_left_is_told_as_left(place: Reported) -> None:
    data = launched(place)
    place.begin()
    place.bench.check_lesson(place.now_s)
    place.follow()
    statements = leave(place)
    assert cmi5_problems(statements, judged(data)) == []
    assert [one["verb"]["id"].removeprefix(VERBS) for one in statements] == [
        "initialized", "attempted", "suspended", "terminated",
    ]  # fmt: skip


@pytest.mark.parametrize("mode", ["Browse", "Review"])
def test_who_only_looks_around_is_not_judged(place: Reported, mode: str) -> None:
    data = launched(place, launchMode=mode)
    place.begin()
    place.solve()
    statements = leave(place)
    assert cmi5_problems(statements, judged(data)) == []
    assert [one["verb"]["id"].removeprefix(VERBS) for one in statements] == ["initialized", "terminated"]


def test_attempts_of_another_day_are_none_of_a_launchs(place: Reported) -> None:
    launched(place)
    place.begin()
    place.solve()
    for row in place.statements.rows["attempts"].values():
        row["outcome"]["app_version"] = "another"
    place.statements.rows["statements"].clear()
    again = Reported(place.statements)
    again.now_s += 86_400.0
    launched(again)
    assert again.records.score_next()
    again.statements.serve(again.records)
    assert again.told == ["initialized"]


def test_another_learner_in_a_launched_window_is_not_reported(place: Reported) -> None:
    launched(place)
    place.do(lambda: place.records.create_profile("Somebody else"))
    place.begin()
    place.solve()
    assert place.told == ["initialized"]


def test_a_launch_without_a_lesson_says_so(place: Reported) -> None:
    launched(place, lesson="no-such-lesson")
    assert "cannot count as passed" in json.loads(place.view.card.shown)["launched"]
    place.begin()
    place.solve()
    assert not any(CATEGORY in str(row) and "passed" in row["statement"]["verb"]["id"] for row in place.rows)


def test_a_launch_that_says_too_little_is_told_and_nothing_is_reported(place: Reported) -> None:
    launched(place, launch_data={})
    assert "session id" in json.loads(place.view.card.shown)["problem"]
    place.begin()
    place.solve()
    assert {row["session"] for row in place.rows} == {""}
