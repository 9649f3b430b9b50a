"""What an instrument shows, as a file to keep: its name, and its numbers as a table with all that they stand for.

Contents: `file_name`, `csv_text`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bandbench.bench.readings import setting
from bandbench.bench.words import say
from sim.controls import CONTROLS, default_controls

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["csv_text", "file_name"]

_DIGITS = 7


def file_name(bench: Bench, parts: Sequence[str], kind: str) -> str:
    """Return the name of a file: what it shows, of which standard and programme, and which frame.

    Parameters
    ----------
    bench : Bench
        What it is of.
    parts : sequence of str
        Instrument, test point and what else tells it from others.
    kind : str
        "png" or "csv".
    """
    words = [
        "bandbench", *parts, bench.recorder.standard.name, bench.programme, f"frame {bench.frame.index}"
    ]  # fmt: skip
    return f"{'_'.join(re.sub(r'[^a-z0-9]+', '-', word.lower()).strip('-') for word in words)}.{kind}"


def csv_text(bench: Bench, instrument: str, sentence: str, columns: Mapping[str, NDArray[np.floating]]) -> str:
    """Return a table of what an instrument shows.

    Parameters
    ----------
    bench : Bench
        Whose standard, practice, tape and controls are told in the head of the table.
    instrument, sentence : str
        Which instrument shows it, at which test point; and what that is in a sentence.
    columns : mapping of str to ndarray of one length
        The numbers, by the name of the column, which ends with its unit in brackets.

    Returns
    -------
    str
        Lines that begin with ``#``, then the names of the columns, then a line for each row; commas between numbers,
        points in them.
    """
    recorder = bench.recorder
    defaults = default_controls(recorder.practice)
    moved = [
        f"{CONTROLS[name].label}: {setting(CONTROLS[name], value)}"
        for name, value in recorder.controls.items()
        if value != defaults[name]
    ]
    facts = {
        "instrument": instrument,
        "shows": sentence,
        "standard": recorder.standard.name,
        "practice": recorder.practice.name,
        "tape": recorder.tape.title,
        "programme": bench.programme,
        "frame": str(bench.frame.index),
        "controls": "; ".join(moved) or say("snapshot.no_controls"),
    }
    head = [f"# {say(f'snapshot.{key}')}: {text}" for key, text in facts.items()]
    table = np.column_stack([np.asarray(values, dtype=np.float64) for values in columns.values()])
    rows = [",".join(f"{value:.{_DIGITS}g}" for value in row) for row in table]
    return "\n".join([*head, ",".join(columns), *rows, ""])
