"""Tapes: what is recorded, by whom and how well, as data; and the recorded RF of one frame.

Contents: `TapeSpec`, `TAPES`, `WORK_TAPE`, `get_tape`, `RecordSettings`, `RecordedFrame`, `record_frame`. Every tape,
station and workshop here is invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.dropout import DropoutPattern, dropout_level
from sim.errors import BandbenchError, UnknownNameError
from sim.fm import envelope_frequency_hz
from sim.headtape import record_current_db, wavelength_m
from sim.headwheel import GuideGeometry, pass_schedule
from sim.modulated import modulated, spectrum_of
from sim.standards import FOOTPRINT, Practice, Standard
from sim.wording import wording

__all__ = ["TAPES", "WORK_TAPE", "RecordSettings", "RecordedFrame", "TapeSpec", "get_tape", "record_frame"]

WORK_TAPE = "programme"
"""Name of the recorder's own endless tape, which shows at once what it would record now."""

FourHeads = tuple[float, float, float, float]
_EVEN: FourHeads = (0.0, 0.0, 0.0, 0.0)

# A damaged edge reaches this far into a pass, as a share of it (MODEL).
_EDGE_SHARE = 0.12


@dataclass(frozen=True)
class TapeSpec:
    """An invented tape.

    Attributes
    ----------
    name, title, description : str
        Key, what is written on the box, what it is for.
    standard, practice : str
        How it was recorded; both empty for a tape this machine records itself, as it is set.
    signal : str
        Test signal at the point where the tape is laid up.
    recorded_here : bool
        True if this machine records it itself, so that its record controls shape it.
    geometry : GuideGeometry
        Errors of the machine that recorded it; they stay in the tape.
    track_level_db : four floats
        Level of the tracks that heads 1 to 4 of that machine left [dB].
    dropouts : DropoutPattern
        Dropouts of the tape.
    track_bow_um : float
        How far the middle of a track stands from the line through its ends [um].
    damaged_edge_db : float
        RF level at the edge where the heads leave the tape, 0 if the edge is sound [dB].
    worn_lines : tuple of (first, last, level_db)
        Worn regions, from line to line of the frame [dB].
    serial : int
        Tells tapes of one kind apart: places of dropouts depend on it.
    """

    name: str
    title: str
    description: str
    standard: str
    practice: str
    signal: str
    recorded_here: bool
    geometry: GuideGeometry = field(default_factory=GuideGeometry)
    track_level_db: FourHeads = _EVEN
    dropouts: DropoutPattern = field(default_factory=DropoutPattern)
    track_bow_um: float = 0.0
    damaged_edge_db: float = 0.0
    worn_lines: tuple[tuple[int, int, float], ...] = ()
    serial: int = 0


_TAPES = (
    TapeSpec(
        name="alignment-525",
        title=wording("tapes.alder_sound_alignment_tape"),
        description=wording("tapes.recorded_carefully_kept_machine"),
        standard="525/60",
        practice="525 high-band",
        signal="grid",
        recorded_here=False,
    ),
    TapeSpec(
        name="alignment-625",
        title=wording("tapes.alder_sound_alignment_tape_2"),
        description=wording("tapes.workshops_alignment_tape_625"),
        standard="625/50",
        practice="625 high-band",
        signal="grid",
        recorded_here=False,
    ),
    TapeSpec(
        name=WORK_TAPE,
        title=wording("tapes.work_tape_recorded_machine"),
        description=wording("tapes.whatever_programme_you_choose"),
        standard="",
        practice="",
        signal="bars",
        recorded_here=True,
    ),
    TapeSpec(
        name="station-525",
        title=wording("tapes.marlpit_bay_television_evening"),
        description=wording("tapes.everyday_recording_heads_little"),
        standard="525/60",
        practice="525 high-band",
        signal="bars",
        recorded_here=False,
        geometry=GuideGeometry(inward_um=3.0, height_um=-6.0, head_timing_ns=(20.0, -15.0, 10.0, -15.0)),
        track_level_db=(0.0, -0.5, 0.3, -0.2),
        dropouts=DropoutPattern(per_frame=1.5),
        serial=1,
    ),
    TapeSpec(
        name="archive-525",
        title=wording("tapes.county_archive_box_17"),
        description=wording("tapes.old_low_band_colour"),
        standard="525/60",
        practice="525 low-band colour",
        signal="bars",
        recorded_here=False,
        geometry=GuideGeometry(
            inward_um=-12.0, height_um=20.0, head_timing_ns=(60.0, -40.0, 30.0, -50.0), stretch_ppm=150.0
        ),
        track_bow_um=35.0,
        track_level_db=(-1.0, -2.0, -0.5, -3.0),
        dropouts=DropoutPattern(per_frame=14.0, median_s=15e-6),
        damaged_edge_db=-14.0,
        worn_lines=((120, 175, -5.0),),
        serial=2,
    ),
    TapeSpec(
        name="interchange-525",
        title=wording("tapes.interchange_reel_from_tansy"),
        description=wording("tapes.sound_tape_but_recorded"),
        standard="525/60",
        practice="525 high-band",
        signal="grid",
        recorded_here=False,
        geometry=GuideGeometry(inward_um=10.0, head_timing_ns=(0.0, 0.0, 150.0, 0.0)),
        track_level_db=(0.0, -4.0, 0.0, 0.0),
        serial=3,
    ),
    TapeSpec(
        name="station-625",
        title=wording("tapes.marlpit_bay_television_european"),
        description=wording("tapes.everyday_625_50_recording"),
        standard="625/50",
        practice="625 high-band",
        signal="bars",
        recorded_here=False,
        geometry=GuideGeometry(inward_um=-2.0, height_um=4.0, head_timing_ns=(-10.0, 15.0, -10.0, 5.0)),
        track_level_db=(0.2, 0.0, -0.4, 0.1),
        dropouts=DropoutPattern(per_frame=1.5),
        serial=4,
    ),
)
TAPES: Mapping[str, TapeSpec] = MappingProxyType({tape.name: tape for tape in _TAPES})


def get_tape(name: str | TapeSpec) -> TapeSpec:
    """Return the tape called `name` (or the tape itself); UnknownNameError lists those there are."""
    if isinstance(name, TapeSpec):
        return name
    try:
        return TAPES[name]
    except KeyError:
        raise UnknownNameError("tape", name, TAPES) from None


@dataclass(frozen=True)
class RecordSettings:
    """How this machine records: blanking-to-white deviation and blanking carrier [Hz], each head's current [% of best].

    What is None is the practice's own.
    """

    deviation_hz: float | None = None
    carrier_hz: float | None = None
    current_pct: FourHeads = (100.0, 100.0, 100.0, 100.0)


@dataclass(frozen=True)
class RecordedFrame:
    """One frame on tape, played as a loop.

    Attributes
    ----------
    envelope : ndarray of complex64, (samples_per_frame,)
        Recorded RF, 1 = a sound track (see `sim.fm`). Pass k lies under samples of track k.
    geometry : GuideGeometry
        Errors under which it was recorded.
    track_bow_m : float
        How far the middle of a track stands from the line through its ends [m].
    """

    envelope: NDArray[np.complex64]
    geometry: GuideGeometry
    track_bow_m: float = 0.0


def record_frame(
    video: NDArray[np.floating],
    tape: TapeSpec,
    standard: Standard,
    practice: Practice,
    settings: RecordSettings | None = None,
) -> RecordedFrame:
    """Record one frame of video.

    Parameters
    ----------
    video : ndarray, (lines, samples)
        Composite video in level units.
    tape : TapeSpec
        Which tape, under which errors it was recorded, and what has happened to it since.
    standard, practice : Standard, Practice
        Must be the tape's own.
    settings : RecordSettings, optional
        Record controls; the practice's own when omitted.

    Raises
    ------
    BandbenchError
        If the frame has the wrong shape, a sample is not finite, or the tape is of another standard.
    """
    expected = (standard.lines_per_frame, standard.samples_per_line)
    if video.shape != expected:
        raise BandbenchError(f"programme frame: shape {video.shape} given, {expected} (lines, samples) needed")
    if not np.isfinite(video).all():
        raise BandbenchError("programme frame: it holds samples that are not finite numbers")
    if tape.standard not in ("", standard.name):
        raise BandbenchError(
            f"tape '{tape.name}' is a {tape.standard} tape; the machine is set to {standard.name}. "
            f"Choose a {standard.name} tape or change the standard"
        )
    settings = settings or RecordSettings()
    envelope = modulated(video, standard, practice, settings.deviation_hz, settings.carrier_hz)
    envelope = _by_current(envelope, settings.current_pct, standard)
    level = _tape_level(tape, standard)
    if level is not None:
        envelope = envelope * level
    return RecordedFrame(envelope, tape.geometry, tape.track_bow_um * 1e-6)


def _by_current(envelope: NDArray[np.complex64], current_pct: FourHeads, standard: Standard) -> NDArray[np.complex64]:
    """Give each head's tracks the level and the response that its record current leaves."""
    if all(current == 100.0 for current in current_pct):
        return envelope
    schedule = pass_schedule(standard)
    result = np.empty_like(envelope)
    head_of_sample = schedule.pass_of_sample % 4
    for head, current in enumerate(current_pct):
        gain = _gain_of_current(current, standard)
        if gain.min() == gain.max():
            # Up to the best current all waves lose alike.
            written = envelope * gain[0]
        else:
            written = np.fft.ifft(spectrum_of(envelope) * gain, norm="ortho").astype(np.complex64)
        np.copyto(result, written, where=head_of_sample == head)
    return result


# One current is turned at a time: those of the other heads are kept.
@lru_cache(maxsize=4)
def _gain_of_current(current_pct: float, standard: Standard) -> NDArray[np.float32]:
    """Return what a record current leaves of each bin of an envelope's FFT."""
    wave = wavelength_m(envelope_frequency_hz(standard), FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz))
    gain = (10.0 ** (record_current_db(current_pct, wave) / 20.0)).astype(np.float32)
    gain.setflags(write=False)
    return gain


def _tape_level(tape: TapeSpec, standard: Standard) -> NDArray[np.float32] | None:
    """Return the RF level that the tape's own state leaves at each sample, or None if it is sound throughout."""
    schedule = pass_schedule(standard)
    level = np.ones(standard.samples_per_frame, dtype=np.float32)
    if any(tape.track_level_db):
        tracks = np.tile(10.0 ** (np.asarray(tape.track_level_db) / 20.0), schedule.passes // 4)
        level *= schedule.per_sample(tracks)
    if tape.dropouts.per_frame:
        level *= dropout_level(tape.dropouts, standard, tape.serial)
    if tape.damaged_edge_db:
        # The heads leave the tape at the end of their pass.
        into = np.clip((0.5 * schedule.along - (0.5 - _EDGE_SHARE)) / _EDGE_SHARE, 0.0, 1.0)
        level *= (10.0 ** (tape.damaged_edge_db * into / 20.0)).astype(np.float32)
    for first, last, worn_db in tape.worn_lines:
        worn = slice((first - 1) * standard.samples_per_line, last * standard.samples_per_line)
        level[worn] *= np.float32(10.0 ** (worn_db / 20.0))
    return None if (level == 1.0).all() else level
