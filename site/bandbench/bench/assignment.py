"""What was set for the learner, by the link the page was opened with or by a file; and a form to set lessons."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar
from urllib.parse import urlencode

import param

from bandbench.bench.errors import BenchError
from bandbench.bench.links import Link, LinkError, format_link, parse_link
from bandbench.bench.progress import outcome_of_row
from bandbench.bench.readings import typeset
from bandbench.bench.records import LearnerRecords
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.errors import BandbenchError
from sim.training.assignment import (
    LARGEST_ASSIGNMENT,
    LONGEST_TITLE,
    MOST_TASKS,
    Assignment,
    TaskState,
    assignment_from_text,
    task_state,
)
from sim.training.course import Course
from sim.training.help import FULL_HELP, HELP_WORDS, NO_HELP, Help
from sim.training.progress import Outcome
from sim.training.reader import DataError

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["AssignmentDesk", "AssignmentView"]


class AssignmentDesk(Part):
    """What was set.

    Attributes
    ----------
    shown : str
        JSON: the assignment with how each of its lessons stands, and the query of a link to it.
    made : str
        JSON: the link and the file that the form makes, or why it makes none.
    lessons : list of [id, title, group]
        What can be set.
    helps : list of [word, text]
        Help that can be permitted, apart from hints.
    limits : dict
        The longest title, the most lessons and the largest file.
    notice : str
        Why the link or the file cannot be used; empty if nothing is wrong.
    """

    shown = param.String(default="{}")
    made = param.String(default="{}")
    lessons = param.List(default=[])
    helps = param.List(default=[])
    limits = param.Dict(default={})
    notice = param.String(default="")

    _esm = script("assignment")


class AssignmentView(View):
    """The assignment in the lesson's place of the page.

    Parameters
    ----------
    records : LearnerRecords
        What the learner has done.
    course : Course
        The order in which the form offers lessons.
    """

    WORDS: ClassVar[str] = "assignment"

    def __init__(
        self, bench: Bench, act: Callable[[Action], str | None], records: LearnerRecords, course: Course
    ) -> None:
        super().__init__(bench, act)
        self._records = records
        self.assignment: Assignment | None = None
        self._seen: tuple[object, ...] = ()
        self.desk = AssignmentDesk(
            self.receive,
            words=self.words,
            lessons=[
                [name, typeset(bench.lessons[name].title), typeset(group.title)]
                for group in course.groups
                for name in group.lessons
                if name in bench.lessons
            ],
            helps=[[word, text] for word, text in HELP_WORDS.items() if word != NO_HELP],
            limits={"title": LONGEST_TITLE, "lessons": MOST_TASKS, "file": LARGEST_ASSIGNMENT},
        )

    def roots(self) -> dict[str, Any]:
        """Return the desk."""
        return {"assignment": self.desk}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Take what the page was opened with, a file, or what was pressed.

        ``{"do": "link", "value": query}``, ``{"do": "file", "name": ..., "text": ...}``, ``{"do": "choose", "value":
        place}``, ``{"do": "drop"}``, or ``{"do": "make", "value": {"title", "due", "lessons": [{"lesson", "seed",
        "help"}]}}`` with texts as typed.
        """
        action: Action
        match message["do"]:
            case "link":
                action = partial(self._open, str(message["value"]))
            case "file":
                action = partial(self._take, str(message["name"]), str(message["text"]))
            case "choose":
                action = partial(self._choose, int(message["value"]))
            case "drop":
                action = self._drop
            case "make":
                self.desk.made = json.dumps(self._made(message["value"]))
                return
            case what:
                raise ValueError(f"the assignment knows no {what!r}")
        problem = self.act(action)
        self.desk.notice = typeset(problem or "")
        self.follow()

    def _open(self, query: str) -> None:
        """Do what a link says, all of it or nothing; a lesson that goes on is not left for it."""
        bench = self.bench
        try:
            link = parse_link(query, bench.lessons)
        except DataError as error:
            raise _refused("assignment.bad_link", error) from None
        if link is None:
            return
        if link.assignment is not None:
            self.assignment = link.assignment
            if bench.session is None:
                bench.choose_mode("learn")
        elif bench.session is not None:
            return
        elif link.task is not None:
            bench.choose_task(link.task)
        elif link.mode:
            if link.practice:
                bench.open_practice = link.practice
            bench.choose_mode(link.mode)

    def _take(self, name: str, text: str) -> None:
        try:
            self.assignment = assignment_from_text(text, name, self.bench.lessons)
        except DataError as error:
            raise _refused("assignment.bad_file", error) from None

    def _choose(self, place: int) -> None:
        if self.assignment is None or not 0 <= place < len(self.assignment.tasks):
            raise BenchError(say("assignment.gone"))
        self.bench.choose_task(self.assignment.tasks[place])

    def _drop(self) -> None:
        self.assignment = None
        if self.bench.session is None and self.bench.task is not None:
            self.bench.choose_lesson(self.bench.task.lesson)

    # How it stands --------------------------------------------------------------------------------------------

    def states(self) -> tuple[TaskState, ...]:
        """Return how each lesson of the assignment stands for the learner."""
        if self.assignment is None:
            return ()
        done = self._outcomes()
        return tuple(task_state(task, done) for task in self.assignment.tasks)

    def _outcomes(self) -> Sequence[tuple[Outcome, Help]]:
        rows = ((row, self._records.passed(row)) for row in self._records.history)
        return [(outcome_of_row(row, passed), row.permitted) for row, passed in rows if passed is not None]

    def follow(self) -> None:
        """Show the assignment when it, the records or the bench change; to be called some times a second."""
        seen = (self._records.version, self.bench.version, self.assignment)
        if seen == self._seen:
            return
        self._seen = seen
        shown = json.dumps(self._shown())
        if shown != self.desk.shown:
            self.desk.shown = shown

    def _shown(self) -> dict[str, Any]:
        bench, assignment = self.bench, self.assignment
        data: dict[str, Any] = {"on": bench.mode == "learn" and bench.session is None, "title": ""}
        if assignment is None:
            return data
        states = self.states()
        done = sum(state.done_s is not None for state in states)
        return data | {
            "title": assignment.title,
            "due": say("assignment.due", due=assignment.due) if assignment.due else "",
            "count": say("assignment.count", done=done, total=len(states)),
            "tasks": [self._task(state) for state in states],
            "link": _query(Link(assignment=assignment, language=assignment.language)),
        }

    def _task(self, state: TaskState) -> dict[str, Any]:
        task = state.task
        about = [say("assignment.any_seed") if task.seed is None else say("assignment.seed", seed=task.seed)]
        if task.help != FULL_HELP:
            about.append(say("assignment.help", help=task.help.text))
        if state.done_s is not None:
            text, word = say("assignment.done", date="{date}"), "done"
        elif state.attempts:
            key = "assignment.tried_once" if state.attempts == 1 else "assignment.tried"
            text, word = say(key, attempts=state.attempts), "tried"
        else:
            text, word = say("assignment.open"), "open"
        return {
            "id": task.lesson,
            "title": typeset(self.bench.lessons[task.lesson].title),
            "about": " ".join(about),
            "state": word,
            "text": text,
            "at": "" if state.done_s is None else datetime.fromtimestamp(state.done_s, UTC).isoformat(),
            "chosen": task == self.bench.task,
        }

    # The form -------------------------------------------------------------------------------------------------

    def _made(self, form: Mapping[str, Any]) -> dict[str, Any]:
        """Return what the form makes: it is read as the link it would be, by the reader of links."""
        try:
            link = parse_link(urlencode(_given(form)), self.bench.lessons)
            if link is None:
                return {"problem": "", "query": "", "file": ""}
            assignment = link.assignment
            if assignment is None and link.task is not None:
                title = self.bench.lessons[link.task.lesson].title
                assignment = Assignment(title[:LONGEST_TITLE], (link.task,), language=link.language)
            return {
                "problem": "",
                "query": format_link(link),
                "file": assignment.to_toml() if assignment else "",
                "text": say("assignment.made_one" if link.task else "assignment.made"),
            }
        except BandbenchError as error:
            return {"problem": typeset(str(error)), "query": "", "file": ""}


def _refused(key: str, error: DataError) -> BenchError:
    """Return the refusal of a link or a file: what is wrong where, what to do, and what became of the bench."""
    problem = error.problem
    text = say(key, source=problem.source, place=problem.key, reason=problem.reason, remedy=problem.remedy)
    return BenchError(text)


def _given(form: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return the parameters that the form stands for."""
    rows = [
        (str(row["lesson"]), str(row["seed"]).strip(), [str(word) for word in row["help"]]) for row in form["lessons"]
    ]
    title, due = str(form["title"]).strip(), str(form["due"]).strip()
    if not rows:
        return []
    if len(rows) == 1 and not title and not due:
        ((lesson, seed, words),) = rows
        given = [("lesson", lesson), ("help", ",".join(words) or NO_HELP)]
        return [*given, ("seed", seed)] if seed else given
    items = ",".join(f"{lesson}:{seed}:{'.'.join(words) or NO_HELP}" for lesson, seed, words in rows)
    given = [("title", title), ("lessons", items)]
    return [*given, ("due", due)] if due else given


def _query(link: Link) -> str:
    """Return the link's query; empty if it would be too long, as for a large assignment from a file."""
    try:
        return format_link(link)
    except LinkError:
        return ""
