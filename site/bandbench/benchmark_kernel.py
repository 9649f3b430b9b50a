"""Time the recomputation of full frames: run natively and, as text, inside the browser, by `bandbench.benchmark`."""

from __future__ import annotations

import json
import random
import statistics
import time
from collections.abc import Callable

from bandbench.bench.classsample import sample_log
from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from sim.condition import Condition
from sim.correction import CORRECTIONS
from sim.instruments import colour_picture, picture
from sim.recorder import Recorder
from sim.standards import PRACTICES, Practice
from sim.training.reportmachine import report_machine_for
from sim.training.rescore import worth_of
from sim.training.verdicts import VerdictKeys, verdict_from_text, verdict_text

__all__ = ["KNOWN", "REPORT", "frame_times_ms", "report_times_ms"]

REPORT = "class report, a log"
"""Name of the row of a log that is scored; all lessons count alike."""

KNOWN = "class report, a log scored before"
"""Name of the row of a log whose verdict is kept."""

_REPEATS = 15


def frame_times_ms() -> dict[str, float]:
    """Return the median time from a change to the finished picture, by what changed. [ms]"""
    recorder = Recorder()

    def played(index: int) -> None:
        picture(recorder.play_frame(index))

    def moved(control: str, start: float, step: float) -> Callable[[int], None]:
        def once(index: int) -> None:
            recorder.set_control(control, start + step * index)
            played(index)

        return once

    cases = {
        "next frame": played,
        "tracking moved": moved("tracking_phase_deg", 1.0, 0.5),
        "a channel's gain moved": moved("channel_gain_db_1", -1.0, 0.1),
        "guide moved": moved("guide_position_um", -20.0, 1.0),
        "recorded anew": moved("fm_deviation_khz", 2000.0, 2.0),
    }
    times = {name: _median_ms(once) for name, once in cases.items()}
    for practice in PRACTICES.values():
        times[f"{practice.name}, monochrome"] = _median_ms(_player(practice, colour=False))
        times[f"{practice.name}, colour"] = _median_ms(_player(practice, colour=True))
    return times


def report_times_ms() -> dict[str, float]:
    """Return the mean time that the class report takes for a log, over all lessons. [ms]"""
    lessons = read_lessons().values()
    keys = VerdictKeys("benchmark", lessons, FAULTS)
    chance = random.Random(1)
    scoring_s = knowing_s = 0.0
    for lesson in lessons:
        machine = report_machine_for(lesson, FAULTS)
        # The first one also makes the machine ready.
        first, log = (sample_log(lesson, seed, FAULTS, chance) for seed in (1, 2))
        worth_of(lesson, first, machine, FAULTS)
        started_s = time.perf_counter()
        worth = worth_of(lesson, log, machine, FAULTS)
        scored_s = time.perf_counter()
        scoring_s += scored_s - started_s
        text = verdict_text(str(keys.key(log)), worth)
        started_s = time.perf_counter()
        verdict_from_text(str(keys.key(log)), text)
        knowing_s += time.perf_counter() - started_s
    return {REPORT: 1000.0 * scoring_s / len(lessons), KNOWN: 1000.0 * knowing_s / len(lessons)}


def _player(practice: Practice, *, colour: bool) -> Callable[[int], None]:
    """Return what plays a frame of bars, a little displaced and unsteady as on a real machine, and shows it."""
    unsteady = Condition(wheel_jitter_ns=100.0)
    recorder = Recorder(practice.standard, practice.name, condition=unsteady, controls={"guide_position_um": 5.0})
    recorder.set_control("correction", CORRECTIONS.index("colour" if colour else "off"))
    show = colour_picture if colour else picture

    def once(index: int) -> None:
        show(recorder.play_frame(index))

    return once


def _median_ms(once: Callable[[int], None]) -> float:
    once(0)
    times = []
    for index in range(1, _REPEATS + 1):
        started_s = time.perf_counter()
        once(index)
        times.append(1000 * (time.perf_counter() - started_s))
    return statistics.median(times)


def as_json() -> str:
    """Return all times as text, the way out of the browser."""
    return json.dumps(frame_times_ms() | report_times_ms())
