"""Sound along the tape: where it lies, how it runs on from block to block, its speed, its noise."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import jv

from sim.errors import BandbenchError
from sim.reel import Reel
from sim.sound import (
    AUDIO_HEAD_DISTANCE_M,
    OWN_NOTE,
    SAMPLE_RATE_HZ,
    SOURCES,
    SoundCondition,
    SoundError,
    SoundSettings,
    SoundSystem,
    SoundTake,
    Tone,
    audio_delay_s,
    get_source,
    sound_measurement,
)
from sim.sound.meters import level_db
from sim.sound.resample import HALF_LENGTH, interpolate
from sim.sound.sources import own_note
from sim.sound.unsteadiness import NORMAL_FLUTTER_PCT
from sim.standards import get_standard
from tests.outside_checks import OutsideCheck
from tests.sound_machine import BLOCK_S, START_M, SoundMachine


def test_the_audio_heads_are_0_617_s_away(outside_check: OutsideCheck) -> None:
    outside_check(
        "delay from head wheel to audio heads", "DERIVED: 9.25 in (from memory) at 15 in/s", 9.25 / 15.0,
        audio_delay_s(0.381), 1e-6, "s",
    )  # fmt: skip
    assert audio_delay_s(0.381) == pytest.approx(0.617, abs=0.001)


@pytest.mark.parametrize("standard", ["525/60", "625/50"])
def test_sound_recorded_with_a_picture_lies_further_on_and_plays_with_it(standard: str) -> None:
    machine = SoundMachine(standard)
    machine.record(2.0, programme="pips")
    (segment,) = machine.reel.segments("programme")
    # What the wheel recorded at START_M belongs to what the audio heads recorded at the same moment.
    assert segment.start_m == pytest.approx(START_M - AUDIO_HEAD_DISTANCE_M, abs=1e-6)
    heard = machine.play(2.0)["programme"]
    second = np.flatnonzero(np.abs(heard[SAMPLE_RATE_HZ // 2 :]) > 0.5)[0] + SAMPLE_RATE_HZ // 2
    assert second / SAMPLE_RATE_HZ == pytest.approx(1.0, abs=0.005)
    # A machine whose tape is moved on by one such length plays the sound that much early.
    early = machine.play(1.5, start_m=START_M + AUDIO_HEAD_DISTANCE_M)["programme"]
    first = np.flatnonzero(np.abs(early[SAMPLE_RATE_HZ // 5 :]) > 0.5)[0] + SAMPLE_RATE_HZ // 5
    assert first / SAMPLE_RATE_HZ == pytest.approx(1.0 - audio_delay_s(machine.nominal_m_per_s), abs=0.005)


@settings(max_examples=15, deadline=None)
@given(cuts=st.lists(st.integers(1, 59), max_size=8, unique=True))
def test_how_time_is_cut_into_blocks_is_not_heard(cuts: list[int]) -> None:
    edges = [0, *sorted(cuts), 60]
    heard = []
    for blocks in ([0, 60], edges):
        machine = SoundMachine(seed=7)
        machine.record(1.0, programme="voice", cue="tone_1k")
        machine.sound = SoundSystem(get_standard("525/60"), seed=7)
        machine.sound.condition = SoundCondition(hum_db=-30.0)
        speed = [1.0 + 0.05 * math.sin(0.7 * step) for step in range(60)]
        places = START_M + np.concatenate([[0.0], np.cumsum(speed)]) * machine.nominal_m_per_s * 0.01
        played = [
            machine.sound.play_block(machine.reel, list(places[start : stop + 1]), 0.01 * (stop - start))
            for start, stop in itertools.pairwise(blocks)
        ]
        heard.append({track: np.concatenate([block[track] for block in played]) for track in ("programme", "cue")})
    for track in ("programme", "cue"):
        assert heard[0][track].size == round(0.6 * SAMPLE_RATE_HZ)
        # Places on tape are rounded to 1/4096 sample: a place that rounds otherwise moves 0.3 % of a sample's step.
        np.testing.assert_allclose(heard[1][track], heard[0][track], atol=1e-3)


@settings(max_examples=20, deadline=None)
@given(durations=st.lists(st.floats(0.0004, 0.05), min_size=2, max_size=20))
def test_parts_of_a_sample_are_carried_over(durations: list[float]) -> None:
    sound = SoundSystem(get_standard("525/60"))
    counts = [sound.play_block(None, [0.0, 0.0], duration)["cue"].size for duration in durations]
    assert sum(counts) == round(sum(durations) * SAMPLE_RATE_HZ)
    assert all(abs(count - duration * SAMPLE_RATE_HZ) <= 1.0 for count, duration in zip(counts, durations, strict=True))


def test_a_running_recording_is_one_take_and_a_changed_one_is_another() -> None:
    machine = SoundMachine()
    machine.record(1.0, programme="tone_1k", cue="voice")
    assert [len(machine.reel.segments(track)) for track in ("programme", "cue")] == [1, 1]
    machine.sound.choose_source("programme", "tone_10k")
    for _ in range(5):
        knots = machine.knots(BLOCK_S)
        machine.sound.record_block(machine.reel, ("programme",), knots)
        machine.sound.play_block(machine.reel, knots, BLOCK_S, recording=("programme",))
    segments = machine.reel.segments("programme")
    assert len(segments) == 2
    assert segments[0].end_m == pytest.approx(segments[1].start_m)
    contents = [segment.content for segment in segments]
    assert [take.source for take in contents if isinstance(take, SoundTake)] == [
        get_source("tone_1k"),
        get_source("tone_10k"),
    ]


def test_a_cut_take_plays_as_the_whole_one_did() -> None:
    machine = SoundMachine()
    machine.record(1.0, programme="voice")
    whole = machine.play(0.9)["programme"]
    machine.reel.erase("programme", START_M, START_M + 0.01)
    machine.sound = SoundSystem(get_standard("525/60"), seed=3)
    cut = machine.play(0.9)["programme"]
    again = SoundMachine()
    again.record(1.0, programme="voice")
    again.sound = SoundSystem(get_standard("525/60"), seed=3)
    np.testing.assert_allclose(cut[:17000], again.play(0.9)["programme"][:17000], atol=1e-6)
    assert whole.size == cut.size
    # The blank is heard as hiss alone.
    blank = slice(round((audio_delay_s(machine.nominal_m_per_s) + 0.004) * SAMPLE_RATE_HZ), None)
    assert level_db(cut[blank][:500]) < -50.0


def test_what_is_recorded_is_heard_while_it_is_recorded() -> None:
    machine = SoundMachine()
    machine.sound.choose_source("programme", "tone_1k")
    machine.sound.settings = SoundSettings(audio_record_level_db=-4.0, audio_play_level_db=1.0)
    for _ in range(4):
        knots = machine.knots(BLOCK_S)
        machine.sound.record_block(machine.reel, ("programme",), knots)
        heard = machine.sound.play_block(machine.reel, knots, BLOCK_S, recording=("programme",))
    assert level_db(heard["programme"]) == pytest.approx(-3.0, abs=0.01)
    # The other track plays what is on it: nothing but hiss.
    assert level_db(heard["cue"]) < -45.0


def test_pitch_follows_the_tape_speed(outside_check: OutsideCheck) -> None:
    machine = SoundMachine()
    machine.record(1.6, programme="tone_1k")
    machine.play(1.2, ratio=1.03)
    measured = sound_measurement(machine.sound, "programme_frequency_hz")
    outside_check("tone of 1 kHz played 3 % fast", "DERIVED: f v / v0", 1030.0, measured, 0.5, "Hz")


@pytest.mark.parametrize("rate_hz", [8.0, 12.0])
def test_wow_of_the_capstan_is_a_modulation_of_frequency(rate_hz: float, outside_check: OutsideCheck) -> None:
    machine = SoundMachine()
    machine.record(2.0, programme="tone_1k")
    depth = 0.01
    time_s = np.arange(1201) * 0.001
    swing = depth / (2 * np.pi * rate_hz) * (1 - np.cos(2 * np.pi * rate_hz * time_s))
    places = START_M + machine.nominal_m_per_s * (time_s + swing)
    machine.sound.play_block(machine.reel, list(places), 1.2)
    # A sine of 1 % peak has 0.71 % rms; the rest that no servo removes adds to it in power.
    expected = math.hypot(100 * depth / math.sqrt(2), NORMAL_FLUTTER_PCT)
    measured = sound_measurement(machine.sound, "programme_flutter_pct")
    outside_check(f"flutter of 1 % peak at {rate_hz:g} Hz, rms", "DERIVED: a / sqrt(2)", expected, measured, 0.02, "%")
    # As lines in the spectrum: sidebands of a modulation index of deviation over rate.
    heard = machine.sound.heard("programme").astype(np.float64)
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(heard.size)))
    sideband = spectrum[round(1000 + rate_hz)] / spectrum[1000]
    index = 1000 * depth / rate_hz
    outside_check(
        f"first sideband of 1 % flutter at {rate_hz:g} Hz", "scipy: Bessel functions J1 / J0",
        abs(float(jv(1, index) / jv(0, index))), float(sideband), 0.15, "",
    )  # fmt: skip


def test_normal_flutter_is_small_and_a_dirty_capstan_shows() -> None:
    machine = SoundMachine()
    machine.record(1.6, programme="tone_1k")
    machine.play(1.4)
    assert sound_measurement(machine.sound, "programme_flutter_pct") < 0.1
    machine.sound.condition = SoundCondition(flutter_pct=0.5)
    machine.play(1.4)
    assert sound_measurement(machine.sound, "programme_flutter_pct") == pytest.approx(0.5, abs=0.15)


def test_blank_tape_hisses_less_than_recorded_tape_and_no_tape_is_silent() -> None:
    machine = SoundMachine()
    blank = level_db(machine.play(0.8)["programme"][8000:])
    machine.record(1.0, programme="silence")
    recorded = machine.play(0.8)
    assert blank + 2.0 < level_db(recorded["programme"][8000:]) < -50.0
    # DERIVED: a track of 0.020 in hisses 10 log (0.070 / 0.020) = 5.4 dB more than one of 0.070 in.
    machine.record(1.0, programme="silence", cue="silence")
    recorded = machine.play(0.8)
    more_db = level_db(recorded["cue"][8000:]) - level_db(recorded["programme"][8000:])
    assert more_db == pytest.approx(10 * math.log10(3.5), abs=0.5)
    machine.sound.condition = SoundCondition(hiss_db=12.0)
    assert level_db(machine.play(0.8)["programme"][8000:]) > -46.0
    assert not np.any(machine.sound.play_block(None, [0.0, 0.1], 0.1)["programme"])


def test_a_tape_that_stands_or_is_wound_is_not_heard_unless_asked_for() -> None:
    machine = SoundMachine()
    machine.record(3.0, programme="tone_1k")
    machine.play(0.5)
    for ratio in (0.0, 15.0, -15.0):
        machine.sound.hear_winding = False
        muted = machine.play(0.3, ratio=ratio, start_m=START_M + 0.6)["programme"]
        assert not np.any(muted[SAMPLE_RATE_HZ // 10 :])
    machine.sound.hear_winding = True
    machine.sound.choose_source("programme", "voice")
    fast = machine.play(0.3, ratio=-5.0, start_m=START_M + 1.1)["programme"][4000:8000].astype(np.float64)
    # A tone is as high as the tape is fast, forward or backward.
    spectrum = np.abs(np.fft.rfft(fast * np.hanning(fast.size)))
    assert np.argmax(spectrum) * SAMPLE_RATE_HZ / fast.size == pytest.approx(5000.0, abs=100.0)


def test_the_amplifier_opens_and_shuts_without_a_click() -> None:
    machine = SoundMachine()
    machine.record(2.0, programme="tone_1k")
    speed = np.concatenate([np.zeros(5), np.linspace(0, 1, 20), np.ones(20), np.linspace(1, 0, 20), np.zeros(5)])
    places = START_M + np.concatenate([[0.0], np.cumsum(speed)]) * machine.nominal_m_per_s * 0.01
    heard = machine.sound.play_block(machine.reel, list(places), 0.01 * speed.size)["programme"].astype(np.float64)
    # A sine of 1.2 kHz at most steps by 0.24 from sample to sample.
    assert np.max(np.abs(np.diff(heard))) < 0.26


def test_hum_stands_at_the_mains_frequency() -> None:
    for standard, mains_hz in (("525/60", 60), ("625/50", 50)):
        machine = SoundMachine(standard)
        machine.sound.condition = SoundCondition(hum_db=-20.0)
        machine.play(1.0)
        spectrum = np.abs(np.fft.rfft(machine.sound.heard("programme")))
        assert np.argmax(spectrum) == mains_hz
        assert 20 * math.log10(spectrum[mains_hz] / (SAMPLE_RATE_HZ / 2)) == pytest.approx(-20.0, abs=0.1)


def test_a_note_lies_on_the_cue_track_and_is_heard_there() -> None:
    machine = SoundMachine()
    spoken = np.sin(2 * np.pi * 440.0 * np.arange(16000) / SAMPLE_RATE_HZ)
    machine.sound.take_note(spoken * 0.02)
    start_m, end_m = machine.sound.lay_note(machine.reel, START_M)
    assert end_m - start_m == pytest.approx(0.5 * machine.nominal_m_per_s)
    heard = machine.play(0.9)["cue"]
    assert np.argmax(np.abs(np.fft.rfft(heard[3200:12800]))) * SAMPLE_RATE_HZ / 9600 == pytest.approx(440.0, abs=4.0)
    assert level_db(heard[17000:]) < -40.0
    assert machine.sound.source_names()[-1] == OWN_NOTE
    machine.sound.choose_source("programme", OWN_NOTE)
    machine.record(0.5)
    assert level_db(machine.play(0.4)["programme"][4800:]) > -30.0


@pytest.mark.parametrize(
    ("samples", "why"),
    [
        (np.zeros(0), "no sound"),
        (np.zeros((2, 2)), "no sound"),
        (np.zeros(3200), "silent.*microphone"),
        (np.array([0.0, math.nan]), "damaged"),
        (np.ones(20 * SAMPLE_RATE_HZ + 1), "longer than 20 s"),
    ],
)
def test_a_bad_note_is_refused_and_the_one_before_is_kept(samples: np.ndarray, why: str) -> None:
    sound = SoundSystem(get_standard("525/60"))
    with pytest.raises(SoundError, match="no note of your own"):
        sound.choose_source("cue", OWN_NOTE)
    kept = sound.take_note(np.sin(np.arange(3200)))
    with pytest.raises(SoundError, match=why):
        sound.take_note(samples)
    assert sound.note is kept
    assert own_note(np.sin(np.arange(3200))).duration_s == 0.1


def test_a_reel_without_its_ring_is_not_recorded_on() -> None:
    machine = SoundMachine(reel=Reel("kept", "Kept reel", "525/60", 60.0, ring_fitted=False))
    with pytest.raises(BandbenchError, match="ring is off"):
        machine.sound.record_block(machine.reel, ("cue",), machine.knots(BLOCK_S))
    assert not machine.reel.segments("cue")


@pytest.mark.parametrize("bad", [[1.0], [1.0, math.nan], []])
def test_positions_that_make_no_sense_are_refused(bad: list[float]) -> None:
    with pytest.raises(SoundError, match="positions"):
        SoundSystem(get_standard("525/60")).play_block(None, bad, 0.1)
    with pytest.raises(SoundError, match="duration"):
        SoundSystem(get_standard("525/60")).play_block(None, [0.0, 1.0], 0.0)


def test_unknown_names_are_refused_with_the_known_ones() -> None:
    sound = SoundSystem(get_standard("625/50"))
    with pytest.raises(BandbenchError, match="'programme', 'cue'"):
        sound.choose_source("left", "voice")
    with pytest.raises(BandbenchError, match="tone_1k"):
        sound.choose_source("cue", "trumpet")
    with pytest.raises(BandbenchError, match="programme_level_db"):
        sound_measurement(sound, "loudness")
    assert sound.source_names() == tuple(SOURCES)


def test_same_inputs_same_samples() -> None:
    first, second, other = (SoundMachine(seed=seed) for seed in (4, 4, 5))
    for machine in (first, second, other):
        machine.record(0.5, programme="voice", cue="tone_1k")
    heard = [machine.play(0.4) for machine in (first, second, other)]
    for track in ("programme", "cue"):
        np.testing.assert_array_equal(heard[0][track], heard[1][track])
        assert np.any(heard[0][track] != heard[2][track])


def test_before_the_beginning_of_the_tape_there_is_nothing_to_hear() -> None:
    machine = SoundMachine()
    heard = machine.play(0.3, start_m=0.0)["programme"]
    assert heard.size == round(0.3 * SAMPLE_RATE_HZ)
    assert level_db(heard) < -50.0


@settings(max_examples=25, deadline=None)
@given(frequency=st.floats(0.001, 0.375), phase=st.floats(0.0, 6.28), place=st.floats(0.0, 30.0))
def test_between_samples_a_wave_goes_on(frequency: float, phase: float, place: float) -> None:
    at = HALF_LENGTH + 1 + place
    wave = np.sin(2 * np.pi * frequency * np.arange(80) + phase)
    exact = math.sin(2 * math.pi * frequency * at + phase)
    assert float(interpolate(wave, np.array([at]))[0]) == pytest.approx(exact, abs=2e-3)


def test_a_take_of_another_speed_plays_at_its_own_pitch() -> None:
    machine = SoundMachine()
    take = SoundTake(origin_m=0.0, source=Tone(1000.0), speed_m_per_s=machine.nominal_m_per_s * 1.02)
    machine.reel.record("programme", 0.0, 10.0, take)
    machine.play(1.2)
    measured = sound_measurement(machine.sound, "programme_frequency_hz")
    assert measured == pytest.approx(1000.0 / 1.02, abs=0.5)


def test_the_endless_tape_plays_what_would_be_recorded_now() -> None:
    machine = SoundMachine()
    machine.sound.choose_source("programme", "tone_10k")
    machine.sound.settings = SoundSettings(audio_azimuth_arcmin=25.0, audio_record_level_db=2.0)

    def levels(recorded_here: bool) -> float:
        machine.position_m = START_M
        for _ in range(8):
            tape = machine.sound.endless_tape(recorded_here)
            machine.sound.play_block(tape, machine.knots(BLOCK_S), BLOCK_S)
        return sound_measurement(machine.sound, "programme_level_db")

    # Its own recording was made with the head as it stands; another machine's was made with a square one.
    assert levels(True) == pytest.approx(-8.0, abs=0.2)
    wave_m = machine.nominal_m_per_s / 1e4
    loss_db = 20 * math.log10(np.sinc(1.778e-3 * math.tan(math.radians(25.0 / 60)) / wave_m))
    assert levels(False) == pytest.approx(-10.0 + loss_db, abs=0.2)
    with pytest.raises(SoundError, match="put another reel on"):
        machine.sound.record_block(machine.sound.endless_tape(), ("cue",), machine.knots(BLOCK_S))
