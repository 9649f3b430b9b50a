"""Tours of the machine: the bench, its stages and monitors, its tape, and what is shown when the worker dies.

Contents: `tour_bench`, `tour_stages`, `tour_monitors`, `tour_deck`, `tour_trouble`.
"""

from __future__ import annotations

from tests.browser.bench_driver import BenchPage
from tests.browser.dying_workers import DEATHS, DYING_WORKERS
from tests.browser.screens.camera import ALL, DARK, DESK, NARROW, USUAL, Camera
from tests.browser.screens.judging import set_window
from tests.browser.watching import START_LIMIT_MS, WatchedPage

__all__ = ["tour_bench", "tour_deck", "tour_monitors", "tour_stages", "tour_trouble"]

# What Python writes of the error that is planted comes line by line.
_PLANTED = (r"^warning: ", r"planted", r"ZeroDivisionError", r"worker")
_REST_S = 120.0
# A screen that has been set otherwise is drawn after the readings, on a busy machine some seconds later.
_DRAWN_MS = 4000


def tour_bench(camera: Camera) -> None:
    """The open bench with nothing chosen, and Practise."""
    bench = camera.bench()
    camera.take(bench.watched, "bench", ALL)
    for part in ("picture", "waveform", "instruments", "services", "path", "transport", "deck", "sound", "log"):
        camera.part(bench.page, f"#{part}", f"zone-{part}")
    bench.choose_mode("practise")
    bench.page.locator("#lesson").get_by_role("button", name="Hide a fault").click()
    bench.page.wait_for_timeout(2000)
    camera.take(bench.watched, "bench-practise", USUAL)
    bench.page.context.close()


def tour_stages(camera: Camera) -> None:
    """Each stage with its controls and why view."""
    bench = camera.bench()
    page = bench.page
    for stage in page.locator(".stage-button").evaluate_all("all => all.map((one) => one.dataset.stage)"):
        bench.open_stage(stage)
        page.wait_for_timeout(900)
        camera.part(page, ".at-stage", f"stage-{stage}", ("light", "dark"))
        camera.part(page, "#waveform", f"stage-{stage}-waveform")
        set_window(page, 320, 900)
        page.wait_for_timeout(300)
        camera.part(page, "#why", f"stage-{stage}-why-320")
        set_window(page, 1440, 900)
        camera.take(bench.watched, f"stage-{stage}", (), zones=("#path", "#controls", "#why"))
    page.context.close()


def tour_monitors(camera: Camera) -> None:
    """Each display of the two monitors, and the caution before pictures that flash are shown as they are."""
    bench = camera.bench()
    page = bench.page
    page.locator("#flashing").select_option("made")
    page.locator(".caution-dialog[open]").wait_for()
    camera.take(bench.watched, "flashing-caution", USUAL, whole=False, zones=(".caution-dialog",))
    page.keyboard.press("Escape")
    bench.open_stage("output")
    waveform = page.locator("#waveform")
    for name in ("Vectorscope", "Spectrum"):
        waveform.get_by_role("button", name=name).click()
        page.wait_for_timeout(_DRAWN_MS)
        camera.part(page, "#waveform", f"waveform-{name.lower()}", ("light", "dark"))
        waveform.get_by_role("button", name=name).click()
    page.locator("#scope-rate").select_option("field")
    page.wait_for_timeout(_DRAWN_MS)
    camera.part(page, "#waveform", "waveform-field")
    page.locator("#scope-rate").select_option("line")
    page.locator("#scope-magnify").select_option(index=1)
    waveform.get_by_role("button", name="One line").click()
    waveform.get_by_role("button", name="Describe").click()
    picture = page.locator("#picture")
    picture.get_by_role("button", name="Head numbers").click()
    page.locator("#picture-magnify").select_option("2")
    page.locator("#picture-compare").select_option(index=2)
    picture.get_by_role("button", name="Describe").click()
    page.wait_for_timeout(_DRAWN_MS)
    camera.take(bench.watched, "monitors", USUAL, zones=("#picture", "#waveform"))
    camera.part(page, "#picture", "picture-compared")
    camera.part(page, "#waveform", "waveform-one-line")
    page.context.close()


def tour_deck(camera: Camera) -> None:
    """A tape that runs, the deck with everything open, refusals, recording made ready; then the machine at rest."""
    bench = camera.bench()
    page = bench.page
    bench.choose_mode("practise")
    bench.until(lambda: "Play" in (page.locator("[data-now=mode]").text_content() or ""), "play", _REST_S)
    page.locator("details.cautions summary").click()
    page.locator("details.handling > summary").click()
    page.locator("[data-act=open_covers]").click()
    page.wait_for_timeout(1500)
    zones = ("#transport", "#deck", "#sound", "#services", "#log")
    camera.take(bench.watched, "deck-running", USUAL, zones=zones)
    for name in ("transport", "deck", "services", "sound"):
        camera.part(page, f"#{name}", f"running-{name}", ("light", "dark"))
    page.locator(":is(#transport, #deck) [data-act=record_arm]").click()
    page.wait_for_timeout(1000)
    camera.part(page, "#deck", "deck-record-refused")
    page.locator("#transport [data-act=stop]").click()
    bench.until(lambda: "at rest" in (page.locator("[data-state-of=covers]").text_content() or ""), "rest", _REST_S)
    page.locator("[data-act=open_covers]").click()
    page.locator(".caution").wait_for()
    page.wait_for_timeout(1000)
    camera.take(bench.watched, "deck-stopped-with-caution", USUAL, zones=("#transport", "#deck"))
    page.keyboard.press("Escape")
    page.context.close()


def tour_trouble(camera: Camera) -> None:
    """A worker that dies and is started anew, and one that dies again and again."""
    watched = WatchedPage(camera.context().new_page(), camera.url)
    page = watched.page
    page.add_init_script(DYING_WORKERS)
    watched.start()
    bench = BenchPage(watched)
    bench.choose_mode("practise")
    DEATHS["exception"].plant(watched)
    page.wait_for_selector("#trouble-away:not([hidden])", timeout=START_LIMIT_MS)
    page.locator("#trouble summary").click()
    camera.take(watched, "worker-mended", (DESK, DARK, NARROW), zones=("#trouble",), expected=_PLANTED)
    page.locator("#trouble-away").click()
    page.evaluate("globalThis.workersDie = true")
    DEATHS["exception"].plant(watched)
    page.wait_for_selector("#trouble-restart:not([hidden])", timeout=START_LIMIT_MS)
    camera.take(watched, "worker-lost", USUAL, expected=_PLANTED)
    page.context.close()
