"""The sound part of the bench without a browser: what it tells the page, and what becomes of notes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from bandbench.bench.application import BenchApplication
from bandbench.bench.words import WORDS, words_of
from sim.reel import Reel
from sim.sound import OWN_NOTE, SAMPLE_RATE_HZ, SOUND_MEASUREMENTS, SOUND_TRACKS, SOURCES
from sim.sound.meters import level_db

SITE = Path(__file__).parents[1] / "site"
SPOKEN = np.sin(2 * np.pi * 300.0 * np.arange(SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ).astype(np.float32)


class Running:
    """The bench in Practise, and a clock that is wound by hand."""

    def __init__(self) -> None:
        self.now_s = 10.0
        self.application = BenchApplication(lambda: self.now_s)
        self.view = self.application.sound
        self.bench = self.application.bench
        self.bench.choose_mode("practise")
        self.application.tick(self.now_s)
        self.pass_time(2.0)

    def pass_time(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.1)):
            self.now_s += 0.1
            self.bench.advance(self.now_s)
            self.view.watch()

    def put_on(self, ring_fitted: bool = True) -> Reel:
        reel = Reel("scrap", "Scrap reel", "525/60", 200.0, ring_fitted=ring_fitted)
        self.bench.station.put_on(reel, "play", 5.0)
        self.pass_time(0.5)
        return reel


@pytest.fixture
def running() -> Running:
    return Running()


def test_readings_are_shown_with_units_and_bars(running: Running) -> None:
    shown = json.loads(running.view.panel.readings)
    assert set(shown) == set(SOUND_MEASUREMENTS)
    assert shown["programme_level_db"]["text"] == "+0.0\N{NO-BREAK SPACE}dB"
    assert shown["programme_level_db"]["share"] == pytest.approx(running.view.panel.zero, abs=0.01)
    assert shown["programme_frequency_hz"] == {"text": "1000\N{NO-BREAK SPACE}Hz", "share": None}
    assert shown["cue_frequency_hz"]["text"] is None
    points = np.array(json.loads(running.view.panel.trace)).reshape(-1, 2)
    assert np.max(np.abs(points)) == 100
    # The head stands square: both halves of the track give the same, on a line.
    np.testing.assert_allclose(points[:, 0], points[:, 1], atol=2)


def test_a_source_is_chosen_and_heard_on_the_endless_tape(running: Running) -> None:
    running.view.receive({"do": "source", "track": "cue", "value": "tone_10k"})
    assert running.view.panel.chosen == {"programme": "tone_1k", "cue": "tone_10k"}
    running.pass_time(1.6)
    tone_hz = float(json.loads(running.view.panel.readings)["cue_frequency_hz"]["text"].split()[0])
    assert tone_hz == pytest.approx(10000.0, abs=20.0)
    running.view.receive({"do": "describe"})
    assert "Cue track: -9.9 dB, a tone of" in running.view.panel.sentence
    running.view.receive({"do": "source", "track": "cue", "value": "trumpet"})
    assert "unknown sound source" in running.view.panel.notice
    assert running.view.panel.chosen["cue"] == "tone_10k"


def test_nothing_is_sent_until_somebody_listens(running: Running) -> None:
    assert running.application.next_sound() is None
    running.view.receive({"do": "listen", "value": "programme"})
    running.pass_time(0.5)
    block = running.application.next_sound()
    assert block is not None
    assert block.rate_hz == SAMPLE_RATE_HZ
    assert block.samples.dtype == np.float32
    assert block.samples.size == pytest.approx(0.5 * SAMPLE_RATE_HZ, abs=0.11 * SAMPLE_RATE_HZ)
    assert level_db(block.samples) == pytest.approx(0.0, abs=0.1)
    assert running.application.next_sound() is None
    running.view.receive({"do": "listen", "value": ""})
    running.pass_time(0.3)
    assert running.application.next_sound() is None


def test_a_note_on_the_endless_tape_is_heard_over_and_over(running: Running) -> None:
    running.view.receive({"do": "note_begins"})
    running.application.on_microphone(SPOKEN)
    assert "1.0 s is on the cue track of the endless tape" in running.view.panel.note
    assert running.view.panel.chosen["cue"] == OWN_NOTE
    assert [OWN_NOTE, WORDS["sound.own_note"]] in running.view.panel.sources
    running.pass_time(2.0)
    assert json.loads(running.view.panel.readings)["cue_frequency_hz"]["text"].startswith("300")


def test_a_note_on_a_running_reel_lies_where_it_was_begun(running: Running) -> None:
    reel = running.put_on()
    begun_m = running.bench.station.deck.position_m
    timer = running.bench.station.deck.timer_text
    running.view.receive({"do": "note_begins"})
    running.pass_time(1.0)
    running.application.on_microphone(SPOKEN)
    (segment,) = reel.segments("cue")
    # 9.25 in before what was at the wheel, from memory.
    assert segment.start_m == pytest.approx(begun_m - 9.25 * 0.0254, abs=1e-4)
    assert f"from {timer} on the tape timer" in running.view.panel.note
    assert running.view.panel.chosen["cue"] != OWN_NOTE


def test_a_note_that_cannot_be_put_on_tape_is_kept_and_told_why(running: Running) -> None:
    reel = running.put_on(ring_fitted=False)
    running.view.receive({"do": "note_begins"})
    running.application.on_microphone(SPOKEN)
    assert "not on tape: The record ring of this reel is off." in running.view.panel.note
    assert not reel.segments("cue")
    assert [OWN_NOTE, WORDS["sound.own_note"]] in running.view.panel.sources
    reel = running.put_on()
    running.bench.station.make_ready("standby")
    running.view.receive({"do": "note_begins"})
    running.application.on_microphone(SPOKEN)
    assert WORDS["sound.note_still"] in running.view.panel.note
    assert not reel.segments("cue")
    # Another reel while one spoke.
    running.put_on()
    running.view.receive({"do": "note_begins"})
    other = running.put_on()
    running.application.on_microphone(SPOKEN)
    assert WORDS["sound.note_reel"] in running.view.panel.note
    assert not other.segments("cue")


def test_a_silent_note_is_refused_and_changes_nothing(running: Running) -> None:
    running.view.receive({"do": "note_begins"})
    running.application.on_microphone(np.zeros(3200, np.float32))
    assert re.search("No note was taken: the note is silent.*The cue track is as it was", running.view.panel.note)
    assert running.view.panel.chosen["cue"] == "silence"
    assert len(running.view.panel.sources) == len(SOURCES)


def test_a_lesson_decides_about_the_sources(running: Running) -> None:
    assert running.view.panel.silent == ""
    running.bench.choose_mode("learn")
    running.bench.begin_lesson(running.now_s, seed=3)
    running.application.tick(running.now_s)
    assert running.view.panel.fixed
    assert running.view.panel.silent == WORDS["sound.held"]
    running.view.receive({"do": "source", "track": "programme", "value": "voice"})
    assert running.view.panel.notice == WORDS["sound.fixed"]
    assert running.view.panel.chosen["programme"] == "tone_1k"


def test_the_phase_display_compares_what_is_asked_for(running: Running) -> None:
    running.view.receive({"do": "figure", "value": "cue"})
    assert running.view.panel.figure == "cue"
    # Nothing but hiss on the cue track: a line across.
    points = np.array(json.loads(running.view.panel.trace)).reshape(-1, 2)
    assert np.ptp(points[:, 0]) > 190
    assert np.ptp(points[:, 1]) < 10
    running.view.receive({"do": "figure", "value": "nonsense"})
    assert running.view.panel.figure == "halves"


def test_the_wind_can_be_heard(running: Running) -> None:
    running.view.receive({"do": "winding", "value": True})
    assert running.bench.station.sound.hear_winding
    assert running.view.panel.winding


def test_an_unknown_message_is_an_error_of_ours(running: Running) -> None:
    with pytest.raises(ValueError, match="knows no 'sing'"):
        running.view.receive({"do": "sing"})


def test_every_refusal_of_the_microphone_says_what_was_kept_and_what_to_do() -> None:
    capture = (SITE / "static" / "sound.mjs").read_text("utf-8")
    codes = set(re.findall(r'return "(\w+)";', capture))
    assert codes == {"insecure", "unsupported", "denied", "missing", "busy", "failed"}
    for code in codes:
        text = words_of("sound")[f"no_note_{code}"]
        assert "The cue track is as it was." in text, code
        assert re.search(r"Allow|Connect|Close|Open|Try again|can be sent", text), code


def test_every_word_of_the_script_is_there() -> None:
    script = (SITE / "bandbench" / "bench" / "sound.mjs").read_text("utf-8")
    used = set(re.findall(r"words\.(\w+)", script)) | {"no_output"}
    used |= {key.removeprefix("programme_") for key in SOUND_MEASUREMENTS if key.startswith("programme_")}
    used.discard("flutter_peak_pct")
    assert used <= set(words_of("sound"))
    assert len(SOUND_TRACKS) == 2
