"""A lesson of one's own at the bench: a file is dropped or chosen, judged at once, tried on demand, then begun."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.drafts import LARGEST_DRAFT, MOST_SEEDS, Draft, Proof, read_draft
from bandbench.bench.errors import BenchError
from bandbench.bench.readings import typeset
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["AuthoringDesk", "AuthoringView"]


class AuthoringDesk(Part):
    """Where a lesson file is dropped.

    Attributes
    ----------
    shown : str
        JSON: the file, its problems, how far the proof is; whether the part is shown at all.
    notice : str
        What could not be done.
    """

    shown = param.String(default="{}")
    notice = param.String(default="")

    _esm = script("authoring")


class AuthoringView(View):
    """Preview of a lesson file."""

    WORDS: ClassVar[str] = "authoring"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self.draft: Draft | None = None
        self.proof: Proof | None = None
        self.desk = AuthoringDesk(self.receive, words=self.words)
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the desk."""
        return {"authoring": self.desk}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed, or take a file: ``{"do": "file", "name": ..., "text": ...}``."""
        what = str(message["do"])
        action: Action
        match what:
            case "file":
                action = partial(self._take, str(message["name"]), str(message["text"]))
            case "choose":
                action = self._choose
            case "prove":
                action = partial(self._prove, int(message["value"]))
            case "cancel":
                action = self._cancel
            case "drop":
                action = self._drop
            case _:
                raise ValueError(f"the desk knows no {what!r}")
        self.desk.notice = typeset(self.act(action) or "")
        self.refresh()

    def _take(self, name: str, text: str) -> None:
        self._drop()
        self.draft = read_draft(name, text)
        if self.draft.usable and self.draft.lesson is not None:
            self.bench.previews = {self.draft.lesson.id: self.draft.lesson}

    def _choose(self) -> None:
        if self.draft is None or self.draft.lesson is None or not self.draft.usable:
            raise BenchError(say("authoring.not_usable"))
        self.bench.choose_preview(self.draft.lesson.id)

    def _prove(self, seeds: int) -> None:
        if self.draft is None or self.draft.lesson is None or not self.draft.usable:
            raise BenchError(say("authoring.not_usable"))
        self.proof = Proof(self.draft.lesson, seeds)

    def _cancel(self) -> None:
        self.proof = None

    def _drop(self) -> None:
        if self.bench.session is not None and self.bench.previewing:
            raise BenchError(say("authoring.goes_on"))
        if self.bench.previewing:
            self.bench.choose_mode("learn")
        self.draft = self.proof = None
        self.bench.previews = {}

    def prove_next(self) -> bool:
        """Try one more seed, if a proof is running; tell whether there was one to try."""
        if self.proof is None or self.proof.over:
            return False
        # What the proof plays it plays on a recorder of its own.
        problem = self.act(self.proof.next_seed)
        if problem:
            self.proof = None
            self.desk.notice = typeset(problem)
        self.refresh()
        return True

    def refresh(self) -> None:
        """Show the file and how far it is."""
        shown = json.dumps(self._shown())
        if shown != self.desk.shown:
            self.desk.shown = shown

    def _shown(self) -> dict[str, Any]:
        draft, proof = self.draft, self.proof
        return {
            "on": self.bench.mode == "learn" and self.bench.session is None,
            "largest": LARGEST_DRAFT,
            "most": MOST_SEEDS,
            "source": draft.source if draft else "",
            "title": typeset(draft.lesson.title) if draft and draft.lesson else "",
            "usable": bool(draft and draft.usable),
            "chosen": self.bench.previewing,
            "problems": [[one.key, one.reason, one.remedy] for one in draft.problems] if draft else [],
            "proof": None
            if proof is None
            else {
                "done": proof.done,
                "total": proof.total,
                "over": proof.over,
                "problems": [[one.key, one.reason, one.remedy] for one in proof.problems],
            },
        }
