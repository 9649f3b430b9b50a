"""Links good and bad, what they set, and sheets of paper, in a real browser; no text given from outside ever runs."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from urllib.parse import quote

import pytest

from sim.training.assignment import Assignment, Task
from tests.browser.accessibility import axe_problems
from tests.browser.bench_driver import WAIT_S
from tests.browser.records_driver import LESSONS, RecordsPage
from tests.browser.visitors import Visitors

LESSON = "tracking-and-guide"
# Texts that would run if anything took them for markup (common practice of testing for script injection).
XSS = '"><img src=x onerror=globalThis.hurt=1><script>globalThis.hurt=1</script>'
LINK = f"?title={quote(XSS)}&due={quote('<b>Friday</b>')}&lessons={LESSON}:7:hints-1,rf-envelope"
A4_POINTS, LETTER_POINTS = (595, 842), (612, 792)


@pytest.fixture(scope="module")
def opened(visitors: Visitors, site_url: str) -> Iterator[RecordsPage]:
    """Return one page for all tests here, opened with a link that sets two lessons."""
    context = visitors.still(accept_downloads=True)
    page = RecordsPage(context, site_url, query=LINK)
    yield page
    context.close()


def unhurt(opened: RecordsPage) -> None:
    assert opened.page.evaluate("globalThis.hurt") is None
    opened.bench.check_unhurt()


def boxes(pdf: bytes) -> list[tuple[int, int]]:
    """Return the size of each page in points, as the file says it (PUB, ISO 32000 section 7.7.3.3: MediaBox)."""
    found = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    return [(round(float(width)), round(float(height))) for width, height in found]


def test_a_link_sets_lessons_and_holds_to_the_help_it_permits(opened: RecordsPage) -> None:
    page, bench = opened.page, opened.bench
    assigned = page.locator(".assigned")
    assigned.locator("[data-task='1']").wait_for()
    assert XSS in (assigned.locator("h3").text_content() or "")
    assert "Due: <b>Friday</b>." in (assigned.locator(".about").first.text_content() or "")
    assert axe_problems(page, "#lesson") == []
    opened.press(text=(assigned.locator("[data-task='0']").text_content() or "").strip())
    page.locator(".briefing .set-for-you", has_text="variation 7").wait_for()
    opened.press(do="begin")
    page.locator(".seed", has_text="Variation 7").wait_for()
    assert page.locator(".why-hidden", has_text="set without explaining drawings").is_visible()
    assert page.locator("[data-do=reference]").is_hidden()
    opened.press(do="hint")
    page.locator(".hint").wait_for()
    bench.until(lambda: page.locator("[data-do=hint]").is_hidden(), "no second hint")
    assert page.locator("[data-do=worked]").is_hidden()
    unhurt(opened)


def test_what_was_found_and_left_is_printed_on_either_paper(opened: RecordsPage) -> None:
    page = opened.page
    opened.solve(LESSON)
    opened.press(do="paper_alignment")
    sheet = page.locator("#paper .sheet.alignment")
    sheet.locator("h1").wait_for()
    assert LESSONS[LESSON].title in (sheet.locator("h1").text_content() or "")
    assert sheet.locator("tbody th[scope=row]").count() >= len(LESSONS[LESSON].controls) + len(LESSONS[LESSON].checks)
    assert "hints to level 1" in (sheet.text_content() or "")
    assert axe_problems(page, "#paper") == []
    for size, points in (("A4", A4_POINTS), ("Letter", LETTER_POINTS)):
        pages = boxes(page.pdf(format=size))
        # The browser rounds to its own picture elements.
        assert all(page_size == pytest.approx(points, abs=2) for page_size in pages)
        # The sheet alone, not the bench behind it.
        assert 1 <= len(pages) <= 3
    page.emulate_media(media="print")
    assert page.locator("main.bench").is_hidden()
    assert page.locator("#paper [data-do=print_sheet]").is_hidden()
    assert sheet.is_visible()
    page.emulate_media(media="screen")
    opened.press(do="close_sheet")
    page.locator("#paper").wait_for(state="hidden")
    # Who asked for the sheet goes on where the button is.
    assert opened.bench.focused()[1] == "paper_alignment"
    opened.close_result()


def test_what_is_done_is_seen_in_the_assignment_and_on_the_record_of_practice(opened: RecordsPage) -> None:
    page = opened.page
    opened.to_course()
    page.locator("[data-task='0'][data-state=done]").wait_for()
    assert page.locator("[data-task='1']").get_attribute("data-state") == "open"
    opened.open_details()
    opened.press(do="rename")
    page.locator("#learner-name").fill(XSS[:60])
    page.keyboard.press("Enter")
    opened.is_learner(XSS[:60])
    opened.press(do="paper_practice")
    sheet = page.locator("#paper .sheet.practice")
    sheet.locator("h1").wait_for()
    assert XSS[:60] in (sheet.locator("h1").text_content() or "")
    assert "Help permitted: hints to level 1." in (sheet.locator("tbody").text_content() or "")
    assert sheet.locator("img, script").count() == 0
    page.set_viewport_size({"width": 320, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.set_viewport_size({"width": 1400, "height": 900})
    page.locator("[data-do=close_sheet]").click()
    unhurt(opened)


def test_a_link_is_made_that_opens_as_it_says_and_files_are_judged(opened: RecordsPage) -> None:
    page, bench = opened.page, opened.bench
    opened.press(text="Set lessons, or open an assignment")
    opened.press(text="Make a link for others")
    page.locator("#set-lesson").select_option("rf-envelope")
    page.locator("#set-seed").fill("12")
    page.locator("#set-why").uncheck()
    link = page.locator("#set-link")
    wanted = "?lesson=rf-envelope&seed=12&help=hints-3,worked,glossary"
    bench.until(lambda: link.input_value().endswith(wanted), "the link")
    opened.press(do="set_add")
    page.locator("#set-title").fill(XSS)
    bench.until(lambda: "lessons=rf-envelope:12&help=hints-3,worked,glossary" in link.input_value(), "the list's link")
    with page.expect_download(timeout=1000 * WAIT_S) as download:
        opened.press(do="set_save")
    assert axe_problems(page, "#lesson") == []
    file = page.locator("#assignment-file")
    file.set_input_files(download.value.path().rename(download.value.path().with_suffix(".toml")))
    page.locator("[data-task='0']", has_text=LESSONS["rf-envelope"].title).wait_for()
    bench.until(lambda: page.locator("[data-task]").count() == 1, "the file's list")
    # The address has it now, so that it comes back with the page.
    bench.until(lambda: "rf-envelope:12" in page.url, "the address")
    bad = Assignment("A", (Task("rf-envelope"),)).to_toml().replace("rf-envelope", "none-such")
    file.set_input_files({"name": "<img src=x onerror=globalThis.hurt=1>.toml", "mimeType": "", "buffer": bad.encode()})
    notice = page.locator("#link-notice")
    bench.until(lambda: "sets nothing, and everything is as it was" in (notice.text_content() or ""), "the refusal")
    assert page.locator("[data-task]").count() == 1
    opened.press(do="notice_away", backwards=True)
    assert notice.is_hidden()
    unhurt(opened)


def test_a_bad_link_is_told_and_the_bench_is_open_as_usual(opened: RecordsPage) -> None:
    page = opened.page
    opened.watched.start(f"?lesson={quote(XSS)}&seed=7")
    notice = page.locator("#link-notice")
    notice.wait_for()
    told = notice.text_content() or ""
    assert told.startswith("This page was opened with a link that cannot be used")
    assert "“lesson”" in told
    page.locator("[data-mode=learn]").wait_for()
    assert axe_problems(page, "#link-notice") == []
    page.locator("[data-mode=learn]").click()
    page.locator(".part.course").wait_for()
    assert json.dumps(page.evaluate("globalThis.hurt ?? null")) == "null"
