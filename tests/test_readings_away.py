"""With the readings put away from the console, no number that an instrument reads goes to the class's page at all."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import pytest

from bandbench.bench.application import BenchApplication
from bandbench.bench.view import Part
from tests.bench_clock import Clock

# A numeral with the unit of an instrument. Metres, seconds and places on the timer tell where the tape is.
READING = re.compile(
    r"[\d.]+[\s\N{NO-BREAK SPACE}]?(?:dB|µs|us|ns|IRE|mV|[kM]?Hz|%|°|deg|rev/s|kPa|N|h|lines|cycles)(?!\w)"
)
# What a hand has set is no reading.
SETTINGS = ("controls", "log")
DESCRIBED = (("monitor", {"do": "describe"}), ("scope", {"describe": True}), ("sound", {"do": "describe"}))


class Class:
    """The class's window without a browser: the bench, its views, and what each has sent to the page."""

    def __init__(self) -> None:
        self.clock = Clock()
        self.application = BenchApplication(self.clock)
        self.bench = self.application.bench
        self.say(kind="hello")
        self.do("mode", mode="demonstrate")

    def say(self, **message: object) -> None:
        self.application.on_console(json.dumps(message))

    def do(self, action: str, **value: object) -> None:
        self.say(kind="do", number=1, action=action, value=value)
        told = json.loads(self.application.next_console())
        assert [one["problem"] for one in told if one["kind"] == "answer"] == [""]

    def look(self) -> None:
        """Let every view look at the bench as it is, and press every Describe."""
        self.clock.now_s += 0.1
        for _ in range(8):
            self.application.tick(0.0)
        for name, message in DESCRIBED:
            getattr(self.application, name).receive(message)

    def sent(self) -> set[str]:
        """Return every text with a reading's numeral that stands in the page now, by part and parameter."""
        found = set()
        for place, part in self.application.roots().items():
            if not isinstance(part, Part) or place in SETTINGS:
                continue
            for name, value in part.param.values().items():
                for text in texts(value):
                    if READING.search(text):
                        found.add(f"{place}.{name}: {text}")
        return found


def texts(value: object) -> Iterator[str]:
    """Yield every text of a part's parameter; what is sent as JSON is taken apart."""
    if isinstance(value, str):
        try:
            inner = json.loads(value)
        except ValueError:
            yield value
        else:
            if isinstance(inner, dict | list):
                yield from texts(inner)
            else:
                yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from texts(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from texts(inner)


def states_of(here: Class) -> Iterator[set[str]]:
    """Yield what the page holds at every stage, in play with much planted and at rest with nothing planted."""
    for planted in (True, False):
        if planted:
            here.do("plant", fault="clogged_head_3", severity=0.4)
            here.do("hide_value", name="guide_offset_um", to=40)
            here.do("hide_value", name="demodulator_gain_db", to=-3)
            here.do("why", choice="shown")
        else:
            here.do("clear")
            here.bench.do_act("stop")
            here.clock.now_s += 4.0
        sent: set[str] = set()
        # The others have no drawing with numbers of its own.
        for stage in ("tape", "headwheel", "demodulator", "record_drive"):
            here.bench.choose_stage(stage)
            here.look()
            sent |= here.sent()
        yield sent


@pytest.mark.parametrize("shown", [False, True], ids=["away", "shown"])
def test_what_is_put_away_never_goes_to_the_page(shown: bool) -> None:
    here = Class()
    # One frame of each state is enough.
    here.do("freeze", frozen=True)
    here.do("readings", shown=shown)
    first, second = states_of(here)
    # What is the same of two machines so different is print on the panels, not read from them.
    read = first ^ second
    zones = {text.split(".")[0] for text in read}
    if shown:
        assert zones >= {"instruments", "path", "services", "sound", "why", "picture", "waveform-settings"}
    else:
        assert read == set()
