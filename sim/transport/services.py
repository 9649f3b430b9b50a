"""What the transport lives on: compressed air, vacuum, the guide's drive and the charge of the supplies.

Contents: `Services` and the limits `AIR_OK_KPA`, `VACUUM_OK_KPA`, `CHARGE_SAFE_PCT`.
"""

from __future__ import annotations

import math

from sim.transport.condition import DeckCondition

__all__ = ["AIR_NOMINAL_KPA", "AIR_OK_KPA", "CHARGE_SAFE_PCT", "VACUUM_NOMINAL_KPA", "VACUUM_OK_KPA", "Services"]

# MODEL: working pressures and the limits of the interlocks, near what such machines are remembered to need; a real
# machine's manual states its own.
AIR_NOMINAL_KPA = 300.0
AIR_OK_KPA = 200.0
VACUUM_NOMINAL_KPA = 8.0
VACUUM_OK_KPA = 5.0
# MODEL: how pressures rise and fall. The air's reservoir carries the wheel for a while, the vacuum has none.
_AIR_RISE_S, _AIR_FALL_S = 1.0, 6.0
_VACUUM_RISE_S, _VACUUM_FALL_S = 0.4, 0.15
# MODEL: time the guide takes to close round the tape.
GUIDE_TRAVEL_S = 0.25
# MODEL: supplies lose their stored charge through their bleeders; below so much they may be touched.
_CHARGE_FALL_S, _CHARGE_RISE_S = 2.0, 0.2
CHARGE_SAFE_PCT = 5.0


class Services:
    """Air, vacuum, guide and supplies.

    Attributes
    ----------
    air_kpa, vacuum_kpa : float
        Pressure of the air above, of the vacuum below the room's [kPa].
    guide : float
        Where the guide is: 0 clear of the wheel, 1 round it.
    charge_pct : float
        Charge of the supplies against their working value [%].
    """

    __slots__ = ("_dt_s", "_keep", "air_kpa", "charge_pct", "guide", "vacuum_kpa")

    def __init__(self) -> None:
        self.air_kpa = 0.0
        self.vacuum_kpa = 0.0
        self.guide = 0.0
        self.charge_pct = 100.0
        self._dt_s = 0.0

    @property
    def air_ok(self) -> bool:
        """True when the wheel may turn on its air."""
        return self.air_kpa >= AIR_OK_KPA

    @property
    def vacuum_ok(self) -> bool:
        """True when the vacuum can hold the tape in the guide."""
        return self.vacuum_kpa >= VACUUM_OK_KPA

    def step(
        self,
        dt_s: float,
        powered: bool,
        air_wanted: bool,
        vacuum_wanted: bool,
        guide_wanted: bool,
        condition: DeckCondition,
    ) -> None:
        """Let pumps, guide and supplies run for a step [s]; pressures go exponentially to what they can reach."""
        if dt_s != self._dt_s:
            self._dt_s = dt_s
            self._keep = tuple(
                math.exp(-dt_s / constant)
                for constant in (
                    _AIR_RISE_S,
                    _AIR_FALL_S,
                    _VACUUM_RISE_S,
                    _VACUUM_FALL_S,
                    _CHARGE_RISE_S,
                    _CHARGE_FALL_S,
                )
            )
        keep = self._keep
        goal = 0.0
        if powered and air_wanted and not condition.air_pump_failed:
            goal = AIR_NOMINAL_KPA * (1.0 - condition.air_leak)
        self.air_kpa = goal + (self.air_kpa - goal) * keep[0 if goal > self.air_kpa else 1]
        goal = 0.0
        if powered and vacuum_wanted and not condition.vacuum_pump_failed:
            goal = VACUUM_NOMINAL_KPA * (1.0 - condition.vacuum_leak)
        self.vacuum_kpa = goal + (self.vacuum_kpa - goal) * keep[2 if goal > self.vacuum_kpa else 3]
        goal = 100.0 if powered else 0.0
        self.charge_pct = goal + (self.charge_pct - goal) * keep[4 if powered else 5]
        if guide_wanted and powered:
            guide = self.guide + dt_s / GUIDE_TRAVEL_S
            self.guide = guide if guide < 1.0 else 1.0
        elif self.guide > 0.0:
            guide = self.guide - dt_s / GUIDE_TRAVEL_S
            self.guide = guide if guide > 0.0 else 0.0
