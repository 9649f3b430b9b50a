"""``bandbench lessons``: list the lessons, prove that they can be done, show a solution, begin a new one.

Reads the TOML files, holds them to ``lessons/lesson.schema.json`` and hands them to `sim.training.lint`.
"""

from __future__ import annotations

import argparse
import json
import tomllib
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import NOT_LESSONS, read_course
from bandbench.lessonskeleton import skeleton
from sim.condition import Condition
from sim.controls import CONTROLS
from sim.deeds import deed_words
from sim.errors import BandbenchError
from sim.training.attempt import ActDone
from sim.training.course import CourseError, course_problems
from sim.training.deal import check_seed, deal
from sim.training.lesson import Lesson
from sim.training.lint import SEEDS, SeedReport, lint_lesson, parse_problems, solution_attempt
from sim.training.parts import IDENTIFIER
from sim.training.reader import LessonError, Problem
from sim.training.run import machine_for
from sim.training.score import score_attempt
from sim.training.solution import solution_moves

__all__ = ["LESSONS_FOLDER", "add_arguments", "file_problems", "lesson_files", "read_lesson", "run", "schema_problems"]

LESSONS_FOLDER = Path(__file__).resolve().parents[2] / "lessons"
_SCHEMA_NAME = "lesson.schema.json"
_MOST_SEEDS = 1000
_MOST_JOBS = 64
# Seeds tried by one process at a time: few enough that the last lesson keeps every core busy.
_SEEDS_A_TASK = 5


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
    lint.add_argument(
        "--jobs",
        type=_job_count,
        default=1,
        metavar="N",
        help="processes that try lessons at once (default %(default)s)",
    )
    solve = actions.add_parser("solve", help="print the worked solution of a lesson for one seed")
    solve.add_argument("path", type=Path, metavar="FILE", help="lesson file")
    solve.add_argument("--seed", type=_seed, default=1, metavar="N", help="the variation (default %(default)s)")
    new = actions.add_parser("new", help="write a commented lesson to begin with; never over another file")
    new.add_argument("id", metavar="ID", help="the lesson's id and the file's name: small letters, digits and '-'")
    new.add_argument("--folder", type=Path, default=LESSONS_FOLDER, metavar="FOLDER", help="where (default: lessons/)")
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


def _job_count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= _MOST_JOBS:
        raise argparse.ArgumentTypeError(f"{text!r}: use a whole number from 1 to {_MOST_JOBS}")
    return int(text)


def _seed(text: str) -> int:
    try:
        return check_seed(int(text))
    except (ValueError, BandbenchError):
        raise argparse.ArgumentTypeError(f"{text!r}: use a whole number, 0 or more") from None


def run(arguments: argparse.Namespace) -> int:
    """Carry out ``bandbench lessons``; return the exit status."""
    if arguments.action == "solve":
        return _solve(read_lesson(arguments.path), arguments.seed)
    if arguments.action == "new":
        return _new(arguments.id, arguments.folder)
    files = lesson_files(arguments.paths)
    if arguments.action == "list":
        return _list(files)
    problems = _lint(files, arguments.seeds, arguments.jobs)
    if not arguments.paths:
        problems += _lint_course(files)
    return 1 if problems else 0


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


@dataclass(frozen=True)
class _Task:
    """Some seeds of one lesson, tried in one go by one process."""

    path: Path
    seeds: range


def _lint(files: list[Path], seeds: int, jobs: int) -> int:
    """Lint lessons, print what was found, and return how many errors there were."""
    count = 0
    tasks: dict[Path, list[_Task]] = {}
    first_with_id: dict[str, Path] = {}
    read: dict[Path, tuple[Lesson | None, list[Problem]]] = {}
    for path in files:
        lesson, problems = _read(path)
        if lesson is not None and lesson.id in first_with_id:
            where = f"{first_with_id[lesson.id]} already has the id {lesson.id!r}"
            problems.append(Problem(str(path), "id", where, "Give each lesson its own id."))
        if lesson is not None:
            first_with_id.setdefault(lesson.id, path)
            problems += _name_problems(lesson, path)
        read[path] = (lesson, problems)
        starts = range(1, seeds + 1, _SEEDS_A_TASK) if lesson is not None and not problems else ()
        tasks[path] = [_Task(path, range(first, min(first + _SEEDS_A_TASK, seeds + 1))) for first in starts]
    every = [task for own in tasks.values() for task in own]
    results = _tried(every, jobs)
    for path in files:
        lesson, problems = read[path]
        if lesson is not None and not problems:
            print(f"{path}: {lesson.title}")
        for _ in tasks[path]:
            lines, found = next(results)
            for line in lines:
                print(line, flush=True)
            problems = [*problems, *found]
        for problem in problems:
            print(f"error: {problem}")
        count += len(problems)
    print(f"{len(files)} lesson(s), {seeds} seed(s) each, {count} error(s)")
    return count


def _name_problems(lesson: Lesson, path: Path) -> list[Problem]:
    """Hold a lesson's id to its file's name: two lessons of one folder then never share one."""
    if path.stem == lesson.id:
        return []
    reason = f"{lesson.id!r} is not the file's name, {path.stem!r}"
    return [Problem(str(path), "id", reason, f'Write id = "{path.stem}", or name the file {lesson.id}.toml.')]


def _tried(tasks: list[_Task], jobs: int) -> Iterator[tuple[list[str], list[Problem]]]:
    """Yield what each task found, in order, as soon as it is known."""
    if jobs == 1 or len(tasks) < 2:
        yield from map(_try, tasks)
        return
    with ProcessPoolExecutor(min(jobs, len(tasks))) as pool:
        yield from pool.map(_try, tasks)


def _try(task: _Task) -> tuple[list[str], list[Problem]]:
    lines: list[str] = []
    lesson = _read(task.path)[0]
    if lesson is None:
        return [], [Problem(str(task.path), "the whole file", "was changed while it was tried", "Lint it again.")]
    report = lint_lesson(lesson, task.seeds, lambda seed: lines.append(_seed_line(seed)), FAULTS)
    return lines, list(report.problems)


def _read(path: Path) -> tuple[Lesson | None, list[Problem]]:
    """Return the lesson in a file, as far as it is one, and what is wrong with it."""
    try:
        data = read_data(path)
    except LessonError as error:
        return None, [error.problem]
    return file_problems(data, str(path))


def _seed_line(report: SeedReport) -> str:
    return (
        f"  seed {report.seed:>4}: delivered {report.delivered.outcome}, worked solution {report.solved.outcome}, "
        f"by the instruments {report.followed.outcome} in {report.followed.moves} moves"
    )


def _lint_course(files: list[Path]) -> int:
    """Hold the course to the lessons; print what was found and return how many errors there were."""
    lessons = {lesson.id: lesson for lesson in (_read(path)[0] for path in files) if lesson is not None}
    try:
        problems = course_problems(read_course(lessons, LESSONS_FOLDER), lessons)
    except CourseError as error:
        problems = [error.problem]
    for problem in problems:
        print(f"error: {problem}")
    print(f"course of {len(lessons)} lesson(s), {len(problems)} error(s)")
    return len(problems)


def _solve(lesson: Lesson, seed: int) -> int:
    """Print what a seed deals, the right answers, the worked solution and what the checks then read."""
    machine = machine_for(lesson, FAULTS)
    start = deal(lesson, seed, machine)
    print(f"{lesson.id}: {lesson.title}, seed {seed}")
    for fault in start.faults:
        print(f"  hidden: {FAULTS[fault.name].title} ({fault.name}), severity {fault.severity:.2f}")
    sound = Condition()
    for field in fields(Condition):
        if getattr(start.condition, field.name) != getattr(sound, field.name):
            print(f"  hidden: {field.name} = {_plain(getattr(start.condition, field.name))}")
    for name in lesson.start_controls:
        print(f"  start: {CONTROLS[name].label} {start.controls[name]:g} {CONTROLS[name].unit}".rstrip())
    attempt = solution_attempt(lesson, start, machine)
    score = score_attempt(lesson, attempt, machine)
    for answer in score.answers:
        print(f"  answer: {answer.question.title}: {answer.right_text.rstrip('.')}. {answer.question.explain}")
    for event in attempt.events:
        if isinstance(event, ActDone):
            print(f"  at {event.at_s:g} s: {deed_words(event.act, event.choice)}")
    for (control, value), move in zip(solution_moves(lesson, start), lesson.solution, strict=True):
        print(f"  move: {CONTROLS[control].label} to {value:g} {CONTROLS[control].unit}: {move.text}")
    for result in score.deciding.results if score.deciding else ():
        print(f"  check: {result.sentence}")
    print(f"  {score.outcome}: {score.reason}")
    return 0 if score.passed else 1


def _plain(value: float | tuple[float, ...]) -> str:
    if isinstance(value, tuple):
        return ", ".join(f"{one:.4g}" for one in value)
    return f"{value:.4g}"


def _new(lesson_id: str, folder: Path) -> int:
    """Write a lesson to begin with."""
    if not IDENTIFIER.fullmatch(lesson_id):
        raise BandbenchError(f"id {lesson_id!r}: use small letters and digits, in words joined by '-'")
    path = folder / f"{lesson_id}.toml"
    if path.name in NOT_LESSONS:
        raise BandbenchError(f"id {lesson_id!r}: {path.name} holds other data; choose another id")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(skeleton(lesson_id))
    except FileExistsError:
        raise BandbenchError(f"{path} is there already; choose another id, or change that file") from None
    except OSError as error:
        raise BandbenchError(f"{path} cannot be written ({error.strerror}); choose another folder") from None
    print(f"{path} written; now: bandbench lessons lint {path} --seeds 2")
    return 0
