"""The lesson as data: what a lesson file holds, and the parser that accepts nothing else.

Contents: `Lesson` and `parse_lesson`; its parts (`Spread`, `Step`, `Check`, ...) are those of `sim.training.parts`. The
parser checks form only, exactly as ``lessons/lesson.schema.json`` does, plus the few relations a schema cannot state;
`sim.training.lint` checks that every name exists and that the lesson can be done.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sim.training.parts import (
    CHECK_KINDS,
    DEED,
    DISTRIBUTIONS,
    FORMAT_VERSION,
    HINT_LEVELS,
    IDENTIFIER,
    LEVELS,
    MODES,
    NAME,
    NO_PAR,
    PROVENANCE_MARKS,
    RUNNING_MODES,
    TOPIC_WORDS,
    Care,
    Check,
    Debrief,
    Deed,
    FaultChoice,
    Forbidden,
    Hints,
    Question,
    RunningStart,
    SolutionMove,
    Spread,
    Step,
    Until,
)
from sim.training.questionform import QUESTION_KEYS, question_of
from sim.training.reader import LessonError, Table, file_table
from sim.training.spreadform import spread_of, spreads_of
from sim.wording import wording

__all__ = [
    "CHECK_KINDS",
    "DISTRIBUTIONS",
    "FORMAT_VERSION",
    "HINT_LEVELS",
    "LEVELS",
    "MODES",
    "PROVENANCE_MARKS",
    "Care",
    "Check",
    "Debrief",
    "Deed",
    "FaultChoice",
    "Forbidden",
    "Hints",
    "Lesson",
    "Question",
    "RunningStart",
    "SolutionMove",
    "Spread",
    "Step",
    "Until",
    "parse_lesson",
]

# Longer than any working session; keeps a slipped digit from locking a trainee in.
_LONGEST_LESSON_MIN = 240
_LONGEST_HOLD_S = 10.0
# A full reel winds for less than this.
_LONGEST_WAIT_S = 600.0
_LARGEST_VERSION = 1_000_000
_LAST_TOPIC = 20
_MOST_STEPS = 1_000
_MOST_FAULTS = 3
_MOST_PASSES = 5
_MOST_MOVES = 10_000


@dataclass(frozen=True)
class Lesson:
    """One lesson. Texts are Markdown; names are those of `sim.recorder` and `sim.instruments`.

    Attributes
    ----------
    worked : int
        How many of the first steps the lesson does for the trainee who asks: all in a demonstration, none where a
        skill is practised.
    order : tuple of tuple of str
        Controls and questions in the order that harms neither tape nor head: none of a later group before one of
        each earlier group that needs it.
    passes : int
        Passes in a row, on different seeds and without the last hint, that make the lesson mastered.
    topic : int or str or None
        Number of the topic, or one of `sim.training.parts.TOPIC_WORDS`.
    start_faults, fault_choice
        Faults of the catalogue that are always dealt, with their severity, and faults drawn by the seed.
    running : RunningStart or None
        How a machine that runs is delivered; None for one that is held in play, where every frame is the same whenever
        it is looked at.
    language : str
        In which its texts are (BCP 47).
    """

    source: str
    version: int
    id: str
    title: str
    objectives: tuple[str, ...]
    prerequisites: tuple[str, ...]
    minutes: int
    level: str
    mode: str
    standard: str
    practice: str
    tape: str
    signal: str
    controls: tuple[str, ...]
    instruments: tuple[str, ...]
    briefing: str
    cautions: tuple[str, ...]
    start_controls: Mapping[str, Spread]
    start_condition: Mapping[str, Spread]
    must_fail: tuple[str, ...]
    steps: tuple[Step, ...]
    checks: tuple[Check, ...]
    hints: Hints
    solution: tuple[SolutionMove, ...]
    forbidden: tuple[Forbidden, ...]
    debrief: Debrief
    references: tuple[str, ...]
    topic: int | str | None = None
    start_faults: Mapping[str, Spread] = field(default_factory=dict)
    fault_choice: FaultChoice | None = None
    questions: tuple[Question, ...] = ()
    worked: int = 0
    order: tuple[tuple[str, ...], ...] = ()
    care: Care = NO_PAR
    passes: int = 2
    running: RunningStart | None = None
    language: str = "en"

    @property
    def acts(self) -> tuple[Deed, ...]:
        """What the steps do at a running machine, in order."""
        return tuple(deed for step in self.steps for deed in step.acts)

    @property
    def deals_faults(self) -> bool:
        """Whether faults of the catalogue are hidden in the machine."""
        return bool(self.start_faults) or self.fault_choice is not None

    @property
    def fault_count(self) -> int:
        """How many faults of the catalogue are dealt."""
        return len(self.start_faults) + (self.fault_choice.count if self.fault_choice else 0)

    def step_of(self, move: SolutionMove) -> int | None:
        """Return the step (from 1) a move of the solution belongs to; None if no step is about its control."""
        if move.step is not None:
            return move.step
        return next((place for place, step in enumerate(self.steps, start=1) if step.control == move.control), None)

    def question(self, name: str) -> Question | None:
        """Return the question called `name`, or None."""
        return next((question for question in self.questions if question.name == name), None)


_KEYS = (
    "format_version",
    "version",
    "id",
    "title",
    "objectives",
    "prerequisites",
    "minutes",
    "level",
    "mode",
    "standard",
    "practice",
    "tape",
    "signal",
    "controls",
    "instruments",
    "briefing",
    "cautions",
    "start",
    "steps",
    "checks",
    "hints",
    "solution",
    "forbidden",
    "debrief",
    "references",
    "topic",
    "questions",
    "worked",
    "order",
    "care",
    "mastery",
    "running",
)


def parse_lesson(data: object, source_name: str) -> Lesson:
    """Return the lesson that `data` describes.

    Parameters
    ----------
    data : object
        The file's content as plain tables, lists, texts and numbers, as a TOML or JSON parser gives it.
    source_name : str
        The file's name for error messages.

    Raises
    ------
    LessonError
        At the first thing that is not as a lesson must be; the error names file, key, reason and remedy.
    """
    top = file_table(data, source_name, LessonError, _KEYS, FORMAT_VERSION)
    start = top.table("start", ("controls", "condition", "must_fail", "faults", "fault_choice"))
    questions = (
        tuple(question_of(table) for table in top.tables("questions", QUESTION_KEYS, 1)) if "questions" in top else ()
    )
    # A lesson that asks need not also have something turned.
    least = 0 if questions else 1
    checks = tuple(_check(table) for table in top.tables("checks", _CHECK_KEYS, least))
    for place, check in enumerate(checks, start=1):
        if check.name in [other.name for other in checks[: place - 1]]:
            raise top.refusal(
                f"checks[{place}].name",
                wording("lesson_problem.two_checks", name=repr(check.name)),
                wording("lesson_problem.two_checks_do"),
            )
    for place, question in enumerate(questions, start=1):
        if question.name in [other.name for other in questions[: place - 1]]:
            raise top.refusal(
                f"questions[{place}].name",
                wording("lesson_problem.two_questions", name=repr(question.name)),
                wording("lesson_problem.two_questions_do"),
            )
    must_fail = start.texts("must_fail", 1, unique=True, pattern=NAME) if "must_fail" in start else ()
    for place, name in enumerate(must_fail, start=1):
        if name not in [check.name for check in checks]:
            raise start.refusal(
                f"must_fail[{place}]",
                wording("lesson_problem.no_check", name=repr(name)),
                wording("lesson_problem.no_check_do"),
            )
    steps = tuple(_step(table) for table in top.tables("steps", _STEP_KEYS, 1))
    mode = top.choice("mode", MODES)
    return Lesson(
        source=source_name,
        version=top.whole_number("version", 1, _LARGEST_VERSION),
        id=top.text("id", IDENTIFIER),
        title=top.text("title"),
        objectives=top.texts("objectives", 1),
        prerequisites=top.texts("prerequisites", 0, unique=True, pattern=IDENTIFIER),
        minutes=top.whole_number("minutes", 1, _LONGEST_LESSON_MIN),
        level=top.choice("level", LEVELS),
        mode=mode,
        standard=top.text("standard"),
        practice=top.text("practice"),
        tape=top.text("tape"),
        signal=top.text("signal"),
        controls=top.texts("controls", least, unique=True, pattern=NAME),
        instruments=top.texts("instruments", 1, unique=True, pattern=NAME),
        briefing=top.text("briefing"),
        cautions=top.texts("cautions", 1),
        start_controls=spreads_of(start, "controls"),
        start_condition=spreads_of(start, "condition"),
        must_fail=must_fail,
        steps=steps,
        checks=checks,
        hints=_hints(top.table("hints", HINT_LEVELS)),
        solution=tuple(_solution_move(table) for table in top.tables("solution", _SOLUTION_KEYS, least)),
        forbidden=tuple(_forbidden(table) for table in top.tables("forbidden", _FORBIDDEN_KEYS, 0)),
        debrief=_debrief(top.table("debrief", ("what", "why", "next", "chain"))),
        references=top.texts("references", 0),
        topic=_topic(top) if "topic" in top else None,
        start_faults=spreads_of(start, "faults") if "faults" in start else {},
        fault_choice=_fault_choice(start.table("fault_choice", ("from", "count", "severity")))
        if "fault_choice" in start
        else None,
        questions=questions,
        worked=top.whole_number("worked", 0, _MOST_STEPS)
        if "worked" in top
        else len(steps)
        if mode == "demonstration"
        else 0,
        order=_order(top) if "order" in top else (),
        care=_care(top.table("care", ("moves_par", "minutes_par"))) if "care" in top else NO_PAR,
        passes=_passes(top) if "mastery" in top else 1 if mode == "demonstration" else 2,
        running=_running(top.table("running", _RUNNING_KEYS)) if "running" in top else None,
    )


_RUNNING_KEYS = ("reel", "mode", "position_s", "before")


def _running(table: Table) -> RunningStart:
    return RunningStart(
        reel=table.text("reel", IDENTIFIER),
        mode=table.choice("mode", RUNNING_MODES),
        position_s=table.number("position_s", minimum=0.0) if "position_s" in table else 0.0,
        before=_deeds(table, "before") if "before" in table else (),
    )


def _deeds(table: Table, key: str) -> tuple[Deed, ...]:
    return tuple(Deed.written(text) for text in table.texts(key, 1, pattern=DEED))


def _topic(top: Table) -> int | str:
    if isinstance(top.value("topic"), str):
        return top.choice("topic", TOPIC_WORDS)
    return top.whole_number("topic", 1, _LAST_TOPIC)


def _passes(top: Table) -> int:
    return top.table("mastery", ("passes",)).whole_number("passes", 1, _MOST_PASSES)


def _order(top: Table) -> tuple[tuple[str, ...], ...]:
    return top.text_lists("order", 2, NAME)


def _care(table: Table) -> Care:
    if not table.names():
        raise table.refusal("", wording("lesson_problem.no_par"), wording("lesson_problem.no_par_do"))
    return Care(
        moves_par=table.whole_number("moves_par", 1, _MOST_MOVES) if "moves_par" in table else None,
        minutes_par=table.number("minutes_par", above=0.0) if "minutes_par" in table else None,
    )


def _fault_choice(table: Table) -> FaultChoice:
    return FaultChoice(
        pool=table.texts("from", 1, unique=True, pattern=NAME),
        count=table.whole_number("count", 1, _MOST_FAULTS),
        severity=spread_of(table, "severity") if "severity" in table else None,
    )


_STEP_KEYS = ("title", "text", "expect", "control", "stage", "watch", "acts", "wait_s", "until", "settle_s")


def _step(table: Table) -> Step:
    return Step(
        title=table.text("title"),
        text=table.text("text"),
        expect=table.text("expect"),
        control=table.optional_text("control", NAME),
        stage=table.optional_text("stage", NAME),
        watch=table.texts("watch", 1, unique=True, pattern=NAME) if "watch" in table else (),
        acts=_deeds(table, "acts") if "acts" in table else (),
        wait_s=table.number("wait_s", minimum=0.0, maximum=_LONGEST_WAIT_S) if "wait_s" in table else 0.0,
        until=_until(table.table("until", ("reading", "above", "below"))) if "until" in table else None,
        settle_s=table.number("settle_s", minimum=0.0, maximum=_LONGEST_WAIT_S)
        if "settle_s" in table
        else Step.settle_s,
    )


def _until(table: Table) -> Until:
    above, below = table.optional_number("above"), table.optional_number("below")
    if above is None and below is None:
        raise table.refusal("", wording("lesson_problem.until_nothing"), wording("lesson_problem.until_nothing_do"))
    return Until(table.text("reading", NAME), above, below)


_CHECK_KEYS = (
    "name",
    "title",
    "measurement",
    "kind",
    "target",
    "tolerance",
    "unit",
    "source",
    "provenance",
    "weight",
    "hold_s",
)


def _check(table: Table) -> Check:
    kind = table.choice("kind", CHECK_KINDS)
    if kind == "peak" and "target" in table:
        raise table.refusal("target", wording("lesson_problem.peak_target"), wording("lesson_problem.peak_target_do"))
    return Check(
        name=table.text("name", NAME),
        title=table.text("title"),
        measurement=table.text("measurement", NAME),
        kind=kind,
        target=table.number("target") if kind == "target" else 0.0,
        tolerance=table.number("tolerance", above=0.0),
        unit=table.text("unit"),
        source=table.text("source"),
        provenance=table.choice("provenance", PROVENANCE_MARKS),
        weight=table.number("weight", above=0.0),
        hold_s=table.number("hold_s", minimum=0.0, maximum=_LONGEST_HOLD_S),
    )


def _hints(table: Table) -> Hints:
    return Hints(symptom=table.text("symptom"), cause=table.text("cause"), step=table.text("step"))


_SOLUTION_KEYS = ("control", "value", "text", "cancels", "gain", "step")


def _solution_move(table: Table) -> SolutionMove:
    cancels = table.optional_text("cancels", NAME)
    if "gain" in table and cancels is None:
        raise table.refusal("gain", wording("lesson_problem.acts_on_nothing"), wording("lesson_problem.gain_alone_do"))
    return SolutionMove(
        control=table.text("control", NAME),
        value=table.number("value"),
        text=table.text("text"),
        cancels=cancels,
        gain=table.number("gain") if "gain" in table else -1.0,
        step=table.whole_number("step", 1, _MOST_STEPS) if "step" in table else None,
    )


_FORBIDDEN_KEYS = ("control", "act", "reason", "below", "above")


def _forbidden(table: Table) -> Forbidden:
    if ("control" in table) == ("act" in table):
        raise table.refusal("", wording("lesson_problem.control_or_act"), wording("lesson_problem.control_or_act_do"))
    if "act" in table:
        for key in ("below", "above"):
            if key in table:
                raise table.refusal(
                    key, wording("lesson_problem.with_control"), wording("lesson_problem.with_control_do")
                )
        return Forbidden(reason=table.text("reason"), act=Deed.written(table.text("act", DEED)))
    below, above = table.optional_number("below"), table.optional_number("above")
    if below is not None and above is not None and below > above:
        raise table.refusal(
            "below",
            wording("lesson_problem.below_above", below=f"{below:g}", above=f"{above:g}"),
            wording("lesson_problem.below_above_do"),
        )
    return Forbidden(reason=table.text("reason"), control=table.text("control", NAME), below=below, above=above)


def _debrief(table: Table) -> Debrief:
    return Debrief(
        what=table.text("what"),
        why=table.text("why"),
        next=table.text("next"),
        chain=table.texts("chain", 1) if "chain" in table else (),
    )
