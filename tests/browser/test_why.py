"""The why views in a real browser: drawings of each stage, that move with controls and machine, hidden with a fault."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Locator

from bandbench.bench.why import VIEWS
from bandbench.bench.words import say
from tests.browser.accessibility import axe_problems
from tests.browser.bench_driver import BenchPage
from tests.browser.watching import WatchedPage

# Middle of the drawn tracks of head 1, and of the path of head 1, in the drawing's own units.
_PLACES = """svg => {
  const middle = (element) => {
    const box = element.getBBox();
    return box.x + box.width / 2;
  };
  const paths = svg.querySelector(".paths");
  const shift = paths.transform.baseVal.consolidate().matrix.e;
  return {
    tracks: [...svg.querySelectorAll(".track-shape[data-head='1'] .track-area")].map(middle),
    path: middle(paths.querySelector("[data-head='1'] .head-path")) + shift,
  };
}"""
_RUNNING = "svg => svg.getAnimations({ subtree: true }).map((animation) => animation.playState)"


@pytest.fixture
def bench(still_page: WatchedPage) -> Iterator[BenchPage]:
    """The open bench with a machine in order."""
    page = BenchPage(still_page)
    page.choose_mode("practise")
    yield page
    page.check_unhurt()


def figures(bench: BenchPage) -> Locator:
    return bench.page.locator(".why-figure")


def kinds(bench: BenchPage) -> list[str]:
    return [str(kind) for kind in figures(bench).evaluate_all("all => all.map((one) => one.dataset.kind)")]


def open_why(bench: BenchPage, stage: str) -> None:
    bench.open_stage(stage)
    bench.page.locator(f".part.why[data-stage={stage}]").wait_for()
    if len(VIEWS[stage]) > 1 and bench.page.locator("#why-view").is_visible():
        # The bench remembers which view of a stage was looked at last.
        bench.page.locator("#why-view").select_option(next(iter(VIEWS[stage])))


def kind_of(drawing: str) -> str:
    return "loop" if drawing.endswith("_loop") else drawing


def sentence(bench: BenchPage) -> str:
    return figures(bench).first.locator(".why-sentence").text_content() or ""


def test_each_stage_shows_its_drawings_and_says_what_they_show(bench: BenchPage) -> None:
    for stage, views in VIEWS.items():
        open_why(bench, stage)
        if not views:
            bench.page.get_by_text(say("why.none")).wait_for()
            continue
        for view, wanted in views.items():
            if len(views) > 1:
                bench.page.locator("#why-view").select_option(view)
            expected = [kind_of(drawing) for drawing in wanted]
            bench.until(lambda expected=expected: kinds(bench) == expected, f"the drawings {wanted} of {stage}")
            for drawing, place in zip(wanted, range(len(wanted)), strict=True):
                figure = figures(bench).nth(place)
                title = say(f"why.title_{drawing}")
                bench.until(lambda figure=figure, title=title: title in (figure.text_content() or ""), title)
                picture = bench.page.get_by_role("img", name=title, exact=True)
                assert picture.is_visible()
                said = figure.locator(".why-sentence").text_content() or ""
                described = picture.evaluate(
                    "svg => svg.getRootNode().getElementById(svg.getAttribute('aria-describedby')).textContent"
                )
                assert described == said != ""
                box = picture.bounding_box()
                assert box is not None
                assert box["width"] > 200
                assert box["height"] > 80


def picture_button(bench: BenchPage, word: str) -> Locator:
    return bench.page.locator("#picture").get_by_role("button", name=say(f"picture.{word}_name"), exact=True)


def test_tracking_moves_the_path_over_the_drawn_tracks(bench: BenchPage) -> None:
    # While the machine runs, what the heads follow is drawn anew: the capstan may still be phasing.
    picture_button(bench, "play").click()
    open_why(bench, "tape")
    bench.until(lambda: kinds(bench) == ["tape"], "the tape drawing")
    svg = figures(bench).first.locator("svg")
    before = svg.evaluate(_PLACES)
    # Four tracks, from one of head 1 to the next, are one turn of tracking.
    turn = before["tracks"][1] - before["tracks"][0]
    assert min(abs(track - before["path"]) for track in before["tracks"]) < 0.5
    bench.control("tracking_phase_deg").focus()
    for _ in range(3):
        bench.press("PageUp")
    bench.until(lambda: "132 µm" in sentence(bench), "the sentence of 30 degrees")
    after = svg.evaluate(_PLACES)
    # DERIVED: tracking phase moves the heads by a turn's four tracks x phase / 360.
    assert after["path"] - before["path"] == pytest.approx(turn * 30.0 / 360.0, abs=0.2)
    assert after["tracks"] == before["tracks"]
    picture_button(bench, "pause").click()
    picture_button(bench, "play").wait_for()


def test_the_guide_moves_in_the_section(bench: BenchPage) -> None:
    open_why(bench, "headwheel")
    bench.until(lambda: kinds(bench) == ["guide", "wheel"], "the sections")
    tape_line = figures(bench).first.locator(".tape-line")
    before = tape_line.evaluate("line => line.getBBox().x")
    bench.control("guide_position_um").focus()
    bench.press("PageUp")
    bench.press("PageUp")
    bench.until(lambda: "20.0 µm too far in" in sentence(bench), "the sentence of 20 um")
    # Drawn 50 times: 1 mm of a wheel whose 26.25 mm of radius are 76 units.
    assert tape_line.evaluate("line => line.getBBox().x") - before == pytest.approx(-76.0 / 26.25, abs=0.1)
    assert "50 times" in (figures(bench).first.locator(".why-caption").text_content() or "")


def test_the_drawings_move_only_while_the_machine_plays(bench: BenchPage) -> None:
    open_why(bench, "channels")
    bench.until(lambda: kinds(bench) == ["wheel"], "the wheel")
    bench.page.locator("#why").scroll_into_view_if_needed()
    svg = figures(bench).first.locator("svg")
    play, pause = picture_button(bench, "play"), picture_button(bench, "pause")
    slow = bench.page.get_by_text(say("why.slow", factor=2000))
    bench.page.emulate_media(reduced_motion="no-preference")
    play.click()
    bench.page.locator("#why").scroll_into_view_if_needed()
    bench.until(lambda: set(svg.evaluate(_RUNNING)) == {"running"}, "a turning wheel")
    assert slow.is_visible()
    pause.click()
    bench.until(lambda: slow.is_hidden(), "a wheel at rest")
    bench.page.locator("#why").scroll_into_view_if_needed()
    bench.until(lambda: set(svg.evaluate(_RUNNING)) == {"paused"}, "its drawing at rest")
    # Whoever asks for little motion gets none, playing or not.
    bench.page.emulate_media(reduced_motion="reduce")
    play.click()
    bench.until(lambda: pause.is_visible(), "the machine to play")
    bench.page.locator("#why").scroll_into_view_if_needed()
    assert set(svg.evaluate(_RUNNING)) == {"paused"}
    bench.page.emulate_media(reduced_motion="no-preference")
    bench.until(lambda: set(svg.evaluate(_RUNNING)) == {"running"}, "a turning wheel again")
    pause.click()
    play.wait_for()
    bench.page.emulate_media(reduced_motion="reduce")


def test_a_fault_hidden_for_practice_hides_the_drawings_until_it_is_shown(bench: BenchPage) -> None:
    open_why(bench, "headwheel")
    bench.until(lambda: kinds(bench) == ["guide", "wheel"], "the sections")
    bench.page.get_by_role("button", name=say("lesson.hide"), exact=True).click()
    reason = bench.page.get_by_text(say("why.hidden_fault"))
    reason.wait_for()
    assert kinds(bench) == []
    open_why(bench, "tape")
    assert kinds(bench) == []
    assert reason.is_visible()
    bench.page.get_by_role("button", name=say("lesson.reveal"), exact=True).click()
    reason.wait_for(state="hidden")
    bench.until(lambda: kinds(bench) == ["tape"], "the tape drawing")


def test_the_spectrum_is_drawn_for_the_chosen_tone(bench: BenchPage) -> None:
    open_why(bench, "modulator")
    bench.until(lambda: kinds(bench) == ["spectrum"], "the spectrum")
    tone = bench.page.get_by_role("combobox", name=say("why.tone"), exact=True)
    lines = figures(bench).first.locator("path[data-order]")
    place = "line => line.getBBox().x"
    for label, megahertz in (("2.00", 2.0), ("3.58", 3.579545)):
        tone.select_option(label=f"{label}\N{NO-BREAK SPACE}MHz")
        bench.until(lambda label=label: f"tone of {label} MHz" in sentence(bench), f"a tone of {label} MHz")
        carrier = lines.and_(bench.page.locator("[data-order='0']")).evaluate(place)
        first = lines.and_(bench.page.locator("[data-order='1']")).evaluate(place)
        # 9.8 units a megahertz.
        assert first - carrier == pytest.approx(9.8 * megahertz, abs=0.1)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_drawings_are_accessible_and_fit_a_narrow_screen(bench: BenchPage, scheme: str) -> None:
    bench.page.set_viewport_size({"width": 320, "height": 800})
    bench.page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    bench.choose_mode("demonstrate")
    for stage in ("tape", "headwheel", "switcher", "modulator", "record_drive"):
        open_why(bench, stage)
        wanted = [kind_of(drawing) for drawing in next(iter(VIEWS[stage].values()))]
        bench.until(lambda wanted=wanted: kinds(bench) == wanted, f"the drawings of {stage}")
        assert bench.page.evaluate("document.documentElement.scrollWidth") <= 320
        assert axe_problems(bench.page, "#why") == []
    bench.page.set_viewport_size({"width": 1400, "height": 900})
    bench.page.emulate_media(color_scheme="light")
