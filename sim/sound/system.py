"""The sound part of the machine: what is sent to the tracks, recording and playing block by block.

Contents: `SoundSystem`.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from sim.sound.block import HeardBlock, PassedBlock, SoundReel
from sim.sound.endless import EndlessTape
from sim.sound.resample import HALF_LENGTH, interpolate
from sim.sound.settings import SoundCondition, SoundSettings
from sim.sound.sources import OWN_NOTE, SOURCES, Samples, SoundError, SoundSource, get_source, own_note
from sim.sound.take import SoundTake, TapeSegment, flux
from sim.sound.tracks import AUDIO_HEAD_DISTANCE_M, SAMPLE_RATE_HZ, SOUND_TRACKS, get_sound_track
from sim.sound.unsteadiness import Flutter, Hiss, hum
from sim.standards import FOOTPRINT, Standard
from sim.wording import wording

__all__ = ["SoundSystem"]

FloatArray = NDArray[np.float64]
Sound = NDArray[np.float32]

# MODEL: the playback amplifier opens within this share of nominal speed and is shut beyond the second; the wind can
# be listened to at this level.
_OPEN_WITHIN = 0.2
_SHUT_BEYOND = 0.4
_WIND_LEVEL_DB = -12.0
# MODEL: a take goes on while the tape keeps its speed to this share; nearer to nominal than this it counts as nominal,
# since the capstan is locked to the wheel while it records.
_SAME_SPEED = 0.005
_NOMINAL_SPEED = 0.002
_SAME_PLACE_M = 1e-6  # MODEL: a take goes on where it stopped, within this
_HISTORY_S = 1


class SoundSystem:
    """The sound part of the machine.

    As a source, the user's own note is said over and over.

    Parameters
    ----------
    standard : Standard
        Fixes the nominal tape speed, and the mains frequency of its part of the world.
    seed : int
        Fixes hiss and flutter.

    Attributes
    ----------
    settings : SoundSettings
        What the technician has set.
    condition : SoundCondition
        What is wrong.
    hear_winding : bool
        Whether the amplifier stays open while the tape is wound.

    Notes
    -----
    For each stretch of time call `record_block` (if a track is being recorded), then `play_block`. The samples do not
    depend on how the time is cut into blocks, as long as the positions that are handed over lie at the same moments.

    Wow and flutter are those of the capstan, as they come with the positions, and a small rest (`Flutter`) that stands
    for recording and playing together: a take itself is recorded at an even speed.
    """

    def __init__(self, standard: Standard, seed: int = 0) -> None:
        self.settings = SoundSettings()
        self.condition = SoundCondition()
        self.hear_winding = False
        self._length_of_second_m = (
            4.0 * FOOTPRINT.track_pitch_m * standard.wheel_turns_per_frame * standard.frame_rate_hz
        )
        self._mains_hz = float(round(2.0 * standard.frame_rate_hz))
        self._flutter = Flutter(seed)
        self._hiss = Hiss(seed, SAMPLE_RATE_HZ)
        self._chosen = {"programme": "tone_1k", "cue": "silence"}
        self._note: Samples | None = None
        self._note_again: Samples | None = None
        self._time_s = 0.0
        self._samples = 0
        self._speed_m_per_s = 0.0
        self._running: dict[str, tuple[SoundTake, float]] = {}
        self._heard: dict[str, Sound] = {
            track: np.zeros(_HISTORY_S * SAMPLE_RATE_HZ, dtype=np.float32) for track in SOUND_TRACKS
        }
        self._last: HeardBlock | None = None
        self._passed: deque[PassedBlock] = deque()
        self._put_out: dict[str, Sound] = {}
        self._halves: dict[str, tuple[FloatArray, FloatArray]] = {}

    # What is sent to the tracks ----------------------------------------------------------------------------

    @property
    def tape_speed_m_per_s(self) -> float:
        """Nominal tape speed [m/s]."""
        return self._length_of_second_m

    @property
    def time_s(self) -> float:
        """Sound played so far [s]; the sources run by this clock."""
        return self._time_s

    @property
    def note(self) -> Samples | None:
        """The user's own note, or None before there is one."""
        return self._note

    def source_names(self) -> tuple[str, ...]:
        """Return the sources that can be chosen: the made ones, and the own note once there is one."""
        return (*SOURCES, OWN_NOTE) if self._note is not None else tuple(SOURCES)

    def source_of(self, track: str) -> str:
        """Return the name of the source that is sent to a track."""
        return self._chosen[get_sound_track(track).name]

    def choose_source(self, track: str, name: str) -> None:
        """Send a source to a track.

        Raises
        ------
        UnknownNameError
            If there is no such track or source.
        SoundError
            If it is the own note and there is none yet.
        """
        get_sound_track(track)
        self._source(name)
        self._work_out()
        self._chosen[track] = name

    def take_note(self, samples: NDArray[np.floating]) -> Samples:
        """Take a note of the user's own, which can then be chosen as a source and put on tape.

        Parameters
        ----------
        samples : ndarray, (samples,)
            The sound at `SAMPLE_RATE_HZ`, full scale 1.

        Raises
        ------
        SoundError
            If it holds no sound (see `own_note`); the note before is kept.
        """
        note = own_note(samples)
        self._work_out()
        self._note = note
        self._note_again = self._note.repeated()
        return self._note

    def _source(self, name: str) -> SoundSource:
        if name != OWN_NOTE:
            return get_source(name)
        if self._note_again is None:
            raise SoundError(wording("sound.no_note_your_own"))
        return self._note_again

    # Recording ---------------------------------------------------------------------------------------------

    def record_block(self, reel: SoundReel, tracks: Collection[str], positions_m: Sequence[float]) -> None:
        """Record the chosen sources onto the stretch that passes the audio heads.

        Parameters
        ----------
        reel : SoundReel
            The tape.
        tracks : collection of str
            Which tracks are recorded.
        positions_m : sequence of float
            Tape at the head WHEEL at the beginning, at equal steps of time, and at the end [m]; the audio heads stand
            `AUDIO_HEAD_DISTANCE_M` further on. The same as for `play_block`.

        Raises
        ------
        BandbenchError
            If there is no such track, or the reel cannot be recorded on.
        """
        start_m, end_m = positions_m[0] - AUDIO_HEAD_DISTANCE_M, positions_m[-1] - AUDIO_HEAD_DISTANCE_M
        for track in tuple(self._running):
            if track not in tracks:
                del self._running[track]
        if end_m <= start_m:
            return
        self._work_out()
        for track in tracks:
            take = self._take_for(track, start_m)
            reel.record(track, start_m, end_m, take)
            self._running[track] = (take, end_m)

    def endless_tape(self, recorded_here: bool = True) -> EndlessTape:
        """Return a tape that holds throughout what is sent to the tracks now.

        Parameters
        ----------
        recorded_here : bool
            Whether this machine recorded it, as it is set now; otherwise a machine in order did.
        """
        nominal = self.tape_speed_m_per_s
        takes = {}
        for track in SOUND_TRACKS:
            source = self._source(self.source_of(track))
            if recorded_here:
                takes[track] = self._take(track, source, 0.0, nominal, 0.0)
            else:
                takes[track] = SoundTake(0.0, source, speed_m_per_s=nominal)
        return EndlessTape(takes)

    def stop_recording(self) -> None:
        """End the takes that are being made; the next recording begins new ones."""
        self._running.clear()

    def lay_note(self, reel: SoundReel, position_m: float, track: str = "cue") -> tuple[float, float]:
        """Record the whole own note onto a track, from where the audio head is.

        Parameters
        ----------
        reel : SoundReel
            The tape.
        position_m : float
            Tape at the head wheel when the note began [m].
        track : str
            Where it goes.

        Returns
        -------
        start_m, end_m : float
            Where it lies now [m].

        Raises
        ------
        BandbenchError
            If there is no note, or the reel cannot be recorded on.
        """
        note = self._note
        if note is None:
            raise SoundError(wording("sound.there_no_note_put"))
        start_m = self._on_grid(position_m - AUDIO_HEAD_DISTANCE_M)
        end_m = start_m + note.duration_s * self.tape_speed_m_per_s
        self._work_out()
        reel.record(track, start_m, end_m, self._take(track, note, start_m, self.tape_speed_m_per_s, 0.0))
        return start_m, end_m

    def _on_grid(self, place_m: float) -> float:
        # A take that begins on a place of the grid is read without interpolation.
        step_m = self.tape_speed_m_per_s / SAMPLE_RATE_HZ
        return round(place_m / step_m) * step_m

    def _take(
        self, track: str, source: SoundSource, origin_m: float, speed_m_per_s: float, source_start_s: float
    ) -> SoundTake:
        return SoundTake(
            origin_m=origin_m,
            source=source,
            level_db=self.settings.of(track).record_level_db,
            bias_pct=self.condition.bias_pct(self.settings),
            azimuth_arcmin=self.condition.azimuth_arcmin(self.settings),
            speed_m_per_s=speed_m_per_s,
            source_start_s=source_start_s,
        )

    def _take_for(self, track: str, start_m: float) -> SoundTake:
        """Return the take that a recording goes on with, or a new one if anything about it has changed."""
        source = self._source(self.source_of(track))
        nominal = self.tape_speed_m_per_s
        speed = self._speed_m_per_s
        if abs(speed / nominal - 1.0) < _NOMINAL_SPEED or speed <= 0.0:
            speed = nominal
        fresh = self._take(
            track, source, self._on_grid(start_m), speed, round(self._time_s * SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
        )
        if track not in self._running:
            return fresh
        take, end_m = self._running[track]
        goes_on = (
            abs(end_m - start_m) < _SAME_PLACE_M
            and take.source is source
            and abs(take.speed_m_per_s / speed - 1.0) < _SAME_SPEED
            and (take.level_db, take.bias_pct, take.azimuth_arcmin)
            == (fresh.level_db, fresh.bias_pct, fresh.azimuth_arcmin)
        )
        return take if goes_on else fresh

    # Playing -----------------------------------------------------------------------------------------------

    def play_block(
        self,
        reel: SoundReel | None,
        positions_m: Sequence[float],
        duration_s: float,
        recording: Collection[str] = (),
    ) -> dict[str, Sound]:
        """Return what the sound part puts out during a stretch of time.

        Parameters
        ----------
        reel : SoundReel or None
            The tape; None if none is on.
        positions_m : sequence of float
            Tape at the head WHEEL at the beginning, at equal steps of time, and at the end [m].
        duration_s : float
            How long it takes [s].
        recording : collection of str
            Tracks that are being recorded: what is heard of them is what is sent to them.

        Returns
        -------
        dict of str to ndarray of float32, (samples,)
            By track, at `SAMPLE_RATE_HZ`; 1 is the peak of a sine at reference level. The number of samples keeps in
            step with the time: parts of a sample are carried over.

        Raises
        ------
        SoundError
            If there are not two positions or one is not finite, or the duration is not above 0.
        """
        self.pass_block(reel, positions_m, duration_s, recording)
        self._work_out()
        return self._put_out

    def pass_block(
        self,
        reel: SoundReel | None,
        positions_m: Sequence[float],
        duration_s: float,
        recording: Collection[str] = (),
    ) -> None:
        """Let a stretch of time pass as `play_block` does, and work its sound out only if somebody asks for it.

        Whoever hears nothing and reads a meter now and then pays for the last second before a reading alone. What is
        read is the same. Parameters and errors as for `play_block`.
        """
        knots = np.asarray(positions_m, dtype=np.float64)
        if knots.ndim != 1 or knots.size < 2 or not np.all(np.isfinite(knots)):
            raise SoundError(wording("sound.playing_sound_needs_two"))
        if not (math.isfinite(duration_s) and duration_s > 0.0):
            raise SoundError(wording("sound.playing_sound_needs_duration", duration_s=repr(duration_s)))
        steps_a_second = (knots.size - 1) / duration_s
        first, start_s = self._samples, self._time_s
        self._time_s += duration_s
        self._samples = round(self._time_s * SAMPLE_RATE_HZ)
        self._passed.append(
            PassedBlock(
                reel,
                knots,
                steps_a_second,
                frozenset(recording),
                first,
                self._samples,
                start_s,
                self._speed_m_per_s,
                self.settings,
                self.condition,
            )
        )
        self._speed_m_per_s = float((knots[-1] - knots[-2]) * steps_a_second)
        # Nobody can ask for more than the last second any longer.
        while self._samples - self._passed[0].last >= _HISTORY_S * SAMPLE_RATE_HZ:
            self._passed.popleft()

    def _work_out(self) -> None:
        """Work out the sound of what has passed; to be called before anything changes that it was made of."""
        while self._passed:
            self._put_out = self._sounding(self._passed.popleft())

    def _sounding(self, passed: PassedBlock) -> dict[str, Sound]:
        knots, steps_a_second = passed.knots, passed.steps_a_second
        time_s = np.arange(passed.first, passed.last) / SAMPLE_RATE_HZ
        into = (time_s - passed.start_s) * steps_a_second
        speeds = np.diff(knots, prepend=knots[0]) * steps_a_second
        # The speed of a step is reached at its end, so that the amplifier opens and shuts without a click.
        speeds[0] = passed.speed_m_per_s
        steps = np.arange(knots.size)
        ratio = np.interp(into, steps, speeds) / self.tape_speed_m_per_s
        place = np.interp(into, steps, knots) - AUDIO_HEAD_DISTANCE_M
        flutter = self._flutter.displacement_s(time_s, passed.condition.flutter_pct)
        place += flutter * self.tape_speed_m_per_s * np.clip(ratio, 0.0, 1.0)
        heard = self._under_heads(passed, place, ratio)
        put_out = {}
        for track in SOUND_TRACKS:
            if track in passed.recording:
                level_db = passed.settings.of(track).record_level_db
                sound = self._source(self.source_of(track)).at(time_s)
            else:
                level_db = 0.0
                sound = self._off_tape(heard, track)
            sound = sound * 10.0 ** ((level_db + passed.settings.of(track).play_level_db) / 20.0)
            if passed.condition.hums:
                sound = sound + hum(time_s, self._mains_hz, passed.condition.hum_db)
            put_out[track] = sound.astype(np.float32)
            self._heard[track] = np.concatenate([self._heard[track], put_out[track]])[-self._heard[track].size :]
        self._last = heard
        self._halves.clear()
        return put_out

    def heard(self, track: str) -> Sound:
        """Return the last second of a track's output, float32 at `SAMPLE_RATE_HZ`; silence before there was any."""
        name = get_sound_track(track).name
        self._work_out()
        return self._heard[name]

    def halves(self, track: str = "programme") -> tuple[FloatArray, FloatArray]:
        """Return what the two halves of a track would give in the last block: its outer and its inner half.

        A head that stands square to the recording finds the same in both; a turned one finds one half early.
        """
        self._work_out()
        if self._last is None:
            return np.zeros(0), np.zeros(0)
        # The meter and the display ask for the same block.
        if track not in self._halves:
            self._halves[track] = self._off_tape(self._last, track, 1), self._off_tape(self._last, track, -1)
        return self._halves[track]

    def _under_heads(self, passed: PassedBlock, place: FloatArray, ratio: FloatArray) -> HeardBlock:
        """Gather what lies under the heads during a block, and how far the amplifier is open."""
        reel = passed.reel
        away = np.abs(ratio - 1.0)
        # What a head gives rises with the speed of the tape.
        gain = ratio * np.clip((_SHUT_BEYOND - away) / (_SHUT_BEYOND - _OPEN_WITHIN), 0.0, 1.0)
        if self.hear_winding:
            wound = np.clip((np.abs(ratio) - 1.0 - _OPEN_WITHIN) / _OPEN_WITHIN, 0.0, 1.0)
            gain = np.maximum(gain, wound * 10.0 ** (_WIND_LEVEL_DB / 20.0))
        segments: dict[str, tuple[TapeSegment, ...]] = dict.fromkeys(SOUND_TRACKS, ())
        if reel is None:
            gain = np.zeros_like(gain)
        elif np.any(gain):
            around_m = 4 * HALF_LENGTH * self.tape_speed_m_per_s / SAMPLE_RATE_HZ
            start_m, end_m = float(place.min()) - around_m, float(place.max()) + around_m
            if end_m > 0.0:
                segments = {track: tuple(reel.segments(track, max(start_m, 0.0), end_m)) for track in SOUND_TRACKS}
        condition = passed.condition
        return HeardBlock(segments, place, gain, condition.head(passed.settings), condition.hiss_db)

    def _off_tape(self, heard: HeardBlock, track: str, part: int = 0) -> FloatArray:
        """Return what a track gives in a block, before its level control."""
        if not np.any(heard.gain):
            return np.zeros(heard.gain.size)
        width_m = SOUND_TRACKS[track].width_m
        step_m = self.tape_speed_m_per_s / SAMPLE_RATE_HZ
        places = heard.place / step_m
        first = math.floor(float(places.min())) - HALF_LENGTH
        count = math.ceil(float(places.max())) + HALF_LENGTH + 1 - first
        # A tape that flies past passes many places for each sample of what is heard: their mean is taken.
        passed = max(1, round((count - 2 * HALF_LENGTH) / max(places.size, 1)))
        level, recorded = flux(heard.segments[track], first, count, step_m, heard.head, width_m, part)
        level += self._hiss.along(first, recorded, width_m, heard.hiss_db)
        if passed > 1:
            level = np.convolve(level, np.full(passed, 1.0 / passed), mode="same")
        return interpolate(level, places - first) * heard.gain
