"""Where an instrument can be connected, along the whole path, and the signal that is found there.

Contents: `TestPoint`, `TEST_POINTS`, `VIDEO_POINTS`, `RF_POINTS`, `find_point`; `video_at`, `rf_at`, `values_at`,
`range_at`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import UnknownNameError
from sim.fm import discriminate
from sim.frame import PlaybackFrame
from sim.output import sync_edges_s
from sim.servos import SERVO_WAVEFORMS, TRACES
from sim.standards import Standard

__all__ = [
    "RF_POINTS",
    "TEST_POINTS",
    "VIDEO_POINTS",
    "TestPoint",
    "find_point",
    "range_at",
    "rf_at",
    "values_at",
    "video_at",
]


@dataclass(frozen=True)
class TestPoint:
    """A place where an instrument can be connected.

    Attributes
    ----------
    name : str
        Key of `TEST_POINTS`.
    label, description : str
        For a person.
    stage : str
        Stage of the signal path that it belongs to; empty for one beside the picture's path.
    kind : str
        What is found there: "video" (level unit), "rf" (share of the nominal level), "carrier" (video that is told
        by the carrier frequency that stands for it, in MHz), "control" (the control track) or "servo" (an error of
        the servos over seconds, which no one frame holds; see `sim.instruments.servotrace`).
    head : int
        Head whose channel it is, 1 to 4; 0 if it belongs to no one head.
    inner : bool
        Whether it lies on a card, and can be reached only with that stage's card on the extender.
    trace : str
        For a servo: which of `sim.servos.TRACES` or `sim.servos.SERVO_WAVEFORMS` it is.
    """

    __test__ = False  # not a test case, whatever pytest thinks of the name

    name: str
    label: str
    stage: str
    kind: str
    head: int
    description: str
    inner: bool = False
    trace: str = ""

    @property
    def is_rf(self) -> bool:
        """Whether it carries RF."""
        return self.kind == "rf"


_POINTS = (
    TestPoint("input", "Input video", "input", "video", 0, "The video that is sent to the machine."),
    TestPoint(
        "pre_emphasised",
        "Video after pre-emphasis",
        "modulator",
        "carrier",
        0,
        "What drives the modulator, told by the carrier it makes: edges overshoot, as fine detail is raised.",
        inner=True,
    ),
    TestPoint("modulator_rf", "RF, modulator output", "modulator", "rf", 0, "The frequency-modulated carrier."),
    TestPoint(
        "electronics",
        "Video, electronics to electronics",
        "",
        "video",
        0,
        "The input through modulator and demodulator, without heads and tape.",
    ),
    *(
        TestPoint(
            f"rf_head_{head}",
            f"RF of head {head}",
            "channels",
            "rf",
            head,
            f"Channel {head} before the switcher: one burst of RF for each turn of the wheel.",
        )
        for head in range(1, 5)
    ),
    TestPoint(
        "rf_heads",
        "RF of the four heads over each other",
        "channels",
        "rf",
        0,
        "The four channels before the switcher, one over the other; best at pass rate or wheel rate.",
    ),
    TestPoint(
        "rf_switched", "RF, switcher output", "switcher", "rf", 0, "The four channels joined into one RF signal."
    ),
    TestPoint(
        "limiter",
        "RF, limiter output",
        "demodulator",
        "rf",
        0,
        "The RF with its level held: what remains is when it passes through zero.",
        inner=True,
    ),
    TestPoint(
        "discriminator",
        "Discriminator output",
        "demodulator",
        "carrier",
        0,
        "The carrier's frequency as found, before de-emphasis and low-pass: noise is loud here, edges overshoot.",
        inner=True,
    ),
    TestPoint(
        "demodulated", "Demodulated video", "demodulator", "video", 0, "Video with the sync that came off the tape."
    ),
    TestPoint(
        "corrected",
        "Corrected video",
        "processing",
        "video",
        0,
        "Video behind dropout compensation and time-base correction.",
    ),
    TestPoint(
        "clamped",
        "Clamped video",
        "processing",
        "video",
        0,
        "Corrected video with each line's back porch held at blanking, before it gets new sync.",
        inner=True,
    ),
    TestPoint("processed", "Processed video", "processing", "video", 0, "Video with new sync and clean blanking."),
    TestPoint(
        "control_track",
        "Control track",
        "",
        "control",
        0,
        "The off-tape sine that places the tape against the wheel; a pulse marks each frame. Best at field rate.",
    ),
    *(
        TestPoint(f"servo_{trace.name}", trace.label, "", "servo", 0, trace.description, trace=trace.name)
        for trace in TRACES.values()
    ),
    *(
        TestPoint(f"servo_wave_{wave.name}", wave.label, "", "servo", 0, wave.description, trace=wave.name)
        for wave in SERVO_WAVEFORMS.values()
    ),
)
TEST_POINTS: Mapping[str, TestPoint] = MappingProxyType({point.name: point for point in _POINTS})

VIDEO_POINTS = ("input", "electronics", "demodulated", "corrected", "processed")
"""Where a picture monitor or a vectorscope can be connected, in the order of the path."""

RF_POINTS = tuple(point.name for point in _POINTS if point.is_rf and point.name not in ("rf_heads", "limiter"))
"""Where a spectrum analyser can be connected."""

# Vertical range of a screen (MODEL): video in shares of white (a third of it below sync tip is spare), RF and control
# track in shares of the nominal level, carriers in MHz: from below the lowest to above the overshoots of the highest.
_VIDEO_RANGE = (-0.6, 1.4)
_SHARE_RANGE = (-1.6, 1.6)
_CARRIER_RANGE_MHZ = (2.0, 14.0)


def find_point(name: str) -> TestPoint:
    """Return a test point; UnknownNameError if there is none of that name."""
    if name not in TEST_POINTS:
        raise UnknownNameError("test point", name, TEST_POINTS)
    return TEST_POINTS[name]


def _clamped(frame: PlaybackFrame) -> NDArray[np.float32]:
    video = frame.corrected
    edges_s = frame.sync_edges_s if video is frame.demod else sync_edges_s(video, frame.standard)
    return np.asarray(video - frame.circuits.clamp_level(video, edges_s, frame.standard)[:, None])


def video_at(frame: PlaybackFrame, name: str) -> NDArray[np.float32]:
    """Return the video of a test point that carries video.

    Parameters
    ----------
    frame : PlaybackFrame
        What is played.
    name : str
        One of `VIDEO_POINTS`, or "clamped".

    Returns
    -------
    ndarray of float32, (lines, samples)
        Composite video in time order. [level unit] Do not write into it.

    Raises
    ------
    UnknownNameError
        If it carries no video.
    """
    match name:
        case "input":
            return frame.source
        case "electronics":
            return frame.electronics
        case "demodulated":
            return frame.demod
        case "corrected":
            return frame.corrected
        case "clamped":
            return _clamped(frame)
        case "processed":
            return frame.processed
    raise UnknownNameError("test point with video", name, (*VIDEO_POINTS, "clamped"))


def rf_at(frame: PlaybackFrame, name: str) -> NDArray[np.complex64]:
    """Return the RF envelope of a test point that carries RF, (samples_per_frame,), as `PlaybackFrame.rf`.

    Of the four heads over each other it is the strongest at each moment.

    Raises
    ------
    UnknownNameError
        If it carries no RF.
    """
    point = find_point(name)
    if point.head:
        return frame.head_rf(point.head)
    match name:
        case "modulator_rf":
            return frame.record_rf
        case "rf_heads":
            channels = np.stack([frame.head_rf(head) for head in range(1, 5)])
            strongest = np.abs(channels).argmax(axis=0)
            return np.asarray(np.take_along_axis(channels, strongest[None], axis=0)[0])
        case "rf_switched":
            return frame.rf
        case "limiter":
            amplitude = np.abs(frame.rf)
            return np.asarray(frame.rf / np.where(amplitude > 0.0, amplitude, np.float32(1.0)))
    raise UnknownNameError("test point with RF", name, [point.name for point in _POINTS if point.is_rf])


def values_at(frame: PlaybackFrame, name: str) -> NDArray[np.float32]:
    """Return what is found at a test point as one number for each sample.

    Parameters
    ----------
    frame : PlaybackFrame
        What is played.
    name : str
        One of `TEST_POINTS`.

    Returns
    -------
    ndarray of float32, (lines, samples)
        Video in the level unit, carriers in MHz, RF and control track in shares of nominal. RF is the real wave at
        one of its two quadratures: the wave itself passes zero several times a sample, and its in-phase part is as
        good a sample of it as any.

    Raises
    ------
    UnknownNameError
        For an unknown test point, and for one of the servos.
    """
    point = find_point(name)
    if point.kind == "servo":
        raise UnknownNameError(
            "test point of a frame", name, [known.name for known in _POINTS if known.kind != "servo"]
        )
    shape = (frame.standard.lines_per_frame, frame.standard.samples_per_line)
    if point.is_rf:
        return np.ascontiguousarray(rf_at(frame, name).real).reshape(shape)
    if point.kind == "carrier":
        rf = frame.record_rf if name == "pre_emphasised" else frame.rf
        return (discriminate(rf, frame.standard.sample_rate_hz) * np.float32(1e-6)).reshape(shape)
    return frame.control_track if point.kind == "control" else video_at(frame, name)


def range_at(name: str, standard: Standard) -> tuple[tuple[float, float], str]:
    """Return what a screen's bottom and top stand for at a test point, and the unit.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> range_at("processed", get_standard("525/60"))
    ((-60.0, 140.0), 'IRE')
    """
    point = find_point(name)
    kind = point.kind
    if kind == "servo":
        return TRACES[point.trace].range, TRACES[point.trace].unit
    if kind in ("rf", "control"):
        return _SHARE_RANGE, "of nominal"
    if kind == "carrier":
        return _CARRIER_RANGE_MHZ, "MHz"
    low, high = (round(part * standard.white_level, 6) for part in _VIDEO_RANGE)
    return (low, high), standard.level_unit
