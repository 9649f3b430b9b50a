"""The why views: drawings that explain the chosen stage and move with its controls."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, is_dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.readings import Readings, typeset, unit_sign
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.drawings import (
    LoopDrawing,
    capstan_loop_drawing,
    guide_drawing,
    record_current_drawing,
    spectrum_drawing,
    switch_drawing,
    tape_drawing,
    wheel_drawing,
    wheel_loop_drawing,
)
from sim.standards import get_practice
from sim.tracking import match_tracks

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["SLOWNESS", "VIEWS", "Why", "WhyView"]

SLOWNESS = 2000
"""How many times slower than the machine the drawings move: a turn of the wheel takes about eight seconds."""

VIEWS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "tape": {"tracks": ("tape",), "loop": ("capstan_loop",)},
    "headwheel": {"sections": ("guide", "wheel"), "loop": ("wheel_loop",)},
    "channels": {"heads": ("wheel",)},
    "switcher": {"changeover": ("changeover", "wheel")},
    "demodulator": {"spectrum": ("spectrum",)},
    "processing": {},
    "output": {},
    "input": {},
    "modulator": {"spectrum": ("spectrum",)},
    "record_drive": {"current": ("current",)},
    "sound": {"tracks": ("tape",)},
}
"""For each stage its views, and the drawings of each."""

# Digits that are sent: a drawing is a few hundred picture elements wide.
_DIGITS = 5
# A wheel slower than this, against its right speed, is drawn at rest: one speed stands for all others.
_TURNING_SHARE = 0.5
_MINUS_SIGN = re.compile(r"(?<= )-(?=\d)")


def _stages_with(view: str, stage: str) -> list[str]:
    """Return the stage for which a view was chosen: this one, or one that was left while the choice was on its way."""
    if view in VIEWS[stage]:
        return [stage]
    return [name for name, views in VIEWS.items() if view in views]


class Why(Part):
    """The drawings of the chosen stage.

    Attributes
    ----------
    stage : str
        The stage they belong to.
    views : list of [name, label]
        The stage's views, to choose from.
    view : str
        The one shown.
    drawings : str
        JSON: a list of what each drawing shows (`sim.drawings`), with its kind, title, caption and sentence. As one
        text it crosses to the page in a tenth of the time that nested tables take. An empty list while `hidden`.
    hidden : str
        Why there are no drawings; empty if there are.
    frequencies : list of [hertz, label]
        Video frequencies that the spectrum can be drawn for.
    frequency : str
        The one drawn.
    moving : bool
        Whether the machine runs.
    turn_s : float
        Time in which the drawn wheel turns once [s].
    """

    stage = param.String(default="")
    views = param.List(default=[])
    view = param.String(default="")
    drawings = param.String(default="[]")
    hidden = param.String(default="")
    frequencies = param.List(default=[])
    frequency = param.String(default="")
    moving = param.Boolean(default=False)
    turn_s = param.Number(default=8.0)

    _esm = script("why")


def _short(value: Any) -> Any:
    """Return a drawing's numbers with the digits that show."""
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}")
    if isinstance(value, dict):
        return {key: _short(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_short(item) for item in value]
    return value


class WhyView(View):
    """The why views of the stages."""

    WORDS: ClassVar[str] = "why"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self._readings: Readings | None = None
        self._chosen: dict[str, str] = {}
        self._video_hz: float | None = None
        self._makers: Mapping[str, Callable[[Readings], Any]] = {
            "tape": self._tape,
            "guide": self._guide,
            "wheel": self._wheel,
            "changeover": self._changeover,
            "spectrum": self._spectrum,
            "current": self._current,
            "wheel_loop": self._wheel_loop,
            "capstan_loop": self._capstan_loop,
        }
        self.part = Why(self.receive, words=self.words)
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the drawings."""
        return {"why": self.part}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Choose one of the stage's views, ``{"view": name}``, or the spectrum's tone, ``{"video_hz": text}``."""
        match message:
            case {"view": str(view)} if stages := _stages_with(view, self.bench.stage):
                self._chosen |= dict.fromkeys(stages, view)
            case {"video_hz": str(text)}:
                self._video_hz = float(text)
            case _:
                raise ValueError(f"the why view knows no {message!r}")
        self.refresh()

    def refresh(self) -> None:
        """Show the chosen stage's drawings, or why they are hidden."""
        bench = self.bench
        standard = bench.recorder.standard
        tones = sorted({*standard.multiburst_hz, standard.subcarrier_hz})
        if self._video_hz not in tones:
            self._video_hz = standard.subcarrier_hz
        views = VIEWS[bench.stage]
        view = self._view()
        reason = bench.why_hidden()
        hidden = say(f"why.hidden_{reason}") if reason else "" if views else say("why.none")
        self.part.param.update(
            stage=bench.stage,
            views=[] if reason else [[name, say(f"why.view_{name}")] for name in views],
            view=view,
            hidden=hidden,
            frequencies=[[repr(tone), f"{tone / 1e6:.2f}\N{NO-BREAK SPACE}MHz"] for tone in tones]
            if view == "spectrum"
            else [],
            frequency=repr(self._video_hz),
            moving=self._moves(),
            turn_s=round(SLOWNESS / standard.wheel_rate_hz, 3),
        )
        self._draw()

    def update(self, readings: Readings) -> None:
        """Move the drawings with the machine."""
        self._readings = readings
        self.part.moving = self._moves()
        self._draw()

    def _moves(self) -> bool:
        """Tell whether what is drawn goes on: the wheel turns, and where heads on tracks are drawn, the tape plays."""
        bench = self.bench
        if bench.held or not bench.playing:
            return bench.playing
        station = bench.station
        turning = station.wheel.rate_hz > _TURNING_SHARE * station.standard.wheel_rate_hz
        return turning and ("tape" not in self._drawn() or station.off_tape)

    def _drawn(self) -> tuple[str, ...]:
        return VIEWS[self.bench.stage].get(self._view(), ())

    def _view(self) -> str:
        views = VIEWS[self.bench.stage]
        chosen = self._chosen.get(self.bench.stage, "")
        return chosen if chosen in views else next(iter(views), "")

    def _draw(self) -> None:
        readings = self._readings
        # What is hidden does not go to the page at all.
        if readings is None or self.bench.why_hidden() is not None:
            self.part.drawings = "[]"
            return
        self.part.drawings = json.dumps([self._drawing(name, readings) for name in self._drawn()])

    def _drawing(self, name: str, readings: Readings) -> dict[str, Any]:
        drawing = self._makers[name](readings)
        assert is_dataclass(drawing)
        assert not isinstance(drawing, type)
        shown: dict[str, Any] = _short(asdict(drawing))
        shown["kind"] = "loop" if isinstance(drawing, LoopDrawing) else name
        for block in shown.get("blocks", ()):
            block["unit"] = unit_sign(block["unit"])
        shown["title"] = say(f"why.title_{name}")
        shown["sentence"] = _MINUS_SIGN.sub("\N{MINUS SIGN}", typeset(shown["sentence"]))
        if name == "tape" and not readings.frame.off_tape:
            shown["sentence"] = say("why.no_tape")
        shown["figures"] = self.bench.readings_shown
        if not self.bench.readings_shown:
            # The drawing stays, as it is no reading; its numbers and its sentence are.
            shown["sentence"] = say("why.away")
            for block in shown.get("blocks", ()):
                block["value"] = None
            if name == "wheel":
                shown["heads"] = [head | {"level_db": None} for head in shown["heads"]]
        factor = shown.get("exaggeration") or shown.get("exaggeration_along")
        shown["caption"] = say(f"why.scale_{name}", factor=f"{factor:.0f}") if factor else ""
        return shown

    # The drawings -------------------------------------------------------------------------------------------

    def _tape(self, readings: Readings) -> Any:
        frame = readings.frame
        return tape_drawing(frame.standard, frame.control_phase_deg, self.bench.recorder.tape.track_bow_um * 1e-6)

    def _guide(self, readings: Readings) -> Any:
        recorder = self.bench.recorder
        tips = [recorder.condition.tip(head) for head in range(4)]
        return guide_drawing(recorder.standard, recorder.machine_geometry, tips)

    def _wheel(self, readings: Readings) -> Any:
        recorder = self.bench.recorder
        # Errors of the heads belong to the wheel; how loud each of them is, to the channels.
        levels = [readings.values[f"rf_level_db_{head}"] for head in range(1, 5)]
        channels = [recorder.control(f"channel_on_{head}") == 1.0 for head in range(1, 5)]
        shift = match_tracks(readings.frame.control_phase_deg).head_shift
        return wheel_drawing(recorder.standard, recorder.machine_geometry, shift, levels, channels)

    def _changeover(self, readings: Readings) -> Any:
        recorder = self.bench.recorder
        return switch_drawing(recorder.standard, recorder.control("switch_timing_us"))

    def _spectrum(self, readings: Readings) -> Any:
        recorder = self.bench.recorder
        practice, settings = recorder.practice, recorder.record_settings
        deviation_hz, carrier_hz = settings.deviation_hz, settings.carrier_hz
        # What is demodulated was modulated by the machine that made the tape.
        if self.bench.stage == "demodulator" and not recorder.tape.recorded_here:
            practice = get_practice(recorder.tape.practice or practice.name)
            deviation_hz = carrier_hz = None
        return spectrum_drawing(recorder.standard, practice, self._video_hz, deviation_hz, carrier_hz)

    def _current(self, readings: Readings) -> Any:
        recorder = self.bench.recorder
        controls, settings = recorder.controls, recorder.record_settings
        # The carrier of mid-grey stands for what is recorded.
        carrier_hz = (settings.carrier_hz or recorder.practice.blanking_hz) + 0.5 * (
            settings.deviation_hz or recorder.practice.white_deviation_hz
        )
        currents = [controls[f"record_current_pct_{head}"] for head in range(1, 5)]
        return record_current_drawing(
            recorder.standard, carrier_hz, currents, recorder.condition.record_current_best_pct
        )

    def _wheel_loop(self, readings: Readings) -> Any:
        bench = self.bench
        standard, gain_db = bench.recorder.standard, bench.recorder.control("wheel_servo_gain_db")
        jitter_s = bench.recorder.condition.wheel_jitter_ns * 1e-9
        if bench.held:
            return wheel_loop_drawing(standard, float(readings.frame.servo_error_s.mean()), jitter_s, gain_db=gain_db)
        wheel = bench.station.wheel
        residual_s = math.hypot(jitter_s, wheel.residual_peak_s)
        return wheel_loop_drawing(standard, wheel.phase_error_s, residual_s, wheel.state, wheel.rate_hz, gain_db)

    def _capstan_loop(self, readings: Readings) -> Any:
        bench = self.bench
        standard, controls = bench.recorder.standard, bench.recorder.controls
        gain_db, wanted_deg = controls["capstan_servo_gain_db"], controls["tracking_phase_deg"]
        if bench.held:
            return capstan_loop_drawing(standard, readings.frame.control_phase_deg, wanted_deg, gain_db=gain_db)
        capstan = bench.station.capstan
        settings = (capstan.state, capstan.speed_ratio, gain_db, capstan.state == "following_wheel")
        return capstan_loop_drawing(standard, capstan.phase_deg, wanted_deg, *settings)
