"""Readings on the bench: a dozen all the time, more when a lesson asks for them, none that nobody asked for."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from bandbench.bench.application import ROUND, BenchApplication
from bandbench.bench.readings import take_readings
from sim.instruments import DEFAULT_READINGS, MEASUREMENTS, measure
from sim.recorder import Recorder

ADDED = ("response_db", "saturation_db_2", "rf_spread_db")
BASIC = ("picture", "rf_meter", "rf_level_db", "skew_us")


def tick_round(application: BenchApplication) -> None:
    for _ in range(2 * len(ROUND)):
        application.tick(0.0)


@pytest.fixture
def application() -> BenchApplication:
    made = BenchApplication(lambda: 50.0)
    made.next_frame()
    return made


def test_readings_that_are_asked_for_and_no_others() -> None:
    frame = Recorder("625/50", "625 high-band", signal="bars").play_frame(0)
    readings = take_readings(frame, names=("white_level", "response_db"))
    assert list(readings.values) == ["white_level", "response_db"]
    assert readings.values["white_level"] == measure(frame, "white_level")
    # PUB ITU-R BT.470, mV from memory; a level is no departure and has no sign.
    assert readings.text("white_level") == "700\N{NO-BREAK SPACE}mV"
    assert readings.text("response_db") is None
    assert "multiburst" in readings.reasons["response_db"]
    assert readings.text("skew_us") is None


def test_every_reading_prints_with_its_unit() -> None:
    frame = Recorder(signal="bars", controls={"correction": 2.0}).play_frame(0)
    readings = take_readings(frame, names=MEASUREMENTS)
    for name, value in readings.values.items():
        text = readings.text(name)
        assert (text is None) == (value is None)
        assert (value is None) == (name in readings.reasons)
        unit = MEASUREMENTS[name].unit_in(frame.standard)
        assert text is None or text.endswith({"deg": "°", "us": "µs"}.get(unit, unit))


def test_the_bench_reads_what_a_lesson_adds_while_it_lasts(application: BenchApplication) -> None:
    bench, added = application.bench, application.meters.added
    assert bench.readings == DEFAULT_READINGS
    assert added.names == []
    bench.choose_mode("learn")
    bench.begin_lesson(now_s=100.0, seed=5)
    session = bench.running_session()
    session.lesson = replace(session.lesson, instruments=(*BASIC, *ADDED))
    application.meters.refresh()
    assert bench.readings == (*DEFAULT_READINGS, *ADDED)
    assert added.names == list(ADDED)
    application.monitor.receive({"do": "play", "value": True})
    application.next_frame()
    tick_round(application)
    assert set(json.loads(application.meters.meters.readings)) == {*DEFAULT_READINGS, "tracking"}
    shown = json.loads(added.readings)
    assert set(shown) == set(ADDED)
    # No multiburst is played: said in words.
    assert shown["response_db"]["text"] is None
    assert "it is read on multiburst" in shown["response_db"]["reason"]
    assert shown["rf_spread_db"]["text"].endswith("dB")
    assert shown["rf_spread_db"]["share"] is None
    bench.choose_mode("practise")
    application.meters.refresh()
    assert added.names == []


def test_what_a_reading_needs_is_told_with_it(application: BenchApplication) -> None:
    abouts = application.meters.meters.abouts
    assert abouts["response_db"].endswith("Needs the signal multiburst.")
    assert all(abouts[name] for name in MEASUREMENTS)
