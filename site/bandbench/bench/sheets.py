"""A sheet of paper as data: headings, texts, tables, lines to write on; the page draws it, or it becomes a file.

Contents: the blocks (`Heading`, `Prose`, `Items`, `Facts`, `Grid`, `Lines`, `Signatures`, `Picture`), `Sheet`,
`sheet_data` (for the page's script ``paper.mjs``) and `sheets_html` (a whole document). Texts are data, never markup;
of Markdown they may have what lessons use: ``**strong**`` and ```names```.
"""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

__all__ = [
    "Block",
    "Facts",
    "Grid",
    "Heading",
    "Items",
    "Lines",
    "Picture",
    "Prose",
    "Sheet",
    "Signatures",
    "sheet_data",
    "sheets_html",
]

_STYLES = tuple(Path(__file__).with_name(name) for name in ("tokens.css", "paper.css"))
_PIECES = re.compile(r"(\*\*[^*]+\*\*|`[^`]+`)")


@dataclass(frozen=True)
class Heading:
    """A heading; what follows begins on the same page."""

    text: str


@dataclass(frozen=True)
class Prose:
    """Paragraphs, parted by empty lines."""

    text: str
    quiet: bool = False


@dataclass(frozen=True)
class Items:
    """A list."""

    texts: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Facts:
    """Names with what stands for them; an empty text leaves a line to write on."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Grid:
    """A table; the first cell of each row is its heading. Empty cells are to be written in: rows are then `tall`."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    tall: bool = False


@dataclass(frozen=True)
class Lines:
    """A label and empty lines to write on."""

    label: str
    count: int


@dataclass(frozen=True)
class Signatures:
    """Places to sign, each with a place for the date."""

    labels: tuple[str, ...]
    date: str


@dataclass(frozen=True)
class Picture:
    """A picture file beside the document, its size [picture elements], what it shows in words, and its caption."""

    source: str
    width: int
    height: int
    words: str
    caption: str


Block = Heading | Prose | Items | Facts | Grid | Lines | Signatures | Picture


@dataclass(frozen=True)
class Sheet:
    """One document.

    Attributes
    ----------
    name : str
        Kind of document, for styles and tests.
    title : str
        What stands at its head.
    parts : tuple of tuple of blocks
        What belongs together: such a part is not cut by the end of a page where it fits on one.
    """

    name: str
    title: str
    parts: tuple[tuple[Block, ...], ...]


def sheet_data(sheet: Sheet) -> dict[str, Any]:
    """Return the sheet as plain tables: every block with its ``kind``."""
    parts = [[{"kind": type(block).__name__.lower(), **asdict(block)} for block in part] for part in sheet.parts]
    return {"name": sheet.name, "title": sheet.title, "parts": parts}


def sheets_html(title: str, sheets: Sequence[Sheet], language: str = "en-GB") -> str:
    """Return a whole document that needs nothing but the picture files beside it.

    Parameters
    ----------
    title : str
        The document's own.
    sheets : sequence of Sheet
        One after the other; each begins a new page.
    language : str
        Tag of the language its texts are in.
    """
    body = "".join(_sheet(sheet) for sheet in sheets)
    style = "".join(path.read_text("utf-8") for path in _STYLES)
    return (
        f'<!doctype html>\n<html lang="{html.escape(language)}">\n<head>\n<meta charset="utf-8">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
        "img-src 'self' data:\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{html.escape(title)}</title>\n<style>\n{style}</style>\n</head>\n"
        f'<body class="paper-document">\n<main>\n{body}</main>\n</body>\n</html>\n'
    )


def _sheet(sheet: Sheet) -> str:
    parts = "".join(f'<section class="part">\n{"".join(map(_block, part))}</section>\n' for part in sheet.parts)
    return (
        f'<article class="sheet {html.escape(sheet.name)}">\n<h1>{html.escape(sheet.title)}</h1>\n{parts}</article>\n'
    )


def _inline(text: str) -> str:
    found = []
    for piece in _PIECES.split(text):
        if piece.startswith("**") and len(piece) > 4:
            found.append(f"<strong>{html.escape(piece[2:-2])}</strong>")
        elif piece.startswith("`") and len(piece) > 2:
            found.append(f"<em>{html.escape(piece[1:-1])}</em>")
        else:
            found.append(html.escape(re.sub(r"\s+", " ", piece)))
    return "".join(found)


def _block(block: Block) -> str:
    match block:
        case Heading():
            return f"<h2>{_inline(block.text)}</h2>\n"
        case Prose():
            mark = ' class="quiet"' if block.quiet else ""
            return "".join(f"<p{mark}>{_inline(one)}</p>\n" for one in re.split(r"\n\s*\n", block.text.strip()))
        case Items():
            tag = "ol" if block.numbered else "ul"
            return f"<{tag}>{''.join(f'<li>{_inline(text)}</li>' for text in block.texts)}</{tag}>\n"
        case Facts():
            rows = "".join(f"<div><dt>{_inline(name)}</dt><dd>{_inline(text)}</dd></div>" for name, text in block.pairs)
            return f'<dl class="facts">{rows}</dl>\n'
        case Grid():
            return _grid(block)
        case Lines():
            return f'<div class="lines"><p>{_inline(block.label)}</p>{"<div></div>" * block.count}</div>\n'
        case Signatures():
            places = "".join(
                f'<div class="signature"><p>{_inline(label)}</p><p>{_inline(block.date)}</p></div>'
                for label in block.labels
            )
            return f'<div class="signatures">{places}</div>\n'
        case Picture():
            return (
                f'<figure><img src="{html.escape(block.source)}" width="{block.width}" height="{block.height}" '
                f'alt="{html.escape(block.words)}"><figcaption>{_inline(block.caption)}</figcaption></figure>\n'
            )


def _grid(grid: Grid) -> str:
    head = "".join(f'<th scope="col">{_inline(name)}</th>' for name in grid.columns)
    rows = "".join(
        f'<tr><th scope="row">{_inline(row[0])}</th>{"".join(f"<td>{_inline(cell)}</td>" for cell in row[1:])}</tr>\n'
        for row in grid.rows
    )
    tall = ' class="tall"' if grid.tall else ""
    return (
        f"<table{tall}><caption>{_inline(grid.caption)}</caption>\n<thead><tr>{head}</tr></thead>\n"
        f"<tbody>\n{rows}</tbody></table>\n"
    )
