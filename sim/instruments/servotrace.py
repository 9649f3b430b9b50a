"""Traces of the servos: their errors over the last seconds as a slow sweep, their pulses and ramps over one frame.

Contents: `ServoTrace`, `servo_trace`, `servo_wave_trace`, `is_servo_wave`, `describe_servo_trace`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import UnknownNameError
from sim.instruments.testpoints import TEST_POINTS
from sim.servos import SERVO_WAVEFORMS, TRACES, ServoHistory, ServoWaveform
from sim.servos.describe import swing
from sim.servos.history import HISTORY_S
from sim.wording import unit_words, wording

__all__ = ["ServoTrace", "describe_servo_trace", "is_servo_wave", "servo_trace", "servo_wave_trace"]

_WAVE = "servo_wave_"

# What swings to and fro by less than this share of the trace's range is not told as a swing (MODEL).
_LEAST_SWING = 0.02


@dataclass(frozen=True)
class ServoTrace:
    """One error of the servos over the last seconds.

    Attributes
    ----------
    test_point : str
        Of kind "servo".
    time_s : ndarray of float64, (moments,)
        Moments against now: negative, the last is 0. [s]
    values : ndarray of float64, (moments,)
        In `unit`.
    length_s : float
        How long the sweep is. [s]
    y_range : tuple of float
        What the screen's bottom and top stand for, in `unit`.
    unit : str
        Unit of the trace.
    """

    test_point: str
    time_s: NDArray[np.float64]
    values: NDArray[np.float64]
    length_s: float
    y_range: tuple[float, float]
    unit: str


def servo_trace(history: ServoHistory, test_point: str) -> ServoTrace:
    """Return a trace of the servos.

    Parameters
    ----------
    history : ServoHistory
        What the servos did.
    test_point : str
        A test point of kind "servo".

    Raises
    ------
    UnknownNameError
        If it is no such test point.
    """
    point = TEST_POINTS.get(test_point)
    if point is None or point.trace not in TRACES or is_servo_wave(test_point):
        known = [name for name, known in TEST_POINTS.items() if known.kind == "servo" and not is_servo_wave(name)]
        raise UnknownNameError("test point of the servos", test_point, known)
    spec = TRACES[point.trace]
    return ServoTrace(test_point, history.time_s, history.trace(spec.name), HISTORY_S, spec.range, spec.unit)


def is_servo_wave(test_point: str) -> bool:
    """Tell whether a test point shows a waveform of the servos over one frame."""
    return test_point.startswith(_WAVE)


def servo_wave_trace(wave: ServoWaveform) -> ServoTrace:
    """Return a waveform of the servos over one frame, its end as the present."""
    length_s = float(wave.time_s[-1] + wave.time_s[1])
    spec = SERVO_WAVEFORMS[wave.name]
    return ServoTrace(_WAVE + wave.name, wave.time_s - length_s, wave.values, length_s, spec.range, "of nominal")


def describe_servo_trace(trace: ServoTrace) -> str:
    """Return what a servo trace shows in a sentence: where it stands, between what it moved, and whether it swings."""
    label = TEST_POINTS[trace.test_point].label
    if not trace.values.size:
        return wording("describe.waveform_monitor_nothing_yet", label=label)
    if is_servo_wave(trace.test_point):
        reach = wording(
            "describe.from_nominal_height", trace=f"{trace.values.min():+.2f}", trace_2=f"{trace.values.max():+.2f}"
        )
        return wording("describe.waveform_monitor_over_one", label=label, reach=reach)
    low, high = trace.y_range
    parts = [
        wording("describe.now", trace=f"{trace.values[-1]:+.3g}", unit=unit_words(trace.unit)),
        wording(
            "describe.last_s_from",
            time_s=f"{-trace.time_s[0]:.1f}",
            trace=f"{trace.values.min():.3g}",
            trace_2=f"{trace.values.max():.3g}",
            unit=unit_words(trace.unit),
        ),
    ]
    swings = swing(trace.values, _LEAST_SWING * (high - low))
    if swings is not None:
        parts.append(wording("describe.swinging_fro", swings=f"{swings:.3g}", unit=unit_words(trace.unit)))
    return wording("describe.waveform_monitor", label=label, parts=", ".join(parts))
