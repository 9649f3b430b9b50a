"""What an instructor's console keeps of the class's window, so that it can be put back when that is loaded again.

Contents: `remembered_text`, `remembered_words`, `Remembered`, `read_remembered`. The text goes to consoles over their
channel alone; nothing of it is kept in the class's page, where a learner could read what is planted.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from bandbench.bench.bench import MODES
from bandbench.bench.faults import FAULTS, with_fault
from bandbench.bench.instructor import MOST_MARKS, Mark, caption_of
from bandbench.bench.machines import WORK_TAPE
from bandbench.bench.marks import BenchState, state_of
from bandbench.bench.monitoring import Monitoring, Scope
from bandbench.bench.planting import HIDDEN, Planting
from bandbench.bench.programme import COPY, OWN_PICTURE
from bandbench.bench.readings import typeset
from bandbench.bench.settings import KEPT, MonitorSettings
from bandbench.bench.words import say
from sim.condition import Condition
from sim.controls import CONTROLS, STAGES, check_control
from sim.errors import BandbenchError
from sim.reel import REELS, Reel, log_of, make_reel
from sim.signals import SIGNALS
from sim.standards import PRACTICES, STANDARDS, get_standard
from sim.tape import TAPES
from sim.training.demonstration import DECK_MODES, Demonstration
from sim.training.reader import DataError, Table
from sim.transport import MODES as ALL_DECK_MODES

if TYPE_CHECKING:
    from bandbench.bench.instructor import Instructor

__all__ = ["Remembered", "RememberedError", "read_remembered", "remembered_text", "remembered_words"]

_SOURCE = "what the console kept"
_FORM = 1
# Places on a reel are told in steps, so that a tape that plays does not tell them all the time [m].
_PLACE_STEP_M = 2.0
_OPEN_MODES = tuple(mode for mode in MODES if mode != "learn")
_STATE_KEYS = (
    "mode", "standard", "practice", "reel", "deck", "deck_was", "place_m", "controls", "programme", "faults", "values",
    "fault", "severity", "fault_shown", "why", "readings", "playing", "stage", "scope", "monitor", "demonstration",
    "cue",
)  # fmt: skip
_WHY: Mapping[str, bool | None] = {"auto": None, "shown": True, "hidden": False}
_NUMBERS = {entry.name: entry.default for entry in fields(Condition) if isinstance(entry.default, float | tuple)}


class RememberedError(DataError):
    """What a console kept cannot be put back."""


@dataclass(frozen=True, eq=False)
class Remembered:
    """What can be put back: the bench as it was (None where it was not open), and the marked states."""

    now: Mark | None
    marks: tuple[Mark, ...]


# What is told -----------------------------------------------------------------------------------------------------


def _now(instructor: Instructor) -> Mark | None:
    bench = instructor.bench
    if bench.mode not in _OPEN_MODES or bench.held or bench.session is not None:
        return None
    showing = instructor.showing
    return Mark(0, state_of(bench, bench.machines.own.reel), showing, instructor.cue_number)


def remembered_text(instructor: Instructor) -> str:
    """Return all that can be put back, as JSON; empty where there is nothing."""
    now = _now(instructor)
    if now is None and not instructor.marks:
        return ""
    told: dict[str, Any] = {"form": _FORM, "marks": [{"number": one.number} | _data(one) for one in instructor.marks]}
    if now is not None:
        told["now"] = _data(now)
    return json.dumps(told)


def _data(mark: Mark) -> dict[str, Any]:
    state = mark.state
    monitor = asdict(state.monitor)
    return {
        "mode": state.mode,
        "standard": state.standard,
        "practice": state.practice,
        "reel": state.reel_name,
        "deck": state.deck_mode,
        "deck_was": state.deck_was,
        "place_m": round(state.position_m / _PLACE_STEP_M) * _PLACE_STEP_M if state.reel_name != WORK_TAPE else 0.0,
        "controls": dict(state.controls),
        "programme": state.programme if state.programme in SIGNALS else TAPES[WORK_TAPE].signal,
        "faults": dict(state.secret.faults),
        "values": dict(state.secret.values),
        "fault": state.fault or "",
        "severity": state.severity,
        "fault_shown": state.fault_shown,
        "why": next(name for name, shown in _WHY.items() if shown is state.why_shown),
        "readings": state.readings_shown,
        "playing": state.playing,
        "stage": state.stage,
        "scope": asdict(state.scope) | {"line": state.scope.line or 0},
        "monitor": monitor | ({"compare": ""} if state.monitor.compare == KEPT else {}),
        "demonstration": "" if mark.demonstration is None else mark.demonstration.id,
        "cue": mark.cue_number,
    }


def remembered_words(instructor: Instructor) -> list[str]:
    """Return in words what can be put back, and what cannot."""
    now, marks = _now(instructor), instructor.marks
    said = [] if now is None else _words_of(now)
    if marks:
        said.append(say("remembered.marks", count=len(marks)))
    states = [one.state for one in (*marks, *(() if now is None else (now,)))]
    lost = {
        "not_reel": any(
            state.reel is not None and not all(title for _, title in log_of(state.reel)) for state in states
        ),
        "not_picture": any(state.programme in (OWN_PICTURE, COPY) for state in states),
        "not_kept": any(state.kept is not None for state in states),
    }
    return [*said, *(say(f"remembered.{key}") for key, is_lost in lost.items() if is_lost)]


def _words_of(now: Mark) -> list[str]:
    state = now.state
    said = [say("remembered.mode", mode=say(f"lesson.{state.mode}"), stage=typeset(STAGES[state.stage].title))]
    planted = [FAULTS[name].title for name in state.secret.faults]
    planted += [HIDDEN[name].label if name in HIDDEN else name for name in state.secret.values]
    if planted:
        said.append(say("remembered.faults", count=len(planted), what=", ".join(planted)))
    if now.demonstration is not None:
        said.append(say("remembered.demonstration", title=now.demonstration.title, number=now.cue_number))
    away = [say("remembered.why")] if state.why_shown is False else []
    away += [] if state.readings_shown else [say("remembered.readings")]
    if away:
        said.append(say("remembered.hidden", what=", ".join(away)))
    return said


# What is read -----------------------------------------------------------------------------------------------------


def read_remembered(text: str, demonstrations: Mapping[str, Demonstration]) -> Remembered:
    """Read what a console kept, all of it or nothing.

    Raises
    ------
    RememberedError
        If anything in it is not as `remembered_text` writes it; says what, where and what to do.
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        top = Table({}, _SOURCE, "", RememberedError, None)
        raise top.refusal("", f"it cannot be read: {error}", _REMEDY) from None
    top = Table(data, _SOURCE, "", RememberedError, ("form", "now", "marks"))
    if top.whole_number("form", 0, 1000) != _FORM:
        raise top.refusal("form", f"this program reads form {_FORM}", "Load both windows again.")
    marks = top.tables("marks", ("number", *_STATE_KEYS), 0)
    if len(marks) > MOST_MARKS:
        raise top.refusal("marks", f"has {len(marks)} entries", f"There are {MOST_MARKS} at most.")
    found = [_mark(one, one.whole_number("number", 1, 2**31), demonstrations) for one in marks]
    if any(later.number <= one.number for one, later in pairwise(found)):
        raise top.refusal("marks", "their numbers do not rise", _REMEDY)
    now = _mark(top.table("now", _STATE_KEYS), 0, demonstrations) if "now" in top else None
    # Reels take long to make: only when all the rest can be put back.
    reels: dict[str, Reel] = {}
    return Remembered(None if now is None else _with_reel(now, reels), tuple(_with_reel(one, reels) for one in found))


def _with_reel(mark: Mark, reels: dict[str, Reel]) -> Mark:
    """Return a mark with its reel as it comes from the shelf; marks of one reel share it."""
    name = mark.state.reel_name
    if name == WORK_TAPE:
        return mark
    if name not in reels:
        reels[name] = make_reel(REELS[name])
    return replace(mark, state=replace(mark.state, reel=reels[name]))


_REMEDY = "It is kept as it was told: load both windows again, and mark and plant anew."


def _mark(table: Table, number: int, demonstrations: Mapping[str, Demonstration]) -> Mark:
    demonstration, cue_number = None, 0
    if table.value("demonstration") != "":
        demonstration = demonstrations[table.choice("demonstration", demonstrations)]
        cue_number = table.whole_number("cue", 1, len(demonstration.cues))
    else:
        table.whole_number("cue", 0, 0)
    try:
        state = _state(table, {} if demonstration is None else caption_of(demonstration, cue_number))
    except DataError:
        raise
    except BandbenchError as error:
        raise table.refusal("", str(error), _REMEDY) from None
    return Mark(number, state, demonstration, cue_number)


def _state(table: Table, caption: Mapping[str, str]) -> BenchState:
    standard = table.choice("standard", STANDARDS)
    fault = "" if table.value("fault") == "" else table.choice("fault", FAULTS)
    severity = table.number("severity", 0.0, 1.0)
    if fault:
        with_fault(Condition(), fault, severity)
    reel_name = table.choice("reel", (WORK_TAPE, *(name for name, one in REELS.items() if one.standard == standard)))
    stage = table.choice("stage", STAGES)
    scope, monitor = _looked_at(table, get_standard(standard).lines_per_frame)
    practice = table.choice("practice", (name for name, one in PRACTICES.items() if one.standard == standard))
    return BenchState(
        mode=table.choice("mode", _OPEN_MODES),
        standard=standard,
        practice=practice,
        reel_name=reel_name,
        reel=None,
        deck_mode=table.choice("deck", DECK_MODES),
        position_m=table.number("place_m", 0.0, 10_000.0),
        deck_was=table.choice("deck_was", ALL_DECK_MODES),
        controls=_controls(table.table("controls", CONTROLS)),
        programme=table.choice("programme", SIGNALS),
        secret=_planting(table),
        fault=fault or None,
        severity=severity,
        fault_shown=table.flag("fault_shown"),
        why_shown=_WHY[table.choice("why", _WHY)],
        readings_shown=table.flag("readings"),
        playing=table.flag("playing"),
        caption=caption,
        stage=stage,
        scope=scope,
        monitor=monitor,
        kept=None,
    )


def _controls(table: Table) -> dict[str, float]:
    missing = [name for name in CONTROLS if name not in table]
    if missing:
        raise table.refusal(missing[0], "is missing", _REMEDY)
    return {name: check_control(name, table.number(name)) for name in table.names()}


def _planting(table: Table) -> Planting:
    planting = Planting()
    faults, values = table.table("faults", FAULTS), table.table("values", _value_names())
    for name in faults.names():
        planting = planting.with_fault(name, faults.number(name, 0.0, 1.0))
    planting = Planting(planting.faults, {name: values.number(name) for name in values.names()})
    # Values a machine cannot have are refused here.
    planting.condition()
    return planting


def _value_names() -> Sequence[str]:
    of_heads = [f"{name}_{head}" for name, one in _NUMBERS.items() if isinstance(one, tuple) for head in range(1, 5)]
    return [*(name for name, one in _NUMBERS.items() if isinstance(one, float)), *of_heads]


def _looked_at(table: Table, lines: int) -> tuple[Scope, MonitorSettings]:
    """Return the settings of both monitors, checked as if they were made by hand."""
    scope = table.table("scope", [entry.name for entry in fields(Scope)])
    monitor = table.table("monitor", [entry.name for entry in fields(MonitorSettings)])
    looked = Monitoring()
    # Cards on the extender are not put back; a monitor on one of them goes to its stage's own point.
    looked.set_extended(frozenset(STAGES))
    looked.set_scope(
        lines,
        {
            "test_point": scope.text("test_point"),
            "rate": scope.text("rate"),
            "magnify": scope.whole_number("magnify", 1, 1000),
            "position": scope.number("position"),
            "line": scope.whole_number("line", 0, lines) or None,
            "display": scope.text("display"),
        },
    )
    looked.set_monitor(
        {
            "point": monitor.text("point"),
            "compare": "" if monitor.value("compare") == "" else monitor.text("compare"),
            "split": monitor.number("split"),
            "whole": monitor.flag("whole"),
        }
    )
    return looked.scope, looked.monitor
