"""What holds the project together: packages, lock files, task runner, and the finding of programs."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Error, Playwright

import bb
from bandbench import browser_finder, npm_client, system_packages
from bandbench.browser_finder import CHROMIUM_FLAGS, BrowserNotFoundError, find_chromium
from bandbench.cache import cache_folder
from bandbench.npm_client import NpmClientError, find_npm

ROOT = Path(__file__).parents[1]
LOCK_FILES = (ROOT / "requirements.lock", npm_client.LOCK_FILE)


def runner(*words: str, python: str = sys.executable, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the task runner."""
    command = [python, str(ROOT / "bb.py"), *words]
    return subprocess.run(command, capture_output=True, text=True, env={**os.environ, **environment})


def program(path: Path, script: str) -> Path:
    """Write a small program for the shell."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(0o755)
    return path


# Packages -----------------------------------------------------------------------------------------------------


def test_site_stays_pythons_own() -> None:
    # Python's own `site` module prepares every start; a package of that name in the checkout must never win.
    assert not list((ROOT / "site").glob("*.py"))
    found = subprocess.run(
        [sys.executable, "-c", "import site; print(site.__file__)"], cwd=ROOT, capture_output=True, text=True
    )
    assert Path(found.stdout.strip()).is_relative_to(sys.base_prefix)


def test_both_packages_come_from_the_checkout(tmp_path: Path) -> None:
    question = "import sim, bandbench; print(sim.__file__, bandbench.__file__, sep='\\n')"
    found = subprocess.run([sys.executable, "-c", question], cwd=tmp_path, capture_output=True, text=True)
    expected = [ROOT / "sim" / "__init__.py", ROOT / "site" / "bandbench" / "__init__.py"]
    assert [Path(line) for line in found.stdout.splitlines()] == expected


def test_what_is_compiled_is_kept_for_the_next_program_beside_the_environment() -> None:
    asked = "import sys; print(sys.dont_write_bytecode, sys.pycache_prefix)"
    started = f"import bb; bb.keep_bytecode(); bb.run({sys.executable!r}, '-c', {asked!r})"
    said = subprocess.run(
        [sys.executable, "-c", started],
        cwd=ROOT,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": str(ROOT)},
    )
    assert f"False {ROOT / '.venv' / 'bytecode'}" in said.stdout, said.stdout + said.stderr


@pytest.mark.parametrize("path", LOCK_FILES, ids=lambda path: path.name)
def test_lock_files_hold_hashes_and_no_addresses(path: Path) -> None:
    text = path.read_text()
    requirements = re.findall(r"^([\w.-]+)==\S+", text, re.MULTILINE)
    hashed = re.findall(r"^([\w.-]+)==.*\\\n    --hash=sha256:[0-9a-f]{64}", text, re.MULTILINE)
    assert requirements
    assert requirements == hashed
    for forbidden in ("://", "--index", "--find-links", "--trusted", "file:", "/home", "/root", "/tmp", " @ "):
        assert forbidden not in text, forbidden


def test_everything_declared_is_locked() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    declared = [*project["project"]["dependencies"], *project["dependency-groups"]["dev"]]
    names = {re.match(r"[\w.-]+", line).group().lower() for line in declared}  # type: ignore[union-attr]
    locked = set(re.findall(r"^([\w.-]+)==", LOCK_FILES[0].read_text(), re.MULTILINE))
    assert names <= locked
    pinned = [line for line in declared if "==" in line.partition(";")[0]]
    assert pinned
    for line in pinned:
        assert f"{line} " in LOCK_FILES[0].read_text()


# Task runner --------------------------------------------------------------------------------------------------


def test_bare_call_lists_the_recipes() -> None:
    said = runner()
    assert said.returncode == 0
    for name in ("serve", "test", "setup", "build", "lint", "unit", "bench", "ci"):
        assert re.search(rf"^  {name} ", said.stdout, re.MULTILINE), name


def test_unknown_recipe() -> None:
    said = runner("tset")
    assert said.returncode == 1
    assert "no recipe 'tset'" in said.stderr
    assert "test" in said.stderr


def test_setup_does_nothing_when_all_is_there() -> None:
    assert bb.is_set_up(), "run python3 bb.py setup"
    said = runner("setup", CI="")
    assert (said.returncode, said.stdout) == (0, "")


def pretend_python(version: tuple[int, int], path: Path) -> Path:
    """Return a Python that takes itself for another version, to see what the task runner makes of it."""
    code = f"import sys, runpy; sys.version_info = ({version[0]}, {version[1]}, 0, 'final', 0); "
    code += f"sys.version = '{version[0]}.{version[1]}.0'; "
    code += "sys.argv = sys.argv[1:]; runpy.run_path(sys.argv[0], run_name='__main__')"
    return program(path, f'exec {sys.executable} -c "{code}" "$@"')


def test_old_python_says_what_to_do(tmp_path: Path) -> None:
    old = pretend_python((3, 9), tmp_path / "python3")
    said = runner("setup", python=str(old), PATH=str(tmp_path))
    assert said.returncode == 1
    assert "needs Python 3.11 or newer; this is 3.9.0" in said.stderr
    assert "Traceback" not in said.stderr


def test_old_python_hands_over_to_a_newer_one(tmp_path: Path) -> None:
    assert bb.is_set_up(), "run python3 bb.py setup"
    old = pretend_python((3, 9), tmp_path / "python3")
    # The first is a switch for a Python that is not installed; the second is real.
    program(tmp_path / "python3.14", "exit 127")
    (tmp_path / "python3.12").symlink_to(sys.executable)
    said = runner("setup", python=str(old), PATH=str(tmp_path), CI="")
    assert said.returncode == 0, said.stderr
    assert f"going on with {tmp_path / 'python3.12'}" in said.stdout


# npm ----------------------------------------------------------------------------------------------------------


def test_npm_of_the_machine_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = program(tmp_path / "npm", "echo 11.0.0")
    monkeypatch.setenv("PATH", str(tmp_path))
    assert find_npm() == [str(own)]


@pytest.mark.parametrize("script", [None, "echo 'node: not found' >&2; exit 127"], ids=["none", "broken"])
def test_without_a_working_npm_the_pinned_one_serves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str | None
) -> None:
    if script is not None:
        program(tmp_path / "npm", script)
    monkeypatch.setenv("PATH", str(tmp_path))
    command = find_npm()
    assert Path(command[0]).is_relative_to(cache_folder())
    said = subprocess.run([*command, "--version"], capture_output=True, text=True, check=True)
    assert re.fullmatch(r"\d+\.\d+\.\d+", said.stdout.strip())


def test_an_npm_that_is_not_the_locked_one_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lock = tmp_path / "wrong.lock"
    lock.write_text(re.sub(r"sha256:\w{8}", "sha256:00000000", npm_client.LOCK_FILE.read_text()))
    monkeypatch.setattr(npm_client, "LOCK_FILE", lock)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setenv("BANDBENCH_CACHE", str(tmp_path / "cache"))
    with pytest.raises(NpmClientError, match=r"(?s)HASHES.*Install Node\.js"):
        find_npm()
    assert list((tmp_path / "cache").iterdir()) == []


def test_cache_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BANDBENCH_CACHE", str(tmp_path / "named"))
    assert cache_folder() == tmp_path / "named"
    assert cache_folder().is_dir()
    monkeypatch.delenv("BANDBENCH_CACHE")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setattr(sys, "platform", "darwin")
    assert cache_folder() == tmp_path / "Library" / "Caches" / "bandbench"
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert cache_folder() == tmp_path / "xdg" / "bandbench"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    assert cache_folder() == tmp_path / ".cache" / "bandbench"


# Installing with apt ------------------------------------------------------------------------------------------


def test_apt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert system_packages.install_with_apt("thing") == "this system has no apt-get"
    log = tmp_path / "log"
    program(tmp_path / "apt-get", f'echo "$@" >> {log}; echo "E: no such thing"; [ "$1" = update ]')
    (tmp_path / "env").symlink_to(str(shutil.which("env", path="/usr/bin:/bin")))
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    refusal = system_packages.install_with_apt("thing")
    assert "run: sudo apt-get install thing" in refusal
    assert not log.exists()
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert system_packages.install_with_apt("thing") == "apt-get install failed: E: no such thing"
    assert log.read_text().splitlines() == ["update", "install --yes --no-install-recommends thing"]
    program(tmp_path / "apt-get", "exit 0")
    assert system_packages.install_with_apt("thing") == ""
    # A user whose sudo asks for no password may install; one whose sudo asks may not.
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    program(tmp_path / "sudo", 'shift; [ "$1" = true ] || exec "$@"')
    (tmp_path / "true").symlink_to(str(shutil.which("true", path="/usr/bin:/bin")))
    assert system_packages.superuser_prefix() == ["sudo", "-n"]
    assert system_packages.install_with_apt("thing") == ""
    program(tmp_path / "sudo", "exit 1")
    assert system_packages.superuser_prefix() is None


# Chromium -----------------------------------------------------------------------------------------------------


@pytest.fixture
def bare_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the only folder on PATH of a machine without any browser or right to install one."""
    folder = tmp_path / "bin"
    folder.mkdir()
    monkeypatch.setenv("PATH", str(folder))
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.delenv(browser_finder.VARIABLE, raising=False)
    monkeypatch.setattr(browser_finder, "_playwright_path", lambda: tmp_path / "playwright" / "chrome")
    monkeypatch.setattr(browser_finder, "_run_playwright", lambda prefix, *words: "Error: no connection")
    return folder


def test_named_chromium(bare_machine: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program(bare_machine / "chromium", "echo 1")
    other = program(bare_machine / "elsewhere" / "mine", "echo 2")
    monkeypatch.setenv(browser_finder.VARIABLE, str(other))
    assert find_chromium() == other
    # One that was asked for and does not run is an error; no other is taken for it.
    for bad in (program(bare_machine / "bad", "exit 1"), bare_machine / "absent"):
        monkeypatch.setenv(browser_finder.VARIABLE, str(bad))
        with pytest.raises(BrowserNotFoundError, match=f"BANDBENCH_CHROMIUM names {bad}"):
            find_chromium()


def test_chromium_that_does_not_run_is_passed_over(bare_machine: Path) -> None:
    # Ubuntu's package of that name is a script that asks for a snap.
    program(bare_machine / "chromium-browser", "echo 'requires the chromium snap' >&2; exit 1")
    chrome = program(bare_machine / "google-chrome", "echo 159")
    assert find_chromium() == chrome


def test_snap_is_the_last_resort(bare_machine: Path, tmp_path: Path) -> None:
    snap = program(tmp_path / "snap" / "bin" / "chromium", "echo 159")
    (bare_machine / "chromium").symlink_to(snap)
    assert find_chromium() == bare_machine / "chromium"
    playwrights_own = program(tmp_path / "playwright" / "chrome", "echo 159")
    assert find_chromium() == playwrights_own


def installer(path: Path) -> Callable[..., str]:
    def install(*words: object) -> str:
        program(path, "echo 159")
        return ""

    return install


def test_playwright_installs_one(bare_machine: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = tmp_path / "playwright" / "chrome"
    monkeypatch.setattr(browser_finder, "_run_playwright", installer(own))
    assert find_chromium() == own


def test_apt_installs_one(bare_machine: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(browser_finder, "install_with_apt", installer(bare_machine / "chromium"))
    assert find_chromium() == bare_machine / "chromium"


def test_no_browser_is_an_error_that_says_what_was_tried(bare_machine: Path) -> None:
    program(bare_machine / "chromium", "echo 'libnss3.so: cannot open' >&2; exit 127")
    with pytest.raises(BrowserNotFoundError) as caught:
        find_chromium()
    said = str(caught.value)
    for part in (
        "libnss3.so: cannot open",
        "google-chrome: not on PATH",
        "playwright install chromium: Error: no connection",
        "apt-get install chromium: this system has no apt-get",
        "sudo apt-get install chromium",
        "BANDBENCH_CHROMIUM",
    ):
        assert part in said


def test_macos_applications(bare_machine: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setenv("HOME", str(tmp_path))
    chrome = program(tmp_path / "Applications/Google Chrome.app/Contents/MacOS/Google Chrome", "echo 159")
    assert find_chromium() == chrome


def test_browser_of_this_machine_runs(browser: Browser) -> None:
    page = browser.new_page()
    page.set_content("<title>bench</title><p id=sum></p><script>sum.textContent = 6 * 7</script>")
    assert page.title() == "bench"
    assert page.text_content("#sum") == "42"


def test_what_playwright_disables_in_chromium_is_in_our_list_too(playwright: Playwright, tmp_path: Path) -> None:
    told = tmp_path / "told"
    noting = program(tmp_path / "chromium", f'printf "%s\\n" "$@" >"{told}"')
    with pytest.raises(Error):
        playwright.chromium.launch(executable_path=noting, args=list(CHROMIUM_FLAGS))
    name = "--disable-features="
    lists = [set(word.removeprefix(name).split(",")) for word in told.read_text().split() if word.startswith(name)]
    assert len(lists) > 1
    # The last one is ours, and the only one that counts.
    assert set().union(*lists) == lists[-1]
