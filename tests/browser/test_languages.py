"""The page in other languages than English: all of it, and nothing cut off."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from bandbench.measured_page import served
from tests.browser.bench_driver import BenchPage
from tests.browser.reading_texts import CUT_OFF, UNWRAPPED
from tests.browser.watching import WatchedPage
from tests.pseudo_locale import PSEUDO, site_with_pseudo

WIDTHS = (1280, 360)


@pytest.fixture(scope="module")
def pseudo_url(built_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Return the address of the site with the language that nobody speaks."""
    with served(site_with_pseudo(built_site, tmp_path_factory.mktemp("pseudo") / "site")) as address:
        yield address


def test_every_screen_speaks_the_language_of_the_page_and_nothing_is_cut_off(browser: Browser, pseudo_url: str) -> None:
    context = browser.new_context(viewport={"width": WIDTHS[0], "height": 900}, reduced_motion="reduce")
    context.add_init_script(f"localStorage.setItem('bandbench-language', '{PSEUDO}')")
    watched = WatchedPage(context.new_page(), pseudo_url)
    watched.start()
    bench, page = BenchPage(watched), watched.page
    found: dict[str, list[str]] = {}

    def look(screen: str) -> None:
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            page.wait_for_timeout(300)
            wrong = [*page.evaluate(UNWRAPPED), *page.evaluate(CUT_OFF)]
            if wrong:
                found[f"{screen}, {width} px"] = wrong
        page.set_viewport_size({"width": WIDTHS[0], "height": 900})

    assert page.evaluate("document.documentElement.lang") == PSEUDO
    look("the choice")
    bench.choose_mode("learn")
    look("the course")
    page.locator("[data-lesson=tracking-and-guide]").click()
    page.locator("[data-do=begin]").click()
    page.locator("[data-do=hint]").first.wait_for()
    look("a lesson")
    bench.choose_mode("demonstrate")
    look("the open bench")
    page.locator("[data-do=reference]").click()
    look("the reference")
    page.keyboard.press("Escape")
    page.locator("[data-do=report]").click()
    look("the class report")
    page.keyboard.press("Escape")
    bench.check_unhurt()
    page.goto(f"{pseudo_url}console.html")
    page.locator("#key-list dt").first.wait_for()
    look("the console")
    context.close()
    assert found == {}
