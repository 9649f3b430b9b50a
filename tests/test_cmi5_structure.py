"""The course structure of a cmi5 package: by the schema, and by what the specification's text asks for beyond it."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from lxml import etree

from bandbench.bench.lessons import read_course, read_lessons
from bandbench.cmi5_manifest import MANIFEST_NAME, NAMESPACE, manifest_files
from bandbench.package import START, Packaged

LESSONS = read_lessons()
COURSE = read_course(LESSONS)
SPACE = f"{{{NAMESPACE}}}"
SCHEMA = etree.XMLSchema(etree.parse(str(Path(__file__).with_name("cmi5_course_structure.xsd"))))

TEXTS = "<title><langstring lang='en-GB'>a</langstring></title><description><langstring>b</langstring></description>"
COURSE_ELEMENT = f"<course id='https://school.example/course'>{TEXTS}</course>"
UNIT = f"<au id='https://school.example/1'>{TEXTS}<url>index.html?lesson=1</url></au>"
OBJECTIVES = f"<objectives><objective id='https://school.example/o'>{TEXTS}</objective></objectives>"
REFERENCES = "<objectives><objective idref='https://school.example/o'/></objectives>"


def document(inside: str, more: str = "") -> etree._Element:
    return etree.fromstring(
        f"<courseStructure xmlns='{NAMESPACE}' xmlns:v='https://v.example/' {more}>{inside}</courseStructure>"
    )


def manifest(lesson: str | None = None) -> etree._Element:
    chosen = LESSONS[lesson] if lesson else None
    inside = (chosen,) if chosen else tuple(LESSONS[name] for name in COURSE.lessons)
    return etree.fromstring(manifest_files(Packaged(COURSE, inside, chosen, (START,), "0123abcd"))[MANIFEST_NAME])


# Source: cmi5, section 13.2 (schema) and the examples of section 15: one unit; blocks in blocks, objectives, several
# languages, parameters; a vendor's elements. Written anew for these tests.
GOOD = {
    "simple": COURSE_ELEMENT + UNIT,
    "spaces around the address": COURSE_ELEMENT + UNIT.replace("index.html", "\n index.html"),
    "objectives": COURSE_ELEMENT + OBJECTIVES + UNIT.replace("<url>", f"{REFERENCES}<url>"),
    "blocks in blocks": (
        f"{COURSE_ELEMENT}{UNIT}<block id='https://school.example/b'>{TEXTS}{REFERENCES}"
        f"<block id='https://school.example/c'>{TEXTS}{UNIT}</block>{UNIT}</block>"
    ),
    "all that a unit may say": COURSE_ELEMENT
    + UNIT.replace(
        "<au ",
        "<au moveOn='CompletedOrPassed' masteryScore='0.8500' launchMethod='OwnWindow' "
        "activityType='https://a.example/' ",
    ).replace("</au>", "<launchParameters>{'a': 1}</launchParameters><entitlementKey/></au>"),
    "an empty text": (COURSE_ELEMENT + UNIT).replace(">a<", "><"),
    "a vendor's elements": COURSE_ELEMENT.replace("</course>", "<v:level v:a='1'/></course>")
    + UNIT.replace("</au>", "<v:level/></au>").replace("<au ", "<au v:level='2' ")
    + "<v:levels/>",
}
BAD = {
    "no course": UNIT,
    "no unit": COURSE_ELEMENT,
    "a unit before the course": UNIT + COURSE_ELEMENT,
    "objectives behind the units": COURSE_ELEMENT + UNIT + OBJECTIVES,
    "an empty block": f"{COURSE_ELEMENT}<block id='https://school.example/b'>{TEXTS}</block>",
    "no title": COURSE_ELEMENT + UNIT.replace("title>", "name>"),
    "description before title": COURSE_ELEMENT.replace(TEXTS, TEXTS[TEXTS.index("<description") :] + "<title/>") + UNIT,
    "a title without a language string": COURSE_ELEMENT.replace("<langstring lang='en-GB'>a</langstring>", "a") + UNIT,
    "no such language": COURSE_ELEMENT.replace("en-GB", "British English") + UNIT,
    "no address": COURSE_ELEMENT + UNIT.replace("<url>index.html?lesson=1</url>", ""),
    "an empty address": COURSE_ELEMENT + UNIT.replace("index.html?lesson=1", ""),
    "parameters before the address": COURSE_ELEMENT + UNIT.replace("<url>", "<launchParameters/><url>"),
    "no id": COURSE_ELEMENT + UNIT.replace("id=", "activityType="),
    "an objective without a description": COURSE_ELEMENT
    + re.sub("<description.*?</description>", "", OBJECTIVES)
    + UNIT,
    "a vendor's element before ours": COURSE_ELEMENT + UNIT.replace("<title>", "<v:level/><title>"),
    "an element of ours that is none": COURSE_ELEMENT + UNIT.replace("</au>", "<level/></au>"),
    "another name space": (COURSE_ELEMENT + UNIT).replace("<course ", "<course xmlns='https://v.example/' "),
    **{
        f"{name}={value}": COURSE_ELEMENT + UNIT.replace("<au ", f"<au {name}='{value}' ")
        for name, value in (
            ("moveOn", "passed"),
            ("masteryScore", "1.5"),
            ("masteryScore", "-0.1"),
            ("masteryScore", "80%"),
            ("launchMethod", "Tab"),
            ("level", "2"),
        )
    },
}


@pytest.mark.parametrize("name", GOOD)
def test_the_schema_takes_what_the_specification_shows(name: str) -> None:
    assert SCHEMA.validate(document(GOOD[name])), SCHEMA.error_log


@pytest.mark.parametrize("name", BAD)
def test_the_schema_refuses_what_the_specification_does_not_allow(name: str) -> None:
    assert not SCHEMA.validate(document(BAD[name]))


def spoken_problems(root: etree._Element, files: set[str]) -> list[str]:
    """Return what breaks the rules that the specification states in words.

    Source: cmi5, section 3.0 (IRIs are whole), 13.1 (ids are unique; four decimals), 13.1.4 (``url`` and the names of a
    launch, section 8.1), 14.1 (what is inside is asked for by a relative address).
    """
    problems = []
    named = list(root.iter(*(f"{SPACE}{name}" for name in ("course", "block", "au"))))
    ids = [element.get("id") for element in named]
    problems += [f"{one} stands twice" for one in set(ids) if ids.count(one) > 1]
    iris = [*ids, *(unit.get("activityType") for unit in root.iter(f"{SPACE}au") if unit.get("activityType"))]
    problems += [f"{one} is no whole IRI" for one in iris if not re.match(r"[A-Za-z][A-Za-z0-9+.-]*:.", one)]
    for unit in root.iter(f"{SPACE}au"):
        address = urlsplit(unit.findtext(f"{SPACE}url"))
        if address.scheme or address.netloc or address.path not in files:
            problems.append(f"{address.geturl()} is nothing inside")
        if re.search(r"(^|&)(endpoint|fetch|actor|registration|activityId)=", address.query):
            problems.append(f"{address.geturl()} takes a name of the launch")
        exponent = Decimal(unit.get("masteryScore", "0")).as_tuple().exponent
        if not isinstance(exponent, int) or exponent < -4:
            problems.append(f"{unit.get('masteryScore')} has more than four decimals")
    return problems


@pytest.mark.parametrize("lesson", [None, "tracking-and-guide"])
def test_the_course_structure_of_a_package_is_valid(lesson: str | None) -> None:
    # The built file was also held against the specification's own schema; see the head of the schema here.
    root = manifest(lesson)
    assert SCHEMA.validate(root), SCHEMA.error_log
    assert spoken_problems(root, {START}) == []
    for element in root.iter(f"{SPACE}title", f"{SPACE}description"):
        text = element.findtext(f"{SPACE}langstring")
        assert text == text.strip() != ""


def test_the_rules_in_words_are_held_too() -> None:
    for attribute, value in (("id", "no-scheme"), ("masteryScore", "0.12345"), ("activityType", "simulation")):
        root = manifest("tracking-and-guide")
        root.find(f".//{SPACE}au").set(attribute, value)
        assert SCHEMA.validate(root)
        assert len(spoken_problems(root, {START})) == 1
    for address in ("https://school.example/index.html", "other.html", "index.html?fetch=1"):
        root = manifest("tracking-and-guide")
        root.find(f".//{SPACE}url").text = address
        assert len(spoken_problems(root, {START})) == 1
    root = manifest()
    for unit in root.iter(f"{SPACE}au"):
        unit.set("id", "https://school.example/1")
    assert spoken_problems(root, {START}) == ["https://school.example/1 stands twice"]
