"""The built site, served for the tests that drive it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Playwright

from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.measured_page import served
from tests.browser.visitors import SITE, Visitors, compiled_site, to_site
from tests.browser.watching import WatchedPage

# Beside what else tests leave behind; whoever comes next, with the same site, takes it from there.
COMPILED = Path(__file__).parents[1] / "output" / "compiled"


@pytest.fixture(scope="session")
def built_site() -> Path:
    """Return the site built from the checkout as it is: what ``bandbench serve`` would serve."""
    if not is_current(DEFAULT_OUTPUT):
        build_site(DEFAULT_OUTPUT)
    return DEFAULT_OUTPUT


@pytest.fixture(scope="session")
def site_port(built_site: Path) -> Iterator[int]:
    """Return the port at which the site is served."""
    with served(built_site) as address:
        port = urlsplit(address).port
        assert port is not None
        yield port


@pytest.fixture(scope="session")
def site_url() -> str:
    """Return the address of the served site, for the browsers of `browser` and `visitors`."""
    return SITE


@pytest.fixture(scope="module")
def browser(playwright: Playwright, chromium_path: Path, site_port: int) -> Iterator[Browser]:
    """Return a headless Chromium whose visitors have never been anywhere."""
    chromium = playwright.chromium.launch(executable_path=chromium_path, args=to_site(site_port))
    yield chromium
    chromium.close()


@pytest.fixture(scope="module")
def visitors(
    playwright: Playwright,
    chromium_path: Path,
    site_port: int,
    built_site: Path,
    tmp_path_factory: pytest.TempPathFactory,
) -> Visitors:
    """Return what makes new visitors of the site whose browsers need not compile its runtime anew."""
    compiled = compiled_site(playwright, chromium_path, site_port, built_site, COMPILED)
    return Visitors(playwright, chromium_path, site_port, compiled, tmp_path_factory.mktemp("visitors"))


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
def still_page(visitors: Visitors, site_url: str) -> Iterator[WatchedPage]:
    """Return one still page with the bench, shared by a module's tests."""
    context = visitors.still()
    watched = WatchedPage(context.new_page(), site_url)
    watched.start()
    yield watched
    context.close()
