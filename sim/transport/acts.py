"""What a person can do at the transport: every act with its words and, where the real act is dangerous, its caution.

Contents: `ActSpec` and `ACTS`, `ACT_GROUPS`, `MODES`, `EDIT_MODES`, `TRACKS`, `Incident`, `InterlockError`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from sim.errors import BandbenchError
from sim.wording import wording

__all__ = ["ACTS", "ACT_GROUPS", "EDIT_MODES", "MODES", "TRACKS", "ActSpec", "Incident", "InterlockError"]

# Every mode of the transport, with its name for people.
MODES: Mapping[str, str] = MappingProxyType(
    {
        "stop": wording("acts.stop"),
        "running_up": wording("acts.running_up"),
        "standby": wording("acts.standby"),
        "play": wording("acts.play"),
        "record": wording("acts.record"),
        "wind_forward": wording("acts.winding_forward"),
        "wind_reverse": wording("acts.winding_back"),
        "stopping": wording("acts.stopping"),
    }
)
# How a recording joins what lies on the tape: not at all (a new recording), by a new control track that runs on from
# the old one, or inside the old control track.
EDIT_MODES: Mapping[str, str] = MappingProxyType(
    {"off": wording("acts.new_recording"), "assemble": wording("acts.assemble"), "insert": wording("acts.insert")}
)
TRACKS = ("video", "control", "programme", "cue")

ACT_GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "motion": wording("acts.tape"),
        "record": wording("acts.record"),
        "timer": wording("acts.timer"),
        "reel": wording("acts.reel_threading"),
        "covers": wording("acts.covers_power"),
        "care": wording("acts.care"),
        "cards": wording("acts.cards"),
    }
)


class InterlockError(BandbenchError):
    """An act that the transport refuses; says what stands in the way and what to do."""


@dataclass(frozen=True)
class Incident:
    """A dangerous act that was tried: when [s], which, and the sentence that refused it."""

    at_s: float
    act: str
    sentence: str


@dataclass(frozen=True)
class ActSpec:
    """One act: its words, its group of `ACT_GROUPS` and the caution, empty where none is due.

    `takes_stage` marks the acts that are done to the card of one stage of the signal path.
    """

    name: str
    title: str
    description: str
    caution: str
    group: str
    takes_stage: bool = False


# What every caution ends with (TRADE): the simulator certifies nobody.
_FIRST = wording("acts.machines_manual_site_rules")
_WHEEL = wording("acts.head_wheel_turns_14") + _FIRST
_REELS = wording("acts.reels_turn_pinch_full") + _FIRST
_HEAVY = wording("acts.full_reel_heavy_hold") + _FIRST
_MAINS = wording("acts.mains_voltage_stored_charge") + _FIRST
_CLEANING = wording("acts.cleaning_solvent_burns_vapour") + _FIRST
_MAGNET = wording("acts.degaussers_field_erases_tapes") + _FIRST
_TIPS = wording("acts.tips_brittle_sharp_wheel") + _FIRST

_ACTS = (
    ActSpec("stop", wording("acts.stop"), wording("acts.stop_tape_let_head"), "", "motion"),
    ActSpec("standby", wording("acts.standby"), wording("acts.bring_wheel_servos_up"), _WHEEL, "motion"),
    ActSpec("play", wording("acts.play"), wording("acts.run_tape_past_heads"), _WHEEL, "motion"),
    ActSpec("wind_forward", wording("acts.wind_forward"), wording("acts.wind_take_up_reel"), _REELS, "motion"),
    ActSpec("wind_reverse", wording("acts.wind_back"), wording("acts.wind_supply_reel_stops"), _REELS, "motion"),
    ActSpec(
        "record_arm",
        wording("acts.arm_record"),
        wording("acts.first_two_steps_what"),
        wording("acts.recording_erases_read_label"),
        "record",
    ),
    ActSpec("record", wording("acts.record"), wording("acts.second_two_steps_erase"), "", "record"),
    ActSpec("disarm", wording("acts.disarm_record"), wording("acts.end_recording_take_back"), "", "record"),
    ActSpec("reset_timer", wording("acts.reset_timer"), wording("acts.set_tape_timer_0"), "", "timer"),
    ActSpec("fit_reel", wording("acts.fit_reel"), wording("acts.put_full_reel_supply"), _HEAVY, "reel"),
    ActSpec("take_off_reel", wording("acts.take_off_reel"), wording("acts.take_full_reel_off"), _HEAVY, "reel"),
    ActSpec(
        "thread",
        wording("acts.thread"),
        wording("acts.lead_tape_through_arms"),
        _REELS,
        "reel",
    ),
    ActSpec(
        "check_threading",
        wording("acts.check_threading"),
        wording("acts.turn_reels_hand_no"),
        _REELS,
        "reel",
    ),
    ActSpec("unthread", wording("acts.unthread"), wording("acts.take_tape_out_path"), _REELS, "reel"),
    ActSpec("fit_ring", wording("acts.fit_ring"), wording("acts.fit_ring_allows_recording"), "", "reel"),
    ActSpec("remove_ring", wording("acts.remove_ring"), wording("acts.take_ring_out_reel"), "", "reel"),
    ActSpec("open_covers", wording("acts.open_covers"), wording("acts.open_covers_over_wheel"), _WHEEL, "covers"),
    ActSpec("close_covers", wording("acts.close_covers"), wording("acts.close_covers_2"), "", "covers"),
    ActSpec("isolate", wording("acts.isolate"), wording("acts.switch_mains_off_lock"), _MAINS, "covers"),
    ActSpec("restore_power", wording("acts.restore_power"), wording("acts.unlock_mains_switch"), _MAINS, "covers"),
    ActSpec(
        "clean_path",
        wording("acts.clean_heads_path"),
        wording("acts.clean_head_tips_guide"),
        _CLEANING,
        "care",
    ),
    ActSpec("degauss", wording("acts.degauss_heads"), wording("acts.take_magnetism_out_heads"), _MAGNET, "care"),
    ActSpec("inspect_heads", wording("acts.inspect_heads"), wording("acts.look_head_tips_through"), _TIPS, "care"),
    ActSpec(
        "put_on_extender",
        wording("acts.card_extender"),
        wording("acts.put_card_stage_extender"),
        wording("acts.cards_put_taken_out") + _MAINS,
        "cards",
        takes_stage=True,
    ),
    ActSpec(
        "take_off_extender",
        wording("acts.card_back_place"),
        wording("acts.take_card_off_extender"),
        wording("acts.cards_put_taken_out") + _MAINS,
        "cards",
    ),
)
ACTS: Mapping[str, ActSpec] = MappingProxyType({act.name: act for act in _ACTS})
