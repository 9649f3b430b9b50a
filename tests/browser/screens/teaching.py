"""Tours of what instructors and authors meet: demonstrations, the console, the class report, links, own lessons.

Contents: `tour_demonstrate`, `tour_report`, `tour_setting`.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any
from urllib.parse import quote

from bandbench.bench.classsample import sample_records
from bandbench.bench.faults import FAULTS
from tests.browser.records_driver import LESSONS, RecordsPage
from tests.browser.screens.camera import ALL, DARK, DESK, NARROW, SMALL, USUAL, Camera
from tests.browser.watching import WatchedPage
from tests.class_records import CASE, anna, ben

__all__ = ["tour_demonstrate", "tour_report", "tour_setting"]

_LESSON = "tracking-and-guide"
_FILES = Path(__file__).parents[3] / "lessons"
_LEARNERS = 200
# A class's logs are lived through again; those of a case need no frame, yet there are many.
_REPORT_MS = 600_000


def tour_demonstrate(camera: Camera) -> None:
    """Demonstrate, the console beside it, and a demonstration that is shown."""
    bench = camera.bench()
    page = bench.page
    bench.choose_mode("demonstrate")
    page.locator("[data-do=console]").wait_for()
    camera.take(bench.watched, "demonstrate", USUAL, zones=("#lesson",))
    with page.context.expect_page() as opened:
        page.keyboard.press("Alt+Shift+K")
    console = WatchedPage(opened.value, camera.url)
    console.page.wait_for_selector("body[data-state=connected]")
    camera.take(console, "console", (DESK, NARROW))
    console.page.locator("#faults").select_option("clogged_head_3")
    console.page.locator("[data-key=p]").click()
    console.page.locator("#planted li").wait_for()
    console.page.locator("#demonstrations").select_option("one-head-in-four")
    console.page.locator("[data-key=s]").click()
    console.page.locator("#cue .notes").wait_for()
    console.page.locator("[data-key=m]").click()
    console.page.wait_for_timeout(2500)
    camera.take(console, "console-demonstrating", ALL)
    page.bring_to_front()
    camera.take(bench.watched, "demonstrate-shown", USUAL)
    console.page.close()
    page.context.close()
    alone = camera.open(f"{camera.url}console.html")
    alone.page.wait_for_timeout(1500)
    camera.take(alone, "console-alone", (DESK, NARROW))
    alone.page.context.close()


def _payload(name: str, text: str) -> Any:
    return {"name": name, "mimeType": "application/json", "buffer": text.encode()}


def tour_report(camera: Camera) -> None:
    """The class report: empty, of a small class with a file that is refused, of 200 learners, and the page it saves."""
    bench = camera.bench()
    page = bench.page
    bench.choose_mode("demonstrate")
    page.locator("[data-do=report]").first.click()
    page.locator(".report-dialog").wait_for()
    camera.take(bench.watched, "report-empty", whole=False)
    files = []
    for name, data in (("anna.json", anna()), ("ben.json", ben())):
        data["attempts"] = [row for row in data["attempts"] if row["lesson"] == CASE]
        files.append(_payload(name, json.dumps(data)))
    page.locator("#report-files").set_input_files([*files, _payload("broken.json", "{")])
    page.locator("[data-person]").first.wait_for(timeout=_REPORT_MS)
    page.wait_for_timeout(2000)
    page.locator("[data-person]").first.click()
    page.locator("#report-person").wait_for()
    camera.take(bench.watched, "report", whole=False)
    camera.print(page, "report")
    page.locator("[data-do=report_clear]").click()
    cases = [LESSONS[CASE], LESSONS["diagnosis-noise-every-fourth-band"]]
    made = [_payload(name, text) for name, text in sample_records(cases, FAULTS, _LEARNERS, 2, spoilt_share=0.03)]
    page.locator("#report-files").set_input_files(made)
    page.wait_for_timeout(1500)
    camera.take(bench.watched, "report-in-progress", (DESK,), whole=False, judged=False)
    done = f"[data-going=false][data-done='{2 * _LEARNERS} of {2 * _LEARNERS}']"
    page.wait_for_selector(f".report-dialog{done}", timeout=_REPORT_MS)
    page.locator(f"[data-person='{_LEARNERS - 1}']").wait_for()
    camera.take(bench.watched, "report-of-200", USUAL, whole=False)
    camera.print(page, "report-of-200")
    with page.expect_download() as download:
        page.locator("[data-do=report_page]").click()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / download.value.suggested_filename
        download.value.save_as(path)
        saved = camera.open(path.as_uri())
        camera.take(saved, "report-page-of-200", USUAL)
        camera.print(saved.page, "report-page-of-200")
        saved.page.context.close()
    page.context.close()


def tour_setting(camera: Camera) -> None:
    """A lesson of one's own, refused and good, the form that sets lessons, and what a learner gets by its link."""
    records = RecordsPage(camera.context(), camera.url)
    page, watched = records.page, records.watched
    records.to_course()
    file = page.locator(".authoring input[type=file]")
    file.evaluate("input => { input.closest('details').open = true; }")
    text = (_FILES / f"{_LESSON}.toml").read_text("utf-8")
    spoilt = text.replace('id = "', 'x = "', 1).encode()
    file.set_input_files({"name": "wrong.toml", "mimeType": "", "buffer": spoilt})
    page.locator(".authoring .problems li").first.wait_for()
    camera.take(watched, "authoring-refused", USUAL, zones=("#lesson",))
    file.set_input_files({"name": "mine.toml", "mimeType": "", "buffer": text.encode()})
    page.locator("[data-do=preview]").wait_for()
    camera.take(watched, "authoring-good", (DESK,), zones=("#lesson",))
    page.locator("details.assignment-details > summary").click()
    page.locator("details.maker > summary").click()
    page.locator("#set-lesson").select_option("rf-envelope")
    page.locator("[data-do=set_add]").click()
    page.locator("[data-do=set_copy]").wait_for()
    page.wait_for_timeout(800)
    camera.take(watched, "link-form", (DESK, DARK, SMALL, NARROW), zones=("#lesson",))
    page.context.close()
    query = f"?title={quote('Week 3')}&due={quote('Friday')}&lessons={_LESSON}:7:hints-1,rf-envelope"
    records = RecordsPage(camera.context(), camera.url, query=query)
    camera.take(records.watched, "assignment", USUAL, zones=("#lesson",))
    records.page.context.close()
