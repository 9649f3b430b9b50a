"""What lets a browser keep and install the site: its version, service worker, manifest and icon.

Contents: `program_version`, `install_files`. The icon is drawn here: a screen with the four heads' bands, leaning as
they do when the guide is out of place.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

from bandbench.build_assets import AssetGroup

__all__ = ["INSTALL_NAMES", "MANIFEST", "SERVICE_WORKER", "icon_group", "install_files", "program_version"]

REPOSITORY = Path(__file__).parents[2]

SERVICE_WORKER = "service-worker.js"
MANIFEST = "bandbench.webmanifest"
INSTALL_NAMES = (SERVICE_WORKER, MANIFEST)
"""Files at the site's root that a package for a learning system goes without."""

_PAGES = {"": "index.html", "console.html": "console.html"}
"""Pages by the address that they are asked for under, from the site's root."""

_TOKENS = REPOSITORY / "site" / "bandbench" / "bench" / "tokens.css"


def _colour(name: str) -> str:
    """Return a colour of the page by its name among the tokens; of two, the one of the light page."""
    found = re.search(rf"--{name}:[^;#]*(#[0-9a-fA-F]+)", _TOKENS.read_text("utf-8"))
    assert found, f"tokens.css has no colour {name}"
    return found[1]


_SCREEN = _colour("screen")
_BANDS = tuple(_colour(f"screen-head-{head}") for head in range(1, 5))
_SIZES = (192, 512)
# In shares of the icon: what lies within 0.1 of an edge may be cut off by a round mask.
_LEFT, _TOP, _WIDTH, _HEIGHT, _GAP, _LEAN = 0.24, 0.25, 0.52, 0.11, 0.02, 0.055
_FINENESS = 4


def program_version() -> str:
    """Return the program's version, as `pyproject.toml` has it."""
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text("utf-8"))["project"]
    return str(project["version"])


def _bands() -> list[list[tuple[float, float]]]:
    """Return the corners of each band, in shares of the icon."""
    corners = []
    for place in range(len(_BANDS)):
        top, half = _TOP + place * (_HEIGHT + _GAP), _LEAN / 2
        # Each band leans to the right from its upper edge to its lower one and begins anew.
        corners.append(
            [
                (_LEFT - half, top),
                (_LEFT + _WIDTH - half, top),
                (_LEFT + _WIDTH + half, top + _HEIGHT),
                (_LEFT + half, top + _HEIGHT),
            ]
        )
    return corners


def _icon_svg() -> bytes:
    shapes = "".join(
        f'<path fill="{colour}" d="M{" L".join(f"{100 * x:.2f} {100 * y:.2f}" for x, y in corners)}Z"/>'
        for colour, corners in zip(_BANDS, _bands(), strict=True)
    )
    ground = f'<rect width="100" height="100" fill="{_SCREEN}"/>'
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{ground}{shapes}</svg>\n'.encode()


def _icon_png(size: int) -> bytes:
    side = size * _FINENESS
    image = Image.new("RGB", (side, side), _SCREEN)
    draw = ImageDraw.Draw(image)
    for colour, corners in zip(_BANDS, _bands(), strict=True):
        draw.polygon([(x * side, y * side) for x, y in corners], fill=colour)
    png = io.BytesIO()
    image.resize((size, size), Image.Resampling.LANCZOS).save(png, "PNG", optimize=True)
    return png.getvalue()


def icon_group() -> AssetGroup:
    """Return the icon: as a drawing, and as pictures in the sizes that systems ask for."""
    pictures = {f"icon-{size}.png": _icon_png(size) for size in _SIZES}
    return AssetGroup("icon", {"icon.svg": _icon_svg()} | pictures)


def _manifest(icons: AssetGroup, words: Mapping[str, str]) -> bytes:
    pictures = [
        {"src": f"{icons.folder}/icon-{size}.png", "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose}
        for size in _SIZES
        for purpose in ("any", "maskable")
    ]
    manifest: dict[str, Any] = {
        "name": "bandbench",
        "short_name": "bandbench",
        "description": words["page.about"],
        "lang": "en-GB",
        "id": "./",
        "start_url": "./",
        "scope": "./",
        "display": "standalone",
        "background_color": _colour("ground"),
        "theme_color": _colour("ground"),
        "icons": [{"src": f"{icons.folder}/icon.svg", "sizes": "any", "type": "image/svg+xml"}, *pictures],
        "categories": ["education"],
    }
    return json.dumps(manifest, indent=1, ensure_ascii=False).encode() + b"\n"


def install_files(
    files: Mapping[str, bytes], icons: AssetGroup, worker: str, build: str, page: str, words: Mapping[str, str]
) -> dict[str, bytes]:
    """Return manifest and service worker, by path in the site.

    Parameters
    ----------
    files : mapping of str to bytes
        The site's other files by path.
    icons : AssetGroup
        From `icon_group`.
    worker : str
        The service worker's source, with a place for what it keeps.
    build : str
        Digest of this version.
    page : str
        Folder of the page's own scripts: every page of this version names it.
    words : mapping of str to str
        The page's texts by key.
    """
    manifest = _manifest(icons, words)
    # The guide's pages keep their names, too.
    pages = _PAGES | {path: path for path in sorted(files) if path.startswith("guide/")}
    kept = {path: content for path, content in files.items() if path not in pages.values()} | {MANIFEST: manifest}
    precache = {
        "build": build,
        "page": page,
        "pages": list(pages),
        "files": [
            [path, base64.b64encode(hashlib.sha256(content).digest()).decode()]
            for path, content in sorted(kept.items())
        ],
    }
    filled = worker.replace("{{precache}}", json.dumps(precache))
    return {MANIFEST: manifest, SERVICE_WORKER: filled.encode()}
