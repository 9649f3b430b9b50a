"""The bench and what it is used for: a lesson, practice, demonstration. No view, no browser, no clock of its own.

Contents: `MODES` and `Bench`. What can be done to the bench without a lesson is in `bandbench.bench.openbench`.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping

from bandbench.bench.errors import BenchError
from bandbench.bench.faults import FAULTS
from bandbench.bench.instructed import InstructedBench
from bandbench.bench.openbench import OPEN_PRACTICE
from bandbench.bench.replaying import Replay
from bandbench.bench.words import say
from sim.controls import CONTROLS
from sim.errors import UnknownNameError
from sim.instruments import DEFAULT_READINGS
from sim.recorder import Recorder
from sim.training.assignment import Task
from sim.training.attempt import Attempt, check_belongs
from sim.training.help import FULL_HELP
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine
from sim.training.references import readings_of
from sim.training.run import RunningMachine, machine_for
from sim.training.session import Session

__all__ = ["MODES", "Bench", "BenchError"]

MODES = ("learn", "practise", "demonstrate")
"""What the bench is used for: a lesson; the open bench with a fault to find; the open bench with faults to show."""

_FIRST_LESSON = "tracking-and-guide"
"""The lesson that is offered before another is chosen."""

# Seeds dealt by chance are short enough to be read out and typed.
_SEEDS = 10_000


class Bench(InstructedBench):
    """An open bench on which lessons are done and attempts are played again.

    Parameters
    ----------
    lessons : mapping of str to Lesson
        Lessons that can be chosen, by their id.
    chance : random.Random, optional
        Where new seeds and faults to be found come from.

    Attributes
    ----------
    mode : str or None
        One of `MODES`; None before one is chosen.
    lesson : Lesson or None
        The lesson that is chosen.
    previews : dict of str to Lesson
        Lessons not of the course that can be tried.
    session : Session or None
        The chosen lesson being done, once it has begun.
    replay : Replay or None
        The attempt that is played again, while it is.
    task : Task or None
        What was set, if the chosen lesson was: its variation and the help that is permitted.
    permitted : Help
        The help that is permitted in the session.
    open_practice : str
        Recording practice of the machine where no lesson asks for one.
    looking_back : bool
        Whether the session is that of a kept attempt: it is over, and only looked at.
    fading : callable, optional
        How many of a lesson's worked steps are still shown to this learner; all of them where nobody knows.
    """

    def __init__(
        self,
        lessons: Mapping[str, Lesson],
        chance: random.Random | None = None,
        recorder: Recorder | None = None,
    ) -> None:
        super().__init__(chance, recorder)
        self.lessons = lessons
        self.mode: str | None = None
        self.lesson: Lesson | None = None
        self.previews: dict[str, Lesson] = {}
        self.session: Session | None = None
        self.replay: Replay | None = None
        self.task: Task | None = None
        self.permitted = FULL_HELP
        self.open_practice = OPEN_PRACTICE
        self.looking_back = False
        self.fading: Callable[[Lesson], int] | None = None
        self._advised: str | None = None
        self._now_s = 0.0

    # What the bench is used for ----------------------------------------------------------------------------

    def choose_mode(self, mode: str | None) -> None:
        """Begin to use the bench for something else; None goes back to the choice. The machine is put right."""
        if mode is not None and mode not in MODES:
            raise UnknownNameError("mode", mode, MODES)
        self.mode = mode
        self.session = self.replay = self.task = None
        self.permitted = FULL_HELP
        self.looking_back = False
        self.lesson = self._first_lesson() if mode == "learn" else None
        # In a lesson, and before a mode is chosen, the tape plays all the time.
        held = mode not in ("practise", "demonstrate")
        self.put_right(held, OPEN_PRACTICE if held else self.open_practice)

    def why_hidden(self) -> str | None:
        """Return what keeps the explaining drawings, which show hidden errors too, from being shown; None if nothing.

        "assessment" or "diagnosis": a lesson of that mode that is not over; "fault": a fault hidden for practice and
        not shown yet; "help": a lesson that was set without them and is not over; "instructor": the instructor hides
        them, or has planted something and does not show them.
        """
        session = self.session
        if session is not None and not session.finished:
            if session.lesson.mode in ("assessment", "diagnosis"):
                return session.lesson.mode
            if not self.permitted.why:
                return "help"
        if self.why_shown is False or (self.secret and not self.why_shown):
            return "instructor"
        if session is not None:
            return None
        return "fault" if self.mode == "practise" and self.fault is not None and not self.fault_shown else None

    @property
    def book_closed(self) -> bool:
        """Whether the reference pages stay closed: in a lesson that was set without them and is not over."""
        return self.session is not None and not self.session.finished and not self.permitted.glossary

    # What a lesson or a replay refuses, and leaves open -------------------------------------------------------

    def check_free(self, what: str) -> None:
        """Raise BenchError in a lesson: what it dealt stays on the machine."""
        if self.session is not None:
            raise BenchError(f"{what} cannot be changed in a lesson; leave the lesson first")

    def note_move(self, control: str, value: float, now_s: float) -> None:
        """Log a move in the lesson, which may not offer the control; in a replay nothing is moved by hand."""
        self._not_in_replay()
        if self.session is not None:
            self.session.move(control, value, now_s)

    def do_deed(self, name: str, choice: str = "") -> None:
        """Do a deed at the machine; in a lesson it is logged and done at the lesson's own."""
        self._not_in_replay()
        if self.session is None or self.session.running is None:
            super().do_deed(name, choice)
        else:
            self.session.do(name, choice, self._now_s)

    def undo(self, now_s: float) -> None:
        """Take the last move back; without one nothing happens."""
        self._not_in_replay()
        super().undo(now_s)

    def offers(self, control: str) -> bool:
        """Tell whether a control may be moved now: all of them, or in a lesson those it offers."""
        return self.session is None or control in self.session.lesson.controls

    def needs_stage(self, stage: str) -> bool:
        """Tell whether the lesson needs a stage; without a lesson every stage is open."""
        if self.session is None:
            return True
        lesson = self.session.lesson
        return any(step.stage == stage for step in lesson.steps) or any(
            CONTROLS[name].stage == stage for name in lesson.controls
        )

    def needs_instrument(self, name: str) -> bool:
        """Tell whether the lesson needs an instrument or reading; without a lesson all are open."""
        return self.session is None or name in self.session.lesson.instruments

    @property
    def readings(self) -> tuple[str, ...]:
        """Names of the readings to take: those the instruments show all the time, then what the lesson adds."""
        if self.session is None:
            return DEFAULT_READINGS
        offered = readings_of(self.session.lesson)
        added = (name for name in self.session.lesson.instruments if name in offered)
        return tuple(dict.fromkeys((*DEFAULT_READINGS, *added)))

    # Which lesson ------------------------------------------------------------------------------------------

    @property
    def previewing(self) -> bool:
        """Whether the chosen lesson is a preview: not one of the course, and nothing of it is kept."""
        return self.lesson is not None and self.lessons.get(self.lesson.id) is not self.lesson

    def advise_lesson(self, name: str | None) -> None:
        """Note which lesson is best done next: it is the one offered first."""
        chosen_for_them = self.lesson is None or self.lesson is self._first_lesson()
        self._advised = name
        if self.mode == "learn" and self.session is None and self.task is None and chosen_for_them:
            self.lesson = self._first_lesson()
            self.changed()

    def _first_lesson(self) -> Lesson | None:
        advised = self.lessons.get(self._advised or _FIRST_LESSON)
        return advised or next(iter(self.lessons.values()), None)

    def choose_lesson(self, name: str) -> None:
        """Choose the lesson of the course to be read about and begun next."""
        self._choose(name, self.lessons)

    def choose_task(self, task: Task) -> None:
        """Choose a lesson as it was set: begun from here it has the variation and the help of the task."""
        self._choose(task.lesson, self.lessons)
        self.task = task
        self.changed()

    def choose_preview(self, name: str) -> None:
        """Choose a lesson that is only previewed; it may have the name of one of the course."""
        self._choose(name, self.previews)

    def _choose(self, name: str, lessons: Mapping[str, Lesson]) -> None:
        chosen = lessons.get(name)
        if chosen is None:
            raise UnknownNameError("lesson", name, lessons)
        if self.session is not None or self.mode != "learn":
            self.choose_mode("learn")
        self.lesson, self.task = chosen, None
        self.changed()

    # A lesson being done -----------------------------------------------------------------------------------

    def begin_lesson(self, now_s: float, seed: int | None = None) -> None:
        """Deal the chosen lesson: from the seed that was set for it, or one of chance, if none is given."""
        lesson = self._chosen_lesson()
        machine = self._machine_for(lesson)
        self.permitted = FULL_HELP if self.task is None else self.task.help
        dealt = self._new_seed() if seed is None else seed
        is_set = self.task is not None and self.task.seed == dealt
        self.session = Session(lesson, dealt, now_s, machine, self._worked_steps(lesson), self.permitted, is_set)
        self.looking_back = False
        self._dealt()

    def _worked_steps(self, lesson: Lesson) -> int | None:
        """Return how many steps the lesson does for this learner now; None leaves it to the lesson."""
        if not self.permitted.worked:
            return 0
        return None if self.fading is None else self.fading(lesson)

    def resume_lesson(self, attempt: Attempt, now_s: float) -> None:
        """Go on with an attempt that was left, with everything as its log says it was: what was set for it is so still.

        Raises
        ------
        BandbenchError
            If its lesson is not here or the log does not belong to it; then no lesson goes on.
        """
        lesson = self.lessons.get(attempt.lesson_id)
        if lesson is None:
            raise UnknownNameError("lesson", attempt.lesson_id, self.lessons)
        check_belongs(attempt, lesson, "attempt")
        self.choose_mode("learn")
        self.lesson = lesson
        session = Session.resumed(lesson, attempt, now_s, self._machine_for(lesson))
        self.session, self.permitted = session, attempt.help
        if attempt.seed_set or attempt.help != FULL_HELP:
            self.task = Task(lesson.id, attempt.seed if attempt.seed_set else None, attempt.help)
        worked = self._worked_steps(lesson)
        if worked is not None:
            session.worked = worked
        self._dealt()
        if session.running is None:
            self.recorder.set_controls(session.controls)
        self.moved()

    def look_back(self, attempt: Attempt, now_s: float) -> None:
        """Show an attempt that is over, as it was after the last event of its log; nothing more is done in it.

        Raises
        ------
        BandbenchError
            If its lesson is not here or the log does not belong to it; then no lesson goes on.
        """
        self.resume_lesson(attempt, now_s)
        self.looking_back = True

    def leave_kept(self) -> None:
        """Leave an attempt that was looked back at: its lesson can be begun then."""
        lesson = self._chosen_lesson()
        self.choose_mode("learn")
        self.lesson = lesson
        self.changed()

    def _machine_for(self, lesson: Lesson) -> LessonMachine:
        """Return a machine for the lesson: the bench's own, with the lesson's tape on it, or one that runs."""
        if lesson.running is not None:
            return machine_for(lesson, FAULTS)
        self.machines.take_back()
        self.set_up(lesson.standard, lesson.practice, lesson.tape, lesson.signal)
        return machine_for(lesson, FAULTS, self.recorder)

    def restart_lesson(self, now_s: float, seed: int | None = None) -> None:
        """Deal the lesson anew: from the seed that was set for it, or another one of chance, if none is given."""
        self._not_replaying()
        session = self.running_session()
        # An attempt that is only looked at may be followed by one of one's own.
        self.looking_back = False
        worked = self._worked_steps(session.lesson)
        if worked is not None:
            session.worked = worked
        session.restart(now_s, self._new_seed(session.seed) if seed is None else seed)
        self._dealt()

    def _working_session(self) -> Session:
        self._not_in_replay()
        return self.running_session()

    def running_session(self) -> Session:
        """Return the lesson's session; BenchError if no lesson has begun."""
        if self.session is None:
            raise BenchError("no lesson has begun; choose a lesson and begin it first")
        return self.session

    def show_step(self, number: int, now_s: float) -> None:
        """Show a step of the lesson and open the stage it works at."""
        step = self._working_session().show_step(number, now_s)
        if step.stage is not None:
            self.choose_stage(step.stage)
        self.changed()

    def open_hint(self, level: int, now_s: float) -> None:
        """Open a hint of the lesson, as far as hints are permitted."""
        session = self._working_session()
        if level > self.permitted.hints and not session.finished:
            raise BenchError(
                say("lesson.hints_permitted", level=self.permitted.hints)
                if self.permitted.hints
                else say("lesson.no_hints_permitted")
            )
        session.open_hint(level, now_s)
        self.changed()

    def answer_question(self, question: str, answer: str, now_s: float) -> None:
        """Answer a question of the lesson."""
        self._working_session().answer(question, answer, now_s)
        self.changed()

    def do_worked_step(self, now_s: float) -> None:
        """Let the lesson do the step shown; its moves stand in the log of moves as any others."""
        session = self._working_session()
        before = dict(session.controls)
        for control, value, _ in session.do_worked_step(now_s):
            self.turn(control, before[control], value, now_s)
        self.moved()

    def write_note(self, text: str, now_s: float) -> None:
        """Write a note into the attempt's log."""
        self._working_session().note(text, now_s)
        self.changed()

    def check_lesson(self, now_s: float) -> None:
        """Submit the signals as they are."""
        self._working_session().check_now(now_s)
        self.changed()

    def _chosen_lesson(self) -> Lesson:
        if self.lesson is None:
            raise BenchError("no lesson is chosen; choose Learn first")
        return self.lesson

    def _new_seed(self, other_than: int | None = None) -> int:
        if self.task is not None and self.task.seed is not None:
            return self.task.seed
        seed = self.chance.randrange(_SEEDS)
        return seed if seed != other_than else (seed + 1) % _SEEDS

    def _dealt(self) -> None:
        session = self.running_session()
        if session.running is not None:
            self._lend(session.running)
        else:
            self.recorder.set_condition(session.start.condition)
            self.recorder.set_controls(session.start.controls)
        self.notice = ""
        self.log.clear()
        first = session.current_step.stage
        self.moved()
        if first is not None:
            self.choose_stage(first)

    def _lend(self, machine: RunningMachine) -> None:
        """Work at the machine that the lesson's attempt goes on at."""
        if machine.live is not None:
            self.machines.lend(machine.live.station)

    # An attempt played again --------------------------------------------------------------------------------

    def begin_replay(self, now_s: float) -> None:
        """Play the lesson's attempt again, from its start; what is done meanwhile is not logged.

        Raises
        ------
        BandbenchError
            If no lesson has begun or nothing has been done in it.
        """
        session = self.running_session()
        if not session.attempt.events:
            raise BenchError(say("replay.nothing"))
        self.replay = Replay(session.attempt, session.start, now_s)
        self._show_replay(self.replay)

    def set_replay(self, now_s: float, *, playing: bool | None = None, speed: float | None = None) -> None:
        """Let the replay run or stand, at one of the speeds of `bandbench.bench.replaying`."""
        replay = self._running_replay()
        replay.set(now_s, playing=playing, speed=speed)
        self._show_replay(replay)

    def seek_replay(self, at_s: float, now_s: float) -> None:
        """Go to a time of the attempt."""
        replay = self._running_replay()
        replay.seek(at_s, now_s)
        self._show_replay(replay)

    def step_replay(self, direction: int, now_s: float) -> None:
        """Stop the replay at the next event (+1) or the one before (-1)."""
        replay = self._running_replay()
        replay.step(direction, now_s)
        self._show_replay(replay)

    def end_replay(self) -> None:
        """Leave the replay: everything is again as it was when it began."""
        self._running_replay()
        self.replay = None
        session = self.running_session()
        if session.running is not None:
            self._lend(session.running)
        else:
            self.recorder.set_controls(session.controls)
        self.forget_clock()
        self.moved()

    def _running_replay(self) -> Replay:
        if self.replay is None:
            raise BenchError("no replay is running; open a result and start one there")
        return self.replay

    def _not_replaying(self) -> None:
        if self.replay is not None:
            raise BenchError(say("replay.refused"))

    def _not_in_replay(self) -> None:
        self._not_replaying()
        if self.looking_back:
            raise BenchError(say("replay.kept"))

    def advance(self, now_s: float) -> None:
        """Let time pass up to now: in a replay the attempt's, in a lesson on a running machine the lesson's."""
        self._now_s = now_s
        if self.replay is not None:
            self._advance_replay(self.replay, now_s)
        elif self.session is not None and self.session.running is not None:
            self._live_on(self.session, self.session.running, now_s)
        else:
            super().advance(now_s)

    def _live_on(self, session: Session, machine: RunningMachine, now_s: float) -> None:
        run = machine.live
        before = "" if run is None else run.refusal
        fresh = session.live(now_s)
        if run is not None and run.refusal and run.refusal != before:
            # The machine could not go on with what it had been told.
            self.notice = run.refusal
            self.changed()
        if fresh and self.playing:
            self.drop_frame()

    def _advance_replay(self, replay: Replay, now_s: float) -> None:
        running = replay.playing
        replay.advance(now_s)
        if self.running_session().running is not None:
            if running:
                self._show_replay(replay)
        elif replay.state.controls != self.recorder.controls or running != replay.playing:
            self._show_replay(replay)
        elif self.playing and self._replay_index(replay) != self.frame_index:
            self.show_frame(self._replay_index(replay))

    def _show_replay(self, replay: Replay) -> None:
        """Set the machine as it was, and play the frame of the moment."""
        session = self.running_session()
        if session.running is not None:
            done = [event for event in replay.attempt.events if event.at_s <= replay.at_s]
            self.machines.lend(session.running.run_at(replay.start, done, replay.at_s).station)
        else:
            self.recorder.set_controls(replay.state.controls)
            self.show_frame(self._replay_index(replay))
        self.moved()

    def _replay_index(self, replay: Replay) -> int:
        return self.running_session().machine.frame_index(replay.at_s)
