"""How a machine stands: what its controls and its hidden condition come to together, in the stages' own units.

Contents: `Adjustment`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.condition import Condition
from sim.controls import CONTROLS
from sim.correction import CORRECTIONS
from sim.headwheel import GuideGeometry, PassSchedule, pass_schedule
from sim.playback import ChannelSettings
from sim.servos.residual import tracking_wobble_deg, wheel_jitter_s
from sim.standards import Standard
from sim.tape import RecordSettings

__all__ = ["Adjustment"]

# The dropout compensator is off at the lowest setting of its control (MODEL).
_COMPENSATOR_OFF_DB = CONTROLS["dropout_threshold_db"].minimum


@dataclass(frozen=True, eq=False)
class Adjustment:
    """A machine as it is adjusted now.

    Attributes
    ----------
    standard : Standard
        What it works by.
    controls : mapping of str to float
        Every control's value, in its own unit.
    condition : Condition
        What is wrong or worn.
    seed : int
        Seed of what trembles.
    guide_correction_um : float
        How far an automatic guide stands from where its control has put it [um].
    """

    standard: Standard
    controls: Mapping[str, float]
    condition: Condition
    seed: int = 0
    guide_correction_um: float = 0.0

    # Recording ----------------------------------------------------------------------------------------------

    @property
    def input_db(self) -> float:
        """Gain from the input to the modulator [dB]."""
        return self.controls["input_level_db"] + self.condition.input_level_offset_db

    @property
    def record_settings(self) -> RecordSettings:
        """How it records: carriers, and each head's current in percent of its best."""
        controls, condition = self.controls, self.condition
        best = condition.record_current_best_pct
        current = [100.0 * controls[f"record_current_pct_{head + 1}"] / best[head] for head in range(4)]
        return RecordSettings(
            deviation_hz=(controls["fm_deviation_khz"] + condition.record_deviation_offset_khz) * 1e3,
            carrier_hz=(controls["fm_carrier_khz"] + condition.record_carrier_offset_khz) * 1e3,
            current_pct=(current[0], current[1], current[2], current[3]),
        )

    # Heads, guide and servos --------------------------------------------------------------------------------

    @property
    def geometry(self) -> GuideGeometry:
        """Errors of guide and heads."""
        controls, condition = self.controls, self.condition
        timing = [controls[f"head_timing_ns_{head + 1}"] + condition.head_timing_offset_ns[head] for head in range(4)]
        return GuideGeometry(
            inward_um=controls["guide_position_um"] + condition.guide_offset_um + self.guide_correction_um,
            height_um=controls["guide_height_um"] + condition.guide_height_offset_um,
            head_timing_ns=(timing[0], timing[1], timing[2], timing[3]),
        )

    def control_phase_deg(self, time_s: float, held_deg: float | None) -> float:
        """Return the phase of the control track against the wheel, swing of the capstan included.

        `held_deg` is where the capstan holds it; None stands for where the tracking control puts it.
        """
        condition = self.condition
        wanted_deg = self.controls["tracking_phase_deg"] if held_deg is None else held_deg
        phase_deg = wanted_deg + condition.tracking_offset_deg
        if condition.capstan_swing_deg:
            swing = (condition.capstan_swing_deg, condition.capstan_swing_hz)
            phase_deg += tracking_wobble_deg(time_s, *swing, self.seed)
        return phase_deg

    def servo_error_s(self, time_s: float, peak_s: float | None) -> NDArray[np.float64]:
        """Return how early the wheel is in each line of the frame at `time_s`, (lines,) [s].

        `peak_s` is the peak of what its servo leaves over; None stands for what the condition says.
        """
        standard = self.standard
        peak_s = self.condition.wheel_jitter_ns * 1e-9 if peak_s is None else peak_s
        if not peak_s:
            return np.zeros(standard.lines_per_frame)
        line_s = time_s + np.arange(standard.lines_per_frame, dtype=np.float64) * standard.line_period_s
        return wheel_jitter_s(line_s, peak_s, standard.wheel_rate_hz, self.seed)

    # Channels and switcher ----------------------------------------------------------------------------------

    @property
    def schedule(self) -> PassSchedule:
        """When the switcher turns over from pass to pass."""
        spec = CONTROLS["switch_timing_us"]
        late_us = self.controls["switch_timing_us"] + self.condition.switch_timing_offset_us
        return pass_schedule(self.standard, min(max(late_us, spec.minimum), spec.maximum))

    @property
    def playing(self) -> NDArray[np.int8]:
        """Number of each head whose channel is switched on, 0 for the others, shape (4,)."""
        return np.array([head + 1 if self._is_on(head) else 0 for head in range(4)], dtype=np.int8)

    def _is_on(self, head: int) -> bool:
        return self.controls[f"channel_on_{head + 1}"] == 1.0

    def channels(self, noise_power: float) -> tuple[ChannelSettings, ...]:
        """Return the channels of heads 1 to 4.

        Parameters
        ----------
        noise_power : float
            Complex noise power over carrier power of a channel in good order.
        """
        condition = self.condition
        channels = []
        for head in range(4):
            gain_db = self.controls[f"channel_gain_db_{head + 1}"] + condition.channel_gain_offset_db[head]
            gain = 10.0 ** (gain_db / 20.0) if self._is_on(head) else 0.0
            noise_db = condition.noise_db + condition.channel_noise_db[head] + condition.head_magnetism_db[head]
            channels.append(
                ChannelSettings(
                    signal=gain * 10.0 ** (condition.head_output_db[head] / 20.0),
                    noise=gain * (noise_power * 10.0 ** (noise_db / 10.0)) ** 0.5,
                    equaliser_db=self.controls[f"channel_eq_db_{head + 1}"] + condition.channel_eq_offset_db[head],
                )
            )
        return tuple(channels)

    # Output -------------------------------------------------------------------------------------------------

    @property
    def video_level(self) -> float:
        """Gain behind the demodulator."""
        return float(10.0 ** (self.controls["video_level_db"] / 20.0))

    @property
    def correction(self) -> str:
        """Which of `CORRECTIONS` works."""
        return CORRECTIONS[int(self.controls["correction"])]

    @property
    def dropout_threshold_db(self) -> float | None:
        """RF level below which the dropout compensator works [dB]; None while it is off."""
        lowest_db = _COMPENSATOR_OFF_DB
        threshold_db = self.condition.video.threshold_db(self.controls["dropout_threshold_db"], lowest_db)
        return threshold_db if threshold_db > lowest_db else None
