"""What is wrong or worn in the machine: hidden from the trainee, planted by lessons and instructors.

Contents: `Condition`, `FaultSpec`, `FAULTS`, `with_fault`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from types import MappingProxyType
from typing import TypeVar

from sim.errors import BandbenchError, UnknownNameError
from sim.headtape import GOOD_HEAD, HeadTip
from sim.servos import LOCK_RESIDUAL_NS, ServoCondition
from sim.sound import SoundCondition
from sim.transport import DeckCondition

__all__ = ["FAULTS", "Condition", "ConditionError", "FaultSpec", "with_fault"]

FourHeads = tuple[float, float, float, float]
_NONE: FourHeads = (0.0, 0.0, 0.0, 0.0)
_SERVOS, _DECK, _SOUND = ServoCondition(), DeckCondition(), SoundCondition()
Part = TypeVar("Part", ServoCondition, DeckCondition, SoundCondition)
# Values below which it would not be a head, or not an error, at all (MODEL).
_LOWEST = {
    "record_current_best_pct": 10.0,
    "wheel_jitter_ns": 0.0,
    "switch_jump_deg": 0.0,
    "slip_ring_lifts_per_turn": 0.0,
    "capstan_swing_deg": 0.0,
    "capstan_swing_hz": 0.0,
    "head_projection_um": 0.0,
    "head_debris_um": 0.0,
    "head_gap_um": 0.1,
    "head_resonance_mhz": 5.0,
}


class ConditionError(BandbenchError):
    """A hidden condition or a fault severity that makes no sense."""


@dataclass(frozen=True)
class Condition:
    """The machine's hidden state; every default is a perfect machine.

    Attributes
    ----------
    tracking_offset_deg : float
        Phase between control track and wheel when the tracking control reads 0 [deg].
    guide_offset_um, guide_height_offset_um : float
        Guide displacement when its controls read 0 [um].
    head_timing_offset_ns : four floats
        How early each head is when its timing control reads 0 [ns].
    head_output_db : four floats
        Level each head gives, against a good head [dB].
    head_projection_um : four floats
        Tip projection [um]: 2.5-3.5 mil new, 0.5-1 mil at the end of life (from memory).
    head_debris_um : four floats
        Debris between tip and tape [um].
    head_gap_um, head_azimuth_deg, head_resonance_mhz : four floats
        Gap length [um], azimuth against the tape [deg] and resonance of each head [MHz].
    record_current_best_pct : four floats
        Record current that gives each head its playback peak [% of nominal].
    channel_eq_offset_db : four floats
        Error of each channel's response at subcarrier frequency when its equaliser reads 0 [dB].
    noise_db : float
        RF noise against normal [dB].
    switch_jump_deg : float
        Phase jump at the switching moments that the demodulator's gate does not hide [deg].
    slip_ring_lifts_per_turn : four floats
        How often the brush of each head's slip ring loses it [per turn of the wheel].
    wheel_jitter_ns : float
        Peak time-base error the wheel servo leaves [ns] (`sim.servos.LOCK_RESIDUAL_NS`).
    capstan_swing_deg, capstan_swing_hz : float
        How far [deg] and how fast [Hz] the capstan servo lets the tracking swing.
    control_record_offset_deg : float
        How far the control track is recorded ahead of where its control says [deg].
    tachometer_pct, wheel_drag_pct, brush_friction_pct : float
        Pulse of the wheel's tachometer, drag of its bearing beyond normal, unevenness of its brushes [%]; like all
        that follow as described in `sim.servos.ServoCondition`.
    control_head_db : float
        Level the control head gives, against a sound one [dB].
    capstan_slip_pct : float
        How much slower the tape runs than the capstan's rim [%].
    air_leak, vacuum_leak, supply_tension_drift, takeup_tension_drift : float
        Share of each that is lost or has drifted [share]; this and what follows as in `sim.transport.DeckCondition`.
    timer_slip_ppm : float
        Part of the tape's way that the timer's roller misses [ppm].
    pinch_slip, brake_weak, wind_weak, reel_eccentricity : float
        Share of the capstan's way, the brakes' and the motors' torque that is lost; swing of the tension [share].
    air_pump_failed, vacuum_pump_failed : float
        Whether a pump does not run [0 or 1].
    sound_azimuth_offset_arcmin : float
        Turn of the sound heads when their control reads 0 [arcmin]; this and what follows as in
        `sim.sound.SoundCondition`.
    sound_bias_offset_pct : float
        How much more bias there is than its control reads [%].
    sound_hiss_db, sound_hum_db : float
        Hiss against normal, hum against reference level [dB].
    sound_head_spacing_um, sound_head_gap_um : float
        Dirt under the sound heads and length of their gap [um].
    sound_flutter_pct : float
        Wow and flutter beyond normal, rms [%].

    Raises
    ------
    ConditionError
        If a value is not finite or a head list has not four entries.
    """

    tracking_offset_deg: float = 0.0
    guide_offset_um: float = 0.0
    guide_height_offset_um: float = 0.0
    head_timing_offset_ns: FourHeads = _NONE
    head_output_db: FourHeads = _NONE
    head_projection_um: FourHeads = (GOOD_HEAD.projection_um,) * 4
    head_debris_um: FourHeads = _NONE
    head_gap_um: FourHeads = (GOOD_HEAD.gap_um,) * 4
    head_azimuth_deg: FourHeads = _NONE
    head_resonance_mhz: FourHeads = (GOOD_HEAD.resonance_hz / 1e6,) * 4
    record_current_best_pct: FourHeads = (100.0, 100.0, 100.0, 100.0)
    channel_eq_offset_db: FourHeads = _NONE
    noise_db: float = 0.0
    switch_jump_deg: float = 0.0
    slip_ring_lifts_per_turn: FourHeads = _NONE
    wheel_jitter_ns: float = 0.0
    capstan_swing_deg: float = 0.0
    capstan_swing_hz: float = 0.8
    control_record_offset_deg: float = 0.0
    tachometer_pct: float = _SERVOS.tachometer_pct
    wheel_drag_pct: float = _SERVOS.wheel_drag_pct
    brush_friction_pct: float = _SERVOS.brush_friction_pct
    control_head_db: float = _SERVOS.control_head_db
    capstan_slip_pct: float = _SERVOS.capstan_slip_pct
    air_leak: float = _DECK.air_leak
    vacuum_leak: float = _DECK.vacuum_leak
    supply_tension_drift: float = _DECK.supply_tension_drift
    takeup_tension_drift: float = _DECK.takeup_tension_drift
    timer_slip_ppm: float = _DECK.timer_slip_ppm
    pinch_slip: float = _DECK.pinch_slip
    brake_weak: float = _DECK.brake_weak
    wind_weak: float = _DECK.wind_weak
    reel_eccentricity: float = _DECK.reel_eccentricity
    air_pump_failed: float = 0.0
    vacuum_pump_failed: float = 0.0
    sound_azimuth_offset_arcmin: float = _SOUND.azimuth_offset_arcmin
    sound_bias_offset_pct: float = _SOUND.bias_offset_pct
    sound_hiss_db: float = _SOUND.hiss_db
    sound_hum_db: float = _SOUND.hum_db
    sound_head_spacing_um: float = _SOUND.head_spacing_um
    sound_head_gap_um: float = _SOUND.head_gap_um
    sound_flutter_pct: float = _SOUND.flutter_pct

    def __post_init__(self) -> None:
        for entry in fields(self):
            value = getattr(self, entry.name)
            per_head = isinstance(entry.default, tuple)
            values = tuple(value) if per_head else (value,)
            if per_head and len(values) != 4:
                raise ConditionError(f"condition '{entry.name}': needs four values, one a head, got {value!r}")
            if not all(math.isfinite(item) for item in values):
                raise ConditionError(f"condition '{entry.name}': {value!r} is not finite")
            lowest = _LOWEST.get(entry.name)
            if lowest is not None and min(values) < lowest:
                raise ConditionError(f"condition '{entry.name}': {value!r} is below {lowest:g}")
        for name in ("air_pump_failed", "vacuum_pump_failed"):
            if getattr(self, name) not in (0.0, 1.0):
                raise ConditionError(f"condition '{name}': {getattr(self, name)!r} is neither 0 nor 1")
        try:
            for part in ("servos", "deck", "sound"):
                getattr(self, part)
        except BandbenchError as error:
            raise ConditionError(str(error)) from None

    @cached_property
    def servos(self) -> ServoCondition:
        """The state of the servos."""
        return self._part(ServoCondition, "")

    @cached_property
    def deck(self) -> DeckCondition:
        """The state of the transport."""
        return self._part(DeckCondition, "")

    @cached_property
    def sound(self) -> SoundCondition:
        """The state of the sound part."""
        return self._part(SoundCondition, "sound_")

    def _part(self, kind: type[Part], prefix: str) -> Part:
        values = {entry.name: getattr(self, prefix + entry.name) for entry in fields(kind)}
        return kind(**{name: bool(value) if name.endswith("_failed") else value for name, value in values.items()})

    def tip(self, head: int) -> HeadTip:
        """Return head 0 to 3 as `sim.headtape` describes one."""
        return HeadTip(
            projection_um=self.head_projection_um[head],
            debris_um=self.head_debris_um[head],
            gap_um=self.head_gap_um[head],
            azimuth_deg=self.head_azimuth_deg[head],
            resonance_hz=self.head_resonance_mhz[head] * 1e6,
        )


@dataclass(frozen=True)
class FaultSpec:
    """One fault that can be planted with a severity from 0 (none) to 1 (worst)."""

    name: str
    title: str
    description: str
    apply: Callable[[Condition, float], Condition]


def _at_head(values: FourHeads, head: int, change: float) -> FourHeads:
    changed = list(values)
    changed[head - 1] += change
    return (changed[0], changed[1], changed[2], changed[3])


# How far each fault goes at severity 1 (MODEL: plain to see, still inside the range of the controls that mend it,
# or for a clogged head deep enough to fall below the FM threshold).
_WORST_GUIDE_UM = 75.0
_WORST_HEIGHT_UM = 150.0
_WORST_TRACKING_DEG = 45.0
_WORST_DEBRIS_UM = 3.5
_WORST_WEAR_UM = -63.0
_WORST_TIMING_NS = 400.0
_WORST_EQ_DB = -4.0
_WORST_NOISE_DB = 20.0
_WORST_SWING_DEG = 40.0
_WORST_LIFTS_PER_TURN = 6.0
_WORST_TACHOMETER_PCT = -80.0
_WORST_DRAG_PCT = 900.0
_WORST_BRUSH_PCT = 400.0
_WORST_CONTROL_HEAD_DB = -30.0
_WORST_CONTROL_RECORD_DEG = 45.0
_WORST_AIR_LEAK = 0.6
_WORST_VACUUM_LEAK = 0.7
_WORST_TENSION = -0.8
_WORST_TIMER_PPM = 20_000.0
_WORST_AZIMUTH_ARCMIN = 30.0
_WORST_SOUND_DIRT_UM = 12.0
_WORST_BIAS_PCT = -60.0
_WORST_FLUTTER_PCT = 0.8
_WORST_HUM_DB = 95.0


def _clog(head: int) -> Callable[[Condition, float], Condition]:
    return lambda condition, severity: replace(
        condition, head_debris_um=_at_head(condition.head_debris_um, head, _WORST_DEBRIS_UM * severity)
    )


def _wear(head: int) -> Callable[[Condition, float], Condition]:
    return lambda condition, severity: replace(
        condition, head_projection_um=_at_head(condition.head_projection_um, head, _WORST_WEAR_UM * severity)
    )


def _displace(head: int) -> Callable[[Condition, float], Condition]:
    return lambda condition, severity: replace(
        condition,
        head_timing_offset_ns=_at_head(condition.head_timing_offset_ns, head, _WORST_TIMING_NS * severity),
    )


def _dull(head: int) -> Callable[[Condition, float], Condition]:
    return lambda condition, severity: replace(
        condition, channel_eq_offset_db=_at_head(condition.channel_eq_offset_db, head, _WORST_EQ_DB * severity)
    )


def _lift(head: int) -> Callable[[Condition, float], Condition]:
    return lambda condition, severity: replace(
        condition,
        slip_ring_lifts_per_turn=_at_head(condition.slip_ring_lifts_per_turn, head, _WORST_LIFTS_PER_TURN * severity),
    )


def _add(name: str, worst: float) -> Callable[[Condition, float], Condition]:
    """Return a fault that adds `worst` times its severity to one value."""

    def apply(condition: Condition, severity: float) -> Condition:
        return replace(condition, **{name: getattr(condition, name) + worst * severity})

    return apply


# Faults that add to one value: (name, title, description, value, how far at severity 1).
_ADDED = (
    (
        "tachometer_weak",
        "Wheel tachometer weak",
        "The one pulse a turn of the wheel's tachometer is weak or missed; the wheel servo is slow to lock or lets go.",
        "tachometer_pct",
        _WORST_TACHOMETER_PCT,
    ),
    (
        "wheel_bearing_stiff",
        "Wheel bearing stiff",
        "The wheel's bearing drags; it takes long to run up and to lock, and comes to rest too soon.",
        "wheel_drag_pct",
        _WORST_DRAG_PCT,
    ),
    (
        "brushes_uneven",
        "Brushes uneven",
        "The brushes grip the slip rings unevenly; the wheel shivers and vertical lines with it.",
        "brush_friction_pct",
        _WORST_BRUSH_PCT,
    ),
    (
        "control_head_dirty",
        "Control head dirty",
        "The control head gives too little; the capstan loses the control track and the tracking drifts.",
        "control_head_db",
        _WORST_CONTROL_HEAD_DB,
    ),
    (
        "control_record_phase_off",
        "Control track recorded out of phase",
        "New recordings need another tracking than the alignment tape; old ones play as before.",
        "control_record_offset_deg",
        _WORST_CONTROL_RECORD_DEG,
    ),
    (
        "air_low",
        "Air pressure low",
        "The air for the head wheel leaks away; at worst the machine refuses standby.",
        "air_leak",
        _WORST_AIR_LEAK,
    ),
    (
        "vacuum_low",
        "Guide vacuum low",
        "The vacuum of the guide leaks away; at worst it does not hold the tape.",
        "vacuum_leak",
        _WORST_VACUUM_LEAK,
    ),
    (
        "supply_tension_low",
        "Supply tension low",
        "The supply side pulls too little; its arm stands near its slack stop.",
        "supply_tension_drift",
        _WORST_TENSION,
    ),
    (
        "timer_slips",
        "Tape timer slips",
        "The timer's roller slips; it shows less than has run.",
        "timer_slip_ppm",
        _WORST_TIMER_PPM,
    ),
    (
        "sound_azimuth_off",
        "Sound head azimuth off",
        "The sound head is not upright; treble of the programme sound is weak.",
        "sound_azimuth_offset_arcmin",
        _WORST_AZIMUTH_ARCMIN,
    ),
    (
        "sound_head_dirty",
        "Sound head dirty",
        "Dirt lifts the tape off the sound head; treble is weak, and no azimuth brings it back.",
        "sound_head_spacing_um",
        _WORST_SOUND_DIRT_UM,
    ),
    (
        "sound_bias_low",
        "Sound bias low",
        "New sound recordings are distorted; old ones sound as before.",
        "sound_bias_offset_pct",
        _WORST_BIAS_PCT,
    ),
    ("sound_flutters", "Sound flutters", "The pitch of tones trembles.", "sound_flutter_pct", _WORST_FLUTTER_PCT),
    ("sound_hums", "Hum in the sound", "A low hum stands under the sound.", "sound_hum_db", _WORST_HUM_DB),
)


def _fault_list() -> list[FaultSpec]:
    faults = [
        FaultSpec(
            "guide_knocked",
            "Guide out of place",
            "The guide stands too far in; every band leans.",
            lambda c, severity: replace(c, guide_offset_um=c.guide_offset_um + _WORST_GUIDE_UM * severity),
        ),
        FaultSpec(
            "guide_high",
            "Guide too high",
            "The guide stands too high across the tape; every band is bowed.",
            lambda c, severity: replace(
                c, guide_height_offset_um=c.guide_height_offset_um + _WORST_HEIGHT_UM * severity
            ),
        ),
        FaultSpec(
            "tracking_drifted",
            "Tracking phase drifted",
            "The control-track phase is off; the RF of all heads is low, half-way to the next track at worst.",
            lambda c, severity: replace(c, tracking_offset_deg=c.tracking_offset_deg + _WORST_TRACKING_DEG * severity),
        ),
        FaultSpec(
            "noisy_rf",
            "RF noise",
            "The RF noise of all channels is high; the whole picture is grainy.",
            lambda c, severity: replace(c, noise_db=c.noise_db + _WORST_NOISE_DB * severity),
        ),
    ]
    faults += [
        FaultSpec(
            "wheel_unsteady",
            "Head wheel unsteady",
            "The wheel servo leaves too much error; vertical lines shiver from line to line.",
            lambda c, severity: replace(c, wheel_jitter_ns=c.wheel_jitter_ns + LOCK_RESIDUAL_NS["vertical"] * severity),
        ),
        FaultSpec(
            "switching_transients",
            "Switching transients",
            "The demodulator's gate does not hide the changeover from head to head; spikes stand at it.",
            lambda c, severity: replace(c, switch_jump_deg=c.switch_jump_deg + 180.0 * severity),
        ),
        FaultSpec(
            "capstan_hunting",
            "Capstan servo hunting",
            "The tracking swings to and fro; the RF of all heads rises and falls together.",
            lambda c, severity: replace(c, capstan_swing_deg=c.capstan_swing_deg + _WORST_SWING_DEG * severity),
        ),
    ]
    faults += [FaultSpec(name, title, words, _add(value, worst)) for name, title, words, value, worst in _ADDED]
    for head in range(1, 5):
        faults += [
            FaultSpec(
                f"clogged_head_{head}",
                f"Head {head} clogged",
                f"Debris lifts head {head} off the tape; its bands turn to noise.",
                _clog(head),
            ),
            FaultSpec(
                f"worn_head_{head}",
                f"Head {head} worn",
                f"The tip of head {head} is short; its RF falls, most at the ends of a band.",
                _wear(head),
            ),
            FaultSpec(
                f"displaced_head_{head}",
                f"Head {head} out of quadrature",
                f"Head {head} is early on the wheel; its bands stand to the left.",
                _displace(head),
            ),
            FaultSpec(
                f"dull_channel_{head}",
                f"Channel {head} lacks high frequencies",
                f"The response of channel {head} falls at subcarrier frequency; fine detail of its bands is weak.",
                _dull(head),
            ),
            FaultSpec(
                f"dirty_slip_ring_{head}",
                f"Slip ring of head {head} dirty",
                f"The brush of head {head} loses its ring for moments; short streaks of noise stand in its bands only.",
                _lift(head),
            ),
        ]
    return faults


FAULTS: Mapping[str, FaultSpec] = MappingProxyType({fault.name: fault for fault in _fault_list()})


def with_fault(condition: Condition, name: str, severity: float = 1.0) -> Condition:
    """Return `condition` with one fault added.

    Parameters
    ----------
    condition : Condition
        Where the fault is added.
    name : str
        One of `FAULTS`.
    severity : float
        0 (none) to 1 (worst).

    Raises
    ------
    UnknownNameError, ConditionError
        If there is no such fault, or the severity is not from 0 to 1.

    Examples
    --------
    >>> with_fault(Condition(), "clogged_head_3", 0.5).head_debris_um
    (0.0, 0.0, 1.75, 0.0)
    """
    if name not in FAULTS:
        raise UnknownNameError("fault", name, FAULTS)
    if not (math.isfinite(severity) and 0.0 <= severity <= 1.0):
        raise ConditionError(f"fault '{name}': severity {severity!r} is not a number from 0 to 1")
    return FAULTS[name].apply(condition, severity)
