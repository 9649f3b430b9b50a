"""What a console keeps of the class's window, and puts back in one that was loaded again; what is no memory of one."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandbench.bench.planting import Planting
from bandbench.bench.remembering import RememberedError, read_remembered
from tests.console_bed import DEMONSTRATIONS, Bed


def memory_of(bed: Bed) -> dict[str, Any]:
    """Return what the console was last told to keep, as it was sent."""
    bed.console.take(json.dumps({"kind": "hello"}))
    (told,) = [one for one in bed.told() if one["kind"] == "memory"]
    return dict(told)


@pytest.fixture(scope="module")
def lost() -> tuple[Bed, dict[str, Any]]:
    """A window of a class in the middle of a demonstration, with more planted, two marks and readings put away."""
    bed = Bed()
    bench = bed.bench
    bed.do("mode", mode="practise")
    bench.put_on("station-525")
    bed.live(1.0)
    bench.set_control("guide_height_um", 60.0, bed.clock())
    bed.do("mark")
    bed.do("show", demonstration="guide-in-and-high", cue=5)
    bed.do("mark")
    bed.do("plant", fault="clogged_head_3", severity=0.4)
    bed.do("hide_value", name="noise_db", to=6)
    bed.do("readings", shown=False)
    bed.do("why", choice="hidden")
    bench.set_scope(magnify=10, position=0.25)
    bed.do("freeze", frozen=True)
    return bed, memory_of(bed)


def test_a_fresh_window_is_brought_to_what_the_lost_one_held(lost: tuple[Bed, dict[str, Any]]) -> None:
    before, memory = lost
    fresh = Bed()
    assert fresh.do("put_back", memory=memory["text"]) == ""
    old, new = before.bench, fresh.bench
    for name in ("mode", "secret", "caption", "why_shown", "readings_shown", "playing", "stage", "scope", "monitor"):
        assert getattr(new, name) == getattr(old, name), name
    assert new.recorder.controls == old.recorder.controls
    assert new.recorder.condition == old.recorder.condition
    assert (fresh.instructor.showing, fresh.instructor.cue_number) == (DEMONSTRATIONS["guide-in-and-high"], 5)
    # It is told in the same words, and could be put back once more.
    assert memory_of(fresh)["text"] == memory["text"]
    # The marks are there again, with their numbers; the next one is a new one.
    assert [mark.number for mark in fresh.instructor.marks] == [1, 2]
    assert fresh.do("rewind", mark=1) == ""
    assert (new.mode, new.reel_name, new.secret) == ("practise", "station-525", Planting())
    assert new.recorder.control("guide_height_um") == 60.0
    fresh.do("mark")
    assert fresh.instructor.marks[-1].number == 3


def test_the_console_is_told_in_words_what_can_be_put_back_and_what_cannot(lost: tuple[Bed, dict[str, Any]]) -> None:
    words = "\n".join(lost[1]["words"])
    for part in ("Head 3", "RF noise above normal", "cue 5", "marked states: 2", "the why views, the readings"):
        assert part in words, part
    assert "recorded" not in words
    bed = Bed()
    bed.do("mode", mode="demonstrate")
    bed.bench.copy_to_input()
    assert "nor a copy at the input" in "\n".join(memory_of(bed)["words"])


def test_before_the_choice_and_in_a_lesson_there_is_nothing_to_keep_and_nothing_is_put_back_into_one(
    lost: tuple[Bed, dict[str, Any]],
) -> None:
    bed = Bed()
    assert [one["kind"] for one in bed.say(kind="hello")] == ["lists", "state"]
    bed.bench.choose_mode("learn")
    bed.bench.begin_lesson(bed.clock(), 1)
    session = bed.bench.session
    assert "lesson" in bed.do("put_back", memory=lost[1]["text"])
    assert bed.bench.session is session
    assert bed.instructor.marks == []


# What is no memory --------------------------------------------------------------------------------------------------

CHANGES: tuple[tuple[str, Any, str], ...] = (
    ("form", 7, "form"),
    ("extra", 1, "extra"),
    ("marks", {}, "marks"),
    ("now", "all of it", "now"),
    ("now.mode", "learn", "now.mode"),
    ("now.stage", "cellar", "now.stage"),
    ("now.reel", "blank-625", "now.reel"),
    ("now.deck", "record", "now.deck"),
    ("now.place_m", -1, "now.place_m"),
    ("now.controls.guide_height_um", 1e9, "now"),
    ("now.controls", {}, "now.controls.tracking_phase_deg"),
    ("now.faults", {"gremlins": 0.5}, "now.faults.gremlins"),
    ("now.faults", {"guide_high": 7}, "now.faults.guide_high"),
    ("now.values", {"tape": 1.0}, "now.values.tape"),
    ("now.values", {"noise_db": "much"}, "now.values.noise_db"),
    ("now.why", "perhaps", "now.why"),
    ("now.scope.test_point", "<img src=x onerror=alert(1)>", "now"),
    ("now.scope.magnify", 3, "now"),
    ("now.monitor.split", 5, "now"),
    ("now.monitor.compare", "kept", "now"),
    ("now.demonstration", "magic", "now.demonstration"),
    ("now.cue", 99, "now.cue"),
    ("now.practice", "625 low-band", "now.practice"),
)


@pytest.mark.parametrize(("key", "value", "where"), CHANGES, ids=[f"{key} {value}"[:40] for key, value, _ in CHANGES])
def test_a_memory_that_was_changed_is_refused_whole_and_says_where(
    lost: tuple[Bed, dict[str, Any]], key: str, value: Any, where: str
) -> None:
    data = json.loads(lost[1]["text"])
    *path, last = key.split(".")
    place = data
    for name in path:
        place = place[name]
    place[last] = value
    with pytest.raises(RememberedError) as refusal:
        read_remembered(json.dumps(data), DEMONSTRATIONS)
    assert refusal.value.problem.key == where
    assert refusal.value.problem.remedy


ONE_BED = Bed()
JSON_VALUE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=6), inner, max_size=2),
    max_leaves=4,
)


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.data())
def test_whatever_is_changed_in_a_memory_it_is_put_back_or_refused_with_the_reason(
    lost: tuple[Bed, dict[str, Any]], data: st.DataObject
) -> None:
    memory = copy.deepcopy(json.loads(lost[1]["text"]))
    place: Any = memory
    while isinstance(place, dict | list) and place:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        key = data.draw(st.sampled_from(keys))
        if not isinstance(place[key], dict | list) or not place[key] or data.draw(st.booleans()):
            place[key] = data.draw(JSON_VALUE)
            break
        place = place[key]
    before = ONE_BED.bench.secret, len(ONE_BED.instructor.marks)
    refused = None
    try:
        read_remembered(json.dumps(memory), DEMONSTRATIONS)
    except RememberedError as error:
        refused = error
    if refused is not None:
        ONE_BED.console.take(
            json.dumps({"kind": "do", "number": 1, "action": "put_back", "value": {"memory": json.dumps(memory)}})
        )
        (answer,) = [one for one in ONE_BED.told() if one["kind"] == "answer"]
        assert answer["problem"] == str(refused)
        assert (ONE_BED.bench.secret, len(ONE_BED.instructor.marks)) == before


@pytest.mark.parametrize("text", ["", "{", "[" * 100_000, "null", "[]", '"now"'])
def test_what_is_no_memory_at_all_is_refused(text: str) -> None:
    with pytest.raises(RememberedError):
        read_remembered(text, DEMONSTRATIONS)
