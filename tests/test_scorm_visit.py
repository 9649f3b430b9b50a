"""A visit from a SCORM 1.2 system without a browser: whose it is, what is told when, what comes back elsewhere."""

from __future__ import annotations

import json
from typing import Any

import pytest

from bandbench.bench.lessons import read_course, read_lessons
from bandbench.bench.progress import outcomes_of
from bandbench.bench.records import LearnerRecords
from bandbench.bench.scormstate import LONGEST_STATE, read_state
from bandbench.bench.scormvisit import ScormVisit
from sim.training.progress import course_state
from tests.test_records import Place, Store

LESSONS = read_lessons()
COURSE = read_course(LESSONS)
LESSON = "tracking-and-guide"

LEARNER = {"student_id": "ines.7", "student_name": "Muster, Ines", "lesson_mode": "normal"}


class System(Store):
    """The page with the learning system around it: what it holds, what was set in this visit, and the line it shows."""

    def __init__(self, before: System | None = None, kept: bool = False) -> None:
        super().__init__(kept)
        self.model: dict[str, str] = dict(before.model) if before else {}
        self.set: list[tuple[str, str]] = []
        self.line = ""

    def carry_out(self, records: LearnerRecords, change: dict[str, Any]) -> None:
        if change["do"] != "scorm":
            super().carry_out(records, change)
            return
        self.set += [(element, value) for element, value in change.get("values", [])]
        self.model |= dict(change.get("values", []))
        self.line = change.get("line", self.line)

    def ids(self, kind: str) -> list[str]:
        """Return the ids of the objectives or the interactions that there are."""
        found: list[str] = []
        while (number := self.model.get(f"cmi.{kind}.{len(found)}.id")) is not None:
            found.append(number)
        return found

    def statuses(self) -> list[str]:
        """Return how the objectives stand."""
        return [self.model[f"cmi.objectives.{place}.status"] for place in range(len(self.ids("objectives")))]

    def launch(self, **changes: object) -> dict[str, object]:
        """Return what the system says at the next visit."""
        exit_ = self.model.get("cmi.core.exit")
        return {
            **LEARNER,
            "entry": "ab-initio" if exit_ is None else "resume" if exit_ == "suspend" else "",
            "status": self.model.get("cmi.core.lesson_status", "not attempted"),
            "suspend_data": self.model.get("cmi.suspend_data", ""),
            "objectives": self.ids("objectives"),
            "interactions": str(len(self.ids("interactions"))),
            **changes,
        }


class Visited(Place):
    """A bench in a learning system's frame."""

    def __init__(self, system: System | None = None, lesson: str = LESSON, **changes: object) -> None:
        self.system = system or System()
        super().__init__(self.system)
        lessons = [LESSONS[lesson]] if lesson else [LESSONS[name] for name in COURSE.lessons]
        self.visit = ScormVisit(self.bench, self.records, lessons, bool(lesson), self.moment)
        self.records.watchers.append(self.visit)
        launch = self.system.launch(**changes)
        self.visit.take(json.dumps({"begun": True, "launch": launch, "lesson": lesson}))
        for _ in range(3):
            self.follow()

    def follow(self, seconds: float = 2.0) -> None:
        super().follow(seconds)
        self.visit.follow(self.now_s)
        self.store.serve(self.records)


def interactions(system: System) -> list[dict[str, str]]:
    """Return the interactions that were told in this visit."""
    rows: dict[int, dict[str, str]] = {}
    for element, value in system.set:
        parts = element.split(".")
        if parts[1] == "interactions":
            rows.setdefault(int(parts[2]), {})[".".join(parts[3:])] = value
    return [rows[place] for place in sorted(rows)]


def test_the_systems_learner_is_at_the_bench_whoever_was_there_before() -> None:
    system = System(kept=True)
    other = {"id": "11111111-1111-4111-8111-111111111111", "name": "Jo", "created_at": "2026-01-05T09:00:00.000Z"}
    system.rows["profiles"][other["id"]] = {**other, "used_at": other["created_at"]}
    for _ in range(2):
        place = Visited(system)
        assert place.who == "Muster, Ines"
        assert "Muster, Ines" in system.line
        assert len(place.kept["profiles"]) == 2


def test_at_first_the_lesson_is_incomplete_and_its_objectives_are_there() -> None:
    system = Visited().system
    assert system.model["cmi.core.lesson_status"] == "incomplete"
    assert system.model["cmi.core.exit"] == "suspend"
    assert "cmi.core.score.raw" not in system.model
    assert system.ids("objectives") == [f"check.{check.name}" for check in LESSONS[LESSON].checks]
    assert set(system.statuses()) == {"not attempted"}


def test_an_attempt_is_told_as_it_goes_on_and_resumed_on_another_machine() -> None:
    first = Visited()
    first.begin(seed=5)
    first.turn("guide_position_um", 7.0)
    first.follow()
    attempt = first.bench.running_session().attempt
    # The frame is closed without a word: what was told by then is what there is.
    second = Visited(System(first.system))
    assert second.kept["attempts"] == {}
    (left,) = second.records.resumable
    assert left.attempt == attempt
    assert "You left" in second.system.line
    second.do(lambda: second.records.resume(left.id, second.now_s))
    second.follow()
    assert second.bench.running_session().controls["guide_position_um"] == 7.0
    assert interactions(second.system) == []
    second.solve()
    second.follow()
    system = second.system
    assert system.model["cmi.core.lesson_status"] == "passed"
    assert system.model["cmi.core.score.raw"] == "100"
    assert system.model["cmi.core.exit"] == ""
    told = interactions(system)
    assert [row["result"] for row in told] == ["correct"] * len(LESSONS[LESSON].checks)
    assert [row["objectives.0.id"] for row in told] == system.ids("objectives")
    assert set(system.statuses()) == {"passed"}
    # A third visit, with nothing to resume, leaves the pass as it is.
    third = Visited(System(system))
    assert third.records.resumable == ()
    assert third.system.model["cmi.core.lesson_status"] == "passed"
    assert third.system.statuses() == system.statuses()
    assert third.system.ids("objectives") == system.ids("objectives")


def test_a_check_that_fails_is_told_and_decides_nothing_yet() -> None:
    place = Visited()
    place.begin(seed=5)
    place.turn("guide_position_um", 100.0)
    place.bench.check_lesson(place.now_s)
    place.follow()
    place.follow()
    assert "wrong" in [row["result"] for row in interactions(place.system)]
    assert place.system.model["cmi.core.lesson_status"] == "incomplete"
    assert "failed" in place.system.statuses()
    # Told once, however often it is looked at.
    count = len(interactions(place.system))
    place.turn("guide_position_um", 90.0)
    place.follow()
    assert len(interactions(place.system)) == count


@pytest.mark.parametrize("mode", ["browse", "review"])
def test_who_only_looks_changes_nothing(mode: str) -> None:
    place = Visited(lesson_mode=mode)
    place.begin(seed=5)
    place.solve()
    place.follow()
    assert place.system.set == []
    assert "nothing you do is reported" in place.system.line


def test_nothing_is_told_of_another_learner() -> None:
    place = Visited()
    place.do(lambda: place.records.create_profile("Jo"))
    place.follow()
    before = list(place.system.set)
    place.begin(seed=5)
    place.solve()
    place.follow()
    assert place.system.set == before
    assert "Muster, Ines" in place.system.line
    assert "nothing is reported" in place.system.line


def test_what_was_kept_and_cannot_be_read_is_told_and_work_goes_on() -> None:
    place = Visited(suspend_data="b1.damaged", entry="resume")
    assert "could not be read" in place.system.line
    place.begin(seed=5)
    place.turn("guide_position_um", 7.0)
    place.follow()
    assert read_state(place.system.model["cmi.suspend_data"], "", "").running is not None


def test_what_the_system_does_not_do_is_told_and_forgiven() -> None:
    place = Visited(lesson="")
    for said, shown in (('{"taken": false}', True), ('{"taken": true}', False)):
        place.visit.take(said)
        place.follow()
        assert ("tried again" in place.system.line) == shown
    place.visit.take('{"refused": "cmi.suspend_data"}')
    place.follow()
    assert "cmi.suspend_data" in place.system.line
    place.visit.take(json.dumps({"begun": True, "launch": LEARNER, "lesson": "<b>other</b>"}))
    place.follow()
    assert "<b>other</b>" in place.system.line
    alone = ScormVisit(place.bench, place.records, [LESSONS[LESSON]], True)
    alone.take(json.dumps({"begun": False, "why": "none", "lesson": LESSON}))
    alone.follow(1.0)
    place.store.serve(place.records)
    assert "No learning system was found" in place.system.line


def test_a_course_is_counted_on_across_machines_and_nothing_twice() -> None:
    place = Visited(lesson="")
    place.begin(seed=5)
    place.solve()
    place.bench.restart_lesson(place.now_s, 6)
    place.follow()
    place.solve()
    place.follow()
    system = place.system
    assert system.ids("objectives") == list(COURSE.lessons)
    assert dict(zip(COURSE.lessons, system.statuses(), strict=True))[LESSON] == "passed"
    assert system.model["cmi.core.lesson_status"] == "incomplete"
    assert system.model["cmi.core.exit"] == "suspend"
    assert {row["objectives.0.id"] for row in interactions(system)} == {LESSON}
    # On another machine, and in the browser that did it all: there the attempts are known twice over.
    for elsewhere in (True, False):
        other = Visited(System(system) if elsewhere else system, "")
        assert [one.lesson for one in other.records.history] == ([] if elsewhere else [LESSON, LESSON])
        known = outcomes_of(other.records.history, other.records.passed)
        state = course_state(COURSE, LESSONS, (*known, *other.visit.outcomes(known)), other.now_s)
        (own,) = [one for one in state.lessons if one.lesson_id == LESSON]
        assert (own.attempts, own.row) == (2, 2)


def test_an_attempt_too_long_for_the_system_says_until_when_it_can_be_resumed() -> None:
    place = Visited()
    place.begin(seed=5)
    session = place.bench.running_session()
    for turn in range(4000):
        value = float(turn % 97) / 4 + (turn * 7919 % 13) / 8
        session.move("guide_position_um", value, place.now_s + 0.0713 * turn * (1 + turn % 3))
    place.follow()
    place.follow(20.0)
    assert len(place.system.model["cmi.suspend_data"]) <= LONGEST_STATE
    assert "can be resumed there as it was after" in place.system.line
    (left,) = Visited(System(place.system)).records.resumable
    assert 100 < len(left.attempt.events) < len(session.attempt.events)
    assert left.attempt.events == session.attempt.events[: len(left.attempt.events)]
