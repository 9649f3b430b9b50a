"""Statements of attempts: valid by three judges, always the same, in order; what a store must refuse is refused."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.lessons import read_lessons
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, HintOpened, NoteWritten, StepShown
from sim.training.lesson import Lesson
from sim.training.score import Score, score_attempt
from sim.training.statementcheck import statement_problems
from sim.training.statements import (
    EXTENSIONS,
    SITE,
    VERBS,
    Circumstances,
    Statement,
    attempt_statements,
    duration_text,
    resumed,
    suspended,
    trail,
)
from tests.solved_lessons import solved as worked_solution
from tests.statement_judges import refused_by_schema, refused_by_store
from tests.training_lessons import line_up, line_up_machine

BEGAN = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
LESSONS = read_lessons()


def around(learner: str = "11111111-1111-4111-8111-111111111111") -> Circumstances:
    return Circumstances(learner, "22222222-2222-4222-8222-222222222222", BEGAN, "1a2b")


def verbs(statements: list[Statement]) -> list[str]:
    return [one["verb"]["id"].removeprefix(VERBS) for one in statements]


Done = Mapping[str, tuple[Lesson, Attempt, Score, list[Statement]]]


@pytest.fixture(scope="module")
def solved() -> Done:
    """Return every lesson's worked solution: attempt, score, statements."""
    done = {}
    for lesson in LESSONS.values():
        attempt, score = worked_solution(lesson.id)
        done[lesson.id] = (lesson, attempt, score, attempt_statements(lesson, attempt, around(), score))
    return done


def test_every_lessons_solution_makes_statements_that_three_judges_take(solved: Done, tmp_path: Path) -> None:
    everything = [one for *_, statements in solved.values() for one in statements]
    # What is sent is JSON: no number of it is infinite, and nothing is lost on the way.
    assert json.loads(json.dumps(everything, allow_nan=False)) == everything
    assert [problem for one in everything for problem in statement_problems(one)] == []
    assert [problem for one in everything for problem in refused_by_schema(one)] == []
    # Source: Learning Locker's validator of xAPI 1.0.3, npm @learninglocker/xapi-validation 3.0.0.
    assert [refused for refused in refused_by_store(everything, tmp_path) if refused] == []


def test_the_trail_tells_each_answer_and_submission_and_ends_with_the_outcome(solved: Done) -> None:
    for lesson, attempt, score, statements in solved.values():
        told = verbs(statements)
        assert told[0] == "initialized"
        assert told[-1] == "terminated"
        assert told.count("answered") == len(lesson.questions)
        assert told.count("attempted") == 1
        ending = ["passed", "completed"] if score.passed else ["failed"]
        assert [one for one in told if one in ("passed", "failed", "completed")] == ending
        outcome = statements[told.index(ending[0])]
        assert outcome["result"]["score"] == {"scaled": round(score.points, 4)}
        assert outcome["result"]["success"] is score.passed
        assert outcome["result"]["duration"] == duration_text(score.duration_s)
        assert outcome["object"]["id"] == f"{SITE}/lessons/{lesson.id}"
        moments = [one["timestamp"] for one in statements]
        assert moments == sorted(moments)
        assert len({one["id"] for one in statements}) == len(statements)
        (submitted,) = (one for one in statements if one["verb"]["id"].endswith("attempted"))
        controls = submitted["context"]["extensions"][f"{EXTENSIONS}controls"]
        assert set(controls) == set(lesson.controls)
        moves = [event for event in attempt.events if isinstance(event, ControlMoved)]
        assert all(controls[name] == value for name, value in {one.control: one.value for one in moves}.items())


def test_no_statement_names_a_person_or_points_at_a_real_domain(solved: Done) -> None:
    for *_, statements in solved.values():
        for one in statements:
            account = {"homePage": f"{SITE}/learners", "name": around().learner}
            assert one["actor"] == {"objectType": "Agent", "account": account}
            assert SITE.endswith(".example")
            own = [one["object"]["id"], *one["context"]["extensions"], *one.get("result", {}).get("extensions", {})]
            assert all(name.startswith(f"{SITE}/") for name in own)


# --- one lesson, event by event --------------------------------------------------------------------------------------

EVENTS = (
    StepShown(1.0, 2),
    HintOpened(2.5, 1),
    ControlMoved(4.0, "guide_position_um", 12.0),
    NoteWritten(5.0, "the bands lean"),
    CheckSubmitted(6.25),
    HintOpened(8.0, 2),
    ControlMoved(9.0, "guide_position_um", -7.0),
    CheckSubmitted(11.111),
)


def unfinished(events: tuple[Any, ...] = EVENTS) -> tuple[Attempt, Score]:
    attempt = Attempt("tracking-and-guide", line_up().version, 3, events)
    return attempt, score_attempt(line_up(), attempt, line_up_machine())


def test_a_failed_attempt_is_told_event_by_event() -> None:
    attempt, score = unfinished()
    statements = attempt_statements(line_up(), attempt, around(), score)
    assert verbs(statements) == [
        "initialized", "interacted", "attempted", "interacted", "attempted", "failed", "terminated",
    ]  # fmt: skip
    first, hint, submitted, *_, failed, terminated = statements
    assert first["timestamp"] == "2026-03-01T09:30:00.000Z"
    assert hint["object"]["id"].endswith("/lessons/tracking-and-guide/hints/1")
    assert hint["timestamp"] == "2026-03-01T09:30:02.500Z"
    assert submitted["result"]["success"] is False
    checks = submitted["result"]["extensions"][f"{EXTENSIONS}checks"]
    assert [one["name"] for one in checks] == [check.name for check in line_up().checks]
    assert [one["passed"] for one in checks] == [result.passed for result in score.submissions[0].results]
    assert submitted["context"]["extensions"][f"{EXTENSIONS}controls"]["guide_position_um"] == 12.0
    assert failed["result"]["success"] is False
    assert failed["result"]["extensions"][f"{EXTENSIONS}hints"] == [1, 2]
    assert terminated["result"] == {"duration": "PT11.11S"}
    # Nobody's notes leave the log.
    assert "the bands lean" not in json.dumps(statements)


def test_an_attempt_that_was_never_submitted_is_neither_passed_nor_failed() -> None:
    attempt, score = unfinished(EVENTS[:4])
    assert verbs(attempt_statements(line_up(), attempt, around(), score)) == ["initialized", "interacted", "terminated"]


def test_the_trail_grows_and_never_changes() -> None:
    whole, score = unfinished()
    over = attempt_statements(line_up(), whole, around(), score)
    before: list[Statement] = []
    for count in range(len(EVENTS) + 1):
        attempt = Attempt(whole.lesson_id, whole.lesson_version, whole.seed, EVENTS[:count])
        so_far = trail(line_up(), attempt, around(), score.start, score.submissions, {})
        assert so_far[: len(before)] == before
        before = so_far
    assert over[: len(before)] == before
    # What a submission gave is not made up while it is not known.
    assert verbs(trail(line_up(), whole, around(), score.start, score.submissions[:1], {}))[-1] == "interacted"


def test_ids_are_of_learner_attempt_and_event() -> None:
    attempt, score = unfinished()
    ids = [one["id"] for one in attempt_statements(line_up(), attempt, around(), score)]
    assert ids == [one["id"] for one in attempt_statements(line_up(), attempt, around(), score)]
    other = [one["id"] for one in attempt_statements(line_up(), attempt, around("another learner"), score)]
    assert not set(ids) & set(other)
    # DERIVED: a UUID of version 5 (RFC 9562) is a SHA-1 of the names; so it says in its 13th digit.
    assert {one[14] for one in ids} == {"5"}


def test_a_case_tells_no_answer_before_its_submission(solved: Done) -> None:
    for lesson, attempt, score, statements in solved.values():
        answers = {answer.question.name: answer for answer in score.answers}
        going_on = Attempt(attempt.lesson_id, attempt.lesson_version, attempt.seed, attempt.events[:-1])
        told = verbs(trail(lesson, going_on, around(), score.start, (), answers))
        if lesson.mode in ("diagnosis", "assessment"):
            assert told == ["initialized"]
        else:
            assert told.count("answered") == len(lesson.questions)
        whole = trail(lesson, attempt, around(), score.start, score.submissions, answers)
        assert whole == statements[: len(whole)]


def test_leaving_and_going_on_are_told() -> None:
    attempt, _ = unfinished(EVENTS[:3])
    left, back = suspended(line_up(), attempt, around()), resumed(line_up(), attempt, around())
    assert verbs([left, back]) == ["suspended", "resumed"]
    assert left["result"] == {"duration": "PT4S"}
    assert statement_problems(left) == statement_problems(back) == ()
    more, _ = unfinished(EVENTS[:4])
    assert suspended(line_up(), more, around())["id"] != left["id"]


# --- what a record store must refuse ---------------------------------------------------------------------------------


def sound() -> Statement:
    """Return a statement with every part that the others have."""
    attempt, score = unfinished()
    statement = next(
        one for one in attempt_statements(line_up(), attempt, around(), score) if one["verb"]["id"].endswith("failed")
    )
    statement["object"]["definition"]["extensions"] = {f"{EXTENSIONS}anything": {"null": None, "empty": {}}}
    return copy.deepcopy(statement)


def changed(path: str, value: object) -> Callable[[Statement], None]:
    def change(statement: Statement) -> None:
        *way, last = path.split("/")
        place: Any = statement
        for key in way:
            place = place[key]
        if value is ...:
            del place[last]
        else:
            place[last] = value

    return change


# Source of each: xAPI 1.0.3, part two, sections 2.2 to 2.4 (what a store must refuse), as in learning-standards.md B3.
BAD: dict[str, Callable[[Statement], None]] = {
    "no actor": changed("actor", ...),
    "no verb": changed("verb", ...),
    "no object": changed("object", ...),
    "null": changed("context/platform", None),
    "null in a result": changed("result/success", None),
    "number as text": changed("result/score", {"scaled": "0.5"}),
    "boolean as text": changed("result/success", "false"),
    "number as boolean": changed("result/success", 0),
    "boolean as number": changed("result/score", {"scaled": True}),
    "text as number": changed("context/revision", 1),
    "wrong case of a key": changed("Result", {"success": True}),
    "wrong case deeper": changed("context/contextactivities", {}),
    "unknown key": changed("mood", "good"),
    "unknown key deeper": changed("result/grade", 1),
    "unknown key of an activity": changed("object/definition/title", "x"),
    "verb without scheme": changed("verb/id", "adlnet.gov/expapi/verbs/passed"),
    "activity without scheme": changed("object/id", "lessons/one"),
    "extension without scheme": changed("context/extensions", {"seed": 1}),
    "home page without scheme": changed("actor/account/homePage", "bandbench.example"),
    "no identifier": changed("actor/account", ...),
    "two identifiers": changed("actor/mbox", "mailto:someone@school.example"),
    "half an account": changed("actor/account/name", ...),
    "group type of an agent": changed("actor/objectType", "agent"),
    "id that is no UUID": changed("id", "one"),
    "registration that is no UUID": changed("context/registration", "class-7"),
    "score above 1": changed("result/score", {"scaled": 1.5}),
    "duration in words": changed("result/duration", "ten minutes"),
    "time without date": changed("timestamp", "09:30:00Z"),
    "language of a text": changed("verb/display", {"not a language": "passed"}),
    "text of a language": changed("object/definition/name", {"en-GB": 7}),
    "list as object": changed("context/contextActivities/grouping", "course"),
}
# These are not forbidden by every store, but never sent from here.
STRICTER: dict[str, Callable[[Statement], None]] = {
    "empty object": changed("context/contextActivities", {}),
    "empty result": changed("result", {}),
    "empty text": changed("result/response", ""),
    "time of another zone": changed("timestamp", "2026-03-01T10:30:00+01:00"),
    "duration too fine": changed("result/duration", "PT1.234S"),
    "of the store": changed("stored", "2026-03-01T09:30:00Z"),
    "of the newer version only": changed("context/contextAgents", []),
    "no id": changed("id", ...),
}


def test_a_sound_statement_is_taken_by_all_judges(tmp_path: Path) -> None:
    statement = sound()
    assert statement_problems(statement) == ()
    assert refused_by_schema(statement) == []
    assert refused_by_store([statement], tmp_path) == [[]]


@pytest.mark.parametrize("name", [*BAD, *STRICTER])
def test_what_must_be_refused_is_refused_with_its_place(name: str) -> None:
    statement = sound()
    (BAD | STRICTER)[name](statement)
    problems = statement_problems(statement)
    assert problems
    assert all(problem.startswith("statement") and ": " in problem for problem in problems)
    # A store takes that one, and compares a hundredth of a second only.
    assert refused_by_schema(statement) or name == "duration too fine"


def test_a_stores_validator_refuses_the_same(tmp_path: Path) -> None:
    statements = []
    for change in BAD.values():
        statement = sound()
        change(statement)
        statements.append(statement)
    verdicts = refused_by_store(statements, tmp_path)
    taken = [name for name, verdict in zip(BAD, verdicts, strict=True) if not verdict]
    assert taken == []


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_any_change_is_judged_as_the_schema_judges_it(data: st.DataObject) -> None:
    statement: Any = SOUND
    path: list[str] = []
    while isinstance(statement, dict) and (not path or data.draw(st.booleans())):
        path.append(data.draw(st.sampled_from(sorted(statement))))
        statement = statement[path[-1]]
        # In extensions everything may stand.
        if path[-1] == "extensions":
            break
    whole = copy.deepcopy(SOUND)
    value = data.draw(JSON)
    if path[-1] != "extensions":
        changed("/".join(path), value)(whole)
    refused = bool(statement_problems(whole))
    # Ours knows more than the schema (times and languages that cannot be), never less.
    assert refused or not refused_by_schema(whole)


SOUND = sound()


@pytest.mark.parametrize("value", [None, 7, "text", [], [1]])
def test_what_is_no_object_is_no_statement(value: object) -> None:
    assert statement_problems(value)


@given(st.floats(0.0, 86_400.0))
def test_a_duration_is_what_it_says(seconds: float) -> None:
    text = duration_text(seconds)
    assert abs(float(text.removeprefix("PT").removesuffix("S")) - seconds) <= 0.005 + 1e-9
    assert timedelta(seconds=float(text[2:-1])) >= timedelta(0)
