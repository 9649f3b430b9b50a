"""What can be done at a bench by who learns at it: lessons, answers, results, records, papers.

Contents: `LEARNING`, to be used by `tests.walk.walker`.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import TYPE_CHECKING

from bandbench.bench.faults import FAULTS
from bandbench.bench.tokens import SCHEMES
from sim.standards import PRACTICES
from sim.training.answers import answer_options, right_answer
from sim.training.solution import solution_moves

if TYPE_CHECKING:
    from tests.walk.walker import Walker

__all__ = ["LEARNING", "MODES"]

MODES = ("learn", "practise", "demonstrate")

Chance = random.Random


def _mode(walker: Walker, chance: Chance) -> str:
    return walker.send("lesson", {"do": "mode", "value": chance.choice((*MODES, None))})


def _lesson(walker: Walker, chance: Chance) -> str:
    lessons = list(walker.application.bench.lessons)
    said = walker.send("course", {"do": "choose", "value": chance.choice(lessons)})
    return f"{said}; {walker.send('lesson', {'do': 'begin', 'value': None})}"


def _lesson_act(walker: Walker, chance: Chance) -> str:
    session = walker.application.bench.session
    number = chance.randrange(1, 5) if session is None else session.step_number
    what, value = chance.choice(
        (
            ("step", number + chance.choice((-1, 1, 1, 1))),
            ("hint", chance.randrange(1, 4)),
            ("worked", None),
            ("check", None),
            ("result", None),
            ("restart", None),
            ("worked", None),
            ("step", chance.randrange(0, 9)),
        )
    )
    return walker.send("lesson", {"do": what, "value": value})


def _answer(walker: Walker, chance: Chance) -> str:
    session = walker.application.bench.session
    if session is None or not session.lesson.questions:
        return walker.send("lesson", {"do": "answer", "value": {"question": "none", "answer": "1"}})
    question = chance.choice(session.lesson.questions)
    options = [name for name, _ in answer_options(session.lesson, question, session.start, FAULTS)]
    texts = (
        ["12.5", "-0", "1e5", "12,5", "", "much", "\u2212 3.5 dB"] if not options else [*options, "+".join(options[:2])]
    )
    return walker.send("lesson", {"do": "answer", "value": {"question": question.name, "answer": chance.choice(texts)}})


def _solve(walker: Walker, chance: Chance) -> str:
    """Do what passes the lesson that goes on, or one that is begun, and submit; now and then something is left out."""
    bench = walker.application.bench
    if bench.session is None or bench.session.finished:
        _lesson(walker, chance)
    session = bench.session
    if session is None:
        return "there is no lesson to be done"
    lesson, start = session.lesson, session.start
    for step in range(1, len(lesson.steps) + 1) if lesson.running is not None else ():
        walker.send("lesson", {"do": "step", "value": step})
        if chance.random() < 0.9:
            walker.send("lesson", {"do": "worked", "value": None})
    for question in lesson.questions:
        log = session.attempt
        right = right_answer(lesson, question, start, session.machine, log.events, log.duration_s)
        walker.send("lesson", {"do": "answer", "value": {"question": question.name, "answer": right or "1"}})
    moves = solution_moves(lesson, start)
    for control, value in moves[chance.choice((0, 0, 0, 1)) :] if lesson.running is None else ():
        number = walker.application.controls.board.applied + 1
        walker.send("controls", {"moves": {control: value}, "number": number})
    return f"{lesson.id}; {walker.send('lesson', {'do': 'check', 'value': None})}"


def _fault(walker: Walker, chance: Chance) -> str:
    name, severity = chance.choice(list(FAULTS)), chance.choice((0, 1, chance.random()))
    what, value = chance.choice(
        (
            ("hide_fault", None),
            ("show_fault", None),
            ("clear_fault", None),
            ("plant_fault", {"name": name, "severity": severity}),
        )
    )
    return walker.send("lesson", {"do": what, "value": value})


def _result(walker: Walker, chance: Chance) -> str:
    lessons = list(walker.application.bench.lessons)
    what = chance.choice(("close", "close", "again", "replay", "lesson", "scheme"))
    value = chance.choice(SCHEMES if what == "scheme" else lessons)
    return walker.send("result", {"do": what, "value": value})


def _replay(walker: Walker, chance: Chance) -> str:
    what, value = chance.choice(
        (
            ("play", True),
            ("play", False),
            ("speed", chance.choice((1, 4, 16))),
            ("seek", chance.uniform(0.0, 200.0)),
            ("event", 1),
            ("event", -1),
            ("leave", None),
        )
    )
    return walker.send("replay", {"do": what, "value": value})


def _learner(walker: Walker, chance: Chance) -> str:
    records = walker.application.learner.records
    number = chance.choice([*records.left, *records.attempts, *records.profiles, "nobody"])
    what, value = chance.choice(
        (
            ("open", chance.random() < 0.5),
            ("create", chance.choice(("Ada", "B\u00e9la <i>", " ", "x" * 90))),
            ("choose", number),
            ("rename", "Cara"),
            ("resume", number),
            ("set_aside", number),
            ("replay", number),
            ("debrief", number),
            ("print", number),
            ("accept", None),
            ("decline", None),
            ("note", "Look at the bands first."),
            ("note", ""),
            ("resume", number),
            ("debrief", number),
            ("open", True),
            ("delete", None),
        )
    )
    return walker.send("learner", {"do": what, "value": value})


def _assignment(walker: Walker, chance: Chance) -> str:
    names = list(walker.application.bench.lessons)
    head, lesson = 'format_version = 1\ntitle = "Week"\n', chance.choice(names)
    text = f'{head}[[lessons]]\nlesson = "{lesson}"\nseed = 3\nhelp = ["none"]\n'
    row = {"lesson": chance.choice(names), "seed": chance.choice(("", "7", "x")), "help": ["hints-1"]}
    return walker.send(
        "assignment",
        chance.choice(
            (
                {"do": "file", "name": "week.toml", "text": chance.choice((text, text[5:]))},
                {"do": "choose", "value": chance.randrange(3)},
                {"do": "drop"},
                {"do": "link", "value": f"?lesson={chance.choice(names)}&seed=7&help=why"},
                {
                    "do": "link",
                    "value": "?mode=practise&practice=" + chance.choice(list(PRACTICES)).replace(" ", "%20"),
                },
                {"do": "make", "value": {"title": "Week", "due": "", "lessons": [row, row]}},
            )
        ),
    )


def _authoring(walker: Walker, chance: Chance) -> str:
    return walker.send(
        "authoring",
        chance.choice(
            (
                {"do": "file", "name": "mine.toml", "text": "format_version = 1\nid = 'x'"},
                {"do": "choose"},
                {"do": "prove", "value": 1},
                {"do": "cancel"},
                {"do": "drop"},
            )
        ),
    )


def _report(walker: Walker, chance: Chance) -> str:
    session = walker.application.bench.session
    log = session.attempt.to_json() if session is not None else "{}"
    return walker.send(
        "class_desk",
        chance.choice(
            (
                {"do": "file", "name": "one <b>.json", "text": log},
                {"do": "stop"},
                {"do": "go"},
                {"do": "clear"},
                {"do": "person", "value": 0},
            )
        ),
    )


def _paper(walker: Walker, chance: Chance) -> str:
    records = walker.application.learner.records
    kind = chance.choice(("job", "alignment", "practice"))
    shown = {"do": "show", "kind": kind, "value": chance.choice(["", "nothing", *records.attempts])}
    return walker.send("paper", chance.choice((shown, shown, {"do": "close"})))


def _reference(walker: Walker, _chance: Chance) -> str:
    return walker.send("reference", {"do": "open"})


LEARNING: dict[str, Callable[[Walker, Chance], str]] = {
    "mode": _mode,
    "lesson": _lesson,
    "lesson_act": _lesson_act,
    "answer": _answer,
    "solve": _solve,
    "fault": _fault,
    "result": _result,
    "replay": _replay,
    "learner": _learner,
    "assignment": _assignment,
    "authoring": _authoring,
    "report": _report,
    "paper": _paper,
    "reference": _reference,
}
