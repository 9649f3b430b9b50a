"""Tours of what a learner meets: the course, lessons of each kind, results, paper, the reference, records.

Contents: `tour_lesson`, `tour_running`, `tour_cases`, `tour_reference`, `tour_records`.
"""

from __future__ import annotations

from playwright.sync_api import Page

from tests.browser.bench_driver import BenchPage
from tests.browser.records_driver import RecordsPage
from tests.browser.screens.camera import ALL, DARK, DESK, NARROW, USUAL, Camera
from tests.class_records import CASE, LINE_UP

__all__ = ["tour_cases", "tour_lesson", "tour_records", "tour_reference", "tour_running"]

_RUNNING = "run-up-and-lock"
_ASSESSMENT = "final-assessment"
# A browser that refuses to keep anything.
_REFUSE = """Object.defineProperty(globalThis, "indexedDB", { value: {
  open() { throw new DOMException("refused", "SecurityError"); } } });"""


def _plots_are_there(bench: BenchPage) -> None:
    plots = bench.page.locator("#root-result-plots canvas.bk-layer")
    bench.until(lambda: plots.count() >= 4, "the plots")
    bench.page.wait_for_timeout(1500)


def _sheet(camera: Camera, bench: BenchPage, name: str) -> None:
    """Take the sheet of paper that has just been asked for, and put it away."""
    page = bench.page
    page.locator("#paper h1").wait_for()
    camera.take(bench.watched, name, (DESK, DARK, NARROW), zones=("#paper",))
    camera.print(page, name)
    page.locator("[data-do=close_sheet]").click()
    page.locator("#paper").wait_for(state="hidden")


def tour_lesson(camera: Camera) -> None:
    """The course, a lesson with its job sheet, a result that is missed, one that is passed, papers, the replay."""
    records = RecordsPage(camera.context(), camera.url)
    bench, page, watched = records.bench, records.page, records.watched
    records.make_learner("Robin Vale")
    records.to_course()
    camera.take(watched, "course", ALL, zones=("#lesson",))
    page.locator(f"[data-lesson={LINE_UP}]").click()
    page.locator(".briefing h3").wait_for()
    page.wait_for_timeout(800)
    camera.take(watched, "lesson-briefing", (DESK, NARROW), zones=("#lesson",))
    page.locator("[data-do=paper_job]:visible").first.click()
    _sheet(camera, bench, "paper-job-sheet")
    records.begin(LINE_UP)
    page.locator("[data-do=hint]").click()
    page.locator("[data-do=check]").click()
    page.locator(".check").first.wait_for()
    bench.until_read()
    page.wait_for_timeout(2000)
    camera.take(watched, "lesson", ALL)
    page.locator("[data-do=result]").click()
    _plots_are_there(bench)
    camera.take(watched, "result-missed", (DESK, DARK, NARROW), zones=("#result",))
    page.locator("[data-do=close]").click()
    records.solve(LINE_UP)
    _plots_are_there(bench)
    camera.take(watched, "debrief", ALL, zones=("#result",))
    camera.print(page, "debrief")
    page.emulate_media(color_scheme="dark")
    page.wait_for_timeout(1500)
    camera.print(page, "debrief-from-dark")
    page.locator("#result [data-do=paper_alignment]").first.click()
    _sheet(camera, bench, "paper-alignment")
    page.locator("[data-do=replay]").click()
    page.locator("#replay [data-do=replay_leave]").wait_for()
    page.wait_for_timeout(1000)
    camera.take(watched, "replay", USUAL)
    page.locator("[data-do=replay_leave]").click()
    page.locator("#replay").wait_for(state="hidden")
    records.open_details()
    page.locator("[data-do=paper_practice]").click()
    _sheet(camera, bench, "paper-practice")
    page.context.close()


def tour_running(camera: Camera) -> None:
    """A lesson on a machine that runs."""
    bench = camera.bench()
    page = bench.page
    bench.choose_mode("learn")
    _unfold(page)
    bench.begin_lesson(_RUNNING)
    page.locator("#transport [data-act=play]").click()
    page.get_by_text("The covers are open: close them first").first.wait_for()
    camera.take(bench.watched, "running-lesson-refused", (DESK, NARROW), zones=("#lesson", "#transport"))
    if page.locator("details.handling").get_attribute("open") is None:
        page.locator("details.handling > summary").click()
    for act in ("check_threading", "close_covers"):
        page.locator(f"[data-act={act}]").click()
        page.wait_for_timeout(400)
        if page.locator("[data-do=confirm]").is_visible():
            page.locator("[data-do=confirm]").click()
        page.wait_for_timeout(2500)
    page.locator("#transport [data-act=standby]").click()
    page.locator("[data-do=next]").click()
    page.wait_for_timeout(8000)
    camera.take(bench.watched, "running-lesson", USUAL)
    page.context.close()


def _unfold(page: Page) -> None:
    """Open every group of the course."""
    page.locator(".part.course").wait_for()
    page.locator(".part.course details:not([open]) > summary").evaluate_all("all => all.forEach((one) => one.click())")


def tour_cases(camera: Camera) -> None:
    """A case with its question, answered wrongly, and the assessment, where most is put away."""
    bench = camera.bench()
    page = bench.page
    bench.choose_mode("learn")
    _unfold(page)
    camera.take(bench.watched, "course-unfolded", (DESK, NARROW), zones=("#lesson",))
    bench.begin_lesson(CASE)
    bench.until_read()
    page.wait_for_timeout(2000)
    camera.take(bench.watched, "question", USUAL)
    page.locator(".question input").first.click()
    page.locator("[data-do^=answer-]").first.click()
    page.locator(".question p", has_text="Your answer").first.wait_for()
    camera.take(bench.watched, "question-answered", (DESK,), zones=("#lesson",))
    page.context.close()
    # In the course it is locked until all else is mastered; who sets it may open it.
    bench = camera.bench(f"?lesson={_ASSESSMENT}&seed=7")
    page = bench.page
    page.locator("[data-do=begin]").click()
    page.locator(".seed", has_text="Variation").wait_for()
    bench.until_read()
    page.wait_for_timeout(2000)
    camera.take(bench.watched, "assessment", USUAL)
    page.context.close()


def tour_reference(camera: Camera) -> None:
    """The reference pages, each open."""
    bench = camera.bench()
    page = bench.page
    bench.choose_mode("learn")
    page.locator("[data-do=reference]").click()
    page.locator("details[data-page]").first.wait_for()
    camera.take(bench.watched, "reference", USUAL, whole=False)
    names = page.locator("details[data-page]").evaluate_all("all => all.map((one) => one.dataset.page)")
    for place, name in enumerate(names):
        page.locator("details[data-page][open] summary").evaluate_all("all => all.forEach((one) => one.click())")
        page.locator(f"details[data-page={name}] summary").click()
        page.wait_for_timeout(300)
        camera.take(bench.watched, f"reference-{name}", (DESK, NARROW), whole=False)
        if place == 0:
            camera.print(page, "reference")
    page.locator("#reference-filter").fill("quadrature")
    page.wait_for_timeout(400)
    camera.take(bench.watched, "reference-found", (DESK, DARK), whole=False, judged=False)
    page.locator("#reference-filter").fill("no such thing")
    page.wait_for_timeout(400)
    camera.take(bench.watched, "reference-nothing-found", (DESK,), whole=False)
    page.context.close()


def tour_records(camera: Camera) -> None:
    """Records of nobody and of somebody, a file that is refused, one that would add something, no storage."""
    records = RecordsPage(camera.context(), camera.url)
    page, watched = records.page, records.watched
    records.open_details()
    camera.take(watched, "records-empty", USUAL, zones=("#lesson",))
    records.make_learner("Robin Vale")
    page.locator("[data-do=paper_practice]").click()
    _sheet(camera, records.bench, "paper-practice-empty")
    records.give_file("broken.json", b"{ not JSON")
    page.wait_for_timeout(1500)
    camera.take(watched, "records-import-refused", USUAL, zones=("#lesson",))
    page.locator("[data-do=delete]").click()
    page.wait_for_timeout(400)
    camera.take(watched, "records-delete", (DESK,), zones=("#lesson",))
    page.context.close()
    records = RecordsPage(camera.context(), camera.url, init_script=_REFUSE, query="?lesson=none-such&seed=7")
    camera.take(records.watched, "link-refused-and-no-storage", USUAL, zones=("#link-notice", "#lesson"))
    records.page.context.close()
