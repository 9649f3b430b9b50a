"""What surrounds the picture: sync, blanking, burst, and which samples are picture.

Contents: `line_time_s`, `sync_pulses`, `active_gate`, `active_interval_s`, `subcarrier`, `v_sense`, `burst_lines`,
`burst`, `blanking_template`, `visible_rows`, `visible_columns`.

One frame is an array of shape ``(lines, samples)`` in time order, each row starting at 0H, the
half-amplitude point of the leading edge of line sync, which falls exactly on sample 0. Row 0 is line 1. The
frame is one of a sequence of two (NTSC) or four (PAL), which differ in the phase of the subcarrier (`colour_frame`).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.signals.shapes import FloatArray, periodic_pulses
from sim.standards import Standard

__all__ = [
    "active_gate",
    "active_interval_s",
    "blanking_template",
    "burst",
    "burst_lines",
    "line_time_s",
    "subcarrier",
    "sync_pulses",
    "v_sense",
    "visible_columns",
    "visible_rows",
]


def line_time_s(standard: Standard) -> FloatArray:
    """Return the time of each sample of a line after 0H.

    Returns
    -------
    ndarray, (samples,)
        Time. [s]

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> (line_time_s(get_standard("525/60"))[[0, 1, 909]] * 1e6).round(4).tolist()
    [0.0, 0.0698, 63.4857]
    """
    return np.arange(standard.samples_per_line) / standard.sample_rate_hz


def active_interval_s(standard: Standard) -> tuple[float, float]:
    """Return where the picture part of a full line begins and ends after 0H [s].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> start_s, end_s = active_interval_s(get_standard("525/60"))
    >>> round(start_s * 1e6, 2), round(end_s * 1e6, 2)
    (9.4, 62.06)
    """
    return standard.line_blanking_s - standard.front_porch_s, standard.line_period_s - standard.front_porch_s


def _vertical_half_lines(standard: Standard) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the half lines that begin with an equalising pulse, and those with a broad pulse."""
    equalising, broad = standard.equalising_half_lines, standard.broad_half_lines
    offsets = np.arange(2 * equalising + broad)
    is_broad = (offsets >= equalising) & (offsets < equalising + broad)
    starts = np.array(standard.field_start_half_line)[:, None]
    return (starts + offsets[~is_broad]).ravel(), (starts + offsets[is_broad]).ravel()


def _plain_lines(standard: Standard) -> NDArray[np.int64]:
    """Return the rows that begin with an ordinary line-sync pulse."""
    vertical = np.concatenate(_vertical_half_lines(standard)) % (2 * standard.lines_per_frame)
    return np.setdiff1d(np.arange(standard.lines_per_frame), vertical[vertical % 2 == 0] // 2)


def sync_pulses(standard: Standard) -> FloatArray:
    """Return the sync waveform of one frame: 1 at sync tip, 0 elsewhere.

    Line sync, and in each field a group of equalising pulses, one of broad pulses and one more of equalising
    pulses, twice a line. The second field's groups come half a line later, which is what interlaces the
    fields.

    Parameters
    ----------
    standard : Standard
        Widths, counts and rise time.

    Returns
    -------
    ndarray, (lines, samples)
        Value from 0 to 1. [1]

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> pulses = sync_pulses(get_standard("525/60"))
    >>> pulses[[0, 3, 20], 200].round(3).tolist()  # equalising, broad and ordinary line, 14 us after 0H
    [0.0, 1.0, 0.0]
    """
    half_line_s = 0.5 * standard.line_period_s
    equalising, broad = _vertical_half_lines(standard)
    lines = _plain_lines(standard)
    starts_s = np.concatenate([equalising * half_line_s, broad * half_line_s, lines * standard.line_period_s])
    widths_s = np.repeat(
        [standard.equalising_pulse_s, half_line_s - standard.broad_gap_s, standard.line_sync_s],
        [len(equalising), len(broad), len(lines)],
    )
    return periodic_pulses(standard, starts_s, starts_s + widths_s, standard.edge_rise_s)


def active_gate(standard: Standard) -> FloatArray:
    """Return 1 where there is picture and 0 in blanking, with the standard's blanking edges.

    Parameters
    ----------
    standard : Standard
        Blanking times and the half lines that carry picture.

    Returns
    -------
    ndarray, (lines, samples)
        Value from 0 to 1. [1]

    Notes
    -----
    Field blanking is taken as a whole number of half lines between the picture's last half line and its
    next, plus one line blanking: a picture that ends in the middle of a line ends a front porch before the
    half line.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> gate = active_gate(get_standard("525/60"))
    >>> gate[[19, 20, 262, 282], 300].tolist(), gate[[262, 282], 700].tolist()
    ([0.0, 1.0, 1.0, 0.0], [0.0, 1.0])
    """
    start_s, end_s = active_interval_s(standard)
    half_line_s = 0.5 * standard.line_period_s
    starts, ends = [], []
    for first, last in standard.active_half_lines:
        line_s = np.arange(first // 2, (last + 1) // 2) * standard.line_period_s
        starts.append(np.maximum(line_s, first * half_line_s) + start_s)
        ends.append(np.minimum(line_s + end_s, last * half_line_s - standard.front_porch_s))
    return periodic_pulses(standard, np.concatenate(starts), np.concatenate(ends), standard.blanking_rise_s)


def _check_colour_frame(standard: Standard, colour_frame: int) -> None:
    last = standard.colour_frames - 1
    if colour_frame not in range(standard.colour_frames):
        raise ValueError(
            f"colour_frame is {colour_frame!r}; {standard.name} repeats after {last + 1} frames, so use 0 to {last}"
        )


def subcarrier(standard: Standard, colour_frame: int = 0) -> tuple[FloatArray, FloatArray]:
    """Return the colour subcarrier of one frame as sine and cosine.

    Parameters
    ----------
    standard : Standard
        Subcarrier and line rate.
    colour_frame : int
        From 0: which frame of the colour sequence.

    Returns
    -------
    sine, cosine : ndarray, (lines, samples)
        The axes of B-Y (0 degrees) and of R-Y (90 degrees; see `v_sense`). [1]

    Raises
    ------
    ValueError
        If `colour_frame` is not in the sequence.

    Notes
    -----
    The subcarrier runs on without a break through all the lines and frames, 227.5 cycles a line in 525/60, 283.7516
    in 625/50 (the 0.0016 being the 25 Hz offset). A rising zero crossing coincides with 0H of line 1 in colour frame
    0 (from memory); in 525/60 a crossing then coincides with 0H of every line.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> sine, cosine = subcarrier(get_standard("525/60"))
    >>> sine[:2, 1].round(6).tolist(), cosine[:2, 0].round(6).tolist()
    ([1.0, -1.0], [1.0, -1.0])
    """
    _check_colour_frame(standard, colour_frame)
    per_line = standard.subcarrier_cycles_per_line
    row = np.arange(standard.lines_per_frame)
    before = np.mod(colour_frame * standard.lines_per_frame * per_line, 1.0)
    row_start = 2.0 * np.pi * np.mod(row * per_line + before, 1.0)
    along = 2.0 * np.pi * standard.subcarrier_hz * line_time_s(standard)
    row_sine, row_cosine = np.sin(row_start)[:, None], np.cos(row_start)[:, None]
    sine, cosine = np.sin(along), np.cos(along)
    return row_sine * cosine + row_cosine * sine, row_cosine * cosine - row_sine * sine


def v_sense(standard: Standard, colour_frame: int = 0) -> FloatArray:
    """Return the sense in which each line carries R-Y: 1 along the subcarrier's cosine, -1 against it.

    Parameters
    ----------
    standard : Standard
        Says whether V is turned over from line to line.
    colour_frame : int
        As in `subcarrier`.

    Returns
    -------
    ndarray, (lines,)
        1 everywhere in NTSC; in PAL alternating without a break through lines and frames. [1]

    Notes
    -----
    In colour frame 0 of PAL the odd lines have V as in NTSC (from memory). A frame has an odd number of lines, so
    the next one has it on the even lines.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> [v_sense(get_standard("625/50"), frame)[:3].tolist() for frame in (0, 1)]
    [[1.0, -1.0, 1.0], [-1.0, 1.0, -1.0]]
    """
    _check_colour_frame(standard, colour_frame)
    if not standard.switches_v:
        return np.ones(standard.lines_per_frame)
    line = np.arange(standard.lines_per_frame) + colour_frame * standard.lines_per_frame
    return np.where(line % 2 == 0, 1.0, -1.0)


def burst_lines(standard: Standard, colour_frame: int = 0) -> NDArray[np.int64]:
    """Return the rows of the frame that carry a burst.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> (burst_lines(get_standard("625/50"), 0) + 1)[[0, -1]].tolist()
    [7, 621]
    """
    _check_colour_frame(standard, colour_frame)
    carries = np.ones(standard.lines_per_frame, dtype=np.bool_)
    for first, last in standard.burst_free_lines[colour_frame % len(standard.burst_free_lines)]:
        carries[first - 1 : last] = False
    return np.flatnonzero(carries)


def burst(standard: Standard, colour_frame: int = 0) -> FloatArray:
    """Return the colour burst of one frame in level units.

    It stands at 180 degrees (minus B-Y); in PAL it swings from there by 45 degrees towards V, as V is turned over
    from line to line. The half-amplitude points of its envelope are the burst's start and, the counted cycles later,
    its end.

    Parameters
    ----------
    standard : Standard
        Start, cycles, amplitude, swing and envelope rise of the burst, and the lines without.
    colour_frame : int
        As in `subcarrier`.

    Returns
    -------
    ndarray, (lines, samples)
        Level about zero. [level unit]

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> wave = burst(get_standard("525/60"))
    >>> round(float(wave[20].max()), 3), float(abs(wave[0]).max())
    (20.0, 0.0)
    """
    starts_s = burst_lines(standard, colour_frame).astype(np.float64) * standard.line_period_s + standard.burst_start_s
    ends_s = starts_s + standard.burst_cycles / standard.subcarrier_hz
    envelope = periodic_pulses(standard, starts_s, ends_s, standard.burst_rise_s)
    sine, cosine = subcarrier(standard, colour_frame)
    swing = np.deg2rad(standard.burst_swing_deg)
    along_v = np.sin(swing) * v_sense(standard, colour_frame)[:, None]
    wave: FloatArray = standard.burst_amplitude * envelope * (along_v * cosine - np.cos(swing) * sine)
    return wave


def blanking_template(
    standard: Standard, colour_frame: int = 0, *, with_burst: bool = True
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Return everything of a frame that is not picture, and where the picture goes.

    This is what a processing amplifier regenerates: sync, blanking level and burst, free of noise and of
    timing errors.

    Parameters
    ----------
    standard : Standard
        The scanning standard.
    colour_frame : int
        As in `subcarrier`.
    with_burst : bool
        False for a monochrome machine, which takes burst out with the old blanking.

    Returns
    -------
    template : ndarray, float32, (lines, samples)
        Sync, blanking and burst; blanking level where the picture goes. [level unit]
    active_mask : ndarray, bool, (lines, samples)
        True where the picture gate is at least half open.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> template, active_mask = blanking_template(get_standard("525/60"))
    >>> template[20, [0, 30, 400]].tolist(), active_mask[20, [30, 400]].tolist()
    ([-20.0, -40.0, 0.0], [False, True])
    """
    template, active_mask = _blanking(standard, colour_frame, with_burst)
    return template.copy(), active_mask.copy()


# As many as two standards need in one place of the colour sequence, with burst and without.
@lru_cache(maxsize=4)
def _blanking(standard: Standard, colour_frame: int, with_burst: bool) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Return what `blanking_template` does, made once: every machine needs it, and it takes longer than to copy it."""
    depth = standard.sync_level - standard.blanking_level
    template = standard.blanking_level + depth * sync_pulses(standard)
    if with_burst:
        template += burst(standard, colour_frame)
    return template.astype(np.float32), active_gate(standard) >= 0.5


def visible_rows(standard: Standard) -> NDArray[np.int64]:
    """Return, for each row of the picture from the top, which line of the frame it is.

    Parameters
    ----------
    standard : Standard
        Where fields and their pictures begin.

    Returns
    -------
    ndarray, int, (picture_rows,)
        Row of the time-ordered frame, line number less one, alternating between the fields.

    Notes
    -----
    The height of a line on the screen is its time since its own field's vertical sync; sorting both fields by
    it gives the interlaced order. The half lines at the top and bottom each count as one row.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> (visible_rows(get_standard("525/60")) + 1)[[0, 1, 2, -2, -1]].tolist()
    [283, 21, 284, 525, 263]
    """
    lines, heights = [], []
    for (first, last), field_start in zip(standard.active_half_lines, standard.field_start_half_line, strict=True):
        field_lines = np.arange(first // 2, (last + 1) // 2)
        lines.append(field_lines)
        heights.append(2 * field_lines - field_start)
    return np.concatenate(lines)[np.argsort(np.concatenate(heights))]


def visible_columns(standard: Standard) -> slice:
    """Return which samples of a line are picture: those between the half-amplitude points of line blanking.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> visible_columns(get_standard("525/60"))
    slice(135, 889, None)
    """
    start_s, end_s = active_interval_s(standard)
    return slice(int(np.ceil(start_s * standard.sample_rate_hz)), int(np.floor(end_s * standard.sample_rate_hz)) + 1)
