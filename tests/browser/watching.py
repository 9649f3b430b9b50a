"""A page of the site that notes everything it should not see."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page

__all__ = ["KEEP_NO_COPY", "START_LIMIT_MS", "WatchedPage", "still_context"]

START_LIMIT_MS = 240_000
"""Loading takes some 10 s on an idle machine of two cores; a busy one gets its time."""


KEEP_NO_COPY = "delete Navigator.prototype.serviceWorker;"
"""A browser without service workers keeps no copy of the site."""


def still_context(browser: Browser, keeps_copy: bool = False, **options: Any) -> BrowserContext:
    """Return a new visitor's browser, of somebody who asks for little motion.

    The bench's picture follows the controls there and else stands still until a test lets it run: a moving one takes a
    core of the machine for as long as its page is open, and every answer of the page waits for the frame in the making.
    Nor does it keep a copy of the site for use without a network, unless that is asked for: to fetch and store every
    file once more takes a fifth of a start, for each test that begins with a new visitor.
    """
    context = browser.new_context(viewport={"width": 1400, "height": 900}, reduced_motion="reduce", **options)
    if not keeps_copy:
        context.add_init_script(KEEP_NO_COPY)
    return context


@dataclass
class WatchedPage:
    """A page, the requests it made and every complaint of its console."""

    page: Page
    url: str
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    # Other origins that the page may talk to; that one of them fails is no fault of the page's.
    others: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        self.page.on("console", lambda line: self._hear(line.type, line.text, line.location["url"]))
        self.page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("requestfailed", lambda request: self._hear("failed", request.url, request.url))

    def _hear(self, kind: str, text: str, address: str) -> None:
        if not (self.others and address.startswith(self.others)):
            self._note(kind, text)

    def _note(self, kind: str, text: str) -> None:
        if kind in {"error", "warning", "failed"}:
            self.complaints.append(f"{kind}: {text}")

    def start(self, query: str = "") -> None:
        """Open the site and wait for its first picture."""
        self.page.goto(self.url + query)
        self.wait_until_running()

    def wait_until_running(self) -> None:
        """Wait for the first picture; a failure that the page tells of fails the test with its words."""
        self.page.wait_for_selector("body:not([data-state='loading'])", timeout=START_LIMIT_MS)
        state = self.page.evaluate("document.body.dataset.state")
        assert state == "running", self.page.inner_text("#trouble") + self.page.inner_text("#trouble-detail")

    def foreign_requests(self) -> list[str]:
        """Return the requests to anything but the site's own origin."""
        # Which blob: it is does not tell below which folder of the origin it was made.
        own = (self.url, f"blob:{'/'.join(self.url.split('/')[:3])}/", "data:", *self.others)
        return [address for address in self.requests if not address.startswith(own)]

    def python(self, code: str) -> object:
        """Return what Python code evaluates to inside the worker."""
        worker = self.page.workers[0]
        return worker.evaluate("(code) => self.bandbench.pyodide.runPython(code)", code)
