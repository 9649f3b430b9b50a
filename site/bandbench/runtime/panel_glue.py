"""Every use of Panel's and Bokeh's semi-private functions, in one place, for exactly the versions named here.

Panel's own converter makes a classic worker with addresses on public networks; the page and worker of this project
are our own, on the functions that converter uses.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bokeh
import panel
from bokeh.document import Document
from panel.io.pyodide import _convert_json_patch, _doc_json, _link_docs_worker, init_doc
from panel.io.state import set_curdoc, state

if TYPE_CHECKING:
    from panel.viewable import Viewable

__all__ = ["PINNED", "DocumentMessage", "apply_patch", "connect", "current", "document_message", "new_document"]

PINNED = {"panel": "1.9.4", "bokeh": "3.9.2"}
"""The versions these functions were read and tried in."""

_found = {"panel": panel.__version__, "bokeh": bokeh.__version__}
if _found != PINNED:
    raise ImportError(f"panel_glue knows the insides of {PINNED}, not of {_found}; check each function, then re-pin.")


def _no_busy_mark(_state: object, _event_id: str) -> None:
    """Leave out Panel's marks of being busy: no part of the page shows them, and they take 10 ms of every event."""


for _name in ("_add_busy_event", "_remove_busy_event"):
    assert hasattr(type(state), _name)
    setattr(type(state), _name, _no_busy_mark)

_SETTER = "js"
"""Marks the changes that came from the page, so that they are not sent back to it."""


@dataclass(frozen=True)
class DocumentMessage:
    """What the page needs to build its side of the document.

    Parameters
    ----------
    docs_json, render_items : str
        Bokeh's own JSON for its function ``embed_items``.
    places : dict[str, str]
        Which root (by its model's identifier) belongs in which named place of the page.
    """

    docs_json: str
    render_items: str
    places: dict[str, str]


def new_document() -> Document:
    """Return a document without a server, held so that building it sends nothing, and make it the current one."""
    init_doc()
    # Panel would add parts of its own that report the browser's window and show messages; the page does both.
    # These settings belong to the current document.
    panel.config.browser_info = False
    panel.config.notifications = False
    document = state.curdoc
    assert document is not None
    return document


def document_message(document: Document, roots: Mapping[str, Viewable]) -> DocumentMessage:
    """Put the parts into the document and return what the page needs to show them.

    Parameters
    ----------
    document : Document
        From `new_document`.
    roots : Mapping[str, Viewable]
        Panel parts by the name of their place in the page.
    """
    places: dict[str, str] = {}
    # Frozen: Bokeh would look through the whole document again after each part that is added.
    with set_curdoc(document), document.models.freeze():
        for name, part in roots.items():
            before = set(document.roots)
            part.server_doc(doc=document, location=False)
            (model,) = set(document.roots) - before
            places[model.id] = name
    with set_curdoc(document):
        docs_json, render_items, root_ids = _doc_json(document)
    assert set(json.loads(root_ids)) == set(places)
    document._session_context = None
    return DocumentMessage(docs_json, render_items, places)


def connect(document: Document, dispatch: Callable[[Any, Any, Any], None]) -> None:
    """From now on hand every change made in Python to the page, starting with those made meanwhile.

    Parameters
    ----------
    document : Document
        The document the page has built.
    dispatch : callable
        Called with a patch, its binary buffers and an unused value.
    """
    with set_curdoc(document):
        state._loaded[document] = state._connected[document] = True
        _link_docs_worker(document, dispatch, setter=_SETTER)


def apply_patch(document: Document, patch: Any) -> None:
    """Apply a change made in the page and run what listens to it.

    Parameters
    ----------
    document : Document
        The document it was made in.
    patch : JsProxy
        The patch as the page's Bokeh made it.
    """
    with set_curdoc(document):
        # Bokeh's own signature knows only its server's sessions as setters; any value that events carry back works.
        content = _convert_json_patch(patch)
        document.apply_json_patch(content, setter=_SETTER)


@contextmanager
def current(document: Document) -> Iterator[None]:
    """Make changes inside as part of the document.

    They are not held back and sent together: Panel marks a change of its own only while it is being made, and would
    take one that is sent later for a change made in the page, and process it.
    """
    with set_curdoc(document):
        yield
