"""What a debrief says beside the checks: what was done and seen when, and what was hidden in the machine.

Contents: `time_words`, `event_rows`, `event_plot`, `fault_rows`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from bokeh.models import FactorRange, Range1d

from bandbench.bench.faults import FAULTS
from bandbench.bench.plots import Inks, plain_figure
from bandbench.bench.readings import setting, typeset
from bandbench.bench.words import say
from sim.controls import CONTROLS
from sim.deeds import deed_words
from sim.faults import VIEWS
from sim.training.attempt import (
    ActDone,
    CheckSubmitted,
    ControlMoved,
    Event,
    HintOpened,
    NoteWritten,
    QuestionAnswered,
    StepShown,
)
from sim.training.session import Session

__all__ = ["event_plot", "event_rows", "fault_rows", "time_words"]

# Kinds of events in the order they are drawn, from the bottom, each with the mark that stands for it.
_MARKS = {
    "move": "circle",
    "act": "square_pin",
    "step": "dash",
    "hint": "triangle",
    "answer": "square",
    "submission": "diamond",
    "note": "plus",
}
_ROW_HEIGHT = 26


def time_words(seconds: float) -> str:
    """Return a time of an attempt.

    Examples
    --------
    >>> time_words(65.2)
    '1:05'
    """
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes}:{rest:02d}"


def _kind(event: Event) -> str:
    match event:
        case ControlMoved():
            return "move"
        case ActDone():
            return "act"
        case StepShown():
            return "step"
        case HintOpened():
            return "hint"
        case QuestionAnswered():
            return "answer"
        case CheckSubmitted():
            return "submission"
        case NoteWritten():
            return "note"


def event_rows(session: Session, events: Sequence[Event]) -> list[tuple[str, str, str]]:
    """Return what was done as (time, kind, words); moves of one control that follow each other are one row."""
    rows: list[tuple[str, str, str]] = []
    at = 0
    while at < len(events):
        event = events[at]
        count = 1
        if isinstance(event, ControlMoved):
            first = event
            while at + count < len(events) and _goes_on(events[at + count], first):
                count += 1
            last = events[at + count - 1]
            assert isinstance(last, ControlMoved)
            rows.append((time_words(last.at_s), "move", _move_words(last, count)))
        else:
            words = re.sub(r"\*\*|`", "", _event_words(session, event))
            rows.append((time_words(event.at_s), _kind(event), typeset(words)))
        at += count
    return rows


def _goes_on(event: Event, first: ControlMoved) -> bool:
    return isinstance(event, ControlMoved) and (event.control, event.shown) == (first.control, first.shown)


def _move_words(move: ControlMoved, count: int) -> str:
    spec = CONTROLS[move.control]
    key = "replay.shown_move" if move.shown else "replay.move" if count == 1 else "replay.moves"
    return say(key, label=spec.label, value=setting(spec, move.value), count=count)


def _event_words(session: Session, event: Event) -> str:
    lesson = session.lesson
    match event:
        case ActDone():
            return say("replay.shown_act" if event.shown else "replay.act", text=deed_words(event.act, event.choice))
        case StepShown():
            return say("replay.step", number=event.step, title=lesson.steps[event.step - 1].title)
        case HintOpened():
            return say("replay.hint", level=event.level, text=lesson.hints.text(event.level))
        case QuestionAnswered():
            asked = lesson.question(event.question)
            result = session.answers.get(event.question)
            given = result.given_text if result else event.answer
            return say("replay.answer", title=asked.title if asked else event.question, text=given)
        case NoteWritten():
            return say("replay.note", text=event.text)
    return say("replay.submitted")


def event_plot(events: Iterable[Event], end_s: float, inks: Inks) -> Any:
    """Return a plot of what was done when: a row and a mark of its own for each kind; None if nothing was done."""
    times: dict[str, list[float]] = {kind: [] for kind in _MARKS}
    for event in events:
        times[_kind(event)].append(event.at_s)
    kinds = [kind for kind in _MARKS if times[kind]]
    if not kinds:
        return None
    names = {kind: say(f"replay.kind_{kind}") for kind in kinds}
    plot = plain_figure(
        inks,
        title=say("replay.when"),
        height=90 + _ROW_HEIGHT * len(kinds),
        sizing_mode="stretch_width",
        min_border_right=16,
        x_range=Range1d(start=0.0, end=max(end_s, 1.0) * 1.03),
        y_range=FactorRange(factors=[names[kind] for kind in kinds]),
    )
    plot.xaxis.axis_label = say("result.time")
    for kind in kinds:
        plot.scatter(
            np.array(times[kind], np.float32),
            [names[kind]] * len(times[kind]),
            marker=_MARKS[kind],
            size=11,
            color=inks.marked if kind in ("submission", "hint") else inks.trace,
            fill_alpha=0.8,
        )
    return plot


def fault_rows(session: Session) -> list[dict[str, Any]]:
    """Return what was hidden in the machine: what it does, what that shows where, what proves it, what is done."""
    rows = []
    for dealt in session.start.faults:
        spec = FAULTS[dealt.name]
        rows.append(
            {
                "title": typeset(spec.title),
                "does": typeset(spec.description),
                "shows": [[VIEWS[view], typeset(text)] for view, text in spec.symptoms.items()],
                "proof": [typeset(proof.words) for proof in spec.proof],
                "remedy": typeset(spec.remedy.text),
            }
        )
    return rows
