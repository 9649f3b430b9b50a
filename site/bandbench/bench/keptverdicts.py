"""What the page keeps of verdicts from one class report to the next, as Python knows it: what is asked, what is new.

Contents: `KeptVerdicts`. The page keeps the texts (``classdesk.mjs``), in a store that holds nothing else.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from sim.training.attempt import Attempt
from sim.training.rescore import Worth
from sim.training.verdicts import VerdictKeys, verdict_from_text, verdict_text

__all__ = ["KeptVerdicts"]

# A page whose store does not answer (a frame without storage, a full disk) scores everything.
_ANSWER_WITHIN_S = 5.0
# Few enough that nobody at the bench waits for the names of so many logs to be worked out.
_AT_ONCE = 100


class KeptVerdicts:
    """Asks once for each log, takes only what was asked for, and gives away what has been computed since.

    Parameters
    ----------
    keys : VerdictKeys or None
        The names of verdicts; None where it is not known which program this is: then nothing is asked or kept.
    """

    def __init__(self, keys: VerdictKeys | None) -> None:
        self._keys = keys
        self._unasked: list[Attempt] = []
        self._asked: dict[str, Attempt] = {}
        self._heard: set[str] = set()
        self._fresh: list[tuple[str, str]] = []
        self._since_s: float | None = None

    def look_for(self, attempts: Sequence[Attempt]) -> None:
        """Set out to ask for logs, instead of those that have not been asked for yet."""
        self._unasked = [] if self._keys is None else list(attempts)

    def next_question(self, now_s: float) -> str:
        """Return the next names that the page is to look up, as JSON; empty if there is nothing more to ask."""
        self._asked = {}
        while self._keys is not None and self._unasked and len(self._asked) < _AT_ONCE:
            attempt = self._unasked.pop()
            key = self._keys.key(attempt)
            if key is not None and key not in self._heard:
                self._asked[key] = attempt
        if not self._asked:
            return ""
        self._heard.update(self._asked)
        self._since_s = now_s
        return json.dumps(list(self._asked))

    def waits(self, now_s: float) -> bool:
        """Tell whether an answer may still come."""
        if self._since_s is not None and now_s - self._since_s > _ANSWER_WITHIN_S:
            self._since_s = None
        return self._since_s is not None

    def take(self, answer: str) -> list[tuple[Attempt, Worth]]:
        """Take the page's answer, JSON of [name, text] pairs; return what it tells of what was asked."""
        self._since_s = None
        asked, self._asked = self._asked, {}
        known = []
        for key, text in json.loads(answer):
            worth = verdict_from_text(key, text) if key in asked and isinstance(text, str) else None
            if worth is not None:
                known.append((asked[key], worth))
        return known

    def note(self, attempt: Attempt, worth: Worth) -> None:
        """Note what a log is worth that has just been scored."""
        key = None if self._keys is None else self._keys.key(attempt)
        if key is not None:
            self._fresh.append((key, verdict_text(key, worth)))

    def next_fresh(self) -> str:
        """Return what the page is to keep, as JSON of [name, text] pairs; empty if there is nothing new."""
        fresh, self._fresh = self._fresh, []
        return json.dumps(fresh) if fresh else ""
