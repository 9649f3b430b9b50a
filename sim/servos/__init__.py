"""The servos of head wheel, capstan and guide: what they do from moment to moment, and what they leave over.

Contents: `WheelServo`, `CapstanServo`, `GuideServo` (each moved on by `step`); `WheelSettings`, `CapstanSettings` (what
is set), `ServoCondition` (what is wrong), `ControlReading` (what the control head finds); `ServoHistory` and `TRACES`
(errors of the servos over seconds), `SERVO_WAVEFORMS` and `servo_waveform` (their pulses over a frame);
`lock_indicators`, `describe_servos` (in words); `LOCK_RESIDUAL_NS`, `wheel_jitter_s`, `tracking_wobble_deg` (what is
left while they hold).
"""

from sim.servos.capstan import CAPSTAN_STATES, CapstanServo
from sim.servos.describe import LockIndicator, describe_servos, lock_indicators
from sim.servos.guide import GUIDE_RANGE_UM, GuideServo
from sim.servos.history import TRACES, ServoHistory, TraceSpec
from sim.servos.residual import LOCK_RESIDUAL_NS, tracking_wobble_deg, wheel_jitter_s
from sim.servos.settings import CapstanSettings, ControlReading, ServoCondition, ServoError, WheelSettings
from sim.servos.waveforms import (
    SERVO_WAVEFORMS,
    ServoWaveform,
    ServoWaveformSpec,
    describe_servo_waveform,
    servo_waveform,
)
from sim.servos.wheel import LOCK_UP_ATTENTION_S, LOCK_UP_NORMAL_S, WHEEL_STATES, WheelServo

__all__ = [
    "CAPSTAN_STATES",
    "GUIDE_RANGE_UM",
    "LOCK_RESIDUAL_NS",
    "LOCK_UP_ATTENTION_S",
    "LOCK_UP_NORMAL_S",
    "SERVO_WAVEFORMS",
    "TRACES",
    "WHEEL_STATES",
    "CapstanServo",
    "CapstanSettings",
    "ControlReading",
    "GuideServo",
    "LockIndicator",
    "ServoCondition",
    "ServoError",
    "ServoHistory",
    "ServoWaveform",
    "ServoWaveformSpec",
    "TraceSpec",
    "WheelServo",
    "WheelSettings",
    "describe_servo_waveform",
    "describe_servos",
    "lock_indicators",
    "servo_waveform",
    "tracking_wobble_deg",
    "wheel_jitter_s",
]
