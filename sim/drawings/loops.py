"""The two servo loops as blocks: what is compared with what, what the error is, and what it drives.

Contents: `LoopBlock`, `LoopDrawing`, `wheel_loop_drawing`, `capstan_loop_drawing`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.servos.capstan import CAPSTAN_STATES
from sim.servos.wheel import WHEEL_STATES
from sim.standards import FOOTPRINT, Standard
from sim.wording import wording

__all__ = ["LoopBlock", "LoopDrawing", "capstan_loop_drawing", "wheel_loop_drawing"]

# Errors at which the needle of a loop stands at its end (MODEL: some ten times what is left in lock; half a track).
_WHEEL_RANGE_US = 2.0
_CAPSTAN_RANGE_DEG = 45.0


@dataclass(frozen=True)
class LoopBlock:
    """One block of a loop.

    Attributes
    ----------
    name : str
        Its part in the loop: "reference", "compare", "drive", "machine" or "sensor".
    title : str
        What it is.
    value : float or None
        What it gives out now; None where there is nothing to read.
    unit : str
        Unit of the value.
    """

    name: str
    title: str
    value: float | None
    unit: str


@dataclass(frozen=True)
class LoopDrawing:
    """What the drawing of a servo loop shows.

    Attributes
    ----------
    loop : str
        "wheel" or "capstan".
    blocks : tuple of LoopBlock
        Round the loop: reference, comparator, drive, machine, sensor; the sensor goes back to the comparator.
    state : str
        The servo's state in a sentence.
    error, error_range : float
        The present error, and the error of a full deflection of its needle, in `error_unit`.
    error_unit : str
        Unit of the error.
    sentence : str
        What the drawing shows.
    """

    loop: str
    blocks: tuple[LoopBlock, ...]
    state: str
    error: float
    error_range: float
    error_unit: str
    sentence: str


def wheel_loop_drawing(
    standard: Standard,
    phase_error_s: float,
    residual_s: float,
    state: str = "horizontal",
    rate_hz: float | None = None,
    gain_db: float = 0.0,
) -> LoopDrawing:
    """Return what the drawing of the wheel's servo shows.

    Parameters
    ----------
    standard : Standard
        Fixes the wheel's right speed.
    phase_error_s : float
        How early the wheel is against the reference [s].
    residual_s : float
        Peak time-base error that the servo leaves [s].
    state : str
        The servo's state, one of `sim.servos.WHEEL_STATES`.
    rate_hz : float, optional
        The wheel's speed [rev/s]; the right one when omitted: a wheel in lock.
    gain_db : float
        The loop's gain against normal [dB].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> wheel_loop_drawing(get_standard("625/50"), 0.0, 125e-9).blocks[0].value
    250.0
    """
    turning_hz = standard.wheel_rate_hz if rate_hz is None else rate_hz
    error_us = phase_error_s * 1e6
    blocks = (
        LoopBlock(
            "reference", wording("drawings.loops.station_reference_wheel_turns"), standard.wheel_rate_hz, "rev/s"
        ),
        LoopBlock("compare", wording("drawings.loops.phase_error"), error_us, "us"),
        LoopBlock("drive", wording("drawings.loops.motor_drive_loop_gain"), gain_db, "dB"),
        LoopBlock("machine", wording("drawings.loops.head_wheel"), turning_hz, "rev/s"),
        LoopBlock("sensor", wording("drawings.loops.tachometer_wheels_shaft"), turning_hz, "rev/s"),
    )
    said = wording(
        "drawings.loops.wheel_early" if error_us >= 0.0 else "drawings.loops.wheel_late",
        state=WHEEL_STATES[state],
        turns=f"{turning_hz:.2f}",
        nominal=f"{standard.wheel_rate_hz:.2f}",
        us=f"{abs(error_us):.2f}",
        unsteady_us=f"{residual_s * 1e6:.2f}",
    )
    return LoopDrawing("wheel", blocks, WHEEL_STATES[state], error_us, _WHEEL_RANGE_US, "us", said)


def capstan_loop_drawing(
    standard: Standard,
    phase_deg: float,
    wanted_deg: float,
    state: str = "locked",
    speed_ratio: float = 1.0,
    gain_db: float = 0.0,
    recording: bool = False,
) -> LoopDrawing:
    """Return what the drawing of the capstan's servo shows.

    Parameters
    ----------
    standard : Standard
        Fixes the tape speed.
    phase_deg : float
        Phase of the control track against the wheel [deg].
    wanted_deg : float
        The phase that the tracking control asks for [deg].
    state : str
        The servo's state, one of `sim.servos.CAPSTAN_STATES`.
    speed_ratio : float
        Tape speed over nominal.
    gain_db : float
        The loop's gain against normal [dB].
    recording : bool
        In record the capstan follows the wheel alone; in play the control track closes the loop.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> capstan_loop_drawing(get_standard("525/60"), 184.0, -180.0).error
    4.0
    """
    error_deg = math.remainder(phase_deg - wanted_deg, 360.0)
    sensor = (
        wording("drawings.loops.tachometer_capstan") if recording else wording("drawings.loops.control_track_off_tape")
    )
    blocks = (
        LoopBlock("reference", wording("drawings.loops.wheel_shifted_tracking_control"), wanted_deg, "deg"),
        LoopBlock("compare", wording("drawings.loops.phase_error"), error_deg, "deg"),
        LoopBlock("drive", wording("drawings.loops.motor_drive_loop_gain"), gain_db, "dB"),
        LoopBlock("machine", wording("drawings.loops.capstan_tape_speed_over"), 100.0 * speed_ratio, "%"),
        LoopBlock("sensor", sensor, phase_deg, "deg"),
    )
    speed_mm_per_s = standard.wheel_rate_hz * FOOTPRINT.control_period_m * 1e3
    said = wording(
        "drawings.loops.capstan_ahead" if error_deg >= 0.0 else "drawings.loops.capstan_behind",
        sensor=sensor,
        state=CAPSTAN_STATES[state],
        speed_pct=f"{100.0 * speed_ratio:.2f}",
        nominal=f"{speed_mm_per_s:.1f}",
        deg=f"{abs(error_deg):.1f}",
    )
    return LoopDrawing("capstan", blocks, CAPSTAN_STATES[state], error_deg, _CAPSTAN_RANGE_DEG, "deg", said)
