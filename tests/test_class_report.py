"""The class report: what honest files come to, and that no changed file is ever worth more without being told."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandbench.bench.classfiles import read_class_file
from bandbench.bench.classsample import sample_log
from bandbench.bench.faults import FAULTS
from bandbench.bench.recordform import log_sha256, time_text
from bandbench.report import ReportError, tasks_of
from sim.training.assignment import Assignment, AssignmentError, Task
from sim.training.attempt import CheckSubmitted, attempt_from_json
from sim.training.classform import Cell, Report
from sim.training.classreport import ClassReport
from sim.training.help import help_of
from sim.training.machine import Machine
from sim.training.reader import Table
from sim.training.reportmachine import ReportMachine, Turn, TurnOver
from sim.training.rescore import worth_of
from sim.training.session import Session
from tests.class_records import (
    CASE,
    LESSONS,
    LINE_UP,
    NOW,
    TEST,
    Data,
    anna,
    attempts_of,
    ben,
    done,
    file_of,
    of_data,
    report_of,
    worth,
)

Draw = Callable[[st.SearchStrategy[Any]], Any]


def cells_of(report: Report, name: str) -> dict[str, Cell]:
    (row,) = (row for row in report.people if row.person.name == name)
    return {cell.lesson_id: cell for cell in row.cells}


def kinds(report: Report) -> set[str]:
    return {flag.kind for flag in report.flags}


# What honest files come to ------------------------------------------------------------------------------------


def test_honest_files_raise_no_flag_and_every_attempt_counts() -> None:
    report = of_data(anna(), ben())
    assert report.flags == ()
    assert (report.files, report.attempts, report.counted, report.held, report.waiting) == (2, 10, 10, 0, 0)
    assert [row.person.name for row in report.people] == ["Anna", "Ben"]


def test_the_matrix_says_what_is_mastered_when_and_on_what_evidence() -> None:
    cells = cells_of(of_data(anna(), ben()), "Anna")
    ended = [datetime.fromisoformat(row["ended_at"]).timestamp() for row in anna()["attempts"]]
    # Two passes on different variations: mastered with the second; due for review a day later, 17 days ago.
    case = cells[CASE]
    assert (case.state, case.attempts, case.passes, case.row, case.needed) == ("due", 2, 2, 2, 2)
    assert (case.mastered_s, case.last_pass_s, case.due_s) == (ended[1], ended[1], ended[1] + 86_400.0)
    assert cells[LINE_UP].mastered_s == ended[3]
    test = cells[TEST]
    assert (test.state, test.row, test.needed, test.mastered_s) == ("passed", 1, 2, None)


def test_what_is_not_passed_says_why() -> None:
    data = anna()
    row = data["attempts"][4]
    log = json.loads(row["log"])
    # Submitted before anything was turned: the signals are as delivered.
    log["events"] = [event for event in log["events"] if event["kind"] != "control_moved"]
    data["attempts"] = [row]
    seal(row, log, passed=False)
    report = of_data(data)
    assert report.flags == ()
    cell = cells_of(report, "Anna")[TEST]
    assert (cell.state, cell.passes, cell.last_pass_s) == ("not_yet", 0, None)
    assert "not in tolerance" in cell.reason


def test_a_pass_with_the_last_hint_is_no_evidence() -> None:
    def opens_all(session: Session, now_s: float) -> None:
        for level in (1, 2, 3):
            session.open_hint(level, now_s)

    report = of_data(file_of("Dora", 7, [done(LINE_UP, 71, 2.0, opens_all)]))
    cell = cells_of(report, "Dora")[LINE_UP]
    assert report.flags == ()
    assert (cell.state, cell.attempts, cell.passes) == ("not_yet", 1, 0)
    assert "do a fresh variation without it" in cell.reason


def test_a_pass_with_more_help_than_was_permitted_is_none() -> None:
    data = anna()
    row = data["attempts"][2]
    data["attempts"] = [row]
    log = json.loads(row["log"])
    seal(row, {**log, "help": ["why"]}, passed=False)
    report = of_data(data)
    cell = cells_of(report, "Anna")[LINE_UP]
    assert report.flags == ()
    assert (cell.state, cell.passes) == ("not_yet", 0)
    # With the permission changed afterwards the stated result no longer fits, nor does its digest.
    row["log"] = json.dumps(log)
    assert kinds(of_data(data)) == {"stated", "changed"}
    # A log of an older format leaves it to its row.
    seal(row, {**{key: value for key, value in log.items() if key != "help"}, "format_version": 3}, passed=False)
    row["help"] = ["why"]
    assert of_data(data).flags == ()
    del row["help"]
    assert kinds(of_data(data)) == {"stated"}


@pytest.mark.parametrize("help_words", [["hints-1", "worked", "why", "glossary"], ["none"]])
def test_what_was_set_is_held_against_what_the_files_say(help_words: list[str], tmp_path: Path) -> None:
    # Whoever changes the help in a log, and everything that seals it, cannot change what the instructor set.
    data = anna()
    data["attempts"] = [data["attempts"][2]]
    seed = json.loads(data["attempts"][0]["log"])["seed"]
    for lesson, task_seed in ((LINE_UP, seed), (LINE_UP, None)):
        wanted = help_of(Table({"help": help_words}, "x", "", AssignmentError, None))
        report = report_of([("anna.json", json.dumps(data))], tasks=[Task(lesson, task_seed, wanted)])
        (flag,) = report.flags
        assert (flag.kind, flag.held) == ("help", True)
        assert cells_of(report, "Anna")[LINE_UP].state == "held"
    for other in (Task(LINE_UP, seed + 1, wanted), Task(CASE, None, wanted), Task(LINE_UP, seed)):
        assert report_of([("anna.json", json.dumps(data))], tasks=[other]).flags == ()
    path = tmp_path / "set.toml"
    path.write_text(Assignment("Second week", (Task(LINE_UP, seed, wanted),)).to_toml(), "utf-8")
    assert tasks_of([path], LESSONS.values()) == [Task(LINE_UP, seed, wanted)]
    with pytest.raises(ReportError, match="cannot be read"):
        tasks_of([tmp_path / "none.toml"], LESSONS.values())


def test_item_analysis_counts_misses_per_check_question_and_step() -> None:
    data = anna()
    data["attempts"] = [data["attempts"][4]]
    log = json.loads(data["attempts"][0]["log"])
    log["events"] = [event for event in log["events"] if event["kind"] != "control_moved"]
    seal(data["attempts"][0], log, passed=False)
    report = of_data(data, ben())
    (items,) = (one for one in report.items if one.lesson_id == TEST)
    assert (items.attempts, items.passed) == (2, 1)
    lesson = LESSONS[TEST]
    missed = {item.name: item.missed for item in items.items if item.kind == "check"}
    failed = {item.name for item in worth(attempt_from_json(json.dumps(log), "log")).checks if not item.passed}
    assert failed
    assert missed == {check.name: int(check.name in failed) for check in lesson.checks}
    assert {item.name for item in items.items if item.kind == "question"} == {one.name for one in lesson.questions}
    assert all(item.missed == 0 and item.asked == 2 for item in items.items if item.kind != "check")
    assert items.steps[0].missed == 1
    assert items.steps[0].title == lesson.steps[items.steps[0].step - 1].title


def test_a_newer_export_of_the_same_learner_adds_nothing_twice() -> None:
    older = anna()
    older["attempts"] = older["attempts"][:2]
    both = of_data(older, anna())
    assert both.flags == ()
    assert [row.cells for row in both.people] == [row.cells for row in of_data(anna()).people]


def test_a_single_log_counts_for_whoever_its_file_is_called_after() -> None:
    log = attempts_of(0)[0].to_json()
    report = report_of([("Carla.json", log)])
    cell = cells_of(report, "Carla")[CASE]
    assert (cell.state, cell.passes, cell.last_pass_s) == ("passed", 1, None)
    assert report.flags == ()


def test_an_older_version_is_scored_with_its_own_lesson_if_it_is_at_hand() -> None:
    assert "lesson" in kinds(report_of([("0.json", json.dumps(anna()))], [LESSONS[TEST]]))
    report = of_data(anna())
    assert "lesson" not in kinds(report)


def test_nothing_is_dropped_while_scoring_goes_on() -> None:
    report = ClassReport(LESSONS.values(), NOW.timestamp())
    report.add(read_class_file("a.json", json.dumps(anna()), 0))
    assert (report.report().waiting, report.report().counted) == (5, 0)
    first = report.to_score()[0]
    report.note(first, worth(first))
    assert (report.report().waiting, report.report().counted) == (4, 1)


# Scoring in turns ---------------------------------------------------------------------------------------------


def test_a_score_in_turns_of_one_frame_is_the_same_and_no_turn_plays_more() -> None:
    lesson, attempt = LESSONS[LINE_UP], attempts_of(0)[2]
    turn = Turn()
    machine = ReportMachine(lesson, FAULTS, turn)
    turns = 0
    while True:
        turn.begin()
        turns += 1
        before = machine.frames_played
        try:
            found = worth_of(lesson, attempt, machine, FAULTS)
        except TurnOver:
            assert machine.frames_played - before == 1
            continue
        break
    assert found == worth_of(lesson, attempt, Machine(lesson, faults=FAULTS), FAULTS)
    assert turns == machine.frames_played > 5


@pytest.mark.parametrize("name", ["guide-position", "four-matches", TEST, "diagnosis-two-faults-in-one-picture"])
def test_frames_that_decide_nothing_are_spared_and_the_score_is_the_same(name: str) -> None:
    lesson = LESSONS[name]
    sparing, full = ReportMachine(lesson, FAULTS), Machine(lesson, faults=FAULTS)
    for seed in (1, 2):
        log = sample_log(lesson, seed, FAULTS, random.Random(seed))
        # Submitted once more where that does not decide: as delivered, or after the one that counts.
        if lesson.mode == "assessment":
            tried = replace(log, events=(*log.events, CheckSubmitted(log.duration_s + 1.0)))
        else:
            tried = replace(log, events=(CheckSubmitted(0.25), *log.events))
        assert worth_of(lesson, tried, sparing, FAULTS) == worth_of(lesson, tried, full, FAULTS)
    assert sparing.frames_played < full.frames_played
    # Submitted at the very start, nothing may be spared of what decides.
    at_once = replace(log, events=(CheckSubmitted(0.0),))
    assert worth_of(lesson, at_once, sparing, FAULTS) == worth_of(lesson, at_once, full, FAULTS)


# Changed files --------------------------------------------------------------------------------------------------


def seal(row: Data, log: Data, passed: bool | None = None) -> None:
    """Put a changed log into its row, with the digest that belongs to it: as one would who knows the form."""
    row["log"] = json.dumps(log, indent=1)
    row["outcome"]["log_sha256"] = log_sha256(row["log"])
    if passed is not None:
        row["outcome"]["passed"] = passed


@dataclass(frozen=True)
class Change:
    """A change of Anna's file, and the flags of which one must tell it; none: it is harmless."""

    make: Callable[[Data, Draw], object]
    told: frozenset[str]


CHANGES: dict[str, Change] = {}


def change(*told: str) -> Callable[[Callable[[Data, Draw], object]], Callable[[Data, Draw], object]]:
    def keep(make: Callable[[Data, Draw], object]) -> Callable[[Data, Draw], object]:
        CHANGES[make.__name__] = Change(make, frozenset(told))
        return make

    return keep


def any_row(data: Data, draw: Draw) -> Data:
    row: Data = draw(st.sampled_from(data["attempts"]))
    return row


def row_of_lesson(data: Data, lesson: str) -> Data:
    return next(row for row in data["attempts"] if row["lesson"] == lesson)


def in_log(data: Data, draw: Draw, edit: Callable[[Data, list[Data]], object], row: Data | None = None) -> None:
    row = row or any_row(data, draw)
    log = json.loads(row["log"])
    edit(log, log["events"])
    seal(row, log)


def some_event(draw: Draw, events: list[Data], kind: str = "") -> Data:
    event: Data = draw(st.sampled_from([one for one in events if not kind or one["kind"] == kind]))
    return event


@change("stated")
def states_another_result(data: Data, draw: Draw) -> None:
    outcome = any_row(data, draw)["outcome"]
    outcome["passed"] = not outcome["passed"]


@change("changed", "entry")
def changes_a_value_of_the_log(data: Data, draw: Draw) -> None:
    row = row_of_lesson(data, LINE_UP)
    log = json.loads(row["log"])
    event = some_event(draw, log["events"], "control_moved")
    event["value"] = draw(st.floats(-5.0, 5.0).filter(lambda value: value != event["value"]))
    row["log"] = json.dumps(log)


@change("changed")
def takes_the_hint_out_of_the_log(data: Data, draw: Draw) -> None:
    row = data["attempts"][2]
    log = json.loads(row["log"])
    log["events"] = [event for event in log["events"] if event["kind"] != "hint_opened"]
    row["log"] = json.dumps(log)


@change("changed")
def permits_itself_more_help(data: Data, draw: Draw) -> None:
    row = any_row(data, draw)
    log = json.loads(row["log"])
    log["help"] = draw(st.sampled_from([["none"], ["hints-1"], ["why", "worked"]]))
    row["log"] = json.dumps(log)


@change("entry")
def tells_other_help_beside_the_log(data: Data, draw: Draw) -> None:
    any_row(data, draw)["help"] = draw(st.sampled_from([["none"], ["hints-3", "worked", "why", "glossary"]]))


@change("unstated")
def takes_the_stated_result_away(data: Data, draw: Draw) -> None:
    del any_row(data, draw)["outcome"]


@change("entry")
def puts_events_out_of_order(data: Data, draw: Draw) -> None:
    def edit(log: Data, events: list[Data]) -> None:
        place = draw(st.integers(0, len(events) - 2))
        events[place], events[place + 1] = events[place + 1], events[place]

    in_log(data, draw, edit, data["attempts"][3])


@change("refused")
def moves_a_control_that_is_not_offered(data: Data, draw: Draw) -> None:
    assert "channel_gain_db_1" not in LESSONS[LINE_UP].controls
    in_log(
        data,
        draw,
        lambda log, events: some_event(draw, events, "control_moved").update(control="channel_gain_db_1", value=0.5),
        row_of_lesson(data, LINE_UP),
    )


@change("entry")
def moves_a_control_that_no_machine_has(data: Data, draw: Draw) -> None:
    name = draw(st.text(min_size=1, max_size=20))
    in_log(
        data,
        draw,
        lambda log, events: some_event(draw, events, "control_moved").update(control=f"x {name}"),
        row_of_lesson(data, LINE_UP),
    )


@change("entry")
def turns_a_control_beyond_its_range(data: Data, draw: Draw) -> None:
    far = draw(st.sampled_from([1e9, -1e9, 1e300]))
    in_log(
        data,
        draw,
        lambda log, events: some_event(draw, events, "control_moved").update(value=far),
        row_of_lesson(data, LINE_UP),
    )


@change("entry")
def writes_no_number(data: Data, draw: Draw) -> None:
    row = row_of_lesson(data, LINE_UP)
    log = json.loads(row["log"])
    some_event(draw, log["events"], "control_moved")["value"] = draw(st.sampled_from([float("nan"), float("inf")]))
    seal(row, log)


@change("refused")
def answers_twice(data: Data, draw: Draw) -> None:
    def edit(log: Data, events: list[Data]) -> None:
        place = draw(st.sampled_from([p for p, e in enumerate(events) if e["kind"] == "question_answered"]))
        events.insert(place + 1, dict(events[place]))

    in_log(data, draw, edit, row_of_lesson(data, CASE))


@change("refused")
def answers_what_was_not_asked(data: Data, draw: Draw) -> None:
    in_log(
        data,
        draw,
        lambda log, events: some_event(draw, events, "question_answered").update(question="what_for_lunch"),
        row_of_lesson(data, CASE),
    )


@change("refused", "impossible")
def answers_what_is_no_option(data: Data, draw: Draw) -> None:
    answer = draw(st.text(min_size=1, max_size=30).filter(lambda text: text.strip() != ""))
    in_log(
        data,
        draw,
        lambda log, events: some_event(draw, events, "question_answered").update(answer=f"{answer}!"),
        row_of_lesson(data, CASE),
    )


@change("refused", "entry")
def shows_a_step_that_is_not_there(data: Data, draw: Draw) -> None:
    step = draw(st.integers(len(LESSONS[LINE_UP].steps) + 1, 2000))
    in_log(data, draw, lambda log, events: events.insert(0, {"at_s": 0.0, "kind": "step_shown", "step": step}),
           row_of_lesson(data, LINE_UP))  # fmt: skip


@change("impossible")
def opens_the_last_hint_first(data: Data, draw: Draw) -> None:
    in_log(data, draw, lambda log, events: events.insert(0, {"at_s": 0.0, "kind": "hint_opened", "level": 3}),
           data["attempts"][3])  # fmt: skip


@change("entry")
def times_are_beyond_a_day(data: Data, draw: Draw) -> None:
    late_s = draw(st.floats(86_401.0, 1e12))
    in_log(data, draw, lambda log, events: events[-1].update(at_s=late_s))


@change("times")
def log_lasts_longer_than_the_attempt(data: Data, draw: Draw) -> None:
    late_s = float(draw(st.integers(1_000, 80_000)))
    in_log(data, draw, lambda log, events: events[-1].update(at_s=late_s))


@change("impossible")
def times_are_finer_than_the_clock(data: Data, draw: Draw) -> None:
    share = draw(st.floats(1e-7, 4e-4))
    in_log(data, draw, lambda log, events: events[-1].update(at_s=events[-1]["at_s"] + share))


@change("lesson")
def lesson_is_unknown(data: Data, draw: Draw) -> None:
    name = draw(st.from_regex(r"[a-z]{1,12}(-[a-z]{1,8})?", fullmatch=True).filter(lambda one: one not in LESSONS))
    row = any_row(data, draw)
    row["lesson"] = name
    in_log(data, draw, lambda log, events: log.update(lesson=name), row)


@change("lesson")
def version_is_unknown(data: Data, draw: Draw) -> None:
    row = any_row(data, draw)
    row["lesson_version"] = version = draw(st.integers(500, 1_000_000))
    in_log(data, draw, lambda log, events: log.update(lesson_version=version), row)


@change("entry")
def row_names_another_lesson_than_its_log(data: Data, draw: Draw) -> None:
    row = any_row(data, draw)
    row["lesson"] = draw(st.sampled_from([name for name in LESSONS if name != row["lesson"]]))


@change("stated", "refused", "impossible")
def seed_is_another(data: Data, draw: Draw) -> None:
    # The worked solution of one variation is not that of another: the stated pass does not hold.
    seed = draw(st.sampled_from([61, 62, 63]))
    in_log(data, draw, lambda log, events: log.update(seed=seed), data["attempts"][3])


@change("copied")
def takes_an_attempt_of_somebody_else(data: Data, draw: Draw) -> None:
    row = any_row(ben(), draw)
    row["profile"] = data["profile"]["id"]
    row["id"] = "11111111-1111-4111-8111-111111111111"
    data["attempts"].append(row)


@change("copied", "number")
def hands_in_somebody_elses_whole_file(data: Data, draw: Draw) -> None:
    name = data["profile"]
    data.update(ben())
    data["profile"] = name
    for row in (*data["attempts"], *data["notes"]):
        row["profile"] = name["id"]


@change("name")
def renames_somebody_elses_file(data: Data, draw: Draw) -> None:
    data.update(ben())
    data["profile"]["name"] = draw(st.sampled_from(["Anna", "Anna B."]))


@change("copied")
def copies_a_log_and_changes_its_notes(data: Data, draw: Draw) -> None:
    row = any_row(ben(), draw)
    row["profile"], row["id"] = data["profile"]["id"], "11111111-1111-4111-8111-111111111111"
    note = {"at_s": 0.0, "kind": "note_written", "text": draw(st.text(min_size=1, max_size=9)) + "."}
    in_log(data, draw, lambda log, events: events.insert(0, note), row)
    data["attempts"].append(row)


@change("twice")
def counts_an_attempt_twice(data: Data, draw: Draw) -> None:
    data["attempts"].append({**any_row(data, draw), "id": "11111111-1111-4111-8111-111111111111"})


@change("entry")
def repeats_an_entry(data: Data, draw: Draw) -> None:
    data["attempts"].append(dict(any_row(data, draw)))


@change("entry")
def adds_a_score_of_its_own(data: Data, draw: Draw) -> None:
    key = draw(st.sampled_from(["points", "score", "passed", "__proto__", "<b>"]))
    if draw(st.booleans()):
        any_row(data, draw)[key] = 1.0
    else:
        in_log(data, draw, lambda log, events: log.update({key: 1.0}))


@change("entry")
def adds_an_event_of_its_own(data: Data, draw: Draw) -> None:
    kind = draw(st.sampled_from(["passed", "score", "", "check_passed"]))
    in_log(data, draw, lambda log, events: events.append({"at_s": events[-1]["at_s"], "kind": kind}))


@change("times")
def ends_before_it_begins(data: Data, draw: Draw) -> None:
    row = any_row(data, draw)
    row["ended_at"] = later(row["started_at"], minutes=-draw(st.integers(5, 60)))


@change("times")
def ends_after_its_export(data: Data, draw: Draw) -> None:
    row = any_row(data, draw)
    row["ended_at"] = later(data["exported_at"], minutes=draw(st.integers(5, 10_000)))


@change("times")
def ends_in_the_future(data: Data, draw: Draw) -> None:
    future = NOW + timedelta(days=draw(st.integers(1, 3000)))
    data["exported_at"] = time_text(future)
    any_row(data, draw)["ended_at"] = time_text(future)


@change("times")
def begins_before_its_learner(data: Data, draw: Draw) -> None:
    row = any_row(data, draw)
    row["started_at"] = later(data["profile"]["created_at"], minutes=-draw(st.integers(5, 10_000)))


@change("entry")
def belongs_to_another_learner(data: Data, draw: Draw) -> None:
    any_row(data, draw)["profile"] = "11111111-1111-4111-8111-111111111111"


@change("impossible", "refused")
def passes_own_moves_off_as_the_lessons(data: Data, draw: Draw) -> None:
    in_log(
        data,
        draw,
        lambda log, events: some_event(draw, events, "control_moved").update(shown=True),
        row_of_lesson(data, LINE_UP),
    )


@change("impossible")
def goes_on_after_the_end(data: Data, draw: Draw) -> None:
    later_event = draw(
        st.sampled_from(
            [{"kind": "check_submitted"}, {"kind": "hint_opened", "level": 1}, {"kind": "step_shown", "step": 2}]
        )
    )
    in_log(data, draw, lambda log, events: events.append({"at_s": events[-1]["at_s"] + 1.0, **later_event}),
           row_of_lesson(data, draw(st.sampled_from([CASE, TEST]))))  # fmt: skip


@change("impossible")
def submits_the_assessment_before_its_answers(data: Data, draw: Draw) -> None:
    def edit(log: Data, events: list[Data]) -> None:
        events.insert(draw(st.integers(0, len(LESSONS[TEST].questions) - 1)), {"kind": "check_submitted", "at_s": 0.0})
        for place, event in enumerate(events):
            event["at_s"] = float(place)

    in_log(data, draw, edit, row_of_lesson(data, TEST))


@change("impossible")
def moves_a_control_to_where_it_is(data: Data, draw: Draw) -> None:
    def edit(log: Data, events: list[Data]) -> None:
        place = draw(st.sampled_from([p for p, e in enumerate(events) if e["kind"] == "control_moved"]))
        events.insert(place + 1, dict(events[place]))

    in_log(data, draw, edit, data["attempts"][3])


@change("file")
def is_cut_short(data: Data, draw: Draw) -> str:
    text = json.dumps(data)
    return text[: draw(st.integers(0, len(text) - 1))]


@change("file")
def is_another_programs(data: Data, draw: Draw) -> None:
    data["format"] = draw(st.sampled_from(["other", None, 1, ["bandbench-records"]]))


@change("file")
def is_of_a_newer_format(data: Data, draw: Draw) -> None:
    data["format_version"] = draw(st.integers(2, 1_000_000))


@change()
def has_other_notes(data: Data, draw: Draw) -> None:
    data["notes"][0]["text"] = draw(st.text(min_size=1, max_size=50).filter(lambda text: text.strip() != ""))


@change()
def claims_another_program_version(data: Data, draw: Draw) -> None:
    row = any_row(data, draw)
    row["app_version"] = row["outcome"]["app_version"] = draw(st.from_regex(r"[a-z0-9.]{1,20}", fullmatch=True))


def later(moment: str, minutes: int) -> str:
    return time_text(datetime.fromisoformat(moment) + timedelta(minutes=minutes))


def test_there_are_enough_kinds_of_changes() -> None:
    assert len(CHANGES) >= 40


def evidence(report: Report) -> tuple[object, ...]:
    """Return all that speaks for or against anybody."""
    return tuple((row.person.name, row.cells) for row in report.people), report.items


@pytest.mark.parametrize("kind", CHANGES)
@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(given_data=st.data())
def test_every_change_is_told_or_changes_nothing(kind: str, given_data: st.DataObject) -> None:
    data = anna()
    made = CHANGES[kind].make(data, given_data.draw)
    text = made if isinstance(made, str) else json.dumps(data)
    report = report_of([("ben.json", json.dumps(ben())), ("anna.json", text)])
    honest = of_data(anna(), ben())
    wanted = CHANGES[kind].told
    if not wanted:
        assert evidence(report) == evidence(honest)
        assert report.flags == ()
        return
    assert kinds(report) & wanted, f"{kind}: told {[flag.text for flag in report.flags]}"
    # And nobody has gained by it.
    before = {(row.person.name, cell.lesson_id): cell for row in honest.people for cell in row.cells}
    for row in report.people:
        for cell in row.cells:
            own = before.get((row.person.name, cell.lesson_id))
            if own is not None:
                assert cell.passes <= own.passes
                assert cell.row <= own.row


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(given_data=st.data())
def test_any_change_anywhere_in_a_log_is_told_or_changes_nothing(given_data: st.DataObject) -> None:
    data = anna()
    row = any_row(data, given_data.draw)
    text = row["log"]
    place = given_data.draw(st.integers(0, len(text) - 1))
    length = given_data.draw(st.integers(0, 8))
    row["log"] = text[:place] + given_data.draw(st.text(max_size=8)) + text[place + length :]
    report = of_data(data, ben())
    assert report.flags or evidence(report) == evidence(of_data(anna(), ben()))


@settings(max_examples=60, deadline=None)
@given(st.one_of(st.text(max_size=200), st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=20) | st.integers(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(
        st.sampled_from(["format", "events", "profile", "attempts", "lesson"]) | st.text(max_size=8), inner, max_size=5
    ), max_leaves=12,
).map(json.dumps)))  # fmt: skip
def test_any_file_at_all_is_read_or_flagged(text: str) -> None:
    report = report_of([("x.json", text)])
    assert kinds(report) == {"file"}
    assert report.people == ()


def test_a_stated_pass_that_does_not_hold_counts_as_what_its_log_is_worth() -> None:
    data = file_of("Dora", 7, attempts_of(0)[4:])
    log = json.loads(data["attempts"][0]["log"])
    log["events"] = [event for event in log["events"] if event["kind"] != "control_moved"]
    seal(data["attempts"][0], log, passed=True)
    report = of_data(data)
    (flag,) = report.flags
    assert (flag.kind, flag.held) == ("stated", False)
    assert "the file says passed; scored from its log it is not yet" in flag.text
    assert cells_of(report, "Dora")[TEST].state == "not_yet"


def test_held_attempts_are_shown_as_held() -> None:
    data = anna()
    data["attempts"] = [row_of_lesson(data, CASE)]
    in_log(data, lambda strategy: None, lambda log, events: events[-1].update(at_s=events[-1]["at_s"] + 0.0001),
           data["attempts"][0])  # fmt: skip
    cell = cells_of(of_data(data), "Anna")[CASE]
    assert (cell.state, cell.attempts, cell.held) == ("held", 0, 1)
