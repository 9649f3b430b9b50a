"""A lesson on a machine that runs, done in the page as a person does it, and scored again from its log."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import BrowserContext

from bandbench.bench.faults import FAULTS
from sim.training.attempt import ActDone, attempt_from_json
from sim.training.deal import deal
from sim.training.run import RunningMachine
from sim.training.score import score_attempt
from sim.transport import ACTS
from tests.browser.records_driver import LESSONS, RecordsPage
from tests.browser.visitors import Visitors

LESSON = "run-up-and-lock"


@pytest.fixture
def context(visitors: Visitors) -> Iterator[BrowserContext]:
    made = visitors.still(reduced_motion="no-preference")
    yield made
    made.close()


def do(learner: RecordsPage, act: str) -> None:
    """Press the button of an act; what is handled at the machine itself is opened first, and asks once more."""
    by_hand = ACTS[act].group in ("reel", "covers", "care", "cards")
    if by_hand and learner.page.locator("details.handling").get_attribute("open") is None:
        learner.page.locator("details.handling > summary").click()
    learner.page.locator(f"[data-act={act}]").click()
    if by_hand:
        if ACTS[act].caution:
            learner.page.locator("[data-do=confirm]").click()
        learner.page.locator("[data-now=done]", has_text=ACTS[act].title).wait_for()


def go_on(learner: RecordsPage, step: int) -> None:
    """Go to the next step."""
    learner.page.locator("[data-do=next]").click()
    title = LESSONS[LESSON].steps[step - 1].title
    learner.bench.until(lambda: learner.page.locator(".step-title").text_content() == title, title)


def answer(learner: RecordsPage, question: str, text: str) -> None:
    """Answer what is asked with a number."""
    learner.page.locator(f"#question-{question}-number").fill(text)
    learner.page.locator(f"#question-{question}-number").press("Enter")
    learner.page.locator(f"[data-question={question}].passed").wait_for()


@pytest.mark.timeout(600)
def test_a_machine_is_run_up_read_tracked_and_the_log_scores_the_same(context: BrowserContext, site_url: str) -> None:
    learner = RecordsPage(context, site_url)
    page, bench, asked = learner.page, learner.bench, LESSONS[LESSON]
    learner.make_learner("Tomas Brandl")
    seed = learner.begin(LESSON)
    # The covers are open, and the machine says what stands in the way.
    do(learner, "play")
    page.get_by_text("The covers are open: close them first").first.wait_for()
    for act in ("check_threading", "close_covers", "standby"):
        do(learner, act)
    go_on(learner, 2)
    bench.until(lambda: bench.reading("wheel_lock_time_s").startswith(("+", "2", "3", "4")), "the wheel in lock")
    bench.screenshot("running-lesson-1-locked")
    answer(learner, "lock_time", bench.reading("wheel_lock_time_s").split("\N{NO-BREAK SPACE}")[0])
    place = page.locator("[data-question=air_first] label", has_text="bearing floats")
    place.click()
    page.locator("[data-do=answer-air_first]").click()
    do(learner, "play")
    go_on(learner, 3)
    bench.until(lambda: bench.reading("framing_error_cycles").startswith("0"), "frames")
    answer(learner, "control", bench.reading("control_level_db").split("\N{NO-BREAK SPACE}")[0])
    go_on(learner, 4)
    start = deal(asked, seed, RunningMachine(asked, FAULTS))
    learner.set_control("tracking_phase_deg", round(-start.condition.tracking_offset_deg, 1))
    bench.until(lambda: abs(bench.number("tracking_error_deg")) < 1.0, "the tape at its new place")
    bench.screenshot("running-lesson-2-tracked")
    page.locator("[data-do=check]").click()
    page.locator("#result .outcome").first.wait_for()
    bench.screenshot("running-lesson-3-result")
    assert page.locator("#result .outcome").first.text_content() == "Result: passed"
    learner.close_result()
    bench.until(lambda: learner.store()["attempts"], "the attempt to be kept")
    (row,) = learner.store()["attempts"]
    log = attempt_from_json(row["log"], "kept.json")
    acts = [event.act for event in log.events if isinstance(event, ActDone)]
    assert acts == ["play", "check_threading", "close_covers", "standby", "play"]
    score = score_attempt(asked, log, RunningMachine(asked, FAULTS))
    assert score.passed, score.reason
    # The refused start stands in the log and costs nothing: it was asked, and the machine said no.
    assert [one.name for one in score.out_of_order] == []
    bench.check_unhurt()
