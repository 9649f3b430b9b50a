"""The machine: controls, hidden condition and tape, composed into frames of playback.

A recorder is a deterministic function of (standard, practice, tape, programme, condition, controls, seed, time):
`Recorder.play_frame` gives the same arrays for the same inputs. Between frames it keeps only what a moved control
would change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sim.condition import Condition
from sim.controls import CONTROLS, STAGES, ControlError, ControlSpec, Stage, check_control, default_controls
from sim.correction import CORRECTIONS, Corrector
from sim.demodulator import Demodulator, TimeBase, time_base
from sim.dropout import compensate, lost_samples
from sim.errors import BandbenchError
from sim.fm import noise_to_carrier_for_snr
from sim.frame import PlaybackFrame
from sim.headreader import HeadReader
from sim.headwheel import GuideGeometry, PassSchedule, pass_schedule
from sim.playback import (
    ChannelSettings,
    NoisePool,
    add_noise,
    head_of_pass,
    head_phases,
    single_head_signal,
    switched_signal,
)
from sim.recordchain import RecordChain, RecordingShelf, with_level
from sim.running import LOCKED, Moved, Running, line_errors_s
from sim.servos.residual import tracking_wobble_deg, wheel_jitter_s
from sim.signals import blanking_template, make_signal
from sim.sliprings import contact_level
from sim.standards import get_practice, get_standard
from sim.tape import TAPES, RecordedFrame, RecordSettings, TapeSpec, get_tape, record_frame
from sim.tapestate import tape_level
from sim.tracking import TrackMatch, match_tracks
from sim.videocircuits import VideoCondition

__all__ = [
    "CONTROLS",
    "STAGES",
    "TAPES",
    "Condition",
    "ControlError",
    "ControlSpec",
    "PlaybackFrame",
    "Recorder",
    "Running",
    "Stage",
    "TapeSpec",
    "check_control",
    "default_controls",
]

# Picture signal to noise of a well-kept high-band machine (QUOTED, J. SMPTE 1975 summary: comparable to normal
# working); the RF noise density is fitted to it (MODEL).
NORMAL_PICTURE_SNR_DB = 46.0
NORMAL_PRACTICE = {"525/60": "525 high-band", "625/50": "625 high-band"}

# The dropout compensator is off at the lowest setting of its control (MODEL).
_COMPENSATOR_OFF_DB = CONTROLS["dropout_threshold_db"].minimum
# A level that changes by less than this with the tracking is left as it is (MODEL: 0.01 dB).
_SAME_LEVEL = 1e-3

# Which prepared parts a control invalidates; everything else is cheap and done for each frame.
_RECORDING = (
    "input_level_db",
    "fm_deviation_khz",
    "fm_carrier_khz",
    "record_current_pct_1",
    "record_current_pct_2",
    "record_current_pct_3",
    "record_current_pct_4",
)
_GEOMETRY = (
    "guide_position_um",
    "guide_height_um",
    "head_timing_ns_1",
    "head_timing_ns_2",
    "head_timing_ns_3",
    "head_timing_ns_4",
)


class Recorder:
    """A four-head recorder playing a tape.

    Parameters
    ----------
    standard, practice : str
        Names from `sim.standards`.
    tape : str or TapeSpec
        Name from `TAPES`, or a tape of one's own.
    signal : str, optional
        Test signal on the tape; the tape's own when omitted.
    condition : Condition, optional
        What is wrong or worn; a perfect machine when omitted.
    controls : mapping, optional
        Control values that differ from their defaults.
    seed : int
        Seed of all noise, 0 or more.

    Raises
    ------
    BandbenchError
        For an unknown name or a value out of range.

    Examples
    --------
    >>> recorder = Recorder(signal="flat", controls={"channel_on_2": 0})
    >>> frame = recorder.play_frame(0)
    >>> frame.demod.shape, sorted(set(frame.head_of_line.tolist()))
    ((525, 910), [0, 1, 3, 4])
    """

    def __init__(
        self,
        standard: str = "525/60",
        practice: str = "525 high-band",
        tape: str | TapeSpec = "programme",
        signal: str | None = None,
        condition: Condition | None = None,
        controls: Mapping[str, float] | None = None,
        seed: int = 0,
    ) -> None:
        if seed != int(seed) or seed < 0:
            raise BandbenchError(f"seed {seed!r}: use a whole number, 0 or more")
        self.standard = get_standard(standard)
        self.practice = get_practice(practice)
        if self.practice.standard != self.standard.name:
            raise BandbenchError(
                f"practice '{self.practice.name}' belongs to {self.practice.standard}, not to {self.standard.name}"
            )
        self._condition = Condition() if condition is None else condition
        self._controls = default_controls(self.practice)
        self._tape = get_tape(tape)
        self._template, self._active = blanking_template(self.standard)
        # Monochrome working: the burst goes with the blanking it came in.
        self._plain_template, _ = blanking_template(self.standard, with_burst=False)
        self._corrector = Corrector(self.standard, seed)
        self._noise = NoisePool(self.standard, seed)
        self._noise_to_carrier = noise_to_carrier_for_snr(
            NORMAL_PICTURE_SNR_DB, self.standard, get_practice(NORMAL_PRACTICE[self.standard.name])
        )
        self._demodulator = Demodulator(self.standard, self.practice)
        self._reader = HeadReader(self.standard, self.practice)
        self._programme = make_signal(signal or self._tape.signal, self.standard)
        self._chain = RecordChain(self.standard, self.practice, self._programme)
        self._shelf = RecordingShelf(self.standard, self.practice)
        # Settings of the recording on a reel; None for a tape that is described by its TapeSpec alone.
        self._settings: RecordSettings | None = None
        self._recorded: RecordedFrame | None = None
        self._signal: NDArray[np.complex64] | None = None
        self._signal_match: TrackMatch | None = None
        self._envelopes: list[NDArray[np.complex64]] = []
        self._seed = seed
        self._guide_correction_um = 0.0
        self._geometry: TimeBase | None = None
        if controls:
            self.set_controls(controls)

    @property
    def controls(self) -> dict[str, float]:
        """Return a copy of all control values."""
        return dict(self._controls)

    def control(self, name: str) -> float:
        """Return the value of one control, without a copy of them all; KeyError if there is no such control."""
        return self._controls[name]

    @property
    def condition(self) -> Condition:
        """The hidden condition."""
        return self._condition

    @property
    def tape(self) -> TapeSpec:
        """The tape on the machine."""
        return self._tape

    def set_control(self, name: str, value: float) -> None:
        """Set one control; ControlError or UnknownNameError leave everything as it was."""
        self.set_controls({name: value})

    def set_controls(self, values: Mapping[str, float]) -> None:
        """Set several controls at once: all of them, or none if one is wrong."""
        checked = {name: check_control(name, value) for name, value in values.items()}
        changed = {name for name, value in checked.items() if self._controls[name] != value}
        self._controls.update(checked)
        if changed.intersection(_RECORDING) and self._tape.recorded_here:
            self._recorded = None
        if changed.intersection(_GEOMETRY):
            self._geometry = None
        if "switch_timing_us" in changed:
            self._geometry = self._signal = None
        # The guide also decides how firmly the tips press.
        if any(name.startswith("channel_") for name in changed) or "guide_position_um" in changed:
            self._signal = None

    def set_condition(self, condition: Condition) -> None:
        """Change what is wrong or worn."""
        before = self.record_settings, self._input_db
        self._condition = condition
        if (self.record_settings, self._input_db) != before and self._tape.recorded_here:
            self._recorded = None
        self._signal = None
        self._geometry = None

    def load_tape(self, name: str | TapeSpec, signal: str | None = None) -> None:
        """Put another tape on, at its own test signal or at `signal`; if it cannot be played the old one stays on."""
        tape, before = get_tape(name), self._tape
        programme = make_signal(signal or tape.signal, self.standard)
        settings, self._settings = self._settings, None
        self._tape = tape
        try:
            self.load_programme(programme)
        except BandbenchError:
            self._tape, self._settings = before, settings
            raise
        self._geometry = None

    def load_programme(self, programme: str | NDArray[np.floating]) -> None:
        """Change what is on the tape: a test signal's name, or a frame (lines, samples) in level units.

        A tape that this machine records itself takes it from the input, which then has it too.
        """
        frame = make_signal(programme, self.standard) if isinstance(programme, str) else programme
        recorded = self._record(frame)
        self._programme = np.asarray(frame, dtype=np.float32)
        self._take_up(recorded)
        if self._tape.recorded_here:
            self._chain.set_source(self._programme)

    def load_source(self, programme: str | NDArray[np.floating]) -> None:
        """Change the video at the input (see `sim.recordchain.RecordChain.set_source`)."""
        self._chain.set_source(programme)

    def load_recording(
        self, tape: TapeSpec, programme: NDArray[np.float32], settings: RecordSettings | None = None
    ) -> None:
        """Play a recording that lies on a reel, with the settings it was made with.

        Parameters
        ----------
        tape : TapeSpec
            Errors of the machine that made it, and what the tape has suffered since.
        programme : ndarray, (lines, samples)
            What was recorded [level unit]; kept, not copied: do not write into it.
        settings : RecordSettings, optional
            How it was recorded; as its practice says when omitted.

        Raises
        ------
        BandbenchError
            If it is of another standard; the recording before stays on.
        """
        recorded = self._shelf.recorded(tape, programme, settings)
        if recorded is self._recorded:
            return
        geometry_same = self._recorded is not None and self._recorded.geometry == recorded.geometry
        self._tape, self._settings, self._programme = tape, settings, programme
        self._take_up(recorded)
        if not geometry_same:
            self._geometry = None

    def _take_up(self, recorded: RecordedFrame) -> None:
        self._recorded = recorded
        self._reader.clear()
        self._signal = None

    def set_guide_correction(self, correction_um: float) -> None:
        """Move the guide by this much from where its control has put it [um]: what an automatic guide does."""
        if correction_um != self._guide_correction_um:
            self._guide_correction_um = correction_um
            self._geometry = self._signal = None

    @property
    def machine_geometry(self) -> GuideGeometry:
        """Errors of this machine's guide and heads now: they go into what it records."""
        controls, condition = self._controls, self._condition
        timing = [controls[f"head_timing_ns_{head + 1}"] + condition.head_timing_offset_ns[head] for head in range(4)]
        return GuideGeometry(
            inward_um=controls["guide_position_um"] + condition.guide_offset_um + self._guide_correction_um,
            height_um=controls["guide_height_um"] + condition.guide_height_offset_um,
            head_timing_ns=(timing[0], timing[1], timing[2], timing[3]),
        )

    @property
    def record_settings(self) -> RecordSettings:
        """How this machine records now: carriers, and each head's current in percent of its best."""
        controls, best = self._controls, self._condition.record_current_best_pct
        current = [100.0 * controls[f"record_current_pct_{head + 1}"] / best[head] for head in range(4)]
        condition = self._condition
        return RecordSettings(
            deviation_hz=(controls["fm_deviation_khz"] + condition.record_deviation_offset_khz) * 1e3,
            carrier_hz=(controls["fm_carrier_khz"] + condition.record_carrier_offset_khz) * 1e3,
            current_pct=(current[0], current[1], current[2], current[3]),
        )

    @property
    def record_programme(self) -> NDArray[np.float32]:
        """The input behind its level control, (lines, samples) [level unit]: what would be recorded now."""
        return self._chain.at_level(self._input_db)

    @property
    def _input_db(self) -> float:
        return self._controls["input_level_db"] + self._condition.input_level_offset_db

    def play_frame(self, index: int = 0, running: Running = LOCKED) -> PlaybackFrame:
        """Return frame number `index` (0 or more) as it comes off the tape now, wheel and tape running as told."""
        if index < 0:
            raise BandbenchError(f"frame index {index}: use 0 or more")
        time_s = index / self.standard.frame_rate_hz
        control_phase_deg = self.control_phase_deg(time_s, running.control_phase_deg)
        control_level_db = running.control_level_db
        if control_level_db is None:
            control_level_db = self._condition.control_head_db
        match, channels = match_tracks(control_phase_deg), self._channels
        schedule = self._schedule
        fixed = (self.standard, self.practice)
        recorded = self._recorded_frame
        signal = self._nearly_the_same(match, recorded, running)
        if signal is None:
            # A new match of heads to tracks changes which timing error each pass has.
            if self._signal_match is None or match.head_shift != self._signal_match.head_shift:
                self._geometry = None
            self._signal_match = match
            phases = head_phases(self.standard, self._condition.switch_jump_deg, self._seed)
            tips, inward_um = map(self._condition.tip, range(4)), self.machine_geometry.inward_um
            self._envelopes = [self._reader.read(recorded.envelope, tip, inward_um, schedule) for tip in tips]
            self._signal = signal = switched_signal(
                self._envelopes,
                match,
                recorded.track_bow_m,
                channels,
                schedule,
                phases,
                *fixed,
            )
        noise = self._noise.frame(index)
        if not running.readable:
            signal = np.zeros_like(signal)
        heads = head_of_pass(match, schedule.passes)
        lifts = self._condition.slip_ring_lifts_per_turn
        contact = contact_level(lifts, heads, schedule, self.standard, index, self._seed)
        if contact is not None:
            signal = signal * contact
        of_tape = tape_level(self._condition.tape, schedule, self.standard, index, self._seed)
        if of_tape is not None:
            signal = signal * of_tape
        rf = add_noise(signal, noise, match, channels, schedule, *fixed)
        if self._geometry is None:
            self._geometry = time_base(self.machine_geometry, recorded.geometry, match, schedule, self.standard)
        base = self._geometry
        level = 10.0 ** (self._controls["video_level_db"] / 20.0)
        correction = CORRECTIONS[int(self._controls["correction"])]
        servo_error_s = self._servo_error_s(time_s, running.residual_peak_s)
        playing = np.array([head + 1 if self._is_on(head) else 0 for head in range(4)], dtype=np.int8)
        shape = (self.standard.lines_per_frame, self.standard.samples_per_line)
        # What is early or late by more than the discriminator's filter can move is moved by whole samples.
        moved = Moved.of(running, self.standard)
        if moved is None and (running.early_s or running.speed_error):
            servo_error_s = servo_error_s + line_errors_s(running, self.standard)
        rf_moved = rf if moved is None else moved.samples(rf)
        head_of_line = playing[heads][schedule.pass_of_line()]
        source, settings, circuits = self.record_programme, self.record_settings, self._condition.video
        return PlaybackFrame(
            standard=self.standard,
            index=index,
            rf=rf_moved,
            guide_error_s=base.error_s.reshape(shape),
            servo_error_s=servo_error_s if moved is None else servo_error_s + moved.error_s,
            head_of_line=head_of_line if moved is None else moved.lines(head_of_line),
            control_phase_deg=control_phase_deg,
            schedule=schedule,
            template=self._blanking(correction),
            active=self._active,
            demodulate=partial(
                self._demodulate,
                *(rf, base, servo_error_s, level, running.speed_error, moved),
                *(circuits, time_s),
            ),
            correct=partial(self._correct, rf_moved, self._dropout_threshold_db, correction, index, circuits),
            single_head=partial(
                self._single_head, self._envelopes, noise, match, recorded.track_bow_m, channels, schedule
            ),
            source=source,
            modulate=partial(self._chain.modulate, source, settings),
            loop_back=partial(self._chain.loop_back, source, settings),
            lines_early=0 if moved is None else moved.lines_early,
            circuits=circuits,
            control_level=10.0 ** (control_level_db / 20.0),
        )

    def work_out_anew(self) -> None:
        """Let the next frame owe nothing to those before it: not even by a hair (see `_nearly_the_same`).

        What is measured for a score is the same then, whatever was looked at before.
        """
        self._signal = self._signal_match = None
        self._geometry = None

    def _nearly_the_same(
        self, match: TrackMatch, recorded: RecordedFrame, running: Running
    ) -> NDArray[np.complex64] | None:
        """Return the switched RF if the last one, or a part of it, will do; None if it must be worked out anew.

        While a capstan holds the tape its phase trembles by a hair from frame to frame. With nothing of a
        neighbouring track under the heads that changes the level alone.
        """
        kept = self._signal_match
        if self._signal is None or kept is None:
            return None
        if match == kept:
            return self._signal
        alone = match.head_shift == kept.head_shift and match.neighbour == kept.neighbour == 0.0
        if running.control_phase_deg is None or not alone or recorded.track_bow_m or not kept.own:
            return None
        level = match.own / kept.own
        return self._signal if abs(level - 1.0) < _SAME_LEVEL else self._signal * np.float32(level)

    def electronics_frame(self, index: int = 0) -> PlaybackFrame:
        """Return frame number `index` of the input through the machine's electronics, with no tape between."""
        if index < 0:
            raise BandbenchError(f"frame index {index}: use 0 or more")
        source, settings, circuits = self.record_programme, self.record_settings, self._condition.video
        rf = self._chain.modulate(source, settings)
        correction = CORRECTIONS[int(self._controls["correction"])]
        shape = (self.standard.lines_per_frame, self.standard.samples_per_line)
        level = np.float32(10.0 ** (self._controls["video_level_db"] / 20.0))
        return PlaybackFrame(
            standard=self.standard,
            index=index,
            rf=rf,
            guide_error_s=np.zeros(shape, dtype=np.float32),
            servo_error_s=np.zeros(shape[0]),
            head_of_line=np.zeros(shape[0], dtype=np.int8),
            control_phase_deg=0.0,
            schedule=self._schedule,
            template=self._blanking(correction),
            active=self._active,
            demodulate=lambda: circuits.demodulated(
                self._chain.loop_back(source, settings) * level, rf, self.standard, index / self.standard.frame_rate_hz
            ),
            correct=lambda demod: self._corrector(demod, correction, index, circuits.corrector_noise_ns * 1e-9),
            single_head=lambda head: np.zeros_like(rf),
            source=source,
            modulate=partial(self._chain.modulate, source, settings),
            loop_back=partial(self._chain.loop_back, source, settings),
            off_tape=False,
            circuits=circuits,
        )

    def dead_frame(self, index: int = 0) -> PlaybackFrame:
        """Return frame number `index` of a machine without power: nothing anywhere but at its input."""
        frame = self.electronics_frame(index)
        nothing = np.zeros_like(frame.template)
        no_rf = np.zeros_like(frame.rf)
        return replace(
            frame,
            rf=no_rf,
            template=nothing,
            active=np.zeros_like(frame.active),
            demodulate=lambda: nothing,
            correct=lambda demod: demod,
            modulate=lambda: no_rf,
            loop_back=lambda: nothing,
        )

    def _record(self, frame: NDArray[np.floating]) -> RecordedFrame:
        tape = self._tape
        if tape.recorded_here:
            frame = with_level(frame, self._input_db)
            return record_frame(frame, tape, self.standard, self.practice, self.record_settings)
        practice = get_practice(tape.practice) if tape.practice else self.practice
        return record_frame(frame, tape, self.standard, practice, self._settings)

    @property
    def _recorded_frame(self) -> RecordedFrame:
        if self._recorded is None:
            self._take_up(self._record(self._programme))
            assert self._recorded is not None
        return self._recorded

    def control_phase_deg(self, time_s: float, held_deg: float | None) -> float:
        """Return the phase of the control track against the wheel, swing of the capstan included.

        `held_deg` is where the capstan holds it; None stands for where the tracking control puts it.
        """
        condition = self._condition
        wanted_deg = self._controls["tracking_phase_deg"] if held_deg is None else held_deg
        phase_deg = wanted_deg + condition.tracking_offset_deg
        if condition.capstan_swing_deg:
            swing = (condition.capstan_swing_deg, condition.capstan_swing_hz)
            phase_deg += tracking_wobble_deg(time_s, *swing, self._seed)
        return phase_deg

    def _servo_error_s(self, time_s: float, peak_s: float | None) -> NDArray[np.float64]:
        standard = self.standard
        peak_s = self._condition.wheel_jitter_ns * 1e-9 if peak_s is None else peak_s
        if not peak_s:
            return np.zeros(standard.lines_per_frame)
        line_s = time_s + np.arange(standard.lines_per_frame, dtype=np.float64) * standard.line_period_s
        return wheel_jitter_s(line_s, peak_s, standard.wheel_rate_hz, self._seed)

    @property
    def _schedule(self) -> PassSchedule:
        spec = CONTROLS["switch_timing_us"]
        late_us = self._controls["switch_timing_us"] + self._condition.switch_timing_offset_us
        return pass_schedule(self.standard, min(max(late_us, spec.minimum), spec.maximum))

    def _is_on(self, head: int) -> bool:
        return self._controls[f"channel_on_{head + 1}"] == 1.0

    @property
    def _channels(self) -> tuple[ChannelSettings, ...]:
        condition = self._condition
        # Complex noise power over carrier amplitude squared is N0 fs / C.
        noise_power = self._noise_to_carrier * self.standard.sample_rate_hz
        channels = []
        for head in range(4):
            gain_db = self._controls[f"channel_gain_db_{head + 1}"] + condition.channel_gain_offset_db[head]
            gain = 10.0 ** (gain_db / 20.0) if self._is_on(head) else 0.0
            noise_db = condition.noise_db + condition.channel_noise_db[head] + condition.head_magnetism_db[head]
            channels.append(
                ChannelSettings(
                    signal=gain * 10.0 ** (condition.head_output_db[head] / 20.0),
                    noise=gain * (noise_power * 10.0 ** (noise_db / 10.0)) ** 0.5,
                    equaliser_db=self._controls[f"channel_eq_db_{head + 1}"] + condition.channel_eq_offset_db[head],
                )
            )
        return tuple(channels)

    def _correct(
        self,
        rf: NDArray[np.complex64],
        threshold_db: float,
        correction: str,
        index: int,
        circuits: VideoCondition,
        demod: NDArray[np.float32],
    ) -> NDArray[np.float32]:
        """Compensate dropouts, then correct the time base, by the settings of the moment the frame was played."""
        video = demod
        if threshold_db > _COMPENSATOR_OFF_DB:
            lost = lost_samples(rf, threshold_db, self.standard).reshape(demod.shape)
            if lost.any():
                video = compensate(demod, lost, self.standard)
        return self._corrector(video, correction, index, circuits.corrector_noise_ns * 1e-9)

    @property
    def _dropout_threshold_db(self) -> float:
        return self._condition.video.threshold_db(self._controls["dropout_threshold_db"], _COMPENSATOR_OFF_DB)

    def _blanking(self, correction: str) -> NDArray[np.float32]:
        """Return the new blanking; monochrome working has no burst."""
        template = self._template if correction == "colour" else self._plain_template
        return self._condition.video.new_blanking(template, self._plain_template)

    def _single_head(
        self,
        envelopes: list[NDArray[np.complex64]],
        noise: NDArray[np.complex64],
        match: TrackMatch,
        bow_m: float,
        channels: tuple[ChannelSettings, ...],
        schedule: PassSchedule,
        head: int,
    ) -> NDArray[np.complex64]:
        """Return the RF of one head as it was set when the frame was played."""
        machine = (schedule, self.standard, self.practice)
        return single_head_signal(head, envelopes[head], noise, match, bow_m, channels[head], *machine)

    def _demodulate(
        self,
        rf: NDArray[np.complex64],
        base: TimeBase,
        servo_error_s: NDArray[np.float64],
        level: float,
        speed_error: float,
        moved: Moved | None,
        circuits: VideoCondition,
        time_s: float,
    ) -> NDArray[np.float32]:
        """Demodulate RF under the time-base errors and the video level of the moment it was played."""
        video = self._demodulator.video(rf, base, servo_error_s, speed_error)
        if level != 1.0:
            video *= np.float32(level)
        video = circuits.demodulated(video, rf, self.standard, time_s)
        return video if moved is None else moved.samples(video)
