"""Every text of the bench's own, by key. Names and texts of controls, stages, readings and lessons are `sim`'s.

Contents: `WORDS`, `say` and `words_of`. ``{name}`` is filled in.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["WORDS", "say", "words_of"]

WORDS: Mapping[str, str] = MappingProxyType(
    {
        # Controls
        "controls.number": "{label}: number in {unit}",
        "controls.reset": "Reset",
        "controls.reset_name": "{label}: back to {value}",
        "controls.head": "Head {head}",
        "controls.heads": "The four heads",
        "controls.keys": "Arrow keys turn a control by one step, with Shift by a fine step; Page Up and Page Down by "
        "a coarse one; Home returns it.",
        "controls.outside": "{value} {unit} is outside {minimum} to {maximum} {unit}. Still at {kept}.",
        "controls.not_a_number": "“{text}” is not a number. Still at {kept}.",
        "controls.none": "There is nothing to turn at this stage: look at its signal on the waveform monitor.",
        "controls.closed": "not part of this lesson",
        "controls.tape": "Tape",
        "controls.programme": "Programme",
        "controls.own_button": "Play your own picture …",
        "controls.own": "Your picture: {name}",
        "controls.fixed": "The lesson decides what is on the tape.",
        "controls.on": "on",
        "controls.off": "off",
        # Signal path
        "path.list": "Stages of the signal path, from tape to output",
        "path.closed": "not in this lesson",
        "path.tape": "RF {value}",
        "path.straight": "bands straight",
        "path.lean": "lean {value}",
        "path.bow": "bow {value}",
        "path.aside": "head {head} {value}",
        "path.no_sync": "no steady sync",
        "path.all_on": "four on",
        "path.some_off": "off: {heads}",
        "path.apart": "{value} apart",
        "path.switcher": "RF {value}",
        "path.noise": "S/N {value}",
        "path.no_reading": "no reading",
        "path.processing": "clean sync",
        "path.output": "mean {value}",
        # Instruments
        "meters.head": "Head",
        "meters.rf": "RF level",
        "meters.position": "Position of bands",
        "meters.tracking": "Tracking meter",
        "meters.tracking_of": "of full RF",
        "meters.none": "no reading",
        "meters.heads": "The four heads",
        "meters.closed": "Dimmed readings are not needed in this lesson.",
        "meters.early": "left",
        "meters.late": "right",
        # Picture monitor
        "picture.play": "Play",
        "picture.pause": "Pause",
        "picture.magnify": "Magnify ×2",
        "picture.heads": "Head numbers",
        "picture.describe": "Describe",
        "picture.source": "Signal shown",
        "picture.processed": "Processed video",
        "picture.demodulated": "Demodulated video",
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
        "scope.magnify": "Magnify",
        "scope.position": "Position",
        "scope.line": "One line",
        "scope.line_number": "Line number",
        "scope.describe": "Describe",
        "scope.bad_line": "There are lines 1 to {lines}.",
        "scope.axis_of": "Share of nominal",
        "scope.axis_level": "Level [{unit}]",
        "scope.axis_time": "Time [{unit}]",
        "scope.line_sentence": "Waveform monitor: {point}, line {line} alone, from {low} to {high} {unit}.",
        # Lesson card
        "lesson.choose": "What would you like to do?",
        "lesson.choose_text": "The bench is live already: play with it, or choose.",
        "lesson.learn": "Learn",
        "lesson.learn_text": "A guided lesson with steps, hints and a check of the signals.",
        "lesson.practise": "Practise",
        "lesson.practise_text": "The whole bench, and a hidden fault to find if you like.",
        "lesson.demonstrate": "Demonstrate",
        "lesson.demonstrate_text": "Everything open: plant any fault and show what it does.",
        "lesson.change": "Choose something else",
        "lesson.leave": "Leave the lesson",
        "lesson.minutes": "about {minutes} minutes",
        "lesson.objectives": "You will be able to",
        "lesson.cautions": "On a real machine",
        "lesson.begin": "Begin the lesson",
        "lesson.none": "There is no lesson in this build. Choose Practise instead.",
        "lesson.seed": "Variation {seed}",
        "lesson.step": "Step {number} of {total}",
        "lesson.expect": "What to expect",
        "lesson.watch": "Watch",
        "lesson.next": "Next step",
        "lesson.back": "Back",
        "lesson.check_title": "Check",
        "lesson.check": "Check the signals",
        "lesson.check_text": "Measures the signals as they are now.",
        "lesson.in_tolerance": "in tolerance",
        "lesson.out_of_tolerance": "not in tolerance",
        "lesson.target": "Target",
        "lesson.source": "Tolerance from",
        "lesson.hints": "Hints",
        "lesson.hint_1": "Hint 1: what it looks like",
        "lesson.hint_2": "Hint 2: the cause",
        "lesson.hint_3": "Hint 3: the step",
        "lesson.open_hint": "Open hint {level} of 3",
        "lesson.restart": "Start over with a new variation",
        "lesson.result": "See the result",
        "lesson.briefing": "Briefing",
        "lesson.finished": "Passed. The bench stays open: turn what you like.",
        "lesson.hide": "Hide a fault",
        "lesson.hide_again": "Hide another fault",
        "lesson.hidden": "A fault is hidden in the machine. Look at the picture, the RF of each head and the "
        "waveforms: which stage, which head?",
        "lesson.reveal": "Show the fault",
        "lesson.right": "Put the machine right",
        "lesson.sound": "The machine is in order.",
        "lesson.fault": "Fault",
        "lesson.severity": "How bad",
        "lesson.plant": "Plant this fault",
        "lesson.planted": "{title}, {severity} % of the worst. {text}",
        # Result
        "result.title": "Result: {outcome}",
        "result.passed": "passed",
        "result.not_yet": "not yet",
        "result.lesson": "{title}, variation {seed}",
        "result.check": "Check",
        "result.value": "Measured",
        "result.target": "Target and tolerance",
        "result.verdict": "Outcome",
        "result.source": "Tolerance from",
        "result.in_tolerance": "in tolerance",
        "result.out_of_tolerance": "not in tolerance",
        "result.moves": "Moves: {moves}. Time: {minutes} min {seconds} s. Hints opened: {hints}.",
        "result.forbidden": "Not allowed: {text}",
        "result.what": "What happened",
        "result.why": "Why",
        "result.next": "What next",
        "result.again": "Again with a new variation",
        "result.close": "Back to the bench",
        "result.over_time": "Your moves over time",
        "result.time": "Time [s]",
        "result.of_unit": "{label} [{unit}]",
        "result.yours": "your setting",
        "result.reference": "right setting",
        "result.reading": "reading",
        "result.band": "in tolerance",
        # Log
        "log.undo": "Undo the last move",
        "log.none": "Nothing has been turned yet.",
        "log.move": "{label}: {before} to {after}",
        "log.undone": "Took back {label}.",
    }
)


def say(key: str, **values: object) -> str:
    """Return a text, filled in."""
    return WORDS[key].format(**values)


def words_of(prefix: str) -> dict[str, str]:
    """Return the texts whose keys begin with ``prefix.``, by the rest of their key."""
    return {key.removeprefix(f"{prefix}."): text for key, text in WORDS.items() if key.startswith(f"{prefix}.")}
