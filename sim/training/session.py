"""A trainee at the bench: the part of a lesson that goes on while it is done. No view, no clock of its own.

Contents: `Session` and `SessionError`. Views show what it holds and tell it what was done and when.
"""

from __future__ import annotations

import math

from sim.controls import check_control
from sim.deeds import check_deed
from sim.errors import BandbenchError, known_names
from sim.station import LONGEST_GAP_S, STEP_S
from sim.training.answers import AnswerResult, checked_answer, judged
from sim.training.attempt import (
    LONGEST_NOTE,
    MOST_EVENTS,
    ActDone,
    Attempt,
    CheckSubmitted,
    ControlMoved,
    Event,
    HintOpened,
    NoteWritten,
    QuestionAnswered,
    StepShown,
    check_belongs,
)
from sim.training.checks import HOLD_READINGS
from sim.training.deal import deal
from sim.training.help import FULL_HELP, Help
from sim.training.lesson import HINT_LEVELS, Lesson, Step
from sim.training.machine import LessonMachine, Start
from sim.training.parts import LARGEST_SEED
from sim.training.run import RunningMachine, machine_for
from sim.training.score import Score, Submission, score_attempt, submission_at
from sim.training.solution import step_moves
from sim.training.working import LOOK_EVERY_S
from sim.wording import wording

__all__ = ["Session", "SessionError"]


class SessionError(BandbenchError):
    """Something was asked of the session that the lesson does not allow now."""


class Session:
    """One lesson being done, from the dealt start to the pass.

    Parameters
    ----------
    lesson : Lesson
        The lesson; its names must exist (`sim.training.references`).
    seed : int
        What is dealt.
    now_s : float
        The caller's clock at the start [s]; any origin, as long as the same clock is used throughout.
    machine : LessonMachine, optional
        The lesson's machine; give the bench's own recorder in one to spare a second recording of the tape.
    worked : int, optional
        How many of the first steps the lesson does for who asks, at most `Lesson.worked`, which is the default; see
        `sim.training.stages.stage_of`.
    permitted : Help
        The help that is permitted: the log says so; to keep to it is for the bench.
    seed_set : bool
        Whether somebody set the seed.

    Notes
    -----
    The controls' new values and the hidden condition are for the bench to set on its recorder: `start.controls`,
    `start.condition`. A machine that runs is the session's own (`running`): it lives on as the session is told the
    time, and everything done is done to it here. Once `finished`, moves are free practice and are no longer logged.
    """

    def __init__(
        self,
        lesson: Lesson,
        seed: int,
        now_s: float = 0.0,
        machine: LessonMachine | None = None,
        worked: int | None = None,
        permitted: Help = FULL_HELP,
        seed_set: bool = False,
    ) -> None:
        self.lesson = lesson
        self.machine = machine or machine_for(lesson)
        self.permitted = permitted
        self.seed_set = seed_set
        self.past: list[Attempt] = []
        self.worked = lesson.worked if worked is None else min(worked, lesson.worked)
        self._deal(seed, now_s)

    def _deal(self, seed: int, now_s: float) -> None:
        began_s = _clock(now_s)
        self.start: Start = deal(self.lesson, seed, self.machine)
        self.attempt = Attempt(self.lesson.id, self.lesson.version, seed, help=self.permitted, seed_set=self.seed_set)
        self.controls = dict(self.start.controls)
        self.hints_opened = 0
        self.last_submission: Submission | None = None
        self.answers: dict[str, AnswerResult] = {}
        self._passed_signals = False
        self._step = 0
        self._began_s = began_s
        if self.running is not None:
            self.running.begin(self.start)

    @property
    def running(self) -> RunningMachine | None:
        """The lesson's machine if it runs; None if it is held in play."""
        return self.machine if isinstance(self.machine, RunningMachine) else None

    @classmethod
    def resumed(
        cls, lesson: Lesson, attempt: Attempt, now_s: float = 0.0, machine: LessonMachine | None = None
    ) -> Session:
        """Return the session of an attempt that was broken off, as it was after the last event of its log.

        Parameters
        ----------
        lesson : Lesson
            The lesson it was made on.
        attempt : Attempt
            The log as far as it was kept; its clock goes on from the last event.
        now_s : float
            The caller's clock now [s].
        machine : LessonMachine, optional
            The lesson's machine.

        Raises
        ------
        AttemptError
            If the log belongs to another lesson or version, or holds what the lesson does not offer.
        """
        check_belongs(attempt, lesson, "attempt")
        session = cls(lesson, attempt.seed, now_s, machine, permitted=attempt.help, seed_set=attempt.seed_set)
        for event in attempt.events:
            session._done_before(event)
        run = None if session.running is None else session.running.live
        session._began_s = _clock(now_s) - (attempt.duration_s if run is None else run.at_s)
        return session

    def _done_before(self, event: Event) -> None:
        """Bring the session behind one event of a log."""
        before = self.attempt.events
        self.attempt = self.attempt.with_event(event)
        self._live_on(event.at_s)
        match event:
            case ControlMoved():
                self.controls[event.control] = event.value
            case HintOpened():
                self.hints_opened = max(self.hints_opened, event.level)
            case StepShown():
                self._step = event.step - 1
            case QuestionAnswered():
                self._answered(event.question, event.answer, before, event.at_s)
            case CheckSubmitted():
                self._submitted(event.at_s)

    def _live_on(self, at_s: float) -> None:
        """Let a machine that runs live through the log up to a moment."""
        if self.running is not None:
            self.running.live_on(self.attempt.events, at_s)

    def live(self, now_s: float) -> bool:
        """Let a machine that runs live up to now, and tell whether its picture is another one."""
        run = None if self.running is None else self.running.live
        if run is None:
            return False
        before = run.station.frame_index
        self._live_on(self._moment(now_s))
        return run.station.frame_index != before

    def _moment(self, now_s: float) -> float:
        """Return the time of what is done now [s]: of a machine that runs, its own."""
        run = None if self.running is None else self.running.live
        if run is None:
            return self.elapsed_s(now_s)
        ahead_s = _clock(now_s) - self._began_s - run.at_s
        if ahead_s > LONGEST_GAP_S:
            # The computer slept, and so did the machine.
            self._began_s += ahead_s
            ahead_s = 0.0
        at_s = run.at_s + max(math.floor(ahead_s / STEP_S + 1e-6), 0) * STEP_S
        return max(round(at_s, 3), self.attempt.duration_s)

    def _skip(self, seconds: float) -> None:
        """Let a machine that runs live on for a while at once: the session's clock jumps with it."""
        run = None if self.running is None else self.running.live
        if run is not None and seconds > 0.0:
            goal_s = round(run.at_s + seconds, 3)
            self._live_on(goal_s)
            self._began_s -= seconds

    @property
    def seed(self) -> int:
        """Seed of the running attempt."""
        return self.attempt.seed

    @property
    def finished(self) -> bool:
        """Whether the attempt is over: signals in tolerance and everything answered; an assessment once submitted."""
        if self.last_submission is None:
            return False
        return self.lesson.mode == "assessment" or (self._passed_signals and not self.unanswered)

    @property
    def unanswered(self) -> tuple[str, ...]:
        """Names of the questions that wait for an answer."""
        return tuple(question.name for question in self.lesson.questions if question.name not in self.answers)

    @property
    def tells_answers(self) -> bool:
        """Whether what an answer was worth may be shown now; where it is the test itself, only at the end."""
        return self.lesson.mode not in ("diagnosis", "assessment") or self.last_submission is not None

    @property
    def step_number(self) -> int:
        """Number of the step shown, from 1."""
        return self._step + 1

    @property
    def current_step(self) -> Step:
        """The step shown."""
        return self.lesson.steps[self._step]

    def elapsed_s(self, now_s: float) -> float:
        """Return the attempt's time at the caller's clock [s], to the millisecond; it never runs backwards."""
        return max(round(_clock(now_s) - self._began_s, 3), self.attempt.duration_s)

    def move(self, control: str, value: float, now_s: float) -> None:
        """Log that a control was set.

        Raises
        ------
        BandbenchError
            If the lesson does not offer the control, or it cannot be set to this value; nothing is logged then.
        """
        if control not in self.lesson.controls:
            raise SessionError(
                wording(
                    "session.control_not_part_lesson",
                    control=control,
                    id=self.lesson.id,
                    controls=known_names(self.lesson.controls),
                )
            )
        checked = check_control(control, value)
        if self.controls[control] != checked:
            self._do(ControlMoved(self._moment(now_s), control, checked))
        self.controls[control] = checked

    def do(self, act: str, choice: str, now_s: float) -> None:
        """Do a deed of `sim.deeds.DEEDS` at a machine that runs, and log it.

        Raises
        ------
        BandbenchError
            If there is no such deed or choice, or the machine of this lesson is held: nothing is logged then. If the
            machine refuses, with the reason: that it was tried stands in the log.
        """
        if self.running is None:
            raise SessionError(wording("session.lesson_tape_plays_all"))
        checked = check_deed(act, choice)
        run = self.running.live
        assert run is not None
        self._do(ActDone(self._moment(now_s), act, checked))
        if run.refusal:
            raise SessionError(run.refusal)

    def _do(self, event: ControlMoved | ActDone) -> None:
        """Do something at the machine; what is done after the end is not logged."""
        if not self.finished:
            self._log(event)
        elif self.running is not None and self.running.live is not None:
            self.running.live.stray(event)

    def show_step(self, number: int, now_s: float) -> Step:
        """Show step `number` (from 1), log it and return it."""
        if not 1 <= number <= len(self.lesson.steps):
            raise SessionError(wording("session.step_lesson_steps_1", number=number, steps=len(self.lesson.steps)))
        if number != self.step_number:
            self._step = number - 1
            if not self.finished:
                self._log(StepShown(self._moment(now_s), number))
        return self.current_step

    def open_hint(self, level: int, now_s: float) -> str:
        """Open hint `level` (1 symptom, 2 cause, 3 step), log it the first time and return its text.

        Raises
        ------
        SessionError
            If there is no such hint or the one before it has not been opened.
        """
        if level not in range(1, len(HINT_LEVELS) + 1):
            raise SessionError(wording("session.hint_there_hints_1", level=level, hint_levels=len(HINT_LEVELS)))
        if level > self.hints_opened + 1:
            raise SessionError(wording("session.hint_open_hint_first", level=level, hints_opened=self.hints_opened + 1))
        if level > self.hints_opened:
            self.hints_opened = level
            if not self.finished:
                self._log(HintOpened(self._moment(now_s), level))
        return self.lesson.hints.text(level)

    @property
    def step_is_worked(self) -> bool:
        """Whether the lesson does the step shown for who asks."""
        return self.step_number <= self.worked

    def worked_moves(self) -> list[tuple[str, float, str]]:
        """Return what the lesson does in the step shown: control, value and reason; empty if it does nothing there."""
        return step_moves(self.lesson, self.start, self.step_number) if self.step_is_worked else []

    def do_worked_step(self, now_s: float) -> list[tuple[str, float, str]]:
        """Let the lesson do the step shown, log what it does as shown, and return its moves for the bench to make.

        At a machine that runs the step's deeds come first, and the waiting is done at once.

        Raises
        ------
        SessionError
            If the lesson does not do this step.
        """
        if not self.step_is_worked:
            raise SessionError(
                wording("session.step_yours_do_lesson", step_number=self.step_number, worked=self.worked)
            )
        step = self.current_step
        if self.running is not None and not self.finished:
            for deed in step.acts:
                self._log(ActDone(self._moment(now_s), deed.name, deed.choice, shown=True))
            self._wait_as_told(self.running, step, now_s)
        moves = self.worked_moves()
        for control, value, _ in moves:
            if self.controls[control] != value and not self.finished:
                self._log(ControlMoved(self._moment(now_s), control, value, shown=True))
                self._skip(step.settle_s)
            self.controls[control] = value
        return moves

    def _wait_as_told(self, running: RunningMachine, step: Step, now_s: float) -> None:
        """Wait at once for what a step waits for."""
        waited_s = 0.0
        while waited_s < step.wait_s:
            if step.until is not None:
                at_s, name = self._moment(now_s), step.until.reading
                self._live_on(at_s)
                read = running.read(self.start, self.attempt.events, at_s, [name])
                if step.until.reached(read[name]):
                    break
            piece_s = min(LOOK_EVERY_S, step.wait_s - waited_s)
            self._skip(piece_s)
            waited_s += piece_s

    def answer(self, question: str, answer: str, now_s: float) -> AnswerResult:
        """Answer a question, once, log it and return what the answer was worth (see `tells_answers`).

        Parameters
        ----------
        question : str
            Its name.
        answer : str
            One of `sim.training.answers.answer_options` (several joined by ``+`` where several are asked for), or a
            number as text.
        now_s : float
            The caller's clock [s].

        Raises
        ------
        BandbenchError
            If there is no such question, it cannot be answered so, it has been answered, or the attempt is finished;
            nothing is logged then.
        """
        asked = self.lesson.question(question)
        if asked is None:
            names = known_names(one.name for one in self.lesson.questions)
            raise SessionError(
                wording("session.question_not_part_lesson", question=question, id=self.lesson.id, names=names)
            )
        if question in self.answers:
            raise SessionError(wording("session.question_been_answered_restart", question=question))
        if self.finished:
            raise SessionError(wording("session.attempt_finished_restart_fresh"))
        if asked.step is not None and self._furthest_step < asked.step:
            raise SessionError(wording("session.question_belongs_step_go", title=asked.title, step=asked.step))
        checked = checked_answer(self.lesson, asked, self.start, self.machine.faults, answer)
        at_s = self._moment(now_s)
        self._live_on(at_s)
        before = self.attempt.events
        result = self._answered(question, checked, before, at_s)
        self._log(QuestionAnswered(at_s, question, checked))
        return result

    @property
    def _furthest_step(self) -> int:
        """The furthest step that has been shown, from 1."""
        shown = [event.step for event in self.attempt.events if isinstance(event, StepShown)]
        return max([1, *shown])

    def _answered(self, name: str, answer: str, before: tuple[Event, ...], at_s: float) -> AnswerResult:
        asked = self.lesson.question(name)
        if asked is None:
            raise SessionError(wording("session.question_not_part_lesson_2", name=name, id=self.lesson.id))
        self.answers[name] = judged(self.lesson, asked, self.start, self.machine, answer, before, at_s)
        return self.answers[name]

    def note(self, text: str, now_s: float) -> None:
        """Log a note of the trainee's.

        Raises
        ------
        SessionError
            If it is empty or too long to keep.
        """
        if not text.strip() or len(text) > LONGEST_NOTE:
            raise SessionError(wording("session.note_1_characters_one", longest_note=LONGEST_NOTE, text=len(text)))
        self._log(NoteWritten(self._moment(now_s), text))

    def check_now(self, now_s: float) -> Submission:
        """Submit the signals as they are, log it and return what the instruments read.

        Raises
        ------
        SessionError
            If the attempt is finished, or a question must be answered first.
        """
        if self.finished:
            raise SessionError(wording("session.attempt_finished_restart_fresh"))
        # Where the signals can be checked again and again, the answers may come later.
        only_once = self.lesson.mode in ("diagnosis", "assessment") or not self.lesson.checks
        if self.unanswered and only_once:
            asked = self.lesson.question(self.unanswered[0])
            raise SessionError(
                wording(
                    "session.answer_first_not_answered",
                    title=asked.title if asked else "",
                    unanswered=len(self.unanswered),
                )
            )
        at_s = self._moment(now_s)
        self._log(CheckSubmitted(at_s))
        return self._submitted(at_s)

    def _submitted(self, at_s: float) -> Submission:
        events, running = self.attempt.events, self.running
        if running is not None:
            # The checks are read while the machine runs on, hands off.
            holds = {check.hold_s for check in self.lesson.checks}
            moments = {moment for hold_s in holds for moment in running.hold_times(at_s, hold_s, HOLD_READINGS)}
            for moment in sorted(moments):
                self._live_on(moment)
                running.read(self.start, events, moment, [check.measurement for check in self.lesson.checks])
            self._began_s -= max(moments, default=at_s) - at_s
        self.last_submission = submission_at(self.lesson, self.machine, self.start, events, at_s)
        self._passed_signals = self._passed_signals or self.last_submission.passed
        return self.last_submission

    def score(self) -> Score:
        """Return the running attempt's score, computed from its log."""
        return score_attempt(self.lesson, self.attempt, self.machine)

    def restart(self, now_s: float, seed: int | None = None) -> Start:
        """Put the attempt aside in `past` and deal a fresh one, from the next seed if none is given."""
        following = (self.seed + 1) % (LARGEST_SEED + 1) if seed is None else seed
        self.seed_set = self.seed_set and following == self.seed
        ended = self.attempt
        self._deal(following, now_s)
        self.past.append(ended)
        return self.start

    def _log(self, event: Event) -> None:
        if len(self.attempt.events) >= MOST_EVENTS:
            raise SessionError(wording("session.log_full_events_restart", most_events=MOST_EVENTS))
        self.attempt = self.attempt.with_event(event)
        self._live_on(event.at_s)


def _clock(now_s: float) -> float:
    if not math.isfinite(now_s):
        raise SessionError(wording("session.clock_give_finite_number", now_s=repr(now_s)))
    return now_s
