"""Composite test signals and a person's own pictures as sample arrays.

Contents: `SIGNALS`, `SignalSpec` and `make_signal` (test signals), `BarLayout`, `bar_layout` and `bar_interval` (which
bars, and where), `signal_from_picture` and `PictureError` (any picture, grey or colour), `LUMA_WEIGHTS`, `B_Y_WEIGHT`,
`R_Y_WEIGHT` and `encode_rgb` (the encoding equations), `blanking_template`, `active_gate`, `sync_pulses`, `burst`,
`burst_lines`, `subcarrier`, `v_sense` (what is round a picture), `active_interval_s`, `visible_rows` and
`visible_columns` (where the picture is in the frame).
"""

from sim.signals.encoder import B_Y_WEIGHT, LUMA_WEIGHTS, R_Y_WEIGHT, encode_rgb
from sim.signals.patterns import SIGNALS, BarLayout, SignalSpec, bar_interval, bar_layout, make_signal
from sim.signals.picture import PictureError, signal_from_picture
from sim.signals.timing import (
    active_gate,
    active_interval_s,
    blanking_template,
    burst,
    burst_lines,
    subcarrier,
    sync_pulses,
    v_sense,
    visible_columns,
    visible_rows,
)

__all__ = [
    "B_Y_WEIGHT",
    "LUMA_WEIGHTS",
    "R_Y_WEIGHT",
    "SIGNALS",
    "BarLayout",
    "PictureError",
    "SignalSpec",
    "active_gate",
    "active_interval_s",
    "bar_interval",
    "bar_layout",
    "blanking_template",
    "burst",
    "burst_lines",
    "encode_rgb",
    "make_signal",
    "signal_from_picture",
    "subcarrier",
    "sync_pulses",
    "v_sense",
    "visible_columns",
    "visible_rows",
]
