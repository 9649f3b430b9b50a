"""What the bench puts on paper: job sheet, alignment record, record of practice.

Contents: `job_sheet`, `alignment_sheet`, `practice_sheet` with `PractisedAttempt`. They are data
(`bandbench.bench.sheets`); the page draws them and ``bandbench paper`` writes them as files.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bandbench.bench.debrief import time_words
from bandbench.bench.readings import quantity, setting, typeset, unit_sign
from bandbench.bench.sheets import Block, Facts, Grid, Heading, Items, Lines, Prose, Sheet, Signatures
from bandbench.bench.words import say
from sim.controls import CONTROLS
from sim.deeds import DEEDS
from sim.instruments import MEASUREMENTS
from sim.machine_readings import MACHINE_READINGS
from sim.tape import TAPES
from sim.training.alignment import AlignmentRecord, ReadingFound
from sim.training.assignment import score_within
from sim.training.attempt import ActDone, Attempt, ControlMoved, HintOpened, NoteWritten
from sim.training.checks import has_sign, number_text
from sim.training.help import FULL_HELP, Help
from sim.training.lesson import Check, Lesson, Question
from sim.training.references import unit_of

__all__ = ["PractisedAttempt", "alignment_sheet", "job_sheet", "practice_sheet"]

_STEP_LINES = 2
_NOTE_LINES = 4
# Enough to tell two logs apart by eye; the whole digest stands in the exported file.
_DIGEST_SHOWN = 12
_NO_BREAK = "\N{NO-BREAK SPACE}"


def _about_lesson(lesson: Lesson) -> tuple[tuple[str, str], ...]:
    tape = TAPES.get(lesson.tape)
    return (
        (
            say("paper.lesson"),
            say("paper.lesson_version", title=lesson.title, id=lesson.id, version=lesson.version),
        ),
        (say("paper.standard"), f"{lesson.standard}, {lesson.practice}"),
        (say("paper.tape"), tape.title if tape else lesson.tape),
    )


def _signatures() -> tuple[Block, ...]:
    labels = (say("paper.sign_technician"), say("paper.sign_instructor"))
    return (Signatures(labels, say("paper.date")),)


def _moment(iso: str) -> str:
    return say("paper.moment", date=iso[:16].replace("T", " "))


# Job sheet --------------------------------------------------------------------------------------------------


def job_sheet(lesson: Lesson, seed: int | None = None, permitted: Help = FULL_HELP) -> Sheet:
    """Return what a trainee takes to the bench: task, cautions, readings asked for, steps with room to write.

    Nothing in it gives an answer away: no hint, no solution, nothing that was dealt.

    Parameters
    ----------
    lesson : Lesson
        The lesson.
    seed : int, optional
        The variation, if it is fixed.
    permitted : Help
        The help that is permitted.
    """
    facts = [(say("paper.name"), ""), (say("paper.date"), ""), (say("paper.machine"), ""), *_about_lesson(lesson)]
    facts.append((say("paper.variation"), "" if seed is None else str(seed)))
    if permitted != FULL_HELP:
        facts.append((say("paper.help"), permitted.text))
    parts: list[tuple[Block, ...]] = [
        (Facts(tuple(facts)), Prose(say("paper.caution"), quiet=True)),
        (Heading(say("paper.task")), Prose(typeset(lesson.briefing))),
        (Heading(say("paper.objectives")), Items(tuple(map(typeset, lesson.objectives)))),
        (Heading(say("paper.cautions")), Items(tuple(map(typeset, lesson.cautions)))),
    ]
    if lesson.checks:
        rows = tuple((typeset(check.title), typeset(_target(check)), "", "", "") for check in lesson.checks)
        grid = Grid(say("paper.readings_caption"), _reading_columns(), rows, tall=True)
        parts.append((Heading(say("paper.readings")), grid))
    for number, step in enumerate(lesson.steps, start=1):
        parts.append(
            (
                Heading(say("paper.step", number=number, title=step.title)),
                Prose(typeset(step.text)),
                Prose(say("paper.expect", text=typeset(step.expect)), quiet=True),
                Lines(say("paper.step_lines"), _STEP_LINES),
            )
        )
    parts += [tuple(_question(question)) for question in lesson.questions]
    parts.append((Lines(say("paper.notes"), _NOTE_LINES), *_signatures()))
    return Sheet("job", say("paper.job", title=lesson.title), tuple(parts))


def _reading_columns() -> tuple[str, ...]:
    return tuple(say(f"paper.{name}") for name in ("reading", "target", "found", "left", "in_tolerance"))


def _target(check: Check) -> str:
    wide = number_text(check.tolerance, check.tolerance, signed=False)
    if check.kind == "peak":
        return say("paper.target_peak", wide=wide, unit=check.unit)
    goal = number_text(check.target, check.tolerance, has_sign(check.measurement))
    return say("paper.target_value", goal=goal, unit=check.unit, wide=wide)


def _question(question: Question) -> Iterator[Block]:
    yield Heading(say("paper.question", title=question.title))
    yield Prose(typeset(question.text))
    # Of a question after the cause the options are names of the catalogue; the bench shows them as they are dealt.
    if question.kind == "choice" and question.options:
        yield Items(tuple(typeset(words) for _, words in question.option_words))
    yield Lines(say("paper.answer_lines"), 1)


# Alignment record -------------------------------------------------------------------------------------------


def alignment_sheet(
    lesson: Lesson,
    attempt: Attempt,
    record: AlignmentRecord,
    *,
    name: str = "",
    began: str = "",
    ended: str = "",
    permitted: Help = FULL_HELP,
) -> Sheet:
    """Return the values found and left in a session.

    Parameters
    ----------
    lesson, attempt, record
        What was done, and what `sim.training.alignment` makes of it.
    name : str
        Who did it; empty leaves a line to write on.
    began, ended : str
        Moments in UTC as ISO 8601; empty likewise.
    permitted : Help
        The help that was permitted.
    """
    score = score_within(record.score, permitted, attempt)
    outcome = say("paper.passed" if score.passed else "paper.not_yet")
    facts = [
        (say("paper.technician"), name),
        *_about_lesson(lesson),
        (say("paper.variation"), str(attempt.seed)),
        (say("paper.began"), _moment(began) if began else ""),
        (say("paper.ended"), _moment(ended) if ended else ""),
        (say("paper.result"), outcome),
    ]
    if permitted != FULL_HELP:
        facts.append((say("paper.help"), permitted.text))
    minutes, seconds = divmod(round(record.left_at_s), 60)
    parts: list[tuple[Block, ...]] = [
        (
            Facts(tuple(facts)),
            Prose(typeset(score.reason)),
            Prose(say("paper.alignment_about", minutes=minutes, seconds=seconds), quiet=True),
        )
    ]
    if record.settings:
        parts.append((_settings(record),))
    if record.readings:
        rows = tuple(_reading(lesson, one) for one in record.readings)
        parts.append((Grid(say("paper.left_caption"), _reading_columns(), rows),))
    acts = tuple(
        say("paper.note_at", at=time_words(event.at_s), text=DEEDS[event.act].title)
        for event in attempt.events
        if isinstance(event, ActDone) and event.at_s <= record.left_at_s
    )
    if acts:
        parts.append((Heading(say("paper.acts")), Items(acts)))
    notes = tuple(
        say("paper.note_at", at=time_words(event.at_s), text=event.text)
        for event in attempt.events
        if isinstance(event, NoteWritten)
    )
    if notes:
        parts.append((Heading(say("paper.own_notes")), Items(notes)))
    parts.append((Lines(say("paper.notes"), _NOTE_LINES), *_signatures(), Prose(say("paper.caution"), quiet=True)))
    return Sheet("alignment", say("paper.alignment", title=lesson.title), tuple(parts))


def _settings(record: AlignmentRecord) -> Grid:
    rows = []
    for one in record.settings:
        spec = CONTROLS[one.control]
        moves = str(one.moves) if one.moves else say("paper.not_moved")
        rows.append((spec.label, setting(spec, one.found), setting(spec, one.left), moves))
    columns = tuple(say(f"paper.{name}") for name in ("control", "found", "left", "moves"))
    return Grid(say("paper.controls_caption"), columns, tuple(rows))


def _reading(lesson: Lesson, one: ReadingFound) -> tuple[str, ...]:
    name = one.measurement
    spec = MEASUREMENTS.get(name) or MACHINE_READINGS[name]
    unit = unit_of(lesson, name)

    def text(value: float | None) -> str:
        if value is None:
            return say("paper.no_reading")
        if one.check is not None:
            return f"{number_text(value, one.check.tolerance, spec.signed)}{_NO_BREAK}{unit_sign(one.check.unit)}"
        return quantity(value, unit, signed=spec.signed)

    if one.check is None:
        return spec.label, say("paper.unchecked"), text(one.found), text(one.left), ""
    verdict = say("paper.yes" if one.passed else "paper.no")
    target = _target(one.check)
    if one.check.kind == "peak" and one.target is not None:
        goal = number_text(one.target, one.check.tolerance, spec.signed)
        target = f"{target} ({goal} {one.check.unit})"
    return typeset(one.check.title), typeset(target), text(one.found), text(one.left), verdict


# Record of practice -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PractisedAttempt:
    """An attempt that is over, as the record of practice has it.

    Attributes
    ----------
    title, version : str, int
        Of its lesson; the id where the lesson is not known here.
    ended : str
        When, in UTC as ISO 8601.
    attempt : Attempt
        What its log says.
    log : str
        The log as it is kept.
    passed : bool or None
        What the log was worth when it was scored here; None if it has not been.
    known : bool
        Whether the lesson is here in the version it was made on.
    permitted : Help
        The help that was permitted.
    """

    title: str
    version: int
    ended: str
    attempt: Attempt
    log: str
    passed: bool | None
    known: bool = True
    permitted: Help = FULL_HELP


def practice_sheet(name: str, program: str, attempts: Sequence[PractisedAttempt]) -> Sheet:
    """Return the record of practice of one learner.

    Parameters
    ----------
    name : str
        Whose; data, never markup.
    program : str
        Version of the program that scored the logs.
    attempts : sequence of PractisedAttempt
        What is over, in order of time.
    """
    passed = [one for one in attempts if one.passed]
    facts = Facts(
        (
            (say("paper.name"), name),
            (say("paper.program"), program),
            (say("paper.attempts"), say("paper.attempts_of", passed=len(passed), count=len(attempts))),
            (say("paper.lessons_passed"), str(len({one.attempt.lesson_id for one in passed}))),
        )
    )
    columns = tuple(say(f"paper.{key}") for key in ("date", "lesson", "variation", "result", "evidence"))
    rows = tuple(_practised(one) for one in attempts)
    done: Block = Grid(say("paper.practice_caption"), columns, rows) if rows else Prose(say("paper.none_over"))
    return Sheet(
        "practice",
        say("paper.practice", name=name),
        (
            (facts, Prose(say("paper.practice_about"), quiet=True)),
            (done,),
            (*_signatures(), Prose(say("paper.caution"), quiet=True)),
        ),
    )


def _practised(one: PractisedAttempt) -> tuple[str, ...]:
    events = one.attempt.events
    minutes, seconds = divmod(round(one.attempt.duration_s), 60)
    evidence = [
        say(
            "paper.evidence_text",
            moves=sum(isinstance(event, ControlMoved | ActDone) and not event.shown for event in events),
            minutes=minutes,
            seconds=seconds,
            hints=len({event.level for event in events if isinstance(event, HintOpened)}),
        )
    ]
    if one.permitted != FULL_HELP:
        evidence.append(say("paper.evidence_help", help=one.permitted.text))
    digest = hashlib.sha256(one.log.encode("utf-8", "surrogatepass")).hexdigest()
    evidence.append(say("paper.evidence_digest", digest=digest[:_DIGEST_SHOWN]))
    if not one.known:
        result = say("paper.other_version")
    elif one.passed is None:
        result = say("paper.being_scored")
    else:
        result = say("paper.passed" if one.passed else "paper.not_yet")
    lesson = say("paper.lesson_version", title=one.title, id=one.attempt.lesson_id, version=one.version)
    return _moment(one.ended), lesson, str(one.attempt.seed), result, " ".join(evidence)
