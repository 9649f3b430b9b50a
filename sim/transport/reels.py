"""Two reels and the tape between them: radius, inertia, motion and tension, along one dimension.

Contents: `wound_radius_m`, `wound_inertia_kg_m2`, `TapePath` and its lengths `PATH_M`, `WHEEL_TO_TAKEUP_M`,
`LEADER_M`.

The tape neither stretches nor sags between the reels: one coordinate says where all of it is, and supply, path and
take-up together are always the whole tape.
"""

from __future__ import annotations

import math

from sim.standards import FOOTPRINT

__all__ = [
    "HUB_RADIUS_M",
    "LEADER_M",
    "PATH_M",
    "TAPE_THICKNESS_M",
    "WHEEL_TO_TAKEUP_M",
    "TapePath",
    "wound_inertia_kg_m2",
    "wound_radius_m",
]

# MEMORY: 1.0 mil of base and about 0.4 mil of coating; a hub 4.5 in across; polyester with oxide.
TAPE_THICKNESS_M = 35.6e-6
HUB_RADIUS_M = 57.15e-3
_DENSITY_KG_PER_M3 = 1600.0
# MODEL: flanges, hub and motor of an empty reel: about a kilogram with a radius of gyration near 0.12 m.
_EMPTY_INERTIA_KG_M2 = 0.015

# MODEL: tape from reel to reel, and the part of it after the head wheel (the sound heads alone stand 9.25 in on,
# MEMORY; then come capstan and arm).
PATH_M = 1.6
WHEEL_TO_TAKEUP_M = 0.7
# MODEL: what is left on a reel when winding stops by itself, and what is wound on by hand in threading: eight turns.
LEADER_M = 3.0

# DERIVED from the numbers above: mass of a metre of tape, area of a metre of it seen from the edge, over pi.
_MASS_KG_PER_M = _DENSITY_KG_PER_M3 * TAPE_THICKNESS_M * FOOTPRINT.tape_width_m
_RADIUS_SQUARED_PER_M = TAPE_THICKNESS_M / math.pi
_HUB_SQUARED_M2 = HUB_RADIUS_M**2


def wound_radius_m(length_m: float) -> float:
    """Return the outer radius of so much tape on a hub [m].

    Notes
    -----
    DERIVED: the tape's edge covers a ring, ``pi (R^2 - r0^2) = length * thickness``.

    Examples
    --------
    >>> round(wound_radius_m(1463.04), 3)
    0.141
    """
    return math.sqrt(_HUB_SQUARED_M2 + length_m * _RADIUS_SQUARED_PER_M)


def wound_inertia_kg_m2(length_m: float) -> float:
    """Return the moment of inertia of a reel with so much tape [kg m^2].

    Notes
    -----
    DERIVED: the tape is a thick ring, ``m (R^2 + r0^2) / 2``; the empty reel is added.

    Examples
    --------
    >>> round(wound_inertia_kg_m2(1463.04), 3)
    0.064
    """
    outer_squared = _HUB_SQUARED_M2 + length_m * _RADIUS_SQUARED_PER_M
    return 0.5 * _MASS_KG_PER_M * length_m * (outer_squared + _HUB_SQUARED_M2) + _EMPTY_INERTIA_KG_M2


class TapePath:
    """Where the tape is, how fast it runs and how hard it is pulled.

    Parameters
    ----------
    length_m : float
        The whole tape [m].

    Attributes
    ----------
    length_m : float
        The whole tape [m].
    edge_m : float
        Place along the tape that just arrives on the take-up reel [m]; below 0 the tape's beginning is on its way
        there, at ``-PATH_M`` it lies on the supply reel and at `length_m` all tape lies on the take-up reel.
    speed_m_per_s, acceleration_m_per_s2 : float
        Speed of the tape, forward positive [m/s], and its change in the last step [m/s^2].
    supply_m, takeup_m : float
        Tape on each reel [m].
    supply_radius_m, takeup_radius_m : float
        Outer radius of each reel's tape [m].
    supply_mass_kg, takeup_mass_kg : float
        Each reel as the tape feels it, its inertia over the square of its radius [kg].
    supply_tension_n, takeup_tension_n : float
        Tension on each side of the capstan [N], never below 0: tape cannot push.
    """

    __slots__ = (
        "acceleration_m_per_s2",
        "edge_m",
        "length_m",
        "speed_m_per_s",
        "supply_m",
        "supply_mass_kg",
        "supply_radius_m",
        "supply_tension_n",
        "takeup_m",
        "takeup_mass_kg",
        "takeup_radius_m",
        "takeup_tension_n",
    )

    def __init__(self, length_m: float) -> None:
        self.length_m = length_m
        self.speed_m_per_s = 0.0
        self.acceleration_m_per_s2 = 0.0
        self.supply_tension_n = 0.0
        self.takeup_tension_n = 0.0
        self.place(-PATH_M)

    @property
    def path_m(self) -> float:
        """Tape between the reels [m]: `PATH_M`, less while an end runs off a reel."""
        return self.length_m - self.supply_m - self.takeup_m

    @property
    def position_m(self) -> float:
        """Place along the tape that is at the head wheel [m]."""
        return min(max(self.edge_m + WHEEL_TO_TAKEUP_M, 0.0), self.length_m)

    @property
    def moving_mass_kg(self) -> float:
        """All that is set in motion, as the tape feels it [kg]."""
        return self.supply_mass_kg + self.takeup_mass_kg + _MASS_KG_PER_M * PATH_M

    @property
    def runs_between_reels(self) -> bool:
        """True while both ends of the tape are on their reels."""
        return 0.0 <= self.edge_m <= self.length_m - PATH_M

    def place(self, edge_m: float) -> None:
        """Lay the tape so that `edge_m` just arrives on the take-up reel; speed and tension stay."""
        length_m = self.length_m
        edge_m = min(max(edge_m, -PATH_M), length_m)
        self.edge_m = edge_m
        takeup_m = edge_m if edge_m > 0.0 else 0.0
        supply_m = length_m - edge_m - PATH_M
        if supply_m < 0.0:
            supply_m = 0.0
        self.takeup_m = takeup_m
        self.supply_m = supply_m
        squared = _HUB_SQUARED_M2 + supply_m * _RADIUS_SQUARED_PER_M
        self.supply_radius_m = math.sqrt(squared)
        inertia = 0.5 * _MASS_KG_PER_M * supply_m * (squared + _HUB_SQUARED_M2) + _EMPTY_INERTIA_KG_M2
        # A reel whose tape has run off turns on by itself and is felt no more.
        self.supply_mass_kg = inertia / squared if supply_m > 0.0 else 0.0
        squared = _HUB_SQUARED_M2 + takeup_m * _RADIUS_SQUARED_PER_M
        self.takeup_radius_m = math.sqrt(squared)
        inertia = 0.5 * _MASS_KG_PER_M * takeup_m * (squared + _HUB_SQUARED_M2) + _EMPTY_INERTIA_KG_M2
        self.takeup_mass_kg = inertia / squared if takeup_m > 0.0 else 0.0

    def hold(self, supply_pull_n: float, takeup_pull_n: float) -> None:
        """Keep the tape still while the reels pull at it [N]."""
        self.speed_m_per_s = 0.0
        self.acceleration_m_per_s2 = 0.0
        self._pull(supply_pull_n, takeup_pull_n)

    def follow(
        self, dt_s: float, target_m_per_s: float, limit_m_per_s2: float, supply_pull_n: float, takeup_pull_n: float
    ) -> bool:
        """Let the capstan take the tape along; return whether the tape has its speed.

        Parameters
        ----------
        dt_s : float
            Step [s].
        target_m_per_s : float
            Speed of the capstan's surface [m/s].
        limit_m_per_s2 : float
            Greatest change of speed that the pinch roller's grip gives [m/s^2].
        supply_pull_n, takeup_pull_n : float
            What the reel motors pull [N].
        """
        before = self.speed_m_per_s
        change = target_m_per_s - before
        most = limit_m_per_s2 * dt_s
        caught = -most <= change <= most
        if not caught:
            change = most if change > 0.0 else -most
        self.speed_m_per_s = before + change
        self.acceleration_m_per_s2 = change / dt_s
        # Once the grip holds, the tape goes the way of the capstan in this step, not the mean of two steps.
        self.place(self.edge_m + (target_m_per_s if caught else before + 0.5 * change) * dt_s)
        self._pull(supply_pull_n, takeup_pull_n)
        return caught

    def coast(self, dt_s: float, supply_pull_n: float, takeup_pull_n: float, friction_n: float) -> None:
        """Let the reels alone move the tape.

        Parameters
        ----------
        dt_s : float
            Step [s].
        supply_pull_n, takeup_pull_n : float
            What motors and brakes of each reel pull, backward and forward [N].
        friction_n : float
            Drag of guides and heads against the motion [N].

        Notes
        -----
        DERIVED: the kinetic energy is ``M(x) v^2 / 2``, and M changes as tape goes from reel to reel. Without forces
        the energy stays, so the speed follows ``1 / sqrt(M)``; the forces change it by ``F / M``.
        """
        before = self.speed_m_per_s
        mass_kg = self.moving_mass_kg
        change = (takeup_pull_n - supply_pull_n) / mass_kg * dt_s
        drag = friction_n / mass_kg * dt_s
        after = before + change
        if after > drag:
            after -= drag
        elif after < -drag:
            after += drag
        else:
            after = 0.0
        self.acceleration_m_per_s2 = (after - before) / dt_s
        self.place(self.edge_m + 0.5 * (before + after) * dt_s)
        if self.runs_between_reels:
            after *= math.sqrt(mass_kg / self.moving_mass_kg)
        self.speed_m_per_s = after
        self._pull(supply_pull_n, takeup_pull_n)

    def _pull(self, supply_pull_n: float, takeup_pull_n: float) -> None:
        """Work out the tensions: a reel that is being sped up by its tape pulls the more."""
        supply_n = supply_pull_n + self.supply_mass_kg * self.acceleration_m_per_s2
        takeup_n = takeup_pull_n - self.takeup_mass_kg * self.acceleration_m_per_s2
        self.supply_tension_n = supply_n if supply_n > 0.0 and self.supply_m > 0.0 else 0.0
        self.takeup_tension_n = takeup_n if takeup_n > 0.0 and self.takeup_m > 0.0 else 0.0
