"""What a learning system keeps of a learner between two visits: at most 4096 characters, packed.

Contents: `CourseOutcome` (what one attempt was worth), `LearnerState`, `packed_state` (to text, telling what did not
fit), `read_state` (from text, strictly). The whole records stay in the browser, where it keeps any; this is what a
learner goes on from on another machine, or where the browser keeps nothing.

The text is JSON, deflated, in the alphabet of URLs and file names: systems that change quotation marks, line ends or
letters with accents leave it alone.
"""

from __future__ import annotations

import base64
import binascii
import json
import uuid
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from bandbench.bench.recordform import LeftAttempt, time_text
from bandbench.bench.words import say
from sim.errors import BandbenchError
from sim.training.attempt import Attempt, attempt_from_data
from sim.training.progress import Outcome

__all__ = ["LONGEST_STATE", "CourseOutcome", "LearnerState", "PackedState", "StateError", "packed_state", "read_state"]

LONGEST_STATE = 4096
"""QUOTED, SCORM 1.2 Run-Time Environment, cmi.suspend_data: characters that a learning system must keep."""

_LEAD = "b1."
# A text of this length cannot hold more; a longer one would only fill the memory of the page.
_LARGEST_JSON = 4_000_000
_MOST_OUTCOMES = 10_000
# Outcomes give way to the attempt that goes on only beyond this many characters: some 200 attempts.
_OUTCOMES_SHARE = 2400
# A log of more does not fit, whatever is in it; packing it to see would only hold up the picture.
_MOST_EVENTS = 3000
_THOUSANDTHS = 1000


class StateError(BandbenchError):
    """What the learning system gave back is not what was given to it."""


@dataclass(frozen=True)
class CourseOutcome:
    """What one submitted attempt was worth.

    Attributes
    ----------
    lesson : str
        Id of the lesson.
    seed : int
        Which variation.
    minute : int
        When it ended, in whole minutes since 1970.
    passed, clean : bool
        Whether it passed, and without the last hint.
    raw : int
        Its score, 0 to 100; 100 only for a pass.
    """

    lesson: str
    seed: int
    minute: int
    passed: bool
    clean: bool
    raw: int

    @property
    def key(self) -> tuple[str, int, int]:
        """What tells one attempt from another."""
        return self.lesson, self.seed, self.minute

    def progress(self) -> Outcome:
        """Return it as the course counts it."""
        return Outcome(self.lesson, self.seed, 60.0 * self.minute, True, self.passed, self.clean)


@dataclass(frozen=True)
class LearnerState:
    """What is kept: outcomes in order of time, and the attempt that goes on or was left."""

    outcomes: tuple[CourseOutcome, ...] = ()
    running: LeftAttempt | None = None


@dataclass(frozen=True)
class PackedState:
    """A state as text.

    Attributes
    ----------
    text : str
        At most `LONGEST_STATE` characters.
    outcomes_left_out : int
        How many of the oldest attempts did not fit.
    kept_until_s : float or None
        Where the log of the attempt that goes on had to be cut: it can be resumed as it was at this time [s]. None if
        all of it fits, or there is none; 0 if no event of it fits.
    """

    text: str
    outcomes_left_out: int = 0
    kept_until_s: float | None = None


def packed_state(state: LearnerState) -> PackedState:
    """Return a state as text that surely fits.

    Notes
    -----
    Nothing is rounded or thinned out: a log that is cut ends early, and is otherwise as it was. Where everything
    together is too long, first the attempt's log is cut as far as the outcomes need their room (`_OUTCOMES_SHARE`);
    beyond it the oldest outcomes of the lessons with most of them are left out.
    """
    outcomes = state.outcomes
    running = None if state.running is None else _Running(state.running)
    text = _text(outcomes, running)
    if len(text) <= LONGEST_STATE and (running is None or running.whole):
        return PackedState(text)
    share = LONGEST_STATE if running is None else _OUTCOMES_SHARE
    while outcomes and len(_text(outcomes, None)) > share:
        outcomes = _thinned(outcomes)
    left_out = len(state.outcomes) - len(outcomes)
    if running is None:
        return PackedState(_text(outcomes, None), left_out)
    # The text grows with the events, if not quite evenly: the search ends at a number that fits.
    fits, too_many = 0, running.count + 1
    while too_many - fits > 1:
        middle = (fits + too_many) // 2
        if len(_text(outcomes, running, middle)) <= LONGEST_STATE:
            fits = middle
        else:
            too_many = middle
    text = _text(outcomes, running, fits)
    return PackedState(text, left_out, running.end_s(fits))


def read_state(text: str, profile: str, app_version: str) -> LearnerState:
    """Return the state in a text; an empty text is an empty state.

    Parameters
    ----------
    text : str
        What `packed_state` made, as the learning system gave it back.
    profile : str
        Id of the learner that the attempt belongs to.
    app_version : str
        The program at work, for an attempt that goes on.

    Raises
    ------
    StateError
        If it is damaged, or of another program or a later version; nothing of it is used then.
    """
    if not text:
        return LearnerState()
    if not text.startswith(_LEAD):
        raise StateError(say("refused.state_foreign"))
    try:
        packed = base64.b64decode(text[len(_LEAD) :].encode("ascii"), altchars=b"-_", validate=True)
        engine = zlib.decompressobj()
        content = engine.decompress(packed, _LARGEST_JSON)
        if not engine.eof:
            raise StateError(say("refused.state_cut"))
        data = json.loads(content)
        outcomes = _read_outcomes(data["o"])
        running = _read_running(data["r"], profile, app_version) if "r" in data else None
    except StateError:
        raise
    except BandbenchError as error:
        raise StateError(str(error)) from None
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, OverflowError, RecursionError) as error:
        # UnicodeEncodeError and binascii.Error are ValueErrors.
        raise StateError(say("refused.state_damaged_by", error=type(error).__name__)) from None
    except (zlib.error, binascii.Error):
        raise StateError(say("refused.state_damaged")) from None
    return LearnerState(outcomes, running)


# Text -------------------------------------------------------------------------------------------------------


def _text(outcomes: Sequence[CourseOutcome], running: _Running | None, events: int | None = None) -> str:
    data: dict[str, object] = {"o": _outcomes_data(outcomes)}
    if running is not None:
        data["r"] = running.data(running.count if events is None else events)
    content = json.dumps(data, separators=(",", ":"), allow_nan=False).encode("ascii")
    return _LEAD + base64.urlsafe_b64encode(zlib.compress(content, 9)).decode("ascii")


def _outcomes_data(outcomes: Sequence[CourseOutcome]) -> dict[str, list[int]]:
    """Return outcomes by lesson: of each three numbers, the minute counted from the one before."""
    data: dict[str, list[int]] = {}
    last: dict[str, int] = {}
    for one in outcomes:
        worth = one.raw * 4 + 2 * one.passed + one.clean
        data.setdefault(one.lesson, []).extend((one.seed, one.minute - last.get(one.lesson, 0), worth))
        last[one.lesson] = one.minute
    return data


def _read_outcomes(data: Mapping[str, Sequence[object]]) -> tuple[CourseOutcome, ...]:
    outcomes = []
    for lesson, numbers in data.items():
        minute = 0
        for place in range(0, len(numbers), 3):
            seed, step, worth = (_whole(number) for number in numbers[place : place + 3])
            minute += step
            outcomes.append(CourseOutcome(str(lesson), seed, minute, bool(worth & 2), bool(worth & 1), worth >> 2))
    if len(outcomes) > _MOST_OUTCOMES or any(one.raw > 100 or one.seed < 0 or one.minute < 0 for one in outcomes):
        raise StateError(say("refused.state_numbers"))
    return tuple(sorted(outcomes, key=lambda one: one.minute))


def _thinned(outcomes: tuple[CourseOutcome, ...]) -> tuple[CourseOutcome, ...]:
    """Leave out the oldest outcome of the lesson with the most."""
    counts: dict[str, int] = {}
    for one in outcomes:
        counts[one.lesson] = counts.get(one.lesson, 0) + 1
    fullest = max(counts, key=lambda lesson: counts[lesson])
    place = next(place for place, one in enumerate(outcomes) if one.lesson == fullest)
    return (*outcomes[:place], *outcomes[place + 1 :])


class _Running:
    """An attempt that goes on, in columns, of which any number of its first events can be taken."""

    def __init__(self, row: LeftAttempt) -> None:
        self._row = row
        self._log = row.attempt.to_data()
        events = self._log.pop("events")
        assert isinstance(events, list)
        self.count = min(len(events), _MOST_EVENTS)
        self.whole = self.count == len(events)
        self._columns = _Columns(events[: self.count])

    def end_s(self, events: int) -> float | None:
        """Return the time of the last of some events [s]: 0 before the first, None if these are all there are."""
        if self.whole and events == self.count:
            return None
        return self._row.attempt.events[events - 1].at_s if events else 0.0

    def data(self, events: int) -> dict[str, object]:
        """Return it with its first events."""
        return {
            "id": base64.urlsafe_b64encode(uuid.UUID(self._row.id).bytes).decode("ascii"),
            "b": self._row.started_at,
            "s": self._row.saved_at,
            "a": self._log,
            "e": self._columns.data(events),
        }


def _read_running(data: Mapping[str, object], profile: str, app_version: str) -> LeftAttempt:
    number = uuid.UUID(bytes=base64.urlsafe_b64decode(str(data["id"])))
    log, events = data["a"], data["e"]
    if not isinstance(log, Mapping) or not isinstance(events, Mapping):
        raise StateError(say("refused.state_damaged"))
    attempt: Attempt = attempt_from_data({**log, "events": _read_events(events)}, "attempt")
    return LeftAttempt(
        id=str(number),
        profile=profile,
        lesson=attempt.lesson_id,
        lesson_version=attempt.lesson_version,
        started_at=_moment(data["b"]),
        saved_at=_moment(data["s"]),
        app_version=app_version,
        log=attempt.to_json(),
        attempt=attempt,
    )


def _moment(text: object) -> str:
    return time_text(datetime.fromisoformat(str(text).replace("Z", "+00:00")).astimezone(UTC))


def _whole(number: object) -> int:
    if not isinstance(number, int) or isinstance(number, bool):
        raise StateError(say("refused.state_numbers"))
    return number


# Events -----------------------------------------------------------------------------------------------------
#
# A log is rows of few kinds whose numbers change little from one to the next. By column: times as steps of a
# millisecond; of each row its form (everything in it but its numbers); the numbers, each as the step from the same
# number of the last row of that form, in thousandths. A number that is no whole count of thousandths stands in
# brackets as it is.


class _Columns:
    def __init__(self, rows: Sequence[Mapping[str, object]]) -> None:
        self._forms: list[dict[str, object]] = []
        self._times: list[object] = []
        self._which: list[int] = []
        self._numbers: list[object] = []
        # After each event: how many forms and numbers there were.
        self._ends: list[tuple[int, int]] = [(0, 0)]
        known: dict[str, int] = {}
        last: dict[tuple[int, str], int] = {}
        before = 0
        for row in rows:
            before = _put(self._times, row["at_s"], before)
            # A whole number comes back as one: 0 stands for it, 0.5 for any other.
            form = {
                key: value if not _is_number(value) else 0 if isinstance(value, int) else 0.5
                for key, value in row.items()
                if key != "at_s"
            }
            place = known.setdefault(repr(form), len(known))
            if place == len(self._forms):
                self._forms.append(form)
            self._which.append(place)
            for key in sorted(key for key in form if _is_number(row[key])):
                last[place, key] = _put(self._numbers, row[key], last.get((place, key), 0))
            self._ends.append((len(self._forms), len(self._numbers)))

    def data(self, events: int) -> dict[str, object]:
        """Return the columns of the first events."""
        forms, numbers = self._ends[events]
        return {
            "f": self._forms[:forms],
            "t": self._times[:events],
            "k": self._which[:events],
            "n": self._numbers[:numbers],
        }


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _put(numbers: list[object], value: object, before: int) -> int:
    """Add a number to a column; return what the next one is counted from."""
    assert isinstance(value, int | float)
    steps = round(value * _THOUSANDTHS)
    if steps / _THOUSANDTHS != value:
        numbers.append([value])
        return before
    numbers.append(steps - before)
    return steps


def _taken(number: object, before: int) -> tuple[float, int]:
    """Return a number of a column, and what the next one is counted from."""
    if isinstance(number, list):
        (value,) = number
        if not _is_number(value):
            raise StateError(say("refused.state_numbers"))
        return float(value), before
    steps = before + _whole(number)
    return steps / _THOUSANDTHS, steps


def _read_events(data: Mapping[str, object]) -> list[dict[str, object]]:
    forms, times, which, numbers = (_list(data[key]) for key in ("f", "t", "k", "n"))
    if len(times) != len(which):
        raise StateError(say("refused.state_damaged"))
    waiting = iter(numbers)
    last: dict[tuple[int, str], int] = {}
    rows: list[dict[str, object]] = []
    before = 0
    for time, kind in zip(times, which, strict=True):
        at_s, before = _taken(time, before)
        place = _whole(kind)
        form = forms[place]
        if not isinstance(form, Mapping):
            raise StateError(say("refused.state_damaged"))
        row: dict[str, object] = {"at_s": at_s, **form}
        for key in sorted(key for key, value in form.items() if _is_number(value)):
            value, last[place, key] = _taken(next(waiting, None), last.get((place, key), 0))
            row[key] = round(value) if isinstance(form[key], int) else value
        rows.append(row)
    return rows


def _list(value: object) -> list[object]:
    if not isinstance(value, list):
        raise StateError(say("refused.state_damaged"))
    return value
