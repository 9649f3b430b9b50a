"""The capstan's servo: locked to the wheel in record, framed and phased by the off-tape control track in play.

Contents: `CAPSTAN_STATES`, `CapstanServo`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from sim.servos.loop import Chance, PhaseLoop
from sim.servos.settings import (
    SOUND,
    CapstanSettings,
    ControlReading,
    ServoCondition,
    ServoError,
    check_step,
    gain_ratio,
)
from sim.standards import Standard
from sim.wording import wording

__all__ = ["CAPSTAN_STATES", "CONTROL_LOST_DB", "CONTROL_NOISE_DB", "CapstanServo", "capstan_loop"]

# States in the order in which the capstan goes through them, each with a sentence.
CAPSTAN_STATES: Mapping[str, str] = MappingProxyType(
    {
        "stopped": wording("servos.capstan_does_not_drive"),
        "running_up": wording("servos.capstan_bringing_tape_speed"),
        "free_running": wording("servos.there_no_control_track"),
        "framing": wording("servos.capstan_running_off_speed"),
        "phasing": wording("servos.capstan_bringing_control_track"),
        "locked": wording("servos.capstan_locked_control_track"),
        "following_wheel": wording("servos.capstan_locked_head_wheel"),
    }
)

# MODEL: below this level the control track counts as none; on its way up it must pass the second.
CONTROL_LOST_DB = -20.0
_CONTROL_FOUND_DB = -17.0
# MODEL: the noise of the control head is this far below a right control track.
CONTROL_NOISE_DB = -40.0
# MODEL: without control track for so long, the capstan runs free.
_LOST_AFTER_S = 0.15

# MODEL: time constant with which the pinch roller brings the tape to its speed, and with which it is let go.
_START_S = 0.08
_STOP_S = 0.08
# MODEL: the speed loop's time constant while free-running or framing.
_SPEED_LOOP_S = 0.06
# MODEL: speed error of a free-running capstan, smallest and largest.
_FREE_LOW, _FREE_HIGH = 3e-4, 7e-4
# MODEL: how far off its speed the capstan goes for framing (1.5 %: a whole frame's worth within 1.5 s), how hard it
# slows down towards the right frame, and the furthest it goes at all.
_FRAMING_SHARE = 0.015
_FRAMING_PER_S = 3.0
_MOST_OFF = 0.03
# MODEL: largest acceleration of the tape by the servo [nominal speeds a second].
_MOST_PER_S = 0.08
# MODEL: so near for so long counts as locked; so far off as lost.
_LOCKED_DEG = 12.0
_LOCK_DWELL_S = 0.2
_LOST_DEG = 60.0

# MODEL: the loop; it hunts from +12 dB (a gain of 4) on.
_NATURAL_RAD_PER_S = 6.0
_DAMPING = 1.0
_HUNTING_GAIN = 4.0
# MODEL: speed by chance of a tape that slips under the pinch roller, as a share of the slip.
_SLIP_SHARE = 0.05


def capstan_loop() -> PhaseLoop:
    """Return the loop that holds the control track's phase, as it is set when right."""
    return PhaseLoop(_NATURAL_RAD_PER_S, _DAMPING, _HUNTING_GAIN)


class CapstanServo:
    """The capstan, the tape it drives and the servo that places the tracks under the heads.

    Parameters
    ----------
    standard : Standard
        Fixes the wheel's rate (that of the control track) and the control-track cycles in a frame.
    seed : int
        Fixes where the tape stands at first and all chance.

    Attributes
    ----------
    state : str
        One of `CAPSTAN_STATES`.
    speed_ratio : float
        Tape speed against the nominal one: 1 is right, 0 still.
    tape_phase_deg : float
        How far the tape is ahead of the reference, against a tape that ran exactly right from the start [deg of a
        control-track cycle], wrapped to half a frame either way; less the wheel's own phase, it is how far the tape is
        ahead of the wheel.
    phase_deg : float
        Phase of the control track against the wheel [deg]: that of the tape and that of the reading, taken to within
        180 degrees of the phase that is wanted. Where there is no reading, the last one counts.
    phase_error_deg : float
        `phase_deg` less the wanted phase [deg], -180 to 180.
    frame_error_cycles : int
        Whole control-track cycles by which the frame pulse is early; 0 when framed or without frame pulses. So
        `phase_error_deg + 360 frame_error_cycles` has no jump but at half a frame.
    frame_early_s : float
        The same as time [s]: how early the picture is because of it, on top of the wheel's own phase error.
    control_level_db : float or None
        Level the control head gives [dB]; None without control track.
    has_control : bool
        Whether the servo has a control track to work from.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> capstan = CapstanServo(get_standard("525/60"), seed=1)
    >>> for _ in range(400):
    ...     capstan.step(0.01, True, False, ControlReading(), tracking_phase_deg=30.0)
    >>> capstan.state, abs(capstan.phase_deg - 30.0) < 2.0, abs(capstan.speed_ratio - 1.0) < 1e-3
    ('locked', True, True)
    """

    def __init__(self, standard: Standard, seed: int = 0) -> None:
        self.standard = standard
        self.seed = seed
        self.nominal_deg_per_s = 360.0 * standard.wheel_rate_hz
        self._frame_deg = 360.0 * standard.wheel_turns_per_frame
        self._loop = capstan_loop()
        self._chance = Chance(seed, 2)
        self.tape_phase_deg = (self._chance.uniform() - 0.5) * self._frame_deg
        self._free_error = _FREE_LOW + (_FREE_HIGH - _FREE_LOW) * self._chance.uniform()
        if self._chance.uniform() < 0.5:
            self._free_error = -self._free_error
        self.state = "stopped"
        self.speed_ratio = 0.0
        self.phase_error_deg = 0.0
        self.phase_deg = 0.0
        self.frame_error_cycles = 0
        self.control_level_db: float | None = None
        self.has_control = False
        self._reading = ControlReading()
        self._missing_s = math.inf
        self._settled_s = 0.0
        self._record_phase_deg = 0.0
        self._slip = 0.0
        self._wheel_deg = 0.0
        self._wheel_rate = 0.0

    @property
    def locked(self) -> bool:
        """Whether the capstan is locked, to the control track or to the wheel."""
        return self.state in ("locked", "following_wheel")

    @property
    def frame_pulses(self) -> bool:
        """Whether the control track has frame pulses."""
        return self._reading.frame_pulse_cycles is not None

    @property
    def rim_ratio(self) -> float:
        """Speed of the capstan's rim against the nominal tape speed; a tape that slips is slower than the rim."""
        return self.speed_ratio + (self._slip if self.state != "stopped" else 0.0)

    @property
    def frame_early_s(self) -> float:
        """How early the picture is because the frame pulse does not stand right [s]."""
        return self.frame_error_cycles / self.standard.wheel_rate_hz

    def step(
        self,
        dt_s: float,
        engaged: bool,
        recording: bool,
        control: ControlReading | None,
        tracking_phase_deg: float = 0.0,
        settings: CapstanSettings | None = None,
        condition: ServoCondition = SOUND,
        *,
        wheel_early_s: float = 0.0,
        wheel_rate_error: float = 0.0,
    ) -> None:
        """Let time pass.

        Parameters
        ----------
        dt_s : float
            How much [s], up to 0.1 s.
        engaged : bool
            Whether the pinch roller presses the tape to the capstan.
        recording : bool
            Whether the machine records, so that the capstan follows the wheel.
        control : ControlReading or None
            What the control head finds; None where the tape has no control track.
        tracking_phase_deg : float
            The phase wanted [deg].
        settings : CapstanSettings, optional
            What is set; the right settings when omitted.
        condition : ServoCondition, optional
            What is wrong.
        wheel_early_s, wheel_rate_error : float
            `phase_error_s` [s] and `rate_error` of the wheel after the same step: the capstan follows the wheel, not
            the reference. A perfect wheel when omitted.

        Raises
        ------
        ServoError
            If `dt_s` is not above 0 and at most 0.1 s, or the phase wanted or one of the wheel's is not finite.
        """
        check_step(dt_s)
        if not math.isfinite(tracking_phase_deg):
            raise ServoError(f"tracking phase {tracking_phase_deg!r} deg: use a finite number")
        if not (math.isfinite(wheel_early_s) and math.isfinite(wheel_rate_error)):
            raise ServoError(f"wheel {wheel_early_s!r} s early at a rate error of {wheel_rate_error!r}: must be finite")
        gain = 1.0 if settings is None or settings.gain_db == 0.0 else gain_ratio(settings.gain_db)
        self._wheel_deg = wheel_early_s * self.nominal_deg_per_s
        self._wheel_rate = wheel_rate_error
        self._read(dt_s, engaged, control, condition)
        self._place(tracking_phase_deg)
        if not engaged:
            self._let_go(dt_s)
        elif self.state in ("stopped", "running_up"):
            self._run_up(dt_s, recording, condition)
        else:
            self._drive(dt_s, recording, gain, condition)
        self._place(tracking_phase_deg)

    def _enter(self, state: str) -> None:
        self.state = state
        self._settled_s = 0.0

    def _read(self, dt_s: float, engaged: bool, control: ControlReading | None, condition: ServoCondition) -> None:
        """Take what the control head gives; too weak a signal is none."""
        level_db = None if control is None or not engaged else control.level_db + condition.control_head_db
        self.control_level_db = level_db
        needed = CONTROL_LOST_DB if self.has_control else _CONTROL_FOUND_DB
        if control is not None and level_db is not None and level_db >= needed:
            self._reading = control
            self._missing_s = 0.0
            self.has_control = True
        else:
            self._missing_s += dt_s
            self.has_control = self._missing_s < _LOST_AFTER_S

    def _place(self, wanted_deg: float) -> None:
        """Work out phase and frame from where the tape is."""
        reading = self._reading
        error = self.tape_phase_deg - self._wheel_deg + reading.phase_deg - wanted_deg
        if self.state == "following_wheel":
            error = self.tape_phase_deg - self._wheel_deg - self._record_phase_deg
        elif reading.frame_pulse_cycles is not None:
            error += 360.0 * reading.frame_pulse_cycles
        error -= self._frame_deg * math.floor(error / self._frame_deg + 0.5)
        cycles = math.floor(error / 360.0 + 0.5)
        self.phase_error_deg = error - 360.0 * cycles
        self.phase_deg = wanted_deg + self.phase_error_deg
        framed = self.state == "following_wheel" or reading.frame_pulse_cycles is None
        # Half a frame either way is the same place.
        self.frame_error_cycles = 0 if framed else cycles

    def _move(self, deg: float) -> None:
        place = self.tape_phase_deg + deg
        self.tape_phase_deg = place - self._frame_deg * math.floor(place / self._frame_deg + 0.5)

    def _let_go(self, dt_s: float) -> None:
        if self.state != "stopped":
            decay = math.exp(-dt_s / _STOP_S)
            # Seen once a turn, a tape that slows down falls back by whole cycles less what it still runs.
            self._move(self.nominal_deg_per_s * (self.speed_ratio * _STOP_S * (1.0 - decay) - dt_s))
            self.speed_ratio *= decay
            if self.speed_ratio < 1e-3:
                self.speed_ratio = 0.0
            self._enter("stopped" if self.speed_ratio == 0.0 else "running_up")

    def _run_up(self, dt_s: float, recording: bool, condition: ServoCondition) -> None:
        self.state = "running_up"
        reached = 1.0 - 0.01 * condition.capstan_slip_pct
        decay = math.exp(-dt_s / _START_S)
        behind = (self.speed_ratio - reached) * (1.0 - decay) * _START_S
        self._move(self.nominal_deg_per_s * ((reached - 1.0) * dt_s + behind))
        self.speed_ratio = reached + (self.speed_ratio - reached) * decay
        self._slip = 0.01 * condition.capstan_slip_pct
        if abs(self.speed_ratio - reached) < 0.5 * _MOST_OFF:
            self._choose(recording)

    def _choose(self, recording: bool) -> None:
        """Enter the state that the machine's mode and the control track ask for."""
        if recording:
            self._record_phase_deg = self.tape_phase_deg - self._wheel_deg
            self._enter("following_wheel")
        elif not self.has_control:
            self._enter("free_running")
        else:
            self._enter("framing" if self.frame_error_cycles else "phasing")

    def _drive(self, dt_s: float, recording: bool, gain: float, condition: ServoCondition) -> None:
        wrong_track = (self.state == "free_running") == self.has_control and not recording
        if (self.state == "following_wheel") != recording or wrong_track:
            self._choose(recording)
        nominal = self.nominal_deg_per_s
        slip = 0.01 * condition.capstan_slip_pct
        # All as seen from the wheel, which may itself be off its speed.
        wheel = self._wheel_rate
        rate = nominal * (self.speed_ratio - 1.0 - wheel - (slip - self._slip))
        self._slip = slip
        if slip:
            rate += nominal * slip * _SLIP_SHARE * self._chance.around_zero() * math.sqrt(dt_s)
        error = self.phase_error_deg
        if self.state == "free_running":
            moved, rate = _towards(nominal * (self._free_error - slip - wheel), rate, dt_s)
        elif self.state == "framing":
            wanted = -_FRAMING_PER_S * (error + 360.0 * self.frame_error_cycles)
            most = nominal * _FRAMING_SHARE
            moved, rate = _towards(min(max(wanted, -most), most), rate, dt_s)
        else:
            noise = 0.0
            if self.state != "following_wheel" and self.control_level_db is not None:
                # Phase noise of a sine in noise, in degrees, as the loop's acceleration.
                noise_deg = math.degrees(10.0 ** ((CONTROL_NOISE_DB - self.control_level_db) / 20.0))
                noise = gain * self._loop.natural_rad_per_s**2 * noise_deg * self._chance.around_zero()
            after, rate = self._loop.advance(error, rate, dt_s, gain, noise, nominal * _MOST_PER_S)
            moved = after - error
        # The capstan goes only so far off its speed; a tape that slips is slower by the slip.
        off = min(max(rate / nominal + wheel, -_MOST_OFF - slip), _MOST_OFF - slip)
        self._move(moved + nominal * wheel * dt_s)
        self.speed_ratio = 1.0 + off
        self._judge(error + moved, dt_s)

    def _judge(self, error_deg: float, dt_s: float) -> None:
        """Go on to the next state when this one has done its work, or back when it has failed."""
        self._settled_s = self._settled_s + dt_s if abs(error_deg) < _LOCKED_DEG else 0.0
        if self.state == "framing":
            if not self.frame_error_cycles:
                self._enter("phasing")
        elif self.state in ("phasing", "locked") and self.frame_error_cycles:
            # Another recording, or a cycle lost.
            self._enter("framing")
        elif self.state == "phasing":
            if self._settled_s > _LOCK_DWELL_S:
                self._enter("locked")
        elif self.state == "locked" and abs(error_deg) > _LOST_DEG:
            self._enter("phasing")


def _towards(wanted: float, rate: float, dt_s: float) -> tuple[float, float]:
    """Return how far a speed loop moves in one step, and the rate after it."""
    decay = math.exp(-dt_s / _SPEED_LOOP_S)
    return wanted * dt_s + (rate - wanted) * _SPEED_LOOP_S * (1.0 - decay), wanted + (rate - wanted) * decay
