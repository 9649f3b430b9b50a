"""Name files by their content and write them so that every build of the same inputs gives the same bytes."""

from __future__ import annotations

import gzip
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

__all__ = ["COMPRESSIBLE", "DIGEST_LENGTH", "AssetGroup", "compressed", "content_digest", "write_site"]

COMPRESSIBLE = {".css", ".html", ".js", ".json", ".mjs", ".svg", ".txt", ".wasm", ".webmanifest"}
"""Kinds of file that are sent as gzip; the others are compressed already."""

DIGEST_LENGTH = 16


@dataclass(frozen=True)
class AssetGroup:
    """Files that refer to each other by relative address, in one folder named by their common content.

    Parameters
    ----------
    name : str
        What they are.
    files : Mapping[str, bytes]
        Content by path in the folder.
    """

    name: str
    files: Mapping[str, bytes]
    folder: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "folder", f"assets/{self.name}-{content_digest(self.files)[:DIGEST_LENGTH]}")

    def paths(self) -> dict[str, bytes]:
        """Return the content by path in the site."""
        return {f"{self.folder}/{path}": content for path, content in self.files.items()}


def content_digest(files: Mapping[str, bytes]) -> str:
    """Return one SHA-256, in hexadecimal, over the names and the content of files, in any order.

    Parameters
    ----------
    files : Mapping[str, bytes]
        Content by name.
    """
    digest = hashlib.sha256()
    for name, content in sorted(files.items()):
        digest.update(f"{name}\0{len(content)}\0".encode() + content)
    return digest.hexdigest()


_compressed: dict[bytes, bytes] = {}


def compressed(content: bytes) -> bytes:
    """Return the content as gzip without a time in it; kept, for a build asks for it up to three times."""
    digest = hashlib.sha256(content).digest()
    if digest not in _compressed:
        _compressed[digest] = gzip.compress(content, compresslevel=9, mtime=0)
    return _compressed[digest]


def write_site(output: Path, files: Mapping[str, bytes]) -> None:
    """Write the files below a folder, each compressible one also as gzip beside it.

    Parameters
    ----------
    output : Path
        An empty or missing folder.
    files : Mapping[str, bytes]
        Content by path in the site.
    """
    for path, content in sorted(files.items()):
        target = output / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
        if PurePosixPath(path).suffix in COMPRESSIBLE:
            target.with_name(target.name + ".gz").write_bytes(compressed(content))
