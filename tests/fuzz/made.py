"""Valid input of every kind, made by the program itself: what spoilt input is made from."""

from __future__ import annotations

import base64
import json
import uuid
import zlib
from functools import cache
from typing import Any

from bandbench.bench.recordform import KeptAttempt, LeftAttempt, Note, Outcome, Profile, log_sha256
from bandbench.bench.scormstate import CourseOutcome, LearnerState, packed_state
from sim.training.attempt import (
    ActDone,
    Attempt,
    CheckSubmitted,
    ControlMoved,
    HintOpened,
    NoteWritten,
    QuestionAnswered,
    StepShown,
)

__all__ = [
    "VERSION",
    "assignments",
    "attempts",
    "kept_profile",
    "launch",
    "links",
    "record_files",
    "states",
    "stored",
    "visit",
]

VERSION = "1a2b"
_MOMENT = "2026-03-01T12:30:05.250Z"
_LATER = "2026-03-01T12:40:05.250Z"


def kept_profile() -> str:
    """Return the id of the learner of everything here."""
    return str(uuid.UUID(int=7))


@cache
def _logs() -> tuple[Attempt, ...]:
    held = Attempt(
        "tracking-and-guide",
        1,
        4711,
        (
            StepShown(0.0, 1),
            ControlMoved(2.5, "tracking_phase_deg", 12.0),
            HintOpened(4.0, 1),
            QuestionAnswered(5.0, "what", "guide_height"),
            NoteWritten(6.0, "Too high: \u00e4\u2026"),
            ControlMoved(7.0, "guide_position_um", -3.0, True),
            CheckSubmitted(9.5),
        ),
    )
    running = Attempt("run-up-and-lock", 1, 3, (ActDone(1.0, "thread"), ActDone(4.0, "play"), CheckSubmitted(30.0)))
    return held, running, Attempt("fm-levels", 2, 0)


def attempts() -> list[bytes]:
    """Return attempt logs of every format there has been."""
    found = [attempt.to_json().encode() for attempt in _logs()]
    older = json.loads(_logs()[0].to_json())
    for version, kinds in ((2, None), (1, ("step_shown", "control_moved", "hint_opened", "check_submitted"))):
        events = [
            event for event in older["events"] if kinds is None or (event["kind"] in kinds and not event.get("shown"))
        ]
        found.append(json.dumps({**older, "format_version": version, "events": events}).encode())
    return found


def _rows() -> dict[str, list[dict[str, Any]]]:
    held, running, empty = _logs()
    own = kept_profile()
    kept = KeptAttempt(
        str(uuid.UUID(int=11)),
        own,
        held.lesson_id,
        held.lesson_version,
        _MOMENT,
        _LATER,
        VERSION,
        held.to_json(),
        held,
        Outcome(True, VERSION, log_sha256(held.to_json())),
    )
    unscored = KeptAttempt(
        str(uuid.UUID(int=12)),
        own,
        empty.lesson_id,
        empty.lesson_version,
        _MOMENT,
        _LATER,
        VERSION,
        empty.to_json(),
        empty,
    )
    left = LeftAttempt(
        str(uuid.UUID(int=13)),
        own,
        running.lesson_id,
        running.lesson_version,
        _MOMENT,
        _LATER,
        VERSION,
        running.to_json(),
        running,
    )
    note = Note(str(uuid.UUID(int=14)), own, held.lesson_id, _MOMENT, "Look at the bands first.")
    return {
        "attempts": [dict(kept.row()), dict(unscored.row())],
        "running": [dict(left.row())],
        "notes": [dict(note.row())],
    }


def _profile() -> dict[str, Any]:
    return dict(Profile(kept_profile(), "Ada Quince", _MOMENT, _LATER).row())


def stored(full: bool = False) -> dict[str, Any]:
    """Return what the page sends of its store: of a learner without rows, or with some of every kind."""
    rows: dict[str, list[dict[str, Any]]] = _rows() if full else {"attempts": [], "running": [], "notes": []}
    return {
        "storage": {"state": "kept", "reason": ""},
        "app_version": VERSION,
        "profile": kept_profile() if full else "",
        "profiles": [_profile()] if full else [],
        "elsewhere": [],
        **rows,
    }


def record_files() -> list[bytes]:
    """Return exported files."""
    whole = {
        "format": "bandbench-records",
        "format_version": 1,
        "exported_at": _LATER,
        "app_version": VERSION,
        "profile": _profile(),
        **_rows(),
    }
    bare = {**whole, "attempts": [], "running": [], "notes": []}
    return [json.dumps(whole).encode(), json.dumps(bare).encode()]


def assignments() -> list[bytes]:
    """Return assignment files."""
    return [
        b'format_version = 1\ntitle = "Second week"\ndue = "Friday"\n'
        b'[[lessons]]\nlesson = "tracking-and-guide"\nseed = 7\nhelp = ["hints-1", "why"]\n'
        b'[[lessons]]\nlesson = "rf-envelope"\n',
        b'format_version = 1\ntitle = "One"\nlanguage = "en"\n[[lessons]]\nlesson = "fm-levels"\nhelp = ["none"]\n',
    ]


def links() -> list[bytes]:
    """Return queries of addresses."""
    return [
        b"?lesson=tracking-and-guide&seed=7&help=hints-1,why",
        b"?mode=practise&practice=625%20high-band",
        b"?title=Second%20week&due=Friday&lessons=tracking-and-guide:7,rf-envelope::none&help=hints-1",
        b"?language=en",
        b"lesson=fm-levels&standard=525/60&endpoint=https://lms.example/&registration=1",
    ]


def states() -> list[bytes]:
    """Return what a learning system keeps between visits: JSON inside, to be packed as `repacked` does."""
    held, _, _ = _logs()
    left = LeftAttempt(
        str(uuid.UUID(int=13)),
        kept_profile(),
        held.lesson_id,
        held.lesson_version,
        _MOMENT,
        _LATER,
        VERSION,
        held.to_json(),
        held,
    )
    outcomes = tuple(CourseOutcome(f"lesson-{n}", n, 29_000_000 + n, n % 2 == 0, True, 100) for n in range(3))
    texts = [packed_state(LearnerState(outcomes, left)).text, packed_state(LearnerState(outcomes)).text]
    return [json.dumps({"lead": lead(text), "data": unpacked(text)}).encode() for text in texts]


def lead(text: str) -> str:
    """Return what stands before a packed state."""
    return text[: text.index(".") + 1]


def unpacked(text: str) -> Any:
    """Return the JSON inside a packed state."""
    return json.loads(zlib.decompress(base64.urlsafe_b64decode(text[len(lead(text)) :])))


def repacked(start: str, data: object) -> str:
    """Return a packed state with other JSON inside."""
    return start + base64.urlsafe_b64encode(zlib.compress(json.dumps(data).encode())).decode()


def visit() -> dict[str, Any]:
    """Return what the page says of a visit from a learning system of the older kind."""
    return {
        "begun": True,
        "lesson": "",
        "launch": {
            "student_id": "s-17",
            "student_name": "Quince, Ada",
            "entry": "ab-initio",
            "lesson_mode": "normal",
            "status": "not attempted",
            "mastery": "80",
            "launch_data": "",
            "suspend_data": "",
            "interactions": "3",
            "objectives": ["check-noise", "question-what"],
        },
    }


def launch() -> dict[str, Any]:
    """Return what the page says of a launch by a learning system of the newer kind."""
    session = "https://w3id.org/xapi/cmi5/context/extensions/sessionid"
    return {
        "actor": {"objectType": "Agent", "account": {"homePage": "https://lms.example", "name": "s-17"}, "name": "Ada"},
        "registration": str(uuid.uuid5(uuid.NAMESPACE_URL, "https://lms.example/1")),
        "activity_id": "https://lms.example/activities/1",
        "lesson": "tracking-and-guide",
        "launch_data": {
            "contextTemplate": {
                "extensions": {session: "s-1"},
                "contextActivities": {"grouping": [{"id": "https://lms.example/au"}]},
            },
            "launchMode": "Normal",
            "masteryScore": 0.8,
            "moveOn": "CompletedOrPassed",
            "returnURL": "https://lms.example/",
        },
        "passed": False,
        "completed": False,
    }
