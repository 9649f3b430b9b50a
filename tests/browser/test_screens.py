"""What `bb.py screens --check` finds: every kind of fault a screen can have is found on pages that have it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.screens.judging import Judge
from tests.browser.screens.keyboard import walk_through
from tests.browser.watching import WatchedPage

# A page with nothing wrong: a skip link, a row of buttons, options of a question.
GOOD = """<!doctype html><html lang="en"><head><title>A page</title></head><body><main><h1>A page</h1>
<button>One</button> <button>Two</button>
<label><input type="radio" name="a" checked> A</label> <label><input type="radio" name="a"> B</label>
%s</main></body></html>"""

# (what is wrong, what says so)
FAULTY = {
    '<div style="cursor: pointer" onclick="0">Press</div>': ("unreached", "for a mouse alone"),
    '<button tabindex="-1">No way</button>': ("unreached", "No way"),
    '<style>#flat:focus { outline: none }</style><button id="flat">Flat</button>': ("unseen", "#flat"),
    '<div style="height: 3000px"></div><button id="low">Low</button>'
    '<div style="position: fixed; inset: auto 0 0 0; height: 200px; background: white"></div>': ("hidden", "#low"),
    '<div style="overflow: hidden; width: 5em"><button id="tight" style="width: 100%">Tight</button></div>': (
        "hidden",
        "cut off",
    ),
    '<button id="trap" onkeydown="event.preventDefault()">Trap</button>': ("trap", "#trap"),
}


@pytest.fixture(scope="module")
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1280, "height": 720})
    yield context.new_page()
    context.close()


def test_a_walk_through_a_good_page_comes_everywhere_and_finds_nothing(page: Page) -> None:
    page.set_content(GOOD % "")
    walk = walk_through(page)
    assert walk.found == []
    assert walk.stops == 3


@pytest.mark.parametrize("fault", FAULTY)
def test_a_walk_finds(page: Page, fault: str) -> None:
    kind, words = FAULTY[fault]
    page.set_content(GOOD % fault)
    found = walk_through(page).of(kind)
    assert any(words in one for one in found), found


def test_a_judge_finds_what_does_not_fit_what_axe_finds_and_what_the_console_says(page: Page) -> None:
    watched = WatchedPage(page, "")
    page.set_content(GOOD % '<p style="width: 500px">Wide</p><img src="data:,"><script>console.error("oh")</script>')
    page.wait_for_timeout(200)
    verdict = Judge().look(watched, "wide", expected=("data:",))
    assert any("image-alt" in one for one in verdict.axe)
    assert verdict.narrow != []
    assert verdict.doubled == []
    assert verdict.console == ["error: oh"]
    page.set_content(GOOD % "")
    assert Judge().look(watched, "good").findings == 0


def test_a_judge_finds_words_of_a_drawing_that_go_beyond_it_or_lie_over_each_other(page: Page) -> None:
    drawn = '<svg width="200" height="60"><text x="5" y="20">Capstan</text><text x="%d" y="%d">Reference</text></svg>'
    watched = WatchedPage(page, "")
    for place, said in (((20, 24), "lie over each other"), ((180, 50), "beyond its drawing"), ((5, 40), "")):
        page.set_content(GOOD % drawn % place)
        found = Judge().look(watched, "drawing").narrow
        assert any(said in one for one in found) if said else found == [], found
