"""Fixtures that every test may ask for: a Chromium that is really there, and a browser started in it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser, Playwright, sync_playwright

from bandbench.browser_finder import CHROMIUM_FLAGS, find_chromium

# All tests run for every change: with half of Hypothesis's own number of examples, and the same ones each time, so that
# a change is judged by what it changed; `bb.py fuzz` looks for others. How long an example takes says how busy the
# machine is, and nothing about the code.
settings.register_profile(
    "every change",
    max_examples=50,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("every change")

pytest_plugins = ["tests.outside_checks", "pytester"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test that asks for a browser, so that ``-m 'not browser'`` leaves exactly those out."""
    for item in items:
        if isinstance(item, pytest.Function) and "chromium_path" in item.fixturenames:
            item.add_marker("browser")


@pytest.fixture(scope="session")
def chromium_path() -> Path:
    """Return the Chromium of this machine, installed now if need be; without one the tests fail."""
    return find_chromium()


@pytest.fixture(scope="module")
def playwright(chromium_path: Path) -> Iterator[Playwright]:
    """Return what starts browsers, made ready with the browser; one a module.

    Not one a session: while Playwright runs, its event loop keeps any other test from starting one.
    """
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="module")
def browser(playwright: Playwright, chromium_path: Path) -> Iterator[Browser]:
    """Return a headless Chromium with a profile of its own."""
    chromium = playwright.chromium.launch(executable_path=chromium_path, args=list(CHROMIUM_FLAGS))
    yield chromium
    chromium.close()
