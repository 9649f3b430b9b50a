"""The languages of the bench: which one it speaks, and the files that hold each one's texts.

Contents: `LANGUAGE`, `ENGLISH`, `SIM`, `LanguageTexts`, `language_texts` (what a language's files say), `flat_texts`,
`browser_json` (the same as one file for the browser), `overlay_texts`, `WORDS_FOLDER`.

The page's own texts stand in ``words/LANGUAGE.toml`` beside the package, every key of English in every language. The
texts of a data file, such as ``lessons/tracking-and-guide.toml``, stand in ``lessons/LANGUAGE/`` under the same name
(see `bandbench.bench.overlays`); a file that has none there is shown in English as a whole.

In the browser there are no such files: English comes with the program, and the worker fetches what `browser_json`
makes of another language before Python starts. A process speaks one language, which the environment fixes.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import bandbench
from bandbench.bench.datafiles import FOLDER, read_toml
from sim import wording
from sim.errors import BandbenchError

__all__ = [
    "ENGLISH",
    "LANGUAGE",
    "SIM",
    "WORDS_FOLDER",
    "LanguageError",
    "LanguageTexts",
    "browser_json",
    "flat_texts",
    "language_texts",
    "overlay_texts",
    "speak",
]

ENGLISH = "en"
"""The language every text is written in first."""

SIM = "sim."
"""What the keys of `sim`'s own texts begin with in a language's table."""

WORDS_FOLDER = Path(bandbench.__file__).parents[1] / "words"

LANGUAGE = os.environ.get("BANDBENCH_LANGUAGE") or ENGLISH
"""The language of this process, a key of `sim.training.assignment.LANGUAGES`."""


class LanguageError(BandbenchError):
    """A language's texts cannot be had, or cannot be used as they are written."""


@dataclass(frozen=True)
class LanguageTexts:
    """What a language's files say.

    Attributes
    ----------
    words : mapping of str to str
        The page's own texts and `sim`'s, by key.
    data : mapping of str to mapping of str to str
        Texts of data files by the file's path under ``lessons`` and their key in it (see `bandbench.bench.overlays`).
    """

    words: Mapping[str, str]
    data: Mapping[str, Mapping[str, str]]


def flat_texts(table: Mapping[str, object], source_name: str) -> dict[str, str]:
    """Return the texts of a nested table by their whole key, the parts joined by dots.

    Raises
    ------
    LanguageError
        If it holds anything else than texts.

    Examples
    --------
    >>> flat_texts({"controls": {"reset": "Reset"}}, "en.toml")
    {'controls.reset': 'Reset'}
    """
    found: dict[str, str] = {}
    for key, value in table.items():
        if isinstance(value, Mapping):
            found |= {f"{key}.{rest}": text for rest, text in flat_texts(value, source_name).items()}
        elif isinstance(value, str):
            found[key] = value
        else:
            raise LanguageError(f"{source_name}, {key}: {value!r} is no text. Put it in quotation marks.")
    return found


@lru_cache(maxsize=4)
def language_texts(language: str = LANGUAGE) -> LanguageTexts:
    """Return what the files of a language say.

    Raises
    ------
    LanguageError
        If there is no such language, or a file of it holds anything else than texts.
    """
    source, sent = WORDS_FOLDER / f"{language}.toml", WORDS_FOLDER / f"{language}.json"
    if source.is_file():
        words = flat_texts(read_toml(source.read_text("utf-8")), source.name)
        if language == ENGLISH:
            return LanguageTexts(words | {f"{SIM}{key}": text for key, text in wording.ENGLISH.items()}, {})
        return LanguageTexts(words, overlay_texts(language))
    if sent.is_file():
        return LanguageTexts(**json.loads(sent.read_text("utf-8")))
    raise LanguageError(f"There are no texts in {language!r}: {source.name} is not in the folder words.")


def speak() -> None:
    """Let `sim` say its texts in the bench's language; to be called before anything else of it is imported."""
    if LANGUAGE != ENGLISH:
        words = language_texts().words
        wording.install({key.removeprefix(SIM): text for key, text in words.items() if key.startswith(SIM)})


def overlay_texts(language: str, folder: Path = FOLDER) -> dict[str, dict[str, str]]:
    """Return the texts that a language has of a folder's data files, by file and key."""
    found = {}
    root = folder / language
    for path in sorted(root.rglob("*.toml")):
        name = path.relative_to(root).as_posix()
        texts = read_toml(path.read_text("utf-8")).get("texts")
        if not isinstance(texts, Mapping):
            raise LanguageError(f"{language}/{name} has no table [texts].")
        found[name] = flat_texts(texts, f"{language}/{name}")
    return found


def browser_json(language: str) -> str:
    """Return a language's texts as one file of JSON, as `language_texts` reads it in the browser."""
    texts = language_texts(language)
    # `sim` has its English texts itself.
    words = {key: text for key, text in texts.words.items() if language != ENGLISH or not key.startswith(SIM)}
    return json.dumps({"words": words, "data": texts.data}, ensure_ascii=False, separators=(",", ":"))
