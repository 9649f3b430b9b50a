"""``python3 bb.py screens [TOUR ...] [--check]``: pictures of every screen, to look at; and what each is held to.

Each screen is taken at a desk in light and dark, and narrow; some at a smaller desk and upright; what prints, as it
prints. They go to ``tests/output/screens`` (or ``BANDBENCH_SCREENSHOTS``). With ``--check`` each is judged, too, and a
table, ``screens.md`` and ``screens.json``, is written beside the pictures; the exit status then tells if all is well.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from playwright.sync_api import sync_playwright

from bandbench.browser_finder import CHROMIUM_FLAGS, find_chromium
from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.measured_page import served
from tests.browser.bench_driver import screenshot_folder
from tests.browser.screens import learning, opening, teaching, working
from tests.browser.screens.camera import Camera
from tests.browser.screens.judging import Judge, write_table

TOURS: Mapping[str, Callable[[Camera], None]] = {
    "start": opening.tour_start,
    "guide": opening.tour_guide,
    "bench": working.tour_bench,
    "stages": working.tour_stages,
    "monitors": working.tour_monitors,
    "deck": working.tour_deck,
    "german": opening.tour_german,
    "lesson": learning.tour_lesson,
    "running": learning.tour_running,
    "cases": learning.tour_cases,
    "reference": learning.tour_reference,
    "records": learning.tour_records,
    "setting": teaching.tour_setting,
    "demonstrate": teaching.tour_demonstrate,
    "report": teaching.tour_report,
    "trouble": working.tour_trouble,
    "update": opening.tour_update,
}
"""Every tour by its name, in the order they are taken."""


def main(words: list[str]) -> int:
    """Take the tours that the words name, or all; return 1 if one could not be ended or a check found something."""
    parser = argparse.ArgumentParser(prog="bb.py screens", description=__doc__)
    parser.add_argument("tours", nargs="*", metavar="TOUR", help=f"which (default: all): {', '.join(TOURS)}")
    parser.add_argument("--check", action="store_true", help="judge each screen, and write the table")
    arguments = parser.parse_args(words)
    unknown = sorted(set(arguments.tours) - set(TOURS))
    if unknown:
        parser.error(f"there is no tour {', '.join(unknown)}; the tours are: {', '.join(TOURS)}")
    if not is_current(DEFAULT_OUTPUT):
        build_site(DEFAULT_OUTPUT)
    folder = screenshot_folder() / "screens"
    folder.mkdir(exist_ok=True)
    judge = Judge() if arguments.check else None
    stopped = _take(arguments.tours or list(TOURS), folder, judge)
    print(f"Screens are in {folder}")
    if judge is None:
        return int(bool(stopped))
    found = sum(verdict.findings for verdict in judge.verdicts)
    print(f"{len(judge.verdicts)} screens, {found} findings: {folder / 'screens.md'}")
    return int(bool(stopped) or found > 0)


def _take(tours: list[str], folder: Path, judge: Judge | None) -> list[str]:
    """Take these tours; return those that could not be ended."""
    stopped = []
    with served(DEFAULT_OUTPUT) as address, sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=find_chromium(), args=list(CHROMIUM_FLAGS))
        camera = Camera(chromium, address, folder, judge)
        for name in tours:
            started = time.monotonic()
            if judge:
                judge.tour = name
            try:
                TOURS[name](camera)
            # A screen that has changed must not keep the other tours from being taken.
            except Exception as error:
                stopped.append(name)
                print(f"{name} stopped: {type(error).__name__}: {error}", file=sys.stderr)
                for context in chromium.contexts:
                    context.close()
            print(f"{name}: {time.monotonic() - started:.0f} s", flush=True)
            if judge:
                write_table(folder, judge.verdicts, {verdict.tour for verdict in judge.verdicts})
        chromium.close()
    return stopped


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
