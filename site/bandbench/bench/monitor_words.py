"""Every text of the picture monitor and the waveform monitor, and of the tables that can be kept, by key.

Contents: `MONITOR_WORDS`, a part of `bandbench.bench.words.WORDS`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["MONITOR_WORDS"]

MONITOR_WORDS: Mapping[str, str] = MappingProxyType(
    {
        # Picture monitor
        "picture.play": "Play",
        "picture.pause": "Pause",
        "picture.magnify": "Magnify",
        "picture.heads": "Head numbers",
        "picture.describe": "Describe",
        "picture.source": "Signal shown",
        "picture.compare": "Compare with",
        "picture.nothing": "nothing",
        "picture.kept": "the picture kept",
        "picture.keep": "Keep picture",
        "picture.split": "Split",
        "picture.whole": "Other alone",
        "picture.save": "Save PNG",
        "picture.sentence_split": "Right of {split} %: {shown} Left of it, to compare: {compared}",
        "picture.sentence_whole": "To compare, alone: {compared}",
        "picture.left": "Look further left",
        "picture.right": "Look further right",
        "picture.up": "Look further up",
        "picture.down": "Look further down",
        "picture.magnified": "Magnified picture: arrow keys move it",
        "picture.pan": "Move the magnified picture",
        "picture.paused": "The picture stands still, as your system asks for little motion. Play starts it.",
        # Waveform monitor
        "scope.point": "Test point",
        "scope.rate": "Sweep",
        "scope.line_rate": "Line rate",
        "scope.field_rate": "Field rate",
        "scope.wheel_rate": "Wheel turn",
        "scope.pass_rate": "Head pass",
        "scope.servo_rate": "4 seconds",
        "scope.axis_error": "Error [{unit}]",
        "scope.magnify": "Magnify",
        "scope.position": "Position",
        "scope.line": "One line",
        "scope.line_number": "Line number",
        "scope.describe": "Describe",
        "scope.vectors": "Vectorscope",
        "scope.spectrum": "Spectrum",
        "scope.on_cards": "On a card: power off, card on the extender",
        "scope.save_screen": "Save PNG",
        "scope.save_table": "Save CSV",
        "scope.axis_frequency": "Frequency [MHz]",
        "scope.axis_power": "Power against the carrier [dB]",
        "scope.axis_carrier": "Carrier [{unit}]",
        "scope.axis_u": "B−Y [{unit}]",
        "scope.axis_v": "R−Y [{unit}]",
        "scope.bad_line": "There are lines 1 to {lines}.",
        "scope.axis_of": "Share of nominal",
        "scope.axis_level": "Level [{unit}]",
        "scope.axis_time": "Time [{unit}]",
        "scope.line_sentence": "Waveform monitor: {point}, line {line} alone, from {low} to {high} {unit}.",
        # Tables to keep
        "snapshot.instrument": "Instrument",
        "snapshot.shows": "Shows",
        "snapshot.standard": "Standard",
        "snapshot.practice": "Practice",
        "snapshot.tape": "Tape",
        "snapshot.programme": "Programme",
        "snapshot.frame": "Frame",
        "snapshot.controls": "Controls that differ from their defaults",
        "snapshot.no_controls": "none",
        "snapshot.waveform": "Waveform monitor",
        "snapshot.bandwidth": "bandwidth {khz} kHz, mean of {pieces} pieces",
    }
)
