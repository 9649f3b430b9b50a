"""A new learner's first day with the keyboard alone: three lessons, a closed tab, and a browser cleared in between."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext

from bandbench.bench.lessons import read_course
from sim.training.deal import deal
from sim.training.solution import step_moves
from tests.browser.records_driver import LESSONS, RecordsPage, machine_of
from tests.browser.visitors import Visitors

# The course says which lessons come first; the third is the one about tracking and guide.
FIRST, SECOND, THIRD = read_course(LESSONS).lessons[:3]
NAME = "Nele Ortmann"
NOTE = "The displaced bands were the ones that turned to noise."


@pytest.fixture
def context(visitors: Visitors) -> Iterator[BrowserContext]:
    made = visitors.still(keeps_copy=True, accept_downloads=True)
    yield made
    made.close()


def go_through_the_steps(learner: RecordsPage, lesson: str) -> None:
    """Go to the last step; the lesson does every step that it offers to do."""
    page, bench, asked = learner.page, learner.bench, LESSONS[lesson]
    start = deal(asked, learner.seed, machine_of(lesson))
    for number, step in enumerate(asked.steps, start=1):
        if number > 1:
            learner.press(do="next")
        bench.until(lambda title=step.title: page.locator(".step-title").text_content() == title, step.title)
        if number <= asked.worked and step_moves(asked, start, number):
            before = bench.made_revision
            learner.press(do="worked", backwards=True)
            bench.until(lambda seen=before: bench.revision > seen, "what the lesson does")


def states(learner: RecordsPage) -> dict[str, str]:
    """Return how the first group's lessons stand, in the course's words."""
    learner.to_course()
    return {
        name: learner.page.locator(f"[data-lesson={name}] .choice-state").text_content() or ""
        for name in (FIRST, SECOND, THIRD)
    }


@pytest.mark.timeout(1200)
def test_three_lessons_survive_a_closed_tab_and_a_cleared_browser(
    context: BrowserContext, site_url: str, tmp_path: Path
) -> None:
    # A new learner; the first lesson is the one the course advises.
    learner = RecordsPage(context, site_url)
    learner.make_learner(NAME)
    first_seed = learner.begin(FIRST)
    go_through_the_steps(learner, FIRST)
    learner.answer_all(LESSONS[FIRST])
    learner.submit()
    learner.close_result()
    learner.press(text="Your notes on this lesson: 0")
    learner.bench.tab_to(id="learner-note")
    learner.page.keyboard.type(NOTE)
    learner.press(do="note")
    learner.says("The note is kept.")

    second_seed = learner.begin(SECOND)
    learner.solve(SECOND)
    learner.close_result()

    # The third, left in the middle: nobody is asked and nothing is said good-bye to.
    third_seed = learner.begin(THIRD)
    learner.press(do="next")
    learner.press(do="hint")
    learner.page.locator(".hint").wait_for()
    learner.set_control("guide_position_um", 21.0)
    learner.bench.until(
        lambda: any('"value": 21.0' in row["log"] for row in learner.store()["running"]), "the move to be kept"
    )
    learner.bench.check_unhurt()
    learner.page.close(run_before_unload=False)

    # Opened again, everything is as it was left; the lesson is passed.
    learner = RecordsPage(context, site_url)
    assert learner.who == NAME
    learner.part.locator(".left-attempt h3", has_text=LESSONS[THIRD].title).wait_for()
    learner.press(do="resume")
    learner.page.locator(".seed", has_text=f"Variation {third_seed}").wait_for()
    assert learner.page.locator(".hint").count() == 1
    assert learner.page.locator(".step-title").text_content() == LESSONS[THIRD].steps[1].title
    learner.press(stage="headwheel")
    learner.page.locator("section[data-stage=headwheel]").wait_for()
    assert float(learner.bench.field("guide_position_um").input_value()) == 21.0
    learner.solve(THIRD)
    learner.bench.screenshot("flow-1-third-passed")
    learner.close_result()

    # What there is now is exported, by a press and the browser's own download.
    before = states(learner)
    learner.open_details()
    dealt = ((FIRST, first_seed), (SECOND, second_seed), (THIRD, third_seed))
    expected = [f"{LESSONS[name].title}, variation {seed}: passed" for name, seed in reversed(dealt)]
    learner.bench.until(lambda: len(learner.attempts()) == 3, "three attempts in the list")
    attempts = learner.attempts()
    for line, text in zip(attempts, expected, strict=True):
        assert text in line
    learner.bench.tab_to(do="export")
    with learner.page.expect_download() as handed:
        learner.page.keyboard.press("Enter")
    file = tmp_path / handed.value.suggested_filename
    handed.value.save_as(file)
    assert re.fullmatch(rf"bandbench-records-{NAME.replace(' ', '-')}-\d{{4}}-\d\d-\d\d\.json", file.name)
    learner.says("Attempts: 3, notes: 1.")
    kept = learner.store()
    learner.bench.check_unhurt()
    learner.page.close()

    # The browser is told to forget the site.
    emptied = context.new_page()
    context.new_cdp_session(emptied).send(
        "Storage.clearDataForOrigin", {"origin": site_url.rstrip("/"), "storageTypes": "all"}
    )
    emptied.close()
    learner = RecordsPage(context, site_url)
    assert learner.who == "nobody yet"
    assert learner.attempts() == []
    assert not any(learner.store().values())
    learner.open_details()
    learner.bench.tab_to(id="learner-file")
    # What the browser's own window for choosing a file would do.
    learner.file_input().set_input_files(file)
    learner.part.get_by_text("New: attempts 3, to be resumed 0, notes 1. Here already: 0. Refused: 0.").wait_for()
    assert learner.store()["attempts"] == []
    learner.press(do="accept")
    learner.is_learner(NAME)

    # Everything is there: rows, outcomes scored anew from the logs, how the course stands, the note.
    learner.says("Added: attempts 3")
    learner.to_course()
    learner.bench.until(lambda: sum("passed" in line for line in learner.attempts()) == 3, "the attempts scored")
    assert learner.attempts() == attempts
    learner.bench.until(lambda: states(learner) == before, "the course as it stood")
    after = learner.store()
    assert after["notes"] == kept["notes"]
    assert [note["text"] for note in after["notes"]] == [NOTE]
    assert after["running"] == kept["running"] == []
    by_id = {row["id"]: row for row in after["attempts"]}
    assert {row["id"]: row["log"] for row in kept["attempts"]} == {name: row["log"] for name, row in by_id.items()}
    learner.bench.screenshot("flow-2-found-again")
    learner.bench.check_unhurt()
