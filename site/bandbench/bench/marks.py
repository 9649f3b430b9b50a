"""Marked states of the open bench, to come back to.

Contents: `BenchState`, `state_of`, `take_state`, `mark_refusal`, `put_back`, `copied_reel`.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bandbench.bench.errors import BenchError
from bandbench.bench.monitoring import Scope
from bandbench.bench.planting import Planting
from bandbench.bench.programme import COPY
from bandbench.bench.settings import KeptPicture, MonitorSettings
from bandbench.bench.words import say
from sim.reel import TRACKS, Reel
from sim.training.demonstration import DECK_MODES

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench
    from sim.transport import Deck

__all__ = ["BenchState", "copied_reel", "mark_refusal", "put_back", "state_of", "take_state"]


@dataclass(frozen=True, eq=False)
class BenchState:
    """All that is set, planted and looked at, and where the tape stands.

    Attributes
    ----------
    mode : str
        What the bench is used for.
    standard, practice : str
        What the machine is set to.
    reel_name, reel : str, Reel or None
        The tape on the machine, with what was on it then.
    deck_mode, position_m : str, float
        What the tape does when the state comes back, one of `DECK_MODES`, and its place at the wheel [m].
    deck_was : str
        What it did.
    controls : mapping of str to float
        Every control.
    programme : str
        What is sent to the machine.
    secret, fault, severity, fault_shown
        What is planted.
    why_shown, readings_shown, playing, caption
        What the class sees.
    stage, scope, monitor, kept
        Where one looks.
    """

    mode: str
    standard: str
    practice: str
    reel_name: str
    reel: Reel | None
    deck_mode: str
    position_m: float
    deck_was: str
    controls: Mapping[str, float]
    programme: str
    secret: Planting
    fault: str | None
    severity: float
    fault_shown: bool
    why_shown: bool | None
    readings_shown: bool
    playing: bool
    caption: Mapping[str, str]
    stage: str
    scope: Scope
    monitor: MonitorSettings
    kept: KeptPicture | None


def mark_refusal(bench: Bench) -> str:
    """Return why the bench as it is could not be come back to, and what to do; empty if it can."""
    if bench.mode is None or bench.held or bench.session is not None:
        return say("instructor.mark_lesson" if bench.mode == "learn" else "instructor.mark_unchosen")
    station = bench.station
    if station is not bench.machines.own:
        return say("instructor.mark_second")
    if bench.programme == COPY:
        return say("instructor.mark_copy")
    if station.deck.mode == "record" or station.recording_tracks:
        return say("instructor.mark_recording")
    return "" if station.deck.threaded else say("instructor.mark_unthreaded")


def take_state(bench: Bench) -> BenchState:
    """Return the bench as it is, with a copy of the reel; BenchError where `mark_refusal` says why not."""
    refusal = mark_refusal(bench)
    if refusal:
        raise BenchError(refusal)
    reel = bench.station.reel
    # Takes on it are never written into: the copy shares their pictures.
    return state_of(bench, None if reel is None else copied_reel(reel))


def _comes_back(deck: Deck) -> str:
    """Return what the tape does when the state comes back: what it was on its way to, and at rest where it wound."""
    for mode in (deck.mode, deck.goal):
        if mode in DECK_MODES:
            return mode
    return "stop"


def state_of(bench: Bench, reel: Reel | None) -> BenchState:
    """Return the open bench as it is, on its own machine, with this for its reel."""
    assert bench.mode is not None
    machines, station = bench.machines, bench.machines.own
    recorder, deck = station.recorder, station.deck
    return BenchState(
        mode=bench.mode,
        standard=recorder.standard.name,
        practice=recorder.practice.name,
        reel_name=machines.reel_name,
        reel=reel,
        deck_mode=_comes_back(deck),
        position_m=min(max(deck.position_m, deck.ready_places_m[0]), deck.ready_places_m[1]),
        deck_was=deck.mode,
        controls=dict(recorder.controls),
        programme=bench.programme,
        secret=bench.secret,
        fault=bench.fault,
        severity=bench.severity,
        fault_shown=bench.fault_shown,
        why_shown=bench.why_shown,
        readings_shown=bench.readings_shown,
        playing=bench.playing,
        caption=dict(bench.caption),
        stage=bench.stage,
        scope=bench.scope,
        monitor=bench.monitor,
        kept=bench.kept,
    )


def copied_reel(reel: Reel) -> Reel:
    """Return a reel with the same takes in the same places, on which can be recorded without the other knowing."""
    shared = [reel.standard, *(segment.content for track in TRACKS for segment in reel.segments(track))]
    return deepcopy(reel, {id(one): one for one in shared})


def put_back(bench: Bench, state: BenchState) -> None:
    """Bring the bench back to a state; BandbenchError in a lesson, which is left first."""
    bench.check_free("the bench")
    if bench.mode != state.mode:
        bench.choose_mode(state.mode)
    bench.put_up_state(state, None if state.reel is None else copied_reel(state.reel))
