"""Pictures of every screen, to look at: ``python3 bb.py screens`` (words choose tours: ``bb.py screens bench lesson``).

Each screen is taken at a desk in light and dark, at a smaller one, upright and narrow; what prints, as it prints.
They go to ``tests/output/screens`` (or ``BANDBENCH_SCREENSHOTS``); nothing here judges them.

Contents: `Camera`, `TOURS`, `main`.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Literal
from urllib.parse import quote

from playwright.sync_api import Browser, BrowserContext, Page, Route, sync_playwright

from bandbench.bench.lessons import read_lessons
from bandbench.browser_finder import CHROMIUM_FLAGS, find_chromium
from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.serve import make_server
from tests.browser.bench_driver import BenchPage, screenshot_folder
from tests.browser.records_driver import RecordsPage
from tests.browser.watching import WatchedPage
from tests.class_records import CASE, anna, ben

__all__ = ["TOURS", "Camera", "main"]

# Name, width, height of the window, and the colours asked for.
Look = tuple[str, int, int, Literal["light", "dark"]]
DESK: Look = ("desk", 1440, 900, "light")
DARK: Look = ("desk-dark", 1440, 900, "dark")
SMALL: Look = ("small", 1280, 800, "light")
UPRIGHT: Look = ("upright", 800, 1100, "dark")
NARROW: Look = ("narrow", 360, 740, "light")
ALL = (DESK, DARK, SMALL, UPRIGHT, NARROW)
USUAL = (DESK, DARK, NARROW)
LESSON = "tracking-and-guide"
LESSONS = Path(__file__).parents[2] / "lessons"
# A browser that refuses to keep anything.
REFUSE = """Object.defineProperty(globalThis, "indexedDB", { value: {
  open() { throw new DOMException("refused", "SecurityError"); } } });"""


class Camera:
    """Takes one screen in several looks and leaves the window as it was."""

    def __init__(self, browser: Browser, url: str, folder: Path) -> None:
        self.browser = browser
        self.url = url
        self.folder = folder

    def context(self, **options: Any) -> BrowserContext:
        """Return a new visitor's browser, at a desk, asking for little motion unless told otherwise."""
        options.setdefault("reduced_motion", "reduce")
        return self.browser.new_context(viewport={"width": 1440, "height": 900}, **options)

    def bench(self, query: str = "", **options: Any) -> BenchPage:
        """Return the running bench of a new visitor."""
        watched = WatchedPage(self.context(**options).new_page(), self.url)
        watched.start(query)
        return BenchPage(watched)

    def take(self, page: Page, name: str, looks: tuple[Look, ...] = USUAL, whole: bool = True) -> None:
        """Save one screen in these looks: what is above the fold, and the whole page where ``whole``."""
        # Without JavaScript nothing can be put into the page.
        bars = name != "start-noscript"
        for look, width, height, scheme in looks:
            page.set_viewport_size({"width": width, "height": height})
            page.emulate_media(color_scheme=scheme)
            # Plots and drawings are drawn anew for another window.
            page.wait_for_timeout(500)
            if not whole or look == "desk":
                page.screenshot(path=self.folder / f"{name}--{look}.png")
            if whole:
                # On a picture of the whole page the bar would cover what stands at the window's edge.
                bar = page.add_style_tag(content=".transport-bar { position: static !important; }") if bars else None
                page.screenshot(path=self.folder / f"{name}--{look}-whole.png", full_page=True)
                if bar is not None:
                    bar.evaluate("(style) => style.remove()")
        page.set_viewport_size({"width": 1440, "height": 900})
        page.emulate_media(color_scheme="light")
        print(f"  {name}", flush=True)

    def print(self, page: Page, name: str) -> None:
        """Save what comes out on A4."""
        page.pdf(path=self.folder / f"{name}--print.pdf", format="A4")
        page.emulate_media(media="print")
        page.set_viewport_size({"width": 794, "height": 1123})
        page.wait_for_timeout(300)
        page.screenshot(path=self.folder / f"{name}--print.png", full_page=True)
        page.emulate_media(media="screen")
        page.set_viewport_size({"width": 1440, "height": 900})
        print(f"  {name}, on paper", flush=True)


def tour_start(camera: Camera) -> None:
    """The first second, no JavaScript, and a start that fails."""
    context = camera.context()
    page = context.new_page()
    held: list[Route] = []
    page.route("**/site-packages.pack", lambda route: held.append(route))
    page.goto(camera.url)
    page.wait_for_timeout(1500)
    camera.take(page, "start-loading", ALL)
    for route in held:
        route.abort()
    page.locator("#trouble").wait_for()
    camera.take(page, "start-failed")
    context.close()
    context = camera.context(java_script_enabled=False)
    page = context.new_page()
    page.goto(camera.url)
    camera.take(page, "start-noscript")
    context.close()


def tour_bench(camera: Camera) -> None:
    """The open bench: nothing chosen, practise, each stage with its why view, each display of the waveform monitor."""
    bench = camera.bench()
    page = bench.page
    camera.take(page, "bench", ALL)
    for part in ("picture", "waveform", "instruments", "services", "path", "transport", "deck", "sound", "log"):
        page.locator(f"#{part}").screenshot(path=camera.folder / f"zone-{part}.png")
    bench.choose_mode("practise")
    camera.take(page, "bench-practise")
    for stage in page.locator(".stage-button").evaluate_all("all => all.map((one) => one.dataset.stage)"):
        bench.open_stage(stage)
        page.wait_for_timeout(700)
        for name, width in (("", 1440), ("-320", 320)):
            page.set_viewport_size({"width": width, "height": 900})
            page.wait_for_timeout(300)
            for part in ("controls", "why") if width > 400 else ("why",):
                page.locator(f"#{part}").screenshot(path=camera.folder / f"stage-{stage}-{part}{name}.png")
        page.set_viewport_size({"width": 1440, "height": 900})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.locator("#waveform").screenshot(path=camera.folder / f"stage-{stage}-waveform-{scheme}.png")
        page.emulate_media(color_scheme="light")
    bench.open_stage("output")
    for name in ("Vectorscope", "Spectrum"):
        page.get_by_role("button", name=name).click()
        page.wait_for_timeout(900)
        page.locator("#waveform").screenshot(path=camera.folder / f"waveform-{name.lower()}.png")
        page.get_by_role("button", name=name).click()
    page.locator("#scope-rate").select_option("field")
    page.wait_for_timeout(600)
    page.locator("#waveform").screenshot(path=camera.folder / "waveform-field.png")
    page.get_by_role("button", name="Head numbers").click()
    page.locator("#picture-compare").select_option(index=2)
    page.wait_for_timeout(600)
    page.locator("#picture").screenshot(path=camera.folder / "picture-compared.png")
    page.context.close()


def tour_lesson(camera: Camera) -> None:
    """The course, a lesson, its question, result, debrief, replay, and what they print."""
    bench = camera.bench()
    page = bench.page
    page.locator("[data-mode=learn]").click()
    page.locator(".part.course").wait_for()
    camera.take(page, "course", ALL)
    bench.begin_lesson(LESSON)
    camera.take(page, "lesson-shown", ALL)
    bench.open_stage("tape")
    bench.control("tracking_phase_deg").focus()
    for _ in range(3):
        bench.press("PageUp")
    page.locator("[data-do=hint]").click()
    page.locator("[data-do=check]").click()
    page.locator("[data-do=result]").click()
    page.locator("#result h3.outcome").wait_for()
    page.locator("#root-result-plots canvas").first.wait_for()
    page.wait_for_timeout(2000)
    camera.take(page, "result", ALL)
    camera.print(page, "result")
    page.locator("[data-do=paper_alignment]").first.click()
    page.locator("#paper h1").wait_for()
    camera.take(page, "paper-alignment")
    camera.print(page, "paper-alignment")
    page.locator("[data-do=close_sheet]").click()
    page.locator("[data-do=replay]").click()
    page.locator("#replay").wait_for()
    camera.take(page, "replay")
    page.locator("[data-do=replay_leave]").click()
    page.locator("[data-do=close]").click()
    bench.choose_mode("learn")
    for lesson, name in ((CASE, "question"), ("final-assessment", "assessment")):
        page.evaluate("""() => { const part = document.querySelector('[data-root=course]');
          const open = (node) => { for (const one of node.querySelectorAll('*')) {
            if (one.tagName === 'DETAILS') one.open = true; if (one.shadowRoot) open(one.shadowRoot); } };
          open(part); }""")
        entry = page.locator(f"[data-lesson={lesson}]")
        entry.click()
        page.wait_for_timeout(1500)
        camera.take(page, f"{name}-briefing", (DESK, NARROW))
        if name == "assessment":
            continue
        page.locator("[data-do=begin]").click()
        page.locator(".seed", has_text="Variation").wait_for()
        page.wait_for_timeout(1000)
        camera.take(page, name)
        bench.choose_mode("learn")
    page.context.close()


def tour_reference(camera: Camera) -> None:
    """The reference pages, each open."""
    bench = camera.bench()
    page = bench.page
    page.locator("[data-mode=learn]").click()
    page.locator("[data-do=reference]").click()
    page.locator("details[data-page]").first.wait_for()
    camera.take(page, "reference", USUAL, whole=False)
    names = page.locator("details[data-page]").evaluate_all("all => all.map((one) => one.dataset.page)")
    for name in names:
        page.locator("details[data-page][open] summary").evaluate_all("all => all.forEach((one) => one.click())")
        page.locator(f"details[data-page={name}] summary").click()
        page.wait_for_timeout(300)
        camera.take(page, f"reference-{name}", (DESK, NARROW), whole=False)
    camera.print(page, "reference")
    page.context.close()


def tour_learner(camera: Camera) -> None:
    """Records and their errors, a lesson of one's own, links and assignments."""
    context = camera.context()
    records = RecordsPage(context, camera.url)
    page = records.page
    records.make_learner("Robin Vale")
    camera.take(page, "records")
    records.give_file("broken.json", b"{ not JSON")
    page.wait_for_timeout(1500)
    camera.take(page, "records-import-refused")
    records.to_course()
    page.locator(".authoring input[type=file]").evaluate("input => { input.closest('details').open = true; }")
    file = page.locator(".authoring input[type=file]")
    text = (LESSONS / f"{LESSON}.toml").read_text("utf-8")
    file.set_input_files({"name": "wrong.toml", "mimeType": "", "buffer": text.replace('id = "', 'x = "', 1).encode()})
    page.locator(".authoring .problems").wait_for()
    camera.take(page, "authoring-refused")
    file.set_input_files({"name": "mine.toml", "mimeType": "", "buffer": text.encode()})
    page.locator("[data-do=preview]").wait_for()
    camera.take(page, "authoring-good", (DESK,))
    records.press(text="Set lessons, or open an assignment")
    records.press(text="Make a link for others")
    page.locator("#set-lesson").select_option("rf-envelope")
    page.wait_for_timeout(800)
    camera.take(page, "link-form")
    context.close()
    context = camera.context()
    records = RecordsPage(context, camera.url, query=f"?title={quote('Week 3')}&lessons={LESSON}:7:hints-1,rf-envelope")
    camera.take(records.page, "assignment")
    context.close()
    context = camera.context()
    records = RecordsPage(context, camera.url, init_script=REFUSE, query="?lesson=none-such&seed=7")
    camera.take(records.page, "link-refused-and-no-storage")
    context.close()


def tour_classroom(camera: Camera) -> None:
    """Demonstrate, the console beside it, and the class report, empty and filled."""
    bench = camera.bench()
    page = bench.page
    bench.choose_mode("demonstrate")
    page.locator("[data-do=console]").wait_for()
    camera.take(page, "demonstrate")
    with page.context.expect_page() as opened:
        page.keyboard.press("Alt+Shift+K")
    console = opened.value
    console.wait_for_selector("body[data-state=connected]", timeout=60_000)
    console.keyboard.press("g")
    console.locator("#faults").select_option("clogged_head_3")
    console.keyboard.press("Escape")
    console.keyboard.press("p")
    console.wait_for_timeout(2500)
    camera.take(console, "console", ALL)
    page.bring_to_front()
    camera.take(page, "demonstrate-planted", (DESK, DARK))
    console.close()
    page.locator("[data-do=report]").first.click()
    page.locator(".report-dialog").wait_for()
    camera.take(page, "report-empty", whole=False)
    files: list[Any] = []
    for name, data in (("anna.json", anna()), ("ben.json", ben())):
        data["attempts"] = [row for row in data["attempts"] if row["lesson"] == CASE]
        files.append({"name": name, "mimeType": "application/json", "buffer": json.dumps(data).encode()})
    files.append({"name": "broken.json", "mimeType": "application/json", "buffer": b"{"})
    page.locator("#report-files").set_input_files(files)
    page.locator("[data-person]").first.wait_for(timeout=240_000)
    page.wait_for_timeout(2000)
    camera.take(page, "report", whole=False)
    camera.print(page, "report")
    page.context.close()


def tour_transport(camera: Camera) -> None:
    """A machine that runs, its deck with the cautions open, sound and services; then the worker fails."""
    bench = camera.bench()
    page = bench.page
    bench.choose_mode("practise")
    page.locator("details.cautions summary").click()
    page.locator("details.handling summary").first.click()
    page.locator("#deck").scroll_into_view_if_needed()
    page.wait_for_timeout(800)
    for name in ("transport", "deck", "services", "sound"):
        page.locator(f"#{name}").screenshot(path=camera.folder / f"running-{name}.png")
    page.locator("[data-act=stop]").first.click()
    page.wait_for_timeout(4000)
    camera.take(page, "transport-stopped")
    bench.watched.python(
        "from bandbench.bench.application import BenchApplication\n"
        "def broken(self): raise ZeroDivisionError('planted')\n"
        "BenchApplication.next_frame = broken"
    )
    page.locator("#trouble").wait_for(timeout=60_000)
    camera.take(page, "trouble")
    page.context.close()


TOURS: Mapping[str, Callable[[Camera], None]] = {
    name.removeprefix("tour_"): tour
    for name, tour in (
        ("tour_start", tour_start),
        ("tour_bench", tour_bench),
        ("tour_lesson", tour_lesson),
        ("tour_reference", tour_reference),
        ("tour_learner", tour_learner),
        ("tour_classroom", tour_classroom),
        ("tour_transport", tour_transport),
    )
}
"""Every tour by its name, in the order they are taken."""


def main(words: list[str]) -> int:
    """Take the tours that the words name, or all; return 1 if one of them could not be ended."""
    unknown = sorted(set(words) - set(TOURS))
    if unknown:
        print(f"there is no tour {', '.join(unknown)}; the tours are: {', '.join(TOURS)}", file=sys.stderr)
        return 2
    if not is_current(DEFAULT_OUTPUT):
        build_site(DEFAULT_OUTPUT)
    read_lessons()
    folder = screenshot_folder() / "screens"
    folder.mkdir(exist_ok=True)
    server = make_server(DEFAULT_OUTPUT)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    failed = False
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=find_chromium(), args=list(CHROMIUM_FLAGS))
        camera = Camera(chromium, f"http://127.0.0.1:{server.server_address[1]}/", folder)
        for name, tour in TOURS.items():
            if words and name not in words:
                continue
            started = time.monotonic()
            try:
                tour(camera)
            # A screen that has changed must not keep the other tours from being taken.
            except Exception as error:
                failed = True
                print(f"{name} stopped: {error}", file=sys.stderr)
            print(f"{name}: {time.monotonic() - started:.0f} s", flush=True)
        chromium.close()
    server.shutdown()
    print(f"Screens are in {folder}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
