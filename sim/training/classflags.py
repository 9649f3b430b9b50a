"""What needs a look in what was handed in: damaged, foreign, changed, impossible or copied attempts.

Contents: `ClassFlags`. A flag of one of `sim.training.classform.HELD_KINDS` keeps its attempt from counting.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sim.training.assignment import Task
from sim.training.attempt import Attempt, ControlMoved, NoteWritten, StepShown
from sim.training.classform import HELD_KINDS, ClassFile, Flag, HandedIn, LogKey, Person, log_key, printable
from sim.training.lesson import Lesson
from sim.training.rescore import Worth, worth_within
from sim.wording import wording

__all__ = ["ClassFlags"]

# Clocks of computers are set right now and then, and records may still be read when an attempt begins (MODEL).
_CLOCK_SLACK_S = 120.0
# So many moves of a hand with all the same values are no chance (MODEL).
_TELLING_MOVES = 12
# Times to the millisecond: so many of them alike are no chance, whatever the variation (MODEL).
_TELLING_TIMES = 3


class ClassFlags:
    """What is to be flagged of the attempts of a class.

    Parameters
    ----------
    files : sequence of ClassFile
        What was handed in.
    people : mapping of str to Person
        By their key.
    versions : mapping of (str, int) to Lesson
        Lessons by id and version.
    worths : mapping of LogKey to Worth
        What logs are worth, as far as they have been scored.
    now_s : float or None
        Now, on the clock of the attempts [s].
    tasks : sequence of Task
        What was set, if that is known: files say what help they were done with, this says with what they should be.
    """

    def __init__(
        self,
        files: Sequence[ClassFile],
        people: Mapping[str, Person],
        versions: Mapping[tuple[str, int], Lesson],
        worths: Mapping[LogKey, Worth],
        now_s: float | None,
        tasks: Sequence[Task] = (),
    ) -> None:
        self._files = files
        self._people = people
        self._versions = versions
        self._worths = worths
        self._now_s = now_s
        self._tasks = tasks

    def of_attempts(
        self, handed: Sequence[HandedIn], kept: Mapping[int, HandedIn], doubles: Mapping[int, int]
    ) -> dict[int, list[Flag]]:
        """Return the flags by the place of their attempt.

        Parameters
        ----------
        handed : sequence of HandedIn
            Every attempt.
        kept : mapping of int to HandedIn
            Those of them that stand for themselves, by place.
        doubles : mapping of int to int
            The others: each with the place of the one it repeats.
        """
        found: dict[int, list[Flag]] = {}

        def add(place: int, kind: str, text: str) -> None:
            one = handed[place]
            flag = Flag(
                kind,
                printable(one.source),
                printable(one.place),
                one.person,
                printable(one.attempt.lesson_id),
                printable(text),
                kind in HELD_KINDS,
            )
            found.setdefault(place, []).append(flag)

        for place, one in enumerate(handed):
            if place in kept:
                for kind, text in self._own_flags(one):
                    add(place, kind, text)
            else:
                earlier = handed[doubles[place]]
                if earlier.number != one.number:
                    where = f"{earlier.source}, {earlier.place}"
                    add(place, "twice", wording("flags.same_log_stands_under", where=where))
                # What a second copy of the entry states is looked at all the same.
                for kind, text in self._own_flags(one):
                    if kind in ("changed", "stated", "times") and (kind, text) not in self._own_flags(earlier):
                        add(place, kind, text)
        for places, kind in self._shared_logs(kept):
            for place in places:
                others = sorted({kept[other].person for other in places} - {kept[place].person})
                names = ", ".join(printable(self._people[key].name) for key in others)
                add(place, kind, wording("flags.same_log" if kind == "copied" else "flags.same_moves", names=names))
        for places in self._shared_numbers(handed):
            for place in places:
                add(place, "number", wording("flags.another_attempt_carries_same"))
        return found

    def of_files(self) -> Iterator[Flag]:
        """Yield the flags of files and learners as a whole."""
        for file in self._files:
            key = "" if file.person is None else file.person.key
            kind = "file" if file.person is None else "entry"
            for place, reason in file.unreadable:
                yield Flag(kind, printable(file.source), printable(place), key, "", printable(reason), True)
        first: dict[str, tuple[str, str]] = {}
        told: set[tuple[str, str]] = set()
        for file in self._files:
            if file.person is None:
                continue
            key, name = file.person.key, file.person.name
            source, known = first.setdefault(key, (file.source, name))
            if name != known and (key, name) not in told:
                told.add((key, name))
                text = wording("flags.learner_called_renamed_since", known=known, source=source)
                yield Flag("name", printable(file.source), printable(name), key, "", printable(text), False)

    def _own_flags(self, one: HandedIn) -> list[tuple[str, str]]:
        """Return what is to be said about one attempt by itself, as (kind, text)."""
        flags = [("times", text) for text in self._time_problems(one)]
        if one.untouched is False:
            flags.append(("changed", wording("flags.log_not_one_stated")))
        attempt = one.attempt
        set_help = [
            task.help for task in self._tasks if task.lesson == attempt.lesson_id and task.seed in (None, attempt.seed)
        ]
        if set_help and not any(one.permitted.within(own) for own in set_help):
            wanted = " or: ".join(own.text for own in set_help)
            flags.append(("help", f"done with {one.permitted.text}; the assignment permits {wanted}"))
        if (attempt.lesson_id, attempt.lesson_version) not in self._versions:
            here = [str(version) for name, version in self._versions if name == attempt.lesson_id]
            if here:
                text = wording("flags.other_version", then=attempt.lesson_version, here=", ".join(here))
            else:
                text = wording("flags.no_lesson", lesson=attempt.lesson_id)
            flags.append(("lesson", text))
            return flags
        worth = self._worths.get(log_key(attempt))
        if worth is None:
            return flags
        if worth.refused:
            flags.append(("refused", worth.refused))
            return flags
        worth = worth_within(worth, one.permitted, attempt)
        flags += [("impossible", text) for text in worth.impossible]
        if one.stated is not None and one.stated != worth.passed:
            key = "flags.stated_passed" if one.stated else "flags.stated_not_yet"
            flags.append(("stated", wording(key, reason=worth.reason)))
        if one.stated is None and one.number and worth.passed:
            # Attempts are scored when they are over; only those that were imported somewhere else come without.
            flags.append(("unstated", wording("flags.file_states_no_result")))
        return flags

    def _time_problems(self, one: HandedIn) -> Iterator[str]:
        started_s, ended_s = one.started_s, one.ended_s
        if started_s is None or ended_s is None:
            return
        if ended_s < started_s - _CLOCK_SLACK_S:
            yield wording("flags.ends_before_begins")
        # An attempt's moments begin with the first thing done, its log with the first look.
        events = one.attempt.events
        own = [event.at_s for event in events if not isinstance(event, NoteWritten)]
        if own and own[-1] - _first_deed_s(one.attempt) > max(ended_s - started_s, 0.0) + _CLOCK_SLACK_S:
            yield wording("flags.log_lasts_s_longer", own=f"{own[-1]:.0f}")
        if one.exported_s is not None and ended_s > one.exported_s + _CLOCK_SLACK_S:
            yield wording("flags.ends_after_file_written")
        if self._now_s is not None and ended_s > self._now_s + _CLOCK_SLACK_S:
            yield wording("flags.ends_future")
        created_s = self._people[one.person].created_s
        if created_s is not None and started_s < created_s - _CLOCK_SLACK_S:
            yield wording("flags.begins_before_learner_made")

    @staticmethod
    def _shared_logs(kept: Mapping[int, HandedIn]) -> Iterator[tuple[list[int], str]]:
        """Yield places of attempts of several people with one log, and of those that only share their moves."""
        exact: dict[object, list[int]] = {}
        moves: dict[object, list[int]] = {}
        for place, one in kept.items():
            attempt = one.attempt
            events = tuple(event for event in attempt.events if not isinstance(event, NoteWritten))
            if events:
                telling = len({event.at_s for event in events}) >= _TELLING_TIMES
                exact.setdefault((attempt.lesson_id, None if telling else attempt.seed, events), []).append(place)
            own = tuple((one.control, one.value) for one in events if isinstance(one, ControlMoved) and not one.shown)
            if len(own) >= _TELLING_MOVES:
                moves.setdefault((attempt.lesson_id, own), []).append(place)
        told: set[int] = set()
        for kind, groups in (("copied", exact), ("alike", moves)):
            for places in groups.values():
                if len({kept[place].person for place in places}) > 1 and not told.issuperset(places):
                    told.update(places)
                    yield places, kind

    @staticmethod
    def _shared_numbers(handed: Sequence[HandedIn]) -> Iterator[list[int]]:
        """Yield places of attempts that have one number and different logs."""
        by_number: dict[str, list[int]] = {}
        for place, one in enumerate(handed):
            if one.number:
                by_number.setdefault(one.number, []).append(place)
        for places in by_number.values():
            if len({log_key(handed[place].attempt) for place in places}) > 1:
                yield places


def _first_deed_s(attempt: Attempt) -> float:
    """Return when the first thing was done that makes an attempt worth keeping [s]."""
    from_step = (event.at_s for event in attempt.events if not isinstance(event, StepShown))
    return next(from_step, 0.0)
