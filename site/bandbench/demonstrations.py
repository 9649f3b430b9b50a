"""``bandbench demonstrations``: list them, and prove natively that every cue shows what it says.

Reads the TOML files, holds them to ``lessons/demonstration.schema.json`` and hands them to `sim.showing`.
"""

from __future__ import annotations

import argparse
import json
import tomllib
from functools import cache
from pathlib import Path

from jsonschema import Draft202012Validator

from bandbench.bench.demonstrations import DEMONSTRATIONS_FOLDER
from bandbench.bench.faults import FAULTS
from sim.errors import BandbenchError
from sim.showing import CueReport, lint_demonstration
from sim.training.demonstration import Demonstration, DemonstrationError, parse_demonstration
from sim.training.reader import Problem

__all__ = ["add_arguments", "file_problems", "run"]

_SCHEMA_FILE = DEMONSTRATIONS_FOLDER.parent / "demonstration.schema.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``bandbench demonstrations`` takes."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    listing = actions.add_parser("list", help="list the demonstrations and their cues")
    lint = actions.add_parser(
        "lint", help="run every cue on a machine; exit status 1 if one does not show what it says"
    )
    for action in (listing, lint):
        action.add_argument(
            "paths", nargs="*", type=Path, metavar="FILE", help="files or folders (default: lessons/demonstrations/)"
        )


def run(arguments: argparse.Namespace) -> int:
    """Carry out ``bandbench demonstrations``; return the exit status."""
    files = _files(arguments.paths)
    if arguments.action == "list":
        return _list(files)
    return 1 if _lint(files) else 0


def _files(paths: list[Path]) -> list[Path]:
    found: list[Path] = []
    for path in paths or [DEMONSTRATIONS_FOLDER]:
        if not path.exists():
            raise BandbenchError(f"{path}: there is no such file or folder")
        found += sorted(path.glob("*.toml")) if path.is_dir() else [path]
    if not found:
        raise BandbenchError("no demonstrations: a folder of them holds files that end in .toml")
    return found


@cache
def _validator() -> Draft202012Validator:
    schema = json.loads(_SCHEMA_FILE.read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def file_problems(path: Path) -> tuple[Demonstration | None, list[Problem]]:
    """Return the demonstration in a file, None if it is not one, and what parser and schema refuse in it."""
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        return None, [Problem(str(path), "the whole file", f"cannot be read as TOML: {error}", "Correct it there.")]
    try:
        demonstration = parse_demonstration(data, path.name)
    except DemonstrationError as error:
        return None, [error.problem]
    refused = [
        Problem(path.name, error.json_path, error.message[:200], "Write it as the schema asks.")
        for error in _validator().iter_errors(data)
    ]
    return demonstration, refused


def _list(files: list[Path]) -> int:
    for path in files:
        demonstration, problems = file_problems(path)
        if demonstration is None:
            raise DemonstrationError(problems[0])
        print(f"{demonstration.id}  {demonstration.minutes:g} min  {demonstration.title}")
        for number, cue in enumerate(demonstration.cues, start=1):
            print(f"  {number:>2}  {cue.stage:<13}  {cue.title}")
    return 0


def _lint(files: list[Path]) -> int:
    """Lint demonstrations, print what each cue showed and what is wrong, and return how many errors there were."""
    count = 0
    ids: dict[str, Path] = {}
    for path in files:
        demonstration, problems = file_problems(path)
        if demonstration is not None:
            print(f"{path}: {demonstration.title}", flush=True)
            if demonstration.id in ids:
                where = f"{ids[demonstration.id]} already has the id {demonstration.id!r}"
                problems.append(Problem(path.name, "id", where, "Give each demonstration its own id."))
            ids.setdefault(demonstration.id, path)
            problems += lint_demonstration(demonstration, FAULTS, lambda report: print(_line(report), flush=True))
        for problem in problems:
            print(f"error: {problem}")
        count += len(problems)
    print(f"{len(files)} demonstration(s), {count} error(s)")
    return count


def _line(report: CueReport) -> str:
    told = []
    for one, read in zip(report.cue.expect, report.values, strict=True):
        numbers = [value for value in read if value is not None]
        span = f"{min(numbers):.4g} to {max(numbers):.4g} {one.unit}" if numbers else "nothing"
        told.append(f"{one.reading} {span}{'' if one.holds(read) else ' (NOT AS SAID)'}")
    return f"  cue {report.number:>2}: {'; '.join(told)}"
