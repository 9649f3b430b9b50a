"""The learner at the bench: who it is, whether records are kept, what was left, what is over, notes; export, import."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.readings import typeset
from bandbench.bench.recordform import KeptAttempt, LeftAttempt
from bandbench.bench.recordimport import ImportPlan
from bandbench.bench.records import LearnerRecords
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.training.attempt import ControlMoved, HintOpened

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["LearnerCard", "LearnerView"]

_ATTEMPTS_SHOWN = 12
_REFUSALS_SHOWN = 20


class LearnerCard(Part):
    """The learner's part of the page.

    Attributes
    ----------
    shown : str
        JSON: everything it says but the texts in `words`. Moments go as ISO 8601: the page knows the reader's clock.
    notice : str
        What was done, or why not.
    """

    shown = param.String(default="{}")
    notice = param.String(default="")

    _esm = script("learner")


class LearnerView(View):
    """The learner's part of the page.

    Parameters
    ----------
    show_result, print_result : callable
        Show the debrief of the attempt at hand; show it and have it printed.
    """

    WORDS: ClassVar[str] = "learner"

    def __init__(
        self,
        bench: Bench,
        act: Callable[[Action], str | None],
        clock: Callable[[], float],
        records: LearnerRecords,
        show_result: Callable[[], None],
        print_result: Callable[[], None],
    ) -> None:
        super().__init__(bench, act)
        self._clock = clock
        self.records = records
        self._show_result = show_result
        self._print_result = print_result
        self._open = False
        self._to_resume = ""
        self._seen = (-1, -1)
        self.card = LearnerCard(self.receive, words=self.words)
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the part."""
        return {"learner": self.card}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed: ``{"do": ..., "value": ...}``."""
        what, value = str(message["do"]), message.get("value")
        if what == "open":
            # Attempts of other sites are scored only where somebody looks at them.
            self._open = bool(value)
            return
        notice: list[str] = []
        problem = self.act(self._action(what, value, notice))
        self.card.notice = typeset(problem) if problem else "".join(notice)
        self.refresh()

    def _action(self, what: str, value: Any, notice: list[str]) -> Action:
        records, now_s = self.records, self._clock()
        match what:
            case "create":
                return partial(records.create_profile, str(value))
            case "choose":
                return partial(records.choose_profile, str(value))
            case "rename":
                return partial(records.rename_profile, str(value))
            case "delete":
                return records.delete_profile
            case "resume":
                return partial(records.resume, str(value), now_s)
            case "set_aside":
                return partial(records.set_aside, str(value))
            case "replay" | "debrief" | "print":
                return partial(self._look_back, str(value), what, now_s)
            case "accept":
                return partial(self._accept, notice)
            case "decline":
                return records.drop_file
            case "note":
                return partial(self._note, str(value), now_s, notice)
        raise ValueError(f"the learner's part knows no {what!r}")

    def _look_back(self, attempt_id: str, what: str, now_s: float) -> None:
        self.records.look_back(attempt_id, now_s)
        if what == "replay":
            self.bench.begin_replay(now_s)
        else:
            (self._print_result if what == "print" else self._show_result)()

    def _accept(self, notice: list[str]) -> None:
        plan = self.records.accept_file()
        notice.append(
            say(
                "learner.imported", attempts=len(plan.attempts), left=len(plan.left), notes=len(plan.notes)
            )
        )  # fmt: skip

    def _note(self, text: str, now_s: float, notice: list[str]) -> None:
        self.records.write_note(text, now_s)
        notice.append(say("learner.note_kept"))

    def take(self, kind: str, text: str) -> None:
        """Take what the page sends about records.

        Parameters
        ----------
        kind : str
            ``all`` (the rows of a learner), ``state`` (of the storage), ``of`` (rows to compare a file with),
            ``file`` (one chosen for import) or ``resume`` (the attempt that went on when the worker before this one
            died).
        text : str
            JSON.
        """
        match kind:
            case "all":
                self.records.load(text)
            case "state":
                self.records.set_storage(json.loads(text))
            case "of":
                self.records.plan_import(text)
            case "resume":
                self._to_resume = str(json.loads(text)["id"])
            case "file":
                file = json.loads(text)
                problem = self.act(partial(self.records.offer_file, str(file["name"]), str(file["text"])))
                self.card.notice = say("learner.nothing_changed", reason=problem) if problem else ""
            case _:
                raise ValueError(f"the page sent records as {kind!r}")
        self.refresh()

    def follow(self) -> None:
        """Keep what is done; to be called some times a second."""
        self._resume()
        self.records.follow(self._clock())
        self.refresh()

    def _resume(self) -> None:
        """Go on with what went on before the worker was started anew, once the records are here."""
        if self._to_resume and self.records.loaded:
            number, self._to_resume = self._to_resume, ""
            problem = self.act(partial(self.records.resume, number, self._clock()))
            self.card.notice = typeset(problem or "")

    def score_next(self) -> bool:
        """Score one attempt of the list, if the list is looked at; tell whether there was one to score."""
        scored = self._open and self.records.loaded and self.records.score_next()
        if scored:
            self.refresh()
        return scored

    def refresh(self) -> None:
        """Show what is kept."""
        seen = (self.records.version, self.bench.version)
        if seen == self._seen:
            return
        self._seen = seen
        records, lesson = self.records, self.records.note_lesson
        notes = records.notes_on(lesson) if lesson else ()
        history = records.history
        self.card.shown = json.dumps(
            {
                "storage": self._storage(),
                "lost": records.storage.state == "memory",
                "loaded": records.loaded,
                "profile": records.profile.id if records.profile else "",
                "name": records.profile.name if records.profile else "",
                "profiles": [[one.id, one.name, one.created_at] for one in records.profiles.values()],
                "counts": [len(history) + len(records.left), len(records.notes)],
                "left": [self._left(row) for row in records.resumable] if records.loaded else [],
                "attempts": [self._attempt(row) for row in history[: -_ATTEMPTS_SHOWN - 1 : -1]],
                "all": len(history),
                "unreadable": [one.reason for one in records.unreadable],
                "note_on": lesson or "",
                "notes": [[note.written_at, note.text] for note in notes],
                "plan": self._plan(records.plan) if records.plan else None,
            }
        )

    def _storage(self) -> str:
        storage = self.records.storage
        if storage.state == "memory":
            return say("learner.memory", why=say(f"learner.why_{storage.reason}"))
        return say(f"learner.{storage.state}")

    def _title(self, lesson_id: str) -> str:
        lesson = self.bench.lessons.get(lesson_id)
        return typeset(lesson.title) if lesson else lesson_id

    def _left(self, row: LeftAttempt) -> dict[str, Any]:
        minutes, seconds = divmod(round(row.attempt.duration_s), 60)
        events = row.attempt.events
        reason = self.records.why_not_resumed(row)
        elsewhere = row.id in self.records.elsewhere
        return {
            "id": row.id,
            "title": say("learner.left_title", title=self._title(row.lesson)),
            "at": row.saved_at,
            "seed": row.attempt.seed,
            "minutes": minutes,
            "seconds": seconds,
            "moves": sum(isinstance(event, ControlMoved) for event in events),
            "hints": len({event.level for event in events if isinstance(event, HintOpened)}),
            "problem": say("learner.left_elsewhere")
            if elsewhere
            else say("learner.left_not", reason=typeset(reason))
            if reason
            else "",
            "fixed": elsewhere,
        }

    def _attempt(self, row: KeptAttempt) -> dict[str, Any]:
        passed = self.records.passed(row)
        if self.records.lesson_of(row) is None:
            outcome = say("learner.other_lesson")
        elif passed is None:
            outcome = say("learner.not_scored")
        else:
            outcome = say("learner.passed" if passed else "learner.not_yet")
        title = self._title(row.lesson)
        return {
            "id": row.id,
            "at": row.ended_at,
            "text": say("learner.attempt", title=title, seed=row.attempt.seed, outcome=outcome),
            "whole": passed is not None,
            "problem": typeset(self.records.why_not_shown(row)),
        }

    def _plan(self, plan: ImportPlan) -> dict[str, Any]:
        new = len(plan.attempts) + len(plan.left) + len(plan.notes)
        lines = [say("learner.plan_new" if plan.new_profile else "learner.plan_known", name=plan.profile.name)]
        lines.append(
            say(
                "learner.plan_counts",
                attempts=len(plan.attempts),
                left=len(plan.left),
                notes=len(plan.notes),
                there=plan.there,
                refused=len(plan.refused),
            )
        )
        adds = new > 0 or plan.new_profile
        if not adds:
            lines.append(say("learner.plan_nothing"))
        refused = list(plan.refused[:_REFUSALS_SHOWN])
        if len(plan.refused) > len(refused):
            refused.append(say("learner.plan_more", count=len(plan.refused) - len(refused)))
        return {
            "title": say("learner.plan_title", source=plan.source),
            "lines": lines,
            "refused": refused,
            "adds": adds,
        }
