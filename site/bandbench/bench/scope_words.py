"""What the waveform monitor is connected to and shows: in a sentence, as a table to keep, and by a file's name.

Contents: `of_servos`, `left_edge`, `vector_point`, `spectrum_point`, `spectrum_shown`, `servos_shown`, `sentence_of`,
`table_of`, `name_of`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from bandbench.bench.readings import number, typeset, unit_sign
from bandbench.bench.snapshot import csv_text, file_name
from bandbench.bench.words import say
from sim.instruments import (
    RF_POINTS,
    TEST_POINTS,
    ServoTrace,
    Spectrum,
    describe_servo_trace,
    describe_spectrum,
    describe_superposition,
    describe_waveform,
    is_servo_wave,
    line_trace,
    rf_spectrum,
    servo_trace,
    servo_wave_trace,
    superposition,
    sweep_table,
    waveform,
)
from sim.instruments.vectorscope import VECTOR_POINTS, describe_vectorscope, vectorscope
from sim.servos import servo_waveform

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = [
    "COLUMNS",
    "HEADS",
    "VECTOR_SIZE",
    "left_edge",
    "name_of",
    "of_servos",
    "sentence_of",
    "servos_shown",
    "spectrum_point",
    "spectrum_shown",
    "table_of",
    "vector_point",
]

COLUMNS = 480
VECTOR_SIZE = 240

HEADS = "rf_heads"
"""The test point that shows the four channels over each other."""

# Samples of a piece of the spectrum: magnified, it tells closer lines apart.
_SAMPLES, _SAMPLES_MAGNIFIED = 1024, 4096


def of_servos(bench: Bench) -> bool:
    """Tell whether a trace of the servos is shown, which has a sweep of its own."""
    return bench.scope.display == "waveform" and TEST_POINTS[bench.scope.test_point].kind == "servo"


def left_edge(bench: Bench) -> float:
    """Return the left edge of the magnified screen as a share of the sweep."""
    return min(bench.scope.position, 1.0 - 1.0 / bench.scope.magnify)


def vector_point(bench: Bench) -> str:
    """Return the video nearest to the test point that a vectorscope can show."""
    point = bench.scope.test_point
    if point == "processed" and not bench.in_colour:
        # Monochrome processing takes the burst out, which a vectorscope locks to.
        return "corrected"
    return point if point in VECTOR_POINTS else "demodulated"


def spectrum_point(bench: Bench) -> str:
    """Return the RF nearest to the test point that a spectrum analyser can show."""
    point = bench.scope.test_point
    if point in RF_POINTS:
        return point
    return "modulator_rf" if point in ("input", "pre_emphasised", "electronics") else "rf_switched"


def spectrum_shown(bench: Bench) -> Spectrum:
    """Return the spectrum of the RF."""
    samples = _SAMPLES if bench.scope.magnify == 1 else _SAMPLES_MAGNIFIED
    return rf_spectrum(bench.frame, spectrum_point(bench), samples=samples)


def servos_shown(bench: Bench) -> ServoTrace:
    """Return the trace of the servos."""
    station, point = bench.station, bench.scope.test_point
    if not is_servo_wave(point):
        return servo_trace(station.servo_history, point)
    settings = station.wheel_settings
    condition, name = bench.recorder.condition.servos, TEST_POINTS[point].trace
    return servo_wave_trace(
        servo_waveform(name, station.wheel, station.capstan, settings, condition, station.frame_index)
    )


def sentence_of(bench: Bench) -> str:
    """Return what the monitor shows; nothing of it while an instructor has the readings put away."""
    scope, frame = bench.scope, bench.frame
    if not bench.readings_shown:
        return say("meters.away_judge")
    if scope.display == "vectors":
        return typeset(describe_vectorscope(frame, vector_point(bench)))
    if scope.display == "spectrum":
        return typeset(describe_spectrum(spectrum_shown(bench)))
    if of_servos(bench):
        return typeset(describe_servo_trace(servos_shown(bench)))
    if scope.line is None:
        if scope.test_point == HEADS:
            return typeset(describe_superposition(superposition(frame, scope.rate)))
        return typeset(describe_waveform(waveform(frame, scope.test_point, scope.rate)))
    trace = line_trace(frame, scope.test_point, scope.line)
    return say(
        "scope.line_sentence",
        point=TEST_POINTS[scope.test_point].label,
        line=scope.line,
        low=number(float(trace.y.min()), 2),
        high=number(float(trace.y.max()), 2),
        unit=unit_sign(trace.y_unit),
    )


def table_of(bench: Bench) -> str:
    """Return what the monitor shows as a table to keep."""
    scope, frame = bench.scope, bench.frame
    columns: dict[str, Any]
    if scope.display == "vectors":
        raster = vectorscope(frame, vector_point(bench), size=VECTOR_SIZE)
        row, column = np.nonzero(raster.image)
        places = (np.stack([column, row]) + 0.5) * (2.0 * raster.limit / VECTOR_SIZE) - raster.limit
        columns = {
            f"B-Y [{raster.unit}]": places[0],
            f"R-Y [{raster.unit}]": places[1],
            "brightness [0 to 1]": raster.image[row, column],
        }
        return csv_text(bench, _instrument(bench), sentence_of(bench), columns)
    if scope.display == "spectrum":
        spectrum = spectrum_shown(bench)
        columns = {"frequency [MHz]": spectrum.frequency_hz / 1e6, "power [dB of carrier]": spectrum.power_db}
    elif of_servos(bench):
        moved = servos_shown(bench)
        what = "level" if is_servo_wave(scope.test_point) else "error"
        columns = {"time [s]": moved.time_s, f"{what} [{moved.unit}]": moved.values}
    elif scope.line is not None:
        trace = line_trace(frame, scope.test_point, scope.line)
        columns = {"time [us]": trace.x, f"level [{trace.y_unit}]": trace.y}
    else:
        table = sweep_table(
            frame,
            scope.test_point,
            scope.rate,
            columns=COLUMNS,
            magnify=scope.magnify,
            position=left_edge(bench),
        )
        columns = {
            f"time [{table.x_unit}]": table.x,
            f"lowest [{table.y_unit}]": table.low,
            f"mean [{table.y_unit}]": table.mean,
            f"highest [{table.y_unit}]": table.high,
        }
    return csv_text(bench, _instrument(bench), sentence_of(bench), columns)


def _shown_names(bench: Bench) -> tuple[str, ...]:
    """Return what tells this screen from others, for the name of a file."""
    scope = bench.scope
    if scope.display == "vectors":
        return ("vectorscope", vector_point(bench))
    if scope.display == "spectrum":
        return ("spectrum", spectrum_point(bench))
    if of_servos(bench):
        return ("waveform", scope.test_point)
    sweep = f"{scope.rate} rate" if scope.line is None else f"line {scope.line}"
    return ("waveform", scope.test_point, sweep)


def _instrument(bench: Bench) -> str:
    """Return instrument, test point and how it is set."""
    scope = bench.scope
    if scope.display == "vectors":
        return f"{say('scope.vectors')}: {TEST_POINTS[vector_point(bench)].label}"
    point = spectrum_point(bench) if scope.display == "spectrum" else scope.test_point
    if scope.display == "spectrum":
        spectrum = spectrum_shown(bench)
        how = say("snapshot.bandwidth", khz=f"{spectrum.bandwidth_hz / 1e3:.1f}", pieces=spectrum.pieces)
        return f"{say('scope.spectrum')}: {TEST_POINTS[point].label}, {how}"
    if of_servos(bench):
        return f"{say('snapshot.waveform')}: {TEST_POINTS[point].label}"
    sweep = say(f"scope.{scope.rate}_rate") if scope.line is None else f"{say('scope.line')} {scope.line}"
    return f"{say('snapshot.waveform')}: {TEST_POINTS[point].label}, {sweep}, ×{scope.magnify}"


def name_of(bench: Bench, kind: str) -> str:
    """Return the name of a file that keeps what is shown, of a kind: "png" or "csv"."""
    return file_name(bench, _shown_names(bench), kind)
