"""Every instrument in a sentence: for screen readers, tests and debriefs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.errors import BandbenchError
from sim.frame import PlaybackFrame
from sim.instruments.measurements import MEASUREMENTS, measure, rf_levels_db, tracking_level_pct
from sim.instruments.picture import has_bands, picture
from sim.instruments.testpoints import TEST_POINTS
from sim.instruments.waveform import WaveformRaster
from sim.wording import unit_words, wording

__all__ = [
    "describe_measurement",
    "describe_picture",
    "describe_rf",
    "describe_superposition",
    "describe_tracking",
    "describe_waveform",
]

# Below these a lean, bow or displacement is not called visible (MODEL: about one picture element of 70 ns).
_VISIBLE_US = 0.07
# Brightness from which a path on the waveform monitor is called seen: levels that are held, for video; the faint
# edge of the filled RF (MODEL, over single noise hits).
_LIT_VIDEO = 0.5
_LIT_RF = 0.15
# A head whose RF is this far down shows noise rather than picture (MODEL, near the FM threshold).
_NOISE_BAND_DB = -25.0


def _side(early: float) -> str:
    return "left" if early > 0.0 else "right"


_NO_TAPE = wording("describe.no_tape")


def describe_picture(frame: PlaybackFrame, test_point: str = "processed") -> str:
    """Return what the picture monitor shows: straight, leaning, bowed or noisy bands, and the mean brightness.

    Parameters
    ----------
    frame : PlaybackFrame
        What is shown.
    test_point : str
        One of `VIDEO_POINTS`; before the tape there are no bands to speak of.
    """
    where = "" if test_point == "processed" else f"{TEST_POINTS[test_point].label}, "
    brightness = float(np.mean(picture(frame, test_point))) * 100.0
    what = (
        "; ".join(_bands(frame)) or wording("describe.bands_straight_clean")
        if has_bands(test_point)
        else wording("describe.no_bands_no_tape")
    )
    return wording("describe.picture_monitor_mean_brightness", where=where, what=what, brightness=f"{brightness:.0f}")


def _bands(frame: PlaybackFrame) -> list[str]:
    """Return what is wrong with the bands."""
    if not frame.off_tape:
        return [_NO_TAPE]
    parts = []
    levels = rf_levels_db(frame)
    noisy = [str(head + 1) for head in range(4) if levels[head] < _NOISE_BAND_DB]
    if noisy:
        parts.append(wording("describe.noisy", heads=wording("list.and").join(noisy)))
    try:
        skew, scallop = measure(frame, "skew_us"), measure(frame, "scallop_us")
    except BandbenchError:
        parts.append(wording("describe.no_steady_picture"))
    else:
        if abs(skew) > _VISIBLE_US:
            parts.append(wording(f"describe.lean_{_side(skew)}", us=f"{abs(skew):.2f}"))
        if abs(scallop) > _VISIBLE_US:
            parts.append(wording(f"describe.bow_{_side(scallop)}", us=f"{abs(scallop):.2f}"))
        for head in range(1, 5):
            try:
                position = measure(frame, f"head_position_ns_{head}")
            except BandbenchError:
                continue
            if abs(position) > _VISIBLE_US * 1e3:
                parts.append(wording(f"describe.aside_{_side(position)}", head=head, ns=f"{abs(position):.0f}"))
    return parts


def _span(raster: WaveformRaster) -> str:
    """Return the highest and lowest bright level, without the unit; empty if there is none."""
    lit = np.flatnonzero((raster.image > (_LIT_RF if TEST_POINTS[raster.test_point].is_rf else _LIT_VIDEO)).any(axis=1))
    if not lit.size:
        return ""
    low, high = raster.y_range
    scale = (high - low) / raster.image.shape[0]
    return wording("describe.from", scale=f"{low + lit[0] * scale:.3g}", scale_2=f"{low + (lit[-1] + 1) * scale:.3g}")


def describe_waveform(raster: WaveformRaster) -> str:
    """Return what a waveform raster shows: test point, rate, and the highest and lowest bright level."""
    span = _span(raster)
    what = f"{span} {unit_words(raster.y_unit)}" if span else wording("describe.no_steady_level")
    point = TEST_POINTS[raster.test_point].label
    return wording(f"describe.waveform_{raster.rate}", point=point, what=what)


def describe_superposition(rasters: Sequence[WaveformRaster]) -> str:
    """Return what the four heads' RF over each other shows: how high each reaches."""
    heads = ", ".join(
        wording("describe.head", head=head, level=_span(raster) or wording("describe.no_steady_level"))
        for head, raster in enumerate(rasters, start=1)
    )
    return wording(f"describe.heads_{rasters[0].rate}", heads=heads)


def describe_rf(frame: PlaybackFrame) -> str:
    """Return the RF level meter's reading for the four heads."""
    if not frame.off_tape:
        return wording("describe.rf_level", no_tape=_NO_TAPE)
    levels = rf_levels_db(frame)
    heads = ", ".join(wording("describe.head_db", head=head + 1, levels=f"{levels[head]:+.1f}") for head in range(4))
    return wording("describe.rf_level_against_nominal", heads=heads)


def describe_tracking(frame: PlaybackFrame) -> str:
    """Return the tracking meter's reading."""
    if not frame.off_tape:
        return wording("describe.tracking_meter", no_tape=_NO_TAPE)
    return wording("describe.tracking_meter_full_rf", frame=f"{tracking_level_pct(frame):.0f}")


def describe_measurement(frame: PlaybackFrame, name: str) -> str:
    """Return one reading as a sentence; a reading that cannot be taken says why."""
    try:
        value = measure(frame, name)
    except BandbenchError as error:
        return f"{MEASUREMENTS[name].label if name in MEASUREMENTS else name}: {error}."
    spec = MEASUREMENTS[name]
    return f"{spec.label}: {value:+.3g} {unit_words(spec.unit)}."
