"""The state of the bench and everything that can be done to it. No view, no browser, no clock of its own.

Contents: `MODES`, `DISPLAYS`, `Scope` (settings of the waveform monitor) and `Bench`.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bandbench.bench.faults import FAULTS, with_fault
from bandbench.bench.machines import WORK_TAPE, Machines
from bandbench.bench.moves import MoveLog
from bandbench.bench.replaying import Replay
from bandbench.bench.settings import KEPT, KeptPicture, MonitorSettings, check_monitor
from bandbench.bench.words import say
from sim.condition import Condition
from sim.controls import CONTROLS, STAGES, check_control, default_controls
from sim.correction import CORRECTIONS
from sim.errors import BandbenchError, UnknownNameError
from sim.frame import PlaybackFrame
from sim.instruments import DEFAULT_READINGS, MEASUREMENTS, RATES, TEST_POINTS
from sim.recorder import Recorder
from sim.reel import copy_programme
from sim.signals import SIGNALS, signal_from_picture
from sim.station import Station
from sim.tape import TAPES
from sim.training.attempt import Attempt, check_belongs
from sim.training.lesson import Lesson
from sim.training.machine import Machine
from sim.training.session import Session

__all__ = ["DISPLAYS", "MAGNIFICATIONS", "MODES", "OWN_PICTURE", "POINT_OF_STAGE", "Bench", "BenchError", "Scope"]

MODES = ("learn", "practise", "demonstrate")
"""What the bench is used for: a lesson; the open bench with a fault to find; the open bench with faults to show."""

OWN_PICTURE = "own"
"""Name of the programme that is a picture the user gave."""

MAGNIFICATIONS = (1, 5, 10)

DISPLAYS = ("waveform", "vectors", "spectrum")
"""What the waveform monitor works as."""

POINT_OF_STAGE: Mapping[str, str] = {
    "tape": "rf_switched",
    "headwheel": "demodulated",
    "channels": "rf_head_1",
    "switcher": "rf_switched",
    "demodulator": "demodulated",
    "processing": "processed",
    "output": "processed",
    "input": "input",
    "modulator": "modulator_rf",
    "record_drive": "control_track",
    "sound": "control_track",
}
"""Where the waveform monitor is connected when a stage is chosen: the stage's own test point, or the nearest one
behind it that shows what its controls do."""

_FIRST_LESSON = "tracking-and-guide"
"""The lesson that is offered before another is chosen."""

_OPEN_PRACTICE = "525 high-band"
"""What the bench records by where no lesson asks for another practice."""

# Seeds dealt by chance are short enough to be read out and typed.
_SEEDS = 10_000


COPY = "copy"
"""Name of the programme that is what a machine played."""

_HELD = "In a lesson the tape plays all the time; leave the lesson to work the transport yourself."


class BenchError(BandbenchError):
    """Something was asked that the bench does not allow now; says why and what to do."""


@dataclass(frozen=True)
class Scope:
    """Settings of the waveform monitor.

    Attributes
    ----------
    test_point, rate : str
        From `TEST_POINTS` and `RATES`.
    magnify : int
        Horizontal magnification, one of `MAGNIFICATIONS`.
    position : float
        Left edge of the magnified screen, as a share of the sweep.
    line : int or None
        The one line to show, from 1; None shows all.
    display : str
        One of `DISPLAYS`: as a vectorscope or a spectrum analyser it is connected to the nearest video or RF.
    """

    test_point: str = "rf_switched"
    rate: str = "line"
    magnify: int = 1
    position: float = 0.0
    line: int | None = None
    display: str = "waveform"


class Bench:
    """A recorder with its tape, what the monitors are set to, and the lesson that is being done on it.

    Parameters
    ----------
    lessons : mapping of str to Lesson
        Lessons that can be chosen, by their id.
    chance : random.Random, optional
        Where new seeds come from.

    Notes
    -----
    `version` counts every change of what the bench holds; views look at it to know whether to look again.
    `revision` counts the changes of the controls alone (see `bandbench.runtime.application.FrameImage`).
    """

    def __init__(self, lessons: Mapping[str, Lesson], chance: random.Random | None = None) -> None:
        self.lessons = lessons
        self.machines = Machines(Recorder())
        self.machines.begin()
        self.notice = ""
        self.mode: str | None = None
        self.lesson: Lesson | None = None
        self.previews: dict[str, Lesson] = {}
        self._advised: str | None = None
        self.replay: Replay | None = None
        self.session: Session | None = None
        self.stage = "tape"
        self.scope = Scope()
        self.monitor = MonitorSettings()
        self.kept: KeptPicture | None = None
        self.extended: frozenset[str] = frozenset()
        self.programme = self.recorder.tape.signal
        self.picture_name: str | None = None
        self.playing = False
        self.frame_index = 0
        self.log = MoveLog()
        self.fault: str | None = None
        self.severity = 0.0
        self.fault_shown = False
        self.version = 0
        self.revision = 0
        # How many of a lesson's worked steps are still shown to this learner; all of them where nobody knows.
        self.fading: Callable[[Lesson], int] | None = None
        self._chance = chance or random.Random()
        self._began_s: float | None = None
        self._picture: NDArray[np.float32] | None = None
        self._frame: PlaybackFrame | None = None

    # What is played ----------------------------------------------------------------------------------------

    @property
    def station(self) -> Station:
        """The machine that is worked on, as it runs."""
        return self.machines.station

    @property
    def recorder(self) -> Recorder:
        """Electronics and heads of the machine that is worked on."""
        return self.machines.station.recorder

    @property
    def held(self) -> bool:
        """Whether the machine is held in play, at deterministic frames: in a lesson, and before a mode is chosen."""
        return self.mode not in ("practise", "demonstrate")

    @property
    def frame(self) -> PlaybackFrame:
        """The frame on screen, played when first asked for."""
        if self._frame is None:
            self._frame = self.recorder.play_frame(self.frame_index) if self.held else self.station.frame()
        return self._frame

    @property
    def in_colour(self) -> bool:
        """Whether the machine puts out colour: only a colour corrector keeps bursts that a monitor can lock to."""
        return CORRECTIONS[int(self.recorder.control("correction"))] == "colour"

    def advance(self, now_s: float) -> None:
        """Let time pass up to now: the frames in between are dropped, the time never.

        Parameters
        ----------
        now_s : float
            A clock that only goes forward [s].
        """
        if self.replay is not None:
            self._advance_replay(self.replay, now_s)
            return
        if not self.held:
            try:
                fresh = self.machines.advance(now_s)
            except BandbenchError as error:
                self.notice = str(error)
                self._changed()
                fresh = True
            if fresh and self.playing:
                self._frame = None
            return
        if not self.playing:
            self._began_s = None
            return
        frame_s = 1.0 / self.recorder.standard.frame_rate_hz
        if self._began_s is None:
            self._began_s = now_s - self.frame_index * frame_s
        index = int((now_s - self._began_s) / frame_s + 1e-6)
        if index > self.frame_index:
            self.frame_index = index
            self._frame = None

    def set_playing(self, playing: bool) -> None:
        """Let the picture go on with the tape, or hold the frame that is on screen."""
        if playing != self.playing:
            self.playing = playing
            self._changed()

    # The machine -------------------------------------------------------------------------------------------

    def act_refusal(self, act: str, stage: str = "") -> str | None:
        """Return why an act of `sim.transport.ACTS` would be refused now, or None."""
        return _HELD if self.held else self.station.refusal(act, stage)

    def do_act(self, act: str, stage: str = "") -> None:
        """Do an act of `sim.transport.ACTS`.

        Raises
        ------
        BandbenchError
            If the machine refuses, with the reason.
        """
        self._unheld()
        self.notice = ""
        try:
            self.station.do(act, stage)
        finally:
            on_extender = self.station.deck.extender_stage
            self.set_extended(frozenset() if on_extender is None else frozenset({on_extender}))
            # A refused act may have been noted.
            self._moved()

    def select_tracks(self, tracks: Iterable[str]) -> None:
        """Choose which tracks a recording writes."""
        self._unheld()
        self.station.deck.select_tracks(tracks)
        self._changed()

    def select_edit_mode(self, mode: str) -> None:
        """Choose how a recording joins what is on the tape."""
        self._unheld()
        self.station.deck.select_edit_mode(mode)
        self._changed()

    def set_edit(self, **settings: object) -> None:
        """Change fields of `sim.recordrun.EditSettings`."""
        self._unheld()
        try:
            self.station.edit = replace(self.station.edit, **settings)  # type: ignore[arg-type]  # it checks itself
        except TypeError:
            raise BenchError(f"edit: no settings called {sorted(settings)}") from None
        self._changed()

    def reels(self) -> list[tuple[str, str]]:
        """Return the reels that fit the machine, as name and title; the endless work tape is the first."""
        return list(self.machines.names().items())

    @property
    def reel_name(self) -> str:
        """The tape on the machine."""
        return self.recorder.tape.name if self.held else self.machines.reel_name

    def take_reel(self, name: str) -> None:
        """Take a reel to hand, to be fitted next: only with none on the machine."""
        self._unheld()
        self.machines.take_reel(name)
        self._moved()

    def put_on(self, name: str) -> None:
        """Put a reel on, thread it and play it, all at once."""
        self._unheld()
        self.machines.put_on(name)
        self._moved()

    @property
    def machine(self) -> str:
        """Which of the two machines is worked on."""
        return self.machines.chosen

    def choose_machine(self, name: str) -> None:
        """Carry the reel to the other machine and go on there."""
        self._unheld()
        self.machines.choose(name)
        self.log.clear()
        self._moved()

    def copy_to_input(self) -> None:
        """Send what is put out now to the input, to be recorded: a copy, with every error that is in it."""
        self._unheld()
        picture = copy_programme(self.frame)
        for station in self.machines.all():
            station.recorder.load_source(picture)
        self.programme = COPY
        self._moved()

    def _unheld(self) -> None:
        if self.held:
            raise BenchError(_HELD)

    # What is on the tape and at the input ------------------------------------------------------------------

    def load_tape(self, name: str) -> None:
        """Put a tape on and play it; a made one has its own signal on it."""
        self._free("the tape")
        if not self.held:
            self.put_on(name)
            return
        self.recorder.load_tape(name)
        self.programme = TAPES[name].signal
        self._replay()

    def load_programme(self, name: str) -> None:
        """Send a test signal, or again the picture the user gave (`OWN_PICTURE`), to the machine.

        On the endless work tape it is played at once; with a reel on the machine it stands at the input.
        """
        self._free("the programme")
        if name == OWN_PICTURE:
            if self._picture is None:
                raise BenchError("no picture of your own has been given yet; choose a picture file first")
            self._play_picture(self._encoded(self._picture))
        elif name in SIGNALS:
            self._send(name)
        else:
            raise UnknownNameError("programme", name, (*SIGNALS, OWN_PICTURE))
        self.programme = name
        self._replay()

    def play_picture(self, name: str, levels: NDArray[np.float32]) -> None:
        """Make a picture the programme of the work tape.

        Parameters
        ----------
        name : str
            What the user calls it.
        levels : ndarray, (rows, columns) or (rows, columns, 3)
            Grey, or red, green and blue, 0 to 1.
        """
        self._free("the programme")
        self._play_picture(self._encoded(levels))
        self._picture = levels
        self.picture_name = name
        self.programme = OWN_PICTURE
        self._replay()

    def _encoded(self, levels: NDArray[np.float32]) -> NDArray[np.float32]:
        # A monochrome monitor would show the colours as a pattern of dots and nothing else.
        return signal_from_picture(levels, self.recorder.standard, monochrome=not self.in_colour)

    def _turn(self, control: str, value: float) -> None:
        """Set a control of the machine; a picture of the user's is sent anew when colour comes or goes."""
        in_colour = self.in_colour
        self.recorder.set_control(control, value)
        if self.in_colour != in_colour and self.programme == OWN_PICTURE and self._picture is not None:
            self._send(self._encoded(self._picture))

    def _send(self, programme: str | NDArray[np.float32]) -> None:
        """Send a programme to the input; the work tape has it at once."""
        if self.held or self.station.reel is None:
            self.recorder.load_programme(programme)
        else:
            self.recorder.load_source(programme)

    def _play_picture(self, picture: NDArray[np.float32]) -> None:
        if not self.held:
            self._send(picture)
            return
        # A made tape holds what its maker put on it; a picture is recorded on the work tape.
        if not self.recorder.tape.recorded_here:
            self.recorder.load_tape(WORK_TAPE)
        self.recorder.load_programme(picture)

    # Controls ----------------------------------------------------------------------------------------------

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
        added = (name for name in self.session.lesson.instruments if name in MEASUREMENTS)
        return tuple(dict.fromkeys((*DEFAULT_READINGS, *added)))

    def set_control(self, name: str, value: float, now_s: float) -> None:
        """Set a control, note it in the log and in the lesson.

        Raises
        ------
        BandbenchError
            If there is no such control, the lesson does not offer it or the value is out of range; everything stays
            as it was.
        """
        self._not_in_replay()
        checked = check_control(name, value)
        before = self.recorder.controls[name]
        if self.session is not None:
            self.session.move(name, checked, now_s)
        self._turn(name, checked)
        self.log.note(name, before, checked, now_s)
        self._moved()

    def undo(self, now_s: float) -> None:
        """Take the last move back; without one nothing happens."""
        self._not_in_replay()
        move = self.log.take_back()
        if move is None:
            return
        if self.session is not None:
            self.session.move(move.control, move.before, now_s)
        self._turn(move.control, move.before)
        self._moved()

    # Where one looks ---------------------------------------------------------------------------------------

    def choose_stage(self, name: str) -> None:
        """Open a stage's controls and connect the waveform monitor to its test point."""
        if name not in STAGES:
            raise UnknownNameError("stage", name, STAGES)
        self.stage = name
        point = TEST_POINTS[self.scope.test_point]
        if point.stage != name:
            self.scope = replace(self.scope, test_point=POINT_OF_STAGE[name])
        self._changed()

    def set_scope(self, **settings: object) -> None:
        """Change settings of the waveform monitor (fields of `Scope`).

        Raises
        ------
        BandbenchError
            If a setting does not exist or cannot be set to that.
        """
        try:
            scope = replace(self.scope, **settings)  # type: ignore[arg-type]  # checked right below
        except TypeError:
            raise BenchError(f"waveform monitor: no settings called {sorted(settings)}") from None
        if scope.test_point not in TEST_POINTS:
            raise UnknownNameError("test point", scope.test_point, TEST_POINTS)
        if not self.reaches(scope.test_point):
            stage = STAGES[TEST_POINTS[scope.test_point].stage].title.lower()
            raise BenchError(
                f"'{TEST_POINTS[scope.test_point].label}' lies on the card of the {stage}: switch the power off and "
                "put that card on the extender first"
            )
        if scope.display not in DISPLAYS:
            raise UnknownNameError("display of the waveform monitor", scope.display, DISPLAYS)
        if scope.rate not in RATES:
            raise UnknownNameError("sweep rate", scope.rate, RATES)
        if scope.magnify not in MAGNIFICATIONS or not 0.0 <= scope.position <= 1.0:
            raise BenchError(f"waveform monitor: magnify {scope.magnify}, position {scope.position} cannot be set")
        lines = self.recorder.standard.lines_per_frame
        if scope.line is not None and not 1 <= scope.line <= lines:
            raise BenchError(f"line {scope.line}: this standard has lines 1 to {lines}")
        self.scope = scope
        self._changed()

    def reaches(self, test_point: str) -> bool:
        """Tell whether a probe gets at a test point: an inner one only while its card is on the extender."""
        point = TEST_POINTS[test_point]
        return not point.inner or point.stage in self.extended

    def set_extended(self, stages: frozenset[str]) -> None:
        """Note which stages' cards are on the extender; from an inner point of another the monitor is taken away."""
        if stages == self.extended:
            return
        self.extended = stages
        if not self.reaches(self.scope.test_point):
            self.scope = replace(self.scope, test_point=POINT_OF_STAGE[TEST_POINTS[self.scope.test_point].stage])
        self._changed()

    def set_monitor(self, **settings: object) -> None:
        """Change settings of the picture monitor (fields of `MonitorSettings`).

        Raises
        ------
        BandbenchError
            If a setting does not exist or cannot be set to that.
        """
        try:
            monitor = replace(self.monitor, **settings)  # type: ignore[arg-type]  # checked right below
        except TypeError:
            raise BenchError(f"picture monitor: no settings called {sorted(settings)}") from None
        check_monitor(monitor, self.kept)
        self.monitor = monitor
        self._changed()

    def keep_picture(self, picture: KeptPicture) -> None:
        """Keep a picture and compare with it what is shown from now on."""
        self.kept = picture
        self.set_monitor(compare=KEPT)

    def why_hidden(self) -> str | None:
        """Return what keeps the explaining drawings, which show hidden errors too, from being shown; None if nothing.

        "assessment" or "diagnosis": a lesson of that mode that is not over; "fault": a fault hidden for practice and
        not shown yet.
        """
        session = self.session
        if session is not None:
            testing = session.lesson.mode in ("assessment", "diagnosis") and not session.finished
            return session.lesson.mode if testing else None
        return "fault" if self.mode == "practise" and self.fault is not None and not self.fault_shown else None

    # What the bench is used for ----------------------------------------------------------------------------

    def choose_mode(self, mode: str | None) -> None:
        """Begin to use the bench for something else; None goes back to the choice. The machine is put right."""
        if mode is not None and mode not in MODES:
            raise UnknownNameError("mode", mode, MODES)
        self.mode = mode
        self.session = self.replay = None
        self.lesson = self._first_lesson() if mode == "learn" else None
        self._put_right()

    def _put_right(self) -> None:
        """Return to a machine in order with the bars on it."""
        self.notice = ""
        self.fault, self.severity, self.fault_shown = None, 0.0, False
        recorder = self.machines.own.recorder
        if recorder.practice.name != _OPEN_PRACTICE:
            self._set_up(Recorder())
            recorder = self.machines.own.recorder
        recorder.set_condition(Condition())
        recorder.set_guide_correction(0.0)
        recorder.set_controls(default_controls())
        if recorder.tape.name != WORK_TAPE or self.programme != TAPES[WORK_TAPE].signal:
            recorder.load_tape(WORK_TAPE)
            self.programme = TAPES[WORK_TAPE].signal
        self.machines.begin()
        self.set_extended(frozenset())
        self._began_s = None
        self.log.clear()
        self._moved()

    def _set_up(self, recorder: Recorder) -> None:
        """Work at another recorder from now on, as for another standard."""
        self.machines = Machines(recorder)
        self.machines.begin()
        self.programme = recorder.tape.signal
        self.frame_index = 0
        self._frame = None

    @property
    def previewing(self) -> bool:
        """Whether the chosen lesson is a preview: not one of the course, and nothing of it is kept."""
        return self.lesson is not None and self.lessons.get(self.lesson.id) is not self.lesson

    def advise_lesson(self, name: str | None) -> None:
        """Note which lesson is best done next: it is the one offered first."""
        chosen_for_them = self.lesson is None or self.lesson is self._first_lesson()
        self._advised = name
        if self.mode == "learn" and self.session is None and chosen_for_them:
            self.lesson = self._first_lesson()
            self._changed()

    def _first_lesson(self) -> Lesson | None:
        advised = self.lessons.get(self._advised or _FIRST_LESSON)
        return advised or next(iter(self.lessons.values()), None)

    def choose_lesson(self, name: str) -> None:
        """Choose the lesson of the course to be read about and begun next."""
        self._choose(name, self.lessons)

    def choose_preview(self, name: str) -> None:
        """Choose a lesson that is only previewed; it may have the name of one of the course."""
        self._choose(name, self.previews)

    def _choose(self, name: str, lessons: Mapping[str, Lesson]) -> None:
        chosen = lessons.get(name)
        if chosen is None:
            raise UnknownNameError("lesson", name, lessons)
        if self.session is not None or self.mode != "learn":
            self.choose_mode("learn")
        self.lesson = chosen
        self._changed()

    def begin_lesson(self, now_s: float, seed: int | None = None) -> None:
        """Deal the chosen lesson, from a seed of chance if none is given."""
        lesson = self._chosen_lesson()
        machine = self._machine_for(lesson)
        worked = None if self.fading is None else self.fading(lesson)
        self.session = Session(lesson, self._new_seed() if seed is None else seed, now_s, machine, worked)
        self._dealt()

    def resume_lesson(self, attempt: Attempt, now_s: float) -> None:
        """Go on with an attempt that was left, with everything as its log says it was.

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
        self.session = session
        self._dealt()
        self.recorder.set_controls(session.controls)
        self._moved()

    def _machine_for(self, lesson: Lesson) -> Machine:
        """Put the lesson's tape on a machine of its standard and practice and lend it to the lesson."""
        own = self.recorder
        if (own.standard.name, own.practice.name) != (lesson.standard, lesson.practice):
            self._set_up(Recorder(lesson.standard, lesson.practice))
        if self.recorder.tape.name != lesson.tape or self.programme != lesson.signal:
            self.recorder.load_tape(lesson.tape, lesson.signal)
            self.programme = lesson.signal
        return Machine(lesson, self.recorder, FAULTS)

    def restart_lesson(self, now_s: float, seed: int | None = None) -> None:
        """Deal the lesson anew, from another seed of chance if none is given."""
        session = self._working_session()
        if self.fading is not None:
            session.worked = self.fading(session.lesson)
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
        self._changed()

    def open_hint(self, level: int, now_s: float) -> None:
        """Open a hint of the lesson."""
        self._working_session().open_hint(level, now_s)
        self._changed()

    def answer_question(self, question: str, answer: str, now_s: float) -> None:
        """Answer a question of the lesson."""
        self._working_session().answer(question, answer, now_s)
        self._changed()

    def do_worked_step(self, now_s: float) -> None:
        """Let the lesson do the step shown; its moves stand in the log of moves as any others."""
        session = self._working_session()
        for control, value, _ in session.do_worked_step(now_s):
            before = self.recorder.controls[control]
            self._turn(control, value)
            self.log.note(control, before, value, now_s)
        self._moved()

    def write_note(self, text: str, now_s: float) -> None:
        """Write a note into the attempt's log."""
        self._working_session().note(text, now_s)
        self._changed()

    def check_lesson(self, now_s: float) -> None:
        """Submit the signals as they are."""
        self._working_session().check_now(now_s)
        self._changed()

    def _chosen_lesson(self) -> Lesson:
        if self.lesson is None:
            raise BenchError("no lesson is chosen; choose Learn first")
        return self.lesson

    def _new_seed(self, other_than: int | None = None) -> int:
        seed = self._chance.randrange(_SEEDS)
        return seed if seed != other_than else (seed + 1) % _SEEDS

    def _dealt(self) -> None:
        start = self.running_session().start
        self.recorder.set_condition(start.condition)
        self.recorder.set_controls(start.controls)
        self.log.clear()
        first = self.running_session().current_step.stage
        self._moved()
        if first is not None:
            self.choose_stage(first)

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
        self.recorder.set_controls(self.running_session().controls)
        self._began_s = None
        self._moved()

    def _running_replay(self) -> Replay:
        if self.replay is None:
            raise BenchError("no replay is running; open a result and start one there")
        return self.replay

    def _not_in_replay(self) -> None:
        if self.replay is not None:
            raise BenchError(say("replay.refused"))

    def _advance_replay(self, replay: Replay, now_s: float) -> None:
        running = replay.playing
        replay.advance(now_s)
        if replay.state.controls != self.recorder.controls or running != replay.playing:
            self._show_replay(replay)
        elif self.playing and self._replay_index(replay) != self.frame_index:
            self.frame_index = self._replay_index(replay)
            self._frame = None

    def _show_replay(self, replay: Replay) -> None:
        """Set the machine as it was, and play the frame of the moment."""
        self.recorder.set_controls(replay.state.controls)
        self.frame_index = self._replay_index(replay)
        self._moved()

    def _replay_index(self, replay: Replay) -> int:
        return self.running_session().machine.frame_index(replay.at_s)

    # Faults ------------------------------------------------------------------------------------------------

    def hide_fault(self) -> None:
        """Plant a fault of chance for practice; which one is not shown."""
        self._free("faults")
        fault = FAULTS[self._chance.choice(list(FAULTS))]
        self._plant(fault.name, self._chance.uniform(fault.least, fault.most), False)

    def plant_fault(self, name: str, severity: float) -> None:
        """Plant one fault openly, in place of the one before."""
        self._free("faults")
        self._plant(name, severity, True)

    def show_fault(self) -> None:
        """Show which fault was hidden."""
        self.fault_shown = True
        self._changed()

    def clear_fault(self) -> None:
        """Take the fault away; the controls stay where they are."""
        self._free("faults")
        self.fault, self.severity, self.fault_shown = None, 0.0, False
        self.machines.own.recorder.set_condition(Condition())
        self._moved()

    def _plant(self, name: str, severity: float, shown: bool) -> None:
        self.machines.own.recorder.set_condition(with_fault(Condition(), name, severity))
        self.fault, self.severity, self.fault_shown = name, severity, shown
        self._moved()

    def _free(self, what: str) -> None:
        if self.session is not None:
            raise BenchError(f"{what} cannot be changed in a lesson; leave the lesson first")

    # Bookkeeping -------------------------------------------------------------------------------------------

    def _changed(self) -> None:
        self.version += 1

    def _moved(self) -> None:
        """Note a change that shows in the picture."""
        self.revision += 1
        self._frame = None
        self._changed()

    def _replay(self) -> None:
        self._moved()
