"""The lesson card: what to do, one step at a time, with hints and the check; and the other uses of the bench."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.faults import FAULTS
from bandbench.bench.readings import Readings, reading_label, typeset, unit_sign
from bandbench.bench.stagewords import stage_sentence
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.controls import CONTROLS, STAGES
from sim.training.answers import answer_options, takes_many
from sim.training.checks import CheckResult
from sim.training.help import FULL_HELP
from sim.training.lesson import HINT_LEVELS, Lesson
from sim.training.session import Session
from sim.training.stages import stage_with

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["LessonCard", "LessonView", "check_data"]


_FAULT_LIST = [[fault.name, fault.title] for fault in FAULTS.values()]


class LessonCard(Part):
    """The card.

    Attributes
    ----------
    page : str
        ``choose``, ``briefing``, ``steps``, ``practise`` or ``demonstrate``.
    lesson : dict
        Title, briefing, objectives and cautions of the chosen lesson; empty without one.
    seed : int
        The variation that was dealt.
    stage : str
        How much of the work the lesson does for this learner, in a sentence.
    step : dict
        The step shown.
    watch : list of dict
        Readings to look at in this step, with what they are now.
    hints : list of str
        Texts of the hints opened so far.
    checks : list of dict
        Results of the last check.
    finished : bool
        Whether the lesson is passed.
    questions : list of dict
        The questions, what can be answered, and what was; what an answer is worth only where it may be told.
    permitted : dict
        Levels of hints that may be opened, and in a sentence what was set for the lesson, if anything was.
    fault : dict
        What is known about a planted fault.
    faults : list of [name, title]
        Faults that can be planted; empty while an instructor works at the bench.
    caption : dict
        What the class reads of the demonstration that an instructor shows; empty without one.
    notice : str
        What could not be done.
    """

    page = param.String(default="choose")
    lesson = param.Dict(default={})
    seed = param.Integer(default=0)
    stage = param.String(default="")
    step = param.Dict(default={})
    watch = param.List(default=[])
    hints = param.List(default=[])
    checks = param.List(default=[])
    finished = param.Boolean(default=False)
    questions = param.List(default=[])
    permitted = param.Dict(default={})
    fault = param.Dict(default={})
    faults = param.List(default=[])
    caption = param.Dict(default={})
    notice = param.String(default="")

    _esm = script("lesson")


def _lesson_data(lesson: Lesson) -> dict[str, Any]:
    return {
        "id": lesson.id,
        "mode": lesson.mode,
        "checks": len(lesson.checks),
        "title": lesson.title,
        "minutes": lesson.minutes,
        "briefing": typeset(lesson.briefing),
        "objectives": [typeset(text) for text in lesson.objectives],
        "cautions": [typeset(text) for text in lesson.cautions],
    }


def _step_data(session: Session) -> dict[str, Any]:
    step = session.current_step
    return {
        "number": session.step_number,
        "total": len(session.lesson.steps),
        "title": step.title,
        "text": typeset(step.text),
        "expect": typeset(step.expect),
        "stage": STAGES[step.stage].title if step.stage else "",
        "control": CONTROLS[step.control].label if step.control else "",
        "worked": session.step_is_worked and bool(session.worked_moves()) and not session.finished,
        "reasons": [typeset(reason) for _, _, reason in session.worked_moves()],
    }


def _question_data(session: Session) -> list[dict[str, Any]]:
    """Return each question as it stands; nothing in it gives an answer away before it may be told."""
    lesson, told = session.lesson, session.tells_answers
    rows = []
    for question in lesson.questions:
        result = session.answers.get(question.name)
        rows.append(
            {
                "name": question.name,
                "title": question.title,
                "text": typeset(question.text),
                "kind": question.kind,
                "unit": unit_sign(question.unit) if question.unit else "",
                "many": takes_many(lesson, question),
                "options": [
                    [answer, typeset(words)]
                    for answer, words in answer_options(lesson, question, session.start, session.machine.faults)
                ],
                "given": typeset(result.given_text) if result else "",
                "told": told and result is not None,
                "passed": bool(told and result and result.passed),
                "right": typeset(result.right_text) if told and result else "",
                "explain": typeset(question.explain) if told and result else "",
            }
        )
    return rows


def check_data(result: CheckResult, read: bool = True) -> dict[str, Any]:
    """Return one check's result in words; what was read is left out unless it may be shown."""
    return {
        "name": result.check.name,
        "title": result.check.title,
        "value": typeset(result.value_text) if read else say("path.away"),
        "target": typeset(result.target_text),
        "source": typeset(result.check.source_text),
        "passed": result.passed,
    }


class LessonView(View):
    """The lesson card."""

    WORDS: ClassVar[str] = "lesson"

    def __init__(
        self,
        bench: Bench,
        act: Callable[[Action], str | None],
        clock: Callable[[], float],
        show_result: Callable[[], None],
    ) -> None:
        super().__init__(bench, act)
        self._clock = clock
        self._show_result = show_result
        self._readings: Readings | None = None
        self.card = LessonCard(
            self.receive,
            words=self.words,
        )
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the card."""
        return {"lesson": self.card}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed: ``{"do": ..., "value": ...}``."""
        action = self._action(str(message["do"]), message.get("value"))
        self.card.notice = typeset(self.act(action) or "")

    def _action(self, what: str, value: Any) -> Action:
        bench, now_s = self.bench, self._clock()
        match what:
            case "mode":
                return partial(bench.choose_mode, value)
            case "begin":
                return partial(bench.begin_lesson, now_s)
            case "restart":
                return partial(bench.restart_lesson, now_s)
            case "step":
                return partial(bench.show_step, int(value), now_s)
            case "hint":
                return partial(bench.open_hint, int(value), now_s)
            case "lesson":
                return partial(bench.choose_lesson, str(value))
            case "worked":
                return partial(bench.do_worked_step, now_s)
            case "answer":
                return partial(bench.answer_question, str(value["question"]), str(value["answer"]), now_s)
            case "check":
                return partial(self._check, now_s)
            case "result":
                return self._show_result
            case "hide_fault":
                return bench.hide_fault
            case "plant_fault":
                return partial(bench.plant_fault, str(value["name"]), float(value["severity"]))
            case "show_fault":
                return bench.show_fault
            case "clear_fault":
                return bench.clear_fault
        raise ValueError(f"the lesson card knows no {what!r}")

    def _check(self, now_s: float) -> None:
        self.bench.check_lesson(now_s)
        if self.bench.running_session().finished:
            self._show_result()

    def refresh(self) -> None:
        """Show what the bench is used for, and where the lesson stands."""
        bench, session = self.bench, self.bench.session
        self.card.param.update(
            page="steps" if session else "briefing" if bench.mode == "learn" else bench.mode or "choose",
            lesson=_lesson_data(bench.lesson) if bench.lesson else {},
            permitted=self._permitted(),
            fault=self._fault_data(),
            caption={key: typeset(text) for key, text in bench.caption.items()},
            # Nothing on the page names a fault while an instructor may have planted it.
            faults=[] if self._instructed() else _FAULT_LIST,
        )
        if session is not None:
            submission = session.last_submission
            hints = [session.lesson.hints.text(level) for level in range(1, len(HINT_LEVELS) + 1)]
            self.card.param.update(
                seed=session.seed,
                stage=stage_sentence(stage_with(session.lesson, session.worked)),
                step=_step_data(session),
                watch=self._watched(),
                hints=[typeset(text) for text in hints[: session.hints_opened]],
                checks=[check_data(result, bench.readings_shown) for result in submission.results]
                if submission
                else [],
                finished=session.finished,
                questions=_question_data(session),
            )

    def _permitted(self) -> dict[str, Any]:
        bench = self.bench
        levels = len(HINT_LEVELS)
        hints = levels if bench.session is None or bench.session.finished else min(bench.permitted.hints, levels)
        limit = ""
        if hints < levels:
            limit = say("lesson.hints_permitted", level=hints) if hints else say("lesson.no_hints_permitted")
        said = bench.permitted if bench.session else bench.task.help if bench.task else FULL_HELP
        text = "" if said == FULL_HELP else say("lesson.permitted", help=said.text)
        if bench.task is not None and bench.session is None:
            seed = bench.task.seed
            chosen = say("lesson.set_any") if seed is None else say("lesson.set_seed", seed=seed)
            text = f"{chosen} {text}".strip()
        return {"hints": hints, "limit": limit, "text": text}

    def _instructed(self) -> bool:
        bench = self.bench
        return bool(bench.instructed or bench.secret or bench.caption)

    def _fault_data(self) -> dict[str, Any]:
        bench = self.bench
        own_search = bench.mode == "practise" and bench.fault is not None
        if self._instructed() and not own_search:
            # Whether anything is planted, and what, is the instructor's to tell.
            return {"state": "instructed", "text": say("lesson.instructed")}
        if bench.fault is None:
            return {"state": "none", "text": say("lesson.sound")}
        if not bench.fault_shown:
            return {"state": "hidden", "text": say("lesson.hidden")}
        spec = FAULTS[bench.fault]
        text = say("lesson.planted", title=spec.title, severity=f"{100 * bench.severity:.0f}", text=spec.description)
        return {"state": "shown", "text": text}

    def _watched(self) -> list[dict[str, str]]:
        session = self.bench.session
        if session is None or self._readings is None:
            return []
        # What is put away does not go to the page at all.
        readings = self._readings if self.bench.readings_shown else None
        return [
            {
                "name": name,
                "label": reading_label(name),
                "text": say("path.away") if readings is None else readings.text(name) or say("meters.none"),
            }
            for name in session.current_step.watch
        ]

    def update(self, readings: Readings) -> None:
        """Show the readings to watch in this step."""
        self._readings = readings
        self.card.watch = self._watched()
