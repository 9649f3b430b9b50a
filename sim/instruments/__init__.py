"""What a technician can see and measure, as arrays and numbers with units, and as sentences.

Contents: `TEST_POINTS` (where instruments can be connected); `picture`, `colour_picture`, `band_edges`, `head_of_row`
(picture monitor); `RATES`, `MAGNIFICATIONS`, `DISPLAYS`, `waveform`, `superposition`, `sweep_table`, `line_trace`
(waveform monitor); `rf_spectrum` (spectrum of the RF); `servo_trace`, `servo_wave_trace`, `is_servo_wave` (the servos
over seconds and over a frame);
`rf_levels_db`, `tracking_level_pct` (meters);
`MEASUREMENTS`, `measure` (readings that lessons check), `DEFAULT_READINGS` (those that are always shown), `GROUPS`,
`LEVEL_UNIT`; `describe_picture`, `describe_waveform`,
`describe_superposition`, `describe_spectrum`, `describe_servo_trace`, `describe_rf`, `describe_tracking`,
`describe_measurement` (in words). The vectorscope is in `sim.instruments.vectorscope`.

Every reading is taken from the signals of a `PlaybackFrame`, never from a hidden variable of the machine.
"""

from sim.instruments.describe import (
    describe_measurement,
    describe_picture,
    describe_rf,
    describe_superposition,
    describe_tracking,
    describe_waveform,
)
from sim.instruments.measurements import (
    DEFAULT_READINGS,
    MEASUREMENTS,
    MeasurementError,
    MeasurementSpec,
    measure,
    rf_levels_db,
    tracking_level_pct,
)
from sim.instruments.picture import band_edges, colour_picture, has_bands, head_of_row, picture
from sim.instruments.servotrace import (
    ServoTrace,
    describe_servo_trace,
    is_servo_wave,
    servo_trace,
    servo_wave_trace,
)
from sim.instruments.specs import GROUPS, LEVEL_UNIT
from sim.instruments.spectrum import Spectrum, carriers_hz, describe_spectrum, rf_spectrum
from sim.instruments.testpoints import RF_POINTS, TEST_POINTS, VIDEO_POINTS, TestPoint
from sim.instruments.waveform import (
    DISPLAYS,
    MAGNIFICATIONS,
    RATES,
    LineTrace,
    SweepTable,
    WaveformRaster,
    line_trace,
    superposition,
    sweep_table,
    waveform,
)

__all__ = [
    "DEFAULT_READINGS",
    "DISPLAYS",
    "GROUPS",
    "LEVEL_UNIT",
    "MAGNIFICATIONS",
    "MEASUREMENTS",
    "RATES",
    "RF_POINTS",
    "TEST_POINTS",
    "VIDEO_POINTS",
    "LineTrace",
    "MeasurementError",
    "MeasurementSpec",
    "ServoTrace",
    "Spectrum",
    "SweepTable",
    "TestPoint",
    "WaveformRaster",
    "band_edges",
    "carriers_hz",
    "colour_picture",
    "describe_measurement",
    "describe_picture",
    "describe_rf",
    "describe_servo_trace",
    "describe_spectrum",
    "describe_superposition",
    "describe_tracking",
    "describe_waveform",
    "has_bands",
    "head_of_row",
    "is_servo_wave",
    "line_trace",
    "measure",
    "picture",
    "rf_levels_db",
    "rf_spectrum",
    "servo_trace",
    "servo_wave_trace",
    "superposition",
    "sweep_table",
    "tracking_level_pct",
    "waveform",
]
