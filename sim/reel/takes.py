"""Takes from a machine: what it records as it is set now, and what it plays as the next machine's input.

Contents: `video_take`, `control_take`, `recorded_level_db`, `copy_programme`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.frame import PlaybackFrame
from sim.headtape import contact_spacing_um, wavelength_m
from sim.headwheel import HALF_PASS_RAD
from sim.recorder import Recorder
from sim.reel.contents import ControlTake, VideoTake
from sim.signals import make_signal
from sim.standards import FOOTPRINT
from sim.tape import TapeSpec
from sim.wording import wording

__all__ = ["control_take", "copy_programme", "recorded_level_db", "video_take"]

# MEMORY: a gap between tip and tape weakens a recording by some 44 dB for each wavelength, less than in playback.
_RECORD_SPACING_DB_PER_WAVELENGTH = 44.0
# A recording never falls below this [dB] (MODEL: nothing is left of it).
_FLOOR_DB = -80.0
# Points along a pass over which the contact is averaged.
_CONTACT_POINTS = 37


def recorded_level_db(recorder: Recorder, head: int) -> float:
    """Return how much weaker head 0 to 3 records than a good head in contact [dB].

    MODEL: from the mean distance between tip and tape over a pass, at the wavelength in the middle between blanking
    and white; what the record current does is in `RecordSettings`.
    """
    standard, practice = recorder.standard, recorder.practice
    sine = np.sin(np.linspace(-HALF_PASS_RAD, HALF_PASS_RAD, _CONTACT_POINTS))
    spacing_um = contact_spacing_um(recorder.condition.tip(head), recorder.machine_geometry.inward_um, sine)
    carrier_hz = practice.blanking_hz + 0.5 * practice.white_deviation_hz
    wave_m = float(wavelength_m(carrier_hz, FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz)))
    loss_db = -_RECORD_SPACING_DB_PER_WAVELENGTH * float(spacing_um.mean()) * 1e-6 / wave_m
    return max(loss_db, _FLOOR_DB) if loss_db else 0.0


def video_take(
    recorder: Recorder,
    programme: str | NDArray[np.floating] | None,
    origin_m: float,
    *,
    colour_frame: int = 0,
    first_field: int = 0,
    title: str = "",
) -> VideoTake:
    """Return the take that a machine makes as it is set now.

    Parameters
    ----------
    recorder : Recorder
        The machine: its guide, head timing, contact, carriers and record currents, and what is wrong with them.
    programme : str, ndarray or None
        A test signal's name or a frame (lines, samples) [level unit], as it reaches the modulator; None for what
        stands at the machine's input, behind its level control.
    origin_m : float
        Where on tape the take's frames begin to count [m].
    colour_frame, first_field : int
        How the programme is framed there (see `VideoTake`).
    title : str
        What a log calls it.

    Raises
    ------
    BandbenchError
        If there is no such signal, or the frame or the framing is not one of the machine's standard.

    Notes
    -----
    What the wheel servo leaves from line to line is not recorded.
    """
    standard, practice = recorder.standard, recorder.practice
    if programme is None:
        frame = recorder.record_programme
    elif isinstance(programme, str):
        frame = make_signal(programme, standard)
    else:
        frame = np.asarray(programme, dtype=np.float32)
    levels = [recorded_level_db(recorder, head) for head in range(4)]
    spec = TapeSpec(
        name="recorded",
        title=title or wording("reels.recorded_here"),
        description=wording("reels.recorded_errors_machine_had"),
        standard=standard.name,
        practice=practice.name,
        signal="",
        recorded_here=False,
        geometry=recorder.machine_geometry,
        track_level_db=(levels[0], levels[1], levels[2], levels[3]),
    )
    return VideoTake(origin_m, spec, frame, recorder.record_settings, practice.name, colour_frame, first_field, title)


def control_take(
    recorder: Recorder, origin_m: float, phase_deg: float = 0.0, level_db: float = 0.0, frame_pulse_cycles: int = 0
) -> ControlTake:
    """Return the control track that a machine lays with a take that begins at `origin_m` (see `ControlTake`)."""
    return ControlTake(origin_m, phase_deg, level_db, frame_pulse_cycles, recorder.standard.name)


def copy_programme(frame: PlaybackFrame, *, processed: bool = True) -> NDArray[np.float32]:
    """Return what a machine plays as the programme of a second one: a copy, with every error that is in it.

    Parameters
    ----------
    frame : PlaybackFrame
        What is played.
    processed : bool
        True for the finished video, with clean sync round the picture; False for the demodulator's output.

    Returns
    -------
    ndarray of float32, (lines, samples)
        An array of its own [level unit].
    """
    return np.array(frame.processed if processed else frame.demod, dtype=np.float32)
