"""What must hold at a bench whatever has been done at it.

Contents: `what_does_not_hold`. It runs natively and, handed to the worker as text, in the browser.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator

import numpy as np
from bokeh.models import ColumnDataSource

from bandbench.bench.application import BenchApplication
from bandbench.bench.view import Part
from sim.controls import CONTROLS
from sim.training.attempt import attempt_from_json

__all__ = ["what_does_not_hold"]

# Numbers that are none have no place in any text that is shown.
# None may begin a sentence; alone, or inside of one, it is Python's. Answers that a lesson offers may hold the word and
# stand anywhere: they are taken out first (`_offered`).
_NO_NUMBER = re.compile(r"\b(nan|NaN|inf|Infinity)\b|-inf\b|(?<!^)(?<!\")\bNone\b|^None$|\"None\"|\bundefined\b")
# Texts of people and lessons may hold any word.
_FREE = frozenset({"words", "_esm"})


def what_does_not_hold(application: BenchApplication) -> Iterator[str]:
    """Return what does not hold: texts and numbers that are shown, figures, controls, the lesson's log."""
    yield from _texts(application)
    yield from _numbers(application)
    yield from _log(application)


def _parts(application: BenchApplication) -> Iterator[Part]:
    for view in application.views:
        for part in view.roots().values():
            if isinstance(part, Part):
                yield part


def _offered(application: BenchApplication) -> list[str]:
    """Return the answers of all lessons that would look like Python's words inside of a sentence."""
    questions = (question for lesson in application.bench.lessons.values() for question in lesson.questions)
    return [
        option
        for question in questions
        for option in question.options
        if _NO_NUMBER.search(f"{question.title}: {option}")
    ]


def _texts(application: BenchApplication) -> Iterator[str]:
    offered = _offered(application)
    for part in _parts(application):
        for name, value in part.param.values().items():
            if name in _FREE or name.startswith("_"):
                continue
            for text in _strings(value):
                rest = text
                for answer in offered:
                    # Inside of a sentence an answer has no stop of its own.
                    rest = rest.replace(answer.rstrip("."), "")
                if found := _NO_NUMBER.search(rest):
                    around = rest[max(0, found.start() - 100) : found.end() + 100]
                    yield f"{type(part).__name__}.{name} shows {found.group()!r}: {around!r}"
                if text.startswith(("{", "[")):
                    yield from _json_problems(f"{type(part).__name__}.{name}", text)


def _numbers(application: BenchApplication) -> Iterator[str]:
    bench = application.bench
    for name, value in bench.recorder.controls.items():
        spec = CONTROLS[name]
        if not (math.isfinite(value) and spec.minimum <= value <= spec.maximum):
            yield f"control {name} stands at {value!r}"
    picture = application.monitor._image(bench.monitor.point)
    if not np.isfinite(np.asarray(picture, float)).all():
        yield "the picture holds what is no number"
    for root in application.roots().values():
        for pane in [root, *(root.select() if hasattr(root, "select") else ())]:
            figure = getattr(pane, "object", None)
            if figure is not None and hasattr(figure, "select"):
                for source in figure.select({"type": ColumnDataSource}):
                    for name, column in source.data.items():
                        # The lines of a figure are of several lengths.
                        pieces = column if isinstance(column, list | tuple) else [column]
                        if any(one.dtype.kind == "f" and np.isinf(one).any() for one in map(np.asarray, pieces)):
                            yield f"a figure's {name} is infinite"


def _log(application: BenchApplication) -> Iterator[str]:
    session = application.bench.session
    if session is None:
        return
    attempt = session.attempt
    if attempt_from_json(attempt.to_json(), "log") != attempt:
        yield "the log comes back as another"
    times = [event.at_s for event in attempt.events]
    if times != sorted(times):
        yield f"the log is out of order: {times[-5:]}"


def _strings(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _strings(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _strings(one)
    elif isinstance(value, float) and not math.isfinite(value):
        yield f"{value}"


def _json_problems(where: str, text: str) -> Iterator[str]:
    def refuse(constant: str) -> object:
        raise ValueError(constant)

    try:
        json.loads(text, parse_constant=refuse)
    except ValueError as error:
        yield f"{where} is no JSON: {error}: {text[:200]!r}"
