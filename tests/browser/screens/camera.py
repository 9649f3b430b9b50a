"""The camera that goes through the screens.

Contents: `Look`, the looks (`ALL`, `USUAL`, `DESK`, ...), `Camera`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.bench_driver import WAIT_S, BenchPage
from tests.browser.screens.judging import Judge, set_window
from tests.browser.watching import WatchedPage

__all__ = ["ALL", "DARK", "DESK", "NARROW", "SMALL", "UPRIGHT", "USUAL", "Camera", "Look"]

Look = tuple[str, int, int, Literal["light", "dark"]]
"""Name, width, height of the window, and the colours asked for."""
DESK: Look = ("desk", 1440, 900, "light")
DARK: Look = ("desk-dark", 1440, 900, "dark")
SMALL: Look = ("small", 1280, 800, "light")
UPRIGHT: Look = ("upright", 800, 1100, "dark")
NARROW: Look = ("narrow", 360, 740, "light")
_BAR = "getComputedStyle(document.getElementById('transport') ?? document.body).position === 'fixed'"
ALL = (DESK, DARK, SMALL, UPRIGHT, NARROW)
USUAL = (DESK, DARK, NARROW)


class Camera:
    """Takes one screen in several looks, has it judged, and leaves the window as it was.

    Parameters
    ----------
    browser : Browser
        Where pages are opened.
    url : str
        The site.
    folder : Path
        Where pictures go.
    judge : Judge or None
        Who judges; None where only pictures are wanted.
    """

    def __init__(self, browser: Browser, url: str, folder: Path, judge: Judge | None = None) -> None:
        self.browser = browser
        self.url = url
        self.folder = folder
        self.judge = judge

    def context(self, **options: Any) -> BrowserContext:
        """Return a new visitor's browser, at a desk, asking for little motion unless told otherwise."""
        options.setdefault("reduced_motion", "reduce")
        context = self.browser.new_context(viewport={"width": 1440, "height": 900}, **options)
        context.set_default_timeout(1000.0 * WAIT_S)
        return context

    def open(self, url: str = "", **options: Any) -> WatchedPage:
        """Return a new visitor's page at an address, whatever it comes to."""
        watched = WatchedPage(self.context(**options).new_page(), self.url)
        watched.page.goto(url or self.url)
        return watched

    def bench(self, query: str = "", **options: Any) -> BenchPage:
        """Return the running bench of a new visitor."""
        watched = WatchedPage(self.context(**options).new_page(), self.url)
        watched.start(query)
        return BenchPage(watched)

    def take(
        self,
        watched: WatchedPage,
        name: str,
        looks: tuple[Look, ...] = USUAL,
        *,
        whole: bool = True,
        zones: tuple[str, ...] = (),
        expected: tuple[str, ...] = (),
        judged: bool = True,
    ) -> None:
        """Save one screen in these looks and have it judged.

        Parameters
        ----------
        watched : WatchedPage
            The page that shows it.
        name : str
            What it is called.
        looks : tuple of Look
            In which looks.
        whole : bool
            Whether the whole page is taken, or what is in the window; at a desk, both are.
        zones, expected
            See `Judge.look`.
        judged : bool
            Whether it is judged at all.
        """
        page = watched.page
        for look, width, height, scheme in looks:
            set_window(page, width, height)
            page.emulate_media(color_scheme=scheme)
            # Plots and drawings are drawn anew for another window; for other colours, by Python.
            page.wait_for_timeout(3000 if page.locator("#result:not([hidden])").count() else 500)
            if not whole or look == "desk":
                page.screenshot(path=self.folder / f"{name}--{look}.png")
            if whole:
                self._take_whole(page, f"{name}--{look}-whole.png")
        self._as_it_was(page)
        found = ""
        if self.judge and judged:
            verdict = self.judge.look(watched, name, zones, expected)
            found = f": {verdict.findings} found, {verdict.walk.stops} stops"
        print(f"  {name}{found}", flush=True)

    def part(
        self, page: Page, selector: str, name: str, schemes: tuple[Literal["light", "dark"], ...] = ("light",)
    ) -> None:
        """Save one part of the page."""
        for scheme in schemes:
            page.emulate_media(color_scheme=scheme)
            page.wait_for_timeout(150)
            page.locator(selector).screenshot(path=self.folder / f"{name}--{scheme}.png")
        page.emulate_media(color_scheme="light")

    def print(self, page: Page, name: str) -> None:
        """Save what comes out on A4."""
        page.pdf(path=self.folder / f"{name}--print.pdf", format="A4")
        page.emulate_media(media="print")
        set_window(page, 794, 1123)
        page.wait_for_timeout(300)
        page.screenshot(path=self.folder / f"{name}--print.png", full_page=True)
        page.emulate_media(media="screen")
        self._as_it_was(page)
        print(f"  {name}, on paper", flush=True)

    def _take_whole(self, page: Page, name: str) -> None:
        # On a picture of the whole page the bar would cover what stands at the window's edge. Only a bench has one.
        bar = page.add_style_tag(content=".transport-bar { display: none; }") if page.evaluate(_BAR) else None
        page.screenshot(path=self.folder / name, full_page=True)
        if bar is not None:
            bar.evaluate("(style) => style.remove()")

    def _as_it_was(self, page: Page) -> None:
        set_window(page, 1440, 900)
        page.emulate_media(color_scheme="light")
