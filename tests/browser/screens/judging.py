"""What a screen is held to while its pictures are taken, and the table of it.

Contents: `Verdict`, `Judge`, `write_table`. A screen is held to axe's rules for WCAG 2.2 A and AA, to reflow at 320 CSS
px and at 200 % of a window of 1280 px, to a walk with the keyboard (`keyboard`), and to a console without a complaint.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from tests.browser.accessibility import axe_problems
from tests.browser.reading_texts import CUT_OFF, DRAWN_OVER
from tests.browser.screens.keyboard import Walk, walk_through
from tests.browser.watching import WatchedPage

__all__ = ["Judge", "Verdict", "set_window", "write_table"]

# The window a person with a keyboard sits at.
_WALKED_AT = (1280, 720)
# What scrolls to the side although it is neither a table nor a listing, which WCAG leaves to lie as they are.
_SCROLLERS = """() => {
  const found = [];
  const walk = (root) => {
    for (const element of root.querySelectorAll("*")) {
      if (element.shadowRoot) walk(element.shadowRoot);
      const scrolls = /auto|scroll/.test(getComputedStyle(element).overflowX);
      if (!scrolls || element.scrollWidth <= element.clientWidth + 1) continue;
      if (element.matches("input, textarea, select, pre")) continue;
      if (element.querySelector(":scope > table, :scope > pre")) continue;
      if (!element.checkVisibility({ visibilityProperty: true })) continue;
      const where = `${element.tagName.toLowerCase()}.${element.getAttribute("class") ?? element.id}`;
      found.push(`${where} scrolls to the side: ${element.scrollWidth} px in ${element.clientWidth}`);
    }
  };
  walk(document);
  return found;
}"""


def set_window(page: Page, width: int, height: int) -> None:
    """Give the window a size, also after something else than Playwright had given it another."""
    page.set_viewport_size({"width": width, "height": height + 1})
    page.set_viewport_size({"width": width, "height": height})


@dataclass
class Verdict:
    """What was found on one screen; empty lists are good.

    Attributes
    ----------
    screen, tour : str
        Which screen, and who went there.
    axe : list of str
        Violations, by element.
    narrow, doubled : list of str
        What does not fit into 320 CSS px, and at 200 % zoom.
    walk : Walk
        The walk with the keyboard.
    console : list of str
        Errors, warnings and requests that failed since the screen before.
    """

    screen: str
    tour: str
    axe: list[str] = field(default_factory=list)
    narrow: list[str] = field(default_factory=list)
    doubled: list[str] = field(default_factory=list)
    walk: Walk = field(default_factory=Walk)
    console: list[str] = field(default_factory=list)

    @property
    def findings(self) -> int:
        """How much was found."""
        lists = (self.axe, self.narrow, self.doubled, self.console)
        return len(self.walk.found) + sum(len(one) for one in lists)


class Judge:
    """Judges screens, and keeps what it found."""

    def __init__(self) -> None:
        self.tour = ""
        self.verdicts: list[Verdict] = []

    def look(
        self, watched: WatchedPage, screen: str, zones: tuple[str, ...] = (), expected: tuple[str, ...] = ()
    ) -> Verdict:
        """Judge a screen and leave its window as it was.

        Parameters
        ----------
        watched : WatchedPage
            Its page; what its console has complained of so far belongs to this screen.
        screen : str
            Its name.
        zones : tuple of str
            CSS selectors of the places that are new on this screen; axe and the walk keep to them.
        expected : tuple of str
            Patterns of complaints that belong to what the screen tells of.
        """
        page = watched.page
        verdict = Verdict(screen, self.tour)
        complaints, watched.complaints[:] = list(watched.complaints), []
        verdict.console = [one for one in complaints if not any(re.search(pattern, one) for pattern in expected)]
        set_window(page, *_WALKED_AT)
        page.emulate_media(color_scheme="light")
        verdict.axe = axe_problems(page, *zones)
        verdict.walk = walk_through(page, zones)
        page.emulate_media(color_scheme="dark")
        # In the dark scheme nothing is another but the colours.
        verdict.axe += [f"dark: {one}" for one in axe_problems(page, *zones, rules=["color-contrast"])]
        page.emulate_media(color_scheme="light")
        set_window(page, 320, 640)
        verdict.narrow = _unfit(page)
        # 200 % of 1280 x 800: half the CSS px, each of two by two of the screen's.
        metrics = {"width": 640, "height": 400, "deviceScaleFactor": 2, "mobile": False}
        session = page.context.new_cdp_session(page)
        session.send("Emulation.setDeviceMetricsOverride", metrics)
        verdict.doubled = _unfit(page)
        session.detach()
        set_window(page, 1440, 900)
        self.verdicts.append(verdict)
        return verdict


def _unfit(page: Page) -> list[str]:
    # Drawings fit themselves to the page's width a moment after it has changed.
    page.wait_for_timeout(600)
    return [*page.evaluate(CUT_OFF), *page.evaluate(_SCROLLERS), *page.evaluate(DRAWN_OVER)]


_COLUMNS = ("screen", "axe", "320 px", "200 %", "stops", "not reached", "no focus seen", "hidden", "trap", "console")


def _row(verdict: dict[str, Any]) -> str:
    kinds = [kind for kind, _ in verdict["walk"]["found"]]
    counts = [
        *(len(verdict[name]) for name in ("axe", "narrow", "doubled")),
        verdict["walk"]["stops"],
        *(kinds.count(kind) for kind in ("unreached", "unseen", "hidden", "trap")),
        len(verdict["console"]),
    ]
    return f"| {verdict['screen']} | " + " | ".join(map(str, counts)) + " |"


def write_table(folder: Path, verdicts: Iterable[Verdict], toured: Iterable[str]) -> Path:
    """Write ``screens.json`` and ``screens.md``; rows of tours that were not made this time stay as they were."""
    path = folder / "screens.json"
    gone = set(toured)
    kept = [row for row in json.loads(path.read_text("utf-8")) if row["tour"] not in gone] if path.is_file() else []
    rows = kept + [asdict(verdict) for verdict in verdicts]
    path.write_text(json.dumps(rows, indent=1, ensure_ascii=False), "utf-8")
    lines = [f"| {' | '.join(_COLUMNS)} |", "|---" * len(_COLUMNS) + "|", *map(_row, rows)]
    for row in rows:
        for name, found in (
            *((name, row[name]) for name in ("axe", "narrow", "doubled", "console")),
            ("keyboard", [f"{kind}: {words}" for kind, words in row["walk"]["found"]]),
        ):
            if found:
                lines += ["", f"{row['screen']}, {name}:", "", *(f"- {' '.join(one.split())}" for one in found)]
    table = folder / "screens.md"
    table.write_text("\n".join(lines) + "\n", "utf-8")
    return table
