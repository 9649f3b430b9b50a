"""The bench's page in a real browser, as a test sees and uses it.

Contents: `BenchPage`. Only what a person could see or press is used, through the keyboard or the mouse; and some
numbers that page and worker offer to tests (counts of the control changes that were made and are already shown).
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Locator, Page

from tests.browser.watching import WatchedPage

__all__ = ["BenchPage", "keep_picture", "screenshot_folder"]

# A busy machine gets its time; nothing waits longer than it must.
WAIT_S = 60.0
_POLL_MS = 50
_POLLS_UNHURT = 10
_FOLDER = "BANDBENCH_SCREENSHOTS"

# The element that has the focus, through every shadow root.
_FOCUSED = """() => {
  let element = document.activeElement;
  while (element?.shadowRoot?.activeElement) element = element.shadowRoot.activeElement;
  return element ? [element.id, element.dataset.do ?? "", element.dataset.mode ?? "", element.dataset.stage ?? "",
    element.textContent.trim(), element.dataset.act ?? "", element.dataset.lesson ?? ""] : ["", "", "", "", "", "", ""];
}"""


def screenshot_folder() -> Path:
    """Return where pictures of screens go: ``BANDBENCH_SCREENSHOTS``, or ``tests/output``."""
    folder = Path(os.environ.get(_FOLDER, Path(__file__).parents[1] / "output"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def keep_picture(shown: Page | Locator, name: str, **options: Any) -> None:
    """Save what a page or a place looks like, for a person to look at, if ``BANDBENCH_SCREENSHOTS`` names a folder."""
    if os.environ.get(_FOLDER):
        shown.screenshot(path=screenshot_folder() / f"{name}.png", **options)


class BenchPage:
    """The bench on a page, watched for errors and foreign requests.

    Parameters
    ----------
    watched : WatchedPage
        A page on which the bench runs.
    """

    def __init__(self, watched: WatchedPage) -> None:
        self.watched = watched
        self.page = watched.page
        # Until the first readings are in, the page is not yet whole.
        self.page.locator(".part.meters[data-revision]").wait_for()
        self.until(lambda: self.reading("tracking") != "", "the first reading")

    def check_unhurt(self) -> None:
        """Fail if the page met an error or asked another origin for anything."""
        assert self.page.locator("#trouble").is_hidden(), self.page.locator("#trouble-detail").text_content()
        assert self.watched.complaints == [], self.watched.complaints
        assert self.watched.foreign_requests() == []

    def until(self, condition: object, what: str, seconds: float = WAIT_S) -> None:
        """Wait until a condition (callable) holds."""
        assert callable(condition)
        end = time.monotonic() + seconds
        waits = 0
        while not condition():
            late = time.monotonic() >= end
            # A page that is hurt waits in vain; to ask it each time would cost as much as the condition itself.
            if late or waits % _POLLS_UNHURT == 0:
                self.check_unhurt()
            assert not late, f"waited {seconds} s in vain for {what}"
            waits += 1
            self.page.wait_for_timeout(_POLL_MS)

    def screenshot(self, name: str, full_page: bool = True) -> None:
        """Save what the page looks like, if that is wanted."""
        keep_picture(self.page, name, full_page=full_page)

    # What the page shows ------------------------------------------------------------------------------------

    def reading(self, name: str) -> str:
        """Return the text of one of the instruments."""
        return (self.page.locator(f"[data-reading={name}]").text_content() or "").strip()

    def number(self, name: str) -> float:
        """Return the number an instrument shows."""
        return float(self.reading(name).split()[0].replace("\N{MINUS SIGN}", "-"))

    def control(self, name: str) -> Locator:
        """Return the slider, switch or list of a control."""
        return self.page.locator(f"[data-control={name}] :is(input[type=range], [role=switch], select)")

    def field(self, name: str) -> Locator:
        """Return the number field of a control."""
        return self.page.locator(f"[data-control={name}] input.figure")

    def note(self, name: str) -> str:
        """Return the message beside a control."""
        return (self.page.locator(f"[data-control={name}] .note").text_content() or "").strip()

    @property
    def revision(self) -> int:
        """How many control changes the readings already show."""
        return int(self.page.locator(".part.meters").get_attribute("data-revision") or 0)

    @property
    def made_revision(self) -> int:
        """How many control changes the bench itself has met, shown or not yet."""
        return int(self.page.workers[0].evaluate("self.bandbench.bench.revision"))

    @property
    def drawn_revision(self) -> int:
        """How many control changes the picture already shows."""
        return int(self.page.evaluate("bandbench.statistics.revision"))

    @property
    def frames(self) -> int:
        """How many pictures the page has drawn."""
        return int(self.page.evaluate("bandbench.statistics.frames"))

    def picture(self) -> list[int]:
        """Return the brightness of every eighth picture element of every eighth line on the canvas."""
        return list(
            self.page.evaluate(
                """() => {
                  const canvas = document.querySelector("canvas[data-image=picture]");
                  const { width, height } = canvas;
                  const copy = new OffscreenCanvas(width, height).getContext("2d", { willReadFrequently: true });
                  copy.drawImage(canvas, 0, 0);
                  const { data } = copy.getImageData(0, 0, width, height);
                  const picked = [];
                  for (let y = 0; y < height; y += 8) {
                    for (let x = 0; x < width; x += 8) picked.push(data[4 * (y * width + x)]);
                  }
                  return picked;
                }"""
            )
        )

    # What a person does -------------------------------------------------------------------------------------

    def focused(self) -> list[str]:
        """Return id, action, mode, stage, text, act and lesson of the element that has the focus."""
        return list(self.page.evaluate(_FOCUSED))

    def tab_to(self, *, backwards: bool = False, **wanted: str) -> None:
        """Press Tab until the focus is on the element with this id, do, mode, stage, text, act or lesson."""
        ((kind, value),) = wanted.items()
        place = ("id", "do", "mode", "stage", "text", "act", "lesson").index(kind)
        for _ in range(250):
            if self.focused()[place] == value:
                return
            self.page.keyboard.press("Shift+Tab" if backwards else "Tab")
        raise AssertionError(f"Tab never came to {kind} {value!r}; it stands at {self.focused()}")

    def press(self, key: str) -> None:
        """Press a key on a control and wait for its effect on the readings."""
        before = self.made_revision
        self.page.keyboard.press(key)
        self.until(lambda: self.revision > before, f"the effect of {key}")

    def choose_mode(self, mode: str) -> None:
        """Go back to the choice and choose, with the mouse; the machine is then in order."""
        result = self.page.locator("[data-do=close]")
        if result.count() and result.is_visible():
            result.click()
        chosen = self.page.locator(f"[data-mode={mode}]")
        if not chosen.is_visible():
            self.page.locator("[data-do=leave]:visible").first.click()
        chosen.click()
        chosen.wait_for(state="hidden")
        # The machine is put in order at each choice: only when that is read does a test begin to turn anything.
        self.until_read()

    def until_read(self) -> None:
        """Wait until the readings show every control change that the bench has met."""
        made = self.made_revision
        self.until(lambda: self.revision >= made, "readings of the machine as it stands")

    def begin_lesson(self, lesson: str) -> None:
        """Choose a lesson in the course, which is in sight, and begin it, with the mouse."""
        entry = self.page.locator(f"[data-lesson={lesson}]")
        entry.click()
        self.until(lambda: entry.get_attribute("aria-current") == "true", "the choice")
        self.page.locator("[data-do=begin]").click()
        self.page.locator(".seed", has_text="Variation").wait_for()

    def open_stage(self, stage: str) -> None:
        """Choose a stage of the signal path, with the mouse."""
        self.page.locator(f".stage-button[data-stage={stage}]").click()
        self.page.locator(f"section[data-stage={stage}]").wait_for()
