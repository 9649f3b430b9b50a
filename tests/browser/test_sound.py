"""Sound in a real browser: heard after a press only; a note from a microphone, and each clear refusal."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Locator

from tests.browser.accessibility import axe_problems
from tests.browser.bench_driver import BenchPage
from tests.browser.visitors import Visitors
from tests.browser.watching import WatchedPage


class SoundPage:
    """The bench in Practise with its sound part."""

    def __init__(self, bench: BenchPage) -> None:
        self.bench = bench
        self.page = bench.page
        self.zone = bench.page.locator("#sound")
        bench.choose_mode("practise")
        bench.until(lambda: bench.reading("programme_level_db").startswith("+0"), "the tone on the level meter")

    def button(self, name: str) -> Locator:
        return self.zone.get_by_role("button", name=name)

    @property
    def heard(self) -> dict[str, float]:
        return dict(self.page.evaluate("bandbench.heard"))

    def says(self, text: str) -> None:
        self.bench.until(lambda: text in " ".join(self.zone.locator("[role=status]").all_text_contents()), text)


@pytest.fixture(scope="module")
def opened(visitors: Visitors, site_url: str) -> Iterator[BenchPage]:
    """A page with the bench, that is heard by nobody yet.

    The microphone of its browser is a made one that beeps; whether a page may use it is another question.
    """
    context = visitors.still(reduced_motion="no-preference", flags=("--use-fake-device-for-media-stream",))
    watched = WatchedPage(context.new_page(), site_url)
    watched.start()
    yield BenchPage(watched)
    context.close()


@pytest.fixture
def permitted(opened: BenchPage) -> SoundPage:
    """The page with a machine in order; it may use the microphone."""
    opened.page.context.grant_permissions(["microphone"])
    return SoundPage(opened)


@pytest.fixture
def refused(opened: BenchPage) -> SoundPage:
    """The page with a machine in order; it may not use the microphone."""
    opened.page.context.clear_permissions()
    return SoundPage(opened)


def test_sound_is_heard_after_a_press_only(permitted: SoundPage) -> None:
    sound, bench = permitted, permitted.bench
    assert sound.heard["blocks"] == 0
    sound.button("Listen").press("Enter")
    bench.until(lambda: sound.heard["seconds"] > 2.0, "two seconds of sound")
    # The tone at reference level, as it left the worker.
    assert 0.98 < sound.heard["peak"] < 1.02
    sound.button("Listen").press("Enter")
    bench.until(lambda: sound.button("Listen").get_attribute("aria-pressed") == "false", "the button to come up")
    stopped = sound.heard["blocks"]
    sound.page.wait_for_timeout(500)
    assert sound.heard["blocks"] == stopped
    bench.check_unhurt()


def test_a_note_where_the_microphone_is_permitted(permitted: SoundPage) -> None:
    sound, bench = permitted, permitted.bench
    sound.button("Record a note").press("Enter")
    sound.says("Recording: speak now")
    sound.page.wait_for_timeout(2500)
    sound.zone.locator("button", has_text="Stop:").press("Enter")
    sound.says("is on the cue track of the endless tape")
    assert sound.zone.locator("#sound-source-cue").input_value() == "own_note"
    bench.until(lambda: not bench.reading("cue_level_db").startswith(("-5", "no")), "the note on the level meter")
    sound.button("Describe").press("Enter")
    sound.says("Programme sound: +0.0 dB, a tone of 1000 Hz")
    bench.check_unhurt()


def test_a_microphone_that_is_not_permitted_is_told_clearly(refused: SoundPage) -> None:
    refused.button("Record a note").press("Enter")
    refused.says("The microphone was not permitted, so no note was recorded. The cue track is as it was.")
    assert refused.zone.locator("#sound-source-cue").input_value() == "silence"
    # The bench goes on, and the note can be tried again.
    assert refused.button("Record a note").is_enabled()
    refused.bench.check_unhurt()


@pytest.mark.parametrize(
    ("error", "text"),
    [("NotFoundError", "No microphone was found"), ("NotReadableError", "another program may be using it")],
)
def test_other_refusals_are_told_apart(refused: SoundPage, error: str, text: str) -> None:
    refused.page.evaluate(
        "(name) => { navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('no', name); }; }",
        error,
    )
    refused.button("Record a note").press("Enter")
    refused.says(text)
    refused.says("The cue track is as it was.")
    refused.page.evaluate("delete navigator.mediaDevices.getUserMedia")
    refused.bench.check_unhurt()


def test_a_page_without_a_secure_address_has_no_microphone(refused: SoundPage) -> None:
    refused.page.evaluate("Object.defineProperty(navigator, 'mediaDevices', { value: undefined, configurable: true })")
    refused.button("Record a note").press("Enter")
    refused.says("Browsers give the microphone only to pages from a secure address")
    refused.page.evaluate("delete navigator.mediaDevices")
    refused.bench.check_unhurt()


def test_the_sound_part_has_no_barriers(refused: SoundPage) -> None:
    assert axe_problems(refused.page, "#sound") == []


def test_the_sound_part_fits_a_narrow_screen(refused: SoundPage) -> None:
    refused.page.set_viewport_size({"width": 320, "height": 800})
    assert refused.page.evaluate("document.documentElement.scrollWidth") <= 320
    for button in refused.zone.get_by_role("button").all():
        box = button.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 24.0
