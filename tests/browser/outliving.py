"""An attempt that has to outlive the worker it was begun with, and a picture that has to outlive its own.

Contents: `Ongoing`, `MovingPicture`.
"""

from __future__ import annotations

import json
import re
import time

from playwright.sync_api import BrowserContext

from sim.controls import CONTROLS
from sim.training.attempt import ControlMoved, attempt_from_json
from sim.training.deal import deal
from sim.training.solution import solution_moves
from tests.browser.dying_workers import DEATHS, DYING_WORKERS, HURRY, PICTURE_DEATHS, SLOW_PICTURE
from tests.browser.records_driver import LESSONS, RecordsPage, machine_of
from tests.browser.watching import START_LIMIT_MS

__all__ = ["MovingPicture", "Ongoing"]

_LESSON = "tracking-and-guide"
# The worker has stopped to answer by now.
_PLANTED_MS = 1500
# A picture worker starts Python first; one that keeps silent is given up after a hundred looks at the instruments.
_PICTURES_S = 120.0
# More pictures than could have been on their way before.
_SOME_FRAMES = 20


class Ongoing:
    """An attempt that was begun, with all its questions answered and the first of its moves made.

    Parameters
    ----------
    context : BrowserContext
        Where the page is opened.
    url : str
        The site.
    """

    def __init__(self, context: BrowserContext, url: str) -> None:
        self.page = page = RecordsPage(context, url, init_script=DYING_WORKERS + HURRY)
        self.lesson = LESSONS[_LESSON]
        self.seed = page.begin(_LESSON)
        self.moves = solution_moves(self.lesson, deal(self.lesson, self.seed, machine_of(_LESSON)))
        page.answer_all(self.lesson)
        page.set_control(*self.moves[0])
        # What was done is in the browser's store within a moment, while the lesson goes on.
        page.bench.until(lambda: self._kept_moves() == [self.moves[0][0]], "the move to be kept")
        (self.number,) = [row["id"] for row in page.store()["running"]]

    def _kept_moves(self) -> list[str]:
        """Return which controls were moved, by the attempt that is kept while it goes on."""
        rows = self.page.store()["running"]
        events = [event for row in rows for event in attempt_from_json(row["log"], "log").events]
        return [event.control for event in events if isinstance(event, ControlMoved)]

    def plant(self, name: str) -> None:
        """Have the worker die."""
        page = self.page.page
        death = DEATHS[name]
        death.plant(self.page.watched)
        if name == "memory":
            # A picture that moves needs memory for every frame.
            page.locator(".part.monitor button").first.evaluate("(button) => button.click()")
        if death.silent:
            page.wait_for_timeout(_PLANTED_MS)
            page.evaluate("globalThis.hurriedTo = 'silent'")
            page.wait_for_selector("#trouble-restart:not([hidden])", timeout=START_LIMIT_MS)
            assert "has not answered for" in (page.text_content("#trouble-title") or "")
            page.evaluate("globalThis.hurriedTo = 'mending'")

    def outlives(self, name: str) -> None:
        """Have the worker die, wait for the one in its place, and see that everything is as it was."""
        self.plant(name)
        details = self.mended()
        assert re.search(DEATHS[name].told, details), details
        self.is_as_it_was()

    def mended(self) -> str:
        """Wait until the bench was started anew, put the notice away and return its details."""
        page = self.page.page
        page.wait_for_selector("#trouble-away:not([hidden])", timeout=START_LIMIT_MS)
        assert page.text_content("#trouble-title") == "The bench was started anew."
        assert "Your lesson goes on from where it was kept" in (page.text_content("#trouble-action") or "")
        details = page.text_content("#trouble-detail") or ""
        # The browser's log tells of what was planted, as it should; what comes from now on would be something else.
        self.page.watched.complaints.clear()
        self.page.press(id="trouble-away")
        page.locator("#trouble").wait_for(state="hidden")
        page.locator(".seed", has_text="Variation").wait_for()
        page.locator(".part.meters[data-revision]").wait_for()
        return details

    def is_as_it_was(self) -> None:
        """Fail unless variation, control and answers are those of the attempt."""
        page, (control, value) = self.page, self.moves[0]
        assert page.seed == self.seed
        if not page.page.locator(f"[data-control={control}]").first.is_visible():
            page.page.locator(f".stage-button[data-stage={CONTROLS[control].stage}]").click()
        field = page.bench.field(control)
        # A number, whatever its digits: 16 is shown as 16.0.
        page.bench.until(
            lambda: float(field.input_value().replace("\N{MINUS SIGN}", "-")) == value,
            f"{control} as it was set, {value}",
        )
        for question in self.lesson.questions:
            page.page.locator(f"[data-question={question.name}].passed").wait_for()

    def finish(self) -> None:
        """Do the rest of the lesson: it is passed, and its log is of one piece."""
        page = self.page
        for other, right in self.moves[1:]:
            page.set_control(other, right)
        page.submit()
        page.bench.until(lambda: len(page.store()["attempts"]) == 1, "the attempt to be put away")
        (row,) = page.store()["attempts"]
        assert row["id"] == self.number
        assert row["outcome"]["passed"]
        assert page.store()["running"] == []
        attempt = attempt_from_json(row["log"], "log")
        assert attempt.seed == self.seed
        made = [(one.control, one.value) for one in attempt.events if isinstance(one, ControlMoved)]
        assert made == list(self.moves)
        times = [event["at_s"] for event in json.loads(row["log"])["events"]]
        assert times == sorted(times)
        assert page.watched.foreign_requests() == []


class MovingPicture:
    """The moving picture of an attempt, that a picture worker makes.

    Parameters
    ----------
    attempt : Ongoing
        The attempt, on a page that was just opened or whose bench was just started anew: the picture worker is called
        once.
    """

    def __init__(self, attempt: Ongoing) -> None:
        self._attempt = attempt
        self._bench = attempt.page.bench
        self._page = attempt.page.page
        self._said: list[str] = []
        self._page.on("console", self._hear)
        attempt.page.watched.python(SLOW_PICTURE)
        # The picture stands still for who asks for little motion, until it is told to move.
        self._page.locator(".part.monitor button").first.evaluate("(button) => button.click()")
        self._goes_on("helped")
        assert len(self._page.workers) == 2

    def _hear(self, line: object) -> None:
        self._said.append(str(getattr(line, "text", "")))

    def _count(self, kind: str) -> int:
        return int(self._page.evaluate(f"bandbench.statistics.{kind}"))

    def _goes_on(self, kind: str) -> None:
        """Wait for some more pictures."""
        before = self._count(kind)
        self._bench.until(lambda: self._count(kind) > before + _SOME_FRAMES, f"pictures ({kind})", _PICTURES_S)

    def outlives(self, name: str) -> None:
        """Have the picture worker die: the bench's makes all pictures again, and nobody is told of any trouble."""
        death = PICTURE_DEATHS[name]
        death.plant(self._attempt.page.watched, 1)
        end_s = time.monotonic() + _PICTURES_S
        # Not by `until`, which would not bear what Python says of its death.
        while len(self._page.workers) == 2:
            assert time.monotonic() < end_s, "the picture worker was never given up"
            self._page.wait_for_timeout(100)
        self._attempt.page.watched.complaints.clear()
        if death.told:
            said = [line for line in self._said if line.startswith("The picture worker has stopped")]
            assert re.search(death.told, "".join(said)), said
        helped = self._count("helped")
        self._goes_on("frames")
        # Those that were on their way are drawn; no other comes.
        assert self._count("helped") <= helped + 2
        self._bench.check_unhurt()
        self._attempt.is_as_it_was()

    def dies_with(self, name: str) -> None:
        """Have the bench's own worker die while the picture worker makes pictures."""
        beside = self._page.workers[1]
        self._attempt.outlives(name)
        # Where the machine is busy, the new one may have called another by now.
        assert beside not in self._page.workers
