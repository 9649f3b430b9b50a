#!/usr/bin/env python3
"""Task runner of bandbench: `python3 bb.py` lists what it can do.

It needs a Python and nothing else: what a recipe needs is put into `.venv`, beside this file, first. This
file alone is kept readable by Pythons older than the project's, so that they can say what is wrong.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import threading
import time
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
VENV_PYTHON = VENV / "bin" / "python"
# Written last, with a digest of what the environment was made from.
STAMP = VENV / "made-from.sha256"
# Where all programs started from here keep what Python has compiled, also in an environment that asks Python to keep
# nothing: each of the many that run the tests would compile all libraries anew. Out of sight of the checkout, and made
# anew with the environment.
BYTECODE = VENV / "bytecode"
LOCK_FILE = ROOT / "requirements.lock"
NPM_LOCK_FILE = ROOT / "site" / "bandbench" / "npm_client.lock"
OLDEST_PYTHON = (3, 11)
# Newest first: the interpreters to look for when this one is too old.
OTHER_PYTHONS = ("python3.15", "python3.14", "python3.13", "python3.12", "python3.11")


class Failure(Exception):
    """What went wrong and what to do about it, for a person."""


def say(text: str) -> None:
    """Print one line about what happens next, in order with what the started programs print."""
    print(text, flush=True)


def keep_bytecode() -> None:
    """Let every program that is started from here keep what it has compiled for the others (see `BYTECODE`)."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = str(BYTECODE)


def run(*words: str | Path, env: dict[str, str] | None = None) -> None:
    """Run a program in the checkout and pass its failure on."""
    started = time.monotonic()
    command = [str(word) for word in words]
    shown = " ".join(command).replace(str(ROOT) + os.sep, "")
    say(f"\n== {shown}")
    code = subprocess.run(command, cwd=ROOT, env=env).returncode
    if code != 0:
        raise Failure(f"failed with exit status {code}: {shown}")
    say(f"== done in {time.monotonic() - started:.1f} s")


def in_ci() -> bool:
    """Tell whether this is a continuous-integration run."""
    return os.environ.get("CI", "").lower() not in ("", "0", "false")


# Setting up -----------------------------------------------------------------------------------------------


def check_python() -> None:
    """Go on under a Python that is new enough and outside `.venv`, or say that there is none."""
    if sys.platform == "win32":
        raise Failure("bandbench is set up on Linux and macOS only; on Windows, start it inside WSL.")
    if sys.version_info[:2] >= OLDEST_PYTHON:
        if Path(sys.prefix) == VENV:
            # An activated environment cannot make itself anew: go on with the Python that it was made with.
            outside = str(Path(sys.base_prefix) / "bin" / f"python{sys.version_info[0]}.{sys.version_info[1]}")
            os.execv(outside, [outside, *sys.argv])
        return
    for name in OTHER_PYTHONS:
        path = shutil.which(name)
        # A name on the path may be a switch that answers for no installed Python: only one that runs counts.
        if path and subprocess.run([path, "-c", ""], stderr=subprocess.DEVNULL).returncode == 0:
            say(f"Python {sys.version.split()[0]} is too old; going on with {path}")
            os.execv(path, [path, *sys.argv])
    wanted = ".".join(map(str, OLDEST_PYTHON))
    raise Failure(
        f"bandbench needs Python {wanted} or newer; this is {sys.version.split()[0]} ({sys.executable}).\n"
        "Install a newer one (Debian, Ubuntu: sudo apt-get install python3; macOS: python.org or Homebrew)\n"
        "and start bb.py with it, for example: python3.13 bb.py serve"
    )


def lock_digest() -> str:
    """Return a digest of all that decides what belongs in the environment."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    installed = [project["project"], project["build-system"], project["tool"]["hatch"], str(ROOT)]
    return hashlib.sha256(LOCK_FILE.read_bytes() + repr(installed).encode()).hexdigest()


def ensure_ensurepip() -> None:
    """Have the part of Python that makes environments: Debian and Ubuntu ship it as a package of its own."""
    probe = [sys.executable, "-c", "import ensurepip, venv"]
    if subprocess.run(probe, stderr=subprocess.DEVNULL).returncode == 0:
        return
    sys.path.insert(0, str(ROOT / "site"))
    from bandbench.system_packages import install_with_apt

    package = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
    why_not = install_with_apt(package)
    if why_not or subprocess.run(probe, stderr=subprocess.DEVNULL).returncode != 0:
        raise Failure(
            f"this Python ({sys.executable}) cannot make an environment: its venv and ensurepip modules are\n"
            f"missing. Tried to install {package}: {why_not or 'done, yet they are still missing'}.\n"
            "Elsewhere than on Debian and Ubuntu, use a Python that has them. Then start bb.py again."
        )


def is_set_up() -> bool:
    """Tell whether `.venv` is there, works, and was made from the present lock file."""
    if not STAMP.is_file() or STAMP.read_text() != lock_digest():
        return False
    # The stamp may outlive the Python that the environment was made with; the interpreter must still start.
    probe = [str(VENV_PYTHON), "-c", "import sim, bandbench"]
    return subprocess.run(probe, stderr=subprocess.DEVNULL).returncode == 0


def setup() -> None:
    """Make `.venv` hold exactly what the lock file says; quick when it already does.

    In continuous integration it is always made anew, so that nothing left over can make a test pass.
    """
    if is_set_up() and not in_ci():
        return
    ensure_ensurepip()
    say(f"Making {VENV.name} with Python {sys.version.split()[0]}; the first time takes some minutes.")
    if VENV.exists():
        shutil.rmtree(VENV)
    run(sys.executable, "-m", "venv", VENV)
    pip = (VENV_PYTHON, "-m", "pip", "--disable-pip-version-check", "install", "--quiet", "--no-compile")
    try:
        run(*pip, "--require-hashes", "--only-binary=:all:", "-r", LOCK_FILE)
        run(*pip, "--no-index", "--no-deps", "--no-build-isolation", "--editable", ROOT)
    except Failure as failure:
        raise Failure(
            f"{failure}\nWhat pip said stands above.\n"
            "- A lost connection: start bb.py again.\n"
            "- No matching distribution: the package index was not reached, or has no ready-made file of that\n"
            f"  package for this Python ({sys.version.split()[0]}) or system; use Python 3.11 to 3.15.\n"
            "- A hash that does not match: the file is not the one that was locked; do not use it."
        ) from None
    STAMP.write_text(lock_digest())


def in_venv(*words: str | Path) -> None:
    """Run a Python module with the Python of the environment."""
    run(VENV_PYTHON, "-m", *words)


# Recipes --------------------------------------------------------------------------------------------------


def recipe_setup(arguments: list[str]) -> None:
    """Make .venv with every locked dependency (all other recipes begin with this)."""


def recipe_serve(arguments: list[str]) -> None:
    """Build the site, serve it on this machine and open it (--no-open, --port N)."""
    say("\n== bandbench serve " + " ".join(arguments))
    # Replaces this process, so that Ctrl-C and kill reach the server itself.
    os.execv(VENV_PYTHON, [str(VENV_PYTHON), "-m", "bandbench.command", "serve", *arguments])


def recipe_build(arguments: list[str]) -> None:
    """Build the site into dist/."""
    in_venv("bandbench.command", "build", *arguments)


def recipe_lint(arguments: list[str]) -> None:
    """Check style (ruff) and types (mypy --strict)."""
    in_venv("ruff", "check", ".")
    in_venv("mypy")


def recipe_unit(arguments: list[str]) -> None:
    """Run the tests that need no browser; further words go to pytest."""
    in_venv("pytest", "-m", "not browser", *arguments)


def recipe_test(arguments: list[str]) -> None:
    """Check style and types and run all tests, in a real Chromium too (found or installed)."""
    # Before the tests, so that a machine without a browser learns it in the first minute, not the last.
    in_venv("bandbench.browser_finder")
    if arguments:
        recipe_lint([])
        in_venv("pytest", *arguments)
        return
    in_venv("ruff", "check", ".")
    # A build first: both halves of the tests then find everything that has to be fetched.
    in_venv("bandbench.command", "build")
    tests_side_by_side()


# Waits for the machine most of the time: a wheel takes a minute to come to rest.
WAITING_TESTS = "tests/browser/test_transport.py"
# The longest go first, so that no lot is left alone with one at the end.
LONG_TESTS = tuple(
    f"tests/browser/test_{name}.py"
    for name in (
        *("records", "bench_page", "reporting", "learner_flow", "offline", "monitoring", "console", "scorm", "course"),
        *("site_foundation", "recovery"),
    )
)


def tests_side_by_side() -> None:
    """Run the tests on two cores: one lot begins with those in a browser, file by file, another with the types and all
    that need none, and goes on with the next of the browser's files when it is done. A third one mostly waits; it takes
    nothing more, for three at work on two cores leave the longest lot, which cannot be cut, alone at the end.
    """
    python = (str(VENV_PYTHON), "-m")
    pytest = ("pytest", "--durations=15")
    files = [str(path.relative_to(ROOT)) for path in sorted((ROOT / "tests" / "browser").glob("test_*.py"))]
    long_first = sorted(files, key=lambda name: LONG_TESTS.index(name) if name in LONG_TESTS else len(LONG_TESTS))
    waiting = deque((*pytest, name) for name in long_first if name != WAITING_TESTS)
    speaking = threading.Lock()
    failed: list[str] = []

    def run_one(words: tuple[str, ...]) -> None:
        said = subprocess.PIPE
        done = subprocess.run((*python, *words), cwd=ROOT, stdout=said, stderr=subprocess.STDOUT, check=False)
        with speaking:
            say(f"\n== {' '.join(words)}\n{done.stdout.decode('utf-8', 'replace')}")
            if done.returncode:
                failed.append(" ".join(words))

    def work(first: tuple[tuple[str, ...], ...] = ()) -> None:
        for words in first:
            run_one(words)
        while True:
            try:
                words = waiting.popleft()
            except IndexError:
                return
            run_one(words)

    say("\n== all tests, in lots side by side; each lot says what it has to say when it is done")
    with ThreadPoolExecutor(3) as pool:
        lots = [
            pool.submit(run_one, (*pytest, WAITING_TESTS)),
            pool.submit(work),
            pool.submit(work, (("mypy",), (*pytest, "-m", "not browser"))),
        ]
        for lot in lots:
            lot.result()
    if failed:
        raise Failure(f"tests failed: {'; '.join(failed)}")


def recipe_bench(arguments: list[str]) -> None:
    """Measure speed: native NumPy, the browser, latency and start, as ratios in one run (--json, --compare FILE)."""
    in_venv("bandbench.benchmark", *arguments)


def recipe_fuzz(arguments: list[str]) -> None:
    """Spoil every input that comes from outside for a while and tell what must not happen (--minutes N, --seed N)."""
    in_venv("tests.fuzz", *arguments)


def recipe_walk(arguments: list[str]) -> None:
    """Do thousands of things at random at the bench in a Chromium (--operations N, --seed N)."""
    in_venv("tests.walk", *arguments)


def recipe_firefox(arguments: list[str]) -> None:
    """Use the page in a real Firefox (found, or installed by apt-get) and tell everything it complains of (--site)."""
    in_venv("tests.firefox", *arguments)


def recipe_deaths(arguments: list[str]) -> None:
    """Have the page's worker die in every way it can, in a Chromium; the attempt has to go on each time."""
    in_venv("tests.deaths", *arguments)


def recipe_flashes(arguments: list[str]) -> None:
    """Play every fault at its worst to the flash limiter; fail if one is left that flashes too much (FAULT ...)."""
    in_venv("tests.flashes", *arguments)


def recipe_soak(arguments: list[str]) -> None:
    """Work at the page in a browser for an hour (--minutes N); fail if anything grows, drifts or breaks."""
    in_venv("bandbench.soak", *arguments)


def recipe_docs(arguments: list[str]) -> None:
    """Write sim/nomenclature.md and lessons/symptom-chart.md from their sources (--check: only tell if stale)."""
    in_venv("bandbench.nomenclature", *arguments)
    in_venv("bandbench.symptomchart", *arguments)


def recipe_screens(arguments: list[str]) -> None:
    """Take pictures of every screen into tests/output/screens (words: which tours; --check: judge each, too)."""
    in_venv("tests.browser.screens", *arguments)


def recipe_lock(arguments: list[str]) -> None:
    """Resolve the dependencies anew and write both lock files (for maintainers; --upgrade)."""
    tools = ROOT / ".venv-lock"
    run(sys.executable, "-m", "venv", "--clear", tools)
    run(tools / "bin" / "python", "-m", "pip", "install", "--quiet", "uv")
    # Nothing about the machine or the index it used gets into the files: no options, no addresses.
    compile_words = (
        *(tools / "bin" / "uv", "pip", "compile", "--quiet", "--universal", "--python-version", "3.11"),
        *("--generate-hashes", "--no-emit-index-url", "--custom-compile-command", "python3 bb.py lock"),
    )
    run(*compile_words, "--group", "dev", "pyproject.toml", "-o", LOCK_FILE.relative_to(ROOT), *arguments)
    run(*compile_words, "--group", "npm", "-o", NPM_LOCK_FILE.relative_to(ROOT), *arguments)
    shutil.rmtree(tools)


RECIPES = {
    "serve": recipe_serve,
    "test": recipe_test,
    "setup": recipe_setup,
    "build": recipe_build,
    "lint": recipe_lint,
    "unit": recipe_unit,
    "bench": recipe_bench,
    "fuzz": recipe_fuzz,
    "walk": recipe_walk,
    "firefox": recipe_firefox,
    "deaths": recipe_deaths,
    "flashes": recipe_flashes,
    "soak": recipe_soak,
    "docs": recipe_docs,
    "screens": recipe_screens,
    "ci": recipe_test,
    "lock": recipe_lock,
}


def main(words: list[str]) -> int:
    """Run the recipe that the words name; without a word, list the recipes."""
    if not words or words[0] in ("-h", "--help", "help"):
        say("usage: python3 bb.py RECIPE [ARGUMENTS]\n")
        for name, recipe in RECIPES.items():
            say(f"  {name:7} {'the same as test' if name == 'ci' else recipe.__doc__}")
        return 0
    name, *arguments = words
    try:
        if name not in RECIPES:
            raise Failure(f"there is no recipe {name!r}; the recipes are: {', '.join(RECIPES)}")
        check_python()
        if name != "lock":
            setup()
            keep_bytecode()
        RECIPES[name](arguments)
    except Failure as failure:
        print(f"\nbb.py: {failure}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
