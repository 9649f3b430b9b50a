"""The reels on the shelf: what lies on them, and that it plays as it is said to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.errors import BandbenchError, UnknownNameError
from sim.instruments import measure, picture
from sim.recorder import Recorder, Running
from sim.reel import (
    REELS,
    TRACKS,
    Reel,
    VideoTake,
    describe_joint,
    frame_length_m,
    joints,
    log_of,
    make_reel,
    playing_at,
    reels_of,
)
from sim.reel.reels import Part
from sim.reel.scenes import SCENES, scene
from sim.sound import SoundTake
from sim.standards import STANDARDS
from sim.tape import TAPES


@pytest.fixture(scope="module")
def reels() -> dict[str, Reel]:
    return {name: make_reel(name) for name in REELS}


def take_at(reel: Reel, position_m: float) -> VideoTake:
    found = reel.at("video", position_m)
    assert isinstance(found, VideoTake)
    return found


def test_each_standard_has_a_blank_an_alignment_and_a_programme_reel(reels: dict[str, Reel]) -> None:
    for standard in STANDARDS:
        specs = reels_of(standard)
        assert {spec.name.split("-")[0] for spec in specs} >= {"blank", "alignment", "station"}
        assert {spec.standard for spec in specs} == {standard}
        assert all(reels[spec.name].standard.name == standard for spec in specs)
    assert sum(len(reels_of(standard)) for standard in STANDARDS) == len(REELS)


def test_no_reel_is_longer_than_4800_ft(reels: dict[str, Reel]) -> None:
    # TRADE: 4800 ft is a full reel.
    assert all(reel.length_m <= 4800 * 0.3048 + 1e-9 for reel in reels.values())


def test_new_tape_is_blank(reels: dict[str, Reel]) -> None:
    for name in ("blank-525", "blank-625"):
        assert not any(reels[name].recorded_m(track) for track in TRACKS)
        assert reels[name].ring_fitted


def test_recordings_lie_at_frames_and_are_of_the_reels_standard(reels: dict[str, Reel]) -> None:
    for reel in reels.values():
        frame_m = frame_length_m(reel.standard)
        for segment in reel.segments("video"):
            assert isinstance(segment.content, VideoTake)
            assert segment.content.standard is reel.standard
            for place in (segment.start_m, segment.end_m):
                assert place / frame_m == pytest.approx(round(place / frame_m), abs=1e-6)
        for track in ("programme", "cue"):
            assert all(isinstance(segment.content, SoundTake) for segment in reel.segments(track))


@pytest.mark.parametrize("name", ["alignment-525", "alignment-625"])
def test_an_alignment_reel_cannot_be_recorded_and_is_right_throughout(name: str) -> None:
    reel = make_reel(name)
    assert not reel.ring_fitted
    with pytest.raises(BandbenchError, match="ring"):
        reel.record("video", 0.0, 1.0, "anything")
    assert all(joint.clean for joint in joints(reel))
    kept = reel.segments("control")
    assert [(one.start_m, one.end_m) for one in kept] == [
        (reel.segments("video")[0].start_m, reel.segments("video")[-1].end_m)
    ]
    assert take_at(reel, 60.0).spec is TAPES[name]


@pytest.mark.parametrize("name", ["station-525", "station-625"])
def test_the_station_reel_has_one_edit_of_each_kind(name: str, reels: dict[str, Reel]) -> None:
    reel = reels[name]
    wrong_colour = [joint for joint in joints(reel) if joint.field_right and not joint.colour_frame_right]
    wrong_field = [joint for joint in joints(reel) if not joint.field_right]
    # Each insert has two ends.
    assert (len(wrong_colour), len(wrong_field)) == (2, 2)
    assert sum(joint.clean for joint in joints(reel)) >= 4
    outside = 0.5 * (wrong_colour[1].position_m + wrong_field[0].position_m)
    inside = 0.5 * (wrong_colour[0].position_m + wrong_colour[1].position_m)
    half_away = 0.5 * (wrong_field[0].position_m + wrong_field[1].position_m)
    frames_out = {"station-525": 1, "station-625": 2}[name]
    assert [playing_at(reel, place).colour_frame for place in (outside, inside)] == [0, frames_out]
    assert abs(playing_at(reel, half_away).line_offset) == 0.5 * reel.standard.lines_per_frame
    first, second = reel.segments("control")
    # There is a picture where the control track is missing.
    gap_m = 0.5 * (first.end_m + second.start_m)
    assert second.start_m - first.end_m > 1.0
    assert playing_at(reel, gap_m).control is None
    assert playing_at(reel, gap_m).video is not None
    after = playing_at(reel, second.start_m + 1.0).control
    assert after is not None
    assert after.ahead_of_tracks_deg == pytest.approx(15.0)
    said = [describe_joint(joint, reel.standard) for joint in (*wrong_colour, *wrong_field)]
    assert all("Wrong" in text for text in said)
    machines = {take_at(reel, one.start_m).spec.name for one in reel.segments("video")}
    assert len(machines) == 2


def test_the_log_names_every_picture_in_order(reels: dict[str, Reel]) -> None:
    for reel in reels.values():
        log = log_of(reel)
        assert [place for place, _ in log] == sorted(place for place, _ in log)
        assert all(title for _, title in log)
    assert log_of(reels["station-525"])[0][1].startswith("Colour bars")


def test_the_interchange_reel_leans_as_its_machine_did(reels: dict[str, Reel]) -> None:
    take = take_at(reels["interchange-525"], 40.0)
    recorder = Recorder(seed=3)
    recorder.load_recording(take.spec, take.programme, take.settings)
    # DERIVED: sqrt(2) e / v with e = 10 um, of the recording, so to the other side.
    assert measure(recorder.play_frame(0), "skew_us") == pytest.approx(-0.907 * 10.0 / 25.4, abs=0.01)


def test_reels_of_625_play(reels: dict[str, Reel]) -> None:
    take = take_at(reels["station-625"], 60.0)
    recorder = Recorder("625/50", "625 high-band", tape="alignment-625")
    recorder.load_recording(take.spec, take.programme, take.settings)
    frame = recorder.play_frame(0)
    rows, columns = slice(60, 280), slice(250, 1000)
    # A twentieth of white: the heads that recorded it differ a little.
    assert np.abs(np.mean(frame.demod[rows, columns] - take.programme[rows, columns])) < 35.0


def test_the_wrong_field_is_seen_half_a_frame_away(reels: dict[str, Reel]) -> None:
    """What should be at the top of the picture is in its middle, the vertical blanking with it."""
    reel = reels["station-525"]
    wrong = next(joint for joint in joints(reel) if not joint.field_right)
    found = playing_at(reel, wrong.position_m + 1.0)
    assert found.video is not None
    recorder = Recorder(seed=3)
    recorder.load_recording(found.video.spec, found.video.programme, found.video.settings)
    framed = recorder.play_frame(0)
    early_s = -found.line_offset * reel.standard.line_period_s
    moved = recorder.play_frame(0, Running(early_s=early_s))
    half = framed.demod.size // 2
    expected = np.roll(framed.demod.ravel(), half).reshape(framed.demod.shape)
    middle = slice(120, 140)
    assert np.abs(moved.demod[middle].mean(axis=1) - expected[middle].mean(axis=1)).max() < 2.0
    assert np.abs(picture(moved) - picture(framed)).mean() > 0.02


def test_takes_share_their_picture(reels: dict[str, Reel]) -> None:
    reel = reels["station-525"]
    news = [one.content for one in reel.segments("video") if isinstance(one.content, VideoTake)]
    studio = {id(one.programme) for one in news if one.title.endswith("studio")}
    assert len(studio) == 1
    # Cut by its edits, it is still one take.
    assert len({id(one) for one in news if one.title == "Evening news, studio"}) == 1


def test_a_reel_made_anew_is_as_it_was() -> None:
    reel = make_reel("interchange-525")
    before = [(one.start_m, one.end_m) for one in reel.segments("video")]
    reel.erase("video", 0.0, reel.length_m)
    assert reel.recorded_m("video") == 0.0
    assert [(one.start_m, one.end_m) for one in make_reel("interchange-525").segments("video")] == before


def test_what_is_not_on_the_shelf_is_named() -> None:
    with pytest.raises(UnknownNameError, match="'station-525'"):
        make_reel("holiday film")
    with pytest.raises(UnknownNameError, match="'harbour'"):
        scene("mountain")
    beyond = Part("Too far", 3000.0, 6000.0, "bars", TAPES["alignment-525"])
    with pytest.raises(BandbenchError, match="'Too far' does not lie on its"):
        make_reel(replace(REELS["blank-525"], parts=(beyond,)))


def test_scenes_are_pictures() -> None:
    for name in SCENES:
        shown = scene(name)
        assert shown.ndim == 3
        assert 0.0 <= shown.min() < shown.max() <= 1.0
        assert shown.std() > 0.1
