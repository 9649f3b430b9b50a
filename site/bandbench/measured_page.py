"""The built site in a Chromium that is measured: served, opened, asked what Python in its worker knows.

Contents: `MeasurementError`, `served`, `browser_context`, `open_page`, `python`.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, Playwright

from bandbench.browser_finder import CHROMIUM_FLAGS, find_chromium
from bandbench.serve import make_server
from sim.errors import BandbenchError

__all__ = ["MeasurementError", "browser_context", "open_page", "python", "served"]

START_LIMIT_MS = 240_000


class MeasurementError(BandbenchError):
    """Something to be measured does not work."""


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Serve a built site and return its address."""
    server = make_server(folder)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()
    server.server_close()


@contextmanager
def browser_context(playwright: Playwright, profile: Path) -> Iterator[BrowserContext]:
    """Start a Chromium with a profile on disk: what it compiled is kept for the next visit, as a person's is."""
    context = playwright.chromium.launch_persistent_context(
        profile,
        executable_path=find_chromium(),
        args=list(CHROMIUM_FLAGS),
        viewport={"width": 1400, "height": 900},
        bypass_csp=True,
    )
    yield context
    context.close()


def open_page(context: BrowserContext, address: str) -> Page:
    """Open a page and wait until it runs; MeasurementError with the page's own words if it does not start."""
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector(
        "body:is([data-state=running], [data-state=failed])", state="attached", timeout=START_LIMIT_MS
    )
    if page.evaluate("document.body.dataset.state") != "running":
        raise MeasurementError(f"{address} did not start: {page.inner_text('body')}")
    return page


def python(page: Page, code: str) -> Any:
    """Return what Python code evaluates to inside the page's worker."""
    return page.workers[0].evaluate("(code) => self.bandbench.pyodide.runPython(code)", code)
