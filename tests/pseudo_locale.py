"""A language that nobody speaks, made of the English texts: what is not in a table of texts shows at once.

Contents: `pseudo` (one text), `pseudo_texts` (every text, as the browser takes a language), `site_with_pseudo`.
"""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

from bandbench.bench.datafiles import FOLDER, read_toml
from bandbench.bench.languages import ENGLISH, language_texts
from bandbench.bench.overlays import data_texts
from bandbench.words import data_files

__all__ = ["PSEUDO", "pseudo", "pseudo_texts", "site_with_pseudo"]

PSEUDO = "xx"

_MARKS = re.compile(r"(\*\*|`|\n\s*\n)")
_FILLED_IN = re.compile(r"(\{\w*\})")
_ACCENTS = str.maketrans("aeiouycnsAEIOUYCNS", "áéíóúýçñšÁÉÍÓÚÝÇÑŠ")
_OPEN, _CLOSE = "⟦", "⟧"
# German is about a third longer than English, short words more so.
_LONGER = 0.3
_BLANKS = re.compile(r"^(\s*)(.*?)(\s*)$", re.DOTALL)


def pseudo(text: str) -> str:
    """Return a text with accents, in brackets and about a third longer; what is filled in stays."""
    found = _BLANKS.match(text)
    assert found is not None
    before, inner, after = found.groups()
    # What is set in another way, and each paragraph, is an element of its own in the page.
    parts = _MARKS.split(inner)
    return before + "".join(part if place % 2 else _wrapped(part) for place, part in enumerate(parts)) + after


def _wrapped(text: str) -> str:
    if not text.strip():
        return text
    said = "".join(
        piece if place % 2 else piece.translate(_ACCENTS) for place, piece in enumerate(_FILLED_IN.split(text))
    )
    more = " ".join(["lóñg"] * round(_LONGER * len(text) / 5 + 0.5))
    return f"{_OPEN}{said}{f' {more}' if more else ''}{_CLOSE}"


def pseudo_texts() -> dict[str, Any]:
    """Return every text of the page, of `sim` and of the data files, as `browser_json` has a language's."""
    data = {}
    for name in data_files():
        texts = data_texts(name, read_toml((FOLDER / name).read_text("utf-8")))
        data[name] = {key: pseudo(text) for key, text in texts.items()}
    return {"words": {key: pseudo(text) for key, text in language_texts(ENGLISH).words.items()}, "data": data}


def site_with_pseudo(site: Path, folder: Path) -> Path:
    """Return a copy of a built site, in a new folder, in which the language can be chosen."""
    shutil.copytree(site, folder, ignore=shutil.ignore_patterns("*.html.gz"))
    (folder / "assets" / "pseudo").mkdir()
    (folder / "assets" / "pseudo" / "words.json").write_text(json.dumps(pseudo_texts()), "utf-8")
    for page in folder.glob("*.html"):
        text = page.read_text("utf-8")
        head, mark, rest = text.partition('<script id="site-words" type="application/json">')
        known, end, after = rest.partition("</script>")
        told = json.loads(known)
        told["names"][PSEUDO] = pseudo("Language")
        told["addresses"][PSEUDO] = "assets/pseudo/words.json"
        page.write_text(head + mark + json.dumps(told).replace("<", "\\u003c") + end + after, "utf-8")
    return folder
