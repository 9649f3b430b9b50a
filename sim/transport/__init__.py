"""The transport: reels, arms, guide, capstan and timer, a state machine that moves the tape, and its interlocks.

Contents: `Deck` (the transport), `DeckCondition` and `DeckError` (what is wrong with it), `MODES`, `EDIT_MODES`,
`TRACKS`, `ACTS`, `ACT_GROUPS`, `ActSpec`, `Incident` and `InterlockError` (what a person can do and what is refused),
`TAPE_SPEED_M_PER_S`, `MAX_STEP_S`, `LEADER_M`, `PATH_M`, `WHEEL_TO_TAKEUP_M`, `wound_radius_m`
(the tape), `timer_text`.
"""

from sim.transport.acts import (
    ACT_GROUPS,
    ACTS,
    EDIT_MODES,
    MODES,
    TRACKS,
    ActSpec,
    Incident,
    InterlockError,
)
from sim.transport.condition import DeckCondition, DeckError
from sim.transport.deck import Deck
from sim.transport.motion import MAX_STEP_S
from sim.transport.reels import LEADER_M, PATH_M, WHEEL_TO_TAKEUP_M, wound_radius_m
from sim.transport.rollers import timer_text
from sim.transport.state import TAPE_SPEED_M_PER_S

__all__ = [
    "ACTS",
    "ACT_GROUPS",
    "EDIT_MODES",
    "LEADER_M",
    "MAX_STEP_S",
    "MODES",
    "PATH_M",
    "TAPE_SPEED_M_PER_S",
    "TRACKS",
    "WHEEL_TO_TAKEUP_M",
    "ActSpec",
    "Deck",
    "DeckCondition",
    "DeckError",
    "Incident",
    "InterlockError",
    "timer_text",
    "wound_radius_m",
]
