"""The composite test signals: bars, grid, stair, multiburst, flat, sweep, pulse and bar.

Contents: `SignalSpec`, `SIGNALS`, `make_signal`, `composite`.

Each signal is drawn in continuous time on one line, or on the rows of the picture, then gated into the
active part of the frame and given sync and burst by `composite`. Places along a line are parts of the active
line, 0 at its left edge and 1 at its right, so that a second scanning standard needs no second drawing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import UnknownNameError
from sim.signals.shapes import SINE_SQUARED_RISE, FloatArray, sine_squared_pulse, step
from sim.signals.timing import (
    active_gate,
    active_interval_s,
    burst,
    line_time_s,
    subcarrier,
    sync_pulses,
    visible_rows,
)
from sim.standards import Standard

__all__ = ["SIGNALS", "SignalSpec", "composite", "make_signal"]

Frame = NDArray[np.float32]

# Luminance and the two colour-difference weights of the NTSC encoding equations (physics.md section 8; from
# memory).
LUMA_WEIGHTS = (0.299, 0.587, 0.114)
B_Y_WEIGHT = 0.492111
R_Y_WEIGHT = 0.877283

# RS-189-A (from memory): seven bars of 75 % amplitude above a bottom quarter of -I, white, Q and black.
BARS_RGB = ((1, 1, 1), (1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1))
BARS_AMPLITUDE = 0.75
BARS_UPPER_PART = 0.75
IQ_WIDTH = 5.0 / 28.0
IQ_PEAK = 20.0
MINUS_I_DEG = 303.0
Q_DEG = 33.0

# MODEL: square cells on a 4:3 picture, lines at the cells' centres; two rows a line, one in each field.
GRID_COLUMNS = 16
GRID_ROWS = 12
GRID_PART_OF_WHITE = 0.75

STAIR_STEPS = 10

# Frequencies from memory; layout and level MODEL: far enough from black and white that a high packet is not
# clipped by any stage, and mean grey is the same under every packet.
MULTIBURST_HZ = (0.5e6, 1.25e6, 2.0e6, 3.0e6, 3.58e6, 4.1e6)
MULTIBURST_FLAG = (0.03, 0.12)
MULTIBURST_FIRST = 0.15
MULTIBURST_PITCH = 0.14
MULTIBURST_WIDTH = 0.115
MID_GREY = 50.0
WAVE_PEAK = 30.0

# MODEL: the whole video band of System M along one line.
SWEEP_HZ = (0.2e6, 4.2e6)
SWEEP_SPAN = (0.03, 0.97)

# MODEL: where the pulse and the bar stand on the line.
PULSE_PLACE = 0.2
BAR_SPAN = (0.4, 0.8)


@dataclass(frozen=True)
class SignalSpec:
    """One test signal: what it is called, what it is for, where its numbers come from, how it is made."""

    name: str
    title: str
    description: str
    source: str
    make: Callable[[Standard, int], Frame]


def composite(standard: Standard, picture: FloatArray, chroma: FloatArray | None, colour_frame: int) -> Frame:
    """Put a picture into the active part of a frame with sync, blanking and burst.

    Parameters
    ----------
    standard : Standard
        The scanning standard.
    picture : ndarray, broadcastable to (lines, samples)
        Luminance level everywhere; what falls into blanking is gated away. [level unit]
    chroma : ndarray, broadcastable to (lines, samples), or None
        Modulated chrominance about zero, already ended inside the active line. [level unit]
    colour_frame : int
        0 or 1: which frame of the pair.

    Returns
    -------
    ndarray, float32, (lines, samples)
        The composite signal. [level unit]

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> composite(get_standard("525/60"), np.full((1, 1), 50.0), None, 0)[20, [30, 400]].tolist()
    [-40.0, 50.0]
    """
    blanking = standard.blanking_level
    gate = active_gate(standard)
    frame = blanking + gate * (picture - blanking) + burst(standard, colour_frame)
    frame += (standard.sync_level - blanking) * sync_pulses(standard)
    if chroma is not None:
        frame += gate * chroma
    return frame.astype(np.float32)


def _place_s(standard: Standard, part: float) -> float:
    """Return the time after 0H of a place given as part of the active line."""
    start_s, end_s = active_interval_s(standard)
    return start_s + part * (end_s - start_s)


def _luma_rise_s(standard: Standard) -> float:
    """Rise of a 2T edge: the integral of a 2T pulse, which keeps its spectrum inside the video band."""
    return 2.0 * standard.pulse_2t_s * SINE_SQUARED_RISE


def _chroma_rise_s(standard: Standard) -> float:
    """Rise of a chrominance edge that fits between the subcarrier and the end of the video band.

    DERIVED from the rule of thumb rise x bandwidth = 0.35.
    """
    return 0.35 / (standard.video_bandwidth_hz - standard.subcarrier_hz)


def _gate(standard: Standard, span: tuple[float, float], rise_s: float) -> FloatArray:
    """Return 1 between two places of the active line and 0 outside, shape (samples,)."""
    time_s = line_time_s(standard)
    rising = step(time_s - _place_s(standard, span[0]), rise_s)
    return rising - step(time_s - _place_s(standard, span[1]), rise_s)


def _treads(standard: Standard, levels: FloatArray, edges: FloatArray, rise_s: float) -> FloatArray:
    """Return a line that holds each level until the next edge.

    Levels have the shape (n,), edges (n - 1,) as parts of the active line; the first level also fills the
    line before the picture and the last one the line after it.
    """
    time_s = line_time_s(standard)
    line = np.full(time_s.shape, levels[0])
    for edge, change in zip(edges, np.diff(levels), strict=True):
        line += change * step(time_s - _place_s(standard, edge), rise_s)
    return line


def _lower_rows(standard: Standard, upper_part: float) -> NDArray[np.bool_]:
    """Mark the lines of the frame below a part of the picture height, shape (lines, 1)."""
    rows = visible_rows(standard)
    marked = np.zeros((standard.lines_per_frame, 1), dtype=np.bool_)
    marked[rows[round(upper_part * len(rows)) :]] = True
    return marked


def _encode_bars(standard: Standard) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return luminance and the two weighted colour differences of the bars, each (7,), in level units."""
    rgb = BARS_AMPLITUDE * np.array(BARS_RGB)
    luma = rgb @ np.array(LUMA_WEIGHTS)
    white = standard.white_level - standard.setup_level
    b_y = white * B_Y_WEIGHT * (rgb[:, 2] - luma)
    r_y = white * R_Y_WEIGHT * (rgb[:, 0] - luma)
    return standard.setup_level + white * luma, b_y, r_y


def _bars(standard: Standard, colour_frame: int) -> Frame:
    luma_rise_s, chroma_rise_s = _luma_rise_s(standard), _chroma_rise_s(standard)
    start_s, end_s = active_interval_s(standard)
    # Chrominance begins and ends half an edge inside the active line, so that blanking cannot cut its edges.
    inset = 0.5 * chroma_rise_s / SINE_SQUARED_RISE / (end_s - start_s)
    chroma_outer = np.array([inset, 1.0 - inset])

    luma, b_y, r_y = _encode_bars(standard)
    edges = np.arange(1.0, len(luma)) / len(luma)
    chroma_edges = np.insert(chroma_outer, 1, edges)
    upper = _treads(standard, luma, edges, luma_rise_s)
    upper_b_y, upper_r_y = (
        _treads(standard, np.pad(axis, 1), chroma_edges, chroma_rise_s) for axis in (b_y, r_y)
    )

    black, white = standard.setup_level, standard.white_level
    lower_edges = IQ_WIDTH * np.arange(1.0, 4.0)
    lower = _treads(standard, np.array([black, white, black, black]), lower_edges, luma_rise_s)
    angles = np.deg2rad([MINUS_I_DEG, Q_DEG])
    lower_chroma_edges = np.concatenate([chroma_outer[:1], lower_edges])
    lower_b_y, lower_r_y = (
        _treads(
            standard, IQ_PEAK * np.array([0.0, axis[0], 0.0, axis[1], 0.0]), lower_chroma_edges, chroma_rise_s
        )
        for axis in (np.cos(angles), np.sin(angles))
    )

    is_lower = _lower_rows(standard, BARS_UPPER_PART)
    sine, cosine = subcarrier(standard, colour_frame)
    chroma = (
        np.where(is_lower, lower_b_y, upper_b_y) * sine + np.where(is_lower, lower_r_y, upper_r_y) * cosine
    )
    return composite(standard, np.where(is_lower, lower, upper), chroma, colour_frame)


def _grid(standard: Standard, colour_frame: int) -> Frame:
    time_s = line_time_s(standard)
    vertical = np.zeros_like(time_s)
    for column in range(GRID_COLUMNS):
        centre_s = _place_s(standard, (column + 0.5) / GRID_COLUMNS)
        vertical += sine_squared_pulse(time_s - centre_s, standard.pulse_2t_s)
    rows = visible_rows(standard)
    below = np.round((np.arange(GRID_ROWS) + 0.5) / GRID_ROWS * len(rows)).astype(np.int64)
    horizontal = np.zeros((standard.lines_per_frame, 1))
    horizontal[rows[np.concatenate([below - 1, below])]] = 1.0
    height = GRID_PART_OF_WHITE * (standard.white_level - standard.setup_level)
    picture = standard.setup_level + height * np.maximum(vertical, horizontal)
    return composite(standard, picture, None, colour_frame)


def _stair(standard: Standard, colour_frame: int) -> Frame:
    levels = np.linspace(standard.setup_level, standard.white_level, STAIR_STEPS + 1)
    edges = np.arange(1.0, STAIR_STEPS + 1) / (STAIR_STEPS + 1)
    return composite(
        standard, _treads(standard, levels, edges, _luma_rise_s(standard))[None, :], None, colour_frame
    )


def _multiburst(standard: Standard, colour_frame: int) -> Frame:
    time_s = line_time_s(standard)
    flag = _gate(standard, MULTIBURST_FLAG, _luma_rise_s(standard))
    line = MID_GREY + (standard.white_level - MID_GREY) * flag
    for place, frequency_hz in enumerate(MULTIBURST_HZ):
        start = MULTIBURST_FIRST + place * MULTIBURST_PITCH
        envelope = _gate(standard, (start, start + MULTIBURST_WIDTH), _chroma_rise_s(standard))
        phase = 2.0 * np.pi * frequency_hz * (time_s - _place_s(standard, start))
        line += WAVE_PEAK * envelope * np.sin(phase)
    return composite(standard, line[None, :], None, colour_frame)


def _flat(standard: Standard, colour_frame: int) -> Frame:
    return composite(standard, np.full((1, 1), MID_GREY), None, colour_frame)


def _sweep(standard: Standard, colour_frame: int) -> Frame:
    begin_s, end_s = (_place_s(standard, part) for part in SWEEP_SPAN)
    since_s = line_time_s(standard) - begin_s
    slope = (SWEEP_HZ[1] - SWEEP_HZ[0]) / (end_s - begin_s)
    phase = 2.0 * np.pi * (SWEEP_HZ[0] * since_s + 0.5 * slope * since_s**2)
    envelope = _gate(standard, SWEEP_SPAN, _chroma_rise_s(standard))
    return composite(standard, (MID_GREY + WAVE_PEAK * envelope * np.sin(phase))[None, :], None, colour_frame)


def _pulse_bar(standard: Standard, colour_frame: int) -> Frame:
    pulse = sine_squared_pulse(line_time_s(standard) - _place_s(standard, PULSE_PLACE), standard.pulse_2t_s)
    bar = _gate(standard, BAR_SPAN, _luma_rise_s(standard))
    height = standard.white_level - standard.setup_level
    return composite(standard, (standard.setup_level + height * (pulse + bar))[None, :], None, colour_frame)


SIGNALS: Mapping[str, SignalSpec] = MappingProxyType(
    {
        spec.name: spec
        for spec in (
            SignalSpec(
                "bars",
                "Colour bars",
                "Seven colour bars at 75 % over a strip of minus-I, white, Q, black: for levels and colour.",
                "RS-189-A, from memory; levels and phases DERIVED from the NTSC encoding equations",
                _bars,
            ),
            SignalSpec(
                "grid",
                "Grid",
                "Thin white lines, sixteen upright and twelve level, on black: for geometry and timing.",
                "MODEL: square cells, upright lines are 2T pulses of 75 % white",
                _grid,
            ),
            SignalSpec(
                "stair",
                "Stair",
                "Ten equal steps from black to white without colour: for linearity of level.",
                "MODEL: ten risers, eleven equal treads from setup to white",
                _stair,
            ),
            SignalSpec(
                "multiburst",
                "Multiburst",
                "A white flag and six packets of rising frequency at one amplitude: for frequency response.",
                "frequencies from memory; layout, 50 IRE centre and 60 IRE peak to peak MODEL",
                _multiburst,
            ),
            SignalSpec(
                "flat",
                "Flat grey",
                "One even grey over the whole picture: for noise and for uneven head channels.",
                "MODEL: 50 IRE",
                _flat,
            ),
            SignalSpec(
                "sweep",
                "Sweep",
                "One frequency sweep along each line, low at the left and high at the right: for frequency "
                "response without gaps.",
                "MODEL: 0.2 to 4.2 MHz, linear in time, 50 IRE centre and 60 IRE peak to peak",
                _sweep,
            ),
            SignalSpec(
                "pulse_bar",
                "Pulse and bar",
                "A narrow pulse that just fits the video band and a wide bar: for ringing and smear.",
                "2T pulse of 250 ns from memory; places on the line MODEL",
                _pulse_bar,
            ),
        )
    }
)


def make_signal(name: str, standard: Standard, colour_frame: int = 0) -> Frame:
    """Make one frame of a test signal.

    The frame is complete: sync, blanking and burst surround the picture. It is ready for the modulator of a
    recorder and for a waveform monitor.

    Parameters
    ----------
    name : str
        A key of `SIGNALS`.
    standard : Standard
        The scanning standard.
    colour_frame : int, default 0
        0 or 1: which frame of the pair; the second has the subcarrier turned over.

    Returns
    -------
    ndarray, float32, (lines, samples)
        Time order, row 0 is line 1, sample 0 of each row is 0H. [level unit]

    Raises
    ------
    UnknownNameError
        If there is no such signal; the message lists those there are.
    ValueError
        If `colour_frame` is neither 0 nor 1.

    Notes
    -----
    One frame only: repeating it repeats the subcarrier's phase, which a real signal takes two frames to do.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> frame = make_signal("flat", get_standard("525/60"))
    >>> frame.shape, frame.dtype, float(frame[100, 400])
    ((525, 910), dtype('float32'), 50.0)
    """
    try:
        spec = SIGNALS[name]
    except KeyError:
        raise UnknownNameError("test signal", name, SIGNALS) from None
    return spec.make(standard, colour_frame)
