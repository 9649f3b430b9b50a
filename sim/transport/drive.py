"""How hard motors and brakes pull at the tape in each mode, and how fast winding may be.

Contents: `play_pull_n`, `drag_n`, `wind`, `brake`, `wind_distance_m`.

A pull is the tension that a reel's torque would give tape at rest; a reel's inertia adds to it (`TapePath`).
"""

from __future__ import annotations

import math

from sim.transport.condition import DeckCondition
from sim.transport.reels import LEADER_M, PATH_M, TapePath
from sim.transport.services import AIR_OK_KPA

__all__ = [
    "HOLD_PULL_N",
    "PLAY_PULL_N",
    "WIND_SPEED_M_PER_S",
    "brake",
    "drag_n",
    "play_pull_n",
    "wind",
    "wind_distance_m",
]

# MEMORY: about twelve ounces on each side in play. MODEL: less while the tape is held with the motors at idle.
PLAY_PULL_N = 3.5
HOLD_PULL_N = 1.0
# MODEL: drag of guides and heads; the air guides float the tape and drag the more without air.
_DRAG_N, _DRY_DRAG_N = 0.6, 2.4
# MODEL: winding speed, so that a full 4800 ft reel takes five to seven minutes (MEMORY).
WIND_SPEED_M_PER_S = 4.6
# MODEL: greatest torque of a reel motor, pull that keeps the tape firm in winding, time in which the speed is put
# right, and the slowing that is planned for the end of the tape.
_MOTOR_TORQUE_N_M = 1.6
_WIND_BACK_PULL_N = 2.0
_WIND_SETTLE_S = 0.4
_END_SLOWING_M_PER_S2 = 0.5
# MODEL: torque of the brake on the reel that gives tape; the other reel only keeps the tape firm.
_BRAKE_TORQUE_N_M = 0.8


def play_pull_n(drift: float, eccentricity: float, angle: float) -> float:
    """Return what a reel motor pulls in standby, play and record [N].

    Parameters
    ----------
    drift : float
        Part by which it pulls more than it should.
    eccentricity : float
        Part by which the pull swings in a turn of the reel.
    angle : float
        Where the reel is in its turn [rad].
    """
    return PLAY_PULL_N * (1.0 + drift) * (1.0 + eccentricity * math.sin(angle))


def wind_distance_m(tape: TapePath, forward: bool) -> float:
    """Return how far winding may still go before only the leader is left on the reel that gives [m]."""
    if forward:
        return tape.length_m - PATH_M - tape.edge_m - LEADER_M
    return tape.edge_m - LEADER_M


def drag_n(air_kpa: float) -> float:
    """Return what guides and heads drag at the moving tape with so much air in the air guides [N]."""
    return _DRAG_N if air_kpa >= AIR_OK_KPA else _DRY_DRAG_N + (_DRAG_N - _DRY_DRAG_N) * air_kpa / AIR_OK_KPA


def wind(tape: TapePath, dt_s: float, forward: bool, drag: float, condition: DeckCondition) -> None:
    """Wind for a step [s] against a drag [N]: up to speed as the motor's torque allows, slower near the end."""
    left_m = wind_distance_m(tape, forward)
    wanted = math.sqrt(2.0 * _END_SLOWING_M_PER_S2 * left_m) if left_m > 0.0 else 0.0
    if wanted > WIND_SPEED_M_PER_S:
        wanted = WIND_SPEED_M_PER_S
    speed = tape.speed_m_per_s if forward else -tape.speed_m_per_s
    takes_m, gives_m = tape.takeup_radius_m, tape.supply_radius_m
    if not forward:
        takes_m, gives_m = gives_m, takes_m
    pull = tape.moving_mass_kg * (wanted - speed) / _WIND_SETTLE_S + drag + _WIND_BACK_PULL_N
    back = _WIND_BACK_PULL_N
    if pull < HOLD_PULL_N:
        # To slow down, the reel that gives is held back the more.
        back += min(HOLD_PULL_N - pull, _MOTOR_TORQUE_N_M / gives_m)
        pull = HOLD_PULL_N
    pull = min(pull, _MOTOR_TORQUE_N_M * (1.0 - condition.wind_weak) / takes_m)
    if forward:
        tape.coast(dt_s, back, pull, drag)
    else:
        tape.coast(dt_s, pull, back, drag)


def brake(tape: TapePath, dt_s: float, drag: float, condition: DeckCondition) -> None:
    """Brake for a step [s], from either direction, on the reel that gives tape; the guides' drag helps [N]."""
    torque = _BRAKE_TORQUE_N_M * (1.0 - condition.brake_weak)
    # A brake only drags: it is a friction, and cannot turn the tape round.
    if tape.speed_m_per_s >= 0.0:
        braked = torque / tape.supply_radius_m
        tape.coast(dt_s, HOLD_PULL_N, HOLD_PULL_N, drag + braked)
        tape.supply_tension_n += braked if tape.supply_m > 0.0 else 0.0
    else:
        braked = torque / tape.takeup_radius_m
        tape.coast(dt_s, HOLD_PULL_N, HOLD_PULL_N, drag + braked)
        tape.takeup_tension_n += braked if tape.takeup_m > 0.0 else 0.0
