"""Compile the browser's Python before it is sent: the browser then starts without compiling some eight hundred modules.

Bytecode belongs to one version of Python, so Pyodide itself makes it, under Node.js. The result is the same every time
and is kept in the download cache under a digest of what went in.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from bandbench.build_archive import archive_bytes, archive_files
from bandbench.cache import cache_folder
from bandbench.npm_client import pinned_node
from bandbench.pyodide_source import PYODIDE_VERSION
from sim.errors import BandbenchError

__all__ = ["SITE_PACKAGES", "BytecodeError", "compiled"]

SITE_PACKAGES = "/lib/python3.14/site-packages"
"""Where the worker puts the packages."""

_HERE = Path(__file__).parent
_INSIDE = ("bytecode.mjs", "bytecode_inside.py", "build_archive.py")
_LIMIT_S = 300
_KEPT = 12


class BytecodeError(BandbenchError):
    """Pyodide could not compile the browser's Python."""


def compiled(files: Mapping[str, bytes], core: Path, *, optimise: int, place: str = SITE_PACKAGES) -> dict[str, bytes]:
    """Return the files with every Python source replaced by its bytecode.

    Parameters
    ----------
    files : Mapping[str, bytes]
        Content by path in the place.
    core : Path
        The folder from `bandbench.pyodide_source.pyodide_core`.
    optimise : int
        As for the built-in ``compile``: 0 keeps all, 2 leaves out assertions and documentation texts.
    place : str
        Where the files will be in the browser: the paths that a traceback shows.

    Raises
    ------
    BytecodeError
        If no Node.js on this machine can run Pyodide, or a source does not compile.
    """
    archive = archive_bytes(files)
    digest = hashlib.sha256(f"{PYODIDE_VERSION} {optimise} {place}".encode() + archive)
    for name in _INSIDE:
        digest.update((_HERE / name).read_bytes())
    kept = cache_folder() / f"bytecode-{digest.hexdigest()[:16]}.pack"
    if not kept.is_file():
        with tempfile.TemporaryDirectory(dir=cache_folder(), prefix="bytecode-") as scratch:
            Path(scratch, "in.pack").write_bytes(archive)
            print("Compiling Python for the browser ...", file=sys.stderr, flush=True)
            _compile_in(Path(scratch), core, optimise, place)
            Path(scratch, "out.pack").replace(kept)
        _drop_old()
    # What is used goes on being kept.
    kept.touch()
    return archive_files(kept.read_bytes())


def _compile_in(folder: Path, core: Path, optimise: int, place: str) -> None:
    complaints = []
    for node in _nodes():
        words = [
            str(node),
            str(_HERE / "bytecode.mjs"),
            str(core / "pyodide.mjs"),
            str(folder),
            str(_HERE),
            str(optimise),
            place,
        ]
        try:
            done = subprocess.run(words, capture_output=True, text=True, timeout=_LIMIT_S, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            complaints.append(f"{node}: {error}")
            continue
        if done.returncode == 0:
            return
        complaints.append(f"{node} said:\n{done.stderr.strip()}")
    raise BytecodeError("Pyodide could not compile the browser's Python under Node.js.\n" + "\n".join(complaints))


def _drop_old() -> None:
    """Keep the newest results only: each change of our own sources leaves one."""
    results = sorted(cache_folder().glob("bytecode-*.pack"), key=lambda path: path.stat().st_mtime, reverse=True)
    for path in results[_KEPT:]:
        path.unlink(missing_ok=True)


def _nodes() -> Iterator[Path]:
    """Yield the Node.js programs to try: the machine's own, then the project's pinned one."""
    on_path = shutil.which("node")
    if on_path is not None:
        yield Path(on_path)
    yield pinned_node()
