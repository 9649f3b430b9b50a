"""Recordings made with a machine's errors, played on the machine that made them and on others, and copied."""

from __future__ import annotations

import numpy as np
import pytest

from sim.colour.burst import measure_burst
from sim.condition import Condition
from sim.errors import BandbenchError
from sim.frame import PlaybackFrame
from sim.instruments import head_of_row
from sim.recorder import Recorder
from sim.reel import VideoTake, copy_programme, video_take
from sim.reel.colourframe import in_colour_frame
from sim.signals import make_signal
from sim.standards import get_standard
from sim.tape import RecordSettings
from tests.outside_checks import OutsideCheck
from tests.picture_measuring import displacement_of_rows_s, fold_by_band

STANDARD = get_standard("525/60")
GUIDE_OUT_UM = 10.0
# DERIVED: sqrt(2) e / v, 0.907 us per mil (tip speed from memory).
LEAN_US = 0.907 * GUIDE_OUT_UM / 25.4
LEAN_SOURCE = "DERIVED: sqrt(2) e / v, 0.907 us per mil (tip speed from memory)"
ROWS = np.arange(2, 484)


def machine(condition: Condition | None = None, **controls: float) -> Recorder:
    return Recorder(signal="multiburst", condition=condition, controls=controls, seed=7)


def played(take: VideoTake, player: Recorder) -> PlaybackFrame:
    player.load_recording(take.spec, take.programme, take.settings)
    return player.play_frame(0)


def lean_us(frame: PlaybackFrame, straight: PlaybackFrame) -> float:
    """Return how far the end of a band stands to the left of its beginning, from the rendered picture [us]."""
    left_s = displacement_of_rows_s(frame, straight, ROWS)
    place = fold_by_band(STANDARD, ROWS)
    inside = np.abs(place) < 0.46  # a band's first and last line may belong to either pass
    fit = np.polynomial.Polynomial.fit(place[inside], left_s[inside], 3)
    return float(fit(0.5) - fit(-0.5)) * 1e6


@pytest.fixture(scope="module")
def straight() -> PlaybackFrame:
    return played(video_take(machine(), "multiburst", 0.0), machine())


@pytest.fixture(scope="module")
def leaning() -> VideoTake:
    """A recording made with the guide 10 um out."""
    return video_take(machine(guide_position_um=GUIDE_OUT_UM), "multiburst", 0.0)


def test_a_recording_made_with_the_guide_out_leans_on_a_perfect_machine(
    straight: PlaybackFrame, leaning: VideoTake, outside_check: OutsideCheck
) -> None:
    # What you see is playback error less the recorded one: the other way over than a guide out in playback.
    measured_us = lean_us(played(leaning, machine()), straight)
    outside_check("lean of a recording made 10 um out, cross-played", LEAN_SOURCE, -LEAN_US, measured_us, 0.012, "us")


def test_it_stands_straight_on_the_machine_that_made_it(
    straight: PlaybackFrame, leaning: VideoTake, outside_check: OutsideCheck
) -> None:
    measured_us = lean_us(played(leaning, machine(guide_position_um=GUIDE_OUT_UM)), straight)
    source = "DERIVED: playback error less recorded error"
    outside_check("lean of a recording made 10 um out, on its own machine", source, 0.0, measured_us, 0.004, "us")


def test_it_stands_straight_where_the_guide_itself_is_out_as_much(straight: PlaybackFrame, leaning: VideoTake) -> None:
    """The machine's own error may come from its condition: the guide's place counts, not its knob."""
    hidden = Condition(guide_offset_um=GUIDE_OUT_UM + 25.0)
    assert lean_us(played(leaning, machine(hidden, guide_position_um=-25.0)), straight) == pytest.approx(0.0, abs=0.004)
    own = video_take(machine(Condition(guide_offset_um=GUIDE_OUT_UM)), "multiburst", 0.0)
    assert own.spec.geometry == leaning.spec.geometry


@pytest.mark.parametrize("processed", [True, False])
def test_the_lean_is_in_the_copy(
    straight: PlaybackFrame, leaning: VideoTake, processed: bool, outside_check: OutsideCheck
) -> None:
    copy = video_take(machine(), copy_programme(played(leaning, machine()), processed=processed), 0.0)
    # The machine that made the copy was right: nothing on the tape's side says that the picture leans.
    assert copy.spec.geometry == machine().machine_geometry
    measured_us = lean_us(played(copy, machine()), straight)
    quantity = f"lean in a copy of it, {'processed' if processed else 'demodulated'} video copied"
    outside_check(quantity, LEAN_SOURCE, -LEAN_US, measured_us, 0.015, "us")


def test_a_copy_is_an_array_of_its_own(leaning: VideoTake) -> None:
    frame = played(leaning, machine())
    copy = copy_programme(frame)
    np.testing.assert_array_equal(copy, frame.processed)
    copy[:] = 0.0
    assert frame.processed.any()


def test_a_head_out_of_its_angle_in_recording_stands_to_the_other_side(straight: PlaybackFrame) -> None:
    take = video_take(machine(head_timing_ns_3=150.0), "multiburst", 0.0)
    frame = played(take, machine())
    left_ns = displacement_of_rows_s(frame, straight, ROWS) * 1e9
    heads = frame.head_of_line
    rows = head_of_row(frame)[ROWS]
    assert set(heads.tolist()) == {1, 2, 3, 4}
    # DERIVED: playback error less the recorded 150 ns.
    assert left_ns[rows == 3].mean() == pytest.approx(-150.0, abs=3.0)
    assert left_ns[rows != 3].mean() == pytest.approx(0.0, abs=3.0)


def level_db_of_head(take: VideoTake, head: int) -> float:
    """Return the RF level of one head's bands on a perfect machine against a perfect recording [dB]."""
    level = []
    for one in (take, video_take(machine(), "multiburst", 0.0)):
        frame = played(one, machine())
        envelope = frame.rf_envelope[frame.head_of_line == head][:, 200:800]
        level.append(float(np.median(envelope)))
    return 20.0 * float(np.log10(level[0] / level[1]))


def test_record_current_goes_onto_the_tape() -> None:
    recorder = machine(Condition(record_current_best_pct=(100.0, 80.0, 100.0, 100.0)), record_current_pct_3=50.0)
    take = video_take(recorder, "multiburst", 0.0)
    # DERIVED: percent of each head's best: 100 / 0.8.
    assert take.settings.current_pct == pytest.approx((100.0, 125.0, 50.0, 100.0))
    # MODEL: (x exp(1 - x))^1.5 at x = 0.5.
    expected_db = 30.0 * np.log10(0.5 * np.exp(0.5))
    assert level_db_of_head(take, 3) == pytest.approx(expected_db, abs=0.15)
    assert level_db_of_head(take, 1) == pytest.approx(0.0, abs=0.05)


def test_a_head_that_does_not_touch_records_a_weak_track() -> None:
    take = video_take(machine(Condition(head_debris_um=(0.0, 0.5, 0.0, 0.0))), "multiburst", 0.0)
    # MEMORY: 44 dB a wavelength; DERIVED: 39.5 m/s over 7.9 MHz + half of 2.1 MHz.
    expected_db = -44.0 * 0.5e-6 / (np.pi * 2.067 * 0.0254 * 239.76 / 8.95e6)
    assert level_db_of_head(take, 2) == pytest.approx(expected_db, abs=0.1)
    assert take.spec.track_level_db[0] == take.spec.track_level_db[2] == 0.0


def test_a_take_keeps_carriers_and_framing_of_its_moment() -> None:
    recorder = machine(fm_carrier_khz=7800.0, fm_deviation_khz=2000.0)
    take = video_take(recorder, "bars", 12.5, colour_frame=1, first_field=1, title="Bars")
    recorder.set_control("fm_carrier_khz", 7900.0)
    assert (take.settings.carrier_hz, take.settings.deviation_hz) == (7.8e6, 2.0e6)
    assert (take.origin_m, take.colour_frame, take.first_field, take.title) == (12.5, 1, 1, "Bars")
    # The input behind its level control is what is recorded when nothing else is named: 6.02 dB is twice (DERIVED).
    recorder.set_control("input_level_db", 20.0 * np.log10(2.0) / 2.0)
    loud = video_take(recorder, None, 0.0)
    white = float(loud.programme.max()) / float(make_signal("multiburst", STANDARD).max())
    assert white == pytest.approx(2.0**0.5, rel=1e-5)


def test_a_take_that_makes_no_sense_is_refused() -> None:
    good = video_take(machine(), "bars", 0.0)
    for wrong in (
        {"origin_m": float("nan")},
        {"colour_frame": 2},
        {"first_field": 2},
        {"practice": "625 high-band"},
        {"practice": "525 low-band colour"},
        {"programme": np.zeros((625, 1134), dtype=np.float32)},
    ):
        values = {
            "origin_m": 0.0,
            "spec": good.spec,
            "programme": good.programme,
            "settings": RecordSettings(),
            "practice": good.practice,
        }
        with pytest.raises(BandbenchError, match="video take"):
            VideoTake(**(values | wrong))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("standard_name", "colour_frame"), [("525/60", 1), ("625/50", 1), ("625/50", 2), ("625/50", 3)]
)
@pytest.mark.parametrize("signal", ["bars", "red", "multiburst", "stair"])
def test_a_frame_moved_in_the_colour_sequence_is_the_signal_of_that_frame(
    standard_name: str, colour_frame: int, signal: str
) -> None:
    """Against the encoder, which makes each frame of the sequence itself."""
    standard = get_standard(standard_name)
    first = make_signal(signal, standard)
    wanted = make_signal(signal, standard, colour_frame)
    moved = in_colour_frame(first, standard, colour_frame)
    rows, white = slice(40, 200), standard.white_level
    # The edges of the burst reach out of the band, and the comb errs where the picture begins (MODEL tolerances).
    assert np.abs(moved - wanted)[rows].max() < 0.025 * white
    assert (moved - wanted).std() < 0.06 * (wanted - first).std() + 0.006 * white


def test_a_frame_moved_through_the_whole_sequence_is_where_it_was() -> None:
    for standard in (STANDARD, get_standard("625/50")):
        first = make_signal("red", standard)
        moved = first
        for _ in range(standard.colour_frames):
            moved = in_colour_frame(moved, standard, 1)
        assert np.abs(moved - first)[40:200].max() < 0.03 * standard.white_level
        np.testing.assert_array_equal(in_colour_frame(first, standard, 0), first)


def test_the_wrong_colour_frame_is_half_a_cycle_in_burst_and_140_ns_in_a_picture_held_by_it(
    outside_check: OutsideCheck,
) -> None:
    take = video_take(machine(), "multiburst", 0.0)
    assert take.programme_in(0) is take.programme
    assert take.programme_in(1) is take.programme_in(1)
    frames = {}
    for correction in ("off", "colour"):
        for colour_frame in (0, 1):
            player = machine(correction={"off": 0.0, "colour": 2.0}[correction])
            player.load_recording(take.spec, take.programme_in(colour_frame), take.settings)
            frames[correction, colour_frame] = player.play_frame(0)
    turn_deg = np.rad2deg(
        measure_burst(frames["off", 1].demod, STANDARD).mean_phase_rad
        - measure_burst(frames["off", 0].demod, STANDARD).mean_phase_rad
    )
    source = "DERIVED: 525 lines of 227.5 cycles leave half a cycle"
    outside_check("burst in the wrong colour frame", source, 180.0, float(turn_deg % 360.0), 2.0, "deg")
    still_s = displacement_of_rows_s(frames["off", 1], frames["off", 0], ROWS)
    assert float(np.nanmedian(np.abs(still_s))) < 5e-9
    moved_s = displacement_of_rows_s(frames["colour", 1], frames["colour", 0], ROWS)
    source = "DERIVED: half a cycle of 3.579545 MHz"
    measured_ns = float(np.nanmedian(np.abs(moved_s))) * 1e9
    outside_check("jump of the picture in the wrong colour frame", source, 139.7, measured_ns, 4.0, "ns")
