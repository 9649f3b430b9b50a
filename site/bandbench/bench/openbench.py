"""The bench as it stands open: the machine, its tape, its controls, the monitors and a fault. No lesson, no view.

Contents: `OpenBench`. Its parts, each of which can be read alone: `bandbench.bench.machines` (the machines as they
run), `programme` (what they are given to play), `monitoring` (where one looks) and `moves` (the log of moves).
"""

from __future__ import annotations

import random
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from bandbench.bench.errors import BenchError
from bandbench.bench.faults import FAULTS, with_fault
from bandbench.bench.machines import WORK_TAPE, Machines
from bandbench.bench.monitoring import Monitoring, Scope
from bandbench.bench.moves import MoveLog
from bandbench.bench.programme import Programme
from bandbench.bench.settings import KeptPicture, MonitorSettings
from sim.condition import Condition
from sim.controls import check_control, default_controls
from sim.deeds import DEEDS, ENDLESS, do_deed
from sim.errors import BandbenchError
from sim.frame import PlaybackFrame
from sim.recorder import Recorder
from sim.sound import SOURCES
from sim.standards import get_practice
from sim.station import Station
from sim.tape import TAPES

__all__ = ["OPEN_PRACTICE", "OpenBench"]

OPEN_PRACTICE = "525 high-band"
"""What the bench records by where nothing asks for another practice."""

_HELD = "In a lesson the tape plays all the time; leave the lesson to work the transport yourself."


class OpenBench:
    """A recorder with its tape, what the monitors are set to, and the fault that is planted.

    Parameters
    ----------
    chance : random.Random, optional
        Where faults to be found come from.
    recorder : Recorder, optional
        The machine, if it is there already: one in order, with its work tape.

    Attributes
    ----------
    playing : bool
        Whether the picture goes on with the tape.
    frame_index : int
        Which of the held machine's frames is on screen.
    log : MoveLog
        What was turned.
    fault, severity, fault_shown
        The fault that is planted by its name, or None; how bad it is, 0 to 1; whether it may be named.
    notice : str
        Why the machine stopped by itself, if it did.
    version : int
        Counts every change of what the bench holds; views look at it to know whether to look again.
    revision : int
        Counts the changes that show in the picture (see `bandbench.runtime.application.FrameImage`).

    Notes
    -----
    A subclass gives the bench a purpose. It may refuse what would disturb that by overriding `check_free` and
    `note_move`, which do nothing here, and hide more in the machine by overriding `planted_besides`.
    """

    def __init__(self, chance: random.Random | None = None, recorder: Recorder | None = None) -> None:
        self.machines = Machines(recorder or Recorder())
        self.machines.begin()
        self.playing = False
        self.frame_index = 0
        self.log = MoveLog()
        self.fault: str | None = None
        self.severity = 0.0
        self.fault_shown = False
        self.notice = ""
        self.version = 0
        self.revision = 0
        self.chance = chance or random.Random()
        self._programme = Programme(self.machines)
        self._monitoring = Monitoring()
        self._began_s: float | None = None
        self._frame: PlaybackFrame | None = None

    # What a purpose may refuse ------------------------------------------------------------------------------

    def check_free(self, what: str) -> None:
        """Raise BenchError if tape, programme or faults, named in words, may not be changed now."""

    def planted_besides(self) -> Condition:
        """Return what is hidden in the machine besides the bench's one fault: nothing."""
        return Condition()

    def note_move(self, control: str, value: float, now_s: float) -> None:
        """Take note that a control is about to be set to a value it can take, or raise BandbenchError."""

    # What is played ----------------------------------------------------------------------------------------

    @property
    def station(self) -> Station:
        """The machine that is worked on, as it runs."""
        return self.machines.station

    @property
    def recorder(self) -> Recorder:
        """Electronics and heads of the machine that is worked on."""
        return self.machines.recorder

    @property
    def held(self) -> bool:
        """Whether the machine is held in play, at deterministic frames."""
        return self.machines.held

    @property
    def frame(self) -> PlaybackFrame:
        """The frame on screen, played when first asked for."""
        if self._frame is None:
            self._frame = self.recorder.play_frame(self.frame_index) if self.held else self.station.frame()
        return self._frame

    def advance(self, now_s: float) -> None:
        """Let time pass up to now: the frames in between are dropped, the time never.

        Parameters
        ----------
        now_s : float
            A clock that only goes forward [s].
        """
        if not self.held:
            try:
                fresh = self.machines.advance(now_s)
            except BandbenchError as error:
                self.notice = str(error)
                self.changed()
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
            self.show_frame(index)

    def show_frame(self, index: int) -> None:
        """Put another frame of the held machine on screen."""
        self.frame_index = index
        self.drop_frame()

    def drop_frame(self) -> None:
        """Let the next look at the frame play another."""
        self._frame = None

    def forget_clock(self) -> None:
        """Let the picture go on from the frame on screen, whatever the clock says next."""
        self._began_s = None

    def set_playing(self, playing: bool) -> None:
        """Let the picture go on with the tape, or hold the frame that is on screen."""
        if playing != self.playing:
            self.playing = playing
            self.changed()

    # The machine as it runs ---------------------------------------------------------------------------------

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
            self.do_deed(act, stage)
        finally:
            on_extender = self.station.deck.extender_stage
            self._monitoring.set_extended(frozenset() if on_extender is None else frozenset({on_extender}))
            # A refused act may have been noted.
            self.moved()

    def do_deed(self, name: str, choice: str = "") -> None:
        """Do a deed of `sim.deeds.DEEDS` at the machine; whoever logs what is done overrides this."""
        if name == "take_reel":
            self.machines.take_reel(WORK_TAPE if choice == ENDLESS else choice)
        else:
            do_deed(self.station, name, choice, {})

    def select_tracks(self, tracks: Iterable[str]) -> None:
        """Choose which tracks a recording writes."""
        self._unheld()
        self.do_deed("select_tracks", "+".join(tracks))
        self.changed()

    def select_edit_mode(self, mode: str) -> None:
        """Choose how a recording joins what is on the tape."""
        self._unheld()
        self.do_deed("select_edit_mode", mode)
        self.changed()

    def set_edit(self, **settings: object) -> None:
        """Change fields of `sim.recordrun.EditSettings`."""
        self._unheld()
        for name, value in settings.items():
            if f"edit_{name}" not in DEEDS:
                raise BenchError(f"edit: no setting called '{name}'")
            self.do_deed(f"edit_{name}", ("yes" if value else "no") if isinstance(value, bool) else str(value))
        self.changed()

    def send_sound(self, track: str, name: str) -> None:
        """Send a source to a sound track."""
        if name in SOURCES and f"{track}_source" in DEEDS:
            self.do_deed(f"{track}_source", name)
        else:
            # A note of the user's own is no source of every machine.
            self.check_free("a note of your own")
            self.station.sound.choose_source(track, name)
        self.changed()

    def reels(self) -> list[tuple[str, str]]:
        """Return the reels that fit the machine, as name and title; the endless work tape is the first."""
        return list(self.machines.names().items())

    @property
    def reel_name(self) -> str:
        """The tape on the machine."""
        if self.held:
            return self.recorder.tape.name
        return WORK_TAPE if self.station.reel is None else self.station.reel.name

    def take_reel(self, name: str) -> None:
        """Take a reel to hand, to be fitted next: only with none on the machine."""
        self._unheld()
        self.do_deed("take_reel", ENDLESS if name == WORK_TAPE else name)
        self.moved()

    def put_on(self, name: str) -> None:
        """Put a reel on, thread it and play it, all at once."""
        self._unheld()
        self.check_free("the reel")
        self.machines.put_on(name)
        self.moved()

    @property
    def machine(self) -> str:
        """Which of the two machines is worked on."""
        return self.machines.chosen

    def choose_machine(self, name: str) -> None:
        """Carry the reel to the other machine and go on there."""
        self._unheld()
        self.check_free("the machine")
        self.machines.choose(name)
        self.log.clear()
        self.moved()

    def copy_to_input(self) -> None:
        """Send what is put out now to the input, to be recorded: a copy, with every error that is in it."""
        self._unheld()
        self.check_free("the programme")
        self._programme.copy(self.frame)
        self.moved()

    def _unheld(self) -> None:
        if self.held:
            raise BenchError(_HELD)

    # What is on the tape and at the input ------------------------------------------------------------------

    @property
    def programme(self) -> str:
        """What the machine plays or is about to record (see `Programme`)."""
        return self._programme.name

    @property
    def picture_name(self) -> str | None:
        """What the user calls the picture they gave."""
        return self._programme.picture_name

    @property
    def in_colour(self) -> bool:
        """Whether the machine puts out colour."""
        return self._programme.in_colour

    def load_tape(self, name: str) -> None:
        """Put a tape on and play it; a made one has its own signal on it."""
        self.check_free("the tape")
        if self.held:
            self._programme.put_tape(name)
            self.moved()
        else:
            self.put_on(name)

    def load_programme(self, name: str) -> None:
        """Send a test signal, or again the picture the user gave (`OWN_PICTURE`), to the machine."""
        self.check_free("the programme")
        self._programme.send(name)
        self.moved()

    def play_picture(self, name: str, levels: NDArray[np.float32]) -> None:
        """Make a picture the programme of the work tape (see `Programme.take_picture`)."""
        self.check_free("the programme")
        self._programme.take_picture(name, levels)
        self.moved()

    # Controls ----------------------------------------------------------------------------------------------

    def set_control(self, name: str, value: float, now_s: float) -> None:
        """Set a control and note it in the log.

        Raises
        ------
        BandbenchError
            If there is no such control, the value is out of range or the purpose refuses it; everything stays as it
            was.
        """
        checked = check_control(name, value)
        before = self.recorder.controls[name]
        self.note_move(name, checked, now_s)
        self.turn(name, before, checked, now_s)
        self.moved()

    def turn(self, control: str, before: float, value: float, now_s: float) -> None:
        """Turn a control whose move is noted already; it can be undone."""
        self._programme.turn(control, value)
        self.log.note(control, before, value, now_s)

    def undo(self, now_s: float) -> None:
        """Take the last move back; without one nothing happens."""
        move = self.log.take_back()
        if move is None:
            return
        self.note_move(move.control, move.before, now_s)
        self._programme.turn(move.control, move.before)
        self.moved()

    # Where one looks ---------------------------------------------------------------------------------------

    @property
    def stage(self) -> str:
        """The stage whose controls are open."""
        return self._monitoring.stage

    @property
    def scope(self) -> Scope:
        """How the waveform monitor is set."""
        return self._monitoring.scope_of(self.recorder.standard.lines_per_frame)

    @property
    def monitor(self) -> MonitorSettings:
        """How the picture monitor is set."""
        return self._monitoring.monitor

    @property
    def kept(self) -> KeptPicture | None:
        """The picture that was kept to compare with."""
        return self._monitoring.kept

    @property
    def extended(self) -> frozenset[str]:
        """Stages whose cards are on the extender."""
        return self._monitoring.extended

    def choose_stage(self, name: str) -> None:
        """Open a stage's controls and connect the waveform monitor to its test point."""
        self._monitoring.choose_stage(name)
        self.changed()

    def set_scope(self, **settings: object) -> None:
        """Change settings of the waveform monitor (fields of `Scope`); errors as for `Monitoring.set_scope`."""
        self._monitoring.set_scope(self.recorder.standard.lines_per_frame, settings)
        self.changed()

    def reaches(self, test_point: str) -> bool:
        """Tell whether a probe gets at a test point: an inner one only while its card is on the extender."""
        return self._monitoring.reaches(test_point)

    def set_extended(self, stages: frozenset[str]) -> None:
        """Note which stages' cards are on the extender; from an inner point of another the monitor is taken away."""
        self._monitoring.set_extended(stages)
        self.changed()

    def set_monitor(self, **settings: object) -> None:
        """Change settings of the picture monitor (fields of `MonitorSettings`)."""
        self._monitoring.set_monitor(settings)
        self.changed()

    def keep_picture(self, picture: KeptPicture) -> None:
        """Keep a picture and compare with it what is shown from now on."""
        self._monitoring.keep_picture(picture)
        self.changed()

    # Faults ------------------------------------------------------------------------------------------------

    def hide_fault(self) -> None:
        """Plant a fault of chance for practice; which one is not shown."""
        self.check_free("faults")
        fault = FAULTS[self.chance.choice(list(FAULTS))]
        self._plant(fault.name, self.chance.uniform(fault.least, fault.most), False)

    def plant_fault(self, name: str, severity: float) -> None:
        """Plant one fault openly, in place of the one before."""
        self.check_free("faults")
        self._plant(name, severity, True)

    def show_fault(self) -> None:
        """Show which fault was hidden."""
        self.fault_shown = True
        self.changed()

    def clear_fault(self) -> None:
        """Take the fault away; the controls stay where they are."""
        self.check_free("faults")
        self.fault, self.severity, self.fault_shown = None, 0.0, False
        self._renew_condition()

    def _plant(self, name: str, severity: float, shown: bool) -> None:
        with_fault(Condition(), name, severity)
        self.fault, self.severity, self.fault_shown = name, severity, shown
        self._renew_condition()

    def _renew_condition(self) -> None:
        condition = self.planted_besides()
        if self.fault is not None:
            condition = with_fault(condition, self.fault, self.severity)
        self.machines.own.recorder.set_condition(condition)
        self.moved()

    # Set up for another purpose ------------------------------------------------------------------------------

    def put_right(self, held: bool, practice: str = OPEN_PRACTICE) -> None:
        """Return to a machine in order with the bars on it, held in play or running, of a recording practice."""
        self.machines.take_back()
        self.machines.held = held
        self.notice = ""
        self.fault, self.severity, self.fault_shown = None, 0.0, False
        if self.machines.own.recorder.practice.name != practice:
            self._begin_with(Recorder(get_practice(practice).standard, practice))
        recorder = self.machines.own.recorder
        recorder.set_condition(Condition())
        recorder.set_guide_correction(0.0)
        recorder.set_controls(default_controls())
        if recorder.tape.name != WORK_TAPE or self.programme != TAPES[WORK_TAPE].signal:
            self._programme.put_tape(WORK_TAPE)
        self.machines.begin()
        self._monitoring.set_extended(frozenset())
        self.forget_clock()
        self.log.clear()
        self.moved()

    def set_up(self, standard: str, practice: str, tape: str, signal: str) -> None:
        """Put a tape with a signal on a machine of a standard and practice: another one if this is not of them."""
        own = self.recorder
        if (own.standard.name, own.practice.name) != (standard, practice):
            self._begin_with(Recorder(standard, practice))
        if self.recorder.tape.name != tape or self.programme != signal:
            self._programme.put_tape(tape, signal)

    def _begin_with(self, recorder: Recorder) -> None:
        self.machines.begin(recorder)
        self._programme.name = recorder.tape.signal
        self.show_frame(0)

    # Bookkeeping -------------------------------------------------------------------------------------------

    def changed(self) -> None:
        """Note a change of what the bench holds."""
        self.version += 1

    def moved(self) -> None:
        """Note a change that shows in the picture."""
        self.revision += 1
        self._frame = None
        self.changed()
