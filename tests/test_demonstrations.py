"""The prepared demonstrations: their form, what together they show, and that every cue shows what it says."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from bandbench.bench.demonstrations import DEMONSTRATIONS_FOLDER, read_demonstrations
from bandbench.bench.faults import FAULTS
from bandbench.bench.machines import WORK_TAPE
from bandbench.command import main
from sim.controls import CONTROLS, STAGES
from sim.instruments import DISPLAYS, MAGNIFICATIONS
from sim.machine_readings import MACHINE_READINGS
from sim.showing import CueReport, lint_demonstration
from sim.training import demonstration as model
from sim.training.demonstration import (
    TOPICS,
    Cue,
    Demonstration,
    DemonstrationError,
    Expectation,
    parse_demonstration,
    unknown_faults,
)

SCHEMA = json.loads((DEMONSTRATIONS_FOLDER.parent / "demonstration.schema.json").read_text("utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)
FILES = sorted(DEMONSTRATIONS_FOLDER.glob("*.toml"))
ALL = read_demonstrations()
# What each fault whose picture symptom speaks of bands looks like: a topic that some cue shows with its waveform. A new
# such fault needs a place here.
TOPIC_OF_BANDS = {
    "tape_dropouts": "streaks", "tape_scratched": "streaks", "dirty_slip_ring": "streaks",
    "tape_edge_damaged": "noise_at_band_end", "worn_head": "noise_at_band_end",
    "tape_sheds": "noise_all", "heads_magnetised": "noise_all", "tracking_drifted": "noise_all",
    "pinch_roller_slips": "noise_all", "noisy_rf": "noise_all",
    "guide_knocked": "lean", "guide_out": "lean", "guide_high": "bow",
    "clogged_head": "band_noisy", "weak_head": "band_noisy", "head_gap_worn": "band_noisy",
    "noisy_channel": "band_noisy", "record_driver_low": "band_noisy",
    "displaced_head": "head_aside", "channel_dead": "band_lost", "wheel_unsteady": "edges_unsteady",
    "head_resonance_low": "band_saturation", "dull_channel": "band_saturation", "bright_channel": "band_saturation",
    "deemphasis_low": "pale_all", "switcher_late": "band_marks", "limiter_weak": "band_dark",
}  # fmt: skip
# Band symptoms that come from settings and not from a fault.
SYMPTOMS = sorted({*TOPIC_OF_BANDS.values(), "band_hue", "beat"})
SERVO_STATES = ("servo_run_up", "servo_lock", "servo_hunting", "control_track_lost")
MATCHES = ("match_own", "match_next", "match_opposite", "match_before")


def example(**changes: Any) -> dict[str, Any]:
    """The smallest demonstration, with changes to its one cue."""
    cue: dict[str, Any] = {
        "title": "Lean",
        "caption": "Look at the verticals.",
        "notes": "Guide too far in.",
        "stage": "headwheel",
        "controls": {"guide_position_um": 40.0},
        "expect": [{"reading": "skew_us", "minimum": 1.3, "maximum": 1.5, "unit": "us", "words": "Lean."}],
    }
    cue.update(changes)
    return {
        "format_version": 1,
        "id": "one",
        "title": "One",
        "minutes": 2,
        "standard": "525/60",
        "practice": "525 high-band",
        "cues": [{key: value for key, value in cue.items() if value is not None}],
    }


def both_take(data: dict[str, Any]) -> Demonstration:
    assert list(VALIDATOR.iter_errors(data)) == []
    return parse_demonstration(data, "one.toml")


# Form -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_file_is_as_parser_and_schema_ask_and_named_by_its_id(path: Path) -> None:
    data = tomllib.loads(path.read_text("utf-8"))
    assert both_take(data).id == path.stem
    assert data["id"] == path.stem


def test_the_schema_names_what_the_simulator_has() -> None:
    cue = SCHEMA["$defs"]["cue"]["properties"]
    assert tuple(cue["topics"]["items"]["enum"]) == tuple(TOPICS)
    assert tuple(SCHEMA["$defs"]["deck"]["enum"]) == model.DECK_MODES
    scope = cue["scope"]["properties"]
    assert tuple(scope["display"]["enum"]) == DISPLAYS
    assert tuple(scope["magnify"]["enum"]) == MAGNIFICATIONS
    assert tuple(SCHEMA["$defs"]["expectation"]["properties"]["how"]["enum"]) == model.HOW
    assert model.WORK_TAPE == WORK_TAPE


EXPECT = {"reading": "skew_us", "unit": "us", "words": "Lean."}
REFUSED: tuple[tuple[str, dict[str, Any], str], ...] = (
    ("an unknown key", {"colour": "red"}, "cues[1].colour"),
    ("no notes", {"notes": None}, "cues[1].notes"),
    ("an empty caption", {"caption": " "}, "cues[1].caption"),
    ("an unknown stage", {"stage": "cellar"}, "cues[1].stage"),
    ("an unknown topic", {"topics": ["rain"]}, "cues[1].topics[1]"),
    ("an unknown control", {"controls": {"tuning": 1.0}}, "cues[1].controls.tuning"),
    ("a control out of range", {"controls": {"guide_position_um": 900}}, "cues[1].controls.guide_position_um"),
    ("a control that is true", {"controls": {"channel_on_3": True}}, "cues[1].controls.channel_on_3"),
    ("an unknown hidden value", {"condition": {"mood": 1.0}}, "cues[1].condition.mood"),
    ("three heads", {"condition": {"head_output_db": [0, 0, 0]}}, "cues[1].condition.head_output_db"),
    ("one head for four", {"condition": {"head_output_db": 1.0}}, "cues[1].condition.head_output_db"),
    ("a head that cannot be", {"condition": {"head_gap_um": [1, 1, 1, -1]}}, "cues[1].condition"),
    ("severity 0", {"faults": [{"fault": "guide_high", "severity": 0}]}, "cues[1].faults[1].severity"),
    ("severity 2", {"faults": [{"fault": "guide_high", "severity": 2}]}, "cues[1].faults[1].severity"),
    ("an unknown act", {"acts": [{"act": "dance"}]}, "cues[1].acts[1].act"),
    ("an act on a card", {"acts": [{"act": "put_on_extender"}]}, "cues[1].acts[1].act"),
    ("a place on the endless tape", {"place_s": 3.0}, "cues[1].place_s"),
    ("a reel of another standard", {"tape": "blank-625"}, "cues[1].tape"),
    ("an unknown reel", {"tape": "blank"}, "cues[1].tape"),
    ("a test point inside a card", {"scope": {"test_point": "limiter"}}, "cues[1].scope.test_point"),
    ("magnified by 3", {"scope": {"magnify": 3}}, "cues[1].scope.magnify"),
    ("line 0", {"scope": {"line": 0}}, "cues[1].scope.line"),
    ("a split of 2", {"monitor": {"split": 2}}, "cues[1].monitor.split"),
    ("a wait without end", {"wait_s": 1e9}, "cues[1].wait_s"),
    ("why as a text", {"why": "yes"}, "cues[1].why"),
    ("nothing expected", {"expect": []}, "cues[1].expect"),
    ("no range", {"expect": [EXPECT]}, "cues[1].expect[1]"),
    ("a range upside down", {"expect": [{**EXPECT, "minimum": 2, "maximum": 1}]}, "cues[1].expect[1].maximum"),
    ("a range of nothing", {"expect": [{**EXPECT, "how": "no_reading", "minimum": 1}]}, "cues[1].expect[1].how"),
    ("a limit that is no number", {"expect": [{**EXPECT, "minimum": float("nan")}]}, "cues[1].expect[1].minimum"),
)


@pytest.mark.parametrize(("changes", "key"), [one[1:] for one in REFUSED], ids=[one[0] for one in REFUSED])
def test_what_is_no_cue_is_refused_by_its_key(changes: dict[str, Any], key: str) -> None:
    with pytest.raises(DemonstrationError) as refusal:
        parse_demonstration(example(**changes), "one.toml")
    assert refusal.value.problem.key == key
    assert refusal.value.problem.remedy


@pytest.mark.parametrize("version", [0, 2, "1", None, True])
def test_another_format_is_refused_first(version: object) -> None:
    with pytest.raises(DemonstrationError) as refusal:
        parse_demonstration({"format_version": version, "later": 1}, "one.toml")
    assert refusal.value.problem.key == "format_version"


def test_a_practice_of_another_standard_is_refused() -> None:
    with pytest.raises(DemonstrationError, match="625"):
        parse_demonstration({**example(), "practice": "625 high-band"}, "one.toml")


KEYS = st.sampled_from(list(example())) | st.text(max_size=3)
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4),
)


@given(ANYTHING)
def test_no_data_at_all_crashes_the_parser(data: object) -> None:
    with pytest.raises(DemonstrationError):
        parse_demonstration(data, "one.toml")


def test_what_a_demonstration_says_holds_for_cues_that_say_nothing_else() -> None:
    data = {**example(), "tape": "blank-525", "signal": "grid", "deck": "stop"}
    data["cues"] = [*data["cues"], {**data["cues"][0], "tape": "programme", "signal": "bars", "deck": "play"}]
    first, second = both_take(data).cues
    assert (first.tape, first.signal, first.deck) == ("blank-525", "grid", "stop")
    assert (second.tape, second.signal, second.deck) == ("programme", "bars", "play")


# Expectations -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("how", "limits", "values", "held"),
    [
        ("value", (1.0, 2.0), [1.0, 2.0], True),
        ("value", (1.0, 2.0), [1.5, 2.1], False),
        ("value", (1.0, None), [99.0], True),
        ("value", (None, 2.0), [1.0, None], False),
        ("value", (None, 2.0), [], False),
        ("swing", (3.0, None), [-2.0, 2.0], True),
        ("swing", (3.0, None), [7.0, 8.0], False),
        ("no_reading", (None, None), [None, None], True),
        ("no_reading", (None, None), [None, 1.0], False),
    ],
)
def test_an_expectation_holds_at_every_moment_or_not_at_all(
    how: str, limits: tuple[float | None, float | None], values: list[float | None], held: bool
) -> None:
    assert Expectation("skew_us", how, *limits, "us", "Lean.").holds(values) is held


# What the demonstrations show -------------------------------------------------------------------------------------


def test_together_they_show_every_stage_and_every_topic() -> None:
    assert len(ALL) >= 8
    cues = [cue for one in ALL.values() for cue in one.cues]
    assert {cue.stage for cue in cues} == set(STAGES)
    assert {topic for cue in cues for topic in cue.topics} == set(TOPICS)


def showing(topic: str) -> list[Cue]:
    """Return the cues that are there to show a topic."""
    return [cue for one in ALL.values() for cue in one.cues if topic in cue.topics]


def test_every_fault_of_the_catalogue_that_shows_in_bands_has_a_topic_that_is_shown() -> None:
    banded = {fault.entry for fault in FAULTS.values() if "band" in fault.symptoms.get("picture", "").lower()}
    assert banded == set(TOPIC_OF_BANDS)


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_each_symptom_is_shown_with_a_waveform_that_is_chosen_for_it(symptom: str) -> None:
    shown = showing(symptom)
    assert shown
    assert all("test_point" in cue.scope for cue in shown)


def test_the_processing_amplifier_is_shown_before_and_after_with_one_machine() -> None:
    before, after = showing("before_processing"), showing("after_processing")
    assert {cue.scope["test_point"] for cue in before} == {"demodulated"}
    assert {cue.scope["test_point"] for cue in after} <= {"corrected", "processed"}
    # For each machine that is shown before, the same is shown after.
    assert {(cue.faults, cue.signal) for cue in before} <= {(cue.faults, cue.signal) for cue in after}


def test_the_four_matches_are_the_four_places_of_the_tracking_and_each_moves_the_weak_burst() -> None:
    places = [one.controls.get("tracking_phase_deg", 0.0) for match in MATCHES for one in showing(match)]
    # DERIVED (physics.md): a track is a quarter turn of the control track's phase.
    assert places == [0.0, 90.0, 180.0, -90.0]
    weak = [
        next(e.reading for e in cue.expect if e.maximum is not None and e.maximum < -3)
        for m in MATCHES
        for cue in showing(m)
    ]
    assert weak == ["rf_level_db_2", "rf_level_db_1", "rf_level_db_4", "rf_level_db_3"]


@pytest.mark.parametrize("state", SERVO_STATES)
def test_each_state_of_the_servos_is_read_from_the_servos(state: str) -> None:
    shown = showing(state)
    assert shown
    for cue in shown:
        assert any(one.reading in MACHINE_READINGS for one in cue.expect)
        assert str(cue.scope["test_point"]).startswith(("servo_", "control_track"))


@pytest.mark.parametrize("head", [1, 2, 3, 4])
def test_the_record_current_of_each_head_is_shown_below_at_and_above_its_peak(head: int) -> None:
    control = f"record_current_pct_{head}"
    cues = ALL["record-current-head-by-head"].cues
    (peak,) = showing(f"record_current_{head}")
    place = cues.index(peak)
    around = [cue.controls.get(control, CONTROLS[control].default) for cue in cues[:place]]
    assert min(around) < peak.controls[control]
    assert any(cue.controls.get(control, CONTROLS[control].default) > peak.controls[control] for cue in cues)
    assert any(one.reading == f"rf_level_db_{head}" for one in peak.expect)


def test_the_class_is_never_told_what_is_planted() -> None:
    for one in ALL.values():
        for cue in one.cues:
            told = f"{cue.title} {cue.caption}".lower()
            for planted in cue.faults:
                fault = FAULTS[planted.fault]
                assert fault.title.lower() not in told
                assert fault.name not in told
            # Why views draw hidden errors: with something planted they would tell.
            assert not (cue.why and cue.faults)


@pytest.mark.parametrize("name", ALL)
def test_every_cue_shows_what_it_says(name: str) -> None:
    reports: list[CueReport] = []
    assert lint_demonstration(ALL[name], FAULTS, reports.append) == []
    assert len(reports) == len(ALL[name].cues)
    assert all(not report.missed for report in reports)


# The linter -------------------------------------------------------------------------------------------------------


def test_the_linter_finds_a_cue_that_does_not_show_what_it_says() -> None:
    data = example(controls={"guide_position_um": 5.0})
    (problem,) = lint_demonstration(both_take(data), FAULTS)
    assert problem.key == "cues[1].expect[1]"
    assert "skew_us reads 0.17" in problem.reason


def test_the_linter_finds_acts_that_the_machine_refuses() -> None:
    data = example(acts=[{"act": "record_arm"}])
    (problem,) = lint_demonstration(both_take(data), FAULTS)
    assert problem.key == "cues[1]"
    assert "work tape" in problem.reason


def test_the_linter_finds_faults_readings_and_units_that_are_not_there() -> None:
    data = example(
        faults=[{"fault": "gremlins", "severity": 1.0}],
        expect=[{**EXPECT, "reading": "luck", "minimum": 1}, {**EXPECT, "unit": "ns", "minimum": 1}],
    )
    demonstration = both_take(data)
    assert [problem.key for problem in unknown_faults(demonstration, FAULTS)] == ["cues[1].faults"]
    keys = [problem.key for problem in lint_demonstration(demonstration, FAULTS)]
    assert keys == ["cues[1].faults", "cues[1].expect[1].reading", "cues[1].expect[2].unit"]


def test_the_command_lists_and_lints(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demonstrations", "list"]) == 0
    assert "four-tracking-matches" in capsys.readouterr().out
    good = FILES[0].read_text("utf-8")
    (tmp_path / "bad.toml").write_text(good.replace("format_version = 1", "format_version = 1\nwrong = 2"), "utf-8")
    assert main(["demonstrations", "lint", str(tmp_path)]) == 1
    assert "wrong: unknown key" in capsys.readouterr().out
    assert main(["demonstrations", "lint", str(tmp_path / "none")]) == 2
