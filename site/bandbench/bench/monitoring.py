"""Where one looks: the stage that is open, and how the waveform and the picture monitor are set and connected.

Contents: `POINT_OF_STAGE`, `Scope` (settings of the waveform monitor) and `Monitoring`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from bandbench.bench.errors import BenchError
from bandbench.bench.settings import KEPT, KeptPicture, MonitorSettings, check_monitor
from sim.controls import STAGES
from sim.errors import UnknownNameError
from sim.instruments import DISPLAYS, MAGNIFICATIONS, RATES, TEST_POINTS

__all__ = ["POINT_OF_STAGE", "Monitoring", "Scope"]

POINT_OF_STAGE: Mapping[str, str] = {
    "tape": "rf_switched",
    "headwheel": "demodulated",
    "channels": "rf_head_1",
    "switcher": "rf_switched",
    "demodulator": "demodulated",
    "processing": "processed",
    "output": "processed",
    "input": "input",
    "modulator": "modulator_rf",
    "record_drive": "control_track",
    "sound": "control_track",
}
"""Where the waveform monitor is connected when a stage is chosen: the stage's own test point, or the nearest one
behind it that shows what its controls do."""


@dataclass(frozen=True)
class Scope:
    """Settings of the waveform monitor.

    Attributes
    ----------
    test_point, rate : str
        From `TEST_POINTS` and `RATES`.
    magnify : int
        Horizontal magnification, one of `MAGNIFICATIONS`.
    position : float
        Left edge of the magnified screen, as a share of the sweep.
    line : int or None
        The one line to show, from 1; None shows all.
    display : str
        One of `DISPLAYS`: as a vectorscope or a spectrum analyser it is connected to the nearest video or RF.
    """

    test_point: str = "rf_switched"
    rate: str = "line"
    magnify: int = 1
    position: float = 0.0
    line: int | None = None
    display: str = "waveform"


class Monitoring:
    """The stage that is open and the settings of the two monitors; it refuses what a monitor cannot show.

    Attributes
    ----------
    stage : str
        The stage whose controls are open, from `STAGES`.
    scope : Scope
        How the waveform monitor is set.
    monitor : MonitorSettings
        How the picture monitor is set.
    kept : KeptPicture or None
        The picture that was kept to compare with.
    extended : frozenset of str
        Stages whose cards are on the extender.
    """

    def __init__(self) -> None:
        self.stage = "tape"
        self.scope = Scope()
        self.monitor = MonitorSettings()
        self.kept: KeptPicture | None = None
        self.extended: frozenset[str] = frozenset()

    def choose_stage(self, name: str) -> None:
        """Open a stage's controls and connect the waveform monitor to its test point."""
        if name not in STAGES:
            raise UnknownNameError("stage", name, STAGES)
        self.stage = name
        if TEST_POINTS[self.scope.test_point].stage != name:
            self.scope = replace(self.scope, test_point=POINT_OF_STAGE[name])

    def look_at(self, stage: str, lines: int, scope: Mapping[str, object], monitor: Mapping[str, object]) -> None:
        """Open a stage with both monitors set as given, and else as they are at first; errors as for `set_scope`."""
        self.extended = frozenset()
        self.scope, self.monitor = Scope(), MonitorSettings()
        self.choose_stage(stage)
        self.set_scope(lines, scope)
        self.set_monitor(monitor)

    def scope_of(self, lines: int) -> Scope:
        """Return how the waveform monitor is set at a machine whose frames have so many lines.

        A line that was chosen at a machine of another standard, and that this one does not have, is all lines here.
        """
        scope = self.scope
        return scope if scope.line is None or scope.line <= lines else replace(scope, line=None)

    def set_scope(self, lines: int, settings: Mapping[str, object]) -> None:
        """Change fields of `Scope`.

        Parameters
        ----------
        lines : int
            How many lines a frame of the machine's standard has.
        settings : mapping of str to object
            New values by the names of fields.

        Raises
        ------
        BandbenchError
            If a setting does not exist or cannot be set to that.
        """
        try:
            scope = replace(self.scope_of(lines), **settings)  # type: ignore[arg-type]  # checked right below
        except TypeError:
            raise BenchError(f"waveform monitor: no settings called {sorted(settings)}") from None
        if scope.test_point not in TEST_POINTS:
            raise UnknownNameError("test point", scope.test_point, TEST_POINTS)
        if not self.reaches(scope.test_point):
            stage = STAGES[TEST_POINTS[scope.test_point].stage].title.lower()
            raise BenchError(
                f"'{TEST_POINTS[scope.test_point].label}' lies on the card of the {stage}: switch the power off and "
                "put that card on the extender first"
            )
        if scope.display not in DISPLAYS:
            raise UnknownNameError("display of the waveform monitor", scope.display, DISPLAYS)
        if scope.rate not in RATES:
            raise UnknownNameError("sweep rate", scope.rate, RATES)
        if scope.magnify not in MAGNIFICATIONS or not 0.0 <= scope.position <= 1.0:
            raise BenchError(f"waveform monitor: magnify {scope.magnify}, position {scope.position} cannot be set")
        if scope.line is not None and not 1 <= scope.line <= lines:
            raise BenchError(f"line {scope.line}: this standard has lines 1 to {lines}")
        self.scope = scope

    def reaches(self, test_point: str) -> bool:
        """Tell whether a probe gets at a test point: an inner one only while its card is on the extender."""
        point = TEST_POINTS[test_point]
        return not point.inner or point.stage in self.extended

    def set_extended(self, stages: frozenset[str]) -> None:
        """Note which stages' cards are on the extender; from an inner point of another the monitor is taken away."""
        self.extended = stages
        if not self.reaches(self.scope.test_point):
            self.scope = replace(self.scope, test_point=POINT_OF_STAGE[TEST_POINTS[self.scope.test_point].stage])

    def set_monitor(self, settings: Mapping[str, object]) -> None:
        """Change fields of `MonitorSettings`; errors as for `set_scope`."""
        try:
            monitor = replace(self.monitor, **settings)  # type: ignore[arg-type]  # checked right below
        except TypeError:
            raise BenchError(f"picture monitor: no settings called {sorted(settings)}") from None
        check_monitor(monitor, self.kept)
        self.monitor = monitor

    def keep_picture(self, picture: KeptPicture) -> None:
        """Keep a picture and compare with it what is shown from now on."""
        self.kept = picture
        self.set_monitor({"compare": KEPT})
