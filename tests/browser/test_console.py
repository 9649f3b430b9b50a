"""The console of an instructor beside a window of the class: every action by its key, and no trace in the class."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page

from bandbench.bench.faults import FAULTS
from tests.browser.accessibility import axe_problems
from tests.browser.bench_driver import BenchPage, keep_picture
from tests.browser.visitors import Visitors
from tests.browser.watching import WatchedPage
from tests.test_readings_away import READING

WAIT_MS = 60_000
# Everything a class's window holds in words: texts and attributes through every shadow root, address and title.
ALL_WORDS = """() => {
  const words = [location.href, document.title];
  const walk = (node) => {
    for (const element of node.querySelectorAll("*")) {
      for (const { name, value } of element.attributes) words.push(`${name}=${value}`);
      if ("value" in element) words.push(String(element.value));
      if (element.shadowRoot) walk(element.shadowRoot);
      for (const child of element.childNodes) if (child.nodeType === Node.TEXT_NODE) words.push(child.nodeValue);
    }
  };
  walk(document);
  return words.join("\\n");
}"""


class Console:
    """The console's page as an instructor uses it: by keys."""

    def __init__(self, page: Page, bench: BenchPage) -> None:
        self.watched = WatchedPage(page, bench.watched.url)
        self.page = page
        self.bench = bench
        page.set_default_timeout(WAIT_MS)
        self.wait_for_connection()

    def wait_for_connection(self) -> None:
        self.page.wait_for_selector("body[data-state=connected]")

    def text(self, place: str) -> str:
        return (self.page.locator(place).text_content() or "").strip()

    def key(self, key: str, outcome: str = "Done") -> None:
        """Press a key and wait for the class's window to say what came of it."""
        self.page.evaluate("document.getElementById('outcome').textContent = ''")
        self.page.keyboard.press(key)
        self.bench.until(lambda: self.text("#outcome").startswith(outcome), f"the outcome of {key}")

    def choose(self, key: str, place: str, value: str) -> None:
        """Go to a list by its key, choose in it, and leave it."""
        self.page.keyboard.press(key)
        assert self.page.evaluate("document.activeElement.id") == place
        self.page.locator(f"#{place}").select_option(value)
        self.page.keyboard.press("Escape")


@pytest.fixture(scope="module")
def bench(visitors: Visitors, site_url: str) -> Iterator[BenchPage]:
    """The class's window, in Demonstrate."""
    context = visitors.still()
    watched = WatchedPage(context.new_page(), site_url)
    watched.start()
    page = BenchPage(watched)
    page.choose_mode("demonstrate")
    yield page
    page.check_unhurt()
    context.close()


@pytest.fixture(scope="module")
def console(bench: BenchPage) -> Console:
    """The console, opened with the key from the class's window."""
    bench.page.locator("[data-do=console]").wait_for()
    with bench.page.context.expect_page() as opened:
        bench.page.keyboard.press("Alt+Shift+K")
    return Console(opened.value, bench)


def words_of_class(bench: BenchPage) -> str:
    return str(bench.page.evaluate(ALL_WORDS)) + str(bench.page.locator("body").aria_snapshot())


# Every text and attribute of the class's zones, by zone. What a hand has set is no reading; nor is a picture's place.
ZONE_WORDS = """() => {
  const found = [];
  for (const zone of document.querySelectorAll("section.zone:not(#controls, #log)")) {
    const note = (text) => { if (text) found.push(`${zone.id}: ${text}`); };
    const walk = (node) => {
      for (const element of node.querySelectorAll("*")) {
        for (const { name, value } of element.attributes) {
          if (!["d", "points", "transform", "style"].includes(name)) note(value);
        }
        if (element.shadowRoot) walk(element.shadowRoot);
        for (const child of element.childNodes) if (child.nodeType === Node.TEXT_NODE) note(child.nodeValue);
      }
    };
    walk(zone);
  }
  return found;
}"""


def numerals_that_follow(bench: BenchPage, console: Console, key: str) -> set[str]:
    """Return the texts with a numeral and a unit that are others once a planted fault is worse (+) or less bad (-).

    Whatever is read from the machine is another then; what stays is print on the panels. Every Describe is pressed.
    """
    seen = []
    for _ in range(2):
        for _ in range(6):
            console.page.keyboard.press(key)
        # One order after the other: what comes after this has been done.
        console.key("f")
        console.key("f")
        bench.until_read()
        for place in ("picture", "waveform", "sound"):
            bench.page.locator(f"#{place}").get_by_role("button", name="Describe").click()
        bench.page.locator("#waveform .sentence").filter(has_text=re.compile(".")).wait_for()
        seen.append({text for text in bench.page.evaluate(ZONE_WORDS) if READING.search(text)})
    return seen[0] ^ seen[1]


def test_what_is_planted_by_keys_shows_in_the_class_and_leaves_no_trace_in_words(
    bench: BenchPage, console: Console
) -> None:
    fault = FAULTS["clogged_head_3"]
    logged: list[str] = []
    bench.page.on("console", lambda line: logged.append(line.text))
    sound = bench.picture()
    console.choose("g", "faults", fault.name)
    for _ in range(4):
        console.page.keyboard.press("-")
    console.key("p")
    bench.until(lambda: bench.number("rf_level_db_3") < -9.0, "the RF of head 3 to fall")
    assert abs(bench.number("rf_level_db_2")) < 0.5
    bench.until(lambda: bench.picture() != sound, "another picture")
    console.page.locator("#planted li", has_text=fault.title).wait_for()
    told = (words_of_class(bench) + "\n".join(logged)).lower()
    for trace in (fault.name, fault.entry, fault.title, fault.description, "clogged", "debris", "tip and tape"):
        assert trace.lower() not in told, trace
    # The drawings of the stage would show it; they are away, and the instructor can show them.
    away = bench.page.locator("#why").get_by_text("put the drawings away")
    away.wait_for()
    assert bench.page.locator(".moves li").count() == 0
    console.key("w")
    away.wait_for(state="hidden")
    console.key("w")
    away.wait_for()
    console.key("i")
    bench.until(lambda: bench.reading("rf_level_db_3") == "no reading", "the readings to be away")
    assert numerals_that_follow(bench, console, "+") == set()
    console.key("i")
    bench.until(lambda: bench.reading("rf_level_db_3") != "no reading", "the readings")
    zones = {found.split(": ")[0] for found in numerals_that_follow(bench, console, "-")}
    # That the search finds them where they are told; air and tensions may read the same for both machines.
    assert zones >= {"instruments", "path"}


def test_mark_freeze_and_rewind(bench: BenchPage, console: Console) -> None:
    # The class's window was opened by somebody who asks for little motion: its picture stands until it is let run.
    console.key("f")
    bench.until(lambda: console.text("#frozen") == "The picture runs.", "a moving picture")
    console.key("m")
    console.page.locator("#marks option").wait_for(state="attached")
    console.choose("h", "values", "guide_offset_um")
    console.page.locator("#value").fill("40")
    console.page.keyboard.press("Escape")
    console.key("v")
    # DERIVED (physics.md section 3): 40 um of guide are 1.43 us of lean.
    bench.until(lambda: abs(bench.number("skew_us") - 1.43) < 0.05, "the lean")
    console.key("x")
    bench.until(lambda: abs(bench.number("rf_level_db_3")) < 0.5, "a machine in order")
    console.key("f")
    bench.until(lambda: console.text("#frozen") == "The picture is frozen.", "the frozen picture")
    # What was on its way to the screen is still drawn.
    bench.page.wait_for_timeout(500)
    frames = bench.frames
    bench.page.wait_for_timeout(700)
    assert bench.frames == frames
    console.key("r")
    bench.until(lambda: bench.number("rf_level_db_3") < -9.0, "the marked state")
    assert abs(bench.number("skew_us")) < 0.05
    bench.until(lambda: bench.frames > frames, "a moving picture, as it was marked")
    console.key("x")


def test_a_demonstration_runs_by_keys_with_notes_for_the_speaker_alone(bench: BenchPage, console: Console) -> None:
    console.choose("d", "demonstrations", "one-head-in-four")
    console.key("s")
    bench.page.get_by_role("heading", name="Four heads alike").wait_for()
    console.key("n")
    bench.page.get_by_role("heading", name="A channel is off").wait_for()
    assert "Which head is it?" in words_of_class(bench)
    notes = console.text("#cue .notes")
    assert "Channel 3 is switched off" in notes
    assert notes not in words_of_class(bench)
    # The class judges by picture and waveform; the console reads what the cue promises.
    bench.until(lambda: console.page.locator("#cue .held").count() == 2, "both expectations to hold")
    assert bench.reading("rf_level_db_3") == "no reading"
    assert axe_problems(bench.page) == []
    bench.screenshot("console-class-window", full_page=False)
    # All that the console shows comes from the class's window: it can be loaded again.
    console.page.reload()
    console.wait_for_connection()
    bench.until(lambda: console.text("#cue h3") == "Cue 2 of 7: A channel is off", "the cue after loading again")
    assert console.page.locator("#marks option").count() == 1
    console.key("b")
    bench.page.get_by_role("heading", name="Four heads alike").wait_for()
    console.key("b", "Not done: This is the first cue")
    console.key("e")
    bench.until(lambda: console.text("#cue") == "No demonstration is shown.", "the end")


FOREIGN = (
    ("another program's", {"hello": 1}, "not one of this program's"),
    ("a text", "do", "not one of this program's"),
    ("another protocol", {"protocol": 1}, "protocol 1"),
    ("a memory that is none", {"kind": "do", "number": 1, "action": "put_back", "value": {"memory": 3}}, "no memory"),
    ("an unknown kind", {"kind": "shout"}, "kind shout"),
    ("an unknown action", {"kind": "do", "number": 1, "action": "explode", "value": {}}, "action is not one of"),
    (
        "a severity of 2",
        {"kind": "do", "number": 1, "action": "plant", "value": {"fault": "x", "severity": 2}},
        "from 0",
    ),
    ("too many keys", {"kind": "do", "number": 1, "action": "mark", "value": {}, "more": 1}, "more is not known"),
)


def test_messages_of_another_form_are_refused_told_and_change_nothing(bench: BenchPage, console: Console) -> None:
    planted = console.text("#planted")
    name = bench.page.evaluate("document.documentElement.dataset.window")
    for _, given, reason in FOREIGN:
        envelope = {"mark": "bandbench-console", "protocol": 2, "side": "console", "from": "AAAA", "to": name}
        message = {**envelope, **given} if isinstance(given, dict) and "hello" not in given else given
        before = console.text("#refused")
        console.page.evaluate(
            "(message) => new BroadcastChannel(`bandbench-console ${new URL('.', document.baseURI).pathname}`)"
            ".postMessage(message)",
            message,
        )
        bench.until(lambda before=before: console.text("#refused") != before, "a refusal")
        bench.until(lambda reason=reason: reason in console.text("#refused"), f"the reason: {reason}")
    # What has the right form and no sense is answered by the bench.
    nonsense = {
        **envelope,
        "kind": "do",
        "number": 7,
        "action": "plant",
        "value": {"fault": "gremlins", "severity": 0.5},
    }
    console.page.evaluate(
        "(message) => new BroadcastChannel(`bandbench-console ${new URL('.', document.baseURI).pathname}`)"
        ".postMessage(message)",
        nonsense,
    )
    bench.until(lambda: "gremlins" in console.text("#refused"), "the bench's answer")
    assert console.text("#planted") == planted
    assert json.dumps(FOREIGN[0][1])
    assert not re.search("gremlins|explode", words_of_class(bench))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_console_is_accessible_and_fits_narrow_windows(console: Console, scheme: str) -> None:
    page = console.page
    console.choose("d", "demonstrations", "servos-run-up-to-lost")
    console.key("s")
    page.locator("#cue .notes").wait_for()
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    page.set_viewport_size({"width": 900, "height": 1000})
    assert axe_problems(page) == []
    keep_picture(page, f"console-{scheme}", full_page=True)
    page.set_viewport_size({"width": 320, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    keep_picture(page, f"console-{scheme}-320", full_page=True)
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, input")].filter((one) => one.offsetParent !== null)
          .map((one) => one.getBoundingClientRect()).filter(({ width, height }) => width < 24 || height < 24).length"""
    )
    assert small == 0
    assert console.watched.complaints == []
    console.key("e")


def test_a_window_that_is_loaded_again_is_given_back_what_was_there(bench: BenchPage, console: Console) -> None:
    console.choose("d", "demonstrations", "four-tracking-matches")
    console.key("s")
    console.key("n")
    console.key("m")
    console.choose("g", "faults", "clogged_head_3")
    console.key("p")
    planted, marks = console.text("#planted"), console.page.locator("#marks option").count()
    assert "Debris" in planted or "head 3" in planted.lower()
    name = bench.page.evaluate("document.documentElement.dataset.window")
    bench.page.reload()
    bench.watched.wait_until_running()
    # Nothing that is planted waits in the page, its address or its stores.
    assert (
        "clogged"
        not in str(bench.page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}])")) + bench.page.url
    )
    other = bench.page.evaluate("document.documentElement.dataset.window")
    bench.until(lambda: f"Connected with window {other}" in console.text("#link-state"), "the loaded window")
    console.wait_for_connection()
    assert f"what window {name} held" in console.text("#kept")
    assert "marked states" in console.text("#kept")
    assert console.text("#planted") == "Nothing is planted."
    keep_picture(console.page, "console-put-back", full_page=True)
    console.key("t")
    bench.page.get_by_role("heading", name="A quarter turn on").wait_for()
    bench.until(lambda: console.text("#planted") == planted, "what was planted")
    assert console.page.locator("#marks option").count() == marks
    assert console.page.locator("#kept-field").is_hidden()
    console.key("t", "There is nothing to put back")
    bench.until(lambda: console.text("#cue h3").startswith("Cue 2 of 5"), "the cue")
    console.key("e")


def test_a_closed_window_is_told_and_several_are_told_apart(bench: BenchPage, console: Console) -> None:
    name = bench.page.evaluate("document.documentElement.dataset.window")
    # Another window of the class: its page is not yet whole when it is closed, but it is there.
    other = bench.page.context.new_page()
    other_watched = WatchedPage(other, bench.watched.url)
    other_watched.start()
    other_name = other.evaluate("document.documentElement.dataset.window")
    assert other_name != name
    console.page.locator(f"#windows option[value={other_name}]").wait_for(state="attached")
    assert console.page.locator("#windows").input_value() == name
    console.choose("l", "windows", other_name)
    bench.until(lambda: f"Connected with window {other_name}" in console.text("#link-state"), "the other window")
    console.wait_for_connection()
    # What was planted before went to the first window alone.
    assert console.text("#planted") == "Nothing is planted."
    other.close()
    bench.until(lambda: f"Window {other_name} was closed" in console.text("#link-state"), "word of the closed window")
    bench.until(lambda: f"Connected with window {name}" in console.text("#link-state"), "the window that is left")
