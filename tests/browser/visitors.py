"""New visitors of the site, each with a browser of their own, in which the runtime is compiled already.

Contents: `SITE`, `Visitors`, `compiled_site`, `to_site`.

To compile Python's runtime takes a fifth of a start. A browser with a profile on disk keeps what it has compiled for
the next visit, if that is to the same address. So the site is visited once, and each new visitor is given what was
fetched and compiled there, and nothing else: no records, no settings, no service worker. A start with nothing at all is
what `test_site_foundation.py` sees.
"""

from __future__ import annotations

import fcntl
import hashlib
import shutil
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Playwright

from bandbench.browser_finder import CHROMIUM_FLAGS
from tests.browser.watching import KEEP_NO_COPY, WatchedPage

__all__ = ["SITE", "Visitors", "compiled_site", "to_site"]

SITE = "http://bandbench.localhost/"
"""Where a browser of the tests finds the site, whatever port it is served at: what is compiled is kept by address."""

# What Chromium fetched, and what it made of that.
_KEPT = ("Cache", "Code Cache")
# Chromium writes what it compiled once nothing was added to it for two seconds.
_WRITTEN_MS = 6000
_STILL: dict[str, Any] = {"viewport": {"width": 1400, "height": 900}, "reduced_motion": "reduce"}


def to_site(port: int) -> list[str]:
    """Return Chromium's flags for a browser that finds the site at `SITE`; it is served at this port."""
    return [*CHROMIUM_FLAGS, f"--host-resolver-rules=MAP {SITE.split('/')[2]}:80 127.0.0.1:{port}"]


def compiled_site(playwright: Playwright, chromium: Path, port: int, site: Path, folder: Path) -> Path:
    """Return a folder with what a Chromium keeps of one visit to a site; of several tests at once one makes it.

    Parameters
    ----------
    playwright : Playwright
        What starts the browser.
    chromium : Path
        The browser.
    port : int
        Where the site is served.
    site : Path
        The built site.
    folder : Path
        Where to keep it; what is there of another site or browser is taken away.
    """
    made_from = (site / "build.json").read_bytes() + f"{chromium.resolve()} {chromium.stat().st_mtime_ns}".encode()
    kept = folder / hashlib.sha256(made_from).hexdigest()[:16]
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.is_dir():
            for old in (path for path in folder.iterdir() if path.is_dir()):
                shutil.rmtree(old)
            profile = Path(tempfile.mkdtemp(prefix="profile-", dir=folder))
            context = playwright.chromium.launch_persistent_context(
                profile, executable_path=chromium, args=to_site(port), **_STILL
            )
            context.add_init_script(KEEP_NO_COPY)
            WatchedPage(context.new_page(), SITE).start()
            context.pages[-1].wait_for_timeout(_WRITTEN_MS)
            context.close()
            profile.rename(kept)
    return kept


class Visitors:
    """New visitors.

    Parameters
    ----------
    playwright : Playwright
        What starts the browsers.
    chromium : Path
        The browser.
    port : int
        Where the site is served.
    compiled : Path
        See `compiled_site`.
    folder : Path
        For the visitors' profiles.
    """

    def __init__(self, playwright: Playwright, chromium: Path, port: int, compiled: Path, folder: Path) -> None:
        self._playwright = playwright
        self._chromium = chromium
        self._port = port
        self._compiled = compiled
        self._folder = folder

    def still(self, keeps_copy: bool = False, flags: tuple[str, ...] = (), **options: Any) -> BrowserContext:
        """Return a new visitor's browser, as `still_context` does, with more flags; to close it ends the browser."""
        profile = Path(tempfile.mkdtemp(dir=self._folder))
        for name in _KEPT:
            shutil.copytree(self._compiled / "Default" / name, profile / "Default" / name)
        context = self._playwright.chromium.launch_persistent_context(
            profile, executable_path=self._chromium, args=[*to_site(self._port), *flags], **(_STILL | options)
        )
        if not keeps_copy:
            context.add_init_script(KEEP_NO_COPY)
        return context
