"""The attempt: a log of what was done and when. Everything else is computed from it.

Contents: the events (`ControlMoved`, `ActDone`, `QuestionAnswered`, `CheckSubmitted`, ...), the log `Attempt`, and its
JSON form (`attempt_from_json`, `attempt_from_data`, `Attempt.to_json`), which refuses damaged logs with a reason and
brings logs of older formats up to the present one (`migrated`).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from sim.controls import CONTROLS, ControlError, check_control
from sim.deeds import DEEDS, DeedError, check_deed
from sim.errors import known_names
from sim.training.help import FULL_HELP, Help, help_of
from sim.training.lesson import HINT_LEVELS, Lesson
from sim.training.parts import LARGEST_SEED, NAME
from sim.training.reader import AttemptError, Problem, Table
from sim.wording import wording

__all__ = [
    "ATTEMPT_FORMAT_VERSION",
    "FORMAT_WITH_HELP",
    "MOST_EVENTS",
    "ActDone",
    "Attempt",
    "CheckSubmitted",
    "ControlMoved",
    "Event",
    "HintOpened",
    "NoteWritten",
    "QuestionAnswered",
    "StepShown",
    "attempt_from_data",
    "attempt_from_json",
    "check_belongs",
    "migrated",
]

ATTEMPT_FORMAT_VERSION = 4
"""Format of attempt logs written here; older ones are read too. Format 2 added answers, notes and moves that the
lesson made (`ControlMoved.shown`); format 3 what is done at a machine that runs (`ActDone`); format 4 what was set: the
help that was permitted, and whether the variation was."""

FORMAT_WITH_HELP = 4
"""The first format whose logs say which help was permitted."""

# A day: longer than any attempt, short enough to refuse a log whose times are clock readings.
LONGEST_ATTEMPT_S = 86_400.0
# More moves than a knob dragged for hours makes; a longer log would only stall the page that replays it.
MOST_EVENTS = 100_000
_MOST_STEPS = 1_000
LONGEST_NOTE = 4_000
_LONGEST_ANSWER = 4_000
_LONGEST_CHOICE = 100
_LARGEST_VERSION = 1_000_000


@dataclass(frozen=True)
class ControlMoved:
    """`control` was set to `value`, `at_s` seconds after the start; `shown`: by the lesson, as a worked step."""

    at_s: float
    control: str
    value: float
    shown: bool = False


@dataclass(frozen=True)
class ActDone:
    """A deed of `sim.deeds.DEEDS` was done, or tried: whether the machine did it or refused follows from the log.

    `choice` is what was chosen in it; `shown`: the lesson did it, as a worked step.
    """

    at_s: float
    act: str
    choice: str = ""
    shown: bool = False


@dataclass(frozen=True)
class HintOpened:
    """Hint `level` (1 symptom, 2 cause, 3 step) was opened."""

    at_s: float
    level: int


@dataclass(frozen=True)
class StepShown:
    """Step `step` (from 1) was shown."""

    at_s: float
    step: int


@dataclass(frozen=True)
class CheckSubmitted:
    """The signals were submitted for checking."""

    at_s: float


@dataclass(frozen=True)
class QuestionAnswered:
    """A question was answered.

    `answer` is the option's text, a number as text, the head's number, or the names of faults joined by ``+`` (see
    `sim.training.answers`).
    """

    at_s: float
    question: str
    answer: str


@dataclass(frozen=True)
class NoteWritten:
    """The trainee wrote a note."""

    at_s: float
    text: str


Event = ControlMoved | ActDone | HintOpened | StepShown | CheckSubmitted | QuestionAnswered | NoteWritten

_EVENT_KEYS: Mapping[str, tuple[str, ...]] = {
    "control_moved": ("at_s", "kind", "control", "value", "shown"),
    "act_done": ("at_s", "kind", "act", "choice", "shown"),
    "hint_opened": ("at_s", "kind", "level"),
    "step_shown": ("at_s", "kind", "step"),
    "check_submitted": ("at_s", "kind"),
    "question_answered": ("at_s", "kind", "question", "answer"),
    "note_written": ("at_s", "kind", "text"),
}
_EVENT_KINDS: Mapping[type[Event], str] = {
    ControlMoved: "control_moved",
    ActDone: "act_done",
    HintOpened: "hint_opened",
    StepShown: "step_shown",
    CheckSubmitted: "check_submitted",
    QuestionAnswered: "question_answered",
    NoteWritten: "note_written",
}


@dataclass(frozen=True)
class Attempt:
    """One attempt at one lesson.

    Attributes
    ----------
    lesson_id : str
        Which lesson.
    lesson_version : int
        Which version of it; another version may score differently, so it is refused.
    seed : int
        Seed of the start.
    events : tuple of Event
        What was done, in order of time.
    help : Help
        The help that was permitted.
    seed_set : bool
        Whether somebody set this variation; else it was one of chance.
    """

    lesson_id: str
    lesson_version: int
    seed: int
    events: tuple[Event, ...] = ()
    help: Help = FULL_HELP
    seed_set: bool = False

    def with_event(self, event: Event) -> Attempt:
        """Return the attempt with one more event at its end."""
        return replace(self, events=(*self.events, event))

    @property
    def duration_s(self) -> float:
        """Time of the last event [s]."""
        return self.events[-1].at_s if self.events else 0.0

    def to_data(self) -> dict[str, object]:
        """Return the log as plain tables, ready for JSON."""
        return {
            "format_version": ATTEMPT_FORMAT_VERSION,
            "lesson": self.lesson_id,
            "lesson_version": self.lesson_version,
            "seed": self.seed,
            **({"seed_set": True} if self.seed_set else {}),
            "help": list(self.help.words),
            "events": [_event_data(event) for event in self.events],
        }

    def to_json(self) -> str:
        """Return the log as JSON text."""
        return json.dumps(self.to_data(), indent=1, allow_nan=False)


def _event_data(event: Event) -> dict[str, object]:
    data: dict[str, object] = {"at_s": event.at_s, "kind": _EVENT_KINDS[type(event)]}
    # Nearly every move is the trainee's own; only the others say whose they are. Most acts leave nothing to choose.
    data |= {key: value for key, value in vars(event).items() if key != "at_s" and not (key in _UNSAID and not value)}
    return data


_UNSAID = ("shown", "choice")


def _from_format_1(data: Mapping[str, object]) -> dict[str, object]:
    """Format 1 is format 2 without answers, notes and shown moves."""
    return {**data, "format_version": 2}


def _from_format_2(data: Mapping[str, object]) -> dict[str, object]:
    """Format 2 is format 3 without acts."""
    return {**data, "format_version": 3}


def _from_format_3(data: Mapping[str, object]) -> dict[str, object]:
    """Format 3 is format 4 without what was set: records say beside such a log which help was permitted."""
    return {**data, "format_version": FORMAT_WITH_HELP, "help": list(FULL_HELP.words)}


# What brings a log of each older format to the next one.
_MIGRATIONS: Mapping[int, Callable[[Mapping[str, object]], dict[str, object]]] = {
    1: _from_format_1,
    2: _from_format_2,
    3: _from_format_3,
}


def migrated(data: Mapping[str, object], version: int) -> Mapping[str, object]:
    """Return a log of an older format in the present one; nothing that was done is lost or scored otherwise.

    Parameters
    ----------
    data : mapping
        The log as plain tables.
    version : int
        Its format, from 1 to `ATTEMPT_FORMAT_VERSION`.
    """
    for older in range(version, ATTEMPT_FORMAT_VERSION):
        data = _MIGRATIONS[older](data)
    return data


def attempt_from_json(text: str, source_name: str) -> Attempt:
    """Return the attempt in a JSON text.

    Parameters
    ----------
    text : str
        What `Attempt.to_json` wrote.
    source_name : str
        The file's name for error messages.

    Raises
    ------
    AttemptError
        If the text is not JSON or not an attempt; nothing of it is used then.
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as problem:
        raise AttemptError(
            Problem(
                source_name,
                wording("refusal.whole_file"),
                wording("refusal.no_log", error=problem),
                wording("refusal.exported_do"),
            )
        ) from None
    return attempt_from_data(data, source_name)


def attempt_from_data(data: object, source_name: str) -> Attempt:
    """Return the attempt in plain tables, as `attempt_from_json` does."""
    keys: tuple[str, ...] = ("format_version", "lesson", "lesson_version", "seed", "seed_set", "help", "events")
    table = Table(data, source_name, "", AttemptError, keys)
    version = table.whole_number("format_version", 0, _LARGEST_VERSION)
    if not 1 <= version <= ATTEMPT_FORMAT_VERSION:
        raise table.refusal(
            "format_version",
            wording("refusal.log_format", version=version, known=ATTEMPT_FORMAT_VERSION),
            wording("refusal.log_format_do"),
        )
    if version < ATTEMPT_FORMAT_VERSION and isinstance(data, Mapping):
        for key in ("seed_set", "help"):
            if key in table:
                raise table.refusal(
                    key, wording("refusal.log_no_part", version=version), wording("refusal.log_changed_do")
                )
        table = Table(migrated(data, version), source_name, "", AttemptError, keys)
    every_key = tuple(dict.fromkeys(key for keys in _EVENT_KEYS.values() for key in keys))
    rows = table.tables("events", every_key, 0)
    if len(rows) > MOST_EVENTS:
        raise table.refusal(
            "events", wording("refusal.log_long", count=len(rows)), wording("refusal.log_long_do", most=MOST_EVENTS)
        )
    events: list[Event] = []
    for row in rows:
        event = _event(row)
        if events and event.at_s < events[-1].at_s:
            raise row.refusal(
                "at_s",
                wording("refusal.log_order", at_s=f"{event.at_s:g}", before_s=f"{events[-1].at_s:g}"),
                wording("refusal.log_damaged_do"),
            )
        events.append(event)
    return Attempt(
        lesson_id=table.text("lesson"),
        lesson_version=table.whole_number("lesson_version", 1, _LARGEST_VERSION),
        seed=table.whole_number("seed", 0, LARGEST_SEED),
        events=tuple(events),
        help=help_of(table),
        seed_set=table.flag("seed_set") if "seed_set" in table else False,
    )


def _event(row: Table) -> Event:
    kind = row.choice("kind", _EVENT_KEYS)
    for key in row.names():
        if key not in _EVENT_KEYS[kind]:
            raise row.refusal(
                key,
                wording("refusal.event_key", kind=kind),
                wording("refusal.event_key_do", keys=known_names(_EVENT_KEYS[kind])),
            )
    at_s = row.number("at_s", minimum=0.0, maximum=LONGEST_ATTEMPT_S)
    match kind:
        case "control_moved":
            return _control_moved(row, at_s)
        case "act_done":
            return _act_done(row, at_s)
        case "hint_opened":
            return HintOpened(at_s, row.whole_number("level", 1, len(HINT_LEVELS)))
        case "step_shown":
            return StepShown(at_s, row.whole_number("step", 1, _MOST_STEPS))
        case "question_answered":
            return QuestionAnswered(at_s, row.text("question", NAME), _limited(row, "answer", _LONGEST_ANSWER))
        case "note_written":
            return NoteWritten(at_s, _limited(row, "text", LONGEST_NOTE))
    return CheckSubmitted(at_s)


def _limited(row: Table, key: str, most: int) -> str:
    text = row.text(key)
    if len(text) > most:
        raise row.refusal(key, wording("refusal.too_long", count=len(text)), wording("refusal.too_long_do", most=most))
    return text


def _control_moved(row: Table, at_s: float) -> ControlMoved:
    name, value = row.choice("control", CONTROLS), row.number("value")
    shown = row.flag("shown") if "shown" in row else False
    try:
        return ControlMoved(at_s, name, check_control(name, value), shown)
    except ControlError as problem:
        raise row.refusal("value", str(problem), wording("refusal.log_damaged_do")) from None


def _act_done(row: Table, at_s: float) -> ActDone:
    act = row.choice("act", DEEDS)
    choice = _limited(row, "choice", _LONGEST_CHOICE) if "choice" in row else ""
    shown = row.flag("shown") if "shown" in row else False
    try:
        return ActDone(at_s, act, check_deed(act, choice), shown)
    except DeedError as problem:
        raise row.refusal("choice", str(problem), wording("refusal.log_damaged_do")) from None


def check_belongs(attempt: Attempt, lesson: Lesson, source_name: str) -> None:
    """Raise AttemptError unless the attempt was made on this version of this lesson and could have been."""

    def refuse(key: str, reason: str, remedy: str) -> None:
        raise AttemptError(Problem(source_name, key, reason, remedy))

    if attempt.lesson_id != lesson.id:
        refuse(
            "lesson",
            wording("refusal.other_lesson", lesson=attempt.lesson_id, here=lesson.id),
            wording("refusal.other_lesson_do"),
        )
    if attempt.lesson_version != lesson.version:
        refuse(
            "lesson_version",
            wording("refusal.other_version", version=attempt.lesson_version, here=lesson.version),
            wording("refusal.other_version_do"),
        )
    answered: set[str] = set()
    worked = {
        move.control for move in lesson.solution if (step := lesson.step_of(move)) is not None and step <= lesson.worked
    }
    worked_acts = {deed.name for step in lesson.steps[: lesson.worked] for deed in step.acts}
    for place, event in enumerate(attempt.events, start=1):
        if isinstance(event, ActDone) and lesson.running is None:
            refuse(
                f"events[{place}].act",
                wording("refusal.held_in_play"),
                wording("refusal.log_damaged_do"),
            )
        if isinstance(event, ActDone) and event.shown and event.act not in worked_acts:
            refuse(
                f"events[{place}].shown",
                wording("refusal.act_not_shown", act=event.act),
                wording("refusal.log_damaged_do"),
            )
        if isinstance(event, ControlMoved) and event.shown and event.control not in worked:
            refuse(
                f"events[{place}].shown",
                wording("refusal.move_not_shown", control=event.control),
                wording("refusal.log_damaged_do"),
            )
        if isinstance(event, QuestionAnswered):
            if lesson.question(event.question) is None:
                refuse(
                    f"events[{place}].question",
                    wording("refusal.not_asked", question=event.question),
                    wording("refusal.log_damaged_do"),
                )
            if event.question in answered:
                refuse(
                    f"events[{place}].question",
                    wording("refusal.answered_before", question=event.question),
                    wording("refusal.answered_before_do"),
                )
            answered.add(event.question)
        if isinstance(event, ControlMoved) and event.control not in lesson.controls:
            refuse(
                f"events[{place}].control",
                wording("refusal.not_offered", control=event.control),
                wording("refusal.not_offered_do", controls=known_names(lesson.controls)),
            )
        if isinstance(event, StepShown) and event.step > len(lesson.steps):
            refuse(
                f"events[{place}].step",
                wording("refusal.no_step", step=event.step, steps=len(lesson.steps)),
                wording("refusal.log_damaged_do"),
            )
