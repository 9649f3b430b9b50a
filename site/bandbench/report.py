"""``bandbench report``: what a class's attempts amount to, every one scored again from its log.

The engine is `sim.training.classreport`, the same that runs in the page; this side reads and writes files, scores in
several processes, and keeps what logs were worth, so that the next report scores only new ones.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from itertools import groupby
from pathlib import Path

from bandbench.bench.classfiles import LARGEST_FILE, read_class_file
from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_course, read_lessons
from bandbench.bench.reportpage import report_page
from bandbench.bench.reporttables import CSV_NAMES, ReportTables, csv_tables
from bandbench.cache import cache_folder
from bandbench.verdictcache import VerdictCache, program_digest
from sim.errors import BandbenchError
from sim.training.assignment import Task, assignment_from_text
from sim.training.attempt import Attempt
from sim.training.classform import ClassFile
from sim.training.classreport import ClassReport
from sim.training.course import Course
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine
from sim.training.reportmachine import report_machine_for
from sim.training.rescore import Worth, worth_of
from sim.training.verdicts import VerdictKeys

__all__ = ["ReportError", "add_arguments", "class_files", "lessons_of", "run", "score_all", "tasks_of"]

# Logs scored by one process at a time: enough to be worth a machine of their own, few enough to keep all cores busy.
_LOGS_A_TASK = 20
_MOST_JOBS = 64
_TELL_EVERY_S = 2.0

LessonFolders = tuple[Path, ...]


class ReportError(BandbenchError):
    """Something on the command line of ``bandbench report`` that cannot be done."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what ``bandbench report`` understands."""
    parser.description = (
        "Score every attempt in exported records (or single attempt logs) again from its log; show who has mastered "
        "what, which checks are missed, and which entries need a look."
    )
    parser.add_argument("paths", nargs="+", type=Path, metavar="FILE", help="exported files, or folders of *.json")
    parser.add_argument(
        "--csv",
        type=Path,
        metavar="OUT",
        help="write the skills as CSV; checks and flags go beside it as OUT-items and OUT-flags",
    )
    parser.add_argument("--html", type=Path, metavar="OUT", help="write the report as one page to print")
    parser.add_argument(
        "--lessons",
        action="append",
        default=[],
        type=Path,
        metavar="DIR",
        help="further lessons, or older versions of lessons; may be repeated",
    )
    parser.add_argument(
        "--assignment",
        action="append",
        default=[],
        type=Path,
        metavar="FILE",
        help="what was set: attempts at it with more help than it permits do not count; may be repeated",
    )
    parser.add_argument(
        "--jobs",
        default=str(_cores()),
        metavar="N",
        help="processes that score attempts at once (default: as many as there are cores, %(default)s)",
    )
    parser.add_argument(
        "--cache",
        type=Path,
        metavar="DIR",
        help="keep there what logs were worth, so that the next report scores only new ones (default: a folder of "
        "yours for caches)",
    )
    parser.add_argument("--no-cache", action="store_true", help="score every log again, and keep nothing")


def _cores() -> int:
    # Where one is confined to some of them, only those.
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, _MOST_JOBS)


def run(arguments: argparse.Namespace) -> int:
    """Carry out ``bandbench report``.

    Raises
    ------
    BandbenchError
        If a file named does not exist, or an output cannot be written. What a file holds raises nothing: it is told
        in the report.
    """
    jobs = _job_count(arguments.jobs)
    folders = tuple(arguments.lessons)
    lessons, course = lessons_of(folders)
    folder = None if arguments.no_cache else _cache_folder(arguments.cache, arguments.paths)
    files = class_files(arguments.paths)
    report = ClassReport(lessons, time.time(), tasks=tasks_of(arguments.assignment, lessons))
    for file in files:
        report.add(file)
    cache = VerdictCache(folder)
    score_all(report, folders, jobs, _told, cache)
    cache.close()
    if cache.problem:
        print(f"what logs are worth is not kept ({cache.problem}); every log was scored", file=sys.stderr)
    tables = ReportTables(report.report(), course)
    if arguments.csv is not None:
        for name, text in csv_tables(tables).items():
            _write(_csv_path(arguments.csv, name), text)
    if arguments.html is not None:
        _write(arguments.html, report_page(tables, time.time()))
    print("\n".join(_summary(tables)))
    return 0


def _cache_folder(named: Path | None, paths: Iterable[Path]) -> Path:
    """Return where verdicts are kept: never among the files that are handed in, which others have made."""
    own = (named or cache_folder()).resolve()
    for path in paths:
        given = path.resolve()
        if own == given or own in given.parents or (named is not None and given in own.parents):
            raise ReportError(
                f"verdicts are kept in {own}, where files are handed in ({path}): name with --cache a folder that only "
                "you write to, or say --no-cache"
            )
    return own


def _job_count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= _MOST_JOBS:
        raise ReportError(f"--jobs {text!r}: use a whole number from 1 to {_MOST_JOBS}")
    return int(text)


# Reading ----------------------------------------------------------------------------------------------------


def lessons_of(folders: Iterable[Path]) -> tuple[list[Lesson], Course]:
    """Return the lessons that came with the bench, in the order of their course, then those of other folders."""
    own = read_lessons()
    course = read_course(own)
    lessons = sorted(own.values(), key=lambda one: (_place(course, one), one.id))
    for folder in folders:
        if not folder.is_dir():
            raise ReportError(f"--lessons {folder}: no such folder; check the name")
        lessons += read_lessons(folder).values()
    return lessons, course


def _place(course: Course, lesson: Lesson) -> int:
    return course.lessons.index(lesson.id) if lesson.id in course.lessons else len(course.lessons)


def tasks_of(paths: Iterable[Path], lessons: Iterable[Lesson]) -> list[Task]:
    """Return what the assignment files set.

    Raises
    ------
    ReportError, AssignmentError
        If a file cannot be read, or is no assignment of these lessons.
    """
    known = {lesson.id: lesson for lesson in lessons}
    tasks: list[Task] = []
    for path in paths:
        try:
            text = path.read_text("utf-8")
        except (OSError, ValueError) as error:
            raise ReportError(f"--assignment {path} cannot be read: {error}") from None
        tasks += assignment_from_text(text, path.name, known).tasks
    return tasks


def class_files(paths: Iterable[Path]) -> list[ClassFile]:
    """Return what the files, and the ``*.json`` of the folders, hold.

    Raises
    ------
    ReportError
        If one does not exist, or there is nothing in a folder.
    """
    names: list[Path] = []
    for path in paths:
        if path.is_dir():
            found = sorted(path.glob("*.json"))
            if not found:
                raise ReportError(f"{path}: no *.json in this folder; name exported files or another folder")
            names += found
        elif path.exists():
            names.append(path)
        else:
            raise ReportError(f"{path}: no such file or folder; check the name")
    return [_read(path, number) for number, path in enumerate(names, start=1)]


def _read(path: Path, number: int) -> ClassFile:
    def unread(reason: str) -> ClassFile:
        return ClassFile(path.name, None, unreadable=(("the whole file", reason),))

    try:
        if path.stat().st_size > LARGEST_FILE:
            return unread("is larger than any file of records")
        text = path.read_text("utf-8-sig")
    except OSError as error:
        return unread(f"cannot be read ({error.strerror})")
    except UnicodeDecodeError:
        return unread("is not text in UTF-8, so it is not a file of records")
    return read_class_file(path.name, text, number)


# Scoring ----------------------------------------------------------------------------------------------------

_lessons: dict[tuple[str, int], Lesson] = {}
_machine: LessonMachine | None = None


def _prepare(folders: LessonFolders) -> None:
    """Read the lessons once a process."""
    lessons, _ = lessons_of(folders)
    _lessons.update({(lesson.id, lesson.version): lesson for lesson in lessons})


def _scored(attempts: Sequence[Attempt]) -> list[Worth]:
    """Score logs of one lesson on its machine, which is kept for the next lot of the same."""
    global _machine
    lesson = _lessons[attempts[0].lesson_id, attempts[0].lesson_version]
    if _machine is None or _machine.lesson != lesson:
        _machine = report_machine_for(lesson, FAULTS)
    return [worth_of(lesson, attempt, _machine, FAULTS) for attempt in attempts]


def score_all(
    report: ClassReport,
    folders: LessonFolders,
    jobs: int,
    progress: Callable[[int, int], None] = lambda done, total: None,
    cache: VerdictCache | None = None,
) -> None:
    """Score everything that waits.

    Parameters
    ----------
    report : ClassReport
        Whose logs.
    folders : tuple of Path
        Folders of further lessons.
    jobs : int
        Processes at once.
    progress : callable
        Is told how many logs are scored, of how many.
    cache : VerdictCache, optional
        What logs were worth; nothing is known and kept when omitted.
    """
    cache = cache or VerdictCache(None)
    keys = VerdictKeys(program_digest(), lessons_of(folders)[0], FAULTS)
    waiting = [(attempt, keys.key(attempt)) for attempt in report.to_score()]
    known = cache.known(key for _, key in waiting if key is not None)
    for attempt, key in waiting:
        if key in known:
            report.note(attempt, known[key])
    progress(*report.progress)
    lots: list[list[Attempt]] = []
    for _, own in groupby(report.to_score(), key=lambda one: (one.lesson_id, one.lesson_version)):
        logs = list(own)
        lots += [logs[place : place + _LOGS_A_TASK] for place in range(0, len(logs), _LOGS_A_TASK)]

    def take(lot: Sequence[Attempt], worths: Sequence[Worth]) -> None:
        for attempt, worth in zip(lot, worths, strict=True):
            report.note(attempt, worth)
        # As it comes, so that a report that is broken off has not been for nothing.
        cache.keep({key: worth for attempt, worth in zip(lot, worths, strict=True) if (key := keys.key(attempt))})
        progress(*report.progress)

    if jobs == 1 or len(lots) < 2:
        _prepare(folders)
        for lot in lots:
            take(lot, _scored(lot))
        return
    with ProcessPoolExecutor(min(jobs, len(lots)), initializer=_prepare, initargs=(folders,)) as pool:
        futures = {pool.submit(_scored, lot): lot for lot in lots}
        for future in as_completed(futures):
            take(futures[future], future.result())


_told_at_s = 0.0


def _told(done: int, total: int) -> None:
    """Say now and then on standard error how far it is."""
    global _told_at_s
    if time.monotonic() - _told_at_s >= _TELL_EVERY_S or done == total:
        _told_at_s = time.monotonic()
        print(f"scored {done} of {total} logs", file=sys.stderr, flush=True)


# Writing ----------------------------------------------------------------------------------------------------


def _csv_path(path: Path, name: str) -> Path:
    return path if name == CSV_NAMES[0] else path.with_name(f"{path.stem}-{name}{path.suffix}")


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, "utf-8", newline="")
    except OSError as error:
        raise ReportError(f"{path}: cannot be written ({error.strerror}); name another file") from None
    print(f"wrote {path}")


def _summary(tables: ReportTables) -> list[str]:
    report = tables.report
    lines = [tables.counts, ""]
    width = max((len(row.person.name) for row in report.people), default=0)
    lines += [f"{row.person.name:{width}}  {tables.summed(row)}" for row in report.people]
    if report.flags:
        lines += ["", f"To be looked at: {len(report.flags)}"]
        lines += [
            f"  {kind}: {who + ', ' if who else ''}{where}: {why}" for kind, who, where, _, why, _ in tables.flags
        ]
    return lines
