"""What every view is made of: a part of the page drawn by a small script, and the Python that feeds it.

Contents: `Part` (the Panel component), `script` (its ``.mjs`` file), `style` (a ``.css`` file) and `STYLES`, `View`
(the Python side).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import param
from panel.custom import JSComponent

from bandbench.bench.bench import Bench
from bandbench.bench.readings import Readings
from bandbench.bench.words import words_of

if TYPE_CHECKING:
    from panel.viewable import Viewable

__all__ = ["STYLES", "Action", "Part", "View", "script", "style"]

_HERE = Path(__file__).parent

Action = Callable[[], None]
"""Something done to the bench."""


def script(name: str) -> str:
    """Return the script of a part: what all parts share, then its own file ``<name>.mjs``."""
    return "\n".join((_HERE / f"{stem}.mjs").read_text("utf-8") for stem in ("shared", name))


def style(name: str) -> str:
    """Return the style sheet ``<name>.css``."""
    return (_HERE / f"{name}.css").read_text("utf-8")


STYLES = tuple(style(name) for name in ("parts", "machine", "learning"))
"""The style sheets that all parts share: what is common, the machine's parts, and those in which one learns."""


class Part(JSComponent):
    """A part of the page: parameters go to its script, messages come back from it.

    Attributes
    ----------
    words : dict of str to str
        Every text the script shows, by key.
    """

    words = param.Dict(default={})

    _stylesheets: ClassVar[list[str]] = [*STYLES]

    def __init__(self, receive: Callable[[Mapping[str, Any]], None], **parameters: Any) -> None:
        super().__init__(sizing_mode="stretch_width", margin=0, **parameters)  # type: ignore[no-untyped-call]
        self._receive = receive

    def _handle_msg(self, data: Mapping[str, Any]) -> None:
        self._receive(data)


class View:
    """The Python side of one part of the page.

    Parameters
    ----------
    bench : Bench
        What is shown.
    act : callable
        Does something to the bench, after which all views look at it again; returns why it could not be done, or
        None.
    """

    WORDS: ClassVar[str] = ""
    """Prefix of the view's keys in `bandbench.bench.words`."""

    def __init__(self, bench: Bench, act: Callable[[Action], str | None]) -> None:
        self.bench = bench
        self.act = act

    @property
    def words(self) -> dict[str, str]:
        """The view's texts, for its part."""
        return words_of(self.WORDS)

    def roots(self) -> dict[str, Viewable]:
        """Return the view's Panel parts by their places in the page."""
        raise NotImplementedError

    def receive(self, message: Mapping[str, Any]) -> None:
        """Do what the part's script asks."""
        raise NotImplementedError

    def refresh(self) -> None:
        """Look at the bench again: something about it has changed."""

    def update(self, readings: Readings) -> None:
        """Show new readings of the frame that is played."""

    def watch(self) -> None:
        """Look at the machine as it runs, some times a second; not while a lesson holds it in play."""
