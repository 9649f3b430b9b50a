"""Composite test signals and the user's pictures as sample arrays.

Contents: `SIGNALS`, `SignalSpec` and `make_signal` (test signals), `blanking_template`,
`active_gate`, `sync_pulses`, `burst`, `subcarrier` (what surrounds the
picture), `visible_rows` and `visible_columns` (where the picture is in the frame).
"""

from sim.signals.patterns import SIGNALS, SignalSpec, make_signal
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
    "SignalSpec",
    "active_gate",
    "blanking_template",
    "burst",
    "make_signal",
    "subcarrier",
    "sync_pulses",
    "visible_columns",
    "visible_rows",
]
