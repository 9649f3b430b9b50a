"""Build the static site into ``dist/``: the page, its worker, Python and its packages, all on one origin.

What goes in is pinned: Pyodide by npm's integrity hash, NumPy's wheel by the hash in Pyodide's lock file, the Python
packages by the project's lock file. Files are named by their content, so that browsers may keep them for good; only
``index.html`` keeps its name. The same inputs give the same bytes.
"""

from __future__ import annotations

import argparse
import hashlib
import html
import json
import re
import shutil
import tempfile
import time
import zipfile
from collections.abc import Mapping
from pathlib import Path
from string import Template

from bandbench import build_python
from bandbench.bench.languages import ENGLISH, WORDS_FOLDER, browser_json, language_texts
from bandbench.bench.lessons import read_course, read_lessons
from bandbench.build_archive import archive_bytes
from bandbench.build_assets import DIGEST_LENGTH, AssetGroup, compressed, content_digest, write_site
from bandbench.build_bytecode import compiled
from bandbench.build_guide import GUIDE, guide_files
from bandbench.build_install import SERVICE_WORKER, icon_group, install_files, program_version
from bandbench.build_page import lesson_html, still_picture, with_texts, words_json
from bandbench.build_stdlib import STDLIB_NAME, stdlib_zip
from bandbench.policy import PAGE_POLICY, checked_endpoint, page_policy
from bandbench.pyodide_source import CORE_FILES, numpy_wheel, pyodide_core
from bandbench.transfer import cold_bytes, cold_table, total_bytes
from sim.errors import BandbenchError
from sim.training.assignment import LANGUAGES

__all__ = [
    "DEFAULT_OUTPUT",
    "PAGE_POLICY",
    "RECORD_NAME",
    "BuildError",
    "add_arguments",
    "build_site",
    "built_endpoint",
    "is_current",
    "run",
]

REPOSITORY = Path(__file__).parents[2]
STATIC = REPOSITORY / "site" / "static"
TOKENS_CSS = REPOSITORY / "site" / "bandbench" / "bench" / "tokens.css"
CHANGELOG = REPOSITORY / "site" / "CHANGELOG.md"
DEFAULT_OUTPUT = REPOSITORY / "dist"
RECORD_NAME = "build.json"
"""What a build writes about itself: a digest of its inputs and the hash of every file."""

CONSOLE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; base-uri 'none'; "
    "form-action 'none'"
)
"""What the instructor's console may load: its own scripts and styles and a language's texts, and nothing else."""

SHOWN_DIGITS = 8
"""How much of the build's digest the page shows."""

BOKEH_SCRIPTS = ("bokeh.min.js", "bokeh-widgets.min.js", "bokeh-tables.min.js")
STORE_SOURCE = "idb/build/index.js"
"""The embedded store of the learners' records, beside Pyodide among the installed npm packages."""
STORE_NAME = "idb.mjs"
PANEL_KEPT = ("panel.min.js", "css/", "bundled/theme/", "images/icon-", "assets/")


FIRST_PICTURE = re.compile(
    r"(numpy|sim|bandbench/runtime)/|bandbench/(__init__|bench/(__init__|pictures|languages|datafiles))\.pyc$"
)
"""Python files that the first picture is made with (see `bandbench.runtime.first`); the others come after it."""


class BuildError(BandbenchError):
    """The site cannot be built from what is there."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of ``bandbench build``."""
    parser.add_argument(
        "--output", type=Path, default=DEFAULT_OUTPUT, metavar="FOLDER", help="where to build it (dist/)"
    )
    parser.add_argument(
        "--wheels", type=Path, metavar="FOLDER", help="a folder that may hold NumPy's wheel for Pyodide, tried first"
    )
    parser.add_argument(
        "--xapi-endpoint",
        default="",
        metavar="URL",
        help="a record store that learners may let this site send statements (xAPI) to (none)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Build the site as the command line asks."""
    started_s = time.monotonic()
    files = build_site(arguments.output, arguments.wheels, arguments.xapi_endpoint)
    megabytes = sum(map(len, files.values())) / 1e6
    took_s = time.monotonic() - started_s
    print(cold_table(cold_bytes(files)))
    print(f"Built {len(files)} files, {megabytes:.1f} MB, into {arguments.output} in {took_s:.1f} s")
    return 0


def build_site(
    output: Path = DEFAULT_OUTPUT, wheels_folder: Path | None = None, xapi_endpoint: str = ""
) -> dict[str, bytes]:
    """Build the site.

    Parameters
    ----------
    output : Path
        The folder to build into. What an earlier build left there is replaced; any other folder is refused.
    wheels_folder : Path, optional
        A folder that may hold NumPy's wheel (see `bandbench.pyodide_source`).
    xapi_endpoint : str
        Address of a record store that the page may send statements to; without one it may talk to its own origin only.

    Returns
    -------
    dict[str, bytes]
        What was written, by path in the site, without the compressed copies.

    Raises
    ------
    BuildError
        If the output folder holds something else, or a part is not as expected.
    PolicyError
        If the page cannot be opened to the record store.
    PyodideSourceError, PythonSourcesError
        If a part cannot be had.
    """
    if output.exists() and any(output.iterdir()) and not (output / RECORD_NAME).is_file():
        raise BuildError(f"{output} holds files that no build made; empty it or name another folder with --output.")
    inputs = _inputs_digest()
    files = _site_files(wheels_folder, xapi_endpoint)
    record = {
        "inputs": inputs,
        "xapi_endpoint": xapi_endpoint,
        "files": {path: hashlib.sha256(content).hexdigest() for path, content in sorted(files.items())},
    }
    files[RECORD_NAME] = json.dumps(record, indent=1).encode()
    output.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=output.parent, prefix=".build-") as scratch:
        built = Path(scratch, "site")
        write_site(built, files)
        shutil.rmtree(output, ignore_errors=True)
        built.rename(output)
    return files


def built_endpoint(output: Path) -> str:
    """Return the record store that a folder's build may send statements to; an empty text if none."""
    try:
        return str(json.loads((output / RECORD_NAME).read_text("utf-8")).get("xapi_endpoint", ""))
    except (OSError, ValueError):
        return ""


def is_current(output: Path) -> bool:
    """Tell whether a folder holds a build of the project's files as they are now."""
    try:
        record = json.loads((output / RECORD_NAME).read_text("utf-8"))
    except (OSError, ValueError):
        return False
    return bool(record.get("inputs") == _inputs_digest())


def _inputs_digest() -> str:
    """Return a digest of every file of the project that decides what a build makes."""
    paths = [build_python.LOCK_FILE, REPOSITORY / "pyproject.toml", CHANGELOG]
    paths += (REPOSITORY / "site" / "npm").glob("*.json")
    own = (STATIC, GUIDE, WORDS_FOLDER, REPOSITORY / "site" / "bandbench", REPOSITORY / "sim", REPOSITORY / "lessons")
    for folder in own:
        paths += [path for path in folder.rglob("*") if path.is_file() and "__pycache__" not in path.parts]
    return content_digest({path.relative_to(REPOSITORY).as_posix(): path.read_bytes() for path in paths})


def _site_files(wheels_folder: Path | None, xapi_endpoint: str) -> dict[str, bytes]:
    origin, endpoint = checked_endpoint(xapi_endpoint) if xapi_endpoint else ("", "")
    core_folder = pyodide_core()
    wheels = build_python.browser_wheels()
    runtime = {name: (core_folder / name).read_bytes() for name in CORE_FILES[:-1]}
    core = AssetGroup("pyodide", runtime | {STDLIB_NAME: stdlib_zip(core_folder)})
    scripts = AssetGroup("scripts", _scripts(wheels))
    panel = AssetGroup("panel", _panel_assets(build_python.wheel_of(wheels, "panel")))
    own_page = {path.name: path.read_bytes() for path in STATIC.iterdir() if path.suffix in {".mjs", ".css"}}
    # What its name says: the tokens that Python reads, too.
    own_page["tokens.css"] = TOKENS_CSS.read_bytes()
    page = AssetGroup("page", own_page | {STORE_NAME: (core_folder.parent / STORE_SOURCE).read_bytes()})
    others = {name: f"words-{name}.json" for name in LANGUAGES if name != ENGLISH}
    words = AssetGroup("words", {file: browser_json(name).encode() for name, file in others.items()})
    archives = {
        name: compressed(archive_bytes(files))
        for name, files in _python_files([*wheels, numpy_wheel(wheels_folder)], core_folder).items()
    }
    python = AssetGroup("python", {f"{name}.pack": archive for name, archive in archives.items()})
    lock = json.loads((core_folder / "pyodide-lock.json").read_text("utf-8"))
    # What the worker counts while it fetches: sizes as sent, the bulk of the download.
    sizes = {
        "pyodide.asm.wasm": len(compressed(core.files["pyodide.asm.wasm"])),
        "python_stdlib.zip": len(core.files["python_stdlib.zip"]),
        "recorder.pack": len(archives["recorder"]),
    }
    parts = {
        # Attempts say which program they were made with: which Python was at work.
        "version": python.folder.rpartition("-")[2],
        "page": page.folder,
        "pyodide": core.folder,
        "panel": panel.folder,
        "archives": {name: f"{python.folder}/{name}.pack" for name in archives},
        "sizes": sizes,
        "lock_info": lock["info"],
        # Whom statements may be sent to, and whether a learning system may launch the page.
        "statements": {"origin": origin, "endpoint": endpoint, "cmi5": False},
    }
    lessons = read_lessons()
    first_lesson = lessons[read_course(lessons).lessons[0]]
    still_png, still_words = still_picture(first_lesson)
    still = AssetGroup("still", {"still.png": still_png})
    files: dict[str, bytes] = {}
    icons = icon_group()
    for group in (core, scripts, panel, page, python, still, words, icons):
        files |= group.paths()
    texts = words_json(language_texts(ENGLISH).words, {name: f"{words.folder}/{file}" for name, file in others.items()})
    files["console.html"] = _filled(
        "console.html",
        {"page": page.folder, "content_security_policy": html.escape(CONSOLE_POLICY), "words": texts},
    )

    files |= guide_files(page.folder, ("tokens.css", "page.css", "guide.css"), CHANGELOG.read_text("utf-8"))

    def index(build: str) -> bytes:
        return _index(
            {
                "page": page.folder,
                "words": texts,
                "bokeh": scripts.folder,
                "panel": panel.folder,
                "icons": icons.folder,
                "version": program_version(),
                "build": build[:SHOWN_DIGITS],
                "parts": json.dumps(parts | {"build": build}).replace("<", "\\u003c"),
                "content_security_policy": html.escape(page_policy(origin) if origin else PAGE_POLICY),
                "download_megabytes": f"{total_bytes(cold_bytes(files)) / 1e6:.0f}",
                "lesson": lesson_html(first_lesson),
                "still": f"{still.folder}/still.png",
                "still_words": html.escape(still_words),
            }
        )

    keeper = (STATIC / SERVICE_WORKER).read_text("utf-8")
    # This version's name: what changes anything a visitor gets changes it.
    build = content_digest(files | {"index.html": index(""), SERVICE_WORKER: keeper.encode()})[:DIGEST_LENGTH]
    files["index.html"] = index(build)
    return files | install_files(files, icons, keeper, build, page.folder, language_texts().words)


def _index(values: Mapping[str, str]) -> bytes:
    return _filled("index.html", values)


def _filled(name: str, values: Mapping[str, str]) -> bytes:
    """Fill in a page's placeholders, of which none may be left, and its texts in English."""

    class Placeholders(Template):
        pattern = r"\{\{(?P<named>\w+)\}\}|(?P<escaped>(?!))|(?P<braced>(?!))|(?P<invalid>(?!))"  # type: ignore[assignment]

    page = Placeholders((STATIC / name).read_text("utf-8"))
    return with_texts(page.substitute(values), language_texts(ENGLISH).words).encode()


def _python_files(wheels: list[Path], core: Path) -> dict[str, dict[str, bytes]]:
    """Return the compiled packages in two parts: what the first picture needs, and what only the views need."""
    others = dict(build_python.STUBBED)
    for wheel in wheels:
        others |= build_python.trimmed_wheel(wheel)
    # Nobody reads the others' documentation in the browser; our own assertions stay.
    files = compiled(others, core, optimise=2) | compiled(build_python.own_files(), core, optimise=0)
    parts: dict[str, dict[str, bytes]] = {"recorder": {}, "views": {}}
    for path, content in files.items():
        parts["recorder" if FIRST_PICTURE.match(path) else "views"][path] = content
    return parts


def _scripts(wheels: list[Path]) -> dict[str, bytes]:
    with zipfile.ZipFile(build_python.wheel_of(wheels, "bokeh")) as archive:
        return {name: archive.read(f"bokeh/server/static/js/{name}") for name in BOKEH_SCRIPTS}


def _panel_assets(wheel: Path) -> dict[str, bytes]:
    """Return Panel's script and style sheets under the paths that its Python side asks for."""
    version = wheel.name.split("-")[1]
    root = "panel/dist/"
    with zipfile.ZipFile(wheel) as archive:
        return {
            f"{version}/dist/{name.removeprefix(root)}": archive.read(name)
            for name in archive.namelist()
            if name.startswith(tuple(root + kept for kept in PANEL_KEPT)) and not name.endswith((".map", "/"))
        }
