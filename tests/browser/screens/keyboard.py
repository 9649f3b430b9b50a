"""A walk through a screen with the Tab key alone: what it comes to, and whether one sees where one is.

Contents: `Walk`, `walk_through`. Held against WCAG 2.2 (PUB): 2.1.1 Keyboard, 2.1.2 No Keyboard Trap, 2.4.7 Focus
Visible, 2.4.11 Focus Not Obscured (Minimum): that asks that not all of a control is covered, this for half of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

__all__ = ["Walk", "walk_through"]

# More stops than any screen has.
_MOST_STOPS = 900

_PREPARE = Path(__file__).with_suffix(".mjs").read_text("utf-8")


@dataclass
class Walk:
    """What a walk came to.

    Attributes
    ----------
    stops : int
        Places the key came to.
    found : list of (kind, words)
        Kinds: ``unreached``, ``unseen`` (no focus to be seen), ``hidden`` (covered, cut off or out of the window),
        ``trap``.
    """

    stops: int = 0
    found: list[tuple[str, str]] = field(default_factory=list)

    def of(self, kind: str) -> list[str]:
        """Return what was found of one kind."""
        return [words for one, words in self.found if one == kind]


def walk_through(page: Page, zones: tuple[str, ...] = ()) -> Walk:
    """Walk there and back through each zone (a CSS selector), or through the whole page or the dialog over it."""
    walk = Walk()
    for zone in zones or ("",):
        page.evaluate(_PREPARE, zone)
        page.evaluate("keyboardWalk.begin()")
        for key in ("Tab", "Shift+Tab"):
            page.evaluate("keyboardWalk.turn()")
            outside = 0
            for _ in range(_MOST_STOPS):
                page.keyboard.press(key)
                ended = page.evaluate("keyboardWalk.step()")
                outside += ended == "outside"
                if ended not in ("", "outside") or outside > 3:
                    break
        came: dict[str, Any] = page.evaluate("keyboardWalk.finish()")
        walk.stops += came["stops"]
        # There and back, most things are met twice.
        walk.found += dict.fromkeys((kind, words) for kind, words in came["found"])
    return walk
