"""How long something took, on a machine that may be busy with other things.

Contents: `Patience`. It runs natively and, handed to the worker as text, in the browser.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["LONGEST_S", "Patience"]

LONGEST_S = 20.0
"""What takes longer has frozen the page, as far as its user can tell: it says so then. [s]"""

_GLANCES = 200


class Patience:
    """What takes too long, beside a piece of work that is always the same: that others use the processor is no fault.

    Attributes
    ----------
    exceeded : list of str
        What took too long, in words.
    """

    def __init__(self) -> None:
        self.exceeded: list[str] = []
        self._best_s = math.inf

    @contextmanager
    def over(self, what: str) -> Iterator[None]:
        """Do something, and note it if it takes longer than a user would wait."""
        self._glance()
        started_s = time.monotonic()
        yield
        took_s = time.monotonic() - started_s
        if took_s > LONGEST_S and (alone_s := took_s / self._slower()) > LONGEST_S:
            self.exceeded.append(f"took {took_s:.0f} s, {alone_s:.0f} s of a machine of its own: {what}")

    def _glance(self) -> float:
        started_s = time.monotonic()
        sum(range(20_000))
        took_s = time.monotonic() - started_s
        self._best_s = min(self._best_s, max(took_s, 1e-6))
        return took_s

    def _slower(self) -> float:
        """Return how many times longer things take now than when they went quickest."""
        took_s = sum(self._glance() for _ in range(_GLANCES))
        return max(1.0, took_s / (_GLANCES * self._best_s))
