"""Strict reading of plain tables (from TOML or JSON): every refusal names the file, the key and what to do.

Contents: `Problem`, `DataError` and its two kinds `LessonError` and `AttemptError`; `Table`, the reader that all data
files share, and `file_table`, a whole file of the one format that is read. Nothing here knows what a lesson is.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sim.errors import BandbenchError, known_names
from sim.wording import wording

__all__ = ["AttemptError", "DataError", "LessonError", "Problem", "Table", "file_table"]


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a data file.

    Attributes
    ----------
    source : str
        The file, or whatever the data came from, as a person would call it.
    key : str
        Path to the entry inside the file, counted from 1 as people count: ``checks[2].tolerance``.
    reason : str
        What is wrong there.
    remedy : str
        What to do about it.
    """

    source: str
    key: str
    reason: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.source}: {self.key}: {self.reason}. {self.remedy}"


# Keys of ours with their paths are shorter.
_LONGEST_KEY = 120


class DataError(BandbenchError):
    """A data file cannot be used; `problem` says where, why and what to do."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(str(problem))
        self.problem = problem


class LessonError(DataError):
    """A lesson cannot be used as it is written."""


class AttemptError(DataError):
    """An attempt log is damaged, foreign, or does not belong to the lesson."""


def _described(value: object) -> str:
    """Return a short readable form of a value for an error message."""
    if isinstance(value, Mapping):
        return wording("refusal.a_table")
    if isinstance(value, list):
        return wording("refusal.a_list", count=len(value))
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _shown_key(key: str) -> str:
    """Return a key as a person can see it; a file that is not ours may have any."""
    return key if key.isprintable() and key.strip() and len(key) <= _LONGEST_KEY else _described(key)


class Table:
    """One table of a data file, read key by key; the first problem raises.

    Parameters
    ----------
    value : object
        What the file holds there.
    source : str
        The file's name for messages.
    path : str
        Where the table lies in the file; empty for the whole file.
    error : type of DataError
        The error to raise.
    known : iterable of str
        Every key the table may have; any other is refused with this list. None means any key (a table of names).
    """

    def __init__(
        self, value: object, source: str, path: str, error: type[DataError], known: Iterable[str] | None
    ) -> None:
        self.source = source
        self.path = path
        self._error = error
        if not isinstance(value, Mapping):
            raise self.refusal("", wording("refusal.no_table", found=_described(value)), wording("refusal.no_table_do"))
        for key in value:
            if not isinstance(key, str):
                raise self.refusal(
                    "", wording("refusal.key_no_text", name=repr(key)), wording("refusal.key_no_text_do")
                )
        self._data: Mapping[str, object] = value
        if known is not None:
            allowed = tuple(known)
            for key in value:
                if key not in allowed:
                    raise self.refusal(
                        key,
                        wording("refusal.unknown_key"),
                        wording("refusal.unknown_key_do", keys=known_names(allowed)),
                    )

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def names(self) -> list[str]:
        """Return the keys in file order."""
        return list(self._data)

    def refusal(self, key: str, reason: str, remedy: str) -> DataError:
        """Return the error for `key` of this table (the table itself if `key` is empty); the caller raises it."""
        key = _shown_key(key) if key else ""
        where = f"{self.path}.{key}" if self.path and key else self.path or key or wording("refusal.whole_file")
        return self._error(Problem(self.source, where, reason, remedy))

    def _required(self, key: str) -> object:
        if key not in self._data:
            raise self.refusal(key, wording("refusal.missing"), wording("refusal.missing_do", name=key))
        return self._data[key]

    def value(self, key: str) -> object:
        """Return what stands under `key` as it is."""
        return self._required(key)

    def text(self, key: str, pattern: re.Pattern[str] | None = None) -> str:
        """Return a text that is more than blanks, matching the whole of `pattern` if one is given."""
        return self._text(key, self._required(key), pattern)

    def _text(self, key: str, value: object, pattern: re.Pattern[str] | None) -> str:
        if not isinstance(value, str):
            raise self.refusal(key, wording("refusal.no_text", found=_described(value)), wording("refusal.no_text_do"))
        if not re.search(r"\S", value):
            raise self.refusal(key, wording("refusal.empty_text"), wording("refusal.empty_text_do"))
        if pattern is not None and not pattern.fullmatch(value):
            raise self.refusal(
                key,
                wording("refusal.wrong_form", found=_described(value)),
                wording("refusal.wrong_form_do", pattern=pattern.pattern),
            )
        return value

    def optional_text(self, key: str, pattern: re.Pattern[str] | None = None) -> str | None:
        """Return a text as `text` does, or None if the key is absent."""
        return self.text(key, pattern) if key in self._data else None

    def flag(self, key: str) -> bool:
        """Return true or false."""
        value = self._required(key)
        if not isinstance(value, bool):
            raise self.refusal(key, wording("refusal.no_flag", found=_described(value)), wording("refusal.no_flag_do"))
        return value

    def choice(self, key: str, choices: Iterable[str]) -> str:
        """Return a text that is one of `choices`."""
        value = self._required(key)
        allowed = tuple(choices)
        if not isinstance(value, str) or value not in allowed:
            raise self.refusal(
                key,
                wording("refusal.not_allowed", found=_described(value)),
                wording("refusal.not_allowed_do", names=known_names(allowed)),
            )
        return value

    def number(
        self,
        key: str,
        minimum: float | None = None,
        maximum: float | None = None,
        above: float | None = None,
    ) -> float:
        """Return a finite number: at least `minimum`, at most `maximum`, more than `above`, where given."""
        return self._number(key, self._required(key), minimum, maximum, above)

    def _number(
        self, key: str, value: object, minimum: float | None, maximum: float | None, above: float | None
    ) -> float:
        # A switch written as true is not the number 1, though Python would take it for one.
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.refusal(
                key, wording("refusal.no_number", found=_described(value)), wording("refusal.no_number_do")
            )
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise self.refusal(
                key, wording("refusal.not_finite", found=_described(value)), wording("refusal.not_finite_do")
            )
        if minimum is not None and number < minimum:
            raise self.refusal(
                key,
                wording("refusal.too_small", number=f"{number:g}"),
                wording("refusal.too_small_do", limit=f"{minimum:g}"),
            )
        if maximum is not None and number > maximum:
            raise self.refusal(
                key,
                wording("refusal.too_large", number=f"{number:g}"),
                wording("refusal.too_large_do", limit=f"{maximum:g}"),
            )
        if above is not None and number <= above:
            raise self.refusal(
                key, wording("refusal.too_small", number=f"{number:g}"), wording("refusal.above_do", limit=f"{above:g}")
            )
        return number

    def optional_number(self, key: str, minimum: float | None = None) -> float | None:
        """Return a finite number, or None if the key is absent."""
        return self.number(key, minimum) if key in self._data else None

    def whole_number(self, key: str, minimum: int, maximum: int) -> int:
        """Return a whole number from `minimum` to `maximum`."""
        number = self.number(key)
        if number != int(number):
            raise self.refusal(key, wording("refusal.not_whole", number=f"{number:g}"), wording("refusal.not_whole_do"))
        # Compared and returned as written: a float could not hold every digit of a large seed.
        value = self._data[key]
        whole = value if isinstance(value, int) else int(number)
        if not minimum <= whole <= maximum:
            raise self.refusal(
                key,
                wording("refusal.outside", number=whole),
                wording("refusal.outside_do", minimum=minimum, maximum=maximum),
            )
        return whole

    def texts(
        self, key: str, at_least: int, unique: bool = False, pattern: re.Pattern[str] | None = None
    ) -> tuple[str, ...]:
        """Return a list of texts, `at_least` long, without repetition if `unique`."""
        items = self._items(key, at_least)
        found = tuple(self._text(f"{key}[{place}]", item, pattern) for place, item in enumerate(items, start=1))
        if unique:
            for place, item in enumerate(found, start=1):
                if item in found[: place - 1]:
                    raise self.refusal(
                        f"{key}[{place}]", wording("refusal.twice", item=repr(item)), wording("refusal.twice_do")
                    )
        return found

    def text_lists(self, key: str, at_least: int, pattern: re.Pattern[str]) -> tuple[tuple[str, ...], ...]:
        """Return a list, `at_least` long, of lists of texts without repetition, none of them empty."""
        rows = self._items(key, at_least)
        inner = Table(
            {f"{key}[{place}]": row for place, row in enumerate(rows, start=1)},
            self.source,
            self.path,
            self._error,
            None,
        )
        return tuple(inner.texts(name, 1, unique=True, pattern=pattern) for name in inner.names())

    def numbers(self, key: str, at_least: int) -> tuple[float, ...]:
        """Return a list of finite numbers, `at_least` long."""
        return tuple(
            self._number(f"{key}[{place}]", item, None, None, None)
            for place, item in enumerate(self._items(key, at_least), start=1)
        )

    def _items(self, key: str, at_least: int) -> list[object]:
        value = self._required(key)
        if not isinstance(value, list):
            raise self.refusal(key, wording("refusal.no_list", found=_described(value)), wording("refusal.no_list_do"))
        if len(value) < at_least:
            raise self.refusal(
                key, wording("refusal.too_few", count=len(value)), wording("refusal.too_few_do", least=at_least)
            )
        return value

    def table(self, key: str, known: Iterable[str] | None) -> Table:
        """Return the table under `key`."""
        return Table(self._required(key), self.source, self._under(key), self._error, known)

    def tables(self, key: str, known: Iterable[str], at_least: int) -> list[Table]:
        """Return the list of tables under `key`, `at_least` long."""
        allowed = tuple(known)
        return [
            Table(item, self.source, f"{self._under(key)}[{place}]", self._error, allowed)
            for place, item in enumerate(self._items(key, at_least), start=1)
        ]

    def _under(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key


def file_table(
    data: object, source: str, error: type[DataError], keys: Iterable[str], known: int, remedy: str | None = None
) -> Table:
    """Return a whole data file as a table; a file of another format is refused before its keys are looked at.

    Parameters
    ----------
    data : object
        What the TOML or JSON parser gave.
    source : str
        The file's name for messages.
    error : type of DataError
        The error to raise.
    keys : iterable of str
        Every key the file may have, ``format_version`` among them.
    known : int
        The one ``format_version`` that is read here.
    remedy : str, optional
        What to do about another one, where the file is not one that people write.
    """
    anything = Table(data, source, "", error, None)
    version = anything.value("format_version")
    if version != known or isinstance(version, bool):
        raise anything.refusal(
            "format_version",
            wording("refusal.other_format", found=_described(version), known=known),
            remedy or wording("refusal.other_format_do", known=known),
        )
    return Table(data, source, "", error, keys)
