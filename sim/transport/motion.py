"""How a transport moves from mode to mode as time passes, and when it stops by itself.

Contents: `DeckMotion`, `MAX_STEP_S`.

A mode is what the transport does now, a goal is where it is going: a change of the tape's motion goes by way of
"stopping", and standby, play and record by way of "running_up" until the wheel is locked.
"""

from __future__ import annotations

import math

from sim.transport.condition import DeckError
from sim.transport.drive import HOLD_PULL_N, brake, drag_n, play_pull_n, wind, wind_distance_m
from sim.transport.reels import PATH_M
from sim.transport.state import DeckState
from sim.wording import wording

__all__ = ["MAX_STEP_S", "DeckMotion"]

# MODEL: the longest step that still follows the arms and the winding.
MAX_STEP_S = 0.05
# MODEL: the pinch roller's grip speeds the tape up so fast; of what the reels' inertia takes then, the
# motors give this share.
_GRIP_M_PER_S2 = 1.0
_HELP_SHARE = 0.8
# MODEL: how long the transport waits for air and lock, for the guide, for a lost lock and for an arm at its stop.
_RUN_UP_LIMIT_S, _GUIDE_LIMIT_S, _LOST_LOCK_S, _ARM_LIMIT_S = 20.0, 3.0, 0.2, 0.5
# MODEL: a capstan that runs faster than this against nominal does not exist; below the least it does not run at all.
_MAX_RATIO, _LEAST_RATIO = 4.0, 0.5

_RUNS = ("play", "record")
_WINDS = ("wind_forward", "wind_reverse")

_NO_AIR = wording("deck.air_head_wheel_does")
_NO_LOCK = wording("deck.head_wheel_did_not")
_NO_VACUUM = wording("deck.vacuum_does_not_hold")
_LOST_LOCK = wording("deck.head_wheel_lost_lock")
_SLACK = wording("deck.tension_arm_stands_slack")
_TIGHT = wording("deck.tension_arm_stands_tight")
_AT_END = wording("deck.end_tape_near_winding")
_AT_BEGINNING = wording("deck.beginning_tape_near_winding")
_RAN_OFF = wording("deck.tape_ran_off_reel")


class DeckMotion(DeckState):
    """A transport that moves."""

    # --- the passing of time ---------------------------------------------------------------------------------------

    def step(self, dt_s: float, wheel_rate_hz: float, wheel_locked: bool, capstan_ratio: float = 1.0) -> None:
        """Let time pass.

        Parameters
        ----------
        dt_s : float
            Step, more than 0 and at most `MAX_STEP_S` [s].
        wheel_rate_hz : float
            Speed of the head wheel [rev/s].
        wheel_locked : bool
            Whether the wheel servo holds its phase.
        capstan_ratio : float
            Speed of the capstan against nominal.

        Raises
        ------
        DeckError
            If a value cannot be.
        """
        if not 0.0 < dt_s <= MAX_STEP_S:
            raise DeckError(f"transport step {dt_s!r} s: take more than 0 and at most {MAX_STEP_S:g} s")
        if not 0.0 <= wheel_rate_hz < math.inf:
            raise DeckError(f"wheel speed {wheel_rate_hz!r} rev/s: give 0 or more")
        if not 0.0 <= capstan_ratio <= _MAX_RATIO:
            raise DeckError(f"capstan ratio {capstan_ratio!r}: give 0 to {_MAX_RATIO:g} of the nominal speed")
        self.time_s += dt_s
        self._wheel_rate_hz = wheel_rate_hz
        self._wheel_locked = bool(wheel_locked)
        turning = not self.wheel_at_rest
        services, tape, mode = self._services, self._tape, self._mode
        services.step(
            dt_s,
            not self._isolated,
            self._wheel_on or turning or mode in _WINDS,
            self._wheel_on,
            mode in _RUNS,
            self.condition,
        )
        if turning:
            if self.tape_on_guide:
                self.head_hours_h += dt_s / 3600.0
            if not services.air_ok:
                self.dry_spin_s += dt_s
        before_m = tape.edge_m
        self._at_speed = False
        if mode == "stop":
            pull_n = HOLD_PULL_N if self._threaded and not (self._isolated or self._covers_open) else 0.0
            tape.hold(pull_n, pull_n)
        elif mode in ("running_up", "standby"):
            tape.hold(*self._play_pulls())
            self._wait_for_wheel(dt_s)
        elif mode in _RUNS:
            self._run(dt_s, capstan_ratio)
        elif mode in _WINDS:
            self._wind(dt_s)
        else:
            self._stop(dt_s)
        way_m = tape.edge_m - before_m
        if way_m != 0.0:
            self._timer.roll(way_m, self.condition.timer_slip_ppm)
            self._supply_angle += way_m / tape.supply_radius_m
            self._takeup_angle += way_m / tape.takeup_radius_m
        self._supply_arm.step(dt_s, tape.supply_tension_n)
        self._takeup_arm.step(dt_s, tape.takeup_tension_n)
        self._supervise(dt_s)

    def _play_pulls(self) -> tuple[float, float]:
        condition = self.condition
        uneven = condition.reel_eccentricity
        return (
            play_pull_n(condition.supply_tension_drift, uneven, self._supply_angle),
            play_pull_n(condition.takeup_tension_drift, uneven, self._takeup_angle),
        )

    def _wait_for_wheel(self, dt_s: float) -> None:
        """Stay until air and lock are there, then go on to the goal."""
        if self._services.air_ok and self._wheel_locked:
            if self._mode == "running_up":
                self.run_up_s = self._wait_s
            self._reset_waits()
            self._mode = self._goal
            return
        self._mode = "running_up"
        self._wait_s += dt_s
        if self._wait_s > _RUN_UP_LIMIT_S:
            self._trip(_NO_LOCK if self._services.air_ok else _NO_AIR)

    def _run(self, dt_s: float, capstan_ratio: float) -> None:
        """Play or record: guide, pinch roller, then the tape follows the capstan."""
        tape = self._tape
        self._since_start_s += dt_s
        if self.tape_on_guide:
            self._wait_s = 0.0
            self._pinch_s += dt_s
        else:
            self._wait_s += dt_s
            if self._wait_s > _GUIDE_LIMIT_S or self._pinch_s > 0.0:
                self._trip(_NO_VACUUM)
                self._stop(dt_s)
                return
        supply_n, takeup_n = self._play_pulls()
        if not self.capstan_engaged:
            tape.hold(supply_n, takeup_n)
            return
        target = capstan_ratio * self.nominal_m_per_s * (1.0 - self.condition.pinch_slip)
        # While the grip speeds the tape up the motors help their reels along, so that the arms keep the tape.
        rest = target - tape.speed_m_per_s
        if abs(rest) > _GRIP_M_PER_S2 * dt_s:
            helped = math.copysign(_HELP_SHARE * _GRIP_M_PER_S2, rest)
            supply_n -= helped * tape.supply_mass_kg
            takeup_n += helped * tape.takeup_mass_kg
        caught = tape.follow(dt_s, target, _GRIP_M_PER_S2, supply_n, takeup_n)
        self._at_speed = caught and tape.runs_between_reels and capstan_ratio >= _LEAST_RATIO
        if self._at_speed and self.start_s is None:
            self.start_s = self._since_start_s
        if self._mode == "record" and not self._wheel_locked:
            self._unlocked_s += dt_s
            if self._unlocked_s > _LOST_LOCK_S:
                self._trip(_LOST_LOCK)
        else:
            self._unlocked_s = 0.0

    def _wind(self, dt_s: float) -> None:
        forward = self._mode == "wind_forward"
        wind(self._tape, dt_s, forward, drag_n(self._services.air_kpa), self.condition)
        if wind_distance_m(self._tape, forward) <= 0.0:
            self.stopped_because = _AT_END if forward else _AT_BEGINNING
            self._head_for("standby" if self._wheel_on else "stop")

    def _stop(self, dt_s: float) -> None:
        """Brake; once the tape stands and the guide is clear, go on to the goal."""
        tape = self._tape
        if tape.speed_m_per_s != 0.0:
            brake(tape, dt_s, drag_n(self._services.air_kpa), self.condition)
        else:
            tape.hold(HOLD_PULL_N, HOLD_PULL_N)
        if tape.speed_m_per_s != 0.0 or self._services.guide > 0.0:
            return
        if not tape.runs_between_reels:
            # The loose end is laid on the reel that has the rest of the tape.
            tape.place(tape.length_m if tape.supply_m == 0.0 else -PATH_M)
            self._threaded = self._threading_checked = False
            self._goal = "stop"
            self._wheel_on = False
            self.stopped_because = _RAN_OFF
        self._reset_waits()
        self._mode = "running_up" if self._goal in ("standby", *_RUNS) else self._goal

    def _supervise(self, dt_s: float) -> None:
        """Stop by oneself when air is lost with the wheel driven, or an arm stays at a stop with the tape in motion."""
        mode = self._mode
        self._had_air = self._wheel_on and (self._had_air or self._services.air_ok)
        if mode == "stop" or mode == "running_up":
            return
        if self._wheel_on and not self._services.air_ok and self._had_air:
            self._trip(_NO_AIR)
            return
        if mode == "standby" or mode == "stopping":
            self._arm_s = 0.0
            return
        slack = self._slack_side()
        tight = self._tight_side() if mode in _RUNS else ""
        if not (slack or tight):
            self._arm_s = 0.0
            return
        self._arm_s += dt_s
        if self._arm_s > _ARM_LIMIT_S:
            self._trip(
                _SLACK.format(side=wording(f"deck.{slack}")) if slack else _TIGHT.format(side=wording(f"deck.{tight}"))
            )

    # --- changes of mode -------------------------------------------------------------------------------------------

    def _head_for(self, goal: str) -> None:
        """Go towards a mode from where the transport is."""
        if self._mode == "record" or goal in ("stop", *_WINDS):
            self._leave_record()
        still = self._mode in ("stop", "running_up", "standby")
        self._reset_waits()
        self._goal = goal
        if goal in _RUNS:
            self.start_s = None
        if not still:
            self._mode = "stopping"
        elif goal in ("standby", *_RUNS):
            self._mode = goal if self._mode == "standby" else "running_up"
        else:
            self._mode = goal

    def _trip(self, sentence: str) -> None:
        """Stop by oneself, and say why."""
        self._wheel_on = False
        self._head_for("stop")
        self.stopped_because = sentence

    def _leave_record(self) -> None:
        self._armed = False

    def _reset_waits(self) -> None:
        self._wait_s = self._arm_s = self._unlocked_s = self._pinch_s = self._since_start_s = 0.0
