"""The fault catalogue: parser and schema refuse the same files, every name exists, planting does what it says."""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from bandbench.bench.faults import FAULTS, FAULTS_FILE, read_faults, with_fault
from bandbench.build_python import own_files
from sim.condition import Condition, ConditionError
from sim.controls import CONTROLS
from sim.errors import UnknownNameError
from sim.faults import GROUPS, RELATIONS, SETUPS, VIEWS, FaultError, Proof, apply_fault, distinct_faults, parse_faults
from sim.instruments import MEASUREMENTS
from sim.machine_readings import MACHINE_READINGS
from sim.standards import get_standard
from sim.transport import ACTS

SOURCE = "mutated.toml"
DATA = tomllib.loads(FAULTS_FILE.read_text("utf-8"))
SCHEMA = json.loads((FAULTS_FILE.parent / "fault.schema.json").read_text("utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)
DISTINCT = distinct_faults(FAULTS)
# One fault of one head and one of the whole machine, so that a mutation is found quickly.
SMALL: dict[str, Any] = {
    "format_version": 1,
    "faults": [fault for fault in DATA["faults"] if fault["name"] in ("clogged_head", "clamp_failed", "channel_dead")],
}
for _fault in SMALL["faults"]:
    _fault["look_alikes"] = [
        {"fault": "clogged_head" if _fault["name"] != "clogged_head" else "channel_dead", "tell": "Clean it."}
    ]
# What the parser refuses and no JSON Schema can state: relations between values, and names of the machine.
RELATIONS_OF_VALUES = ("names two faults", "no other fault", "below the least", "lower first", "all heads share")


def refused(data: object) -> FaultError | None:
    try:
        parse_faults(data, SOURCE)
    except FaultError as error:
        return error
    return None


def places(node: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    if path:
        yield path
    if isinstance(node, dict):
        for key, value in node.items():
            yield from places(value, (*path, key))
    elif isinstance(node, list):
        for index, value in enumerate(node):
            yield from places(value, (*path, index))


PLACES = list(places(SMALL))
SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 400),
    st.floats(-2.0, 2.0),
    st.sampled_from(["", " ", "x", "Not A Name", "rf_level_db", "between", "swings", "bars", "tape", "{head}"]),
)
VALUES = st.one_of(SCALARS, st.lists(SCALARS, max_size=3), st.dictionaries(st.sampled_from(["a", "text"]), SCALARS))


@st.composite
def mutations(draw: st.DrawFn) -> dict[str, Any]:
    """A good catalogue with one thing deleted, added, doubled, emptied or replaced."""
    data = copy.deepcopy(SMALL)
    path = draw(st.sampled_from(PLACES))
    parent: Any = data
    for part in path[:-1]:
        parent = parent[part]
    last = path[-1]
    match draw(st.sampled_from(["delete", "add", "double", "empty", "replace", "replace"])):
        case "delete":
            del parent[last]
        case "add" if isinstance(parent[last], dict):
            parent[last][draw(st.sampled_from(["extra", "add", "exactly", "control", "picture"]))] = draw(VALUES)
        case "double" if isinstance(parent[last], list) and parent[last]:
            parent[last].append(copy.deepcopy(parent[last][0]))
        case "empty" if isinstance(parent[last], str | list | dict):
            parent[last] = type(parent[last])()
        case _:
            parent[last] = draw(VALUES)
    return data


def test_the_catalogue_is_what_parser_and_schema_accept() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert list(VALIDATOR.iter_errors(DATA)) == []
    assert refused(SMALL) is None
    assert list(VALIDATOR.iter_errors(SMALL)) == []


@given(mutations())
@settings(max_examples=250, deadline=None)
def test_parser_and_schema_refuse_the_same_mutations(data: dict[str, Any]) -> None:
    told = list(VALIDATOR.iter_errors(data))
    error = refused(data)
    if error is None:
        assert told == []
        return
    problem = error.problem
    of_values = any(words in problem.reason for words in RELATIONS_OF_VALUES)
    assert told or of_values or problem.key.endswith(".field"), problem
    assert problem.source == SOURCE
    assert problem.reason
    assert problem.remedy


def test_the_schema_knows_the_names_that_the_parser_knows() -> None:
    defs = SCHEMA["$defs"]
    assert defs["fault"]["properties"]["group"]["enum"] == list(GROUPS)
    assert list(defs["fault"]["properties"]["symptoms"]["properties"]) == list(VIEWS)
    assert defs["proof"]["properties"]["setup"]["enum"] == list(SETUPS)
    assert defs["proof"]["properties"]["relation"]["enum"] == list(RELATIONS)


def test_refusals_say_where_why_and_what_to_do() -> None:
    broken = copy.deepcopy(SMALL)
    broken["faults"][0]["proof"][0]["relation"] = "looks_like"
    error = refused(broken)
    assert error is not None
    assert str(error).startswith("mutated.toml: faults[1].proof[1].relation: 'looks_like' is not allowed. Use one of ")
    newer = refused({"format_version": 2, "unheard_of": 1})
    assert newer is not None
    assert newer.problem.key == "format_version"


def test_at_least_forty_faults_over_every_group() -> None:
    # The issue: at least 40 faults over these twelve groups; a fault that each head can have counts once.
    assert len(DISTINCT) >= 40
    assert {fault.group for fault in DISTINCT.values()} == set(GROUPS)
    assert all(f"{entry}_{head}" in FAULTS for entry, fault in DISTINCT.items() if fault.head for head in range(1, 5))


def test_every_name_in_the_catalogue_exists_with_the_unit_it_states() -> None:
    standard = get_standard("525/60")
    for fault in FAULTS.values():
        for proof in fault.proof:
            for name in proof.readings:
                units = [spec[name].unit for spec in (MACHINE_READINGS,) if name in spec]
                units += [MEASUREMENTS[name].unit_in(standard)] if name in MEASUREMENTS else []
                assert proof.unit in units, (fault.name, name, units)
        assert fault.remedy.control is None or fault.remedy.control in CONTROLS, fault.name
        assert fault.remedy.act is None or fault.remedy.act in ACTS, fault.name
        texts = [fault.title, fault.description, fault.remedy.text, *fault.symptoms.values()]
        texts += [proof.words for proof in fault.proof] + [other.tell for other in fault.look_alikes]
        assert not [text for text in texts if "{" in text], fault.name


def test_names_that_lessons_and_people_use_already_stay() -> None:
    known = "guide_knocked guide_high tracking_drifted noisy_rf wheel_unsteady switching_transients capstan_hunting"
    known += " tachometer_weak wheel_bearing_stiff brushes_uneven control_head_dirty control_record_phase_off air_low"
    known += " vacuum_low supply_tension_low timer_slips sound_azimuth_off sound_head_dirty sound_bias_low"
    known += " sound_flutters sound_hums clogged_head_3 worn_head_1 displaced_head_2 dull_channel_4 dirty_slip_ring_3"
    assert set(known.split()) <= set(FAULTS)


def test_planting_changes_the_one_head_in_proportion() -> None:
    assert with_fault(Condition(), "clogged_head_3", 0.5).head_debris_um == (0.0, 0.0, 1.75, 0.0)
    assert with_fault(Condition(), "channel_dead_2", 0.6).channel_gain_offset_db == (0.0, -80.0, 0.0, 0.0)
    both = with_fault(with_fault(Condition(), "clogged_head_3", 0.2), "clogged_head_3", 0.3)
    assert both.head_debris_um[2] == pytest.approx(0.5 * 3.5)
    assert with_fault(Condition(), "heads_magnetised", 1.0).head_magnetism_db == (14.0,) * 4


@given(name=st.sampled_from(sorted(FAULTS)), severity=st.floats(0.0, 1.0))
@settings(max_examples=200, deadline=None)
def test_every_fault_can_be_planted_and_at_severity_nothing_nothing_is(name: str, severity: float) -> None:
    assert with_fault(Condition(), name, 0.0) == Condition()
    planted = with_fault(Condition(), name, severity)
    assert (planted != Condition()) or severity < 1e-6


def test_refused_severities_and_names() -> None:
    for severity in (-0.1, 1.1, float("nan")):
        with pytest.raises(ConditionError, match="severity"):
            apply_fault(Condition(), FAULTS["noisy_rf"], severity)
    with pytest.raises(UnknownNameError, match="gremlin"):
        with_fault(Condition(), "gremlin")


def test_what_a_proof_takes_for_proven() -> None:
    series = {f"x_{head}": [value] for head, value in zip(range(1, 5), (0.0, 0.1, -5.0, -0.1), strict=True)}
    low = Proof("x_{head}", "differs_by_head", (-3.0,), "dB", "bars", "Low.", head=3)
    assert low.readings == ("x_1", "x_2", "x_3", "x_4")
    assert low.holds(series)
    assert not Proof("x_{head}", "differs_by_head", (-3.0,), "dB", "bars", "Low.", head=2).holds(series)
    assert not Proof("x_{head}", "differs_by_head", (3.0,), "dB", "bars", "High.", head=3).holds(series)
    nan = float("nan")
    assert Proof("x", "above", (1.0,), "dB", "bars", "").holds({"x": [nan, 2.0, 3.0]})
    assert not Proof("x", "above", (1.0,), "dB", "bars", "").holds({"x": [nan]})
    assert Proof("x", "below", (1.0,), "dB", "bars", "").holds({"x": [-float("inf")]})
    assert Proof("x", "beyond", (1.0,), "dB", "bars", "").holds({"x": [-2.0]})
    assert Proof("x", "between", (1.0, 2.0), "dB", "bars", "").holds({"x": [1.5]})
    assert Proof("x", "swings", (1.0,), "dB", "bars", "").holds({"x": [0.0, 1.5, 0.5]})
    assert not Proof("x", "swings", (1.0,), "dB", "bars", "").holds({"x": [1.5]})


def test_the_browser_gets_the_catalogue() -> None:
    files = own_files()
    sent = json.loads(files["lessons/parsed.json"])
    assert sent[FAULTS_FILE.name] == tomllib.loads(FAULTS_FILE.read_text("utf-8"))
    assert {"sim/faults.py", "bandbench/bench/faults.py"} <= set(files)
    assert dict(read_faults()) == dict(FAULTS)
