"""Questions about the machine: what can be answered, what is right, and what an answer was worth.

Contents: `AnswerResult`, `answer_options`, `right_answer`, `checked_answer`, `judged`, `takes_many`.

An answer is a text, as it is logged: of a ``choice`` the option itself, of a ``numeric`` the number, of a ``head`` its
number, of a ``cause`` the fault's name in the catalogue. Where several faults are dealt, the answers to what they are
and at which heads are all of them, in the order of the options, joined by ``+``. A reading that is asked for is that of
the delivered machine where it is held in play, and of the moment of the answer where it runs.
"""

from __future__ import annotations

import math
import re
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sim.errors import BandbenchError, known_names
from sim.faults import FaultSpec
from sim.training.attempt import Event
from sim.training.checks import has_sign, number_text
from sim.training.deal import dealable
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine, Start
from sim.training.parts import LOOK_ALIKES, POOL, Question
from sim.wording import unit_words, wording

__all__ = [
    "AnswerError",
    "AnswerResult",
    "answer_options",
    "checked_answer",
    "extreme_head",
    "judged",
    "right_answer",
    "takes_many",
]

_HEADS = range(1, 5)
_JOIN = "+"


class AnswerError(BandbenchError):
    """An answer that the question cannot have."""


@dataclass(frozen=True)
class AnswerResult:
    """What an answer was worth.

    Attributes
    ----------
    question : Question
        What was asked.
    given, right : str or None
        What was answered (None: nothing) and what is right (None: the instrument had nothing to read), as logged.
    given_text, right_text : str
        The same for people.
    passed : bool
        Whether the answer is right.
    """

    question: Question
    given: str | None
    right: str | None
    given_text: str
    right_text: str
    passed: bool

    @property
    def sentence(self) -> str:
        """The whole result in one sentence."""
        if self.given is None:
            return wording("answers.not_answered", title=self.question.title)
        # An answer that is a sentence ends with a stop of its own.
        given, right = self.given_text.rstrip("."), self.right_text.rstrip(".")
        if self.passed:
            return wording("answer.right", title=self.question.title, given=given)
        return wording("answer.wrong", title=self.question.title, given=given, right=right)


def takes_many(lesson: Lesson, question: Question) -> bool:
    """Tell whether several answers are to be given together: where several faults are dealt."""
    return question.kind in ("cause", "head") and question.answer_from is not None and lesson.fault_count > 1


def answer_options(
    lesson: Lesson, question: Question, start: Start, faults: Mapping[str, FaultSpec]
) -> tuple[tuple[str, str], ...]:
    """Return what can be answered, as (answer, words), in an order the seed deals; empty for a number.

    The options of a cause are the lesson's own list, or what it can deal, or what was dealt and its look-alikes.
    """
    if question.kind == "numeric":
        return ()
    if question.kind == "head":
        return tuple((str(head), wording("answers.head", head=head)) for head in _HEADS)
    if question.kind == "choice":
        words = dict(question.option_words)
    else:
        words = {name: _title(name, faults) for name in _cause_names(lesson, question, start, faults)}
    # By lot, so that neither the place in the file nor in the catalogue tells anything.
    return tuple(sorted(words.items(), key=lambda option: _lot(start.seed, f"{question.name}:{option[0]}")))


@lru_cache(maxsize=4096)
def _lot(seed: int, name: str) -> float:
    return float(np.random.default_rng([seed, zlib.crc32(name.encode())]).random())


def _cause_names(lesson: Lesson, question: Question, start: Start, faults: Mapping[str, FaultSpec]) -> tuple[str, ...]:
    if question.options == (POOL,):
        return tuple(dict.fromkeys(fault.entry for fault in dealable(lesson, faults)))
    if question.options == (LOOK_ALIKES,):
        dealt = [faults[fault.name] for fault in start.faults]
        alike = [other.fault for fault in dealt for other in fault.look_alikes]
        return tuple(dict.fromkeys((*(fault.entry for fault in dealt), *alike)))
    return question.options


_OF_HEAD = re.compile(r"\b([Hh]ead|[Cc]hannel) (\d)\b")


def _title(name: str, faults: Mapping[str, FaultSpec]) -> str:
    """Return a fault's title; of an entry that each head has, without saying which head."""
    if name in faults:
        return faults[name].title
    fault = next(fault for fault in faults.values() if fault.entry == name)

    def one(found: re.Match[str]) -> str:
        return f"{'One' if found[1][0].isupper() else 'one'} {found[1].lower()}"

    said = _OF_HEAD.sub(one, fault.title)
    # Other languages bend the words around it: there the number gives way to an N, as in the symptom chart.
    return said if said != fault.title else re.sub(rf"\b{fault.head}\b", "N", said)


def right_answer(
    lesson: Lesson,
    question: Question,
    start: Start,
    machine: LessonMachine,
    events: Sequence[Event] = (),
    at_s: float = 0.0,
) -> str | None:
    """Return the right answer as it is logged; None if it is a reading and the instrument has nothing to read.

    `events` and `at_s` [s] say what was done and when the answer is given; they matter where the machine runs.
    """
    if question.answer is not None:
        return question.answer
    if question.answer_from is None:
        return _measured_answer(question, start, machine, *((), 0.0) if lesson.running is None else (events, at_s))
    dealt = [machine.faults[fault.name] for fault in start.faults]
    if question.kind == "head":
        return _JOIN.join(str(head) for head in sorted({fault.head for fault in dealt}))
    if question.kind == "choice":
        answers = dict(question.answers)
        names = [name for name in (dealt[0].name, dealt[0].entry, dealt[0].group) if name in answers]
        return answers[names[0]]
    options = answer_options(lesson, question, start, machine.faults)
    return _JOIN.join(name for name, _ in options if any(name in (fault.name, fault.entry) for fault in dealt))


def _measured_answer(
    question: Question, start: Start, machine: LessonMachine, events: Sequence[Event], at_s: float
) -> str | None:
    name = str(question.answer_measurement)
    if question.kind == "numeric":
        value = machine.read(start, events, at_s, [name])[name]
        return None if math.isnan(value) else repr(value)
    names = [f"{name}_{head}" for head in _HEADS]
    read = machine.read(start, events, at_s, names)
    head = extreme_head([read[name] for name in names], question.extreme)
    return None if head is None else str(head)


def extreme_head(values: list[float], extreme: str) -> int | None:
    """Return the head (from 1) whose reading is the lowest, the highest or the furthest from the middle one.

    None if a reading is missing. A head without any RF reads minus infinity, which is low.

    Examples
    --------
    >>> extreme_head([0.0, 0.2, -4.0, 0.1], "furthest")
    3
    """
    if any(math.isnan(value) for value in values):
        return None
    if extreme == "furthest":
        low, high = sorted(values)[1:3]
        middle = (low + high) / 2.0
        return 1 + max(range(len(values)), key=lambda place: abs(values[place] - middle))
    pick = min if extreme == "lowest" else max
    return 1 + pick(range(len(values)), key=lambda place: values[place])


def checked_answer(
    lesson: Lesson, question: Question, start: Start, faults: Mapping[str, FaultSpec], answer: str
) -> str:
    """Return an answer as it is to be logged.

    Raises
    ------
    AnswerError
        If the question cannot be answered so.
    """
    if question.kind == "numeric":
        return repr(_number(question, answer))
    names = [name for name, _ in answer_options(lesson, question, start, faults)]
    given = answer.split(_JOIN) if takes_many(lesson, question) else [answer]
    for name in given:
        if name not in names:
            raise AnswerError(
                wording("answers.question_not_one", name=question.name, name_2=repr(name), names=known_names(names))
            )
    return _JOIN.join(name for name in names if name in given)


def _number(question: Question, answer: str) -> float:
    # People write a decimal comma or a true minus sign, too.
    text = answer.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-")
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise AnswerError(
            wording(
                "answers.question_not_number_write",
                name=question.name,
                answer=repr(answer),
                unit=unit_words(question.unit),
            )
        )
    return number


def judged(
    lesson: Lesson,
    question: Question,
    start: Start,
    machine: LessonMachine,
    given: str | None,
    events: Sequence[Event] = (),
    at_s: float = 0.0,
) -> AnswerResult:
    """Return what an answer (None: no answer) was worth; `events` and `at_s` as for `right_answer`.

    Raises
    ------
    AnswerError
        If the question cannot be answered so.
    """
    if given is not None:
        given = checked_answer(lesson, question, start, machine.faults, given)
    right = right_answer(lesson, question, start, machine, events, at_s)
    words = dict(answer_options(lesson, question, start, machine.faults))

    def told(answer: str | None) -> str:
        if answer is None:
            return wording("answers.no_reading")
        if question.kind == "numeric":
            number = number_text(float(answer), question.tolerance, has_sign(question.answer_measurement))
            return f"{number} {unit_words(question.unit)}"
        return wording("list.and").join(
            words[name] for name in (answer.split(_JOIN) if answer not in words else [answer])
        )

    if given is None or right is None:
        passed = False
    elif question.kind == "numeric":
        passed = abs(float(given) - float(right)) <= question.tolerance
    else:
        passed = given == right
    return AnswerResult(
        question, given, right, wording("answers.no_answer") if given is None else told(given), told(right), passed
    )
