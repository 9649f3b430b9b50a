"""Many small files as one: the form in which the browser gets its Python packages.

Four bytes with the length of an index (little endian), the index as JSON (``[[path, size], ...]``, sorted by path),
then every file's bytes in that order. Needs nothing but the standard library: the build also uses it inside Pyodide.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

__all__ = ["archive_bytes", "archive_files"]

_LENGTH_BYTES = 4


def archive_bytes(files: Mapping[str, bytes]) -> bytes:
    """Return files as one archive.

    Parameters
    ----------
    files : Mapping[str, bytes]
        Content by path.

    Examples
    --------
    >>> archive_bytes({"b": b"2", "a": b"1"})
    b'\\x11\\x00\\x00\\x00[["a",1],["b",1]]12'
    """
    ordered = sorted(files.items())
    index = json.dumps([[path, len(content)] for path, content in ordered], separators=(",", ":")).encode()
    return b"".join([len(index).to_bytes(_LENGTH_BYTES, "little"), index, *(content for _, content in ordered)])


def archive_files(archive: bytes) -> dict[str, bytes]:
    """Return the files of an archive, content by path.

    Parameters
    ----------
    archive : bytes
        What `archive_bytes` returned.

    Examples
    --------
    >>> archive_files(archive_bytes({"b": b"2", "a": b"1"}))
    {'a': b'1', 'b': b'2'}
    """
    start = _LENGTH_BYTES + int.from_bytes(archive[:_LENGTH_BYTES], "little")
    files = {}
    for path, size in json.loads(archive[_LENGTH_BYTES:start]):
        files[path] = archive[start : start + size]
        start += size
    return files
