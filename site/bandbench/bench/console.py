"""The bench's end of the instructor's console: what it asks for is read strictly, what it shows is told as JSON.

Contents: `ConsoleView`, `ConsoleError`, `VALUE_KEYS`. The page passes the messages on (``site/static/classroom.mjs``);
their form on the way is ``site/static/consoleprotocol.mjs``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from bandbench.bench.bench import MODES
from bandbench.bench.faults import FAULTS
from bandbench.bench.instructor import Instructor, Mark
from bandbench.bench.marks import mark_refusal
from bandbench.bench.planting import HIDDEN
from bandbench.bench.readings import Readings, decimals_of_step, number, quantity, setting, typeset, unit_sign
from bandbench.bench.remembering import read_remembered, remembered_text, remembered_words
from bandbench.bench.view import Action, View
from bandbench.bench.words import say
from sim.controls import CONTROLS, STAGES, default_controls
from sim.faults import GROUPS
from sim.instruments import DEFAULT_READINGS, MEASUREMENTS
from sim.machine_readings import MACHINE_READINGS
from sim.reel import REELS
from sim.servos import lock_indicators
from sim.showing import CueWatch, Verdict
from sim.signals import SIGNALS
from sim.tape import TAPES
from sim.training.attempt import ControlMoved, HintOpened
from sim.training.demonstration import Cue, Expectation
from sim.training.reader import DataError, Table
from sim.transport import MODES as DECK_MODES

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["VALUE_KEYS", "ConsoleError", "ConsoleView"]

_SOURCE = "the instructor's console"
# A console that asks for more at once is no console.
_LARGEST_NUMBER = 2**53
_WHY: Mapping[str, bool | None] = {"auto": None, "shown": True, "hidden": False}


class ConsoleError(DataError):
    """A message of a console that cannot be understood."""


class ConsoleView(View):
    """What consoles see and do. It has no part in the class's page.

    Parameters
    ----------
    instructor : Instructor
        Does what is asked.
    """

    WORDS: ClassVar[str] = "instructor"

    def __init__(
        self,
        bench: Bench,
        act: Callable[[Action], str | None],
        instructor: Instructor,
    ) -> None:
        super().__init__(bench, act)
        self.instructor = instructor
        self._readings: Readings | None = None
        self._watch: tuple[Cue, int, CueWatch] | None = None
        self._verdicts: tuple[Verdict, ...] = ()
        self._told = self._remembered = ""
        self._outgoing: list[dict[str, Any]] = []

    def roots(self) -> dict[str, Any]:
        """Return nothing: the class sees no part of the console."""
        return {}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Refuse: consoles send their messages by `take`."""
        raise ValueError(f"the console has no part in the page, got {message!r}")

    # What comes in ----------------------------------------------------------------------------------------------

    def take(self, text: str) -> None:
        """Take a message of a console, JSON: ``{"kind": "hello" | "bye"}`` or ``{"kind": "do", "number": ..., ...}``.

        One that cannot be understood is answered with the reason and changes nothing.
        """
        number = 0
        try:
            table = Table(json.loads(text), _SOURCE, "", ConsoleError, ("kind", "number", "action", "value"))
            kind = table.choice("kind", ("hello", "bye", "do"))
            if kind == "do":
                number = table.whole_number("number", 1, _LARGEST_NUMBER)
                problem = self.act(self._action(table))
                self._answer(number, typeset(problem) if problem else "")
                self._told = ""
                return
        except (ValueError, RecursionError, DataError) as error:
            self._answer(number, str(error))
            return
        self.bench.set_instructed(kind == "hello")
        if kind == "hello":
            self._outgoing.append({"kind": "lists", **self._lists()})
            self._told = self._remembered = ""

    def _answer(self, number: int, problem: str) -> None:
        self._outgoing.append({"kind": "answer", "number": number, "problem": problem})

    def _action(self, table: Table) -> Action:
        instructor, bench = self.instructor, self.bench
        what = table.choice("action", VALUE_KEYS)
        value = table.table("value", VALUE_KEYS[what])
        match what:
            case "mode":
                return partial(bench.choose_mode, value.choice("mode", MODES))
            case "plant":
                return partial(instructor.plant, value.text("fault"), value.number("severity"))
            case "hide_value":
                return partial(instructor.hide_value, value.text("name"), value.number("to"))
            case "clear":
                return instructor.clear
            case "freeze":
                return partial(bench.set_playing, not value.flag("frozen"))
            case "why":
                return partial(bench.show_why, _WHY[value.choice("choice", _WHY)])
            case "readings":
                return partial(bench.show_readings, value.flag("shown"))
            case "mark":
                return instructor.mark
            case "put_back":
                kept = read_remembered(value.text("memory"), instructor.demonstrations)
                return partial(instructor.put_back_all, kept.now, kept.marks)
            case "rewind":
                return partial(instructor.rewind, value.whole_number("mark", 1, _LARGEST_NUMBER))
            case "show":
                return partial(instructor.show, value.text("demonstration"), value.whole_number("cue", 1, 1000))
            case "next":
                return partial(instructor.step, 1)
            case "back":
                return partial(instructor.step, -1)
            case _:
                return instructor.end

    # What goes out ----------------------------------------------------------------------------------------------

    def next_messages(self) -> str:
        """Return what consoles shall be told since this was last asked, as a JSON list, or an empty text."""
        if self.bench.instructed:
            remembered = remembered_text(self.instructor)
            if remembered != self._remembered:
                self._remembered = remembered
                words = remembered_words(self.instructor)
                self._outgoing.append({"kind": "memory", "text": remembered, "words": words})
            state = {"kind": "state", **self._state()}
            told = json.dumps(state)
            if told != self._told:
                self._told = told
                self._outgoing.append(state)
        outgoing, self._outgoing = self._outgoing, []
        return json.dumps(outgoing) if outgoing else ""

    def update(self, readings: Readings) -> None:
        """Take the readings."""
        self._readings = readings
        self.watch()

    def watch(self) -> None:
        """Look at the instruments of the cue that is shown, if there is a frame of it yet."""
        instructor, readings = self.instructor, self._readings
        cue = instructor.cue
        if cue is None:
            self._watch, self._verdicts = None, ()
            return
        if self._watch is None or self._watch[:2] != (cue, instructor.began):
            self._watch, self._verdicts = (cue, instructor.began, CueWatch(cue)), ()
        if readings is not None and readings.revision == self.bench.revision:
            self._verdicts = self._watch[2].look(self.bench.station, readings.frame)

    def _lists(self) -> dict[str, Any]:
        """Return all there is to choose from."""
        return {
            "modes": [[name, say(f"lesson.{name}")] for name in MODES],
            "faults": [
                [fault.name, fault.title, GROUPS[fault.group], fault.least, fault.most, typeset(fault.description)]
                for fault in FAULTS.values()
            ],
            "hidden": [
                [one.name, one.label, unit_sign(one.unit), one.minimum, one.maximum, one.step, one.sound]
                for one in HIDDEN.values()
            ],
            "demonstrations": [
                [one.id, one.title, one.minutes, [cue.title for cue in one.cues]]
                for one in self.instructor.demonstrations.values()
            ],
        }

    def _state(self) -> dict[str, Any]:
        bench, instructor = self.bench, self.instructor
        reason = bench.why_hidden()
        return {
            "mode": bench.mode or "",
            "mode_title": say(f"lesson.{bench.mode}") if bench.mode else say("instructor.no_mode"),
            "lesson": bench.lesson.title if bench.lesson else "",
            "attempt": self._attempt(),
            "frozen": not bench.playing,
            "why": "auto" if bench.why_shown is None else "shown" if bench.why_shown else "hidden",
            "why_now": typeset(say(f"why.hidden_{reason}")) if reason else say("instructor.shown"),
            "readings_shown": bench.readings_shown,
            "machine": self._machine(),
            "controls": self._controls(),
            "readings": self._read(),
            "faults": [[name, FAULTS[name].title, severity] for name, severity in bench.secret.faults.items()],
            "values": [self._value(name, value) for name, value in bench.secret.values.items()],
            "own": [FAULTS[bench.fault].title, bench.severity] if bench.fault else [],
            "demonstration": self._shown(),
            "marks": [[mark.number, self._mark(mark)] for mark in instructor.marks],
            "no_mark": mark_refusal(bench),
            "notice": typeset(bench.notice),
        }

    def _attempt(self) -> str:
        session = self.bench.session
        if session is None:
            return ""
        if session.finished:
            return say("instructor.lesson_over")
        events = session.attempt.events
        return say(
            "instructor.lesson_running",
            seed=session.seed,
            step=session.step_number,
            total=len(session.lesson.steps),
            moves=sum(isinstance(event, ControlMoved) for event in events),
            hints=sum(isinstance(event, HintOpened) for event in events),
        )

    def _machine(self) -> list[list[str]]:
        """Return label and text: where one looks, what the tape does, which locks hold."""
        bench, station = self.bench, self.bench.station
        name = bench.reel_name
        tape = REELS[name].title if name in REELS else TAPES[name].title
        locks = [lock.label for lock in lock_indicators(station.wheel, station.capstan) if lock.on]
        rows = {
            "stage": typeset(STAGES[bench.stage].title),
            "tape": tape,
            "programme": SIGNALS[bench.programme].title
            if bench.programme in SIGNALS
            else bench.picture_name or bench.programme,
            "deck": DECK_MODES[station.deck.mode],
            "locks": ", ".join(locks) or say("instructor.no_locks"),
        }
        return [[say(f"instructor.{key}"), text] for key, text in rows.items()]

    def _controls(self) -> list[list[str]]:
        recorder = self.bench.recorder
        defaults = default_controls(recorder.practice)
        return [
            [CONTROLS[name].label, setting(CONTROLS[name], value)]
            for name, value in recorder.controls.items()
            if value != defaults[name]
        ]

    def _read(self) -> list[list[str]]:
        if self._readings is None:
            return []
        return [
            [name, MEASUREMENTS[name].label, self._readings.text(name) or say("meters.none")]
            for name in DEFAULT_READINGS
        ]

    def _value(self, name: str, value: float) -> list[Any]:
        if name not in HIDDEN:
            return [name, name, f"{value:g}"]
        one = HIDDEN[name]
        digits = decimals_of_step(one.step)
        return [name, one.label, f"{number(value, digits, one.minimum < 0)} {unit_sign(one.unit)}"]

    def _shown(self) -> dict[str, Any] | None:
        instructor, cue = self.instructor, self.instructor.cue
        demonstration = instructor.demonstration
        if cue is None or demonstration is None:
            return None
        cues = demonstration.cues
        coming = instructor.act_in_s
        return {
            "id": demonstration.id,
            "title": demonstration.title,
            "cue": instructor.cue_number,
            "total": len(cues),
            "cue_title": cue.title,
            "caption": typeset(cue.caption),
            "notes": typeset(cue.notes),
            "expect": self._expectations(cue),
            "next": cues[instructor.cue_number].title if instructor.cue_number < len(cues) else "",
            "act_in_s": -1 if coming is None else round(coming),
        }

    def _expectations(self, cue: Cue) -> list[list[Any]]:
        """Return for each: words, the reading's label, its range, what is read now, whether that is so, and a remark.

        Whether it is so is None where nothing has been read yet, or a swing needs more time to be told.
        """
        rows: list[list[Any]] = []
        current = self._watch is not None and self._watch[0] is cue and bool(self._verdicts)
        for place, one in enumerate(cue.expect):
            label = (MACHINE_READINGS.get(one.reading) or MEASUREMENTS[one.reading]).label
            row = [typeset(one.words), label, _range_text(one)]
            rows.append([*row, *(_told_verdict(one, self._verdicts[place]) if current else ("", None, ""))])
        return rows

    def _mark(self, mark: Mark) -> str:
        state = mark.state
        if mark.demonstration is not None:
            what = f"{mark.demonstration.title}: {mark.demonstration.cues[mark.cue_number - 1].title}"
        else:
            mode, stage = say(f"lesson.{state.mode}"), typeset(STAGES[state.stage].title)
            what = say("instructor.mark_bench", mode=mode, stage=stage)
        if state.deck_was == state.deck_mode:
            return what
        was, mode = DECK_MODES[state.deck_was], DECK_MODES[state.deck_mode]
        return say("instructor.mark_comes_back", what=what, was=was, mode=mode)


VALUE_KEYS: Mapping[str, tuple[str, ...]] = {
    "mode": ("mode",),
    "plant": ("fault", "severity"),
    "hide_value": ("name", "to"),
    "clear": (),
    "freeze": ("frozen",),
    "why": ("choice",),
    "readings": ("shown",),
    "mark": (),
    "put_back": ("memory",),
    "rewind": ("mark",),
    "show": ("demonstration", "cue"),
    "next": (),
    "back": (),
    "end": (),
}
"""What a console can ask for, and what it says with it."""


def _told_verdict(one: Expectation, verdict: Verdict) -> tuple[str, bool | None, str]:
    """Return what is read now, whether that is as expected, and what is to be said of the time it takes or took."""
    signed = (MACHINE_READINGS.get(one.reading) or MEASUREMENTS[one.reading]).signed
    now = say("meters.none") if verdict.value is None else quantity(verdict.value, one.unit, signed)
    if verdict.swing is not None:
        now = say("instructor.moved_by", now=now, swing=quantity(verdict.swing, one.unit, signed=False))
    remark = ""
    if verdict.holds is None:
        remark = say("instructor.told_in", seconds=max(math.ceil(verdict.wait_s), 1))
    elif not verdict.holds and verdict.shown:
        remark = say("instructor.was_so")
    return now, verdict.holds, remark


def _range_text(one: Expectation) -> str:
    if one.how == "no_reading":
        return say("instructor.nothing")

    def told(limit: float) -> str:
        return quantity(limit, one.unit, signed=False) if abs(limit) >= 0.01 or limit == 0 else f"{limit:g} {one.unit}"

    if one.minimum is None:
        text = say("instructor.at_most", limit=told(one.maximum or 0.0))
    elif one.maximum is None:
        text = say("instructor.at_least", limit=told(one.minimum))
    else:
        text = say("instructor.between", low=told(one.minimum), high=told(one.maximum))
    return say("instructor.swings", text=text) if one.how == "swing" else text
