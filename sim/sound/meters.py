"""Meters of the sound part: levels, distortion, speed, phase; and what they say in a sentence.

Contents: `SoundMeasurementSpec`, `SOUND_MEASUREMENTS`, `sound_measurement`, `sound_measurements`, `phase_figure`,
`describe_sound`; on plain samples `level_db`, `peak_db`, `tone_of`, `third_harmonic_of`, `flutter_of`,
`phase_between_deg`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import UnknownNameError
from sim.sound.sources import SoundError
from sim.sound.system import SoundSystem
from sim.sound.tracks import SAMPLE_RATE_HZ, SOUND_TRACKS
from sim.wording import wording

__all__ = [
    "SOUND_MEASUREMENTS",
    "SoundMeasurementSpec",
    "describe_sound",
    "flutter_of",
    "level_db",
    "peak_db",
    "phase_between_deg",
    "phase_figure",
    "sound_measurement",
    "sound_measurements",
    "third_harmonic_of",
    "tone_of",
]

FloatArray = NDArray[np.float64]
Samples = NDArray[np.floating]

# MODEL: the level meters look at this much of the sound; what lies below their scale is called silence.
_LEVEL_WINDOW_S = 0.3
_SILENCE_DB = -60.0
# MODEL: a sound is a tone if this share of its power lies within a few lines of its strongest one, or within this
# share of its frequency, by which flutter spreads it.
_TONE_SHARE = 0.5
_TONE_LINES = 8
_TONE_SPREAD = 0.04
# MODEL: rates of flutter that are counted; the ends of the window, where the filter rings, are left out.
_FLUTTER_BAND_HZ = 150.0
_FLUTTER_TRIM_S = 0.05
_LEAST_TURNS = 16
_FIGURE_POINTS = 160
# DERIVED: the lines of Blackman's window, 0.42 - 0.5 cos + 0.08 cos of twice the angle.
_BLACKMAN_LINES = (0.42, -0.25, 0.04)


def level_db(samples: Samples) -> float:
    """Return the rms level against a sine at reference level [dB]; minus infinity for silence.

    Examples
    --------
    >>> round(level_db(np.sin(0.1 * np.pi * np.arange(3200))), 6)
    0.0
    """
    return _db(math.sqrt(2.0 * float(np.mean(np.square(samples, dtype=np.float64))))) if samples.size else -math.inf


def peak_db(samples: Samples) -> float:
    """Return the highest level against the peak of a sine at reference level [dB]; minus infinity for silence."""
    return _db(float(np.max(np.abs(samples)))) if samples.size else -math.inf


def _db(ratio: float) -> float:
    return 20.0 * math.log10(ratio) if ratio > 0.0 else -math.inf


class _Tone:
    """A sound looked at as a steady tone; what is asked of it more than once is worked out once."""

    def __init__(self, samples: Samples) -> None:
        self.samples = np.asarray(samples, dtype=np.float64)
        self._lines_a_hz = self.samples.size / SAMPLE_RATE_HZ

    @cached_property
    def power(self) -> FloatArray:
        """Power of each line under a Blackman window."""
        # The window is three lines of a spectrum: multiplying by it spreads each line over its neighbours.
        centre, first, second = _BLACKMAN_LINES
        lines = np.pad(self.spectrum, 2)
        spread = centre * lines[2:-2] + first * (lines[1:-3] + lines[3:-1]) + second * (lines[:-4] + lines[4:])
        return np.asarray(np.square(spread.real) + np.square(spread.imag))

    @cached_property
    def spectrum(self) -> NDArray[np.complex128]:
        """The lines of the samples as they are."""
        return np.asarray(np.fft.rfft(self.samples))

    @cached_property
    def found(self) -> float | str:
        """Frequency [Hz], or why there is none."""
        if level_db(self.samples) < _SILENCE_DB:
            return wording("sound.there_no_sound_play")
        power = self.power
        strongest = int(np.argmax(power))
        lines = _lines_around(strongest)
        if strongest < _TONE_LINES or power[lines].sum() < _TONE_SHARE * power.sum():
            return wording("sound.there_no_steady_tone")
        centre = np.sum(power[lines] * np.arange(lines.start, min(lines.stop, power.size))) / np.sum(power[lines])
        return float(centre / self._lines_a_hz)

    @property
    def frequency_hz(self) -> float:
        """Frequency [Hz]; SoundError if there is none."""
        found = self.found
        if isinstance(found, str):
            raise SoundError(found)
        return found

    def third_harmonic_pct(self) -> float:
        """Third harmonic, of the fundamental [%]; SoundError if there is none to be seen."""
        frequency_hz = self.frequency_hz
        first, third = (_lines_around(round(number * frequency_hz * self._lines_a_hz)) for number in (1, 3))
        if third.stop >= self.power.size:
            raise SoundError(wording("sound.third_harmonic_hz_lies", frequency_hz=f"{frequency_hz:.0f}"))
        return 100.0 * math.sqrt(float(self.power[third].sum() / self.power[first].sum()))

    @cached_property
    def flutter(self) -> tuple[float, float] | str:
        """Wow and flutter, rms and peak [%], or why there is none."""
        frequency_hz = self.frequency_hz
        # The lines around the tone, brought down to 0 Hz: the tone as a slowly turning pointer.
        centre = round(frequency_hz * self._lines_a_hz)
        half = math.ceil((_FLUTTER_BAND_HZ + _TONE_SPREAD * frequency_hz) * self._lines_a_hz)
        half = min(half, centre, self.samples.size // 2 - centre)
        if 2 * half < _LEAST_TURNS:
            return wording("sound.tone_lies_too_near")
        lines = self.spectrum[centre - half : centre + half]
        turning = np.fft.ifft(np.fft.ifftshift(lines))
        turns_a_s = turning.size / self._lines_a_hz
        trim = math.ceil(_FLUTTER_TRIM_S * turns_a_s)
        turning = turning[trim:-trim]
        if turning.size < _LEAST_TURNS or np.min(np.abs(turning)) < 0.25 * np.max(np.abs(turning)):
            return wording("sound.tone_not_steady_yet")
        rate_hz = np.angle(turning[1:] * np.conj(turning[:-1])) * (turns_a_s / (2.0 * np.pi))
        deviation = (rate_hz - np.mean(rate_hz)) / frequency_hz
        return 100.0 * float(np.sqrt(np.mean(np.square(deviation)))), 100.0 * float(np.max(np.abs(deviation)))


def _lines_around(line: int) -> slice:
    spread = max(_TONE_LINES, math.ceil(_TONE_SPREAD * line))
    return slice(max(line - spread, 0), line + spread + 1)


def tone_of(samples: Samples) -> float:
    """Return the frequency of the steady tone that a sound is [Hz].

    Raises
    ------
    SoundError
        If it is silence or no steady tone.

    Examples
    --------
    >>> round(tone_of(np.sin(2 * np.pi * 1000.3 * np.arange(32000) / 32000)), 2)
    1000.3
    """
    return _Tone(samples).frequency_hz


def third_harmonic_of(samples: Samples) -> float:
    """Return the third harmonic of a tone [% of the fundamental].

    Raises
    ------
    SoundError
        If there is no steady tone, or its third harmonic lies beyond what the samples can hold.
    """
    return _Tone(samples).third_harmonic_pct()


def flutter_of(samples: Samples) -> tuple[float, float]:
    """Return wow and flutter of a tone, rms and peak [% of its frequency].

    Raises
    ------
    SoundError
        If there is no steady tone, or it swells and sinks too much.

    Notes
    -----
    Unweighted: every rate up to 150 Hz counts alike, down to one a second. The published weightings want longer
    listening and are not imitated.
    """
    return _flutter_of(_Tone(samples))


def _flutter_of(tone: _Tone) -> tuple[float, float]:
    found = tone.flutter
    if isinstance(found, str):
        raise SoundError(found)
    return found


def phase_between_deg(first: Samples, second: Samples) -> float:
    """Return by how much a tone in `first` leads the same tone in `second` [deg], -180 to 180.

    Raises
    ------
    SoundError
        If either is no steady tone, or they are not the same tone.

    Examples
    --------
    >>> time = np.arange(3200) / 32000
    >>> lead = phase_between_deg(np.sin(6283.2 * time + 0.5), np.sin(6283.2 * time))
    >>> round(lead, 1)
    28.6
    """
    frequencies = tone_of(first), tone_of(second)
    if first.size != second.size or abs(frequencies[0] - frequencies[1]) > 4.0 * SAMPLE_RATE_HZ / first.size:
        raise SoundError(wording("sound.two_not_same_tone"))
    window = np.blackman(first.size)
    place = round(frequencies[0] * first.size / SAMPLE_RATE_HZ)
    lines = slice(place - 2, place + 3)
    one = np.fft.rfft(first * window)[lines]
    other = np.fft.rfft(second * window)[lines]
    return math.degrees(float(np.angle(np.sum(one * np.conj(other)))))


def phase_figure(system: SoundSystem, against: str = "halves") -> tuple[FloatArray, FloatArray]:
    """Return what a phase display shows: one signal across, the other up, both against reference level.

    Parameters
    ----------
    system : SoundSystem
        What plays.
    against : str
        "halves": the two halves of the programme track, which a turned head parts; "cue": programme and cue track.

    Returns
    -------
    across, up : ndarray, (points,)
        Points in the order of time.

    Raises
    ------
    UnknownNameError
        If `against` is neither.
    """
    across, up = _pair(system, against)
    return across[-_FIGURE_POINTS:], up[-_FIGURE_POINTS:]


def _pair(system: SoundSystem, against: str) -> tuple[FloatArray, FloatArray]:
    if against == "halves":
        return system.halves()
    if against == "cue":
        window = round(_LEVEL_WINDOW_S * SAMPLE_RATE_HZ)
        programme, cue = system.heard("programme")[-window:], system.heard("cue")[-window:]
        return programme.astype(np.float64), cue.astype(np.float64)
    raise UnknownNameError("phase display", against, ("halves", "cue"))


class _Sounds:
    """What is heard now, looked at once for all readings."""

    def __init__(self, system: SoundSystem) -> None:
        self.system = system
        self._tones: dict[str, _Tone] = {}

    def recent(self, track: str) -> Samples:
        return self.system.heard(track)[-round(_LEVEL_WINDOW_S * SAMPLE_RATE_HZ) :]

    def tone(self, track: str) -> _Tone:
        if track not in self._tones:
            self._tones[track] = _Tone(self.system.heard(track))
        return self._tones[track]


@dataclass(frozen=True)
class SoundMeasurementSpec:
    """One reading of the sound part: its name, label, unit, meaning, and how it is taken."""

    name: str
    label: str
    unit: str
    description: str
    measure: Callable[[_Sounds], float]


def _level(sounds: _Sounds, track: str) -> float:
    return _scaled(level_db(sounds.recent(track)))


def _peak(sounds: _Sounds, track: str) -> float:
    return _scaled(peak_db(sounds.recent(track)))


def _scaled(value_db: float) -> float:
    if value_db < _SILENCE_DB:
        raise SoundError(wording("sound.there_no_sound_above", silence_db=f"{_SILENCE_DB:.0f}"))
    return value_db


def _frequency(sounds: _Sounds, track: str) -> float:
    return sounds.tone(track).frequency_hz


def _third_harmonic(sounds: _Sounds, track: str) -> float:
    return sounds.tone(track).third_harmonic_pct()


def _flutter(sounds: _Sounds, track: str, which: int) -> float:
    return _flutter_of(sounds.tone(track))[which]


def _phase(sounds: _Sounds, against: str) -> float:
    return phase_between_deg(*_pair(sounds.system, against))


def _specs() -> list[SoundMeasurementSpec]:
    specs = []
    for name, title in ((track.name, track.title) for track in SOUND_TRACKS.values()):
        specs += [
            SoundMeasurementSpec(
                f"{name}_level_db",
                wording("sound.level", title=title),
                "dB",
                wording("sound.rms_over_0_3"),
                partial(_level, track=name),
            ),
            SoundMeasurementSpec(
                f"{name}_peak_db",
                wording("sound.peak", title=title),
                "dB",
                wording("sound.highest_0_3_s"),
                partial(_peak, track=name),
            ),
            SoundMeasurementSpec(
                f"{name}_frequency_hz",
                wording("sound.tone", title=title),
                "Hz",
                wording("sound.frequency_steady_tone"),
                partial(_frequency, track=name),
            ),
            SoundMeasurementSpec(
                f"{name}_third_harmonic_pct",
                wording("sound.third_harmonic", title=title),
                "%",
                wording("sound.third_harmonic_tone_fundamental"),
                partial(_third_harmonic, track=name),
            ),
            SoundMeasurementSpec(
                f"{name}_flutter_pct",
                wording("sound.wow_flutter", title=title),
                "%",
                wording("sound.rms_deviation_tones_frequency"),
                partial(_flutter, track=name, which=0),
            ),
            SoundMeasurementSpec(
                f"{name}_flutter_peak_pct",
                wording("sound.wow_flutter_peak", title=title),
                "%",
                wording("sound.largest_deviation_tones_frequency"),
                partial(_flutter, track=name, which=1),
            ),
        ]
    specs += [
        SoundMeasurementSpec(
            "halves_phase_deg",
            wording("sound.phase_across_programme_track"),
            "deg",
            wording("sound.how_much_outer_half"),
            partial(_phase, against="halves"),
        ),
        SoundMeasurementSpec(
            "cue_phase_deg",
            wording("sound.phase_programme_against_cue"),
            "deg",
            wording("sound.how_much_programme_sound"),
            partial(_phase, against="cue"),
        ),
    ]
    return specs


SOUND_MEASUREMENTS: Mapping[str, SoundMeasurementSpec] = MappingProxyType({spec.name: spec for spec in _specs()})


def sound_measurement(system: SoundSystem, name: str) -> float:
    """Return one reading.

    Raises
    ------
    UnknownNameError
        If there is no such reading.
    SoundError
        If it cannot be taken now; says why.
    """
    if name not in SOUND_MEASUREMENTS:
        raise UnknownNameError("sound reading", name, SOUND_MEASUREMENTS)
    return SOUND_MEASUREMENTS[name].measure(_Sounds(system))


def sound_measurements(system: SoundSystem) -> dict[str, float | None]:
    """Return every reading; None for those that cannot be taken now."""
    sounds = _Sounds(system)
    found: dict[str, float | None] = {}
    for name, spec in SOUND_MEASUREMENTS.items():
        try:
            found[name] = spec.measure(sounds)
        except SoundError:
            found[name] = None
    return found


def describe_sound(system: SoundSystem) -> str:
    """Return what is heard, in a sentence for each track and one for the phase across the programme track."""
    readings = sound_measurements(system)
    sentences = []
    for track in SOUND_TRACKS.values():
        level, tone = readings[f"{track.name}_level_db"], readings[f"{track.name}_frequency_hz"]
        if level is None:
            sentences.append(wording("sound.silence", title=track.title))
            continue
        parts = [wording("sound.db", level=f"{level:+.1f}")]
        if tone is None:
            parts.append(wording("sound.peaks_db_no_steady", readings=f"{readings[f'{track.name}_peak_db']:+.1f}"))
        else:
            parts.append(wording("sound.tone_hz", tone=f"{tone:.0f}"))
            harmonic, flutter = readings[f"{track.name}_third_harmonic_pct"], readings[f"{track.name}_flutter_pct"]
            if harmonic is not None:
                parts.append(wording("sound.third_harmonic_2", harmonic=f"{harmonic:.1f}"))
            if flutter is not None:
                parts.append(wording("sound.wow_flutter_rms", flutter=f"{flutter:.2f}"))
        sentences.append(f"{track.title}: {', '.join(parts)}.")
    phase = readings["halves_phase_deg"]
    if phase is not None:
        sentences.append(wording("sound.phase_across_programme_track_2", phase=f"{round(phase):+d}"))
    return " ".join(sentences)
