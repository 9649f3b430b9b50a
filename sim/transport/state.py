"""What a transport is at a moment, and everything that can be read from it.

Contents: `DeckState`, `TAPE_SPEED_M_PER_S`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from sim.standards import FOOTPRINT, Standard
from sim.transport.acts import TRACKS, Incident
from sim.transport.condition import DeckCondition, DeckError
from sim.transport.reels import LEADER_M, PATH_M, TapePath
from sim.transport.rollers import TapeTimer, TensionArm, timer_text
from sim.transport.services import Services

__all__ = ["PINCH_S", "TAPE_SPEED_M_PER_S", "DeckState"]

# PUB SMPTE ST 4 abstract: 15 in/s. QUOTED: 15.625 in/s in 625/50.
TAPE_SPEED_M_PER_S: Mapping[str, float] = MappingProxyType(
    {"525/60": FOOTPRINT.tape_speed_m_per_s, "625/50": 15.625 * 25.4e-3}
)
# MODEL: the pinch roller closes in this time.
PINCH_S = 0.1
# MODEL: the shortest and longest reel: room for path and leaders, and somewhat more than 7200 ft.
_SHORTEST_REEL_M, _LONGEST_REEL_M = 15.0, 2400.0
# MODEL: slower than this the wheel counts as at rest; a turn in twenty seconds.
_WHEEL_REST_HZ = 0.05
# MODEL: where an arm counts as slack or tight.
_ARM_SLACK, _ARM_TIGHT = 0.05, 0.98
# MODEL: winding that stopped by itself has gone at most so far into the leader.
_END_MARGIN_M = 0.05


def checked_reel_length(length_m: float) -> float:
    """Return the length of a reel [m] if it makes sense.

    Raises
    ------
    DeckError
        If it does not.
    """
    if not (math.isfinite(length_m) and _SHORTEST_REEL_M <= length_m <= _LONGEST_REEL_M):
        raise DeckError(
            f"reel of {length_m!r} m: choose from {_SHORTEST_REEL_M:g} to {_LONGEST_REEL_M:g} m (4800 ft are 1463 m)"
        )
    return float(length_m)


class DeckState:
    """State and readings of a transport; `sim.transport.Deck` moves it."""

    def __init__(
        self,
        standard: Standard,
        reel_length_m: float,
        seed: int = 0,
        condition: DeckCondition | None = None,
        head_hours_h: float = 0.0,
    ) -> None:
        if not (math.isfinite(head_hours_h) and head_hours_h >= 0.0):
            raise DeckError(f"head hours {head_hours_h!r}: give 0 or more hours")
        self.standard = standard
        self.nominal_m_per_s = TAPE_SPEED_M_PER_S[standard.name]
        self.condition = DeckCondition() if condition is None else condition
        self.head_hours_h = head_hours_h
        self.time_s = 0.0
        self.dry_spin_s = 0.0
        self.incidents: tuple[Incident, ...] = ()
        self.cleanings = self.degaussings = self.inspections = 0
        self.run_up_s: float | None = None
        self.start_s: float | None = None
        self.stopped_because = ""
        self._tape = TapePath(checked_reel_length(reel_length_m))
        self._services = Services()
        self._supply_arm, self._takeup_arm = TensionArm(), TensionArm()
        self._timer = TapeTimer(self.nominal_m_per_s)
        angles = np.random.default_rng([seed, 11]).uniform(0.0, 2.0 * math.pi, 2)
        self._supply_angle, self._takeup_angle = float(angles[0]), float(angles[1])
        self._mode = self._goal = "stop"
        self._wheel_on = False
        self._wheel_rate_hz = 0.0
        self._wheel_locked = False
        self._at_speed = False
        self._covers_open = self._isolated = self._ring_fitted = False
        self._reel_fitted = True
        self._threaded = self._threading_checked = False
        self._armed = False
        self._had_air = False
        self._tracks = frozenset(TRACKS)
        self._edit_mode = "off"
        self._extender_stage: str | None = None
        self._wait_s = self._arm_s = self._unlocked_s = self._pinch_s = self._since_start_s = 0.0

    # --- what can be read ------------------------------------------------------------------------------------------

    @property
    def mode(self) -> str:
        """What the transport does now, one of `MODES`."""
        return self._mode

    @property
    def goal(self) -> str:
        """The mode it is going to; the mode itself when it is there."""
        return self._goal

    @property
    def position_m(self) -> float:
        """Place along the tape that is at the head wheel, from the tape's beginning [m]."""
        return self._tape.position_m

    @property
    def tape_speed_m_per_s(self) -> float:
        """Speed of the tape, forward positive [m/s]."""
        return self._tape.speed_m_per_s

    @property
    def tape_at_speed(self) -> bool:
        """True while the tape follows the capstan without slipping behind."""
        return self._at_speed

    @property
    def reel_length_m(self) -> float:
        """The whole tape [m]: supply, path and take-up together."""
        return self._tape.length_m

    @property
    def supply_m(self) -> float:
        """Tape on the supply reel [m]."""
        return self._tape.supply_m

    @property
    def takeup_m(self) -> float:
        """Tape on the take-up reel [m]."""
        return self._tape.takeup_m

    @property
    def path_m(self) -> float:
        """Tape between the reels [m]."""
        return self._tape.path_m

    @property
    def supply_radius_m(self) -> float:
        """Radius of the tape on the supply reel [m]."""
        return self._tape.supply_radius_m

    @property
    def takeup_radius_m(self) -> float:
        """Radius of the tape on the take-up reel [m]."""
        return self._tape.takeup_radius_m

    @property
    def supply_rotation_rad_per_s(self) -> float:
        """Turning of the supply reel, in the sense of forward tape [rad/s]; 0 once its tape has run off."""
        return self._tape.speed_m_per_s / self._tape.supply_radius_m if self._tape.supply_m > 0.0 else 0.0

    @property
    def takeup_rotation_rad_per_s(self) -> float:
        """Turning of the take-up reel, in the sense of forward tape [rad/s]; 0 while it has no tape."""
        return self._tape.speed_m_per_s / self._tape.takeup_radius_m if self._tape.takeup_m > 0.0 else 0.0

    @property
    def supply_angle_rad(self) -> float:
        """How far the supply reel has turned [rad]; for drawing it."""
        return self._supply_angle

    @property
    def takeup_angle_rad(self) -> float:
        """How far the take-up reel has turned [rad]; for drawing it."""
        return self._takeup_angle

    @property
    def supply_tension_n(self) -> float:
        """Tension between supply reel and capstan [N]."""
        return self._tape.supply_tension_n

    @property
    def takeup_tension_n(self) -> float:
        """Tension between capstan and take-up reel [N]."""
        return self._tape.takeup_tension_n

    @property
    def supply_arm(self) -> float:
        """Where the supply tension arm is: 0 its slack stop, 1 its tight stop."""
        return self._supply_arm.position

    @property
    def takeup_arm(self) -> float:
        """Where the take-up tension arm is: 0 its slack stop, 1 its tight stop."""
        return self._takeup_arm.position

    @property
    def tension_ok(self) -> bool:
        """True while neither arm stands at a stop."""
        return not (self._slack_side() or self._tight_side())

    @property
    def air_kpa(self) -> float:
        """Pressure of the wheel's air [kPa]."""
        return self._services.air_kpa

    @property
    def air_ok(self) -> bool:
        """True while the air carries the wheel."""
        return self._services.air_ok

    @property
    def vacuum_kpa(self) -> float:
        """Vacuum of the guide, below the room's pressure [kPa]."""
        return self._services.vacuum_kpa

    @property
    def vacuum_ok(self) -> bool:
        """True while the vacuum can hold the tape in the guide."""
        return self._services.vacuum_ok

    @property
    def charge_pct(self) -> float:
        """Charge left in the supplies against their working value [%]."""
        return self._services.charge_pct

    @property
    def guide_closed(self) -> bool:
        """True while the guide stands round the wheel."""
        return self._services.guide >= 1.0

    @property
    def tape_on_guide(self) -> bool:
        """True while the vacuum holds the tape in the guide, against the wheel."""
        services = self._services
        return self._threaded and services.guide >= 1.0 and services.vacuum_ok

    @property
    def timer_s(self) -> float:
        """What the tape timer reads [s of play]."""
        return self._timer.seconds

    @property
    def timer_text(self) -> str:
        """What the tape timer shows, H:MM:SS."""
        return timer_text(self._timer.seconds)

    @property
    def wheel_driven(self) -> bool:
        """True while the transport wants the head wheel turned: never without air."""
        return self._wheel_on and self._services.air_ok

    @property
    def wheel_rate_hz(self) -> float:
        """Speed of the head wheel in the last step [rev/s]."""
        return self._wheel_rate_hz

    @property
    def wheel_locked(self) -> bool:
        """Whether the wheel servo held its phase in the last step."""
        return self._wheel_locked

    @property
    def wheel_at_rest(self) -> bool:
        """True once the head wheel has run down."""
        return self._wheel_rate_hz <= _WHEEL_REST_HZ

    @property
    def capstan_engaged(self) -> bool:
        """True while the pinch roller holds the tape to the capstan."""
        return self._mode in ("play", "record") and self._pinch_s >= PINCH_S

    @property
    def record_armed(self) -> bool:
        """True from the first of the two steps to the end of the recording, or to stop or winding."""
        return self._armed

    @property
    def recording(self) -> bool:
        """True while the electronics may write on the tape: recording, tape at speed, wheel locked, ring fitted."""
        return (
            self._mode == "record"
            and self._armed
            and self._ring_fitted
            and self._at_speed
            and self._wheel_locked
            and self.tape_on_guide
        )

    @property
    def written_tracks(self) -> frozenset[str]:
        """Which of `TRACKS` a recording writes: those chosen, in insert without the control track."""
        return self._tracks - {"control"} if self._edit_mode == "insert" else self._tracks

    @property
    def record_tracks(self) -> frozenset[str]:
        """Which of `TRACKS` are chosen."""
        return self._tracks

    @property
    def edit_mode(self) -> str:
        """One of `EDIT_MODES`."""
        return self._edit_mode

    @property
    def master_erase_on(self) -> bool:
        """True while the tape's whole width is erased: recording video with a control track of its own."""
        return self.recording and self._edit_mode != "insert" and {"video", "control"} <= self._tracks

    @property
    def video_erase_on(self) -> bool:
        """True while the video tracks alone are erased: recording video without the master erase."""
        return self.recording and "video" in self._tracks and not self.master_erase_on

    @property
    def audio_erase_on(self) -> bool:
        """True while the programme track is erased by its own head."""
        return self.recording and "programme" in self._tracks

    @property
    def cue_erase_on(self) -> bool:
        """True while the cue track is erased by its own head."""
        return self.recording and "cue" in self._tracks

    @property
    def reel_fitted(self) -> bool:
        """True while a reel is on the machine."""
        return self._reel_fitted

    @property
    def threaded(self) -> bool:
        """True while the tape is led from reel to reel."""
        return self._threaded

    @property
    def threading_checked(self) -> bool:
        """True once somebody has seen that the tape lies right."""
        return self._threading_checked

    @property
    def covers_open(self) -> bool:
        """True while the covers are open."""
        return self._covers_open

    @property
    def isolated(self) -> bool:
        """True while the mains is locked off."""
        return self._isolated

    @property
    def ring_fitted(self) -> bool:
        """True while the reel has the ring that allows recording."""
        return self._ring_fitted

    @property
    def extender_stage(self) -> str | None:
        """The stage whose card is on the extender; None if there is none."""
        return self._extender_stage

    @property
    def at_beginning(self) -> bool:
        """True while only the leader is on the take-up reel."""
        return self._tape.edge_m <= LEADER_M + _END_MARGIN_M

    @property
    def at_end(self) -> bool:
        """True while only the leader is on the supply reel."""
        return self._tape.edge_m >= self._tape.length_m - PATH_M - LEADER_M - _END_MARGIN_M

    def _slack_side(self) -> str:
        """Return which tension arm stands at its slack stop; empty if none does."""
        if self._supply_arm.position < _ARM_SLACK:
            return "supply"
        return "takeup" if self._takeup_arm.position < _ARM_SLACK else ""

    def _tight_side(self) -> str:
        """Return which tension arm stands at its tight stop; empty if none does."""
        if self._supply_arm.position > _ARM_TIGHT:
            return "supply"
        return "takeup" if self._takeup_arm.position > _ARM_TIGHT else ""
