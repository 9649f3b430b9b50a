"""The transport: what moves the tape, where the tape is, and the deck drawn as it stands."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.readings import typeset
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.transport import ACTS, MODES, timer_text

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench
    from sim.transport import Deck

__all__ = [
    "Answer",
    "DeckPanel",
    "TransportPanel",
    "TransportView",
    "deck_numbers",
    "deck_sentence",
    "mode_sentence",
    "tape_time",
]

MOTIONS = ("stop", "standby", "play", "wind_reverse", "wind_forward")
"""The acts that move the tape, in the order of their buttons."""


class TransportPanel(Part):
    """Buttons of the tape's motion and the tape timer.

    Attributes
    ----------
    acts : list of dict
        Name, title and description of each act that has a button.
    now : str
        JSON: mode in words, why the tape stopped by itself, timer, what is left on each reel, and the numbers of the
        drawing (see `bandbench.bench.meters.Meters` for why it is one text).
    answer : str
        JSON: the last act that was asked for, the sentence that refused it (or an empty one), and a running number.
    """

    acts = param.List(default=[])
    now = param.String(default="{}")
    answer = param.String(default="{}")

    _esm = script("transport")


class DeckPanel(Part):
    """The drawing of the deck, what is left on its reels, and cautions.

    Attributes
    ----------
    cautions : list of str
        What the acts of the transport warn of on a real machine, each once.
    now : str
        As of `TransportPanel`.
    """

    cautions = param.List(default=[])
    now = param.String(default="{}")

    _esm = script("deck")


class Answer:
    """What is told of each act that was asked for: a refusal that comes twice is told twice.

    Parameters
    ----------
    bench : Bench
        What is said of one machine and reel is taken back when another is worked on.
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._number = 0
        self._about = self._subject()

    def _subject(self) -> tuple[object, ...]:
        return self._bench.mode, self._bench.station, self._bench.reel_name

    def outdated(self) -> bool:
        """Tell, once, that another machine or reel is worked on than when this was last asked."""
        before, self._about = self._about, self._subject()
        return before != self._about

    def to(self, act: str, sentence: str, done: bool = False) -> str:
        """Return the answer to an act as JSON."""
        self._about = self._subject()
        self._number += 1
        return json.dumps({"act": act, "sentence": typeset(sentence), "done": done, "number": self._number})


def tape_time(length_m: float, deck: Deck) -> str:
    """Return a length of tape as the time it plays for, H:MM:SS."""
    return timer_text(length_m / deck.nominal_m_per_s)


def mode_sentence(deck: Deck) -> str:
    """Return in words what the transport does and where it is going."""
    if deck.goal == deck.mode:
        return say("transport.now", mode=MODES[deck.mode])
    return say("transport.on_the_way", mode=MODES[deck.mode], goal=MODES[deck.goal])


def deck_numbers(deck: Deck) -> dict[str, float | bool]:
    """Return what the drawing of the deck shows, in the accuracy that can be seen.

    Returns
    -------
    dict
        Radii of the tape on both reels [mm], turning of the reels and the wheel [rad/s, rev/s], places of the tension
        arms (0 slack to 1 tight), and what is threaded, closed, pinched or open.
    """
    return {
        "supply_mm": round(1e3 * deck.supply_radius_m, 1),
        "takeup_mm": round(1e3 * deck.takeup_radius_m, 1),
        "supply_rate": round(deck.supply_rotation_rad_per_s, 1),
        "takeup_rate": round(deck.takeup_rotation_rad_per_s, 1),
        "wheel_rate": round(deck.wheel_rate_hz, -1),
        "supply_arm": round(deck.supply_arm, 2),
        "takeup_arm": round(deck.takeup_arm, 2),
        "fitted": deck.reel_fitted,
        "threaded": deck.threaded,
        "guide": deck.guide_closed,
        "pinched": deck.capstan_engaged,
        "open": deck.covers_open,
    }


def deck_sentence(deck: Deck) -> str:
    """Return in words what the drawing of the deck shows."""
    if not deck.reel_fitted:
        said = [say("transport.no_reel")]
    else:
        said = [say("transport.reels", supply=f"{deck.supply_m:.0f}", takeup=f"{deck.takeup_m:.0f}")]
        said.append(say("transport.threaded" if deck.threaded else "transport.unthreaded"))
    speed = deck.tape_speed_m_per_s
    if speed != 0.0:
        said.append(say("transport.forwards" if speed > 0.0 else "transport.backwards"))
    elif deck.threaded:
        said.append(say("transport.still"))
    said.append(say("transport.wheel_rests" if deck.wheel_at_rest else "transport.wheel_turns"))
    if deck.guide_closed:
        said.append(say("transport.held_in_guide" if deck.tape_on_guide else "transport.guide_closed"))
    else:
        said.append(say("transport.guide_open"))
    said.append(say("transport.pinched" if deck.capstan_engaged else "transport.unpinched"))
    if deck.covers_open:
        said.append(say("transport.covers_open"))
    return " ".join(said)


class TransportView(View):
    """The transport."""

    WORDS: ClassVar[str] = "transport"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self._answer = Answer(bench)
        shown = [ACTS[name] for name in MOTIONS]
        self.panel = TransportPanel(
            self.receive,
            words=self.words,
            acts=[{"name": spec.name, "title": spec.title, "description": spec.description} for spec in shown],
        )
        self.deck = DeckPanel(
            self.receive,
            words=self.words,
            cautions=list(dict.fromkeys(typeset(spec.caution) for spec in shown if spec.caution)),
        )
        self.live()

    def roots(self) -> dict[str, Any]:
        """Return the transport and the deck."""
        return {"transport": self.panel, "deck": self.deck}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do an act: ``{"act": name}``."""
        name = str(message["act"])
        if name not in (*MOTIONS, "reset_timer"):
            raise ValueError(f"the transport knows no {message!r}")
        refused = self.act(lambda: self.bench.do_act(name))
        self.panel.answer = self._answer.to(name, refused or "", refused is None)
        self.live()

    def refresh(self) -> None:
        """Show the transport as it is."""
        if self._answer.outdated():
            self.panel.answer = self._answer.to("", "")
        self.live()

    def live(self) -> None:
        """Show the transport as it is now."""
        bench, deck = self.bench, self.bench.station.deck
        now = json.dumps(
            {
                "held": bench.held,
                "mode": deck.mode,
                "text": say("transport.lesson") if bench.held else mode_sentence(deck),
                "because": typeset(deck.stopped_because or bench.notice),
                "timer": deck.timer_text,
                "supply": tape_time(deck.supply_m, deck) if deck.reel_fitted else "",
                "takeup": tape_time(deck.takeup_m, deck) if deck.reel_fitted else "",
                "deck": deck_numbers(deck),
                "sentence": deck_sentence(deck),
            }
        )
        if now != self.panel.now:
            self.panel.now = self.deck.now = now
