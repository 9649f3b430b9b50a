"""Measure the site against its aims, in one run on one machine: ``python3 bb.py bench`` prints the table.

``--json FILE`` keeps the run, ``--compare FILE`` sets its ratios beside those of a kept one.

Whatever else the machine does meanwhile slows every number; the ratios, taken within the run, stand it best. Each
line says what it is measured against: native NumPy, bare Pyodide with NumPy in the same browser, or the aim.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, Playwright, sync_playwright

from bandbench import benchmark_kernel
from bandbench.benchmark_table import Row, Tables, compared, read_ratios
from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.build_assets import write_site
from bandbench.measured_page import MeasurementError, browser_context, open_page, served
from bandbench.package import package_files, site_files, zip_bytes
from bandbench.pyodide_source import CORE_FILES, numpy_wheel, pyodide_core
from sim.correction import CORRECTIONS
from sim.errors import BandbenchError

__all__ = ["main"]

FRAME_RATE_AIM_HZ = 30.0
COLOUR_RATE_AIM_HZ = 15.0
LATENCY_AIM_MS = 100.0
KERNEL_AIM_MS = 1001 / 30
"""Time there is for one frame at the television frame rate. [ms]"""

CLASS_LOGS, CLASS_AIM_MIN = 10_000, 10.0
"""Logs of a large class, 200 learners with 50 attempts each, and the time they may take natively on one core. [min]"""

START_LIMIT_MS = 120_000
SETTLE_S = 3.0
HELP_LIMIT_S = 30.0
"""How long to wait for a picture worker, which a machine that is fast enough never has. [s]"""
WATCH_S = 10.0
MOVES = 40
VISITS = 3

# A bare page: Pyodide and NumPy the ordinary way, ready when a first array has been computed.
BARE_PAGE = b"""<!doctype html><link rel="icon" href="data:,"><title>Pyodide and NumPy</title><body>
<script type="module">
const worker = new Worker("worker.mjs", { type: "module" });
worker.onerror = () => { document.body.dataset.state = "failed"; };
worker.onmessage = () => { globalThis.readyMs = performance.now(); document.body.dataset.state = "running"; };
</script>"""
BARE_WORKER = b"""import { loadPyodide } from "./pyodide.mjs";
const pyodide = await loadPyodide({ packages: ["numpy"] });
pyodide.runPython("import numpy; numpy.ones((525, 910)).sum()");
self.postMessage("ready");
"""

# As little as a learning system can be: an object that answers, and a frame.
FRAME_PAGE = b"""<!doctype html><meta charset="utf-8"><link rel="icon" href="data:,"><title>Learning system</title>
<script>
const answer = (value) => () => value;
globalThis.API = { LMSInitialize: answer("true"), LMSFinish: answer("true"), LMSCommit: answer("true"),
  LMSSetValue: answer("true"), LMSGetValue: answer(""), LMSGetLastError: answer("0"), LMSGetErrorString: answer("") };
</script>
<iframe src="package/index.html" sandbox="allow-scripts allow-same-origin" width="1400" height="900"></iframe>"""

# When something can be read, when there is a first result, when all is there. [ms]
BARE_TIMES = "[readyMs, readyMs, readyMs]"
SITE_TIMES = """[performance.getEntriesByName("first-contentful-paint")[0].startTime,
  bandbench.statistics.firstPictureMs, bandbench.statistics.runningMs]"""

TRANSFERRED = """() => performance.getEntriesByType("navigation").concat(performance.getEntriesByType("resource"))
  .reduce((sum, entry) => sum + entry.transferSize, 0)"""

# Moves a slider as a person's browser would and waits for the frame that shows it; returns the times in between.
MEASURE_MOVES = """async ([id, moves]) => {
  const find = (root) => {
    const found = root.querySelector(`#${id}`);
    if (found) return found;
    for (const element of root.querySelectorAll("*")) {
      const inner = element.shadowRoot && find(element.shadowRoot);
      if (inner) return inner;
    }
    return null;
  };
  const slider = find(document);
  const { statistics } = globalThis.bandbench;
  const times = [];
  for (let i = 0; i < moves; i += 1) {
    // Not in step with the frames: 200 to 400 ms, by the golden ratio.
    await new Promise((resolve) => setTimeout(resolve, 200 + 200 * ((i * 0.618034) % 1)));
    const before = statistics.revision;
    const started = performance.now();
    const drawn = new Promise((resolve) => {
      const listen = ({ detail }) => {
        if (detail.revision > before) {
          document.removeEventListener("bandbench:frame", listen);
          resolve(performance.now());
        }
      };
      document.addEventListener("bandbench:frame", listen);
    });
    if (i % 2) slider.stepDown(20); else slider.stepUp(20);
    slider.dispatchEvent(new Event("input", { bubbles: true, composed: true }));
    times.push((await drawn) - started);
  }
  return times;
}"""

MOVED_CONTROLS = (("tape", "tracking_phase_deg"), ("channels", "channel_gain_db_1"), ("headwheel", "guide_position_um"))


class _PlainHandler(SimpleHTTPRequestHandler):
    """Files as they are: no compression, no policy, no word on how long they may be kept."""

    def log_message(self, *_: object) -> None:
        """Keep quiet."""


_TABLES = Tables()


def main(arguments: list[str] | None = None) -> int:
    """Measure everything and print the table."""
    parser = argparse.ArgumentParser(prog="bench", description=__doc__)
    parser.add_argument("--json", type=Path, help="keep the run in this file")
    parser.add_argument("--compare", type=Path, help="a kept run to compare with")
    options = parser.parse_args(arguments)
    # What cannot be read is told before ten minutes are spent.
    before = None if options.compare is None else read_ratios(options.compare)
    _measure()
    now = _TABLES.ratios
    if options.json is not None:
        _TABLES.write(options.json)
    if before is not None:
        _print_rows(compared(before, now))
    return 0


def _measure() -> None:
    if not is_current(DEFAULT_OUTPUT):
        build_site(DEFAULT_OUTPUT)
    native_ms = benchmark_kernel.frame_times_ms() | benchmark_kernel.report_times_ms()
    with tempfile.TemporaryDirectory(prefix="bandbench-bare-") as folder, sync_playwright() as playwright:
        bare = Path(folder, "bare")
        _write_bare_site(bare)
        with served(bare) as bare_address, served(DEFAULT_OUTPUT) as address:
            with (
                browser_context(playwright, Path(folder, "bare-profile")) as bare_context,
                browser_context(playwright, Path(folder, "site-profile")) as site_context,
            ):
                # In turns, so that what else the machine does slows both alike.
                turns = [
                    (_visit(bare_context, bare_address, BARE_TIMES), _visit(site_context, address, SITE_TIMES))
                    for _ in range(VISITS)
                ]
                bare_visits, site_visits = [bare for bare, _ in turns], [site for _, site in turns]
            framed = _framed_visit(playwright, Path(folder))
            with browser_context(playwright, Path(folder, "profile")) as context:
                page = open_page(context, address)
                _await_help(page)
                frames_hz = _frame_rate_hz(page)
                latencies_ms = {control: _latencies_ms(page, stage, control) for stage, control in MOVED_CONTROLS}
                colour_hz = _colour_frame_rate_hz(page)
                browser_ms = _browser_kernel_ms(page)
                version = context.browser.version if context.browser else playwright.chromium.name
    _print_table(version, native_ms, browser_ms, frames_hz, colour_hz, latencies_ms, bare_visits, site_visits)
    _print_framed(framed, site_visits[0], bare_visits[0])


def _write_bare_site(folder: Path) -> None:
    core = pyodide_core()
    files = {name: (core / name).read_bytes() for name in CORE_FILES}
    wheel = numpy_wheel()
    files |= {wheel.name: wheel.read_bytes(), "index.html": BARE_PAGE, "worker.mjs": BARE_WORKER}
    # In a folder with the name that the server lets browsers keep for good, as the site's own files are.
    write_site(folder, {f"assets/{name}": content for name, content in files.items()})
    shutil.copy(folder / "assets" / "index.html", folder / "index.html")
    page = (folder / "index.html").read_bytes().replace(b'"worker.mjs"', b'"assets/worker.mjs"')
    (folder / "index.html").write_bytes(page)


@dataclass(frozen=True)
class FramedVisit:
    """A package of the whole course and its first visit in a learning system's frame: its bytes, and times [s]."""

    package_bytes: int
    readable_s: float
    first_result_s: float
    whole_s: float


def _framed_visit(playwright: Playwright, folder: Path) -> FramedVisit:
    """Return what a first visit to a package takes, served as a learning system may: by a plain server, in a frame."""
    files = package_files(site_files(DEFAULT_OUTPUT), "scorm")
    school = folder / "school"
    for path, content in {"index.html": FRAME_PAGE, **{f"package/{path}": files[path] for path in files}}.items():
        target = school / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_PlainHandler, directory=str(school)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    with browser_context(playwright, folder / "school-profile") as context:
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{server.server_address[1]}/")
        frame = page.frames[1]
        frame.wait_for_selector("body:is([data-state=running], [data-state=failed])", timeout=START_LIMIT_MS)
        if frame.evaluate("document.body.dataset.state") != "running":
            raise MeasurementError(f"the package did not start in a frame: {frame.inner_text('body')}")
        readable_ms, first_ms, whole_ms = frame.evaluate(SITE_TIMES)
    server.shutdown()
    server.server_close()
    return FramedVisit(len(zip_bytes(files)), readable_ms / 1000, first_ms / 1000, whole_ms / 1000)


@dataclass(frozen=True)
class Visit:
    """When a visitor of a page got what, from the click on. [s], and the bytes it took."""

    readable_s: float
    first_result_s: float
    whole_s: float
    transferred_bytes: int


def _visit(context: BrowserContext, address: str, times: str) -> Visit:
    """Return what a visit took; `times` is JavaScript for the three times of a `Visit`."""
    page = open_page(context, address)
    readable_ms, first_ms, whole_ms = page.evaluate(times)
    # The browser writes what it compiled some seconds after it has.
    time.sleep(SETTLE_S)
    transferred = page.evaluate(TRANSFERRED) + page.workers[0].evaluate(TRANSFERRED)
    page.close()
    return Visit(readable_ms / 1000, first_ms / 1000, whole_ms / 1000, transferred)


def _await_help(page: Page) -> None:
    """Wait for the picture worker and let the page settle."""
    give_up_s = time.monotonic() + HELP_LIMIT_S
    while page.evaluate("bandbench.statistics.helped") == 0 and time.monotonic() < give_up_s:
        time.sleep(0.5)
    time.sleep(SETTLE_S)


def _frame_rate_hz(page: Page) -> float:
    count = "[bandbench.statistics.frames, performance.now()]"
    first, first_ms = page.evaluate(count)
    time.sleep(WATCH_S)
    last, last_ms = page.evaluate(count)
    return float(1000 * (last - first) / (last_ms - first_ms))


def _colour_frame_rate_hz(page: Page) -> float:
    page.locator("button[data-stage=processing]").click()
    page.locator("select#correction").select_option(str(CORRECTIONS.index("colour")))
    time.sleep(SETTLE_S)
    return _frame_rate_hz(page)


def _latencies_ms(page: Page, stage: str, control: str) -> list[float]:
    page.locator(f"button[data-stage={stage}]").click()
    page.locator(f"#{control}").wait_for()
    times: list[float] = page.evaluate(MEASURE_MOVES, [control, MOVES])
    return times


def _browser_kernel_ms(page: Page) -> dict[str, float]:
    code = Path(benchmark_kernel.__file__).read_text("utf-8") + "\nas_json()"
    answer = page.workers[0].evaluate("(code) => self.bandbench.pyodide.runPython(code)", code)
    times: dict[str, float] = json.loads(answer)
    return times


def _print_table(
    version: str,
    native_ms: dict[str, float],
    browser_ms: dict[str, float],
    frames_hz: float,
    colour_hz: float,
    latencies_ms: dict[str, list[float]],
    bare_visits: list[Visit],
    site_visits: list[Visit],
) -> None:
    load = ", ".join(f"{part:.1f}" for part in os.getloadavg())
    _TABLES.about = f"Chromium {version} headless, {os.cpu_count()} cores, {platform.machine()}; load average {load}"
    print(f"{_TABLES.about}\n")
    rows: list[tuple[str, Any, Any, Any]] = [("full frame to picture [ms, median]", "native", "browser", "ratio")]
    rows += [
        (name, f"{native_ms[name]:.1f}", f"{browser_ms[name]:.1f}", f"{browser_ms[name] / native_ms[name]:.2f}")
        for name in native_ms
    ]
    frame_ms = browser_ms["next frame"]
    for name, title in ((benchmark_kernel.REPORT, "scored"), (benchmark_kernel.KNOWN, "known")):
        # From the few logs that were measured, on one core.
        native_min, browser_min = (CLASS_LOGS * times[name] / 60_000.0 for times in (native_ms, browser_ms))
        rows.append(
            (
                f"{CLASS_LOGS} such logs, {title} [min]",
                f"{native_min:.1f}",
                f"{browser_min:.1f}",
                f"{native_min / CLASS_AIM_MIN:.2f} of {CLASS_AIM_MIN:.0f} min",
            )
        )
    rows.append(("time there is for a frame", "", f"{KERNEL_AIM_MS:.1f}", f"{frame_ms / KERNEL_AIM_MS:.2f} used"))
    _print_rows(rows)
    rows = [("moving picture", "measured", "aim", "share of aim")]
    rows.append(
        ("frames a second", f"{frames_hz:.1f}", f"{FRAME_RATE_AIM_HZ:.0f}", f"{frames_hz / FRAME_RATE_AIM_HZ:.2f}")
    )
    rows.append(("in colour", f"{colour_hz:.1f}", f"{COLOUR_RATE_AIM_HZ:.0f}", f"{colour_hz / COLOUR_RATE_AIM_HZ:.2f}"))
    _print_rows(rows)
    rows = [("control moved to picture drawn [ms]", "p50", "p95", f"p95 / {LATENCY_AIM_MS:.0f} ms")]
    every = [time_ms for times in latencies_ms.values() for time_ms in times]
    for name, times in [*latencies_ms.items(), ("all", every)]:
        p95 = statistics.quantiles(times, n=20)[-1]
        rows.append((name, f"{statistics.median(times):.0f}", f"{p95:.0f}", f"{p95 / LATENCY_AIM_MS:.2f}"))
    _print_rows(rows)
    rows = [("visit", "the site", "bare Pyodide + NumPy", "ratio")]
    names = ("first visit", "second visit", "third visit")
    for name, site, bare in zip(names, site_visits, bare_visits, strict=True):
        first, whole = site.first_result_s / bare.whole_s, site.whole_s / bare.whole_s
        sent, bare_sent = site.transferred_bytes / 1e6, bare.transferred_bytes / 1e6
        rows += [
            (f"{name}: s to a page to read", f"{site.readable_s:.2f}", "", ""),
            (
                f"{name}: s to first picture / result",
                f"{site.first_result_s:.1f}",
                f"{bare.whole_s:.1f}",
                f"{first:.2f}",
            ),
            (f"{name}: s to picture and controls", f"{site.whole_s:.1f}", "", f"{whole:.2f}"),
            (
                f"{name}: MB transferred",
                f"{sent:.2f}",
                f"{bare_sent:.2f}",
                f"{sent / bare_sent:.2f}" if sent > 0.1 else "",
            ),
        ]
    _print_rows(rows)


def _print_framed(framed: FramedVisit, site: Visit, bare: Visit) -> None:
    longer = framed.first_result_s / site.first_result_s
    rows: list[tuple[str, Any, Any, Any]] = [
        ("SCORM package in a frame, first visit", "the package", "bare Pyodide + NumPy", "ratio"),
        ("bytes of the zip", framed.package_bytes, "", ""),
        ("s to a page to read", f"{framed.readable_s:.2f}", "", ""),
        (
            "s to first picture / result",
            f"{framed.first_result_s:.1f}",
            f"{bare.whole_s:.1f}",
            f"{framed.first_result_s / bare.whole_s:.2f}",
        ),
        ("the site by itself, and how much longer", f"{site.first_result_s:.1f}", "", f"{longer:.2f}"),
    ]
    _print_rows(rows)


def _print_rows(rows: Sequence[Row]) -> None:
    _TABLES.show(rows)


if __name__ == "__main__":
    try:
        sys.exit(main())
    except BandbenchError as error:
        sys.exit(str(error))
