"""The course, the debrief on paper, the replay, the reference pages and a lesson of one's own, in a real browser."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.browser.accessibility import axe_problems
from tests.browser.bench_driver import BenchPage
from tests.browser.watching import WatchedPage

LESSONS = Path(__file__).parents[2] / "lessons"
LESSON = "tracking-and-guide"
REFERENCE = ".reference-dialog[aria-labelledby=reference-title]"
OTHERS = (".top", "#lesson", "#picture", "#waveform", "#path", "#controls", "#transport", "#deck", "#log", "#replay")


@pytest.fixture
def bench(still_page: WatchedPage) -> BenchPage:
    return BenchPage(still_page)


def to_course(bench: BenchPage) -> None:
    """Go to the course, wherever the test before left the page."""
    page = bench.page
    if page.locator("[data-do=replay_leave]").is_visible():
        page.locator("[data-do=replay_leave]").click()
    if page.locator("[data-do=reference_close]").is_visible():
        page.locator("[data-do=reference_close]").click()
    bench.choose_mode("learn")
    page.locator(".part.course").wait_for()


def begin(bench: BenchPage, lesson: str) -> None:
    """Choose a lesson in the course and begin it, with the mouse."""
    to_course(bench)
    entry = bench.page.locator(f"[data-lesson={lesson}]")
    if not entry.is_visible():
        bench.page.locator("details[data-group]", has=entry).locator("summary").click()
    entry.click()
    bench.until(lambda: entry.get_attribute("aria-current") == "true", "the choice")
    bench.page.locator("[data-do=begin]").click()
    bench.page.locator(".seed", has_text="Variation").wait_for()


def drop(bench: BenchPage, name: str, data: bytes) -> None:
    """Drop a file on the lesson's place of the page."""
    # One character for each byte: a list of numbers takes the page half a minute for a large file.
    bench.page.evaluate(
        """([name, text]) => {
          const transfer = new DataTransfer();
          transfer.items.add(new File([Uint8Array.from(text, (character) => character.charCodeAt(0))], name));
          const event = new DragEvent("drop", { dataTransfer: transfer, bubbles: true, cancelable: true });
          document.getElementById("lesson").dispatchEvent(event);
        }""",
        [name, data.decode("latin-1")],
    )


def plots_drawn(bench: BenchPage) -> None:
    """Wait for the result's plots: a canvas each, as many as the bench has made, none without its size."""
    sizes = bench.page.locator("#root-result-plots canvas.bk-layer")
    widths = "all => all.map((canvas) => canvas.width)"

    def drawn() -> bool:
        before = sizes.evaluate_all(widths)
        bench.page.wait_for_timeout(100)
        return len(before) > 0 and all(before) and sizes.evaluate_all(widths) == before

    bench.until(drawn, "the plots")


# The course -------------------------------------------------------------------------------------------------


def test_a_lesson_is_chosen_with_the_keyboard(bench: BenchPage) -> None:
    page = bench.page
    bench.tab_to(mode="learn")
    page.keyboard.press("Enter")
    page.locator(".part.course").wait_for()
    bench.screenshot("course-1-new")
    assert page.locator("details[data-group][open]").count() == 1
    # Another group is opened, and a lesson in it chosen.
    target = page.locator("[data-lesson=guide-height]")
    assert not target.is_visible()
    group = page.locator("details[data-group=guide-and-heads] summary")
    bench.tab_to(text=(group.text_content() or "").strip())
    page.keyboard.press("Enter")
    bench.until(target.is_visible, "the group to open")
    assert "best after" in (target.text_content() or "")
    bench.tab_to(text=(target.text_content() or "").strip())
    page.keyboard.press("Enter")
    bench.until(lambda: target.get_attribute("aria-current") == "true", "the choice")
    bench.until(lambda: "Guide height" in (page.locator(".briefing h3").text_content() or ""), "its briefing")
    # The focus is at the top of the lesson's place: the next stop is to begin.
    bench.tab_to(do="begin")
    page.keyboard.press("Enter")
    page.locator(".step-title").wait_for()
    assert page.locator(".part.course").is_hidden()
    bench.check_unhurt()


def test_course_fits_a_narrow_page(bench: BenchPage) -> None:
    page = bench.page
    to_course(bench)
    page.set_viewport_size({"width": 320, "height": 800})
    bench.screenshot("course-2-narrow")
    problems = axe_problems(bench.page)
    wide = page.evaluate("document.documentElement.scrollWidth")
    page.set_viewport_size({"width": 1400, "height": 900})
    assert wide <= 320
    assert problems == []


# Reference --------------------------------------------------------------------------------------------------


def test_reference_opens_from_a_lesson_filters_and_closes(bench: BenchPage) -> None:
    page = bench.page
    begin(bench, LESSON)
    bench.tab_to(do="reference")
    page.keyboard.press("Enter")
    dialog = page.locator(REFERENCE)
    dialog.wait_for()
    bench.until(lambda: page.locator("details[data-page]").count() == 7, "the pages")
    everything = page.locator("#reference-count").text_content() or ""
    bench.tab_to(id="reference-filter")
    page.keyboard.type("scallop")
    bench.until(lambda: "scallop" in (page.locator("#reference-count").text_content() or ""), "the filter")
    found = page.locator(".reference-pages tr:visible th[scope=row]").all_inner_texts()
    assert "scallop" in found
    assert 0 < len(found) < int(re.findall(r"\d+", everything)[0])
    bench.screenshot("reference-1-filtered", full_page=False)
    assert axe_problems(bench.page) == []
    for _ in range(7):
        page.keyboard.press("Backspace")
    page.keyboard.type("zzz")
    bench.until(lambda: page.locator("details[data-page]:visible").count() == 0, "nothing found")
    page.keyboard.press("Control+a")
    page.keyboard.press("Delete")
    page.keyboard.press("Escape")
    bench.until(dialog.is_hidden, "the dialog to close")
    assert bench.focused()[1] == "reference"
    bench.check_unhurt()


def test_reference_is_read_on_a_narrow_page(bench: BenchPage) -> None:
    page = bench.page
    to_course(bench)
    page.locator("[data-do=reference]").click()
    page.set_viewport_size({"width": 320, "height": 800})
    page.locator("details[data-page=standards] summary").click()
    page.locator("details[data-page=standards][open]").wait_for()
    bench.screenshot("reference-2-narrow", full_page=False)
    wide = page.locator(REFERENCE).evaluate("element => [element.scrollWidth, element.clientWidth]")
    page.set_viewport_size({"width": 1400, "height": 900})
    bench.screenshot("reference-3-standards", full_page=False)
    page.keyboard.press("Escape")
    assert wide[0] <= wide[1]


# Debrief and replay -----------------------------------------------------------------------------------------


def test_a_replay_moves_the_controls_and_leaves_everything_as_it_was(bench: BenchPage) -> None:
    page = bench.page
    begin(bench, LESSON)
    bench.open_stage("tape")
    control = bench.control("tracking_phase_deg")
    start = control.input_value()
    page.locator("[data-do=hint]").click()
    control.focus()
    for _ in range(3):
        bench.press("PageUp")
    moved = control.input_value()
    assert moved != start
    page.locator("[data-do=check]").click()
    page.locator("[data-do=result]").click()
    page.locator("#result h3.outcome").wait_for()
    plots_drawn(bench)
    bench.screenshot("debrief-1-missed")
    kinds = page.locator(".event-list li").evaluate_all("rows => rows.map((row) => row.dataset.kind)")
    assert kinds == ["hint", "move", "submission"]
    assert "Do the same lesson again" in (page.locator(".do-next").text_content() or "")
    bench.tab_to(do="replay")
    page.keyboard.press("Enter")
    page.locator("#replay").wait_for()
    assert "Replay" in (page.locator(".replay-mark").text_content() or "")
    # From the start, the control stands where it was delivered, and then moves by itself.
    page.locator("#replay-place").focus()
    page.keyboard.press("Home")
    bench.until(lambda: control.input_value() == start, "the start")
    bench.screenshot("replay-1-start", full_page=False)
    before = bench.drawn_revision
    for _ in range(5):
        page.locator("[data-do=replay_next]").click()
    bench.until(lambda: control.input_value() == moved, "the control to move")
    bench.until(lambda: bench.drawn_revision > before, "the picture of it")
    bench.screenshot("replay-2-end", full_page=False)
    assert axe_problems(bench.page) == []
    # At sixteen times the speed it comes to the end by itself.
    page.locator("#replay-speed").select_option("16")
    page.locator("#replay-place").focus()
    page.keyboard.press("Home")
    page.locator("[data-do=replay_play]").click()
    bench.until(lambda: page.locator("[data-do=replay_play]").text_content() == "From the beginning", "the end")
    # Nothing can be turned meanwhile.
    control.focus()
    page.keyboard.press("PageUp")
    bench.until(lambda: bench.note("tracking_phase_deg") != "", "the refusal")
    assert "replay" in bench.note("tracking_phase_deg")
    page.locator("[data-do=replay_leave]").click()
    bench.until(page.locator("#replay").is_hidden, "the replay to end")
    page.locator("#result h3.outcome").wait_for()
    assert page.locator(".event-list li").count() == 3
    assert control.input_value() == moved
    bench.check_unhurt()


def test_debrief_is_printed_alone_in_black_on_white(bench: BenchPage) -> None:
    page = bench.page
    begin(bench, LESSON)
    page.locator("[data-do=check]").click()
    page.locator("[data-do=result]").click()
    page.locator("#result h3.outcome").wait_for()
    plots_drawn(bench)
    page.emulate_media(media="print", color_scheme="dark")
    try:
        bench.screenshot("debrief-2-print")
        reason = page.locator("#result .reason")
        seen = {
            "shown": [zone for zone in ("#result", *OTHERS) if page.locator(zone).is_visible()],
            "buttons": page.locator("[data-do=print]").is_visible(),
            "ink": reason.evaluate("element => getComputedStyle(element).color"),
            "ground": page.evaluate("getComputedStyle(document.body).backgroundColor"),
        }
    finally:
        page.emulate_media(media="screen", color_scheme="light")
    assert seen == {"shown": ["#result"], "buttons": False, "ink": "rgb(0, 0, 0)", "ground": "rgb(255, 255, 255)"}
    bench.check_unhurt()


# A lesson of one's own --------------------------------------------------------------------------------------


def test_a_dropped_lesson_is_judged_previewed_and_not_kept(bench: BenchPage) -> None:
    page = bench.page
    to_course(bench)
    text = (LESSONS / f"{LESSON}.toml").read_text("utf-8")
    title = re.search(r'^title = "(.*)"$', text, re.MULTILINE)
    assert title
    drop(bench, "mine.toml", text.replace(title[1], "My own lesson", 1).encode())
    page.locator(".authoring h4", has_text="Preview (not kept): My own lesson").wait_for()
    bench.screenshot("authoring-1-good")
    page.locator("[data-do=preview]").click()
    bench.until(lambda: page.locator(".briefing h3").text_content() == "My own lesson", "the preview's briefing")
    page.locator("[data-do=begin]").click()
    page.locator(".step-title").wait_for()
    page.locator("[data-do=hint]").click()
    page.locator(".hint").wait_for()
    page.locator("[data-do=leave]:visible").first.click()
    page.locator("[data-mode=learn]").wait_for()
    assert "My own lesson" not in (page.locator(".left-attempts").text_content() or "")
    bench.check_unhurt()


def test_a_bad_file_is_refused_with_what_to_do(bench: BenchPage) -> None:
    page = bench.page
    to_course(bench)
    drop(bench, "bad.toml", b"title = = 1")
    page.locator(".authoring .problems", has_text="is not TOML").wait_for()
    assert page.locator("[data-do=preview]").is_hidden()
    drop(bench, "latin.toml", "title = 'fl\u00fcgel'".encode("latin-1"))
    page.locator(".authoring .note", has_text="UTF-8").wait_for()
    drop(bench, "big.toml", b"#" * 2_100_000)
    page.locator(".authoring .note", has_text="kB").wait_for()
    text = (LESSONS / f"{LESSON}.toml").read_text("utf-8")
    drop(bench, "wrong.toml", text.replace('id = "', 'identity = "', 1).encode())
    page.locator(".authoring .problems", has_text="identity").wait_for()
    bench.screenshot("authoring-2-bad")
    assert axe_problems(bench.page) == []
    bench.check_unhurt()


def test_the_proof_runs_and_says_what_it_found(bench: BenchPage) -> None:
    page = bench.page
    to_course(bench)
    drop(bench, "mine.toml", (LESSONS / f"{LESSON}.toml").read_bytes())
    page.locator(".authoring h4", has_text="Preview (not kept)").wait_for()
    page.locator("[data-do=prove]").click()
    page.locator(".authoring [role=status]", has_text="Proved with 1 variations").wait_for(timeout=120_000)
    bench.check_unhurt()
