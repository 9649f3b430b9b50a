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
from sim.tracking import TrackMatch, match_tracks, whole_tracks

__all__ = ["OffTape", "RfPath"]

ComplexArray = NDArray[np.complex64]


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


@dataclass(frozen=True, eq=False)
class _Source:
    """Of what a signal is switched."""

    envelopes: list[ComplexArray]
    channels: tuple[ChannelSettings, ...]
    schedule: PassSchedule
    switch_jump_deg: float

    def is_that_of(self, other: _Source) -> bool:
        """Tell whether the same is switched in the same way."""
        return (
            all(own is its for own, its in zip(self.envelopes, other.envelopes, strict=True))
            and self.channels == other.channels
            and self.schedule is other.schedule
            and self.switch_jump_deg == other.switch_jump_deg
        )


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
        # What comes off the switcher where heads and tracks meet in a certain way, and of what it was switched.
        self._switched: dict[TrackMatch, ComplexArray] = {}
        self._source: _Source | None = None

    def clear(self) -> None:
        """Look at everything again: heads, channels, contact or switcher may be set anew."""
        self._envelopes = []

    def clear_recording(self) -> None:
        """Forget what was read as well: another recording lies under the heads."""
        self._reader.clear()
        self._switched, self._source = {}, None
        self.clear()

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
        parts = self._read(match, recorded, channels, schedule, adjustment) if running.readable else []
        noise = self._noise.frame(index)
        heads = head_of_pass(match, schedule.passes)
        contact = contact_level(condition.slip_ring_lifts_per_turn, heads, schedule, standard, index, seed)
        of_tape = tape_level(condition.tape, schedule, standard, index, seed)
        for level in (contact, of_tape):
            if level is not None:
                parts = [(share, signal * level) for share, signal in parts]
        rf = add_noise(parts, noise, match, channels, schedule, standard, self._practice)
        single_head = partial(
            self._single_head, self._envelopes, noise, match, recorded.track_bow_m, channels, schedule
        )
        return OffTape(rf, match, heads, single_head)

    def _read(
        self,
        match: TrackMatch,
        recorded: RecordedFrame,
        channels: tuple[ChannelSettings, ...],
        schedule: PassSchedule,
        adjustment: Adjustment,
    ) -> list[tuple[float, ComplexArray]]:
        """Return what comes off the switcher, as signals and how much there is of each.

        While a capstan holds the tape its phase trembles by a hair from frame to frame, and a hand on the tracking
        moves it further. Of straight tracks that changes the share of each track alone: the signals are kept.
        """
        standard, practice, condition = self._standard, self._practice, adjustment.condition
        if not self._envelopes:
            tips, inward_um = map(condition.tip, range(4)), adjustment.geometry.inward_um
            self._envelopes = [self._reader.read(recorded.envelope, tip, inward_um, schedule) for tip in tips]
            source = _Source(self._envelopes, channels, schedule, condition.switch_jump_deg)
            # A guide that is moved a little presses the tips no less firmly: the heads read the same.
            if self._source is None or not source.is_that_of(self._source):
                self._switched = {}
            self._source = source
        parts = {match: 1.0} if recorded.track_bow_m else whole_tracks(match)
        kept, self._switched = self._switched, {}
        for part in parts:
            if part in kept:
                self._switched[part] = kept[part]
                continue
            phases = head_phases(standard, condition.switch_jump_deg, self._seed)
            self._switched[part] = switched_signal(
                self._envelopes, part, recorded.track_bow_m, channels, schedule, phases, standard, practice
            )
        return [(share, self._switched[part]) for part, share in parts.items()]

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
