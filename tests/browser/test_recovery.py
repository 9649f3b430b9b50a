"""The worker dies in the middle of a lesson: the page starts another, and the attempt goes on from where it was kept,
to the same score as if nothing had happened. `python3 bb.py deaths` has it die in every way that a worker can."""

from __future__ import annotations

from tests.browser.outliving import Ongoing
from tests.browser.visitors import Visitors
from tests.browser.watching import START_LIMIT_MS


def test_an_attempt_outlives_its_worker(visitors: Visitors, site_url: str) -> None:
    context = visitors.still()
    attempt = Ongoing(context, site_url)
    page = attempt.page

    # Python meets an error of its own.
    attempt.outlives("exception")

    # There is no more memory: a new worker has memory of its own.
    attempt.outlives("memory")

    # Every new worker dies, too: that is not gone on with for ever, and nothing is lost by it.
    page.page.evaluate("globalThis.workersDie = true")
    attempt.plant("exception")
    page.page.wait_for_selector("#trouble-restart:not([hidden])", timeout=START_LIMIT_MS)
    assert page.page.text_content("#trouble-title") == "The bench has stopped 3 times within a minute."
    assert "is kept in this browser" in (page.page.text_content("#trouble-kept") or "")
    # On a quick machine this one is the third already; on a slow one, one of the new workers is.
    assert "planted" in (page.page.text_content("#trouble-detail") or "")
    page.page.evaluate("globalThis.workersDie = false")
    page.press(id="trouble-restart")
    attempt.mended()

    # The lesson is done, and its log is of one piece.
    attempt.finish()
    context.close()
