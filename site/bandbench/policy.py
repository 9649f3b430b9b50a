"""What the page may load and whom it may talk to: this origin alone, unless a build or a package says otherwise.

Contents: `PAGE_POLICY`, `page_policy`; `policy_of` and `with_connections` (read and change it in a built page);
`checked_endpoint` (an address that statements may be sent to).
"""

from __future__ import annotations

import html
import re
from urllib.parse import urlsplit

from sim.errors import BandbenchError

__all__ = [
    "PAGE_POLICY",
    "PolicyError",
    "checked_endpoint",
    "checked_origin",
    "page_policy",
    "policy_of",
    "with_connections",
]

_META = re.compile(r'(<meta http-equiv="Content-Security-Policy" content=")([^"]*)(">)')
_CONNECT = "connect-src 'self'"


class PolicyError(BandbenchError):
    """An address that the page cannot be opened to."""


def page_policy(*others: str) -> str:
    """Return the policy of the page.

    Parameters
    ----------
    *others : str
        Whom else the page may talk to: origins, or sources as a policy has them, such as ``https:``.
    """
    return "; ".join(
        [
            "default-src 'none'",
            # blob: is how the small components start that Panel hands over as text.
            "script-src 'self' blob:",
            # Bokeh and Panel put style elements and attributes into the parts they draw.
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            " ".join([_CONNECT, *others]),
            "worker-src 'self'",
            "manifest-src 'self'",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


PAGE_POLICY = page_policy()
"""What the page may load: this origin's files only."""


def policy_of(page: str) -> str:
    """Return the policy that a built page states; `PAGE_POLICY` if it states none."""
    found = _META.search(page)
    return html.unescape(found[2]) if found else PAGE_POLICY


def with_connections(page: str, *others: str) -> str:
    """Return a built page that may also talk to others (see `page_policy`); nothing else of its policy changes.

    Raises
    ------
    PolicyError
        If the page does not state a policy, or is open to others already.
    """
    directives = policy_of(page).split("; ")
    if not _META.search(page) or directives.count(_CONNECT) != 1:
        raise PolicyError("the built page does not state whom it may talk to, or is open already; build the site anew.")
    opened = [" ".join([_CONNECT, *others]) if one == _CONNECT else one for one in directives]
    return _META.sub(lambda found: found[1] + html.escape("; ".join(opened)) + found[3], page)


def checked_origin(address: str) -> str:
    """Return the origin of an address: scheme, host and port.

    Raises
    ------
    PolicyError
        If it is no address of the web, or would send a password over an open line.
    """
    try:
        parts = urlsplit(address)
        port = f":{parts.port}" if parts.port else ""
    except ValueError as problem:
        raise PolicyError(f"{address!r} is no address ({problem}); write it as https://lrs.school.example") from None
    host = parts.hostname or ""
    if parts.scheme not in ("https", "http") or not re.fullmatch(r"[a-z0-9.-]+|\[[0-9a-f:]+\]", host):
        raise PolicyError(f"{address!r} is no address of the web; write it as https://lrs.school.example")
    if parts.scheme == "http" and host not in ("localhost", "127.0.0.1"):
        raise PolicyError(f"{address!r} would send what learners do, and a password, over an open line; use https:")
    return f"{parts.scheme}://{host}{port}"


def checked_endpoint(address: str) -> tuple[str, str]:
    """Return origin and address of a record store, the latter ending in a slash.

    Raises
    ------
    PolicyError
        As `checked_origin`, or if it has a user, a query or a fragment.
    """
    origin = checked_origin(address)
    parts = urlsplit(address)
    if parts.query or parts.fragment or parts.username is not None:
        raise PolicyError(f"{address!r}: leave out user, '?' and '#'; write it as https://lrs.school.example/xapi/")
    return origin, f"{origin}{parts.path.rstrip('/')}/"
