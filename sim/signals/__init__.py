"""Composite test signals and a person's own pictures as sample arrays.

Contents: `SIGNALS`, `SignalSpec` and `make_signal` (test signals), `signal_from_picture` and `PictureError`
(any grey picture), `blanking_template`, `active_gate`, `sync_pulses`, `burst`, `subcarrier` (what is round a
picture), `visible_rows` and `visible_columns` (where the picture is in the frame).
"""

from sim.signals.patterns import SIGNALS, SignalSpec, make_signal
from sim.signals.picture import PictureError, signal_from_picture
from sim.signals.timing import (
    active_gate,
    blanking_template,
    burst,
    subcarrier,
    sync_pulses,
    visible_columns,
    visible_rows,
)

__all__ = [
    "SIGNALS",
    "PictureError",
    "SignalSpec",
    "active_gate",
    "blanking_template",
    "burst",
    "make_signal",
    "signal_from_picture",
    "subcarrier",
    "sync_pulses",
    "visible_columns",
    "visible_rows",
]
