"""Marked states of the open bench, to come back to.

Contents: `BenchState`, `take_state`, `put_back`, `copied_reel`.
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

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["BenchState", "copied_reel", "put_back", "take_state"]

_MARKED_MODES = ("play", "standby", "stop")


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
        What the tape does, and its place at the wheel [m].
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


def take_state(bench: Bench) -> BenchState:
    """Return the bench as it is.

    Raises
    ------
    BenchError
        If it cannot be come back to: in a lesson, on the second machine, while the tape winds or records.
    """
    if bench.held or bench.session is not None or bench.mode is None:
        raise BenchError(say("instructor.mark_lesson"))
    machines, station = bench.machines, bench.station
    if station is not machines.own or bench.programme == COPY:
        raise BenchError(say("instructor.mark_second"))
    if station.deck.mode not in _MARKED_MODES or not station.deck.threaded:
        raise BenchError(say("instructor.mark_moving"))
    recorder = station.recorder
    return BenchState(
        mode=bench.mode,
        standard=recorder.standard.name,
        practice=recorder.practice.name,
        reel_name=machines.reel_name,
        # Takes on it are never written into: the copy shares their pictures.
        reel=None if station.reel is None else copied_reel(station.reel),
        deck_mode=station.deck.mode,
        position_m=station.deck.position_m,
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
