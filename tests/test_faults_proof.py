"""Every fault of the catalogue is planted and proven by readings of the machine, and told from what looks like it."""

from __future__ import annotations

from functools import cache

import pytest

from bandbench.bench.faults import FAULTS
from sim.condition import Condition
from sim.controls import CONTROLS
from sim.faults import FaultSpec, Proof, apply_fault, distinct_faults
from sim.instruments import measure
from sim.recorder import Recorder
from sim.station import Station
from tests.fault_machine import Judged, care_for, holding

DISTINCT = distinct_faults(FAULTS)


def of_a_head(entry: str) -> FaultSpec:
    """The fault of an entry; where each head can have it, that of head 3."""
    fault = DISTINCT[entry]
    return FAULTS[f"{entry}_3"] if fault.head else fault


@cache
def on_a_sound_machine() -> dict[Proof, Judged]:
    proofs = list(dict.fromkeys(proof for entry in DISTINCT for proof in of_a_head(entry).proof))
    return dict(zip(proofs, holding(proofs, Condition()), strict=True))


@pytest.mark.parametrize("entry", DISTINCT)
def test_sound_machine_has_no_proof_of_a_fault(entry: str) -> None:
    fault = of_a_head(entry)
    judged = [on_a_sound_machine()[proof] for proof in fault.proof]
    assert not all(judged), judged


@pytest.mark.parametrize("entry", DISTINCT)
def test_planted_as_little_as_is_worth_it_every_proof_holds(entry: str) -> None:
    fault = of_a_head(entry)
    held = holding(fault.proof, apply_fault(Condition(), fault, fault.least))
    assert all(held), [judged for judged in held if not judged]


@pytest.mark.parametrize("entry", DISTINCT)
def test_planted_at_worst_every_proof_holds_and_no_look_alike_is_proven_as_well(entry: str) -> None:
    fault = of_a_head(entry)
    others = [of_a_head(other.fault) for other in fault.look_alikes]
    proofs = list(dict.fromkeys(proof for one in (fault, *others) for proof in one.proof))
    held = dict(zip(proofs, holding(proofs, apply_fault(Condition(), fault, fault.most)), strict=True))
    assert all(held[proof] for proof in fault.proof), [held[proof] for proof in fault.proof if not held[proof]]
    for other in others:
        # A look-alike that the readings would allow as well must need fewer of them: the fuller proof counts.
        judged = [held[proof] for proof in other.proof]
        assert not all(judged) or len(judged) < len(fault.proof), (other.name, judged)


def test_a_proof_that_fails_says_what_was_read() -> None:
    (proof,) = (one for one in FAULTS["guide_knocked"].proof if one.reading == "skew_us")
    (judged,) = holding([proof], Condition())
    assert not judged
    (read,) = judged.read["skew_us"]
    assert repr(judged).startswith(f"DOES NOT HOLD: {proof.setup}: skew_us {proof.relation} ")
    assert repr(judged).endswith(f": skew_us read {read:.5g}")


def test_a_proof_of_one_head_names_that_head() -> None:
    for head in (1, 4):
        condition = apply_fault(Condition(), FAULTS[f"noisy_channel_{head}"])
        for other in range(1, 5):
            fault = FAULTS[f"noisy_channel_{other}"]
            assert all(holding(fault.proof, condition)) == (other == head)


# Where a control makes up for a fault: the control, by how much for each unit of the hidden error, and the reading that
# comes right again. DERIVED: each control adds to the same quantity as the error.
MENDED = (
    ("guide_knocked", "guide_position_um", "guide_offset_um", "skew_us", "alignment-525"),
    ("guide_out", "guide_position_um", "guide_offset_um", "skew_us", "alignment-525"),
    ("guide_high", "guide_height_um", "guide_height_offset_um", "scallop_us", "alignment-525"),
    ("tracking_drifted", "tracking_phase_deg", "tracking_offset_deg", "rf_level_db", "alignment-525"),
    ("displaced_head_3", "head_timing_ns_3", "head_timing_offset_ns", "head_position_ns_3", "alignment-525"),
    ("dull_channel_3", "channel_eq_db_3", "channel_eq_offset_db", "saturation_db_3", "programme"),
    ("bright_channel_3", "channel_eq_db_3", "channel_eq_offset_db", "saturation_db_3", "programme"),
    ("weak_channel_3", "channel_gain_db_3", "channel_gain_offset_db", "rf_level_db_3", "alignment-525"),
    ("demodulator_low", "video_level_db", "demodulator_gain_db", "white_level", "programme"),
    ("input_low", "input_level_db", "input_level_offset_db", "white_level", "programme"),
    ("deviation_low", "fm_deviation_khz", "record_deviation_offset_khz", "white_level", "programme"),
    ("carrier_high", "fm_carrier_khz", "record_carrier_offset_khz", "blanking_level", "programme"),
)


@pytest.mark.parametrize(("name", "control", "field", "reading", "tape"), MENDED, ids=[row[0] for row in MENDED])
def test_the_control_that_is_named_as_remedy_mends_it(
    name: str, control: str, field: str, reading: str, tape: str
) -> None:
    fault = FAULTS[name]
    assert fault.remedy.control == control
    condition = apply_fault(Condition(), fault, fault.least)
    change = getattr(condition, field)
    if isinstance(change, tuple):
        change = change[fault.head - 1]
    recorder = Recorder(tape=tape, condition=Condition(), seed=3)
    right = measure(recorder.play_frame(0), reading)
    recorder.set_condition(condition)
    wrong = measure(recorder.play_frame(0), reading)
    recorder.set_control(control, recorder.controls[control] - change)
    # The controls reach as far as the worst of it, too.
    spec = CONTROLS[control]
    assert spec.minimum <= spec.default - change * fault.most / fault.least <= spec.maximum
    mended = measure(recorder.play_frame(0), reading)
    assert abs(mended - right) < 0.1 * abs(wrong - right)


def test_record_current_brings_a_weak_driver_back_to_its_peak() -> None:
    fault = FAULTS["record_driver_low_3"]
    recorder = Recorder(signal="bars", condition=apply_fault(Condition(), fault, fault.least), seed=3)
    low = measure(recorder.play_frame(0), "rf_level_db_3")
    recorder.set_control("record_current_pct_3", 100.0 + 120.0 * fault.least)
    assert low < -0.6
    assert measure(recorder.play_frame(0), "rf_level_db_3") > -0.05


@pytest.mark.parametrize("entry", [entry for entry, fault in DISTINCT.items() if fault.remedy.act is not None])
def test_the_act_that_is_named_as_remedy_cures_it(entry: str) -> None:
    fault = of_a_head(entry)
    assert fault.remedy.act is not None
    if entry == "tape_sheds":
        # Cleaning takes what has come off; the tape goes on shedding, as its remedy says.
        assert "treated" in fault.remedy.text
        return
    station = Station(Recorder(signal="flat", condition=apply_fault(Condition(), fault)))
    care_for(station, fault.remedy.act)
    assert station.recorder.condition == Condition()
