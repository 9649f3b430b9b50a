"""What is on the tape and at the input of the machine: a test signal, a picture of the user's, or a copy.

Contents: `OWN_PICTURE`, `COPY` and `Programme`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bandbench.bench.errors import BenchError
from bandbench.bench.machines import WORK_TAPE, Machines
from sim.correction import CORRECTIONS
from sim.errors import UnknownNameError
from sim.frame import PlaybackFrame
from sim.reel import copy_programme
from sim.signals import SIGNALS, signal_from_picture
from sim.tape import TAPES

__all__ = ["COPY", "OWN_PICTURE", "Programme"]

OWN_PICTURE = "own"
"""Name of the programme that is a picture the user gave."""

COPY = "copy"
"""Name of the programme that is what a machine played."""


class Programme:
    """What the machines are given to play and to record.

    Parameters
    ----------
    machines : Machines
        The machines of the bench; the one that is worked on is given the programme.

    Attributes
    ----------
    name : str
        The programme: from `SIGNALS`, `OWN_PICTURE` or `COPY`.
    picture_name : str or None
        What the user calls the picture they gave.
    """

    def __init__(self, machines: Machines) -> None:
        self._machines = machines
        self.name = machines.recorder.tape.signal
        self.picture_name: str | None = None
        self._picture: NDArray[np.float32] | None = None

    @property
    def in_colour(self) -> bool:
        """Whether the machine puts out colour: only a colour corrector keeps bursts that a monitor can lock to."""
        return CORRECTIONS[int(self._machines.recorder.control("correction"))] == "colour"

    def put_tape(self, name: str, signal: str | None = None) -> None:
        """Put a tape on a held machine: with its own signal on it, or another."""
        self._machines.recorder.load_tape(name, signal)
        self.name = signal or TAPES[name].signal

    def send(self, name: str) -> None:
        """Send a test signal, or again the picture the user gave (`OWN_PICTURE`), to the machine.

        On the endless work tape it is played at once; with a reel on the machine it stands at the input.
        """
        if name == OWN_PICTURE:
            if self._picture is None:
                raise BenchError("no picture of your own has been given yet; choose a picture file first")
            self._show_picture(self._picture)
        elif name in SIGNALS:
            self._give(name)
        else:
            raise UnknownNameError("programme", name, (*SIGNALS, OWN_PICTURE))
        self.name = name

    def take_picture(self, name: str, levels: NDArray[np.float32]) -> None:
        """Make a picture the programme of the work tape.

        Parameters
        ----------
        name : str
            What the user calls it.
        levels : ndarray, (rows, columns) or (rows, columns, 3)
            Grey, or red, green and blue, 0 to 1.
        """
        self._show_picture(levels)
        self._picture = levels
        self.picture_name = name
        self.name = OWN_PICTURE

    def copy(self, frame: PlaybackFrame) -> None:
        """Send what a machine played to the input of every machine: a copy, with every error that is in it."""
        picture = copy_programme(frame)
        for station in self._machines.all():
            station.recorder.load_source(picture)
        self.name = COPY

    def turn(self, control: str, value: float) -> None:
        """Set a control of the machine; a picture of the user's is sent anew when colour comes or goes."""
        in_colour = self.in_colour
        self._machines.recorder.set_control(control, value)
        if self.in_colour != in_colour and self.name == OWN_PICTURE and self._picture is not None:
            self._give(self._encoded(self._picture))

    def _show_picture(self, levels: NDArray[np.float32]) -> None:
        picture = self._encoded(levels)
        recorder = self._machines.recorder
        # A made tape holds what its maker put on it; a picture is recorded on the work tape.
        if self._machines.held and not recorder.tape.recorded_here:
            recorder.load_tape(WORK_TAPE)
        self._give(picture)

    def _encoded(self, levels: NDArray[np.float32]) -> NDArray[np.float32]:
        # A monochrome monitor would show the colours as a pattern of dots and nothing else.
        return signal_from_picture(levels, self._machines.recorder.standard, monochrome=not self.in_colour)

    def _give(self, programme: str | NDArray[np.float32]) -> None:
        """Give a programme to the input; the work tape has it at once."""
        machines = self._machines
        if machines.held or machines.station.reel is None:
            machines.recorder.load_programme(programme)
        else:
            machines.recorder.load_source(programme)
