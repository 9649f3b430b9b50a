"""Valid input, spoilt: byte by byte, line by line, and by what it means.

Contents: `spoilt`. Everything follows from the generator that is handed in.
"""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from typing import Any

__all__ = ["AWKWARD_TEXTS", "AWKWARD_VALUES", "spoilt"]

AWKWARD_TEXTS = (
    "",
    " ",
    "\x00",
    "\ud800",
    "\u202e",
    "\ufeff",
    "a\u0301",
    "\n",
    "\r\n",
    "'\"<>&",
    "<script>alert(1)</script>",
    "{0}",
    "{name}",
    "%s",
    "../../etc/passwd",
    "=1+1",
    "1e999",
    "nan",
    "NaN",
    "-0",
    "٣",
    "²",
    "I",
    "None",
    "true",
    "x" * 300,
    "9" * 5000,
    "2026-02-30T25:61:61Z",
    "0001-01-01T00:00:00Z",
    "9999-12-31T23:59:59Z",
    "__class__",
    "-1",
    "00000000-0000-0000-0000-000000000000",
    "https://[",
    "mailto:a@b.example",
    "P1D",
    "_" * 80,
    "*" * 40,
    "`" * 41,
)
AWKWARD_VALUES: tuple[object, ...] = (
    *AWKWARD_TEXTS,
    None,
    True,
    False,
    0,
    1,
    -1,
    2**31,
    2**53,
    2**63,
    2**64,
    -(2**63),
    10**400,
    0.0,
    -0.0,
    1e-320,
    1e308,
    float("inf"),
    float("-inf"),
    float("nan"),
    0.1,
    1.5,
    [],
    {},
    [[]],
    [{}],
    {"": ""},
    [None],
    {"format_version": 1},
)
_TOML_VALUES = (
    '""',
    "''",
    "true",
    "false",
    "0",
    "-1",
    "1e400",
    "nan",
    "inf",
    "-inf",
    "9223372036854775807",
    "99999999999999999999",
    "[]",
    "{}",
    "[[]]",
    "[1, 'a']",
    "1979-05-27",
    "07:32:00",
    "1979-05-27T07:32:00Z",
    '"""\na\n"""',
    '"\\u0000"',
    '"a b"',
    '"<b>"',
    "0x10",
    "1_000",
    "[{}]",
    "{a = 1}",
    "1.5",
    '"' + "x" * 400 + '"',
    '"' + "9" * 400 + '"',
)
_BYTES = (
    b"\x00",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\xed\xa0\x80",
    b"{",
    b"}",
    b"[",
    b"]",
    b'"',
    b"\\",
    b"=",
    b"\n",
    b",",
    b":",
)


def spoilt(data: bytes, form: str, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """Return the input with something wrong in it; perhaps with several things.

    Parameters
    ----------
    data : bytes
        Valid input, or spoilt before.
    form : str
        ``json``, ``toml``, ``text`` or ``bytes``.
    chance : random.Random
        Decides.
    others : sequence of bytes
        More input of the kind, to mix with.
    """
    ways = [_bytes]
    if form == "json":
        ways += [_json] * 4
    elif form == "toml":
        ways += [_lines] * 4
    elif form == "text":
        ways += [_text] * 3
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        data = chance.choice(ways)(data, chance, others)
    return data


def _bytes(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    content = bytearray(data)
    place = chance.randrange(len(content) + 1)
    span = min(len(content) - place, chance.choice((1, 1, 2, 4, 16, 64, 400)))
    match chance.randrange(7):
        case 0 if content:
            content[min(place, len(content) - 1)] ^= 1 << chance.randrange(8)
        case 1:
            content[place : place + span] = b""
        case 2:
            content[place:place] = content[place : place + span] * chance.choice((1, 2, 50))
        case 3:
            content[place : place + span] = chance.choice(_BYTES)
        case 4:
            content[place:place] = chance.randbytes(chance.choice((1, 4, 20)))
        case 5:
            del content[place:]
        case _:
            other = chance.choice(others)
            start = chance.randrange(len(other) + 1)
            content[place : place + span] = other[start : start + span]
    return bytes(content)


def _lines(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    lines = data.split(b"\n")
    place = chance.randrange(len(lines))
    match chance.randrange(6):
        case 0:
            del lines[place]
        case 1:
            lines.insert(chance.randrange(len(lines) + 1), lines[place])
        case 2:
            other = chance.randrange(len(lines))
            lines[place], lines[other] = lines[other], lines[place]
        case 3:
            foreign = chance.choice(others).split(b"\n")
            lines.insert(place, chance.choice(foreign))
        case _:
            # The value of a key is the most telling thing to change.
            keyed = [number for number, line in enumerate(lines) if b"=" in line]
            if keyed:
                number = chance.choice(keyed)
                key = lines[number].partition(b"=")[0]
                lines[number] = key + b"= " + chance.choice(_TOML_VALUES).encode()
    return b"\n".join(lines)


def _text(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    text = data.decode("utf-8", "replace")
    place = chance.randrange(len(text) + 1)
    foreign = chance.choice(others).decode("utf-8", "replace")
    piece = chance.choice(
        (chance.choice(AWKWARD_TEXTS), chance.choice("&=:,.+%;?#/-_ 09az"), foreign[: chance.randrange(40)])
    )
    end = place + chance.choice((0, 0, 1, 5, len(text)))
    return (text[:place] + piece + text[end:]).encode("utf-8", "surrogatepass")


def _json(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    try:
        whole = json.loads(data)
    except (ValueError, RecursionError):
        return _bytes(data, chance, others)
    places = list(_places(whole))
    if not places:
        return json.dumps(chance.choice(AWKWARD_VALUES)).encode()
    holder, key = chance.choice(places)
    value = holder[key]
    match chance.randrange(8):
        case 0:
            del holder[key]
        case 1 if isinstance(holder, dict):
            holder[chance.choice((*AWKWARD_TEXTS, str(key) + "x"))] = value
        case 1:
            holder.insert(chance.randrange(len(holder) + 1), value)
        case 2:
            other_holder, other_key = chance.choice(places)
            # A copy: a value inside itself would have no end.
            holder[key] = json.loads(json.dumps(other_holder[other_key]))
        case 3 if isinstance(value, int | float) and abs(value) < 2.0**80:
            holder[key] = value * chance.choice((-1, 0, 1.0000001, 10, 1e9, 0.5)) + chance.choice((0, 0, 1, -1))
        case 3 if isinstance(value, str):
            cut = chance.randrange(len(value) + 1)
            holder[key] = value[:cut] + chance.choice(AWKWARD_TEXTS) + value[cut:]
        case 4 if isinstance(value, str) and value[:1] in "{[":
            # A log within a row is text that holds JSON itself.
            holder[key] = _json(value.encode("utf-8", "surrogatepass"), chance, others).decode("utf-8", "replace")
        case 5 if chance.random() < 0.05:
            holder[key] = _deep(chance)
        case _:
            holder[key] = chance.choice(AWKWARD_VALUES)
    return json.dumps(whole).encode()


def _deep(chance: random.Random) -> object:
    value: object = 0
    for _ in range(chance.choice((20, 200))):
        value = [value] if chance.random() < 0.5 else {"a": value}
    return value


def _places(value: object) -> list[tuple[Any, Any]]:
    """Return every place in nested tables and lists: what holds it, and under which key."""
    found: list[tuple[Any, Any]] = []
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            found += [(one, key) for key in one]
            waiting += one.values()
        elif isinstance(one, list):
            found += [(one, place) for place in range(len(one))]
            waiting += one
    return found
