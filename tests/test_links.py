"""Links and assignment files: what is written is read back; what is not as it must be is refused with a sentence."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.lessons import read_lessons
from bandbench.bench.links import LONGEST_LINK, PARAMETERS, Link, LinkError, format_link, parse_link
from bandbench.command import main
from sim.errors import BandbenchError
from sim.standards import PRACTICES
from sim.training.assignment import (
    MOST_TASKS,
    Assignment,
    AssignmentError,
    Task,
    assignment_from_text,
    help_breaches,
    score_within,
    task_state,
)
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, HintOpened
from sim.training.deal import deal
from sim.training.help import FULL_HELP, HELP_WORDS, Help
from sim.training.lint import solution_attempt
from sim.training.parts import LARGEST_SEED
from sim.training.progress import Outcome
from sim.training.run import machine_for
from sim.training.score import score_attempt

LESSONS = read_lessons()
LESSON = "tracking-and-guide"

# Every property here is of our own form (MODEL): no outside source says what a link of the bench looks like, but for
# the query itself (PUB, RFC 3986 section 3.4 and the form urlencoded parser that urllib is).
PROPERTY = settings(max_examples=150, deadline=None)

Result = TypeVar("Result")


def attempted(action: Callable[[], Result]) -> tuple[Result | None, BandbenchError | None]:
    """What an action gives, or how it refuses; anything else it may raise fails the test."""
    try:
        return action(), None
    except BandbenchError as error:
        return None, error


helps = st.builds(Help, st.integers(0, 3), st.booleans(), st.booleans(), st.booleans())
tasks = st.builds(Task, st.sampled_from(sorted(LESSONS)), st.none() | st.integers(0, LARGEST_SEED), helps)
lines = (
    st.text(st.characters(exclude_categories=("C", "Z")) | st.just(" "), min_size=1, max_size=60)
    .map(str.strip)
    .filter(lambda text: text != "" and text.isprintable())
)
assignments = st.builds(
    Assignment, lines, st.lists(tasks, min_size=1, max_size=6, unique=True).map(tuple), st.just("") | lines
)


@PROPERTY
@given(task=tasks)
def test_a_link_to_a_lesson_is_read_back_as_it_was_written(task: Task) -> None:
    query = format_link(Link(task=task))
    assert parse_link(f"?{query}", LESSONS) == parse_link(query, LESSONS) == Link(task=task)
    # It stands in an address as it is: nothing in it ends the query or needs quoting again.
    assert re.fullmatch(r"[A-Za-z0-9=&:,/._~%-]+", query)


@PROPERTY
@given(assignment=assignments)
def test_an_assignment_is_read_back_from_its_link_and_from_its_file(assignment: Assignment) -> None:
    query, error = attempted(lambda: format_link(Link(assignment=assignment)))
    if query is None:
        assert isinstance(error, LinkError)
        assert "as a file" in str(error)
    else:
        assert parse_link(query, LESSONS) == Link(assignment=assignment)
    assert assignment_from_text(assignment.to_toml(), "week.toml", LESSONS) == assignment
    assert assignment_from_text(json.dumps(assignment.to_data()), "week.json", LESSONS) == assignment


@pytest.mark.parametrize("practice", PRACTICES)
def test_the_open_bench_is_linked_to_with_every_practice(practice: str) -> None:
    link = Link(mode="practise", practice=practice)
    assert parse_link(format_link(link), LESSONS) == link


pieces = st.sampled_from(
    [
        *PARAMETERS, *sorted(LESSONS), *HELP_WORDS, "=", "&", ":", ",", ".", "%", "%ff", "%00", "7", "-1", "é",
        "<img src=x onerror=alert(1)>", "9" * 30, "None", "", "?", "#", ";", "+", " ",
    ]
)  # fmt: skip


@settings(max_examples=400, deadline=None)
@given(query=st.lists(pieces, max_size=14).map("".join) | st.text(max_size=200))
def test_any_query_is_a_link_or_is_refused_in_words(query: str) -> None:
    link, error = attempted(lambda: parse_link(query, LESSONS))
    if error is not None:
        assert isinstance(error, LinkError)
        assert error.problem.source == "the link"
        assert error.problem.key
        assert error.problem.reason
        assert error.problem.remedy.endswith(".")
    else:
        # What is accepted means one thing only: written again it reads the same.
        assert link is None or parse_link(format_link(link), LESSONS) == link


@pytest.mark.parametrize(
    ("query", "key", "says"),
    [
        ("lesson=nothing-of-the-kind", "lesson", "there is no lesson of that name"),
        ("lesson=tracking-and-gide", "lesson", "Perhaps 'tracking-and-guide'"),
        ("lesson=../../etc/passwd", "lesson", "wrong form"),
        ("lessn=tracking-and-guide", "lessn", "no parameter"),
        ("lesson=rf-envelope&lesson=rf-envelope", "lesson", "given twice"),
        ("lesson=rf-envelope&seed=-1", "seed", "not a whole number"),
        ("lesson=rf-envelope&seed=1.5", "seed", "not a whole number"),
        ("lesson=rf-envelope&seed=٣", "seed", "not a whole number"),
        (f"lesson=rf-envelope&seed={LARGEST_SEED + 1}", "seed", "outside the range"),
        ("lesson=rf-envelope&seed=", "seed", "not a whole number"),
        ("lesson=rf-envelope&help=everything", "help[1]", "no kind of help"),
        ("lesson=rf-envelope&help=none,why", "help", "stand alone"),
        ("lesson=rf-envelope&help=why,why", "help[2]", "listed twice"),
        ("lesson=rf-envelope&help=", "help[1]", "empty"),
        ("lesson=rf-envelope&language=xx", "language", "not allowed"),
        ("lesson=rf-envelope&standard=625/50", "standard", "is done in '525/60'"),
        ("lesson=rf-envelope&title=A", "title", "does not go with 'lesson'"),
        ("seed=7", "seed", "without 'lesson'"),
        ("mode=teach", "mode", "not allowed"),
        ("standard=625/50", "standard", "Add mode=practise"),
        ("mode=practise&standard=625/50&practice=525%20high-band", "practice", "not a practice of 625/50"),
        ("lessons=rf-envelope", "title", "is missing"),
        ("lessons=rf-envelope,rf-envelope&title=A", "lessons[2]", "second time"),
        ("lessons=rf-envelope:1:why:x&title=A", "lessons[1]", "too many"),
        ("lessons=&title=A", "lessons[1].lesson", "empty"),
        ("lessons=" + ",".join(f"rf-envelope:{n}" for n in range(MOST_TASKS + 1)) + "&title=A", "lessons", "at most"),
        ("lessons=rf-envelope&title=%07", "title", "cannot be shown"),
        ("title=" + "A" * 101 + "&lessons=rf-envelope", "title", "at most 100"),
        ("x" * (LONGEST_LINK + 1), "the whole link", "characters long"),
        ("lesson", "the whole link", "name=value"),
        ("lesson=%ff", "the whole link", "name=value"),
    ],
)
def test_what_is_wrong_with_a_link_is_said_with_place_and_remedy(query: str, key: str, says: str) -> None:
    with pytest.raises(LinkError) as caught:
        parse_link(query, LESSONS)
    assert caught.value.problem.key == key
    assert says in str(caught.value)


def test_a_learning_systems_own_parameters_are_left_to_it() -> None:
    # PUB: the five parameters of a cmi5 launch (cmi5 specification, section 8.1).
    launch = "endpoint=x&fetch=y&actor=%7B%7D&registration=z&activityId=a"
    assert parse_link(f"?{launch}", LESSONS) is None
    assert parse_link(f"?{launch}&lesson={LESSON}", LESSONS) == Link(task=Task(LESSON))
    assert parse_link("", LESSONS) is None


file_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.sampled_from(sorted(LESSONS)),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["lesson", "seed", "help", "title", "x"]), inner, max_size=3)
    ),
    max_leaves=8,
)


@PROPERTY
@given(
    data=file_values
    | st.fixed_dictionaries(
        {"format_version": st.just(1) | file_values, "title": file_values, "lessons": file_values},
        optional={"due": file_values, "language": file_values, "more": file_values},
    )
)
def test_any_json_is_an_assignment_or_is_refused(data: object) -> None:
    found, error = attempted(lambda: assignment_from_text(json.dumps(data), "some.json", LESSONS))
    if found is None:
        assert isinstance(error, AssignmentError)
        assert "some.json: " in str(error)
    else:
        assert assignment_from_text(found.to_toml(), "again.toml", LESSONS) == found


@st.composite
def cut_files(draw: st.DrawFn) -> str:
    text = draw(assignments).to_toml()
    return text[: draw(st.integers(0, len(text)))]


@PROPERTY
@given(text=st.text(max_size=80) | cut_files())
def test_any_text_or_cut_file_is_an_assignment_or_is_refused(text: str) -> None:
    for name in ("some.toml", "some.json"):
        found, error = attempted(lambda name=name: assignment_from_text(text, name, LESSONS))  # type: ignore[misc]
        assert isinstance(error, AssignmentError) if found is None else found.tasks


def test_a_file_of_another_format_or_with_strange_keys_is_refused() -> None:
    good = Assignment("Week", (Task(LESSON),)).to_toml()
    assert tomllib.loads(good)["lessons"] == [{"lesson": LESSON}]
    for text, says in (
        (good.replace("format_version = 1", "format_version = 2"), "reads format 1"),
        (good.replace("format_version = 1", "format_version = true"), "reads format 1"),
        (good.replace("title =", "titel ="), "unknown key"),
        (good.replace("lessons", "seeds"), "unknown key"),
        ("[" * 100_000, "not JSON"),
        ("1" * 5_000, "not JSON"),
    ):
        with pytest.raises(AssignmentError, match=says):
            assignment_from_text(text, "x.json" if "JSON" in says else "x.toml", LESSONS)


def test_help_is_compared_part_by_part() -> None:
    assert Help(1, False, True, False).within(FULL_HELP)
    assert not FULL_HELP.within(Help(1, False, True, False))
    assert not Help(2, False, False, False).within(Help(1, True, True, True))
    assert Help(0, False, False, False).text == "no help"


def test_a_log_that_shows_more_help_than_was_permitted_is_found_out() -> None:
    attempt = Attempt(LESSON, 1, 3, (HintOpened(1.0, 1), HintOpened(2.0, 2), CheckSubmitted(3.0)))
    assert help_breaches(Help(hints=2), attempt) == ()
    assert help_breaches(Help(hints=1), attempt) == ("Hint 2 was opened, but hints to level 1 were permitted.",)
    assert help_breaches(Help(hints=0), attempt) == ("Hint 2 was opened, but no hint was permitted.",)
    shown = Attempt(LESSON, 1, 3, (ControlMoved(1.0, "guide_position_um", 5.0, shown=True),))
    assert help_breaches(FULL_HELP, shown) == ()
    assert "worked steps" in help_breaches(Help(worked=False), shown)[0]


def test_a_pass_counts_only_with_the_help_that_was_permitted() -> None:
    lesson = LESSONS[LESSON]
    machine = machine_for(lesson)
    log = solution_attempt(lesson, deal(lesson, 3, machine), machine)
    hinted = Attempt(LESSON, lesson.version, 3, (HintOpened(0.0, 1), *log.events))
    score = score_attempt(lesson, hinted, machine)
    assert score.passed
    assert score_within(score, FULL_HELP, hinted) is score
    stricter = score_within(score, Help(hints=0), hinted)
    assert not stricter.passed
    assert stricter.reason.endswith("no hint was permitted.")


def test_a_task_is_done_by_a_pass_of_its_own_variation_and_help() -> None:
    strict = Help(1, False, False, False)
    task = Task(LESSON, 7, strict)

    def outcome(seed: int, when_s: float, passed: bool = True, lesson: str = LESSON) -> Outcome:
        return Outcome(lesson, seed, when_s, True, passed, passed)

    elsewhere = [
        (outcome(8, 1.0), strict),
        (outcome(7, 2.0), FULL_HELP),
        (outcome(7, 3.0, lesson="rf-envelope"), strict),
        (Outcome(LESSON, 7, 4.0, False, False, False), strict),
    ]
    assert (task_state(task, elsewhere).attempts, task_state(task, elsewhere).done_s) == (0, None)
    own = [
        (outcome(7, 5.0, passed=False), strict),
        (outcome(7, 7.0), strict),
        (outcome(7, 6.0), Help(0, False, False, False)),
    ]
    state = task_state(task, [*elsewhere, *own])
    assert (state.attempts, state.done_s) == (3, 6.0)
    assert task_state(Task(LESSON), elsewhere).done_s == 1.0


def test_the_command_makes_reads_and_refuses_links(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["link", f"lesson={LESSON}", "seed=7", "help=hints-1,why", "--site", "http://bench.example/"]) == 0
    made = capsys.readouterr().out.splitlines()[-1]
    assert made == f"http://bench.example/?lesson={LESSON}&seed=7&help=hints-1,why"
    assert main(["link", "--read", made]) == 0
    assert "variation 7; help permitted: hints to level 1, why views" in capsys.readouterr().out
    file = tmp_path / "week.toml"
    file.write_text(Assignment("Second week", (Task(LESSON, 7),), "Friday").to_toml(), "utf-8")
    assert main(["link", "--assignment", str(file)]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == f"?title=Second%20week&due=Friday&lessons={LESSON}:7"
    for words in (
        ["link"],
        ["link", "lesson"],
        ["link", "lesson=x"],
        ["link", "--assignment", str(tmp_path / "no.toml")],
    ):
        assert main(words) == 2
        assert capsys.readouterr().err.startswith("bandbench link: ")
