"""The bench in a real browser: controls, monitors, programme, reading words, narrow screens, accessibility."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from bandbench.bench.faults import FAULTS
from bandbench.bench.monitoring import POINT_OF_STAGE
from sim.controls import CONTROLS, STAGES
from tests.browser.accessibility import axe_problems
from tests.browser.bench_driver import BenchPage
from tests.browser.watching import WatchedPage

# What is another on the page when another stage is chosen; signal path and waveform only stand otherwise.
OF_THE_STAGE = ("#controls", "#why")


@pytest.fixture
def bench(still_page: WatchedPage) -> Iterator[BenchPage]:
    """The open bench with a machine in order."""
    page = BenchPage(still_page)
    page.choose_mode("practise")
    yield page
    page.check_unhurt()


def differing(one: list[int], other: list[int]) -> float:
    """Return the mean difference of two pictures, in shares of full brightness."""
    return float(np.mean(np.abs(np.subtract(one, other)))) / 255.0


# Monitors at the start --------------------------------------------------------------------------------------


def changes(bench: BenchPage) -> bool:
    """Tell whether a picture is drawn within a third of a second."""
    drawn = bench.frames
    bench.page.wait_for_timeout(333)
    return bench.frames != drawn


def test_reduced_motion_starts_paused(still_page: WatchedPage) -> None:
    # The first test of the page, which still is as it was opened.
    bench = BenchPage(still_page)
    play = bench.page.locator("#picture").get_by_role("button", name="Run picture", exact=True)
    assert play.is_visible()
    bench.until(lambda: not changes(bench), "the first picture")
    drawn = bench.frames
    bench.page.wait_for_timeout(1500)
    assert bench.frames == drawn
    play.click()
    bench.until(lambda: bench.frames > drawn + 3, "a moving picture")
    bench.page.locator("#picture").get_by_role("button", name="Freeze picture", exact=True).click()
    play.wait_for()
    bench.check_unhurt()


# Controls ---------------------------------------------------------------------------------------------------


def test_every_control_is_on_the_page_with_its_name_and_description(bench: BenchPage) -> None:
    for spec in CONTROLS.values():
        bench.open_stage(spec.stage)
        control = bench.control(spec.name)
        assert control.is_visible(), spec.name
        named = {
            "number": bench.page.get_by_role("slider", name=spec.label, exact=True),
            "switch": bench.page.get_by_role("switch", name=spec.label, exact=True),
            "choice": bench.page.get_by_role("combobox", name=spec.label, exact=True),
        }
        assert named[spec.kind].count() == 1
        described_by = control.get_attribute("aria-describedby")
        about = bench.page.locator(f"[data-control={spec.name}] #{described_by}").text_content() or ""
        assert about.split(".")[0] == spec.description.split(".")[0]


def test_a_control_changes_the_picture(bench: BenchPage) -> None:
    bench.open_stage("headwheel")
    before = bench.picture()
    bench.control("guide_position_um").focus()
    bench.press("PageUp")
    bench.press("PageUp")
    bench.screenshot("page-lean")
    assert bench.field("guide_position_um").input_value() == "20.0"
    # DERIVED (physics.md section 3): 20 um of guide is 0.714 us of lean, over the whole picture.
    assert bench.number("skew_us") == pytest.approx(0.714, abs=0.03)
    assert differing(before, bench.picture()) > 0.01


def test_the_keys_step_fine_coarse_and_home(bench: BenchPage) -> None:
    bench.open_stage("tape")
    slider, field = bench.control("tracking_phase_deg"), bench.field("tracking_phase_deg")
    slider.focus()
    values = []
    for key in ("ArrowRight", "ArrowUp", "Shift+ArrowUp", "PageUp", "ArrowLeft", "PageDown", "Shift+ArrowDown", "Home"):
        bench.page.keyboard.press(key)
        values.append(field.input_value().replace("\N{MINUS SIGN}", "-"))
    assert values == ["1.0", "2.0", "2.1", "12.1", "11.1", "1.1", "1.0", "0.0"]
    assert slider.get_attribute("aria-valuetext") == "0.0°"


def test_the_pointer_drags_a_control(bench: BenchPage) -> None:
    bench.open_stage("headwheel")
    before = bench.drawn_revision
    # The signal path is above the fold, its controls are not.
    bench.control("guide_position_um").scroll_into_view_if_needed()
    box = bench.control("guide_position_um").bounding_box()
    assert box is not None
    mouse, y = bench.page.mouse, box["y"] + box["height"] / 2
    mouse.move(box["x"] + box["width"] / 2, y)
    mouse.down()
    for share in np.linspace(0.5, 0.8, 13):
        mouse.move(box["x"] + box["width"] * share, y)
        bench.page.wait_for_timeout(15)
    mouse.up()
    bench.until(lambda: bench.revision > before, "the effect of the drag")
    value = float(bench.field("guide_position_um").input_value())
    spec = CONTROLS["guide_position_um"]
    expected = spec.minimum + 0.8 * (spec.maximum - spec.minimum)
    assert value == pytest.approx(expected, abs=12.0)
    # The machine stands where the slider stands.
    lean = pytest.approx(value * 0.907 / 25.4, rel=0.05)
    bench.until(lambda: bench.number("skew_us") == lean, "the lean of the whole drag")
    # The drag is one move in the log, and not its thirteen positions. Where a busy machine holds the hand up for longer
    # than a second it is two: what makes one move is held by `tests/test_bench_model.py`, with a clock of its own.
    assert bench.page.locator(".moves li").count() in (1, 2)


def test_a_number_that_cannot_be_set_gives_a_message_and_keeps_the_value(bench: BenchPage) -> None:
    bench.open_stage("headwheel")
    field = bench.field("guide_position_um")
    for text in ("900", "-150.5", "12 um", "abc", ""):
        field.fill("12.5")
        field.press("Enter")
        bench.until(lambda: abs(bench.number("skew_us") - 0.446) < 0.03, "the lean of 12.5 um")
        revision = bench.revision
        field.fill(text)
        field.press("Enter")
        bench.until(lambda: bench.note("guide_position_um") != "", f"a message about {text!r}")
        note = bench.note("guide_position_um")
        assert "+12.5" in note or "12.5\u00a0µm" in note
        if text in ("900", "-150.5"):
            assert "−150.0 to 150.0 µm" in note
        assert field.get_attribute("aria-invalid") == "true"
        assert field.input_value() == "12.5"
        # A number that can be set takes the message away.
        field.fill("−3,5")
        field.press("Enter")
        bench.until(lambda: bench.note("guide_position_um") == "", "the message to go")
        bench.until(lambda revision=revision: bench.revision > revision, "the effect of the number")
        # The bench has met the second number, and nothing of the first.
        assert bench.made_revision == revision + 1
    assert field.get_attribute("aria-invalid") is None
    bench.until(lambda: abs(bench.number("skew_us") + 0.125) < 0.03, "the lean of -3.5 um")


def test_a_channel_switched_off_shows_in_bands_and_meters(bench: BenchPage) -> None:
    bench.open_stage("channels")
    switch = bench.control("channel_on_3")
    switch.focus()
    bench.press("Space")
    assert switch.get_attribute("aria-checked") == "false"
    assert bench.number("rf_level_db_3") < -30.0
    assert bench.reading("head_position_ns_3") == "no reading"
    assert abs(bench.number("rf_level_db_2")) < 0.5
    bench.screenshot("page-channel-off")
    bench.press("Space")
    assert abs(bench.number("rf_level_db_3")) < 0.5


def test_undo_takes_back_one_move(bench: BenchPage) -> None:
    bench.open_stage("headwheel")
    bench.control("guide_position_um").focus()
    bench.press("PageUp")
    bench.control("guide_height_um").focus()
    bench.press("PageUp")
    assert bench.page.locator(".moves li").count() == 2
    undo = bench.page.get_by_role("button", name="Undo the last move")
    undo.click()
    bench.until(lambda: bench.field("guide_height_um").input_value() == "0.0", "the last move to be undone")
    assert bench.field("guide_position_um").input_value() == "10.0"
    undo.click()
    bench.until(lambda: bench.field("guide_position_um").input_value() == "0.0", "the first move to be undone")
    bench.until(lambda: undo.get_attribute("aria-disabled") == "true", "nothing left to undo")


# Monitors ---------------------------------------------------------------------------------------------------


def test_play_and_pause(bench: BenchPage) -> None:
    page = bench.page
    # The transport has a button of that name too, which moves the tape.
    monitor = page.locator("#picture")
    play = monitor.get_by_role("button", name="Run picture", exact=True)
    pause = monitor.get_by_role("button", name="Freeze picture", exact=True)
    drawn = bench.frames
    play.click()
    bench.until(lambda: bench.frames >= drawn + 4, "a moving picture")
    pause.click()
    play.wait_for()
    bench.until(lambda: not changes(bench), "a picture at rest")
    drawn, still = bench.frames, bench.picture()
    page.wait_for_timeout(1200)
    assert bench.frames == drawn
    assert bench.picture() == still
    # A control still shows in the picture that stands still.
    bench.open_stage("headwheel")
    bench.control("guide_position_um").focus()
    bench.press("PageUp")
    bench.until(lambda: differing(still, bench.picture()) > 0.005, "the moved control in the still picture")
    drawn = bench.frames
    play.click()
    bench.until(lambda: bench.frames >= drawn + 4, "a moving picture again")
    pause.click()
    play.wait_for()


def test_choosing_a_stage_opens_its_controls_and_its_test_point(bench: BenchPage) -> None:
    # Each of them from another one, the first too.
    for stage in (*STAGES, next(iter(STAGES))):
        bench.open_stage(stage)
        button = bench.page.locator(f".stage-button[data-stage={stage}]")
        bench.until(lambda button=button: button.get_attribute("aria-current") == "true", f"{stage} to be chosen")
        # The picture goes first; the rest of the page follows a moment later.
        point, wanted = bench.page.locator("#scope-point"), POINT_OF_STAGE[stage]
        bench.until(lambda point=point, wanted=wanted: point.input_value() == wanted, f"the test point of {stage}")
        assert bench.page.locator(".stage-button[aria-current]").count() == 1
        assert bench.page.locator("section.stage:visible").count() == 1
        state = bench.page.locator(f"#state-{stage}")
        bench.until(lambda state=state: (state.text_content() or "") != "", f"the state of {stage}")


def test_the_waveform_monitor_describes_what_it_is_set_to(bench: BenchPage) -> None:
    page = bench.page
    page.locator("#scope-point").select_option("processed")
    page.locator("#scope-rate").select_option("field")
    page.locator("#scope-magnify").select_option("5")
    describe = page.locator("#waveform").get_by_role("button", name="Describe")
    sentence = page.locator("#waveform .sentence")

    def told(wanted: str) -> bool:
        # Under load the frame of a new setting may come after the press: then it is asked once more.
        describe.click()
        page.wait_for_timeout(150)
        return wanted in (sentence.text_content() or "")

    bench.until(lambda: told("Processed video at field rate"), "the sentence")
    page.get_by_role("button", name="One line").click()
    page.locator("#scope-line").fill("200")
    page.locator("#scope-line").press("Enter")
    bench.until(lambda: told("line 200 alone"), "the sentence of one line")
    bench.screenshot("page-one-line")
    page.locator("#scope-line").fill("900")
    page.locator("#scope-line").press("Enter")
    bench.until(lambda: "1 to 525" in (page.locator("#waveform .note").text_content() or ""), "a message")
    page.get_by_role("button", name="One line").click()
    page.locator("#scope-magnify").select_option("1")
    page.locator("#scope-rate").select_option("line")


def test_the_picture_monitor_magnifies_and_numbers_the_bands(bench: BenchPage) -> None:
    page = bench.page
    page.get_by_role("button", name="Head numbers").click()
    bench.until(lambda: page.locator(".band.field-0").count() >= 15, "the head numbers")
    numbers = page.locator(".band.field-0 b").all_text_contents()
    # Passes follow each other as the heads do on the wheel (PUB: IEC 60347, physics.md section 2).
    assert all(int(after) == int(before) % 4 + 1 for before, after in pairwise(numbers))
    page.locator("#picture-magnify").select_option("2")
    screen = page.locator("#picture-screen")
    assert screen.get_attribute("tabindex") == "0"
    place = page.locator("canvas[data-image=picture]").get_attribute("style")
    screen.focus()
    page.keyboard.press("ArrowRight")
    assert page.locator("canvas[data-image=picture]").get_attribute("style") != place
    bench.screenshot("page-magnified")
    assert page.locator(".band.field-0").count() < 12
    page.locator("#picture-magnify").select_option("1")
    page.get_by_role("button", name="Head numbers").click()
    assert page.locator(".band:visible").count() == 0


def test_the_picture_is_described_when_asked(bench: BenchPage) -> None:
    bench.open_stage("headwheel")
    bench.control("guide_position_um").focus()
    bench.press("PageUp")
    bench.page.locator("#picture").get_by_role("button", name="Describe").click()
    sentence = bench.page.locator("#picture .sentence")
    bench.until(lambda: re.search(r"lean 0\.3\d µs", sentence.text_content() or "") is not None, "the sentence")
    assert sentence.get_attribute("role") == "status"


def test_the_demodulated_video_can_be_shown(bench: BenchPage) -> None:
    bench.open_stage("demodulator")
    bench.control("video_level_db").focus()
    for _ in range(3):
        bench.press("PageDown")
    processed = np.mean(bench.picture())
    bench.page.locator("#picture-source").select_option("demodulated")
    bench.until(lambda: differing(bench.picture(), [int(processed)]) > 0, "the other video")
    bench.page.locator("#picture-source").select_option("processed")


# Programme --------------------------------------------------------------------------------------------------


def test_a_picture_of_ones_own_is_played(bench: BenchPage, tmp_path_factory: pytest.TempPathFactory) -> None:
    grey = np.zeros((120, 160), np.uint8)
    grey[:, 80:] = 255
    path = tmp_path_factory.mktemp("pictures") / "half.png"
    Image.fromarray(grey).save(path)
    bench.open_stage("tape")
    with bench.page.expect_file_chooser() as chooser:
        bench.page.get_by_role("button", name="Play your own picture").click()
    chooser.value.set_files(path)

    def halves() -> bool:
        shown = np.array(bench.picture()).reshape(61, -1)
        return bool(shown[:, 5:40].mean() < 20 and shown[:, -40:-5].mean() > 235)

    bench.until(halves, "the picture on the monitor")
    bench.until(lambda: bench.page.locator("#programme").input_value() == "own", "the programme to be the picture")
    bench.screenshot("page-own-picture")
    bench.page.locator("#programme").select_option("stair")
    bench.until(lambda: not halves(), "the stair")
    bench.page.locator("#programme").select_option("own")
    bench.until(halves, "the picture again")


def test_a_file_that_is_no_picture_leaves_the_programme(
    bench: BenchPage, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("pictures") / "note.png"
    path.write_text("not a picture")
    bench.open_stage("tape")
    before = bench.page.locator("#programme").input_value()
    with bench.page.expect_file_chooser() as chooser:
        bench.page.get_by_role("button", name="Play your own picture").click()
    chooser.value.set_files(path)
    status = bench.page.locator("#picture-file-status")
    bench.until(lambda: "note.png is not a picture" in (status.text_content() or ""), "the message")
    assert bench.page.locator("#programme").input_value() == before


# Faults -----------------------------------------------------------------------------------------------------


def test_a_fault_is_demonstrated(bench: BenchPage) -> None:
    bench.choose_mode("demonstrate")
    page = bench.page
    name = "clogged_head_2"
    page.locator("#fault-name").select_option(name)
    page.locator("#fault-severity").fill("1")
    page.get_by_role("button", name="Plant this fault").click()
    bench.until(lambda: bench.number("rf_level_db_2") < -20.0, "a head that reads next to nothing")
    planted = page.locator("#lesson").get_by_text(f"{FAULTS[name].title}, 100 % of the worst")
    assert planted.locator("visible=true").count() == 1
    bench.screenshot("page-demonstrate")
    page.get_by_role("button", name="Put the machine right").click()
    bench.until(lambda: abs(bench.number("rf_level_db_2")) < 0.5, "a machine in order")


# Reach ------------------------------------------------------------------------------------------------------


def test_headings_landmarks_and_the_skip_link(bench: BenchPage) -> None:
    levels = bench.page.evaluate(
        """() => {
          const found = [];
          const walk = (node) => {
            for (const child of node.children) {
              if (child.checkVisibility && !child.checkVisibility()) continue;
              if (/^H[1-6]$/.test(child.tagName)) found.push(Number(child.tagName[1]));
              if (child.shadowRoot) walk(child.shadowRoot);
              walk(child);
            }
          };
          walk(document.body);
          return found;
        }"""
    )
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels)), levels
    assert bench.page.get_by_role("region").count() >= 7
    bench.page.locator("body").press("Home")
    bench.page.evaluate("document.activeElement.blur()")
    bench.tab_to(text="Skip to the controls")
    bench.page.keyboard.press("Enter")
    assert bench.focused()[0] == "controls"


def test_targets_are_large_enough_to_hit(bench: BenchPage) -> None:
    """WCAG 2.2, 2.5.8 Target Size (Minimum): 24 by 24 CSS pixels (PUB)."""
    for stage in STAGES:
        bench.open_stage(stage)
        targets = bench.page.locator(":is(button, select, input, summary, a):visible")
        sizes = targets.evaluate_all(
            # A part of the stage before may just have gone.
            """all => all.filter((target) => target.checkVisibility()).map((target) => {
              const { width, height } = target.getBoundingClientRect();
              return [Math.min(width, height), target.outerHTML];
            })"""
        )
        assert len(sizes) > 50
        assert [target for size, target in sizes if size < 24.0] == [], stage


def test_axe_finds_nothing(bench: BenchPage) -> None:
    page = bench.page
    # In the dark scheme nothing is another but the colours, which `tests/test_look.py` holds, token by token.
    colours = ["color-contrast"]

    def in_both(name: str, *zones: str) -> list[str]:
        found = axe_problems(bench.page, *zones)
        bench.screenshot(f"page-light{name}")
        page.emulate_media(color_scheme="dark")
        found += axe_problems(bench.page, *zones, rules=colours)
        bench.screenshot(f"page-dark{name}")
        page.emulate_media(color_scheme="light")
        return found

    problems = in_both("")
    for stage in STAGES:
        bench.open_stage(stage)
        # The rest of the page is as it was.
        problems += axe_problems(bench.page, *OF_THE_STAGE)
    for mode in ("demonstrate", "learn"):
        bench.choose_mode(mode)
        problems += axe_problems(bench.page, "#lesson", "#controls", "#log")
    bench.begin_lesson("tracking-and-guide")
    page.locator("[data-do=hint]").click()
    page.locator("[data-do=check]").click()
    page.locator(".check").first.wait_for()
    problems += in_both("-lesson", "#lesson")
    page.locator("[data-do=result]").click()
    bench.until(lambda: page.locator("#root-result-plots canvas.bk-layer").count() >= 4, "the plots")
    problems += in_both("-result", "#lesson", "#result")
    assert problems == []


WIDTHS = {320: 640, 768: 1024, 1024: 768}


def test_narrow_pages_reflow(bench: BenchPage) -> None:
    """WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels without scrolling in two directions (PUB)."""
    page, wide = bench.page, "document.documentElement.scrollWidth"

    def fits(what: str, name: str = "") -> None:
        for width, height in WIDTHS.items():
            page.set_viewport_size({"width": width, "height": height})
            # Plots fit themselves to the page's width a moment after they are there.
            bench.until(lambda width=width: page.evaluate(wide) <= width, f"{what} no wider than {width} px", 10.0)
            if name:
                bench.screenshot(f"page-{width}{name}")

    try:
        for stage in STAGES:
            bench.open_stage(stage)
            fits(stage, "-stage" if stage == "tape" else "")
        bench.choose_mode("learn")
        bench.begin_lesson("tracking-and-guide")
        page.locator("[data-do=check]").click()
        page.locator(".check").first.wait_for()
        fits("a lesson")
        page.locator("[data-do=result]").click()
        bench.until(lambda: page.locator("#root-result-plots canvas.bk-layer").count() >= 4, "the plots")
        fits("a result", "-result")
    finally:
        page.set_viewport_size({"width": 1400, "height": 900})
