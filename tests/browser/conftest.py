"""The built site, served for the tests that drive it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.measured_page import served
from tests.browser.watching import WatchedPage, still_context


@pytest.fixture(scope="session")
def built_site() -> Path:
    """Return the site built from the checkout as it is: what ``bandbench serve`` would serve."""
    if not is_current(DEFAULT_OUTPUT):
        build_site(DEFAULT_OUTPUT)
    return DEFAULT_OUTPUT


@pytest.fixture(scope="session")
def site_url(built_site: Path) -> Iterator[str]:
    """Return the address of the served site."""
    with served(built_site) as address:
        yield address


RECORD_PROGRESS = """
globalThis.progressSeen = [];
document.addEventListener("DOMContentLoaded", () => {
  const bar = document.getElementById("loading-bar");
  const step = document.getElementById("loading-step");
  // An empty page in between has none.
  if (step === null) return;
  new MutationObserver(() => progressSeen.push([bar.value, bar.max, step.textContent]))
    .observe(step, { childList: true });
});
"""


@pytest.fixture
def watched_page(browser: Browser, site_url: str) -> Iterator[WatchedPage]:
    """Return a fresh page with an empty cache, not yet opened."""
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    yield WatchedPage(context.new_page(), site_url)
    context.close()


# A browser with two pages open may stop to draw either, whichever is in front: each test has one page at a time.


@pytest.fixture(scope="module")
def running_page(browser: Browser, site_url: str) -> Iterator[WatchedPage]:
    """Return one page with the bench running, first visited with an empty cache, shared by a module's tests."""
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    watched = WatchedPage(context.new_page(), site_url)
    watched.page.add_init_script(RECORD_PROGRESS)
    watched.start()
    yield watched
    context.close()


@pytest.fixture(scope="module")
def still_page(browser: Browser, site_url: str) -> Iterator[WatchedPage]:
    """Return one still page with the bench, shared by a module's tests."""
    context = still_context(browser)
    watched = WatchedPage(context.new_page(), site_url)
    watched.start()
    yield watched
    context.close()
