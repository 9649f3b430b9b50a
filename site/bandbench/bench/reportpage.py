"""The class report as one page to print: self-contained, without a script, every text escaped.

Contents: `report_page`, `Markup`, `element`. Names from files are data: they reach the page through `element` alone,
which escapes whatever is not `Markup`, and never as an attribute.
"""

from __future__ import annotations

import base64
import hashlib
import html
from collections.abc import Iterable, Sequence
from itertools import groupby

from bandbench.bench.reporttables import ReportTables, day_text
from bandbench.bench.words import say

__all__ = ["Markup", "element", "report_page"]


class Markup(str):
    """HTML made here."""

    __slots__ = ()


def element(tag: str, *children: str | Iterable[str], **attributes: str | int) -> Markup:
    """Return an element; children that are not `Markup` are texts and are escaped.

    Examples
    --------
    >>> element("p", "a < b", element("b", "&"), lang="en")
    '<p lang="en">a &lt; b<b>&amp;</b></p>'
    """
    inside = "".join(_inside(child) for child in children)
    own = "".join(f' {name.rstrip("_")}="{html.escape(str(value))}"' for name, value in attributes.items())
    return Markup(f"<{tag}{own}>{inside}</{tag}>")


def _inside(child: str | Iterable[str]) -> str:
    if isinstance(child, Markup):
        return str(child)
    if isinstance(child, str):
        return html.escape(child)
    return "".join(_inside(one) for one in child)


_STYLE = """
:root { color-scheme: light dark; font: 15px/1.45 system-ui, sans-serif; }
body { margin: 1.5rem; max-width: 100%; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.2rem; margin-top: 2rem; } h3 { font-size: 1rem; margin-bottom: .3rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: .85rem; }
th, td { border: 1px solid GrayText; padding: .2rem .4rem; text-align: start; vertical-align: top; }
thead th { vertical-align: bottom; } th.skill { min-width: 5.5em; max-width: 9em; }
td, th { overflow-wrap: break-word; max-width: 26em; } .flags td:nth-child(5) { min-width: 20em; }
tbody th { min-width: 9em; }
td.mastered, td.due { font-weight: 600; } td.due { text-decoration: underline; } td.held { font-style: italic; }
dl { margin: 0; } dt { font-weight: 600; } dd { margin: 0 0 .4rem 1rem; }
@media print {
  @page { size: landscape; margin: 10mm; }
  body { margin: 0; font-size: 9pt; } table { font-size: 7pt; } thead { display: table-header-group; }
  tr, dl > div { break-inside: avoid; } h2, h3 { break-after: avoid; } .wide { overflow: visible; }
}
"""


def report_page(tables: ReportTables, made_s: float) -> str:
    """Return the report as a whole HTML document.

    Parameters
    ----------
    tables : ReportTables
        The report in words.
    made_s : float
        When it was made, in seconds since 1970 (UTC).
    """
    digest = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    heading = say("report.heading", date=day_text(made_s))
    head = (
        f'<meta charset="utf-8"><meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"{element('title', heading)}<style>{_STYLE}</style>"
    )
    body = (
        element("h1", heading),
        element("p", tables.counts),
        element("p", say("report.trust")),
        *_flags(tables),
        *_matrix(tables),
        *_items(tables),
        *_evidence(tables),
    )
    return f'<!doctype html>\n<html lang="en-GB"><head>{head}</head>\n<body>{"".join(body)}</body></html>\n'


def _table(kind: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Markup:
    return element(
        "div",
        element(
            "table",
            element("thead", element("tr", (element("th", head, scope="col") for head in heads))),
            element("tbody", (element("tr", (element("td", text) for text in row)) for row in rows)),
            class_=kind,
        ),
        class_="wide",
    )


def _flags(tables: ReportTables) -> Iterable[Markup]:
    yield element("h2", say("report.flags"))
    if not tables.flags:
        yield element("p", say("report.flags_none"))
        return
    yield element("p", say("report.flags_about"))
    heads = ("flag_kind", "flag_who", "flag_where", "flag_lesson", "flag_why", "flag_held")
    yield _table("flags", [say(f"report.{key}") for key in heads], tables.flags)


def _matrix(tables: ReportTables) -> Iterable[Markup]:
    yield element("h2", say("report.skills"))
    columns = tables.columns
    if not columns:
        yield element("p", say("report.skills_none"))
        return
    groups = [(title, len(list(own))) for title, own in groupby(columns, key=lambda column: column.group)]
    top = (element("th", title, scope="colgroup", colspan=count) for title, count in groups)
    second = (element("th", column.title, scope="col", class_="skill") for column in columns)
    person = element("th", say("report.person"), scope="col", rowspan=2)
    summed = element("th", say("report.sum"), scope="col", rowspan=2)
    rows = (
        element(
            "tr",
            element("th", row.person.name, scope="row"),
            element("td", tables.summed(row)),
            (element("td", tables.state(cell), class_=cell.state) for cell in row.cells),
        )
        for row in tables.report.people
    )
    head = element("thead", element("tr", person, summed, top), element("tr", second))
    yield element("div", element("table", head, element("tbody", rows), class_="matrix"), class_="wide")


def _items(tables: ReportTables) -> Iterable[Markup]:
    yield element("h2", say("report.items"))
    yield element("p", say("report.items_about" if tables.lesson_tables else "report.items_none"))
    heads = [say(f"report.{key}") for key in ("item", "kind", "step", "missed", "common")]
    for one in tables.lesson_tables:
        yield element("h3", one.heading)
        if one.worst:
            yield element("p", one.worst)
        yield _table("items", heads, one.rows)


def _evidence(tables: ReportTables) -> Iterable[Markup]:
    yield element("h2", say("report.evidence"))
    people = tables.report.people
    yield element("p", say("report.evidence_about" if people else "report.nobody"))
    for row in people:
        yield element("h3", row.person.name)
        lines = tables.evidence(row)
        if not lines:
            yield element("p", say("report.no_attempts"))
            continue
        yield element("dl", (element("div", element("dt", title), element("dd", text)) for title, text in lines))
