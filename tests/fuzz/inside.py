"""What comes to the bench from its page, from a console and from learning systems, with the whole bench behind it.

Contents: `INSIDE_TARGETS`.
"""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from functools import cache
from typing import Any

import numpy as np

from bandbench.bench.application import BenchApplication
from bandbench.bench.scorm import read_launch as read_scorm_launch
from bandbench.bench.scormstate import CourseOutcome, LearnerState, StateError, packed_state, read_state
from bandbench.runtime.application import PictureFile
from sim.training.cmi5 import Cmi5Session, read_launch
from sim.training.statementcheck import statement_problems
from tests.fuzz import made
from tests.fuzz.oracle import Finding, Refused, refusals, same
from tests.fuzz.targets import TARGETS, Target, text_of

__all__ = ["ALL_TARGETS", "INSIDE_TARGETS"]

_NOW = datetime(2026, 3, 1, tzinfo=UTC)


def _json(data: bytes) -> Any:
    try:
        return json.loads(text_of(data))
    except (ValueError, RecursionError):
        raise Refused from None


@cache
def _application() -> BenchApplication:
    application = BenchApplication(lambda: 0.0)
    application.roots()
    return application


# Learning systems -------------------------------------------------------------------------------------------------


def _suspended(data: bytes) -> None:
    """What a learning system gives back: as it was kept with other content inside, or any text at all."""
    given = _json(data)
    whole = isinstance(given, dict) and isinstance(given.get("lead"), str) and "data" in given
    text = made.repacked(given["lead"], given["data"]) if whole else str(given)
    _read_state(text)


def _suspended_text(data: bytes) -> None:
    _read_state(text_of(data))


def _read_state(text: str) -> None:
    with refusals(StateError):
        state = read_state(text, made.kept_profile(), made.VERSION)
    packed = packed_state(state)
    if packed.kept_until_s is None and not packed.outcomes_left_out:
        again = read_state(packed.text, made.kept_profile(), made.VERSION)
        same("outcomes", _outcomes(state), _outcomes(again))
        if state.running is not None:
            same("an attempt", state.running.attempt, again.running.attempt if again.running else None)


def _outcomes(state: LearnerState) -> list[CourseOutcome]:
    return sorted(state.outcomes, key=lambda one: one.key)


def _visit(data: bytes) -> None:
    """What the page says of a visit: every value is text, whatever the learning system answered."""
    given = _json(data)
    if not isinstance(given, dict) or not isinstance(given.get("launch"), dict):
        raise Refused
    objectives = given["launch"].get("objectives")
    texts = {key: value if isinstance(value, str) else str(value) for key, value in given["launch"].items()}
    texts["objectives"] = [str(one) for one in objectives] if isinstance(objectives, list) else []  # type: ignore[assignment]
    launch = read_scorm_launch(texts)
    if launch.mastery is not None and not math.isfinite(launch.mastery):
        raise Finding(f"mastery {launch.mastery!r}")
    application = _application()
    application.on_records("all", json.dumps(made.stored(True)))
    application.on_records(
        "scorm", json.dumps({"begun": True, "launch": texts, "lesson": str(given.get("lesson", ""))})
    )
    for now_s in (0.0, 2.0, 4.0):
        application.visit.follow(now_s)
        application.next_records().encode("utf-8")
        application.on_records("all", json.dumps(made.stored(True)))


def _launch(data: bytes) -> None:
    given = _json(data)
    if not isinstance(given, dict):
        raise Refused
    with refusals():
        launch = read_launch(given, _NOW)
    session = Cmi5Session(launch)
    for statement in (session.opening(), *session.closing(_NOW)):
        if statement_problems(statement):
            raise Finding(f"a statement no store takes: {statement_problems(statement)}")
    application = _application()
    application.on_records("all", json.dumps(made.stored(True)))
    application.on_records("launch", text_of(data))
    application.next_records().encode("utf-8")


# Consoles and the page --------------------------------------------------------------------------------------------


def _console_seeds() -> list[bytes]:
    actions: list[tuple[str, dict[str, object]]] = [
        ("mode", {"mode": "practise"}),
        ("mode", {"mode": "demonstrate"}),
        ("plant", {"fault": "noise", "severity": 0.5}),
        ("hide_value", {"name": "guide_position_um", "to": 5.0}),
        ("clear", {}),
        ("freeze", {"frozen": True}),
        ("why", {"choice": "hidden"}),
        ("readings", {"shown": False}),
        ("mark", {}),
        ("rewind", {"mark": 1}),
        ("show", {"demonstration": "four-tracking-matches", "cue": 1}),
        ("next", {}),
        ("back", {}),
        ("end", {}),
    ]
    messages: list[dict[str, object]] = [{"kind": "hello"}, {"kind": "bye"}]
    messages += [
        {"kind": "do", "number": n, "action": name, "value": value} for n, (name, value) in enumerate(actions, 1)
    ]
    return [json.dumps(message).encode() for message in messages]


def _console(data: bytes) -> None:
    application = _application()
    text = text_of(data)
    application.on_console('{"kind": "hello"}')
    application.next_console()
    application.on_console(text)
    said = application.next_console()
    said.encode("utf-8")
    message = _or_none(text)
    asked = isinstance(message, dict) and message.get("kind") == "do"
    known = isinstance(message, dict) and message.get("kind") in ("hello", "bye")
    if not known and '"answer"' not in said:
        raise Finding("a console is not answered")
    if asked and isinstance(application.bench.recorder.controls, dict):
        for name, value in application.bench.recorder.controls.items():
            if not math.isfinite(value):
                raise Finding(f"{name} is {value!r}")


def _or_none(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None


# What the page's own fields can send: any text from a field for text, any number from one for numbers.
_FIELDS: tuple[tuple[str, dict[str, Any], str], ...] = (
    ("learner", {"do": "create", "value": "Ada"}, "value"),
    ("learner", {"do": "rename", "value": "Ada"}, "value"),
    ("learner", {"do": "note", "value": "Look first."}, "value"),
    ("learner", {"do": "choose", "value": "00000000-0000-0000-0000-000000000007"}, "value"),
    ("learner", {"do": "resume", "value": "00000000-0000-0000-0000-000000000013"}, "value"),
    ("assignment", {"do": "link", "value": "?lesson=tracking-and-guide"}, "value"),
    ("assignment", {"do": "file", "name": "a.toml", "text": "format_version = 1"}, "text"),
    ("assignment", {"do": "file", "name": "a.toml", "text": "format_version = 1"}, "name"),
    ("authoring", {"do": "file", "name": "a.toml", "text": "format_version = 1"}, "text"),
    ("lesson", {"do": "answer", "value": {"question": "what", "answer": "12"}}, "value"),
)


def _field_seeds() -> list[bytes]:
    return [json.dumps([place, message[key]]).encode() for place, (_, message, key) in enumerate(_FIELDS)]


def _field(data: bytes) -> None:
    given = _json(data)
    if (
        not isinstance(given, list)
        or len(given) != 2
        or isinstance(given[0], bool)
        or given[0] not in range(len(_FIELDS))
    ):
        raise Refused
    view, message, key = _FIELDS[int(given[0])]
    if type(given[1]) is not type(message[key]):
        raise Refused
    application = _application()
    application.on_records("all", json.dumps(made.stored(True)))
    if view == "lesson":
        if given[1].keys() != message[key].keys() or not all(isinstance(one, str) for one in given[1].values()):
            raise Refused
        application.bench.choose_lesson("tracking-and-guide")
        application.bench.begin_lesson(0.0, 1)
    getattr(application, view).receive({**message, key: given[1]})
    application.learner.follow()
    application.next_records().encode("utf-8")


def _samples(data: bytes) -> None:
    """A note from the microphone: whatever samples the browser's decoder gives."""
    samples = np.frombuffer(data[: len(data) // 4 * 4], np.float32)
    application = _application()
    if application.bench.mode != "practise":
        application.bench.choose_mode("practise")
    with np.errstate(all="ignore"):
        application.on_microphone(samples)


def _sample_seeds() -> list[bytes]:
    wave = np.sin(np.linspace(0.0, 900.0, 16_000)).astype(np.float32)
    return [
        wave.tobytes(),
        (0.0 * wave).tobytes(),
        b"",
        np.array([np.nan, np.inf, -np.inf, 1e38], np.float32).tobytes() * 2000,
    ]


def _shown_picture(data: bytes) -> None:
    """A picture of the user's, of any size that the page lets through."""
    if len(data) < 12 + 2:
        raise Refused
    rows, columns = 2 + data[0], 2 + data[1]
    levels = np.resize(np.frombuffer(data[2:], np.uint8), rows * columns * 3).reshape(rows, columns, 3)
    application = _application()
    application.on_picture_file(PictureFile("mine.png", levels.astype(np.float32) / np.float32(255.0)))
    del application


INSIDE_TARGETS: dict[str, Target] = {
    "suspended": Target("json", made.states, _suspended),
    "suspended-text": Target(
        "text", lambda: [packed_state(LearnerState()).text.encode(), b"b1.", *_packed()], _suspended_text
    ),
    "visit": Target("json", lambda: [json.dumps(made.visit()).encode()], _visit),
    "launch": Target("json", lambda: [json.dumps(made.launch()).encode()], _launch),
    "console": Target("json", _console_seeds, _console),
    "field": Target("json", _field_seeds, _field),
    "microphone": Target("bytes", _sample_seeds, _samples),
    "shown-picture": Target("bytes", lambda: [bytes(range(256)) * 4], _shown_picture),
}


def _packed() -> list[bytes]:
    return [made.repacked(one["lead"], one["data"]).encode() for one in map(json.loads, made.states())]


ALL_TARGETS: dict[str, Target] = {**TARGETS, **INSIDE_TARGETS}
