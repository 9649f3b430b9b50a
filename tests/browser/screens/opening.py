"""Tours of what is met before and beside the bench: the start, its failures, the guide, German, a new version.

Contents: `tour_start`, `tour_guide`, `tour_german`, `tour_update`.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import BrowserContext, Route

from bandbench.build import DEFAULT_OUTPUT
from sim.training.deal import deal
from sim.training.solution import solution_moves
from tests.browser.records_driver import LESSONS, RecordsPage, machine_of
from tests.browser.screens.camera import ALL, DARK, DESK, NARROW, SMALL, USUAL, Camera
from tests.browser.test_offline import FOLDER, PlainHost, renew, wait_for_state
from tests.browser.watching import WatchedPage

__all__ = ["tour_german", "tour_guide", "tour_start", "tour_update"]

_GUIDES = (("en", "learners"), ("en", "instructors"), ("en", "authors"), ("en", "hosts"), ("de", "learners"))
_LESSON = "tracking-and-guide"
_ASSESSMENT = "final-assessment"
_PASSED = "Ergebnis: bestanden"
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
    """The bench and the course in German, a lesson from its start to its score, the reference, what cautions say."""
    records = RecordsPage(_german(camera), camera.url)
    bench, page, watched = records.bench, records.page, records.watched
    camera.take(watched, "german-bench", (DESK, SMALL, NARROW))
    page.locator("#flashing").select_option("made")
    page.locator(".caution-dialog[open]").wait_for()
    camera.take(watched, "german-flashing-caution", USUAL, whole=False, zones=(".caution-dialog",))
    page.keyboard.press("Escape")
    bench.choose_mode("learn")
    camera.take(watched, "german-course", (SMALL, NARROW), zones=("#lesson",))
    page.locator("[data-do=reference]").click()
    page.locator("details[data-page]").first.wait_for()
    page.locator("details[data-page] summary").first.click()
    page.wait_for_timeout(300)
    camera.take(watched, "german-reference", USUAL, whole=False)
    page.keyboard.press("Escape")
    page.locator(f"[data-lesson={_LESSON}]").click()
    page.locator("[data-do=begin]").click()
    page.locator(".step-title:not(:empty)").first.wait_for()
    camera.take(watched, "german-lesson", (SMALL, DARK, NARROW), zones=("#lesson",))
    page.locator("[data-do=hint]").click()
    lesson = LESSONS[_LESSON]
    records.answer_all(lesson)
    for control, value in solution_moves(lesson, deal(lesson, records.seed, machine_of(_LESSON))):
        records.set_control(control, value)
    bench.until_read()
    camera.take(watched, "german-lesson-solved", USUAL)
    records.press(do="check")
    page.locator("#result .outcome").first.wait_for()
    said = page.locator("#result .outcome").first.text_content()
    if said != _PASSED:
        raise AssertionError(f"the result in German reads {said!r}, not {_PASSED!r}")
    plots = page.locator("#root-result-plots canvas.bk-layer")
    bench.until(lambda: plots.count() >= 4, "the plots")
    camera.take(watched, "german-debrief", USUAL, zones=("#result",))
    camera.print(page, "german-debrief")
    page.context.close()
    records = RecordsPage(_german(camera), camera.url, query=f"?lesson={_ASSESSMENT}&seed=7")
    records.page.locator("[data-do=begin]").click()
    records.page.locator(".seed:not(:empty)").wait_for()
    records.bench.until_read()
    records.page.wait_for_timeout(2000)
    camera.take(records.watched, "german-assessment", USUAL, zones=("#lesson",))
    records.page.context.close()


def _german(camera: Camera) -> BrowserContext:
    """Return the browser of a visitor who has chosen German."""
    context = camera.context()
    context.add_init_script("localStorage.setItem('bandbench-language', 'de')")
    return context


def tour_update(camera: Camera) -> None:
    """A copy that is kept, and a new version that is ready, on a plain host."""
    with tempfile.TemporaryDirectory() as root:
        shutil.copytree(DEFAULT_OUTPUT, Path(root) / FOLDER, ignore=shutil.ignore_patterns("*.gz"))
        host = PlainHost(Path(root))
        watched = WatchedPage(camera.context().new_page(), host.address)
        watched.start()
        wait_for_state(watched.page, "kept")
        camera.take(watched, "update-kept", (DESK,), zones=("#copy",))
        german = WatchedPage(_german(camera).new_page(), host.address)
        german.start()
        wait_for_state(german.page, "kept")
        renew(Path(root) / FOLDER)
        for one, name in ((german, "german-update-ready"), (watched, "update-ready")):
            one.page.bring_to_front()
            one.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
            wait_for_state(one.page, "new")
            camera.take(one, name, USUAL, zones=("#copy",))
            one.page.context.close()
        host.cut()
