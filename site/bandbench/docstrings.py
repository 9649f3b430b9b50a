"""Read quantities with their units and sources out of the numpydoc docstrings of `sim`.

Contents: `marks_in`, `unit_in`, `unit_by_name`, `readable` (small words about units and marks); `sections_of`,
`entries_of` (the docstring); `Quantity`, `quantities_of`, `classes_of`, `room_modules` (what a module documents).
"""

from __future__ import annotations

import ast
import inspect
import re
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sim
from sim.training.lesson import PROVENANCE_MARKS

__all__ = [
    "Quantity",
    "classes_of",
    "entries_of",
    "marks_in",
    "quantities_of",
    "readable",
    "room_modules",
    "sections_of",
    "source_of",
    "unit_by_name",
    "unit_in",
]

# What texts for people say instead of a mark.
_WORDS = {"from memory": "MEMORY", "as quoted second-hand": "QUOTED", "common practice": "TRADE"}
_MARK = re.compile("|".join([*(rf"\b{mark}\b" for mark in PROVENANCE_MARKS), *(f"(?i:{words})" for words in _WORDS)]))

# A unit stands in brackets of its own, after a blank; what stands in brackets after a name is an index.
_UNIT = re.compile(r"(?<![\w`\])*])\s*\[(`?[^\[\]]{1,40}?)\]")

# Longest first, so that `_um_per_hour` is not taken for hours.
_SUFFIXES = {
    "_um_per_hour": "um/h",
    "_rad_per_s": "rad/s",
    "_m_per_s": "m/s",
    "_per_hz": "1/Hz",
    "_per_um": "1/um",
    "_khz": "kHz",
    "_mhz": "MHz",
    "_deg": "deg",
    "_rad": "rad",
    "_pct": "%",
    "_hz": "Hz",
    "_us": "us",
    "_ns": "ns",
    "_um": "um",
    "_db": "dB",
    "_s": "s",
    "_m": "m",
}
_PREFIXES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"))
_SCALED = ("s", "Hz", "m")

# The rooms of sim in the order the signal visits them; others follow by name, the training is left out.
_ORDER = (
    "standards", "signals", "colour", "fm", "headwheel", "tracking", "headtape", "servos", "dropout", "tape",
    "controltrack", "playback", "timebase", "output", "correction", "controls", "condition", "adjustment",
    "recordchain", "rfpath", "videopath", "frame", "recorder", "instruments",
)  # fmt: skip
_LEFT_OUT = ("training", "errors")


def marks_in(text: str) -> tuple[str, ...]:
    """Return the provenance marks a text gives, in the order it gives them.

    Examples
    --------
    >>> marks_in("DERIVED from 240 rev/s (as quoted second-hand)")
    ('DERIVED', 'QUOTED')
    """
    return tuple(dict.fromkeys(_WORDS.get(found.lower(), found) for found in _MARK.findall(text)))


def unit_in(text: str) -> str:
    """Return the unit that a text gives in brackets, the last if there are several; empty if none.

    Examples
    --------
    >>> unit_in("Recorded wavelength [m]."), unit_in("H[n] of `x[2]`")
    ('m', '')
    """
    found = _UNIT.findall(text)
    return found[-1].strip("`") if found else ""


def unit_by_name(name: str) -> str:
    """Return the unit that a name ends with; empty if none.

    Examples
    --------
    >>> unit_by_name("guide_position_um"), unit_by_name("head_timing_ns_2"), unit_by_name("BOX")
    ('um', 'ns', '')
    """
    bare = re.sub(r"_[1-4]$", "", name.lower())
    if re.search(r"_\d_db$", bare):
        return ""  # "3 dB down", not a level
    return next((unit for suffix, unit in _SUFFIXES.items() if bare.endswith(suffix)), "")


def readable(value: Any, unit: str) -> str:
    """Return a value with its unit for people: seconds, hertz and metres with a prefix, other units as they are.

    Examples
    --------
    >>> readable(4.7e-6, "s"), readable(15734.2657, "Hz"), readable((-6.0, 0.5), "dB"), readable(525, "")
    ('4.7 us', '15.734266 kHz', '-6, 0.5 dB', '525')
    """
    if isinstance(value, Mapping):
        return "; ".join(f"{key}: {readable(item, unit)}" for key, item in value.items())
    if isinstance(value, tuple) and any(isinstance(item, tuple) for item in value):
        return ", ".join(f"({readable(item, unit)})" for item in value)
    items = value if isinstance(value, tuple) else (value,)
    size, prefix = _scale(items, unit)
    return f"{', '.join(_number(item, size) for item in items)} {prefix}{unit}".rstrip()


def _scale(values: tuple[Any, ...], unit: str) -> tuple[float, str]:
    largest = max((abs(item) for item in values if isinstance(item, float)), default=0.0)
    if unit not in _SCALED or not largest:
        return 1.0, ""
    return next(((size, prefix) for size, prefix in _PREFIXES if largest >= 0.9999 * size), (1e-9, "n"))


def _number(value: Any, size: float) -> str:
    return f"{value / size:.8g}" if isinstance(value, float) else str(value)


# --- docstrings ----------------------------------------------------------------------------------------------------


def sections_of(docstring: str) -> dict[str, str]:
    """Return the parts of a docstring by their headings; what stands before the first is called "summary".

    Examples
    --------
    >>> sections_of("Add.\\n\\nReturns\\n-------\\nfloat\\n    Sum [s].")
    {'summary': 'Add.', 'Returns': 'float\\n    Sum [s].'}
    """
    parts, name, start = {}, "summary", 0
    lines = inspect.cleandoc(docstring).splitlines()
    for index in range(1, len(lines)):
        if re.fullmatch(r"-{3,}", lines[index]) and re.fullmatch(r"[A-Z][A-Za-z ]+", lines[index - 1]):
            parts[name] = "\n".join(lines[start : index - 1]).strip("\n")
            name, start = lines[index - 1], index + 1
    parts[name] = "\n".join(lines[start:]).strip("\n")
    return parts


def entries_of(section: str) -> Iterator[tuple[str, str, str]]:
    """Give (names, type, text) of each entry of a Parameters, Returns or Attributes section.

    An entry begins at the margin; its text is indented below it.

    Examples
    --------
    >>> list(entries_of("a_s, b_s : float\\n    Times\\n    [s]."))
    [('a_s, b_s', 'float', 'Times [s].')]
    """
    head, text = "", []  # type: tuple[str, list[str]]
    for line in [*section.splitlines(), "end"]:
        if line.startswith(" ") or not line:
            text.append(line.strip())
            continue
        if head:
            names, _, kind = head.partition(" : ")
            yield names, kind, " ".join(word for word in text if word)
        head, text = line, []


@dataclass(frozen=True)
class Quantity:
    """A number that a function takes or gives, or that an object holds.

    Attributes
    ----------
    owner, name : str
        Function or class, and parameter or attribute; an empty name is what a function returns.
    unit, meaning : str
        As the docstring has them.
    text : str
        Where the marks are looked for: the entry itself or, if that gives none, the notes of its owner.
    source : str
        References of the owner, and the sentences of its notes that give a mark.
    """

    owner: str
    name: str
    unit: str
    meaning: str
    text: str
    source: str


def _meaning(text: str) -> str:
    without_unit = " ".join(_UNIT.sub("", text).split()).removeprefix("Return ")
    return re.sub(r"\s+([.,;:])", r"\1", without_unit[:1].upper() + without_unit[1:])


def _unit_of_result(summary: str, name: str) -> str:
    """Return the unit of what a function returns: its name's, else that of its summary."""
    # What stands behind "at each frequency" is the unit of an argument.
    told = re.sub(r"(at each( RF)? frequency)\s*\[[^\]]*\]", r"\1", " ".join(summary.split()))
    return unit_by_name(name.rpartition(".")[2]) or unit_in(told)


def source_of(parts: Mapping[str, str]) -> str:
    """Return the references of a docstring and the sentences of it that give a mark, as one paragraph."""
    told = [" ".join(parts.get("References", "").split())]
    for name in ("summary", "Notes"):
        for sentence in re.split(r"(?<=[.:])\s+(?=[A-Z`])", " ".join(parts.get(name, "").split())):
            if marks_in(sentence) and sentence.rstrip(":") not in PROVENANCE_MARKS:
                told.append(sentence)
    return " ".join(text for text in told if text)


def _units_of(names: list[str], text: str) -> list[str]:
    """Return the unit of each name of one entry: its own in the text, or the one that all share, or its name's."""
    found = [unit.strip("`") for unit in _UNIT.findall(text)]
    if len(found) == len(names):
        return found
    by_name = [unit_by_name(name) for name in names]
    if any(by_name) or not found:
        return by_name
    return found[-1:] * len(names)


def _of_entries(owner: str, parts: Mapping[str, str], section: str) -> Iterator[Quantity]:
    source, summary = source_of(parts), _first_paragraph(parts["summary"])
    for names, kind, text in entries_of(parts.get(section, "")):
        # A result may be given by its type alone.
        each = [name.strip() for name in names.split(",")] if kind or section != "Returns" else [""]
        for name, unit in zip(each, _units_of(each, text), strict=True):
            shown = "" if section == "Returns" and len(each) == 1 else name
            if section == "Returns" and not unit:
                unit = _unit_of_result(summary, owner)
            if unit or section == "Attributes":
                meaning = _meaning(text) or _meaning(summary)
                yield Quantity(owner, shown, unit, meaning, text if marks_in(text) else source, source)


def _first_paragraph(text: str) -> str:
    return " ".join(text.split("\n\n")[0].split())


def _of_function(name: str, node: ast.FunctionDef) -> Iterator[Quantity]:
    docstring = ast.get_docstring(node)
    if docstring is None:
        return
    parts = sections_of(docstring)
    summary = _first_paragraph(parts["summary"])
    unit = _unit_of_result(summary, name)
    results = list(_of_entries(name, parts, "Returns"))
    if results:
        yield from results
    elif unit:
        source = source_of(parts)
        yield Quantity(name, "", unit, _meaning(summary), summary if marks_in(summary) else source, source)
    yield from (quantity for quantity in _of_entries(name, parts, "Parameters") if quantity.unit)


def _is_property(node: ast.FunctionDef) -> bool:
    return any(ast.unparse(one) in ("property", "cached_property") for one in node.decorator_list)


def _of_class(node: ast.ClassDef) -> Iterator[Quantity]:
    parts = sections_of(ast.get_docstring(node) or "")
    yield from _of_entries(node.name, parts, "Attributes")
    yield from (quantity for quantity in _of_entries(node.name, parts, "Parameters") if quantity.unit)
    for member in node.body:
        if not isinstance(member, ast.FunctionDef) or (member.name.startswith("_") and member.name != "__call__"):
            continue
        if _is_property(member):
            text = _first_paragraph(ast.get_docstring(member) or "")
            yield Quantity(node.name, member.name, unit_in(text) or unit_by_name(member.name), _meaning(text), text, "")
        else:
            yield from _of_function(f"{node.name}.{member.name}".removesuffix(".__call__"), member)


def classes_of(record: type) -> list[Quantity]:
    """Return the quantities that a class documents: attributes and properties, with or without a unit."""
    node = ast.parse(textwrap.dedent(inspect.getsource(record))).body[0]
    assert isinstance(node, ast.ClassDef)
    return list(_of_class(node))


def room_modules() -> list[str]:
    """Return the names of the modules of `sim` that compute something, in the order of the signal."""
    root = Path(sim.__file__).parent
    found = []
    for path in sorted(root.rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        if parts[-1] != "__init__" and parts[0] not in _LEFT_OUT:
            place = _ORDER.index(parts[0]) if parts[0] in _ORDER else len(_ORDER)
            found.append((place, ".".join(("sim", *parts))))
    return [name for _, name in sorted(found)]


def module_path(module: str) -> Path:
    """Return the file of a module of `sim`."""
    return Path(sim.__file__).parents[1].joinpath(*module.split(".")).with_suffix(".py")


def quantities_of(module: str) -> tuple[str, list[Quantity]]:
    """Return the first sentence of a module and every quantity with a unit that its public names document."""
    tree = ast.parse(module_path(module).read_text(encoding="utf-8"))
    summary = _first_paragraph(ast.get_docstring(tree) or "")
    found: list[Quantity] = []
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            found += _of_function(node.name, node)
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            found += (quantity for quantity in _of_class(node) if quantity.unit)
    return summary, found
