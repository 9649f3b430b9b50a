"""Names, units and sources of everything in `sim`, on one page made from its data and docstrings.

``python -m bandbench.nomenclature`` writes ``sim/nomenclature.md``; with ``--check`` it only says whether the page is
still what the sources say. `bandbench.docstrings` reads the docstrings, `bandbench.constants` the numbers.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, Field, fields, is_dataclass
from pathlib import Path
from typing import Any

import sim
from bandbench.bench.faults import FAULTS
from bandbench.constants import Constant, constants_of, unmarked
from bandbench.docstrings import Quantity, classes_of, marks_in, quantities_of, readable, room_modules, unit_by_name
from sim.condition import Condition
from sim.controls import CONTROLS, STAGES
from sim.faults import apply_fault
from sim.instruments import MEASUREMENTS, TEST_POINTS, is_servo_wave
from sim.servos import TRACES
from sim.signals import SIGNALS
from sim.standards import FOOTPRINT, PRACTICES, STANDARDS, Footprint, Practice, Standard
from sim.tape import TAPES

__all__ = ["PAGE", "main", "page"]

PAGE = Path(sim.__file__).parent / "nomenclature.md"
_COMMAND = "python -m bandbench.nomenclature"
# What the tables of the first part show already.
_TABLED = {
    (record.__name__, entry.name) for record in (Standard, Practice, Footprint, Condition) for entry in fields(record)
}
_NONE = "–"

_HEAD = f"""# Names, units and sources

Made by `{_COMMAND}` from the data and the docstrings of `sim`; correct them, not this page.
What the equations mean is told in [model.md](model.md); what holds them to the outside world stands in
[outside_checks.md](outside_checks.md).

Names carry their unit as a suffix (`_hz`, `_s`, `_um`, `_db`, `_deg`, `_pct`). "Level unit" is IRE in 525/60 and mV in
625/50. Times that say how early something is are positive to the LEFT on the picture: a convention of this project, no
published one was found.

Where a number comes from:

| mark | meaning |
|---|---|
| PUB | a published source whose text or official abstract was read |
| QUOTED | a published source known only through a later quotation |
| DERIVED | arithmetic from marked numbers |
| TRADE | common practice in the trade, no source |
| MEMORY | from memory, not checked: people see it as "typical" |
| MODEL | a free parameter of this simulator |

A dash under "mark" means that the text beside the quantity gives none: it is an argument, or follows from the others.
"""


def _table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [f"| {' | '.join(header)} |", "|" + "---|" * len(header)]
    lines += [f"| {' | '.join(cell.replace('|', chr(92) + '|').strip() for cell in row)} |" for row in rows]
    return "\n".join(lines)


def _code(name: str) -> str:
    return f"`{name}`"


def _marks(text: str) -> str:
    return ", ".join(marks_in(text)) or _NONE


def _without_mark(text: str) -> str:
    """Return a provenance text without the mark it begins with, for a column beside one of marks."""
    mark = marks_in(text)[0] if marks_in(text) else ""
    return (re.sub(rf"^{mark}\b[,;:]?\s*", "", text) if mark else text) or _NONE


def _folded(names: Iterable[str]) -> list[tuple[str, str]]:
    """Fold the names of four heads into one row each: (name to show, name of the first)."""
    shown: dict[str, str] = {}
    for name in names:
        shown.setdefault(re.sub(r"_[1-4]$", "_1 … _4", name), name)
    return list(shown.items())


def _of_any_head(text: str, is_folded: bool) -> str:
    return re.sub(r"\b1\b", "N", text) if is_folded else text


# --- data ----------------------------------------------------------------------------------------------------------


def _documented(record: type) -> dict[str, Quantity]:
    return {quantity.name: quantity for quantity in classes_of(record)}


def _standards() -> str:
    known = _documented(Standard)
    rows = []
    for entry in fields(Standard):
        if entry.name in ("name", "provenance"):
            continue
        quantity = known[entry.name]
        row = [_code(entry.name), quantity.meaning, quantity.unit or _NONE]
        for standard in STANDARDS.values():
            text = standard.provenance.get(entry.name, "")
            unit = standard.level_unit if quantity.unit == "level unit" else quantity.unit
            row += [readable(getattr(standard, entry.name), unit), _marks(text), _without_mark(text)]
        rows.append(row)
    for name, member in vars(Standard).items():
        if isinstance(member, property):
            quantity = known[name]
            row = [_code(name), quantity.meaning, quantity.unit or _NONE]
            for standard in STANDARDS.values():
                row += [readable(getattr(standard, name), quantity.unit), "DERIVED", "from the rows above"]
            rows.append(row)
    header = ["name", "meaning", "unit"]
    for standard in STANDARDS.values():
        header += [standard.name, "mark", "source"]
    return "## Scanning standards\n\n" + _table(header, rows)


def _practices() -> str:
    known = _documented(Practice)
    rows = []
    for practice in PRACTICES.values():
        for entry in fields(Practice):
            if entry.name in ("name", "standard", "provenance"):
                continue
            quantity, text = known[entry.name], practice.provenance[entry.name]
            value = readable(getattr(practice, entry.name), quantity.unit)
            rows.append((practice.name, _code(entry.name), quantity.meaning, value, _marks(text), _without_mark(text)))
    return "## Recording practices\n\n" + _table(("practice", "name", "meaning", "value", "mark", "source"), rows)


def _footprint() -> str:
    known = _documented(Footprint)
    rows = []
    for entry in fields(Footprint):
        if entry.name != "provenance":
            quantity, text = known[entry.name], FOOTPRINT.provenance[entry.name]
            value = readable(getattr(FOOTPRINT, entry.name), quantity.unit)
            rows.append((_code(entry.name), quantity.meaning, value, _marks(text), _without_mark(text)))
    return "## Footprint on tape\n\n" + _table(("name", "meaning", "value", "mark", "source"), rows)


def _controls() -> str:
    rows = []
    for shown, name in _folded(CONTROLS):
        spec, is_folded = CONTROLS[name], shown != name
        if spec.kind == "number":
            span = f"{spec.minimum:g} to {spec.maximum:g}"
            default, steps = f"{spec.default:g}", f"{spec.fine_step:g} / {spec.step:g} / {spec.coarse_step:g}"
        else:
            choices = spec.choices or ("off", "on")
            span, default, steps = ", ".join(choices), choices[int(spec.default)], _NONE
        label, words = (_of_any_head(text, is_folded) for text in (spec.label, spec.description))
        rows.append((_code(shown), label, spec.unit or _NONE, span, default, steps, STAGES[spec.stage].title, words))
    header = ("name", "label", "unit", "range", "default", "fine / normal / coarse step", "stage", "what it does")
    return "## Controls\n\n" + _table(header, rows)


def _default_of(entry: Field[Any]) -> Any:
    if entry.default is not MISSING:
        return entry.default
    return entry.default_factory() if entry.default_factory is not MISSING else MISSING


def _condition() -> str:
    known = _documented(Condition)
    rows = []
    for entry in fields(Condition):
        if entry.name not in known:
            raise LookupError(f"sim/condition.py: the docstring of Condition says nothing of {entry.name}; add it.")
        quantity = known[entry.name]
        rows.append(
            (_code(entry.name), quantity.meaning, quantity.unit, _plain(_default_of(entry)), _marks(quantity.text))
        )
    words = "What is wrong or worn, hidden from the trainee; every default is a perfect machine."
    return f"## Hidden condition\n\n{words}\n\n" + _table(("name", "meaning", "unit", "default", "mark"), rows)


def _plain(value: Any) -> str:
    if isinstance(value, tuple) and value and len(set(value)) == 1:
        return f"{_plain(value[0])}, all {len(value)}"
    return readable(value, "")


def _changes(before: Any, after: Any, prefix: str = "") -> list[str]:
    """Return what differs between two records of one kind, fields of fields included."""
    found = []
    for entry in fields(before):
        old, new = getattr(before, entry.name), getattr(after, entry.name)
        if is_dataclass(old):
            found += _changes(old, new, f"{prefix}{entry.name}.")
        elif old != new:
            found.append(f"{_code(prefix + entry.name)} {readable(new, unit_by_name(entry.name))}")
    return found


def _faults() -> str:
    rows = []
    for shown, name in _folded(FAULTS):
        fault, is_folded = FAULTS[name], shown != name
        worst = ", ".join(_changes(Condition(), apply_fault(Condition(), fault, 1.0)))
        title, words = (_of_any_head(text, is_folded) for text in (fault.title, fault.description))
        rows.append((_code(shown), title, words, worst))
    words = "Severity runs from 0 to 1; a fault of one head is shown for head 1. How far each goes is MODEL."
    header = ("name", "title", "what it looks like", "at severity 1 becomes")
    return f"## Faults\n\n{words}\n\n" + _table(header, rows)


def _tapes() -> str:
    rows = []
    for tape in TAPES.values():
        given = {entry.name: getattr(tape, entry.name) for entry in fields(tape) if _default_of(entry) is MISSING}
        plain = type(tape)(**given)
        carries = ", ".join(_changes(plain, tape)) or "no errors of its own"
        made = "as this machine is set" if tape.recorded_here else f"{tape.standard}, {tape.practice}"
        rows.append((_code(tape.name), tape.title, made, _code(tape.signal), carries, tape.description))
    words = "All invented (MODEL): people, stations, workshops and numbers."
    header = ("name", "title", "recorded", "signal", "what it carries", "description")
    return f"## Tapes\n\n{words}\n\n" + _table(header, rows)


def _signals() -> str:
    rows = [
        (_code(spec.name), spec.title, spec.description, _marks(spec.source), spec.source) for spec in SIGNALS.values()
    ]
    return "## Test signals\n\n" + _table(("name", "title", "what it is for", "mark", "source"), rows)


def _measurements() -> str:
    rows = []
    for shown, name in _folded(MEASUREMENTS):
        spec, is_folded = MEASUREMENTS[name], shown != name
        label, words = (_of_any_head(text, is_folded) for text in (spec.label, spec.description))
        rows.append((_code(shown), label, spec.unit, words))
    words = "Readings are taken from signals alone, never from the hidden condition."
    return f"## Measurements\n\n{words}\n\n" + _table(("name", "label", "unit", "meaning"), rows)


def _test_points() -> str:
    rows = []
    for shown, name in _folded(TEST_POINTS):
        point, is_folded = TEST_POINTS[name], shown != name
        label, words = (_of_any_head(text, is_folded) for text in (point.label, point.description))
        units = {"rf": "of nominal RF", "control": "of its peak", "carrier": "MHz", "video": "level unit"}
        unit = units.get(point.kind) or ("of nominal" if is_servo_wave(name) else TRACES[point.trace].unit)
        stage = STAGES[point.stage].title if point.stage in STAGES else _NONE
        rows.append((_code(shown), label, stage, unit, words))
    return "## Test points\n\n" + _table(("name", "label", "stage", "unit", "meaning"), rows)


# --- docstrings and constants --------------------------------------------------------------------------------------


def _room(module: str) -> str:
    """Return what one module computes, and its constants; empty if it has neither."""
    summary, quantities = quantities_of(module)
    constants = constants_of(module)
    parts = []
    quantities = [quantity for quantity in quantities if (quantity.owner, quantity.name) not in _TABLED]
    if quantities:
        rows, last = [], ""
        for quantity in quantities:
            owner = _code(quantity.owner) if quantity.owner != last else ""
            name = "*result*" if quantity.name == "" else _code(quantity.name)
            rows.append((owner, name, quantity.unit, quantity.meaning, _marks(quantity.text)))
            last = quantity.owner
        parts.append(_table(("of", "quantity", "unit", "meaning", "mark"), rows))
        sources = dict.fromkeys((quantity.owner, quantity.source) for quantity in quantities if quantity.source)
        if sources:
            parts.append("\n".join(f"- {_code(owner)}: {source}" for owner, source in sources))
    if constants:
        parts.append(_table(("constant", "value", "mark", "why"), _constant_rows(constants)))
    return f"### `{module}`\n\n{summary}\n\n" + "\n\n".join(parts) if parts else ""


def _constant_rows(constants: Sequence[Constant]) -> Iterable[tuple[str, str, str, str]]:
    last = ""
    for constant in constants:
        value = readable(constant.value, unit_by_name(constant.name))
        why = "as above" if constant.comment and constant.comment == last else constant.comment or _NONE
        yield _code(constant.name), value, _marks(constant.comment), why
        last = constant.comment


def _rooms() -> str:
    words = (
        "In the order in which the signal meets them, as far as there is one. Whole-numbered constants are counts and "
        "sizes of the program; every other constant must carry a mark in the comment above it, which a test demands. "
        "The training around the machine (`sim.training`) has no physics and is left out."
    )
    rooms = [text for text in map(_room, room_modules()) if text]
    return f"## What each module computes\n\n{words}\n\n" + "\n\n".join(rooms)


_SECTIONS: Mapping[str, Callable[[], str]] = {
    "standards": _standards,
    "practices": _practices,
    "footprint": _footprint,
    "controls": _controls,
    "condition": _condition,
    "faults": _faults,
    "tapes": _tapes,
    "signals": _signals,
    "measurements": _measurements,
    "test points": _test_points,
    "rooms": _rooms,
}


def page() -> str:
    """Return the whole page."""
    return "\n\n".join([_HEAD.strip(), *(section() for section in _SECTIONS.values())]) + "\n"


def main(words: Sequence[str] | None = None) -> int:
    """Write the page, or check the one that is there.

    Parameters
    ----------
    words : Sequence[str] | None
        The command line after the program's name; None takes this process's own.

    Returns
    -------
    int
        Exit status: 0, or 1 if ``--check`` found the page stale or a constant without a mark.
    """
    parser = argparse.ArgumentParser(prog=_COMMAND, description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; fail if the page is stale")
    arguments = parser.parse_args(words)
    wanted = page()
    if not arguments.check:
        PAGE.write_text(wanted, encoding="utf-8")
        print(f"wrote {PAGE.parent.name}/{PAGE.name}")
        return 0
    complaints = [f"{text} has no provenance mark in the comment above it" for text in unmarked()]
    if not PAGE.exists() or PAGE.read_text(encoding="utf-8") != wanted:
        complaints.append(
            f"{PAGE.parent.name}/{PAGE.name} is not what the sources of sim say now: run {_COMMAND} and commit the page"
        )
    for complaint in complaints:
        print(complaint, file=sys.stderr)
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
