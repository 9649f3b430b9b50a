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
from sim.wording import wording

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


_ISOLATED = _Rule(lambda deck: deck.isolated, wording("interlocks.mains_locked_off_restore"))
_COVERS_OPEN = _Rule(
    lambda deck: deck.covers_open,
    wording("interlocks.covers_open_close_them"),
)
_COVERS_CLOSED = _Rule(lambda deck: not deck.covers_open, wording("interlocks.covers_closed_open_them"))
_NO_REEL = _Rule(lambda deck: not deck.reel_fitted, wording("interlocks.there_no_reel_machine"))
_REEL_ON = _Rule(lambda deck: deck.reel_fitted, wording("interlocks.reel_machine_unthread_tape"))
_NOT_THREADED = _Rule(lambda deck: not deck.threaded, wording("interlocks.tape_not_threaded_open"))
_THREADED = _Rule(lambda deck: deck.threaded, wording("interlocks.tape_threaded_unthread_first"))
_NOT_CHECKED = _Rule(
    lambda deck: not deck.threading_checked,
    wording("interlocks.threading_not_been_checked"),
)
_NOT_STOPPED = _Rule(lambda deck: deck.mode != "stop", wording("interlocks.transport_not_stopped_press"))
_RECORDING = _Rule(lambda deck: deck.mode == "record", wording("interlocks.recording_running_end_stop"))
_LIVE = _Rule(
    lambda deck: not deck.isolated,
    wording("interlocks.power_isolate_machine_lock"),
    dangerous=True,
)
_CHARGED = _Rule(
    lambda deck: deck.charge_pct > CHARGE_SAFE_PCT,
    wording("interlocks.supplies_still_hold_charge"),
    dangerous=True,
)
_WHEEL_TURNS = _Rule(
    lambda deck: not deck.wheel_at_rest,
    wording("interlocks.head_wheel_still_turning"),
    dangerous=True,
)
_NO_RING = _Rule(
    lambda deck: not deck.ring_fitted,
    wording("interlocks.ring_not_fitted_so"),
)
_RUN = (_ISOLATED, _COVERS_OPEN, _NO_REEL, _NOT_THREADED, _NOT_CHECKED)

_RULES: Mapping[str, tuple[_Rule, ...]] = {
    "stop": (),
    "standby": _RUN,
    "play": _RUN,
    "wind_forward": (
        *_RUN,
        _RECORDING,
        _Rule(lambda deck: deck.at_end, wording("interlocks.tape_end_wind_back")),
    ),
    "wind_reverse": (
        *_RUN,
        _RECORDING,
        _Rule(lambda deck: deck.at_beginning, wording("interlocks.tape_beginning_wind_forward")),
    ),
    "record_arm": (
        _ISOLATED,
        _NO_REEL,
        _NO_RING,
        _NOT_THREADED,
        _Rule(
            lambda deck: deck.mode in ("wind_forward", "wind_reverse", "stopping"),
            wording("interlocks.tape_not_held_play"),
        ),
    ),
    "record": (
        *_RUN,
        _NO_RING,
        _RECORDING,
        _Rule(lambda deck: not deck.record_armed, wording("interlocks.record_not_armed_arm")),
        _Rule(
            lambda deck: deck.mode not in ("standby", "play"),
            wording("interlocks.transport_neither_standby_nor"),
        ),
        _Rule(
            lambda deck: not deck.wheel_locked,
            wording("interlocks.head_wheel_not_locked"),
        ),
        _Rule(
            lambda deck: not deck.written_tracks,
            wording("interlocks.there_nothing_record_insert"),
        ),
    ),
    "disarm": (_Rule(lambda deck: not deck.record_armed, wording("interlocks.record_not_armed_there")),),
    "reset_timer": (),
    "fit_reel": (
        _Rule(lambda deck: deck.reel_fitted, wording("interlocks.reel_machine_take_off")),
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
            wording("interlocks.all_tape_take_up"),
        ),
    ),
    "thread": (
        _NO_REEL,
        _NOT_STOPPED,
        _COVERS_CLOSED,
        _WHEEL_TURNS,
        _Rule(lambda deck: deck.threaded, wording("interlocks.tape_threaded_already_check")),
    ),
    "check_threading": (
        _NO_REEL,
        _NOT_STOPPED,
        _COVERS_CLOSED,
        _WHEEL_TURNS,
        _Rule(lambda deck: not deck.threaded, wording("interlocks.tape_not_threaded_thread")),
    ),
    "unthread": (
        _NOT_STOPPED,
        _COVERS_CLOSED,
        _WHEEL_TURNS,
        _Rule(lambda deck: not deck.threaded, wording("interlocks.tape_not_threaded_there")),
        _Rule(
            lambda deck: min(deck.takeup_m, deck.supply_m) > _NEAR_END_M,
            wording("interlocks.there_tape_both_reels"),
        ),
    ),
    "fit_ring": (_REEL_ON, _Rule(lambda deck: deck.ring_fitted, wording("interlocks.ring_fitted_already"))),
    "remove_ring": (_REEL_ON, _Rule(lambda deck: not deck.ring_fitted, wording("interlocks.there_no_ring_reel"))),
    "open_covers": (
        _Rule(lambda deck: deck.covers_open, wording("interlocks.covers_open_already")),
        _Rule(
            _moving,
            wording("interlocks.tape_moving_press_stop"),
            dangerous=True,
        ),
        _Rule(
            lambda deck: deck.mode != "stop",
            wording("interlocks.head_wheel_driven_press"),
            dangerous=True,
        ),
        _WHEEL_TURNS,
    ),
    "close_covers": (_Rule(lambda deck: not deck.covers_open, wording("interlocks.covers_closed_already")),),
    "isolate": (
        _Rule(lambda deck: deck.isolated, wording("interlocks.mains_locked_off_already")),
        _NOT_STOPPED,
        _Rule(
            lambda deck: not deck.wheel_at_rest,
            wording("interlocks.head_wheel_still_turning_2"),
            dangerous=True,
        ),
    ),
    "restore_power": (_Rule(lambda deck: not deck.isolated, wording("interlocks.power_already")),),
    "clean_path": (
        _WHEEL_TURNS,
        _LIVE,
        _COVERS_CLOSED,
        _Rule(
            lambda deck: deck.threaded,
            wording("interlocks.tape_path_solvent_harms"),
            dangerous=True,
        ),
    ),
    "degauss": (
        _Rule(
            lambda deck: deck.reel_fitted,
            wording("interlocks.tape_machine_degausser_would"),
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
        _Rule(lambda deck: deck.threaded, wording("interlocks.tape_front_heads_unthread")),
    ),
    "put_on_extender": (
        _WHEEL_TURNS,
        _LIVE,
        _CHARGED,
        _Rule(
            lambda deck: deck.extender_stage is not None,
            wording("interlocks.card_extender_already_put"),
        ),
    ),
    "take_off_extender": (
        _Rule(lambda deck: deck.extender_stage is None, wording("interlocks.there_no_card_extender")),
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
