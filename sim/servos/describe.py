"""The servos in words: lock indicators, whether something hunts, and one sentence for each servo.

Contents: `LockIndicator`, `lock_indicators`, `swing`, `describe_servos`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.servos.capstan import CAPSTAN_STATES, CapstanServo
from sim.servos.history import ServoHistory
from sim.servos.wheel import LOCK_UP_ATTENTION_S, WHEEL_STATES, WheelServo
from sim.wording import wording

__all__ = ["LockIndicator", "describe_servos", "lock_indicators", "swing"]

# MODEL: a swing is called hunting from these peak-to-peak sizes on.
_WHEEL_HUNTS_US = 5.0
_CAPSTAN_HUNTS_DEG = 6.0
_WINDOW_S = 2.0
# A swing must pass its middle this often within the window: a single overshoot is none.
_LEAST_CROSSINGS = 3


@dataclass(frozen=True)
class LockIndicator:
    """One lamp of the servos as words."""

    name: str
    label: str
    on: bool
    sentence: str


def lock_indicators(wheel: WheelServo, capstan: CapstanServo) -> tuple[LockIndicator, ...]:
    """Return the state of every lock, in the order in which they come.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> standard = get_standard("625/50")
    >>> [indicator.on for indicator in lock_indicators(WheelServo(standard), CapstanServo(standard))]
    [False, False, False, False, False, False]
    """
    running = capstan.state not in ("stopped", "running_up")
    framed = running and capstan.has_control and capstan.frame_error_cycles == 0
    recording = capstan.state == "following_wheel"
    entries = (
        (
            "speed",
            wording("servos.wheel_speed"),
            wheel.locked or wheel.state == "speed",
            wording("servos.wheel_speed_2"),
            wording("servos.wheel_not_speed"),
        ),
        (
            "vertical",
            wording("servos.vertical_lock"),
            wheel.locked,
            wording("servos.wheel_phased_vertical"),
            wording("servos.wheel_not_phased_vertical"),
        ),
        (
            "horizontal",
            wording("servos.horizontal_lock"),
            wheel.state == "horizontal",
            wording("servos.wheel_locked_horizontal"),
            wording("servos.wheel_not_locked_horizontal"),
        ),
        (
            "control_track",
            wording("servos.control_track"),
            running and capstan.has_control,
            wording("servos.control_head_gives_usable"),
            wording("servos.control_head_gives_no"),
        ),
        (
            "framed",
            wording("servos.framed"),
            framed and not recording,
            wording("servos.frame_pulse_stands_right"),
            wording("servos.frame_pulse_not_used") if recording else wording("servos.frame_pulse_does_not"),
        ),
        (
            "capstan",
            wording("servos.capstan_lock"),
            capstan.locked,
            CAPSTAN_STATES[capstan.state],
            CAPSTAN_STATES[capstan.state],
        ),
    )
    return tuple(LockIndicator(name, label, on, yes if on else no) for name, label, on, yes, no in entries)


def swing(values: NDArray[np.float64], least: float) -> float | None:
    """Return how far a trace swings to and fro, peak to peak; None if it does not, or by less than `least`.

    Examples
    --------
    >>> time_s = np.arange(200) * 0.01
    >>> round(swing(3.0 * np.sin(2.0 * np.pi * 1.5 * time_s), 1.0), 1)
    6.0
    >>> swing(np.exp(-time_s), 0.1) is None
    True
    """
    if values.size < 2:
        return None
    size = float(np.ptp(values))
    if size < least:
        return None
    side = np.sign(values - 0.5 * (values.max() + values.min()))
    side = side[side != 0.0]
    crossings = int(np.count_nonzero(np.diff(side)))
    return size if crossings >= _LEAST_CROSSINGS else None


def describe_servos(wheel: WheelServo, capstan: CapstanServo, history: ServoHistory | None = None) -> str:
    """Return in words where both servos are, and from the history whether they hunt.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> standard = get_standard("525/60")
    >>> describe_servos(WheelServo(standard), CapstanServo(standard))
    'The head wheel stands still. The capstan does not drive the tape.'
    """
    said = [WHEEL_STATES[wheel.state]]
    if wheel.state == "horizontal" and wheel.lock_time_s is not None:
        key = "servos.slow_lock_up" if wheel.lock_time_s > LOCK_UP_ATTENTION_S else "servos.lock_up"
        said.append(wording(key, seconds=f"{wheel.lock_time_s:.1f}"))
    elif wheel.state in ("running_up", "speed", "vertical") and wheel.driven_s > LOCK_UP_ATTENTION_S:
        said.append(wording("servos.driven_s_without_full", driven_s=f"{wheel.driven_s:.0f}"))
    recent = None if history is None else history.time_s > -_WINDOW_S
    if history is not None and recent is not None and wheel.locked:
        size = swing(history.trace("wheel_phase_error")[recent], _WHEEL_HUNTS_US)
        if size is not None:
            said.append(wording("servos.phase_swings_us_fro", value=f"{size:.0f}"))
    said.append(CAPSTAN_STATES[capstan.state])
    if capstan.state == "framing":
        cycles = abs(capstan.frame_error_cycles)
        side = "early" if capstan.frame_error_cycles > 0 else "late"
        said.append(wording(f"servos.pulse_{side}{'_one' if cycles == 1 else ''}", cycles=cycles))
    if history is not None and recent is not None and capstan.state in ("phasing", "locked", "following_wheel"):
        size = swing(history.trace("capstan_phase_error")[recent], _CAPSTAN_HUNTS_DEG)
        if size is not None:
            said.append(wording("servos.control_track_swings_degrees", value=f"{size:.0f}"))
    return " ".join(said)
