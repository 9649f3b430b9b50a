"""Guide and wheel in section, and the wheel's heads: the drawn geometry against the time-base error of the machine."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.bench.faults import with_fault
from sim.condition import Condition
from sim.drawings import GuideDrawing, guide_drawing, switch_drawing, wheel_drawing
from sim.headtape import GOOD_HEAD, HeadTip
from sim.headwheel import GuideGeometry, time_base_error
from sim.instruments import measure
from sim.recorder import Recorder
from sim.standards import FOOTPRINT, get_standard
from tests.outside_checks import OutsideCheck

STANDARD = get_standard("525/60")
HEADS = [GOOD_HEAD] * 4


def met_early_us(drawing: GuideDrawing, tip_speed: float) -> np.ndarray:
    """Return, exactly from the drawn circles, how early the tip meets the tape pinned on the radius through the guide's
    centre, less the mean over the pass."""
    angle = np.radians(drawing.angles_deg)
    x = drawing.tip_radius_m * np.cos(angle) - drawing.centre_um[0] * 1e-6
    y = drawing.tip_radius_m * np.sin(angle) - drawing.centre_um[1] * 1e-6
    early = (np.arctan2(y, x) - angle) * drawing.tip_radius_m / tip_speed * 1e6
    middle = drawing.centre_um[1] * 1e-6 * math.sin(math.pi / 4) / (math.pi / 4) / tip_speed * 1e6
    return np.asarray(early + middle)


@given(inward=st.floats(-150.0, 150.0), height=st.floats(-300.0, 300.0))
@settings(max_examples=40, deadline=None)
def test_the_drawn_circles_give_the_machine_s_time_base_error_to_first_order(inward: float, height: float) -> None:
    """A convention to know: `sim.headwheel` counts the lean of a guide moved in with the sign opposite to that of tape
    pinned on the drawn guide; the bow has the same sign."""
    drawing = guide_drawing(STANDARD, GuideGeometry(inward_um=inward, height_um=height), HEADS)
    tip_speed = FOOTPRINT.tip_speed_m_per_s(STANDARD.wheel_rate_hz)
    exact = met_early_us(drawing, tip_speed)
    angle = np.radians(drawing.angles_deg)
    lean, rest = 0.5 * (exact - exact[::-1]), 0.5 * (exact + exact[::-1])
    shown = np.array(drawing.early_us)
    # Second order is displacement squared over the radius: 0.3 mm has 3.5 um, 0.09 us.
    second = (inward**2 + height**2) * 1e-12 / drawing.tip_radius_m / tip_speed * 1e6 + 1e-9
    np.testing.assert_allclose(-lean, 0.5 * (shown - shown[::-1]), atol=2.0 * second)
    np.testing.assert_allclose(rest, 0.5 * (shown + shown[::-1]), atol=2.0 * second)
    # And the curve is the machine's own, at the same angles of a pass in the middle of the frame.
    error = time_base_error(GuideGeometry(inward_um=inward, height_um=height), np.zeros(32, int), STANDARD) * 1e6
    samples = STANDARD.samples_per_frame / STANDARD.passes_per_frame
    place = (10.5 + 0.5 * angle / (math.pi / 4)) * samples
    inner = slice(1, -1)
    np.testing.assert_allclose(np.interp(place, np.arange(error.size), error)[inner], shown[inner], atol=2e-3)


@pytest.mark.parametrize("inward_um", [25.4, -12.7])
def test_the_drawn_lean_is_the_measured_skew(inward_um: float, outside_check: OutsideCheck) -> None:
    recorder = Recorder(signal="grid", tape="alignment-525", controls={"guide_position_um": inward_um})
    drawing = guide_drawing(STANDARD, recorder.machine_geometry, HEADS)
    exact = met_early_us(drawing, FOOTPRINT.tip_speed_m_per_s(STANDARD.wheel_rate_hz))
    from_circles = -(exact[-1] - exact[0])
    measured = measure(recorder.play_frame(0), "skew_us")
    source = "DERIVED: exact angles from the drawn, displaced circles"
    outside_check(f"skew against the drawn guide, {inward_um:+.1f} um", source, from_circles, measured, 0.03, "us")
    assert drawing.lean_us == pytest.approx(from_circles, abs=0.002)


def test_the_drawn_bow_is_the_measured_scallop() -> None:
    recorder = Recorder(signal="grid", tape="alignment-525", controls={"guide_height_um": 100.0})
    drawing = guide_drawing(STANDARD, recorder.machine_geometry, HEADS)
    measured = measure(recorder.play_frame(0), "scallop_us")
    assert abs(drawing.bow_us) == pytest.approx(abs(measured), abs=0.03)
    # DERIVED: 0.188 us per mil.
    assert drawing.bow_us == pytest.approx(0.188 * 100.0 / 25.4, rel=0.01)


def test_tips_press_as_deep_as_the_drawn_circles_overlap() -> None:
    """In the plane of the drawing, penetration is the tip's radius less the tape's distance from the axis."""
    geometry = GuideGeometry(inward_um=40.0)
    tips = [GOOD_HEAD, HeadTip(projection_um=40.0), GOOD_HEAD, HeadTip(debris_um=1.5)]
    drawing = guide_drawing(STANDARD, geometry, tips)
    angle = np.radians(drawing.angles_deg)
    centre = drawing.centre_um[0] * 1e-6
    # Distance of the guide's circle from the wheel's axis in each direction.
    reach = centre * np.cos(angle) + np.sqrt(drawing.tape_radius_m**2 - (centre * np.sin(angle)) ** 2)
    for tip, depth in zip(tips, drawing.penetrations_um, strict=True):
        radius = drawing.tip_radius_m - (GOOD_HEAD.projection_um - tip.projection_um) * 1e-6
        np.testing.assert_allclose((radius - reach) * 1e6, depth, atol=0.05)
    assert min(drawing.spacings_um[3]) == 1.5
    assert "lifted from head 4, by up to 1.50 um" in drawing.sentence


def test_the_sentence_of_the_guide() -> None:
    assert "concentric" in guide_drawing(STANDARD, GuideGeometry(), HEADS).sentence
    knocked = guide_drawing(STANDARD, GuideGeometry(inward_um=25.4, height_um=-50.0), HEADS).sentence
    assert "25.4 um too far in towards the wheel: bands lean by 0.91 us" in knocked
    assert "against the sweep" in knocked


# The wheel --------------------------------------------------------------------------------------------------


def test_heads_stand_where_their_timing_says(outside_check: OutsideCheck) -> None:
    recorder = Recorder(
        condition=with_fault(Condition(), "displaced_head_3", 0.5), controls={"head_timing_ns_2": -58.0}
    )
    drawing = wheel_drawing(STANDARD, recorder.machine_geometry)
    assert [head.angle_deg for head in drawing.heads] == [0.0, 90.0, 180.0, 270.0]
    assert [head.early_ns for head in drawing.heads] == [0.0, -58.0, 200.0, 0.0]
    source = "DERIVED: 1 arc minute = 1 / (240 x 21600) s = 0.193 us"
    outside_check("drawn error of head 3 for 200 ns", source, 200.0 / 193.0, drawing.heads[2].error_arcmin, 3e-3, "'")
    assert "head 2 0.30 arc minutes (58 ns) late, head 3 1.04 arc minutes (200 ns) early" in drawing.sentence
    # Drawn errors stay apart from the neighbouring head at the ends of the control's range.
    assert 2.6 / 60.0 * drawing.exaggeration < 45.0


@pytest.mark.parametrize("phase", [0.0, 90.0, 180.0, -90.0])
def test_heads_play_the_tracks_the_machine_plays(phase: float) -> None:
    recorder = Recorder(signal="flat", controls={"tracking_phase_deg": phase})
    frame = recorder.play_frame(0)
    drawing = wheel_drawing(frame.standard, recorder.machine_geometry, round(phase / 90.0) % 4)
    passes = frame.schedule.pass_of_line()
    for line in (100, 117, 134, 151):
        head = drawing.heads[int(frame.head_of_line[line]) - 1]
        # Track k is recorded by head k mod 4.
        assert head.follows == int(passes[line]) % 4 + 1


@pytest.mark.parametrize("name", ["525/60", "625/50"])
@pytest.mark.parametrize(
    ("timing_us", "place"),
    [(0.0, "front porch"), (3.0, "sync"), (7.0, "back porch"), (-9.0, "picture"), (14.0, "picture")],
)
def test_the_changeover_lies_where_the_switcher_turns_over(name: str, timing_us: float, place: str) -> None:
    standard = get_standard(name)
    drawing = switch_drawing(standard, timing_us)
    assert drawing.place == place
    assert place in drawing.sentence
    recorder = Recorder(
        standard=name, practice=f"{name[:3]} high-band", signal="flat", controls={"switch_timing_us": timing_us}
    )
    first = int(recorder.play_frame(0).schedule.switch_sample[0])
    assert first / standard.sample_rate_hz == pytest.approx(drawing.switch_s, abs=0.51 / standard.sample_rate_hz)
    # DERIVED: 101 - 90 degrees of a turn.
    assert drawing.overlap_s == pytest.approx(11.0 / 360.0 / standard.wheel_rate_hz)
    edges = [(begin, end) for _, begin, end in drawing.parts_s]
    assert all(end == begin for (_, end), (begin, _) in pairwise(edges))
    # PUB ITU-R BT.470: line blanking 10.9 and 12.0 us.
    assert (edges[3][1] - edges[1][0]) * 1e6 == pytest.approx(10.9 if name == "525/60" else 12.0, abs=0.3)
