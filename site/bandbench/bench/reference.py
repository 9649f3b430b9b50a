"""The reference pages at the bench: made when first asked for, then kept by the page."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.glossary import read_glossary
from bandbench.bench.referencepages import reference_pages
from bandbench.bench.view import Action, Part, View, script

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ReferenceBook", "ReferenceView"]


class ReferenceBook(Part):
    """The reference pages.

    Attributes
    ----------
    pages : str
        JSON: every page with its tables; empty until they are asked for.
    closed : bool
        Whether the lesson was set without them.
    """

    pages = param.String(default="")
    closed = param.Boolean(default=False)

    _esm = script("reference")


class ReferenceView(View):
    """The reference pages, opened from the lesson's place of the page."""

    WORDS: ClassVar[str] = "reference"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self.book = ReferenceBook(self.receive, words=self.words)

    def roots(self) -> dict[str, Any]:
        """Return the book."""
        return {"reference": self.book}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Make the pages when they are first opened: ``{"do": "open"}``."""
        if message["do"] != "open":
            raise ValueError(f"the reference pages know no {message['do']!r}")
        if not self.book.pages and not self.bench.book_closed:
            pages = reference_pages(read_glossary(), self.bench.lessons)
            self.book.pages = json.dumps([asdict(page) for page in pages])

    def refresh(self) -> None:
        """Keep the pages closed while a lesson is done that was set without them."""
        self.book.closed = self.bench.book_closed
