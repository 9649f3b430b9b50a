"""What a head makes of the recorded RF: how firmly its tip presses along the pass, and its response.

Contents: `HeadReader`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.fm import envelope_frequency_hz
from sim.headtape import HeadTip, contact_spacing_um, head_response, spacing_loss_db, wavelength_m
from sim.headwheel import HALF_PASS_RAD, PassSchedule
from sim.playback import as_read_by
from sim.standards import FOOTPRINT, Practice, Standard

__all__ = ["HeadReader"]

ComplexArray = NDArray[np.complex64]

# A head whose response stays within this of a good one's is read as one (MODEL: far below what can be seen).
_FLAT_DB = 0.01
# Readings of the tape by differently worn heads that are kept; a moving guide would make a new one at every step.
_MOST_KEPT = 8
# Points of the band at which a response is looked at first: it has no feature narrower than a tenth of it.
_RESPONSE_POINTS = 129
# Points along a pass at which contact is worked out; it changes smoothly with the wheel's angle.
_CONTACT_POINTS = 37


class HeadReader:
    """Recorded RF as heads of any wear read it; the last few readings are kept.

    Parameters
    ----------
    standard, practice : Standard, Practice
        How the machine is set.
    """

    def __init__(self, standard: Standard, practice: Practice) -> None:
        self._standard, self._practice = standard, practice
        self._tip_speed = FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz)
        self._kept: dict[tuple[HeadTip, bytes, bytes], ComplexArray] = {}

    def clear(self) -> None:
        """Forget what was read: another recording lies under the heads."""
        self._kept.clear()

    def read(self, recorded: ComplexArray, tip: HeadTip, inward_um: float, schedule: PassSchedule) -> ComplexArray:
        """Return the recorded RF behind the contact and the response of a head, (samples_per_frame,).

        Parameters
        ----------
        recorded : ndarray of complex64
            RF on tape; `clear` when it is another one.
        tip : HeadTip
            The head.
        inward_um : float
            How far in the guide stands: it presses the tape onto the tips [um].
        schedule : PassSchedule
            Where on its pass the head is at each sample.
        """
        sine = np.sin(np.linspace(-HALF_PASS_RAD, HALF_PASS_RAD, _CONTACT_POINTS))
        spacing_um = contact_spacing_um(tip, inward_um, sine)
        # Where along its pass a head is matters to one that lifts on its way.
        key = (tip, spacing_um.tobytes(), schedule.switch_sample.tobytes() if np.ptp(spacing_um) > 0.0 else b"")
        if key not in self._kept:
            if len(self._kept) >= _MOST_KEPT:
                self._kept.clear()
            self._kept[key] = self._read(recorded, tip, sine, spacing_um, schedule)
        return self._kept[key]

    def _read(
        self,
        recorded: ComplexArray,
        tip: HeadTip,
        sine: NDArray[np.float64],
        spacing_um: NDArray[np.float64],
        schedule: PassSchedule,
    ) -> ComplexArray:
        mean_um = float(spacing_um.mean())
        envelope = recorded
        # Whether there is anything to it shows at some points of the band; a good head need not be worked out at all.
        some_hz = np.linspace(0.0, self._standard.sample_rate_hz, _RESPONSE_POINTS)
        if np.abs(20.0 * np.log10(np.abs(self._response(tip, mean_um, some_hz)))).max() > _FLAT_DB:
            envelope = as_read_by(envelope, self._response(tip, mean_um, envelope_frequency_hz(self._standard)))
        if np.ptp(spacing_um) > 0.0:
            # Where the tip lifts, the level falls as at the carrier; the response stays that of the mean.
            carrier_hz = self._practice.blanking_hz + 0.5 * self._practice.white_deviation_hz
            wave = wavelength_m(carrier_hz, self._tip_speed)
            along_db = spacing_loss_db(1e-6, wave) * (spacing_um - mean_um)
            level = np.interp(schedule.sine, sine, 10.0 ** (along_db / 20.0))
            envelope = envelope * level.astype(np.float32)
        return envelope

    def _response(self, tip: HeadTip, mean_um: float, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        return head_response(tip, mean_um, frequency_hz, self._tip_speed, FOOTPRINT.track_width_m)
