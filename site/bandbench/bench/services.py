"""Services and locks: air, vacuum, tension, head wheel, capstan, head hours; each as a number and in words."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

import param

from bandbench.bench.readings import typeset, unit_sign
from bandbench.bench.view import Action, Part, View, script
from bandbench.bench.words import say
from sim.servos import describe_servos, lock_indicators
from sim.transport import MODES

if TYPE_CHECKING:
    from bandbench.bench.bench import Bench
    from sim.station import Station

__all__ = ["ServicesPanel", "ServicesView", "service_rows"]

_NARROW = "\N{NO-BREAK SPACE}"
_WHEEL_LOCKS = ("speed", "vertical", "horizontal")
# Which locks are asked for in which mode; one that is missing elsewhere is not wrong.
_LOCKS_ASKED: Mapping[str, tuple[str, ...]] = dict.fromkeys(MODES, ()) | {
    "standby": _WHEEL_LOCKS,
    "record": (*_WHEEL_LOCKS, "capstan"),
    "play": (*_WHEEL_LOCKS, "control_track", "framed", "capstan"),
}


class ServicesPanel(Part):
    """Rows of a label, a number with its unit and a verdict in words, and a sentence on the servos.

    Attributes
    ----------
    rows : str
        JSON: name, label, value, verdict in words, and whether it is as it should be (null where nothing is asked).
    locks : str
        JSON: the same without values, for every lock of the servos.
    sentence : str
        The servos in words.
    """

    rows = param.String(default="[]")
    locks = param.String(default="[]")
    sentence = param.String(default="")

    _esm = script("services")


def _row(name: str, value: str, verdict: str, ok: bool | None) -> dict[str, object]:
    return {"name": name, "label": say(f"services.{name}"), "value": value, "verdict": verdict, "ok": ok}


def service_rows(station: Station) -> list[dict[str, object]]:
    """Return the meters of the services: name, label, value with unit, verdict, and whether that is as it should be.

    What is switched off is neither right nor wrong.
    """
    deck, wheel = station.deck, station.wheel

    def verdict(good: bool, wanted: bool) -> tuple[str, bool | None]:
        if good:
            return say("services.ok"), True
        return (say("services.not_ok"), False) if wanted else (say("services.off"), None)

    running = deck.mode != "stop"
    pulled = running or (deck.threaded and not deck.covers_open and not deck.isolated)
    wheel_locked = wheel.state == "horizontal"
    tension = (
        ("supply_tension", deck.supply_tension_n, deck.supply_arm),
        ("takeup_tension", deck.takeup_tension_n, deck.takeup_arm),
    )
    return [
        _row("air", f"{deck.air_kpa:.0f}{_NARROW}kPa", *verdict(deck.air_ok, running or not deck.wheel_at_rest)),
        _row("vacuum", f"{deck.vacuum_kpa:.1f}{_NARROW}kPa", *verdict(deck.vacuum_ok, running)),
        *(
            _row(
                name,
                say("services.pull", newton=f"{pull_n:.1f}", percent=f"{100.0 * arm:.0f}"),
                *verdict(deck.tension_ok and pulled, pulled),
            )
            for name, pull_n, arm in tension
        ),
        _row("wheel", f"{wheel.rate_hz:.1f}{_NARROW}{unit_sign('rev/s')}", *verdict(wheel_locked, deck.wheel_driven)),
        _row("hours", f"{deck.head_hours_h:.2f}{_NARROW}h", "", None),
        _row("timer", deck.timer_text, "", None),
    ]


class ServicesView(View):
    """Services and locks."""

    WORDS: ClassVar[str] = "services"

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        super().__init__(bench, act)
        self.panel = ServicesPanel(self.receive, words=self.words)
        self.refresh()

    def roots(self) -> dict[str, Any]:
        """Return the meters."""
        return {"services": self.panel}

    def receive(self, message: Mapping[str, Any]) -> None:
        """Refuse: the meters have nothing to press."""
        raise ValueError(f"the services send no message, got {message!r}")

    def refresh(self) -> None:
        """Read the meters."""
        self.watch()

    def watch(self) -> None:
        """Read the meters."""
        station = self.bench.station
        deck, wheel, capstan = station.deck, station.wheel, station.capstan
        rows, sentence = service_rows(station), typeset(describe_servos(wheel, capstan, station.servo_history))
        if not self.bench.readings_shown:
            # The lamps stay; what the meters read does not go to the page at all.
            rows = [row | ({} if row["name"] == "timer" else {"value": say("path.away")}) for row in rows]
            sentence = say("meters.away")
        shown = {
            "rows": json.dumps(rows),
            "locks": json.dumps(
                [
                    {
                        "name": lock.name,
                        "label": lock.label,
                        "verdict": say("services.yes" if lock.on else "services.no"),
                        "ok": True if lock.on else (False if lock.name in _LOCKS_ASKED[deck.mode] else None),
                        "about": typeset(lock.sentence),
                    }
                    for lock in lock_indicators(wheel, capstan)
                ]
            ),
            "sentence": sentence,
        }
        changed = {name: text for name, text in shown.items() if getattr(self.panel, name) != text}
        if changed:
            self.panel.param.update(**changed)
