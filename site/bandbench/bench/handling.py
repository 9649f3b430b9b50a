"""Reel, threading, covers, power, care and cards: what a person does with hands at the machine.

An act that is dangerous on a real machine shows its caution first and is done at a second, deliberate press.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.machines import MACHINES
from bandbench.bench.readings import typeset
from bandbench.bench.transport import Answer, tape_time
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.controls import STAGES
from sim.reel import log_of
from sim.transport import ACT_GROUPS, ACTS, timer_text

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench

__all__ = ["HandlingPanel", "HandlingView", "inspection"]

GROUPS = ("reel", "covers", "care", "cards")
"""The groups of `sim.transport.ACT_GROUPS` that are done by hand."""

_MACHINE_KEYS: Mapping[str, str] = dict(zip(MACHINES, ("handling.this", "handling.second"), strict=True))


class HandlingPanel(Part):
    """Acts by group, the reels to choose from, and what was noted.

    Attributes
    ----------
    groups : list of dict
        Name and title of each group, and its acts (name, title, description, whether it is done to a stage's card).
    stages, machines : list of [name, title]
        Stages that have cards; machines that can be worked on.
    reels : str
        JSON: [[name, title], ...] of the reels of this standard.
    now : str
        JSON: the state of each group in words, reel and machine in use, log sheet, incidents.
    asked : str
        JSON: the act whose caution waits for the second press (empty name: none), with title and caution.
    answer : str
        JSON: see `bandbench.bench.transport.TransportPanel`.
    """

    groups = param.List(default=[])
    stages = param.List(default=[])
    machines = param.List(default=[])
    reels = param.String(default="[]")
    now = param.String(default="{}")
    asked = param.String(default='{"act": ""}')
    answer = param.String(default="{}")

    _esm = script("handling")


def _groups() -> list[dict[str, Any]]:
    return [
        {
            "name": group,
            "title": ACT_GROUPS[group],
            "acts": [
                {
                    "name": spec.name,
                    "title": spec.title,
                    "description": typeset(spec.description),
                    "staged": spec.takes_stage,
                }
                for spec in ACTS.values()
                if spec.group == group
            ],
        }
        for group in GROUPS
    ]


def inspection(debris_um: tuple[float, ...]) -> str:
    """Return what the glass shows on the four head tips."""
    dirty = [str(head) for head, depth_um in enumerate(debris_um, 1) if depth_um > 0.0]
    return say("handling.dirt", heads=", ".join(dirty)) if dirty else say("handling.clean")


class HandlingView(View):
    """Reel, covers, care and cards."""

    WORDS: ClassVar[str] = "handling"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self._answer = Answer(bench)
        self._asked: tuple[str, str] | None = None
        self.panel = HandlingPanel(
            self.receive,
            words=self.words,
            groups=_groups(),
            stages=[[stage.name, typeset(stage.title)] for stage in STAGES.values()],
            machines=[[name, say(key)] for name, key in _MACHINE_KEYS.items()],
        )
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the panel."""
        return {"handling": self.panel}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what was pressed.

        ``{"act": name, "stage": name}`` asks for an act, ``{"confirm": true}`` or ``{"confirm": false}`` answers its
        caution; ``{"take": reel}``, ``{"put_on": reel}``, ``{"machine": name}`` and ``{"copy": true}`` stand for
        themselves.
        """
        bench = self.bench
        # What is asked now is asked of the machine as it is now.
        self._answer.outdated()
        match message:
            case {"act": name, "stage": stage} if str(name) in ACTS and ACTS[str(name)].group in GROUPS:
                self._ask(str(name), str(stage))
            case {"confirm": confirmed}:
                asked, self._asked = self._asked, None
                if asked is not None and confirmed:
                    self._do(*asked)
            case {"take": reel}:
                self._try("take", lambda: bench.take_reel(str(reel)), "handling.taken")
            case {"put_on": reel}:
                self._try("put_on", lambda: bench.put_on(str(reel)), "handling.put_on_done")
            case {"machine": machine}:
                self._try("machine", lambda: bench.choose_machine(str(machine)), "handling.carried")
            case {"copy": True}:
                self._try("copy", bench.copy_to_input, "handling.copied")
            case _:
                raise ValueError(f"the handling of reel and covers knows no {message!r}")
        self.refresh()

    def _ask(self, name: str, stage: str) -> None:
        """Show the caution of an act; one without, and one that is refused anyway, is tried at once."""
        self._asked = None
        if ACTS[name].caution and self.bench.act_refusal(name, stage) is None:
            self._asked = (name, stage)
        else:
            self._do(name, stage)

    def _do(self, name: str, stage: str) -> None:
        self._try(name, lambda: self.bench.do_act(name, stage), "handling.done")

    def _try(self, name: str, action: Action, done: str) -> None:
        self._asked = None
        refused = self.act(action)
        if refused is None:
            title = ACTS[name].title if name in ACTS else ""
            sentence = say(done, title=title, reel=self._title())
            if name == "inspect_heads":
                sentence = inspection(self.bench.recorder.condition.head_debris_um)
        else:
            sentence = refused
        self.panel.answer = self._answer.to(name, sentence, refused is None)

    def _title(self) -> str:
        return dict(self.bench.reels()).get(self.bench.reel_name, self.bench.reel_name)

    def refresh(self) -> None:
        """Show everything as it is."""
        if self._answer.outdated():
            self._asked = None
            self.panel.answer = self._answer.to("", "")
        asked = {"act": ""}
        if self._asked is not None:
            spec = ACTS[self._asked[0]]
            asked = {"act": spec.name, "title": spec.title, "caution": typeset(spec.caution), "group": spec.group}
        shown = {
            "reels": json.dumps([list(reel) for reel in self.bench.reels()]),
            "now": json.dumps(self._now()),
            "asked": json.dumps(asked),
        }
        changed = {name: text for name, text in shown.items() if getattr(self.panel, name) != text}
        if changed:
            self.panel.param.update(**changed)

    def watch(self) -> None:
        """Show the state as it is now."""
        now = json.dumps(self._now())
        if now != self.panel.now:
            self.panel.now = now

    def _now(self) -> dict[str, object]:
        bench, station = self.bench, self.bench.station
        deck = station.deck
        reel = [say("handling.on_machine" if deck.reel_fitted else "handling.in_hand", reel=self._title())]
        if deck.reel_fitted:
            threading = "checked" if deck.threading_checked else "unchecked" if deck.threaded else "unthreaded"
            reel.append(say(f"handling.{threading}"))
        if station.reel is not None:
            reel.append(say("handling.ring" if deck.ring_fitted else "handling.no_ring"))
        charge = say("handling.percent", percent=f"{deck.charge_pct:.0f}")
        covers = [
            say("handling.open" if deck.covers_open else "handling.closed"),
            say("handling.isolated" if deck.isolated else "handling.powered"),
            say("handling.charge", percent=charge if bench.readings_shown else say("path.away")),
            say("handling.wheel_rests" if deck.wheel_at_rest else "handling.wheel_turns"),
        ]
        care = say(
            "handling.cared", cleaned=deck.cleanings, degaussed=deck.degaussings, inspected=deck.inspections
        )  # fmt: skip
        card = deck.extender_stage
        return {
            "held": bench.held,
            "reel": bench.reel_name,
            "machine": bench.machine,
            "states": {
                "reel": " ".join(reel),
                "covers": " ".join(covers),
                "care": care,
                "cards": say("handling.no_card")
                if card is None
                else say("handling.card", stage=typeset(STAGES[card].title)),
            },
            "about": "" if station.reel is None else typeset(station.reel.description),
            "log": []
            if station.reel is None
            else [
                say("handling.entry", place=tape_time(place_m, deck), title=title or say("handling.own_recording"))
                for place_m, title in log_of(station.reel)
            ],
            "incidents": [
                say(
                    "handling.incident",
                    time=timer_text(incident.at_s),
                    title=ACTS[incident.act].title,
                    text=typeset(incident.sentence),
                )
                for incident in deck.incidents
            ],
        }
