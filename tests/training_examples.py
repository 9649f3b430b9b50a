"""Small lessons of every mode, and a small fault catalogue, for the tests of the lesson engine."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from bandbench.lessons import read_data
from sim.faults import FaultSpec, parse_faults
from sim.training.lesson import Lesson, parse_lesson
from sim.training.machine import Machine

EXAMPLES_FOLDER = Path(__file__).parent / "lessons"
EXAMPLES = ("demonstration", "guided", "diagnosis", "assessment")


def _fault(
    name: str, title: str, group: str, field: str, add: float, proof: dict[str, Any], like: str
) -> dict[str, Any]:
    return {
        "name": name,
        "title": title,
        "group": group,
        "description": f"{title}, for tests.",
        "severity": {"least": 0.4, "most": 0.9},
        "effects": [{"field": field, "add": add}],
        "symptoms": {"picture": "It shows."},
        "proof": [{"unit": "dB", "setup": "playback", "words": "It reads so."} | proof],
        "remedy": {"text": "Put it right."},
        "look_alikes": [{"fault": like, "tell": "By its reading."}],
    }


def faults_data() -> dict[str, Any]:
    """Return the catalogue as a file would hold it."""
    skew = {"reading": "skew_us", "relation": "above", "value": 0.5, "unit": "us"}
    bow = {"reading": "scallop_us", "relation": "above", "value": 0.2, "unit": "us"}
    low_rf = {"reading": "rf_level_db", "relation": "below", "value": -1.5}
    noise = {"reading": "noise_db", "relation": "below", "value": 41.0}
    low_head = {"reading": "rf_level_db_{head}", "relation": "differs_by_head", "value": -3.0}
    early = {"reading": "head_position_ns_{head}", "relation": "differs_by_head", "value": 60.0, "unit": "ns"}
    return {
        "format_version": 1,
        "faults": [
            _fault("guide_out", "Guide out of place", "guide", "guide_offset_um", 70.0, skew, "guide_tall"),
            _fault("guide_tall", "Guide too high", "guide", "guide_height_offset_um", 120.0, bow, "guide_out"),
            _fault("track_lost", "Tracking off", "capstan_servo", "tracking_offset_deg", 40.0, low_rf, "grainy"),
            _fault("grainy", "RF noise", "channels", "noise_db", 18.0, noise, "track_lost"),
            _fault("dirty_head", "Head {head} dirty", "heads", "head_debris_um", 3.0, low_head, "early_head")
            | {"per_head": True},
            _fault("early_head", "Head {head} early", "heads", "head_timing_offset_ns", 400.0, early, "dirty_head")
            | {"per_head": True},
        ],
    }


@cache
def example_faults() -> Mapping[str, FaultSpec]:
    """Return the catalogue, read once."""
    return parse_faults(faults_data(), "faults.toml")


def example_data(name: str) -> dict[str, Any]:
    """Return a fresh copy of an example lesson's data."""
    return read_data(EXAMPLES_FOLDER / f"{name}.toml")


def example(name: str, **changes: object) -> Lesson:
    """Return an example lesson, with some of its top-level keys changed."""
    return parse_lesson(example_data(name) | changes, f"{name}.toml")


@cache
def example_machine(name: str) -> Machine:
    """Return an example's machine, made once."""
    return Machine(example(name), faults=example_faults())
