"""Telling a fault from instrument readings alone, by the proofs of the fault catalogue.

Contents: `standing_setups`, `readings_for`, `likely_faults`. The linter's operator diagnoses so; it sees no condition.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from sim.faults import FaultSpec
from sim.training.lesson import Lesson

__all__ = ["likely_faults", "readings_for", "standing_setups"]


def standing_setups(lesson: Lesson) -> tuple[str, ...]:
    """Return the set-ups of proofs (`sim.faults.SETUPS`) that a lesson's machine stands in as it is delivered.

    A tape plays its signal; a machine that runs has been started by the lesson's steps. What has to be cleaned or
    recorded first is not for one who only reads.
    """
    return ("running", lesson.signal) if lesson.running else ("playback", lesson.signal)


def readings_for(
    candidates: Iterable[FaultSpec], setups: Sequence[str], offered: Collection[str]
) -> tuple[tuple[str, ...], bool]:
    """Return the readings that tell the candidates apart, and whether they have to be watched for seconds.

    Proofs of other set-ups, and readings that are not `offered` at the machine, are left out.
    """
    proofs = [proof for fault in candidates for proof in fault.proof if proof.setup in setups]
    names = dict.fromkeys(name for proof in proofs for name in proof.readings if name in offered)
    return tuple(names), any(proof.relation == "swings" for proof in proofs)


def likely_faults(
    candidates: Sequence[FaultSpec], series: Mapping[str, Sequence[float]], count: int, setups: Sequence[str]
) -> tuple[FaultSpec, ...]:
    """Return the faults that readings speak for most, most likely first, of each entry at most one.

    A fault all of whose proofs hold comes before one with a proof that fails; among equals the one with more proofs.

    Parameters
    ----------
    candidates : sequence of FaultSpec
        Faults that come into question, those of one head once for each head.
    series : mapping of reading to numbers
        What each of `readings_for` showed, once or several times.
    count : int
        How many are wanted.
    setups : sequence of str
        Set-ups the readings were taken in; what proves a fault in others says nothing.
    """

    def weight(fault: FaultSpec) -> tuple[float, int]:
        proofs = [proof for proof in fault.proof if proof.setup in setups]
        holding = [all(name in series for name in proof.readings) and proof.holds(series) for proof in proofs]
        return (sum(holding) / len(holding), sum(holding)) if holding else (0.0, 0)

    order = sorted(candidates, key=weight, reverse=True)
    first: dict[str, FaultSpec] = {}
    for fault in order:
        first.setdefault(fault.entry, fault)
    return tuple(first.values())[:count]
