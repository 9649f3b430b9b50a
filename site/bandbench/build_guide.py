"""The guide: pages for learners, instructors, authors and hosts, made from Markdown into static HTML.

Contents: `GUIDE_PAGES`, `guide_files`. The sources are ``site/guide/LANGUAGE/PAGE.md``.
"""

from __future__ import annotations

import html
from collections.abc import Mapping
from pathlib import Path

from markdown_it import MarkdownIt

from bandbench.bench.languages import ENGLISH, language_texts
from sim.errors import BandbenchError

__all__ = ["GUIDE", "GUIDE_PAGES", "GUIDE_POLICY", "GuideError", "guide_files", "guide_title"]

GUIDE = Path(__file__).parents[1] / "guide"
"""Where the sources are, a folder for each language."""

GUIDE_PAGES = ("learners", "instructors", "authors", "hosts")
"""The pages, in the order in which they are offered; each in every language that has a folder."""

GUIDE_POLICY = "default-src 'none'; style-src 'self'; img-src data:; base-uri 'none'; form-action 'none'"
"""What a page of the guide may load: the site's styles. It runs no script."""

_PAGE = """<!doctype html>
<html lang="{language}">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{title}, bandbench</title>
<link rel="icon" href="data:,">
{styles}
</head>
<body class="guide">
<header class="top"><nav aria-label="bandbench"><ul>
{links}
</ul></nav></header>
<main>
{text}
</main>
</body>
</html>
"""


class GuideError(BandbenchError):
    """A page of the guide is missing or has no title."""


def guide_title(source: str, where: str) -> str:
    """Return the title of a page: its first line, a heading.

    Raises
    ------
    GuideError
        If the page does not begin with one.
    """
    first = source.partition("\n")[0]
    if not first.startswith("# ") or not first[2:].strip():
        raise GuideError(f"{where}: a page of the guide begins with its title, as in '# For learners'.")
    return first[2:].strip()


def guide_files(page_folder: str, styles: tuple[str, ...], changes: str) -> dict[str, bytes]:
    """Return the guide's pages by path in the site.

    Parameters
    ----------
    page_folder : str
        The folder of the page's own files in the site, in which the styles are.
    styles : tuple of str
        Names of the style sheets to use, in their order.
    changes : str
        The list of changes as Markdown; it is shown as a page of its own, in English.

    Raises
    ------
    GuideError
        If a page is missing in one of the languages, or has no title.
    """
    files: dict[str, bytes] = {}
    for folder in sorted(path for path in GUIDE.iterdir() if path.is_dir()):
        language = folder.name
        sources: dict[str, str] = {}
        for name in GUIDE_PAGES:
            path = folder / f"{name}.md"
            if not path.is_file():
                where = path.relative_to(GUIDE.parent)
                raise GuideError(f"{where} is missing: the guide has every page in every language.")
            sources[name] = path.read_text("utf-8")
        titles = {name: guide_title(source, f"guide/{language}/{name}.md") for name, source in sources.items()}
        words = language_texts(language).words
        titles["changes"] = words["guide.changes"]
        for name, source in {**sources, "changes": changes}.items():
            text_language = ENGLISH if name == "changes" else language
            files[f"guide/{language}/{name}.html"] = _page(
                language, name, titles, words["guide.bench"], source, page_folder, styles, text_language
            )
    return files


def _page(
    language: str,
    name: str,
    titles: Mapping[str, str],
    bench: str,
    source: str,
    page_folder: str,
    styles: tuple[str, ...],
    text_language: str,
) -> bytes:
    links = [f'<li><a href="../../index.html">{html.escape(bench)}</a></li>']
    for other, title in titles.items():
        here = ' aria-current="page"' if other == name else ""
        links.append(f'<li><a href="{other}.html"{here}>{html.escape(title)}</a></li>')
    # Raw HTML in a source stays text: the guide is data like every other.
    text = MarkdownIt("commonmark", {"html": False}).enable("table").render(source)
    text = text.replace("<table>", '<div class="wide" role="group" tabindex="0"><table>')
    text = text.replace("</table>", "</table></div>")
    # A listing that is wider than the page is scrolled with the arrow keys.
    text = text.replace("<pre>", '<pre tabindex="0">')
    if text_language != language:
        text = f'<div lang="{text_language}">{text}</div>'
    page = _PAGE.format(
        language=language,
        policy=html.escape(GUIDE_POLICY),
        title=html.escape(titles[name]),
        styles="\n".join(f'<link rel="stylesheet" href="../../{page_folder}/{style}">' for style in styles),
        links="\n".join(links),
        text=text,
    )
    return page.encode()
