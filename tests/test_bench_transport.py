"""Transport, record box, reel and care, services, without a browser: what they tell the page and do when asked.

Nothing here is measured against the outside: the machine itself is held to it in the tests of `sim.transport`,
`sim.servos`, `sim.reel` and `sim.station`. Sentences of refusals and cautions are those of `sim.transport` (TRADE).
"""

from __future__ import annotations

import json
import math
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.application import BenchApplication
from bandbench.bench.path import machine_states
from bandbench.bench.services import service_rows
from bandbench.bench.transport import deck_numbers, deck_sentence, tape_time
from bandbench.bench.words import say
from sim.condition import Condition
from sim.standards import get_standard
from sim.station import Station
from sim.transport import ACT_GROUPS, ACTS, MODES, TRACKS, Deck, wound_radius_m
from tests.bench_clock import Clock

BLANK = "blank-525"


class Person:
    """Somebody at the bench: presses what the page offers and reads what it shows."""

    def __init__(self) -> None:
        self.clock = Clock()
        self.application = BenchApplication(self.clock)
        self.bench = self.application.bench
        self.bench.choose_mode("practise")
        self.wait(0.1)

    def wait(self, seconds: float) -> None:
        """Let time pass in pieces shorter than the longest gap that counts."""
        for _ in range(max(1, math.ceil(seconds / 0.5))):
            self.clock.now_s += seconds / max(1, math.ceil(seconds / 0.5))
            self.bench.advance(self.clock.now_s)
            self.application.record.live()
        self.application.transport.live()
        for view in self.application.views:
            view.watch()

    def until(self, mode: str, seconds: float = 60.0) -> None:
        """Wait for a mode of the transport."""
        for _ in range(round(seconds / 0.5)):
            if self.transport["mode"] == mode:
                return
            self.wait(0.5)
        raise AssertionError(f"no {mode} within {seconds} s: {self.transport}")

    @property
    def transport(self) -> dict[str, Any]:
        return dict(json.loads(self.application.transport.panel.now))

    @property
    def record(self) -> dict[str, Any]:
        return dict(json.loads(self.application.record.panel.now))

    @property
    def handling(self) -> dict[str, Any]:
        return dict(json.loads(self.application.handling.panel.now))

    @property
    def asked(self) -> dict[str, str]:
        return dict(json.loads(self.application.handling.panel.asked))

    def press(self, act: str) -> str:
        """Press a button of the transport or the record box; return what is answered."""
        view = self.application.record if ACTS[act].group == "record" else self.application.transport
        view.receive({"act": act})
        return str(json.loads(view.panel.answer)["sentence"])

    def by_hand(self, act: str, stage: str = "", confirm: bool = True) -> tuple[bool, str]:
        """Press a button of reel, covers and care and answer its caution; return whether it was done, and the words."""
        view = self.application.handling
        view.receive({"act": act, "stage": stage})
        if self.asked["act"]:
            view.receive({"confirm": confirm})
        answer = json.loads(view.panel.answer)
        return bool(answer["done"]), str(answer["sentence"])

    def service(self, name: str) -> dict[str, Any]:
        rows = json.loads(self.application.services.panel.rows)
        return dict(next(row for row in rows if row["name"] == name))

    def locks(self) -> dict[str, bool]:
        return {lock["name"]: lock["ok"] for lock in json.loads(self.application.services.panel.locks)}


@pytest.fixture
def person() -> Person:
    return Person()


# Held in a lesson -------------------------------------------------------------------------------------------


def test_a_lesson_holds_the_machine_and_says_so(person: Person) -> None:
    person.bench.choose_mode("learn")
    person.application.transport.refresh()
    person.application.record.refresh()
    assert person.transport["held"]
    assert person.transport["text"] == say("transport.lesson")
    assert person.record["text"] == say("record.lesson")
    for act in ("stop", "record_arm"):
        assert "lesson" in person.press(act)
    assert person.by_hand("open_covers") == (False, person.bench.act_refusal("open_covers"))
    assert person.transport["mode"] == "play"


# Motion -----------------------------------------------------------------------------------------------------


def test_every_motion_has_a_button_in_words(person: Person) -> None:
    panel = person.application.transport.panel
    assert {act["name"] for act in panel.acts} == {name for name, spec in ACTS.items() if spec.group == "motion"}
    assert all(act["title"] == ACTS[act["name"]].title and act["description"] for act in panel.acts)
    cautions = {spec.caution for spec in ACTS.values() if spec.group == "motion" and spec.caution}
    assert len(person.application.transport.deck.cautions) == len(cautions)


def test_stop_and_start_again_through_the_modes(person: Person) -> None:
    assert person.transport["text"] == say("transport.now", mode=MODES["play"])
    assert person.press("stop") == ""
    assert person.transport["text"] == say("transport.on_the_way", mode=MODES["stopping"], goal=MODES["stop"])
    person.until("stop")
    person.press("standby")
    assert person.transport["mode"] == "running_up"
    person.until("standby")
    person.press("play")
    person.until("play")
    person.wait(6.0)
    assert all(person.locks().values())
    assert person.transport["deck"]["pinched"]


def test_a_refused_act_shows_its_sentence_each_time(person: Person) -> None:
    person.press("stop")
    person.until("stop")
    person.wait(60.0)
    assert person.by_hand("open_covers")[0]
    first = json.loads(person.application.transport.panel.answer)["number"]
    sentence = person.press("play")
    assert sentence == person.bench.act_refusal("play")
    assert "covers are open" in sentence
    assert person.press("play") == sentence
    assert json.loads(person.application.transport.panel.answer)["number"] == first + 2


def test_the_timer_counts_and_is_reset(person: Person) -> None:
    person.press("reset_timer")
    assert person.transport["timer"] == "0:00:00"
    person.wait(3.2)
    assert person.transport["timer"] == "0:00:03"
    before = person.transport["supply"]
    person.wait(5.0)
    # What is left is told as time: five seconds of play later it is five seconds less.
    assert _seconds(before) - _seconds(person.transport["supply"]) == pytest.approx(5, abs=1)


def _seconds(text: str) -> int:
    hours, minutes, seconds = (int(part) for part in text.split(":"))
    return 3600 * hours + 60 * minutes + seconds


def test_a_tape_that_stopped_by_itself_says_why(person: Person) -> None:
    assert "beginning" in person.press("wind_reverse")
    person.press("wind_forward")
    person.until("wind_forward")
    person.wait(5.0)
    person.press("wind_reverse")
    person.until("standby")
    assert "beginning" in person.transport["because"]


def test_only_what_changed_is_sent(person: Person) -> None:
    person.press("stop")
    person.until("stop")
    person.wait(1.0)
    panel = person.application.transport.panel
    shown = panel.now
    person.application.transport.live()
    assert panel.now is shown


# The drawing ------------------------------------------------------------------------------------------------


@given(place_m=st.floats(10.0, 1400.0), mode=st.sampled_from(["stop", "standby", "play"]))
@settings(max_examples=40, deadline=None)
def test_the_drawing_has_the_true_radii_and_says_what_it_shows(place_m: float, mode: str) -> None:
    deck = Deck(get_standard("525/60"), 1463.04)
    deck.make_ready(mode, place_m)
    numbers = deck_numbers(deck)
    # DERIVED: the wound tape's radius by its length (`wound_radius_m`, held to arithmetic in its own test).
    assert numbers["supply_mm"] == pytest.approx(1e3 * wound_radius_m(deck.supply_m), abs=0.06)
    assert numbers["takeup_mm"] == pytest.approx(1e3 * wound_radius_m(deck.takeup_m), abs=0.06)
    assert numbers["threaded"]
    assert numbers["guide"] == (mode == "play")
    said = deck_sentence(deck)
    assert re.search(rf"\b{deck.supply_m:.0f} m\b", said)
    assert (say("transport.guide_open") in said) == (mode != "play")
    assert (say("transport.wheel_turns") in said) == (mode != "stop")
    assert _seconds(tape_time(deck.supply_m, deck)) == int(deck.supply_m / deck.nominal_m_per_s)


def test_the_drawing_turns_the_way_the_tape_runs(person: Person) -> None:
    assert person.transport["deck"]["supply_rate"] > 0
    # The emptier reel turns faster for the same tape.
    assert person.transport["deck"]["takeup_rate"] > person.transport["deck"]["supply_rate"]
    person.press("wind_forward")
    person.until("wind_forward")
    person.wait(8.0)
    person.press("wind_reverse")
    person.until("wind_reverse")
    person.wait(1.0)
    assert person.transport["deck"]["supply_rate"] < 0
    assert say("transport.backwards") in person.transport["sentence"]


# Reel, covers, care -----------------------------------------------------------------------------------------


def test_every_act_by_hand_is_there_with_its_group(person: Person) -> None:
    panel = person.application.handling.panel
    shown = {act["name"] for group in panel.groups for act in group["acts"]}
    apart = {"motion", "record", "timer"}
    assert shown == {name for name, spec in ACTS.items() if spec.group not in apart}
    assert {group["name"] for group in panel.groups} == set(ACT_GROUPS) - apart


def test_an_act_with_a_caution_is_done_at_the_second_press_only(person: Person) -> None:
    view = person.application.handling
    person.press("stop")
    person.until("stop")
    person.wait(60.0)
    view.receive({"act": "open_covers", "stage": ""})
    assert person.asked["caution"].startswith("The head wheel turns")
    assert not person.bench.station.deck.covers_open
    view.receive({"confirm": False})
    assert person.asked["act"] == ""
    assert not person.bench.station.deck.covers_open
    # A confirmation that nothing waits for does nothing.
    view.receive({"confirm": True})
    assert not person.bench.station.deck.covers_open
    view.receive({"act": "open_covers", "stage": ""})
    view.receive({"confirm": True})
    assert say("handling.open") in person.handling["states"]["covers"]
    # Without a caution there is nothing to confirm.
    assert person.by_hand("close_covers") == (True, say("handling.done", title="Close covers", reel=""))


def test_a_dangerous_attempt_is_refused_at_once_and_noted(person: Person) -> None:
    done, sentence = person.by_hand("open_covers")
    assert not done
    assert "The tape is moving" in sentence
    assert person.asked["act"] == ""
    (noted,) = person.handling["incidents"]
    assert "Open covers" in noted
    assert "The tape is moving" in noted


def test_the_long_way_to_another_reel(person: Person) -> None:
    bench, view = person.bench, person.application.handling
    view.receive({"take": BLANK})
    assert "take the reel off first" in json.loads(view.panel.answer)["sentence"]
    person.press("stop")
    person.until("stop")
    person.wait(60.0)
    for act in ("open_covers", "unthread", "take_off_reel"):
        assert person.by_hand(act)[0], act
    view.receive({"take": BLANK})
    assert bench.reel_name == BLANK
    assert say("handling.in_hand", reel="New tape 525/60") in person.handling["states"]["reel"]
    for act in ("fit_reel", "thread", "check_threading", "close_covers"):
        assert person.by_hand(act)[0], act
    assert say("handling.checked") in person.handling["states"]["reel"]
    assert say("handling.ring") in person.handling["states"]["reel"]
    person.press("play")
    person.until("play")


def test_the_shortcut_puts_a_reel_on_in_play_with_its_log_sheet(person: Person) -> None:
    person.application.handling.receive({"put_on": "station-525"})
    person.wait(0.2)
    assert person.transport["mode"] == "play"
    assert person.handling["reel"] == "station-525"
    assert any("Colour bars" in entry for entry in person.handling["log"])
    assert person.handling["about"]


def test_cleaning_and_inspection_with_the_power_down(person: Person) -> None:
    bench = person.bench
    bench.recorder.set_condition(Condition(head_debris_um=(0.0, 3.0, 0.0, 0.0)))
    person.press("stop")
    person.until("stop")
    person.wait(60.0)
    for act in ("open_covers", "unthread", "isolate"):
        assert person.by_hand(act)[0], act
    assert person.by_hand("inspect_heads") == (True, say("handling.dirt", heads="2"))
    assert person.by_hand("clean_path")[0]
    assert person.by_hand("inspect_heads") == (True, say("handling.clean"))
    assert machine_states(bench.station)["record_drive"] == say("path.no_power")


def test_a_card_on_the_extender_is_told(person: Person) -> None:
    done, sentence = person.by_hand("put_on_extender", "demodulator")
    assert not done
    assert "wheel is still turning" in sentence
    person.press("stop")
    person.until("stop")
    person.wait(60.0)
    person.by_hand("isolate")
    person.wait(20.0)
    assert person.by_hand("put_on_extender", "demodulator")[0]
    assert person.handling["states"]["cards"] == say("handling.card", stage="Demodulator")
    assert person.bench.extended == {"demodulator"}


def test_the_second_machine_and_the_copy(person: Person) -> None:
    view = person.application.handling
    view.receive({"machine": "second"})
    assert not json.loads(view.panel.answer)["done"]
    assert person.handling["machine"] == "this"
    person.press("stop")
    person.until("stop")
    view.receive({"machine": "second"})
    assert person.handling["machine"] == "second"
    view.receive({"copy": True})
    assert json.loads(view.panel.answer)["sentence"] == say("handling.copied")


# Record -----------------------------------------------------------------------------------------------------


def test_the_endless_tape_is_not_recorded_on(person: Person) -> None:
    assert "endless work tape" in person.press("record_arm")
    assert person.record["state"] == "off"


def test_record_takes_two_steps_and_names_the_reel_before_the_second(person: Person) -> None:
    person.application.handling.receive({"put_on": BLANK})
    person.wait(3.0)
    assert "not armed" in person.press("record")
    assert person.record["confirm"] == ""
    assert person.press("record_arm") == ""
    assert person.record["state"] == "armed"
    assert "“New tape 525/60”" in person.record["confirm"]
    assert machine_states(person.bench.station)["record_drive"] == say("path.armed")
    person.press("disarm")
    assert person.record["state"] == "off"
    person.press("record_arm")
    assert person.press("record") == ""
    person.wait(2.0)
    assert person.record["state"] == "recording"
    assert person.record["lasting"] == say("record.lasting", seconds="2")
    assert dict(person.record["erase"])[say("record.master")]
    assert machine_states(person.bench.station)["record_drive"] == say("path.recording")
    # While it runs, its tracks stay as they are, and the page hears why.
    view = person.application.record
    view.receive({"tracks": ["video"]})
    assert "A recording is running" in json.loads(view.panel.answer)["sentence"]
    assert person.record["tracks"] == sorted(TRACKS)
    person.press("play")
    person.wait(0.5)
    assert person.record["outcome"][0].startswith("Recorded 2 s from 0:00:1")
    assert any(say("handling.own_recording") in entry or "0:00:0" in entry for entry in person.handling["log"])


def test_an_insert_leaves_the_control_track_and_tells_its_joints(person: Person) -> None:
    person.application.handling.receive({"put_on": "station-525"})
    person.bench.station.make_ready("play", 60.0)
    person.wait(1.0)
    view = person.application.record
    view.receive({"edit_mode": "insert"})
    view.receive({"length": "1,5"})
    view.receive({"edit": {"colour_framed": True}})
    view.receive({"tracks": ["video", "control"]})
    assert person.record["edit"]["length_s"] == "1.5"
    person.press("record_arm")
    assert "Control track" not in person.record["confirm"].split("records:")[1]
    person.press("record")
    person.wait(5.0)
    assert person.record["state"] == "off"
    outcome = person.record["outcome"]
    assert outcome[0].startswith("Recorded 2 s")
    assert [line.split(": ", 1)[1] for line in outcome[1:]] == [
        "Field, colour frame and control track all continue."
    ] * 2
    # Of another reel nothing is said.
    person.application.handling.receive({"put_on": BLANK})
    view.refresh()
    assert person.record["outcome"] == []


@pytest.mark.parametrize(
    ("text", "told"), [("long", "“long” is not a number"), ("0", "0.2 to 600"), ("inf", "0.2 to 600")]
)
def test_a_length_that_cannot_be_is_told_and_kept(person: Person, text: str, told: str) -> None:
    view = person.application.record
    view.receive({"length": text})
    assert told in json.loads(view.panel.answer)["sentence"].replace("\N{EN DASH}\N{WORD JOINER}", "-")
    assert person.record["edit"]["length_s"] == "10"


def test_what_was_refused_is_forgotten_with_another_machine(person: Person) -> None:
    person.press("record_arm")
    person.bench.choose_mode("demonstrate")
    for name in ("transport", "record", "handling"):
        view = getattr(person.application, name)
        view.refresh()
        assert json.loads(view.panel.answer or "{}").get("sentence", "") == ""


def test_no_track_at_all_is_refused(person: Person) -> None:
    view = person.application.record
    view.receive({"tracks": []})
    assert "choose at least one" in json.loads(view.panel.answer)["sentence"]
    assert person.record["tracks"] == sorted(TRACKS)


# Services and locks -----------------------------------------------------------------------------------------


def test_services_in_play_are_ok_with_units(person: Person) -> None:
    person.wait(1.0)
    for name, unit in (("air", "kPa"), ("vacuum", "kPa"), ("supply_tension", "N"), ("wheel", "rev/s")):
        row = person.service(name)
        assert row["ok"] is True, row
        assert unit in row["value"]
        assert row["verdict"] == say("services.ok")
    assert person.service("hours")["value"].endswith("h")
    assert person.locks() == dict.fromkeys(person.locks(), True)
    assert "locked" in person.application.services.panel.sentence


def test_what_is_switched_off_is_neither_right_nor_wrong(person: Person) -> None:
    person.press("stop")
    person.until("stop")
    person.wait(90.0)
    for name in ("air", "vacuum", "wheel"):
        assert (person.service(name)["ok"], person.service(name)["verdict"]) == (None, say("services.off"))
    assert set(person.locks().values()) == {None}


def test_a_service_that_fails_is_told(person: Person) -> None:
    station = person.bench.station
    station.recorder.set_condition(Condition(air_pump_failed=1.0))
    person.wait(4.0)
    rows = {row["name"]: row for row in service_rows(station)}
    assert rows["air"]["ok"] is False
    assert rows["air"]["verdict"] == say("services.not_ok")
    assert "air" in person.transport["because"]


# The path ---------------------------------------------------------------------------------------------------


def test_the_strip_knows_the_sides_and_follows_the_transport(person: Person) -> None:
    strip = person.application.path.strip
    assert {stage["side"] for stage in strip.stages} == {"play", "record", "sound"}
    station: Station = person.bench.station
    assert machine_states(station)["record_drive"] == say("path.inhibited")
    person.application.handling.receive({"put_on": BLANK})
    assert machine_states(person.bench.station)["record_drive"] == say("path.not_armed")


@pytest.mark.parametrize("name", ["transport", "record", "handling", "services"])
def test_a_message_that_means_nothing_is_an_error(person: Person, name: str) -> None:
    view = getattr(person.application, name)
    with pytest.raises(ValueError, match="no "):
        view.receive({"act": "dance", "stage": ""})
