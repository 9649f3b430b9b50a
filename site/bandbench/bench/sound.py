"""Sound: what is sent to the two tracks, their meters and phase display, listening, and spoken notes."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import param
from numpy.typing import NDArray

from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from bandbench.runtime.application import SoundBlock
from sim.errors import BandbenchError
from sim.reel import Reel
from sim.sound import (
    AUDIO_HEAD_DISTANCE_M,
    OWN_NOTE,
    SAMPLE_RATE_HZ,
    SOUND_MEASUREMENTS,
    SOUND_TRACKS,
    SOURCES,
    SoundError,
    audio_delay_s,
    describe_sound,
    phase_figure,
    sound_measurements,
)

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench
    from sim.station import Station

__all__ = ["SoundPanel", "SoundView"]

FIGURES = ("halves", "cue")
_UPDATE_S = 0.4
"""Sound that passes between two looks at the meters [s]."""
_BAR_DB = (-40.0, 12.0)
# A phase display is drawn as large as its signal, down to this level, so that hiss does not fill it.
_FIGURE_FLOOR = 0.05
_FIGURE_UNITS = 100


class SoundPanel(Part):
    """The sound part of the page.

    Attributes
    ----------
    tracks, figures : list of [str, str]
        Names and titles of the tracks, and of what the phase display can show.
    labels, abouts : dict of str to str
        What each reading is called and means.
    sources : list of [str, str]
        Names and titles of the sources that can be chosen now.
    chosen : dict of str to str
        The source of each track.
    fixed : bool
        Whether a lesson decides about the sources.
    readings : str
        JSON: for each reading its text (null where there is none) and, for levels, its share of the bar.
    zero : float
        Where on the bar reference level stands, 0 to 1.
    distance : str
        How far picture and sound of one moment lie apart on the tape.
    figure : str
        What the phase display shows, of `figures`.
    trace : str
        JSON: its points as [x, y, x, y, ...], -100 to 100.
    winding : bool
        Whether the wind is heard.
    silent : str
        Why there is no sound now, whatever is sent to the tracks; empty if there can be.
    sentence, notice, note : str
        What is heard, when asked; what could not be done; what became of a spoken note.
    revision : int
        Counts the looks at the meters.
    """

    tracks = param.List(default=[])
    figures = param.List(default=[])
    labels = param.Dict(default={})
    abouts = param.Dict(default={})
    sources = param.List(default=[])
    chosen = param.Dict(default={})
    fixed = param.Boolean(default=False)
    readings = param.String(default="{}")
    zero = param.Number(default=0.0)
    distance = param.String(default="")
    figure = param.String(default="halves")
    trace = param.String(default="[]")
    winding = param.Boolean(default=False)
    silent = param.String(default="")
    sentence = param.String(default="")
    notice = param.String(default="")
    note = param.String(default="")
    revision = param.Integer(default=0)

    _esm = script("sound")


def _text(name: str, value: float) -> str:
    unit = SOUND_MEASUREMENTS[name].unit
    # Adding zero turns a rounded minus zero into zero.
    level = round(value, 1) + 0.0
    shown = {"dB": f"{level:+.1f}", "Hz": f"{value:.0f}", "%": f"{value:.2f}", "deg": f"{round(value):+d}"}[unit]
    return f"{shown}\N{NO-BREAK SPACE}{unit}"


def _share(value_db: float) -> float:
    low, high = _BAR_DB
    return round(min(max((value_db - low) / (high - low), 0.0), 1.0), 3)


class SoundView(View):
    """The sound part of the bench."""

    WORDS: ClassVar[str] = "sound"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self._listening = ""
        self._figure = "halves"
        self._seen_s = 0.0
        self._readings_shown = True
        self._note_place: tuple[Reel, float, str] | None = None
        self._no_tape = ""
        self.panel = SoundPanel(
            self.receive,
            words=self.words,
            tracks=[[track.name, track.title] for track in SOUND_TRACKS.values()],
            figures=[[name, self.words[f"figure_{name}"]] for name in FIGURES],
            labels={name: spec.label for name, spec in SOUND_MEASUREMENTS.items()},
            abouts={name: spec.description for name, spec in SOUND_MEASUREMENTS.items()},
            zero=_share(0.0),
            distance=say(
                "sound.distance",
                millimetres=f"{AUDIO_HEAD_DISTANCE_M * 1e3:.0f}",
                seconds=f"{audio_delay_s(self._station.sound.tape_speed_m_per_s):.2f}",
            ),
        )
        self.refresh()

    @property
    def _station(self) -> Station:
        return self.bench.station

    def roots(self) -> dict[str, Any]:
        """Return the sound part."""
        return {"sound": self.panel}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed: ``{"do": ..., "value": ..., "track": ...}``."""
        value = message.get("value")
        match message["do"]:
            case "source":
                self.panel.notice = self.act(partial(self._choose, str(message["track"]), str(value))) or ""
                self.refresh()
            case "listen":
                self._listening = str(value) if value in SOUND_TRACKS else ""
                self._station.take_sound()
            case "winding":
                self.panel.notice = self.act(partial(self._hear_winding, bool(value))) or ""
                self.refresh()
            case "figure":
                self._figure = str(value) if value in FIGURES else FIGURES[0]
                self._look()
            case "describe":
                self.panel.sentence = ""
                shown = self.bench.readings_shown
                self.panel.sentence = describe_sound(self._station.sound) if shown else say("meters.away_judge")
            case "note_begins":
                self._mark_note()
            case other:
                raise ValueError(f"the sound part knows no {other!r}")

    def _choose(self, track: str, name: str) -> None:
        if self._fixed:
            raise SoundError(say("sound.fixed"))
        self.bench.send_sound(track, name)

    @property
    def _fixed(self) -> bool:
        """Whether what is sent to the tracks is the lesson's."""
        return self.bench.session is not None and self.bench.held

    def _hear_winding(self, heard: bool) -> None:
        # What the meters show while the tape winds would depend on it, and a lesson's log does not hold it.
        if self.bench.session is not None:
            raise SoundError(say("sound.fixed"))
        self._station.sound.hear_winding = heard

    def refresh(self) -> None:
        """Show what is sent to the tracks."""
        sound = self._station.sound
        if self._readings_shown != self.bench.readings_shown:
            self._readings_shown = self.bench.readings_shown
            self.panel.sentence = ""
            self._look()
        names = {name: SOURCES[name].title for name in SOURCES} | {OWN_NOTE: say("sound.own_note")}
        self.panel.param.update(
            sources=[[name, names[name]] for name in sound.source_names()],
            chosen={track: sound.source_of(track) for track in SOUND_TRACKS},
            fixed=self._fixed,
            winding=sound.hear_winding,
            silent=say("sound.held") if self.bench.held else "",
        )

    # Meters ------------------------------------------------------------------------------------------------

    def watch(self) -> None:
        """Look at the meters if enough sound has passed since."""
        now_s = self._station.sound.time_s
        if not 0.0 <= now_s - self._seen_s < _UPDATE_S:
            self._seen_s = now_s
            self._look()

    def _look(self) -> None:
        sound = self._station.sound
        shown: dict[str, dict[str, object]] = {}
        for name, value in sound_measurements(sound).items():
            share = _share(value) if value is not None and SOUND_MEASUREMENTS[name].unit == "dB" else None
            shown[name] = {"text": None if value is None else _text(name, value), "share": share}
        if not self.bench.readings_shown:
            shown = {name: {"text": say("path.away"), "share": None, "away": True} for name in shown}
        across, up = phase_figure(sound, self._figure)
        peak = max(_FIGURE_FLOOR, *(float(np.max(np.abs(one), initial=0.0)) for one in (across, up)))
        points = np.rint(np.column_stack([across, up]) * (_FIGURE_UNITS / peak)).astype(int)
        self.panel.param.update(
            readings=json.dumps(shown),
            trace=json.dumps(points.ravel().tolist()),
            figure=self._figure,
            revision=self.panel.revision + 1,
        )

    # Listening ---------------------------------------------------------------------------------------------

    def next_block(self) -> SoundBlock | None:
        """Return the sound of the chosen track since this was last asked; None if there is none or nobody listens."""
        if not self._listening:
            return None
        blocks = [block[self._listening] for block in self._station.take_sound()]
        return SoundBlock(np.concatenate(blocks), SAMPLE_RATE_HZ) if blocks else None

    # Notes -------------------------------------------------------------------------------------------------

    def _mark_note(self) -> None:
        """Remember where on the tape a note begins, or why it cannot be put there."""
        station = self._station
        deck, reel = station.deck, station.reel
        self._note_place, self._no_tape, self.panel.note = None, "", ""
        if reel is None:
            return
        if self.bench.session is not None:
            self._no_tape = say("sound.note_lesson")
        elif not reel.ring_fitted:
            self._no_tape = say("sound.note_ring")
        elif deck.mode not in ("play", "record") or deck.tape_speed_m_per_s <= 0.0:
            self._no_tape = say("sound.note_still")
        else:
            self._note_place = (reel, deck.position_m, deck.timer_text)

    def take_note(self, samples: NDArray[np.float32]) -> None:
        """Put a spoken note onto the cue track where it was begun; say what became of it."""
        station = self._station
        place, self._note_place = self._note_place, None
        try:
            note = station.sound.take_note(samples)
        except BandbenchError as error:
            self.panel.note = say("sound.note_refused", why=str(error))
            return
        seconds = f"{math.ceil(10.0 * note.duration_s) / 10.0:.1f}"
        if place is not None and place[0] is station.reel:
            reel, position_m, timer = place
            try:
                station.sound.lay_note(reel, position_m)
            except BandbenchError as error:
                self.panel.note = say("sound.note_kept", seconds=seconds, why=str(error))
            else:
                self.panel.note = say("sound.note_laid", seconds=seconds, timer=timer)
        elif station.reel is None and self.bench.session is None:
            station.sound.choose_source("cue", OWN_NOTE)
            self.panel.note = say("sound.note_endless", seconds=seconds)
        else:
            why = self._no_tape or say("sound.note_reel")
            self.panel.note = say("sound.note_kept", seconds=seconds, why=why)
        self.refresh()
