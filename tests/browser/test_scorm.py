"""A package in a learning system's frame, in a real Chromium: begun, left, resumed elsewhere, passed, looked at."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext

from bandbench.bench.scormstate import LONGEST_STATE, read_state
from bandbench.build import STATIC
from bandbench.package import package_files, site_files, zip_bytes
from tests.browser.bench_driver import keep_picture
from tests.browser.learning_system import BLOCKED, LearningSystem
from tests.browser.records_driver import LESSONS
from tests.browser.watching import still_context

LESSON = "tracking-and-guide"
HOSTILE = "<b>Jo</b><img src=x onerror=\"document.title='hurt'\">"


@pytest.fixture
def system(built_site: Path, tmp_path: Path) -> Iterator[Callable[[str | None], LearningSystem]]:
    """Return what serves a package of a lesson, or of the whole course."""
    systems = []

    def serving(lesson: str | None) -> LearningSystem:
        package = zip_bytes(package_files(site_files(built_site), "scorm", lesson))
        systems.append(LearningSystem(tmp_path, package))
        return systems[-1]

    yield serving
    for one in systems:
        one.close()


@pytest.fixture
def machine(browser: Browser) -> Iterator[Callable[[], BrowserContext]]:
    """Return what makes browsers as on different machines: none has anything of the others."""
    contexts = []

    def another() -> BrowserContext:
        contexts.append(still_context(browser, service_workers="block"))
        return contexts[-1]

    yield another
    for context in contexts:
        context.close()


@pytest.mark.timeout(900)
def test_a_sandbox_without_an_origin_is_told_with_what_to_do(
    system: Callable[[str | None], LearningSystem], machine: Callable[[], BrowserContext]
) -> None:
    school = system(LESSON)
    # Where the server lets nobody else read its files no script runs at all: what to do stands in the page itself.
    silent = school.frame_without_origin(machine(), shared=False)
    silent.locator("#not-started", has_text="allow-same-origin").wait_for(state="visible")
    assert silent.evaluate("document.body.dataset.state") == "loading"
    # Where the scripts do run, they say so at once.
    spoken = school.frame_without_origin(machine(), shared=True)
    spoken.locator("#trouble").get_by_text("sandbox in which it cannot run").wait_for(state="visible")
    assert "allow-scripts allow-same-origin" in spoken.locator("#trouble-action").inner_text()
    assert spoken.locator("#not-started").count() == 0


@pytest.mark.timeout(900)
def test_a_lesson_is_begun_left_gone_on_with_elsewhere_and_passed(
    system: Callable[[str | None], LearningSystem], machine: Callable[[], BrowserContext]
) -> None:
    lesson = LESSONS[LESSON]
    school = system(LESSON)
    visit = school.visit(machine(), BLOCKED)
    assert "Muster, Ines" in visit.line
    assert visit.who == "Muster, Ines"
    # Storage and service worker are refused: that is said, and what follows from it.
    visit.part.get_by_role("alert").get_by_text("is kept only until this page is left").wait_for()
    # The lesson of the package lies ready, and no other is there.
    assert visit.page.locator(".briefing h3").text_content() == lesson.title
    assert visit.page.locator("[data-lesson]").count() == 1
    visit.press(do="begin")
    visit.page.locator(".seed", has_text="Variation").wait_for()
    seed = visit.seed
    visit.set_control("guide_position_um", 12.0)
    visit.press(do="hint")
    visit.bench.until(lambda: told_events(visit.held["suspend_data"]) == 2, "the move and the hint in what is kept")
    visit.bench.until(lambda: visit.calls[-1][0] == "LMSCommit", "the saving of it")
    assert visit.held["core"]["lesson_status"] == "incomplete"
    visit.bench.check_unhurt()
    kept = visit.leave()
    assert kept["core"]["exit"] == "suspend"
    assert re.fullmatch(r"\d{2,4}:\d\d:\d\d(\.\d{1,2})?", kept["core"]["session_time"])

    again = school.visit(machine(), BLOCKED)
    assert "You left" in again.line
    again.press(do="resume")
    again.page.locator(".seed", has_text="Variation").wait_for()
    assert again.seed == seed
    assert again.bench.field("guide_position_um").input_value() == "12.0"
    again.solve(LESSON)
    again.bench.until(lambda: again.held["core"]["lesson_status"] == "passed", "the pass")
    again.bench.until(lambda: again.calls[-1][0] == "LMSCommit", "the saving of it")
    again.bench.screenshot("scorm-1-passed", full_page=False)
    again.bench.check_unhurt()
    kept = again.leave()
    core = kept["core"]
    assert (core["lesson_status"], core["score"]["raw"], core["exit"]) == ("passed", "100", "")
    assert core["lesson_location"] == LESSON
    rows = kept["objectives"]
    names = [f"check.{check.name}" for check in lesson.checks]
    assert [(row["id"], row["status"], row["score"]["raw"]) for row in rows.values()] == [
        (name, "passed", "100") for name in names
    ]
    checks = list(kept["interactions"].values())
    assert [row["result"] for row in checks] == ["correct"] * len(names)
    assert {row["type"] for row in checks} == {"performance"}
    assert [row["objectives"]["0"]["id"] for row in checks] == names


def told_events(text: str) -> int:
    """Return how many events of the attempt that goes on are kept."""
    assert len(text) <= LONGEST_STATE
    running = read_state(text, "", "").running if text else None
    return len(running.attempt.events) if running else 0


@pytest.mark.timeout(600)
def test_who_only_looks_at_the_course_changes_nothing_and_a_name_is_only_text(
    system: Callable[[str | None], LearningSystem], machine: Callable[[], BrowserContext]
) -> None:
    school = system(None)
    core = {"lesson_status": "incomplete", "exit": "suspend", "score": {"raw": "40"}}
    school.kept = {"core": core, "suspend_data": "other"}
    visit = school.visit(machine(), lesson_mode="review", student_name=HOSTILE)
    assert "nothing you do is reported" in visit.line
    assert visit.page.locator("[data-mode=learn]").is_visible()
    visit.page.locator("[data-mode=learn]").click()
    visit.page.locator(".part.course").wait_for()
    assert visit.page.locator("[data-lesson]").count() == len(LESSONS)
    assert visit.who == HOSTILE
    assert visit.page.locator("#visit img, .part.learner img").count() == 0
    assert visit.page.evaluate("document.title") == "bandbench"
    visit.outer.set_viewport_size({"width": 320, "height": 800})
    visit.page.wait_for_timeout(300)
    keep_picture(visit.outer, "scorm-2-narrow")
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= 320
    visit.bench.check_unhurt()
    kept = visit.leave()
    assert [name for name, _, _ in visit.made if name == "LMSSetValue"] == []
    assert kept["suspend_data"] == "other"
    assert (kept["core"]["lesson_status"], kept["core"]["score"]["raw"]) == ("incomplete", "40")


# Windows as `scorm.mjs` sees them; those of another origin throw at every touch but that of their parent.
FIND = """async () => {
  const { findApi } = await import("./school/course%2042/content/scorm.js");
  const API = { LMSInitialize: () => "true" };
  const no = () => { throw new DOMException("no", "SecurityError"); };
  const outermost = (parts) => {
    const made = { opener: null, ...parts };
    made.parent = made.top = made;
    return made;
  };
  const inside = (parent, parts = {}) => ({ parent, top: parent, opener: null, ...parts });
  const foreign = (parent) => ({ get API() { return no(); }, parent, top: parent, opener: null });
  const closed = { get API() { return no(); }, get parent() { return no(); }, get opener() { return no(); } };
  const endless = { opener: null, top: null, get parent() { return { ...endless, parent: endless }; } };
  const system = outermost({ API });
  return {
    around: findApi(inside(inside(system))) === API,
    beyond_another_origin: findApi(inside(foreign(system))) === API,
    around_the_opener: findApi(inside(outermost({ opener: inside(system) }))) === API,
    nowhere: findApi(inside(outermost({}))),
    shut_off: findApi(inside(closed)),
    an_element_of_that_name: findApi(inside(outermost({ API: { nodeType: 1 } }))),
    without_end: findApi(endless),
  };
}"""


def test_the_system_is_found_wherever_it_may_be_and_nothing_is_taken_for_it(browser: Browser, tmp_path: Path) -> None:
    school = LearningSystem(tmp_path, zip_bytes({"scorm.js": (STATIC / "scorm.mjs").read_bytes()}))
    page = browser.new_page()
    page.goto(school.url)
    assert page.evaluate(FIND) == {
        "around": True,
        "beyond_another_origin": True,
        "around_the_opener": True,
        "nowhere": None,
        "shut_off": None,
        "an_element_of_that_name": None,
        "without_end": None,
    }
    page.close()
    school.close()
