"""Verdicts that are kept: the same as a plain score, under names that no file handed in can choose."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench import report as report_command
from bandbench.bench.application import BenchApplication
from bandbench.bench.classdesk import ClassDeskView
from bandbench.bench.classsample import sample_log
from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_course
from bandbench.bench.recordform import log_sha256
from bandbench.command import main
from bandbench.report import class_files
from bandbench.verdictcache import FILE_NAME, VerdictCache, program_digest
from sim.sound import SoundSystem
from sim.standards import get_standard
from sim.training.attempt import Attempt, CheckSubmitted
from sim.training.reportmachine import Turn, TurnOver, report_machine_for
from sim.training.rescore import ItemResult, Worth, worth_of
from sim.training.run import RunningMachine, machine_for
from sim.training.verdicts import VerdictKeys, verdict_from_text, verdict_text
from tests.class_records import CASE, LESSONS, NOW, Data, anna, attempts_of

KEYS = VerdictKeys("a program", LESSONS.values(), FAULTS)
PASSED = Worth(submitted=True, passed=True, clean=True, reason="Made up.")


def cases(data: Data) -> Data:
    """Keep the attempts that are scored without playing a frame."""
    data["attempts"] = [row for row in data["attempts"] if row["lesson"] == CASE]
    return data


# The quick way is the plain way -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["fm-levels", "guide-position", "diagnosis-colour-in-bands", CASE])
@settings(max_examples=2, deadline=None)
@given(seed=st.integers(0, 1_000_000))
def test_a_machine_that_has_scored_others_scores_as_a_fresh_one(name: str, seed: int) -> None:
    lesson = LESSONS[name]
    used = report_machine_for(lesson, FAULTS)
    for other in (seed + 1, seed):
        log = sample_log(lesson, other, FAULTS, random.Random(other))
        found = worth_of(lesson, log, used, FAULTS)
    assert found == worth_of(lesson, log, machine_for(lesson, FAULTS), FAULTS)


@pytest.mark.parametrize("name", ["diagnosis-machine-that-runs-badly", "sound-line-up"])
def test_a_machine_that_runs_is_lived_through_in_slices_to_the_same_score(name: str) -> None:
    lesson = LESSONS[name]
    log = sample_log(lesson, 3, FAULTS, random.Random(3))
    # Not the whole attempt: what takes longest is waiting, which is alike throughout.
    log = replace(log, events=(*(event for event in log.events if event.at_s < 20.0), CheckSubmitted(20.0)))
    turn = Turn()
    machine = report_machine_for(lesson, FAULTS, turn)
    assert isinstance(machine, RunningMachine)
    turns = 0
    while True:
        turn.begin()
        turns += 1
        try:
            found = worth_of(lesson, log, machine, FAULTS)
            break
        except TurnOver:
            continue
    assert turns > 4
    heard = machine_for(lesson, FAULTS)
    assert isinstance(heard, RunningMachine)
    # A plain machine that is heard throughout, as the one at the bench is.
    heard._delivered = lambda start: RunningMachine(lesson, FAULTS).begin(start)  # type: ignore[method-assign]
    assert found == worth_of(lesson, log, heard, FAULTS)


@settings(max_examples=5, deadline=None)
@given(speeds=st.lists(st.sampled_from([0.0, 0.3, 1.0, 1.0, 5.0]), min_size=1, max_size=16), data=st.data())
def test_sound_that_is_worked_out_when_asked_for_is_the_sound_that_passed(speeds: list[float], data: Any) -> None:
    standard = get_standard("525/60")
    at_once, later = SoundSystem(standard, 5), SoundSystem(standard, 5)
    place_m = 1.0
    for speed in speeds:
        places = [place_m + step * speed * at_once.tape_speed_m_per_s / 100.0 for step in range(11)]
        place_m = places[-1]
        for system in (at_once, later):
            system.condition = replace(system.condition, flutter_pct=0.1 * speed)
        at_once.play_block(at_once.endless_tape(), places, 0.1)
        later.pass_block(later.endless_tape(), places, 0.1)
        if data.draw(st.booleans()):
            at_once.choose_source("programme", "tone_10k")
            later.choose_source("programme", "tone_10k")
    for track in ("programme", "cue"):
        assert (later.heard(track) == at_once.heard(track)).all()
        assert all((a == b).all() for a, b in zip(later.halves(track), at_once.halves(track), strict=True))


# Names and texts ----------------------------------------------------------------------------------------------


def test_another_program_lesson_or_log_has_another_name() -> None:
    attempt = attempts_of(0)[0]
    lesson = LESSONS[attempt.lesson_id]
    # The same id and version, but it says something else: only the content tells.
    changed = replace(lesson, minutes=lesson.minutes + 1)
    newer = replace(lesson, version=lesson.version + 1)
    name = KEYS.key(attempt)
    others = [
        VerdictKeys("another program", [lesson], FAULTS).key(attempt),
        VerdictKeys("a program", [changed], FAULTS).key(attempt),
        VerdictKeys("a program", [lesson], {}).key(attempt),
        VerdictKeys("a program", [newer], FAULTS).key(replace(attempt, lesson_version=newer.version)),
        KEYS.key(replace(attempt, seed=attempt.seed + 1)),
        KEYS.key(replace(attempt, events=attempt.events[:-1])),
        KEYS.key(replace(attempt, events=(*attempt.events[:-1], replace(attempt.events[-1], at_s=500.0)))),
    ]
    assert name is not None
    assert name not in others
    assert len(set(others)) == len(others)
    assert VerdictKeys("a program", [lesson], FAULTS).key(attempt) == name
    assert VerdictKeys("a program", [newer], FAULTS).key(attempt) is None


texts = st.text(max_size=20)
items = st.lists(st.builds(ItemResult, texts, st.booleans(), texts), max_size=3).map(tuple)
worths = st.builds(
    Worth, texts, st.lists(texts, max_size=2).map(tuple), *[st.booleans()] * 3, texts, items, items, st.booleans()
)


@settings(max_examples=15, deadline=None)
@given(worth=worths, key=texts, other=texts)
def test_a_verdict_comes_back_as_it_was_and_under_its_own_name_only(worth: Worth, key: str, other: str) -> None:
    text = verdict_text(key, worth)
    assert verdict_from_text(key, text) == worth
    assert other == key or verdict_from_text(other, text) is None


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_a_damaged_verdict_is_none(data: Any) -> None:
    told = json.loads(verdict_text("k", PASSED))
    name = data.draw(st.sampled_from(sorted(told)))
    told[name] = data.draw(st.sampled_from([None, 1, {}, [1], [["a", 1, "b"]], [["a", True]]]))
    assert verdict_from_text("k", json.dumps(told)) is None
    del told[name]
    assert verdict_from_text("k", json.dumps(told)) is None
    whole = verdict_text("k", PASSED)
    assert verdict_from_text("k", whole[: data.draw(st.integers(0, len(whole) - 1))]) is None
    assert verdict_from_text("k", "[" * 100_000) is None


# The command's cache ------------------------------------------------------------------------------------------


@pytest.fixture
def scored(monkeypatch: pytest.MonkeyPatch) -> list[Attempt]:
    """Return the logs that the command scores, as it does."""
    done: list[Attempt] = []
    plain = report_command._scored

    def noting(attempts: Sequence[Attempt]) -> list[Worth]:
        done.extend(attempts)
        return plain(attempts)

    monkeypatch.setattr(report_command, "_scored", noting)
    return done


def told(folder: Path, *words: str, capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["report", str(folder), "--jobs", "1", *words]) == 0
    return capsys.readouterr().out


def test_the_next_report_scores_only_new_logs_and_says_the_same(
    tmp_path: Path, scored: list[Attempt], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, cache = tmp_path / "class", ("--cache", str(tmp_path / "cache"))
    folder.mkdir()
    (folder / "anna.json").write_text(json.dumps(cases(anna())), "utf-8")
    first = told(folder, *cache, capsys=capsys)
    assert len(scored) == 2
    assert told(folder, *cache, capsys=capsys) == first
    assert len(scored) == 2
    assert told(folder, "--no-cache", capsys=capsys) == first
    assert len(scored) == 4
    # Changed on the way: another log, scored for itself, and flagged as it is without a cache.
    data = cases(anna())
    log = json.loads(data["attempts"][0]["log"])
    log["events"][0]["at_s"] = 0.75
    data["attempts"][0]["log"] = json.dumps(log)
    (folder / "anna.json").write_text(json.dumps(data), "utf-8")
    again = told(folder, *cache, capsys=capsys)
    assert len(scored) == 5
    assert again == told(folder, "--no-cache", capsys=capsys)
    assert "To be looked at" in again


def test_what_a_file_states_never_reaches_the_cache(
    tmp_path: Path, scored: list[Attempt], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, cache = tmp_path / "class", tmp_path / "cache"
    folder.mkdir()
    data = cases(anna())
    row = data["attempts"][0]
    # The last answer is taken out, and the log sealed anew as passed, as one would who knows the form.
    log = json.loads(row["log"])
    log["events"].remove([event for event in log["events"] if event["kind"] == "question_answered"][-1])
    row["log"] = json.dumps(log, indent=1)
    row["outcome"] = {"passed": True, "app_version": "1a2b", "log_sha256": log_sha256(row["log"])}
    text = json.dumps(data)
    (folder / "anna.json").write_text(text, "utf-8")
    # And a verdict beside it, under the name that the log has.
    (file,) = class_files([folder / "anna.json"])
    keys = VerdictKeys(program_digest(), LESSONS.values(), FAULTS)
    (folder / "verdicts.json").write_text(verdict_text(str(keys.key(file.attempts[0].attempt)), PASSED), "utf-8")
    for _ in range(2):
        shown = told(folder, "--cache", str(cache), capsys=capsys)
        assert "file not readable: verdicts.json" in shown
        assert "counted: 1, held: 1" in shown
    assert len(scored) == 2


def test_verdicts_are_never_looked_for_among_the_files_of_the_class(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "anna.json"
    file.write_text(json.dumps(cases(anna())), "utf-8")
    for folder, given_path in ((tmp_path, tmp_path), (tmp_path / "in" / "it", tmp_path), (tmp_path, file)):
        assert main(["report", str(given_path), "--cache", str(folder)]) == 2
        assert "name with --cache a folder that only you write to" in capsys.readouterr().err
    assert not list(tmp_path.rglob(FILE_NAME))


def test_a_damaged_cache_is_told_and_every_log_is_scored(
    tmp_path: Path, scored: list[Attempt], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, cache = tmp_path / "class", tmp_path / "cache"
    folder.mkdir()
    cache.mkdir()
    (folder / "anna.json").write_text(json.dumps(cases(anna())), "utf-8")
    (cache / FILE_NAME).write_bytes(b"no database" * 400)
    assert main(["report", str(folder), "--jobs", "1", "--cache", str(cache)]) == 0
    shown = capsys.readouterr()
    assert "counted: 2" in shown.out
    assert "is not kept" in shown.err
    assert len(scored) == 2


def test_a_verdict_under_a_wrong_name_is_not_taken(tmp_path: Path) -> None:
    store = VerdictCache(tmp_path)
    store.keep({"right": PASSED})
    assert store.known(["right", "wrong"]) == {"right": PASSED}
    assert store._database is not None
    with store._database as database:
        database.execute("UPDATE verdicts SET key = 'wrong'")
    assert store.known(["right", "wrong"]) == {}
    store.close()
    assert store.problem == ""


# The page's store ---------------------------------------------------------------------------------------------


class Page:
    """Stands for the page: keeps what it is told to, and answers."""

    def __init__(self) -> None:
        self.kept: dict[str, str] = {}
        self.asked: list[str] = []

    def report(self, application: BenchApplication, data: Data, version: str = "v1") -> tuple[ClassDeskView, int]:
        """Give a file to a fresh desk; return the desk and how many turns it took to score."""
        ticks = iter(range(1_000_000))
        desk = ClassDeskView(
            application.bench, application.act, read_course(LESSONS), lambda: float(next(ticks)) / 10.0, lambda: NOW,
            lambda: version,
        )  # fmt: skip
        desk.receive({"do": "file", "name": "a.json", "text": json.dumps(data)})
        fresh = turns = number = 0
        while json.loads(desk.desk.shown)["going"]:
            desk.work()
            turns += 1
            assert turns < 1_000
            if desk.desk.wanted and desk.desk.wanted["number"] != number:
                number = desk.desk.wanted["number"]
                names = json.loads(desk.desk.wanted["text"])
                self.asked += names
                desk.receive({"do": "known", "value": json.dumps([[k, self.kept[k]] for k in names if k in self.kept])})
            if desk.desk.fresh and desk.desk.fresh["number"] != fresh:
                fresh = desk.desk.fresh["number"]
                self.kept.update(json.loads(desk.desk.fresh["text"]))
        return desk, turns


@pytest.fixture(scope="module")
def application() -> BenchApplication:
    return BenchApplication(lambda: 0.0)


def test_the_page_scores_a_log_once_for_each_program(application: BenchApplication) -> None:
    page = Page()
    first, _ = page.report(application, cases(anna()))
    assert len(page.kept) == 2
    assert set(page.kept) == set(page.asked)
    page.asked.clear()
    kept = dict(page.kept)
    again, _ = page.report(application, cases(anna()))
    assert again.desk.tables == first.desk.tables
    assert page.kept == kept
    assert len(page.asked) == 2
    page.report(application, cases(anna()), "v2")
    assert len(page.kept) == 4


def test_the_page_cannot_be_answered_what_was_not_asked(application: BenchApplication) -> None:
    honest, _ = Page().report(application, cases(anna()))
    page = Page()
    page.report(application, cases(anna()))
    # Verdicts of other names put under those that are asked for; and one whose form is damaged.
    first, second = page.kept
    page.kept[first] = verdict_text(second, PASSED)
    page.kept[second] = page.kept[second].replace("true", "1")
    spoilt, _ = page.report(application, cases(anna()))
    assert spoilt.desk.tables == honest.desk.tables
    desk, _ = Page().report(application, cases(anna()))
    shown = desk.desk.tables
    desk.receive({"do": "known", "value": json.dumps([["not asked", verdict_text("not asked", PASSED)]])})
    assert desk.desk.tables == shown


def test_a_page_whose_store_does_not_answer_scores_everything(application: BenchApplication) -> None:
    ticks = iter(range(1_000_000))
    desk = ClassDeskView(
        application.bench, application.act, read_course(LESSONS), lambda: float(next(ticks)), lambda: NOW, lambda: "v"
    )
    desk.receive({"do": "file", "name": "a.json", "text": json.dumps(cases(anna()))})
    for _ in range(100):
        desk.work()
    assert json.loads(desk.desk.shown)["text"] == "All 2 logs are scored."
