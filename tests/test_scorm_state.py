"""What a learning system keeps between two visits: it always fits, comes back as it was, or is refused."""

from __future__ import annotations

import base64
import json
import random
import uuid
import zlib
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.recordform import LeftAttempt
from bandbench.bench.scormstate import (
    LONGEST_STATE,
    CourseOutcome,
    LearnerState,
    StateError,
    packed_state,
    read_state,
)
from sim.controls import CONTROLS
from sim.training.attempt import (
    Attempt,
    CheckSubmitted,
    ControlMoved,
    Event,
    HintOpened,
    NoteWritten,
    QuestionAnswered,
    StepShown,
)

PROFILE = str(uuid.UUID(int=7))
VERSION = "0123abcd"
SAFE = set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_=.")


def left(*events: Event, lesson: str = "tracking-and-guide") -> LeftAttempt:
    attempt = Attempt(lesson, 1, 4711, events)
    moment = "2026-03-01T12:30:05.250Z"
    return LeftAttempt(
        str(uuid.UUID(int=99)), PROFILE, lesson, 1, moment, moment, VERSION, attempt.to_json(), attempt
    )  # fmt: skip


def outcomes(count: int, lessons: int = 40) -> tuple[CourseOutcome, ...]:
    chance = random.Random(1)
    return tuple(
        CourseOutcome(
            f"lesson-number-{place % lessons}", chance.randrange(10_000), 29_000_000 + 40 * place, place % 3 > 0,
            place % 5 > 0, 100 if place % 3 else 40,
        )
        for place in range(count)
    )  # fmt: skip


def dragged(seconds: float, per_s: float = 10.0) -> list[Event]:
    """Return the log of one who turns one knob after the other without a pause."""
    chance = random.Random(3)
    names = ["tracking_phase_deg", "guide_position_um", "guide_height_um"]
    values = dict.fromkeys(names, 0.0)
    events: list[Event] = []
    at_s = 1.0
    while at_s < seconds:
        name = chance.choice(names)
        for _ in range(chance.randrange(5, 40)):
            at_s = round(at_s + chance.uniform(0.5, 1.5) / per_s, 3)
            spec = CONTROLS[name]
            values[name] = min(
                max(round(values[name] + chance.choice([-2, -1, 1, 2]) * 0.5, 3), spec.minimum), spec.maximum
            )
            events.append(ControlMoved(at_s, name, values[name]))
    return events


TIMES = st.lists(st.floats(0.0, 80_000.0) | st.integers(0, 80_000_000).map(lambda ms: ms / 1000), max_size=40).map(
    sorted
)
KINDS = st.one_of(
    st.tuples(
        st.sampled_from(["tracking_phase_deg", "guide_position_um"]),
        st.floats(-20.0, 20.0) | st.integers(-20, 20).map(float),
        st.booleans(),
    ).map(lambda parts: lambda at_s: ControlMoved(at_s, *parts)),
    st.integers(1, 3).map(lambda level: lambda at_s: HintOpened(at_s, level)),
    st.integers(1, 9).map(lambda step: lambda at_s: StepShown(at_s, step)),
    st.just(CheckSubmitted),
    st.sampled_from(["3", "1.25", "a+b"]).map(lambda answer: lambda at_s: QuestionAnswered(at_s, "which_head", answer)),
    st.text(min_size=1, max_size=60).filter(str.strip).map(lambda text: lambda at_s: NoteWritten(at_s, text)),
)


@settings(max_examples=40, deadline=None)
@given(times=TIMES, data=st.data())
def test_a_state_comes_back_as_it_was(times: list[float], data: st.DataObject) -> None:
    events = tuple(data.draw(KINDS)(at_s) for at_s in times)
    state = LearnerState(outcomes(data.draw(st.integers(0, 60))), left(*events))
    packed = packed_state(state)
    assert len(packed.text) <= LONGEST_STATE
    assert set(packed.text) <= SAFE
    again = read_state(packed.text, PROFILE, VERSION)
    assert again.outcomes == state.outcomes[packed.outcomes_left_out :] or packed.outcomes_left_out
    assert again.running is not None
    if packed.kept_until_s is None:
        assert again.running == state.running
    else:
        kept = again.running.attempt.events
        assert kept == events[: len(kept)]


def test_nothing_kept_is_an_empty_state_and_back() -> None:
    assert read_state("", PROFILE, VERSION) == LearnerState()
    assert read_state(packed_state(LearnerState()).text, PROFILE, VERSION) == LearnerState()


def test_a_long_course_with_a_lesson_that_goes_on_fits_whole() -> None:
    # Forty lessons, each done three times, and half a minute of nothing but turning knobs.
    state = LearnerState(outcomes(120), left(*dragged(30.0)))
    packed = packed_state(state)
    assert (packed.outcomes_left_out, packed.kept_until_s) == (0, None)
    assert read_state(packed.text, PROFILE, VERSION) == state


def test_what_does_not_fit_is_a_log_that_ends_early_and_says_where() -> None:
    state = LearnerState(outcomes(120), left(*dragged(3600.0)))
    packed = packed_state(state)
    assert len(packed.text) <= LONGEST_STATE
    assert packed.outcomes_left_out == 0
    assert packed.kept_until_s is not None
    again = read_state(packed.text, PROFILE, VERSION)
    assert again.outcomes == state.outcomes
    assert again.running is not None
    assert state.running is not None
    kept = again.running.attempt.events
    assert kept == state.running.attempt.events[: len(kept)]
    assert kept[-1].at_s == packed.kept_until_s
    assert 20.0 < packed.kept_until_s < 3600.0


@pytest.mark.parametrize("running", [None, left(*dragged(600.0))])
def test_of_too_many_outcomes_the_oldest_of_the_most_done_lessons_go(running: LeftAttempt | None) -> None:
    few, many = outcomes(40), tuple(replace(one, lesson="done-often") for one in outcomes(900))
    every = tuple(sorted((*few, *many), key=lambda one: one.minute))
    packed = packed_state(LearnerState(every, running))
    assert len(packed.text) <= LONGEST_STATE
    again = read_state(packed.text, PROFILE, VERSION).outcomes
    assert len(again) == len(every) - packed.outcomes_left_out
    assert set(few) <= set(again)
    often = [one for one in again if one.lesson == "done-often"]
    assert often == [one for one in every if one.lesson == "done-often"][-len(often) :]
    assert len(often) > 100


def test_a_note_too_long_for_the_system_leaves_the_attempt_before_it() -> None:
    chance = random.Random(5)
    note = "".join(chr(chance.randrange(0x4E00, 0x9FFF)) for _ in range(4000))
    state = LearnerState((), left(StepShown(1.0, 2), NoteWritten(9.0, note), CheckSubmitted(12.0)))
    packed = packed_state(state)
    assert len(packed.text) <= LONGEST_STATE
    assert packed.kept_until_s == 1.0
    again = read_state(packed.text, PROFILE, VERSION).running
    assert again is not None
    assert again.attempt.events == (StepShown(1.0, 2),)


GOOD = packed_state(LearnerState(outcomes(5), left(StepShown(1.0, 2), HintOpened(2.5, 1)))).text


def forged(change: object) -> str:
    return "b1." + base64.urlsafe_b64encode(zlib.compress(json.dumps(change).encode())).decode()


@settings(max_examples=150, deadline=None)
@given(place=st.integers(0, len(GOOD) - 1), character=st.characters(max_codepoint=0x2FF))
def test_damage_is_seen_or_harmless(place: int, character: str) -> None:
    damaged = GOOD[:place] + character + GOOD[place + 1 :]
    try:
        again = read_state(damaged, PROFILE, VERSION)
    except StateError:
        return
    # Only where the character's spare bits say nothing.
    assert again == read_state(GOOD, PROFILE, VERSION)


@pytest.mark.parametrize(
    "text",
    [
        "b2." + GOOD[3:], "another program's", "b1.", "b1.!!!!", GOOD[:-8], "b1.\u00e9\u00e9\u00e9\u00e9",
        forged([]), forged({}), forged({"o": []}), forged({"o": {"a": [1, 2]}}), forged({"o": {"a": [1, 2, "3"]}}),
        forged({"o": {"a": [1, 2, 404]}}), forged({"o": {"a": [-1, 2, 3]}}), forged({"o": {}, "r": {}}),
        forged({"o": {}, "r": None}), forged({"o": {}, "r": {"id": "AAAA", "a": {}, "e": {}, "b": "", "s": ""}}),
        forged({"o": {}, "x": 1e400}), "b1." + base64.urlsafe_b64encode(zlib.compress(b" " * 9_000_000)).decode(),
    ],
)  # fmt: skip
def test_what_is_not_a_state_is_refused_in_words(text: str) -> None:
    if text == forged({"o": {}, "x": 1e400}):
        # What nobody asks for is passed over.
        assert read_state(text, PROFILE, VERSION) == LearnerState()
        return
    with pytest.raises(StateError, match=r"\w"):
        read_state(text, PROFILE, VERSION)
