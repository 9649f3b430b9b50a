"""Records in a real browser: kept over a crash, exported, cleared, imported; storage refused; names as data."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

import pytest
from playwright.sync_api import BrowserContext, Dialog

from sim.controls import CONTROLS
from sim.training.deal import deal
from sim.training.lint import solution_attempt
from sim.training.progress import REVIEW_DAYS
from sim.training.solution import solution_moves
from tests.browser.accessibility import axe_problems
from tests.browser.records_driver import LESSONS, RecordsPage, machine_of
from tests.browser.visitors import Visitors

LESSON = "tracking-and-guide"
# A lesson that has changed since its first version.
OUTDATED = "final-assessment"

WRITE_STORE = """([version, stores, rows]) => new Promise((resolve, reject) => {
  const asked = indexedDB.open("bandbench-records", version);
  asked.onerror = () => reject(asked.error);
  asked.onupgradeneeded = () => {
    for (const [name, index] of stores) {
      const store = asked.result.createObjectStore(name, { keyPath: "id" });
      if (index) store.createIndex("profile", "profile");
    }
  };
  asked.onsuccess = () => {
    const db = asked.result;
    const transaction = db.transaction([...db.objectStoreNames], "readwrite");
    for (const [name, row] of rows) transaction.objectStore(name).put(row);
    transaction.oncomplete = () => { db.close(); resolve(); };
  };
})"""

REFUSE = "indexedDB.open = () => { throw new DOMException('no', 'SecurityError'); };"

PROFILE = {"id": "11111111-1111-4111-8111-111111111111", "name": "Ines", "created_at": "2026-01-05T09:00:00.000Z"}


def attempt_row(number: int, log: str | None = None) -> dict[str, Any]:
    """Return an attempt as the store keeps it: nothing was done right in it."""
    events = [{"at_s": 2.0, "kind": "hint_opened", "level": 1}]
    whole = {"format_version": 1, "lesson": LESSON, "lesson_version": 1, "seed": number, "events": events}
    return {
        "id": f"22222222-2222-4222-8222-{number:012d}",
        "profile": PROFILE["id"],
        "lesson": LESSON,
        "lesson_version": LESSONS[LESSON].version,
        "started_at": "2026-01-05T09:00:00.000Z",
        "ended_at": "2026-01-05T09:30:00.000Z",
        "app_version": "0000",
        "log": json.dumps(whole) if log is None else log,
    }


@pytest.fixture
def context(visitors: Visitors) -> Iterator[BrowserContext]:
    made = visitors.still(accept_downloads=True)
    yield made
    made.close()


def is_asked_before_leaving(records: RecordsPage) -> None:
    """Begin to load the page again and stay, when asked whether to lose what is only here."""
    asked: list[str] = []

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    records.page.once("dialog", stay)
    records.page.evaluate("setTimeout(() => location.reload())")
    records.bench.until(lambda: asked == ["beforeunload"], "the question")
    records.is_learner("Jo")


@pytest.mark.parametrize(
    ("script", "text"),
    [
        (REFUSE, "refuses storage"),
        ("Object.defineProperty(globalThis, 'indexedDB', { value: undefined });", "has no storage"),
    ],
    ids=["refused", "missing"],
)
def test_storage_that_is_refused_is_told_once_and_work_goes_on(
    context: BrowserContext, site_url: str, script: str, text: str
) -> None:
    records = RecordsPage(context, site_url, script)
    records.says(text)
    assert records.part.locator("[role=alert]:visible").count() == 1
    records.make_learner("Jo")
    is_asked_before_leaving(records)
    seed = records.begin(LESSON)
    records.solve(LESSON)
    records.press(do="close")
    records.bench.until(lambda: len(records.attempts()) == 1, "the attempt in the list")
    with records.page.expect_download() as handed:
        records.press(do="export_now")
    data = json.loads(Path(handed.value.path()).read_text("utf-8"))
    assert data["profile"]["name"] == "Jo"
    (attempt,) = data["attempts"]
    assert json.loads(attempt["log"])["seed"] == seed
    records.bench.check_unhurt()


def test_a_store_of_a_newer_page_is_left_alone(context: BrowserContext, site_url: str) -> None:
    plain = context.new_page()
    plain.goto(site_url + "build.json")
    plain.evaluate(WRITE_STORE, [99, [["profiles", False]], [["profiles", PROFILE]]])
    plain.close()
    records = RecordsPage(context, site_url)
    records.says("A newer version of this page uses the records")
    records.make_learner("Jo")
    assert records.store() == {"profiles": [PROFILE]}


def passed_row(number: int, days_ago: float) -> dict[str, Any]:
    """Return a passed attempt as the store keeps it, ended so many days ago."""
    machine = machine_of(LESSON)
    log = solution_attempt(LESSONS[LESSON], deal(LESSONS[LESSON], number, machine), machine).to_json()
    ended = datetime.now(UTC) - timedelta(days=days_ago)
    return {**attempt_row(number, log), "ended_at": ended.isoformat(timespec="milliseconds").replace("+00:00", "Z")}


@pytest.fixture(scope="module")
def taken_over(visitors: Visitors, site_url: str) -> Iterator[RecordsPage]:
    """Return one page, shared by tests, that finds a store of the first schema."""
    older = {**json.loads(passed_row(3, 45.0)["log"]), "lesson": OUTDATED, "lesson_version": 1, "events": []}
    rows = [
        ["profiles", PROFILE],
        ["attempts", attempt_row(1)],
        ["attempts", attempt_row(2, "{")],
        ["attempts", {**attempt_row(3, json.dumps(older)), "lesson": OUTDATED, "lesson_version": 1}],
        # Mastered 40 days ago, so that the first review has been due for 39.
        ["attempts", passed_row(4, 41.0)],
        ["attempts", passed_row(5, 40.0)],
    ]
    context = visitors.still()
    plain = context.new_page()
    plain.goto(site_url + "build.json")
    plain.evaluate(WRITE_STORE, [1, [["profiles", False], ["attempts", True]], rows])
    plain.close()
    yield RecordsPage(context, site_url, "globalThis.print = () => { globalThis.printed = true; };")
    context.close()


def test_a_store_of_the_first_schema_is_taken_over(taken_over: RecordsPage) -> None:
    records = taken_over
    assert records.who == "Ines"
    records.open_details()
    records.bench.until(lambda: any("not yet" in text for text in records.attempts()), "the attempt scored")
    assert len(records.attempts()) == 4
    # The damaged one is told, and stays.
    assert "attempts[2].log" in records.part.locator(".unreadable").inner_text()
    store = records.store()
    assert set(store) == {"profiles", "attempts", "running", "notes", "statements"}
    assert store["profiles"] == [{**PROFILE, "used_at": PROFILE["created_at"]}]
    assert store["attempts"][1] == attempt_row(2, "{")
    records.bench.check_unhurt()


def test_kept_attempts_are_looked_back_at_and_a_mastered_lesson_comes_back(taken_over: RecordsPage) -> None:
    records = taken_over
    page, bench = records.page, records.bench
    records.to_course()
    # The course says in words that it is due, and that it comes before anything new.
    state = page.locator(f"[data-lesson={LESSON}] .choice-state")
    bench.until(lambda: "review due since" in (state.text_content() or ""), "the review to be due")
    assert "a review that is due" in (page.locator(".next-lesson").text_content() or "")
    bench.screenshot("records-4-due")

    records.open_details()
    bench.until(lambda: sum("passed" in text for text in records.attempts()) == 2, "the attempts scored")
    listed = records.part.locator(".attempts li")
    outdated = listed.filter(has_text="version 1 of the lesson")
    assert f"this site has version {LESSONS[OUTDATED].version}" in outdated.inner_text()
    assert outdated.locator("button").count() == 0
    bench.screenshot("records-5-kept")
    latest = listed.filter(has_text="variation 5")
    latest.locator("[data-do=kept_replay]").press("Enter")
    page.locator("#replay").wait_for()
    assert "variation 5" in (page.locator(".replay-title").text_content() or "")
    page.locator("#replay-speed").select_option("16")
    page.locator("#replay-place").focus()
    page.keyboard.press("End")
    (control, value), *_ = solution_moves(LESSONS[LESSON], deal(LESSONS[LESSON], 5, machine_of(LESSON)))
    bench.open_stage(CONTROLS[control].stage)
    bench.until(lambda: float(bench.field(control).input_value()) == value, "the control as it was")
    records.press(do="replay_leave")
    # The debrief stands where the replay is left, and closing it leads back to the course.
    page.locator("#result .outcome").first.wait_for()
    assert "variation 5" in (page.locator("#result .about").first.text_content() or "")
    records.close_result()
    bench.until(state.is_visible, "the course again")
    latest.locator("[data-do=kept_print]").press("Enter")
    bench.until(lambda: bool(page.evaluate("globalThis.printed")), "the debrief to be printed")
    records.close_result()
    assert len(records.attempts()) == 4

    # Done again it is not due any more, and comes back after the next interval.
    records.begin(LESSON)
    records.solve(LESSON)
    records.close_result()
    records.to_course()
    bench.until(lambda: "comes back on" in (state.text_content() or ""), "the next interval")
    then = page.evaluate(
        "days => new Date(Date.now() + days * 864e5).toLocaleDateString(document.documentElement.lang, "
        "{ dateStyle: 'medium' })",
        REVIEW_DAYS[1],
    )
    assert then in (state.text_content() or "")
    bench.check_unhurt()


@pytest.fixture(scope="module")
def shared(visitors: Visitors, site_url: str) -> Iterator[RecordsPage]:
    """Return one page, shared by tests that make a learner of their own; its store is full once it is told so."""
    script = """
    const put = IDBObjectStore.prototype.put;
    IDBObjectStore.prototype.put = function (...words) {
      if (globalThis.full) throw new DOMException("no room", "QuotaExceededError");
      return put.apply(this, words);
    };
    """
    context = visitors.still()
    yield RecordsPage(context, site_url, script)
    context.close()


def test_names_are_data_and_never_markup(shared: RecordsPage) -> None:
    records = shared
    name = "<img src=x onerror='hacked=1'><script>hacked=1</script>"
    records.make_learner(name)
    data = {
        "format": "bandbench-records",
        "format_version": 1,
        "exported_at": "2026-03-01T10:00:00Z",
        "app_version": "x",
        "profile": {**PROFILE, "name": "<b onclick=hacked=1>Ines</b>", "used_at": "2026-01-05T09:00:00.000Z"},
        "attempts": [],
        "running": [],
        "notes": [
            {
                "id": "33333333-3333-4333-8333-333333333333",
                "profile": PROFILE["id"],
                "lesson": LESSON,
                "written_at": "2026-03-01T10:00:00Z",
                "text": "<img src=x onerror='hacked=1'>",
            }
        ],
    }
    records.give_file("ines.json", json.dumps(data).encode())
    records.part.get_by_text("<b onclick=hacked=1>Ines</b>").first.wait_for()
    records.press(do="accept")
    records.is_learner("<b onclick=hacked=1>Ines</b>")
    records.begin(LESSON)
    records.part.locator(".notes > summary").press("Enter")
    records.part.locator(".note-text", has_text="<img src=x").wait_for()
    assert records.part.locator("img, script, b").count() == 0
    assert records.page.evaluate("globalThis.hacked") is None
    # Deleted in two steps, after which the other learner is there.
    records.press(do="delete")
    records.press(do="delete_done")
    records.is_learner(name)
    assert records.store()["notes"] == []
    records.bench.check_unhurt()


def test_files_that_are_no_records_change_nothing(shared: RecordsPage) -> None:
    records = shared
    records.make_learner("Kim")
    before = records.store()
    for name, content, text in (
        ("cut.json", b'{"format": "bandbench-records", "format_ver', "is not a file of records in JSON"),
        ("foreign.json", b'{"format": "something"}', "another program's file"),
        ("picture.json", b"\x89PNG\r\n\x1a\n\xff", "is not a text file"),
        ("newer.json", b'{"format": "bandbench-records", "format_version": 7}', "newer program"),
    ):
        records.give_file(name, content)
        records.says(text)
        records.says(name)
        records.says("Nothing has changed.")
        assert records.part.locator("[data-do=accept]").is_hidden()
        assert records.store() == before
    records.bench.check_unhurt()


def test_a_full_store_is_told_and_written_to_once_there_is_room(shared: RecordsPage) -> None:
    records = shared
    records.make_learner("Lee")
    records.page.evaluate("globalThis.full = true")
    records.begin(LESSON)
    records.set_control("guide_position_um", 4.0)
    records.says("no room left")
    assert records.store()["running"] == []
    records.page.evaluate("globalThis.full = false")
    records.set_control("guide_position_um", 5.0)
    records.bench.until(lambda: records.part.get_attribute("data-storage") == "kept", "the store to be used again")
    assert '"value": 5.0' in records.store()["running"][0]["log"]
    assert records.part.locator("[role=alert]:visible").count() == 0
    records.bench.check_unhurt()


def test_two_tabs_do_not_go_on_with_the_same_attempt_and_the_part_has_no_barriers(
    shared: RecordsPage, site_url: str
) -> None:
    one = shared
    one.make_learner("Jo with a name that goes on and on without an end in sight")
    one.begin(LESSON)
    one.set_control("guide_position_um", 6.0)
    one.bench.until(lambda: '"value": 6.0' in str(one.store()["running"]), "the attempt to be kept")
    records = RecordsPage(one.page.context, site_url)
    records.part.locator(".left-attempt", has_text="It is open in another tab.").wait_for()
    assert records.part.locator("[data-do=resume]").count() == 0
    one.page.close()
    # The whole part, with all that it can hold: the attempt that was left, the details, what is asked before deleting.
    records.open_details()
    records.press(do="delete")
    looks: tuple[tuple[int, Literal["light", "dark"]], ...] = ((1400, "light"), (320, "dark"))
    for width, scheme in looks:
        records.page.set_viewport_size({"width": width, "height": 800})
        # Colours are judged as they come to rest: without motion, that is at once.
        records.page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        assert axe_problems(records.page, "#lesson") == []
    assert records.page.evaluate("document.documentElement.scrollWidth") <= 320
    records.bench.screenshot("records-3-narrow")
    for target in records.part.locator("button:visible, summary:visible, input:visible").all():
        box = target.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 24.0
    records.bench.check_unhurt()
