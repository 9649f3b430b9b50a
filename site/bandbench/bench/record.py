"""Recording, apart from everything else: what would be written, the two steps to it, and how it went."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.readings import typeset
from bandbench.bench.transport import Answer, tape_time
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.errors import BandbenchError
from sim.reel import describe_joint, joints
from sim.transport import ACTS, EDIT_MODES, TRACKS

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["RecordPanel", "RecordView"]

STEPS = ("record_arm", "record", "disarm")
"""The acts of recording, in the order of their buttons."""

_TRACK_KEYS: Mapping[str, str] = {
    "video": "record.video",
    "control": "record.control",
    "programme": "record.programme",
    "cue": "record.cue",
}
_SWITCHES = ("colour_framed", "by_frame_pulse", "delayed_erase")
# How far before and behind a recording its joints with what lay there are looked for [m] (MODEL: more than a frame).
_NEAR_M = 0.1


class RecordPanel(Part):
    """The record box.

    Attributes
    ----------
    acts : list of dict
        Name, title and description of the three acts.
    tracks, edit_modes : list of [name, title]
        What can be chosen.
    now : str
        JSON: state in a word and in words, what is chosen, erasing, what the second step would do, and in sentences
        how the last recording fits what lies beside it.
    answer : str
        JSON: see `bandbench.bench.transport.TransportPanel`.
    """

    acts = param.List(default=[])
    tracks = param.List(default=[])
    edit_modes = param.List(default=[])
    now = param.String(default="{}")
    answer = param.String(default="{}")

    _esm = script("record")


class RecordView(View):
    """Recording."""

    WORDS: ClassVar[str] = "record"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self._answer = Answer(bench)
        self._since_s: float | None = None
        self._from_m = self._to_m = 0.0
        self._outcome: list[str] = []
        self.panel = RecordPanel(
            self.receive,
            words=self.words,
            acts=[{"name": name, "title": ACTS[name].title, "description": ACTS[name].description} for name in STEPS],
            tracks=[[track, say(_TRACK_KEYS[track])] for track in TRACKS],
            edit_modes=[list(entry) for entry in EDIT_MODES.items()],
        )
        self.live()

    def roots(self) -> dict[str, Any]:
        """Return the box."""
        return {"record": self.panel}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do a step or choose what is recorded.

        ``{"act": name}``, ``{"tracks": [name, ...]}``, ``{"edit_mode": name}``, ``{"length": text}`` or
        ``{"edit": {name: on}}``.
        """
        bench = self.bench
        action: Action
        match message:
            case {"act": name} if name in STEPS:
                action = lambda: bench.do_act(str(name))  # noqa: E731
            case {"tracks": tracks}:
                name, action = "tracks", lambda: bench.select_tracks(str(track) for track in tracks)
            case {"edit_mode": mode}:
                name, action = "edit_mode", lambda: bench.select_edit_mode(str(mode))
            case {"length": text}:
                name, action = "length", lambda: self._set_length(str(text))
            case {"edit": {**settings}} if set(settings) <= set(_SWITCHES):
                name, action = "edit", lambda: bench.set_edit(**{str(key): bool(on) for key, on in settings.items()})
            case _:
                raise ValueError(f"the record box knows no {message!r}")
        refused = self.act(action)
        self.live()
        self.panel.answer = self._answer.to(str(name), refused or "", refused is None)

    def _set_length(self, text: str) -> None:
        try:
            length_s = float(text.strip().replace(",", "."))
        except ValueError:
            raise BandbenchError(say("record.not_a_number", text=text)) from None
        self.bench.set_edit(length_s=length_s)

    def refresh(self) -> None:
        """Show the box as it is."""
        if self._answer.outdated():
            self._since_s, self._outcome = None, []
            self.panel.answer = self._answer.to("", "")
        self.live()

    def live(self) -> None:
        """Show the box as it is now."""
        self._follow()
        station = self.bench.station
        deck = station.deck
        state, text = self._state()
        now = json.dumps(
            {
                "state": state,
                "text": text,
                "lasting": self._lasting(),
                "confirm": self._confirmation() if deck.record_armed and deck.mode != "record" else "",
                "caution": typeset(ACTS["record_arm"].caution),
                "tracks": sorted(deck.record_tracks),
                "edit_mode": deck.edit_mode,
                "edit": asdict(station.edit) | {"length_s": f"{station.edit.length_s:g}"},
                "erase": [
                    [say("record.master"), deck.master_erase_on],
                    [say("record.video_erase"), deck.video_erase_on],
                    [say("record.sound_erase"), deck.audio_erase_on],
                    [say("record.cue_erase"), deck.cue_erase_on],
                ],
                "outcome": self._told_outcome(),
            }
        )
        if now != self.panel.now:
            self.panel.now = now

    def _told_outcome(self) -> list[str]:
        """Return how the last recording went; without what its joints read while the readings are put away."""
        if self.bench.readings_shown or len(self._outcome) < 2:
            return self._outcome
        return [self._outcome[0], say("meters.away")]

    def _state(self) -> tuple[str, str]:
        """Return the state in a word and in words."""
        bench, deck = self.bench, self.bench.station.deck
        if bench.held:
            return "off", say("record.lesson")
        if bench.station.recording_tracks:
            return "recording", say("record.recording", tracks=self._tracks(deck.written_tracks), reel=self._reel())
        if deck.mode == "record" or deck.goal == "record":
            return "armed", say("record.coming")
        if deck.record_armed:
            return "armed", say("record.armed")
        return "off", say("record.off")

    def _tracks(self, tracks: frozenset[str]) -> str:
        return ", ".join(say(_TRACK_KEYS[track]) for track in TRACKS if track in tracks) or say("record.nothing")

    def _reel(self) -> str:
        return dict(self.bench.reels()).get(self.bench.reel_name, self.bench.reel_name)

    def _confirmation(self) -> str:
        deck = self.bench.station.deck
        return say(
            "record.confirm",
            reel=self._reel(),
            place=tape_time(deck.position_m, deck),
            tracks=self._tracks(deck.written_tracks),
            mode=EDIT_MODES[deck.edit_mode],
        )

    def _lasting(self) -> str:
        """Return how long the recording has lasted."""
        if self._since_s is None:
            return ""
        return say("record.lasting", seconds=f"{self.bench.station.time_s - self._since_s:.0f}")

    def _follow(self) -> None:
        """Note where a recording begins and ends; at its end see how it fits what lies beside it."""
        station = self.bench.station
        writing = bool(station.recording_tracks)
        if writing and self._since_s is None:
            self._since_s, self._from_m, self._outcome = station.time_s, station.deck.position_m, []
        if self._since_s is None:
            return
        if writing:
            self._to_m = station.deck.position_m
            return
        lasted_s = (self._to_m - self._from_m) / station.deck.nominal_m_per_s
        self._since_s = None
        if station.reel is None:
            return
        said = [say("record.done", seconds=f"{lasted_s:.0f}", place=tape_time(self._from_m, station.deck))]
        # Between two looks the tape runs on for some tenths of a second.
        far_m = self._to_m + _NEAR_M + 0.5
        met = [one for one in joints(station.reel) if self._from_m - _NEAR_M <= one.position_m <= far_m]
        for joint in met:
            # What was turned while recording begins a new take: of those only what is wrong is told.
            if joint in (met[0], met[-1]) or not joint.clean:
                place = tape_time(joint.position_m, station.deck)
                said.append(say("record.joint", place=place, text=typeset(describe_joint(joint, station.standard))))
        self._outcome = said
