"""Pack the site for a school's learning system: one zip, the standard's manifest at its root and the site beside it.

Contents: `Packaged` and `package_files` (what belongs inside, by path), `zip_bytes` (always the same bytes for the
same files). Each standard has a module of its own with ``manifest_files(packaged)`` (see `_MANIFESTS`).

Learning systems serve files as they please: nothing inside needs a header, a service worker, storage or a certain
path. Scripts are named ``.js``: some servers do not know ``.mjs``, and a browser refuses to run what they send then.
"""

from __future__ import annotations

import argparse
import gzip
import io
import json
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path, PurePosixPath

from bandbench.bench.datafiles import FOLDER, PARSED
from bandbench.bench.lessons import NOT_LESSONS, read_course, read_lessons
from bandbench.build import DEFAULT_OUTPUT, RECORD_NAME, build_site, is_current
from bandbench.build_archive import archive_bytes, archive_files
from bandbench.build_assets import compressed
from bandbench.build_install import INSTALL_NAMES
from bandbench.build_page import lesson_html
from bandbench.policy import checked_origin, with_connections
from sim.errors import BandbenchError, UnknownNameError
from sim.training.course import Course
from sim.training.lesson import Lesson

__all__ = ["KINDS", "PackageError", "Packaged", "add_arguments", "package_files", "run", "site_files", "zip_bytes"]

# Each has `manifest_files(packaged)`, which returns what goes to the zip's root, by name; imported when asked for.
_MANIFESTS = {"scorm": "bandbench.scorm_manifest", "cmi5": "bandbench.cmi5_manifest"}

KINDS = tuple(_MANIFESTS)
"""The standards that a package can follow."""

START = "index.html"
"""The page that a learning system opens, beside the manifest."""

# The oldest date a zip can hold: the time of packing must not make two packages differ.
_DATE = (1980, 1, 1, 0, 0, 0)
_FILE_MODE = 0o100644 << 16
_PACKED_ALREADY = {".pack", ".png", ".whl", ".zip"}
_ANY_SAFE = "https:"
_INSTALLING = re.compile(r'<link rel="manifest"[^>]*>\n?')
_PARTS = '<script id="site-parts" type="application/json">'


class PackageError(BandbenchError):
    """The package cannot be made from what is there."""


@dataclass(frozen=True)
class Packaged:
    """What a manifest tells about.

    Attributes
    ----------
    course : Course
        The whole course.
    lessons : tuple of Lesson
        Those inside, in the course's order.
    lesson : Lesson or None
        The only one inside; None for the whole course.
    files : tuple of str
        Paths of the site's files in the package, in order; `START` is one of them.
    version : str
        Which program is inside: what attempts name as theirs.
    """

    course: Course
    lessons: tuple[Lesson, ...]
    lesson: Lesson | None
    files: tuple[str, ...]
    version: str

    @property
    def title(self) -> str:
        """Title of the lesson, or of the course."""
        return self.lesson.title if self.lesson else self.course.title


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of ``bandbench package``."""
    parser.add_argument("kind", choices=KINDS, help="the standard that the learning system understands")
    parser.add_argument("--lesson", metavar="ID", help="one lesson alone (the whole course)")
    parser.add_argument(
        "--lms-origin",
        metavar="ORIGIN",
        help="cmi5: the only origin to report to, such as https://lms.school.example (any with https)",
    )
    parser.add_argument("--out", type=Path, metavar="ZIP", help="the file to write (bandbench-KIND.zip)")


def run(arguments: argparse.Namespace) -> int:
    """Pack the site as the command line asks, building it first if the project's files have changed."""
    of_lesson = f"-{arguments.lesson}" if arguments.lesson else ""
    out: Path = arguments.out or Path(f"bandbench{of_lesson}-{arguments.kind}.zip")
    _chosen(read_lessons(), arguments.lesson)
    if not is_current(DEFAULT_OUTPUT):
        print("Building the site ...", flush=True)
        build_site(DEFAULT_OUTPUT)
    site = site_files(DEFAULT_OUTPUT)
    content = zip_bytes(package_files(site, arguments.kind, arguments.lesson, arguments.lms_origin))
    try:
        out.write_bytes(content)
    except OSError as error:
        raise PackageError(f"{out} cannot be written: {error.strerror}. Name another file with --out.") from error
    print(f"Packed {len(content)} bytes into {out}")
    return 0


def site_files(folder: Path) -> dict[str, bytes]:
    """Return a built site's files by path, without their compressed copies.

    Parameters
    ----------
    folder : Path
        What `bandbench.build.build_site` made.
    """
    if not (folder / START).is_file():
        raise PackageError(f"{folder} holds no built site; build it with `bandbench build`.")
    paths = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    return {
        name: path.read_bytes()
        for name, path in sorted(paths.items())
        if name not in (RECORD_NAME, *INSTALL_NAMES) and path.suffix != ".gz"
    }


def package_files(
    site: Mapping[str, bytes], kind: str, lesson: str | None = None, lms_origin: str | None = None
) -> dict[str, bytes]:
    """Return what belongs in a package, by path.

    Parameters
    ----------
    site : mapping of str to bytes
        A built site's files by path.
    kind : str
        One of `KINDS`.
    lesson : str, optional
        Id of the only lesson inside; without it the whole course is.
    lms_origin : str, optional
        For cmi5: the only origin that the page may report to beside its own; without it, any with https.

    Raises
    ------
    UnknownNameError
        If there is no such lesson.
    PolicyError
        If the page cannot be opened to this origin.
    """
    lessons = read_lessons()
    chosen = _chosen(lessons, lesson)
    course = read_course(lessons)
    index = site[START].decode()
    parts = _parts_of(index)
    if lms_origin is not None and kind != "cmi5":
        raise PackageError(f"a {kind} package reports to the page around it alone; --lms-origin is for cmi5.")
    if kind == "cmi5":
        # Which learning system launches it, and where that keeps its records, is known only at the launch.
        index = with_connections(index, checked_origin(lms_origin) if lms_origin else _ANY_SAFE)
        parts = {**parts, "statements": {"origin": "", "endpoint": "", "cmi5": True}}
    if chosen is not None:
        site = _without_other_lessons(site, parts, chosen)
    # A learning system's frame can neither keep nor install it.
    index = _INSTALLING.sub("", index)
    marked = _with_parts(index, {**parts, "package": {"kind": kind, "lesson": lesson or ""}})
    if chosen is not None:
        # The page reads before any script runs: what it says is the lesson that is inside.
        first = lesson_html(lessons[course.lessons[0]])
        if marked.count(first) != 1:
            raise PackageError("the built page does not show the course's first lesson; build the site anew.")
        marked = marked.replace(first, lesson_html(chosen))
    inside = _plainly_named({**site, START: marked.encode()})
    packaged = Packaged(
        course=course,
        lessons=(chosen,) if chosen else tuple(lessons[name] for name in course.lessons),
        lesson=chosen,
        files=tuple(sorted(inside)),
        version=str(parts["version"]),
    )
    manifest: dict[str, bytes] = import_module(_MANIFESTS[kind]).manifest_files(packaged)
    return inside | manifest


def zip_bytes(files: Mapping[str, bytes]) -> bytes:
    """Return a zip of files by path: sorted, without moment or owner, so that the same files give the same bytes."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for path, content in sorted(files.items()):
            entry = zipfile.ZipInfo(path, _DATE)
            entry.create_system = 3
            entry.external_attr = _FILE_MODE
            packed = PurePosixPath(path).suffix in _PACKED_ALREADY
            entry.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
            archive.writestr(entry, content, compresslevel=9)
    return buffer.getvalue()


def _chosen(lessons: Mapping[str, Lesson], lesson: str | None) -> Lesson | None:
    if lesson is not None and lesson not in lessons:
        raise UnknownNameError("lesson", lesson, lessons)
    return None if lesson is None else lessons[lesson]


def _parts_of(index: str) -> dict[str, object]:
    """Return what the page knows about the site's parts (see `bandbench.build`)."""
    _, found, rest = index.partition(_PARTS)
    if not found:
        raise PackageError("the built page does not name its parts; build the site anew.")
    parts: dict[str, object] = json.loads(rest.partition("</script>")[0])
    return parts


def _with_parts(index: str, parts: Mapping[str, object]) -> str:
    before, _, rest = index.partition(_PARTS)
    _, end, after = rest.partition("</script>")
    return before + _PARTS + json.dumps(parts).replace("<", "\\u003c") + end + after


def _without_other_lessons(site: Mapping[str, bytes], parts: Mapping[str, object], lesson: Lesson) -> dict[str, bytes]:
    """Return the site without what the other lessons say: a learner has no use for it, and a start is quicker."""
    path = str(_table_of(parts["archives"])["views"])
    files = archive_files(gzip.decompress(site[path]))
    place = f"{FOLDER.name}/{PARSED}"
    data: dict[str, object] = json.loads(files[place])
    for name in [name for name in data if name not in NOT_LESSONS]:
        told = data[name]
        if not isinstance(told, Mapping) or told.get("id") != lesson.id:
            del data[name]
    files[place] = json.dumps(data, ensure_ascii=False, separators=(",", ":")).encode()
    return {**site, path: compressed(archive_bytes(files))}


def _table_of(value: object) -> dict[str, object]:
    if not isinstance(value, dict):
        raise PackageError("the built page does not tell where its archives are; build the site anew.")
    return value


def _plainly_named(site: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the site with every script named ``.js``, where it stands and where it is asked for."""
    renamed = {}
    for path, content in site.items():
        asks = path.endswith((".mjs", ".html"))
        name = path.removesuffix(".mjs") + ".js" if path.endswith(".mjs") else path
        renamed[name] = content.replace(b".mjs", b".js") if asks else content
    return renamed
