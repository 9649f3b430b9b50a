"""The class report: what many people's attempts amount to, every one of them scored anew from its log.

Contents: `ClassReport`, which takes files (`sim.training.classform`), says what is still to be scored and makes the
report: the matrix of people and skills, the item analysis, the flags. Nothing that was handed in is dropped without
being told: it counts, or a flag says why it does not.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from sim.training.assignment import Task
from sim.training.attempt import Attempt
from sim.training.classflags import ClassFlags
from sim.training.classform import (
    Cell,
    ClassFile,
    HandedIn,
    Item,
    LessonItems,
    LogKey,
    Person,
    PersonRow,
    Report,
    StepMisses,
    log_key,
    name_order,
    printable,
)
from sim.training.lesson import Lesson
from sim.training.progress import Outcome, mastered_at, next_review, passes_in_a_row
from sim.training.rescore import Worth, worth_within

__all__ = ["ClassReport"]

# An attempt without a moment counts as done before all others, in the order of the files.
_UNDATED_S = -1e12


class ClassReport:
    """Files come in, logs are scored one by one, and the report is made whenever it is wanted.

    Parameters
    ----------
    lessons : iterable of Lesson
        Lessons in the order of the report, with older versions if there are any; of several versions the newest is
        the skill's.
    now_s : float or None
        Now, on the clock of the attempts [s]: nothing can have been done later. None if it is not known.
    worths : mapping of LogKey to Worth, optional
        What logs are worth that this program has scored before with the same lessons.
    tasks : sequence of Task
        What was set: an attempt at one of them with more help than it permits does not count.
    """

    def __init__(
        self,
        lessons: Iterable[Lesson],
        now_s: float | None = None,
        worths: Mapping[LogKey, Worth] | None = None,
        tasks: Sequence[Task] = (),
    ) -> None:
        self._now_s = now_s
        self._tasks = tuple(tasks)
        self._versions: dict[tuple[str, int], Lesson] = {}
        self._skills: dict[str, Lesson] = {}
        for lesson in lessons:
            self._versions[lesson.id, lesson.version] = lesson
            known = self._skills.get(lesson.id)
            if known is None or known.version < lesson.version:
                self._skills[lesson.id] = lesson
        self._files: list[ClassFile] = []
        self._people: dict[str, Person] = {}
        self._names: dict[str, list[tuple[str, str]]] = {}
        self._worths: dict[LogKey, Worth] = dict(worths or {})
        self._waiting: dict[LogKey, Attempt] = {}
        self._total = 0

    # What comes in ----------------------------------------------------------------------------------------------

    def add(self, file: ClassFile) -> None:
        """Take one more file."""
        self._files.append(file)
        if file.person is not None:
            self._people.setdefault(file.person.key, file.person)
            names = self._names.setdefault(file.person.key, [])
            if file.person.name not in [name for _, name in names]:
                names.append((file.source, file.person.name))
        for handed in file.attempts:
            key = log_key(handed.attempt)
            if self.lesson_of(handed.attempt) is not None and key not in self._waiting and key not in self._worths:
                self._waiting[key] = handed.attempt
                self._total += 1

    def lesson_of(self, attempt: Attempt) -> Lesson | None:
        """Return the lesson of an attempt in its version, if it is here."""
        return self._versions.get((attempt.lesson_id, attempt.lesson_version))

    @property
    def worths(self) -> Mapping[LogKey, Worth]:
        """What logs are worth, as far as they have been scored."""
        return self._worths

    @property
    def progress(self) -> tuple[int, int]:
        """How many different logs have been scored, of how many."""
        return self._total - len(self._waiting), self._total

    def to_score(self) -> list[Attempt]:
        """Return the logs that are still to be scored, each once; those of one lesson and one start together.

        In this order one machine after the other does all its work, and what a start's readings cost is paid once.
        """
        return sorted(self._waiting.values(), key=lambda one: (one.lesson_id, one.lesson_version, one.seed))

    def note(self, attempt: Attempt, worth: Worth) -> None:
        """Take what a log is worth (`sim.training.rescore.worth_of`)."""
        key = log_key(attempt)
        self._waiting.pop(key, None)
        self._worths[key] = worth

    # What is found ----------------------------------------------------------------------------------------------

    def report(self) -> Report:
        """Return the report of what has been scored so far."""
        handed = [one for file in self._files for one in file.attempts]
        kept, doubles = self._without_doubles(handed)
        judge = ClassFlags(self._files, self._people, self._versions, self._worths, self._now_s, self._tasks)
        flags = judge.of_attempts(handed, kept, doubles)
        held = {place for place, own in flags.items() if any(flag.held for flag in own)}
        worths = {
            place: worth_within(self._worths[key], one.permitted, one.attempt)
            for place, one in kept.items()
            if (key := log_key(one.attempt)) in self._worths
        }
        counted = {place: kept[place] for place in worths if place not in held}
        tried = {one.attempt.lesson_id for one in kept.values()}
        lessons = tuple(lesson for name, lesson in self._skills.items() if name in tried)
        waiting = sum(place not in worths and place not in held for place in kept)
        return Report(
            files=len(self._files),
            attempts=len(handed),
            counted=len(counted),
            held=len(held),
            waiting=waiting,
            unfinished=sum(file.unfinished for file in self._files),
            lessons=lessons,
            people=tuple(self._rows(lessons, kept, counted, worths, held)),
            items=tuple(_lesson_items(lesson, _of_version(lesson, counted, worths)) for lesson in lessons),
            flags=(*judge.of_files(), *(flag for place in sorted(flags) for flag in flags[place])),
        )

    def _without_doubles(self, handed: Sequence[HandedIn]) -> tuple[dict[int, HandedIn], dict[int, int]]:
        """Return the attempts by their place, those of one person that are one and the same once; and the others.

        A newer file of the same learner brings the older one's attempts again: they are the same.
        """
        first: dict[object, int] = {}
        kept: dict[int, HandedIn] = {}
        doubles: dict[int, int] = {}
        for place, one in enumerate(handed):
            key = (one.person, log_key(one.attempt))
            if one.attempt.events and key in first:
                doubles[place] = first[key]
            else:
                first[key] = place
                kept[place] = one
        return kept, doubles

    # The matrix -------------------------------------------------------------------------------------------------

    def _rows(
        self,
        lessons: Sequence[Lesson],
        kept: Mapping[int, HandedIn],
        counted: Mapping[int, HandedIn],
        worths: Mapping[int, Worth],
        held: set[int],
    ) -> Iterator[PersonRow]:
        own_counted: dict[tuple[str, str], list[int]] = {}
        own_held: Counter[tuple[str, str]] = Counter()
        all_held: Counter[str] = Counter()
        for place, one in kept.items():
            key = (one.person, one.attempt.lesson_id)
            if place in held:
                own_held[key] += 1
                all_held[one.person] += 1
            elif place in counted:
                own_counted.setdefault(key, []).append(place)
        sources: dict[str, dict[str, None]] = {}
        for file in self._files:
            if file.person is not None:
                sources.setdefault(file.person.key, {})[printable(file.source)] = None
        everyone = sorted(self._people.values(), key=lambda person: (name_order(person.name), person.key))
        for person in everyone:
            cells = tuple(
                self._cell(
                    lesson,
                    [(counted[place], worths[place]) for place in own_counted.get((person.key, lesson.id), ())],
                    own_held[person.key, lesson.id],
                )
                for lesson in lessons
            )
            names = " / ".join(printable(name) for _, name in self._names[person.key])
            yield PersonRow(
                replace(person, name=names),
                cells,
                sum(cell.state in ("mastered", "due") for cell in cells),
                sum(cell.attempts for cell in cells),
                all_held[person.key],
                tuple(sources[person.key]),
            )

    def _cell(self, lesson: Lesson, done: Sequence[tuple[HandedIn, Worth]], held: int) -> Cell:
        outcomes = [
            Outcome(
                lesson.id,
                one.attempt.seed,
                _UNDATED_S + place if one.ended_s is None else one.ended_s,
                worth.submitted,
                worth.passed,
                worth.clean,
            )
            for place, (one, worth) in enumerate(done)
        ]
        if not outcomes:
            return Cell(lesson.id, "held" if held else "open", held=held, needed=lesson.passes)
        latest = max(range(len(outcomes)), key=lambda place: outcomes[place].when_s)
        clean = [outcome.when_s for outcome in outcomes if outcome.clean]
        mastered_s = mastered_at(lesson, outcomes)
        review = next_review(lesson, outcomes)
        due_s = None if review is None else _dated(review.due_s)
        if mastered_s is not None:
            state = "due" if due_s is not None and self._now_s is not None and self._now_s >= due_s else "mastered"
        else:
            state = "passed" if clean else "not_yet"
        return Cell(
            lesson.id,
            state,
            attempts=len(outcomes),
            passes=len(clean),
            held=held,
            row=passes_in_a_row(lesson, outcomes),
            needed=lesson.passes,
            mastered_s=None if mastered_s is None else _dated(mastered_s),
            last_pass_s=_dated(max(clean)) if clean else None,
            last_s=_dated(outcomes[latest].when_s),
            due_s=due_s,
            reason="" if outcomes[latest].clean else done[latest][1].reason,
        )


def _dated(when_s: float) -> float | None:
    return None if when_s < _UNDATED_S / 2.0 else when_s


def _of_version(lesson: Lesson, counted: Mapping[int, HandedIn], worths: Mapping[int, Worth]) -> list[Worth]:
    """Return what came to a submission of exactly this version of a lesson: another one may ask something else."""
    own = (lesson.id, lesson.version)
    return [
        worths[place]
        for place, one in counted.items()
        if (one.attempt.lesson_id, one.attempt.lesson_version) == own and worths[place].submitted
    ]


def _lesson_items(lesson: Lesson, worths: Sequence[Worth]) -> LessonItems:
    missed: Counter[tuple[str, str]] = Counter()
    wrong: dict[str, Counter[str]] = {}
    steps: Counter[int] = Counter()
    step_of = {check.name: _step_of(lesson, check.measurement) for check in lesson.checks}
    for worth in worths:
        failed = [item.name for item in worth.checks if not item.passed]
        missed.update(("check", name) for name in failed)
        steps.update({step for name in failed if (step := step_of.get(name)) is not None})
        for item in worth.questions:
            if not item.passed:
                missed["question", item.name] += 1
                wrong.setdefault(item.name, Counter())[item.given] += 1
        if not worth.careful:
            missed["care", ""] += 1
    asked = len(worths)
    items = [
        Item("check", check.name, check.title, step_of[check.name], asked, missed["check", check.name])
        for check in lesson.checks
    ]
    for question in lesson.questions:
        given, count = max(wrong.get(question.name, Counter()).items(), key=lambda one: one[1], default=("", 0))
        items.append(
            Item(
                "question",
                question.name,
                question.title,
                None,
                asked,
                missed["question", question.name],
                given if count > 1 else "",
            )
        )
    items.append(Item("care", "", "", None, asked, missed["care", ""]))
    worst = sorted(steps.items(), key=lambda one: (-one[1], one[0]))
    return LessonItems(
        lesson.id,
        asked,
        sum(worth.passed for worth in worths),
        tuple(items),
        tuple(StepMisses(step, lesson.steps[step - 1].title, count) for step, count in worst),
    )


def _step_of(lesson: Lesson, measurement: str) -> int | None:
    """Return the first step (from 1) in which a reading is watched."""
    return next((place for place, step in enumerate(lesson.steps, start=1) if measurement in step.watch), None)
