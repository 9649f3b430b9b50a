"""Everything a hand does at a running machine apart from turning its controls, by name, with what is chosen in it.

Contents: `DEEDS`, `DeedSpec`, `check_deed`, `do_deed`, `deed_words`. The acts of the transport (`sim.transport.ACTS`)
are among them; the others choose what a recording writes, how an edit is made, which reel is taken to hand and what
sound is sent.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from sim.controls import STAGES
from sim.errors import BandbenchError, known_names
from sim.reel import REELS, Reel, make_reel
from sim.sound import SOURCES
from sim.station import Station
from sim.transport import ACTS, EDIT_MODES, TRACKS
from sim.wording import wording

__all__ = ["DEEDS", "ENDLESS", "DeedError", "DeedSpec", "check_deed", "deed_words", "do_deed"]

ENDLESS = "endless"
"""Name under which the machine's own endless tape is taken to hand."""

_JOIN = "+"
_YES, _NO = "yes", "no"

Shelf = MutableMapping[str, Reel]


class DeedError(BandbenchError):
    """A deed that no machine knows, or one with a choice it does not have."""


@dataclass(frozen=True)
class DeedSpec:
    """One deed: its words, and what can be chosen in it.

    Attributes
    ----------
    name, title : str
        Key and label.
    choices : mapping of str to str
        What can be chosen, with its words; empty where nothing is, and where `kind` says that it is a number.
    kind : str
        ``act`` (nothing is chosen), ``one`` (one of `choices`), ``some`` (one or more of them, joined by ``+``) or
        ``seconds`` (a number).
    do : callable
        Does it at a station: station, choice, and the shelf of the reels that were used before.
    """

    name: str
    title: str
    kind: str
    choices: Mapping[str, str]
    do: Callable[[Station, str, Shelf], None]


def check_deed(name: str, choice: str = "") -> str:
    """Return the choice as it is logged: several in the order in which they are listed.

    Raises
    ------
    DeedError
        If there is no such deed, or it cannot be done with this choice.

    Examples
    --------
    >>> check_deed("select_tracks", "programme+video")
    'video+programme'
    """
    spec = DEEDS.get(name)
    if spec is None:
        raise DeedError(wording("deeds.no_deed", name=name, names=known_names(DEEDS)))
    if spec.kind == "act":
        if choice:
            raise DeedError(wording("deeds.nothing_to_choose", name=name, choice=repr(choice)))
        return ""
    if spec.kind == "seconds":
        return repr(_seconds(name, choice))
    if not choice:
        if spec.kind == "some":
            raise DeedError(wording("deeds.choose_some", name=name))
        raise DeedError(wording("deeds.choose_one", name=name))
    given = choice.split(_JOIN) if spec.kind == "some" else [choice]
    for one in given:
        if one not in spec.choices:
            raise DeedError(wording("deeds.no_choice", name=name, choice=repr(one), choices=known_names(spec.choices)))
    return _JOIN.join(one for one in spec.choices if one in given)


def _seconds(name: str, choice: str) -> float:
    # How long it may be is for the machine to say.
    try:
        return float(choice)
    except ValueError:
        raise DeedError(wording("deeds.no_seconds", name=name, choice=repr(choice))) from None


def do_deed(station: Station, name: str, choice: str, shelf: Shelf) -> None:
    """Do a deed at a machine.

    Parameters
    ----------
    station : Station
        The machine.
    name, choice : str
        From `DEEDS`.
    shelf : mapping of str to Reel
        Reels that were on the machine before, with what was recorded on them; a reel that is taken to hand for the
        first time is added.

    Raises
    ------
    DeedError
        If there is no such deed or choice.
    BandbenchError
        If the machine refuses, with the reason.
    """
    DEEDS[name].do(station, check_deed(name, choice), shelf)


def deed_words(name: str, choice: str = "") -> str:
    """Return a deed and what was chosen in it for people.

    Examples
    --------
    >>> deed_words("select_edit_mode", "insert")
    'How a recording joins: Insert'
    """
    spec = DEEDS[name]
    if not choice:
        return spec.title
    words = wording("list.and").join(spec.choices.get(one, one) for one in choice.split(_JOIN))
    return f"{spec.title}: {words} s" if spec.kind == "seconds" else f"{spec.title}: {words}"


def _act(name: str) -> Callable[[Station, str, Shelf], None]:
    return lambda station, choice, _shelf: station.do(name, choice)


def _select_tracks(station: Station, choice: str, _shelf: Shelf) -> None:
    station.deck.select_tracks(choice.split(_JOIN))


def _select_edit_mode(station: Station, choice: str, _shelf: Shelf) -> None:
    station.deck.select_edit_mode(choice)


def _edit_length(station: Station, choice: str, _shelf: Shelf) -> None:
    station.edit = replace(station.edit, length_s=float(choice))


def _colour_framed(station: Station, choice: str, _shelf: Shelf) -> None:
    station.edit = replace(station.edit, colour_framed=choice == _YES)


def _by_frame_pulse(station: Station, choice: str, _shelf: Shelf) -> None:
    station.edit = replace(station.edit, by_frame_pulse=choice == _YES)


def _delayed_erase(station: Station, choice: str, _shelf: Shelf) -> None:
    station.edit = replace(station.edit, delayed_erase=choice == _YES)


def _take_reel(station: Station, choice: str, shelf: Shelf) -> None:
    if choice == ENDLESS:
        station.choose_reel(None)
        return
    if REELS[choice].standard != station.standard.name:
        raise DeedError(wording("deeds.no_reel_of_standard", choice=repr(choice), names=known_names(_fitting(station))))
    reel = shelf.get(choice)
    if reel is None:
        reel = make_reel(choice)
    station.choose_reel(reel)
    shelf[choice] = reel


def _fitting(station: Station) -> tuple[str, ...]:
    return tuple(name for name, spec in REELS.items() if spec.standard == station.standard.name)


def _source(track: str) -> Callable[[Station, str, Shelf], None]:
    return lambda station, choice, _shelf: station.sound.choose_source(track, choice)


_NOTHING: Mapping[str, str] = MappingProxyType({})
_SWITCH: Mapping[str, str] = MappingProxyType({_YES: "yes", _NO: "no"})
_STAGES = {name: stage.title for name, stage in STAGES.items()}
_REELS = {ENDLESS: wording("deeds.machines_own_endless_tape")} | {name: spec.title for name, spec in REELS.items()}
_SOUNDS = {name: source.title for name, source in SOURCES.items()}
_DEEDS = (
    *(
        DeedSpec(
            act.name,
            act.title,
            "one" if act.takes_stage else "act",
            _STAGES if act.takes_stage else _NOTHING,
            _act(act.name),
        )
        for act in ACTS.values()
    ),
    DeedSpec(
        "select_tracks", wording("deeds.tracks_record"), "some", {track: track for track in TRACKS}, _select_tracks
    ),
    DeedSpec("select_edit_mode", wording("deeds.how_recording_joins"), "one", EDIT_MODES, _select_edit_mode),
    DeedSpec("edit_length_s", wording("deeds.length_insert"), "seconds", _NOTHING, _edit_length),
    DeedSpec("edit_colour_framed", wording("deeds.edit_colour_sequence"), "one", _SWITCH, _colour_framed),
    DeedSpec("edit_by_frame_pulse", wording("deeds.edit_frame_pulse"), "one", _SWITCH, _by_frame_pulse),
    DeedSpec("edit_delayed_erase", wording("deeds.erase_head_ahead_heads"), "one", _SWITCH, _delayed_erase),
    DeedSpec("take_reel", wording("deeds.reel_taken_hand"), "one", _REELS, _take_reel),
    DeedSpec("programme_source", wording("deeds.sent_programme_sound"), "one", _SOUNDS, _source("programme")),
    DeedSpec("cue_source", wording("deeds.sent_cue"), "one", _SOUNDS, _source("cue")),
)
DEEDS: Mapping[str, DeedSpec] = MappingProxyType({deed.name: deed for deed in _DEEDS})
"""Every deed by its name."""
