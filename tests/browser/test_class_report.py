"""The class report in a real browser: by keyboard, from files to saved pages; names that would be markup stay text."""

from __future__ import annotations

import json
import uuid
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Dialog, Page

from sim.training.verdicts import verdict_from_text
from tests.browser.accessibility import axe_problems
from tests.browser.bench_driver import BenchPage
from tests.browser.watching import WatchedPage
from tests.class_records import CASE, Data, anna, ben
from tests.test_class_report_files import HOSTILE, spoilt

# Elements that could run or fetch anything; the part itself has none of them.
_ACTIVE = "script, img, iframe, object, embed, svg, link, a[href], style:not(:first-of-type)"
# Every verdict that the page keeps, as [name, text].
_KEPT = """() => new Promise((resolve, reject) => {
  const opening = indexedDB.open("bandbench-verdicts", 1);
  opening.onerror = () => reject(opening.error);
  opening.onsuccess = () => {
    const store = opening.result.transaction("verdicts").objectStore("verdicts");
    const keys = store.getAllKeys();
    const rows = store.getAll();
    rows.onsuccess = () => {
      opening.result.close();
      resolve(keys.result.map((key, place) => [key, rows.result[place].text]));
    };
  };
})"""


def payload(name: str, data: Data) -> Any:
    return {"name": name, "mimeType": "application/json", "buffer": json.dumps(data).encode()}


def only_cases(data: Data) -> Data:
    """Keep the attempts that are scored without playing a frame."""
    data["attempts"] = [row for row in data["attempts"] if row["lesson"] == CASE]
    return data


def hostile_files() -> list[Any]:
    """Return a file for each hostile name, each of a learner of its own."""
    files = []
    for number, name in enumerate(HOSTILE, start=1):
        file_name, data = spoilt(name)
        learner = str(uuid.UUID(int=7000 + number, version=4))
        text = json.dumps(data).replace(data["profile"]["id"], learner)
        files.append(payload(file_name, json.loads(text)))
    return files


def done(bench: BenchPage, part: str) -> None:
    """Wait until every log is scored and the tables are there."""
    dialog = bench.page.locator(".report-dialog")
    bench.until(
        lambda: dialog.get_attribute("data-going") == "false" and bench.page.locator(part).first.is_visible(),
        "the report",
        seconds=240.0,
    )


def saved(page: Page, kind: str, folder: Path) -> Path:
    with page.expect_download() as download:
        page.locator(f"[data-do=report_{kind}]").press("Enter")
    path = folder / download.value.suggested_filename
    download.value.save_as(path)
    return path


def test_a_class_is_reported_by_keyboard_and_no_name_becomes_markup(still_page: WatchedPage, tmp_path: Path) -> None:
    bench = BenchPage(still_page)
    page = bench.page
    opened: list[str] = []

    def note(dialog: Dialog) -> None:
        opened.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", note)
    bench.tab_to(do="report")
    page.keyboard.press("Enter")
    page.locator(".report-dialog").wait_for()
    assert axe_problems(bench.page) == []
    honest = [payload("anna.json", only_cases(anna())), payload("ben.json", only_cases(ben()))]
    page.locator("#report-files").set_input_files([*honest, *hostile_files()])
    done(bench, "[data-person]")
    # What the logs were worth is kept for the next visit, and no learner's name with it.
    bench.until(lambda: len(page.evaluate(_KEPT)) > 0, "the verdicts that are kept")
    for key, text in page.evaluate(_KEPT):
        assert verdict_from_text(key, text) is not None
        assert not any(name in text for name in ("Anna", "Ben"))
    names = page.locator("[data-person]").all_text_contents()
    assert sorted(names) == sorted(["Anna", "Ben", *(name[:60] for name in HOSTILE)])
    row = page.locator(".report-matrix tbody tr", has_text="Ben").first
    assert "review due 2026-03-03" in (row.text_content() or "")
    # What stands behind a row, by keyboard, and back.
    bench.tab_to(text="Ben")
    page.keyboard.press("Enter")
    page.locator("#report-person", has_text="Ben").wait_for()
    assert "Attempts 2, passes 2" in (page.locator(".report-evidence").text_content() or "")
    page.locator("[data-do=report_person_close]").press("Enter")
    assert bench.focused()[4] == "Ben"
    assert axe_problems(bench.page) == []
    assert page.locator(".report-body").locator(_ACTIVE).count() == 0
    page.set_viewport_size({"width": 320, "height": 800})
    wide = page.locator(".report-body").evaluate("(body) => body.scrollWidth - body.clientWidth")
    page.set_viewport_size({"width": 1400, "height": 900})
    assert wide <= 0
    skills = saved(page, "skills", tmp_path).read_text("utf-8-sig")
    assert skills.startswith("learner,learner_number,")
    _page_stays_quiet(page.context, saved(page, "page", tmp_path), opened)
    # Taken away, nothing is left; the bench is there as before.
    page.locator("[data-do=report_clear]").press("Enter")
    page.locator(".report-result").wait_for(state="hidden")
    page.locator("[data-do=report_close]").press("Enter")
    page.locator(".report-dialog").wait_for(state="hidden")
    assert opened == []
    assert still_page.foreign_requests() == []
    bench.check_unhurt()


def _page_stays_quiet(context: BrowserContext, path: Path, opened: list[str]) -> None:
    """Open the saved page: its style holds, its names are text, and nothing in it runs or is fetched."""
    page = context.new_page()
    page.on("dialog", lambda dialog: opened.append(dialog.message))
    fetched: list[str] = []
    page.on("request", lambda request: fetched.append(request.url))
    page.goto(path.as_uri())
    assert fetched == [path.as_uri()]
    assert page.locator("body").locator(_ACTIVE).count() == 0
    texts = page.locator(".matrix tbody th").all_text_contents()
    assert set(texts) >= {name[:60] for name in HOSTILE}
    assert page.locator("table").first.evaluate("(table) => getComputedStyle(table).borderCollapse") == "collapse"
    page.close()
