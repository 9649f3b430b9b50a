"""What the servos did in the last seconds, for people to watch: a trace for every error of the servos.

Contents: `TRACES`, `TraceSpec`, `ServoHistory`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import UnknownNameError
from sim.servos.capstan import CapstanServo
from sim.servos.residual import wheel_jitter_s
from sim.servos.wheel import WheelServo
from sim.wording import wording

__all__ = ["HISTORY_S", "TRACES", "ServoHistory", "TraceSpec"]

# MODEL: how much is kept: a whole lock-up.
HISTORY_S = 4.0
# MODEL: what the level trace shows where there is no control track at all.
_NO_LEVEL_DB = -60.0


@dataclass(frozen=True)
class TraceSpec:
    """One error of the servos as a trace: what it is called, its unit, and the range worth drawing."""

    name: str
    label: str
    unit: str
    range: tuple[float, float]
    description: str


_TRACES = (
    TraceSpec(
        "wheel_rate_error", wording("servos.wheel_speed_error"), "%", (-5.0, 5.0), wording("servos.how_much_too_fast")
    ),
    TraceSpec(
        "wheel_phase_error",
        wording("servos.wheel_phase_error"),
        "us",
        (-2100.0, 2100.0),
        wording("servos.how_early_wheel_against"),
    ),
    TraceSpec(
        "wheel_line_error",
        wording("servos.wheel_error_line_rate"),
        "us",
        (-5.0, 5.0),
        wording("servos.same_close_up_fast"),
    ),
    TraceSpec(
        "capstan_phase_error",
        wording("servos.control_track_phase_error"),
        "deg",
        (-180.0, 180.0),
        wording("servos.how_far_control_track"),
    ),
    TraceSpec(
        "frame_error",
        wording("servos.framing_error"),
        "cycles",
        (-5.0, 5.0),
        wording("servos.control_track_cycles_which"),
    ),
    TraceSpec(
        "tape_speed_error", wording("servos.tape_speed_error"), "%", (-3.0, 3.0), wording("servos.how_much_too_fast_2")
    ),
    TraceSpec(
        "capstan_speed_error",
        wording("servos.capstan_speed_error"),
        "%",
        (-3.0, 3.0),
        wording("servos.how_much_too_fast_3"),
    ),
    TraceSpec(
        "wheel_drive",
        wording("servos.wheel_drive"),
        "%",
        (-20.0, 110.0),
        wording("servos.torque_wheels_motor_against"),
    ),
    TraceSpec(
        "control_level",
        wording("servos.control_track_level"),
        "dB",
        (-40.0, 10.0),
        wording("servos.level_control_head_gives"),
    ),
)
TRACES: Mapping[str, TraceSpec] = MappingProxyType({trace.name: trace for trace in _TRACES})


class ServoHistory:
    """The traces of the last seconds.

    Parameters
    ----------
    step_s : float
        Time between two samples [s].
    length_s : float
        How much is kept [s].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> wheel, capstan = WheelServo(get_standard("525/60")), CapstanServo(get_standard("525/60"))
    >>> history = ServoHistory()
    >>> for _ in range(10):
    ...     wheel.step(0.01, True, True)
    ...     history.record(wheel, capstan, 0.01)
    >>> [round(float(value), 2) for value in history.time_s[-3:]]
    [-0.02, -0.01, 0.0]
    >>> bool(history.trace("wheel_rate_error")[-1] > -100.0)
    True
    """

    def __init__(self, step_s: float = 0.01, length_s: float = HISTORY_S) -> None:
        count = max(2, round(length_s / step_s))
        # Time, wheel rate, wheel phase, residual peak, capstan phase, cycles, speed, level, rim, drive: one row a step.
        self._rows: deque[tuple[float, ...]] = deque(maxlen=count)
        self._now_s = 0.0
        self._wheel_hz = 0.0
        self._seed = 0

    def record(self, wheel: WheelServo, capstan: CapstanServo, dt_s: float) -> None:
        """Keep where both servos are after a step of `dt_s` seconds."""
        self._now_s += dt_s
        self._wheel_hz, self._seed = wheel.nominal_hz, wheel.seed
        level_db = capstan.control_level_db
        self._rows.append(
            (
                self._now_s,
                100.0 * wheel.rate_error,
                1e6 * wheel.phase_error_s,
                1e6 * wheel.residual_peak_s,
                capstan.phase_error_deg,
                float(capstan.frame_error_cycles),
                100.0 * (capstan.speed_ratio - 1.0),
                _NO_LEVEL_DB if level_db is None else max(level_db, _NO_LEVEL_DB),
                100.0 * (capstan.rim_ratio - 1.0),
                wheel.drive_pct,
            )
        )

    def __len__(self) -> int:
        return len(self._rows)

    @property
    def time_s(self) -> NDArray[np.float64]:
        """Moments of the samples against the last one [s]: negative, the last is 0."""
        return self._column(0) - self._now_s

    def trace(self, name: str) -> NDArray[np.float64]:
        """Return the samples of one of `TRACES`, in its unit, oldest first.

        Raises
        ------
        UnknownNameError
            If there is no such trace.
        """
        if name not in TRACES:
            raise UnknownNameError("servo trace", name, TRACES)
        if name == "wheel_line_error":
            fast = wheel_jitter_s(self._column(0), 1.0, self._wheel_hz, self._seed)
            return np.asarray(self._column(2) + self._column(3) * fast)
        columns = {
            "wheel_rate_error": 1,
            "wheel_phase_error": 2,
            "capstan_phase_error": 4,
            "frame_error": 5,
            "tape_speed_error": 6,
            "control_level": 7,
            "capstan_speed_error": 8,
            "wheel_drive": 9,
        }
        return self._column(columns[name])

    def speed_ratio(self) -> NDArray[np.float64]:
        """Return the tape speed against the nominal one at every sample: wow and flutter for the sound."""
        return 1.0 + 0.01 * self._column(6)

    def clear(self) -> None:
        """Forget everything but the time."""
        self._rows.clear()

    def _column(self, number: int) -> NDArray[np.float64]:
        return np.array([row[number] for row in self._rows], dtype=np.float64)
