"""The wheel with its four heads and their errors, and the changeover from head to head.

Contents: `WheelHead`, `WheelDrawing`, `wheel_drawing`; `SwitchDrawing`, `switch_drawing`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.headwheel import SWITCH_LEAD_S, GuideGeometry
from sim.standards import FOOTPRINT, Footprint, Standard
from sim.wording import wording

__all__ = ["SwitchDrawing", "WheelDrawing", "WheelHead", "switch_drawing", "wheel_drawing"]

# Errors of the heads' angles are drawn this many times as large as they are (MODEL: 100 ns is half an arc minute and
# becomes 4.3 degrees).
_ANGLE = 500.0


@dataclass(frozen=True)
class WheelHead:
    """One head on the wheel.

    Attributes
    ----------
    head : int
        1 to 4.
    angle_deg : float
        Where it should stand, against the rotation from head 1 [deg]: head 2 follows a quarter turn later.
    error_arcmin : float
        How far it stands ahead of that, in the sense of rotation [arc minutes].
    early_ns : float
        The same as time [ns].
    follows : int
        The recorded head, 1 to 4, whose tracks it plays.
    is_on : bool
        Whether its channel is on.
    level_db : float or None
        RF level of its channel [dB]; None without one.
    """

    head: int
    angle_deg: float
    error_arcmin: float
    early_ns: float
    follows: int
    is_on: bool
    level_db: float | None


@dataclass(frozen=True)
class WheelDrawing:
    """What the wheel drawing shows.

    Attributes
    ----------
    heads : four WheelHead
        The heads.
    arc_deg : float
        Part of a turn for which a head is on the tape [deg].
    turn_s : float
        Time of one turn [s].
    arcmin_s : float
        Time that the wheel takes for one arc minute [s].
    exaggeration : float
        By how much more errors of angle are drawn than they are.
    sentence : str
        What the drawing shows.
    """

    heads: tuple[WheelHead, ...]
    arc_deg: float
    turn_s: float
    arcmin_s: float
    exaggeration: float
    sentence: str


def wheel_drawing(
    standard: Standard,
    geometry: GuideGeometry,
    head_shift: int = 0,
    levels_db: Sequence[float | None] = (None, None, None, None),
    channels_on: Sequence[bool] = (True, True, True, True),
    footprint: Footprint = FOOTPRINT,
) -> WheelDrawing:
    """Return what the wheel drawing shows.

    Parameters
    ----------
    standard : Standard
        Fixes the wheel's speed.
    geometry : GuideGeometry
        How early each head is (`Recorder.machine_geometry`).
    head_shift : int
        0 to 3: head 1 plays the tracks of recorded head 1, 2, 3 or 4 (`sim.tracking.TrackMatch`).
    levels_db : four of float or None
        RF level of each channel, as the instruments read it [dB].
    channels_on : four bools
        Whether each channel is on.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> drawing = wheel_drawing(get_standard("525/60"), GuideGeometry(head_timing_ns=(0.0, 193.1, 0.0, 0.0)))
    >>> round(drawing.heads[1].error_arcmin, 2)
    1.0
    """
    arcmin_s = 1.0 / (360.0 * 60.0 * standard.wheel_rate_hz)
    heads = tuple(
        WheelHead(
            head=head + 1,
            angle_deg=90.0 * head,
            error_arcmin=geometry.head_timing_ns[head] * 1e-9 / arcmin_s,
            early_ns=geometry.head_timing_ns[head],
            follows=(head + head_shift) % 4 + 1,
            is_on=channels_on[head],
            level_db=levels_db[head],
        )
        for head in range(4)
    )
    return WheelDrawing(
        heads=heads,
        arc_deg=footprint.head_arc_deg,
        turn_s=1.0 / standard.wheel_rate_hz,
        arcmin_s=arcmin_s,
        exaggeration=_ANGLE,
        sentence=_wheel_sentence(heads),
    )


def _wheel_sentence(heads: Sequence[WheelHead]) -> str:
    wrong = [head for head in heads if abs(head.early_ns) >= 0.5]
    if wrong:
        each = ", ".join(
            wording(
                "drawings.wheel.head_early" if head.early_ns > 0 else "drawings.wheel.head_late",
                head=head.head,
                arcmin=f"{abs(head.error_arcmin):.2f}",
                ns=f"{abs(head.early_ns):.0f}",
            )
            for head in wrong
        )
        said = wording("drawings.wheel.against_right_angles", each=each)
    else:
        said = wording("drawings.wheel.four_heads_stand_right")
    off = [str(head.head) for head in heads if not head.is_on]
    if off:
        said += " " + wording(
            "drawings.wheel.channels_off" if len(off) > 1 else "drawings.wheel.channel_off", heads=", ".join(off)
        )
    if heads[0].follows != 1:
        said += " " + wording("drawings.wheel.follows", head=heads[0].follows)
    return said


@dataclass(frozen=True)
class SwitchDrawing:
    """What the drawing of the changeover shows. Times are from 0H, the leading edge of line sync [s].

    Attributes
    ----------
    parts_s : tuple of (name, begin, end)
        What the line holds about its blanking, in order: "picture", "front porch", "sync", "back porch", "picture".
    burst_s : (begin, end)
        The burst in the back porch.
    switch_s : float
        When the switcher turns over.
    place : str
        Name of the part it turns over in.
    overlap_s : float
        How long two heads are on the tape at once.
    sentence : str
        What the drawing shows.
    """

    parts_s: tuple[tuple[str, float, float], ...]
    burst_s: tuple[float, float]
    switch_s: float
    place: str
    overlap_s: float
    sentence: str


def switch_drawing(standard: Standard, switch_timing_us: float, footprint: Footprint = FOOTPRINT) -> SwitchDrawing:
    """Return what the drawing of the changeover shows.

    Parameters
    ----------
    standard : Standard
        Fixes the line.
    switch_timing_us : float
        How much later than the middle of the front porch the switcher turns over [us].

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> switch_drawing(get_standard("525/60"), 3.0).place
    'sync'
    """
    blanked_s = -standard.front_porch_s
    picture_s = blanked_s + standard.line_blanking_s
    shown_s = 0.22 * standard.line_period_s
    parts = (
        ("picture", -shown_s, blanked_s),
        ("front porch", blanked_s, 0.0),
        ("sync", 0.0, standard.line_sync_s),
        ("back porch", standard.line_sync_s, picture_s),
        ("picture", picture_s, shown_s + picture_s),
    )
    switch_s = switch_timing_us * 1e-6 - SWITCH_LEAD_S
    place = next((name for name, begin, end in parts if begin <= switch_s < end), "picture")
    overlap_s = (footprint.head_arc_deg - 90.0) / 360.0 / standard.wheel_rate_hz
    burst_end_s = standard.burst_start_s + standard.burst_cycles / standard.subcarrier_hz
    where = wording(f"drawings.wheel.in_{place.replace(' ', '_')}")
    return SwitchDrawing(
        parts_s=parts,
        burst_s=(standard.burst_start_s, burst_end_s),
        switch_s=switch_s,
        place=place,
        overlap_s=overlap_s,
        sentence=wording(
            "drawings.wheel.switch_after" if switch_s >= 0 else "drawings.wheel.switch_before",
            overlap_us=f"{overlap_s * 1e6:.0f}",
            switch_us=f"{abs(switch_s) * 1e6:.2f}",
            where=where,
        ),
    )
