"""``python -m tests.firefox``: use the page in a real Firefox as a learner does, and tell everything it complains of.

Pictures of what it looked like go to ``tests/output/firefox`` (or ``BANDBENCH_SCREENSHOTS``).
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

from bandbench.build import DEFAULT_OUTPUT, build_site, is_current
from bandbench.measured_page import served
from bandbench.npm_client import NpmClientError, pinned_node
from tests.browser.bench_driver import screenshot_folder
from tests.firefox.finding import FirefoxJobError, driver_folder, find_firefox

_DRIVE = Path(__file__).with_name("drive.mjs")
_LIMIT_S = 900


def main() -> int:
    """Use the page; return 0 if everything was as it should be, 1 if not, 2 if something is missing to try it."""
    parser = argparse.ArgumentParser(prog="bb.py firefox", description=__doc__)
    parser.add_argument("--site", type=Path, default=None, help="a built site; else the checkout's own is built")
    arguments = parser.parse_args()
    try:
        firefox, driver, node = find_firefox(), driver_folder(), pinned_node()
    except (FirefoxJobError, NpmClientError) as error:
        print(error, file=sys.stderr)
        return 2
    site = arguments.site or DEFAULT_OUTPUT
    if arguments.site is None and not is_current(site):
        build_site(site)
    folder = screenshot_folder() / "firefox"
    folder.mkdir(exist_ok=True)
    with served(site) as address:
        words = [node, _DRIVE, driver, firefox, address, folder]
        try:
            return min(1, abs(subprocess.run([str(word) for word in words], timeout=_LIMIT_S, check=False).returncode))
        except subprocess.TimeoutExpired:
            print(f"Firefox was not done after {_LIMIT_S} s.", file=sys.stderr)
            return 1


if __name__ == "__main__":
    sys.exit(main())
