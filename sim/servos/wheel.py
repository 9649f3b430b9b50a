"""The head wheel's servo: run up, speed from the tachometer, then phase, to vertical and then to horizontal.

Contents: `WHEEL_STATES`, `WheelServo`, `LOCK_UP_NORMAL_S`, `LOCK_UP_ATTENTION_S`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from sim.servos.loop import Chance, PhaseLoop
from sim.servos.residual import LOCK_RESIDUAL_NS
from sim.servos.settings import SOUND, ServoCondition, WheelSettings, check_step, gain_ratio
from sim.standards import Standard
from sim.wording import wording

__all__ = [
    "LOCK_UP_ATTENTION_S",
    "LOCK_UP_NORMAL_S",
    "TACHOMETER_GOOD_PCT",
    "WHEEL_STATES",
    "WheelServo",
    "wheel_loops",
]

# States in the order in which a wheel goes through them, each with a sentence.
WHEEL_STATES: Mapping[str, str] = MappingProxyType(
    {
        "stopped": wording("servos.head_wheel_stands_still"),
        "running_up": wording("servos.head_wheel_running_up"),
        "speed": wording("servos.head_wheel_speed_phase"),
        "vertical": wording("servos.head_wheel_phased_vertical"),
        "horizontal": wording("servos.head_wheel_locked_horizontal"),
        "coasting": wording("servos.head_wheel_not_driven"),
    }
)

# QUOTED: a lock-up of about 3.5 s is normal, more than 4 s needs attention.
LOCK_UP_NORMAL_S = 3.5
LOCK_UP_ATTENTION_S = 4.0

# MODEL: the wheel is at its speed after this long, and undriven it runs down with this time constant (air and bearing)
# and at last by the bearing's dry friction [nominal speeds a second].
_RUN_UP_S = 2.4
_COAST_S = 15.0
_DRY_PER_S = 0.003
# DERIVED from these: the full torque, as acceleration [nominal speeds a second], that reaches the speed in that time.
_TORQUE_PER_S = _DRY_PER_S + 1.0 / (_COAST_S * -math.expm1(-_RUN_UP_S / _COAST_S))
# MODEL: the drive's oscillator goes no faster than this [nominal speeds].
_FASTEST = 1.1

# MODEL: time constant of the speed loop, and how slowly the drive learns a changed drag.
_SPEED_LOOP_S = 0.08
_BALANCE_S = 0.7
# MODEL: at its speed within this share for so long, the phase loop is closed; beyond the other it is opened again.
_SPEED_WINDOW = 0.01
_SPEED_LOST = 0.02
_SPEED_DWELL_S = 0.1
_TOO_SLOW = 0.97
# MODEL: vertical hands over to horizontal this near and after this long; horizontal gives up a quarter of a line off.
_HANDOVER_S = 3e-6
_HANDOVER_DWELL_S = 0.1
_LINE_SHARE_LOST = 0.25

# MODEL: the loops; both hunt from +12 dB (a gain of 4) on.
_VERTICAL_RAD_PER_S = 8.0
_HORIZONTAL_RAD_PER_S = 20.0
_DAMPING = 1.0
_HUNTING_GAIN = 4.0

# MODEL: the tachometer's pulses begin to be missed below the first amplitude, all are below the second. A missed pulse
# looks like a slow wheel: the drive kicks, and the speed loop makes up for a fifth of the pulses missed; ten steps
# without any open the phase loop.
TACHOMETER_GOOD_PCT = 60.0
_TACHOMETER_LOST_PCT = 10.0
_KICK_PER_S = 0.05
_MISSED_SEEN = 0.2
_MISSED_IN_A_ROW = 10
# MODEL: torque by chance, as the acceleration that lasts a step of one second; over shorter steps it is larger by the
# square root. Of every bearing, so little that horizontal lock keeps some 5 ns of it, and of brushes that grip unevenly
# at 100 %.
_BEARING_NOISE = 9e-7
_BRUSH_NOISE = 5e-4


def wheel_loops() -> tuple[PhaseLoop, PhaseLoop]:
    """Return the loops that hold the wheel's phase to vertical and to horizontal, as they are set when right."""
    return (
        PhaseLoop(_VERTICAL_RAD_PER_S, _DAMPING, _HUNTING_GAIN),
        PhaseLoop(_HORIZONTAL_RAD_PER_S, _DAMPING, _HUNTING_GAIN),
    )


class WheelServo:
    """The head wheel and the servo that holds it to the reference.

    Parameters
    ----------
    standard : Standard
        Fixes the wheel's speed and the line.
    seed : int
        Fixes the angle the wheel starts from and all chance.

    Attributes
    ----------
    state : str
        One of `WHEEL_STATES`.
    rate_hz : float
        Speed of the wheel [rev/s].
    phase_error_s : float
        How early the wheel is against the reference [s], positive: the picture stands to the left (the convention of
        `sim.headwheel`). One turn of the wheel is like another to its tachometer, so this is wrapped to half a turn
        either way (2.09 ms in 525/60); within that it moves without a jump.
    turn_slips : int
        Turns that the wrapping has taken away: `phase_error_s + turn_slips / nominal` has no jump at all.
    residual_peak_s : float
        Peak of the fast error that the loop leaves around `phase_error_s` [s], for `wheel_jitter_s`; by state from
        `LOCK_RESIDUAL_NS`, larger when the gain is wrong.
    lock_time_s : float or None
        How long the last lock-up took, from standstill or coasting to horizontal lock [s]; None before that.
    driven_s : float
        How long the wheel has been driven [s].
    drive_pct : float
        Torque of the drive over the last step [% of its full torque]; a heavy bearing shows here first.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> wheel = WheelServo(get_standard("525/60"), seed=1)
    >>> for _ in range(400):
    ...     wheel.step(0.01, driven=True, air_ok=True)
    >>> wheel.state, round(wheel.rate_hz, 2), 3.0 < wheel.lock_time_s < 3.7
    ('horizontal', 239.76, True)
    """

    def __init__(self, standard: Standard, seed: int = 0) -> None:
        self.standard = standard
        self.seed = seed
        self.nominal_hz = standard.wheel_rate_hz
        self._turn_s = 1.0 / self.nominal_hz
        self._lost_s = _LINE_SHARE_LOST * standard.line_period_s
        self._vertical, self._horizontal = wheel_loops()
        self._chance = Chance(seed, 1)
        self.state = "stopped"
        self.phase_error_s = (self._chance.uniform() - 0.5) * self._turn_s
        self.turn_slips = 0
        self.residual_peak_s = 0.0
        self.lock_time_s: float | None = None
        self.driven_s = 0.0
        self.drive_pct = 0.0
        self._speed = 0.0
        self._settled_s = 0.0
        self._missed = 0
        self._balance_per_s = 0.0

    @property
    def rate_hz(self) -> float:
        """Speed of the wheel [rev/s]."""
        return self._speed * self.nominal_hz

    @property
    def rate_error(self) -> float:
        """Speed of the wheel against the nominal one, less 1."""
        return self._speed - 1.0

    @property
    def locked(self) -> bool:
        """Whether the wheel is phased to vertical or to horizontal."""
        return self.state in ("vertical", "horizontal")

    def step(
        self,
        dt_s: float,
        driven: bool,
        air_ok: bool,
        settings: WheelSettings | None = None,
        condition: ServoCondition = SOUND,
    ) -> None:
        """Let time pass.

        Parameters
        ----------
        dt_s : float
            How much [s], up to 0.1 s.
        driven : bool
            Whether the machine wants the wheel to turn.
        air_ok : bool
            Whether there is air; without it the drive is held off.
        settings : WheelSettings, optional
            What is set; the right settings when omitted.
        condition : ServoCondition, optional
            What is wrong.

        Raises
        ------
        ServoError
            If `dt_s` is not above 0 and at most 0.1 s.
        """
        check_step(dt_s)
        gain = 1.0 if settings is None or settings.gain_db == 0.0 else gain_ratio(settings.gain_db)
        heavier = 1.0 + 0.01 * condition.wheel_drag_pct
        if not (driven and air_ok):
            self._coast(dt_s, heavier)
            self.drive_pct = 0.0
        else:
            before = self._speed
            if self.state in ("stopped", "coasting"):
                self._enter("running_up")
                self.driven_s, self.lock_time_s = 0.0, None
            self.driven_s += dt_s
            if self.state == "running_up":
                self._run_up(dt_s, heavier, condition)
            elif self.state == "speed":
                self._hold_speed(dt_s, heavier, condition)
            else:
                self._hold_phase(dt_s, heavier, gain, condition)
            drag = heavier * (0.5 * (before + self._speed) / _COAST_S + _DRY_PER_S)
            self.drive_pct = 100.0 * ((self._speed - before) / dt_s + drag) / _TORQUE_PER_S
        self._wrap()
        self._set_residual(gain, condition)

    def detector_range_s(self, settings: WheelSettings, condition: ServoCondition = SOUND) -> float:
        """Return how far off the phase may be before the drive is at its limit [s], in vertical lock."""
        limit = max(_TORQUE_PER_S - self._drag_per_s(1.0 + 0.01 * condition.wheel_drag_pct), 0.0)
        return limit / (gain_ratio(settings.gain_db) * self._vertical.natural_rad_per_s**2)

    def _enter(self, state: str) -> None:
        self.state = state
        self._settled_s = 0.0

    def _settles(self, near: bool, dt_s: float, dwell_s: float) -> bool:
        """Count how long a condition has held, and tell whether that is long enough."""
        self._settled_s = self._settled_s + dt_s if near else 0.0
        # A quarter of a millisecond less, so that sums of steps do not miss it by rounding.
        return self._settled_s > dwell_s - 2.5e-4

    def _free(self, dt_s: float, torque_per_s: float, heavier: float) -> None:
        """Turn under a constant torque and the drag, w' = torque - dry - w / coast, exactly."""
        rate = heavier / _COAST_S
        settled = (torque_per_s - heavier * _DRY_PER_S) / rate
        decay = math.exp(-rate * dt_s)
        before = self._speed
        after = settled + (before - settled) * decay
        turned = settled * dt_s + (before - settled) * (1.0 - decay) / rate
        if after <= 0.0:
            # Dry friction does not turn a wheel back.
            after, turned = 0.0, 0.5 * before * dt_s
        elif after > _FASTEST:
            after, turned = _FASTEST, 0.5 * (before + _FASTEST) * dt_s
        self._speed = after
        self.phase_error_s += turned - dt_s

    def _coast(self, dt_s: float, heavier: float) -> None:
        if self._speed > 0.0:
            self._free(dt_s, 0.0, heavier)
        if self._speed > 0.0:
            if self.state != "coasting":
                self._enter("coasting")
        elif self.state != "stopped":
            self._enter("stopped")

    def _run_up(self, dt_s: float, heavier: float, condition: ServoCondition) -> None:
        self._free(dt_s, _TORQUE_PER_S, heavier)
        seen = self._speed * (1.0 - _MISSED_SEEN * _missing(condition))
        if seen > 1.0 - 0.5 * _SPEED_WINDOW or self._speed >= _FASTEST:
            self._enter("speed")

    def _hold_speed(self, dt_s: float, heavier: float, condition: ServoCondition) -> None:
        """Bring the pulses of the tachometer to their rate; where some are missed, the wheel comes out too fast."""
        wanted = min(_FASTEST, 1.0 / (1.0 - _MISSED_SEEN * _missing(condition)))
        drag = self._drag_per_s(heavier)
        push, pull = max(_TORQUE_PER_S - drag, 0.0), _TORQUE_PER_S + drag
        asked = (wanted - self._speed) / _SPEED_LOOP_S
        before = self._speed
        if -pull <= asked <= push:
            decay = math.exp(-dt_s / _SPEED_LOOP_S)
            self._speed = wanted + (before - wanted) * decay
            self.phase_error_s += (wanted - 1.0) * dt_s + (before - wanted) * _SPEED_LOOP_S * (1.0 - decay)
        elif asked > push:
            self._free(dt_s, _TORQUE_PER_S, heavier)
        else:
            self._free(dt_s, -_TORQUE_PER_S, heavier)
        self._balance_per_s = min(drag, _TORQUE_PER_S)
        self._missed = 0
        if self._speed < _TOO_SLOW:
            self._enter("running_up")
        elif self._settles(abs(self._speed - 1.0) < _SPEED_WINDOW, dt_s, _SPEED_DWELL_S):
            self._enter("vertical")

    def _hold_phase(self, dt_s: float, heavier: float, gain: float, condition: ServoCondition) -> None:
        drag = self._drag_per_s(heavier)
        self._balance_per_s += (min(drag, _TORQUE_PER_S) - self._balance_per_s) * -math.expm1(-dt_s / _BALANCE_S)
        force = self._balance_per_s - drag
        rough = _BEARING_NOISE + 0.01 * condition.brush_friction_pct * _BRUSH_NOISE
        force += rough * self._chance.around_zero() / math.sqrt(dt_s)
        missing = _missing(condition)
        limit = max(_TORQUE_PER_S - drag, 0.0)
        if missing and self._chance.uniform() < missing:
            # No sample of the phase: the drive only sees a wheel that seems slow.
            self._missed += 1
            force, limit = force + _KICK_PER_S, 0.0
        else:
            self._missed = 0
        loop = self._horizontal if self.state == "horizontal" else self._vertical
        self.phase_error_s, rate = loop.advance(self.phase_error_s, self._speed - 1.0, dt_s, gain, force, limit)
        self._speed = min(max(1.0 + rate, 0.0), _FASTEST)
        if abs(rate) > _SPEED_LOST or self._missed >= _MISSED_IN_A_ROW:
            self._enter("speed")
        elif self.state == "horizontal":
            if abs(self.phase_error_s) > self._lost_s:
                self._enter("vertical")
        elif self._settles(abs(self.phase_error_s) < _HANDOVER_S, dt_s, _HANDOVER_DWELL_S):
            self._enter("horizontal")
            if self.lock_time_s is None:
                self.lock_time_s = self.driven_s

    def _drag_per_s(self, heavier: float) -> float:
        """Drag at the nominal speed, as acceleration [nominal speeds a second]."""
        return heavier * (1.0 / _COAST_S + _DRY_PER_S)

    def _wrap(self) -> None:
        turns = math.floor(self.phase_error_s / self._turn_s + 0.5)
        if turns:
            self.phase_error_s -= turns * self._turn_s
            self.turn_slips += turns

    def _set_residual(self, gain: float, condition: ServoCondition) -> None:
        if self._speed == 0.0:
            self.residual_peak_s = 0.0
            return
        locked_to = "horizontal" if self.state == "horizontal" else "vertical"
        loop = self._horizontal if self.state == "horizontal" else self._vertical
        more = 1.0 if gain == 1.0 else loop.unsteadiness(gain)
        # MODEL: brushes that grip badly treble it.
        more *= 1.0 + 0.02 * condition.brush_friction_pct
        self.residual_peak_s = LOCK_RESIDUAL_NS[locked_to] * 1e-9 * more


def _missing(condition: ServoCondition) -> float:
    """Return the share of tachometer pulses that are missed, 0 to 1; few at first, as the weakest go first."""
    if condition.tachometer_pct >= TACHOMETER_GOOD_PCT:
        return 0.0
    share = (TACHOMETER_GOOD_PCT - condition.tachometer_pct) / (TACHOMETER_GOOD_PCT - _TACHOMETER_LOST_PCT)
    return min(1.0, share * share)
