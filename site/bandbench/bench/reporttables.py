"""The class report as tables of plain texts, and these as CSV that no spreadsheet takes for formulas.

Contents: `ReportTables` (the matrix, the evidence, the items, the flags, in words), `Column`, `LessonTable`,
`csv_tables` (the three tables as files), `safe_cell`, `day_text`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from bandbench.bench.readings import typeset
from bandbench.bench.words import say
from sim.training.classform import Cell, Flag, Item, LessonItems, PersonRow, Report
from sim.training.course import Course
from sim.training.lesson import Lesson

__all__ = ["CSV_NAMES", "Column", "LessonTable", "ReportTables", "csv_tables", "day_text", "safe_cell"]

CSV_NAMES = ("skills", "items", "flags")
"""The tables that are written as CSV."""

# What spreadsheets take for the beginning of a formula; the wide forms count where those are typed.
_FORMULA_SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20"


def safe_cell(text: str) -> str:
    """Return a text that a spreadsheet shows as it is, never a formula.

    Examples
    --------
    >>> safe_cell("=1+1")
    "'=1+1"
    >>> safe_cell("Anna")
    'Anna'
    """
    return f"'{text}" if text.lstrip()[:1] in tuple(_FORMULA_SIGNS) or text[:1] in ("\t", "\r", "\n") else text


def day_text(when_s: float | None) -> str:
    """Return the day of a moment, in UTC, as YYYY-MM-DD; empty for none."""
    return "" if when_s is None else datetime.fromtimestamp(when_s, UTC).date().isoformat()


@dataclass(frozen=True)
class Column:
    """A skill as a column of the matrix: the lesson's id, title and group."""

    lesson_id: str
    title: str
    group: str


@dataclass(frozen=True)
class LessonTable:
    """Item analysis of a lesson: heading, the step missed most in a sentence, and rows of five texts."""

    lesson_id: str
    heading: str
    worst: str
    rows: tuple[tuple[str, str, str, str, str], ...]


class ReportTables:
    """A class report in words.

    Parameters
    ----------
    report : Report
        The report.
    course : Course
        Groups of lessons.
    """

    def __init__(self, report: Report, course: Course) -> None:
        self.report = report
        self._groups = {name: group.title for group in course.groups for name in group.lessons}
        self._lessons: Mapping[str, Lesson] = {lesson.id: lesson for lesson in report.lessons}
        self._names = {row.person.key: row.person.name for row in report.people}

    @property
    def counts(self) -> str:
        """How much was handed in, in a sentence or two."""
        one = self.report
        return say(
            "report.counts",
            files=one.files,
            people=len(one.people),
            attempts=one.attempts,
            counted=one.counted,
            held=one.held,
            waiting=one.waiting,
            unfinished=one.unfinished,
        )

    @property
    def columns(self) -> tuple[Column, ...]:
        """The skills."""
        return tuple(
            Column(one.id, typeset(one.title), typeset(self._groups.get(one.id, ""))) for one in self.report.lessons
        )

    def summed(self, row: PersonRow) -> str:
        """Return how many skills somebody has mastered, of those that anybody tried."""
        return say("report.sum_of", count=row.mastered, total=len(row.cells))

    def state(self, cell: Cell) -> str:
        """Return how a skill stands, in a few words."""
        no_date = say("report.no_date")
        match cell.state:
            case "mastered":
                text = say("report.mastered", date=day_text(cell.mastered_s) or no_date)
            case "due":
                text = say("report.due", date=day_text(cell.due_s) or no_date)
            case "passed":
                text = say("report.passed", row=cell.row, needed=cell.needed)
            case state:
                text = say(f"report.{state}")
        return say("report.held_also", text=text, count=cell.held) if cell.held and cell.state != "held" else text

    def evidence(self, row: PersonRow) -> list[tuple[str, str]]:
        """Return what stands behind somebody's cells: title of the lesson, and sentences."""
        return [
            (typeset(lesson.title), self._sentences(cell))
            for lesson, cell in zip(self.report.lessons, row.cells, strict=True)
            if cell.state != "open"
        ]

    def _sentences(self, cell: Cell) -> str:
        no_date = say("report.no_date")
        texts = []
        if cell.attempts:
            texts.append(
                say(
                    "report.evidence_line",
                    state=_capital(self.state(cell)),
                    attempts=cell.attempts,
                    passes=cell.passes,
                    last_pass=(day_text(cell.last_pass_s) or no_date) if cell.passes else say("report.open"),
                    last=day_text(cell.last_s) or no_date,
                )
            )
        if cell.held:
            texts.append(say("report.evidence_held", held=cell.held))
        if cell.reason:
            texts.append(say("report.evidence_reason", reason=typeset(cell.reason)))
        return " ".join(texts)

    @property
    def lesson_tables(self) -> list[LessonTable]:
        """The item analysis of every lesson that anybody submitted."""
        return [self._lesson_table(one) for one in self.report.items if one.attempts]

    def _lesson_table(self, one: LessonItems) -> LessonTable:
        title = typeset(self._lessons[one.lesson_id].title)
        worst = one.steps[0] if one.steps else None
        return LessonTable(
            one.lesson_id,
            say("report.items_lesson", title=title, attempts=one.attempts, passed=one.passed),
            say("report.worst_step", step=worst.step, title=typeset(worst.title), missed=worst.missed) if worst else "",
            tuple(self._item(item) for item in one.items),
        )

    def _item(self, item: Item) -> tuple[str, str, str, str, str]:
        share = round(100.0 * item.missed / item.asked) if item.asked else 0
        return (
            typeset(item.title) if item.title else say("report.care_title"),
            say(f"report.kind_{item.kind}"),
            "" if item.step is None else str(item.step),
            say("report.missed_of", missed=item.missed, asked=item.asked, share=share),
            typeset(item.common),
        )

    @property
    def flags(self) -> list[tuple[str, str, str, str, str, str]]:
        """What needs a look: kind, learner, file and entry, lesson, why, held."""
        return [self._flag(flag) for flag in self.report.flags]

    def _flag(self, flag: Flag) -> tuple[str, str, str, str, str, str]:
        lesson = self._lessons.get(flag.lesson_id)
        return (
            say("report.flag_lesson_" if flag.kind == "lesson" else f"report.flag_{flag.kind}"),
            self._names.get(flag.person, ""),
            f"{flag.source}: {flag.place}",
            flag.lesson_id if lesson is None else typeset(lesson.title),
            flag.text,
            say("report.yes" if flag.held else "report.no"),
        )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def csv_tables(tables: ReportTables) -> dict[str, str]:
    """Return the tables of `CSV_NAMES` as CSV: commas, quotes where needed, a byte-order mark for spreadsheets."""
    return {
        "skills": _csv(_SKILLS_HEAD, _skill_rows(tables)),
        "items": _csv(_ITEMS_HEAD, _item_rows(tables)),
        "flags": _csv(("what", "learner", "file_and_entry", "lesson", "why", "held"), tables.flags),
    }


_SKILLS_HEAD = (
    *("learner", "learner_number", "files", "group", "lesson", "title", "state", "attempts", "passes", "in_a_row"),
    *("needed", "mastered_on", "last_passed_on", "last_tried_on", "due_on", "held", "reason"),
)
_ITEMS_HEAD = ("lesson", "title", "submitted", "passed", "kind", "name", "item", "step", "missed", "common_wrong")


def _skill_rows(tables: ReportTables) -> Iterable[Sequence[object]]:
    for row in tables.report.people:
        person = (row.person.name, row.person.key, "; ".join(row.sources))
        for column, cell in zip(tables.columns, row.cells, strict=True):
            moments = (cell.mastered_s, cell.last_pass_s, cell.last_s, cell.due_s)
            yield (
                *(*person, column.group, cell.lesson_id, column.title, cell.state, cell.attempts, cell.passes),
                *(cell.row, cell.needed, *map(day_text, moments), cell.held, typeset(cell.reason)),
            )


def _item_rows(tables: ReportTables) -> Iterable[Sequence[object]]:
    titles = {column.lesson_id: column.title for column in tables.columns}
    for one in tables.report.items:
        for item in one.items:
            yield (
                *(one.lesson_id, titles[one.lesson_id], one.attempts, one.passed, item.kind, item.name),
                *(typeset(item.title), item.step or "", item.missed, typeset(item.common)),
            )


def _csv(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    written = io.StringIO(newline="")
    writer = csv.writer(written)
    writer.writerow(head)
    for row in rows:
        writer.writerow([value if isinstance(value, int) else safe_cell(str(value)) for value in row])
    return "\ufeff" + written.getvalue()
