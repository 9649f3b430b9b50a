"""``python -m tests.walk``: walk at random through the bench in a Chromium, and tell what must not happen."""

from __future__ import annotations

import argparse
import sys
import threading
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from bandbench.browser_finder import CHROMIUM_FLAGS, find_chromium
from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.serve import make_server
from tests.browser.watching import WatchedPage
from tests.walk.browsing import BEFORE_PAGE, BrowserWalk

_BATCH = 25
_TOLD_EVERY = 20


def main() -> int:
    """Walk; return 0 if everything held."""
    parser = argparse.ArgumentParser(prog="bb.py walk", description=__doc__)
    parser.add_argument("--operations", type=int, default=10_000, help="how many (default: %(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="what the walk follows from (default: %(default)s)")
    parser.add_argument("--site", type=Path, default=None, help="a built site; else the checkout's own is built")
    arguments = parser.parse_args()
    site = arguments.site or DEFAULT_OUTPUT
    if arguments.site is None and not is_current(site):
        build_site(site)
    server = make_server(site)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    started_s = time.monotonic()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_chromium(), args=list(CHROMIUM_FLAGS))
        page = browser.new_page(viewport={"width": 1400, "height": 900}, reduced_motion="reduce")
        page.set_default_timeout(300_000)
        page.add_init_script(BEFORE_PAGE)
        watched = WatchedPage(page, f"http://127.0.0.1:{server.server_address[1]}/")
        watched.start()
        walk = BrowserWalk(watched, arguments.seed)
        told = 0
        while len(walk.done) < arguments.operations:
            walk.batch(_BATCH)
            for finding in list(walk.findings.values())[told:]:
                print(finding, flush=True)
            told = len(walk.findings)
            if len(walk.done) // _BATCH % _TOLD_EVERY == 0:
                took_s = time.monotonic() - started_s
                print(f"{walk.told_so_far}, {took_s:.0f} s", flush=True)
        browser.close()
    server.shutdown()
    print(f"seed {arguments.seed}: {walk.told_so_far}, {time.monotonic() - started_s:.0f} s")
    return 1 if told else 0


if __name__ == "__main__":
    sys.exit(main())
