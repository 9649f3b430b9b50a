"""The symptom chart: from what shows, on which instrument, to what may be wrong and how to tell; made from the faults.

Contents: `ChartRow`, `Cause`, `symptom_chart`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from sim.faults import GROUPS, VIEWS, FaultSpec, distinct_faults

__all__ = ["Cause", "ChartRow", "symptom_chart"]


@dataclass(frozen=True)
class Cause:
    """One thing that may be wrong.

    Attributes
    ----------
    entry, title, group : str
        Entry in the catalogue, its title, and the title of its group.
    proofs : tuple of str
        What proves it, in words.
    remedy : str
        How it is put right.
    told_from : tuple of (title, words)
        What else looks so, and how to tell it apart.
    """

    entry: str
    title: str
    group: str
    proofs: tuple[str, ...]
    remedy: str
    told_from: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ChartRow:
    """One symptom: the view it shows on (one of `sim.faults.VIEWS`), its words, and what may cause it."""

    view: str
    symptom: str
    causes: tuple[Cause, ...]


def symptom_chart(faults: Mapping[str, FaultSpec]) -> tuple[ChartRow, ...]:
    """Return the chart of a catalogue: by view, then in the order of the machine's groups and of the catalogue.

    A fault that each of the four heads can have stands there once, with N for the head's number; a symptom with the
    same words for several faults is one row with several causes.
    """
    distinct = distinct_faults(faults)
    titles = {entry: _of_any_head(fault.title, fault) for entry, fault in distinct.items()}
    found: dict[tuple[str, str], list[Cause]] = {}
    places = list(GROUPS)
    ordered = sorted(distinct.values(), key=lambda fault: places.index(fault.group))
    for view in VIEWS:
        for fault in ordered:
            if view in fault.symptoms:
                symptom = _of_any_head(fault.symptoms[view], fault)
                found.setdefault((view, symptom), []).append(_cause(fault, titles))
    return tuple(ChartRow(view, symptom, tuple(causes)) for (view, symptom), causes in found.items())


def _cause(fault: FaultSpec, titles: Mapping[str, str]) -> Cause:
    return Cause(
        entry=fault.entry,
        title=titles[fault.entry],
        group=GROUPS[fault.group],
        proofs=tuple(_of_any_head(proof.words, fault) for proof in fault.proof),
        remedy=_of_any_head(fault.remedy.text, fault),
        told_from=tuple((titles[other.fault], _of_any_head(other.tell, fault)) for other in fault.look_alikes),
    )


def _of_any_head(text: str, fault: FaultSpec) -> str:
    return re.sub(rf"\b{fault.head}\b", "N", text) if fault.head else text
