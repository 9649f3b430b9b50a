"""Fingers on the page: real touches, which the browser takes for taps, drags or scrolling as it finds.

Contents: `Fingers`, `small_targets`.
"""

from __future__ import annotations

from playwright.sync_api import Locator, Page

__all__ = ["Fingers", "small_targets"]

# All that can be pressed and is shown, through every shadow root, if smaller than so many CSS pixels either way.
_SMALL = """(least) => {
  const small = [];
  const visit = (root) => {
    for (const element of root.querySelectorAll("*")) {
      if (element.shadowRoot) visit(element.shadowRoot);
      if (!element.matches("a[href], button, input, select, textarea, summary")) continue;
      if (element.matches(".skip") || !element.checkVisibility({ visibilityProperty: true })) continue;
      const { width, height } = element.getBoundingClientRect();
      if (width < least || height < least) small.push(`${element.outerHTML.slice(0, 90)}: ${width} x ${height}`);
    }
  };
  visit(document);
  return small;
}"""
_MOVES = 8
_MOVE_MS = 16


def small_targets(page: Page, least_px: float = 24.0) -> list[str]:
    """Return what can be pressed and is smaller than so many CSS pixels (PUB WCAG 2.2, 2.5.8: 24)."""
    return list(page.evaluate(_SMALL, least_px))


class Fingers:
    """One finger, or two, on a page whose context has touch.

    Parameters
    ----------
    page : Page
        The page that is touched.
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self._session = page.context.new_cdp_session(page)

    def middle_of(self, place: Locator, across: float = 0.5) -> tuple[float, float]:
        """Scroll to a place; return its middle, or a point so far across it. [CSS px of the window]"""
        place.evaluate("element => element.scrollIntoView({ block: 'center', behavior: 'instant' })")
        box = place.bounding_box()
        assert box is not None
        return box["x"] + across * box["width"], box["y"] + 0.5 * box["height"]

    def tap(self, place: Locator, across: float = 0.5) -> None:
        """Tap a place."""
        self.page.touchscreen.tap(*self.middle_of(place, across))

    def touch(self, kind: str, *points: tuple[float, float]) -> None:
        """Tell the browser that fingers came (``touchStart``), moved, left (``touchEnd``) or are lost."""
        listed = [{"x": x, "y": y, "id": finger} for finger, (x, y) in enumerate(points)]
        self._session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": listed})
        self.page.wait_for_timeout(_MOVE_MS)

    def drag(self, start: tuple[float, float], right: float, down: float) -> None:
        """Put a finger down, move it and lift it."""
        self.touch("touchStart", start)
        for step in range(1, _MOVES + 1):
            part = step / _MOVES
            self.touch("touchMove", (start[0] + part * right, start[1] + part * down))
        self.touch("touchEnd")
