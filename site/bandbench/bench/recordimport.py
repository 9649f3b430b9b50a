"""What importing a file of records would do: what is new, what is here already, what is refused and why.

Contents: `ImportPlan`, `planned_import`. Nothing is changed here, and nothing that is kept is ever overwritten.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from bandbench.bench.recordform import KeptAttempt, LeftAttempt, Note, Profile, ReadRows, RecordsFile
from bandbench.bench.words import say

__all__ = ["ImportPlan", "planned_import"]


@dataclass(frozen=True)
class ImportPlan:
    """What importing a file would do.

    Attributes
    ----------
    source : str
        The file's name.
    profile : Profile
        Whose records they are.
    new_profile : bool
        Whether that learner is not known here yet.
    attempts, left, notes : tuple
        What would be added.
    there : int
        How many entries are here already.
    refused : tuple of str
        Entries that would not be added, each with its reason.
    """

    source: str
    profile: Profile
    new_profile: bool
    attempts: tuple[KeptAttempt, ...]
    left: tuple[LeftAttempt, ...]
    notes: tuple[Note, ...]
    there: int
    refused: tuple[str, ...]


def planned_import(
    source: str,
    file: RecordsFile,
    here: ReadRows,
    profiles: Iterable[str],
    refused_here: Callable[[KeptAttempt | LeftAttempt], str],
) -> ImportPlan:
    """Return what a file adds to what is here of its learner.

    Parameters
    ----------
    source : str
        The file's name.
    file : RecordsFile
        What it holds.
    here : ReadRows
        What is kept of the same learner.
    profiles : iterable of str
        Ids of the learners known here.
    refused_here : callable
        Returns why a readable attempt cannot be what it says, or an empty text.
    """
    refused = [one.reason for one in file.rows.unreadable]
    kept: tuple[KeptAttempt | Note, ...] = (*here.attempts, *here.notes)
    known = {row.id: row.content for row in kept}
    contents = set(known.values())
    going_on = {row.id for row in here.left}
    spoilt = {one.id for one in here.unreadable if one.id}
    there = 0

    def is_new(row: KeptAttempt | Note) -> bool:
        nonlocal there
        if row.id in spoilt:
            refused.append(say("refused.damaged_here", source=source, id=row.id))
        elif row.id in known and known[row.id] != row.content:
            refused.append(say("refused.differs", source=source, id=row.id))
        elif row.id in known or row.content in contents:
            there += 1
        else:
            contents.add(row.content)
            return True
        return False

    def may_be(row: KeptAttempt | LeftAttempt) -> bool:
        reason = refused_here(row)
        if reason:
            refused.append(f"{source}: {reason}")
        return not reason

    attempts = tuple(row for row in file.rows.attempts if may_be(row) and is_new(row))
    notes = tuple(row for row in file.rows.notes if is_new(row))
    left = []
    for row in file.rows.left:
        if row.id in known or row.id in going_on or row.id in spoilt:
            there += 1
        elif may_be(row):
            left.append(row)
    return ImportPlan(
        source, file.profile, file.profile.id not in profiles, attempts, tuple(left), notes, there, tuple(refused)
    )
