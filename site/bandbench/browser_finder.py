"""Find a Chromium for the browser tests, or install one by the system's or Playwright's ordinary means.

A machine without a browser is an error, never a reason to leave tests out. As a program
(``python -m bandbench.browser_finder``) it prints the path of what it found.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import playwright

from bandbench.npm_client import pinned_node
from bandbench.system_packages import install_with_apt, superuser_prefix
from sim.errors import BandbenchError

__all__ = ["CHROMIUM_FLAGS", "BrowserNotFoundError", "find_chromium", "prepare_playwright"]

# Only the last list of these that Chromium is given counts, and Playwright gives one of its own: what is in that stands
# here, too (`tests/test_toolchain.py` holds this). The last two come on top: the list that drops down from the address
# line is a page of its own, made with every window, which costs more than a second of the processor and is never seen.
_DISABLED_FEATURES = (
    "AvoidUnnecessaryBeforeUnloadCheckSync",
    "DestroyProfileOnBrowserClose",
    "HttpsUpgrades",
    "HttpsFirstBalancedModeAutoEnable",
    "LensOverlay",
    "MediaRouter",
    "PaintHolding",
    "ThirdPartyStoragePartitioning",
    "AvoidCorsURLLoaderRestartOnRedirect",
    "TcpPortRandomizationWin",
    "OptimizationHints",
    "NetworkTimeServiceQuerying",
    "AimEnabled",
    "PreconnectToSearch",
    "msForceBrowserSignIn",
    "msEdgeUpdateLaunchServicesPreferredVersion",
    "WebUIOmniboxPopup",
    "WebUIOmniboxAimPopup",
)

CHROMIUM_FLAGS = (
    # Chromium's own sandbox needs rights that containers and the superuser lack; only our pages are opened.
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    # The rest keeps Chromium from asking the internet for things of its own during a test.
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    f"--disable-features={','.join(_DISABLED_FEATURES)}",
)
"""How the tests start Chromium, besides headless."""

VARIABLE = "BANDBENCH_CHROMIUM"
_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
_MACOS_APPLICATIONS = (
    "Chromium.app/Contents/MacOS/Chromium",
    "Google Chrome.app/Contents/MacOS/Google Chrome",
)
_NODE_VARIABLE = "PLAYWRIGHT_NODEJS_PATH"
_INSTALL_LIMIT_S = 900


class BrowserNotFoundError(BandbenchError):
    """No Chromium runs here, and none could be installed."""


def find_chromium() -> Path:
    """Return the path of a Chromium that runs, installing one if there is none.

    In this order: the environment variable ``BANDBENCH_CHROMIUM``; the usual names on ``PATH``; the
    application folders of macOS; the browser that Playwright has installed; ``playwright install chromium``;
    ``apt-get install chromium``.

    Returns
    -------
    Path
        A program that has just said its version.

    Raises
    ------
    BrowserNotFoundError
        If ``BANDBENCH_CHROMIUM`` names nothing that runs, or every way fails; the text says how each did.

    Notes
    -----
    Playwright is made ready as well (`prepare_playwright`): what drives a browser is needed with it.
    """
    prepare_playwright()
    named = os.environ.get(VARIABLE)
    if named:
        trouble = _trouble_with(Path(named))
        if trouble:
            raise BrowserNotFoundError(
                f"the environment variable {VARIABLE} names {named}, which {trouble}.\n"
                "Let it name the program file of a Chromium or Chrome, or unset it to have one looked for."
            )
        return Path(named)
    refused: list[str] = []
    for way, candidate in _candidates(refused):
        trouble = _trouble_with(candidate)
        if not trouble:
            return candidate
        refused.append(f"{way}: {candidate} {trouble}")
    tried = "\n".join(f"  - {line}" for line in refused)
    raise BrowserNotFoundError(
        f"the browser tests need a Chromium, and none was found or could be installed. Tried:\n{tried}\n"
        "Install one (Debian: sudo apt-get install chromium; macOS: Chrome or Chromium in the Applications\n"
        "folder; anywhere: .venv/bin/python -m playwright install --with-deps chromium), or let the\n"
        f"environment variable {VARIABLE} name one that you have."
    )


def prepare_playwright() -> None:
    """Let Playwright run on this project's own Node.js where the one inside its package does not.

    That one needs a library (libatomic) that small Linux systems lack.
    """
    inside = Path(playwright.__file__).parent / "driver" / "node"
    if _NODE_VARIABLE not in os.environ and _trouble_with(inside):
        os.environ[_NODE_VARIABLE] = str(pinned_node())


def _candidates(refused: list[str]) -> Iterator[tuple[str, Path]]:
    """Yield every Chromium there may be, cheapest way first; a way without one adds a line to `refused`."""
    confined = []
    for name in _NAMES:
        found = shutil.which(name)
        if found is None:
            refused.append(f"{name}: not on PATH")
        elif "snap" in Path(found).resolve().parts:
            confined.append((name, Path(found)))
        else:
            yield name, Path(found)
    if sys.platform == "darwin":
        for folder in (Path("/Applications"), Path.home() / "Applications"):
            for application in _MACOS_APPLICATIONS:
                if (folder / application).exists():
                    yield "application", folder / application
    playwrights_own = _playwright_path()
    if playwrights_own.exists():
        yield "Playwright's browser", playwrights_own
    yield from _from_playwright(playwrights_own, refused)
    why_not = install_with_apt("chromium", "fonts-liberation")
    if why_not:
        refused.append(f"apt-get install chromium: {why_not}")
    else:
        yield "apt-get install chromium", Path(shutil.which("chromium") or "/usr/bin/chromium")
    # A snap is confined to its own /tmp and may not read what a test writes: only when there is nothing else.
    yield from confined


def _from_playwright(path: Path, refused: list[str]) -> Iterator[tuple[str, Path]]:
    print("No Chromium on this machine: asking Playwright to download its own.", file=sys.stderr, flush=True)
    trouble = _run_playwright([], "install", "--no-shell", "chromium")
    if trouble:
        refused.append(f"playwright install chromium: {trouble}")
        return
    if _trouble_with(path):
        # Downloaded, but the system lacks libraries it needs; Playwright knows their package names.
        prefix = superuser_prefix()
        if prefix is None:
            refused.append("playwright install-deps chromium: not allowed without a password")
        else:
            trouble = _run_playwright(prefix, "install-deps", "chromium")
            if trouble:
                refused.append(f"playwright install-deps chromium: {trouble}")
    yield "playwright install chromium", path


def _playwright_path() -> Path:
    """Return where the installed Playwright keeps, or would keep, its Chromium."""
    # In a process of its own: Playwright's synchronous interface cannot start inside another's event loop.
    question = (
        "from playwright.sync_api import sync_playwright\n"
        "with sync_playwright() as playwright:\n"
        "    print(playwright.chromium.executable_path)"
    )
    answer = subprocess.run([sys.executable, "-c", question], stdout=subprocess.PIPE, text=True, check=True)
    return Path(answer.stdout.strip())


def _run_playwright(prefix: list[str], *arguments: str) -> str:
    """Run Playwright's command line; return why it failed in one line, empty if it did not."""
    command = [*prefix, sys.executable, "-m", "playwright", *arguments]
    try:
        outcome = subprocess.run(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, timeout=_INSTALL_LIMIT_S
        )
    except subprocess.TimeoutExpired:
        return f"gave up after {_INSTALL_LIMIT_S} s"
    if outcome.returncode == 0:
        return ""
    telling = [line.strip() for line in outcome.stdout.splitlines() if "rror" in line]
    return telling[0] if telling else f"exit status {outcome.returncode}"


def _trouble_with(path: Path) -> str:
    """Say in a few words why this program does not run; empty if it does."""
    try:
        version = subprocess.run([path, "--version"], capture_output=True, text=True, timeout=60)
    except subprocess.TimeoutExpired:
        return "did not say its version within a minute"
    except OSError as error:
        return f"cannot be run ({error.strerror})"
    if version.returncode != 0:
        return f"does not run: {_first_line(version.stderr + version.stdout)}"
    return ""


def _first_line(text: str) -> str:
    return next((line.strip() for line in text.splitlines() if line.strip()), "it printed nothing")


def main() -> int:
    """Print the path of the Chromium that the tests will use."""
    try:
        print(find_chromium())
    except BrowserNotFoundError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
