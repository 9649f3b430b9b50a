"""``bandbench lessons``: list the lessons and prove that they can be done.

Reads the TOML files, holds them to ``lessons/lesson.schema.json`` and hands them to `sim.training.lint`.
"""

from __future__ import annotations

import argparse
import json
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import NOT_LESSONS
from sim.errors import BandbenchError
from sim.training.lesson import Lesson
from sim.training.lint import SEEDS, LessonReport, SeedReport, lint_lesson, parse_problems
from sim.training.reader import LessonError, Problem

__all__ = ["LESSONS_FOLDER", "add_arguments", "file_problems", "lesson_files", "read_lesson", "run", "schema_problems"]

LESSONS_FOLDER = Path(__file__).resolve().parents[2] / "lessons"
_SCHEMA_NAME = "lesson.schema.json"
_MOST_SEEDS = 1000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``bandbench lessons`` takes."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    listing = actions.add_parser("list", help="list the lessons")
    lint = actions.add_parser("lint", help="check the lessons; exit status 1 if anything is wrong")
    lint.add_argument(
        "--seeds",
        type=_seed_count,
        default=len(SEEDS),
        metavar="N",
        help="try each lesson with seeds 1 to N (default %(default)s)",
    )
    for action in (listing, lint):
        action.add_argument(
            "paths", nargs="*", type=Path, metavar="FILE", help="lesson files or folders (default: lessons/)"
        )


def _seed_count(text: str) -> int:
    try:
        count = int(text)
    except ValueError:
        count = 0
    if not 1 <= count <= _MOST_SEEDS:
        raise argparse.ArgumentTypeError(f"{text!r}: use a whole number from 1 to {_MOST_SEEDS}")
    return count


def run(arguments: argparse.Namespace) -> int:
    """Carry out ``bandbench lessons``; return the exit status."""
    files = lesson_files(arguments.paths)
    if arguments.action == "list":
        return _list(files)
    return _lint(files, arguments.seeds)


def lesson_files(paths: list[Path]) -> list[Path]:
    """Return the lesson files that `paths` (files or folders; the lessons folder if empty) stand for.

    Raises
    ------
    BandbenchError
        If a path does not exist or there is no lesson in it.
    """
    files: list[Path] = []
    for path in paths or [LESSONS_FOLDER]:
        if path.is_dir():
            found = sorted(file for file in path.glob("*.toml") if file.name not in NOT_LESSONS)
            if not found:
                raise BandbenchError(f"{path}: no lesson (*.toml) in this folder; name a lesson file or another folder")
            files += found
        elif path.is_file():
            files.append(path)
        else:
            raise BandbenchError(f"{path}: no such file or folder; check the name")
    return files


def read_data(path: Path) -> dict[str, Any]:
    """Return a TOML file's content; raise LessonError with line and column if it is not TOML."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise LessonError(
            Problem(str(path), "the whole file", f"cannot be read ({error.strerror})", "Check name and permissions.")
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise LessonError(
            Problem(str(path), "the whole file", f"is not TOML ({error})", "Correct the file at that place.")
        ) from None


@cache
def _validator() -> Draft202012Validator:
    schema = json.loads((LESSONS_FOLDER / _SCHEMA_NAME).read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def _keys(error: ValidationError) -> list[str]:
    """Return the keys an error is about: those missing or unknown themselves, not the table they are in."""
    path = ""
    for part in error.absolute_path:
        path += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if path else str(part)
    inner: list[str] = []
    required, instance, schema = error.validator_value, error.instance, error.schema
    if error.validator == "required" and isinstance(required, list):
        inner = [key for key in required if f"{key!r} is" in error.message]
    elif error.validator == "additionalProperties" and isinstance(instance, dict) and isinstance(schema, Mapping):
        inner = [str(key) for key in instance if key not in schema.get("properties", {})]
    if inner:
        return [f"{path}.{key}" if path else key for key in inner]
    return [path or "the whole file"]


_REMEDIES: Mapping[str, str] = {
    "required": "Add the key that is missing.",
    "additionalProperties": "Remove the unknown key or correct its spelling.",
    "unevaluatedProperties": "Remove the key; this distribution does not use it.",
    "type": "Write a value of that type.",
    "enum": "Use one of the values listed.",
    "const": "Write that value.",
    "pattern": "Write it in that form.",
    "minItems": "Give more entries.",
    "uniqueItems": "List each entry once.",
    "dependentRequired": "Add the key it depends on, or remove it.",
    "not": "Remove the key that this kind of entry does not have.",
}


def schema_problems(data: object, source_name: str) -> list[Problem]:
    """Return everything the JSON Schema refuses in a lesson, in file order."""
    problems = []
    errors = sorted(_validator().iter_errors(data), key=lambda error: [str(part) for part in error.absolute_path])
    for error in errors:
        kind = str(error.validator)
        # When a table's own keys are wrong, none of them counts as evaluated: that says nothing new.
        if kind == "unevaluatedProperties" and len([other for other in errors if _inside(other, error)]) > 1:
            continue
        remedy = _REMEDIES.get(kind, "Write a value inside the limit.")
        message = error.message if len(error.message) <= 200 else f"{error.message[:197]}..."
        problems += [Problem(source_name, key, message, remedy) for key in _keys(error)]
    return problems


def _inside(error: ValidationError, table: ValidationError) -> bool:
    path, outer = list(error.absolute_path), list(table.absolute_path)
    return path[: len(outer)] == outer


def file_problems(data: object, source_name: str) -> tuple[Lesson | None, list[Problem]]:
    """Hold a lesson's data to parser, names and schema; return it (None if unusable) and every problem found."""
    lesson, problems = parse_problems(data, source_name, FAULTS)
    told = {problem.key for problem in problems}
    refused = [problem for problem in schema_problems(data, source_name) if problem.key not in told]
    return (None if refused else lesson), problems + refused


def read_lesson(path: Path) -> Lesson:
    """Return the lesson in a file; raise LessonError with the first problem if it is not usable."""
    lesson, problems = file_problems(read_data(path), path.name)
    if lesson is None or problems:
        raise LessonError(problems[0])
    return lesson


def _list(files: list[Path]) -> int:
    lessons = [read_lesson(path) for path in files]
    width = max(len(lesson.id) for lesson in lessons)
    for lesson in lessons:
        print(f"{lesson.id:<{width}}  {lesson.mode:<13}  {lesson.level:<12}  {lesson.minutes:>3} min  {lesson.title}")
    return 0


def _lint(files: list[Path], seeds: int) -> int:
    count = 0
    first_with_id: dict[str, Path] = {}
    for path in files:
        problems = _lint_file(path, range(1, seeds + 1), first_with_id)
        for problem in problems:
            print(f"error: {problem}")
        count += len(problems)
    print(f"{len(files)} lesson(s), {seeds} seed(s) each, {count} error(s)")
    return 1 if count else 0


def _lint_file(path: Path, seeds: range, first_with_id: dict[str, Path]) -> list[Problem]:
    try:
        data = read_data(path)
    except LessonError as error:
        return [error.problem]
    lesson, problems = file_problems(data, str(path))
    if lesson is None:
        return problems
    if lesson.id in first_with_id:
        where = f"{first_with_id[lesson.id]} already has the id {lesson.id!r}"
        problems.append(Problem(str(path), "id", where, "Give each lesson its own id."))
    first_with_id.setdefault(lesson.id, path)
    if problems:
        return problems
    print(f"{path}: {lesson.title}")
    report: LessonReport = lint_lesson(lesson, seeds, _print_seed, FAULTS)
    return list(report.problems)


def _print_seed(report: SeedReport) -> None:
    print(
        f"  seed {report.seed:>4}: delivered {report.delivered.outcome}, worked solution {report.solved.outcome}, "
        f"by the instruments {report.followed.outcome} in {report.followed.moves} moves",
        flush=True,
    )
