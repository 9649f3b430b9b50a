"""``bandbench link``: make a link that fixes lesson, variation and help, or say what a link or a file sets."""

from __future__ import annotations

import argparse
from pathlib import Path
from urllib.parse import urlencode, urlsplit

from bandbench.bench.lessons import read_lessons
from bandbench.bench.links import PARAMETERS, Link, format_link, parse_link
from sim.errors import BandbenchError
from sim.training.assignment import LARGEST_ASSIGNMENT, Assignment, Task, assignment_from_text
from sim.training.help import FULL_HELP

__all__ = ["add_arguments", "described", "run"]


class LinkCommandError(BandbenchError):
    """Something asked of ``bandbench link`` that cannot be done."""


_OWN = "each reader's own"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what ``bandbench link`` understands."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    names = "\n".join(f"  {name:10} {meaning}" for name, meaning in PARAMETERS.items())
    parser.epilog = f"parameters of a link:\n{names}".replace("%", "%%")
    parser.add_argument(
        "words",
        nargs="*",
        metavar="NAME=VALUE",
        help="parameters of the link, as below; for example lesson=tracking-and-guide seed=7 help=hints-1,why",
    )
    parser.add_argument(
        "--assignment", type=Path, metavar="FILE", help="an assignment file, to be checked and linked to"
    )
    parser.add_argument("--read", metavar="LINK", help="say what a link fixes instead of making one")
    parser.add_argument("--site", default="", metavar="ADDRESS", help="where the bench is served; put before the link")


def run(arguments: argparse.Namespace) -> int:
    """Carry out ``bandbench link``.

    Raises
    ------
    BandbenchError
        If a parameter, a link or a file is not as it must be.
    """
    lessons = read_lessons()
    ways = (bool(arguments.words), arguments.assignment is not None, arguments.read is not None)
    if sum(ways) != 1:
        raise LinkCommandError("give one of: parameters as NAME=VALUE, --assignment FILE, --read LINK")
    link: Link | None
    if arguments.read is not None:
        query = urlsplit(arguments.read).query if "?" in arguments.read else arguments.read
        link = parse_link(query, lessons)
        print("\n".join(described(link)) if link else "this link fixes nothing: the bench opens as usual")
        return 0
    if arguments.assignment is not None:
        link = Link(assignment=_assignment(arguments.assignment))
    else:
        pairs = [_pair(word) for word in arguments.words]
        # The reader of the page's own address judges it.
        link = parse_link(urlencode(pairs), lessons)
    assert link is not None
    print("\n".join(described(link)))
    print(f"{arguments.site}?{format_link(link)}")
    return 0


def _pair(word: str) -> tuple[str, str]:
    name, equals, value = word.partition("=")
    if not equals:
        raise LinkCommandError(f"{word}: write NAME=VALUE, for example lesson=tracking-and-guide")
    return name, value


def _assignment(path: Path) -> Assignment:
    try:
        if path.stat().st_size > 4 * LARGEST_ASSIGNMENT:
            raise LinkCommandError(
                f"{path}: is too large for an assignment, which has at most {LARGEST_ASSIGNMENT} characters"
            )
        text = path.read_text("utf-8")
    except OSError as error:
        raise LinkCommandError(f"{path}: cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise LinkCommandError(f"{path}: is not a text in UTF-8; save it as one") from None
    return assignment_from_text(text, path.name, read_lessons())


def described(link: Link) -> list[str]:
    """Return what a link fixes, a line each."""
    lines = []
    if link.assignment is not None:
        due = f", due {link.assignment.due}" if link.assignment.due else ""
        lines.append(f"assignment: {link.assignment.title}{due}")
        lines += [f"  {place}. {_task(task)}" for place, task in enumerate(link.assignment.tasks, start=1)]
    if link.task is not None:
        lines.append(f"lesson: {_task(link.task)}")
    if link.mode:
        lines.append(f"mode: {link.mode}")
    if link.practice:
        lines.append(f"practice: {link.practice}")
    return [*lines, f"language: {link.language or _OWN}"]


def _task(task: Task) -> str:
    seed = "a variation of chance" if task.seed is None else f"variation {task.seed}"
    permitted = "" if task.help == FULL_HELP else f"; help permitted: {task.help.text}"
    return f"{task.lesson}, {seed}{permitted}"
