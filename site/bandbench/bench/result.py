"""The result of a lesson: outcome, every check, and one's own moves over time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import panel as pn
import param
from bokeh.models import Range1d
from bokeh.models.annotations import BoxAnnotation, Span
from numpy.typing import NDArray

from bandbench.bench.debrief import event_plot, event_rows, fault_rows
from bandbench.bench.lesson import check_data
from bandbench.bench.plots import PAGE_INKS, Inks, dress_legend, plain_figure
from bandbench.bench.progress import Advice
from bandbench.bench.readings import setting, typeset, unit_sign
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.controls import CONTROLS
from sim.deeds import DEEDS
from sim.training.answers import AnswerResult
from sim.training.help import FULL_HELP, Help
from sim.training.score import ForbiddenAct, Score
from sim.training.session import Session
from sim.training.timeline import ControlTrack, ReadingTrack, control_tracks, reading_tracks

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["ResultPage", "ResultView"]

_SIDE_BY_SIDE = """
:host { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 20rem), 1fr)); gap: 0.75rem; }
.scroll-button { display: none; }
/* Bokeh does not clear the outermost picture elements when it draws anew. */
:host > :not(style, link) { clip-path: inset(0 2px); }
/* What was done when is the time scale of all that follow. */
:host > :nth-child(1 of :not(style, link, .scroll-button)) { grid-column: 1 / -1; }
@media print { :host > * { break-inside: avoid; } }
"""


class ResultPage(Part):
    """The result in words.

    Attributes
    ----------
    result : dict
        Everything the page says; empty while there is no result to show.
    """

    result = param.Dict(default={})

    _esm = script("result")


def _result_data(session: Session, score: Score, advice: Advice, permitted: Help) -> dict[str, Any]:
    lesson = session.lesson
    minutes, seconds = divmod(round(score.duration_s), 60)
    return {
        "title": say("result.title", outcome=say("result.passed" if score.passed else "result.not_yet")),
        "passed": score.passed,
        "lesson": say("result.lesson", title=lesson.title, seed=session.seed),
        "reason": typeset(score.reason),
        "permitted": "" if permitted == FULL_HELP else say("lesson.permitted", help=permitted.text),
        "checks": [check_data(result) for result in score.deciding.results] if score.deciding else [],
        "parts": [
            [say(f"result.{part.name}"), part.passed, [typeset(sentence) for sentence in part.sentences]]
            for part in score.parts
        ],
        "answers": [_answer_data(answer, session.tells_answers) for answer in score.answers],
        "fluency": [typeset(sentence) for sentence in score.fluency],
        "summary": say(
            "result.moves", moves=score.moves, minutes=minutes, seconds=seconds, hints=len(score.hints_opened)
        ),
        "forbidden": [
            say("result.forbidden", text=f"{_forbidden_words(act)}: {act.reason}") for act in score.forbidden_acts
        ],
        # The debrief names the causes: it waits until they have been found.
        "debrief": [[say(f"result.{part}"), typeset(getattr(lesson.debrief, part))] for part in ("what", "why", "next")]
        if session.finished
        else [],
        "chain": [typeset(link) for link in lesson.debrief.chain] if session.finished else [],
        "faults": fault_rows(session) if session.finished else [],
        "events": event_rows(session, session.attempt.events),
        "advice": {"text": typeset(advice.text), "lesson": advice.lesson, "again": advice.again},
    }


def _forbidden_words(act: ForbiddenAct) -> str:
    if act.value is None:
        return DEEDS[act.name].title
    return f"{CONTROLS[act.name].label} {setting(CONTROLS[act.name], act.value)}"


def _answer_data(answer: AnswerResult, told: bool) -> dict[str, Any]:
    """Return one answer in words; what is right only when it may be told."""
    return {
        "name": answer.question.name,
        "title": answer.question.title,
        "given": typeset(answer.given_text),
        "right": typeset(answer.right_text) if told else "",
        "passed": told and answer.passed,
        "told": told,
        "explain": typeset(answer.question.explain) if told else "",
        "source": typeset(answer.question.source_text) if told else "",
    }


def _plot(inks: Inks, title: str, unit: str, times: NDArray[np.float32], values: NDArray[np.float32]) -> Any:
    """Return an empty plot over time that has room for `values` (NaN counts for nothing)."""
    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    margin = 0.08 * (high - low) or 1.0
    plot = plain_figure(
        inks,
        title=say("result.of_unit", label=title, unit=unit_sign(unit)),
        height=230,
        sizing_mode="stretch_width",
        min_border_right=16,
        x_range=Range1d(start=0.0, end=max(float(times[-1]), 1.0) * 1.03),
        y_range=Range1d(start=low - margin, end=high + margin),
    )
    plot.xaxis.axis_label = say("result.time")
    return plot


def _control_plot(track: ControlTrack, with_reference: bool, inks: Inks) -> Any:
    spec = CONTROLS[track.control]
    times, values = np.array(track.times_s, np.float32), np.array(track.values, np.float32)
    # The right setting stays hidden, from the axis too, while it is still to be found.
    room = np.append(values, np.float32(track.reference if with_reference else np.nan))
    plot = _plot(inks, spec.label, spec.unit, times, room)
    plot.step(times, values, mode="after", line_color=inks.trace, line_width=2, legend_label=say("result.yours"))
    if with_reference:
        plot.line(
            np.array([0.0, max(float(times[-1]), 1.0)], np.float32),
            np.full(2, track.reference, np.float32),
            line_color=inks.marked,
            line_width=2,
            line_dash="dashed",
            legend_label=say("result.reference"),
        )
    dress_legend(plot, inks)
    return plot


def _reading_plot(track: ReadingTrack, inks: Inks) -> Any:
    check = track.check
    times, values = np.array(track.times_s, np.float32), np.array(track.values, np.float32)
    low = track.target - check.tolerance
    # Above the peak there is nothing to be had; noise may read a little higher.
    high = None if check.kind == "peak" else track.target + check.tolerance
    ends = [low, track.target if high is None else high]
    plot = _plot(inks, check.title, check.unit, times, np.append(values, np.array(ends, np.float32)))
    plot.add_layout(BoxAnnotation(bottom=low, top=high, fill_color=inks.band, fill_alpha=0.35, line_color=inks.band))
    line = {"line_color": inks.marked, "line_dash": "dashed", "line_width": 2}
    plot.add_layout(Span(location=track.target, dimension="width", **line))
    plot.line(times, values, line_color=inks.trace, line_width=2, legend_label=say("result.reading"))
    plot.scatter(times, values, size=6, color=inks.trace)
    # Only for the legend: a square of the band's colour.
    plot.scatter([np.nan], [np.nan], marker="square", size=12, color=inks.band, legend_label=say("result.band"))
    dress_legend(plot, inks)
    return plot


class ResultView(View):
    """The result page; empty until a result is asked for."""

    WORDS: ClassVar[str] = "result"

    def __init__(
        self,
        bench: Bench,
        act: Callable[[Action], str | None],
        clock: Callable[[], float],
        advise: Callable[[Session, Score], Advice],
    ) -> None:
        super().__init__(bench, act)
        self._advise = advise
        self._clock = clock
        self._inks = PAGE_INKS["light"]
        # Whose result is shown.
        self._session: Session | None = None
        # Draws the figures of the result that is shown.
        self._draw: Callable[[Inks], list[Any]] = lambda inks: []
        self.page = ResultPage(self.receive, words=self.words)
        self.plots = pn.Column(sizing_mode="stretch_width", margin=0, stylesheets=[_SIDE_BY_SIDE])

    def roots(self) -> dict[str, Any]:
        """Return the words and the plots."""
        return {"result": self.page, "result-plots": self.plots}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Take up the page's colours; or close the page and do what was asked: the lesson anew, another, a replay."""
        what = message["do"]
        if what == "scheme":
            self._colour(str(message["value"]))
            return
        self.close()
        if what == "close" and self.bench.looking_back:
            self.act(self.bench.leave_kept)
        if what == "again":
            self.act(lambda: self.bench.restart_lesson(self._clock()))
        elif what == "lesson":
            self.act(lambda: self.bench.choose_lesson(str(message["value"])))
        elif what == "replay":
            self.act(lambda: self.bench.begin_replay(self._clock()))

    def show_and_print(self) -> None:
        """Show the result, and have it printed once its plots are drawn."""
        self.show(printed=True)

    def show(self, *, printed: bool = False) -> None:
        """Show the running attempt's result."""
        session = self._session = self.bench.running_session()
        score = session.score()
        data = _result_data(session, score, self._advise(session, score), self.bench.permitted)
        self.page.result = {**data, "printed": printed}
        readings: Sequence[ReadingTrack] = reading_tracks(
            session.lesson, session.attempt, session.start, session.machine
        )
        controls: Sequence[ControlTrack] = control_tracks(session.lesson, session.attempt, session.start)
        turned = [track for track in controls if CONTROLS[track.control].kind == "number"]
        finished, attempt = session.finished, session.attempt

        def draw(inks: Inks) -> list[Any]:
            done = event_plot(attempt.events, attempt.duration_s, inks)
            plots = [] if done is None else [done]
            plots += [_reading_plot(track, inks) for track in readings]
            return plots + [_control_plot(track, finished, inks) for track in turned]

        self._draw = draw
        self._show_plots()

    def _colour(self, scheme: str) -> None:
        if scheme not in PAGE_INKS:
            raise ValueError(f"the result page knows no colours named {scheme!r}; there are: {', '.join(PAGE_INKS)}")
        self._inks = PAGE_INKS[scheme]
        if self.page.result:
            self._show_plots()

    def _show_plots(self) -> None:
        plots = self._draw(self._inks)
        self.plots[:] = [pn.pane.Bokeh(plot, sizing_mode="stretch_width", margin=0) for plot in plots]

    def close(self) -> None:
        """Empty the page."""
        self.page.result = {}
        self.plots[:] = []

    def refresh(self) -> None:
        """Close the page when its lesson is left or dealt anew, or another attempt is looked at."""
        session = self.bench.session
        nothing_yet = session is None or (session.last_submission is None and not self.bench.looking_back)
        if self.page.result and (nothing_yet or session is not self._session):
            self.close()
