"""The page's own readers, in a Chromium: messages between windows, addresses of launches, answers of learning systems.

Contents: `fuzz_scripts`.
"""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Route, sync_playwright

from bandbench.browser_finder import CHROMIUM_FLAGS, find_chromium
from tests.fuzz.running import Fault, Outcome

__all__ = ["fuzz_scripts"]

_STATIC = Path(__file__).parents[2] / "site" / "static"
_FUZZ = Path(__file__).with_suffix(".mjs")
_ORIGIN = "https://bench.example/"


def fuzz_scripts(seconds: float, seed: int) -> Outcome:
    """Spoil what the page's scripts read, for so long; without a browser there is nothing to spoil.

    Parameters
    ----------
    seconds : float
        How long.
    seed : int
        What the spoiling follows from.
    """

    def serve(route: Route) -> None:
        name = route.request.url.removeprefix(_ORIGIN)
        path = _STATIC / name
        if name and path.is_file():
            route.fulfill(body=path.read_text("utf-8"), content_type="text/javascript")
        else:
            route.fulfill(body="<!doctype html><title>fuzz</title>", content_type="text/html")

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_chromium(), args=list(CHROMIUM_FLAGS))
        page = browser.new_page()
        page.route("**/*", serve)
        page.goto(_ORIGIN)
        told = page.evaluate(_FUZZ.read_text("utf-8"), [seconds, seed])
        browser.close()
    faults = {where: Fault(where, story, story.encode()) for where, story in told["findings"]}
    return Outcome(told["cases"], told["taken"], told["refused"], faults=faults)
