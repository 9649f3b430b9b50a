"""Why an act is refused: what stands in the way and what to do about it, in a sentence.

Contents: `Refusal` and `find_refusal`.

Each act has a list of rules, the first that holds refuses. A rule marked as dangerous is one where a real machine would
let a person go wrong, or only just would not: the attempt is noted as an incident.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sim.transport.reels import LEADER_M
from sim.transport.services import CHARGE_SAFE_PCT

if TYPE_CHECKING:
    from sim.transport.deck import Deck

__all__ = ["Refusal", "find_refusal"]

# MODEL: winding stops within this of the leader, and from there the tape may be unthreaded.
_NEAR_END_M = 2.0 * LEADER_M


@dataclass(frozen=True)
class Refusal:
    """Why an act is refused, and whether trying it was dangerous."""

    sentence: str
    dangerous: bool = False


@dataclass(frozen=True)
class _Rule:
    """When an act is refused, and the sentence."""

    holds: Callable[[Deck], bool]
    sentence: str
    dangerous: bool = False


# --- what several acts need ----------------------------------------------------------------------------------------


def _moving(deck: Deck) -> bool:
    return deck.mode not in ("stop", "standby", "running_up")


_ISOLATED = _Rule(lambda deck: deck.isolated, "The mains is locked off: restore power first.")
_COVERS_OPEN = _Rule(
    lambda deck: deck.covers_open,
    "The covers are open: close them first; wheel and reels run only behind closed covers.",
)
_COVERS_CLOSED = _Rule(
    lambda deck: not deck.covers_open, "The covers are closed: open them first, with the wheel at rest."
)
_NO_REEL = _Rule(lambda deck: not deck.reel_fitted, "There is no reel on the machine: fit one first.")
_REEL_ON = _Rule(
    lambda deck: deck.reel_fitted, "The reel is on the machine: unthread the tape and take the reel off first."
)
_NOT_THREADED = _Rule(
    lambda deck: not deck.threaded, "The tape is not threaded: open the covers, thread it and check the threading."
)
_THREADED = _Rule(lambda deck: deck.threaded, "The tape is threaded: unthread it first.")
_NOT_CHECKED = _Rule(
    lambda deck: not deck.threading_checked,
    "The threading has not been checked: open the covers and see that the tape lies in every guide without slack.",
)
_NOT_STOPPED = _Rule(lambda deck: deck.mode != "stop", "The transport is not stopped: press stop and wait until it is.")
_RECORDING = _Rule(lambda deck: deck.mode == "record", "A recording is running: end it with stop or disarm first.")
_LIVE = _Rule(
    lambda deck: not deck.isolated,
    "The power is on: isolate the machine, lock it off and wait for the supplies to discharge first.",
    dangerous=True,
)
_CHARGED = _Rule(
    lambda deck: deck.charge_pct > CHARGE_SAFE_PCT,
    "The supplies still hold charge: wait until they are discharged, then prove it with a meter.",
    dangerous=True,
)
_WHEEL_TURNS = _Rule(
    lambda deck: not deck.wheel_at_rest,
    "The head wheel is still turning: wait until it has come to rest.",
    dangerous=True,
)
_NO_RING = _Rule(
    lambda deck: not deck.ring_fitted,
    "The ring is not fitted, so this reel cannot be recorded on: read its label; if it may be recorded on, take it off "
    "and fit the ring.",
)
_RUN = (_ISOLATED, _COVERS_OPEN, _NO_REEL, _NOT_THREADED, _NOT_CHECKED)

_RULES: Mapping[str, tuple[_Rule, ...]] = {
    "stop": (),
    "standby": _RUN,
    "play": _RUN,
    "wind_forward": (
        *_RUN,
        _RECORDING,
        _Rule(lambda deck: deck.at_end, "The tape is at its end: wind back, or play."),
    ),
    "wind_reverse": (
        *_RUN,
        _RECORDING,
        _Rule(lambda deck: deck.at_beginning, "The tape is at its beginning: wind forward, or play."),
    ),
    "record_arm": (
        _ISOLATED,
        _NO_REEL,
        _NO_RING,
        _NOT_THREADED,
        _Rule(
            lambda deck: deck.mode in ("wind_forward", "wind_reverse", "stopping"),
            "The tape is not held or in play: wait for standby, then arm.",
        ),
    ),
    "record": (
        *_RUN,
        _NO_RING,
        _RECORDING,
        _Rule(lambda deck: not deck.record_armed, "Record is not armed: arm it first, as a step of its own."),
        _Rule(
            lambda deck: deck.mode not in ("standby", "play"),
            "The transport is neither in standby nor in play: bring it to standby, then record.",
        ),
        _Rule(
            lambda deck: not deck.wheel_locked,
            "The head wheel is not locked: wait for the lock, or see why it does not come.",
        ),
        _Rule(
            lambda deck: not deck.written_tracks,
            "There is nothing to record: insert leaves the control track as it is; choose another track as well.",
        ),
    ),
    "disarm": (_Rule(lambda deck: not deck.record_armed, "Record is not armed: there is nothing to take back."),),
    "reset_timer": (),
    "fit_reel": (
        _Rule(lambda deck: deck.reel_fitted, "A reel is on the machine: take it off before you fit another."),
        _NOT_STOPPED,
        _COVERS_CLOSED,
        _WHEEL_TURNS,
    ),
    "take_off_reel": (
        _NO_REEL,
        _NOT_STOPPED,
        _COVERS_CLOSED,
        _WHEEL_TURNS,
        _THREADED,
        _Rule(
            lambda deck: deck.takeup_m > 0.0,
            "All the tape is on the take-up reel: thread its end to the supply reel and wind back first.",
        ),
    ),
    "thread": (
        _NO_REEL,
        _NOT_STOPPED,
        _COVERS_CLOSED,
        _WHEEL_TURNS,
        _Rule(lambda deck: deck.threaded, "The tape is threaded already: check the threading."),
    ),
    "check_threading": (
        _NO_REEL,
        _NOT_STOPPED,
        _COVERS_CLOSED,
        _WHEEL_TURNS,
        _Rule(lambda deck: not deck.threaded, "The tape is not threaded: thread it first."),
    ),
    "unthread": (
        _NOT_STOPPED,
        _COVERS_CLOSED,
        _WHEEL_TURNS,
        _Rule(lambda deck: not deck.threaded, "The tape is not threaded: there is nothing to take out."),
        _Rule(
            lambda deck: min(deck.takeup_m, deck.supply_m) > _NEAR_END_M,
            "There is tape on both reels: close the covers and wind back to the beginning first.",
        ),
    ),
    "fit_ring": (_REEL_ON, _Rule(lambda deck: deck.ring_fitted, "The ring is fitted already.")),
    "remove_ring": (_REEL_ON, _Rule(lambda deck: not deck.ring_fitted, "There is no ring in this reel.")),
    "open_covers": (
        _Rule(lambda deck: deck.covers_open, "The covers are open already."),
        _Rule(
            _moving,
            "The tape is moving: press stop and wait until reels and wheel are at rest.",
            dangerous=True,
        ),
        _Rule(
            lambda deck: deck.mode != "stop",
            "The head wheel is driven: press stop and wait until it has come to rest.",
            dangerous=True,
        ),
        _WHEEL_TURNS,
    ),
    "close_covers": (_Rule(lambda deck: not deck.covers_open, "The covers are closed already."),),
    "isolate": (
        _Rule(lambda deck: deck.isolated, "The mains is locked off already."),
        _NOT_STOPPED,
        _Rule(
            lambda deck: not deck.wheel_at_rest,
            "The head wheel is still turning and needs its air: wait until it has come to rest, then isolate. In an "
            "emergency a real machine is switched off at once.",
            dangerous=True,
        ),
    ),
    "restore_power": (_Rule(lambda deck: not deck.isolated, "The power is on already."),),
    "clean_path": (
        _WHEEL_TURNS,
        _LIVE,
        _COVERS_CLOSED,
        _Rule(
            lambda deck: deck.threaded,
            "The tape is in the path and solvent harms it: unthread it first.",
            dangerous=True,
        ),
    ),
    "degauss": (
        _Rule(
            lambda deck: deck.reel_fitted,
            "A tape is on the machine and the degausser would erase it: take the reel off and far away first.",
            dangerous=True,
        ),
        _WHEEL_TURNS,
        _LIVE,
        _COVERS_CLOSED,
    ),
    "inspect_heads": (
        _WHEEL_TURNS,
        _LIVE,
        _COVERS_CLOSED,
        _Rule(lambda deck: deck.threaded, "The tape is in front of the heads: unthread it first."),
    ),
    "put_on_extender": (
        _WHEEL_TURNS,
        _LIVE,
        _CHARGED,
        _Rule(
            lambda deck: deck.extender_stage is not None,
            "A card is on the extender already: put it back in its place first.",
        ),
    ),
    "take_off_extender": (
        _Rule(lambda deck: deck.extender_stage is None, "There is no card on the extender."),
        _WHEEL_TURNS,
        _LIVE,
        _CHARGED,
    ),
}


def find_refusal(deck: Deck, act: str) -> Refusal | None:
    """Return why the transport refuses `act` now; None if it does not."""
    for rule in _RULES[act]:
        if rule.holds(deck):
            return Refusal(rule.sentence, rule.dangerous)
    return None
