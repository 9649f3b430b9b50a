"""Diagnosis by readings and the catalogue's proofs: only what the lesson's machine can show as delivered counts."""

from __future__ import annotations

from bandbench.bench.faults import FAULTS
from sim.instruments import MEASUREMENTS
from sim.training.diagnosis import likely_faults, readings_for, standing_setups
from tests.training_lessons import line_up

# Readings of a machine whose head 3 is clogged, alignment tape with bars (DERIVED: as this simulator reads them).
_CLOGGED = {f"rf_level_db_{head}": [-22.0 if head == 3 else 0.0] for head in (1, 2, 3, 4)}


def test_set_ups_are_the_playing_tape_and_its_signal() -> None:
    assert standing_setups(line_up()) == ("playback", "grid")
    assert standing_setups(line_up(signal="bars")) == ("playback", "bars")


def test_proofs_that_need_an_act_first_are_left_out_of_readings_and_of_the_verdict() -> None:
    clogged = FAULTS["clogged_head_3"]
    # In the catalogue wiping the tips proves it; nobody has wiped them here.
    assert {proof.setup for proof in clogged.proof} == {"playback", "cleaned"}
    readings, long = readings_for([clogged], ("playback",), MEASUREMENTS)
    assert set(readings) == set(_CLOGGED)
    assert not long
    others = [FAULTS[f"clogged_head_{head}"] for head in (1, 2, 4)]
    found = likely_faults([*others, clogged, FAULTS["capstan_hunting"]], _CLOGGED, 1, ("playback",))
    assert [fault.name for fault in found] == ["clogged_head_3"]


def test_fault_that_nothing_can_prove_here_comes_last() -> None:
    bearing, hunting = FAULTS["wheel_bearing_stiff"], FAULTS["capstan_hunting"]
    assert readings_for([bearing], ("playback", "bars"), MEASUREMENTS) == ((), False)
    series = {"rf_level_db": [0.0, -3.0, -1.0, 0.0]}
    assert likely_faults([bearing, hunting], series, 2, ("playback",)) == (hunting, bearing)
