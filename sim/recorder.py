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

from sim.adjustment import Adjustment
from sim.condition import Condition
from sim.controls import CONTROLS, STAGES, ControlError, ControlSpec, Stage, check_control, default_controls
from sim.demodulator import TimeBase, time_base
from sim.errors import BandbenchError
from sim.fm import noise_to_carrier_for_snr
from sim.frame import PlaybackFrame
from sim.headwheel import GuideGeometry
from sim.recordchain import RecordChain, RecordingShelf, with_level
from sim.rfpath import OffTape, RfPath
from sim.running import LOCKED, Moved, Running, line_errors_s
from sim.signals import make_signal
from sim.standards import get_practice, get_standard
from sim.tape import TAPES, RecordedFrame, RecordSettings, TapeSpec, get_tape, record_frame
from sim.videoframe import VideoOrder
from sim.videopath import VideoPath

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
        self._adjustment = Adjustment(
            self.standard, default_controls(self.practice), Condition() if condition is None else condition, seed
        )
        self._tape = get_tape(tape)
        noise_to_carrier = noise_to_carrier_for_snr(
            NORMAL_PICTURE_SNR_DB, self.standard, get_practice(NORMAL_PRACTICE[self.standard.name])
        )
        self._rf_path = RfPath(self.standard, self.practice, noise_to_carrier, seed)
        self._video_path = VideoPath(self.standard, self.practice, seed)
        self._programme = make_signal(signal or self._tape.signal, self.standard)
        self._chain = RecordChain(self.standard, self.practice, self._programme)
        self._shelf = RecordingShelf(self.standard, self.practice)
        # Settings of the recording on a reel; None for a tape that is described by its TapeSpec alone.
        self._settings: RecordSettings | None = None
        self._recorded: RecordedFrame | None = None
        # The time base, and by how many heads the match of heads to tracks was shifted when it was worked out.
        self._time_base: tuple[int, TimeBase] | None = None
        if controls:
            self.set_controls(controls)

    @property
    def controls(self) -> dict[str, float]:
        """Return a copy of all control values."""
        return dict(self._adjustment.controls)

    def control(self, name: str) -> float:
        """Return the value of one control, without a copy of them all; KeyError if there is no such control."""
        return self._adjustment.controls[name]

    @property
    def condition(self) -> Condition:
        """The hidden condition."""
        return self._adjustment.condition

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
        controls = self._adjustment.controls
        changed = {name for name, value in checked.items() if controls[name] != value}
        self._adjustment = replace(self._adjustment, controls={**controls, **checked})
        if changed.intersection(_RECORDING) and self._tape.recorded_here:
            self._recorded = None
        if changed.intersection(_GEOMETRY) or "switch_timing_us" in changed:
            self._time_base = None
        # The guide also decides how firmly the tips press.
        if any(name.startswith("channel_") for name in changed) or changed & {"switch_timing_us", "guide_position_um"}:
            self._rf_path.clear()

    def set_condition(self, condition: Condition) -> None:
        """Change what is wrong or worn."""
        before = self._adjustment
        after = self._adjustment = replace(before, condition=condition)
        recorded_alike = (before.record_settings, before.input_db) == (after.record_settings, after.input_db)
        if not recorded_alike and self._tape.recorded_here:
            self._recorded = None
        self._rf_path.clear()
        self._time_base = None

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
        self._time_base = None

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
            self._time_base = None

    def _take_up(self, recorded: RecordedFrame) -> None:
        self._recorded = recorded
        self._rf_path.clear_recording()

    def set_guide_correction(self, correction_um: float) -> None:
        """Move the guide by this much from where its control has put it [um]: what an automatic guide does."""
        if correction_um != self._adjustment.guide_correction_um:
            self._adjustment = replace(self._adjustment, guide_correction_um=correction_um)
            self._time_base = None
            self._rf_path.clear()

    @property
    def machine_geometry(self) -> GuideGeometry:
        """Errors of this machine's guide and heads now: they go into what it records."""
        return self._adjustment.geometry

    @property
    def record_settings(self) -> RecordSettings:
        """How this machine records now: carriers, and each head's current in percent of its best."""
        return self._adjustment.record_settings

    @property
    def record_programme(self) -> NDArray[np.float32]:
        """The input behind its level control, (lines, samples) [level unit]: what would be recorded now."""
        return self._chain.at_level(self._adjustment.input_db)

    def control_phase_deg(self, time_s: float, held_deg: float | None) -> float:
        """Return the phase of the control track against the wheel (see `Adjustment.control_phase_deg`)."""
        return self._adjustment.control_phase_deg(time_s, held_deg)

    def play_frame(self, index: int = 0, running: Running = LOCKED) -> PlaybackFrame:
        """Return frame number `index` (0 or more) as it comes off the tape now, wheel and tape running as told."""
        if index < 0:
            raise BandbenchError(f"frame index {index}: use 0 or more")
        standard, adjustment, condition = self.standard, self._adjustment, self._adjustment.condition
        time_s = index / standard.frame_rate_hz
        control_phase_deg = adjustment.control_phase_deg(time_s, running.control_phase_deg)
        control_level_db = running.control_level_db
        if control_level_db is None:
            control_level_db = condition.control_head_db
        recorded = self._recorded_frame
        off_tape = self._rf_path.play(index, control_phase_deg, recorded, running, adjustment)
        base = self._time_base_of(off_tape, recorded)
        servo_error_s = adjustment.servo_error_s(time_s, running.residual_peak_s)
        # What is early or late by more than the discriminator's filter can move is moved by whole samples.
        moved = Moved.of(running, standard)
        if moved is None and (running.early_s or running.speed_error):
            servo_error_s = servo_error_s + line_errors_s(running, standard)
        schedule = adjustment.schedule
        head_of_line = adjustment.playing[off_tape.heads][schedule.pass_of_line()]
        source, settings = self.record_programme, adjustment.record_settings
        order = VideoOrder(
            standard=standard.name,
            practice=self.practice.name,
            seed=adjustment.seed,
            index=index,
            time_s=time_s,
            rf=off_tape.rf,
            base=base,
            line_error_s=servo_error_s,
            speed_error=running.speed_error,
            moved=moved,
            level=adjustment.video_level,
            threshold_db=adjustment.dropout_threshold_db,
            correction=adjustment.correction,
            circuits=condition.video,
        )
        return PlaybackFrame(
            standard=standard,
            index=index,
            rf=order.placed_rf,
            guide_error_s=base.error_s.reshape(standard.lines_per_frame, standard.samples_per_line),
            servo_error_s=servo_error_s if moved is None else servo_error_s + moved.error_s,
            head_of_line=head_of_line if moved is None else moved.lines(head_of_line),
            control_phase_deg=control_phase_deg,
            schedule=schedule,
            template=self._video_path.blanking(order.correction, order.circuits),
            active=self._video_path.active,
            demodulate=partial(self._video_path.demodulate, order),
            correct=partial(self._video_path.correct, order=order),
            single_head=off_tape.single_head,
            source=source,
            modulate=partial(self._chain.modulate, source, settings),
            loop_back=partial(self._chain.loop_back, source, settings),
            lines_early=0 if moved is None else moved.lines_early,
            circuits=order.circuits,
            control_level=10.0 ** (control_level_db / 20.0),
            order=order,
        )

    def _time_base_of(self, off_tape: OffTape, recorded: RecordedFrame) -> TimeBase:
        # Another match of heads to tracks changes which timing error each pass has.
        match, adjustment = off_tape.match, self._adjustment
        if self._time_base is None or self._time_base[0] != match.head_shift:
            base = time_base(adjustment.geometry, recorded.geometry, match, adjustment.schedule, self.standard)
            self._time_base = match.head_shift, base
        return self._time_base[1]

    def electronics_frame(self, index: int = 0) -> PlaybackFrame:
        """Return frame number `index` of the input through the machine's electronics, with no tape between."""
        if index < 0:
            raise BandbenchError(f"frame index {index}: use 0 or more")
        adjustment = self._adjustment
        source, settings, circuits = self.record_programme, adjustment.record_settings, adjustment.condition.video
        rf = self._chain.modulate(source, settings)
        correction = adjustment.correction
        shape = (self.standard.lines_per_frame, self.standard.samples_per_line)
        level = np.float32(adjustment.video_level)
        return PlaybackFrame(
            standard=self.standard,
            index=index,
            rf=rf,
            guide_error_s=np.zeros(shape, dtype=np.float32),
            servo_error_s=np.zeros(shape[0]),
            head_of_line=np.zeros(shape[0], dtype=np.int8),
            control_phase_deg=0.0,
            schedule=adjustment.schedule,
            template=self._video_path.blanking(correction, circuits),
            active=self._video_path.active,
            demodulate=lambda: circuits.demodulated(
                self._chain.loop_back(source, settings) * level, rf, self.standard, index / self.standard.frame_rate_hz
            ),
            correct=partial(
                self._video_path.time_base_corrected, correction=correction, index=index, circuits=circuits
            ),
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
            frame = with_level(frame, self._adjustment.input_db)
            return record_frame(frame, tape, self.standard, self.practice, self.record_settings)
        practice = get_practice(tape.practice) if tape.practice else self.practice
        return record_frame(frame, tape, self.standard, practice, self._settings)

    @property
    def _recorded_frame(self) -> RecordedFrame:
        if self._recorded is None:
            self._take_up(self._record(self._programme))
            assert self._recorded is not None
        return self._recorded
