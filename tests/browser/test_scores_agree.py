"""The same logs are worth the same in the browser's Python as in this one."""

from __future__ import annotations

import inspect
import json
import random
from collections.abc import Mapping
from typing import Any

import pytest

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from sim.controls import CONTROLS
from sim.training.answers import answer_options, takes_many
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event, HintOpened, QuestionAnswered
from sim.training.deal import deal
from sim.training.lesson import Lesson
from sim.training.lint import solution_attempt
from sim.training.machine import Start, on_step
from sim.training.parts import LOOK_ALIKES, NO_PAR, POOL
from sim.training.run import machine_for
from tests.browser.watching import WatchedPage

LESSONS = read_lessons()


def kinds(lesson: Lesson) -> set[tuple[object, ...]]:
    """What a score can depend on that this lesson has: kinds of checks and questions, tapes, signals, stages."""
    found: set[tuple[object, ...]] = {
        ("mode", lesson.mode),
        ("standard", lesson.standard),
        ("tape", lesson.tape),
        ("signal", lesson.signal),
        ("machine", lesson.running is not None),
    }
    found |= {("stage", CONTROLS[name].stage) for name in lesson.controls}
    found |= {("check", check.kind, check.hold_s > 0.0) for check in lesson.checks}
    for asked in lesson.questions:
        how = "stated" if asked.answer else "read" if asked.answer_measurement else "dealt"
        found.add(("question", asked.kind, how, takes_many(lesson, asked), asked.options in ((POOL,), (LOOK_ALIKES,))))
    found |= {("has", name) for name in ("order", "forbidden") if getattr(lesson, name)}
    return found | ({("has", "par")} if lesson.care != NO_PAR else set())


def covering(lessons: Mapping[str, Lesson]) -> tuple[str, ...]:
    """Few lessons that have between them every kind that any lesson has: each time most of what is new for its time."""
    left = set().union(*map(kinds, lessons.values()))
    chosen: list[str] = []
    while left:
        # A reading takes a frame or more in the browser; the time goes with the checks.
        best = max(lessons, key=lambda name: len(kinds(lessons[name]) & left) / (2.0 + len(lessons[name].checks)))
        chosen.append(best)
        left -= kinds(lessons[best])
    return tuple(chosen)


CHOSEN = covering(LESSONS)

# MODEL: a check's value may differ between platforms by this share of its tolerance, far less than is ever shown.
SHARE_OF_TOLERANCE = 1e-3


def scored(logs: list[str]) -> str:
    """Score logs of one lesson and return all of it as JSON; its source also runs in the page's worker."""
    import json

    from bandbench.bench.faults import FAULTS
    from bandbench.bench.lessons import read_lessons
    from sim.training.attempt import attempt_from_json
    from sim.training.run import machine_for
    from sim.training.score import score_attempt

    attempts = [attempt_from_json(log, "log") for log in logs]
    lesson = read_lessons()[attempts[0].lesson_id]
    machine = machine_for(lesson, FAULTS)
    scores = [score_attempt(lesson, attempt, machine) for attempt in attempts]
    return json.dumps(
        [
            {
                "outcome": score.outcome,
                "reason": score.reason,
                "points": score.points,
                "parts": [[part.name, part.passed, list(part.sentences)] for part in score.parts],
                "answers": [[answer.question.name, answer.given, answer.passed] for answer in score.answers],
                "care": [len(score.forbidden_acts), len(score.out_of_order), list(score.hints_opened), score.moves],
                "duration_s": score.duration_s,
                "fluency": list(score.fluency),
                "checks": [
                    [one.at_s, result.check.name, result.passed, result.value, result.target, result.check.tolerance]
                    for one in score.submissions
                    for result in one.results
                ],
            }
            for score in scores
        ]
    )


def scored_in_the_page(page: WatchedPage, logs: list[str]) -> list[dict[str, Any]]:
    """Return what the page's own Python makes of logs."""
    source = inspect.getsource(scored)
    return list(json.loads(str(page.python(f"{source}\nscored({logs!r})"))))


def random_attempt(lesson: Lesson, start: Start) -> Attempt:
    """Return the log of one who answers and turns by chance, and submits three times."""
    chance = random.Random(f"{lesson.id} {start.seed}")
    events: list[Event] = [HintOpened(1.0, 1)]
    for question in lesson.questions:
        options = answer_options(lesson, question, start, FAULTS)
        answer = chance.choice(options)[0] if options else f"{chance.uniform(-5.0, 5.0):.2f}"
        events.append(QuestionAnswered(2.0, question.name, answer))
    at_s = 2.0
    for reach in (1.0, 0.6, 0.2):
        # From far out to near: the readings are compared over the whole of a control's way.
        for control in chance.sample(lesson.controls, min(3, len(lesson.controls))):
            spec = CONTROLS[control]
            way = (spec.maximum - spec.minimum) * reach
            value = start.controls[control] + chance.uniform(-0.5, 0.5) * way
            at_s += 1.7
            events.append(ControlMoved(at_s, control, on_step(control, min(max(value, spec.minimum), spec.maximum))))
        at_s += 2.3
        events.append(CheckSubmitted(at_s))
    return Attempt(lesson.id, lesson.version, start.seed, tuple(events))


def logs_of(lesson: Lesson) -> list[str]:
    """Return what two people did in the same lesson, each dealt another start: by the solution, and at random."""
    machine = machine_for(lesson, FAULTS)
    good = solution_attempt(lesson, deal(lesson, 5, machine), machine)
    return [good.to_json(), random_attempt(lesson, deal(lesson, 6, machine)).to_json()]


@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", CHOSEN)
def test_logs_are_worth_the_same_here_and_in_the_page(still_page: WatchedPage, name: str) -> None:
    logs = logs_of(LESSONS[name])
    here, there = json.loads(scored(logs)), scored_in_the_page(still_page, logs)
    assert [one["outcome"] for one in here] == ["passed", "not yet"]
    for one_here, one_there, submissions in zip(here, there, (1, 3), strict=True):
        checks_here, checks_there = one_here.pop("checks"), one_there.pop("checks")
        # Everything in words and every decision: exactly.
        assert one_there == one_here
        assert len(checks_here) == submissions * len(LESSONS[name].checks)
        furthest = 0.0
        for (*decided_here, value, target, tolerance), (*decided_there, value_there, target_there, _) in zip(
            checks_here, checks_there, strict=True
        ):
            assert decided_there == decided_here
            assert (value_there is None) == (value is None)
            assert target_there == pytest.approx(target, abs=SHARE_OF_TOLERANCE * tolerance)
            if value is not None and value != value_there:
                furthest = max(furthest, abs(value_there - value) / tolerance)
        print(f"{name}: {len(checks_here)} readings, furthest apart {furthest:.2g} of the tolerance")
        assert furthest <= SHARE_OF_TOLERANCE
