"""Verdicts of `bandbench report`, kept in a folder of the user's from one report to the next.

Contents: `VerdictCache`, `program_digest`. Names and texts are those of `sim.training.verdicts`; only what this program
has computed is ever written.
"""

from __future__ import annotations

import platform
import sqlite3
import sys
import time
from collections.abc import Iterable, Mapping
from hashlib import blake2b
from pathlib import Path

import numpy as np

import sim
from sim.training.rescore import Worth
from sim.training.verdicts import verdict_from_text, verdict_text

__all__ = ["FILE_NAME", "VerdictCache", "program_digest"]

FILE_NAME = "class-report-verdicts.sqlite"
# A few hundred bytes each: years of a large school's attempts.
_MOST_KEPT = 200_000
_AT_ONCE = 500
_WAIT_S = 10.0


def program_digest() -> str:
    """Return what tells this program from one that may score otherwise: every module of `sim`, NumPy, the machine."""
    digest = blake2b(digest_size=20)
    root = Path(sim.__file__).parent
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return f"{digest.hexdigest()} {np.__version__} {platform.machine()} {sys.platform}"


class VerdictCache:
    """Verdicts in a file of a folder; without a folder, or where the file cannot be used, nothing is kept.

    Parameters
    ----------
    folder : Path or None
        Made if it does not exist.

    Attributes
    ----------
    problem : str
        Why nothing is kept any longer; empty while all is well.
    """

    def __init__(self, folder: Path | None) -> None:
        self.problem = ""
        self._database: sqlite3.Connection | None = None
        if folder is None:
            return
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._database = sqlite3.connect(folder / FILE_NAME, timeout=_WAIT_S)
            with self._database as database:
                database.execute("CREATE TABLE IF NOT EXISTS verdicts (key TEXT PRIMARY KEY, text TEXT, used_s REAL)")
        except (OSError, sqlite3.Error) as error:
            self._give_up(f"{folder / FILE_NAME}: {error}")

    def _give_up(self, problem: str) -> None:
        self.problem = problem
        self.close()

    def close(self) -> None:
        """Close the file."""
        database, self._database = self._database, None
        if database is not None:
            database.close()

    def known(self, keys: Iterable[str]) -> dict[str, Worth]:
        """Return the verdicts that are kept under names; a damaged one counts as none."""
        wanted = list(dict.fromkeys(keys))
        found: dict[str, Worth] = {}
        for begin in range(0, len(wanted), _AT_ONCE):
            part = wanted[begin : begin + _AT_ONCE]
            for key, text in self._rows(part):
                worth = verdict_from_text(key, text) if isinstance(text, str) else None
                if worth is not None:
                    found[key] = worth
        return found

    def _rows(self, keys: list[str]) -> list[tuple[str, object]]:
        if self._database is None:
            return []
        marks = ",".join("?" * len(keys))
        try:
            with self._database as database:
                database.execute(f"UPDATE verdicts SET used_s = ? WHERE key IN ({marks})", (time.time(), *keys))
                return database.execute(f"SELECT key, text FROM verdicts WHERE key IN ({marks})", keys).fetchall()
        except sqlite3.Error as error:
            self._give_up(str(error))
            return []

    def keep(self, worths: Mapping[str, Worth]) -> None:
        """Keep verdicts that have just been computed; those that have not been used for longest make room."""
        if self._database is None:
            return
        now_s = time.time()
        rows = [(key, verdict_text(key, worth), now_s) for key, worth in worths.items()]
        try:
            with self._database as database:
                database.executemany("INSERT OR REPLACE INTO verdicts VALUES (?, ?, ?)", rows)
                database.execute(
                    "DELETE FROM verdicts WHERE key IN "
                    "(SELECT key FROM verdicts ORDER BY used_s DESC LIMIT -1 OFFSET ?)",
                    (_MOST_KEPT,),
                )
        except sqlite3.Error as error:
            self._give_up(str(error))
