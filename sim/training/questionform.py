"""Reading a question of a lesson file: which keys each kind has, exactly as ``lessons/lesson.schema.json`` says.

Contents: `QUESTION_KEYS`, `question_of`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from sim.errors import known_names
from sim.training.parts import EXTREMES, LOOK_ALIKES, NAME, POOL, PROVENANCE_MARKS, QUESTION_KINDS, Question
from sim.training.reader import Table
from sim.wording import wording

__all__ = ["QUESTION_KEYS", "question_of"]

_COMMON = ("name", "title", "text", "kind", "source", "provenance", "weight", "explain", "step")
_OWN: Mapping[str, tuple[str, ...]] = {
    "choice": ("options", "answer", "answer_from", "answers"),
    "numeric": ("answer", "answer_measurement", "tolerance", "unit"),
    "head": ("answer", "answer_from", "answer_measurement", "extreme"),
    "cause": ("answer_from", "options"),
}
QUESTION_KEYS = tuple(dict.fromkeys((*_COMMON, *(key for keys in _OWN.values() for key in keys))))
"""Every key a question can have."""

_HEADS = 4
_MOST_STEPS = 1_000


def question_of(table: Table) -> Question:
    """Return the question in a table; raise LessonError (as `Table` does) at the first thing wrong with it."""
    kind = table.choice("kind", QUESTION_KINDS)
    allowed = (*_COMMON, *_OWN[kind])
    for key in table.names():
        if key not in allowed:
            raise table.refusal(
                key,
                wording("lesson_problem.question_key", kind=kind),
                wording("lesson_problem.question_key_do", keys=known_names(allowed)),
            )
    common = Question(
        name=table.text("name", NAME),
        title=table.text("title"),
        text=table.text("text"),
        kind=kind,
        source=table.text("source"),
        provenance=table.choice("provenance", PROVENANCE_MARKS),
        weight=table.number("weight", above=0.0),
        explain=table.text("explain"),
        step=table.whole_number("step", 1, _MOST_STEPS) if "step" in table else None,
    )
    return {"choice": _choice, "numeric": _numeric, "head": _head, "cause": _cause}[kind](table, common)


def _one_of(table: Table, *keys: str) -> str:
    """Return which of some keys is there; exactly one must be."""
    found = [key for key in keys if key in table]
    if len(found) != 1:
        reason = (
            wording("lesson_problem.more_than_one", found=known_names(found))
            if found
            else wording("lesson_problem.none_of", keys=known_names(keys))
        )
        raise table.refusal("", reason, wording("lesson_problem.exactly_one_do", keys=known_names(keys)))
    return found[0]


def _choice(table: Table, common: Question) -> Question:
    options = table.texts("options", 2, unique=True)
    if _one_of(table, "answer", "answer_from") == "answer":
        if "answers" in table:
            raise table.refusal(
                "answers", wording("lesson_problem.acts_on_nothing"), wording("lesson_problem.answers_alone_do")
            )
        answer = table.text("answer")
        if answer not in options:
            raise table.refusal(
                "answer",
                wording("lesson_problem.no_option", answer=repr(answer)),
                wording("lesson_problem.no_option_do"),
            )
        return replace(common, options=options, answer=answer)
    answers = table.table("answers", None)
    if not answers.names():
        raise table.refusal("answers", wording("lesson_problem.no_answers"), wording("lesson_problem.no_answers_do"))
    for name in answers.names():
        if not NAME.fullmatch(name):
            raise answers.refusal(name, wording("lesson_problem.no_name"), wording("lesson_problem.no_fault_name_do"))
        if answers.text(name) not in options:
            raise answers.refusal(
                name,
                wording("lesson_problem.no_option", answer=repr(answers.text(name))),
                wording("lesson_problem.no_option_do"),
            )
    return replace(
        common,
        options=options,
        answer_from=table.choice("answer_from", ("fault",)),
        answers=tuple((name, answers.text(name)) for name in answers.names()),
    )


def _numeric(table: Table, common: Question) -> Question:
    measured = _one_of(table, "answer", "answer_measurement") == "answer_measurement"
    return replace(
        common,
        answer=None if measured else repr(table.number("answer")),
        answer_measurement=table.text("answer_measurement", NAME) if measured else None,
        tolerance=table.number("tolerance", above=0.0),
        unit=table.text("unit"),
    )


def _head(table: Table, common: Question) -> Question:
    form = _one_of(table, "answer", "answer_from", "answer_measurement")
    if "extreme" in table and form != "answer_measurement":
        raise table.refusal(
            "extreme", wording("lesson_problem.no_extreme", form=form), wording("lesson_problem.no_extreme_do")
        )
    if form == "answer":
        return replace(common, answer=str(table.whole_number("answer", 1, _HEADS)))
    if form == "answer_from":
        return replace(common, answer_from=table.choice("answer_from", ("fault_head",)))
    return replace(
        common,
        answer_measurement=table.text("answer_measurement", NAME),
        extreme=table.choice("extreme", EXTREMES) if "extreme" in table else common.extreme,
    )


def _cause(table: Table, common: Question) -> Question:
    answer_from = table.choice("answer_from", ("fault",))
    if isinstance(table.value("options"), str):
        return replace(common, answer_from=answer_from, options=(table.choice("options", (LOOK_ALIKES, POOL)),))
    return replace(common, answer_from=answer_from, options=table.texts("options", 2, unique=True, pattern=NAME))
