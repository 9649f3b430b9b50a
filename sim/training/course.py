"""The course: which lessons there are, in which order, and what comes before what.

Contents: `Course`, `CourseGroup`, `CourseError`, `parse_course` (reads ``lessons/course.toml``), `course_problems`
(whether it fits the lessons), `course_of` (an order made from the prerequisites alone).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sim.training.lesson import Lesson
from sim.training.parts import IDENTIFIER
from sim.training.reader import DataError, Problem, file_table

__all__ = [
    "COURSE_FORMAT_VERSION",
    "Course",
    "CourseError",
    "CourseGroup",
    "course_of",
    "course_problems",
    "parse_course",
]

COURSE_FORMAT_VERSION = 1
"""The format of course files this parser reads."""


class CourseError(DataError):
    """A course cannot be used as it is written."""


@dataclass(frozen=True)
class CourseGroup:
    """Lessons that belong together: name, heading, a sentence or two, and the lessons' ids in order."""

    name: str
    title: str
    text: str
    lessons: tuple[str, ...]


@dataclass(frozen=True)
class Course:
    """Groups of lessons in the order they are best done in."""

    source: str
    title: str
    groups: tuple[CourseGroup, ...]

    @property
    def lessons(self) -> tuple[str, ...]:
        """Ids of all lessons, in order."""
        return tuple(lesson for group in self.groups for lesson in group.lessons)


def parse_course(data: object, source_name: str) -> Course:
    """Return the course that `data` describes, as a TOML or JSON parser gives it.

    Raises
    ------
    CourseError
        At the first thing that is not as a course must be; the error names file, key, reason and remedy.
    """
    top = file_table(data, source_name, CourseError, ("format_version", "title", "groups"), COURSE_FORMAT_VERSION)
    groups: list[CourseGroup] = []
    seen: set[str] = set()
    for place, table in enumerate(top.tables("groups", ("name", "title", "text", "lessons"), 1), start=1):
        group = CourseGroup(
            name=table.text("name", IDENTIFIER),
            title=table.text("title"),
            text=table.text("text"),
            lessons=table.texts("lessons", 1, unique=True, pattern=IDENTIFIER),
        )
        if group.name in [other.name for other in groups]:
            raise top.refusal(f"groups[{place}].name", f"{group.name!r} names two groups", "Give each its own name.")
        for number, lesson in enumerate(group.lessons, start=1):
            if lesson in seen:
                raise table.refusal(f"lessons[{number}]", f"{lesson!r} is in the course already", "List it once.")
            seen.add(lesson)
        groups.append(group)
    return Course(source_name, top.text("title"), tuple(groups))


def course_problems(course: Course, lessons: Mapping[str, Lesson]) -> list[Problem]:
    """Return what does not fit: lessons that are not there or not listed, and prerequisites that come later."""
    problems = []

    def add(source: str, key: str, reason: str, remedy: str) -> None:
        problems.append(Problem(source, key, reason, remedy))

    listed = course.lessons
    for place, group in enumerate(course.groups, start=1):
        for number, name in enumerate(group.lessons, start=1):
            if name not in lessons:
                key = f"groups[{place}].lessons[{number}]"
                add(course.source, key, f"there is no lesson {name!r}", "Use the 'id' of a lesson, or remove it.")
    for name, lesson in lessons.items():
        if name not in listed:
            add(course.source, "groups", f"lesson {name!r} is in no group", "Add it where it belongs.")
        for place, before in enumerate(lesson.prerequisites, start=1):
            key = f"prerequisites[{place}]"
            if before not in lessons:
                add(lesson.source, key, f"there is no lesson {before!r}", "Use the 'id' of a lesson.")
            elif before == name or _leads_to(before, name, lessons):
                add(lesson.source, key, f"{before!r} needs {name!r} itself", "Remove one of the two prerequisites.")
            elif before in listed and name in listed and listed.index(before) > listed.index(name):
                add(lesson.source, key, f"{before!r} comes later in the course", "Change the order in the course.")
    return problems


def _leads_to(name: str, wanted: str, lessons: Mapping[str, Lesson]) -> bool:
    """Tell whether `wanted` is among the prerequisites of `name`, or among theirs."""
    waiting, seen = [name], {name}
    while waiting:
        lesson = lessons.get(waiting.pop())
        for before in lesson.prerequisites if lesson else ():
            if before == wanted:
                return True
            if before not in seen:
                seen.add(before)
                waiting.append(before)
    return False


def course_of(lessons: Mapping[str, Lesson], title: str = "All lessons") -> Course:
    """Return a course of one group: all lessons, each after its prerequisites, by topic as far as these allow.

    For lessons that no course file orders, such as one being written. Prerequisites that are not there, or that need
    one another, hold nothing up.
    """

    def rank(lesson: Lesson) -> tuple[float, str]:
        return (lesson.topic if isinstance(lesson.topic, int) else float("inf"), lesson.id)

    order: list[str] = []
    waiting = sorted(lessons.values(), key=rank)
    while waiting:
        ready = [
            lesson for lesson in waiting if all(name in order or name not in lessons for name in lesson.prerequisites)
        ]
        chosen = (ready or waiting)[0]
        order.append(chosen.id)
        waiting.remove(chosen)
    groups = (CourseGroup("all", title, title, tuple(order)),) if order else ()
    return Course("all lessons", title, groups)
