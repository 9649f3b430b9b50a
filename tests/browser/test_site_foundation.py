"""The site in a real Chromium: it loads from its own origin alone, moves, obeys, and says what went wrong."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Callable, Iterator

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page

from bandbench.bench.lessons import read_course, read_lessons
from tests.browser.watching import START_LIMIT_MS, WatchedPage

pytestmark = pytest.mark.browser

UNNEEDED = {
    "PIL",
    "contourpy",
    "linkify_it",
    "markdown",
    "markdown_it",
    "micropip",
    "nh3",
    "panel_material_ui",
    "pandas",
    "requests",
    "tomllib",
    "tornado",
    "tqdm",
    "xyzservices",
}
"""What Panel and Bokeh import on a server, megabytes of it, and a parser of the course's sources: it does without."""

CHANGE_LIMIT_S = 90.0
"""A busy machine gets its time; nothing waits longer than it must."""

# Mean of the grey levels, and mean difference of neighbours along the lines.
PICTURE_LEVELS = """() => {
  const canvas = document.querySelector("canvas[data-image=picture]");
  const context = new OffscreenCanvas(canvas.width, canvas.height).getContext("2d", { willReadFrequently: true });
  context.drawImage(canvas, 0, 0);
  const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
  let sum = 0, steps = 0, count = 0;
  for (let i = 0; i < data.length - 4; i += 4) {
    sum += data[i]; steps += Math.abs(data[i] - data[i + 4]); count += 1;
  }
  return [sum / count, steps / count];
}"""


def wait_for(found: Callable[[], bool], what: str) -> None:
    """Wait until a condition holds (the page's policy forbids Playwright's own way, which evaluates text)."""
    give_up_s = time.monotonic() + CHANGE_LIMIT_S
    while not found():
        assert time.monotonic() < give_up_s, f"not within {CHANGE_LIMIT_S} s: {what}"
        time.sleep(0.05)


def levels(page: Page) -> tuple[float, float]:
    mean, roughness = page.evaluate(PICTURE_LEVELS)
    return mean, roughness


def trouble(page: Page) -> str:
    """Return the notice that the page shows instead of the bench."""
    page.wait_for_selector("#trouble:not([hidden])", timeout=START_LIMIT_MS)
    return page.inner_text("#trouble")


@pytest.fixture(scope="class")
def loaded_again(browser: Browser, site_url: str) -> Iterator[tuple[WatchedPage, str, str]]:
    """Return a page that runs after a part was missing at first, and what it had said of that: words and detail."""
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    watched = WatchedPage(context.new_page(), site_url)
    watched.page.route("**/python_stdlib.zip", lambda route: route.fulfill(status=503))
    watched.page.goto(watched.url)
    said, detail = trouble(watched.page), watched.page.text_content("#trouble-detail") or ""
    watched.page.unroute_all()
    watched.page.click("#trouble-reload")
    watched.wait_until_running()
    yield watched, said, detail
    context.close()


# First of all, before `running_page` is opened: its picture moves, and would take a core for as long as others wait.
class TestTrouble:
    @pytest.mark.parametrize(
        "part",
        [
            "recorder.pack",
            "views.pack",
            "pyodide.asm.wasm",
            "pyodide.asm.mjs",
            "python_stdlib.zip",
            "worker.mjs",
            "bokeh.min.js",
        ],
    )
    def test_a_part_that_cannot_be_fetched(self, watched_page: WatchedPage, part: str) -> None:
        watched_page.page.route(f"**/{part}", lambda route: route.abort())
        watched_page.page.goto(watched_page.url)
        text = trouble(watched_page.page)
        assert "could not be fetched" in text
        assert "nothing is lost" in text
        assert part in (watched_page.page.text_content("#trouble-detail") or "")

    def test_no_webassembly(self, watched_page: WatchedPage) -> None:
        watched_page.page.add_init_script("delete globalThis.WebAssembly")
        watched_page.page.goto(watched_page.url)
        assert "cannot run the bench" in trouble(watched_page.page)
        assert "WebAssembly" in (watched_page.page.text_content("#trouble-detail") or "")

    def test_no_module_workers(self, watched_page: WatchedPage) -> None:
        watched_page.page.add_init_script(
            "globalThis.Worker = class { constructor() {} terminate() {} postMessage() {} addEventListener() {} }"
        )
        watched_page.page.goto(watched_page.url)
        assert "module workers" in (
            (trouble(watched_page.page) and watched_page.page.text_content("#trouble-detail")) or ""
        )

    def test_loading_again_goes_on_once_the_part_is_there(self, loaded_again: tuple[WatchedPage, str, str]) -> None:
        _, said, detail = loaded_again
        assert "could not be fetched" in said
        assert "503" in detail

    def test_a_worker_that_does_not_answer_and_one_that_fails(self, loaded_again: tuple[WatchedPage, str, str]) -> None:
        watched_page, *_ = loaded_again
        # The page notices after 20 to 25 s; the worker waits for twice as long, and takes nothing of the machine.
        watched_page.page.workers[0].evaluate(
            """() => {
              const memory = new WebAssembly.Memory({ initial: 1, maximum: 1, shared: true });
              setTimeout(() => Atomics.wait(new Int32Array(memory.buffer), 0, 0, 50000), 0);
            }"""
        )
        assert "has not answered for" in trouble(watched_page.page)
        # It was only busy: the notice goes away.
        watched_page.page.wait_for_selector("#trouble", state="hidden", timeout=START_LIMIT_MS)

        watched_page.python(
            "from bandbench.bench.application import BenchApplication\n"
            "def broken(self): raise ZeroDivisionError('planted')\n"
            "BenchApplication.next_frame = broken"
        )
        # One that fails is started anew, and the page says so; `test_recovery.py` sees what becomes of a lesson.
        assert "started anew" in trouble(watched_page.page)
        assert "planted" in (watched_page.page.text_content("#trouble-detail") or "")


class TestLoading:
    def test_cold_start_is_clean_and_asks_its_own_origin_only(self, running_page: WatchedPage) -> None:
        assert running_page.foreign_requests() == []
        assert running_page.complaints == []
        assert len(running_page.requests) > 15
        mean, roughness = levels(running_page.page)
        assert 10 < mean < 245
        assert roughness > 5
        assert not running_page.page.is_visible("#loading")
        assert not running_page.page.is_visible("#picture-still")

    def test_the_page_reads_before_any_script_runs(self, browser: Browser, site_url: str) -> None:
        context = browser.new_context(java_script_enabled=False)
        page = context.new_page()
        page.goto(site_url)
        lessons = read_lessons()
        lesson = lessons[read_course(lessons).lessons[0]]
        assert lesson.title in page.inner_text("#lesson-text")
        assert page.is_visible("#picture-still")
        assert page.locator("#picture-still").evaluate("image => image.naturalHeight") == 486
        assert "needs JavaScript" in page.inner_text("#loading")
        context.close()

    def test_progress_moves_forward_by_known_steps_in_words_too(self, running_page: WatchedPage) -> None:
        seen = running_page.page.evaluate("progressSeen")
        values = [value for value, _, _ in seen]
        assert values == sorted(values)
        assert {total for _, total, _ in seen} == {5}
        steps = [re.match(r"Step (\d) of 5: (.+)", text) for _, _, text in seen]
        assert all(steps)
        numbers = [int(step[1]) for step in steps if step]
        assert numbers == sorted(numbers)
        # A step begins where the one before ends; the download, all of it there, may be seen at its end.
        assert all(number - 1 <= value <= number for number, value in zip(numbers, values, strict=True))
        # The download counts bytes: it is seen part done.
        assert any(0 < value < 1 for value in values)
        assert len(values) >= 6

    def test_second_visit_takes_the_files_from_the_cache(self, running_page: WatchedPage) -> None:
        page = running_page.page
        # Another visit, not the same one loaded anew.
        page.goto("about:blank")
        running_page.start()
        taken = page.evaluate("performance.getEntriesByType('resource').map(entry => entry.transferSize)")
        assert len(taken) > 10
        assert sum(taken) == 0

    def test_no_module_is_imported_that_the_bench_does_without(self, running_page: WatchedPage) -> None:
        imported = running_page.python("import sys, json; json.dumps(sorted({n.split('.')[0] for n in sys.modules}))")
        assert isinstance(imported, str)
        found = set(re.findall(r'"(\w+)"', imported))
        assert {"panel", "bokeh", "numpy", "sim"} <= found
        assert found & UNNEEDED == set()


# How far apart the kernels and NumPy are at the most: random RF's phase steps, in radians, and random lines behind a
# filter that moves them.
KERNELS_APART = """
import numpy as np
from sim.arithmetic import Arithmetic, arithmetic
chance = np.random.default_rng(1)
rf = chance.standard_normal((4001, 2)).astype(np.float32).view(np.complex64).ravel()
lines, late = chance.standard_normal((21, 1024)).astype(np.float32), chance.standard_normal(21)
float(max(
    np.abs(arithmetic().phase_steps(rf, 1.0, 0.0) - Arithmetic().phase_steps(rf, 1.0, 0.0)).max(),
    np.abs(arithmetic().filter_lines(lines, None, late) - Arithmetic().filter_lines(lines, None, late)).max(),
))
"""


class TestRunning:
    def test_the_picture_moves(self, running_page: WatchedPage) -> None:
        # A browser draws no frames of a page that it takes to stand behind another, which may be closed by now.
        running_page.page.bring_to_front()
        frames = "bandbench.statistics.frames"
        first = running_page.page.evaluate(frames)
        wait_for(lambda: running_page.page.evaluate(frames) >= first + 5, "five frames")

    def test_the_frame_is_worked_out_by_the_kernels(self, running_page: WatchedPage) -> None:
        worker = running_page.page.workers[0]
        used = "from sim.arithmetic import arithmetic; type(arithmetic()).__name__"
        assert worker.evaluate(f"bandbench.pyodide.runPython({used!r})") == "KernelArithmetic"
        # The same numbers as NumPy's, in the browser too.
        apart = worker.evaluate(f"bandbench.pyodide.runPython({KERNELS_APART!r})")
        assert 0.0 < apart < 1e-4

    def test_a_picture_worker_helps_and_the_bench_goes_on_when_it_dies(self, running_page: WatchedPage) -> None:
        page = running_page.page
        # What the bench asks for itself where its picture is too slow.
        page.workers[0].evaluate("self.postMessage({ type: 'help', wanted: true })")
        helped, frames = "bandbench.statistics.helped", "bandbench.statistics.frames"
        wait_for(lambda: page.evaluate(helped) >= 5, "pictures of the picture worker")
        mean, roughness = levels(page)
        assert 10 < mean < 245
        assert roughness > 5
        assert len(page.workers) == 2
        used = "from sim.arithmetic import arithmetic; type(arithmetic()).__name__"
        assert page.workers[1].evaluate(f"bandbench.pyodide.runPython({used!r})") == "KernelArithmetic"
        page.workers[1].evaluate("void setTimeout(() => { throw new Error('the end'); })")
        # Asking the page lets Playwright hear of it.
        wait_for(lambda: page.evaluate("true") and len(page.workers) == 1, "the end of the picture worker")
        made, first = page.evaluate(f"[{helped}, {frames}]")
        wait_for(lambda: page.evaluate(frames) >= first + 5, "five frames without it")
        assert page.evaluate(helped) <= made + 1
        assert running_page.complaints == []

    def test_a_control_changes_the_picture_and_back(self, running_page: WatchedPage) -> None:
        page = running_page.page
        _, clean = levels(page)
        field = page.locator("#tracking_phase_deg-field")
        field.fill("45")
        field.press("Enter")
        # Half-way between tracks the RF sinks into noise.
        wait_for(lambda: abs(levels(page)[1] - clean) > 5, "a noisier picture")
        page.locator("[data-control=tracking_phase_deg] .reset").click()
        wait_for(lambda: abs(levels(page)[1] - clean) < 2, "the clean picture again")
        assert running_page.complaints == []

    def test_a_picture_of_the_users_is_played(self, running_page: WatchedPage) -> None:
        page = running_page.page
        png = io.BytesIO()
        Image.new("RGB", (64, 48), "white").save(png, "PNG")
        page.set_input_files("#picture-file", {"name": "sheet.png", "mimeType": "image/png", "buffer": png.getvalue()})
        wait_for(lambda: levels(page)[0] > 225, "a white picture")
        assert page.inner_text("#picture-file-status") == "Playing sheet.png"

    def test_a_file_that_is_no_picture_is_refused_in_words(self, running_page: WatchedPage) -> None:
        page = running_page.page
        page.set_input_files("#picture-file", {"name": "notes.png", "mimeType": "image/png", "buffer": b"no picture"})
        wait_for(lambda: "notes.png is not a picture" in page.inner_text("#picture-file-status"), "a refusal")
        assert running_page.complaints == []
