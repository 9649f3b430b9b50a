"""Collect the Python of the browser: locked wheels, trimmed, with our own sources, as one reproducible archive.

The archive (see `bandbench.build_archive`) is what the worker writes into ``site-packages`` before Python starts: one
request and no installer.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterable
from pathlib import Path

from bandbench.bench.datafiles import FOLDER, PARSED, parsed
from bandbench.bench.demonstrations import DEMONSTRATIONS_FOLDER
from bandbench.bench.languages import ENGLISH, WORDS_FOLDER, browser_json
from bandbench.build_kernels import assembled_kernels
from bandbench.cache import cache_folder
from bandbench.runtime.kernels import KERNELS_FILE
from sim.errors import BandbenchError

__all__ = [
    "BROWSER_PACKAGES",
    "PythonSourcesError",
    "browser_wheels",
    "own_files",
    "trimmed_wheel",
    "wheel_of",
]

REPOSITORY = Path(__file__).parents[2]
LOCK_FILE = REPOSITORY / "requirements.lock"

BROWSER_PACKAGES = (
    "bokeh",
    "jinja2",
    "markupsafe",
    "narwhals",
    "packaging",
    "panel",
    "param",
    "pyviz-comms",
    "pyyaml",
    "typing-extensions",
)
"""What the bench imports in the browser, from the project's one lock file. NumPy comes from Pyodide."""

WHEEL_TAGS = ("--platform", "manylinux2014_x86_64", "--implementation", "cp", "--abi", "cp314", "--abi", "none")
"""Which of a package's wheels to take, on every machine the same: compiled parts are left out of it anyway."""

DROPPED = re.compile(
    r"""
    (^|/)(tests?|testing|sampledata|node_modules|__pycache__|_pyinstaller)/
    | ^panel/(dist|command|examples)/
    | ^panel/(layout|pane|widgets|io|chat|viewable|template)/.*\.(js|ts|md)$
    | ^bokeh/server/static/
    | ^bokeh/sphinxext/
    | ^numpy/(f2py|distutils|_core/include|_core/lib|doc)/
    | ^[^/]+\.data/
    | \.(ts|tsx|so|pyi|pxd|pxi|c|h|less|map|a|pyx|ico|webmanifest)$
    | \.dist-info/(?!METADATA$).*
    """,
    re.VERBOSE,
)
"""Parts of the wheels that the bench never reads."""

COMPILED = re.compile(r"^numpy/.*\.so$")
"""The compiled parts to keep: the others were built for another machine."""

STUBBED = {
    # Panel asks for these packages and uses only the names below on our paths. The stub of pyodide_http keeps Panel
    # from importing pandas; the bench makes no request from Python.
    "pyodide_http/__init__.py": (
        b'"""A stand-in: the bench makes no request from Python."""\n\n\ndef patch_all() -> None:\n'
        b'    """Change nothing."""\n'
    ),
}

OWN_PARTS = ("__init__.py", "runtime", "bench")
"""The parts of the package `bandbench` that run in the browser; the others build and serve the site."""


class PythonSourcesError(BandbenchError):
    """The Python packages of the browser could not be had."""


def locked_requirements() -> str:
    """Return the lock file's entries of `BROWSER_PACKAGES`, hashes included.

    Raises
    ------
    PythonSourcesError
        If the lock file lacks one of them.
    """
    entries = re.split(r"^(?=[A-Za-z0-9])", LOCK_FILE.read_text("utf-8"), flags=re.MULTILINE)
    found = {}
    for entry in entries:
        match = re.match(r"([A-Za-z0-9._-]+)==", entry)
        if match and match[1].lower() in BROWSER_PACKAGES:
            # The markers say for which machines the lock was made; the browser is another one.
            found[match[1].lower()] = re.sub(r" ;[^\\\n]*", "", entry)
    missing = sorted(set(BROWSER_PACKAGES) - set(found))
    if missing:
        raise PythonSourcesError(f"{LOCK_FILE.name} lacks {missing}, which the browser needs; make the lock anew.")
    return "".join(found[name] for name in sorted(found))


def browser_wheels() -> list[Path]:
    """Return the wheels of `BROWSER_PACKAGES`, fetched by pip with their hashes checked the first time.

    Raises
    ------
    PythonSourcesError
        If pip cannot fetch them.
    """
    requirements = locked_requirements()
    folder = cache_folder() / f"browser-{hashlib.sha256(requirements.encode()).hexdigest()[:16]}"
    if not folder.is_dir():
        with tempfile.TemporaryDirectory(dir=cache_folder(), prefix="browser-") as scratch:
            listed = Path(scratch, "requirements.txt")
            listed.write_text(requirements, "utf-8")
            fetched = Path(scratch, "wheels")
            print("Fetching the browser's Python packages with pip ...", file=sys.stderr, flush=True)
            command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check"]
            options = ["--no-deps", "--require-hashes", "--only-binary=:all:", "--python-version", "3.14"]
            done = subprocess.run(
                [*command, *options, *WHEEL_TAGS, "--dest", str(fetched), "--requirement", str(listed)],
                capture_output=True,
                text=True,
                check=False,
            )
            if done.returncode != 0:
                raise PythonSourcesError(
                    f"pip could not fetch the Python packages of the browser:\n{done.stderr.strip()}\n"
                    "Check the network and pip's settings, then build again."
                )
            fetched.rename(folder)
    return sorted(folder.glob("*.whl"))


def wheel_of(wheels: Iterable[Path], package: str) -> Path:
    """Return the one wheel of a package.

    Parameters
    ----------
    wheels : Iterable[Path]
        What `browser_wheels` returned.
    package : str
        The name as it begins the file name.
    """
    (found,) = (wheel for wheel in wheels if wheel.name.startswith(f"{package}-"))
    return found


def trimmed_wheel(wheel: Path) -> dict[str, bytes]:
    """Return the files of a wheel that the browser needs, by their path in ``site-packages``.

    Parameters
    ----------
    wheel : Path
        A wheel file.
    """
    with zipfile.ZipFile(wheel) as archive:
        return {
            name: archive.read(name)
            for name in archive.namelist()
            if not name.endswith("/") and (COMPILED.search(name) or not DROPPED.search(name))
        }


def own_files() -> dict[str, bytes]:
    """Return the project's own files for the browser, by their path in ``site-packages``.

    What the data files say goes beside the packages, as ``lessons/`` (see `bandbench.bench.datafiles`), and the English
    texts as ``words/`` (see `bandbench.bench.languages`). The kernels of `bandbench.runtime.kernels` are assembled.
    """
    package = REPOSITORY / "site" / "bandbench"
    files = {}
    for part in (*(package / name for name in OWN_PARTS), REPOSITORY / "sim"):
        for path in [part] if part.is_file() else sorted(part.rglob("*")):
            if path.is_file() and path.suffix not in {".pyc", ".md", ".wat"}:
                base = REPOSITORY / "site" if part != REPOSITORY / "sim" else REPOSITORY
                files[path.relative_to(base).as_posix()] = path.read_bytes()
    files[f"bandbench/runtime/{KERNELS_FILE}"] = assembled_kernels()
    for folder in (FOLDER, DEMONSTRATIONS_FOLDER):
        place = folder.relative_to(FOLDER.parent).as_posix()
        files[f"{place}/{PARSED}"] = parsed(folder).encode()
    files[f"{WORDS_FOLDER.name}/{ENGLISH}.json"] = browser_json(ENGLISH).encode()
    return files
