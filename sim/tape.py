"""Tapes: what is recorded, by whom and how well, as data; and the recorded RF of one frame.

Contents: `TapeSpec`, `TAPES`, `get_tape`, `RecordedFrame`, `record_frame`. Every tape here is invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import BandbenchError, UnknownNameError
from sim.fm import modulate
from sim.headwheel import GuideGeometry
from sim.standards import Practice, Standard

__all__ = ["TAPES", "RecordedFrame", "TapeSpec", "get_tape", "record_frame"]


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
    """

    name: str
    title: str
    description: str
    standard: str
    practice: str
    signal: str
    recorded_here: bool
    geometry: GuideGeometry = field(default_factory=GuideGeometry)


_TAPES = (
    TapeSpec(
        name="alignment-525",
        title="Alder Sound alignment tape 525-1",
        description="Recorded on a carefully kept machine at the Alder Sound workshop. Played first in every "
        "line-up and never recorded on.",
        standard="525/60",
        practice="525 high-band",
        signal="grid",
        recorded_here=False,
    ),
    TapeSpec(
        name="alignment-625",
        title="Alder Sound alignment tape 625-1",
        description="The workshop's alignment tape for 625/50. Played first in every line-up and never recorded on.",
        standard="625/50",
        practice="625 high-band",
        signal="grid",
        recorded_here=False,
    ),
    TapeSpec(
        name="programme",
        title="Work tape, recorded on this machine",
        description="Whatever programme you choose, recorded with this machine's FM level and played at once.",
        standard="",
        practice="",
        signal="bars",
        recorded_here=True,
    ),
)
TAPES: Mapping[str, TapeSpec] = MappingProxyType({tape.name: tape for tape in _TAPES})


def get_tape(name: str) -> TapeSpec:
    """Return the tape called `name`; UnknownNameError lists those there are."""
    try:
        return TAPES[name]
    except KeyError:
        raise UnknownNameError("tape", name, TAPES) from None


@dataclass(frozen=True)
class RecordedFrame:
    """One frame on tape, played as a loop.

    Attributes
    ----------
    envelope : ndarray of complex64, (samples_per_frame,)
        Recorded RF at unit amplitude (see `sim.fm`). Pass k lies under samples of track k.
    geometry : GuideGeometry
        Errors under which it was recorded.
    """

    envelope: NDArray[np.complex64]
    geometry: GuideGeometry


def record_frame(
    video: NDArray[np.floating],
    tape: TapeSpec,
    standard: Standard,
    practice: Practice,
    deviation_khz: float | None = None,
) -> RecordedFrame:
    """Record one frame of video.

    Parameters
    ----------
    video : ndarray, (lines, samples)
        Composite video in level units.
    tape : TapeSpec
        Which tape, and under which errors it was recorded.
    standard, practice : Standard, Practice
        Must be the tape's own.
    deviation_khz : float, optional
        Blanking-to-white deviation [kHz]; the practice's own when omitted.

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
    deviation_hz = None if deviation_khz is None else deviation_khz * 1e3
    return RecordedFrame(modulate(video, standard, practice, deviation_hz), tape.geometry)
