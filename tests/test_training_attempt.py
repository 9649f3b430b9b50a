"""The attempt log: JSON there and back, and every damage refused with a reason."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.controls import CONTROLS
from sim.training.attempt import (
    ATTEMPT_FORMAT_VERSION,
    LONGEST_ATTEMPT_S,
    MOST_EVENTS,
    Attempt,
    CheckSubmitted,
    ControlMoved,
    Event,
    HintOpened,
    NoteWritten,
    QuestionAnswered,
    StepShown,
    attempt_from_data,
    attempt_from_json,
    check_belongs,
    migrated,
)
from sim.training.deal import deal
from sim.training.help import Help
from sim.training.parts import LARGEST_SEED
from sim.training.reader import AttemptError
from sim.training.score import score_attempt
from sim.training.solution import solution_moves
from tests.training_lessons import line_up, line_up_machine

LOG = Attempt(
    "tracking-and-guide",
    1,
    7,
    (
        StepShown(0.5, 3),
        ControlMoved(1.25, "tracking_phase_deg", -12.5),
        HintOpened(4.0, 1),
        ControlMoved(6.0, "guide_position_um", 33.0),
        CheckSubmitted(9.125),
    ),
)


@st.composite
def moved(draw: st.DrawFn, at_s: float) -> ControlMoved:
    spec = CONTROLS[draw(st.sampled_from(list(CONTROLS)))]
    shown = draw(st.booleans())
    if spec.kind != "number":
        return ControlMoved(at_s, spec.name, float(draw(st.integers(int(spec.minimum), int(spec.maximum)))), shown)
    return ControlMoved(at_s, spec.name, draw(st.floats(spec.minimum, spec.maximum)), shown)


WORDS = st.text(min_size=1, max_size=40).filter(lambda text: re.search(r"\S", text) is not None)


@st.composite
def attempts(draw: st.DrawFn) -> Attempt:
    times = sorted(draw(st.lists(st.floats(0.0, LONGEST_ATTEMPT_S), max_size=12)))
    events: list[Event] = []
    for at_s in times:
        kinds: list[st.SearchStrategy[Event]] = [
            moved(at_s),
            st.integers(1, 3).map(lambda level, at_s=at_s: HintOpened(at_s, level)),  # type: ignore[misc]
            st.integers(1, 1000).map(lambda step, at_s=at_s: StepShown(at_s, step)),  # type: ignore[misc]
            st.just(CheckSubmitted(at_s)),
            st.builds(QuestionAnswered, st.just(at_s), st.sampled_from(["cause", "which_head"]), WORDS),
            st.builds(NoteWritten, st.just(at_s), WORDS),
        ]
        events.append(draw(st.one_of(kinds)))
    seed = draw(st.integers(0, LARGEST_SEED))
    return Attempt(draw(st.from_regex(r"[a-z]{1,9}", fullmatch=True)), draw(st.integers(1, 99)), seed, tuple(events))


@given(attempts())
def test_json_there_and_back_gives_the_same_attempt(attempt: Attempt) -> None:
    assert attempt_from_json(attempt.to_json(), "log.json") == attempt


def test_json_form_is_plain() -> None:
    data = json.loads(LOG.to_json())
    assert data["events"][1] == {
        "at_s": 1.25,
        "kind": "control_moved",
        "control": "tracking_phase_deg",
        "value": -12.5,
    }
    assert {key: value for key, value in data.items() if key != "events"} == {
        "format_version": ATTEMPT_FORMAT_VERSION,
        "lesson": "tracking-and-guide",
        "lesson_version": 1,
        "seed": 7,
        "help": ["hints-3", "worked", "why", "glossary"],
    }
    set_so = replace(LOG, help=Help(0, False, False, False), seed_set=True)
    assert (set_so.to_data()["help"], set_so.to_data()["seed_set"]) == (["none"], True)
    assert attempt_from_json(set_so.to_json(), "log.json") == set_so


OLD_LOG: dict[str, Any] = {
    "format_version": 1,
    "lesson": "tracking-and-guide",
    "lesson_version": 1,
    "seed": 7,
    "events": [
        {"at_s": 0.5, "kind": "step_shown", "step": 3},
        {"at_s": 1.25, "kind": "control_moved", "control": "tracking_phase_deg", "value": -12.5},
        {"at_s": 4.0, "kind": "hint_opened", "level": 1},
        {"at_s": 6.0, "kind": "control_moved", "control": "guide_position_um", "value": 33.0},
        {"at_s": 9.125, "kind": "check_submitted"},
    ],
}
"""A log as it was written before there were questions."""


def test_logs_of_the_first_format_are_read_as_they_were() -> None:
    assert attempt_from_json(json.dumps(OLD_LOG), "log.json") == LOG
    assert migrated(OLD_LOG, 1)["format_version"] == ATTEMPT_FORMAT_VERSION
    assert migrated(OLD_LOG, 1)["events"] == OLD_LOG["events"]


def test_log_of_the_first_format_scores_as_it_did() -> None:
    moves = [
        {"at_s": 10.0 * place, "kind": "control_moved", "control": control, "value": value}
        for place, (control, value) in enumerate(
            solution_moves(line_up(), deal(line_up(), 7, line_up_machine())), start=1
        )
    ]
    old = OLD_LOG | {"events": [*OLD_LOG["events"], *moves, {"at_s": 30.0, "kind": "check_submitted"}]}
    score = score_attempt(line_up(), attempt_from_json(json.dumps(old), "log.json"), line_up_machine())
    # Written down from the program of the first format.
    assert (score.outcome, score.reason) == ("passed", "All 2 checks are in tolerance.")
    assert (score.points, score.moves, score.duration_s, score.hints_opened) == (1.0, 4, 30.0, (1,))
    assert [submission.passed for submission in score.submissions] == [False, True]


@pytest.mark.parametrize("version", [0, ATTEMPT_FORMAT_VERSION + 1, 99])
def test_formats_that_are_not_known_are_refused(version: int) -> None:
    assert refusal(OLD_LOG | {"format_version": version}).problem.key == "format_version"


def test_shown_moves_answers_and_notes_are_written_out_plainly() -> None:
    events = (
        ControlMoved(1.0, "guide_position_um", 3.0, shown=True),
        QuestionAnswered(2.0, "cause", "dirty_head"),
        NoteWritten(3.0, "Head 2."),
    )
    assert Attempt("x", 1, 1, events).to_data()["events"] == [
        {"at_s": 1.0, "kind": "control_moved", "control": "guide_position_um", "value": 3.0, "shown": True},
        {"at_s": 2.0, "kind": "question_answered", "question": "cause", "answer": "dirty_head"},
        {"at_s": 3.0, "kind": "note_written", "text": "Head 2."},
    ]


@pytest.mark.parametrize(
    ("event", "key", "reason"),
    [
        ({"kind": "question_answered", "question": "Which?", "answer": "2"}, "question", "'Which?' has the wrong form"),
        ({"kind": "question_answered", "question": "cause", "answer": 2}, "answer", "must be a text, not 2"),
        ({"kind": "note_written", "text": "x" * 4001}, "text", "is 4001 characters long"),
        ({"kind": "control_moved", "control": "correction", "value": 1, "shown": 1}, "shown", "must be true or false"),
    ],
)
def test_damaged_answers_and_notes_are_refused(event: dict[str, object], key: str, reason: str) -> None:
    problem = refusal(LOG.to_data() | {"events": [{"at_s": 0.0} | event]}).problem
    assert problem.key == f"events[1].{key}"
    assert problem.reason.startswith(reason)


def refusal(data: object) -> AttemptError:
    with pytest.raises(AttemptError) as caught:
        attempt_from_data(data, "log.json")
    assert caught.value.problem.source == "log.json"
    assert caught.value.problem.remedy
    return caught.value


@pytest.mark.parametrize(
    ("changes", "key", "reason"),
    [
        ({"format_version": 5}, "format_version", "is 5, but this program reads formats 1 to 4"),
        ({"format_version": 3}, "help", "is no part of format 3"),
        ({"help": ["much"]}, "help[1]", "'much' is no kind of help"),
        ({"help": None}, "help", "must be a list, not None"),
        ({"seed_set": 1}, "seed_set", "must be true or false, not 1"),
        ({"seed": -1}, "seed", "-1 is outside the range"),
        ({"seed": 1.5}, "seed", "must be a whole number, not 1.5"),
        ({"seed": LARGEST_SEED + 1}, "seed", f"{LARGEST_SEED + 1} is outside the range"),
        ({"seed": "7"}, "seed", "must be a number, not '7'"),
        ({"lesson_version": 0}, "lesson_version", "0 is outside the range"),
        ({"events": {}}, "events", "must be a list, not a table"),
        ({"score": 100}, "score", "unknown key"),
    ],
)
def test_damaged_heads_are_refused(changes: dict[str, object], key: str, reason: str) -> None:
    problem = refusal(LOG.to_data() | changes).problem
    assert (problem.key, problem.reason) == (key, reason)


@pytest.mark.parametrize("key", ["format_version", "lesson", "lesson_version", "seed", "events"])
def test_missing_keys_are_refused(key: str) -> None:
    data = LOG.to_data()
    del data[key]
    assert refusal(data).problem.key == key


@pytest.mark.parametrize(
    ("place", "changes", "key", "reason"),
    [
        (1, {"at_s": 0.4}, "events[2].at_s", "0.4 s is before the event above it, at 0.5 s"),
        (1, {"at_s": -1.0}, "events[2].at_s", "-1 is too small"),
        (4, {"at_s": 1e9}, "events[5].at_s", "1e+09 is too large"),
        (1, {"at_s": float("nan")}, "events[2].at_s", "must be a finite number, not nan"),
        (1, {"kind": "teleport"}, "events[2].kind", "'teleport' is not allowed"),
        (1, {"control": "warp_drive"}, "events[2].control", "'warp_drive' is not allowed"),
        (
            1,
            {"value": 500.0},
            "events[2].value",
            "control 'tracking_phase_deg': 500 deg is outside its range -180 to 180 deg",
        ),
        (1, {"level": 1}, "events[2].level", "does not belong to a 'control_moved' event"),
        (2, {"level": 4}, "events[3].level", "4 is outside the range"),
        (2, {"level": True}, "events[3].level", "must be a number, not True"),
        (0, {"step": 0}, "events[1].step", "0 is outside the range"),
        (4, {"passed": True}, "events[5].passed", "unknown key"),
    ],
)
def test_damaged_events_are_refused(place: int, changes: dict[str, object], key: str, reason: str) -> None:
    data: dict[str, Any] = LOG.to_data()
    data["events"][place] |= changes
    problem = refusal(data).problem
    assert (problem.key, problem.reason) == (key, reason)


@pytest.mark.parametrize("text", ["", "{", "[1, 2", "\x00", "[" * 100_000])
def test_text_that_is_not_json_is_refused(text: str) -> None:
    with pytest.raises(AttemptError, match="is not an attempt log in JSON"):
        attempt_from_json(text, "log.json")


def test_nan_in_json_is_refused() -> None:
    with pytest.raises(AttemptError, match=r"events\[2\].value: must be a finite number"):
        attempt_from_json(LOG.to_json().replace("-12.5", "NaN"), "log.json")


def test_log_that_is_too_long_is_refused() -> None:
    data: dict[str, Any] = LOG.to_data()
    data["events"] = [{"at_s": 0.0, "kind": "check_submitted"}] * (MOST_EVENTS + 1)
    assert refusal(data).problem.key == "events"


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
def test_any_foreign_data_is_refused_with_a_reason(data: object) -> None:
    assert refusal(data).problem.reason


def test_own_lesson_is_accepted() -> None:
    check_belongs(LOG, line_up(), "log.json")


@pytest.mark.parametrize(
    ("attempt", "key", "reason"),
    [
        (Attempt("guide-height", 1, 7), "lesson", "is 'guide-height', not 'tracking-and-guide'"),
        (Attempt("tracking-and-guide", 9, 7), "lesson_version", "is 9, but the lesson here is version 1"),
        (
            Attempt("tracking-and-guide", 1, 7, (ControlMoved(0.0, "video_level_db", 1.0),)),
            "events[1].control",
            "the lesson does not let 'video_level_db' be moved",
        ),
        (
            Attempt("tracking-and-guide", 1, 7, (StepShown(0.0, 60),)),
            "events[1].step",
            "there is no step 60; the lesson has 6",
        ),
    ],
)
def test_logs_of_another_lesson_are_refused(attempt: Attempt, key: str, reason: str) -> None:
    with pytest.raises(AttemptError) as caught:
        check_belongs(attempt, line_up(), "log.json")
    assert (caught.value.problem.key, caught.value.problem.reason) == (key, reason)
