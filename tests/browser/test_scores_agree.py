"""The same logs are worth the same in the browser's Python as in this one."""

from __future__ import annotations

import inspect
import json
import random
from functools import cache
from typing import Any

import pytest

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from sim.controls import CONTROLS
from sim.training.answers import answer_options
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event, HintOpened, QuestionAnswered
from sim.training.deal import deal
from sim.training.lesson import Lesson
from sim.training.lint import solution_attempt
from sim.training.machine import Machine, Start, on_step
from tests.browser.watching import WatchedPage

LESSONS = read_lessons()
# Readings of the RF, of times, of levels on a tape just recorded, and a case with a fault and its causes.
CHOSEN = ("tracking-and-guide", "rf-envelope", "record-current", "diagnosis-verticals-not-straight")

# MODEL: a check's value may differ between platforms by this share of its tolerance, far less than is ever shown.
SHARE_OF_TOLERANCE = 1e-3


def scored(log: str) -> str:
    """Score a log and return all of it as JSON; its source also runs in the page's worker."""
    import json

    from bandbench.bench.faults import FAULTS
    from bandbench.bench.lessons import read_lessons
    from sim.training.attempt import attempt_from_json
    from sim.training.score import score_attempt

    attempt = attempt_from_json(log, "log")
    score = score_attempt(read_lessons()[attempt.lesson_id], attempt, faults=FAULTS)
    return json.dumps(
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
    )


def scored_in_the_page(page: WatchedPage, log: str) -> dict[str, Any]:
    """Return what the page's own Python makes of a log."""
    source = inspect.getsource(scored)
    return dict(json.loads(str(page.python(f"{source}\nscored({log!r})"))))


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


@cache
def logs_of(name: str) -> tuple[str, str]:
    """Return what two people did in the same lesson, each dealt another start."""
    lesson = LESSONS[name]
    machine = Machine(lesson, faults=FAULTS)
    good = solution_attempt(lesson, deal(lesson, 5, machine), machine)
    return good.to_json(), random_attempt(lesson, deal(lesson, 6, machine)).to_json()


@pytest.mark.timeout(900)
@pytest.mark.parametrize("person", [0, 1], ids=["by_the_solution", "at_random"])
@pytest.mark.parametrize("name", CHOSEN)
def test_a_log_is_worth_the_same_here_and_in_the_page(still_page: WatchedPage, name: str, person: int) -> None:
    log = logs_of(name)[person]
    here, there = json.loads(scored(log)), scored_in_the_page(still_page, log)
    checks_here, checks_there = here.pop("checks"), there.pop("checks")
    # Everything in words and every decision: exactly.
    assert there == here
    assert here["outcome"] == ("passed" if person == 0 else "not yet")
    assert len(checks_here) == len(checks_there) == (1 if person == 0 else 3) * len(LESSONS[name].checks)
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
