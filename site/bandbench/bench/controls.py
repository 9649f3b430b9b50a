"""The controls of the chosen stage."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.programme import COPY, OWN_PICTURE
from bandbench.bench.readings import decimals_of_step, typeset, unit_sign
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.controls import CONTROLS, STAGES, ControlSpec
from sim.signals import SIGNALS

if TYPE_CHECKING:
    from collections.abc import Callable

    from bandbench.bench.bench import Bench

__all__ = ["ControlBoard", "ControlsView"]


class ControlBoard(Part):
    """Sliders, number fields and switches for every control; those of one stage are shown.

    Attributes
    ----------
    specs, stages : list of dict
        What `sim.controls` declares.
    stage : str
        The stage whose controls are shown.
    values : str
        JSON: every control's value, and the number of the last message of moves that they show (one text: see
        `bandbench.bench.meters.Meters`).
    offered : list of str
        Controls that may be moved.
    applied : int
        Number of the last message of moves that has been carried out; the script waits for it before the next.
    notes : dict of str to str
        Why a control could not be moved, by its name.
    tape, programme : str
        What is played.
    tapes, programmes : list of [name, title]
        What can be.
    fixed : bool
        Whether the lesson decides what is on the tape.
    notice : str
        Why something else could not be played.
    """

    specs = param.List(default=[])
    stages = param.List(default=[])
    stage = param.String(default="")
    values = param.String(default='{"applied": 0, "values": {}}')
    offered = param.List(default=[])
    applied = param.Integer(default=0)
    notes = param.Dict(default={})
    tape = param.String(default="")
    programme = param.String(default="")
    tapes = param.List(default=[])
    programmes = param.List(default=[])
    fixed = param.Boolean(default=False)
    notice = param.String(default="")

    _esm = script("controls")


def _short_label(spec: ControlSpec) -> str:
    """Return what a label says beside its head's number, for groups that bear the number already."""
    rest = spec.label.split(str(spec.head), 1)[1].strip() if spec.head else ""
    return rest[:1].upper() + rest[1:] if rest else spec.label


def _spec_data(spec: ControlSpec) -> dict[str, Any]:
    data = asdict(spec)
    data["unit"] = unit_sign(spec.unit)
    data["description"] = typeset(spec.description)
    data["short_label"] = _short_label(spec)
    data["decimals"] = decimals_of_step(spec.fine_step)
    return data


class ControlsView(View):
    """The controls of the chosen stage."""

    WORDS: ClassVar[str] = "controls"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None], clock: Callable[[], float]) -> None:
        super().__init__(bench, act)
        self._clock = clock
        self._applied = 0
        self.board = ControlBoard(
            self.receive,
            words=self.words,
            specs=[_spec_data(spec) for spec in CONTROLS.values()],
            stages=[asdict(stage) | {"title": typeset(stage.title)} for stage in STAGES.values()],
        )
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the board."""
        return {"controls": self.board}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Carry out moves, or play something else.

        Moves are ``{"moves": {control: value}, "number": n}``; what to play is ``{"tape": name}`` or
        ``{"programme": name}``.
        """
        match message:
            case {"moves": moves, "number": number}:
                self._move(moves, int(number))
            case {"tape": name}:
                self.board.notice = self.act(lambda: self.bench.load_tape(str(name))) or ""
            case {"programme": name}:
                self.board.notice = self.act(lambda: self.bench.load_programme(str(name))) or ""
            case _:
                raise ValueError(f"the controls know no {message!r}")

    def _move(self, moves: Mapping[str, float], number: int) -> None:
        notes = {}

        def move() -> None:
            for name, value in moves.items():
                self.bench.set_control(name, value, self._clock())

        self._applied = number
        try:
            problem = self.act(move)
            if problem is not None:
                notes = dict.fromkeys(moves, typeset(problem))
                self.refresh()
        finally:
            self.board.param.update(applied=number, notes=notes)

    def refresh(self) -> None:
        """Show the controls as they are."""
        bench = self.bench
        programmes = [[spec.name, spec.title] for spec in SIGNALS.values()]
        if bench.picture_name is not None:
            programmes.append([OWN_PICTURE, say("controls.own", name=bench.picture_name)])
        if bench.programme == COPY:
            programmes.append([COPY, say("controls.copy")])
        self.board.param.update(
            tape=bench.reel_name,
            tapes=[list(reel) for reel in bench.reels()],
            programme=bench.programme,
            programmes=programmes,
            fixed=bench.session is not None,
            stage=bench.stage,
            values=json.dumps({"applied": self._applied, "values": bench.recorder.controls}),
            offered=[name for name in CONTROLS if bench.offers(name)],
        )
