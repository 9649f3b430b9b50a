"""Re-reading video at displaced moments, held to the wave itself: a sine read elsewhere is known exactly."""

from __future__ import annotations

import numpy as np
import pytest

from sim.demodulator import time_base
from sim.headwheel import GuideGeometry, pass_schedule
from sim.standards import get_standard
from sim.timebase import spline_compensation
from sim.tracking import match_tracks


@pytest.mark.parametrize("name", ["525/60", "625/50"])
@pytest.mark.parametrize("share", [0.02, 0.1, 0.25])
def test_a_sine_is_read_where_the_guide_puts_it(name: str, share: float) -> None:
    standard = get_standard(name)
    schedule = pass_schedule(standard)
    machine = GuideGeometry(inward_um=100.0, height_um=50.0, head_timing_ns=(10.0, -200.0, 50.0, 0.0))
    base = time_base(machine, GuideGeometry(), match_tracks(0.0), schedule, standard)
    assert base.displacement is not None
    sample = np.arange(standard.samples_per_frame)
    # Whole cycles a frame: it is played as a loop. A quarter of the sample rate is the subcarrier.
    turns = round(share * sample.size) / sample.size
    wave = np.cos(2.0 * np.pi * turns * sample) * spline_compensation(np.array(turns))
    moved = base.displacement(wave.astype(np.float32))
    # DERIVED: the same cosine at each sample's own moment.
    exact = np.cos(2.0 * np.pi * turns * (sample + base.error_s.astype(float) * standard.sample_rate_hz))
    # MODEL: 0.3 % of a quintic spline's images at subcarrier, and straight weights over runs of some ten samples.
    assert np.abs(moved - exact).max() < (4e-3 if share == 0.25 else 2e-4)
