"""What is wrong or worn in the machine: hidden from the trainee, planted by lessons and instructors.

Contents: `Condition` and `ConditionError`. Which faults change it how is data: `sim.faults`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TypeVar

from sim.errors import BandbenchError
from sim.headtape import GOOD_HEAD, HeadTip
from sim.servos import ServoCondition
from sim.sound import SoundCondition
from sim.tapestate import TapeCondition
from sim.transport import DeckCondition
from sim.videocircuits import VideoCondition
from sim.wording import wording

__all__ = ["Condition", "ConditionError"]

FourHeads = tuple[float, float, float, float]
_NONE: FourHeads = (0.0, 0.0, 0.0, 0.0)
_SERVOS, _DECK, _SOUND = ServoCondition(), DeckCondition(), SoundCondition()
_TAPE, _VIDEO = TapeCondition(), VideoCondition()
Part = TypeVar("Part", ServoCondition, DeckCondition, SoundCondition, TapeCondition, VideoCondition)
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


def _names_of(kind: type[Condition | Part]) -> tuple[tuple[str, bool], ...]:
    """Return the fields of a kind of condition, and of each whether it has one value a head."""
    return tuple((entry.name, isinstance(entry.default, tuple)) for entry in fields(kind))


# Looked up once: thousands of conditions are made where starts are dealt to be counted.
_NAMES: dict[type, tuple[tuple[str, bool], ...]] = {}


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
    channel_gain_offset_db : four floats
        How much more each channel amplifies when its gain reads 0 [dB].
    noise_db : float
        RF noise against normal [dB].
    channel_noise_db, head_magnetism_db : four floats
        RF noise of each channel beyond that, and noise that a magnetised head adds [dB].
    switch_timing_offset_us : float
        How much later the switcher turns over than its control reads [us].
    switch_jump_deg : float
        Phase jump at the switching moments that the demodulator's gate does not hide [deg].
    slip_ring_lifts_per_turn : four floats
        How often the brush of each head's slip ring loses it [per turn of the wheel].
    wheel_jitter_ns : float
        Peak time-base error the wheel servo leaves [ns] (`sim.servos.LOCK_RESIDUAL_NS`).
    capstan_swing_deg, capstan_swing_hz : float
        How far [deg] and how fast [Hz] the capstan servo lets the tracking swing.
    wheel_servo_gain_offset_db, capstan_servo_gain_offset_db : float
        How much more gain each servo has than its control reads [dB].
    control_record_offset_deg : float
        How far the control track is recorded ahead of where its control says [deg].
    control_record_level_offset_db, frame_pulse_offset_pct : float
        How much more control track [dB] and frame pulse [%] are recorded than their controls say.
    input_level_offset_db : float
        How much more the input amplifies than its control reads [dB].
    record_deviation_offset_khz, record_carrier_offset_khz : float
        How much more deviation, and how much higher a carrier, the modulator gives than its controls read [kHz].
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
    tape_dropouts_per_frame : float
        Dropouts of the tape beyond those it is known for [per frame]; this and what follows as in
        `sim.tapestate.TapeCondition`.
    tape_scratch_db, tape_edge_db : float
        RF level in a scratch along the tape, and at the edge where the heads leave it [dB].
    tape_shedding_um_per_min : float
        How fast the coating clogs the heads while it plays [um/min].
    demodulator_gain_db : float
        How much more the demodulator gives than it should [dB]; this and what follows as in
        `sim.videocircuits.VideoCondition`.
    deemphasis_error_pct, limiter_leak_pct, video_hum_pct : float
        Detail that the de-emphasis leaves too much, share of the RF's amplitude that passes the limiter, hum in the
        video [%].
    compensator_offset_db : float
        How much higher the RF is at which the dropout compensator trips than its control reads [dB].
    corrector_noise_ns : float
        Time-base error that the corrector itself adds, rms [ns].
    clamp_lost_pct, setup_offset_pct, white_limit_pct, new_sync_pct : float
        Work that the clamp leaves undone, error of the setup, level at which white is cut, level of new sync [%].

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
    channel_gain_offset_db: FourHeads = _NONE
    noise_db: float = 0.0
    channel_noise_db: FourHeads = _NONE
    head_magnetism_db: FourHeads = _NONE
    switch_timing_offset_us: float = 0.0
    switch_jump_deg: float = 0.0
    slip_ring_lifts_per_turn: FourHeads = _NONE
    wheel_jitter_ns: float = 0.0
    capstan_swing_deg: float = 0.0
    capstan_swing_hz: float = 0.8
    wheel_servo_gain_offset_db: float = 0.0
    capstan_servo_gain_offset_db: float = 0.0
    control_record_offset_deg: float = 0.0
    control_record_level_offset_db: float = 0.0
    frame_pulse_offset_pct: float = 0.0
    input_level_offset_db: float = 0.0
    record_deviation_offset_khz: float = 0.0
    record_carrier_offset_khz: float = 0.0
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
    tape_dropouts_per_frame: float = _TAPE.tape_dropouts_per_frame
    tape_scratch_db: float = _TAPE.tape_scratch_db
    tape_edge_db: float = _TAPE.tape_edge_db
    tape_shedding_um_per_min: float = _TAPE.tape_shedding_um_per_min
    demodulator_gain_db: float = _VIDEO.demodulator_gain_db
    deemphasis_error_pct: float = _VIDEO.deemphasis_error_pct
    limiter_leak_pct: float = _VIDEO.limiter_leak_pct
    video_hum_pct: float = _VIDEO.video_hum_pct
    compensator_offset_db: float = _VIDEO.compensator_offset_db
    corrector_noise_ns: float = _VIDEO.corrector_noise_ns
    clamp_lost_pct: float = _VIDEO.clamp_lost_pct
    setup_offset_pct: float = _VIDEO.setup_offset_pct
    white_limit_pct: float = _VIDEO.white_limit_pct
    new_sync_pct: float = _VIDEO.new_sync_pct

    def __post_init__(self) -> None:
        for name, per_head in _NAMES[Condition]:
            value = getattr(self, name)
            values = tuple(value) if per_head else (value,)
            if per_head and len(values) != 4:
                raise ConditionError(wording("condition.not_four", name=name, value=repr(value)))
            if not all(map(math.isfinite, values)):
                raise ConditionError(wording("condition.not_finite", name=name, value=repr(value)))
            lowest = _LOWEST.get(name)
            if lowest is not None and min(values) < lowest:
                raise ConditionError(wording("condition.too_low", name=name, value=repr(value), lowest=f"{lowest:g}"))
        for name in ("air_pump_failed", "vacuum_pump_failed"):
            if getattr(self, name) not in (0.0, 1.0):
                raise ConditionError(wording("condition.no_switch", name=name, value=repr(getattr(self, name))))
        try:
            for part in ("servos", "deck", "sound", "tape", "video"):
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

    @cached_property
    def tape(self) -> TapeCondition:
        """The state of whatever tape is on the machine."""
        return self._part(TapeCondition, "")

    @cached_property
    def video(self) -> VideoCondition:
        """The state of the circuits from the limiter to the output."""
        return self._part(VideoCondition, "")

    def _part(self, kind: type[Part], prefix: str) -> Part:
        names = [name for name, _ in _NAMES[kind]]
        missing = [prefix + name for name in names if not hasattr(self, prefix + name)]
        if missing:
            raise ConditionError(f"{kind.__name__} has {', '.join(missing)}: give Condition (sim/condition.py) it too")
        values = {name: getattr(self, prefix + name) for name in names}
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


_NAMES |= {
    ServoCondition: _names_of(ServoCondition),
    DeckCondition: _names_of(DeckCondition),
    SoundCondition: _names_of(SoundCondition),
    TapeCondition: _names_of(TapeCondition),
    VideoCondition: _names_of(VideoCondition),
    Condition: _names_of(Condition),
}
