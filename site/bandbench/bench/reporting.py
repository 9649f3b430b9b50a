"""The part of the page that says what is reported of the learner's work: kept, sent where, refused; a launch, its end.

The page keeps and sends (``site/static/statements.mjs``) and shows how that stands in the part's script by itself;
this side makes the statements (`bandbench.bench.trail`) and takes launches by a learning system.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.recordform import LONGEST_NAME
from bandbench.bench.records import LearnerRecords
from bandbench.bench.trail import Trail
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.training.cmi5 import Launch, read_launch

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ReportingCard", "ReportingView"]


class ReportingCard(Part):
    """The part.

    Attributes
    ----------
    shown : str
        JSON: who was launched with what, whether he or she wants sound, or why a launch failed. How sending stands,
        the page says by events.
    """

    shown = param.String(default="{}")

    _esm = script("reporting")


class ReportingView(View):
    """What is reported of the learner's work.

    Parameters
    ----------
    records : LearnerRecords
        Whose work.
    moment : callable, optional
        Returns the present moment.
    """

    WORDS: ClassVar[str] = "reporting"

    def __init__(
        self,
        bench: Bench,
        act: Callable[[Action], str | None],
        records: LearnerRecords,
        moment: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        super().__init__(bench, act)
        self._records = records
        self._moment = moment
        self.trail = Trail(records, moment)
        self.card = ReportingCard(self.receive, words=self.words)

    def roots(self) -> dict[str, Any]:
        """Return the part."""
        return {"reporting": self.card}

    def receive(self, message: Mapping[str, Any]) -> None:
        """End the session of a launch: ``{"do": "leave"}``."""
        if message["do"] != "leave":
            raise ValueError(f"the reporting part knows no {message['do']!r}")
        self._problem(self.act(self._leave))

    def _leave(self) -> None:
        self._records.leave()
        self.trail.end()

    def take(self, text: str) -> None:
        """Take a launch by a learning system, in JSON as `sim.training.cmi5.read_launch` has it."""
        self._problem(self.act(partial(self._open, json.loads(text))))

    def _open(self, data: Mapping[str, Any]) -> None:
        launch = read_launch(data, self._moment())
        known = launch.lesson in self.bench.lessons
        name = "".join(sign for sign in launch.name if sign.isprintable()).strip()[:LONGEST_NAME]
        self._records.enter(launch.learner, name or say("learner.first_name"))
        self.trail.open(launch)
        if known:
            self.bench.choose_mode("learn")
            self.bench.choose_lesson(launch.lesson)
        title = self.bench.lessons[launch.lesson].title if known else ""
        text = say("reporting.launched", name=name, title=title) if known else say("reporting.no_lesson", name=name)
        sentences = [text, say(f"reporting.mode_{launch.mode.lower()}"), *_asked(launch, known)]
        self.card.shown = json.dumps({"launched": " ".join(sentences), "audio": launch.audio, "problem": ""})

    def _problem(self, problem: str | None) -> None:
        if problem:
            shown = {"launched": "", **json.loads(self.card.shown), "problem": problem}
            self.card.shown = json.dumps(shown)


def _asked(launch: Launch, known: bool) -> list[str]:
    """Return what the learning system waits for, in sentences."""
    if launch.mode != "Normal" or not known:
        return []
    sentences = [say(f"reporting.move_on_{launch.move_on.lower()}")] if launch.move_on else []
    if launch.mastery_score is not None and launch.mastery_score < 1.0:
        sentences.append(say("reporting.mastery", percent=f"{100.0 * launch.mastery_score:g}"))
    return sentences
