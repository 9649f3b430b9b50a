"""What a technician can see and measure, as arrays and numbers with units, and as sentences.

Contents: `picture`, `colour_picture`, `band_edges` and `head_of_row` (picture monitor); `TEST_POINTS`, `waveform`,
`line_trace` (waveform monitor); `rf_levels_db`, `tracking_level_pct` (meters); `MEASUREMENTS`, `measure` (readings that
lessons check); `describe_picture`, `describe_waveform`, `describe_rf`, `describe_tracking`, `describe_measurement` (in
words). The vectorscope is in `sim.instruments.vectorscope`.

Every reading is taken from the signals of a `PlaybackFrame`, never from a hidden variable of the machine.
"""

from sim.instruments.describe import (
    describe_measurement,
    describe_picture,
    describe_rf,
    describe_tracking,
    describe_waveform,
)
from sim.instruments.measurements import (
    MEASUREMENTS,
    MeasurementError,
    MeasurementSpec,
    measure,
    rf_levels_db,
    tracking_level_pct,
)
from sim.instruments.picture import band_edges, colour_picture, head_of_row, picture
from sim.instruments.waveform import (
    RATES,
    TEST_POINTS,
    LineTrace,
    TestPoint,
    WaveformRaster,
    line_trace,
    waveform,
)

__all__ = [
    "MEASUREMENTS",
    "RATES",
    "TEST_POINTS",
    "LineTrace",
    "MeasurementError",
    "MeasurementSpec",
    "TestPoint",
    "WaveformRaster",
    "band_edges",
    "colour_picture",
    "describe_measurement",
    "describe_picture",
    "describe_rf",
    "describe_tracking",
    "describe_waveform",
    "head_of_row",
    "line_trace",
    "measure",
    "picture",
    "rf_levels_db",
    "tracking_level_pct",
    "waveform",
]
