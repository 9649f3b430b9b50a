"""The lessons that came with the bench: read from the folder ``lessons`` beside the package `sim`.

Contents: `read_lessons`, `read_course`; `only_lesson` (one of them with a course of its own).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from bandbench.bench.datafiles import FOLDER, data_names, data_stamp, read_data
from bandbench.bench.faults import FAULTS
from bandbench.bench.overlays import data_language, shown_options, texts_of, translated
from sim.training.course import Course, CourseGroup, course_of, parse_course
from sim.training.lesson import Lesson, parse_lesson
from sim.training.references import require_names

__all__ = ["NOT_LESSONS", "only_lesson", "read_course", "read_lessons"]

_COURSE = "course.toml"
NOT_LESSONS = frozenset({_COURSE, "faults.toml", "glossary.toml"})
"""Files of the folder that hold other data."""


def read_lessons(folder: Path = FOLDER) -> dict[str, Lesson]:
    """Return the lessons of a folder by their id, in the order of their files' names.

    Raises
    ------
    LessonError
        If a file is not a lesson; names file, key, reason and remedy.
    """
    lessons = {}
    for name in data_names(folder):
        if name in NOT_LESSONS:
            continue
        lesson = _lesson_in(folder / name, data_stamp(folder / name))
        lessons[lesson.id] = lesson
    return lessons


@lru_cache(maxsize=128)
def _lesson_in(path: Path, _stamp: str) -> Lesson:
    """Return the lesson in a file; kept while the file is the same: whoever makes a second bench need not wait."""
    lesson = _with_options(parse_lesson(translated(path, read_data(path)), path.name), path)
    require_names(lesson, FAULTS)
    return lesson


def _with_options(lesson: Lesson, path: Path) -> Lesson:
    """Return a lesson in the language of its texts, with what is shown for the options of its questions."""
    texts = texts_of(path)
    if texts is None:
        return lesson
    questions = tuple(
        replace(one, shown=shown_options(one.name, len(one.options), texts)) if one.kind == "choice" else one
        for one in lesson.questions
    )
    return replace(lesson, questions=questions, language=data_language(path))


def read_course(lessons: Mapping[str, Lesson], folder: Path = FOLDER) -> Course:
    """Return the course of a folder; without a course file, the lessons in the order of their prerequisites.

    Raises
    ------
    CourseError
        If the file is not a course; names file, key, reason and remedy.
    """
    if _COURSE not in data_names(folder):
        return course_of(lessons)
    path = folder / _COURSE
    return parse_course(translated(path, read_data(path)), _COURSE)


def only_lesson(name: str, lessons: Mapping[str, Lesson], course: Course) -> tuple[dict[str, Lesson], Course]:
    """Return one lesson alone and the course with nothing else in it; what comes before it is then not asked for."""
    groups = tuple(
        CourseGroup(group.name, group.title, group.text, (name,)) for group in course.groups if name in group.lessons
    )
    return {name: lessons[name]}, Course(course.source, course.title, groups)
