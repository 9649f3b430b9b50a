"""The why views without a browser: what goes to the page, when it is hidden, and that it moves with the machine."""

from __future__ import annotations

import json
from typing import Any

import pytest

from bandbench.bench.application import ROUND, BenchApplication
from bandbench.bench.bench import Bench
from bandbench.bench.why import SLOWNESS, VIEWS
from bandbench.bench.words import say
from sim.controls import STAGES
from sim.drawings import tape_drawing
from tests.training_lessons import line_up


@pytest.fixture
def application() -> BenchApplication:
    made = BenchApplication(lambda: 50.0)
    made.next_frame()
    tick_round(made)
    return made


def tick_round(application: BenchApplication) -> None:
    for _ in range(2 * len(ROUND)):
        application.tick(0.0)


def drawings(application: BenchApplication) -> list[dict[str, Any]]:
    return list(json.loads(application.why.part.drawings))


def moving(application: BenchApplication) -> bool:
    return bool(application.why.part.moving)


def turn(application: BenchApplication, **moves: float) -> None:
    application.controls.receive({"number": 1, "moves": moves})
    application.next_frame()
    tick_round(application)


@pytest.mark.parametrize("stage", STAGES)
def test_each_stage_shows_its_drawings(application: BenchApplication, stage: str) -> None:
    application.path.receive({"stage": stage})
    tick_round(application)
    part = application.why.part
    views = VIEWS[stage]
    assert [name for name, _ in part.views] == list(views)
    if not views:
        assert part.hidden == say("why.none")
        assert drawings(application) == []
    for name, wanted in views.items():
        application.why.receive({"view": name})
        shown = drawings(application)
        assert [say(f"why.title_{kind}") for kind in wanted] == [drawing["title"] for drawing in shown]
        for drawing in shown:
            assert drawing["sentence"].endswith(".")
            assert " um" not in drawing["sentence"]
            # Whatever is exaggerated says by how much.
            factor = drawing.get("exaggeration", drawing.get("exaggeration_along"))
            assert (factor is None) == (drawing["caption"] == "")
            assert factor is None or f"{factor:.0f} times" in drawing["caption"]


def test_a_choice_that_comes_after_its_stage_was_left_is_kept_for_it(application: BenchApplication) -> None:
    stage = next(name for name, views in VIEWS.items() if len(views) > 1)
    view = list(VIEWS[stage])[-1]
    other = next(name for name, views in VIEWS.items() if view not in views)
    application.path.receive({"stage": other})
    application.why.receive({"view": view})
    application.path.receive({"stage": stage})
    tick_round(application)
    assert application.why.part.view == view


def test_the_tape_moves_with_tracking(application: BenchApplication) -> None:
    turn(application, tracking_phase_deg=36.0)
    (shown,) = drawings(application)
    # DERIVED: 62.5 mil x 36 / 360.
    assert shown["path_x_m"] == pytest.approx(62.5 * 25.4e-6 / 10.0, rel=1e-4)
    expected = tape_drawing(application.bench.recorder.standard, 36.0)
    assert shown["follows"] == expected.follows
    assert "159 µm" in shown["sentence"]


def test_the_spectrum_follows_the_tone_and_the_modulator(application: BenchApplication) -> None:
    application.path.receive({"stage": "modulator"})
    tick_round(application)
    part = application.why.part
    assert part.frequency == repr(application.bench.recorder.standard.subcarrier_hz)
    application.why.receive({"video_hz": part.frequencies[0][0]})
    (shown,) = drawings(application)
    assert shown["video_hz"] == pytest.approx(0.5e6)
    turn(application, fm_carrier_khz=7000.0, fm_deviation_khz=1500.0)
    (shown,) = drawings(application)
    assert (shown["blanking_hz"], shown["white_hz"]) == (7.0e6, 8.5e6)
    # A made tape keeps what its own machine did, whatever this modulator is set to.
    application.controls.receive({"tape": "archive-525"})
    application.path.receive({"stage": "demodulator"})
    application.next_frame()
    tick_round(application)
    (shown,) = drawings(application)
    # QUOTED: 525 low-band colour, blanking at 5.79 MHz.
    assert shown["blanking_hz"] == pytest.approx(5.79e6)


def test_record_current_shows_each_head_s_point(application: BenchApplication) -> None:
    application.path.receive({"stage": "record_drive"})
    turn(application, record_current_pct_3=70.0)
    (shown,) = drawings(application)
    assert [head["current_pct"] for head in shown["heads"]] == [100.0, 100.0, 70.0, 100.0]
    assert shown["heads"][2]["state"] == "below the peak"


def test_rf_levels_and_channels_stand_beside_the_heads(application: BenchApplication) -> None:
    application.path.receive({"stage": "channels"})
    turn(application, channel_gain_db_2=-3.0, channel_on_4=0.0)
    (shown,) = drawings(application)
    assert shown["heads"][1]["level_db"] == pytest.approx(-3.0, abs=0.2)
    assert [head["is_on"] for head in shown["heads"]] == [True, True, True, False]


def test_what_has_not_changed_is_not_sent_again(application: BenchApplication) -> None:
    sent: list[object] = []
    application.why.part.param.watch(sent.append, "drawings")
    application.monitor.receive({"do": "play", "value": True})
    application.next_frame()
    tick_round(application)
    assert sent == []
    assert application.why.part.moving
    # A turn of 1/239.76 s, drawn 2000 times slower.
    assert application.why.part.turn_s == pytest.approx(SLOWNESS / 239.76, abs=1e-3)


def test_the_loops_tell_how_the_machine_runs_and_a_wheel_at_rest_is_drawn_at_rest(
    application: BenchApplication,
) -> None:
    bench = application.bench
    application.act(lambda: bench.choose_mode("demonstrate"))
    application.act(lambda: bench.set_playing(True))
    application.next_frame()
    tick_round(application)
    assert moving(application)
    application.why.receive({"view": "loop"})
    (capstan,) = drawings(application)
    assert "locked to the control track" in capstan["state"]
    application.path.receive({"stage": "headwheel"})
    application.why.receive({"view": "loop"})
    (wheel,) = drawings(application)
    assert "full lock" in wheel["state"]
    # MODEL: residual of a wheel locked to horizontal.
    assert "unsteady by up to 0.1" in wheel["sentence"]
    # In standby the wheel turns and no head is on a track; stopped and run down, nothing moves.
    bench.station.make_ready("standby")
    application.act(lambda: bench.choose_stage("tape"))
    application.why.receive({"view": "tracks"})
    bench.station.advance(0.1)
    bench.set_control("tracking_phase_deg", 1.0, 60.0)
    application.next_frame()
    tick_round(application)
    (tape,) = drawings(application)
    assert tape["sentence"] == say("why.no_tape")
    assert not moving(application)
    application.path.receive({"stage": "channels"})
    tick_round(application)
    assert moving(application)
    bench.station.make_ready("stop")
    bench.set_control("tracking_phase_deg", 2.0, 70.0)
    application.next_frame()
    tick_round(application)
    assert not moving(application)


def test_a_hidden_fault_hides_the_drawings_until_it_is_shown(application: BenchApplication) -> None:
    bench, part = application.bench, application.why.part
    application.act(lambda: bench.choose_mode("practise"))
    tick_round(application)
    assert drawings(application) != []
    application.act(bench.hide_fault)
    # Nothing of the fault may be in what goes to the page, not even for a moment.
    for _ in range(2 * len(ROUND)):
        application.next_frame()
        application.tick(0.0)
        if part.hidden:
            assert part.drawings == "[]"
    assert part.hidden == say("why.hidden_fault")
    assert part.views == []
    application.act(bench.show_fault)
    tick_round(application)
    assert part.hidden == ""
    assert drawings(application) != []
    application.act(bench.clear_fault)
    tick_round(application)
    assert bench.why_hidden() is None


def test_a_fault_planted_openly_may_be_seen(application: BenchApplication) -> None:
    bench = application.bench
    application.act(lambda: bench.choose_mode("demonstrate"))
    application.act(lambda: bench.plant_fault("guide_knocked", 0.5))
    application.path.receive({"stage": "headwheel"})
    application.next_frame()
    tick_round(application)
    guide, _ = drawings(application)
    # Half of 75 um.
    assert guide["inward_um"] == pytest.approx(37.5)


@pytest.mark.parametrize(
    ("mode", "reason"),
    [("assessment", "assessment"), ("diagnosis", "diagnosis"), ("guided", None), ("practice", None)],
)
def test_a_lesson_that_tests_hides_the_drawings_until_it_is_over(mode: str, reason: str | None) -> None:
    lesson = line_up(mode=mode)
    bench = Bench({lesson.id: lesson})
    bench.choose_mode("learn")
    bench.begin_lesson(now_s=0.0, seed=3)
    assert bench.why_hidden() == reason
    bench.check_lesson(60.0)
    # An assessment is over with its submission, right or wrong; any other lesson when it is passed.
    assert bench.why_hidden() == (None if mode == "assessment" else reason)
    bench.choose_mode(None)
    assert bench.why_hidden() is None


@pytest.mark.parametrize("message", [{"view": "nonsense"}, {"view": 3}, {"video_hz": "warm"}, {"do": "dance"}])
def test_an_unknown_message_is_an_error_of_the_program(application: BenchApplication, message: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"why view|convert"):
        application.why.receive(message)
