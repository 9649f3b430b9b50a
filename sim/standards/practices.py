"""Recording practices: which carrier stands for which video level, and the pre-emphasis.

Contents: `Practice`, `PRACTICES`, `get_practice`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from sim.errors import UnknownNameError
from sim.standards.provenance import marks

__all__ = ["PRACTICES", "Practice", "get_practice"]


@dataclass(frozen=True)
class Practice:
    """One recording practice: which carrier stands for which video level, and the pre-emphasis.

    The pre-emphasis is ``(1 + j w lead_s) / (1 + j w lag_s)``; de-emphasis is its inverse.

    Attributes
    ----------
    name, standard : str
        Key of `PRACTICES`, and the scanning standard it belongs to.
    sync_tip_hz : float
        Carrier at sync tip [Hz].
    blanking_hz : float
        Carrier at blanking level [Hz].
    white_hz : float
        Carrier at peak white [Hz].
    preemphasis_lead_s : float
        Time constant that raises high frequencies [s].
    preemphasis_lag_s : float
        Time constant that ends the rise [s].
    provenance : mapping
        Where each number comes from, by attribute.
    """

    name: str
    standard: str
    sync_tip_hz: float
    blanking_hz: float
    white_hz: float
    preemphasis_lead_s: float
    preemphasis_lag_s: float
    provenance: Mapping[str, str] = field(default_factory=dict, repr=False, compare=False)

    @property
    def white_deviation_hz(self) -> float:
        """Carrier deviation from blanking to peak white [Hz]."""
        return self.white_hz - self.blanking_hz


_HIGH_BAND_MARK = "MEMORY, passes the slope check"
_FITTED_MARK = "MODEL, time constants fitted to the quoted boost"

_PRACTICES = (
    Practice(
        name="525 low-band monochrome",
        standard="525/60",
        sync_tip_hz=4.28e6,
        blanking_hz=5.00e6,
        white_hz=6.80e6,
        # 4 dB at 4 MHz is one condition for two constants; the lag keeps the boost near its quoted value over the band.
        preemphasis_lead_s=107e-9,
        preemphasis_lag_s=60e-9,
        provenance=marks(
            sync_tip_hz="QUOTED, practice named in the SMPTE RP 6-1994 abstract",
            blanking_hz="QUOTED, practice named in the SMPTE RP 6-1994 abstract",
            white_hz="QUOTED, practice named in the SMPTE RP 6-1994 abstract",
            preemphasis_lead_s=f"{_FITTED_MARK}, 4 dB at 4 MHz (QUOTED)",
            preemphasis_lag_s=f"{_FITTED_MARK}, 4 dB at 4 MHz (QUOTED)",
        ),
    ),
    Practice(
        name="525 low-band colour",
        standard="525/60",
        sync_tip_hz=5.50e6,
        blanking_hz=5.79e6,
        white_hz=6.50e6,
        preemphasis_lead_s=240e-9,
        preemphasis_lag_s=80e-9,
        provenance=marks(
            sync_tip_hz="QUOTED",
            blanking_hz="QUOTED",
            white_hz="QUOTED",
            preemphasis_lead_s=f"{_FITTED_MARK}, 9.54 dB at most (QUOTED)",
            preemphasis_lag_s=f"{_FITTED_MARK}, 9.54 dB at most (QUOTED)",
        ),
    ),
    Practice(
        name="525 high-band",
        standard="525/60",
        sync_tip_hz=7.06e6,
        blanking_hz=7.90e6,
        white_hz=10.00e6,
        preemphasis_lead_s=600e-9,
        preemphasis_lag_s=240e-9,
        provenance=marks(
            sync_tip_hz=_HIGH_BAND_MARK,
            blanking_hz=_HIGH_BAND_MARK,
            white_hz=_HIGH_BAND_MARK,
            preemphasis_lead_s="MEMORY, 8 dB maximum",
            preemphasis_lag_s="MEMORY, 8 dB maximum",
        ),
    ),
    Practice(
        name="625 low-band",
        standard="625/50",
        sync_tip_hz=5.00e6,
        blanking_hz=5.54e6,
        white_hz=6.80e6,
        preemphasis_lead_s=600e-9,
        preemphasis_lag_s=240e-9,
        provenance=marks(
            sync_tip_hz="QUOTED; a variant with 4.95 MHz is quoted too and fails the slope check",
            blanking_hz="QUOTED",
            white_hz="QUOTED",
            preemphasis_lead_s=f"{_FITTED_MARK}, 8 dB class (QUOTED)",
            preemphasis_lag_s=f"{_FITTED_MARK}, 8 dB class (QUOTED)",
        ),
    ),
    Practice(
        name="625 high-band",
        standard="625/50",
        sync_tip_hz=7.16e6,
        blanking_hz=7.80e6,
        white_hz=9.30e6,
        preemphasis_lead_s=600e-9,
        preemphasis_lag_s=240e-9,
        provenance=marks(
            sync_tip_hz=_HIGH_BAND_MARK,
            blanking_hz=_HIGH_BAND_MARK,
            white_hz=_HIGH_BAND_MARK,
            preemphasis_lead_s="MEMORY, 8 dB maximum",
            preemphasis_lag_s="MEMORY, 8 dB maximum",
        ),
    ),
)
PRACTICES: Mapping[str, Practice] = MappingProxyType({practice.name: practice for practice in _PRACTICES})


def get_practice(name: str) -> Practice:
    """Return the recording practice called `name`; hyphens may stand for blanks.

    Raises
    ------
    UnknownNameError
        If there is none; the message lists those there are.

    Examples
    --------
    >>> get_practice("525 high-band").white_deviation_hz
    2100000.0
    """
    for known, practice in PRACTICES.items():
        if name.replace("-", " ") == known.replace("-", " "):
            return practice
    raise UnknownNameError("recording practice", name, PRACTICES)
