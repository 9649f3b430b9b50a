"""The glossary: words of the trade and what they mean here, read from ``lessons/glossary.toml``.

Contents: `Term`, `GlossaryError`, `parse_glossary`, `read_glossary`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from bandbench.bench.datafiles import FOLDER, read_data
from bandbench.bench.overlays import texts_of
from sim.training.lesson import PROVENANCE_MARKS
from sim.training.parts import source_text
from sim.training.reader import DataError, file_table

__all__ = ["GLOSSARY_FILE", "GLOSSARY_FORMAT_VERSION", "GlossaryError", "Term", "parse_glossary", "read_glossary"]

GLOSSARY_FORMAT_VERSION = 1
"""The format of glossaries this parser reads."""

GLOSSARY_FILE = FOLDER / "glossary.toml"


_PLAIN = str.maketrans({"ä": "a", "ö": "o", "ü": "u"})
"""In an alphabet, a German umlaut stands with its letter."""


class GlossaryError(DataError):
    """The glossary cannot be used as it is written."""


@dataclass(frozen=True)
class Term:
    """One word, what it means, and where that comes from (in words, and its mark)."""

    term: str
    meaning: str
    source: str
    provenance: str

    @property
    def source_text(self) -> str:
        """The source as a trainee may read it."""
        return source_text(self.source, self.provenance)


def parse_glossary(data: object, source_name: str) -> tuple[Term, ...]:
    """Return the terms that `data` describes, as a TOML parser gives it.

    Raises
    ------
    GlossaryError
        At the first thing that is not as a glossary must be; the error names file, key, reason and remedy.
    """
    top = file_table(data, source_name, GlossaryError, ("format_version", "terms"), GLOSSARY_FORMAT_VERSION)
    terms: list[Term] = []
    for table in top.tables("terms", ("term", "meaning", "provenance", "source"), 1):
        term = Term(
            term=table.text("term"),
            meaning=table.text("meaning"),
            source=table.text("source"),
            provenance=table.choice("provenance", PROVENANCE_MARKS),
        )
        if terms and term.term.casefold() <= terms[-1].term.casefold():
            raise table.refusal(
                "term",
                f"{term.term!r} does not follow {terms[-1].term!r} in the alphabet",
                "List each term once, in alphabetical order.",
            )
        terms.append(term)
    return tuple(terms)


def read_glossary(path: Path = GLOSSARY_FILE) -> tuple[Term, ...]:
    """Return the terms of a glossary file in the bench's language; errors as for `parse_glossary`."""
    terms = parse_glossary(read_data(path), path.name)
    texts = texts_of(path)
    if texts is None:
        return terms
    said = (
        replace(one, **{part: texts[f"terms.{one.term}.{part}"] for part in ("term", "meaning", "source")})
        for one in terms
    )
    return tuple(sorted(said, key=lambda one: one.term.casefold().translate(_PLAIN)))
