"""What the page shows before any script runs: its own texts, the first lesson's, and a picture from the recorder.

Contents: `with_texts`, `words_json`, `lesson_html`, `still_picture`.
"""

from __future__ import annotations

import html
import io
import json
import re
from collections.abc import Mapping

from bandbench.picture_files import picture_image
from sim.instruments import describe_picture, picture
from sim.recorder import Recorder
from sim.training.assignment import LANGUAGES
from sim.training.lesson import Lesson

__all__ = ["PAGE_PREFIXES", "lesson_html", "still_picture", "with_texts", "words_json"]

PAGE_PREFIXES = ("page.", "console.", "script.", "desk.")
"""Of the texts' keys, those that the two pages and their own scripts use; Python gives its parts all others."""

_ELEMENT = re.compile(r"<(?P<tag>\w+)(?P<attributes>[^<>]*\sdata-word=\"(?P<key>[\w.]+)\"[^<>]*)></(?P=tag)>")
_ATTRIBUTE = re.compile(r'data-word-(?P<attribute>label|content)="(?P<key>[\w.]+)"')
_VALUE = re.compile(r'data-(\w+)="([^"]*)"')
_NAMES = {"label": "aria-label", "content": "content"}

_STILL_CONTROLS = {"guide_position_um": 40.0}
"""A guide too far in: the still shows at once what the bench is about, the lean of the bands."""
_SCREEN_ASPECT = 4 / 3


def with_texts(page: str, words: Mapping[str, str]) -> str:
    """Return a page with its texts filled in: of every element that names one, and of attributes.

    Parameters
    ----------
    page : str
        HTML. ``data-word="KEY"`` of an element without content asks for its text, ``data-word-label`` for an
        ``aria-label``, ``data-word-content`` for ``content``; other ``data-`` attributes are values for the text.
    words : mapping of str to str
        Texts by key.
    """

    def element(match: re.Match[str]) -> str:
        tag, attributes = match["tag"], match["attributes"]
        text = words[match["key"]].format(**dict(_VALUE.findall(attributes)))
        return f"<{tag}{attributes}>{html.escape(text, quote=False)}</{tag}>"

    def attribute(match: re.Match[str]) -> str:
        return f'{match[0]} {_NAMES[match["attribute"]]}="{html.escape(words[match["key"]])}"'

    return _ATTRIBUTE.sub(attribute, _ELEMENT.sub(element, page))


def words_json(words: Mapping[str, str], addresses: Mapping[str, str]) -> str:
    """Return what a page's scripts know of languages, as JSON that may stand in HTML.

    Parameters
    ----------
    words : mapping of str to str
        English texts by key; those with one of `PAGE_PREFIXES` are taken.
    addresses : mapping of str to str
        Where the texts of each other language are.
    """
    english = {key: text for key, text in words.items() if key.startswith(PAGE_PREFIXES)}
    known = {"english": english, "names": dict(LANGUAGES), "addresses": dict(addresses)}
    return json.dumps(known, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")


def lesson_html(lesson: Lesson) -> str:
    """Return the lesson's title, briefing and objectives as HTML.

    Parameters
    ----------
    lesson : Lesson
        Its texts are taken as Markdown; paragraphs, ``**strong**`` and ```names``` are what lessons use.
    """
    objectives = "".join(f"<li>{_inline(text)}</li>" for text in lesson.objectives)
    return f"<h2>{_inline(lesson.title)}</h2>{_prose(lesson.briefing)}<ul>{objectives}</ul>"


def still_picture(lesson: Lesson) -> tuple[bytes, str]:
    """Return a picture as the lesson's tape gives it on a recorder out of line, as PNG, and what it shows in words.

    Parameters
    ----------
    lesson : Lesson
        Names standard, practice, tape and signal.
    """
    recorder = Recorder(
        standard=lesson.standard,
        practice=lesson.practice,
        tape=lesson.tape,
        signal=lesson.signal,
        controls=_STILL_CONTROLS,
    )
    frame = recorder.play_frame(0)
    png = io.BytesIO()
    picture_image(picture(frame), _SCREEN_ASPECT).save(png, "PNG", optimize=True)
    return png.getvalue(), describe_picture(frame)


def _prose(text: str) -> str:
    return "".join(f"<p>{_inline(paragraph)}</p>" for paragraph in re.split(r"\n\s*\n", text.strip()))


def _inline(text: str) -> str:
    escaped = html.escape(re.sub(r"\s+", " ", text.strip()))
    strong = re.sub(r"\*\*([^*]+)\*\*", r"<strong>\1</strong>", escaped)
    return re.sub(r"`([^`]+)`", r"<em>\1</em>", strong)
