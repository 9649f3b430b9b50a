"""Guide and head wheel in section: the wheel's axis, the displaced centre of the guide, and how the tips meet the tape.

Contents: `GuideDrawing`, `guide_drawing`.

Coordinates: x from the wheel's axis along the guide's middle radius, towards the guide; y across the tape in the
direction in which the heads sweep. Millionths of a metre where a displacement is meant, metres for radii.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.headtape import GOOD_HEAD, HeadTip, contact_spacing_um, penetration_um
from sim.headwheel import HALF_PASS_RAD, GuideGeometry, scallop_s, skew_s
from sim.standards import FOOTPRINT, Footprint, Standard
from sim.wording import wording

__all__ = ["GuideDrawing", "guide_drawing"]

# Everything radial - displacement, tips, penetration - is drawn this many times as large as the wheel (MODEL: a guide
# a mil out of place shows, one at the end of its range stays on the drawing).
_RADIAL = 50.0
# Points along a pass at which curves are given.
_POINTS = 19


@dataclass(frozen=True)
class GuideDrawing:
    """What the section shows.

    Attributes
    ----------
    tip_radius_m : float
        Radius of the circle of a new head's tip [m].
    tape_radius_m : float
        Radius, about the guide's centre, of the tape's face on the guide [m].
    half_arc_deg : float
        The guide cups the tape from minus to plus this angle [deg].
    inward_um, height_um : float
        Displacement of the guide towards the wheel, and across the tape [um].
    centre_um : (x, y)
        The guide's centre of curvature from the wheel's axis [um].
    projections_um : four floats
        How far each tip stands out of the wheel [um].
    angles_deg : tuple of float
        Wheel angles from mid-pass at which the curves are given [deg].
    penetrations_um : four tuples of float
        How deep each tip presses into the tape along its pass [um]; negative: it does not reach.
    spacings_um : four tuples of float
        Distance between each tip and the tape along its pass [um].
    early_us : tuple of float
        How early the head reads along its pass [us]: the shape of a band, upright for 0.
    lean_us, bow_us : float
        Lean of the bands end to end, and their bow from middle to ends [us].
    exaggeration : float
        By how much more displacements, tips and penetration are drawn than the wheel.
    sentence : str
        What the drawing shows.
    """

    tip_radius_m: float
    tape_radius_m: float
    half_arc_deg: float
    inward_um: float
    height_um: float
    centre_um: tuple[float, float]
    projections_um: tuple[float, ...]
    angles_deg: tuple[float, ...]
    penetrations_um: tuple[tuple[float, ...], ...]
    spacings_um: tuple[tuple[float, ...], ...]
    early_us: tuple[float, ...]
    lean_us: float
    bow_us: float
    exaggeration: float
    sentence: str


def guide_drawing(
    standard: Standard, geometry: GuideGeometry, tips: Sequence[HeadTip], footprint: Footprint = FOOTPRINT
) -> GuideDrawing:
    """Return what the section of guide and wheel shows.

    Parameters
    ----------
    standard : Standard
        Fixes the tip speed.
    geometry : GuideGeometry
        Where the guide stands (`Recorder.machine_geometry`).
    tips : four HeadTip
        The heads (`Condition.tip`).

    Notes
    -----
    A guide moved in stands nearer to the wheel: its centre lies at minus `inward_um` on the axis that points to the
    guide. Which way a band leans for that is a convention of `sim.headwheel`, followed here; on a tape that does not
    slip on its guide the drawn circles give the same lean with the other sign, and the same bow.

    Examples
    --------
    >>> from sim.standards import get_standard
    >>> drawing = guide_drawing(get_standard("525/60"), GuideGeometry(inward_um=25.4), [GOOD_HEAD] * 4)
    >>> round(drawing.lean_us, 3), drawing.centre_um
    (0.908, (-25.4, 0.0))
    """
    angle = np.linspace(-HALF_PASS_RAD, HALF_PASS_RAD, _POINTS)
    sine = np.sin(angle)
    tip_speed = footprint.tip_speed_m_per_s(standard.wheel_rate_hz)
    early = geometry.inward_um * sine - geometry.height_um * (np.cos(angle) - math.sin(HALF_PASS_RAD) / HALF_PASS_RAD)
    inward = geometry.inward_um
    press = [penetration_um(tip, inward, sine) for tip in tips]
    lift = [contact_spacing_um(tip, inward, sine) for tip in tips]
    tip_radius = 0.5 * footprint.tip_circle_diameter_m
    new_press_um = float(penetration_um(GOOD_HEAD, 0.0, np.zeros(1))[0])
    lean_us, bow_us = (skew_s(inward, standard) * 1e6, scallop_s(geometry.height_um, standard) * 1e6)
    return GuideDrawing(
        tip_radius_m=tip_radius,
        tape_radius_m=tip_radius - new_press_um * 1e-6,
        half_arc_deg=0.5 * footprint.head_arc_deg,
        inward_um=inward,
        height_um=geometry.height_um,
        # Adding zero turns a minus zero into zero.
        centre_um=(0.0 - inward, geometry.height_um + 0.0),
        projections_um=tuple(tip.projection_um for tip in tips),
        angles_deg=tuple(float(value) for value in np.degrees(angle)),
        penetrations_um=tuple(tuple(float(value) for value in depth) for depth in press),
        spacings_um=tuple(tuple(float(value) for value in gap) for gap in lift),
        early_us=tuple(float(value) for value in early / tip_speed),
        lean_us=lean_us,
        bow_us=bow_us,
        exaggeration=_RADIAL,
        sentence=_sentence(geometry, lean_us, bow_us, [float(gap.max()) for gap in lift]),
    )


def _sentence(geometry: GuideGeometry, lean_us: float, bow_us: float, lifts_um: Sequence[float]) -> str:
    inward, height = geometry.inward_um, geometry.height_um
    said = []
    if abs(inward) >= 0.05:
        key = "drawings.guide.too_far_in" if inward > 0 else "drawings.guide.too_far_out"
        said.append(wording(key, um=f"{abs(inward):.1f}", lean_us=f"{abs(lean_us):.2f}"))
    if abs(height) >= 0.05:
        key = "drawings.guide.with_sweep" if height > 0 else "drawings.guide.against_sweep"
        said.append(wording(key, um=f"{abs(height):.1f}", bow_us=f"{abs(bow_us):.2f}"))
    if not said:
        said.append(wording("drawings.guide.guide_concentric_wheel_bands"))
    lifted = [str(head + 1) for head, lift in enumerate(lifts_um) if lift > 0.0]
    if lifted:
        key = "drawings.guide.lifted_one" if len(lifted) == 1 else "drawings.guide.lifted"
        said.append(wording(key, heads=", ".join(lifted), um=f"{max(lifts_um):.2f}"))
    return " ".join(said)
