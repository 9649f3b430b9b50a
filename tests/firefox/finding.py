"""What the Firefox job needs: a Firefox, and the library that drives it over WebDriver BiDi.

Contents: `find_firefox`, `driver_folder`.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from bandbench.cache import cache_folder
from bandbench.npm_client import find_npm
from bandbench.system_packages import install_with_apt
from sim.errors import BandbenchError

__all__ = ["FirefoxJobError", "driver_folder", "find_firefox"]

VARIABLE = "BANDBENCH_FIREFOX"
_NAMES = ("firefox-esr", "firefox")
_MACOS = Path("/Applications/Firefox.app/Contents/MacOS/firefox")
_HERE = Path(__file__).parent


class FirefoxJobError(BandbenchError):
    """Something that the Firefox job needs is missing."""


def find_firefox() -> Path:
    """Return the path of a Firefox that runs.

    In this order: the environment variable ``BANDBENCH_FIREFOX``; the usual names on ``PATH``; the application folder
    of macOS; ``apt-get install firefox-esr``.

    Raises
    ------
    FirefoxJobError
        If none runs; the text says what was tried and what to do.
    """
    named = os.environ.get(VARIABLE)
    if named:
        if trouble := _trouble_with(Path(named)):
            raise FirefoxJobError(
                f"the environment variable {VARIABLE} names {named}, which {trouble}.\n"
                "Let it name the program file of a Firefox, or unset it to have one looked for."
            )
        return Path(named)
    tried: list[str] = []
    installed = [path for name in _NAMES if (path := shutil.which(name))]
    for candidate in [*map(Path, installed), *([_MACOS] if _MACOS.exists() else [])]:
        trouble = _trouble_with(candidate)
        if not trouble:
            return candidate
        tried.append(f"{candidate} {trouble}")
    why_not = install_with_apt("firefox-esr")
    found = shutil.which("firefox-esr")
    if not why_not and found and not (why_not := _trouble_with(Path(found))):
        return Path(found)
    tried.append(f"apt-get install firefox-esr: {why_not or 'done, yet there is none on PATH'}")
    lines = "\n".join(f"  - {line}" for line in tried)
    raise FirefoxJobError(
        f"this job needs a Firefox, and none was found or could be installed. Tried:\n{lines}\n"
        "Install one (Debian: sudo apt-get install firefox-esr; elsewhere: your system's own package), or let the\n"
        f"environment variable {VARIABLE} name one that you have."
    )


def driver_folder() -> Path:
    """Return the folder with the library that drives Firefox, fetched by npm the first time, checked by its lock file.

    Raises
    ------
    FirefoxJobError
        If npm cannot fetch it.
    """
    files = [_HERE / "package.json", _HERE / "package-lock.json"]
    digest = hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()
    folder = cache_folder() / f"firefox-driver-{digest[:16]}"
    if folder.is_dir():
        return folder
    # Put together beside its place and renamed, so that an interrupted fetch is never taken for a whole one.
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix="firefox-driver-") as workshop:
        unfinished = Path(workshop, "unfinished")
        unfinished.mkdir()
        for path in files:
            shutil.copy(path, unfinished)
        words = [*find_npm(), "ci", "--ignore-scripts", "--no-audit", "--no-fund"]
        done = subprocess.run(words, cwd=unfinished, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise FirefoxJobError(
                f"npm could not fetch what drives Firefox:\n{done.stderr.strip()}\n"
                "It needs the npm registry, or a mirror that npm is set to use, the first time. Then try again."
            )
        try:
            unfinished.rename(folder)
        except OSError:
            # Another run may have been first; its copy is as good.
            if not folder.is_dir():
                raise
    return folder


def _trouble_with(path: Path) -> str:
    """Say in a few words why this program does not run; empty if it does."""
    try:
        version = subprocess.run([path, "--version"], capture_output=True, text=True, timeout=60, check=False)
    except subprocess.TimeoutExpired:
        return "did not say its version within a minute"
    except OSError as error:
        return f"cannot be run ({error.strerror})"
    if version.returncode != 0:
        lines = (version.stderr + version.stdout).strip().splitlines() or ["it printed nothing"]
        return f"does not run: {lines[0]}"
    print(version.stdout.strip().splitlines()[-1], file=sys.stderr, flush=True)
    return ""
