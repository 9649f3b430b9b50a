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
        ("speed", "Wheel speed", wheel.locked or wheel.state == "speed", "The wheel is at its speed.",
         "The wheel is not at its speed."),
        ("vertical", "Vertical lock", wheel.locked, "The wheel is phased to vertical.",
         "The wheel is not phased to vertical."),
        ("horizontal", "Horizontal lock", wheel.state == "horizontal", "The wheel is locked to horizontal.",
         "The wheel is not locked to horizontal."),
        ("control_track", "Control track", running and capstan.has_control, "The control head gives a usable signal.",
         "The control head gives no usable signal."),
        ("framed", "Framed", framed and not recording, "The frame pulse stands right.",
         "The frame pulse is not used for recording." if recording else "The frame pulse does not stand right."),
        ("capstan", "Capstan lock", capstan.locked, CAPSTAN_STATES[capstan.state], CAPSTAN_STATES[capstan.state]),
    )  # fmt: skip
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
        attention = ", which needs attention" if wheel.lock_time_s > LOCK_UP_ATTENTION_S else ""
        said.append(f"Lock-up took {wheel.lock_time_s:.1f} s{attention}.")
    elif wheel.state in ("running_up", "speed", "vertical") and wheel.driven_s > LOCK_UP_ATTENTION_S:
        said.append(f"Driven for {wheel.driven_s:.0f} s without full lock: it needs attention.")
    recent = None if history is None else history.time_s > -_WINDOW_S
    if history is not None and recent is not None and wheel.locked:
        size = swing(history.trace("wheel_phase_error")[recent], _WHEEL_HUNTS_US)
        if size is not None:
            said.append(f"Its phase swings by {size:.0f} us to and fro: it hunts.")
    said.append(CAPSTAN_STATES[capstan.state])
    if capstan.state == "framing":
        cycles = abs(capstan.frame_error_cycles)
        side = "early" if capstan.frame_error_cycles > 0 else "late"
        said.append(f"The frame pulse is {cycles} control-track cycle{'' if cycles == 1 else 's'} {side}.")
    if history is not None and recent is not None and capstan.state in ("phasing", "locked", "following_wheel"):
        size = swing(history.trace("capstan_phase_error")[recent], _CAPSTAN_HUNTS_DEG)
        if size is not None:
            said.append(f"The control track swings by {size:.0f} degrees to and fro: the capstan hunts.")
    return " ".join(said)
