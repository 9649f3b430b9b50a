"""The page in other languages than English: all of it, and nothing cut off; what is kept is the same."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from bandbench.serve import make_server
from sim.training.attempt import ControlMoved, attempt_from_json
from sim.training.deal import deal
from sim.training.score import score_attempt
from sim.training.solution import solution_moves, step_moves
from tests.browser.bench_driver import BenchPage
from tests.browser.reading_texts import CUT_OFF, UNWRAPPED
from tests.browser.records_driver import LESSONS, RecordsPage, machine_of
from tests.browser.watching import WatchedPage
from tests.pseudo_locale import PSEUDO, site_with_pseudo

WIDTHS = (1280, 360)
LESSON = "tracking-and-guide"


@pytest.fixture(scope="module")
def pseudo_url(built_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Return the address of the site with the language that nobody speaks."""
    server = make_server(site_with_pseudo(built_site, tmp_path_factory.mktemp("pseudo") / "site"))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()
    server.server_close()


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


def test_a_lesson_is_done_in_german_and_its_log_is_worth_the_same_in_english(browser: Browser, site_url: str) -> None:
    context = browser.new_context(viewport={"width": 1400, "height": 900}, reduced_motion="reduce", locale="de-AT")
    learner = RecordsPage(context, site_url, query=f"?lesson={LESSON}&seed=3")
    page, bench, lesson = learner.page, learner.bench, LESSONS[LESSON]
    assert page.evaluate("document.documentElement.lang") == "de"
    page.locator("[data-do=begin]").click()
    page.locator(".seed", has_text="Variante 3").wait_for()
    start = deal(lesson, 3, machine_of(LESSON))
    for number in range(1, len(lesson.steps) + 1):
        if number > 1:
            page.locator("[data-do=next]").click()
            page.get_by_text(f"Schritt {number} von {len(lesson.steps)}", exact=True).wait_for()
        if step_moves(lesson, start, number):
            before = bench.made_revision
            page.locator("[data-do=worked]").click()
            bench.until(lambda seen=before: bench.revision > seen, "what the lesson does")
    page.locator("[data-do=check]").click()
    page.locator("#result .outcome", has_text="Ergebnis: bestanden").first.wait_for()
    bench.until(lambda: any(row.get("log") for row in learner.store()["attempts"]), "the attempt to be kept")
    (row,) = learner.store()["attempts"]
    attempt = attempt_from_json(row["log"] if isinstance(row["log"], str) else json.dumps(row["log"]), "the store")
    assert score_attempt(lesson, attempt, machine_of(LESSON)).passed
    moved = [(event.control, event.value) for event in attempt.events if isinstance(event, ControlMoved)]
    assert moved == solution_moves(lesson, start)
    bench.check_unhurt()
    context.close()
