"""The course: its file, whether it fits the lessons, and the order prerequisites ask for."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from bandbench.bench.lessons import read_course, read_lessons
from bandbench.lessons import LESSONS_FOLDER
from sim.training.course import Course, CourseError, CourseGroup, course_of, course_problems, parse_course
from sim.training.lesson import Lesson
from tests.training_lessons import line_up

DATA: dict[str, Any] = {
    "format_version": 1,
    "title": "The course",
    "groups": [
        {"name": "first", "title": "First", "text": "What comes first.", "lessons": ["a", "b"]},
        {"name": "second", "title": "Second", "text": "What comes then.", "lessons": ["c"]},
    ],
}


def lesson(name: str, *prerequisites: str, topic: int | None = None) -> Lesson:
    return replace(line_up(), id=name, source=f"{name}.toml", prerequisites=prerequisites, topic=topic)


def lessons(**prerequisites: tuple[str, ...]) -> dict[str, Lesson]:
    return {name: lesson(name, *before) for name, before in prerequisites.items()}


def schema_accepts(data: object) -> bool:
    schema = json.loads((LESSONS_FOLDER / "course.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema).is_valid(data)


def test_course_is_read_in_order() -> None:
    course = parse_course(DATA, "course.toml")
    assert schema_accepts(DATA)
    assert course.lessons == ("a", "b", "c")
    assert [group.title for group in course.groups] == ["First", "Second"]
    assert course_problems(course, lessons(a=(), b=("a",), c=("a", "b"))) == []


@pytest.mark.parametrize(
    ("path", "value", "key", "reason"),
    [
        (("format_version",), 2, "format_version", "is 2, but this program reads format 1"),
        (("title",), "", "title", "is an empty text"),
        (("extra",), 1, "extra", "unknown key"),
        (("groups",), [], "groups", "has 0 entries"),
        (("groups", 0, "lessons"), [], "groups[1].lessons", "has 0 entries"),
        (("groups", 0, "lessons"), ["a", "a"], "groups[1].lessons[2]", "'a' is listed twice"),
        (("groups", 0, "lessons"), ["A"], "groups[1].lessons[1]", "'A' has the wrong form"),
        (("groups", 0, "name"), "No name", "groups[1].name", "'No name' has the wrong form"),
    ],
)
def test_parser_and_schema_refuse_the_same(path: tuple[str | int, ...], value: object, key: str, reason: str) -> None:
    data: Any = copy.deepcopy(DATA)
    holder = data
    for part in path[:-1]:
        holder = holder[part]
    holder[path[-1]] = value
    assert not schema_accepts(data)
    with pytest.raises(CourseError) as caught:
        parse_course(data, "course.toml")
    assert (caught.value.problem.key, caught.value.problem.reason) == (key, reason)


@pytest.mark.parametrize(
    ("group", "changes", "key", "reason"),
    [
        (1, {"lessons": ["b"]}, "groups[2].lessons[1]", "'b' is in the course already"),
        (1, {"name": "first"}, "groups[2].name", "'first' names two groups"),
    ],
)
def test_what_a_schema_cannot_state_is_refused_too(
    group: int, changes: dict[str, object], key: str, reason: str
) -> None:
    data = copy.deepcopy(DATA)
    data["groups"][group] |= changes
    with pytest.raises(CourseError) as caught:
        parse_course(data, "course.toml")
    assert (caught.value.problem.key, caught.value.problem.reason) == (key, reason)


def test_lessons_that_do_not_fit_the_course_are_told() -> None:
    course = parse_course(DATA, "course.toml")
    found = course_problems(course, lessons(a=("c",), b=("b",), d=("e",)) | {"c": lesson("c")})
    told = {(problem.source, problem.key): problem.reason for problem in found}
    assert told == {
        ("a.toml", "prerequisites[1]"): "'c' comes later in the course",
        ("b.toml", "prerequisites[1]"): "'b' needs 'b' itself",
        ("course.toml", "groups"): "lesson 'd' is in no group",
        ("d.toml", "prerequisites[1]"): "there is no lesson 'e'",
    }
    missing = course_problems(course, lessons(a=(), b=()))
    assert [(problem.key, problem.reason) for problem in missing] == [
        ("groups[2].lessons[1]", "there is no lesson 'c'")
    ]


NAMES = ("a", "b", "c", "d", "e")
GRAPHS = st.fixed_dictionaries({name: st.lists(st.sampled_from(NAMES), unique=True, max_size=3) for name in NAMES})


def has_cycle(graph: dict[str, list[str]]) -> bool:
    """Take away, again and again, what needs nothing that is left (Kahn): what stays goes round in circles."""
    left = {name: set(before) for name, before in graph.items()}
    while free := [name for name, before in left.items() if not before & left.keys()]:
        for name in free:
            del left[name]
    return bool(left)


@given(GRAPHS)
@settings(max_examples=150, deadline=None)
def test_prerequisites_that_go_round_in_circles_are_found_and_only_those(graph: dict[str, list[str]]) -> None:
    known = lessons(**{name: tuple(before) for name, before in graph.items()})
    problems = course_problems(course_of(known), known)
    circular = [problem for problem in problems if problem.reason.endswith("itself")]
    assert bool(circular) is has_cycle(graph)
    if not has_cycle(graph):
        assert problems == []


@given(GRAPHS)
@settings(max_examples=100, deadline=None)
def test_order_made_from_prerequisites_holds_every_lesson_once(graph: dict[str, list[str]]) -> None:
    known = lessons(**{name: tuple(before) for name, before in graph.items()})
    assert sorted(course_of(known).lessons) == sorted(NAMES)


def test_order_made_from_prerequisites_goes_by_topic_where_it_is_free() -> None:
    known = {one.id: one for one in (lesson("x"), lesson("late", topic=9), lesson("early", "late", topic=1))}
    assert course_of(known).lessons == ("late", "early", "x")


def test_no_lessons_make_an_empty_course() -> None:
    assert course_of({}) == Course("all lessons", "All lessons", ())


def test_course_that_came_with_the_bench_fits_its_lessons() -> None:
    known = read_lessons()
    course = read_course(known)
    assert course_problems(course, known) == []
    assert set(course.lessons) == set(known)
    assert all(isinstance(group, CourseGroup) for group in course.groups)
