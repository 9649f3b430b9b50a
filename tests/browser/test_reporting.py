"""Reporting in a real browser: nothing leaves a closed site; a launch by a learning system; a store that fails."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Page

from bandbench.measured_page import served
from bandbench.package import package_files, site_files
from bandbench.policy import checked_endpoint, with_connections
from sim.training.statements import VERBS
from tests.browser.accessibility import axe_problems
from tests.browser.records_driver import RecordsPage
from tests.browser.visitors import Visitors
from tests.browser.watching import still_context
from tests.fake_lms import SECRET, USER, FakeLms, running_lms
from tests.npm_packages import npm_package
from tests.statement_judges import cmi5_problems, refused_by_store

LESSON = "tracking-and-guide"


@pytest.fixture
def lms() -> Iterator[FakeLms]:
    with running_lms() as running:
        yield running


def verbs(statements: list[dict[str, Any]]) -> list[str]:
    return [one["verb"]["id"].removeprefix(VERBS) for one in statements]


class ReportingPage(RecordsPage):
    """The bench with its reporting part."""

    @property
    def reporting(self) -> str:
        """How sending stands."""
        return self.page.locator(".part.reporting").get_attribute("data-reporting") or ""

    def stands(self, *states: str) -> None:
        """Wait until sending stands so."""
        self.until(lambda: self.reporting in states, f"{states}, not {self.reporting}")

    def until(self, condition: Callable[[], bool], what: str) -> None:
        """Wait for a condition; the learning system is another origin, and may fail."""
        for _ in range(1500):
            if condition():
                return
            self.page.wait_for_timeout(40)
        raise AssertionError(f"waited in vain for {what}")


def test_a_closed_site_keeps_statements_and_sends_nothing(visitors: Visitors, site_url: str, lms: FakeLms) -> None:
    context = visitors.still(accept_downloads=True)
    # The parameters of a launch do not open it.
    page = ReportingPage(context, site_url, query=lms.launch_address(""))
    page.stands("closed")
    page.make_learner("Jo")
    page.begin(LESSON)
    page.solve(LESSON)
    page.press(do="close")
    page.until(lambda: len(page.store()["statements"]) == 5, "the statements to be kept")
    page.bench.tab_to(text="Reporting (xAPI): kept 5, sent 0")
    page.page.keyboard.press("Enter")
    assert page.page.locator("#reporting-endpoint").is_hidden()
    with page.page.expect_download() as handed:
        page.press(do="reporting_export")
    told = json.loads(Path(handed.value.path()).read_text("utf-8"))
    assert verbs(told) == ["initialized", "attempted", "passed", "completed", "terminated"]
    page.page.locator(".part.reporting").get_by_text("Statements: 5.").wait_for()
    page.bench.screenshot("reporting-1-closed")
    # The policy forbids what the page does not even try.
    refused = page.page.evaluate(f"fetch('{lms.address}/xapi/statements').then(() => 'let out', () => 'kept in')")
    assert refused == "kept in"
    page.page.close()
    assert lms.requests == []
    assert page.watched.foreign_requests() == []
    context.close()


@pytest.fixture(scope="module")
def package(built_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[FakeLms], Path]:
    """Return what unpacks a cmi5 package of the whole course that may talk to a learning system."""
    site = site_files(built_site)

    def unpacked(lms: FakeLms) -> Path:
        folder = tmp_path_factory.mktemp("cmi5")
        for path, content in package_files(site, "cmi5", None, lms.address).items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_bytes(content)
        return folder

    return unpacked


@pytest.mark.timeout(900)
def test_a_launch_is_worked_on_passed_reported_and_left(
    browser: Browser, package: Callable[[FakeLms], Path], lms: FakeLms, tmp_path: Path
) -> None:
    with served(package(lms)) as url:
        context = still_context(browser)
        page = ReportingPage(context, url, query=lms.launch_address(f"?lesson={LESSON}"), others=(lms.address,))
        page.until(lambda: page.who == "Mara Example", "the learner of the launch")
        page.until(lambda: verbs(lms.statements) == ["initialized"], "the first statement")
        launch = page.page.locator("#launch")
        launch.get_by_text("Launched by your learning system").wait_for()
        page.page.locator("[data-do=begin]").wait_for()
        # How to report back is in sight without scrolling, on a small screen, too.
        for width, height in ((1400, 900), (1024, 600), (390, 700)):
            page.page.set_viewport_size({"width": width, "height": height})
            page.page.evaluate("scrollTo(0, 0)")
            box = launch.locator("[data-do=reporting_leave]").bounding_box()
            assert box is not None
            assert box["y"] + box["height"] <= height
            assert page.page.evaluate("document.documentElement.scrollWidth") <= width
        page.page.set_viewport_size({"width": 1400, "height": 900})
        # Source: cmi5, section 11.2 (audioPreference): off, as this learner wants it.
        assert page.page.locator("#sound-volume").input_value() == "0"
        page.page.get_by_text("you want no sound").wait_for(state="attached")
        page.bench.screenshot("reporting-2-launched")
        page.press(do="begin")
        page.page.locator(".seed", has_text="Variation").wait_for()
        # The store is out of order for a while, then the network is.
        lms.failing[:] = [503]
        page.press(do="hint")
        page.stands("busy")
        page.until(lambda: "interacted" in verbs(lms.statements), "the hint, sent again after a 503")
        context.set_offline(True)
        page.stands("all_sent")
        before = len(lms.statements)
        page.solve(LESSON)
        page.stands("offline")
        assert "no connection" in page.page.locator(".part.reporting [role=status]").last.inner_text()
        assert len(lms.statements) == before
        context.set_offline(False)
        page.until(lambda: "completed" in verbs(lms.statements), "what was done without a connection")
        page.press(do="close")
        # What is not told yet is counted, and waited for: only then does the page go back.
        lms.failing[:] = [503, 503, 503]
        launch.locator("[data-do=reporting_leave]").focus()
        page.page.keyboard.press("Enter")
        launch.get_by_text("not all of it could be reported (waiting: 1)").wait_for()
        launch.locator("[data-do=reporting_away]").wait_for()
        page.bench.screenshot("reporting-4-waiting", full_page=False)
        page.page.get_by_text("Back at school").wait_for()
        told = lms.statements
        assert verbs(told) == ["initialized", "interacted", "attempted", "passed", "completed", "terminated"]
        assert [one["timestamp"] for one in told] == sorted(one["timestamp"] for one in told)
        assert cmi5_problems(told, lms.judged()) == []
        # Source: Learning Locker's validator, npm @learninglocker/xapi-validation 3.0.0.
        assert [refused for refused in refused_by_store(told, tmp_path) if refused] == []
        assert lms.refused == []
        assert lms.tokens == {"session-1": 1}
        assert lms.versions == {"1.0.3"}
        context.close()


def test_a_window_that_is_closed_or_loaded_again_ends_its_session(
    browser: Browser, package: Callable[[FakeLms], Path], lms: FakeLms
) -> None:
    with served(package(lms)) as url:
        context = still_context(browser)
        page = ReportingPage(context, url, query=lms.launch_address(f"?lesson={LESSON}"), others=(lms.address,))
        page.until(lambda: verbs(lms.statements) == ["initialized"], "the first statement")
        page.page.reload()
        page.watched.wait_until_running()
        page.stands("launch_used")
        page.until(lambda: verbs(lms.statements) == ["initialized", "terminated"], "the last statement")
        assert cmi5_problems(lms.statements, lms.judged()) == []
        # The token was asked for once; what is done now stays here.
        assert lms.tokens == {"session-1": 1}
        page.page.locator(".part.course").wait_for()
        page.begin(LESSON)
        page.press(do="hint")
        page.until(lambda: len(page.store()["statements"]) >= 3, "the statements to be kept")
        assert len(lms.statements) == 2
        assert page.page.locator("#trouble").is_hidden()
        context.close()


def test_another_unit_of_cmi5_reports_to_the_same_learning_system(browser: Browser, lms: FakeLms) -> None:
    # Source: npm @xapi/cmi5 1.4.0. What the tests play is a learning system for units that are not ours, too; and its
    # judge of sessions takes what that library says.
    script = npm_package("@xapi/cmi5") / "dist" / "Cmi5.umd.js"
    context = still_context(browser)
    page: Page = context.new_page()
    page.goto(lms.launch_address(f"{lms.address}/back", "/"))
    page.add_script_tag(path=script)
    page.evaluate(
        """async () => {
          const unit = Cmi5.instance;
          await unit.initialize();
          await unit.pass(1);
          await unit.complete();
          await unit.terminate();
        }"""
    )
    assert verbs(lms.statements) == ["initialized", "passed", "completed", "terminated"]
    assert cmi5_problems(lms.statements, lms.judged()) == []
    context.close()


def opened_site(built_site: Path, folder: Path, lms: FakeLms) -> Path:
    """Return the site as ``bandbench build --xapi-endpoint`` makes it, from one that is built."""
    shutil.copytree(built_site, folder, copy_function=os.link)
    origin, endpoint = checked_endpoint(f"{lms.address}/xapi")
    index = (built_site / "index.html").read_text("utf-8")
    closed = '"statements": {"origin": "", "endpoint": "", "cmi5": false}'
    assert index.count(closed) == 1
    settings = json.dumps({"origin": origin, "endpoint": endpoint, "cmi5": False})
    opened = with_connections(index.replace(closed, f'"statements": {settings}'), origin)
    for name in ("index.html", "index.html.gz"):
        (folder / name).unlink(missing_ok=True)
    (folder / "index.html").write_text(opened, "utf-8")
    return folder


def test_a_site_built_for_a_store_sends_once_the_learner_says_so(
    browser: Browser, built_site: Path, tmp_path: Path, lms: FakeLms
) -> None:
    with served(opened_site(built_site, tmp_path / "site", lms)) as url:
        context = still_context(browser)
        page = ReportingPage(context, url, others=(lms.address,))
        page.stands("idle")
        page.make_learner("Jo")
        page.begin(LESSON)
        page.press(do="hint")
        page.until(lambda: len(page.store()["statements"]) == 2, "the statements to be kept")
        assert lms.requests == []
        page.bench.tab_to(text="Reporting (xAPI): kept 2, sent 0")
        page.page.keyboard.press("Enter")
        part = page.page.locator(".part.reporting")
        assert part.locator("#reporting-endpoint").input_value() == f"{lms.address}/xapi/"
        part.locator("#reporting-endpoint").fill("https://elsewhere.example/xapi/")
        page.press(do="reporting_send")
        part.get_by_text("may send only to").wait_for()
        part.locator("#reporting-endpoint").fill(f"{lms.address}/xapi/")
        part.locator("#reporting-version").select_option("2.0.0")
        page.bench.tab_to(id="reporting-user", backwards=True)
        page.page.keyboard.type(USER)
        page.bench.tab_to(id="reporting-secret")
        page.page.keyboard.type("wrong")
        page.page.keyboard.press("Enter")
        page.stands("unauthorised")
        assert lms.statements == []
        # One that is there already under its id, and one that is refused, bar none of the others.
        lms.failing[:] = [409, 409, 400]
        page.page.keyboard.type(SECRET)
        page.page.keyboard.press("Enter")
        page.until(lambda: "sent 1" in part.locator("summary").inner_text(), "one sent and one refused")
        part.get_by_text("Statements that were refused").wait_for()
        assert part.locator("#reporting-secret").input_value() == ""
        page.solve(LESSON)
        page.until(lambda: "terminated" in verbs(lms.statements), "what was done to be sent")
        page.stands("all_sent")
        assert verbs(lms.statements) == ["attempted", "passed", "completed", "terminated"]
        assert lms.versions == {"2.0.0"}
        page.press(do="close")
        looks: tuple[tuple[int, Literal["light", "dark"]], ...] = ((1400, "light"), (320, "dark"))
        for width, scheme in looks:
            page.page.set_viewport_size({"width": width, "height": 800})
            page.page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            assert axe_problems(page.page, "#lesson") == []
            page.bench.screenshot(f"reporting-3-store-{width}")
        assert page.page.evaluate("document.documentElement.scrollWidth") <= 320
        for target in part.locator("button:visible, summary:visible, input:visible, select:visible").all():
            box = target.bounding_box()
            assert box is not None
            assert min(box["width"], box["height"]) >= 24.0
        # Where to is kept, as whom is not; nor does anything else of this browser hold the password.
        kept = page.page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}])") + json.dumps(page.store())
        assert lms.address in kept
        assert not re.search(rf"wrong|{SECRET}", kept)
        page.page.reload()
        page.watched.wait_until_running()
        page.stands("idle")
        context.close()
