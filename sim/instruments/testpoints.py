"""Where an instrument can be connected, along the whole path, and the signal that is found there.

Contents: `TestPoint`, `TEST_POINTS`, `PLAYED_POINTS`, `VIDEO_POINTS`, `RF_POINTS`, `find_point`; `video_at`, `rf_at`,
`values_at`, `range_at`.
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
from sim.videoframe import VideoFrame
from sim.wording import wording

__all__ = [
    "PLAYED_POINTS",
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
    TestPoint("input", wording("points.input_video"), "input", "video", 0, wording("points.video_sent_machine")),
    TestPoint(
        "pre_emphasised",
        wording("points.video_after_pre_emphasis"),
        "modulator",
        "carrier",
        0,
        wording("points.what_drives_modulator_told"),
        inner=True,
    ),
    TestPoint(
        "modulator_rf",
        wording("points.rf_modulator_output"),
        "modulator",
        "rf",
        0,
        wording("points.frequency_modulated_carrier"),
    ),
    TestPoint(
        "electronics",
        wording("points.video_electronics_electronics"),
        "",
        "video",
        0,
        wording("points.input_through_modulator_demodulator"),
    ),
    *(
        TestPoint(
            f"rf_head_{head}",
            wording("points.rf_head", head=head),
            "channels",
            "rf",
            head,
            wording("points.channel_before_switcher_one", head=head),
        )
        for head in range(1, 5)
    ),
    TestPoint(
        "rf_heads",
        wording("points.rf_four_heads_over"),
        "channels",
        "rf",
        0,
        wording("points.four_channels_before_switcher"),
    ),
    TestPoint(
        "rf_switched",
        wording("points.rf_switcher_output"),
        "switcher",
        "rf",
        0,
        wording("points.four_channels_joined_into"),
    ),
    TestPoint(
        "limiter",
        wording("points.rf_limiter_output"),
        "demodulator",
        "rf",
        0,
        wording("points.rf_level_held_what"),
        inner=True,
    ),
    TestPoint(
        "discriminator",
        wording("points.discriminator_output"),
        "demodulator",
        "carrier",
        0,
        wording("points.carriers_frequency_found_before"),
        inner=True,
    ),
    TestPoint(
        "demodulated",
        wording("points.demodulated_video"),
        "demodulator",
        "video",
        0,
        wording("points.video_sync_came_off"),
    ),
    TestPoint(
        "corrected",
        wording("points.corrected_video"),
        "processing",
        "video",
        0,
        wording("points.video_behind_dropout_compensation"),
    ),
    TestPoint(
        "clamped",
        wording("points.clamped_video"),
        "processing",
        "video",
        0,
        wording("points.corrected_video_each_lines"),
        inner=True,
    ),
    TestPoint(
        "processed", wording("points.processed_video"), "processing", "video", 0, wording("points.video_new_sync_clean")
    ),
    TestPoint(
        "control_track",
        wording("points.control_track"),
        "",
        "control",
        0,
        wording("points.off_tape_sine_places"),
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

PLAYED_POINTS = ("demodulated", "corrected", "processed")
"""Where video is that came off the tape, in the order of the path."""

VIDEO_POINTS = ("input", "electronics", *PLAYED_POINTS)
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


def _clamped(frame: VideoFrame) -> NDArray[np.float32]:
    video = frame.corrected
    edges_s = frame.sync_edges_s if video is frame.demod else sync_edges_s(video, frame.standard)
    return np.asarray(video - frame.circuits.clamp_level(video, edges_s, frame.standard)[:, None])


def video_at(frame: VideoFrame, name: str) -> NDArray[np.float32]:
    """Return the video of a test point that carries video.

    Parameters
    ----------
    frame : VideoFrame
        What is played; only a `PlaybackFrame` also has what comes before the tape.
    name : str
        One of `VIDEO_POINTS`, or "clamped".

    Returns
    -------
    ndarray of float32, (lines, samples)
        Composite video in time order. [level unit] Do not write into it.

    Raises
    ------
    UnknownNameError
        If it carries no video, or none that the frame has.
    """
    if isinstance(frame, PlaybackFrame) and name in ("input", "electronics"):
        return frame.source if name == "input" else frame.electronics
    match name:
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
