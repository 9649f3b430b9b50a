"""What the page shows before any script runs: the first lesson's text, and a picture from the simulated recorder."""

from __future__ import annotations

import html
import io
import re

from bandbench.picture_files import picture_image
from sim.instruments import describe_picture, picture
from sim.recorder import Recorder
from sim.training.lesson import Lesson

__all__ = ["lesson_html", "still_picture"]

_STILL_CONTROLS = {"guide_position_um": 40.0}
"""A guide too far in: the still shows at once what the bench is about, the lean of the bands."""
_SCREEN_ASPECT = 4 / 3


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
