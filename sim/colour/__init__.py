"""Colour as a receiver finds it: the reference in the bursts, the picture monitor's decoder, vectors.

Contents: `ColourDecoder` with `SEPARATIONS` and `PAL_DECODERS` (picture monitor); `measure_burst`, `BurstReading`,
`reference_phase`, `nominal_phase`, `LOCKS` (the reference); `demodulate`, `bar_vectors`, `bar_points`, `bar_targets`,
`bar_lines`, `BarTarget`, `VectorPoint` (vectors). The encoder's side is in `sim.signals`.
"""

from sim.colour.burst import LOCKS, BurstReading, measure_burst, nominal_phase, reference_phase
from sim.colour.decoder import PAL_DECODERS, SEPARATIONS, ColourDecoder
from sim.colour.vectors import (
    BarTarget,
    VectorPoint,
    bar_lines,
    bar_points,
    bar_targets,
    bar_vectors,
    demodulate,
)

__all__ = [
    "LOCKS",
    "PAL_DECODERS",
    "SEPARATIONS",
    "BarTarget",
    "BurstReading",
    "ColourDecoder",
    "VectorPoint",
    "bar_lines",
    "bar_points",
    "bar_targets",
    "bar_vectors",
    "demodulate",
    "measure_burst",
    "nominal_phase",
    "reference_phase",
]
