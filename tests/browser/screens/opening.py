"""Tours of what is met before and beside the bench: the start, its failures, the guide, German, a new version.

Contents: `tour_start`, `tour_guide`, `tour_german`, `tour_update`.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import Route

from bandbench.build import DEFAULT_OUTPUT
from tests.browser.bench_driver import BenchPage
from tests.browser.screens.camera import ALL, DARK, DESK, NARROW, SMALL, USUAL, Camera
from tests.browser.test_offline import FOLDER, PlainHost, renew, wait_for_state
from tests.browser.watching import WatchedPage

__all__ = ["tour_german", "tour_guide", "tour_start", "tour_update"]

_GUIDES = (("en", "learners"), ("en", "instructors"), ("en", "authors"), ("en", "hosts"), ("de", "learners"))
_CUT = r"failed: .*site-packages|failed: .*views\.pack|Failed to load resource|could not be fetched"


def tour_start(camera: Camera) -> None:
    """The first second, a start that fails, and no JavaScript."""
    watched = WatchedPage(camera.context().new_page(), camera.url)
    held: list[Route] = []
    watched.page.route("**/views.pack", lambda route: held.append(route))
    watched.page.goto(camera.url)
    watched.page.wait_for_timeout(1500)
    camera.take(watched, "start-loading", ALL)
    for route in held:
        route.abort()
    watched.page.locator("#trouble").wait_for()
    camera.take(watched, "start-failed", expected=(_CUT,))
    watched.page.context.close()
    watched = camera.open(java_script_enabled=False)
    camera.take(watched, "start-noscript", judged=False)
    watched.page.context.close()
    if camera.judge:
        watched = WatchedPage(camera.context().new_page(), camera.url)
        watched.page.route(camera.url, _without_scripts)
        watched.page.goto(camera.url)
        camera.take(watched, "start-noscript", ())
        watched.page.context.close()


def _without_scripts(route: Route) -> None:
    """Serve the page as a browser without JavaScript has it, to one whose axe and keyboard need JavaScript."""
    text = route.fetch().text()
    text = re.sub(r"<script\b[^>]*>.*?</script>", "", text, flags=re.DOTALL)
    route.fulfill(body=re.sub(r"</?noscript>", "", text), content_type="text/html; charset=utf-8")


def tour_guide(camera: Camera) -> None:
    """The pages of the guide."""
    watched = WatchedPage(camera.context().new_page(), camera.url)
    for language, name in _GUIDES:
        watched.page.goto(f"{camera.url}guide/{language}/{name}.html")
        camera.take(watched, f"guide-{language}-{name}", USUAL if name == "learners" else (DESK, NARROW))
    camera.print(watched.page, "guide-de-learners")
    watched.page.context.close()


def tour_german(camera: Camera) -> None:
    """The bench, the course and a lesson in German."""
    context = camera.context()
    context.add_init_script("localStorage.setItem('bandbench-language', 'de')")
    watched = WatchedPage(context.new_page(), camera.url)
    watched.start()
    bench = BenchPage(watched)
    camera.take(watched, "german-bench", (DESK, SMALL, NARROW))
    bench.choose_mode("learn")
    camera.take(watched, "german-course", (SMALL, NARROW), zones=("#lesson",))
    watched.page.locator("[data-lesson=tracking-and-guide]").click()
    watched.page.locator("[data-do=begin]").click()
    watched.page.locator(".step-title:not(:empty)").first.wait_for()
    camera.take(watched, "german-lesson", (SMALL, DARK, NARROW), zones=("#lesson",))
    context.close()


def tour_update(camera: Camera) -> None:
    """A copy that is kept, and a new version that is ready, on a plain host."""
    with tempfile.TemporaryDirectory() as root:
        shutil.copytree(DEFAULT_OUTPUT, Path(root) / FOLDER, ignore=shutil.ignore_patterns("*.gz"))
        host = PlainHost(Path(root))
        watched = WatchedPage(camera.context().new_page(), host.address)
        watched.start()
        wait_for_state(watched.page, "kept")
        camera.take(watched, "update-kept", (DESK,), zones=("#copy",))
        renew(Path(root) / FOLDER)
        watched.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        wait_for_state(watched.page, "new")
        camera.take(watched, "update-ready", USUAL, zones=("#copy",))
        watched.page.context.close()
        host.cut()
