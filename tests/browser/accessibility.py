"""What axe finds on a page, by the rules of WCAG 2.2.

Contents: `axe_problems`.
"""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

__all__ = ["axe_problems"]

# WCAG 2.2 at levels A and AA, as axe knows them (PUB).
_WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")


def axe_problems(page: Page, *zones: str, rules: list[str] | None = None) -> list[str]:
    """Return what axe finds on the whole page, or in the places named; with all rules of WCAG, or those named."""
    only = {"type": "tag", "values": list(_WCAG)} if rules is None else {"type": "rule", "values": rules}
    results = Axe().run(
        page,
        context={"include": [[zone] for zone in zones]} if zones else None,
        options={"runOnly": only, "resultTypes": ["violations"]},
    )
    return [
        f"{found['id']}: {node['target']} {node['failureSummary']}"
        for found in results.response["violations"]
        for node in found["nodes"]
    ]
