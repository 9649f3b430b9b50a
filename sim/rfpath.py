"""RF on its way from the tape to the demodulator: four heads, their channels, the switcher, contacts and noise.

Contents: `OffTape`, `RfPath`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sim.adjustment import Adjustment
from sim.headreader import HeadReader
from sim.headwheel import PassSchedule
from sim.playback import (
    ChannelSettings,
    NoisePool,
    add_noise,
    head_of_pass,
    head_phases,
    single_head_signal,
    switched_signal,
)
from sim.running import Running
from sim.sliprings import contact_level
from sim.standards import Practice, Standard
from sim.tape import RecordedFrame
from sim.tapestate import tape_level
from sim.tracking import TrackMatch, match_tracks

__all__ = ["OffTape", "RfPath"]

ComplexArray = NDArray[np.complex64]

# A level that changes by less than this with the tracking is left as it is (MODEL: 0.01 dB).
_SAME_LEVEL = 1e-3


@dataclass(frozen=True, eq=False)
class OffTape:
    """One frame of RF as it was played.

    Attributes
    ----------
    rf : ndarray of complex64, (samples_per_frame,)
        RF at the switcher's output.
    match : TrackMatch
        Which head followed which track.
    heads : ndarray of int64, (passes,)
        Head of each pass, 0 to 3.
    single_head : callable
        Returns the RF of one head, 0 to 3, as it was set then.
    """

    rf: ComplexArray
    match: TrackMatch
    heads: NDArray[np.int64]
    single_head: Callable[[int], ComplexArray]


class RfPath:
    """Heads, channels and switcher; what no control moved is kept from frame to frame.

    Parameters
    ----------
    standard, practice : Standard, Practice
        How the machine is set.
    noise_to_carrier : float
        Noise density of a channel in good order over carrier power [1/Hz].
    seed : int
        Seed of all noise.
    """

    def __init__(self, standard: Standard, practice: Practice, noise_to_carrier: float, seed: int) -> None:
        self._standard, self._practice, self._seed = standard, practice, seed
        self._noise = NoisePool(standard, seed)
        # Complex noise power over carrier amplitude squared is N0 fs / C.
        self._noise_power = noise_to_carrier * standard.sample_rate_hz
        self._reader = HeadReader(standard, practice)
        self._envelopes: list[ComplexArray] = []
        self._signal: ComplexArray | None = None
        self._match: TrackMatch | None = None

    def clear(self) -> None:
        """Forget what was switched: channels, contact or switcher are set anew."""
        self._signal = None

    def clear_recording(self) -> None:
        """Forget what was read as well: another recording lies under the heads."""
        self._reader.clear()
        self._signal = None

    def play(
        self, index: int, control_phase_deg: float, recorded: RecordedFrame, running: Running, adjustment: Adjustment
    ) -> OffTape:
        """Return one frame of RF.

        Parameters
        ----------
        index : int
            Number of the frame.
        control_phase_deg : float
            Phase of the control track against the wheel [deg].
        recorded : RecordedFrame
            What lies on the tape; `clear_recording` when it is another one.
        running : Running
            How wheel and tape run.
        adjustment : Adjustment
            How the machine stands; `clear` when it moved.
        """
        standard, condition, seed = self._standard, adjustment.condition, self._seed
        match, channels = match_tracks(control_phase_deg), adjustment.channels(self._noise_power)
        schedule = adjustment.schedule
        signal = self._nearly_the_same(match, recorded, running)
        if signal is None:
            signal = self._switched(match, recorded, channels, schedule, adjustment)
        noise = self._noise.frame(index)
        if not running.readable:
            signal = np.zeros_like(signal)
        heads = head_of_pass(match, schedule.passes)
        contact = contact_level(condition.slip_ring_lifts_per_turn, heads, schedule, standard, index, seed)
        if contact is not None:
            signal = signal * contact
        of_tape = tape_level(condition.tape, schedule, standard, index, seed)
        if of_tape is not None:
            signal = signal * of_tape
        rf = add_noise(signal, noise, match, channels, schedule, standard, self._practice)
        single_head = partial(
            self._single_head, self._envelopes, noise, match, recorded.track_bow_m, channels, schedule
        )
        return OffTape(rf, match, heads, single_head)

    def _switched(
        self,
        match: TrackMatch,
        recorded: RecordedFrame,
        channels: tuple[ChannelSettings, ...],
        schedule: PassSchedule,
        adjustment: Adjustment,
    ) -> ComplexArray:
        condition = adjustment.condition
        phases = head_phases(self._standard, condition.switch_jump_deg, self._seed)
        tips, inward_um = map(condition.tip, range(4)), adjustment.geometry.inward_um
        self._envelopes = [self._reader.read(recorded.envelope, tip, inward_um, schedule) for tip in tips]
        self._match = match
        self._signal = switched_signal(
            self._envelopes, match, recorded.track_bow_m, channels, schedule, phases, self._standard, self._practice
        )
        return self._signal

    def _nearly_the_same(self, match: TrackMatch, recorded: RecordedFrame, running: Running) -> ComplexArray | None:
        """Return the switched RF if the last one, or a part of it, will do; None if it must be worked out anew.

        While a capstan holds the tape its phase trembles by a hair from frame to frame. With nothing of a
        neighbouring track under the heads that changes the level alone.
        """
        kept = self._match
        if self._signal is None or kept is None:
            return None
        if match == kept:
            return self._signal
        alone = match.head_shift == kept.head_shift and match.neighbour == kept.neighbour == 0.0
        if running.control_phase_deg is None or not alone or recorded.track_bow_m or not kept.own:
            return None
        level = match.own / kept.own
        return self._signal if abs(level - 1.0) < _SAME_LEVEL else self._signal * np.float32(level)

    def _single_head(
        self,
        envelopes: list[ComplexArray],
        noise: ComplexArray,
        match: TrackMatch,
        bow_m: float,
        channels: tuple[ChannelSettings, ...],
        schedule: PassSchedule,
        head: int,
    ) -> ComplexArray:
        machine = (schedule, self._standard, self._practice)
        return single_head_signal(head, envelopes[head], noise, match, bow_m, channels[head], *machine)
