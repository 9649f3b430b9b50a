"""Every text of the bench's own, by key, in the language it speaks. The texts stand in ``words/LANGUAGE.toml``.

Contents: `WORDS`, `say` and `words_of`. ``{name}`` is filled in.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from bandbench.bench.languages import language_texts

__all__ = ["WORDS", "say", "words_of"]

WORDS: Mapping[str, str] = MappingProxyType(dict(language_texts().words))


def say(key: str, **values: object) -> str:
    """Return a text, filled in."""
    return WORDS[key].format(**values)


def words_of(prefix: str) -> dict[str, str]:
    """Return the texts whose keys begin with ``prefix.``, by the rest of their key."""
    return dict(_words_of(prefix))


@cache
def _words_of(prefix: str) -> Mapping[str, str]:
    lead = f"{prefix}."
    return {key[len(lead) :]: text for key, text in WORDS.items() if key.startswith(lead)}
