"""``python -m tests.deaths``: in the middle of one attempt, in a Chromium, the bench's worker dies in every way it can,
and so does the picture worker; the picture and the attempt go on each time, to be passed at the end."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import sync_playwright

from bandbench.browser_finder import CHROMIUM_FLAGS, find_chromium
from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.measured_page import served
from tests.browser.dying_workers import DEATHS
from tests.browser.outliving import MovingPicture, Ongoing
from tests.browser.watching import still_context

# Deaths so far apart are no accident that the page would give up at.
_APART_MS = 61_000


def _die(attempt: Ongoing, who: str, outlives: Callable[[str], None], name: str) -> None:
    """Have one die, say how long all took until all was well, and let a minute of the page's clock pass."""
    began_s = time.monotonic()
    outlives(name)
    print(f"{who}, {name}: all well after {time.monotonic() - began_s:.1f} s", flush=True)
    attempt.page.page.evaluate("(ms) => globalThis.skip(ms)", _APART_MS)


def main() -> int:
    """Have the workers die; return 0 if the attempt outlived each death, and fail where it did not."""
    parser = argparse.ArgumentParser(prog="bb.py deaths", description=__doc__)
    parser.add_argument("ways", nargs="*", metavar="WAY", help=f"of {', '.join(DEATHS)} (default: all)")
    parser.add_argument("--site", type=Path, default=None, help="a built site; else the checkout's own is built")
    arguments = parser.parse_args()
    unknown = sorted(set(arguments.ways) - set(DEATHS))
    if unknown:
        parser.error(f"there is no way {', '.join(unknown)}; the ways are: {', '.join(DEATHS)}")
    ways = arguments.ways or list(DEATHS)
    site = arguments.site or DEFAULT_OUTPUT
    if arguments.site is None and not is_current(site):
        build_site(site)
    with sync_playwright() as playwright, served(site) as address:
        browser = playwright.chromium.launch(executable_path=find_chromium(), args=list(CHROMIUM_FLAGS))
        context = still_context(browser)
        attempt = Ongoing(context, address)
        # A bench that was started anew calls the picture worker again, and each death of both is met in one attempt.
        for name in ways:
            _die(attempt, "picture worker", MovingPicture(attempt).outlives, name)
            _die(attempt, "worker", attempt.outlives, name)
        _die(attempt, "worker beside a picture worker", MovingPicture(attempt).dies_with, "exception")
        attempt.finish()
        browser.close()
    print(f"{2 * len(ways) + 1} deaths; the attempt is passed, with every move in its log")
    return 0


if __name__ == "__main__":
    sys.exit(main())
