"""The composite test signals: bars, red field, grid, stairs, multiburst, flat, sweep, pulse and bar.

Contents: `BarLayout`, `bar_layout`, `bar_interval`, `SignalSpec`, `SIGNALS`, `make_signal`.

Each signal is drawn in continuous time on one line, or on the rows of the picture, as a `sim.signals.encoder.Drawing`;
`composite` then gates it into the active part of the frame, modulates its colour and gives it sync and burst. Places
along a line are parts of the active line, 0 at its left edge and 1 at its right, and levels are parts of white, so
that both standards share the drawings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import UnknownNameError
from sim.signals.encoder import Drawing, Frame, composite, encode_rgb
from sim.signals.shapes import SINE_SQUARED_RISE, FloatArray, sine_squared_pulse, step
from sim.signals.timing import active_interval_s, line_time_s, visible_rows
from sim.standards import Standard
from sim.wording import wording

__all__ = ["SIGNALS", "BarLayout", "SignalSpec", "bar_interval", "bar_layout", "make_signal"]

# The strip under the bars of RS-189-A (from memory): -I, white, Q and black.
IQ_WIDTH = 5.0 / 28.0
IQ_PEAK_PART_OF_WHITE = 0.2
MINUS_I_DEG = 303.0
Q_DEG = 33.0

# TRADE: the red of 75 % bars, over the whole picture.
RED_FIELD_RGB = (0.75, 0.0, 0.0)

# MODEL: square cells on a 4:3 picture, lines at the cells' centres; two rows a line, one in each field.
GRID_COLUMNS = 16
GRID_ROWS = 12
GRID_PART_OF_WHITE = 0.75

STAIR_STEPS = 10
# The subcarrier laid over a stair stands where the burst stands: at minus B-Y (TRADE in NTSC, MODEL in PAL).
STAIR_CARRIER_SIGN = -1.0

# Layout and level MODEL: far enough from black and white that a high packet is not clipped by any stage, and mean
# grey is the same under every packet.
MULTIBURST_FLAG = (0.03, 0.12)
MULTIBURST_FIRST = 0.15
MULTIBURST_PITCH = 0.14
MULTIBURST_WIDTH = 0.115
MID_GREY_PART_OF_WHITE = 0.5
WAVE_PEAK_PART_OF_WHITE = 0.3

# MODEL: from 0.2 MHz to the end of the video band along one line.
SWEEP_START_HZ = 0.2e6
SWEEP_SPAN = (0.03, 0.97)

# MODEL: where the pulse and the bar stand on the line.
PULSE_PLACE = 0.2
BAR_SPAN = (0.4, 0.8)


@dataclass(frozen=True)
class BarLayout:
    """The bars of the test signal "bars", equally wide from left to right.

    Attributes
    ----------
    names : tuple of str
        What each bar is called.
    rgb : tuple of (red, green, blue)
        Its colour, 0 to 1.
    upper_part : float
        How far down the picture the bars reach; a strip of other colours fills the rest.
    source : str
        Where this comes from.
    """

    names: tuple[str, ...]
    rgb: tuple[tuple[float, float, float], ...]
    upper_part: float
    source: str


# From memory: the 75 % bars of both standards, in falling order of luminance.
_SIX_NAMES = ("yellow", "cyan", "green", "magenta", "red", "blue")
_SIX_RGB = (
    (0.75, 0.75, 0.0),
    (0.0, 0.75, 0.75),
    (0.0, 0.75, 0.0),
    (0.75, 0.0, 0.75),
    (0.75, 0.0, 0.0),
    (0.0, 0.0, 0.75),
)
_BARS: Mapping[str, BarLayout] = MappingProxyType(
    {
        "NTSC": BarLayout(
            names=("grey", *_SIX_NAMES),
            rgb=((0.75, 0.75, 0.75), *_SIX_RGB),
            upper_part=0.75,
            source="RS-189-A, from memory: 75 % bars over a quarter of -I, white, Q, black",
        ),
        "PAL": BarLayout(
            names=("white", *_SIX_NAMES, "black"),
            rgb=((1.0, 1.0, 1.0), *_SIX_RGB, (0.0, 0.0, 0.0)),
            upper_part=1.0,
            source="EBU 100/0/75/0 bars (white 100 %, colours 75 %), from memory",
        ),
    }
)


@dataclass(frozen=True)
class SignalSpec:
    """One test signal: what it is called, what it is for, where its numbers come from, how it is drawn."""

    name: str
    title: str
    description: str
    source: str
    draw: Callable[[Standard], Drawing]


def bar_layout(standard: Standard) -> BarLayout:
    """Return which bars the test signal "bars" has in a standard.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> bar_layout(get_standard("625/50")).names[:2]
    ('white', 'yellow')
    """
    return _BARS[standard.colour_system]


def bar_interval(standard: Standard, name: str, inner_part: float = 0.4) -> slice:
    """Return the samples of a line that lie in the middle of a bar.

    Parameters
    ----------
    standard : Standard
        Decides the bars.
    name : str
        One of ``bar_layout(standard).names``.
    inner_part : float
        How much of the bar's width to take.

    Raises
    ------
    UnknownNameError
        If there is no such bar.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> bar_interval(get_standard("525/60"), "yellow")
    slice(275, 318, None)
    """
    names = bar_layout(standard).names
    if name not in names:
        raise UnknownNameError("bar", name, names)
    centre = (names.index(name) + 0.5) / len(names)
    half = 0.5 * inner_part / len(names)
    first, last = (_place_s(standard, centre + side * half) * standard.sample_rate_hz for side in (-1.0, 1.0))
    return slice(round(first), round(last))


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


def _part_of_white(standard: Standard, part: float) -> float:
    return standard.blanking_level + part * (standard.white_level - standard.blanking_level)


def _chroma_inset(standard: Standard) -> float:
    """Return half a chrominance edge as part of the active line.

    Chrominance begins and ends that far inside the active line, so that blanking cannot cut its edges.
    """
    start_s, end_s = active_interval_s(standard)
    return 0.5 * _chroma_rise_s(standard) / SINE_SQUARED_RISE / (end_s - start_s)


def _colour_treads(standard: Standard, colours: FloatArray, edges: FloatArray) -> FloatArray:
    """Return a colour difference that holds each value (n,) until the next edge (n - 1,) and is 0 at both ends."""
    inset = _chroma_inset(standard)
    places = np.concatenate([[inset], edges, [1.0 - inset]])
    return _treads(standard, np.pad(colours, 1), places, _chroma_rise_s(standard))


def _bars(standard: Standard) -> Drawing:
    layout = bar_layout(standard)
    luma, u, v = encode_rgb(np.array(layout.rgb), standard)
    edges = np.arange(1.0, len(luma)) / len(luma)
    upper = _treads(standard, luma, edges, _luma_rise_s(standard))
    upper_u, upper_v = (_colour_treads(standard, colours, edges) for colours in (u, v))
    if layout.upper_part == 1.0:
        return Drawing(upper[None, :], upper_u[None, :], upper_v[None, :])

    black, white = standard.setup_level, standard.white_level
    strip_edges = IQ_WIDTH * np.arange(1.0, 4.0)
    strip = _treads(standard, np.array([black, white, black, black]), strip_edges, _luma_rise_s(standard))
    angles = np.deg2rad([MINUS_I_DEG, Q_DEG])
    peak = IQ_PEAK_PART_OF_WHITE * (white - standard.blanking_level)
    strip_u, strip_v = (
        _colour_treads(standard, peak * np.array([axis[0], 0.0, axis[1], 0.0]), strip_edges)
        for axis in (np.cos(angles), np.sin(angles))
    )
    is_lower = _lower_rows(standard, layout.upper_part)
    return Drawing(
        np.where(is_lower, strip, upper), np.where(is_lower, strip_u, upper_u), np.where(is_lower, strip_v, upper_v)
    )


def _red(standard: Standard) -> Drawing:
    luma, u, v = encode_rgb(np.array([RED_FIELD_RGB]), standard)
    field_u, field_v = (_colour_treads(standard, colours, np.zeros(0)) for colours in (u, v))
    return Drawing(luma[None, :], field_u[None, :], field_v[None, :])


def _grid(standard: Standard) -> Drawing:
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
    return Drawing(standard.setup_level + height * np.maximum(vertical, horizontal))


def _stair(standard: Standard, carrier_part_of_white: float = 0.0) -> Drawing:
    levels = np.linspace(standard.setup_level, standard.white_level, STAIR_STEPS + 1)
    edges = np.arange(1.0, STAIR_STEPS + 1) / (STAIR_STEPS + 1)
    luma = _treads(standard, levels, edges, _luma_rise_s(standard))[None, :]
    if not carrier_part_of_white:
        return Drawing(luma)
    peak = 0.5 * carrier_part_of_white * (standard.white_level - standard.blanking_level)
    carrier = _colour_treads(standard, np.array([STAIR_CARRIER_SIGN * peak]), np.zeros(0))[None, :]
    return Drawing(luma, carrier, np.zeros((1, 1)))


def _multiburst(standard: Standard) -> Drawing:
    time_s = line_time_s(standard)
    grey, white = _part_of_white(standard, MID_GREY_PART_OF_WHITE), standard.white_level
    peak = WAVE_PEAK_PART_OF_WHITE * (white - standard.blanking_level)
    line = grey + (white - grey) * _gate(standard, MULTIBURST_FLAG, _luma_rise_s(standard))
    for place, frequency_hz in enumerate(standard.multiburst_hz):
        start = MULTIBURST_FIRST + place * MULTIBURST_PITCH
        envelope = _gate(standard, (start, start + MULTIBURST_WIDTH), _chroma_rise_s(standard))
        phase = 2.0 * np.pi * frequency_hz * (time_s - _place_s(standard, start))
        line += peak * envelope * np.sin(phase)
    return Drawing(line[None, :])


def _flat(standard: Standard) -> Drawing:
    return Drawing(np.full((1, 1), _part_of_white(standard, MID_GREY_PART_OF_WHITE)))


def _sweep(standard: Standard) -> Drawing:
    begin_s, end_s = (_place_s(standard, part) for part in SWEEP_SPAN)
    since_s = line_time_s(standard) - begin_s
    slope = (standard.video_bandwidth_hz - SWEEP_START_HZ) / (end_s - begin_s)
    phase = 2.0 * np.pi * (SWEEP_START_HZ * since_s + 0.5 * slope * since_s**2)
    envelope = _gate(standard, SWEEP_SPAN, _chroma_rise_s(standard))
    peak = WAVE_PEAK_PART_OF_WHITE * (standard.white_level - standard.blanking_level)
    return Drawing((_part_of_white(standard, MID_GREY_PART_OF_WHITE) + peak * envelope * np.sin(phase))[None, :])


def _pulse_bar(standard: Standard) -> Drawing:
    pulse = sine_squared_pulse(line_time_s(standard) - _place_s(standard, PULSE_PLACE), standard.pulse_2t_s)
    bar = _gate(standard, BAR_SPAN, _luma_rise_s(standard))
    height = standard.white_level - standard.setup_level
    return Drawing((standard.setup_level + height * (pulse + bar))[None, :])


SIGNALS: Mapping[str, SignalSpec] = MappingProxyType(
    {
        spec.name: spec
        for spec in (
            SignalSpec(
                "bars",
                wording("signals.colour_bars"),
                wording("signals.colour_bars_75_525"),
                "525: RS-189-A, 625: EBU 100/0/75/0 bars, both from memory; levels and phases DERIVED from the "
                "encoding equations",
                _bars,
            ),
            SignalSpec(
                "red",
                wording("signals.red_field"),
                wording("signals.one_even_red_75"),
                "TRADE; level and phase DERIVED from the encoding equations",
                _red,
            ),
            SignalSpec(
                "grid",
                wording("signals.grid"),
                wording("signals.thin_white_lines_sixteen"),
                "MODEL: square cells, upright lines are 2T pulses of 75 % white",
                _grid,
            ),
            SignalSpec(
                "stair",
                wording("signals.stair"),
                wording("signals.ten_equal_steps_from"),
                "MODEL: ten risers, eleven equal treads from setup to white",
                _stair,
            ),
            SignalSpec(
                "stair_20",
                wording("signals.stair_20_subcarrier"),
                wording("signals.stair_under_even_subcarrier"),
                "amplitude from memory; phase of the subcarrier that of burst in 525, minus B-Y in 625 (MODEL)",
                partial(_stair, carrier_part_of_white=0.2),
            ),
            SignalSpec(
                "stair_40",
                wording("signals.stair_40_subcarrier"),
                wording("signals.stair_under_even_subcarrier_2"),
                "amplitude from memory; phase of the subcarrier that of burst in 525, minus B-Y in 625 (MODEL)",
                partial(_stair, carrier_part_of_white=0.4),
            ),
            SignalSpec(
                "multiburst",
                wording("signals.multiburst"),
                wording("signals.white_flag_six_packets"),
                "frequencies from memory; layout, centre at half white and 60 % of white peak to peak MODEL",
                _multiburst,
            ),
            SignalSpec(
                "flat",
                wording("signals.flat_grey"),
                wording("signals.one_even_grey_over"),
                "MODEL: half of white",
                _flat,
            ),
            SignalSpec(
                "sweep",
                wording("signals.sweep"),
                wording("signals.one_frequency_sweep_along"),
                "MODEL: 0.2 MHz to the end of the video band, linear in time, centre at half white and 60 % of white "
                "peak to peak",
                _sweep,
            ),
            SignalSpec(
                "pulse_bar",
                wording("signals.pulse_bar"),
                wording("signals.narrow_pulse_just_fits"),
                "2T pulse of 250 ns (525) or 200 ns (625) from memory; places on the line MODEL",
                _pulse_bar,
            ),
        )
    }
)


def make_signal(name: str, standard: Standard, colour_frame: int = 0, *, monochrome: bool = False) -> Frame:
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
        From 0: which frame of the standard's colour sequence, two frames in NTSC and four in PAL.
    monochrome : bool, default False
        True leaves burst and colour out.

    Returns
    -------
    ndarray, float32, (lines, samples)
        Time order, row 0 is line 1, sample 0 of each row is 0H. [level unit]

    Raises
    ------
    UnknownNameError
        If there is no such signal; the message lists those there are.
    ValueError
        If `colour_frame` is not in the sequence.

    Notes
    -----
    One frame only: repeating it repeats the subcarrier's phase, which a real signal takes a whole sequence to do.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> frame = make_signal("flat", get_standard("525/60"))
    >>> frame.shape, frame.dtype, float(frame[100, 400])
    ((525, 910), dtype('float32'), 50.0)
    >>> make_signal("flat", get_standard("625/50"), 3).shape
    (625, 1134)
    """
    if name not in SIGNALS:
        raise UnknownNameError("test signal", name, SIGNALS)
    return _made(name, standard, colour_frame, monochrome).copy()


# Each takes some 2 MB; a bench goes to and fro between a few.
@lru_cache(maxsize=4)
def _made(name: str, standard: Standard, colour_frame: int, monochrome: bool) -> Frame:
    """Return what `make_signal` does, made once: to copy it takes a fiftieth of the time."""
    return composite(standard, SIGNALS[name].draw(standard), colour_frame, monochrome=monochrome)
