"""The signal path: every stage in order, with a small live curve and its state in a word or two."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import param

from bandbench.bench.readings import Readings, number, quantity, typeset
from bandbench.bench.traces import BAR_STAGES, GAP, POINTS, Trend, mini_traces
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.controls import STAGES
from sim.instruments import picture
from sim.sound import SoundError, sound_measurement

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench
    from sim.station import Station

__all__ = ["PathView", "SignalPath", "machine_states", "stage_states"]

# Below these a lean, bow or displacement is not put into words (MODEL: about one picture element of 70 ns).
_VISIBLE_US = 0.07
# A curve of sound shows its last 5 ms: five turns of the line-up tone.
_SOUND_SAMPLES = 160


class SignalPath(Part):
    """A button for each stage.

    Attributes
    ----------
    stages : list of dict
        Names, titles, sides and whether their curve is four bars.
    points, gap : int
        Form of `traces` (see `bandbench.bench.traces`).
    chosen : str
        The open stage.
    needed : list of str
        Stages that the lesson needs.
    states : str
        JSON: each stage's state in words (see `bandbench.bench.meters.Meters` for why it is one text).
    traces : bytes
        The curves.
    """

    stages = param.List(default=[])
    points = param.Integer(default=POINTS)
    gap = param.Integer(default=GAP)
    chosen = param.String(default="")
    needed = param.List(default=[])
    states = param.String(default="{}")
    traces = param.Bytes(default=b"")

    _esm = script("path")


def _head_state(readings: Readings) -> str:
    """Return what stands out most about the bands' geometry."""
    lean, bow = readings.values["skew_us"], readings.values["scallop_us"]
    if lean is None or bow is None:
        return say("path.no_sync")
    positions = {head: readings.values[f"head_position_ns_{head}"] or 0.0 for head in range(1, 5)}
    aside = max(positions, key=lambda head: abs(positions[head]))
    found = {
        say("path.lean", value=quantity(lean, "us")): abs(lean),
        say("path.bow", value=quantity(bow, "us")): abs(bow),
        say("path.aside", head=aside, value=quantity(positions[aside], "ns")): abs(positions[aside]) * 1e-3,
    }
    worst = max(found, key=lambda text: found[text])
    return worst if found[worst] > _VISIBLE_US else say("path.straight")


def stage_states(readings: Readings) -> dict[str, str]:
    """Return the state of each stage that has a signal in the frame, in a word or two, from what the instruments read.

    Parameters
    ----------
    readings : Readings
        What they read.
    """
    frame = readings.frame
    output = say("path.output", value=f"{100.0 * float(np.mean(picture(frame))):.0f}\N{NO-BREAK SPACE}%")
    peak = quantity(float(frame.source.max()), frame.standard.level_unit, signed=False)
    sent = {"processing": say("path.processing"), "output": output, "input": say("path.input", value=peak)}
    if not frame.off_tape:
        return dict.fromkeys(("tape", "headwheel", "channels", "switcher", "demodulator"), say("path.no_tape")) | sent
    playing = set(frame.head_of_line.tolist())
    off = [str(head) for head in range(1, 5) if head not in playing]
    levels = [readings.values[f"rf_level_db_{head}"] for head in range(1, 5) if head in playing]
    known = [level for level in levels if level is not None]
    if off:
        channels = say("path.some_off", heads=", ".join(off))
    elif known and max(known) - min(known) >= 1.0:
        channels = say("path.apart", value=f"{max(known) - min(known):.1f}\N{NO-BREAK SPACE}dB")
    else:
        channels = say("path.all_on")

    def short(name: str) -> str:
        value = readings.values[name]
        return say("path.no_reading") if value is None else f"{number(value, 1)}\N{NO-BREAK SPACE}dB"

    return {
        "tape": say("path.tape", value=f"{readings.tracking_pct:.0f}\N{NO-BREAK SPACE}%"),
        "headwheel": _head_state(readings),
        "channels": channels,
        "switcher": say("path.switcher", value=short("rf_level_db")),
        "demodulator": say("path.noise", value=short("noise_db").lstrip("+")),
        **sent,
    }


def machine_states(station: Station) -> dict[str, str]:
    """Return the state of the stages that record, and of the sound, from how the machine stands."""
    deck = station.deck
    if deck.isolated:
        return dict.fromkeys(("modulator", "record_drive", "sound"), say("path.no_power"))
    if station.recording_tracks:
        drive = say("path.recording")
    elif deck.record_armed:
        drive = say("path.armed")
    else:
        can = station.reel is not None and deck.ring_fitted
        drive = say("path.not_armed" if can else "path.inhibited")
    try:
        sound = quantity(sound_measurement(station.sound, "programme_level_db"), "dB")
    except SoundError:
        sound = say("path.silent")
    return {"modulator": say("path.carrier"), "record_drive": drive, "sound": sound}


class PathView(View):
    """The signal path strip."""

    WORDS: ClassVar[str] = "path"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self._trend = Trend()
        self._states: dict[str, str] = {}
        self.strip = SignalPath(
            self.receive,
            words=self.words,
            stages=[
                asdict(stage) | {"title": typeset(stage.title), "bars": stage.name in BAR_STAGES}
                for stage in STAGES.values()
            ],
        )
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the strip."""
        return {"path": self.strip}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Choose a stage: ``{"stage": name}``."""
        self.act(lambda: self.bench.choose_stage(str(message["stage"])))

    def refresh(self) -> None:
        """Show which stage is open."""
        self.strip.param.update(
            chosen=self.bench.stage, needed=[name for name in STAGES if self.bench.needs_stage(name)]
        )

    def update(self, readings: Readings) -> None:
        """Show the stages' curves and states."""
        self._trend.note(readings)
        frame = readings.frame
        record_side = STAGES[self.bench.stage].side == "record"
        sound = self.bench.station.sound.heard("programme")[-_SOUND_SAMPLES:]
        traces = mini_traces(frame, self._trend, record_side, sound)
        self._states = stage_states(readings)
        self.strip.param.update(states=self._state_text(), traces=traces)

    def watch(self) -> None:
        """Show the states that follow the transport."""
        states = self._state_text()
        if self._states and states != self.strip.states:
            self.strip.states = states

    def _state_text(self) -> str:
        if not self.bench.readings_shown:
            return json.dumps(dict.fromkeys(STAGES, say("path.away")))
        return json.dumps(self._states | machine_states(self.bench.station))
