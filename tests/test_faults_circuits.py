"""What the newer hidden conditions do to the signals, against formulas and levels set by hand."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from sim.condition import Condition, ConditionError
from sim.frame import PlaybackFrame
from sim.headwheel import pass_schedule
from sim.instruments import measure
from sim.recorder import Recorder
from sim.standards import get_standard
from sim.station import Station
from sim.tapestate import TapeCondition, TapeConditionError, tape_level
from sim.videocircuits import SOUND_CIRCUITS, VideoCondition, VideoConditionError
from tests.fault_machine import care_for

STANDARD = get_standard("525/60")
SHAPE = (STANDARD.lines_per_frame, STANDARD.samples_per_line)
ONES = np.ones(STANDARD.samples_per_frame, dtype=np.complex64)


@cache
def machine(tape: str, signal: str, correction: float = 0.0) -> Recorder:
    return Recorder(tape=tape, signal=signal, controls={"correction": correction}, seed=5)


def played(
    condition: Condition, tape: str = "programme", signal: str = "bars", correction: float = 0.0
) -> PlaybackFrame:
    recorder = machine(tape, signal, correction)
    recorder.set_condition(condition)
    return recorder.play_frame(0)


def sine(frequency_hz: float) -> np.ndarray:
    at_s = np.arange(STANDARD.samples_per_frame) / STANDARD.sample_rate_hz
    return (30.0 * np.sin(2.0 * np.pi * frequency_hz * at_s)).astype(np.float32)


def test_sound_circuits_change_nothing() -> None:
    video = sine(1e6).reshape(SHAPE)
    assert np.array_equal(SOUND_CIRCUITS.demodulated(video, ONES, STANDARD, 0.0), video)
    assert SOUND_CIRCUITS.new_blanking(video, video) is video
    assert SOUND_CIRCUITS.threshold_db(-12.0, -40.0) == -12.0
    assert tape_level(TapeCondition(), pass_schedule(STANDARD), STANDARD, 0, 0) is None


def test_gain_is_that_of_its_decibels() -> None:
    # DERIVED: -6 dB is 10^(-6/20) = 0.5012.
    video = sine(1e6)
    out = VideoCondition(demodulator_gain_db=-6.0).demodulated(video, ONES, STANDARD, 0.0)
    assert np.allclose(out, 0.50119 * video, atol=1e-3)


def test_deemphasis_error_leaves_level_and_takes_detail() -> None:
    # DERIVED: at 3.58 MHz the average over half a microsecond is next to nothing, so -40 % leaves 0.6; a flat level has
    # no detail.
    weak = VideoCondition(deemphasis_error_pct=-40.0)
    detail = weak.demodulated(sine(3.58e6), ONES, STANDARD, 0.0)
    assert np.std(detail) / np.std(sine(3.58e6)) == pytest.approx(0.6, abs=0.05)
    level = np.full(STANDARD.samples_per_frame, 50.0, dtype=np.float32)
    assert np.allclose(weak.demodulated(level, ONES, STANDARD, 0.0), 50.0, atol=1e-3)


def test_limiter_leak_follows_the_amplitude_of_the_rf() -> None:
    # DERIVED: at half the amplitude a leak of 40 % of white is -20 IRE.
    leak = VideoCondition(limiter_leak_pct=40.0)
    flat = np.zeros(STANDARD.samples_per_frame, dtype=np.float32)
    assert np.allclose(leak.demodulated(flat, 0.5 * ONES, STANDARD, 0.0), -20.0, atol=1e-3)
    assert np.allclose(leak.demodulated(flat, ONES, STANDARD, 0.0), 0.0, atol=1e-3)


def test_hum_is_a_sine_of_the_mains() -> None:
    # DERIVED: in one frame of 525/60 (33.37 ms) 60 Hz goes through two cycles, less a thousandth.
    hum = VideoCondition(video_hum_pct=10.0).demodulated(np.zeros(SHAPE, dtype=np.float32), ONES, STANDARD, 0.0).ravel()
    assert np.max(hum) == pytest.approx(10.0, abs=0.01)
    assert np.count_nonzero(np.diff(np.signbit(hum))) in (3, 4)


def test_the_clamp_takes_hum_away_and_lost_it_stays() -> None:
    rows = slice(60, 250)
    hums = replace(Condition(), video_hum_pct=10.0)
    clamped = played(hums, signal="flat").processed[rows, 400:800].mean(axis=1)
    open_ = played(replace(hums, clamp_lost_pct=100.0), signal="flat").processed[rows, 400:800].mean(axis=1)
    assert np.ptp(clamped) < 2.0
    assert np.ptp(open_) > 12.0


def test_processing_faults_stand_at_the_output_only() -> None:
    frame = played(Condition(setup_offset_pct=10.0, new_sync_pct=50.0))
    assert measure(frame, "output_black_level") - measure(frame, "black_level") == pytest.approx(10.0, abs=0.3)
    # PUB BT.470: sync is 40 IRE; half of it is 20.
    assert measure(frame, "output_sync_level") == pytest.approx(-20.0, abs=0.2)
    assert measure(frame, "sync_level") == pytest.approx(-40.0, abs=0.3)
    clipped = played(Condition(white_limit_pct=80.0))
    assert float(clipped.processed.max()) == pytest.approx(80.0, abs=1e-3)


def test_new_sync_leaves_burst_alone() -> None:
    template = played(Condition(), correction=2.0).template
    changed = played(Condition(new_sync_pct=50.0), correction=2.0).template
    burst = slice(round(5.5e-6 * STANDARD.sample_rate_hz), round(7.5e-6 * STANDARD.sample_rate_hz))
    assert np.allclose(changed[100:200, burst], template[100:200, burst], atol=1e-3)
    assert np.ptp(changed[100:200, burst]) > 35.0


def test_compensator_offset_moves_its_threshold_and_never_switches_it_on() -> None:
    early = VideoCondition(compensator_offset_db=10.0)
    assert early.threshold_db(-12.0, -40.0) == -2.0
    assert early.threshold_db(-40.0, -40.0) == -40.0
    assert early.threshold_db(-4.0, -40.0) == 0.0


def test_channel_noise_and_gain_act_on_their_own_channel() -> None:
    sound = played(Condition(), "alignment-525", "grid")
    frame = played(Condition(channel_noise_db=(0.0, 10.0, 0.0, 0.0)), "alignment-525", "grid")
    # DERIVED: 10 dB more noise in the RF is 10 dB less signal to noise in the picture, above the FM threshold.
    for head, lost in zip(range(1, 5), (0.0, 10.0, 0.0, 0.0), strict=True):
        name = f"noise_db_{head}"
        assert measure(sound, name) - measure(frame, name) == pytest.approx(lost, abs=0.6)
    weak = played(Condition(channel_gain_offset_db=(0.0, 0.0, -6.0, 0.0)), "alignment-525", "grid")
    assert measure(weak, "rf_level_db_3") == pytest.approx(-6.0, abs=0.05)
    assert measure(weak, "rf_level_db_1") == pytest.approx(0.0, abs=0.05)


def test_record_side_faults_move_the_carriers_and_not_an_old_tape() -> None:
    frame = played(Condition(record_carrier_offset_khz=100.0, record_deviation_offset_khz=-210.0))
    # DERIVED from the practice's 7.9 MHz and 2.1 MHz (MEMORY).
    assert measure(frame, "carrier_blanking_mhz") == pytest.approx(8.0, abs=0.005)
    assert measure(frame, "deviation_mhz") == pytest.approx(1.89, abs=0.005)
    sound = played(Condition(), "alignment-525", "grid").demod
    drifted = played(Condition(record_carrier_offset_khz=100.0), "alignment-525", "grid").demod
    assert np.array_equal(sound, drifted)


def test_tape_damage_lies_where_it_is_said_to() -> None:
    schedule = pass_schedule(STANDARD)
    scratch = tape_level(TapeCondition(tape_scratch_db=-20.0), schedule, STANDARD, 0, 0)
    edge = tape_level(TapeCondition(tape_edge_db=-20.0), schedule, STANDARD, 0, 0)
    assert scratch is not None
    assert edge is not None
    # DERIVED: -20 dB is a tenth.
    assert scratch.min() == pytest.approx(0.1, rel=1e-3)
    assert np.all(np.abs(schedule.along[scratch < 0.999] - 0.4) < 0.06)
    assert np.all(schedule.along[edge < 0.999] > 0.74)
    assert edge[schedule.along > 1.0].max() == pytest.approx(0.1, rel=1e-3)
    dropping = TapeCondition(tape_dropouts_per_frame=20.0)
    first, second = (tape_level(dropping, schedule, STANDARD, index, 0) for index in (0, 1))
    again = tape_level(dropping, schedule, STANDARD, 0, 0)
    assert first is not None
    assert second is not None
    assert again is not None
    assert not np.array_equal(first, second)
    assert np.array_equal(first, again)


def test_a_tape_that_sheds_clogs_while_it_plays_and_only_then() -> None:
    station = Station(Recorder(signal="flat", condition=Condition(tape_shedding_um_per_min=6.0)))
    station.make_ready("standby")
    station.advance(3.0)
    assert station.recorder.condition.head_debris_um == (0.0,) * 4
    station.make_ready("play")
    station.advance(10.0)
    # DERIVED: 6 um/min are 1 um in 10 s.
    assert station.recorder.condition.head_debris_um == pytest.approx((1.0,) * 4, abs=0.11)
    care_for(station, "clean_path")
    assert station.recorder.condition.head_debris_um == (0.0,) * 4


def test_degaussing_takes_magnetism_and_nothing_else() -> None:
    condition = Condition(head_magnetism_db=(8.0,) * 4, channel_noise_db=(3.0,) * 4)
    station = Station(Recorder(signal="flat", condition=condition))
    care_for(station, "degauss")
    assert station.recorder.condition == replace(condition, head_magnetism_db=(0.0,) * 4)


def test_servo_gain_that_has_drifted_is_made_up_for_by_its_control() -> None:
    def lock_time_s(offset_db: float, control_db: float) -> float | None:
        recorder = Recorder(
            signal="flat",
            condition=Condition(wheel_servo_gain_offset_db=offset_db),
            controls={"wheel_servo_gain_db": control_db},
        )
        station = Station(recorder, seed=2)
        station.make_ready("stop")
        station.do("play")
        station.advance(10.0)
        return station.wheel.lock_time_s

    sound, low, mended = lock_time_s(0.0, 0.0), lock_time_s(-8.0, 0.0), lock_time_s(-8.0, 8.0)
    assert sound is not None
    assert low is not None
    assert low > sound + 0.5
    assert mended == sound


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("clamp_lost_pct", 101.0),
        ("white_limit_pct", float("nan")),
        ("tape_scratch_db", 1.0),
        ("corrector_noise_ns", -1.0),
    ],
)
def test_what_cannot_be_is_refused_by_name(field: str, value: float) -> None:
    with pytest.raises(ConditionError, match=field):
        Condition(**{field: value})  # type: ignore[arg-type]
    kind, error = (
        (TapeCondition, TapeConditionError) if field.startswith("tape_") else (VideoCondition, VideoConditionError)
    )
    with pytest.raises(error, match=field):
        kind(**{field: value})
