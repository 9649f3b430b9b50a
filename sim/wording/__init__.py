"""Every text of `sim` that a learner or an instructor may see, by key, in the language that is spoken.

Contents: `wording`, `unit_words`, `install`, `ENGLISH`, `WordingError`.

`sim` reads no files: its English texts stand in the tables beside this one. Whoever shows them in another language
installs that language's texts first. Names that stand in declarations (a control's label) are taken from here when
their module is imported, so the language is chosen once, before anything is said. Nothing that is logged, stored or
compared may hold a text from here; what only programmers read (errors of calls), and what only the command line says,
is English in place.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from sim.wording.controls import CONTROL_TEXTS
from sim.wording.lessonproblems import LESSON_PROBLEM_TEXTS
from sim.wording.readings import READING_TEXTS
from sim.wording.refusals import REFUSAL_TEXTS
from sim.wording.signals import SIGNAL_TEXTS
from sim.wording.training import TRAINING_TEXTS

__all__ = ["ENGLISH", "WordingError", "install", "unit_words", "wording"]

ENGLISH: Mapping[str, str] = MappingProxyType(
    {
        **CONTROL_TEXTS,
        **LESSON_PROBLEM_TEXTS,
        **READING_TEXTS,
        **REFUSAL_TEXTS,
        **SIGNAL_TEXTS,
        **TRAINING_TEXTS,
    }
)
"""The English texts."""

_spoken: dict[str, str] = dict(ENGLISH)
_said = False


class WordingError(Exception):
    """Texts that cannot be installed: some are missing, or others have been said already."""


def install(texts: Mapping[str, str]) -> None:
    """Say everything in another language from now on.

    Parameters
    ----------
    texts : mapping of str to str
        A text for every key of `ENGLISH`, with the same placeholders.

    Raises
    ------
    WordingError
        If keys are missing or strange, or if a text has been said already, which could no longer be taken back.
    """
    missing, strange = sorted(set(ENGLISH) - set(texts)), sorted(set(texts) - set(ENGLISH))
    if missing or strange:
        raise WordingError(
            f"the texts lack {missing[:5]} and have {strange[:5]} too much; give each key of ENGLISH once"
        )
    if _said:
        raise WordingError("texts have been said already; install a language before other modules of sim are imported")
    _spoken.update(texts)


def wording(key: str, **values: object) -> str:
    """Return a text, filled in if values are given.

    Examples
    --------
    >>> wording("readings.hue_head", head=2)
    'Hue of head 2'
    """
    global _said
    _said = True
    text = _spoken[key]
    return text.format(**values) if values else text


def unit_words(unit: str) -> str:
    """Return a unit as people read it: those that are words in the language that is spoken, others as they are.

    Examples
    --------
    >>> unit_words("dropouts"), unit_words("dB")
    ('dropouts', 'dB')
    """
    key = f"unit.{re.sub(r'[^a-z]+', '_', unit.lower())}"
    return wording(key) if key in ENGLISH else unit
