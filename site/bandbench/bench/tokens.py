"""The tokens of the look (``tokens.css``), for whatever cannot read a style sheet: figures, pictures of screens, tests.

Contents: `SCHEMES`, `TOKENS` and `colour_of`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Literal

__all__ = ["SCHEMES", "TOKENS", "colour_of"]

Scheme = Literal["light", "dark"]
SCHEMES: tuple[Scheme, ...] = ("light", "dark")
"""The two schemes of colours."""

_DECLARATION = re.compile(r"--([a-z0-9-]+):\s*([^;]+);")
_BOTH = re.compile(r"light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)")
_COLOUR = re.compile(r"#[0-9a-f]{6}")


def _declared() -> dict[str, str]:
    text = Path(__file__).with_name("tokens.css").read_text("utf-8")
    # What is declared first holds on a screen; paper comes after it.
    return dict(reversed(_DECLARATION.findall(text)))


TOKENS: Mapping[str, str] = MappingProxyType(_declared())
"""Every token by its name without the dashes, as the style sheet declares it for a screen."""


def colour_of(name: str, scheme: Scheme = "dark") -> str:
    """Return a token's colour.

    Parameters
    ----------
    name : str
        A token that is one colour, or one for each scheme.
    scheme : {"light", "dark"}
        Which, where there are two.

    Returns
    -------
    str
        ``#rrggbb``.

    Raises
    ------
    KeyError
        If there is no such token.
    ValueError
        If it is no opaque colour.

    Examples
    --------
    >>> colour_of("ink", "light") == colour_of("ink", "dark")
    False
    """
    declared = TOKENS[name]
    both = _BOTH.fullmatch(declared)
    if both:
        return both[1] if scheme == "light" else both[2]
    if not _COLOUR.fullmatch(declared):
        raise ValueError(f"the token {name} is no opaque colour but {declared}")
    return declared
