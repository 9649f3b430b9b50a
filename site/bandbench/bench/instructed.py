"""The open bench with an instructor at it: what is planted in secret, what the class is shown, states put up at once.

Contents: `InstructedBench`. Who does it, and in which order, is `bandbench.bench.instructor`.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import TYPE_CHECKING

from bandbench.bench.faults import FAULTS
from bandbench.bench.machines import WORK_TAPE
from bandbench.bench.openbench import OPEN_PRACTICE, OpenBench
from bandbench.bench.planting import Planting
from sim.condition import Condition
from sim.recorder import Recorder
from sim.reel import Reel
from sim.showing import demonstration_recorder, set_cue
from sim.training.demonstration import Cue, Demonstration

if TYPE_CHECKING:
    from bandbench.bench.marks import BenchState

__all__ = ["InstructedBench"]


class InstructedBench(OpenBench):
    """An open bench that an instructor works at from a console.

    Parameters
    ----------
    chance : random.Random, optional
        Where faults to be found come from.

    Attributes
    ----------
    secret : Planting
        What is planted besides; nothing on the page tells of it.
    why_shown : bool or None
        Whether the why views are shown; None: unless something secret is planted.
    readings_shown : bool
        Whether the readings are shown.
    caption : mapping of str to str
        What the class reads of the demonstration that is shown; empty while none is.
    instructed : bool
        Whether a console is open.
    """

    def __init__(self, chance: random.Random | None = None, recorder: Recorder | None = None) -> None:
        super().__init__(chance, recorder)
        self.secret = Planting()
        self.why_shown: bool | None = None
        self.readings_shown = True
        self.caption: Mapping[str, str] = {}
        self.instructed = False

    def planted_besides(self) -> Condition:
        """Return what the instructor has hidden in the machine."""
        return self.secret.condition()

    def put_right(self, held: bool, practice: str = OPEN_PRACTICE) -> None:
        """Return to a machine in order; what the instructor planted and hid is gone too."""
        self.secret, self.why_shown, self.readings_shown, self.caption = Planting(), None, True, {}
        super().put_right(held, practice)

    def set_instructed(self, instructed: bool) -> None:
        """Note whether a console is open."""
        if instructed != self.instructed:
            self.instructed = instructed
            self.changed()

    def plant_secret(self, planting: Planting) -> None:
        """Plant what an instructor wants planted, in place of what was."""
        self.check_free("faults")
        planting.condition()
        self.secret = planting
        self._renew_condition()

    def show_why(self, shown: bool | None) -> None:
        """Show or hide the why views for an instructor; None hides them while something secret is planted."""
        self.why_shown = shown
        self.moved()

    def show_readings(self, shown: bool) -> None:
        """Show or hide the readings for an instructor."""
        self.readings_shown = shown
        self.moved()

    # States an instructor puts up ----------------------------------------------------------------------------

    def put_up_cue(self, demonstration: Demonstration, cue: Cue, fresh: bool) -> None:
        """Put the bench's own machine, and where one looks, into the state in which a cue begins.

        Parameters
        ----------
        demonstration : Demonstration
            Says which standard and practice.
        cue : Cue
            What is set, planted and looked at; its acts are the caller's to do.
        fresh : bool
            Whether reels come from the shelf as they were, and the machine starts anew whatever it does.
        """
        self._unheld()
        secret = Planting.of_cue(cue)
        machines, own = self.machines, self.machines.own.recorder
        if (own.standard.name, own.practice.name) != (demonstration.standard, demonstration.practice):
            self._begin_with(demonstration_recorder(demonstration))
            fresh = True
        elif fresh or machines.station is not machines.own:
            machines.begin()
            fresh = True
        station, before = machines.station, machines.reel_name
        in_lock = station.wheel.state == "horizontal" and station.capstan.locked
        runs_on = before == cue.tape == WORK_TAPE and station.deck.mode == cue.deck == "play" and in_lock
        sent = self.programme if before == cue.tape else ""
        set_cue(station, cue, FAULTS, machines.lay(cue.tape), fresh or not runs_on, sent)
        self._programme.name = cue.signal
        self.secret = secret
        self.fault, self.severity, self.fault_shown, self.notice = None, 0.0, False, ""
        self.why_shown, self.readings_shown = cue.why, cue.readings
        self._monitoring.look_at(cue.stage, station.standard.lines_per_frame, cue.scope, cue.monitor)
        self.log.clear()
        self.moved()

    def put_up_state(self, state: BenchState, reel: Reel | None) -> None:
        """Bring everything back to a marked state, with this reel on the machine (None: the work tape)."""
        self._unheld()
        machines, own = self.machines, self.machines.own.recorder
        if (own.standard.name, own.practice.name) != (state.standard, state.practice):
            self._begin_with(Recorder(state.standard, state.practice))
        elif machines.station is not machines.own:
            machines.begin()
        station = machines.station
        station.recorder.set_controls(state.controls)
        self.secret, self.fault, self.severity = state.secret, state.fault, state.severity
        self.fault_shown, self.caption, self.playing = state.fault_shown, dict(state.caption), state.playing
        self.why_shown, self.readings_shown = state.why_shown, state.readings_shown
        self._renew_condition()
        machines.shelve(state.reel_name, reel)
        if reel is None:
            station.recorder.load_tape(WORK_TAPE)
        station.put_on(reel, "stop")
        first_m, last_m = station.deck.ready_places_m
        station.make_ready(state.deck_mode, min(max(state.position_m, first_m), last_m))
        self._programme.send(state.programme)
        self._monitoring.stage, self._monitoring.scope = state.stage, state.scope
        self._monitoring.monitor, self._monitoring.kept = state.monitor, state.kept
        self._monitoring.set_extended(frozenset())
        self.notice = ""
        self.log.clear()
        self.moved()
