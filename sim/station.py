"""A recorder at work: deck, servos, reel, electronics and sound, moved on through time together.

Contents: `Station`, `STEP_S`, `LOOP_LENGTH_M`, `LONGEST_GAP_S`.

`Recorder` says what comes off a tape that runs; here it is made to run. Time passes in fixed steps, all of it: a slow
computer asks for fewer frames, and gets those of the right moments.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError
from sim.frame import PlaybackFrame
from sim.instruments import MeasurementError, measure
from sim.recorder import Recorder
from sim.recordrun import EditSettings, RecordRun
from sim.reel import Playing, Reel, control_at, playing_at, tape_speed_m_per_s
from sim.reel.contents import wrapped
from sim.running import Running
from sim.servos import (
    CapstanServo,
    CapstanSettings,
    ControlReading,
    GuideServo,
    ServoHistory,
    WheelServo,
    WheelSettings,
)
from sim.servos.history import HISTORY_S
from sim.servos.settings import GAIN_LIMIT_DB
from sim.sound import SOUND_TRACKS, SoundSettings, SoundSystem
from sim.transport import Deck, InterlockError
from sim.wording import wording

__all__ = ["LONGEST_GAP_S", "LOOP_LENGTH_M", "STEP_S", "Station"]

# MODEL: short against every loop.
STEP_S = 0.01
"""Time step of deck and servos [s]."""

# MODEL: longer than any busy page keeps the clock waiting, shorter than a computer sleeps.
LONGEST_GAP_S = 60.0
"""Longest time between two looks at the clock that a machine lives through [s]; after a longer one, when the computer
slept, it goes on where it was. For whoever tells a station how much time has passed."""

# DERIVED: 4800 ft, 64 min at 15 in/s.
LOOP_LENGTH_M = 4800 * 0.3048
"""Length of the reel that stands for the recorder's own endless tape [m]."""

# MODEL: how often the automatic guide looks at the picture, and how much sound is worked out at once.
_GUIDE_EVERY_S = 0.2
_GUIDE_STEP_S = 0.1
_SOUND_BLOCK_STEPS = 10
# MODEL: how often dirt of a tape that sheds is put on the heads; each time they are read anew.
_SHED_EVERY_S = 1.0
# MODEL: blocks of sound that wait for whoever takes them; older ones are lost.
_MOST_BLOCKS = 20
# MODEL: level of a control track that is not there [dB].
_NO_CONTROL_DB = -100.0
# MODEL: how long servos are given to settle when everything is put right at once.
_SETTLE_S = 12.0

_ENDLESS = wording("station.endless_work_tape_shows")

Sound = NDArray[np.float32]


# Asked for at every step, and nearly always the same.
@lru_cache(maxsize=8)
def _wheel_settings(gain_db: float) -> WheelSettings:
    return WheelSettings(min(max(gain_db, -GAIN_LIMIT_DB), GAIN_LIMIT_DB))


@lru_cache(maxsize=8)
def _capstan_settings(gain_db: float) -> CapstanSettings:
    return CapstanSettings(min(max(gain_db, -GAIN_LIMIT_DB), GAIN_LIMIT_DB))


class Station:
    """A recorder with its reel, its input and its clock.

    Parameters
    ----------
    recorder : Recorder
        Its electronics and heads; controls and hidden condition are set there.
    seed : int
        Seed of everything that moves.

    Attributes
    ----------
    deck, wheel, capstan, guide, sound, servo_history
        The parts (`sim.transport`, `sim.servos`, `sim.sound`): to be looked at.
    reel : Reel or None
        The tape on the machine; None stands for the recorder's own tape, an endless loop recorded throughout.
    edit : EditSettings
        How an electronic edit is made.
    time_s : float
        Time that has passed [s].
    heard : bool
        Whether sound is worked out while time passes, which takes most of the time of a step; False for whoever hears
        nothing: a meter that is read works out the last second then, and reads the same.

    Examples
    --------
    >>> station = Station(Recorder())
    >>> station.make_ready("play"); station.advance(0.5)
    >>> station.deck.mode, station.capstan.state, station.frame().off_tape
    ('play', 'locked', True)
    """

    def __init__(self, recorder: Recorder, seed: int = 0) -> None:
        self.recorder = recorder
        self.standard = recorder.standard
        self.seed = seed
        self.reel: Reel | None = None
        self.deck = Deck(self.standard, LOOP_LENGTH_M, seed)
        self.wheel = WheelServo(self.standard, seed)
        self.capstan = CapstanServo(self.standard, seed)
        self.guide = GuideServo(self.standard)
        self.sound = SoundSystem(self.standard, seed)
        self.servo_history = ServoHistory(STEP_S)
        self.edit = EditSettings()
        self.time_s = 0.0
        self.heard = True
        self._steps = 0
        self._owed_s = 0.0
        # At the field rate of colour the tape runs slower than the round figure, as the wheel does.
        self._speed_ratio = tape_speed_m_per_s(self.standard) / self.deck.nominal_m_per_s
        self._run: RecordRun | None = None
        self._places = [self.deck.position_m]
        self._recorded_tracks: frozenset[str] = frozenset()
        self._blocks: list[dict[str, Sound]] = []
        self._cleanings = self._degaussings = 0

    # What can be done ------------------------------------------------------------------------------------------

    def refusal(self, act: str, stage: str = "") -> str | None:
        """Return why an act of `sim.transport.ACTS` would be refused now, or None."""
        if self.reel is None and act in ("record_arm", "record", "fit_ring"):
            return _ENDLESS
        return self.deck.refusal(act, stage)

    def do(self, act: str, stage: str = "") -> None:
        """Do an act of `sim.transport.ACTS`.

        Raises
        ------
        InterlockError
            If the machine refuses, with the reason.
        BandbenchError
            If an edit cannot be made here.
        """
        if self.reel is None and act in ("record_arm", "record", "fit_ring"):
            raise InterlockError(_ENDLESS)
        if act == "record" and self.deck.mode == "play" and self.deck.refusal(act) is None:
            # An edit that this tape does not allow is refused before anything is written.
            self._run = self._new_run()
        self.deck.do(act, stage)
        if self.reel is not None:
            self.reel.ring_fitted = self.deck.ring_fitted
        if self.deck.cleanings != self._cleanings:
            self._cleanings = self.deck.cleanings
            self._clean()
        if self.deck.degaussings != self._degaussings:
            self._degaussings = self.deck.degaussings
            self.recorder.set_condition(replace(self.recorder.condition, head_magnetism_db=(0.0,) * 4))

    def _clean(self) -> None:
        """Take away the dirt that cleaning reaches: under the head tips, the sound heads and the control head."""
        condition = self.recorder.condition
        self.recorder.set_condition(
            replace(condition, head_debris_um=(0.0,) * 4, sound_head_spacing_um=0.0, control_head_db=0.0)
        )

    def choose_reel(self, reel: Reel | None) -> None:
        """Take another reel to hand, to be fitted next; None stands for the recorder's own endless tape.

        Raises
        ------
        InterlockError, BandbenchError
            If a reel is on the machine, or this one is of another standard.
        """
        if reel is not None and reel.standard is not self.standard:
            raise BandbenchError(
                wording(
                    "station.reel_reel_machine_set",
                    name=reel.name,
                    name_2=reel.standard.name,
                    name_3=self.standard.name,
                )
            )
        length_m = LOOP_LENGTH_M if reel is None else reel.length_m
        self.deck.choose_reel(length_m, reel is not None and reel.ring_fitted)
        self.reel = reel

    def put_on(self, reel: Reel | None, mode: str = "play", position_m: float | None = None) -> None:
        """Change the reel and put the machine into a mode (see `make_ready`); errors as for `choose_reel`."""
        self.make_ready("stop")
        for act in ("open_covers", "unthread", "take_off_reel"):
            self.deck.do(act)
        self.choose_reel(reel)
        self.make_ready(mode, position_m)

    def make_ready(self, mode: str, position_m: float | None = None) -> None:
        """Put the machine into "stop", "standby" or "play" as if all had been done and waited for.

        `position_m` is the place along the tape at the wheel [m]; the beginning if left out.
        """
        self._run = None
        condition = self.recorder.condition
        self.deck.condition = condition.deck
        self.deck.make_ready(mode, position_m)
        self.wheel = WheelServo(self.standard, self.seed)
        self.capstan = CapstanServo(self.standard, self.seed)
        self.servo_history.clear()
        self._places = [self.deck.position_m]
        if mode == "stop":
            return
        reading, playing = self._control_reading(), mode == "play"
        for _ in range(round(_SETTLE_S / STEP_S)):
            self._settle(reading, playing)
            if self.wheel.state == "horizontal" and (self.capstan.locked or not playing):
                break
        # What is seen of the servos is that they hold, not how they got there.
        self.servo_history.clear()
        for _ in range(round(HISTORY_S / STEP_S)):
            self._settle(reading, playing)

    def _settle(self, reading: ControlReading | None, playing: bool) -> None:
        servos = self.recorder.condition.servos
        self.wheel.step(STEP_S, True, True, self.wheel_settings, servos)
        if playing:
            self.capstan.step(STEP_S, True, False, reading, self._tracking_deg, self._capstan_settings, servos)
        self.servo_history.record(self.wheel, self.capstan, STEP_S)

    # The passing of time ---------------------------------------------------------------------------------------

    def advance(self, elapsed_s: float) -> None:
        """Let time pass: all of it, in whole steps; what is left over is added to the next.

        Raises
        ------
        BandbenchError
            If the time is negative or not finite.
        """
        if not (math.isfinite(elapsed_s) and elapsed_s >= 0.0):
            raise BandbenchError(wording("station.elapsed_time_s_use", elapsed_s=repr(elapsed_s)))
        self._owed_s += elapsed_s
        steps = int(self._owed_s / STEP_S + 1e-9)
        self._owed_s -= steps * STEP_S
        for _ in range(steps):
            self._step()

    def _step(self) -> None:
        deck, wheel, capstan = self.deck, self.wheel, self.capstan
        condition = self.recorder.condition
        deck.condition = condition.deck
        before_m = deck.position_m
        deck.step(STEP_S, wheel.rate_hz, wheel.locked, capstan.speed_ratio * self._speed_ratio)
        wheel.step(STEP_S, deck.wheel_driven, deck.air_ok, self.wheel_settings, condition.servos)
        capstan.step(
            STEP_S,
            deck.capstan_engaged,
            deck.recording and "control" in deck.written_tracks,
            self._control_reading(),
            self._tracking_deg,
            self._capstan_settings,
            condition.servos,
            wheel_early_s=wheel.phase_error_s,
            wheel_rate_error=wheel.rate_error,
        )
        self._steps += 1
        self.time_s = self._steps * STEP_S
        self.servo_history.record(wheel, capstan, STEP_S)
        self._record(before_m, deck.position_m)
        self._hear(deck.position_m)
        if self._steps % round(_GUIDE_EVERY_S / STEP_S) == 0:
            self._position_guide()
        if self._steps % round(_SHED_EVERY_S / STEP_S) == 0:
            self._shed()

    def _shed(self) -> None:
        """Let a tape that sheds its coating leave some on the heads while it plays."""
        condition, deck = self.recorder.condition, self.deck
        rate_um_per_min = condition.tape.tape_shedding_um_per_min
        if not rate_um_per_min or not (deck.tape_on_guide and deck.capstan_engaged):
            return
        more_um = rate_um_per_min * _SHED_EVERY_S / 60.0
        debris = condition.head_debris_um
        shed = (debris[0] + more_um, debris[1] + more_um, debris[2] + more_um, debris[3] + more_um)
        self.recorder.set_condition(replace(condition, head_debris_um=shed))

    @property
    def _tracking_deg(self) -> float:
        return self.recorder.control("tracking_phase_deg")

    @property
    def wheel_settings(self) -> WheelSettings:
        """What is set on the wheel servo, with what is hidden in it."""
        offset_db = self.recorder.condition.wheel_servo_gain_offset_db
        return _wheel_settings(self.recorder.control("wheel_servo_gain_db") + offset_db)

    @property
    def _capstan_settings(self) -> CapstanSettings:
        offset_db = self.recorder.condition.capstan_servo_gain_offset_db
        return _capstan_settings(self.recorder.control("capstan_servo_gain_db") + offset_db)

    def _control_reading(self) -> ControlReading | None:
        """Return what the control head finds on the tape."""
        if self.reel is None:
            return ControlReading()
        control = control_at(self.reel, self.deck.position_m)
        if control is None:
            return None
        pulse = control.frame_pulse_cycles if control.pulse_found else None
        return ControlReading(control.phase_deg, control.level_db, pulse)

    def _position_guide(self) -> None:
        """Let the automatic guide, if it is on, move by what the picture's lean asks for."""
        on = self.recorder.control("guide_auto") == 1.0
        if not on and self.guide.correction_um == 0.0:
            return
        skew_us = self._read_skew_us() if on else None
        for _ in range(round(_GUIDE_EVERY_S / _GUIDE_STEP_S)):
            self.guide.step(_GUIDE_STEP_S, skew_us, on)
        self.recorder.set_guide_correction(self.guide.correction_um)

    def _read_skew_us(self) -> float | None:
        frame = self.frame()
        if not frame.off_tape:
            return None
        try:
            return measure(frame, "skew_us")
        except MeasurementError:
            return None

    # Recording -------------------------------------------------------------------------------------------------

    @property
    def recording_tracks(self) -> frozenset[str]:
        """Tracks that are being written now."""
        return self.deck.written_tracks if self.deck.recording and self.reel is not None else frozenset()

    def _new_run(self) -> RecordRun:
        deck = self.deck
        assert self.reel is not None
        return RecordRun(
            self.recorder, self.reel, deck.written_tracks, deck.edit_mode, self.edit, deck.position_m, self.time_s
        )

    def _record(self, before_m: float, after_m: float) -> None:
        deck = self.deck
        if deck.mode != "record":
            self._run = None
        tracks = self.recording_tracks
        self._recorded_tracks = frozenset()
        if not tracks or after_m <= before_m:
            return
        if self._run is None:
            try:
                self._run = self._new_run()
            except BandbenchError:
                # From standby the tape is only known here; the machine goes on playing.
                deck.do("disarm")
                raise
        run = self._run
        run.write(before_m, after_m, self.time_s)
        if run.entered(after_m):
            self._recorded_tracks = tracks.intersection(SOUND_TRACKS)
        if run.over(after_m):
            deck.do("disarm")

    # Sound -----------------------------------------------------------------------------------------------------

    def _hear(self, position_m: float) -> None:
        self._places.append(position_m)
        if len(self._places) <= _SOUND_BLOCK_STEPS:
            return
        places, self._places = self._places, [position_m]
        sound = self.sound
        sound.settings = SoundSettings.from_controls(self.recorder.controls)
        sound.condition = self.recorder.condition.sound
        if self.reel is not None and self._recorded_tracks:
            sound.record_block(self.reel, self._recorded_tracks, places)
        else:
            sound.stop_recording()
        # The endless tape holds what is sent to its tracks now.
        tape = self.reel if self.reel is not None else sound.endless_tape(self.recorder.tape.recorded_here)
        block = (tape, places, _SOUND_BLOCK_STEPS * STEP_S, self._recorded_tracks)
        if not self.heard:
            sound.pass_block(*block)
            return
        self._blocks.append(sound.play_block(*block))
        del self._blocks[:-_MOST_BLOCKS]

    def take_sound(self) -> list[dict[str, Sound]]:
        """Return the blocks of sound since this was last called: by track, float32 at `sim.sound.SAMPLE_RATE_HZ`."""
        blocks, self._blocks = self._blocks, []
        return blocks

    # What is put out -------------------------------------------------------------------------------------------

    @property
    def frame_index(self) -> int:
        """Number of the frame that is on screen now, from time 0."""
        return math.floor(self.time_s * self.standard.frame_rate_hz + 1e-9)

    @property
    def off_tape(self) -> bool:
        """Whether the monitors show the tape; else they show the input through the machine's electronics."""
        deck = self.deck
        return deck.mode == "play" and deck.capstan_engaged and deck.tape_on_guide

    def playing(self) -> Playing | None:
        """Return what lies at the heads; None on the recorder's own endless tape."""
        return None if self.reel is None else playing_at(self.reel, self.deck.position_m)

    def frame(self) -> PlaybackFrame:
        """Return the frame that the machine puts out now."""
        if self.deck.isolated:
            return self.recorder.dead_frame(self.frame_index)
        if not self.off_tape:
            return self.recorder.electronics_frame(self.frame_index)
        return self.recorder.play_frame(self.frame_index, self._running())

    def _running(self) -> Running:
        """Put the tape's recording at the heads under the recorder, and return how wheel and tape run."""
        wheel, capstan, standard = self.wheel, self.capstan, self.standard
        phase_deg = capstan.phase_deg
        frame_early_s = capstan.frame_early_s
        early_s, recorded = wheel.phase_error_s, True
        playing = self.playing()
        if playing is not None:
            recorded = playing.video is not None
            early_s -= playing.line_offset * standard.line_period_s
            control = playing.control
            if control is not None:
                phase_deg -= control.ahead_of_tracks_deg
                if not control.pulse_found:
                    # The capstan does not know which cycle is the frame's first; the picture does.
                    ahead_deg = capstan.tape_phase_deg + control.phase_deg - capstan.phase_deg
                    turns = standard.wheel_turns_per_frame
                    cycles = wrapped(round(ahead_deg / 360.0) + control.frame_pulse_cycles, turns)
                    frame_early_s = cycles / standard.wheel_rate_hz
            if playing.video is not None:
                take = playing.video
                self.recorder.load_recording(take.spec, take.programme_in(playing.colour_frame), take.settings)
        jitter_s = self.recorder.condition.wheel_jitter_ns * 1e-9
        return Running(
            control_phase_deg=phase_deg,
            early_s=early_s + frame_early_s,
            speed_error=wheel.rate_error,
            residual_peak_s=math.hypot(jitter_s, wheel.residual_peak_s),
            control_level_db=_NO_CONTROL_DB if capstan.control_level_db is None else capstan.control_level_db,
            has_recording=recorded,
        )
