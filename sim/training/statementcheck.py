"""Whether an xAPI statement is one that a record store must take: checked before it is sent, and in the tests.

Contents: `statement_problems`. The rules are those of xAPI 1.0.3 as far as IEEE 9274.1.1-2023 (2.0) keeps them, so that
a statement without problems is taken under either version: exact keys and types, no null outside extensions, nothing
empty, identifiers with a scheme, times in UTC. What belongs to the store (``stored``, ``authority``) or came with 2.0
only (``contextAgents``, ``contextGroups``) is refused, too: it is never sent from here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime

from sim.errors import known_names

__all__ = ["statement_problems"]

_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", re.IGNORECASE)
# A scheme and something after it, without blanks and without what RFC 3987 keeps out of identifiers.
_IRI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[^\s<>\"{}|\\^`]+")
_MAILBOX = re.compile(r"mailto:[^\s@]+@[^\s@]+")
_SHA1 = re.compile(r"[0-9a-fA-F]{40}")
_LANGUAGE = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,9})?Z")
# Whole weeks, or days and times; of the seconds at most hundredths, which is all that stores compare.
_DURATION = re.compile(
    r"P(\d+W|(?=[\dT])(\d+Y)?(\d+M)?(\d+D)?(T(?=\d)(\d+H)?(\d+M)?(\d+(\.\d{1,2})?S)?)?)",
)

_Found = Iterator[str]
_Rule = Callable[[object, str], _Found]


def _text(value: object, where: str) -> _Found:
    if not isinstance(value, str):
        yield f"{where}: is {_kind(value)}, not a text"
    elif not value:
        yield f"{where}: is empty"


def _matching(pattern: re.Pattern[str], what: str) -> _Rule:
    def rule(value: object, where: str) -> _Found:
        if not isinstance(value, str):
            yield f"{where}: is {_kind(value)}, not a text"
        elif not pattern.fullmatch(value):
            yield f"{where}: {value!r} is not {what}"

    return rule


_uuid = _matching(_UUID, "a UUID")
_iri = _matching(_IRI, "an IRI with a scheme")
_language = _matching(_LANGUAGE, "a language tag")
_duration = _matching(_DURATION, "an ISO 8601 duration to at most a hundredth of a second")


def _flag(value: object, where: str) -> _Found:
    if not isinstance(value, bool):
        yield f"{where}: is {_kind(value)}, not true or false"


def _number(value: object, where: str) -> _Found:
    if isinstance(value, bool) or not isinstance(value, int | float):
        yield f"{where}: is {_kind(value)}, not a number"
    elif not math.isfinite(value):
        yield f"{where}: {value!r} is no number of JSON"


def _time(value: object, where: str) -> _Found:
    yield from _matching(_TIME, "a time in UTC that ends in Z")(value, where)
    if isinstance(value, str) and _TIME.fullmatch(value):
        try:
            # Python reads at most six digits of a second.
            datetime.fromisoformat(re.sub(r"(\.\d{1,6})\d*Z|Z", r"\1+00:00", value))
        except ValueError as problem:
            yield f"{where}: {value!r} is no time ({problem})"


def _one_of(*allowed: str) -> _Rule:
    def rule(value: object, where: str) -> _Found:
        if value not in allowed:
            yield f"{where}: is {value!r}; use {known_names(allowed)}"

    return rule


def _table(rules: Mapping[str, _Rule], required: tuple[str, ...] = ()) -> _Rule:
    """Return a rule for an object with these keys and no others."""

    def rule(value: object, where: str) -> _Found:
        if not isinstance(value, Mapping):
            yield f"{where}: is {_kind(value)}, not an object"
            return
        if not value:
            yield f"{where}: is an empty object"
        for key in required:
            if key not in value:
                yield f"{where}.{key}: is missing"
        for key, inner in value.items():
            if key not in rules:
                yield f"{where}.{key}: is not a key of xAPI here; use {known_names(rules)}"
            else:
                yield from rules[key](inner, f"{where}.{key}")

    return rule


def _list(inner: _Rule) -> _Rule:
    def rule(value: object, where: str) -> _Found:
        if not isinstance(value, list):
            yield f"{where}: is {_kind(value)}, not a list"
        elif not value:
            yield f"{where}: is an empty list"
        else:
            for place, one in enumerate(value):
                yield from inner(one, f"{where}[{place}]")

    return rule


def _map(key_rule: _Rule, inner: _Rule) -> _Rule:
    def rule(value: object, where: str) -> _Found:
        if not isinstance(value, Mapping):
            yield f"{where}: is {_kind(value)}, not an object"
        elif not value:
            yield f"{where}: is an empty object"
        else:
            for key, one in value.items():
                yield from key_rule(key, f"{where}, key")
                yield from inner(one, f"{where}.{key}")

    return rule


def _any_json(value: object, where: str) -> _Found:
    """In an extension everything of JSON may stand, null and empty objects too."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str):
                yield f"{where}: has a key that is {_kind(key)}, not a text"
            yield from _any_json(inner, f"{where}.{key}")
    elif isinstance(value, list | tuple):
        for place, inner in enumerate(value):
            yield from _any_json(inner, f"{where}[{place}]")
    elif value is not None and not isinstance(value, str | bool):
        yield from _number(value, where)


_language_map = _map(_language, _text)
_extensions = _map(_iri, _any_json)
_account = _table({"homePage": _iri, "name": _text}, ("homePage", "name"))
_IDENTIFIERS: Mapping[str, _Rule] = {
    "mbox": _matching(_MAILBOX, "a mailto: address"),
    "mbox_sha1sum": _matching(_SHA1, "a SHA-1 in hexadecimal"),
    "openid": _iri,
    "account": _account,
}


def _agent(value: object, where: str) -> _Found:
    yield from _table({"objectType": _one_of("Agent"), "name": _text, **_IDENTIFIERS})(value, where)
    if isinstance(value, Mapping):
        given = [key for key in _IDENTIFIERS if key in value]
        if len(given) != 1:
            yield f"{where}: has {len(given)} of {known_names(_IDENTIFIERS)}; exactly one names the person"


def _group(value: object, where: str) -> _Found:
    rules = {"objectType": _one_of("Group"), "name": _text, "member": _list(_agent), **_IDENTIFIERS}
    yield from _table(rules, ("objectType",))(value, where)
    if isinstance(value, Mapping) and not any(key in value for key in ("member", *_IDENTIFIERS)):
        yield f"{where}: is a group with neither members nor an identifier"


def _who(value: object, where: str) -> _Found:
    rule = _group if isinstance(value, Mapping) and value.get("objectType") == "Group" else _agent
    yield from rule(value, where)


_INTERACTIONS = (
    "true-false", "choice", "fill-in", "long-fill-in", "matching", "performance", "sequencing", "likert", "numeric",
    "other",
)  # fmt: skip
_component = _table({"id": _text, "description": _language_map}, ("id",))
_definition = _table(
    {
        "name": _language_map,
        "description": _language_map,
        "type": _iri,
        "moreInfo": _iri,
        "extensions": _extensions,
        "interactionType": _one_of(*_INTERACTIONS),
        "correctResponsesPattern": _list(_text),
        **dict.fromkeys(("choices", "scale", "source", "target", "steps"), _list(_component)),
    }
)
_activity = _table({"objectType": _one_of("Activity"), "id": _iri, "definition": _definition}, ("id",))
_verb = _table({"id": _iri, "display": _language_map}, ("id",))
_reference = _table({"objectType": _one_of("StatementRef"), "id": _uuid}, ("objectType", "id"))


def _score(value: object, where: str) -> _Found:
    found = list(_table(dict.fromkeys(("scaled", "raw", "min", "max"), _number))(value, where))
    yield from found
    if found or not isinstance(value, Mapping):
        return
    if not -1.0 <= value.get("scaled", 0.0) <= 1.0:
        yield f"{where}.scaled: {value['scaled']!r} is outside -1 to 1"
    low, high = value.get("min", -math.inf), value.get("max", math.inf)
    if low >= high:
        yield f"{where}.min: {low!r} is not below max = {high!r}"
    elif not low <= value.get("raw", low if math.isfinite(low) else high) <= high:
        yield f"{where}.raw: {value['raw']!r} is outside {low!r} to {high!r}"


_result = _table(
    {
        "score": _score,
        "success": _flag,
        "completion": _flag,
        "response": _text,
        "duration": _duration,
        "extensions": _extensions,
    }
)
_context = _table(
    {
        "registration": _uuid,
        "instructor": _who,
        "team": _group,
        "contextActivities": _table(dict.fromkeys(("parent", "grouping", "category", "other"), _list(_activity))),
        "revision": _text,
        "platform": _text,
        "language": _language,
        "statement": _reference,
        "extensions": _extensions,
    }
)
_statement = _table(
    {
        "id": _uuid,
        "actor": _who,
        "verb": _verb,
        "object": _activity,
        "result": _result,
        "context": _context,
        "timestamp": _time,
    },
    # The id and the time are the sender's to give, if a statement is to be sent again without being there twice.
    ("id", "actor", "verb", "object", "timestamp"),
)


def _kind(value: object) -> str:
    if value is None:
        return "null"
    names = {bool: "a boolean", int: "a number", float: "a number", str: "a text", list: "a list", dict: "an object"}
    return names.get(type(value), type(value).__name__)


def statement_problems(statement: object) -> tuple[str, ...]:
    """Return everything for which a record store would refuse a statement; nothing if it must take it.

    Parameters
    ----------
    statement : object
        The statement as plain tables, as `json.loads` gives them.

    Returns
    -------
    tuple of str
        Each names the place, such as ``statement.actor``, and what is wrong there.

    Examples
    --------
    >>> statement_problems({"id": 7})[:2]
    ('statement.actor: is missing', 'statement.verb: is missing')
    """
    return tuple(_statement(statement, "statement"))
