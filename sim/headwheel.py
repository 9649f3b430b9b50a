"""Guide and head wheel: when each head meets each point of its pass, and which head plays which line.

Contents: `PassSchedule` (which pass, which wheel angle at every sample of a frame), `GuideGeometry`,
`time_base_error`, `time_base_slope`, and the closed forms `skew_s`, `scallop_s` and `quadrature_s` for people and
checks.

Sign convention (a convention: no published one was found): a positive time-base error means the head is EARLY, the
picture detail it reads appears to the left of its right place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.standards import FOOTPRINT, Standard

__all__ = [
    "GuideGeometry",
    "PassSchedule",
    "pass_schedule",
    "quadrature_s",
    "scallop_s",
    "skew_s",
    "time_base_error",
    "time_base_slope",
]

# TRADE: four heads 90 degrees apart, so a pass runs from -45 to +45 degrees.
HALF_PASS_RAD = math.pi / 4.0
# DERIVED: mean of cos(theta) over a pass.
_MEAN_COSINE = math.sin(HALF_PASS_RAD) / HALF_PASS_RAD

# Heads are switched this long before 0H, in the middle of the front porch (MODEL; switching in line blanking is
# QUOTED).
SWITCH_LEAD_S = 0.75e-6


@dataclass(frozen=True)
class PassSchedule:
    """Where every sample of a frame lies on the wheel.

    Attributes
    ----------
    first_line : ndarray of int, (passes + 1,)
        First whole line of each pass; the last entry is the frame's line count.
    switch_sample : ndarray of int, (passes + 1,)
        Sample at which the switcher turns to each pass; the first is negative: it lies in the frame before.
    pass_of_sample : ndarray of int8, (samples_per_frame,)
        Pass that plays each sample.
    sine, cosine : ndarray of float32, (samples_per_frame,)
        Sine of the wheel angle from mid-pass, and its cosine less the mean over a pass.
    angle_rate_rad_per_s : float
        Wheel speed [rad/s].
    """

    first_line: NDArray[np.int64]
    switch_sample: NDArray[np.int64]
    pass_of_sample: NDArray[np.int8]
    sine: NDArray[np.float32]
    cosine: NDArray[np.float32]
    angle_rate_rad_per_s: float

    @property
    def along(self) -> NDArray[np.float32]:
        """Place of every sample along its pass, -1 at 45 degrees before the middle to +1 at 45 degrees after it."""
        return np.asarray(np.arcsin(self.sine) / np.float32(HALF_PASS_RAD))

    @property
    def switch_lead(self) -> int:
        """Samples by which the switcher turns over ahead of 0H; negative if after it."""
        return -int(self.switch_sample[0])

    @property
    def passes(self) -> int:
        """Passes in the frame."""
        return self.switch_sample.size - 1

    def per_sample(self, per_pass: NDArray[np.floating]) -> NDArray[np.float32]:
        """Spread one value per pass, (passes,), over the samples that pass plays."""
        spread = np.empty(self.sine.size, dtype=np.float32)
        # What the frame has before its first switch and after its last belongs to the loop's neighbouring passes.
        edges = np.clip(self.switch_sample, 0, spread.size).tolist()
        for value, start, stop in zip((*per_pass, per_pass[0]), edges, (*edges[1:], spread.size), strict=True):
            spread[start:stop] = value
        spread[: edges[0]] = per_pass[-1]
        return spread

    def pass_of_line(self) -> NDArray[np.int64]:
        """Return the pass that plays the active part of each line, shape (lines,)."""
        # Counts as intp: the browser's NumPy has 32-bit indices and refuses 64-bit ones here.
        return np.repeat(np.arange(self.passes), np.diff(self.first_line).astype(np.intp))


@lru_cache(maxsize=4)
def pass_schedule(standard: Standard, switch_timing_us: float = 0.0) -> PassSchedule:
    """Return the schedule of a frame: the switcher turns over in the line blanking nearest to each quarter turn.

    Parameters
    ----------
    standard : Standard
        Fixes lines, samples and passes. Pass 0 begins at 0H of line 1 (MODEL: the wheel phase that keeps vertical
        sync inside a pass in both fields).
    switch_timing_us : float
        How much later than the middle of the front porch the switcher turns over [us].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> lines = np.diff(pass_schedule(get_standard("525/60")).first_line)
    >>> sorted(set(lines.tolist())), int(lines.sum())
    ([16, 17], 525)
    """
    passes = standard.passes_per_frame
    first_line = np.floor(np.arange(passes + 1) * standard.lines_per_pass + 0.5).astype(np.int64)
    lead = round((SWITCH_LEAD_S - switch_timing_us * 1e-6) * standard.sample_rate_hz)
    switch_sample = first_line * standard.samples_per_line - lead
    count = standard.samples_per_frame
    sample = np.arange(count)
    pass_of_sample = np.searchsorted(switch_sample, sample, side="right") - 1
    samples_per_pass = count / passes
    # The samples after the last switch of the frame already belong to the next turn's pass 0.
    centre = (pass_of_sample + 0.5) * samples_per_pass
    angle = (sample - centre) * (2.0 * HALF_PASS_RAD / samples_per_pass)
    return PassSchedule(
        first_line=first_line,
        switch_sample=switch_sample,
        pass_of_sample=(pass_of_sample % passes).astype(np.int8),
        sine=np.sin(angle).astype(np.float32),
        cosine=(np.cos(angle) - _MEAN_COSINE).astype(np.float32),
        angle_rate_rad_per_s=2.0 * math.pi * standard.wheel_rate_hz,
    )


@dataclass(frozen=True)
class GuideGeometry:
    """Displacement of the vacuum guide's centre of curvature from the wheel axis, and each head's timing.

    Attributes
    ----------
    inward_um : float
        Displacement along the guide's middle radius (tip engagement) [um].
    height_um : float
        Displacement across the tape [um].
    head_timing_ns : tuple of four floats
        How early each of heads 1 to 4 is against its right angle on the wheel [ns].
    stretch_ppm : float
        How much longer across the tape a recorded track should be than it was [parts per million]: a recording on
        tape that has shrunk since has minus that much.
    """

    inward_um: float = 0.0
    height_um: float = 0.0
    head_timing_ns: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    stretch_ppm: float = 0.0


def _displacements_s(geometry: GuideGeometry, standard: Standard) -> tuple[float, float]:
    tip_speed = FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz)
    return geometry.inward_um * 1e-6 / tip_speed, geometry.height_um * 1e-6 / tip_speed


def time_base_error(
    geometry: GuideGeometry,
    head_of_pass: NDArray[np.integer],
    standard: Standard,
    schedule: PassSchedule | None = None,
) -> NDArray[np.float32]:
    """Return how early each sample of a frame is read [s].

    Parameters
    ----------
    geometry : GuideGeometry
        Guide displacement and head timing.
    head_of_pass : ndarray of int, (passes,)
        Index 0 to 3 of the head that makes each pass.
    standard : Standard
        Scanning standard.
    schedule : PassSchedule, optional
        Wheel schedule; the standard's own when omitted.

    Returns
    -------
    ndarray of float32, (samples_per_frame,)
        Time-base error [s]; positive is early.

    Notes
    -----
    dt = [e_in sin(theta) - e_h (cos(theta) - mean cos)] / v + eps_head, first order (physics.md section 3), theta
    from -45 to +45 degrees. The mean of the cosine is taken out because the wheel servo's horizontal lock holds the
    mean position of the picture; without that a height error would shift the whole picture by 0.58 us per mil.
    """
    schedule = schedule or pass_schedule(standard)
    inward_s, height_s = _displacements_s(geometry, standard)
    timing_s = np.asarray(geometry.head_timing_ns)[np.asarray(head_of_pass)] * 1e-9
    error = schedule.per_sample(timing_s)
    if inward_s:
        error += schedule.sine * np.float32(inward_s)
    if height_s:
        error -= schedule.cosine * np.float32(height_s)
    if geometry.stretch_ppm:
        # Linear in the wheel angle, so a guide move cancels it but for a small S-shaped rest.
        end_s = geometry.stretch_ppm * 1e-6 * HALF_PASS_RAD / schedule.angle_rate_rad_per_s
        error += schedule.along * np.float32(end_s)
    return error


def time_base_slope(
    geometry: GuideGeometry, standard: Standard, schedule: PassSchedule | None = None
) -> NDArray[np.float32]:
    """Return the rate of change of `time_base_error` within each pass, shape (samples_per_frame,) [s/s].

    The reproduced carrier is higher by this fraction (Doppler), so it also moves the demodulated level.
    """
    schedule = schedule or pass_schedule(standard)
    inward_s, height_s = _displacements_s(geometry, standard)
    rate = schedule.angle_rate_rad_per_s
    slope = schedule.cosine * np.float32(inward_s * rate)
    slope += np.float32(_MEAN_COSINE * inward_s * rate)
    if height_s:
        slope += schedule.sine * np.float32(height_s * rate)
    return slope


def skew_s(inward_um: float, standard: Standard) -> float:
    """Return the lean of a band, end to end, for a guide displacement along its middle radius [s].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> round(skew_s(25.4, get_standard("525/60")) * 1e6, 3)
    0.908
    """
    tip_speed = FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz)
    return 2.0 * math.sin(HALF_PASS_RAD) * inward_um * 1e-6 / tip_speed


def scallop_s(height_um: float, standard: Standard) -> float:
    """Return the bow of a band, middle to ends, for a guide displacement across the tape [s].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> round(scallop_s(25.4, get_standard("525/60")) * 1e6, 3)
    0.188
    """
    tip_speed = FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz)
    return (1.0 - math.cos(HALF_PASS_RAD)) * height_um * 1e-6 / tip_speed


def quadrature_s(angle_arc_minutes: float, standard: Standard) -> float:
    """Return how early a head is that stands `angle_arc_minutes` ahead of its right angle on the wheel [s].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> round(quadrature_s(1.0, get_standard("525/60")) * 1e9)
    193
    """
    return angle_arc_minutes / (360.0 * 60.0 * standard.wheel_rate_hz)
