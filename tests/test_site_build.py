"""The build: the same bytes every time, files known by content, sources tried in order, errors that say what to do."""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import re
import zipfile
from pathlib import Path

import pytest
from PIL import Image

from bandbench import build_python
from bandbench.build import DEFAULT_OUTPUT, PAGE_POLICY, RECORD_NAME, BuildError, build_site, is_current
from bandbench.build_archive import archive_bytes, archive_files
from bandbench.build_assets import AssetGroup, content_digest
from bandbench.build_bytecode import compiled
from bandbench.build_install import MANIFEST, SERVICE_WORKER, program_version
from bandbench.pyodide_source import (
    WHEELS_VARIABLE,
    PyodideSourceError,
    Wheel,
    WheelSource,
    find_wheel,
    locked_wheel,
    pyodide_core,
    wheel_sources,
)
from bandbench.transfer import cold_bytes, cold_table, overdrawn, recorded_bytes

CONTENT = b"the wheel"
WHEEL = Wheel("numpy-test.whl", hashlib.sha256(CONTENT).hexdigest())


@pytest.fixture(scope="module")
def site() -> Path:
    """Return the site as another process built it, if one did; a build takes a quarter of a minute."""
    if not is_current(DEFAULT_OUTPUT):
        build_site(DEFAULT_OUTPUT)
    return DEFAULT_OUTPUT


def all_bytes(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


class TestBuiltSite:
    def test_two_builds_are_equal_byte_for_byte(self, site: Path, tmp_path: Path) -> None:
        build_site(tmp_path / "again")
        first, second = all_bytes(site), all_bytes(tmp_path / "again")
        assert sorted(first) == sorted(second)
        assert [name for name in first if first[name] != second[name]] == []

    def test_every_file_has_its_recorded_hash(self, site: Path) -> None:
        record = json.loads((site / RECORD_NAME).read_text("utf-8"))
        assert len(record["files"]) > 20
        for name, digest in record["files"].items():
            assert hashlib.sha256((site / name).read_bytes()).hexdigest() == digest

    def test_compressed_copies_hold_the_same(self, site: Path) -> None:
        copies = list(site.rglob("*.gz"))
        assert len(copies) > 10
        for copy in copies:
            assert gzip.decompress(copy.read_bytes()) == copy.with_suffix("").read_bytes()

    def test_numpy_is_the_file_that_pyodide_names(self, site: Path) -> None:
        recorder, views = (
            archive_files(gzip.decompress(next(site.rglob(f"{name}.pack")).read_bytes()))
            for name in ("recorder", "views")
        )
        compiled_parts = [name for name in [*recorder, *views] if name.endswith(".so")]
        assert compiled_parts
        assert all(name.startswith("numpy/") for name in compiled_parts)
        assert {"bandbench/runtime/first.pyc", "sim/recorder.pyc"} <= set(recorder)
        assert {"bandbench/bench/application.pyc", "panel/__init__.pyc"} <= set(views)
        assert set(recorder) & set(views) == set()
        assert not any(name.endswith(".py") for name in [*recorder, *views])
        # Other people's documentation texts are left out: nobody reads them in the browser.
        custom = views["panel/custom.pyc"]
        assert b"JSComponent" in custom
        assert b"Message handler for messages sent from the frontend" not in custom

    def test_the_standard_library_is_bytecode_in_pyodides_place(self, site: Path) -> None:
        with zipfile.ZipFile(next(site.rglob("python_stdlib.zip"))) as archive:
            names = set(archive.namelist())
        assert {"os.pyc", "asyncio/__init__.pyc", "encodings/utf_8.pyc", "_pyodide/_base.pyc"} <= names
        assert not any(name.endswith(".py") for name in names)
        assert "pydoc.pyc" not in names

    def test_a_first_visit_takes_at_most_a_tenth_more_than_recorded(self, site: Path) -> None:
        groups = cold_bytes(all_bytes(site))
        print(cold_table(groups))
        assert {"pyodide", "python", "scripts", "page", "index"} <= set(groups)
        assert not overdrawn(groups, recorded_bytes()), cold_table(groups)

    def test_what_is_kept_is_the_whole_site_with_its_hashes(self, site: Path) -> None:
        worker = (site / SERVICE_WORKER).read_text("utf-8")
        found = re.search(r"const \{ build, page, pages, files \} = (\{.*\});", worker)
        assert found
        precache = json.loads(found[1])
        guide = sorted(path for path in all_bytes(site) if path.startswith("guide/") and not path.endswith(".gz"))
        assert len(guide) == 10
        assert precache["pages"] == ["", "console.html", *guide]
        kept = dict(precache["files"])
        beside = {"index.html", "console.html", *guide, SERVICE_WORKER, RECORD_NAME}
        assert set(kept) == {name for name in all_bytes(site) if not name.endswith(".gz")} - beside
        for name, digest in kept.items():
            assert base64.b64encode(hashlib.sha256((site / name).read_bytes()).digest()).decode() == digest
        # Both pages name the folder by which the service worker knows that they belong to these files.
        for name in ("index.html", "console.html"):
            assert precache["page"] in (site / name).read_text("utf-8")
        assert f'"build": "{precache["build"]}"' in (site / "index.html").read_text("utf-8")

    def test_the_manifest_stays_below_its_own_folder(self, site: Path) -> None:
        manifest = json.loads((site / MANIFEST).read_text("utf-8"))
        assert manifest["start_url"] == manifest["scope"] == "./"
        for icon in manifest["icons"]:
            content = (site / icon["src"]).read_bytes()
            if icon["type"] == "image/png":
                assert "x".join(map(str, Image.open(io.BytesIO(content)).size)) == icon["sizes"]

    def test_the_version_is_the_first_in_the_list_of_changes(self, site: Path) -> None:
        changes = (build_python.REPOSITORY / "site" / "CHANGELOG.md").read_text("utf-8")
        found = re.search(r"^## (\S+)", changes, re.MULTILINE)
        assert found
        assert found[1] == program_version()
        assert f"bandbench {program_version()}, build " in (site / "index.html").read_text("utf-8")

    def test_the_page_refers_to_no_other_origin(self, site: Path) -> None:
        page = (site / "index.html").read_text("utf-8")
        assert re.findall(r"(?:https?:)?//[\w.-]+", page) == []
        assert "{{" not in page
        for address in re.findall(r'(?:src|href)="([^"#:]+)"', page):
            assert (site / address).is_file(), address

    def test_the_policy_allows_this_origin_and_no_evaluated_text(self) -> None:
        rules = dict(rule.split(" ", 1) for rule in PAGE_POLICY.split("; "))
        assert rules["default-src"] == "'none'"
        assert rules["connect-src"] == "'self'"
        assert rules["script-src"] == "'self' blob:"
        assert rules["worker-src"] == rules["manifest-src"] == "'self'"
        assert "http" not in PAGE_POLICY

    def test_a_build_knows_whether_it_is_current(self, site: Path, tmp_path: Path) -> None:
        assert is_current(site)
        assert not is_current(tmp_path)
        (tmp_path / RECORD_NAME).write_text('{"inputs": "others"}', "utf-8")
        assert not is_current(tmp_path)

    def test_a_folder_that_no_build_made_is_left_alone(self, tmp_path: Path) -> None:
        (tmp_path / "thesis.txt").write_text("years of work", "utf-8")
        with pytest.raises(BuildError, match="files that no build made"):
            build_site(tmp_path)
        assert (tmp_path / "thesis.txt").read_text("utf-8") == "years of work"


class TestNaming:
    def test_a_group_is_named_by_its_content(self) -> None:
        one = AssetGroup("page", {"a": b"1", "b": b"2"})
        assert one.folder == AssetGroup("page", {"b": b"2", "a": b"1"}).folder
        assert one.folder != AssetGroup("page", {"a": b"1", "b": b"3"}).folder
        assert one.folder != AssetGroup("page", {"a": b"1", "c": b"2"}).folder
        assert one.paths() == {f"{one.folder}/a": b"1", f"{one.folder}/b": b"2"}

    def test_names_and_content_cannot_be_confused(self) -> None:
        assert content_digest({"a": b"b"}) != content_digest({"ab": b""})


class TestArchive:
    def test_round_trip(self) -> None:
        files = {"b/c.py": b"x = 1\n", "a": b"", "ü.txt": "ü".encode()}
        assert archive_files(archive_bytes(files)) == files

    def test_bytecode_is_the_same_every_time_and_keeps_other_files(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        core = pyodide_core()
        files = {"m.py": b"names = {'q', 'w', 'e', 'r', 't'}\nassert names, 'text'\n", "data.json": b"{}"}
        results = []
        for folder in ("one", "two"):
            monkeypatch.setenv("BANDBENCH_CACHE", str(tmp_path / folder))
            results.append(compiled(files, core, optimise=0))
        assert results[0] == results[1]
        assert sorted(results[0]) == ["data.json", "m.pyc"]
        # Nothing is left out with 0; what 2 leaves out is looked at in the site.
        assert b"text" in results[0]["m.pyc"]

    def test_the_lock_holds_every_browser_package_with_hashes(self) -> None:
        listed = build_python.locked_requirements()
        assert len(re.findall(r"^[\w-]+==", listed, re.MULTILINE)) == len(build_python.BROWSER_PACKAGES)
        assert listed.count("--hash=sha256:") >= len(build_python.BROWSER_PACKAGES)


class TestWheelSources:
    @staticmethod
    def source(title: str, answer: bytes | str) -> WheelSource:
        def fetch(_: Wheel) -> bytes:
            if isinstance(answer, str):
                raise PyodideSourceError(answer)
            return answer

        return WheelSource(title, fetch)

    def test_the_first_source_with_the_right_bytes_is_taken_and_kept(self, tmp_path: Path) -> None:
        sources = [
            self.source("away", "not there"),
            self.source("spoiled", b"another file"),
            self.source("good", CONTENT),
            self.source("unasked", "must not be asked"),
        ]
        kept = find_wheel(WHEEL, sources, tmp_path)
        assert kept == tmp_path / WHEEL.file_name
        assert kept.read_bytes() == CONTENT

    def test_without_a_source_the_error_names_each_and_the_remedy(self, tmp_path: Path) -> None:
        sources = [self.source("the cellar", "locked"), self.source("the attic", b"another file")]
        with pytest.raises(PyodideSourceError) as raised:
            find_wheel(WHEEL, sources, tmp_path)
        text = str(raised.value)
        assert text.index("the cellar: locked") < text.index("the attic: it holds another file")
        assert WHEEL.file_name in text
        assert WHEEL.sha256 in text
        assert "--wheels" in text
        assert WHEELS_VARIABLE in text
        assert list(tmp_path.iterdir()) == []

    def test_order_of_the_real_sources(self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
        monkeypatch.delenv(WHEELS_VARIABLE, raising=False)
        titles = [source.title for source in wheel_sources()]
        assert [title.split(" ")[1] for title in titles] == ["cache", "Pyodide", "PyPI"]
        monkeypatch.setenv(WHEELS_VARIABLE, str(tmp_path))
        assert wheel_sources()[0].title == f"the folder {tmp_path}"
        assert wheel_sources(tmp_path / "other")[0].title == f"the folder {tmp_path / 'other'}"

    def test_a_folder_of_wheels_serves(self, tmp_path: Path) -> None:
        (tmp_path / WHEEL.file_name).write_bytes(CONTENT)
        source = wheel_sources(tmp_path)[0]
        assert source.fetch(WHEEL) == CONTENT
        with pytest.raises(PyodideSourceError, match="no such file"):
            source.fetch(Wheel("other.whl", WHEEL.sha256))

    def test_the_wheel_is_the_one_in_pyodides_own_lock(self) -> None:
        wheel = locked_wheel(pyodide_core(), "numpy")
        # QUOTED: pyodide-lock.json of the npm package pyodide 314.0.3.
        assert wheel.file_name == "numpy-2.4.3-cp314-cp314-pyemscripten_2026_0_wasm32.whl"
        assert wheel.sha256 == "0cad9c1b91f0082e4f959bc0e0bf5835a2efbba6ab3b1e9d1fe6e7e564cca98e"
