"""The walk in a real browser: the worker's own bench is walked through, and the page's own elements are pressed.

Contents: `BrowserWalk`.
"""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

from playwright.sync_api import Error

from tests.browser.watching import WatchedPage
from tests.walk.walker import OPERATIONS, WEIGHTS

__all__ = ["BEFORE_PAGE", "BrowserWalk"]

_HERE = Path(__file__).parent

BEFORE_PAGE = """
globalThis.print = () => {};
globalThis.open = () => null;
// The page gives a worker up that is silent for a minute. Where others use the processor, too, that may be nobody's
// fault: what takes too long is told by `patience.py`, and only what never ends is given up.
const now = performance.now.bind(performance);
performance.now = () => now() / 6;
"""
"""To be run before the page: neither a printer nor further windows are wanted, and the page has more patience."""

# In this order: each may import those before it.
_HANDED_OVER = ("holding", "rescoring", "patience", "learning", "walker")
_DOM_SHARE = 0.1
_SHOWN_LAST = 40
# The page shall get its answers in between.
_ONE_GO_S = 4.0

# The walker's own text, handed to the Python of the worker; then what does a batch of its operations there.
_SET_UP = """
import sys, types
for name in ("tests", "tests.walk", *TEXTS):
    sys.modules[name] = types.ModuleType(name)
for name, text in TEXTS.items():
    exec(compile(text, name, "exec"), sys.modules[name].__dict__)
walking = sys.modules["tests.walk.walker"]
from js import bandbench
from bandbench.runtime import panel_glue
walk_worker = bandbench.bench
walker = walking.Walker(walk_worker._application)

def walk_batch(text, seconds):
    import json, time, traceback
    done, failed, left = [], [], json.loads(text)
    end_s = time.monotonic() + seconds
    while left and time.monotonic() < end_s:
        name, seed = left.pop(0)
        try:
            with panel_glue.current(walk_worker._document):
                done.append(walker.do(name, seed))
        except Exception:
            failed.append(f"{name} {seed}: {traceback.format_exc(limit=-8)}")
        walk_worker._send_records()
        walk_worker._send_console()
    if not left:
        try:
            with panel_glue.current(walk_worker._document):
                failed += walker.problems()
        except Exception:
            failed.append(f"looking at it all: {traceback.format_exc(limit=-8)}")
    walk_worker._loop.wake()
    return json.dumps({"done": done, "failed": failed, "left": left, "scored": walker.rescoring.done})
"""

_PRESS = (_HERE / "press.mjs").read_text("utf-8")

_SHOWN = (_HERE / "shown.mjs").read_text("utf-8")


class BrowserWalk:
    """A walk at random on a page on which the bench runs.

    Parameters
    ----------
    watched : WatchedPage
        The page.
    seed : int
        What the walk follows from.

    Attributes
    ----------
    done : list of str
        What was done.
    scored : int
        How many attempts were scored again when they were over.
    findings : dict of str to str
        What must not happen and did, by what tells it from others.
    """

    def __init__(self, watched: WatchedPage, seed: int) -> None:
        self.watched = watched
        self.done: list[str] = []
        self.scored = 0
        self.findings: dict[str, str] = {}
        self._chance = random.Random(seed)
        texts = {f"tests.walk.{name}": (_HERE / f"{name}.py").read_text("utf-8") for name in _HANDED_OVER}
        self._python("TEXTS = " + repr(texts) + _SET_UP)

    def _python(self, code: str) -> Any:
        return self.watched.python(code)

    def batch(self, size: int) -> None:
        """Do so many operations, then look at what must hold."""
        chance = self._chance
        presses = sum(chance.random() < _DOM_SHARE for _ in range(size))
        names = chance.choices(list(OPERATIONS), [WEIGHTS.get(name, 2) for name in OPERATIONS], k=size - presses)
        steps = [[name, chance.randrange(2**32)] for name in names]
        while steps:
            told = self._walk(steps)
            self.done += told["done"]
            self.scored = told["scored"]
            steps = told["left"]
            for failure in told["failed"]:
                self._find(failure)
        for _ in range(presses):
            self.done.append("press " + str(self.watched.page.evaluate(_PRESS, chance.randrange(2**32))))
        # Events of the page reach the worker, and what it answers the page.
        if not self.watched.page.workers:
            raise AssertionError(self._stopped("there is no worker any more"))
        self.watched.page.workers[0].evaluate("() => new Promise((resolve) => setTimeout(resolve, 0))")
        for wrong in self.watched.page.evaluate(_SHOWN):
            self._find(f"the page shows {wrong}")
        for complaint in self.watched.complaints:
            self._find(complaint)
        self.watched.complaints.clear()
        trouble = self.watched.page.locator("#trouble")
        if trouble.is_visible():
            raise AssertionError(self._stopped("the bench has stopped"))

    def _walk(self, steps: list[list[Any]]) -> dict[str, Any]:
        """Do the first of these operations: as many as leave the worker time to answer the page."""
        try:
            code = f"walk_batch({json.dumps(json.dumps(steps))}, {_ONE_GO_S})"
            return dict(json.loads(str(self._python(code))))
        except Error as error:
            # The page gives up a worker that is silent for a minute.
            raise AssertionError(self._stopped(f"the worker froze or died in {steps}: {error}")) from None

    def _stopped(self, what: str) -> str:
        """Return what there is to be said of a bench that does not go on."""
        page = self.watched.page
        detail = f"{page.locator('body').get_attribute('data-state')}: {page.text_content('#trouble-detail')}"
        return "\n".join((f"{what}; {detail}", *self.watched.complaints, self.told()))

    def _find(self, text: str) -> None:
        # The same line of code, or the same words but for their numbers, is the same finding.
        key = "".join(sign for sign in text.strip().splitlines()[-1] if not sign.isdigit())[:90]
        if key not in self.findings:
            self.findings[key] = f"after {len(self.done)} operations: {text}\n{self.told()}"

    @property
    def told_so_far(self) -> str:
        """What the walk has come to, in a line."""
        return f"{len(self.done)} operations, {self.scored} attempts scored again, {len(self.findings)} findings"

    def told(self) -> str:
        """Return what was done last."""
        return "\n".join(f"  {line}" for line in self.done[-_SHOWN_LAST:])
