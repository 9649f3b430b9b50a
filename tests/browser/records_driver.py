"""The learner's part of the page in a real browser, used with the keyboard alone.

Contents: `RecordsPage`, `LESSONS`, `machine_of`.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from playwright.sync_api import BrowserContext, Locator

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from sim.controls import CONTROLS
from sim.training.answers import answer_options, right_answer
from sim.training.deal import deal
from sim.training.lesson import Lesson
from sim.training.machine import Machine
from sim.training.solution import solution_moves
from tests.browser.bench_driver import WAIT_S, BenchPage
from tests.browser.watching import WatchedPage

__all__ = ["LESSONS", "RecordsPage", "machine_of"]

LESSONS = read_lessons()

# Every row of the store, by the browser's own means.
_READ_STORE = """() => new Promise((resolve, reject) => {
  const asked = indexedDB.open("bandbench-records");
  asked.onerror = () => reject(asked.error);
  asked.onsuccess = () => {
    const db = asked.result;
    const names = [...db.objectStoreNames];
    const rows = {};
    const transaction = db.transaction(names);
    for (const name of names) {
      transaction.objectStore(name).getAll().onsuccess = ({ target }) => { rows[name] = target.result; };
    }
    transaction.oncomplete = () => { db.close(); resolve(rows); };
  };
})"""


@cache
def machine_of(lesson: str) -> Machine:
    """Return the machine of a lesson, to work out what is right in it."""
    return Machine(LESSONS[lesson], faults=FAULTS)


class RecordsPage:
    """The bench with the learner's part, opened anew.

    Parameters
    ----------
    context : BrowserContext
        Whose storage the page uses.
    url : str
        The site.
    init_script : str
        Run before anything of the page's.
    query : str
        What is fixed by the address the page is opened with.
    others : tuple of str
        Origins that the page may talk to beside its own.
    """

    def __init__(
        self, context: BrowserContext, url: str, init_script: str = "", query: str = "", others: tuple[str, ...] = ()
    ) -> None:
        self.watched = WatchedPage(context.new_page(), url, others=others)
        self.watched.page.set_default_timeout(1000.0 * WAIT_S)
        if init_script:
            self.watched.page.add_init_script(init_script)
        self.watched.start(query)
        self.bench = BenchPage(self.watched)
        self.page = self.watched.page
        self.part = self.page.locator(".part.learner")
        self.bench.until(lambda: self.part.get_attribute("data-storage") != "opening", "the records to be read")

    # What the page shows ------------------------------------------------------------------------------------

    @property
    def who(self) -> str:
        """The learner's name."""
        return (self.part.locator("details.records > summary").text_content() or "").removeprefix("Learner: ")

    def is_learner(self, name: str) -> None:
        """Wait until this is the learner, and what is kept of them is read: until then a file is refused."""

        def read() -> bool:
            return self.who == name and self.part.get_attribute("data-storage") != "opening"

        self.bench.until(read, f"learner {name}")

    def says(self, text: str) -> None:
        """Wait until the part says so."""
        statuses = self.part.locator("[role=status], [role=alert]")
        self.bench.until(lambda: text in " ".join(statuses.all_text_contents()), text)

    def store(self) -> dict[str, list[dict[str, Any]]]:
        """Return every row of the browser's store."""
        return dict(self.page.evaluate(_READ_STORE))

    @property
    def seed(self) -> int:
        """Which variation was dealt."""
        (number,) = re.findall(r"\d+", self.page.locator(".seed").text_content() or "")
        return int(number)

    def attempts(self) -> list[str]:
        """Return the lines of the list of attempts."""
        return self.part.locator(".attempts li").all_text_contents()

    # With the keyboard alone --------------------------------------------------------------------------------

    def press(self, key: str = "Enter", *, backwards: bool = False, **wanted: str) -> None:
        """Go to what is wanted (see `BenchPage.tab_to`) and press a key on it."""
        self.bench.tab_to(backwards=backwards, **wanted)
        self.page.keyboard.press(key)

    def open_details(self) -> None:
        """Open the learner's details."""
        self.bench.tab_to(text=f"Learner: {self.who}")
        if self.part.locator("details.records").get_attribute("open") is None:
            self.page.keyboard.press("Enter")
        self.part.locator("[data-do=new]").wait_for()

    def make_learner(self, name: str) -> None:
        """Make a learner of this name."""
        self.open_details()
        self.press(do="new")
        self.page.keyboard.type(name)
        self.page.keyboard.press("Enter")
        self.is_learner(name)
        self.part.locator("#learner-name").wait_for(state="hidden")

    def to_course(self) -> None:
        """Go to the list of lessons from the choice of what to do, or from a lesson that goes on."""
        course = self.page.locator(".part.course")
        if course.is_visible():
            return
        if not self.page.locator("[data-mode=learn]").is_visible():
            self.press(do="leave")
        self.press(mode="learn")
        course.wait_for()

    def begin(self, lesson: str) -> int:
        """Choose a lesson in the course and begin it; return which variation was dealt."""
        self.to_course()
        entry = self.page.locator(f"[data-lesson={lesson}]")
        if not entry.is_visible():
            group = self.page.locator("details[data-group]", has=entry).locator("summary")
            self.press(text=(group.text_content() or "").strip())
            entry.wait_for()
        self.press(text=(entry.text_content() or "").strip())
        title = LESSONS[lesson].title
        self.bench.until(lambda: self.page.locator(".briefing h3").text_content() == title, title)
        self.bench.until(lambda: entry.get_attribute("aria-current") == "true", "the choice")
        self.press(do="begin")
        self.page.locator(".seed", has_text="Variation").wait_for()
        return self.seed

    def set_control(self, name: str, value: float) -> None:
        """Type a value into a control's number field; its stage is opened first."""
        stage = CONTROLS[name].stage
        if not self.page.locator(f"section[data-stage={stage}]").is_visible():
            self.press(stage=stage)
            self.page.locator(f"section[data-stage={stage}]").wait_for()
        self.bench.tab_to(id=f"{name}-field")
        before = self.bench.made_revision
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(f"{value:g}")
        self.page.keyboard.press("Enter")
        self.bench.until(lambda: self.bench.revision > before, f"{name} at {value}")

    def answer_all(self, lesson: Lesson) -> None:
        """Give the right answer to every question."""
        machine = machine_of(lesson.id)
        start = deal(lesson, self.seed, machine)
        for question in lesson.questions:
            right = right_answer(lesson, question, start, machine)
            assert right is not None
            options = [name for name, _ in answer_options(lesson, question, start, FAULTS)]
            field = f"question-{question.name}"
            if not options:
                self.bench.tab_to(id=f"{field}-number")
                self.page.keyboard.type(f"{float(right):.3f}")
                self.page.keyboard.press("Enter")
            else:
                # One stop for all options; the arrows choose.
                place = options.index(right)
                self.press("Space", id=f"{field}-0")
                for _ in range(place):
                    self.page.keyboard.press("ArrowDown")
                assert self.bench.focused()[0] == f"{field}-{place}"
                self.press(do=f"answer-{question.name}")
            self.page.locator(f"[data-question={question.name}].passed").wait_for()

    def solve(self, lesson: str) -> None:
        """Answer what is asked, set what the worked solution sets, and submit."""
        asked = LESSONS[lesson]
        self.answer_all(asked)
        for control, value in solution_moves(asked, deal(asked, self.seed, machine_of(lesson))):
            self.set_control(control, value)
        self.submit()

    def submit(self) -> None:
        """Submit what passes."""
        self.press(do="check")
        self.page.locator("#result .outcome").first.wait_for()
        assert self.page.locator("#result .outcome").first.text_content() == "Result: passed"

    def close_result(self) -> None:
        """Close the result."""
        self.press(do="close")
        self.page.locator("#result").wait_for(state="hidden")

    def file_input(self) -> Locator:
        """Return where a file is chosen."""
        return self.part.locator("#learner-file")

    def give_file(self, name: str, content: bytes) -> None:
        """Choose a file, as the browser's own window for it would."""
        self.file_input().set_input_files({"name": name, "mimeType": "application/json", "buffer": content})
