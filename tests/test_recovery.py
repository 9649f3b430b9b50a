"""What a worker that dies leaves behind, and what the one in its place makes of it; memory that is given back."""

from __future__ import annotations

import json

import numpy as np
import pytest

from bandbench.bench.application import BenchApplication
from sim.training.attempt import Attempt, attempt_from_json
from tests.test_records import Store

LESSON = "tracking-and-guide"
TICK_S = 0.1


class Page:
    """A bench as the worker runs it, with the store of its page."""

    def __init__(self, store: Store | None = None) -> None:
        self.now_s = 0.0
        self.application = BenchApplication(lambda: self.now_s)
        self.store = store or Store()
        self.store.rows.setdefault("statements", {})
        self.store.send_all(self.application.learner.records, self.store.profile)

    def pass_time(self, seconds: float) -> None:
        for _ in range(round(seconds / TICK_S)):
            self.now_s += TICK_S
            self.application.tick(self.now_s)
            self.store.serve(self.application.learner.records)

    def begin(self) -> None:
        self.application.course.receive({"do": "choose", "value": LESSON})
        self.application.lesson.receive({"do": "begin", "value": None})

    def move(self, value: float) -> None:
        self.application.controls.receive({"moves": {"guide_position_um": value}, "number": 1})

    @property
    def attempt(self) -> Attempt:
        session = self.application.bench.session
        assert session is not None
        return session.attempt

    def kept(self) -> Attempt:
        (row,) = self.store.rows["running"].values()
        return attempt_from_json(row["log"], "log")


@pytest.fixture(scope="module")
def left() -> Page:
    """A page whose worker dies after three moves."""
    page = Page()
    page.begin()
    page.pass_time(1.0)
    for value in (3.0, -2.0, 5.5):
        page.move(value)
        page.pass_time(1.0)
    return page


def test_every_event_is_kept_within_a_moment() -> None:
    page = Page()
    page.begin()
    for number in range(6):
        page.move(float(number + 1))
        # Half a second between two times of writing, and the tick in which it is noticed.
        page.pass_time(0.5 + 2 * TICK_S)
        assert page.kept() == page.attempt


def test_a_new_worker_goes_on_with_the_attempt(left: Page) -> None:
    (number,) = left.store.rows["running"]
    again = Page(left.store)
    again.application.on_records("resume", json.dumps({"id": number}))
    again.pass_time(TICK_S)
    assert again.attempt == left.kept() == left.attempt
    assert again.application.bench.recorder.controls == left.application.bench.recorder.controls
    assert again.application.learner.card.notice == ""
    # The link that the page was opened with comes once more, and does not end what goes on; nor does a launch.
    again.application.assignment.receive({"do": "link", "value": "?lesson=rf-envelope&seed=7"})
    assert left.store.profile
    again.application.learner.records.enter(left.store.profile, "Ada")
    again.move(7.0)
    again.pass_time(1.0)
    assert again.attempt.events[:-1] == left.attempt.events
    assert list(left.store.rows["running"]) == [number]
    assert again.kept() == again.attempt


def test_an_attempt_that_is_gone_is_told_of() -> None:
    page = Page()
    page.application.on_records("resume", json.dumps({"id": "nothing"}))
    page.pass_time(TICK_S)
    assert page.application.bench.session is None
    assert "not there to be resumed" in page.application.learner.card.notice


def test_a_held_machine_gives_memory_back_and_goes_on_as_it_was() -> None:
    bench = (application := BenchApplication(lambda: 0.0)).bench
    before = np.array(application.monitor._image(bench.monitor.point))
    assert application.free_memory()
    np.testing.assert_array_equal(application.monitor._image(bench.monitor.point), before)
    # What a machine that runs lost of its time could not be made up for.
    bench.choose_mode("practise")
    assert not application.free_memory()
