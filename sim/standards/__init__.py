"""Scanning standards, recording practices and the footprint on tape, as frozen data with provenance.

Contents: `Standard`, `STANDARDS`, `get_standard` (scanning); `Practice`, `PRACTICES`, `get_practice` (recording);
`Footprint`, `FOOTPRINT` (the tape).

Every class carries a ``provenance`` mapping from field name to where the number comes from. The marks are:
PUB (published text read), QUOTED (published, known through a later quotation), DERIVED (arithmetic from marked
inputs), TRADE (common practice), MEMORY (from memory, shown to people as "typical"), MODEL (a free parameter).
"""

from sim.standards.footprint import FOOTPRINT, Footprint
from sim.standards.practices import PRACTICES, Practice, get_practice
from sim.standards.scanning import STANDARDS, Standard, get_standard

__all__ = [
    "FOOTPRINT",
    "PRACTICES",
    "STANDARDS",
    "Footprint",
    "Practice",
    "Standard",
    "get_practice",
    "get_standard",
]
