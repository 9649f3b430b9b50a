"""Paper at the bench: a sheet is made when a button asks for it, shown, and printed by the browser."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.bench import BenchError
from bandbench.bench.faults import FAULTS
from bandbench.bench.paper import PractisedAttempt, alignment_sheet, job_sheet, practice_sheet
from bandbench.bench.readings import typeset
from bandbench.bench.records import LearnerRecords
from bandbench.bench.sheets import Sheet, sheet_data
from bandbench.bench.view import STYLES, Action, Part, View, script, style
from bandbench.bench.words import say
from sim.training.alignment import alignment_record
from sim.training.run import machine_for

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["PaperDesk", "PaperView"]


class PaperDesk(Part):
    """Where a sheet lies.

    Attributes
    ----------
    sheet : str
        JSON: the sheet (`bandbench.bench.sheets.sheet_data`); empty while there is none.
    notice : str
        Why there is none.
    """

    sheet = param.String(default="")
    notice = param.String(default="")

    _stylesheets: ClassVar[list[str]] = [*STYLES, style("paper")]
    _esm = script("paper")


class PaperView(View):
    """Sheets of paper.

    Parameters
    ----------
    records : LearnerRecords
        What is kept of the learner.
    """

    WORDS: ClassVar[str] = "paper"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None], records: LearnerRecords) -> None:
        super().__init__(bench, act)
        self._records = records
        self.desk = PaperDesk(self.receive, words=self.words)

    def roots(self) -> dict[str, Any]:
        """Return the desk."""
        return {"paper": self.desk}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Lay a sheet out or put it away.

        ``{"do": "show", "kind": "job" | "alignment" | "practice", "value": ...}``, where the value is the number of a
        kept attempt or empty for the one at the bench; ``{"do": "close"}``.
        """
        match message["do"]:
            case "close":
                self.desk.param.update(sheet="", notice="")
            case "show":
                problem = self.act(partial(self._show, str(message["kind"]), str(message["value"])))
                if problem:
                    self.desk.param.update(sheet="", notice=typeset(problem))
            case what:
                raise ValueError(f"the paper desk knows no {what!r}")

    def _show(self, kind: str, value: str) -> None:
        match kind:
            case "job":
                sheet = self._job()
            case "alignment":
                sheet = self._kept_alignment(value) if value else self._alignment()
            case "practice":
                sheet = self._practice()
            case _:
                raise ValueError(f"there is no sheet {kind!r}")
        self.desk.param.update(sheet=json.dumps(sheet_data(sheet)), notice="")

    def _job(self) -> Sheet:
        lesson, session = self.bench.lesson, self.bench.session
        if lesson is None:
            raise BenchError(say("paper.no_lesson"))
        task = self.bench.task
        seed = session.seed if session else task.seed if task else None
        return job_sheet(lesson, seed, task.help if task else self.bench.permitted)

    def _alignment(self) -> Sheet:
        session = self.bench.running_session()
        if session.last_submission is None:
            raise BenchError(say("paper.not_submitted"))
        record = alignment_record(session.lesson, session.attempt, session.machine)
        began, ended = self._records.moments
        profile = self._records.profile
        return alignment_sheet(
            session.lesson,
            session.attempt,
            record,
            name=profile.name if profile else "",
            began=began,
            ended=ended,
            permitted=self.bench.permitted,
        )

    def _kept_alignment(self, number: str) -> Sheet:
        row = self._records.attempts.get(number)
        if row is None:
            raise BenchError(say("paper.no_attempt"))
        lesson = self._records.lesson_of(row)
        if lesson is None:
            raise BenchError(say("paper.other_version"))
        record = alignment_record(lesson, row.attempt, machine_for(lesson, FAULTS), f"attempt of {row.started_at}")
        profile = self._records.profile
        return alignment_sheet(
            lesson,
            row.attempt,
            record,
            name=profile.name if profile else "",
            began=row.started_at,
            ended=row.ended_at,
            permitted=row.permitted,
        )

    def _practice(self) -> Sheet:
        records, lessons = self._records, self.bench.lessons
        if records.profile is None:
            raise BenchError(say("paper.no_learner"))
        rows = [
            PractisedAttempt(
                title=lessons[row.lesson].title if row.lesson in lessons else row.lesson,
                version=row.lesson_version,
                ended=row.ended_at,
                attempt=row.attempt,
                log=row.log,
                passed=records.passed(row),
                known=records.lesson_of(row) is not None,
                permitted=row.permitted,
            )
            for row in records.history
        ]
        return practice_sheet(records.profile.name, records.app_version, rows)
