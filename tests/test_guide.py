"""The guide as it is built: every page in every language, links that lead somewhere, commands that exist."""

from __future__ import annotations

import re
from pathlib import Path, PurePosixPath

import pytest
from lxml import html

from bandbench import build_guide
from bandbench.build_guide import GUIDE, GUIDE_PAGES, GuideError, guide_files, guide_title
from bandbench.command import main

CHANGES = "# Changes\n\n## 0.1.0\n\n- First.\n"
FILES = guide_files("assets/page-0", ("page.css", "guide.css"), CHANGES)
LANGUAGES = sorted(path.name for path in GUIDE.iterdir())


def text_of(path: str) -> html.HtmlElement:
    return html.document_fromstring(FILES[path].decode())


def test_each_language_has_each_page_with_as_many_chapters() -> None:
    assert {"de", "en"} <= set(LANGUAGES)
    for name in GUIDE_PAGES:
        chapters = {len(text_of(f"guide/{language}/{name}.html").xpath("//main//h2")) for language in LANGUAGES}
        assert len(chapters) == 1, name
        assert chapters.pop() >= 5, name


@pytest.mark.parametrize("path", sorted(FILES))
def test_links_of_a_page_lead_to_files_of_the_site(path: str) -> None:
    known = set(FILES) | {"index.html", "assets/page-0/page.css", "assets/page-0/guide.css"}
    for link in text_of(path).xpath("//@href"):
        if link == "data:,":
            continue
        parts: list[str] = []
        for part in (PurePosixPath(path).parent / link).parts:
            if part == "..":
                parts.pop()
            else:
                parts.append(part)
        assert "/".join(parts) in known, link


@pytest.mark.parametrize("path", sorted(FILES))
def test_a_page_says_its_language_has_one_title_and_runs_no_script(path: str) -> None:
    page = text_of(path)
    assert page.get("lang") == path.split("/")[1]
    assert len(page.xpath("//h1")) == 1
    assert not page.xpath("//script | //@onclick | //@style")
    policy = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")
    assert policy == [build_guide.GUIDE_POLICY]
    assert "script-src" not in policy[0]


def test_the_commands_that_the_guide_names_exist(capsys: pytest.CaptureFixture[str]) -> None:
    named: set[str] = set()
    for path in GUIDE.glob("*/*.md"):
        named |= set(re.findall(r"\bbandbench ([a-z]+)", path.read_text("utf-8")))
    assert {"report", "package", "lessons", "words"} <= named
    for subcommand in sorted(named):
        with pytest.raises(SystemExit) as exited:
            main([subcommand, "--help"])
        assert exited.value.code == 0, subcommand
    capsys.readouterr()


def test_the_files_that_the_guide_names_exist() -> None:
    root = GUIDE.parents[1]
    for path in GUIDE.glob("*/*.md"):
        for name in re.findall(r"`((?:lessons|sim)/[\w./-]+)`", path.read_text("utf-8")):
            assert (root / name).exists() or "my-lesson" in name, f"{path}: {name}"


def test_markup_in_a_source_stays_text() -> None:
    files = guide_files("assets/page-0", (), "# Changes\n\n<script>alert(1)</script> <b>bold</b>\n")
    page = html.document_fromstring(files["guide/en/changes.html"].decode())
    assert not page.xpath("//script | //main//b")
    assert "<script>alert(1)</script>" in page.text_content()


def test_a_page_without_title_and_a_missing_page_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(GuideError, match=r"guide/en/hosts\.md.*begins with its title"):
        guide_title("No heading\n", "guide/en/hosts.md")
    (tmp_path / "guide" / "fr").mkdir(parents=True)
    monkeypatch.setattr(build_guide, "GUIDE", tmp_path / "guide")
    with pytest.raises(GuideError, match=r"guide/fr/learners\.md is missing"):
        guide_files("assets/page-0", (), CHANGES)
