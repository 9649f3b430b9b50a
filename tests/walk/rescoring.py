"""What an attempt's log is worth when it is scored again, against what was told at the bench.

Contents: `Rescoring`. It runs natively and, handed to the worker as text, in the browser.
"""

from __future__ import annotations

from bandbench.bench.application import BenchApplication
from bandbench.bench.faults import FAULTS
from sim.training.answers import AnswerResult
from sim.training.assignment import score_within
from sim.training.attempt import Attempt, attempt_from_json
from sim.training.lesson import Lesson
from sim.training.rescore import impossible_events
from sim.training.run import machine_for
from sim.training.score import Score, Submission, score_attempt
from sim.training.session import Session

__all__ = ["Rescoring"]


class Rescoring:
    """Every attempt that ends at a bench after something was submitted in it, scored again from its log alone.

    Parameters
    ----------
    application : BenchApplication
        The bench.

    Attributes
    ----------
    done : int
        How many attempts were scored again.
    """

    def __init__(self, application: BenchApplication) -> None:
        self._application = application
        self.done = 0
        self._session: Session | None = None
        self._past = 0
        self._over = False
        # What was told last: the log so far, what the submission read, what the answers were worth.
        self._told: tuple[Lesson, Attempt, Submission | None, dict[str, AnswerResult]] | None = None
        # Whether what is kept under a log is to be a pass.
        self._passes: dict[str, bool] = {}

    def follow(self) -> list[str]:
        """Look at the bench after something was done; return what does not agree."""
        bench = self._application.bench
        session = None if bench.looking_back else bench.session
        wrong: list[str] = []
        if session is not self._session or (session is not None and len(session.past) != self._past):
            if not self._over:
                wrong += self._scored_again(None)
            self._session, self._past = session, 0 if session is None else len(session.past)
            self._over, self._told = False, None
        if session is None or self._over:
            return wrong
        self._told = (session.lesson, session.attempt, session.last_submission, dict(session.answers))
        if session.finished:
            self._over = True
            wrong += self._scored_again(session)
        return wrong

    def kept(self) -> list[str]:
        """Return which of the attempts that are kept has another outcome than its log."""
        records = self._application.learner.records
        return [
            f"the attempt kept at {row.ended_at} is told to be passed: {row.outcome.passed}, its log says otherwise"
            for row in records.attempts.values()
            if row.outcome is not None and self._passes.get(row.log, row.outcome.passed) != row.outcome.passed
        ]

    def _scored_again(self, session: Session | None) -> list[str]:
        if self._told is None or self._told[2] is None:
            return []
        lesson, attempt, submission, answers = self._told
        log = attempt.to_json()
        again = attempt_from_json(log, "log")
        # A machine of its own: nothing of the one that the attempt was done at.
        score = score_attempt(lesson, again, machine_for(lesson, FAULTS), "log", FAULTS)
        self.done += 1
        within = score_within(score, again.help, again)
        if session is not None and not self._application.bench.previewing:
            self._passes[log] = within.passed
        wrong = [
            f"the log of an honest attempt is suspected: {text}"
            for text in impossible_events(lesson, again, score, FAULTS)
        ]
        pairs: dict[str, tuple[object, object]] = {
            "submission": (_read(submission), _read(score.submissions[-1])),
            "answers": (
                [_worth(answers[name]) for name in sorted(answers)],
                [
                    _worth(one)
                    for one in sorted(score.answers, key=lambda one: one.question.name)
                    if one.question.name in answers
                ],
            ),
        }
        if session is not None:
            # Whose result may stand there is looked at by the next tick, and there is none between two operations.
            self._application.result.refresh()
            shown = self._application.result.page.result
            pairs["score"] = (_whole(session.score()), _whole(score))
            if shown:
                pairs["result"] = (
                    (shown["passed"], [passed for _, passed, _ in shown["parts"]]),
                    (score.passed, [part.passed for part in score.parts]),
                )
        for name, (told, found) in pairs.items():
            if repr(told) != repr(found):
                wrong.append(f"{lesson.id}: the {name} told is {told!r}, scored again {found!r}; its log is {log}")
        return wrong


def _read(submission: Submission | None) -> object:
    if submission is None:
        return None
    return submission.at_s, [(one.check.name, one.passed, one.value, one.target) for one in submission.results]


def _worth(answer: AnswerResult) -> object:
    return answer.question.name, answer.given, answer.right, answer.passed


def _whole(score: Score) -> object:
    parts = [(part.name, part.passed, part.sentences) for part in score.parts]
    care = (score.forbidden_acts, score.out_of_order, score.incidents, score.hints_opened, score.moves)
    told = (score.passed, score.reason, score.points, score.duration_s, score.fluency)
    return told, parts, care, [_read(one) for one in score.submissions], [_worth(one) for one in score.answers]
