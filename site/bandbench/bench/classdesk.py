"""The class report at the bench: files are chosen or dropped, scored a little at a time, shown, and saved.

Nothing of the files is kept: they are gone with the page, or when they are taken away. What a log was worth is kept,
under a digest that names nobody (`bandbench.bench.keptverdicts`).
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.classfiles import LARGEST_FILE, read_class_file
from bandbench.bench.faults import FAULTS
from bandbench.bench.keptverdicts import KeptVerdicts
from bandbench.bench.reportpage import report_page
from bandbench.bench.reporttables import CSV_NAMES, ReportTables, csv_tables
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.training.attempt import Attempt
from sim.training.classreport import ClassReport
from sim.training.course import Course
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine
from sim.training.reportmachine import Turn, TurnOver, report_machine_for
from sim.training.rescore import worth_of
from sim.training.verdicts import VerdictKeys

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ClassDesk", "ClassDeskView"]

_TELL_EVERY_S = 0.5
# Files come one by one; the tables are made when no further one has come for so long.
_FILES_SETTLE_S = 0.4


class ClassDesk(Part):
    """Where files of a class are dropped, and the report of them.

    Attributes
    ----------
    shown : str
        JSON: whether the part is there at all, the files, how far scoring is.
    tables : str
        JSON: the report; empty while there is none. Every text in it is shown as text.
    person : str
        JSON: what stands behind one person's row.
    wanted, fresh : dict
        Verdicts that the page shall look up, and those it shall keep: ``text`` is JSON, ``number`` tells it from the
        one before.
    file : dict
        A file to hand to the user: ``name``, ``type``, ``text``, and ``number`` to tell it from the one before.
    """

    shown = param.String(default="{}")
    tables = param.String(default="")
    person = param.String(default="")
    wanted = param.Dict(default={})
    fresh = param.Dict(default={})
    file = param.Dict(default={})

    _esm = script("classdesk")


class ClassDeskView(View):
    """The class report.

    Parameters
    ----------
    course : Course
        The order of the lessons.
    clock : callable
        Goes forward only [s].
    moment : callable, optional
        Returns the present moment.
    version : callable, optional
        Returns which program this is; empty while that is not known.
    """

    WORDS: ClassVar[str] = "report"

    def __init__(
        self,
        bench: Bench,
        act: Callable[[Action], str | None],
        course: Course,
        clock: Callable[[], float] = time.monotonic,
        moment: Callable[[], datetime] = lambda: datetime.now(UTC),
        version: Callable[[], str] = lambda: "",
    ) -> None:
        super().__init__(bench, act)
        self._version = version
        self._turn = Turn()
        self._sent = 0
        self._course = course
        self._clock = clock
        self._moment = moment
        self._machine: LessonMachine | None = None
        self._saved = 0
        self._report = ClassReport(())
        self._clear()
        self.desk = ClassDesk(self.receive, words=self.words)
        self.refresh()

    def _clear(self) -> None:
        lessons = [self.bench.lessons[name] for name in self._course.lessons if name in self.bench.lessons]
        # What has been scored in this visit need not be scored again when the same files come back.
        known = self._report.worths
        self._report = ClassReport(lessons, self._moment().timestamp(), known)
        self._lessons = lessons
        self._kept: KeptVerdicts | None = None
        self._files = 0
        self._queue: list[Attempt] = []
        self._going = False
        self._stale = self._asking = False
        self._file_at_s = self._told_at_s = self._clock()
        self._began: tuple[float, int] | None = None
        self._tables: ReportTables | None = None

    def roots(self) -> dict[str, Any]:
        """Return the desk."""
        return {"report": self.desk}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed, or take a file: ``{"do": "file", "name": ..., "text": ...}``."""
        match str(message["do"]):
            case "file":
                self._take(str(message["name"]), str(message["text"]))
            case "known":
                for attempt, worth in self._kept.take(str(message["value"])) if self._kept else ():
                    self._report.note(attempt, worth)
            case "stop":
                self._going = self._asking = False
                self._began = None
                self._refill()
                self._show_tables()
            case "go":
                self._going = bool(self._queue)
            case "clear":
                self._clear()
                self.desk.tables = self.desk.person = ""
            case "person":
                self._show_person(int(message["value"]))
            case "save":
                self._save(str(message["value"]))
            case what:
                raise ValueError(f"the class report knows no {what!r}")
        self._tell()

    def _take(self, name: str, text: str) -> None:
        self._files += 1
        self._report.add(read_class_file(name, text, self._files))
        self._stale = True
        self._file_at_s = self._clock()

    # Scoring --------------------------------------------------------------------------------------------------

    def work(self) -> bool:
        """Do a little: play a frame, live through some seconds, make the tables; tell whether there was any to do."""
        if self._stale:
            now_s = self._clock()
            if now_s - self._file_at_s < _FILES_SETTLE_S:
                return False
            self._begin()
            return True
        if self._asking and self._kept is not None:
            now_s = self._clock()
            if self._kept.waits(now_s):
                return False
            question = self._kept.next_question(now_s)
            self._send("wanted", question)
            if not question:
                self._go_on()
            return True
        if not self._going:
            return False
        if self._began is None:
            self._began = (self._clock(), len(self._queue))
        attempt = self._queue[-1]
        lesson = self._report.lesson_of(attempt)
        if lesson is not None:
            machine = self._machine_of(lesson)
            self._turn.begin()
            try:
                worth = worth_of(lesson, attempt, machine, FAULTS)
            except TurnOver:
                return True
            self._report.note(attempt, worth)
            if self._kept is not None:
                self._kept.note(attempt, worth)
        self._queue.pop()
        if not self._queue:
            self._going = False
            self._machine = None
            self._show_tables()
            self._tell()
            self._send("fresh", self._kept.next_fresh() if self._kept else "")
        elif self._clock() - self._told_at_s >= _TELL_EVERY_S:
            self._tell()
            self._send("fresh", self._kept.next_fresh() if self._kept else "")
        return True

    def _begin(self) -> None:
        """Begin with the files that have come: ask the page what it knows of them."""
        if self._kept is None:
            version = self._version()
            self._kept = KeptVerdicts(VerdictKeys(version, self._lessons, FAULTS) if version else None)
        self._kept.look_for(self._report.to_score())
        self._stale, self._asking = False, True

    def _go_on(self) -> None:
        """Score what the page does not know, and show what it does."""
        self._asking = False
        self._refill()
        self._going = bool(self._queue)
        self._began = None
        self._show_tables()
        self._tell()

    def _send(self, what: str, text: str) -> None:
        """Hand the page what it is to look up, or to keep."""
        if text:
            self._sent += 1
            setattr(self.desk, what, {"text": text, "number": self._sent})

    def _refill(self) -> None:
        # Worked on from the end, where taking one away costs nothing.
        self._queue = self._report.to_score()[::-1]

    def _machine_of(self, lesson: Lesson) -> LessonMachine:
        """Return the lesson's machine; only the last one is kept: each holds a recorded tape."""
        if self._machine is None or self._machine.lesson is not lesson:
            self._machine = report_machine_for(lesson, FAULTS, self._turn)
        return self._machine

    # Showing --------------------------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show the part where an instructor works: before a use of the bench is chosen, and in demonstrations."""
        self._tell()

    def _tell(self) -> None:
        self._told_at_s = self._clock()
        done, total = self._report.progress
        shown = json.dumps(
            {
                "on": self.bench.mode in (None, "demonstrate"),
                "largest": LARGEST_FILE,
                "files": self._files,
                "done": done,
                "total": total,
                "going": self._going or self._asking or self._stale,
                "text": self._progress_text(done, total),
            }
        )
        if shown != self.desk.shown:
            self.desk.shown = shown

    def _progress_text(self, done: int, total: int) -> str:
        if not self._files:
            return say("report.nothing")
        if self._going or self._asking:
            return say("report.scoring", done=done, total=total, left=self._left_text()).replace("  ", " ")
        return say("report.done" if done == total else "report.stopped", done=done, total=total)

    def _left_text(self) -> str:
        if self._began is None or self._began[1] == len(self._queue):
            return ""
        began_s, waiting = self._began
        left_s = (self._clock() - began_s) / (waiting - len(self._queue)) * len(self._queue)
        return say("report.left_soon") if left_s < 60.0 else say("report.left_minutes", minutes=round(left_s / 60.0))

    def _show_tables(self) -> None:
        self._stale = False
        self._tables = tables = ReportTables(self._report.report(), self._course)
        self.desk.person = ""
        self.desk.tables = json.dumps(
            {
                "counts": tables.counts,
                "columns": [[column.title, column.group] for column in tables.columns],
                "rows": [
                    {
                        "name": row.person.name,
                        "sum": tables.summed(row),
                        "cells": [[cell.state, tables.state(cell)] for cell in row.cells],
                    }
                    for row in tables.report.people
                ],
                "items": [[one.heading, one.worst, one.rows] for one in tables.lesson_tables],
                "flags": tables.flags,
            }
        )

    def _show_person(self, place: int) -> None:
        if self._tables is None or not 0 <= place < len(self._tables.report.people):
            return
        row = self._tables.report.people[place]
        self.desk.person = json.dumps({"place": place, "name": row.person.name, "lines": self._tables.evidence(row)})

    def _save(self, what: str) -> None:
        if self._tables is None:
            return
        self._saved += 1
        if what in CSV_NAMES:
            name, kind, text = f"class-{what}.csv", "text/csv", csv_tables(self._tables)[what]
        else:
            name, kind = "class-report.html", "text/html"
            text = report_page(self._tables, self._moment().timestamp())
        self.desk.file = {"name": name, "type": kind, "text": text, "number": self._saved}
