"""Help that may be used while a lesson is done: what an instructor permits, and what an attempt's log says of it.

Contents: `Help` with `FULL_HELP`, its words `HELP_WORDS` and `NO_HELP`, and the strict reader `help_of`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from sim.errors import known_names
from sim.training.lesson import HINT_LEVELS
from sim.training.reader import Table
from sim.wording import wording

__all__ = ["FULL_HELP", "HELP_WORDS", "NO_HELP", "Help", "help_of"]

NO_HELP = "none"
"""The word for no help at all; it stands alone."""

HELP_WORDS: Mapping[str, str] = MappingProxyType(
    {f"hints-{level}": wording("help.hints_level", level=level) for level in range(1, len(HINT_LEVELS) + 1)}
    | {
        "worked": wording("help.worked_steps"),
        "why": wording("help.why_views"),
        "glossary": wording("help.glossary_reference_pages"),
        NO_HELP: wording("help.no_help"),
    }
)
"""What can be permitted: the word for files and links, and what it means."""


@dataclass(frozen=True)
class Help:
    """Help that is permitted while a lesson is done; a lesson may offer less.

    Attributes
    ----------
    hints : int
        Highest level of hint that may be opened, 0 for none.
    worked : bool
        Whether the lesson does its worked steps for who asks.
    why : bool
        Whether the explaining drawings are shown.
    glossary : bool
        Whether the reference pages, the symptom chart among them, can be opened.
    """

    hints: int = len(HINT_LEVELS)
    worked: bool = True
    why: bool = True
    glossary: bool = True

    @property
    def words(self) -> tuple[str, ...]:
        """The help in the words of `HELP_WORDS`.

        Examples
        --------
        >>> Help(hints=1, worked=False).words
        ('hints-1', 'why', 'glossary')
        >>> Help(0, False, False, False).words
        ('none',)
        """
        named = [f"hints-{self.hints}"] if self.hints else []
        named += [word for word in ("worked", "why", "glossary") if getattr(self, word)]
        return tuple(named) or (NO_HELP,)

    @property
    def text(self) -> str:
        """The help as a person reads it."""
        return ", ".join(HELP_WORDS[word] for word in self.words)

    def within(self, other: Help) -> bool:
        """Tell whether this help is nowhere more than the other."""
        return (
            self.hints <= other.hints
            and self.worked <= other.worked
            and self.why <= other.why
            and self.glossary <= other.glossary
        )


FULL_HELP = Help()
"""All the help a lesson offers: what is permitted where nobody sets less."""


def help_of(table: Table, key: str = "help") -> Help:
    """Return the help that a list of words permits.

    Raises
    ------
    DataError
        The table's own, if a word is unknown, stands twice, or does not go with another.
    """
    words = table.texts(key, 1, unique=True)
    for place, word in enumerate(words, start=1):
        if word not in HELP_WORDS:
            raise table.refusal(
                f"{key}[{place}]",
                wording("refusal.no_help", word=repr(word)),
                wording("refusal.no_help_do", words=known_names(HELP_WORDS)),
            )
    if NO_HELP in words and len(words) > 1:
        raise table.refusal(
            key, wording("refusal.help_and_none", none=NO_HELP), wording("refusal.help_and_none_do", none=NO_HELP)
        )
    levels = [word for word in words if word.startswith("hints-")]
    if len(levels) > 1:
        raise table.refusal(key, wording("refusal.two_levels"), wording("refusal.two_levels_do"))
    return Help(
        hints=int(levels[0].removeprefix("hints-")) if levels else 0,
        worked="worked" in words,
        why="why" in words,
        glossary="glossary" in words,
    )
