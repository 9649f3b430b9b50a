"""The data files that came with the bench: TOML in the folder ``lessons`` beside the package `sim`.

Contents: `FOLDER`, `data_names`, `read_data`, `data_stamp`, `read_toml`; `PARSED` and `parsed`, the form in which the
site has them.

TOML is the one source, and where the files are they are read. The built site does not have them: it has what they say
as one file of JSON, which the browser's Python reads more than ten times as fast.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import sim

__all__ = ["FOLDER", "PARSED", "data_names", "data_stamp", "parsed", "read_data", "read_toml"]

FOLDER = Path(sim.__file__).parents[1] / "lessons"

PARSED = "parsed.json"
"""The file that stands for all of a folder's TOML in the built site."""


def read_toml(text: str) -> dict[str, object]:
    """Return what a text in TOML says; ``tomllib.TOMLDecodeError``, a ValueError, if it is none."""
    # Here and not above: in the browser it takes long to load and is seldom needed.
    import tomllib

    return tomllib.loads(text)


def data_names(folder: Path = FOLDER) -> list[str]:
    """Return the names of a folder's data files, ``.toml`` and all, in order."""
    return sorted(path.name for path in folder.glob("*.toml")) or sorted(_parsed_in(folder))


def read_data(path: Path) -> object:
    """Return what a data file says, as a TOML parser gives it.

    Raises
    ------
    FileNotFoundError
        If it is not there, nor told of in `PARSED` beside it.
    """
    if not path.is_file() and path.name in _parsed_in(path.parent):
        return _parsed_in(path.parent)[path.name]
    # Here and not above, as for `read_toml`. Each reader gets data of its own.
    import pickle

    return pickle.loads(_pickled(path.read_text("utf-8")))


def data_stamp(path: Path) -> str:
    """Return what tells whether a data file still says the same: its text, and nothing in the built site."""
    return path.read_text("utf-8") if path.is_file() else ""


@lru_cache(maxsize=128)
def _pickled(text: str) -> bytes:
    """Return what a text says, to be made anew from: a bench reads all lessons, and to parse them takes a second."""
    import pickle

    return pickle.dumps(read_toml(text))


@lru_cache(maxsize=2)
def _parsed_in(folder: Path) -> dict[str, object]:
    path = folder / PARSED
    found: dict[str, object] = json.loads(path.read_text("utf-8")) if path.is_file() else {}
    return found


def parsed(folder: Path = FOLDER) -> str:
    """Return what `PARSED` has to hold: every data file of a folder by its name, as JSON.

    Raises
    ------
    TypeError, ValueError
        If a file holds what JSON cannot say, as a date or no finite number: none of ours has a use for those.
    """
    data = {path.name: read_toml(path.read_text("utf-8")) for path in sorted(folder.glob("*.toml"))}
    return json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
