"""A lesson of an instructor's own at the bench, without a browser: judged, previewed, proved, and not kept."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.application import ROUND, BenchApplication
from bandbench.bench.drafts import LARGEST_DRAFT, MOST_SEEDS, Proof, read_draft

TEXT = (Path(__file__).parents[1] / "lessons" / "tracking-and-guide.toml").read_text("utf-8")


@pytest.fixture
def application() -> BenchApplication:
    made = BenchApplication(lambda: 50.0)
    made.next_frame()
    rows: dict[str, Any] = {
        "app_version": "test", "storage": {"state": "kept", "reason": ""}, "profile": "", "profiles": [],
        "attempts": [], "running": [], "notes": [], "elsewhere": [],
    }  # fmt: skip
    made.learner.take("all", json.dumps(rows))
    made.lesson.receive({"do": "mode", "value": "learn"})
    return made


def shown(application: BenchApplication) -> dict[str, Any]:
    return dict(json.loads(application.authoring.desk.shown))


def give(application: BenchApplication, text: str, name: str = "mine.toml") -> dict[str, Any]:
    application.authoring.receive({"do": "file", "name": name, "text": text})
    return shown(application)


def tick_round(application: BenchApplication) -> None:
    for _ in range(2 * len(ROUND)):
        application.tick(0.0)


# Reading ----------------------------------------------------------------------------------------------------


def test_a_good_lesson_is_read_with_nothing_to_correct() -> None:
    draft = read_draft("mine.toml", TEXT)
    assert draft.usable
    assert draft.lesson is not None
    assert draft.lesson.id == "tracking-and-guide"
    # Some editors put a mark at the beginning of a file in UTF-8.
    assert read_draft("mine.toml", "\ufeff" + TEXT).usable


@pytest.mark.parametrize(
    ("change", "key", "reason"),
    [
        (lambda text: "title = = 1", "the whole file", "is not TOML"),
        (lambda text: text.replace("minutes = ", "hours = ", 1), "hours", "unknown key"),
        (lambda text: text.replace('level = "beginner"', 'level = "easy"', 1), "level", "easy"),
        (lambda text: text.replace('measurement = "skew_us"', 'measurement = "skewness"', 1), "checks", "skewness"),
        (lambda text: "# " + "x" * LARGEST_DRAFT, "the whole file", "characters"),
        (lambda text: "", "format_version", "missing"),
    ],
)
def test_a_file_with_a_fault_is_refused_with_place_reason_and_remedy(change: Any, key: str, reason: str) -> None:
    changed = change(TEXT)
    assert changed != TEXT
    draft = read_draft("mine.toml", changed)
    assert not draft.usable
    told = draft.problems[0]
    assert told.source == "mine.toml"
    assert told.key.startswith(key) or key in told.key
    assert reason in told.reason
    assert told.remedy


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=200))
def test_no_text_whatever_breaks_the_reading(text: str) -> None:
    draft = read_draft("any.toml", text)
    assert not draft.usable
    assert draft.problems


# Preview ----------------------------------------------------------------------------------------------------


def test_a_preview_can_be_begun_and_is_not_kept(application: BenchApplication) -> None:
    assert give(application, TEXT.replace("title = ", 'title = "Mine: " # ', 1))["usable"]
    application.authoring.receive({"do": "choose"})
    tick_round(application)
    assert application.bench.previewing
    assert application.lesson.card.lesson["title"] == "Mine: "
    application.lesson.receive({"do": "begin"})
    application.lesson.receive({"do": "hint", "value": 1})
    tick_round(application)
    assert len(application.bench.running_session().attempt.events) == 1
    application.lesson.receive({"do": "mode", "value": None})
    tick_round(application)
    records = application.learner.records
    assert (records.left, records.attempts) == ({}, {})
    assert application.next_records() == ""


def test_the_course_lesson_of_the_same_name_stays_what_it_was(application: BenchApplication) -> None:
    own = application.bench.lessons["tracking-and-guide"]
    give(application, TEXT.replace("title = ", 'title = "Mine: " # ', 1))
    application.course.receive({"do": "choose", "value": "tracking-and-guide"})
    assert application.bench.lesson is own
    assert not application.bench.previewing


def test_a_bad_file_takes_the_preview_before_away(application: BenchApplication) -> None:
    give(application, TEXT)
    application.authoring.receive({"do": "choose"})
    assert give(application, "x = = 1", "bad.toml")["source"] == "bad.toml"
    assert not application.bench.previewing
    application.authoring.receive({"do": "choose"})
    assert "correct it" in application.authoring.desk.notice
    application.authoring.receive({"do": "prove", "value": 1})
    assert shown(application)["proof"] is None


def test_a_preview_that_is_being_done_is_not_taken_away(application: BenchApplication) -> None:
    give(application, TEXT)
    application.authoring.receive({"do": "choose"})
    application.lesson.receive({"do": "begin"})
    give(application, "x = = 1", "bad.toml")
    assert "leave the lesson first" in application.authoring.desk.notice
    assert application.bench.previewing


# Proof ------------------------------------------------------------------------------------------------------


def test_a_proof_goes_seed_by_seed_and_can_be_stopped(
    application: BenchApplication, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[int] = []

    def next_seed(proof: Proof) -> None:
        proof.done += 1
        tried.append(proof.done)

    monkeypatch.setattr(Proof, "next_seed", next_seed)
    give(application, TEXT)
    application.authoring.receive({"do": "prove", "value": 99})
    assert shown(application)["proof"] == {"done": 0, "total": MOST_SEEDS, "over": False, "problems": []}
    assert application.authoring.prove_next()
    assert shown(application)["proof"]["done"] == 1
    application.authoring.receive({"do": "cancel"})
    assert not application.authoring.prove_next()
    assert tried == [1]


def test_a_lesson_whose_solution_does_not_pass_is_found_out() -> None:
    # The move of the guide: the RF's peak would be looked for where the solution puts the tracking.
    solution = TEXT.rindex("[[solution]]")
    spoilt = TEXT[:solution] + TEXT[solution:].replace("value = 0.0", "value = 60.0", 1)
    draft = read_draft("mine.toml", spoilt)
    assert draft.lesson is not None, draft.problems
    proof = Proof(draft.lesson, 1)
    proof.next_seed()
    assert proof.over
    assert any(problem.key == "solution" for problem in proof.problems)
