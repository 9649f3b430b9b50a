"""Learners' records without a browser: what is kept, resumed, scored again, exported and refused."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.bench import Bench
from bandbench.bench.errors import BenchError
from bandbench.bench.learner import LearnerView
from bandbench.bench.lessons import read_lessons
from bandbench.bench.progress import Advice
from bandbench.bench.recordform import FILE_FORMAT, FILE_FORMAT_VERSION, RecordsError, checked_name, parse_records
from bandbench.bench.records import LearnerRecords
from bandbench.bench.result import ResultView
from sim.errors import BandbenchError
from sim.training.attempt import NoteWritten
from sim.training.solution import solution_moves

LESSON = "tracking-and-guide"
STATIC = Path(__file__).parents[1] / "site" / "static"


class Store:
    """The page's side: keeps rows as ``site/static/records.mjs`` does, and answers."""

    def __init__(self, kept: bool = True) -> None:
        self.rows: dict[str, dict[str, Any]] = {name: {} for name in ("profiles", "attempts", "running", "notes")}
        self.storage = {"state": "kept", "reason": ""} if kept else {"state": "memory", "reason": "refused"}
        self.held: set[str] = set()
        self.elsewhere: list[str] = []
        self.persisted = 0
        self.profile = ""

    def of(self, profile: str) -> dict[str, list[Any]]:
        return {
            name: [row for row in rows.values() if row["profile"] == profile]
            for name, rows in self.rows.items()
            if name != "profiles"
        }

    def send_all(self, records: LearnerRecords, profile: str) -> None:
        known = self.rows["profiles"]
        latest = max(known.values(), key=lambda row: row["used_at"], default={"id": ""})["id"]
        self.profile = profile if profile in known else latest
        whole = {
            "storage": self.storage,
            "app_version": "1a2b",
            "profile": self.profile,
            "profiles": list(known.values()),
            "elsewhere": self.elsewhere,
            **self.of(self.profile),
        }
        records.load(json.dumps(whole))

    def serve(self, records: LearnerRecords) -> None:
        """Carry out what Python asks for, until there is nothing more."""
        while text := records.next_changes():
            message = json.loads(text)
            self.profile = message["profile"]
            for change in message["changes"]:
                self.carry_out(records, change)

    def carry_out(self, records: LearnerRecords, change: dict[str, Any]) -> None:
        match change["do"]:
            case "put":
                self.rows[change["store"]][change["row"]["id"]] = change["row"]
            case "add":
                self.rows[change["store"]].setdefault(change["row"]["id"], change["row"])
            case "delete":
                self.rows[change["store"]].pop(change["id"], None)
            case "forget":
                for rows in self.rows.values():
                    for key in [k for k, row in rows.items() if change["profile"] in (k, row.get("profile"))]:
                        del rows[key]
            case "load":
                self.send_all(records, change["profile"])
            case "fetch":
                records.plan_import(json.dumps({"profile": change["profile"], **self.of(change["profile"])}))
            case "hold":
                self.held.add(change["id"])
            case "release":
                self.held.discard(change["id"])
            case "persist":
                self.persisted += 1
            case other:
                raise AssertionError(other)

    def export(self) -> str:
        return json.dumps(
            {
                "format": FILE_FORMAT,
                "format_version": FILE_FORMAT_VERSION,
                "exported_at": "2026-03-02T08:00:00.000Z",
                "app_version": "1a2b",
                "profile": self.rows["profiles"][self.profile],
                **self.of(self.profile),
            }
        )


class Place:
    """A bench with its records and the store behind them, on clocks that a test winds."""

    def __init__(self, store: Store | None = None, seed: int = 1) -> None:
        self.store = store or Store()
        self.bench = Bench(LESSONS, random.Random(seed))
        self.now_s = 100.0
        self.chance = random.Random(seed)
        self.records = LearnerRecords(self.bench, "Learner", self.moment, self.new_id)
        self.store.send_all(self.records, "")

    def moment(self) -> datetime:
        return datetime(2026, 3, 1, tzinfo=UTC) + timedelta(seconds=self.now_s)

    def new_id(self) -> str:
        digits = f"{self.chance.getrandbits(128):032x}"
        return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))

    def follow(self, seconds: float = 2.0) -> None:
        self.now_s += seconds
        self.records.follow(self.now_s)
        self.store.serve(self.records)

    def begin(self, lesson: str = LESSON, seed: int = 5) -> None:
        self.bench.choose_mode("learn")
        self.bench.lesson = self.bench.lessons[lesson]
        self.bench.begin_lesson(self.now_s, seed)
        self.follow()

    def turn(self, control: str, value: float) -> None:
        self.now_s += 3.0
        self.bench.set_control(control, value, self.now_s)
        self.follow()

    def solve(self) -> None:
        session = self.bench.running_session()
        for control, value in solution_moves(session.lesson, session.start):
            self.turn(control, value)
        self.bench.check_lesson(self.now_s)
        self.follow()

    def do(self, action: Callable[[], object]) -> None:
        action()
        self.store.serve(self.records)

    @property
    def who(self) -> str:
        return self.records.profile.name if self.records.profile else ""

    @property
    def kept(self) -> dict[str, dict[str, Any]]:
        return json.loads(json.dumps(self.store.rows))  # type: ignore[no-any-return]


LESSONS = read_lessons()


@pytest.fixture
def place() -> Place:
    return Place()


@pytest.fixture(scope="module")
def exported() -> tuple[str, dict[str, Any]]:
    """A file with a passed attempt, one that was left and a note, and what was kept."""
    made = Place(seed=7)
    made.do(lambda: made.records.create_profile("Ada"))
    made.begin()
    made.solve()
    made.bench.restart_lesson(made.now_s, 6)
    made.follow()
    made.turn("guide_position_um", 3.0)
    made.do(lambda: made.records.write_note("Peak first, then straighten.", made.now_s))
    made.follow()
    return made.store.export(), made.kept


# Attempts -----------------------------------------------------------------------------------------------------------


def test_nothing_is_kept_before_anything_is_done(place: Place) -> None:
    place.begin()
    place.bench.show_step(2, place.now_s)
    place.follow()
    assert place.kept == {"profiles": {}, "attempts": {}, "running": {}, "notes": {}}


def test_the_first_move_makes_a_learner_and_keeps_the_attempt(place: Place) -> None:
    place.begin()
    place.turn("guide_position_um", 7.0)
    (profile,) = place.kept["profiles"].values()
    (running,) = place.kept["running"].values()
    assert profile["name"] == "Learner"
    assert running["profile"] == profile["id"]
    assert json.loads(running["log"])["events"][-1] == {
        "at_s": json.loads(running["log"])["events"][-1]["at_s"],
        "kind": "control_moved",
        "control": "guide_position_um",
        "value": 7.0,
    }
    place.turn("guide_position_um", 9.0)
    assert len(place.kept["running"]) == 1
    assert next(iter(place.kept["running"].values()))["log"] == place.bench.running_session().attempt.to_json()


def test_a_passed_attempt_is_put_away_scored_and_the_browser_asked_once_to_keep_it(place: Place) -> None:
    place.begin()
    place.solve()
    (row,) = place.kept["attempts"].values()
    assert place.kept["running"] == {}
    assert row["outcome"]["passed"] is True
    assert place.store.persisted == 1
    place.bench.restart_lesson(place.now_s, 9)
    place.follow()
    place.solve()
    assert len(place.kept["attempts"]) == 2
    assert place.store.persisted == 1
    assert [place.records.passed(one) for one in place.records.history] == [True, True]


def test_an_attempt_begun_anew_is_put_away_and_one_that_was_only_read_is_not(place: Place) -> None:
    place.begin()
    place.bench.restart_lesson(place.now_s, 8)
    place.follow()
    assert place.kept["attempts"] == {}
    place.turn("guide_position_um", 7.0)
    # The last move falls between two looks.
    place.bench.set_control("guide_position_um", 8.0, place.now_s + 1.0)
    place.bench.restart_lesson(place.now_s + 2.0, 9)
    place.follow()
    (row,) = place.kept["attempts"].values()
    assert json.loads(row["log"])["seed"] == 8
    assert json.loads(row["log"])["events"][-1]["value"] == 8.0
    assert row["outcome"]["passed"] is False
    assert place.kept["running"] == {}
    assert place.store.held == set()


def test_after_a_crash_the_attempt_goes_on_where_it_was(place: Place) -> None:
    place.begin()
    place.bench.show_step(3, place.now_s)
    place.bench.open_hint(1, place.now_s)
    place.turn("guide_position_um", 7.0)
    place.bench.check_lesson(place.now_s)
    place.follow()
    before = place.bench.running_session()
    again = Place(place.store, seed=2)
    (left,) = again.records.resumable
    again.do(lambda: again.records.resume(left.id, again.now_s))
    session = again.bench.running_session()
    assert session.attempt == before.attempt
    assert session.controls == before.controls
    assert again.bench.recorder.controls == before.controls
    assert again.bench.recorder.condition == before.start.condition
    assert (session.step_number, session.hints_opened) == (3, 1)
    assert session.last_submission == before.last_submission
    assert again.store.held == {left.id}
    assert again.records.resumable == ()
    again.solve()
    (row,) = again.kept["attempts"].values()
    assert (row["id"], row["outcome"]["passed"]) == (left.id, True)
    assert json.loads(row["log"])["events"][: len(before.attempt.events)] == before.attempt.to_data()["events"]
    assert again.kept["running"] == {}


def test_a_lesson_that_was_left_can_be_resumed_and_beginning_it_anew_puts_it_away(place: Place) -> None:
    place.begin()
    place.turn("guide_position_um", 7.0)
    place.bench.choose_mode(None)
    place.follow()
    (left,) = place.records.resumable
    assert place.store.held == set()
    place.begin(seed=11)
    place.turn("guide_position_um", 1.0)
    assert list(place.kept["attempts"]) == [left.id]
    assert left.id not in place.kept["running"]
    assert len(place.kept["running"]) == 1


def test_an_attempt_in_another_tab_is_left_to_it(place: Place) -> None:
    place.begin()
    place.turn("guide_position_um", 7.0)
    (running,) = place.kept["running"]
    place.store.elsewhere = [running]
    other = Place(place.store, seed=3)
    with pytest.raises(BenchError, match="another tab"):
        other.records.resume(running, other.now_s)
    assert other.bench.session is None
    other.begin()
    other.turn("guide_position_um", 2.0)
    assert set(other.kept["running"]) > {running}


def test_an_attempt_on_another_version_of_the_lesson_says_why_it_cannot_be_resumed(place: Place) -> None:
    place.begin()
    place.turn("guide_position_um", 7.0)
    (row,) = place.store.rows["running"].values()
    row["lesson_version"] = 99
    row["log"] = row["log"].replace('"lesson_version": 1', '"lesson_version": 99')
    again = Place(place.store, seed=2)
    (left,) = again.records.resumable
    with pytest.raises(BenchError, match="version 1"):
        again.records.resume(left.id, again.now_s)
    assert again.bench.session is None
    again.do(lambda: again.records.set_aside(left.id))
    assert list(again.kept["attempts"]) == [left.id]
    (kept,) = again.records.history
    assert again.records.lesson_of(kept) is None
    assert not again.records.score_next()


def test_a_score_of_another_program_or_of_a_changed_log_is_not_believed(place: Place) -> None:
    place.begin()
    place.turn("guide_position_um", 7.0)
    place.bench.check_lesson(place.now_s)
    place.bench.restart_lesson(place.now_s, 8)
    place.follow()
    (row,) = place.store.rows["attempts"].values()
    assert row["outcome"]["passed"] is False
    row["outcome"]["passed"] = True
    row["outcome"]["app_version"] = "0000"
    again = Place(place.store, seed=2)
    (kept,) = again.records.history
    assert again.records.passed(kept) is None
    assert again.records.score_next()
    assert not again.records.score_next()
    (kept,) = again.records.history
    assert again.records.passed(kept) is False
    again.store.serve(again.records)
    assert next(iter(again.kept["attempts"].values()))["outcome"]["app_version"] == "1a2b"


def test_a_damaged_attempt_is_told_and_stays_untouched(place: Place) -> None:
    place.begin()
    place.solve()
    (row,) = place.store.rows["attempts"].values()
    row["log"] = row["log"][:-20]
    before = place.kept
    again = Place(place.store, seed=2)
    assert again.records.history == ()
    (spoilt,) = again.records.unreadable
    assert spoilt.id == row["id"]
    assert "attempts[1].log" in spoilt.reason
    again.begin()
    again.turn("guide_position_um", 2.0)
    again.do(lambda: again.records.rename_profile("Eve"))
    assert again.kept["attempts"] == before["attempts"]


# Learners -----------------------------------------------------------------------------------------------------------


def test_learners_are_made_chosen_renamed_and_deleted(place: Place) -> None:
    place.do(lambda: place.records.create_profile("  Ada "))
    place.begin()
    place.turn("guide_position_um", 7.0)
    place.do(lambda: place.records.create_profile("Bo"))
    assert place.bench.session is None
    assert [*place.records.resumable] == []
    assert place.who == "Bo"
    ada = next(one for one in place.records.profiles.values() if one.name == "Ada")
    place.do(lambda: place.records.choose_profile(ada.id))
    assert [row.lesson for row in place.records.resumable] == [LESSON]
    place.do(lambda: place.records.rename_profile("Ada B."))
    place.do(place.records.delete_profile)
    assert [row["name"] for row in place.kept["profiles"].values()] == ["Bo"]
    assert place.kept["running"] == {}
    assert place.who == "Bo"
    place.do(place.records.delete_profile)
    assert place.records.profiles == {}
    with pytest.raises(BenchError, match="make one first"):
        place.records.delete_profile()


@pytest.mark.parametrize(("name", "reason"), [("", "empty"), (" \t", "empty"), ("x" * 61, "61"), ("a\u202eb", "shown")])
def test_a_name_that_is_no_name_is_refused(place: Place, name: str, reason: str) -> None:
    with pytest.raises(RecordsError, match=reason):
        place.records.create_profile(name)
    assert place.records.next_changes() == ""


def test_markup_in_a_name_is_a_name() -> None:
    assert checked_name("<script>alert(1)</script> & Söhne") == "<script>alert(1)</script> & Söhne"


def test_a_note_is_kept_and_stands_in_the_log_of_the_attempt(place: Place) -> None:
    with pytest.raises(BenchError, match="choose Learn"):
        place.records.write_note("x", place.now_s)
    place.begin()
    with pytest.raises(BenchError, match="1 to 4000"):
        place.records.write_note("  ", place.now_s)
    place.do(lambda: place.records.write_note("Look at head 3 again.", place.now_s))
    place.follow()
    (note,) = place.records.notes_on(LESSON)
    assert note.text == "Look at head 3 again."
    last = place.bench.running_session().attempt.events[-1]
    assert isinstance(last, NoteWritten)
    assert last.text == note.text
    assert list(place.kept["notes"]) == [note.id]


# Export and import --------------------------------------------------------------------------------------------------


def test_everything_exported_is_there_after_an_import(exported: tuple[str, dict[str, Any]]) -> None:
    text, before = exported
    empty = Place(seed=20)
    empty.do(lambda: empty.records.offer_file("ada.json", text))
    plan = empty.records.plan
    assert plan is not None
    assert (len(plan.attempts), len(plan.left), len(plan.notes), plan.there, plan.refused) == (1, 1, 1, 0, ())
    assert plan.new_profile
    assert empty.kept["profiles"] == {}
    empty.do(empty.records.accept_file)
    after = empty.kept
    assert after["running"] == before["running"]
    assert after["notes"] == before["notes"]
    # The score is worked out again, from the log.
    (row,), (original,) = after["attempts"].values(), before["attempts"].values()
    assert row == {key: value for key, value in original.items() if key != "outcome"}
    assert empty.records.score_next()
    assert [empty.records.passed(one) for one in empty.records.history] == [True]
    assert empty.records.profile is not None
    assert empty.records.profile.name == "Ada"


def test_a_second_import_adds_nothing_and_equal_content_counts_once(exported: tuple[str, dict[str, Any]]) -> None:
    text, _ = exported
    place = Place(seed=21)
    for _ in range(2):
        place.do(lambda: place.records.offer_file("ada.json", text))
        place.do(place.records.accept_file)
    before = place.kept
    data = json.loads(text)
    data["attempts"][0]["id"] = place.new_id()
    data["notes"][0]["id"] = place.new_id()
    place.do(lambda: place.records.offer_file("copy.json", json.dumps(data)))
    plan = place.records.plan
    assert plan is not None
    assert (plan.attempts, plan.left, plan.notes, plan.there, plan.refused) == ((), (), (), 3, ())
    place.do(place.records.accept_file)
    for store in ("attempts", "running", "notes"):
        assert place.kept[store] == before[store]


def test_an_import_never_overwrites(exported: tuple[str, dict[str, Any]]) -> None:
    text, _ = exported
    place = Place(seed=22)
    place.do(lambda: place.records.offer_file("ada.json", text))
    place.do(place.records.accept_file)
    before = place.kept
    data = json.loads(text)
    data["attempts"][0]["started_at"] = "2026-02-01T00:00:00.000Z"
    data["notes"][0]["text"] = "Something else."
    data["profile"]["name"] = "Somebody else"
    place.do(lambda: place.records.offer_file("other.json", json.dumps(data)))
    plan = place.records.plan
    assert plan is not None
    assert (plan.attempts, plan.notes, len(plan.refused)) == ((), (), 2)
    assert all("the one here stays" in reason for reason in plan.refused)
    place.do(place.records.accept_file)
    for store in ("attempts", "running", "notes"):
        assert place.kept[store] == before[store]
    assert [row["name"] for row in place.kept["profiles"].values()] == ["Ada"]


def test_one_damaged_attempt_does_not_bar_the_others(exported: tuple[str, dict[str, Any]]) -> None:
    data = json.loads(exported[0])
    forged = {**data["attempts"][0], "id": "00000000-0000-4000-8000-000000000000"}
    forged["log"] = forged["log"].replace("guide_position_um", "guide_height_um")
    data["attempts"].append(forged)
    data["attempts"].append({"id": 5})
    place = Place(seed=23)
    place.do(lambda: place.records.offer_file("ada.json", json.dumps(data)))
    plan = place.records.plan
    assert plan is not None
    assert len(plan.attempts) == 1
    assert len(plan.refused) == 2
    assert "attempts[3]" in plan.refused[0]


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "not a file of records in JSON"),
        ("\x89PNG", "not a file of records in JSON"),
        ('{"format": "bandbench-records"', "not a file of records in JSON"),
        ("[" * 100_000, "not a file of records in JSON"),
        ('{"format": "bandbench-records", "format_version": NaN}', "not a file of records in JSON"),
        ("[]", "another program's file"),
        ('{"format": "xapi"}', "another program's file"),
        ('{"format": "bandbench-records", "format_version": 2}', "newer program"),
        ('{"format": "bandbench-records", "format_version": 1}', "exported_at"),
    ],
)
def test_a_foreign_or_damaged_file_is_refused_with_the_reason(place: Place, text: str, reason: str) -> None:
    with pytest.raises(RecordsError, match=re.escape(reason)) as refusal:
        place.records.offer_file("some.json", text)
    assert str(refusal.value).startswith("some.json: ")
    assert place.records.plan is None
    assert place.records.next_changes() == ""


# Whatever stands in place of whatever: a file of records is read, or refused as RecordsError, and nothing changes.
anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


def places(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the path to every value of a JSON text."""
    yield path
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        yield from places(value, (*path, key))


@settings(max_examples=150, deadline=None)
@given(drawn=st.data())
def test_a_damaged_file_is_read_or_refused_and_changes_nothing(
    exported: tuple[str, dict[str, Any]], drawn: st.DataObject
) -> None:
    data = json.loads(exported[0])
    where = drawn.draw(st.sampled_from([path for path in places(data) if path]))
    holder = data
    for key in where[:-1]:
        holder = holder[key]
    if drawn.draw(st.booleans()) and isinstance(holder, dict):
        del holder[where[-1]]
    else:
        holder[where[-1]] = drawn.draw(anything)
    text = json.dumps(data)
    if drawn.draw(st.booleans()):
        text = text[: drawn.draw(st.integers(0, len(text)))]
    untouched = _waiting_place()
    before, history = untouched.kept, untouched.records.history
    # Refused or planned: any other error fails the test.
    with suppress(RecordsError):
        untouched.do(lambda: untouched.records.offer_file("some.json", text))
    untouched.do(untouched.records.drop_file)
    assert untouched.kept == before
    assert untouched.records.history == history


_WAITING: list[Place] = []


def _waiting_place() -> Place:
    """Return a place with a learner and an attempt, the same for every example: none may change it."""
    if not _WAITING:
        made = Place(seed=30)
        made.begin()
        made.solve()
        _WAITING.append(made)
    return _WAITING[0]


@settings(max_examples=100, deadline=None)
@given(text=st.text(max_size=200))
def test_any_text_is_refused_as_records(text: str) -> None:
    with pytest.raises(RecordsError):
        parse_records(text, "some.json")


# The part of the page -----------------------------------------------------------------------------------------------


def view_of(place: Place) -> tuple[LearnerView, Callable[[], dict[str, Any]]]:
    def act(action: Callable[[], None]) -> str | None:
        try:
            action()
        except BandbenchError as error:
            return str(error)
        return None

    result = ResultView(place.bench, act, lambda: place.now_s, lambda _session, _score: Advice("", "", True))
    view = LearnerView(place.bench, act, lambda: place.now_s, place.records, result.show, result.show_and_print)

    def shown() -> dict[str, Any]:
        place.store.serve(place.records)
        view.refresh()
        return json.loads(view.card.shown)  # type: ignore[no-any-return]

    return view, shown


@pytest.mark.parametrize("reason", ["missing", "refused", "full", "blocked", "newer", "lost"])
def test_storage_that_is_refused_is_told_and_work_goes_on(reason: str) -> None:
    place = Place(Store(kept=False))
    view, shown = view_of(place)
    view.take("state", json.dumps({"state": "memory", "reason": reason}))
    assert shown()["lost"]
    assert "export" in shown()["storage"]
    place.begin()
    place.turn("guide_position_um", 7.0)
    assert len(place.kept["running"]) == 1
    view.take("state", json.dumps({"state": "kept", "reason": ""}))
    assert not shown()["lost"]


def test_every_reason_of_the_page_has_its_words() -> None:
    script = (STATIC / "records.mjs").read_text("utf-8")
    reasons = set(re.findall(r'setStorage\("memory", "(\w+)"\)', script)) | set(re.findall(r'return "(\w+)";', script))
    view, _ = view_of(Place())
    assert {"blocked", "newer", "full", "refused", "lost"} <= reasons
    assert all(f"why_{reason}" in view.words for reason in reasons)
    told = set(re.findall(r'word: "(\w+)"', script)) | set(re.findall(r'refuse\("(\w+)"\)', script))
    assert told <= set(view.words)


def test_the_part_says_what_was_done_and_why_not(place: Place, exported: tuple[str, dict[str, Any]]) -> None:
    view, shown = view_of(place)
    view.receive({"do": "create", "value": ""})
    assert "empty" in view.card.notice
    view.receive({"do": "create", "value": "Bo"})
    assert view.card.notice == ""
    assert shown()["name"] == "Bo"
    view.take("file", json.dumps({"name": "x.json", "text": "{}"}))
    assert view.card.notice.endswith("Nothing has changed.")
    assert shown()["plan"] is None
    view.take("file", json.dumps({"name": "ada.json", "text": exported[0]}))
    assert shown()["plan"]["adds"]
    assert "Ada, new" in shown()["plan"]["lines"][0]
    view.receive({"do": "accept"})
    assert view.card.notice == "Added: attempts 1, to be resumed 1, notes 1."
    now = shown()
    assert now["name"] == "Ada"
    assert [one["text"] for one in now["attempts"]] == [f"{LESSONS[LESSON].title}, variation 5: being scored"]
    assert not view.score_next()
    view.receive({"do": "open", "value": True})
    assert view.score_next()
    assert shown()["attempts"][0]["text"].endswith(": passed")
    (left,) = now["left"]
    assert (left["moves"], left["seed"], left["problem"]) == (1, 6, "")
    view.receive({"do": "resume", "value": left["id"]})
    assert view.card.notice == ""
    assert place.bench.running_session().seed == 6
    assert shown()["left"] == []
    assert shown()["note_on"] == LESSON
    assert [text for _, text in shown()["notes"]] == ["Peak first, then straighten."]
    place.now_s += 1000.0
    view.receive({"do": "note", "value": "Again."})
    assert [text for _, text in shown()["notes"]] == ["Again.", "Peak first, then straighten."]


# Attempts that are looked back at -----------------------------------------------------------------------------------


def test_a_kept_attempt_is_replayed_debriefed_and_left_as_it_was() -> None:
    place = Place()
    place.begin(seed=5)
    place.turn("guide_position_um", 7.0)
    place.turn("guide_position_um", 11.0)
    place.bench.check_lesson(place.now_s)
    place.bench.restart_lesson(place.now_s, 6)
    place.follow()
    (kept,) = place.records.history
    before = place.kept
    place.records.look_back(kept.id, place.now_s)
    session = place.bench.running_session()
    assert session.attempt.to_json() == kept.log
    place.bench.begin_replay(place.now_s)
    place.bench.seek_replay(0.0, place.now_s)
    assert place.bench.recorder.controls["guide_position_um"] == session.start.controls["guide_position_um"]
    place.bench.seek_replay(kept.attempt.duration_s, place.now_s)
    assert place.bench.recorder.controls["guide_position_um"] == 11.0
    # A restart that is refused leaves it what it is: one that is only looked at.
    with pytest.raises(BenchError, match="replay"):
        place.bench.restart_lesson(place.now_s, 8)
    assert place.bench.looking_back
    place.bench.end_replay()
    # It is over: nothing is turned, asked or submitted in it, and nothing of it is kept twice.
    refused: tuple[Callable[[], object], ...] = (
        lambda: place.bench.set_control("guide_position_um", 1.0, place.now_s),
        lambda: place.bench.check_lesson(place.now_s),
        lambda: place.bench.open_hint(1, place.now_s),
        lambda: place.bench.do_deed("play"),
    )
    for act in refused:
        with pytest.raises(BenchError, match="only looked at"):
            act()
    place.records.write_note("Seen again.", place.now_s)
    place.follow()
    assert session.attempt.to_json() == kept.log
    assert {**place.kept, "notes": {}} == {**before, "notes": {}}
    # Dealt anew it is one's own again, and is kept.
    place.bench.restart_lesson(place.now_s, 7)
    place.turn("guide_position_um", 2.0)
    assert [json.loads(row["log"])["seed"] for row in place.kept["running"].values()] == [7]
    assert len(place.records.history) == 1


def test_a_lesson_that_goes_on_is_left_when_one_looks_back() -> None:
    place = Place()
    place.begin(seed=5)
    place.turn("guide_position_um", 7.0)
    place.bench.restart_lesson(place.now_s, 6)
    place.turn("guide_position_um", 3.0)
    (kept,) = place.records.history
    place.records.look_back(kept.id, place.now_s)
    place.follow()
    assert [row.attempt.seed for row in place.records.resumable] == [6]
    place.bench.leave_kept()
    assert place.bench.session is None
    assert place.bench.lesson is LESSONS[LESSON]


@pytest.mark.parametrize(
    ("change", "told"),
    [({"lesson_version": 99}, "version 99 of the lesson"), ({"lesson": "gone"}, "is not part of this site")],
    ids=["another_version", "another_lesson"],
)
def test_what_cannot_be_replayed_says_why(change: dict[str, Any], told: str) -> None:
    place = Place()
    place.begin(seed=5)
    place.turn("guide_position_um", 7.0)
    place.bench.restart_lesson(place.now_s, 6)
    place.follow()
    (row,) = place.kept["attempts"].values()
    log = {**json.loads(row["log"]), **change}
    fields = {key: log.get(key, row[key]) for key in ("lesson", "lesson_version")}
    place.store.rows["attempts"] = {row["id"]: {**row, **fields, "log": json.dumps(log)}}
    place.store.send_all(place.records, place.store.profile)
    view, shown = view_of(place)
    (listed,) = shown()["attempts"]
    assert told in listed["problem"]
    view.receive({"do": "replay", "value": row["id"]})
    assert told in view.card.notice
    assert place.bench.replay is None


def test_the_list_opens_replay_debrief_and_print() -> None:
    place = Place()
    place.begin(seed=5)
    place.turn("guide_position_um", 7.0)
    place.bench.restart_lesson(place.now_s, 6)
    place.follow()
    view, shown = view_of(place)
    (listed,) = shown()["attempts"]
    assert listed["problem"] == ""
    for what in ("replay", "debrief", "print"):
        view.receive({"do": what, "value": listed["id"]})
        assert view.card.notice == ""
        assert (place.bench.replay is not None) == (what == "replay")
        assert place.bench.looking_back
        # Never submitted, it is debriefed all the same.
        assert place.bench.running_session().last_submission is None
