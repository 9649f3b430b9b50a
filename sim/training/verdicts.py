"""What a log was worth, kept under a name that says all it was computed from: so that it need not be computed twice.

Contents: `VerdictKeys` (the name of a log's verdict), `verdict_text`, `verdict_from_text` (a verdict as it is kept).

The name is a digest of the log as it was read, the lesson as it is here and the program; nothing that a file states of
its own result or digests goes into it. Whoever keeps verdicts keeps only what this program has computed; what comes
back in another form, or under another name than it was kept under, is none.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from hashlib import blake2b

from sim.faults import FaultSpec
from sim.training.attempt import Attempt
from sim.training.lesson import Lesson
from sim.training.rescore import ItemResult, Worth

__all__ = ["VerdictKeys", "verdict_from_text", "verdict_text"]

_ITEMS = ("checks", "questions")
_TEXTS = ("refused", "reason")


class VerdictKeys:
    """The names of verdicts.

    Parameters
    ----------
    program : str
        What tells this program from every other one that may score otherwise: its version, NumPy's, the processor.
    lessons : iterable of Lesson
        Lessons as they are here: a changed one has other names, even if it says the same version.
    faults : mapping of str to FaultSpec
        The fault catalogue.
    """

    def __init__(self, program: str, lessons: Iterable[Lesson], faults: Mapping[str, FaultSpec]) -> None:
        common = f"{program}\n{list(faults.items())!r}\n"
        self._of_lesson = {
            (lesson.id, lesson.version): _digest(f"{common}{replace(lesson, source='')!r}") for lesson in lessons
        }

    def key(self, attempt: Attempt) -> str | None:
        """Return the name of the verdict on a log; None if its lesson is not here."""
        lesson = self._of_lesson.get((attempt.lesson_id, attempt.lesson_version))
        if lesson is None:
            return None
        return _digest(f"{lesson}\n{json.dumps(attempt.to_data(), sort_keys=True, allow_nan=False)}")


def _digest(text: str) -> str:
    return blake2b(text.encode("utf-8", "surrogatepass"), digest_size=20).hexdigest()


def verdict_text(key: str, worth: Worth) -> str:
    """Return what a log is worth as text, with the name that it is kept under."""
    data = {field.name: getattr(worth, field.name) for field in fields(Worth)}
    for name in _ITEMS:
        data[name] = [[item.name, item.passed, item.given] for item in data[name]]
    return json.dumps({"key": key, **data})


def verdict_from_text(key: str, text: str) -> Worth | None:
    """Return what was kept under a name; None if it is damaged, or was kept under another one."""
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        return None
    names = {field.name for field in fields(Worth)}
    if not isinstance(data, dict) or data.keys() != names | {"key"} or data.pop("key") != key:
        return None
    for name in names:
        value = data[name]
        if name in _ITEMS:
            if not isinstance(value, list) or not all(map(_is_item, value)):
                return None
            data[name] = tuple(ItemResult(*item) for item in value)
        elif name == "impossible":
            if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
                return None
            data[name] = tuple(value)
        elif not isinstance(value, str if name in _TEXTS else bool):
            return None
    return Worth(**data)


def _is_item(item: object) -> bool:
    return isinstance(item, list) and [type(part) for part in item] == [str, bool, str]
