"""The bench's monitors without a browser: where they connect, comparison, and what is saved."""

from __future__ import annotations

import csv
import io
import json
import re
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.application import ROUND, BenchApplication
from bandbench.bench.bench import Bench
from bandbench.bench.errors import BenchError
from bandbench.bench.monitoring import POINT_OF_STAGE
from bandbench.bench.pictures import first_picture
from bandbench.bench.plots import HEAD_HUES, SCREEN, overlaid
from bandbench.bench.settings import KEPT, side_by_side
from sim.controls import CONTROLS
from sim.errors import BandbenchError
from sim.instruments import DISPLAYS, RATES, TEST_POINTS, VIDEO_POINTS, line_trace, picture, rf_spectrum
from sim.servos import CapstanServo, ServoHistory, WheelServo
from sim.standards import get_standard
from sim.tape import TAPES

INNER = [name for name, point in TEST_POINTS.items() if point.inner]
OUTER = [name for name, point in TEST_POINTS.items() if not point.inner and point.kind != "servo"]
EVERY_CARD = frozenset(TEST_POINTS[name].stage for name in INNER)


@pytest.fixture
def application() -> BenchApplication:
    made = BenchApplication(lambda: 0.0)
    made.next_frame()
    return made


@pytest.fixture
def bench() -> Bench:
    return Bench({})


def test_the_picture_shown_while_the_views_are_on_their_way_is_the_benchs_own_first_one() -> None:
    recorder, shown = first_picture()
    application = BenchApplication(lambda: 0.0, recorder=recorder)
    assert application.bench.recorder is recorder
    frame = application.next_frame()
    assert frame is not None
    assert np.array_equal(frame.images["picture"], shown)


def test_a_line_that_another_standard_has_not_is_all_lines_there(application: BenchApplication) -> None:
    bench, scope = application.bench, application.scope
    tape = "station-625"
    bench.set_up("625/50", "625 high-band", tape, TAPES[tape].signal)
    scope.receive({"set": {"line": 625}})
    assert bench.scope.line == 625
    scope.draw()
    bench.put_right(held=False)
    assert bench.recorder.standard.name == "525/60"
    assert scope.draw()
    scope.receive({"describe": True})
    assert "625" not in scope.settings.sentence
    scope.receive({"save": "csv"})
    assert scope.settings.notice == ""
    # What was chosen there does not stand in the way of anything else.
    scope.receive({"set": {"rate": "field"}})
    assert (scope.settings.notice, bench.scope.rate) == ("", "field")
    assert scope.settings.scope["line"] == 0


def tick_round(application: BenchApplication) -> None:
    for _ in range(2 * len(ROUND)):
        application.tick(0.0)


def shown(application: BenchApplication) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Return the next picture, which must be another than the last."""
    image = application.next_frame()
    assert image is not None
    return image.images["picture"]


def saved_table(application: BenchApplication) -> tuple[dict[str, str], list[str], np.ndarray[Any, Any]]:
    """Save what the waveform monitor shows; return the head, the names of the columns and the numbers."""
    application.scope.receive({"save": "csv"})
    lines = application.scope.settings.snapshot["text"].splitlines()
    head = dict(line[2:].split(": ", 1) for line in lines if line.startswith("# "))
    names, *rows = csv.reader(io.StringIO("\n".join(line for line in lines if not line.startswith("#"))))
    return head, names, np.array(rows, dtype=np.float64)


# Where the waveform monitor connects ------------------------------------------------------------------------


@pytest.mark.parametrize("name", INNER)
def test_an_inner_point_is_reached_only_with_its_card_on_the_extender(bench: Bench, name: str) -> None:
    before = bench.scope
    with pytest.raises(BenchError, match="switch the power off and put that card on the extender first"):
        bench.set_scope(test_point=name)
    assert bench.scope == before
    stage = TEST_POINTS[name].stage
    bench.set_extended(EVERY_CARD - {stage})
    with pytest.raises(BenchError, match="extender"):
        bench.set_scope(test_point=name)
    bench.set_extended(frozenset({stage}))
    bench.set_scope(test_point=name)
    assert bench.scope.test_point == name
    # The card goes back: the probe with it.
    bench.set_extended(frozenset())
    assert bench.scope.test_point == POINT_OF_STAGE[stage]


def test_a_refused_point_is_told_every_time(application: BenchApplication) -> None:
    told: list[str] = []
    application.scope.settings.param.watch(lambda event: told.append(event.new), "notice")
    for _ in range(2):
        application.scope.receive({"set": {"test_point": "limiter"}})
    assert [text != "" for text in told] == [True, False, True]
    assert application.scope.settings.scope["reached"] == []
    application.bench.set_extended(frozenset({"demodulator"}))
    tick_round(application)
    assert application.scope.settings.scope["reached"] == ["limiter", "discriminator"]
    assert application.bench.scope.test_point == "rf_switched"


@pytest.mark.parametrize("name", [*OUTER, *INNER])
def test_every_point_at_every_sweep_is_drawn_and_told(application: BenchApplication, name: str) -> None:
    application.bench.set_extended(EVERY_CARD)
    scope = application.scope
    for rate in RATES:
        scope.receive({"set": {"test_point": name, "rate": rate, "line": 0}})
        assert scope.draw()
        assert not scope.draw()
        scope.receive({"describe": True})
        assert scope.settings.sentence.startswith("Waveform monitor:")
        assert rate in scope.settings.sentence
    for display in reversed(DISPLAYS):
        scope.receive({"set": {"display": display}})
        assert scope.draw()
        scope.receive({"describe": True})
        expected = {"waveform": "Waveform monitor:", "vectors": "Vectorscope:", "spectrum": "Spectrum:"}[display]
        assert scope.settings.sentence.startswith(expected)
    assert scope.settings.notice == ""


def test_an_unknown_display_is_refused(bench: Bench) -> None:
    with pytest.raises(BandbenchError, match="display"):
        bench.set_scope(display="radar")


def test_the_four_heads_are_drawn_in_their_hues_with_their_numbers(application: BenchApplication) -> None:
    application.controls.receive(
        {"number": 1, "moves": {"channel_on_2": 0.0, "channel_on_3": 0.0, "channel_on_4": 0.0}}
    )
    scope: Any = application.scope
    scope.receive({"set": {"test_point": "rf_heads", "rate": "wheel"}})
    assert scope.draw()
    assert scope._heads.visible
    assert not scope._image.visible
    assert scope._targets.data["name"] == ["1", "2", "3", "4"]
    assert scope._targets.data["hue"] == list(HEAD_HUES)
    drawn = np.ascontiguousarray(scope._coloured.data["image"][0]).view(np.uint8).reshape(240, 480, 4)
    # Only head 1 has RF: what is lit above the middle, where the idle channels rest, is more or less of its hue.
    lit = drawn[135:190].reshape(-1, 4).astype(float)
    lit = lit[lit[:, :3].sum(axis=1) > lit[:, :3].sum(axis=1).min() + 30.0]
    dark, hue = (np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], float) for colour in (SCREEN, HEAD_HUES[0]))
    towards = (lit[:, :3] - dark) @ (hue - dark) / np.linalg.norm(hue - dark)
    assert lit.shape[0] > 500
    assert np.abs(towards / np.linalg.norm(lit[:, :3] - dark, axis=1) - 1.0).max() < 0.01
    scope.receive({"set": {"line": 100}})
    assert scope.draw()
    assert len(scope._curves.data["ys"]) == 4


@settings(max_examples=30, deadline=None)
@given(levels=st.lists(st.floats(0.0, 1.0, width=32), min_size=4, max_size=4))
def test_where_traces_cross_the_stronger_light_is_seen(levels: list[float]) -> None:
    images = [np.full((2, 2), level, np.float32) for level in levels]
    pixel = overlaid(images, HEAD_HUES)[:1].view(np.uint8)[0, :4].astype(int)
    alone = [
        overlaid([image], [hue])[:1].view(np.uint8)[0, :4].astype(int)
        for image, hue in zip(images, HEAD_HUES, strict=True)
    ]
    assert pixel[3] == 255
    for channel in range(3):
        assert pixel[channel] == max(one[channel] for one in alone)
    if not any(levels):
        assert pixel[:3].tolist() == [int(SCREEN[i : i + 2], 16) for i in (1, 3, 5)]


def test_servo_traces_go_on_while_the_picture_stands(
    application: BenchApplication, monkeypatch: pytest.MonkeyPatch
) -> None:
    wheel, capstan = WheelServo(get_standard("525/60")), CapstanServo(get_standard("525/60"))
    station = SimpleNamespace(servo_history=ServoHistory(), time_s=0.0)
    monkeypatch.setattr(Bench, "station", station)
    scope: Any = application.scope
    scope.receive({"set": {"test_point": "servo_wheel_rate_error"}})
    assert scope.draw()
    assert not scope.draw()
    wheel.step(0.01, True, True)
    station.servo_history.record(wheel, capstan, 0.01)
    station.time_s = 0.01
    assert scope.draw()
    assert (scope.x_range.start, scope.x_range.end) == (-4.0, 0.0)
    assert scope._curve.data["y"].tolist() == station.servo_history.trace("wheel_rate_error").tolist()
    head, names, numbers = saved_table(application)
    assert names == ["time [s]", "error [%]"]
    assert numbers.shape == (1, 2)
    assert head["Instrument"] == "Waveform monitor: Wheel speed error"


# The picture monitor ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", VIDEO_POINTS)
def test_the_picture_of_every_point(application: BenchApplication, name: str) -> None:
    application.controls.receive({"number": 1, "moves": {"guide_position_um": 30.0}})
    first = shown(application)
    application.monitor.receive({"do": "set", "value": {"point": name}})
    if name != "processed":
        assert shown(application).shape == first.shape
    expected = picture(application.bench.frame, name)
    application.monitor.receive({"do": "set", "value": {"point": name, "split": 0.3}})
    assert np.abs(shown(application) / 255.0 - expected).max() < 0.003
    tick_round(application)
    # Bands are the heads' doing.
    assert (json.loads(application.monitor.monitor.bands) == []) == (name in ("input", "electronics"))


def test_two_points_side_by_side(application: BenchApplication) -> None:
    application.controls.receive({"number": 1, "moves": {"guide_position_um": 60.0}})
    shown(application)
    application.monitor.receive({"do": "set", "value": {"compare": "input", "split": 0.25}})
    both, frame = shown(application), application.bench.frame
    edge = round(0.25 * both.shape[1])
    assert np.abs(both[:, :edge] / 255.0 - picture(frame, "input")[:, :edge]).max() < 0.003
    assert np.abs(both[:, edge:] / 255.0 - picture(frame)[:, edge:]).max() < 0.003
    application.monitor.receive({"do": "describe"})
    said = application.monitor.monitor.sentence
    assert said.startswith("Right of 25 %: Picture monitor: bands lean")
    assert "Left of it, to compare: Picture monitor: Input video" in said
    application.monitor.receive({"do": "set", "value": {"whole": True}})
    assert np.abs(shown(application) / 255.0 - picture(frame, "input")).max() < 0.003
    application.monitor.receive({"do": "describe"})
    assert application.monitor.monitor.sentence.startswith("To compare, alone: Picture monitor: Input video")


def test_before_and_after_an_adjustment(application: BenchApplication) -> None:
    monitor = application.monitor
    monitor.receive({"do": "set", "value": {"compare": KEPT}})
    assert "keep one first" in monitor.monitor.notice
    assert application.bench.monitor.compare == ""
    application.controls.receive({"number": 1, "moves": {"guide_position_um": 60.0}})
    before = shown(application)
    monitor.receive({"do": "keep"})
    tick_round(application)
    assert (monitor.monitor.notice, monitor.monitor.kept, monitor.monitor.monitor["compare"]) == ("", True, KEPT)
    assert (shown(application) == before).all()
    application.controls.receive({"number": 2, "moves": {"guide_position_um": 0.0}})
    both = shown(application)
    half = both.shape[1] // 2
    assert (both[:, :half] == before[:, :half]).all()
    assert np.abs(both[:, half:].astype(float) - before[:, half:]).mean() > 3.0
    monitor.receive({"do": "describe"})
    assert re.search(r"Right of 50 %: .*straight and clean.*Left of it.*lean", monitor.monitor.sentence)


def test_a_grey_picture_that_was_kept_beside_one_in_colour(application: BenchApplication) -> None:
    grey = shown(application) if application.bench.playing else None
    application.monitor.receive({"do": "keep"})
    grey = shown(application)
    application.controls.receive({"number": 1, "moves": {"correction": 2.0}})
    both = shown(application)
    assert both.shape == (3, *grey.shape)
    left = both[..., : both.shape[-1] // 2]
    assert (left == grey[None, :, : both.shape[-1] // 2]).all()
    assert np.ptp(both[:, 100, both.shape[-1] // 2 :].astype(int), axis=0).max() > 100
    # The demodulator's output has no burst that a monitor could lock to: it stays grey; the input is in colour.
    for point, coloured in (("demodulated", False), ("input", True)):
        application.monitor.receive({"do": "set", "value": {"point": point, "compare": ""}})
        assert (shown(application).ndim == 3) is coloured


@settings(max_examples=40, deadline=None)
@given(split=st.floats(0.0, 1.0), left_planes=st.sampled_from([1, 3]), right_planes=st.sampled_from([1, 3]))
def test_side_by_side_takes_each_column_from_one_picture(split: float, left_planes: int, right_planes: int) -> None:
    left = np.full((left_planes, 3, 40) if left_planes == 3 else (3, 40), 10, np.uint8)
    right = np.full((right_planes, 3, 40) if right_planes == 3 else (3, 40), 200, np.uint8)
    both = side_by_side(left, right, split)
    assert both.ndim == max(left.ndim, right.ndim)
    columns = both.reshape(-1, 40)
    assert (columns == columns[0]).all()
    assert int((columns[0] == 10).sum()) == round(40 * split)


@pytest.mark.parametrize(
    "wrong", [{"point": "rf_switched"}, {"compare": "limiter"}, {"split": 1.5}, {"split": float("nan")}, {"zoom": 2}]
)
def test_what_the_picture_monitor_cannot_be_set_to(bench: Bench, wrong: dict[str, object]) -> None:
    before = bench.monitor
    with pytest.raises(BandbenchError):
        bench.set_monitor(**wrong)
    assert bench.monitor == before


# Files to keep ----------------------------------------------------------------------------------------------


def test_a_line_is_saved_with_all_that_it_stands_for(application: BenchApplication) -> None:
    application.controls.receive({"number": 1, "moves": {"guide_position_um": 12.0}})
    application.scope.receive({"set": {"test_point": "demodulated", "line": 100}})
    head, names, numbers = saved_table(application)
    assert head["Instrument"] == "Waveform monitor: Demodulated video, One line 100, ×1"
    assert (head["Standard"], head["Practice"]) == ("525/60", "525 high-band")
    assert head["Programme"] == "bars"
    # What differs from the defaults, and nothing else.
    assert head["Controls that differ from their defaults"].startswith(f"{CONTROLS['guide_position_um'].label}: +12.0")
    assert ";" not in head["Controls that differ from their defaults"]
    assert "line 100 alone" in head["Shows"]
    assert names == ["time [us]", "level [IRE]"]
    trace = line_trace(application.bench.frame, "demodulated", 100)
    np.testing.assert_allclose(numbers, np.column_stack([trace.x, trace.y]), rtol=1e-6, atol=1e-5)
    assert (
        application.scope.settings.snapshot["name"] == "bandbench_waveform_demodulated_line-100_525-60_bars_frame-0.csv"
    )


@pytest.mark.parametrize(
    ("wanted", "names", "rows", "file"),
    [
        ({"rate": "wheel"}, ["time [ms]", "lowest [of nominal]", "mean [of nominal]", "highest [of nominal]"], 480,
         "waveform_rf-switched_wheel-rate"),
        ({"display": "spectrum"}, ["frequency [MHz]", "power [dB of carrier]"], 1024, "spectrum_rf-switched"),
        ({"display": "spectrum", "magnify": 5}, ["frequency [MHz]", "power [dB of carrier]"], 4096,
         "spectrum_rf-switched"),
        ({"display": "vectors"}, ["B-Y [IRE]", "R-Y [IRE]", "brightness [0 to 1]"], None, "vectorscope_demodulated"),
    ],
)  # fmt: skip
def test_every_display_is_saved_as_numbers(
    application: BenchApplication, wanted: dict[str, object], names: list[str], rows: int | None, file: str
) -> None:
    application.scope.receive({"set": wanted})
    head, columns, numbers = saved_table(application)
    assert columns == names
    assert numbers.shape[0] == rows or (rows is None and numbers.shape[0] > 100)
    assert head["Controls that differ from their defaults"] == "none"
    assert application.scope.settings.snapshot["name"] == f"bandbench_{file}_525-60_bars_frame-0.csv"
    if names[0].startswith("frequency"):
        spectrum = rf_spectrum(application.bench.frame, samples=rows or 0)
        np.testing.assert_allclose(numbers[:, 1], spectrum.power_db, rtol=1e-5)


def test_what_is_saved_is_the_same_for_the_same_machine() -> None:
    texts = []
    for _ in range(2):
        application = BenchApplication(lambda: 0.0)
        application.scope.receive({"save": "csv"})
        texts.append(application.scope.settings.snapshot["text"])
    assert texts[0] == texts[1]


def test_a_hidden_fault_is_not_given_away(application: BenchApplication) -> None:
    application.bench.choose_mode("practise")
    application.bench.hide_fault()
    head, _, _ = saved_table(application)
    assert head["Controls that differ from their defaults"] == "none"
    assert application.bench.fault not in application.scope.settings.snapshot["text"]


def test_pictures_to_save_are_named_by_what_they_show(application: BenchApplication) -> None:
    names = []
    for wanted in ({}, {"compare": "input"}, {"whole": True}):
        application.monitor.receive({"do": "set", "value": wanted})
        application.monitor.receive({"do": "save"})
        names.append(application.monitor.monitor.snapshot["name"])
    tail = "525-60_bars_frame-0.png"
    assert names == [
        f"bandbench_picture_processed_{tail}",
        f"bandbench_picture_input_and_processed_{tail}",
        f"bandbench_picture_input_{tail}",
    ]
    application.scope.receive({"save": "png"})
    assert application.scope.settings.snapshot["text"] == ""
    assert application.scope.settings.snapshot["name"] == f"bandbench_waveform_rf-switched_line-rate_{tail}"
