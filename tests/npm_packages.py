"""npm packages that only tests use: fetched through the npm client, checked by hash, kept in the download cache.

Contents: `npm_package`. Which ones, and the hash of each, stand in ``npm_packages.lock.json``. A package is unpacked
alone: none of what it depends on is fetched, and nothing of it is run by npm.
"""

from __future__ import annotations

import base64
import hashlib
import json
import subprocess
import tarfile
import tempfile
from pathlib import Path

from bandbench.cache import cache_folder
from bandbench.npm_client import find_npm

__all__ = ["npm_package"]

LOCK_FILE = Path(__file__).with_name("npm_packages.lock.json")


def npm_package(name: str) -> Path:
    """Return the folder that holds an npm package's files, fetched the first time.

    Parameters
    ----------
    name : str
        One of those in the lock file.
    """
    locked = json.loads(LOCK_FILE.read_text("utf-8"))[name]
    algorithm, digest = locked["integrity"].split("-", 1)
    label = hashlib.sha256(locked["integrity"].encode()).hexdigest()[:16]
    folder = cache_folder() / f"npm-test-{name.replace('/', '-').removeprefix('@')}-{label}"
    if folder.is_dir():
        return folder / "package"
    # Unpacked beside its place and renamed, so that an interrupted download is never taken for a whole one.
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix="npm-test-") as scratch:
        words = ["pack", f"{name}@{locked['version']}", "--ignore-scripts", "--pack-destination", scratch]
        done = subprocess.run([*find_npm(), *words], cwd=scratch, capture_output=True, text=True, check=False)
        assert done.returncode == 0, f"npm could not fetch {name}, which tests need: {done.stderr.strip()}"
        (packed,) = Path(scratch).glob("*.tgz")
        content = packed.read_bytes()
        found = base64.b64encode(hashlib.new(algorithm, content).digest()).decode()
        assert found == digest, f"{name} {locked['version']} is not the package that was locked; do not use it"
        unpacked = Path(scratch, "unpacked")
        with tarfile.open(packed) as archive:
            archive.extractall(unpacked, filter="data")
        try:
            unpacked.rename(folder)
        except OSError:
            # Another run may have been first; its copy is as good.
            assert folder.is_dir()
    return folder / "package"
