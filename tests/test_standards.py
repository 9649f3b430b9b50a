"""The numbers of the two standards and five practices against their sources and against each other."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from sim.errors import UnknownNameError
from sim.fm import emphasis_response
from sim.standards import FOOTPRINT, PRACTICES, STANDARDS, get_practice, get_standard
from tests.outside_checks import OutsideCheck


@pytest.mark.parametrize("name", sorted(PRACTICES))
def test_sync_and_white_lie_on_one_slope(name: str) -> None:
    """Physics.md section 1: sync part per 40 IRE (300 mV) equals white part per 100 IRE (700 mV) within rounding."""
    practice = PRACTICES[name]
    sync, white = (40.0, 100.0) if practice.standard == "525/60" else (300.0, 700.0)
    sync_slope = (practice.blanking_hz - practice.sync_tip_hz) / sync
    white_slope = (practice.white_hz - practice.blanking_hz) / white
    # Carriers are quoted to 10 kHz.
    assert sync_slope == pytest.approx(white_slope, abs=10e3 / sync)


@pytest.mark.parametrize(
    ("name", "boost_db"),
    [
        # 4 dB at 4 MHz, 9.54 dB and the 8 dB class: QUOTED; 8 dB of the high bands: MEMORY (physics.md section 1).
        ("525 low-band monochrome", None),
        ("525 low-band colour", 9.54),
        ("525 high-band", 8.0),
        ("625 low-band", 8.0),
        ("625 high-band", 8.0),
    ],
)
def test_pre_emphasis_of_each_practice(name: str, boost_db: float | None, outside_check: OutsideCheck) -> None:
    if boost_db is None:
        gain = emphasis_response(np.array([4.0e6]), get_practice(name))
        source = "QUOTED: 4 dB at 4 MHz, of a practice that SMPTE RP 6-1994 names"
        outside_check(f"pre-emphasis, {name}", source, 4.0, 20 * np.log10(abs(gain[0])), 0.02, "dB")
    else:
        gain = emphasis_response(np.array([1e10]), get_practice(name))
        mark = "MEMORY" if "high-band" in name else "QUOTED, publication not named"
        source = f"{mark}: {boost_db:g} dB at most"
        outside_check(f"pre-emphasis, {name}", source, boost_db, 20 * np.log10(abs(gain[0])), 0.05, "dB")


def test_line_and_field_rates(outside_check: OutsideCheck) -> None:
    standard = get_standard("525/60")
    source = "PUB ITU-R BT.470"
    outside_check("line rate 525/60", source, 15_734.264, standard.line_rate_hz, 0.01, "Hz")
    outside_check("field rate 525/60", source, 59.94, standard.field_rate_hz, 0.005, "Hz")
    outside_check("subcarrier 525/60", source, 3.579545e6, standard.subcarrier_hz, 0.5, "Hz")
    assert standard.wheel_rate_hz == pytest.approx(239.76, abs=0.005)  # QUOTED, at 59.94 Hz fields
    assert standard.passes_per_frame == 32
    assert standard.lines_per_pass == 16.40625  # DERIVED


def test_footprint(outside_check: OutsideCheck) -> None:
    source = "QUOTED ANSI C98.6-1965: 0.0625 in per four tracks"
    outside_check("track pitch", source, 15.625, FOOTPRINT.track_pitch_m / 25.4e-6, 0.001, "mil")
    # DERIVED from tape speed (PUB SMPTE ST 4 abstract) and 240 rev/s (QUOTED).
    assert FOOTPRINT.tape_speed_m_per_s / (4 * 240) == pytest.approx(FOOTPRINT.track_pitch_m)
    # From memory: 1556-1561 in/s.
    assert 1556 <= FOOTPRINT.tip_speed_m_per_s(240.0) / 0.0254 <= 1561
    angle = np.degrees(np.arctan(FOOTPRINT.tape_speed_m_per_s / FOOTPRINT.tip_speed_m_per_s(240.0)))
    assert angle == pytest.approx(0.552, abs=0.002)  # DERIVED, physics.md section 2


@pytest.mark.parametrize("entry", [*STANDARDS.values(), *PRACTICES.values(), FOOTPRINT], ids=str)
def test_every_number_has_a_mark(entry: object) -> None:
    marks = entry.provenance  # type: ignore[attr-defined]
    known = {item.name for item in fields(entry)}  # type: ignore[arg-type]
    assert set(marks) <= known
    for text in marks.values():
        assert text.split()[0].rstrip(",;") in {"PUB", "QUOTED", "DERIVED", "TRADE", "MEMORY", "MODEL"}, text


def test_unknown_names_say_what_there_is() -> None:
    with pytest.raises(UnknownNameError, match="525/60"):
        get_standard("NTSC")
    with pytest.raises(UnknownNameError, match="525 high-band"):
        get_practice("high")
    assert get_practice("525-low-band-colour") is PRACTICES["525 low-band colour"]
