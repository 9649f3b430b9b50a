"""A seeded walk through everything that a user, an instructor or a learning system can do at a bench.

Contents: `Walker`, `OPERATIONS`. It sends what the parts of the page send, chosen among what they offer, and now and
then what they do not offer. It needs a `BenchApplication` and nothing else: the same text runs natively and, handed to
the worker, in the browser.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from typing import Any

import numpy as np

from bandbench.bench.application import BenchApplication
from bandbench.bench.controls import ControlsView
from bandbench.bench.faults import FAULTS
from bandbench.bench.planting import HIDDEN
from bandbench.bench.why import VIEWS
from bandbench.runtime.application import PictureFile
from sim.controls import CONTROLS, STAGES
from sim.instruments import TEST_POINTS
from sim.reel import REELS
from sim.signals import SIGNALS
from sim.sound import SOUND_TRACKS, SOURCES
from sim.standards import PRACTICES
from sim.tape import TAPES
from sim.transport import ACTS
from tests.walk.holding import what_does_not_hold
from tests.walk.learning import LEARNING, MODES
from tests.walk.patience import Patience
from tests.walk.rescoring import Rescoring

__all__ = ["OPERATIONS", "WEIGHTS", "Walker"]

_RATES = ("line", "field", "wheel", "pass")
_DISPLAYS = ("waveform", "vectors", "spectrum")
_MAGNIFICATIONS = (1, 5, 10)

Chance = random.Random
Message = dict[str, Any]


class Walker:
    """A bench that is walked through.

    Parameters
    ----------
    application : BenchApplication
        What is walked through.
    """

    def __init__(self, application: BenchApplication) -> None:
        self.application = application
        self.done = 0
        self.rescoring = Rescoring(application)
        self.patience = Patience()
        self._wrong: list[str] = []

    def do(self, name: str, seed: int) -> str:
        """Do one operation; return what was done, for whoever wants to do it again."""
        said = OPERATIONS[name](self, random.Random(seed))
        self.done += 1
        self._wrong += self.rescoring.follow()
        return f"{name} {seed}: {said}"

    def choose(self, chance: Chance) -> str:
        """Return the name of an operation: what is done often is chosen often."""
        return chance.choices(list(OPERATIONS), [WEIGHTS.get(name, 2) for name in OPERATIONS])[0]

    def send(self, view: str, message: Message) -> str:
        """Send a message as the script of a part of the page does."""
        text = json.dumps(message)
        with self.patience.over(f"{view} {text[:300]}"):
            # Through JSON, as it comes from the page.
            getattr(self.application, view).receive(json.loads(text))
        return f"{view} {text[:300]}"

    def problems(self) -> list[str]:
        """Return what does not hold of the bench as it stands (see `what_does_not_hold`), and of scores told since."""
        wrong, self._wrong = [*self._wrong, *self.patience.exceeded], []
        self.patience.exceeded.clear()
        return [*wrong, *self.rescoring.kept(), *what_does_not_hold(self.application)]


# What can be done -----------------------------------------------------------------------------------------------


def _control(walker: Walker, chance: Chance) -> str:
    offered = [name for name in CONTROLS if walker.application.bench.offers(name)]
    name = chance.choice(offered if offered and chance.random() < 0.95 else list(CONTROLS))
    spec = CONTROLS[name]
    match chance.randrange(4):
        case 0:
            value = chance.choice((spec.minimum, spec.maximum, spec.default))
        case 1:
            value = chance.uniform(spec.minimum, spec.maximum)
        case 2:
            value = spec.minimum + spec.step * chance.randrange(1 + int((spec.maximum - spec.minimum) / spec.step))
        case _:
            value = chance.choice((spec.maximum * 1.5 + 1.0, -1e308, 1e308, 0.5, 1e-300))
    board: ControlsView = walker.application.controls
    return walker.send("controls", {"moves": {name: value}, "number": board.board.applied + 1})


def _tape(walker: Walker, chance: Chance) -> str:
    return walker.send("controls", {"tape": chance.choice([*TAPES, *REELS, "nowhere"])})


def _programme(walker: Walker, chance: Chance) -> str:
    return walker.send("controls", {"programme": chance.choice([*SIGNALS, "own", "copy"])})


def _stage(walker: Walker, chance: Chance) -> str:
    return walker.send("path", {"stage": chance.choice(list(STAGES))})


def _monitor(walker: Walker, chance: Chance) -> str:
    points = [name for name, *_ in walker.application.monitor.monitor.points]
    setting: Message = chance.choice(
        (
            {"point": chance.choice(points)},
            {"compare": chance.choice(["", "kept", *points])},
            {"split": chance.choice((0, 1, 0.5, chance.random()))},
            {"whole": chance.random() < 0.5},
        )
    )
    return walker.send("monitor", {"do": "set", "value": setting})


def _screen(walker: Walker, chance: Chance) -> str:
    what = chance.choice(("play", "keep", "describe", "save"))
    return walker.send("monitor", {"do": what, "value": chance.random() < 0.5})


def _scope(walker: Walker, chance: Chance) -> str:
    lines = walker.application.bench.recorder.standard.lines_per_frame
    setting: Message = chance.choice(
        (
            {"test_point": chance.choice(list(TEST_POINTS))},
            {"rate": chance.choice(_RATES)},
            {"magnify": str(chance.choice(_MAGNIFICATIONS))},
            {"position": chance.choice((0, 0.25, 1, chance.random()))},
            {"line": chance.choice((0, 1, lines, lines + 1, chance.randrange(1, lines)))},
            {"display": chance.choice(_DISPLAYS)},
        )
    )
    return walker.send("scope", {"set": setting})


def _scope_words(walker: Walker, chance: Chance) -> str:
    return walker.send(
        "scope", chance.choice(({"describe": True}, {"save": "csv"}, {"save": "png"}, {"visible": True}))
    )


def _transport(walker: Walker, chance: Chance) -> str:
    acts = [name for name, act in ACTS.items() if act.group not in ("reel", "covers")]
    name = chance.choice(acts)
    try:
        return walker.send("transport", {"act": name})
    except ValueError:
        return walker.send("transport", {"act": "play"})


def _record(walker: Walker, chance: Chance) -> str:
    tracks = chance.sample(["video", *SOUND_TRACKS, "control"], chance.randrange(0, 4))
    message = chance.choice(
        (
            {"act": "record"},
            {"tracks": tracks},
            {"edit_mode": chance.choice(("record", "assemble", "insert"))},
            {"length": chance.choice(("2", "0", "-1", "1e9", "two", "", "0.04"))},
            {"edit": {chance.choice(("rehearse", "preview", "prepared")): chance.random() < 0.5}},
        )
    )
    try:
        return walker.send("record", message)
    except ValueError:
        # Not all of these names are the box's own.
        return walker.send("record", {"tracks": ["video"]})


def _handling(walker: Walker, chance: Chance) -> str:
    names = [name for name, act in ACTS.items() if act.group in ("reel", "covers")] or ["thread"]
    message: Message = chance.choice(
        (
            {"act": chance.choice(names), "stage": chance.choice(["", *STAGES])},
            {"confirm": True},
            {"confirm": False},
            {"take": chance.choice([*REELS, "endless"])},
            {"put_on": chance.choice([*REELS, "endless", "work_tape"])},
            {"machine": chance.choice([*PRACTICES, "own", "second"])},
            {"copy": True},
        )
    )
    try:
        return walker.send("handling", message)
    except ValueError:
        return walker.send("handling", {"confirm": True})


def _sound(walker: Walker, chance: Chance) -> str:
    message: Message = chance.choice(
        (
            {"do": "source", "track": chance.choice(list(SOUND_TRACKS)), "value": chance.choice([*SOURCES, "nothing"])},
            {"do": "listen", "value": chance.choice(["", *SOUND_TRACKS])},
            {"do": "winding", "value": chance.random() < 0.5},
            {"do": "figure", "value": "any"},
            {"do": "describe"},
            {"do": "note_begins"},
        )
    )
    return walker.send("sound", message)


def _microphone(walker: Walker, chance: Chance) -> str:
    length = chance.choice((0, 1, 400, 32_000))
    level = chance.choice((0.0, 1e-6, 0.5, 1.0))
    walker.application.on_microphone((level * np.sin(0.2 * np.arange(length))).astype(np.float32))
    return f"a note of {length} samples at {level}"


def _picture(walker: Walker, chance: Chance) -> str:
    rows, columns = chance.choice(((2, 2), (3, 700), (480, 640), (37, 2)))
    levels = np.random.default_rng(chance.randrange(99)).random((rows, columns, 3), np.float32)
    walker.application.on_picture_file(PictureFile("mine <b>.png", levels))
    return f"a picture of {rows} by {columns}"


def _why(walker: Walker, chance: Chance) -> str:
    views = list(VIEWS[walker.application.bench.stage])
    if views and chance.random() < 0.7:
        return walker.send("why", {"view": chance.choice(views)})
    return walker.send("why", {"video_hz": chance.choice(("1000000", "3580000", "50000"))})


def _undo(walker: Walker, _chance: Chance) -> str:
    return walker.send("log", {"do": "undo"})


def _console(walker: Walker, chance: Chance) -> str:
    demonstrations = walker.application.instructor.demonstrations
    shown = chance.choice(list(demonstrations))
    hidden = chance.choice(list(HIDDEN.values()))
    action, value = chance.choice(
        (
            ("mode", {"mode": chance.choice(MODES)}),
            ("plant", {"fault": chance.choice(list(FAULTS)), "severity": chance.random()}),
            ("hide_value", {"name": hidden.name, "to": chance.uniform(hidden.minimum, hidden.maximum)}),
            ("clear", {}),
            ("freeze", {"frozen": chance.random() < 0.5}),
            ("why", {"choice": chance.choice(("auto", "shown", "hidden"))}),
            ("readings", {"shown": chance.random() < 0.7}),
            ("mark", {}),
            ("rewind", {"mark": chance.randrange(1, 4)}),
            ("show", {"demonstration": shown, "cue": chance.randrange(1, len(demonstrations[shown].cues) + 1)}),
            ("next", {}),
            ("back", {}),
            ("end", {}),
        )
    )
    kind = chance.choice(("hello", "do", "do", "do", "do", "do", "bye"))
    message: Message = {"kind": "do", "number": 1, "action": action, "value": value} if kind == "do" else {"kind": kind}
    walker.application.on_console(json.dumps(message))
    return f"console {json.dumps(message)}"


OPERATIONS: dict[str, Callable[[Walker, Chance], str]] = {
    "control": _control,
    "tape": _tape,
    "programme": _programme,
    "stage": _stage,
    "monitor": _monitor,
    "screen": _screen,
    "scope": _scope,
    "scope_words": _scope_words,
    "transport": _transport,
    "record": _record,
    "handling": _handling,
    "sound": _sound,
    "microphone": _microphone,
    "picture": _picture,
    "why": _why,
    "undo": _undo,
    "console": _console,
    **LEARNING,
}
WEIGHTS = {
    "control": 20,
    "stage": 6,
    "monitor": 6,
    "scope": 8,
    "transport": 14,
    "record": 6,
    "handling": 6,
    "sound": 5,
    "lesson_act": 10,
    "answer": 5,
    "console": 5,
    "mode": 1,
    "lesson": 1,
    "solve": 1,
    "learner": 3,
    "result": 3,
    "picture": 1,
    "microphone": 1,
    "report": 1,
    "authoring": 1,
    "reference": 1,
    "fault": 3,
    "tape": 2,
}
