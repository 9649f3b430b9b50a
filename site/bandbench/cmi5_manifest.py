"""The course structure of a cmi5 package: the course's groups as blocks, each lesson an assignable unit of its own.

All units share the one page of the package; which lesson is launched stands in the query of its address.
"""

from __future__ import annotations

from urllib.parse import urlencode
from xml.etree import ElementTree

from bandbench.package import START, Packaged
from sim.training.lesson import Lesson
from sim.training.statements import LANGUAGE, SITE, lesson_iri

__all__ = ["MANIFEST_NAME", "NAMESPACE", "manifest_files"]

MANIFEST_NAME = "cmi5.xml"

# QUOTED, cmi5 (Quartz, first edition), section 13: namespace, elements and their order.
NAMESPACE = "https://w3id.org/xapi/profiles/cmi5/v1/CourseStructure.xsd"
"""Namespace of the course structure, and its schema's name."""
_MOVE_ON = "Passed"
# A pass takes every check and every answer (`sim.training.score`): the whole score.
_MASTERY_SCORE = "1"
_ACTIVITY_TYPE = "http://adlnet.gov/expapi/activities/simulation"


def manifest_files(packaged: Packaged) -> dict[str, bytes]:
    """Return ``cmi5.xml`` by its name."""
    root = ElementTree.Element("courseStructure", {"xmlns": NAMESPACE})
    course_id = f"{lesson_iri(packaged.lesson.id)}/course" if packaged.lesson else f"{SITE}/course"
    course = ElementTree.SubElement(root, "course", {"id": course_id})
    about = " ".join(packaged.lesson.objectives) if packaged.lesson else packaged.course.title
    _texts(course, packaged.title, about)
    if packaged.lesson:
        _unit(root, packaged.lesson)
    else:
        inside = {lesson.id: lesson for lesson in packaged.lessons}
        grouped = set()
        for group in packaged.course.groups:
            block = ElementTree.SubElement(root, "block", {"id": f"{SITE}/course/{group.name}"})
            _texts(block, group.title, group.text)
            for name in group.lessons:
                _unit(block, inside[name])
                grouped.add(name)
        for name, lesson in inside.items():
            if name not in grouped:
                _unit(root, lesson)
    ElementTree.indent(root)
    return {MANIFEST_NAME: ElementTree.tostring(root, "utf-8", xml_declaration=True)}


def _unit(parent: ElementTree.Element, lesson: Lesson) -> None:
    unit = ElementTree.SubElement(
        parent,
        "au",
        {
            "id": lesson_iri(lesson.id),
            "moveOn": _MOVE_ON,
            "masteryScore": _MASTERY_SCORE,
            "launchMethod": "AnyWindow",
            "activityType": _ACTIVITY_TYPE,
        },
    )
    _texts(unit, lesson.title, " ".join(lesson.objectives))
    ElementTree.SubElement(unit, "url").text = f"{START}?{urlencode({'lesson': lesson.id})}"


def _texts(parent: ElementTree.Element, title: str, description: str) -> None:
    for name, text in (("title", title), ("description", description)):
        element = ElementTree.SubElement(parent, name)
        ElementTree.SubElement(element, "langstring", {"lang": LANGUAGE}).text = " ".join(text.split())
