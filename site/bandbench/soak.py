"""Run the page for a long time as somebody would who never tires, and see that nothing grows, drifts or breaks.

``python3 bb.py soak --minutes 60`` prints a line for every round and fails when a bound is passed.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from playwright.sync_api import CDPSession, Error, Page, sync_playwright

from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.measured_page import MeasurementError, browser_context, open_page, python, served

__all__ = ["GROWTH_BOUNDS", "Sample", "grown", "main"]

GROWTH_BOUNDS = {
    "page_heap_mb": 3.0,
    "page_nodes": 400.0,
    "page_listeners": 400.0,
    "wasm_used_mb": 10.0,
    "wasm_steps": 1.0,
    "python_objects": 3000.0,
}
"""By how much each may grow from the early rounds to the last. The worker's memory as a whole (`wasm_mb`) never shrinks
and grows by a fifth each time it must, so that a peak a few bytes higher than all before takes tens of megabytes: what
is in use shows a leak (`wasm_used_mb`), and steps are counted: one may be such a peak, a second is growth."""

DRIFT_BOUND_S = 0.1
"""By how much the machine's time may differ from the clock, each time it has been brought up to date: a few steps."""

# What is settled only after everything has been used a few times: the first rounds are not counted.
_WARM_ROUNDS = 3
_WAIT_MS = 120_000

# Asked of Python in the worker: how many objects its collector knows.
_OBJECTS = """
import gc
gc.collect()
len(gc.get_objects())
"""
# The worker's memory and how much of it the C library's allocator has handed out [bytes]: the eighth number of what it
# says of itself (`struct mallinfo`, uordblks).
_WASM_BYTES = """() => {
  const module = self.bandbench.pyodide._module;
  const told = module._malloc(40);
  module._mallinfo(told);
  const used = module.HEAPU32[told / 4 + 7];
  module._free(told);
  return [module.HEAPU8.length, used];
}"""
_DECK = """
import gc
from bandbench.bench.application import BenchApplication
_deck = next(one for one in gc.get_objects() if type(one) is BenchApplication).bench.station.deck
_answer = "armed" if _deck.record_armed and _deck.mode != "record" else _deck.mode
del _deck
_answer
"""
# The machine's time against the clock, for a machine that runs by it: none in a lesson that holds it. It is brought up
# to date first, as by each turn of the page's loop: a browser that has to wait for the processor is no drift.
_CLOCK_SAMPLE = """
import gc, json, time, weakref
from bandbench.bench.application import BenchApplication
_bench = next(one for one in gc.get_objects() if type(one) is BenchApplication).bench
_now_s = time.monotonic()
_bench.advance(_now_s)
_station = _bench.station
# Machines are told apart by number: where one was in memory, the next may be.
_known, _number = globals().get("_machine", (lambda: None, 0))
if _known() is not _station:
    _number += 1
_machine = weakref.ref(_station), _number
_answer = json.dumps([None if _bench.held else _number, _station.time_s, _now_s])
del _bench, _station
_answer
"""
_NUDGE = """(id) => {
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
  for (const step of [5, -5]) {
    if (step > 0) slider.stepUp(step); else slider.stepDown(-step);
    slider.dispatchEvent(new Event("input", { bubbles: true, composed: true }));
  }
}"""

# A reel of the shelf that may be recorded on.
_REEL = "station-525"
_SLIDERS = {
    "tape": "tracking_phase_deg",
    "headwheel": "guide_position_um",
    "channels": "channel_gain_db_1",
    "switcher": "switch_timing_us",
    "processing": "dropout_threshold_db",
}


@dataclass(frozen=True)
class Sample:
    """What was found after a round.

    Attributes
    ----------
    minutes : float
        Since the soak began.
    frames_hz : float
        Pictures shown a second in the round.
    page_heap_mb, page_nodes, page_listeners : float
        The page's scripts' memory after a collection, its nodes and what listens to them.
    wasm_mb, wasm_used_mb, wasm_steps : float
        The worker's memory, how much of it Python and its arrays have in use, and how often it has grown by a step
        since the page was opened.
    python_objects : float
        What Python's collector knows, after a collection.
    drift_s : float
        Largest difference in the round between the machine's time and the clock on the wall.
    """

    minutes: float
    frames_hz: float
    page_heap_mb: float
    page_nodes: float
    page_listeners: float
    wasm_mb: float
    wasm_used_mb: float
    wasm_steps: float
    python_objects: float
    drift_s: float


def grown(samples: list[Sample]) -> list[str]:
    """Return what grew beyond its bound, or ran away from the clock, in words; empty if nothing did.

    The lowest of the early rounds after warming up is compared with the lowest of as many at the end: what is only in
    use for a while is no growth.
    """
    counted = samples[_WARM_ROUNDS:]
    third = max(1, len(counted) // 3)
    found = []
    for name, bound in GROWTH_BOUNDS.items():
        values = [float(getattr(sample, name)) for sample in counted]
        if not values:
            return [f"fewer than {_WARM_ROUNDS + 1} rounds were done: nothing can be told of growth"]
        growth = min(values[-third:]) - min(values[:third])
        if growth > bound:
            found.append(f"{name} grew by {growth:.1f}, more than {bound:.0f}")
    most_s = max(sample.drift_s for sample in samples)
    if most_s > DRIFT_BOUND_S:
        found.append(f"the machine's time was {most_s:.2f} s off the clock, more than {DRIFT_BOUND_S} s")
    return found


class Soaker:
    """Somebody who never tires at the page."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        page.on("console", lambda line: self._hear(line.type, line.text))
        self._devtools: CDPSession = page.context.new_cdp_session(page)
        self._devtools.send("HeapProfiler.enable")
        self._devtools.send("Performance.enable")
        self._stretch: tuple[int, float, float] | None = None
        self.drift_s = 0.0
        self._wasm_mb = self._wasm_steps = 0.0

    def _hear(self, kind: str, text: str) -> None:
        if kind in ("error", "warning"):
            self.complaints.append(f"{kind}: {text}")

    # What is done -------------------------------------------------------------------------------------------------

    def wait(self, seconds: float) -> None:
        """Look on for a while."""
        self.page.wait_for_timeout(1000.0 * seconds)

    def choose_mode(self, mode: str) -> None:
        """Go back to the choice and choose."""
        leave = self.page.locator("[data-do=leave]:visible")
        chosen = self.page.locator(f"[data-mode={mode}]")
        if not chosen.is_visible():
            leave.first.click()
        chosen.click()
        chosen.wait_for(state="hidden")
        self.wait(1.0)

    def act(self, name: str, states: str, seconds: float) -> None:
        """Press a button of the transport, wait until the deck is in one of some states, and look on."""
        self.page.locator(f":is(#transport, #deck) [data-act={name}]").click()
        end_s = time.monotonic() + _WAIT_MS / 1000.0
        while (found := python(self.page, _DECK)) not in states.split():
            if time.monotonic() > end_s:
                raise MeasurementError(f"after {name} the deck never came to '{states}'; it is in '{found}'")
            self.wait(0.3)
        self.wait(seconds)

    def turn_controls(self) -> None:
        """Open one stage after the other, move a control of it up and back, and look on."""
        for stage, slider in _SLIDERS.items():
            self.page.locator(f".stage-button[data-stage={stage}]").click()
            self.page.locator(f"section[data-stage={stage}]").wait_for()
            for _ in range(3):
                self.page.evaluate(_NUDGE, slider)
                self.wait(0.4)

    def look_around(self) -> None:
        """Connect the monitors to one point after the other."""
        for point in ("rf_heads", "demodulated", "control_track", "servo_wheel_phase", "processed"):
            known = self.page.locator(f"#scope-point option[value={point}]").count()
            if known:
                self.page.locator("#scope-point").select_option(point)
                self.wait(1.0)
        for point in ("demodulated", "input", "processed"):
            self.page.locator("#picture-source").select_option(point)
            self.wait(0.7)

    def work_the_tape(self) -> None:
        """Put a reel on, wind, record, wind back and play."""
        handling = self.page.locator(".handling")
        if handling.get_attribute("open") is None:
            self.page.locator(".handling > summary").click()
        self.page.locator("#reel").select_option(_REEL)
        self.page.locator(".handling [data-act=put_on]").click()
        self.wait(3.0)
        self.act("wind_forward", "wind_forward", 8.0)
        self.act("play", "play", 1.0)
        self.act("record_arm", "armed", 1.0)
        self.act("record", "record", 6.0)
        self.act("disarm", "play", 1.0)
        # A page that has to wait for the processor may see no more of it than the beginning of the tape.
        self.act("wind_reverse", "wind_reverse stopping standby stop", 4.0)
        self.act("play", "play", 5.0)
        self.act("stop", "stop", 2.0)

    def colour(self) -> None:
        """Work in colour for a while."""
        self.page.locator(".stage-button[data-stage=processing]").click()
        self.page.locator("select#correction").select_option("2")
        self.wait(6.0)
        self.page.locator("select#correction").select_option("0")

    def lesson(self) -> None:
        """Begin the lesson that is offered, move what it is about, and leave it."""
        self.page.locator("[data-do=begin]").click()
        self.wait(2.0)
        self.page.locator(".stage-button[data-stage=tape]").click()
        self.page.evaluate(_NUDGE, "tracking_phase_deg")
        self.wait(2.0)

    def round(self) -> None:
        """Do everything once; the clock is looked at in between."""
        deeds: list[tuple[str, tuple[Callable[[], None], ...]]] = [
            ("practise", (self.turn_controls, self.look_around, self.work_the_tape)),
            ("demonstrate", (self.colour, self.turn_controls)),
            ("learn", (self.lesson,)),
        ]
        for mode, parts in deeds:
            self.choose_mode(mode)
            for part in parts:
                self.look_at_clock()
                part()
                self.look_at_clock()

    # What is measured ---------------------------------------------------------------------------------------------

    def look_at_clock(self) -> None:
        """Compare how far the machine's time has come with the clock, since it was first looked at."""
        station, machine_s, clock_s = json.loads(python(self.page, _CLOCK_SAMPLE))
        if station is None:
            self._stretch = None
        elif self._stretch is None or self._stretch[0] != station or machine_s < self._stretch[1]:
            self._stretch = (station, machine_s, clock_s)
        else:
            _, began_s, began_clock_s = self._stretch
            self.drift_s = max(self.drift_s, abs((clock_s - began_clock_s) - (machine_s - began_s)))

    @property
    def frames(self) -> int:
        """Pictures the page has shown."""
        return int(self.page.evaluate("bandbench.statistics.frames"))

    def sample(self, minutes: float, frames_hz: float) -> Sample:
        """Return what there is now."""
        self._devtools.send("HeapProfiler.collectGarbage")
        heap = self._devtools.send("Runtime.getHeapUsage")
        counts = self._devtools.send("Memory.getDOMCounters")
        objects = python(self.page, _OBJECTS)
        wasm_mb, used_mb = (size / 1e6 for size in self.page.workers[0].evaluate(_WASM_BYTES))
        if wasm_mb > self._wasm_mb:
            self._wasm_steps += 1.0
            self._wasm_mb = wasm_mb
        drift_s, self.drift_s = self.drift_s, 0.0
        return Sample(
            minutes=minutes,
            frames_hz=frames_hz,
            page_heap_mb=heap["usedSize"] / 1e6,
            page_nodes=float(counts["nodes"]),
            page_listeners=float(counts["jsEventListeners"]),
            wasm_mb=wasm_mb,
            wasm_used_mb=used_mb,
            wasm_steps=self._wasm_steps,
            python_objects=float(objects),
            drift_s=drift_s,
        )


def soak(page: Page, minutes: float) -> tuple[list[Sample], list[str]]:
    """Work at the page for some minutes; return what was found after each round, and every complaint."""
    soaker = Soaker(page)
    began_s = time.monotonic()
    samples: list[Sample] = []
    print(_row([name.replace("_", " ") for name in asdict(soaker.sample(0.0, 0.0))]), flush=True)
    while time.monotonic() - began_s < 60.0 * minutes or len(samples) <= _WARM_ROUNDS:
        frames, round_s = soaker.frames, time.monotonic()
        try:
            soaker.round()
        except (Error, MeasurementError) as error:
            soaker.complaints.append(f"round {len(samples) + 1} could not go on: {error}")
            break
        now_s = time.monotonic()
        sample = soaker.sample((now_s - began_s) / 60.0, (soaker.frames - frames) / (now_s - round_s))
        samples.append(sample)
        print(_row([f"{value:.2f}" for value in asdict(sample).values()]), flush=True)
        if page.evaluate("document.body.dataset.state") != "running":
            soaker.complaints.append(f"the page stopped: {page.inner_text('#trouble')}")
            break
    return samples, soaker.complaints


def _row(cells: list[str]) -> str:
    return "".join(f"{cell:>16}" for cell in cells)


def main(arguments: list[str] | None = None) -> int:
    """Soak the built site and print what was found; 1 if anything grew, drifted or broke."""
    parser = argparse.ArgumentParser(prog="soak", description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0, help="how long to go on (60 if left out)")
    parser.add_argument("--site", type=Path, default=DEFAULT_OUTPUT, help="a built site (else the checkout's own)")
    parser.add_argument("--json", type=Path, help="write what was found to this file as well")
    options = parser.parse_args(arguments)
    if options.site == DEFAULT_OUTPUT and not is_current(DEFAULT_OUTPUT):
        build_site(DEFAULT_OUTPUT)
    load = ", ".join(f"{part:.1f}" for part in os.getloadavg())
    print(f"Soaking for {options.minutes:g} minutes; load average {load}", flush=True)
    with (
        tempfile.TemporaryDirectory(prefix="bandbench-soak-") as folder,
        sync_playwright() as playwright,
        served(options.site) as address,
        browser_context(playwright, Path(folder)) as context,
    ):
        page = open_page(context, address)
        page.set_default_timeout(_WAIT_MS)
        samples, complaints = soak(page, options.minutes)
    problems = complaints + grown(samples)
    if options.json is not None:
        found = {"samples": [asdict(sample) for sample in samples], "problems": problems}
        options.json.write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    for problem in problems:
        print(problem, file=sys.stderr)
    verdict = f"{len(problems)} problems" if problems else "nothing grew, drifted or broke"
    print(f"{len(samples)} rounds; {verdict}")
    return 1 if problems else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except MeasurementError as error:
        sys.exit(str(error))
