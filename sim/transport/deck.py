"""The transport as a person meets it: acts, interlocks and choices.

Contents: `Deck`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from sim.controls import STAGES
from sim.errors import UnknownNameError
from sim.transport.acts import ACTS, EDIT_MODES, TRACKS, Incident, InterlockError
from sim.transport.condition import DeckError
from sim.transport.drive import HOLD_PULL_N, play_pull_n
from sim.transport.interlocks import find_refusal
from sim.transport.motion import DeckMotion
from sim.transport.reels import LEADER_M, PATH_M, WHEEL_TO_TAKEUP_M, TapePath
from sim.transport.services import AIR_NOMINAL_KPA, VACUUM_NOMINAL_KPA
from sim.transport.state import PINCH_S, checked_reel_length
from sim.wording import wording

__all__ = ["Deck"]


class Deck(DeckMotion):
    """One transport with a reel of tape on it.

    Parameters
    ----------
    standard : Standard
        Gives the tape speed.
    reel_length_m : float
        Tape on the reel [m]; 4800 ft are 1463 m.
    seed : int
        Fixes how each reel stands in its turn.
    condition : DeckCondition
        What is wrong or worn.
    head_hours_h : float
        Hours that the heads have run already [h].

    Attributes
    ----------
    condition : DeckCondition
        What is wrong or worn; may be replaced at any time.
    time_s : float
        Time that has passed [s].
    head_hours_h : float
        Hours that the turning wheel had tape on its guide [h].
    dry_spin_s : float
        Time that the wheel turned without air [s]: every second harms its bearing.
    incidents : tuple of Incident
        Dangerous acts that were tried, in their order.
    cleanings, degaussings, inspections : int
        How often that was done.
    run_up_s, start_s : float or None
        How long the last run-up to standby took, and the last start from standing tape to its speed [s].
    stopped_because : str
        Why the transport stopped by itself; empty after the next act that moves it.

    Raises
    ------
    DeckError
        If the reel or the hours make no sense.

    Notes
    -----
    A new deck is stopped and powered, covers closed, a reel without ring fitted and not threaded.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> deck = Deck(get_standard("525/60"), 1463.04)
    >>> deck.refusal("play")
    'The tape is not threaded: open the covers, thread it and check the threading.'
    """

    # --- what a person can do --------------------------------------------------------------------------------------

    def refusal(self, act: str, stage: str = "") -> str | None:
        """Return why `act` of `ACTS` would be refused now, in a sentence; None if it would be done.

        `stage` names the stage whose card is meant, for "put_on_extender" alone.

        Raises
        ------
        UnknownNameError
            If there is no such act or stage.
        """
        self._check_names(act, stage)
        refusal = find_refusal(self, act)
        return None if refusal is None else refusal.sentence

    def do(self, act: str, stage: str = "") -> None:
        """Do `act` of `ACTS`.

        Raises
        ------
        UnknownNameError
            If there is no such act or stage.
        InterlockError
            If the transport refuses; a dangerous attempt is also noted in `incidents`.
        """
        self._check_names(act, stage)
        refusal = find_refusal(self, act)
        if refusal is not None:
            if refusal.dangerous:
                self.incidents += (Incident(self.time_s, act, refusal.sentence),)
            raise InterlockError(refusal.sentence)
        if ACTS[act].group == "motion":
            self.stopped_because = ""
            self._move(act)
        else:
            self._handle(act, stage)

    def select_tracks(self, tracks: Iterable[str]) -> None:
        """Choose which of `TRACKS` a recording writes.

        Raises
        ------
        UnknownNameError, InterlockError
            If there is no such track; if none is chosen or a recording is running.
        """
        chosen = frozenset(tracks)
        for track in sorted(chosen):
            if track not in TRACKS:
                raise UnknownNameError("track", track, TRACKS)
        if not chosen:
            raise InterlockError(wording("deck.no_track_chosen_choose"))
        self._refuse_while_recording()
        self._tracks = chosen

    def select_edit_mode(self, mode: str) -> None:
        """Choose one of `EDIT_MODES`.

        Raises
        ------
        UnknownNameError, InterlockError
            If there is no such mode; if a recording is running.
        """
        if mode not in EDIT_MODES:
            raise UnknownNameError("edit mode", mode, EDIT_MODES)
        self._refuse_while_recording()
        self._edit_mode = mode

    def choose_reel(self, length_m: float, ring_fitted: bool = False) -> None:
        """Take another reel to hand, to be fitted next.

        Raises
        ------
        InterlockError, DeckError
            If a reel is on the machine; if the length makes no sense.
        """
        if self._reel_fitted:
            raise InterlockError(wording("deck.reel_machine_unthread_tape"))
        self._tape = TapePath(checked_reel_length(length_m))
        self._ring_fitted = ring_fitted

    @property
    def ready_places_m(self) -> tuple[float, float]:
        """First and last place along the tape at which it can lie ready at the wheel, between its leaders [m]."""
        return LEADER_M + WHEEL_TO_TAKEUP_M, self._tape.length_m - PATH_M - LEADER_M + WHEEL_TO_TAKEUP_M

    def make_ready(self, mode: str, position_m: float | None = None) -> None:
        """Put the transport into `mode` as if all had been done and waited for: threaded, pumped up, at speed.

        Parameters
        ----------
        mode : str
            "stop", "standby" or "play".
        position_m : float, optional
            Place along the tape at the wheel [m]; the beginning of the tape, leader wound on, if left out.

        Raises
        ------
        UnknownNameError, DeckError
            If the mode is another one; if the place is not between the leaders.
        """
        if mode not in ("stop", "standby", "play"):
            raise UnknownNameError("mode to be ready in", mode, ("stop", "standby", "play"))
        lowest, highest = self.ready_places_m
        place_m = lowest if position_m is None else position_m
        if not (math.isfinite(place_m) and lowest <= place_m <= highest):
            raise DeckError(
                wording("deck.place_m_tape_choose", place_m=repr(place_m), lowest=f"{lowest:g}", highest=f"{highest:g}")
            )
        self._covers_open = self._isolated = False
        self._reel_fitted = self._threaded = self._threading_checked = True
        self._leave_record()
        self.stopped_because = ""
        self._tape.place(place_m - WHEEL_TO_TAKEUP_M)
        self._mode = self._goal = mode
        self._wheel_on = mode != "stop"
        self._wheel_locked = self._had_air = self._wheel_on
        self._wheel_rate_hz = self.standard.wheel_rate_hz if self._wheel_on else 0.0
        pull_n = HOLD_PULL_N if mode == "stop" else play_pull_n(0.0, 0.0, 0.0)
        self._tape.hold(pull_n, pull_n)
        for arm in (self._supply_arm, self._takeup_arm):
            arm.settle(pull_n)
        services = self._services
        services.charge_pct = 100.0
        services.air_kpa = AIR_NOMINAL_KPA * (1.0 - self.condition.air_leak) if self._wheel_on else 0.0
        services.vacuum_kpa = VACUUM_NOMINAL_KPA * (1.0 - self.condition.vacuum_leak) if self._wheel_on else 0.0
        services.guide = 1.0 if mode == "play" else 0.0
        self._reset_waits()
        self._at_speed = mode == "play"
        if mode == "play":
            self._pinch_s = PINCH_S
            self._tape.speed_m_per_s = self.nominal_m_per_s

    def _move(self, act: str) -> None:
        """Do an act of motion that is not refused."""
        if act == self._mode or (act == self._goal and self._mode in ("stopping", "running_up")):
            return
        if act == "stop":
            self._wheel_on = False
        elif act in ("standby", "play"):
            self._wheel_on = True
        if act == "play" and self._mode == "record":
            self._leave_record()
            self._mode = self._goal = "play"
            return
        self._head_for(act)

    def _handle(self, act: str, stage: str) -> None:
        """Do an act that is not refused and does not move the tape."""
        tape = self._tape
        if act == "record_arm":
            self._armed = True
        elif act == "record":
            self.stopped_because = ""
            if self._mode == "play":
                self._mode = self._goal = "record"
            else:
                self._head_for("record")
        elif act == "disarm":
            self._leave_record()
            if self._mode == "record":
                self._mode = self._goal = "play"
        elif act == "reset_timer":
            self._timer.reset()
        elif act == "fit_reel":
            self._reel_fitted = True
            tape.place(-PATH_M)
        elif act == "take_off_reel":
            self._reel_fitted = self._armed = False
        elif act == "thread":
            # The loose end goes to the empty reel.
            tape.place(LEADER_M if tape.takeup_m == 0.0 else tape.length_m - PATH_M - LEADER_M)
            self._threaded = True
        elif act == "check_threading":
            self._threading_checked = True
        elif act == "unthread":
            tape.place(-PATH_M if tape.takeup_m < tape.supply_m else tape.length_m)
            self._threaded = self._threading_checked = self._armed = False
        elif act in ("fit_ring", "remove_ring"):
            self._ring_fitted = act == "fit_ring"
        elif act in ("open_covers", "close_covers"):
            self._covers_open = act == "open_covers"
        elif act in ("isolate", "restore_power"):
            self._isolated = act == "isolate"
            self._armed = False
        elif act == "clean_path":
            self.cleanings += 1
        elif act == "degauss":
            self.degaussings += 1
        elif act == "inspect_heads":
            self.inspections += 1
        elif act == "put_on_extender":
            self._extender_stage = stage
        elif act == "take_off_extender":
            self._extender_stage = None

    def _check_names(self, act: str, stage: str) -> None:
        if act not in ACTS:
            raise UnknownNameError("act", act, ACTS)
        if ACTS[act].takes_stage and stage not in STAGES:
            raise UnknownNameError("stage", stage, STAGES)

    def _refuse_while_recording(self) -> None:
        if self._mode == "record":
            raise InterlockError(wording("deck.recording_running_end_stop"))
