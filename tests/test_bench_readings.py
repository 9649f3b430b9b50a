"""Numbers as people read them, and the small curves of the signal path."""

from __future__ import annotations

import numpy as np
import pytest

from bandbench.bench.moves import Move
from bandbench.bench.path import machine_states, stage_states
from bandbench.bench.readings import decimals_of_step, number, quantity, setting, take_readings, typeset, unit_sign
from bandbench.bench.traces import GAP, POINTS, Trend, mini_traces
from bandbench.bench.words import WORDS, say, words_of
from sim.controls import CONTROLS, STAGES
from sim.instruments import DEFAULT_READINGS, measure, rf_levels_db
from sim.recorder import Recorder
from sim.station import Station


def curves(recorder: Recorder, trend: Trend | None = None) -> dict[str, np.ndarray]:
    drawn = np.frombuffer(mini_traces(recorder.play_frame(0), trend or Trend()), np.uint8)
    return dict(zip(STAGES, drawn.reshape(len(STAGES), POINTS), strict=True))


# Numbers ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("25.4 um (1 mil) is about 0.91 us of lean", "25.4 µm (1 mil) is about 0.91 µs of lean"),
        ("turn 10 deg", "turn 10°"),
        ("Channels 1-4", "Channels 1–\u20604"),
        ("us and them, um, degrees", "us and them, um, degrees"),
        ("within 0.3 dB", "within 0.3 dB"),
        ("half-way", "half-way"),
    ],
)
def test_units_are_printed_as_they_should_be(text: str, printed: str) -> None:
    assert typeset(text) == printed


@pytest.mark.parametrize(
    ("value", "decimals", "signed", "printed"),
    [
        (1.005, 1, True, "+1.0"),
        (-0.04, 1, True, "0.0"),
        (-12.0, 0, True, "−12"),
        (-3.5, 1, False, "−3.5"),
        (0.0, 2, True, "0.00"),
    ],
)
def test_numbers_have_a_real_minus_and_zero_no_sign(value: float, decimals: int, signed: bool, printed: str) -> None:
    assert number(value, decimals, signed) == printed


def test_every_unit_has_a_sign_and_every_control_shows_its_finest_step() -> None:
    for spec in CONTROLS.values():
        if spec.kind == "number":
            shown = setting(spec, spec.default + spec.fine_step)
            assert shown != setting(spec, spec.default), f"{spec.name}: the finest step does not show in {shown}"
            assert shown.endswith(unit_sign(spec.unit))
    assert quantity(-1.5, "us") == "−1.50\u00a0µs"
    assert setting(CONTROLS["channel_on_1"], 0.0) == "off"
    assert setting(CONTROLS["correction"], 1.0) == "monochrome"


def test_decimals_are_those_of_the_step() -> None:
    assert [decimals_of_step(step) for step in (5.0, 1.0, 0.5, 0.25, 0.1, 0.05)] == [0, 0, 1, 2, 1, 2]


# Readings ---------------------------------------------------------------------------------------------------


def test_readings_are_those_of_the_instruments() -> None:
    frame = Recorder(controls={"guide_position_um": 30.0, "channel_gain_db_2": -3.0}).play_frame(3)
    readings = take_readings(frame)
    assert tuple(readings.values) == DEFAULT_READINGS
    for name, value in readings.values.items():
        assert value == measure(frame, name)
    assert readings.reasons == {}


def test_a_reading_that_cannot_be_taken_says_why() -> None:
    readings = take_readings(Recorder(controls={"channel_on_3": 0.0}).play_frame(0))
    assert readings.values["head_position_ns_3"] is None
    assert readings.text("head_position_ns_3") is None
    assert "head 3" in readings.reasons["head_position_ns_3"]


# Signal path ------------------------------------------------------------------------------------------------


def test_the_states_of_a_machine_in_order() -> None:
    frame = Recorder().play_frame(0)
    states = stage_states(take_readings(frame))
    assert set(states | machine_states(Station(Recorder()))) == set(STAGES)
    assert states["tape"].startswith("RF 100")
    assert states["headwheel"] == say("path.straight")
    assert states["channels"] == say("path.all_on")


@pytest.mark.parametrize(
    ("controls", "stage", "expected"),
    [
        ({"guide_position_um": 25.4}, "headwheel", "lean +0.9"),
        ({"guide_height_um": -200.0}, "headwheel", "bow −1.4"),
        ({"head_timing_ns_3": 300.0}, "headwheel", "head 3 +22"),
        ({"channel_on_2": 0.0, "channel_on_4": 0.0}, "channels", "off: 2, 4"),
        ({"channel_gain_db_1": -6.0}, "channels", "6.0"),
        ({"tracking_phase_deg": 22.5}, "tape", "RF 61"),
    ],
)  # lean and bow DERIVED (physics.md section 3); head 3 stands 3/4 of its timing from the mean of all four; a
# sixteenth of a turn is a quarter of a pitch of 15.625 mil, which leaves 61 % of a track of 10 mil (section 4)
def test_the_states_say_what_is_wrong(controls: dict[str, float], stage: str, expected: str) -> None:
    frame = Recorder(controls=controls).play_frame(0)
    assert stage_states(take_readings(frame))[stage].startswith(expected)


def test_without_rf_the_states_say_so() -> None:
    off = {f"channel_on_{head}": 0.0 for head in range(1, 5)}
    frame = Recorder(controls=off).play_frame(0)
    states = stage_states(take_readings(frame))
    assert states["headwheel"] == say("path.no_sync")
    assert states["channels"] == "off: 1, 2, 3, 4"


def test_the_curve_of_the_guide_is_a_saw_of_the_bands() -> None:
    flat = curves(Recorder())["headwheel"].astype(int)
    leaning = curves(Recorder(controls={"guide_position_um": 50.0}))["headwheel"].astype(int)
    assert np.ptp(flat[flat != GAP]) <= 4
    # Sixteen bands a field: as many falls from the end of one band to the top of the next, less what the ends cut.
    falls = np.flatnonzero(np.diff(leaning) < -20)
    assert 14 <= falls.size <= 16


def test_the_bars_of_the_channels_stand_for_the_heads() -> None:
    recorder = Recorder(controls={"channel_gain_db_2": -6.0})
    bars = curves(recorder)["channels"]
    assert (bars[4:] == GAP).all()
    levels = rf_levels_db(recorder.play_frame(0))
    assert np.argsort(bars[:4]).tolist()[0] == int(np.argmin(levels)) == 1


def test_the_switcher_shows_a_dead_head_as_a_notch() -> None:
    curve = curves(Recorder(controls={"channel_on_1": 0.0}))["switcher"].astype(int)
    assert 0.15 < np.mean(curve < 30) < 0.35


def test_the_trend_keeps_the_last_readings_in_order() -> None:
    trend = Trend()
    good = take_readings(Recorder().play_frame(0))
    bad = take_readings(Recorder(controls={"tracking_phase_deg": 45.0}).play_frame(0))
    for _ in range(POINTS):
        trend.note(good)
    trend.note(bad)
    assert trend.curve.shape == (POINTS,)
    assert trend.curve[-1] == bad.tracking_pct
    assert (trend.curve[:-1] == good.tracking_pct).all()
    drawn = curves(Recorder(), trend)["tape"]
    assert drawn[-1] < drawn[0]


# Words ------------------------------------------------------------------------------------------------------


def test_no_text_is_empty_and_none_is_repeated_under_one_prefix() -> None:
    # Some of sim's are parts of a sentence, and bring the blank that stands before or after them.
    assert all(text.strip() and (key.startswith("sim.") or text.strip() == text) for key, text in WORDS.items())
    assert words_of("log")["undo"] == WORDS["log.undo"]
    assert "controls.reset" not in words_of("controls")


def test_a_move_in_words() -> None:
    move = Move("guide_position_um", -1.25, 3.0, 0.0)
    spec = CONTROLS[move.control]
    text = say("log.move", label=spec.label, before=setting(spec, move.before), after=setting(spec, move.after))
    assert text == "Guide position: −1.2\u00a0µm to +3.0\u00a0µm"


def test_with_no_tape_playing_the_stages_before_the_processing_say_so() -> None:
    states = stage_states(take_readings(Recorder(signal="bars").electronics_frame()))
    before = ("tape", "headwheel", "channels", "switcher", "demodulator")
    assert {states[name] for name in before} == {"no tape playing"}
    assert states["input"].startswith("peak 10")
