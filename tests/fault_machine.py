"""A machine with something planted in it, set up as a proof of the fault catalogue asks, and its readings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from sim.condition import Condition
from sim.errors import BandbenchError
from sim.faults import Proof
from sim.frame import PlaybackFrame
from sim.instruments import MeasurementError, measure
from sim.machine_readings import MACHINE_READINGS, read_machine
from sim.recorder import Recorder
from sim.reel import make_reel
from sim.station import Station

SEED = 3
# Signal on the endless work tape, or the tape, and controls of each set-up that looks at frames of a running tape.
_HELD: Mapping[str, tuple[str, str, Mapping[str, float]]] = {
    "playback": ("alignment-525", "", {}),
    "bars": ("programme", "bars", {}),
    "colour": ("programme", "bars", {"correction": 2.0}),
    "flat": ("programme", "flat", {}),
    "cleaned": ("alignment-525", "", {}),
    "degaussed": ("alignment-525", "", {}),
    "multiburst": ("programme", "multiburst", {}),
    "compensated": ("programme", "bars", {"dropout_threshold_db": -12.0}),
    "weak_rf": ("alignment-525", "", {f"channel_gain_db_{head}": -6.0 for head in range(1, 5)}),
    "electronics": ("programme", "bars", {}),
}
# Moments at which something that may swing is looked at [s].
_MOMENTS_S = tuple(0.27 * number for number in range(10))


@cache
def _recorder(setup: str) -> Recorder:
    tape, signal, controls = _HELD[setup]
    return Recorder(tape=tape, signal=signal or None, controls=dict(controls), seed=SEED)


def _value(name: str, frame: PlaybackFrame | None, station: Station | None) -> float:
    try:
        if station is not None and name in MACHINE_READINGS:
            return read_machine(station, name)
        if frame is None:
            assert station is not None
            frame = station.frame()
        return measure(frame, name)
    except MeasurementError:
        return math.nan


_CARE = {"cleaned": "clean_path", "treble_cleaned": "clean_path", "degaussed": "degauss"}


def after_care(setup: str, condition: Condition) -> Condition:
    """What is left of a condition when the machine has been cleaned or degaussed, if the set-up asks for it."""
    if setup not in _CARE:
        return condition
    station = Station(Recorder(signal="flat", condition=condition), seed=SEED)
    station.heard = False
    care_for(station, _CARE[setup])
    return station.recorder.condition


def care_for(station: Station, act: str) -> None:
    """Do an act of care as a careful person does it: at rest, tape out, mains locked off."""
    station.make_ready("stop")
    for step in ("open_covers", "unthread", "take_off_reel", "isolate"):
        station.do(step)
    station.advance(30.0)
    station.do(act)


def station_in(setup: str, condition: Condition) -> Station:
    """A machine that has run as the set-up says."""
    station = Station(Recorder(signal="bars", condition=after_care(setup, condition), seed=SEED), seed=SEED)
    # The meters work out the sound that they read (see `Station.heard`).
    station.heard = False
    match setup:
        case "running":
            station.make_ready("stop")
            station.do("play")
            station.advance(9.0)
        case "minute":
            station.make_ready("play")
            station.do("reset_timer")
            station.advance(60.0)
        case "winding" | "stopping":
            station.make_ready("stop")
            station.do("reset_timer")
            station.do("wind_forward")
            station.advance(12.0)
            if setup == "stopping":
                station.do("stop")
                station.do("reset_timer")
                station.advance(12.0)
        case "treble" | "treble_cleaned" | "silence":
            station.sound.choose_source("programme", "silence" if setup == "silence" else "tone_10k")
            station.make_ready("play")
            station.advance(3.0)
        case "alignment_sound":
            station.put_on(make_reel("alignment-525"), "play")
            station.advance(3.0)
        case "recording":
            reel = make_reel("blank-525")
            reel.ring_fitted = True
            station.put_on(reel, "play")
            station.advance(1.0)
            place_m = station.deck.position_m
            for act in ("record_arm", "record"):
                station.do(act)
            station.advance(5.0)
            station.make_ready("play", place_m + 0.4)
            station.advance(3.0)
    return station


def series_of(setup: str, condition: Condition, names: Iterable[str], swings: bool = False) -> dict[str, list[float]]:
    """What the named readings show, once or at several moments."""
    wanted = list(dict.fromkeys(names))
    series: dict[str, list[float]] = {name: [] for name in wanted}
    if setup in _HELD:
        recorder = _recorder(setup)
        recorder.set_condition(after_care(setup, condition))
        rate_hz = recorder.standard.frame_rate_hz
        play = recorder.electronics_frame if setup == "electronics" else recorder.play_frame
        for at_s in _MOMENTS_S if swings else _MOMENTS_S[:1]:
            frame = play(round(at_s * rate_hz))
            for name in wanted:
                series[name].append(_value(name, frame, None))
        return series
    try:
        station = station_in(setup, condition)
    except BandbenchError:
        return {name: [math.nan] for name in wanted}
    for number, _ in enumerate(_MOMENTS_S if swings else _MOMENTS_S[:1]):
        if number:
            station.advance(0.27)
        for name in wanted:
            series[name].append(_value(name, None, station))
    return series


@dataclass(frozen=True)
class Judged:
    """A proof, whether it holds, and what was read for it: what a failing test prints."""

    proof: Proof
    holds: bool
    read: Mapping[str, Sequence[float]]

    def __bool__(self) -> bool:
        return self.holds

    def __repr__(self) -> str:
        limits = " and ".join(f"{value:g}" for value in self.proof.value)
        read = "; ".join(
            f"{name} read {', '.join(f'{value:.5g}' for value in values)}" for name, values in self.read.items()
        )
        head = f" (head {self.proof.head})" if self.proof.head else ""
        asked = f"{self.proof.reading}{head} {self.proof.relation} {limits} {self.proof.unit}".rstrip()
        return f"{'holds' if self.holds else 'DOES NOT HOLD'}: {self.proof.setup}: {asked}: {read}"


def holding(proofs: Iterable[Proof], condition: Condition) -> list[Judged]:
    """Judge each proof on a machine in that condition."""
    proofs = list(proofs)
    found: dict[int, Judged] = {}
    for setup in dict.fromkeys(proof.setup for proof in proofs):
        chosen = [proof for proof in proofs if proof.setup == setup]
        names = [name for proof in chosen for name in proof.readings]
        series = series_of(setup, condition, names, any(proof.relation == "swings" for proof in chosen))
        for proof in chosen:
            read = {name: series[name] for name in proof.readings}
            found[id(proof)] = Judged(proof, proof.holds(series), read)
    return [found[id(proof)] for proof in proofs]
