"""A person's session at the machine in a real browser, by keyboard and by mouse; narrow, dark and to those who hear it.

The session is that of everyday work (TRADE): thread, standby, play, tracking for the highest RF, record; by mouse also
wind on before it, wind back, play it back and hear the tone. The machine runs in real time, so stretches of tape are
short.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import pytest

from sim.transport import ACTS
from tests.browser.accessibility import axe_problems
from tests.browser.bench_driver import BenchPage
from tests.browser.watching import WatchedPage

EVENING = "Marlpit Bay Television, evening programme reel"
# Brings the hand to the button of an act and returns what presses it.
Reach = Callable[[str], Callable[[], object]]
# A wheel that is let go takes most of a minute to come to rest.
REST_S = 120.0


class TransportPage:
    """The transport of the bench in Practise, as somebody sees it."""

    def __init__(self, bench: BenchPage) -> None:
        self.bench = bench
        self.page = bench.page
        bench.choose_mode("practise")
        self.wait_for("Play")

    def now(self, name: str) -> str:
        return (self.page.locator(f"[data-now={name}]").text_content() or "").strip()

    def wait_for(self, mode: str) -> None:
        """Wait until the transport says that it is there."""
        self.bench.until(lambda: self.now("mode") == f"Now: {mode}.", mode, REST_S)

    def picture_moves(self, moves: bool) -> None:
        """Let the picture go on with the tape, and with it what is read off the tape; or let it stand."""
        monitor = self.page.locator("#picture")
        names = ("Run picture", "Freeze picture")
        play, pause = (monitor.get_by_role("button", name=name, exact=True) for name in names)
        pressed, then = (play, pause) if moves else (pause, play)
        if pressed.is_visible():
            pressed.press("Enter")
            then.wait_for()

    @property
    def timer_s(self) -> int:
        hours, minutes, seconds = (int(part) for part in self.now("timer").lstrip("-").split(":"))
        return (3600 * hours + 60 * minutes + seconds) * (-1 if self.now("timer").startswith("-") else 1)

    def wind_to(self, low_s: int, high_s: int, reach: Reach) -> None:
        """Wind until the tape plays between two times of the timer; what goes past is wound back, as by anybody."""
        for _ in range(12):
            if low_s - 15 <= self.timer_s < low_s and self.now("mode") == "Now: Play.":
                self.wait_for_timer(low_s, forward=True)
            if low_s <= self.timer_s <= high_s:
                return
            forward = self.timer_s < low_s
            reach("wind_forward" if forward else "wind_reverse")()
            # The hand lies on the button before the place comes.
            press_play = reach("play")
            aim_s = (2 * low_s + high_s) // 3 if forward else (low_s + 2 * high_s) // 3
            self.wait_for_timer(aim_s, forward)
            press_play()
            self.wait_for("Play")
            self.bench.until(lambda: self.service("capstan") == "yes", "a locked capstan")
        raise AssertionError(f"never between {low_s} and {high_s} s, now at {self.timer_s} s")

    def wait_for_timer(self, place_s: int, forward: bool) -> None:
        """Wait until the timer has passed a place."""
        self.bench.until(lambda: (self.timer_s >= place_s) == forward, f"timer at {place_s} s", REST_S)

    def service(self, name: str) -> str:
        return (self.page.locator(f"[data-verdict={name}]").text_content() or "").strip()

    @property
    def refusal(self) -> str:
        return " ".join(self.page.locator(":is(#transport, #deck) .refusal").all_text_contents()).strip()

    def hears_tone(self) -> None:
        """Wait for the line-up tone; while the capstan frames, its pitch is up to some 2 % off."""

        def there() -> bool:
            read = self.bench.reading("programme_frequency_hz").split()[0]
            return read.isdecimal() and abs(int(read) - 1000) <= 25

        self.picture_moves(True)
        self.bench.until(there, "the tone of 1000 Hz", REST_S)


@pytest.fixture
def machine(still_page: WatchedPage) -> Iterator[TransportPage]:
    still_page.page.set_viewport_size({"width": 1400, "height": 900})
    machine = TransportPage(BenchPage(still_page))
    yield machine
    machine.picture_moves(False)
    machine.bench.check_unhurt()


def record(machine: TransportPage, reach: Reach, seconds: int) -> int:
    """Record where the tape is, in two steps, and return where that began."""
    bench = machine.bench
    reach("record_arm")()
    bench.until(lambda: machine.now("state").startswith("Record is armed"), "the first step")
    assert EVENING in (machine.page.locator("#record-confirm").text_content() or "")
    reach("record")()
    bench.until(lambda: machine.now("state").startswith("Recording on"), "a recording")
    begun_s = machine.timer_s
    bench.until(lambda: machine.timer_s >= begun_s + seconds, f"{seconds} seconds", REST_S)
    bench.screenshot("transport-recording")
    reach("disarm")()
    bench.until(lambda: machine.now("state") == "Record is off.", "the end of the recording")
    bench.until(lambda: "Recorded" in machine.now("outcome"), "what was recorded")
    return begun_s


def record_and_hear(machine: TransportPage, reach: Reach) -> None:
    """Wind to 1:00 or somewhat later, record ten seconds, wind back, play them and hear the tone."""
    machine.wind_to(60, 90, reach)
    begun_s = record(machine, reach, 10)
    machine.wind_to(begun_s - 25, begun_s - 1, reach)
    # What lay there before is a voice; the recording has the line-up tone.
    machine.hears_tone()
    assert machine.timer_s >= begun_s
    # The capstan may still be bringing the tracks under the heads.
    machine.bench.until(lambda: machine.bench.number("tracking") > 90.0, "full RF")


# The session ------------------------------------------------------------------------------------------------


def test_the_session_by_keyboard_alone(machine: TransportPage) -> None:
    bench, keyboard = machine.bench, machine.page.keyboard

    def reach(act: str, backwards: bool = False) -> Callable[[], object]:
        bench.tab_to(act=act, backwards=backwards)
        return lambda: keyboard.press("Enter")

    def by_hand(act: str) -> None:
        reach(act)()
        asked = machine.page.locator(".caution")
        done = machine.page.locator("[data-now=done]")
        if ACTS[act].caution:
            asked.wait_for()
            bench.until(lambda: bench.focused()[0] == "caution-title", "the caution to be read first")
            bench.tab_to(do="confirm")
            keyboard.press("Enter")
        bench.until(lambda: done.text_content() == f"Done: {ACTS[act].title}.", f"{act} done")
        bench.until(lambda: bench.focused()[5] == act, "the focus back on the act")

    # Only with all the tape on one reel can it be unthreaded.
    reach("wind_reverse")()
    bench.until(lambda: machine.now("mode") == "Now: Standby." or "beginning" in machine.refusal, "the beginning")
    bench.tab_to(act="stop", backwards=True)
    keyboard.press("Space")
    machine.wait_for("Stop")
    machine.page.locator(".handling > summary").focus()
    keyboard.press("Enter")
    bench.until(
        lambda: "at rest" in (machine.page.locator("[data-state-of=covers]").text_content() or ""), "rest", REST_S
    )
    # A caution that is left leaves everything as it is.
    reach("open_covers")()
    caution, covers = machine.page.locator(".caution"), machine.page.locator("[data-state-of=covers]")
    caution.wait_for()
    assert ACTS["open_covers"].caution.split(".")[0] in caution.inner_text()
    bench.until(lambda: bench.focused()[0] == "caution-title", "the caution to be read first")
    bench.screenshot("transport-caution")
    assert axe_problems(machine.page) == []
    keyboard.press("Escape")
    caution.wait_for(state="hidden")
    assert bench.focused()[5] == "open_covers"
    assert "Covers closed." in (covers.text_content() or "")
    for act in ("open_covers", "unthread", "take_off_reel"):
        by_hand(act)
    bench.tab_to(id="reel", backwards=True)
    keyboard.type("Marlpit")
    reach("take")()
    bench.until(lambda: "In hand" in machine.now("done"), "the reel in hand")
    bench.screenshot("transport-reel-in-hand")
    for act in ("fit_reel", "thread", "check_threading", "close_covers"):
        by_hand(act)

    reach("reset_timer", backwards=True)()
    reach("standby", backwards=True)()
    machine.wait_for("Standby")
    reach("play")()
    machine.wait_for("Play")
    # Behind the blank leader lie bars and tone; the tracking is turned off its peak and brought back by the RF.
    machine.hears_tone()
    bench.until(lambda: machine.service("capstan") == "yes", "a locked capstan")
    bench.tab_to(stage="tape", backwards=True)
    keyboard.press("Enter")
    bench.tab_to(id="tracking_phase_deg")
    bench.until(lambda: bench.number("tracking") > 80.0, "RF off the tape")
    before = bench.number("tracking")
    for _ in range(4):
        bench.press("PageUp")
    bench.until(lambda: bench.number("tracking") < before - 10.0, "less RF off the peak")
    for _ in range(4):
        bench.press("PageDown")
    bench.until(lambda: bench.number("tracking") > before - 3.0, "the peak")
    machine.picture_moves(False)
    bench.tab_to(act="stop")
    ahead = ("stop", "standby", "play", "wind_reverse", "wind_forward", "reset_timer", "record_arm", "record", "disarm")

    def reach_either_way(act: str) -> Callable[[], object]:
        return reach(act, backwards=ahead.index(act) < ahead.index(bench.focused()[5]))

    # The mouse winds to another place for it and hears what was recorded.
    record(machine, reach_either_way, 2)


def test_the_session_by_mouse(machine: TransportPage) -> None:
    bench, page = machine.bench, machine.page

    def reach(act: str) -> Callable[[], object]:
        return page.locator(f":is(#transport, #deck) [data-act={act}]").click

    details = page.locator(".handling")
    if details.get_attribute("open") is None:
        page.locator(".handling > summary").click()
    page.locator("#reel").select_option(label=EVENING)
    reach("put_on")()
    bench.until(lambda: "in play" in machine.now("done"), "the reel on")
    reach("stop")()
    machine.wait_for("Stop")
    reach("reset_timer")()
    reach("standby")()
    machine.wait_for("Standby")
    reach("play")()
    machine.wait_for("Play")
    record_and_hear(machine, reach)


# What is refused --------------------------------------------------------------------------------------------


def test_a_refused_act_says_why_beside_the_buttons_and_to_those_who_hear_it(machine: TransportPage) -> None:
    bench, page = machine.bench, machine.page
    page.locator("[data-act=record_arm]").click()
    bench.until(lambda: "endless work tape" in machine.refusal, "why it cannot be recorded on")
    assert page.locator("[data-act=record_arm]").get_attribute("aria-describedby") == "record-refusal"
    assert page.locator("#record-refusal").get_attribute("role") == "status"
    # The second step looks as closed as it is, and says so when it is pressed.
    record = page.locator("[data-act=record]")
    assert record.get_attribute("aria-disabled") == "true"
    if page.locator(".handling").get_attribute("open") is None:
        page.locator(".handling > summary").click()
    page.locator("[data-act=open_covers]").click()
    bench.until(lambda: "The tape is moving" in machine.refusal, "why the covers stay closed")
    bench.until(lambda: page.locator(".incidents li").count() == 1, "the attempt to be noted")
    page.locator("[data-act=restore_power]").click()
    bench.until(lambda: "The power is on already" in machine.refusal, "a refusal without a caution")
    assert page.locator(".incidents li").count() == 1
    # With another machine that is forgotten.
    bench.choose_mode("demonstrate")
    bench.until(lambda: machine.refusal == "", "a clean sheet")


# How it looks -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "scheme"), [(320, "dark"), (768, "light"), (1400, "dark"), (1400, "light")])
def test_the_transport_fits_and_axe_finds_nothing(machine: TransportPage, width: int, scheme: str) -> None:
    bench, page = machine.bench, machine.page
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    if page.locator(".handling").get_attribute("open") is None:
        page.locator(".handling > summary").click()
    page.locator("[data-act=open_covers]").wait_for()
    # PUB WCAG 2.2, 1.4.10 Reflow and 2.5.8 Target Size (24 by 24 CSS pixels).
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    targets = page.locator(":is(#transport, #deck) :is(button, select):visible, .check-field:visible")
    sizes = targets.evaluate_all(
        """all => all.map((target) => {
          const { width, height } = target.getBoundingClientRect();
          return [Math.min(width, height), target.textContent];
        })"""
    )
    assert len(sizes) > 10
    assert [text for size, text in sizes if size < 24.0] == []
    bench.screenshot(f"transport-{width}-{scheme}")
    # The whole page at this width is judged by `test_bench_page.py`.
    zones = ("#transport", "#deck") if width == 1400 else ()
    assert axe_problems(machine.page, *zones) == []
    page.emulate_media(color_scheme="light")


def test_headings_stand_in_order(machine: TransportPage) -> None:
    levels = machine.page.evaluate(
        """() => {
          const found = [];
          const walk = (root) => {
            for (const element of root.querySelectorAll("*")) {
              if (/^H[1-6]$/.test(element.tagName) && element.checkVisibility()) found.push(Number(element.tagName[1]));
              if (element.shadowRoot) walk(element.shadowRoot);
            }
          };
          walk(document.querySelector("#deck"));
          return found;
        }"""
    )
    assert levels[0] == 2
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_the_drawing_stands_still_where_less_motion_is_asked_for(machine: TransportPage) -> None:
    page = machine.page
    mark = page.locator(".deck svg g[transform^=rotate]").first

    def moved() -> bool:
        before = mark.get_attribute("transform")
        page.wait_for_timeout(400)
        return mark.get_attribute("transform") != before

    page.locator(".deck").scroll_into_view_if_needed()
    page.emulate_media(reduced_motion="no-preference")
    machine.bench.until(moved, "a turning reel")
    page.emulate_media(reduced_motion="reduce")
    machine.bench.until(lambda: not moved(), "a reel drawn at rest")
    assert not moved()
