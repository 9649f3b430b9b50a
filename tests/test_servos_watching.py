"""Watching the servos: traces of their errors, lock indicators, what is said about them, and refused settings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sim.errors import UnknownNameError
from sim.servos import (
    CAPSTAN_STATES,
    LOCK_RESIDUAL_NS,
    SERVO_WAVEFORMS,
    TRACES,
    WHEEL_STATES,
    CapstanServo,
    CapstanSettings,
    ControlReading,
    ServoCondition,
    ServoError,
    ServoHistory,
    WheelServo,
    WheelSettings,
    describe_servo_waveform,
    describe_servos,
    lock_indicators,
    servo_waveform,
)
from sim.standards import get_standard
from tests.outside_checks import OutsideCheck

NTSC = get_standard("525/60")


class Machine:
    """Both servos and their history, run together."""

    def __init__(self, seed: int = 0) -> None:
        self.wheel, self.capstan, self.history = WheelServo(NTSC, seed), CapstanServo(NTSC, seed), ServoHistory()
        self.wheel_gain_db = self.capstan_gain_db = 0.0

    def run(
        self,
        seconds: float,
        control: ControlReading | None = ControlReading(),  # noqa: B008 - frozen
        *,
        engaged: bool = True,
        recording: bool = False,
        driven: bool = True,
        condition: ServoCondition = ServoCondition(),  # noqa: B008 - frozen
    ) -> None:
        for _ in range(round(100 * seconds)):
            self.wheel.step(0.01, driven, True, WheelSettings(self.wheel_gain_db), condition)
            self.capstan.step(0.01, engaged, recording, control, 0.0, CapstanSettings(self.capstan_gain_db), condition)
            self.history.record(self.wheel, self.capstan, 0.01)

    @property
    def said(self) -> str:
        return describe_servos(self.wheel, self.capstan, self.history)

    @property
    def lit(self) -> set[str]:
        return {indicator.name for indicator in lock_indicators(self.wheel, self.capstan) if indicator.on}


def test_history_keeps_the_last_four_seconds_of_every_trace() -> None:
    machine = Machine()
    machine.run(1.0)
    assert len(machine.history) == 100
    machine.run(9.0)
    assert len(machine.history) == 400
    time_s = machine.history.time_s
    np.testing.assert_allclose(time_s, np.arange(-399, 1) * 0.01, atol=1e-9)
    for name, trace in TRACES.items():
        values = machine.history.trace(name)
        assert values.shape == (400,)
        assert np.all(np.isfinite(values))
        assert trace.range[0] < trace.range[1]
        assert np.all((values >= trace.range[0]) & (values <= trace.range[1])), f"{name}: in lock all fits the display"
    np.testing.assert_allclose(machine.history.speed_ratio(), 1.0, atol=1e-3)
    with pytest.raises(UnknownNameError, match="unknown servo trace 'wow'"):
        machine.history.trace("wow")
    machine.history.clear()
    assert len(machine.history) == 0
    assert machine.history.trace("wheel_line_error").size == 0


def test_traces_show_what_the_servos_do() -> None:
    machine = Machine(3)
    rows = []
    for _ in range(380):
        machine.run(0.01)
        rows.append((machine.wheel.phase_error_s, machine.wheel.rate_hz, machine.capstan.phase_error_deg))
    wanted = np.array(rows)
    history = machine.history
    np.testing.assert_allclose(history.trace("wheel_phase_error"), 1e6 * wanted[:, 0])
    np.testing.assert_allclose(history.trace("wheel_rate_error"), 100.0 * (wanted[:, 1] / NTSC.wheel_rate_hz - 1.0))
    np.testing.assert_allclose(history.trace("capstan_phase_error"), wanted[:, 2])
    assert history.trace("frame_error")[-1] == 0.0
    assert np.abs(history.trace("frame_error")).max() >= 1.0
    assert history.trace("tape_speed_error")[0] < -80.0


def test_fast_error_is_that_of_the_lock() -> None:
    machine = Machine()
    machine.run(10.0)
    line_us = machine.history.trace("wheel_line_error")
    # MEMORY: +-0.1 to 0.15 us in line lock; a third of the peak is the rms value (MODEL).
    assert line_us.std() == pytest.approx(LOCK_RESIDUAL_NS["horizontal"] * 1e-3 / 3.0, rel=0.3)


def test_drive_tells_a_heavy_bearing_and_the_capstan_a_tape_that_slips(outside_check: OutsideCheck) -> None:
    drives = {}
    for drag_pct in (0.0, 200.0):
        machine = Machine()
        machine.run(1.0, condition=ServoCondition(wheel_drag_pct=drag_pct))
        np.testing.assert_allclose(machine.history.trace("wheel_drive")[1:], 100.0, rtol=0.01)
        machine.run(9.0, condition=ServoCondition(wheel_drag_pct=drag_pct))
        drives[drag_pct] = float(machine.history.trace("wheel_drive").mean())
    outside_check(
        "wheel drive in lock with a bearing that drags by 200 % more, against a sound one",
        "DERIVED at a steady speed the drive gives the drag, three times as much",
        3.0,
        drives[200.0] / drives[0.0],
        0.01,
    )
    machine = Machine()
    machine.run(8.0, condition=ServoCondition(capstan_slip_pct=1.0))
    slip = machine.history.trace("capstan_speed_error") - machine.history.trace("tape_speed_error")
    np.testing.assert_allclose(slip, 1.0, atol=1e-9)
    machine.run(0.5, driven=False)
    assert np.all(machine.history.trace("wheel_drive")[-40:] == 0.0)


def falling_through(time_s: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Moments at which a wave falls through zero from above a half."""
    index = np.flatnonzero((values[:-1] > 0.0) & (values[1:] <= 0.0))
    strong = [i for i in index if values[max(0, i - 10) : i + 1].max() > 0.02]
    place = np.array(strong, dtype=int)
    share = values[place] / (values[place] - values[place + 1])
    return np.asarray(time_s[place] + share * (time_s[1] - time_s[0]))


def test_tachometer_gives_one_pulse_a_turn_where_the_wheel_is() -> None:
    machine = Machine(3)
    machine.run(2.55)
    assert machine.wheel.state == "vertical"
    early_s = machine.wheel.phase_error_s
    assert abs(early_s) > 50e-6
    wave = servo_waveform("tachometer", machine.wheel, machine.capstan)
    moments = falling_through(wave.time_s, wave.values)
    assert moments.size in (8, 9)
    np.testing.assert_allclose(np.diff(moments), 1.0 / machine.wheel.rate_hz, atol=1e-6)
    turn_s = 1.0 / NTSC.wheel_rate_hz
    assert (moments[0] + early_s + 0.5 * turn_s) % turn_s - 0.5 * turn_s == pytest.approx(0.0, abs=2e-6)
    weak = servo_waveform("tachometer", machine.wheel, machine.capstan, condition=ServoCondition(tachometer_pct=30.0))
    np.testing.assert_allclose(weak.values, 0.3 * wave.values)


def test_sampling_pulse_climbs_the_ramp_of_a_late_wheel_and_sits_on_the_middle_in_lock() -> None:
    machine = Machine()
    machine.run(6.0)

    def sampled(gain_db: float) -> tuple[float, float]:
        """Ramp under the sampling pulse, and the ramp's height."""
        wave = servo_waveform("phase_detector", machine.wheel, machine.capstan, WheelSettings(gain_db))
        bare = servo_waveform(
            "phase_detector", machine.wheel, machine.capstan, WheelSettings(gain_db), ServoCondition(tachometer_pct=0.0)
        )
        return float(bare.values[wave.values - bare.values > 0.1].mean()), float(bare.values.max())

    assert sampled(0.0)[0] == pytest.approx(0.0, abs=0.01)
    assert sampled(6.0)[1] == pytest.approx(10.0**0.3 * sampled(0.0)[1], rel=1e-6)
    assert sampled(24.0)[1] == 1.0  # the drive can give no more
    machine.wheel.phase_error_s = -300e-6
    assert sampled(0.0)[0] > 0.02
    machine.wheel.phase_error_s = 300e-6
    assert sampled(0.0)[0] < -0.02


def test_control_track_waveform_is_the_track_under_the_head() -> None:
    machine = Machine()
    machine.run(6.0, ControlReading(level_db=-6.0))
    wave = servo_waveform("control_track", machine.wheel, machine.capstan)
    sine = np.sin(2.0 * np.pi * NTSC.wheel_rate_hz * wave.time_s)
    # 6 dB down; the frame pulse stands on the first peak.
    assert 2.0 * float(np.mean(wave.values * sine)) == pytest.approx(10.0 ** (-6.0 / 20.0), rel=0.03)
    rest = wave.values - 10.0 ** (-6.0 / 20.0) * sine
    assert wave.time_s[int(np.argmax(rest))] * NTSC.wheel_rate_hz == pytest.approx(0.25, abs=0.03)
    # The noise of the head is what is left (MODEL: 40 dB below a right track).
    assert np.std(rest[len(rest) // 2 :]) == pytest.approx(0.01 / np.sqrt(2.0), rel=0.3)
    other = servo_waveform("control_track", machine.wheel, machine.capstan, index=1)
    assert not np.array_equal(wave.values, other.values)
    machine.run(1.0, ControlReading(frame_pulse_cycles=None))
    assert servo_waveform("control_track", machine.wheel, machine.capstan).values.max() < 1.1
    machine.run(1.0, None)
    assert np.abs(servo_waveform("control_track", machine.wheel, machine.capstan).values).max() < 0.05


def test_every_waveform_stays_on_the_screen_and_has_words() -> None:
    still, machine = Machine(), Machine()
    machine.run(6.0)
    for name, spec in SERVO_WAVEFORMS.items():
        for one in (still, machine):
            wave = servo_waveform(name, one.wheel, one.capstan)
            assert np.all((wave.values >= spec.range[0]) & (wave.values <= spec.range[1]))
            assert wave.time_s[-1] < 1.0 / NTSC.frame_rate_hz
            assert describe_servo_waveform(wave).startswith(f"{spec.label}: from ")
    assert np.all(servo_waveform("tachometer", still.wheel, still.capstan).values == 0.0)
    with pytest.raises(UnknownNameError, match="unknown servo waveform 'drive'"):
        servo_waveform("drive", machine.wheel, machine.capstan)


def test_indicators_light_in_their_order_and_say_what_they_mean() -> None:
    machine = Machine(2)
    orders: list[str] = []
    for _ in range(500):
        machine.run(0.01)
        orders += sorted(machine.lit - set(orders))
    assert [name for name in orders if name in ("speed", "vertical", "horizontal")] == [
        "speed",
        "vertical",
        "horizontal",
    ]
    assert machine.lit == {"speed", "vertical", "horizontal", "control_track", "framed", "capstan"}
    machine.run(1.0, None)
    assert machine.lit == {"speed", "vertical", "horizontal"}
    machine.run(1.0, recording=True)
    assert machine.lit >= {"capstan"}
    assert "framed" not in machine.lit
    machine.run(1.0, engaged=False, driven=False)
    assert machine.lit == set()
    for indicator in lock_indicators(machine.wheel, machine.capstan):
        assert indicator.sentence.endswith(".")
        assert indicator.label


def test_every_state_has_a_sentence() -> None:
    for sentence in (*WHEEL_STATES.values(), *CAPSTAN_STATES.values()):
        assert sentence[0].isupper()
        assert sentence.endswith(".")


def test_words_tell_lock_loss_and_attention() -> None:
    machine = Machine()
    assert machine.said == "The head wheel stands still. The capstan does not drive the tape."
    machine.run(8.0)
    assert "full lock. Lock-up took 3." in machine.said
    assert "attention" not in machine.said
    assert "hunts" not in machine.said
    assert machine.said.endswith("The capstan is locked to the control track.")
    machine.run(1.0, None)
    assert machine.said.endswith("There is no control track: the capstan runs free and the tracking drifts.")
    machine.run(0.1, ControlReading(frame_pulse_cycles=3))
    assert "control-track cycles" in machine.said
    heavy = Machine()
    heavy.run(9.0, condition=ServoCondition(wheel_drag_pct=400.0))
    assert "which needs attention" in heavy.said
    stuck = Machine()
    stuck.run(9.0, condition=ServoCondition(tachometer_pct=20.0))
    assert "Driven for 9 s without full lock: it needs attention." in stuck.said


def test_words_tell_hunting_of_either_servo() -> None:
    machine = Machine()
    machine.run(6.0)
    machine.wheel_gain_db = 15.0
    machine.run(10.0)
    assert "to and fro: it hunts." in machine.said
    assert "the capstan hunts" not in machine.said
    machine.wheel_gain_db, machine.capstan_gain_db = 0.0, 15.0
    machine.run(15.0)
    assert "the capstan hunts" in machine.said
    assert "it hunts." not in machine.said
    machine.capstan_gain_db = 0.0
    machine.run(8.0)
    assert "hunts" not in machine.said


@pytest.mark.parametrize("kind", [WheelSettings, CapstanSettings])
@pytest.mark.parametrize("gain_db", [math.nan, math.inf, 25.0, -25.0])
def test_gain_that_makes_no_sense_is_refused(kind: type[WheelSettings] | type[CapstanSettings], gain_db: float) -> None:
    with pytest.raises(ServoError, match="use a number from -24 to 24 dB"):
        kind(gain_db)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("tachometer_pct", -1.0),
        ("wheel_drag_pct", math.nan),
        ("brush_friction_pct", -0.1),
        ("control_head_db", 30.0),
        ("capstan_slip_pct", 60.0),
    ],
)
def test_condition_that_makes_no_sense_is_refused(name: str, value: float) -> None:
    with pytest.raises(ServoError, match=f"servo condition '{name}'"):
        ServoCondition(**{name: value})


def test_reading_that_makes_no_sense_is_refused() -> None:
    with pytest.raises(ServoError, match="must be finite"):
        ControlReading(phase_deg=math.nan)
    with pytest.raises(ServoError, match="must be finite"):
        ControlReading(level_db=-math.inf)
