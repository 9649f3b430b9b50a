"""``bandbench paper``: job sheets, alignment records, records of practice and handouts as files, without a browser.

Every sheet is a page of HTML that a browser prints on A4 or Letter; a handout is a folder of pictures with its sheet.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from bandbench.bench.paper import PractisedAttempt, alignment_sheet, job_sheet, practice_sheet
from bandbench.bench.recordform import RecordsFile, parse_records
from bandbench.bench.sheets import Sheet, sheets_html
from sim.errors import BandbenchError, UnknownNameError
from sim.standards import STANDARDS
from sim.training.alignment import alignment_record
from sim.training.assignment import AssignmentError, score_within
from sim.training.attempt import check_belongs
from sim.training.deal import check_seed
from sim.training.help import FULL_HELP, help_of
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine
from sim.training.reader import Table
from sim.training.run import machine_for
from sim.training.score import score_attempt

__all__ = ["add_arguments", "run"]

# Files of records larger than this are not read; the page refuses them too.
_LARGEST_FILE = 64_000_000


class PaperError(BandbenchError):
    """Something asked of ``bandbench paper`` that cannot be done."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what ``bandbench paper`` understands."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    job = actions.add_parser(
        "job", help="job sheets of lessons: task, cautions, readings asked for, steps, room to write"
    )
    job.add_argument("lessons", nargs="+", metavar="LESSON", help="ids of lessons; `bandbench lessons list` has them")
    job.add_argument("--seed", type=int, metavar="N", help="the variation, if it is fixed")
    job.add_argument(
        "--help-permitted", metavar="WORDS", help="as in a link: hints-1,why or none (default: everything)"
    )
    alignment = actions.add_parser("alignment", help="values found and left in every attempt of exported records")
    practice = actions.add_parser("practice", help="record of practice of each learner, from exported records")
    for action in (alignment, practice):
        action.add_argument("records", nargs="+", type=Path, metavar="FILE", help="records exported at the bench")
    for action in (job, alignment, practice):
        action.add_argument("--out", required=True, type=Path, metavar="FILE.html", help="where to write")
    handout = actions.add_parser("handout", help="pictures of faults with captions, and a sheet that shows them")
    handout.add_argument(
        "--fault", action="append", dest="faults", metavar="NAME", help="only this one; may be repeated"
    )
    handout.add_argument(
        "--standard", default="525/60", metavar="|".join(STANDARDS), help="scanning standard (default: %(default)s)"
    )
    handout.add_argument("--out", required=True, type=Path, metavar="FOLDER", help="where to write")


def run(arguments: argparse.Namespace) -> int:
    """Carry out ``bandbench paper``.

    Raises
    ------
    BandbenchError
        If anything asked for does not exist or cannot be read or written.
    """
    if arguments.action == "handout":
        # Only handouts need to draw pictures.
        from bandbench.handout import write_handout

        written = write_handout(arguments.out, arguments.faults, arguments.standard)
        print(f"wrote {written[0]} and {len(written) - 1} pictures")
        return 0
    lessons = read_lessons()
    if arguments.action == "job":
        sheets = _job_sheets(arguments, lessons)
    else:
        files = [_records(path) for path in arguments.records]
        make = _alignment_sheets if arguments.action == "alignment" else _practice_sheets
        sheets = [sheet for file in files for sheet in make(file, lessons)]
    if not sheets:
        raise PaperError(f"paper {arguments.action}: nothing to write: no attempt in these files is over")
    try:
        arguments.out.write_text(sheets_html(sheets[0].title, sheets), "utf-8")
    except OSError as error:
        raise PaperError(f"--out {arguments.out}: cannot be written: {error.strerror or error}") from None
    print(f"wrote {arguments.out}: {len(sheets)} sheet(s)")
    return 0


def _job_sheets(arguments: argparse.Namespace, lessons: Mapping[str, Lesson]) -> list[Sheet]:
    seed = None if arguments.seed is None else check_seed(arguments.seed)
    permitted = FULL_HELP
    if arguments.help_permitted is not None:
        given = {"help": arguments.help_permitted.split(",")}
        permitted = help_of(Table(given, "--help-permitted", "", AssignmentError, None))
    for name in arguments.lessons:
        if name not in lessons:
            raise UnknownNameError("lesson", name, lessons)
    return [job_sheet(lessons[name], seed, permitted) for name in arguments.lessons]


def _records(path: Path) -> RecordsFile:
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise PaperError(f"{path}: is larger than {_LARGEST_FILE // 1_000_000} MB; no records are")
        text = path.read_text("utf-8")
    except OSError as error:
        raise PaperError(f"{path}: cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise PaperError(f"{path}: is not a text in UTF-8; choose a file that was exported from the bench") from None
    return parse_records(text, path.name)


def _alignment_sheets(file: RecordsFile, lessons: Mapping[str, Lesson]) -> Iterator[Sheet]:
    for row in sorted(file.rows.attempts, key=lambda row: row.ended_at):
        lesson = lessons.get(row.lesson)
        if lesson is None:
            print(f"attempt of {row.started_at}: its lesson '{row.lesson}' is not here; left out")
            continue
        try:
            record = alignment_record(lesson, row.attempt, machine_for(lesson, FAULTS), f"attempt of {row.started_at}")
        except BandbenchError as error:
            print(f"{error} Left out.")
            continue
        yield alignment_sheet(
            lesson,
            row.attempt,
            record,
            name=file.profile.name,
            began=row.started_at,
            ended=row.ended_at,
            permitted=row.permitted,
        )


def _practice_sheets(file: RecordsFile, lessons: Mapping[str, Lesson]) -> Iterator[Sheet]:
    rows: list[PractisedAttempt] = []
    machines: dict[str, LessonMachine] = {}
    for row in sorted(file.rows.attempts, key=lambda row: row.ended_at):
        lesson = lessons.get(row.lesson)
        passed = None
        known = lesson is not None
        if lesson is not None:
            try:
                check_belongs(row.attempt, lesson, f"attempt of {row.started_at}")
            except BandbenchError:
                known = False
            else:
                machine = machines.setdefault(lesson.id, machine_for(lesson, FAULTS))
                score = score_attempt(lesson, row.attempt, machine)
                passed = score_within(score, row.permitted, row.attempt).passed
        rows.append(
            PractisedAttempt(
                title=lesson.title if lesson else row.lesson,
                version=row.lesson_version,
                ended=row.ended_at,
                attempt=row.attempt,
                log=row.log,
                passed=passed,
                known=known,
                permitted=row.permitted,
            )
        )
    if rows:
        yield practice_sheet(file.profile.name, _program(file), rows)


def _program(file: RecordsFile) -> str:
    """Return which programs the attempts were made with."""
    made: Sequence[str] = sorted({row.app_version for row in file.rows.attempts})
    return ", ".join(made)
