"""The site as a plain static host serves it, below a folder: kept for use without a network, installed, and renewed."""

from __future__ import annotations

import functools
import http.server
import re
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, sync_playwright

from bandbench.browser_finder import CHROMIUM_FLAGS
from tests.browser.records_driver import RecordsPage
from tests.browser.watching import START_LIMIT_MS

pytestmark = pytest.mark.browser

FOLDER = "school/bench"
LESSON = "tracking-and-guide"

NOTE_VIOLATIONS = """
globalThis.violations = [];
addEventListener("securitypolicyviolation", ({ violatedDirective, blockedURI }) => {
  violations.push(`${violatedDirective}: ${blockedURI}`);
});
"""


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        """Keep quiet."""


class PlainHost:
    """A static host that knows nothing of the site: one folder below another, no header of ours, no compression."""

    def __init__(self, root: Path) -> None:
        self._handler = functools.partial(_Quiet, directory=str(root))
        self._port = 0
        self.begin()

    def begin(self) -> None:
        """Serve, at the same address as before."""
        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", self._port), self._handler)
        self._server.daemon_threads = True
        self._port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def cut(self) -> None:
        """Be gone: nobody answers at the address."""
        self._server.shutdown()
        self._server.server_close()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self._port}/{FOLDER}/"


@pytest.fixture
def root(built_site: Path, tmp_path: Path) -> Path:
    """Return a host's folder with the site in it."""
    shutil.copytree(built_site, tmp_path / FOLDER, ignore=shutil.ignore_patterns("*.gz"))
    return tmp_path


@pytest.fixture
def host(root: Path) -> Iterator[PlainHost]:
    plain = PlainHost(root)
    yield plain
    plain.cut()


@pytest.fixture
def context(chromium_path: Path, tmp_path: Path) -> Iterator[BrowserContext]:
    # With a profile on disk: what is off the record can be kept, but not installed.
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch_persistent_context(
            tmp_path / "profile",
            executable_path=chromium_path,
            args=list(CHROMIUM_FLAGS),
            viewport={"width": 1400, "height": 900},
            reduced_motion="reduce",
        )
        opened.add_init_script(NOTE_VIOLATIONS)
        yield opened
        opened.close()


def renew(site: Path) -> str:
    """Make another version of a served site, with other words in its page; return its digest."""
    worker = (site / "service-worker.js").read_text("utf-8")
    found = re.search(r'"build": "(\w+)"', worker)
    assert found
    old, new = found[1], found[1][::-1]
    assert old != new
    (site / "service-worker.js").write_text(worker.replace(old, new), "utf-8")
    page = (site / "index.html").read_text("utf-8")
    (site / "index.html").write_text(page.replace(old, new).replace(old[:8], new[:8]), "utf-8")
    return new


def wait_for_state(page: Page, state: str) -> None:
    page.wait_for_selector(f"#copy[data-state={state}]", timeout=START_LIMIT_MS)


def check_policy(page: Page) -> None:
    assert page.evaluate("violations") == []


def test_kept_after_the_first_visit_installed_and_renewed_when_asked(
    root: Path, host: PlainHost, context: BrowserContext
) -> None:
    first = RecordsPage(context, host.address)
    page = first.page
    # Keeping begins once the bench runs, and says so when it is done.
    wait_for_state(page, "kept")
    assert "works without a network" in page.inner_text("#copy")
    assert page.text_content("#copy-spoken") == page.inner_text("#copy-state")
    assert context.new_cdp_session(page).send("Page.getInstallabilityErrors")["installabilityErrors"] == []
    check_policy(page)
    page.close()

    # Without a network: the whole start, a lesson, a control, the console.
    host.cut()
    learner = RecordsPage(context, host.address)
    page = learner.page
    learner.make_learner("Mara Küster")
    page.locator("[data-do=reference]:visible").first.click()
    page.locator(".reference-dialog [data-do=reference_close]").click()
    seed = learner.begin(LESSON)
    learner.set_control("guide_position_um", 21.0)
    learner.bench.until(lambda: '"value": 21.0' in str(learner.store()["running"]), "the move to be kept")
    learner.bench.check_unhurt()
    check_policy(page)
    console = context.new_page()
    console.goto(host.address + "console.html")
    assert "console" in console.inner_text("h1")
    console.wait_for_selector("#link-state:not(:empty)")
    check_policy(console)
    console.close()
    page.bring_to_front()

    # A new version is fetched beside the old one, which goes on untouched until its user says so.
    new = renew(root / FOLDER)
    host.begin()
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    wait_for_state(page, "new")
    assert "A new version is ready" in (page.text_content("#copy-spoken") or "")
    learner.set_control("guide_position_um", 22.0)
    learner.bench.check_unhurt()
    assert page.evaluate("JSON.parse(document.getElementById('site-parts').textContent).build") != new
    page.click("#copy-update")
    page.wait_for_selector(f"#copy:has-text('build {new[:8]}')", timeout=START_LIMIT_MS)
    learner.watched.wait_until_running()
    # The attempt has waited.
    page.locator("[data-do=resume]").click(timeout=START_LIMIT_MS)
    page.locator(".seed", has_text=f"Variation {seed}").wait_for()
    wait_for_state(page, "kept")
    # The old version's store is gone: no page of it is open any more.
    learner.bench.until(lambda: len(page.evaluate("caches.keys()")) == 1, "the old version's end")
    check_policy(page)


def test_a_part_that_cannot_be_kept_is_told_and_the_next_visit_goes_on(
    root: Path, host: PlainHost, context: BrowserContext
) -> None:
    page = context.new_page()
    # A wrong byte in a file that no start asks for.
    console = next((root / FOLDER).rglob("console.mjs"))
    content = console.read_bytes()
    console.write_bytes(content + b"//")
    page.goto(host.address)
    wait_for_state(page, "failed")
    kept = "caches.keys().then(async ([name]) => (await (await caches.open(name)).keys()).length)"
    before = page.evaluate(kept)
    console.write_bytes(content)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.reload()
    wait_for_state(page, "kept")
    assert 0 < before < page.evaluate(kept)
