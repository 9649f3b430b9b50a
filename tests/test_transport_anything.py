"""Whatever people do, in any order and with any fault, the transport keeps its promises."""

from __future__ import annotations

import math
from contextlib import suppress

from hypothesis import given, settings
from hypothesis import strategies as st

from sim.controls import STAGES
from sim.transport import ACTS, EDIT_MODES, MODES, PATH_M, Deck, DeckCondition, InterlockError
from tests.transport_rig import Rig

_ACTS = tuple(ACTS)
_STAGES = tuple(STAGES)
_STEPS_S = (0.005, 0.01, 0.02, 0.05)
_TRACKS = (("video", "control", "programme", "cue"), ("video", "control"), ("programme",), ("control",), ())
_RATIOS = (0.0, 0.98, 1.0, 1.03, 2.5)
_CONDITIONS = (
    DeckCondition(),
    DeckCondition(air_leak=0.32),
    DeckCondition(vacuum_pump_failed=True),
    DeckCondition(brake_weak=0.9, wind_weak=0.8, timer_slip_ppm=1e5),
    DeckCondition(supply_tension_drift=-1.0, takeup_tension_drift=2.0, reel_eccentricity=0.5),
    DeckCondition(air_pump_failed=True, pinch_slip=0.05),
)
# DERIVED: 4.7 m/s of the greatest reel's 9 kg, against the 1.1 N that drag and the weakest brakes leave, take 39 s.
_STOP_LIMIT_S = 45.0
_OPERATIONS = 200


class Watched(Rig):
    """A rig that counts for itself and looks at every step."""

    def __init__(self, condition: DeckCondition, length_m: float, ring: bool) -> None:
        super().__init__(condition, length_m=length_m, ring=ring)
        self.passed_s = 0.0
        self.head_s = 0.0
        self.wrote = False

    def step(self, dt_s: float = 0.01) -> None:
        """Let one step pass and hold the transport to what must be true after each."""
        deck = self.deck
        hours_h = deck.head_hours_h
        super().step(dt_s)
        self.passed_s += dt_s
        if deck.tape_on_guide and self.wheel_hz > 0.05:
            self.head_s += dt_s
        assert deck.head_hours_h >= hours_h
        if deck.recording:
            self.wrote = True
            assert deck.ring_fitted
            assert deck.record_armed
            assert deck.mode == "record"
        if deck.wheel_driven:
            assert deck.air_ok
            assert not deck.covers_open

    def look(self) -> None:
        """Hold the transport to what must be true at any moment."""
        deck = self.deck
        readings = (
            *(deck.position_m, deck.tape_speed_m_per_s, deck.supply_tension_n, deck.takeup_tension_n),
            *(deck.supply_arm, deck.takeup_arm, deck.timer_s, deck.air_kpa, deck.vacuum_kpa, deck.charge_pct),
            *(
                deck.supply_rotation_rad_per_s,
                deck.takeup_rotation_rad_per_s,
                deck.supply_radius_m,
                deck.takeup_radius_m,
            ),
        )
        assert all(map(math.isfinite, readings)), readings
        assert deck.mode in MODES
        assert abs(deck.supply_m + deck.path_m + deck.takeup_m - deck.reel_length_m) < 1e-3
        assert min(deck.supply_m, deck.takeup_m) >= 0.0
        assert -1e-9 <= deck.path_m <= PATH_M + 1e-9
        assert 0.0 <= deck.position_m <= deck.reel_length_m
        assert min(deck.supply_tension_n, deck.takeup_tension_n) >= 0.0
        assert abs(deck.tape_speed_m_per_s) < 5.0
        if deck.covers_open or deck.isolated:
            assert deck.mode == "stop"
        if deck.mode in ("stop", "standby", "running_up"):
            assert deck.tape_speed_m_per_s == 0.0
        assert abs(deck.time_s - self.passed_s) < 1e-9
        assert abs(deck.head_hours_h * 3600.0 - self.head_s) < 1e-6

    def operate(self, what: int, how: int) -> None:
        """Do one of the operations; a refusal is the only error that may come of it."""
        with suppress(InterlockError):
            if what < 110:
                dt_s = _STEPS_S[how & 3]
                for _ in range(1 + (how >> 3)):
                    self.step(dt_s)
            elif what < 240:
                act = _ACTS[(what * 7 + how) % len(_ACTS)]
                self.deck.do(act, _STAGES[how % len(_STAGES)] if ACTS[act].takes_stage else "")
            elif what < 243:
                self.wheel_can_lock = how < 200
            elif what < 246:
                self.ratio = _RATIOS[how % len(_RATIOS)]
            elif what < 249:
                self.deck.select_tracks(_TRACKS[how % len(_TRACKS)])
            elif what < 252:
                self.deck.select_edit_mode(tuple(EDIT_MODES)[how % len(EDIT_MODES)])
            elif what < 254:
                self.deck.condition = _CONDITIONS[how % len(_CONDITIONS)]
            else:
                self.deck.make_ready(("stop", "standby", "play")[how % 3])
                self.wheel_hz = self.deck.wheel_rate_hz


@settings(max_examples=300, deadline=None)
@given(
    operations=st.binary(min_size=2 * _OPERATIONS, max_size=2 * _OPERATIONS),
    condition=st.sampled_from(_CONDITIONS),
    length_m=st.sampled_from([15.0, 40.0, 1463.04, 2400.0]),
    ring=st.booleans(),
    ready=st.booleans(),
)
def test_any_two_hundred_operations(
    operations: bytes, condition: DeckCondition, length_m: float, ring: bool, ready: bool
) -> None:
    rig = Watched(condition, length_m, ring)
    if ready:
        rig.ready("play")
    for what, how in zip(operations[::2], operations[1::2], strict=True):
        rig.operate(what, how)
        rig.look()
    rig.do("stop")
    rig.until("stop", _STOP_LIMIT_S, dt_s=0.05)
    rig.look()


def test_the_operations_reach_what_they_are_meant_to() -> None:
    # Without this the promises above could be kept by a transport that never leaves stop.
    met: set[str] = set()
    wrote = False
    for seed in range(60):
        rig = Watched(DeckCondition(), 40.0, ring=True)
        rig.ready("play", 30.0 if seed % 2 else None)
        state = seed + 1
        for _ in range(_OPERATIONS):
            state = (state * 1103515245 + 12345) % 2**31
            rig.operate(state >> 23 & 255, state >> 15 & 255)
            met.add(rig.deck.mode)
        wrote = wrote or rig.wrote
    assert met == set(MODES)
    assert wrote


def test_from_any_stop_a_person_can_make_it_play_again() -> None:
    rig = Rig(DeckCondition(brake_weak=0.9), length_m=40.0).ready("play", 34.0)
    rig.until("stop", 60.0)
    rig.run(10.0)
    deck: Deck = rig.deck
    deck.condition = DeckCondition()
    assert not deck.threaded
    rig.thread().do("wind_reverse")
    rig.until("stop")
    rig.do("play")
    rig.until("play")
    assert rig.run(5.0).deck.tape_at_speed
