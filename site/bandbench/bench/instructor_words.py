"""Every text of the instructor's console, by key.

Contents: `INSTRUCTOR_WORDS`, a part of `bandbench.bench.words.WORDS`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["INSTRUCTOR_WORDS"]

INSTRUCTOR_WORDS: Mapping[str, str] = MappingProxyType(
    {
        # Hidden values an instructor can move
        "hidden.tracking_offset_deg": "Tracking off",
        "hidden.guide_offset_um": "Guide in (+) or out",
        "hidden.guide_height_offset_um": "Guide high (+) or low",
        "hidden.noise_db": "RF noise above normal",
        "hidden.switch_timing_offset_us": "Switcher late",
        "hidden.wheel_jitter_ns": "Wheel unsteady, peak",
        "hidden.capstan_swing_deg": "Tracking swings by",
        "hidden.wheel_servo_gain_offset_db": "Wheel servo gain off",
        "hidden.capstan_servo_gain_offset_db": "Capstan servo gain off",
        "hidden.control_head_db": "Control head level",
        "hidden.tape_dropouts_per_frame": "Dropouts of the tape",
        "hidden.tape_edge_db": "RF at the tape's edge",
        "hidden.demodulator_gain_db": "Demodulator level off",
        "hidden.video_hum_pct": "Hum in the video",
        "hidden.input_level_offset_db": "Input level off",
        "hidden.record_deviation_offset_khz": "Record deviation off",
        "hidden.head_timing_offset_ns": "Head {head} early",
        "hidden.head_output_db": "Head {head} output",
        "hidden.head_debris_um": "Debris under head {head}",
        "hidden.channel_gain_offset_db": "Channel {head} gain off",
        "hidden.channel_eq_offset_db": "Channel {head} equaliser off",
        "hidden.channel_noise_db": "Channel {head} noise above normal",
        "hidden.record_current_best_pct": "Head {head} record current at peak",
        # Instructor
        "instructor.stage": "Stage",
        "instructor.tape": "Tape",
        "instructor.programme": "Signal",
        "instructor.deck": "Transport",
        "instructor.locks": "Locks",
        "instructor.no_locks": "none",
        "instructor.count": "Cue {number} of {total}",
        "instructor.none_shown": "No demonstration is shown: choose one and start it first.",
        "instructor.first": "This is the first cue.",
        "instructor.last": "This was the last cue: end the demonstration, or start another.",
        "instructor.no_cue": "There is no cue {number}: this demonstration has {total}.",
        "instructor.no_mark": "There is no mark {number} any more.",
        "instructor.mark_lesson": "Only the open bench can be marked: choose Demonstrate or Practise.",
        "instructor.mark_second": "This cannot be marked: the second machine is worked on, or a copy stands at the "
        "input.",
        "instructor.mark_moving": "This cannot be marked: the tape winds, records, runs up or is not threaded. Play, "
        "stand by or stop, then mark.",
        "instructor.mark_bench": "{mode}, {stage}",
        "instructor.lesson_running": "variation {seed}, step {step} of {total}, moves {moves}, hints {hints}",
        "instructor.lesson_over": "finished",
        "instructor.no_mode": "Before the choice",
        "instructor.at_least": "{limit} or more",
        "instructor.at_most": "{limit} or less",
        "instructor.between": "{low} to {high}",
        "instructor.swings": "swings by {text}",
        "instructor.nothing": "nothing to read",
        "instructor.shown": "shown",
    }
)
