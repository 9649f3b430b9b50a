"""What is set for a learner, at the bench without a browser: links and files taken, help held to, evidence kept."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from bandbench.bench.application import BenchApplication
from bandbench.bench.errors import BenchError
from bandbench.bench.links import parse_link
from bandbench.bench.recordform import LeftAttempt, Profile, read_rows, time_text
from sim.training.assignment import Assignment, Task
from sim.training.attempt import Attempt
from sim.training.deal import deal
from sim.training.help import Help
from sim.training.solution import solution_moves
from tests.bench_clock import Clock

LESSON = "tracking-and-guide"
WHEN = time_text(datetime(2026, 3, 2, 12, tzinfo=UTC))
PROFILE = Profile("11111111-1111-4111-8111-111111111111", "Ines", WHEN, WHEN)
EMPTY: dict[str, Any] = {
    "app_version": "test", "storage": {"state": "kept", "reason": ""}, "profile": PROFILE.id,
    "profiles": [PROFILE.row()], "attempts": [], "running": [], "notes": [], "elsewhere": [],
}  # fmt: skip


@pytest.fixture
def application() -> BenchApplication:
    made = BenchApplication(Clock())
    made.next_frame()
    made.learner.take("all", json.dumps(EMPTY))
    return made


def open_with(application: BenchApplication, query: str) -> None:
    application.assignment.receive({"do": "link", "value": query})


def shown(application: BenchApplication) -> dict[str, Any]:
    application.assignment.follow()
    return dict(json.loads(application.assignment.desk.shown))


def solve(application: BenchApplication) -> None:
    """Go through the worked solution of the lesson that has begun, and submit."""
    bench = application.bench
    session = bench.running_session()
    for control, value in solution_moves(session.lesson, deal(session.lesson, session.seed, session.machine)):
        bench.set_control(control, value, 1.0)
    bench.check_lesson(2.0)
    application.learner.follow()


def test_a_link_fixes_variation_and_help_of_the_lesson_begun_from_it(application: BenchApplication) -> None:
    open_with(application, f"?lesson={LESSON}&seed=7&help=hints-1")
    bench = application.bench
    assert (bench.mode, bench.lesson and bench.lesson.id) == ("learn", LESSON)
    application.lesson.refresh()
    assert application.lesson.card.permitted["text"] == ("Set for you: variation 7. Help permitted: hints to level 1.")
    # Advice on what is best done next does not put another lesson in its place.
    bench.advise_lesson("rf-envelope")
    bench.begin_lesson(0.0)
    session = bench.running_session()
    assert (session.lesson.id, session.seed, session.worked) == (LESSON, 7, 0)
    bench.open_hint(1, 1.0)
    with pytest.raises(BenchError, match="level 1"):
        bench.open_hint(2, 1.5)
    assert session.hints_opened == 1
    assert (bench.why_hidden(), bench.book_closed) == ("help", True)
    application.why.refresh()
    assert application.why.part.drawings == "[]"
    application.reference.receive({"do": "open"})
    assert application.reference.book.pages == ""
    # The same variation again, as it is fixed.
    bench.restart_lesson(2.0)
    assert bench.running_session().seed == 7
    assert bench.permitted == Help(1, False, False, False)
    solve(application)
    assert bench.running_session().finished
    assert (bench.why_hidden(), bench.book_closed) == (None, False)


def test_without_a_link_nothing_is_held_back(application: BenchApplication) -> None:
    open_with(application, "")
    assert (application.bench.mode, application.assignment.desk.notice) == (None, "")
    application.bench.choose_lesson(LESSON)
    application.bench.begin_lesson(0.0, seed=3)
    application.bench.open_hint(1, 1.0)
    application.bench.open_hint(2, 1.0)
    application.bench.open_hint(3, 1.0)
    assert (application.bench.why_hidden(), application.bench.book_closed) == (None, False)


def left_attempt(application: BenchApplication) -> LeftAttempt:
    """Return the attempt as the store gave it back: put there, read again."""
    (row,) = application.learner.records.left.values()
    (read,) = read_rows({"attempts": [], "running": [row.row()], "notes": []}, row.profile, "store").left
    return read


def test_what_was_set_stands_in_the_log_and_is_taken_up_again(application: BenchApplication) -> None:
    open_with(application, f"?lesson={LESSON}&seed=7&help=hints-1,why")
    bench = application.bench
    bench.begin_lesson(0.0)
    application.learner.follow()
    bench.open_hint(1, 1.0)
    application.learner.follow()
    row = left_attempt(application)
    log = json.loads(row.log)
    assert (log["seed"], log["seed_set"], log["help"]) == (7, True, ["hints-1", "why"])
    assert "help" not in row.row()
    # Left before the page looked again, it still is what it was begun as.
    bench.choose_mode(None)
    application.learner.follow()
    assert bench.permitted == Help()
    application.learner.take("all", json.dumps({**EMPTY, "running": [row.row()]}))
    application.learner.records.resume(row.id, 3.0)
    assert bench.permitted == Help(1, False, True, False)
    with pytest.raises(BenchError):
        bench.open_hint(2, 4.0)
    assert bench.running_session().worked == 0
    # Begun anew, it is dealt as it was set, though no link is open any more.
    for now_s in (5.0, 6.0):
        bench.restart_lesson(now_s)
        assert bench.running_session().attempt == Attempt(
            LESSON, bench.running_session().lesson.version, 7, help=Help(1, False, True, False), seed_set=True
        )


def test_a_variation_of_chance_stays_one_when_it_is_taken_up_again(application: BenchApplication) -> None:
    bench = application.bench
    bench.choose_lesson(LESSON)
    bench.begin_lesson(0.0)
    bench.open_hint(1, 1.0)
    application.learner.follow()
    row = left_attempt(application)
    bench.choose_mode(None)
    application.learner.follow()
    application.learner.records.resume(row.id, 3.0)
    bench.restart_lesson(4.0)
    again = bench.running_session().attempt
    assert (again.seed != row.attempt.seed, again.seed_set, again.help) == (True, False, Help())


def old_log(attempt: Attempt) -> str:
    """Return a log as format 3 had it."""
    data = {key: value for key, value in attempt.to_data().items() if key not in ("help", "seed_set")}
    return json.dumps({**data, "format_version": 3})


def test_help_beside_a_log_of_an_older_format_is_read_and_kept(application: BenchApplication) -> None:
    strict = Help(0, False, False, False)
    log = Attempt(LESSON, application.bench.lessons[LESSON].version, 7)
    number = "22222222-2222-4222-8222-222222222222"
    row = LeftAttempt(number, PROFILE.id, LESSON, log.lesson_version, WHEN, WHEN, "test", old_log(log), log, strict)
    assert row.row()["help"] == ["none"]
    application.learner.take("all", json.dumps({**EMPTY, "running": [row.row()]}))
    application.learner.records.resume(number, 3.0)
    assert application.bench.permitted == strict
    # Gone on with, it is written as logs are written now.
    application.bench.check_lesson(4.0)
    application.learner.follow()
    renewed = left_attempt(application)
    assert (renewed.permitted, "help" in renewed.row()) == (strict, False)


@pytest.mark.parametrize("words", [[], ["much"], ["hints-1", "hints-2"], "why", ["none", "why"], 3])
@pytest.mark.parametrize("beside", [True, False])
def test_a_row_with_damaged_help_is_not_read(words: object, beside: bool) -> None:
    log = Attempt(LESSON, 1, 7)
    strict = Help(0, False, False, False)
    number = "22222222-2222-4222-8222-222222222222"
    text = old_log(log) if beside else replace(log, help=strict).to_json()
    good = LeftAttempt(
        number, PROFILE.id, LESSON, 1, WHEN, WHEN, "test", text, replace(log, help=strict), strict if beside else None
    )
    rows = {"attempts": [], "running": [good.row()], "notes": []}
    assert read_rows(rows, PROFILE.id, "store").left == (good,)
    bad = {**good.row(), "help": words} if beside else {
        **good.row(), "log": json.dumps({**json.loads(good.log), "help": words})
    }  # fmt: skip
    read = read_rows({**rows, "running": [bad]}, PROFILE.id, "store")
    assert (read.left, len(read.unreadable)) == ((), 1)


def test_help_cannot_be_told_beside_a_log_that_says_it() -> None:
    log = Attempt(LESSON, 1, 7, help=Help(0, False, False, False))
    number = "22222222-2222-4222-8222-222222222222"
    row = LeftAttempt(number, PROFILE.id, LESSON, 1, WHEN, WHEN, "test", log.to_json(), log).row()
    read = read_rows({"attempts": [], "running": [{**row, "help": ["worked"]}], "notes": []}, PROFILE.id, "store")
    assert (read.left, len(read.unreadable)) == ((), 1)
    assert "stands in the log" in read.unreadable[0].reason


def test_an_assignment_shows_what_is_done_and_only_that(application: BenchApplication) -> None:
    open_with(application, f"?title=Second%20week&due=Friday&lessons={LESSON}:7:hints-1,{LESSON}:8")
    data = shown(application)
    assert (data["title"], data["due"], data["count"]) == ("Second week", "Due: Friday.", "Done: 0 of 2.")
    assert [task["state"] for task in data["tasks"]] == ["open", "open"]
    # The link that the page keeps in its address is the same one again.
    again = parse_link(data["link"], application.bench.lessons)
    assert again is not None
    assert again.assignment == application.assignment.assignment
    # Done by oneself, with all help, it is not what was set.
    application.bench.choose_lesson(LESSON)
    application.bench.begin_lesson(0.0, seed=7)
    solve(application)
    assert [task["state"] for task in shown(application)["tasks"]] == ["open", "open"]
    application.assignment.receive({"do": "choose", "value": 0})
    assert application.bench.task == Task(LESSON, 7, Help(1, False, False, False))
    application.bench.begin_lesson(0.0)
    application.learner.follow()
    solve(application)
    data = shown(application)
    assert [task["state"] for task in data["tasks"]] == ["done", "open"]
    assert data["count"] == "Done: 1 of 2."
    assert data["tasks"][0]["at"]


def test_a_log_with_more_help_than_it_permits_is_scored_as_not_passed(application: BenchApplication) -> None:
    open_with(application, f"?lesson={LESSON}&seed=7")
    application.bench.begin_lesson(0.0)
    application.learner.follow()
    application.bench.open_hint(1, 0.5)
    solve(application)
    (row,) = application.learner.records.attempts.values()
    assert application.learner.records.passed(row) is True
    edited = {key: value for key, value in row.row().items() if key != "outcome"}
    edited["log"] = json.dumps({**json.loads(row.log), "help": ["none"]})
    application.bench.choose_mode(None)
    application.learner.take("all", json.dumps({**EMPTY, "attempts": [edited]}))
    assert application.learner.records.score_next()
    (read,) = application.learner.records.attempts.values()
    assert application.learner.records.passed(read) is False


@pytest.mark.parametrize(
    "query",
    ["?lesson=none-such", "?lesson=rf-envelope&lesson=rf-envelope", "?x=<img src=x>", "?" + "y" * 9_000, "?%ff"],
)
def test_a_link_that_cannot_be_used_is_told_and_changes_nothing(application: BenchApplication, query: str) -> None:
    before = application.bench.version
    open_with(application, query)
    notice = application.assignment.desk.notice
    assert notice.startswith("This page was opened with a link that cannot be used")
    assert notice.endswith("The bench is open as usual.")
    assert (application.bench.version, application.bench.mode, application.assignment.assignment) == (
        before,
        None,
        None,
    )


def test_a_link_to_the_open_bench_sets_its_standard(application: BenchApplication) -> None:
    open_with(application, "?mode=demonstrate&standard=625/50")
    bench = application.bench
    assert (bench.mode, bench.recorder.standard.name, bench.recorder.practice.name) == (
        "demonstrate", "625/50", "625 high-band",
    )  # fmt: skip
    assert not bench.held
    # It stays so while the page is open; a lesson brings its own.
    bench.choose_mode(None)
    bench.choose_mode("practise")
    assert bench.recorder.standard.name == "625/50"
    assert bench.frame.standard.name == "625/50"
    bench.choose_lesson(LESSON)
    bench.begin_lesson(0.0)
    assert bench.recorder.standard.name == "525/60"


def test_a_file_sets_lessons_or_is_refused_and_leaves_what_was_set(application: BenchApplication) -> None:
    week = Assignment("Week <b>1</b>", (Task(LESSON, 7), Task("rf-envelope")))
    application.assignment.receive({"do": "file", "name": "week.toml", "text": week.to_toml()})
    assert (application.assignment.assignment, application.assignment.desk.notice) == (week, "")
    application.assignment.receive({"do": "file", "name": "<i>.toml", "text": "title = 1"})
    assert application.assignment.assignment == week
    assert application.assignment.desk.notice.startswith("<i>.toml sets nothing")
    application.assignment.receive({"do": "choose", "value": 1})
    application.assignment.receive({"do": "drop"})
    assert shown(application)["title"] == ""
    assert application.bench.task is None


def made(application: BenchApplication, title: str, due: str, *rows: tuple[str, str, list[str]]) -> dict[str, Any]:
    lessons = [{"lesson": lesson, "seed": seed, "help": words} for lesson, seed, words in rows]
    application.assignment.receive({"do": "make", "value": {"title": title, "due": due, "lessons": lessons}})
    return dict(json.loads(application.assignment.desk.made))


def test_the_form_makes_what_the_reader_reads(application: BenchApplication) -> None:
    lessons = application.bench.lessons
    one = made(application, "", "", (LESSON, "7", ["hints-2", "why"]))
    link = parse_link(one["query"], lessons)
    assert link is not None
    assert link.task == Task(LESSON, 7, Help(2, False, True, False))
    assert "[[lessons]]" in one["file"]
    everything, nothing = ["hints-3", "worked", "why", "glossary"], Help(0, False, False, False)
    several = made(application, "Week", "Friday", (LESSON, "", everything), (LESSON, "1", []))
    link = parse_link(several["query"], lessons)
    assert link is not None
    assert link.assignment == Assignment("Week", (Task(LESSON), Task(LESSON, 1, nothing)), "Friday")
    whole = "not a whole number"
    for title, seed, says in (("", "x", whole), (" ", "-1", whole), ("A" * 200, "1", "at most")):
        refused = made(application, title, "", (LESSON, seed, []))
        assert (refused["query"], says in refused["problem"]) == ("", True)


def test_sheets_are_laid_out_when_there_is_something_to_say(application: BenchApplication) -> None:
    paper, bench = application.paper, application.bench

    def ask(kind: str, value: str = "") -> None:
        paper.receive({"do": "show", "kind": kind, "value": value})

    ask("job")
    assert (paper.desk.sheet, "choose Learn" in paper.desk.notice) == ("", True)
    open_with(application, f"?lesson={LESSON}&seed=7&help=none")
    ask("job")
    assert (json.loads(paper.desk.sheet)["name"], paper.desk.notice) == ("job", "")
    bench.begin_lesson(0.0)
    application.learner.follow()
    ask("alignment")
    assert (paper.desk.sheet, "Submit" in paper.desk.notice) == ("", True)
    solve(application)
    ask("alignment")
    sheet = paper.desk.sheet
    assert "Ines" in sheet
    assert "no help" in sheet
    (number,) = application.learner.records.attempts
    ask("alignment", number)
    assert json.loads(paper.desk.sheet) == json.loads(sheet)
    ask("alignment", "none")
    assert paper.desk.sheet == ""
    ask("practice")
    assert "Record of practice: Ines" in paper.desk.sheet
    paper.receive({"do": "close"})
    assert (paper.desk.sheet, paper.desk.notice) == ("", "")
