"""What a person can do at the transport: every act with its words and, where the real act is dangerous, its caution.

Contents: `ActSpec` and `ACTS`, `ACT_GROUPS`, `MODES`, `EDIT_MODES`, `TRACKS`, `Incident`, `InterlockError`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from sim.errors import BandbenchError

__all__ = ["ACTS", "ACT_GROUPS", "EDIT_MODES", "MODES", "TRACKS", "ActSpec", "Incident", "InterlockError"]

# Every mode of the transport, with its name for people.
MODES: Mapping[str, str] = MappingProxyType(
    {
        "stop": "Stop",
        "running_up": "Running up",
        "standby": "Standby",
        "play": "Play",
        "record": "Record",
        "wind_forward": "Winding forward",
        "wind_reverse": "Winding back",
        "stopping": "Stopping",
    }
)
# How a recording joins what lies on the tape: not at all (a new recording), by a new control track that runs on from
# the old one, or inside the old control track.
EDIT_MODES: Mapping[str, str] = MappingProxyType({"off": "New recording", "assemble": "Assemble", "insert": "Insert"})
TRACKS = ("video", "control", "programme", "cue")

ACT_GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "motion": "Tape",
        "record": "Record",
        "timer": "Timer",
        "reel": "Reel and threading",
        "covers": "Covers and power",
        "care": "Care",
        "cards": "Cards",
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
_FIRST = " The machine's manual, the site rules, local codes and a qualified person come first."
_WHEEL = (
    "The head wheel turns at 14 400 to 15 000 turns a minute and takes a while to come to rest. Keep the covers shut "
    "while it turns; keep hair, ties, sleeves and fingers away. It must never turn without air." + _FIRST
)
_REELS = (
    "Reels that turn pinch, and a full one is slow to stop: keep fingers, sleeves and loose things away from reels, "
    "arms and pinch roller." + _FIRST
)
_HEAVY = (
    "A full reel is heavy: hold it with both hands at hub and flange, bend the knees, and see that it sits and is "
    "locked on its hub." + _FIRST
)
_MAINS = (
    "Mains voltage and stored charge kill. Switch off, lock the switch off and keep the key, wait until the supplies "
    "are discharged, and prove it with a meter before you touch anything." + _FIRST
)
_CLEANING = (
    "Cleaning solvent burns and its vapour is harmful: open a window, no flame, no sparks, gloves. Only with the mains "
    "locked off and the wheel at rest. The tips are brittle: no force, and wipe them only as the manual says." + _FIRST
)
_MAGNET = (
    "A degausser's field erases tapes and disturbs pacemakers: no tape near, nobody with a pacemaker in the room. "
    "Switch it on and off at arm's length and move it slowly." + _FIRST
)
_TIPS = "The tips are brittle and sharp, and the wheel must be at rest: look, and touch with nothing hard." + _FIRST

_ACTS = (
    ActSpec("stop", "Stop", "Stop the tape and let the head wheel run down.", "", "motion"),
    ActSpec("standby", "Standby", "Bring wheel and servos up to speed and hold the tape still.", _WHEEL, "motion"),
    ActSpec("play", "Play", "Run the tape past the heads at its speed.", _WHEEL, "motion"),
    ActSpec("wind_forward", "Wind forward", "Wind on to the take-up reel; stops before the end.", _REELS, "motion"),
    ActSpec("wind_reverse", "Wind back", "Wind on to the supply reel; stops before the beginning.", _REELS, "motion"),
    ActSpec(
        "record_arm",
        "Arm record",
        "First of two steps: what lies on the tape is erased by the second.",
        "Recording erases. Read the label of the reel; an alignment tape is never recorded on.",
        "record",
    ),
    ActSpec("record", "Record", "Second of two steps: erase and record from here.", "", "record"),
    ActSpec("disarm", "Disarm record", "End a recording, or take back the first step.", "", "record"),
    ActSpec("reset_timer", "Reset timer", "Set the tape timer to 0 by hand.", "", "timer"),
    ActSpec("fit_reel", "Fit reel", "Put the full reel on the supply hub and lock it.", _HEAVY, "reel"),
    ActSpec("take_off_reel", "Take off reel", "Take the full reel off the supply hub.", _HEAVY, "reel"),
    ActSpec(
        "thread",
        "Thread",
        "Lead the tape through arms, guide and capstan to the other reel and wind some turns on by hand.",
        _REELS,
        "reel",
    ),
    ActSpec(
        "check_threading",
        "Check threading",
        "Turn the reels by hand: no slack, no twist, the tape in every guide and clear of the wheel.",
        _REELS,
        "reel",
    ),
    ActSpec("unthread", "Unthread", "Take the tape out of the path and back on its reel.", _REELS, "reel"),
    ActSpec("fit_ring", "Fit ring", "Fit the ring that allows recording on this reel.", "", "reel"),
    ActSpec("remove_ring", "Remove ring", "Take the ring out: the reel cannot be recorded on.", "", "reel"),
    ActSpec("open_covers", "Open covers", "Open the covers over wheel and reels.", _WHEEL, "covers"),
    ActSpec("close_covers", "Close covers", "Close the covers.", "", "covers"),
    ActSpec("isolate", "Isolate", "Switch the mains off, lock it off and keep the key.", _MAINS, "covers"),
    ActSpec("restore_power", "Restore power", "Unlock the mains and switch it on.", _MAINS, "covers"),
    ActSpec(
        "clean_path",
        "Clean heads and path",
        "Clean head tips, guide, fixed heads, capstan and rollers.",
        _CLEANING,
        "care",
    ),
    ActSpec("degauss", "Degauss heads", "Take magnetism out of heads and guides.", _MAGNET, "care"),
    ActSpec("inspect_heads", "Inspect heads", "Look at the head tips through a glass.", _TIPS, "care"),
    ActSpec(
        "put_on_extender",
        "Card on extender",
        "Put the card of a stage on the extender, so that its inner points can be probed.",
        "Cards are put in and taken out with the power down: a live card can destroy itself and others. " + _MAINS,
        "cards",
        takes_stage=True,
    ),
    ActSpec(
        "take_off_extender",
        "Card back in place",
        "Take the card off the extender and put it back in its place.",
        "Cards are put in and taken out with the power down: a live card can destroy itself and others. " + _MAINS,
        "cards",
    ),
)
ACTS: Mapping[str, ActSpec] = MappingProxyType({act.name: act for act in _ACTS})
