"""Every input that comes from outside, with what it is spoilt from and what may become of it.

Contents: `Target`, `TARGETS`. A target's `run` returns if the input was taken, raises `Refused` if it was refused in
words that help, and anything else is a finding.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import tempfile
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from bandbench.bench.bench import Bench
from bandbench.bench.classfiles import read_class_file
from bandbench.bench.datafiles import FOLDER
from bandbench.bench.drafts import read_draft
from bandbench.bench.faults import FAULTS
from bandbench.bench.glossary import GLOSSARY_FILE, parse_glossary
from bandbench.bench.lessons import read_lessons
from bandbench.bench.links import format_link, parse_link
from bandbench.bench.recordform import parse_records
from bandbench.bench.records import LearnerRecords
from bandbench.command import main
from bandbench.picture_files import read_picture
from sim.controls import CONTROLS, check_control
from sim.deeds import DEEDS, check_deed
from sim.faults import parse_faults
from sim.training.assignment import assignment_from_text
from sim.training.attempt import attempt_from_json
from sim.training.course import course_problems, parse_course
from sim.training.demonstration import parse_demonstration, unknown_faults
from sim.training.lesson import parse_lesson
from tests.fuzz import made
from tests.fuzz.oracle import Finding, Refused, refusals, same

__all__ = ["TARGETS", "Target", "text_of", "toml_of"]


@dataclass(frozen=True)
class Target:
    """An input from outside.

    Attributes
    ----------
    form : str
        How it is spoilt: ``json``, ``toml``, ``text`` or ``bytes``.
    seeds : callable
        Returns valid input.
    run : callable
        Uses it.
    """

    form: str
    seeds: Callable[[], list[bytes]]
    run: Callable[[bytes], None]


def text_of(data: bytes) -> str:
    """Return input as the page or a file reader decodes it; what is no UTF-8 is refused before anybody sees it."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise Refused from None


def toml_of(data: bytes) -> object:
    """Return what TOML says; what is none is refused by whoever reads the file."""
    import tomllib

    try:
        return tomllib.loads(text_of(data))
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        raise Refused from None


@cache
def _lessons() -> Mapping[str, Any]:
    return read_lessons()


def _files(folder: Path, pattern: str = "*.toml") -> list[bytes]:
    return [path.read_bytes() for path in sorted(folder.glob(pattern))]


@cache
def _bench() -> Bench:
    return Bench(_lessons())


def _lesson_files() -> list[bytes]:
    return [(FOLDER / f"{name}.toml").read_bytes() for name in _lessons()]


# Files that authors write ---------------------------------------------------------------------------------------


def _lesson(data: bytes) -> None:
    given = toml_of(data)
    with refusals():
        parse_lesson(given, "lesson.toml")


def _draft(data: bytes) -> None:
    text = text_of(data)
    draft = read_draft("lesson.toml", text)
    for problem in draft.problems:
        if not (problem.reason.strip() and problem.remedy.strip() and problem.key.strip()):
            raise Finding(f"a problem without help: {problem!r}")
    if draft.lesson is None and not draft.problems:
        raise Finding("neither a lesson nor a problem")


def _course(data: bytes) -> None:
    given = toml_of(data)
    with refusals():
        course = parse_course(given, "course.toml")
    course_problems(course, _lessons())


def _faults(data: bytes) -> None:
    given = toml_of(data)
    with refusals():
        parse_faults(given, "faults.toml")


def _demonstration(data: bytes) -> None:
    given = toml_of(data)
    with refusals():
        demonstration = parse_demonstration(given, "demonstration.toml")
    unknown_faults(demonstration, FAULTS)


def _glossary(data: bytes) -> None:
    given = toml_of(data)
    with refusals():
        parse_glossary(given, "glossary.toml")


def _assignment(data: bytes) -> None:
    text = text_of(data)
    with refusals():
        assignment = assignment_from_text(text, "assignment.toml", _lessons())
    same("an assignment", assignment, assignment_from_text(assignment.to_toml(), "again.toml", _lessons()))


def _fault_pieces() -> list[bytes]:
    """Return the catalogue, and short files of some of its faults: those are not spoilt in one line of thousands."""
    whole = (FOLDER / "faults.toml").read_text("utf-8")
    head, *entries = whole.split("\n[[faults]]")
    single = [entry for entry in entries if "per_head" not in entry]
    pairs = zip(single, [*single[1:], single[0]], strict=True)
    return [
        whole.encode(),
        *(f"{head}\n{_looking_like(one, two)}\n{_looking_like(two, one)}\n".encode() for one, two in pairs),
    ]


def _looking_like(entry: str, other: str) -> str:
    """Return a fault's entry with one look-alike alone: the other fault of its short file."""
    (name,) = re.findall(r'^name = "(\w+)"', other, re.MULTILINE)[:1]
    alone, first = entry.split("\n[[faults.look_alikes]]")[:2]
    return f"[[faults]]{alone}\n[[faults.look_alikes]]" + re.sub(r'fault = "\w+"', f'fault = "{name}"', first)


def _glossary_pieces() -> list[bytes]:
    head, *entries = GLOSSARY_FILE.read_text("utf-8").split("[[terms]]")
    return [
        (head + "".join("[[terms]]" + one for one in entries[place : place + 3])).encode()
        for place in range(0, len(entries), 9)
    ]


# Files of learners ------------------------------------------------------------------------------------------------


def _attempt(data: bytes) -> None:
    text = text_of(data)
    with refusals():
        attempt = attempt_from_json(text, "attempt.json")
    same("an attempt", attempt, attempt_from_json(attempt.to_json(), "again.json"))


def _records(data: bytes) -> None:
    text = text_of(data)
    with refusals():
        file = parse_records(text, "records.json")
    rows = file.rows
    again = {
        **json.loads(text),
        "attempts": [row.row() for row in rows.attempts],
        "running": [row.row() for row in rows.left],
        "notes": [row.row() for row in rows.notes],
        "profile": file.profile.row(),
    }
    read = parse_records(json.dumps(again), "again.json")
    same(
        "records",
        (file.profile, rows.attempts, rows.left, rows.notes),
        (read.profile, read.rows.attempts, read.rows.left, read.rows.notes),
    )
    if read.rows.unreadable:
        raise Finding(f"what was read is not read again: {read.rows.unreadable!r:.400}")


def _import(data: bytes) -> None:
    """A file that is offered at the bench, planned and accepted; everything then goes to the page as JSON."""
    text = text_of(data)
    records = LearnerRecords(_bench(), "Learner 1")
    records.load(json.dumps(made.stored()))
    with refusals():
        records.offer_file("records.json", text)
    given = json.loads(text)
    profile = given["profile"]["id"]
    records.plan_import(json.dumps({"profile": profile, "attempts": [], "running": [], "notes": []}))
    if records.plan is None:
        raise Finding("a file that was read is not planned")
    records.accept_file()
    records.next_changes().encode("utf-8")


def _stored(data: bytes) -> None:
    """What the browser's store holds, whoever wrote it there."""
    try:
        given = json.loads(text_of(data))
    except (ValueError, RecursionError):
        raise Refused from None
    # The page itself makes the outermost table (records.mjs, sendAll); the rows are the store's.
    rows = given if isinstance(given, dict) else {}
    message = {**made.stored()}
    for key in ("profiles", "attempts", "running", "notes"):
        if isinstance(rows.get(key), list):
            message[key] = rows[key]
    records = LearnerRecords(_bench(), "Learner 1")
    records.load(json.dumps(message))
    for row in records.left.values():
        records.why_not_resumed(row)
    for kept in records.history:
        records.why_not_shown(kept)
        records.passed(kept)


def _class_file(data: bytes) -> None:
    file = read_class_file("attempt.json", text_of(data), 1)
    if file.person is None and not file.unreadable:
        raise Finding("neither read nor refused")
    for place, reason in file.unreadable:
        if not place.strip() or len(reason) < 10:
            raise Finding(f"refused without help: {place!r} {reason!r}")


# Addresses, pictures, values, words -------------------------------------------------------------------------------


def _link(data: bytes) -> None:
    query = text_of(data)
    with refusals():
        link = parse_link(query, _lessons())
    if link is not None:
        with refusals():
            written = format_link(link)
        same("a link", link, parse_link(written, _lessons()))


def _pictures() -> list[bytes]:
    found = []
    shape = np.linspace(0, 255, 24 * 32 * 3).astype(np.uint8).reshape(24, 32, 3)
    colour = Image.fromarray(shape)
    for name in ("PNG", "JPEG", "WEBP", "GIF", "BMP"):
        for image in (colour, colour.convert("L"), colour.convert("P"), colour.convert("RGBA"), colour.convert("1")):
            file = io.BytesIO()
            with contextlib.suppress(OSError):
                image.save(file, name)
                found.append(file.getvalue())
    return found


def _picture(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        # What Pillow merely warns of is no failure of the reading.
        warnings.simplefilter("ignore")
        path = Path(folder) / "picture"
        path.write_bytes(data)
        for colour in (False, True):
            with refusals():
                levels = read_picture(path, colour=colour)
            if not (np.isfinite(levels).all() and levels.min() >= 0.0 and levels.max() <= 1.0):
                raise Finding("a picture outside black to white")


def _values() -> list[bytes]:
    some = [{"controls": {name: spec.default}, "deeds": []} for name, spec in list(CONTROLS.items())[:12]]
    acts = [{"controls": {}, "deeds": [[name, next(iter(choices), "")]]} for name, choices in _CHOICES.items()]
    return [json.dumps(one).encode() for one in (*some, *acts)]


def _value(data: bytes) -> None:
    try:
        given = json.loads(text_of(data))
        controls, deeds = dict(given["controls"]), [(name, choice) for name, choice in given["deeds"]]
    except (ValueError, TypeError, KeyError, RecursionError):
        raise Refused from None
    for name, value in controls.items():
        if isinstance(value, int | float) and not isinstance(value, bool):
            with refusals():
                if not np.isfinite(check_control(name, value)):
                    raise Finding(f"{name} set to {value!r}")
    for act, choice in deeds:
        if isinstance(act, str) and isinstance(choice, str):
            with refusals():
                check_deed(act, choice)


_CHOICES = {name: deed.choices for name, deed in DEEDS.items()}

_COMMANDS = (
    ["link", "lesson=tracking-and-guide", "seed=7", "help=hints-1,why"],
    ["link", "--read", "https://bench.example/?lesson=tracking-and-guide&seed=7"],
    ["link", "mode=practise", "--site", "https://bench.example/"],
    ["link", "--assignment", "assignment.toml"],
    ["lessons", "list"],
    ["lessons", "lint", "--seeds", "1", "none.toml"],
    ["demonstrations", "list"],
    ["report", "none.json"],
    ["render", "--help"],
    ["paper", "--help"],
)


def _words(data: bytes) -> None:
    """Words after the program's name; only subcommands that read are begun, in an empty folder."""
    try:
        words = [str(word) for word in json.loads(text_of(data))]
    except (ValueError, TypeError, RecursionError):
        raise Refused from None
    if not words or words[0] not in {known[0] for known in _COMMANDS} - {"render", "paper"} or words[1:2] == ["lint"]:
        raise Refused
    # Whatever the system hands over as words has no zero in it, and is text of the system's coding.
    words = [
        os.fsdecode(
            word.replace("\0", "").encode("utf-8", "surrogateescape" if "\udc80" <= word <= "\udcff" else "replace")
        )
        for word in words
    ]
    if any(
        word.startswith(("-o", "--o", "/", "..", "~")) or ("=" in word and word.startswith("--o")) for word in words
    ):
        raise Refused
    before = Path.cwd()
    said = io.StringIO()
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        os.chdir(folder)
        try:
            status = main(words)
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 1
        finally:
            os.chdir(before)
    if status not in (0, 1, 2):
        raise Finding(f"{words!r} ends with {status}")
    if status and not said.getvalue().strip():
        raise Finding(f"{words!r} fails without a word")


def _command_seeds() -> list[bytes]:
    return [json.dumps(words).encode() for words in _COMMANDS]


TARGETS: dict[str, Target] = {
    "lesson": Target("toml", lambda: _lesson_files(), _lesson),
    "draft": Target("toml", lambda: _lesson_files()[::6], _draft),
    "course": Target("toml", lambda: _files(FOLDER, "course.toml"), _course),
    "faults": Target("toml", _fault_pieces, _faults),
    "demonstration": Target("toml", lambda: _files(FOLDER / "demonstrations"), _demonstration),
    "glossary": Target("toml", _glossary_pieces, _glossary),
    "assignment": Target("toml", made.assignments, _assignment),
    "attempt": Target("json", made.attempts, _attempt),
    "records": Target("json", made.record_files, _records),
    "import": Target("json", made.record_files, _import),
    "stored": Target("json", lambda: [json.dumps(made.stored(True)).encode()], _stored),
    "class-file": Target("json", lambda: [*made.record_files(), *made.attempts()], _class_file),
    "link": Target("text", made.links, _link),
    "picture": Target("bytes", _pictures, _picture),
    "value": Target("json", _values, _value),
    "words": Target("json", _command_seeds, _words),
}
