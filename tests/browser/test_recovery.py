"""The worker dies in the middle of a lesson, in each way that a worker can: the page starts another, and the attempt
goes on from where it was kept, to the same score as if nothing had happened."""

from __future__ import annotations

import json

from playwright.sync_api import Browser

from sim.controls import CONTROLS
from sim.training.attempt import ControlMoved, attempt_from_json
from sim.training.deal import deal
from sim.training.solution import solution_moves
from tests.browser.dying_workers import BREAK_PYTHON, DYING_WORKERS
from tests.browser.records_driver import LESSONS, RecordsPage, machine_of
from tests.browser.watching import START_LIMIT_MS, still_context

LESSON = "tracking-and-guide"

# As where the browser has no more memory for a page: not one array more than what is free already.
_REFUSE_MEMORY = """() => {
  WebAssembly.Memory.prototype.grow = () => { throw new RangeError("WebAssembly.Memory.grow(): refused"); };
  self.bandbench.pyodide.runPython(`
import numpy as np
hoard = []
for size in (1 << 22, 1 << 18, 1 << 14):
    try:
        while True:
            hoard.append(np.ones(size))
    except MemoryError:
        pass
`);
}"""


def mended(page: RecordsPage) -> str:
    """Wait until the bench was started anew, put the notice away and return its details."""
    page.page.wait_for_selector("#trouble-away:not([hidden])", timeout=START_LIMIT_MS)
    assert page.page.text_content("#trouble-title") == "The bench was started anew."
    assert "Your lesson goes on from where it was kept" in (page.page.text_content("#trouble-action") or "")
    details = page.page.text_content("#trouble-detail") or ""
    # The browser's log tells of what was planted, as it should; what comes from now on would be something else.
    page.watched.complaints.clear()
    page.press(id="trouble-away")
    page.page.locator("#trouble").wait_for(state="hidden")
    page.page.locator(".seed", has_text="Variation").wait_for()
    page.page.locator(".part.meters[data-revision]").wait_for()
    return details


def test_an_attempt_outlives_its_worker(browser: Browser, site_url: str) -> None:
    context = still_context(browser)
    page = RecordsPage(context, site_url, init_script=DYING_WORKERS)
    seed = page.begin(LESSON)
    lesson = LESSONS[LESSON]
    moves = solution_moves(lesson, deal(lesson, seed, machine_of(LESSON)))
    page.answer_all(lesson)
    control, value = moves[0]
    page.set_control(control, value)
    # What was done is in the browser's store within a moment, while the lesson goes on.
    page.bench.until(lambda: kept_moves(page) == [control], "the move to be kept")
    (number,) = [row["id"] for row in page.store()["running"]]

    # Python meets an error of its own.
    page.watched.python(BREAK_PYTHON)
    assert "ZeroDivisionError: planted" in mended(page)
    assert page.seed == seed
    if not page.page.locator(f"[data-control={control}]").first.is_visible():
        page.page.locator(f".stage-button[data-stage={CONTROLS[control].stage}]").click()
    field = page.bench.field(control)
    # A number, whatever its digits: 16 is shown as 16.0.
    page.bench.until(
        lambda: float(field.input_value().replace("\N{MINUS SIGN}", "-")) == value,
        f"{control} as it was set, {value}",
    )
    for question in lesson.questions:
        page.page.locator(f"[data-question={question.name}].passed").wait_for()

    # There is no more memory: a new worker has memory of its own.
    page.page.workers[0].evaluate(_REFUSE_MEMORY)
    # A picture that moves needs memory for every frame.
    page.page.locator(".part.monitor button").first.evaluate("(button) => button.click()")
    assert "MemoryError" in mended(page)
    assert page.seed == seed

    # Every new worker dies, too: that is not gone on with for ever, and nothing is lost by it.
    page.page.evaluate("globalThis.workersDie = true")
    page.watched.python(BREAK_PYTHON)
    page.page.wait_for_selector("#trouble-restart:not([hidden])", timeout=START_LIMIT_MS)
    assert page.page.text_content("#trouble-title") == "The bench has stopped 3 times within a minute."
    assert "is kept in this browser" in (page.page.text_content("#trouble-kept") or "")
    # On a quick machine this one is the third already; on a slow one, one of the new workers is.
    assert "planted" in (page.page.text_content("#trouble-detail") or "")
    page.page.evaluate("globalThis.workersDie = false")
    page.press(id="trouble-restart")
    mended(page)

    # The lesson is done, and its log is of one piece.
    for other, right in moves[1:]:
        page.set_control(other, right)
    page.submit()
    page.bench.until(lambda: len(page.store()["attempts"]) == 1, "the attempt to be put away")
    (row,) = page.store()["attempts"]
    assert row["id"] == number
    assert row["outcome"]["passed"]
    assert page.store()["running"] == []
    attempt = attempt_from_json(row["log"], "log")
    assert attempt.seed == seed
    assert [(one.control, one.value) for one in attempt.events if isinstance(one, ControlMoved)] == list(moves)
    times = [event["at_s"] for event in json.loads(row["log"])["events"]]
    assert times == sorted(times)
    assert page.watched.foreign_requests() == []
    context.close()


def kept_moves(page: RecordsPage) -> list[str]:
    """Return which controls were moved, by the attempt that is kept while it goes on."""
    events = [event for row in page.store()["running"] for event in attempt_from_json(row["log"], "log").events]
    return [event.control for event in events if isinstance(event, ControlMoved)]
