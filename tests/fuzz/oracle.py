"""What may become of spoilt input: it is taken as it says, or refused in words that help. Nothing else.

Contents: `Finding`, `Refused`, `refusals`, `same`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sim.errors import BandbenchError
from sim.training.reader import DataError

__all__ = ["Finding", "Refused", "refusals", "same", "unmarked"]

_ROOT = str(Path(__file__).parents[2])
_SHORTEST_REFUSAL = 13


class Finding(AssertionError):
    """Something that spoilt input must not do."""


class Refused(Exception):
    """The input was refused as it should be."""


@contextmanager
def refusals(*others: type[Exception]) -> Iterator[None]:
    """Turn a refusal that a person can act on into `Refused`; one that nobody can act on is a `Finding`."""
    expected: tuple[type[Exception], ...] = (BandbenchError, *others)
    try:
        yield
    except expected as error:
        check_words(error)
        raise Refused from None


def check_words(error: Exception) -> None:
    """Fail unless a refusal says what is wrong, and for data where and what to do as well."""
    text = str(error)
    if len(text) < _SHORTEST_REFUSAL or "Traceback" in text or _ROOT in text:
        raise Finding(f"refused in words that do not help: {text!r}")
    # Every text is written somewhere: to the page, a file or a terminal.
    text.encode("utf-8", "backslashreplace")
    if isinstance(error, DataError):
        problem = error.problem
        for part in (problem.source, problem.key, problem.reason, problem.remedy):
            if not part.strip():
                raise Finding(f"a refusal leaves out what, where or what to do: {problem!r}")


def same(what: str, one: object, other: object) -> None:
    """Fail unless what was read is what is read again from what was written."""
    if one != other:
        raise Finding(f"{what}: comes back as something else: {one!r:.400} as {other!r:.400}")


def unmarked(html: str) -> None:
    """Fail if text of a file has become markup."""
    if "<script>alert" in html.casefold():
        raise Finding("text of a file has become markup")
