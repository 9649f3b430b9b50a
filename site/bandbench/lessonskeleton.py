"""The lesson that ``bandbench lessons new`` writes: short, commented, and done by the linter as it stands.

Contents: `skeleton`.
"""

from __future__ import annotations

__all__ = ["skeleton"]


def skeleton(lesson_id: str) -> str:
    """Return the text of a new lesson file, to be changed line by line while the linter keeps passing."""
    return _TEXT.replace("@ID@", lesson_id)


_TEXT = '''#:schema ./lesson.schema.json
# A lesson is data. Change this one bit by bit and try it after each change:
#   bandbench lessons lint lessons/@ID@.toml --seeds 2
format_version = 1
# Raise this with every change that can change a score.
version = 1
id = "@ID@"
title = "Tracking, from low RF to the peak"
# 1 to 20, or "diagnosis", "line-up", "assessment".
topic = 2
objectives = ["Set tracking for the most RF."]
# Ids of the lessons that come before this one.
prerequisites = []
minutes = 5
# beginner, intermediate or advanced.
level = "beginner"
# demonstration (the lesson does every step), guided (it does the first `worked` steps), practice, diagnosis or
# assessment.
mode = "guided"
worked = 1
standard = "525/60"
practice = "525 high-band"
tape = "alignment-525"
signal = "grid"
# What the trainee may move, and what there is to look at.
controls = ["tracking_phase_deg"]
instruments = ["picture", "waveform", "rf_level_db"]
# Controls (or questions) in the order that harms neither tape nor head, once there are at least two groups:
# order = [["tracking_phase_deg"], ["guide_position_um"]]
briefing = """
The picture is noisy. Set **tracking** for the most RF. Then submit.
"""
cautions = [
  "On a real machine its manual, the site's rules, the local codes and a qualified person come first.",
  "This simulator certifies nobody.",
]
references = []
# Moves that endanger tape or heads bar the pass; without any, the list is empty.
forbidden = []

# The state that is delivered, dealt anew from each seed: fixed, uniform, either_side, normal or choice.
[start]
# Checks that must fail as delivered.
must_fail = ["rf"]

[start.controls.tracking_phase_deg]
distribution = "either_side"
centre = 0.0
minimum = 15.0
maximum = 35.0

[start.condition.tracking_offset_deg]
distribution = "uniform"
minimum = -5.0
maximum = 5.0

# Faults of lessons/faults.toml, by name, entry or group, instead of a condition or beside it:
# [start.fault_choice]
# from = ["heads", "tracking_drifted"]
# count = 1

[[steps]]
title = "Look"
text = "Read the RF as delivered."
expect = "It is low on all four heads alike."
watch = ["rf_level_db"]

# The operator of the linter turns the control of a step and looks at what it is told to watch; nothing else.
[[steps]]
title = "Peak the RF"
stage = "tape"
control = "tracking_phase_deg"
watch = ["rf_level_db"]
text = "Turn tracking over the top of the RF and back to the highest reading."
expect = "A clear peak, and the noise goes."

# What must be in tolerance: `target`, or `peak` (no more than the tolerance below the best there is).
[[checks]]
name = "rf"
title = "RF level"
measurement = "rf_level_db"
kind = "peak"
tolerance = 0.3
unit = "dB"
source = "0.3 dB below the peak is 2 degrees of tracking"
# PUB, QUOTED, DERIVED, TRADE, MEMORY or MODEL: MEMORY and MODEL are never shown as a standard.
provenance = "MODEL"
weight = 1.0
hold_s = 1.0

# What must be told: choice, numeric, head or cause (see the schema for the keys of each).
[[questions]]
name = "reading"
title = "RF as delivered"
text = "What did the RF level read before you turned anything?"
kind = "numeric"
answer_measurement = "rf_level_db"
tolerance = 0.5
unit = "dB"
source = "as near as the meter is read"
provenance = "MODEL"
weight = 1.0
explain = "Beside its track a head reads less of it: 20 log of the overlap."

[hints]
symptom = "The whole picture is noisy, and all four heads are low alike."
cause = "The heads run beside their tracks."
step = "Turn tracking until `RF level` stops rising, go past it, and come back."

# The right settings: value + gain x the hidden condition it cancels.
[[solution]]
control = "tracking_phase_deg"
value = 0.0
cancels = "tracking_offset_deg"
text = "Tracking for the most RF: it takes back the phase between control track and wheel."

# Instead of the empty list above:
# [[forbidden]]
# control = "guide_position_um"
# above = 120.0
# reason = "the guide that far in presses the heads deep into the tape."

[debrief]
what = "Where the RF stopped rising the heads were over their tracks."
why = "Beside the track less of the head reads, and the RF falls by 20 log of the overlap."
next = "Do it again from another seed."
chain = ["The tape stands off by part of a track.", "Each head reads less of its track.", "RF falls, noise rises."]
'''
