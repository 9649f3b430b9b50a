"""The bench's views without a browser: what they tell the page, and what they do with what comes back."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bandbench.bench.application import ROUND, BenchApplication
from bandbench.bench.words import WORDS, say, words_of
from bandbench.build_page import PAGE_PREFIXES
from bandbench.runtime.application import PictureFile
from sim.controls import CONTROLS, STAGES
from sim.instruments import DEFAULT_READINGS
from sim.training.solution import solution_moves
from tests.bench_clock import Clock

SITE = Path(__file__).parents[1] / "site"
SCRIPTS = sorted((SITE / "bandbench" / "bench").glob("*.mjs"))


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def application(clock: Clock) -> BenchApplication:
    made = BenchApplication(clock)
    made.next_frame()
    return made


def tick_round(application: BenchApplication) -> None:
    """Tick until everything has been brought up to date."""
    for _ in range(2 * len(ROUND)):
        application.tick(0.0)


def board_values(application: BenchApplication) -> dict[str, float]:
    return dict(json.loads(application.controls.board.values)["values"])


def drawn_labels(application: BenchApplication) -> set[str]:
    """Return what the legends of the result's plots name."""
    panes: list[Any] = list(application.result.plots)
    return {item.label.value for pane in panes for legend in pane.object.legend for item in legend.items}


# The page ---------------------------------------------------------------------------------------------------


def test_every_part_has_its_place_in_the_page_and_every_place_its_part(application: BenchApplication) -> None:
    places = re.findall(r'data-root="([\w-]+)"', (SITE / "static" / "index.html").read_text("utf-8"))
    assert sorted(places) == sorted(application.roots())


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: str(path.name))
def test_a_script_uses_words_that_there_are(path: Path) -> None:
    told = {"added": "meters", "monitor": "picture", "classdesk": "report", "deck": "transport"}
    prefix = told.get(path.stem, path.stem)
    used = set(re.findall(r"\bwords\.(\w+)", path.read_text("utf-8")))
    assert used <= set(words_of(prefix)), f"{path.name} shows words that are not among the bench's"


@pytest.mark.parametrize(
    ("prefix", "names"),
    [("script", ("main", "loading", "pictures", "flashchoice", "theme", "offline")), ("desk", ("console",))],
    ids=["page", "console"],
)
def test_the_pages_own_scripts_say_words_that_there_are_and_all_of_them(prefix: str, names: tuple[str, ...]) -> None:
    code = "".join((SITE / "static" / f"{name}.mjs").read_text("utf-8") for name in names)
    said = set(re.findall(r'\bsay\([^"`]*"([\w.]+)"', code)) | set(re.findall(r': "([a-z]+\.[a-z_]+)"', code))
    known = set(words_of(prefix))
    assert {key for key in said if "." in key} <= known
    # What is put together from a name: a step, a kind of trouble, a state, a key.
    built = re.compile(r"(step|kept|why|copy)\.\w+|\w+\.(title|action)|key\.\w+|window\.(gone|silent)")
    assert [key for key in known if not built.fullmatch(key) and key not in code] == []


def test_the_pages_name_texts_that_there_are_and_all_of_them() -> None:
    for prefix, name in (("page", "index.html"), ("console", "console.html")):
        named = re.findall(r'data-word(?:-\w+)?="([\w.]+)"', (SITE / "static" / name).read_text("utf-8"))
        assert set(named) == {f"{prefix}.{key}" for key in words_of(prefix)}


def test_every_word_is_used() -> None:
    files = (path for path in (SITE / "bandbench").rglob("*") if path.suffix in {".py", ".mjs", ".css"})
    code = "\n".join(path.read_text("utf-8") for path in files)
    # What became of an export or a file is told by the page, in words of the learner's part.
    code += (SITE / "static" / "records.mjs").read_text("utf-8")
    # And how sending and a launch stand, in words of the reporting part.
    code += "".join((SITE / "static" / f"{name}.mjs").read_text("utf-8") for name in ("statements", "cmi5"))
    # Some keys are put together from a name: a mode, a part of the debrief, a hint's level.
    built = re.compile(
        r"lesson\.(learn|practise|demonstrate)(_text)?|lesson\.hint_\d|result\.(what|why|next|result|diagnosis|order_and_care)"
        r"|why\.(view|title|scale|hidden)_\w+"
        r"|sound\.(figure|no_note)_\w+|sound\.no_output|learner\.why_\w+"
        r"|course\.(level|mode)_\w+|reference\.(page|about|column)_\w+|formula\.\w+|replay\.kind_\w+|stage\.\w+_about"
        r"|reporting\.(mode|move_on)_\w+|report\.(flag|kind)_\w+"
    )
    named = set(re.findall(r"\w+", code))
    idle = [
        key
        for key in WORDS
        if not key.startswith((*PAGE_PREFIXES, "sim.")) and not built.fullmatch(key) and key.split(".")[1] not in named
    ]
    assert idle == []


# Frames and ticks -------------------------------------------------------------------------------------------


def test_a_picture_is_bytes_with_the_revision_it_shows(application: BenchApplication) -> None:
    application.controls.receive({"number": 1, "moves": {"guide_position_um": 12.0}})
    image = application.next_frame()
    assert image is not None
    assert image.revision == 1
    assert image.images["picture"].dtype == np.uint8
    assert image.images["picture"].shape == (486, 754)


def test_while_paused_nothing_is_made_unless_something_changed(application: BenchApplication) -> None:
    tick_round(application)
    played = application.bench.frame
    assert application.next_frame() is None
    shown = application.meters.meters.readings
    tick_round(application)
    assert application.bench.frame is played
    assert application.meters.meters.readings is shown
    application.monitor.receive({"do": "set", "value": {"point": "demodulated"}})
    assert application.next_frame() is not None
    assert application.next_frame() is None


def test_while_playing_every_frame_is_another(application: BenchApplication, clock: Clock) -> None:
    application.monitor.receive({"do": "play", "value": True})
    application.next_frame()
    shown = []
    for _ in range(2):
        clock.now_s += 1.0 / 29.0
        shown.append(application.next_frame())
    first, second = shown
    assert first is not None
    assert second is not None
    assert (first.images["picture"] != second.images["picture"]).any()


def test_ticks_bring_everything_up_to_date(application: BenchApplication) -> None:
    tick_round(application)
    readings = json.loads(application.meters.meters.readings)
    assert set(readings) == {*DEFAULT_READINGS, "tracking"}
    assert set(json.loads(application.path.strip.states)) == set(STAGES)
    assert application.path.strip.traces
    assert len(json.loads(application.monitor.monitor.bands)) == 2


def test_a_monitor_out_of_sight_is_not_drawn(application: BenchApplication) -> None:
    application.scope.receive({"visible": False})
    assert not application.scope.draw()
    application.scope.receive({"visible": True})
    assert application.scope.draw()
    assert not application.scope.draw()


@pytest.mark.parametrize("line", [0, 100])
@pytest.mark.parametrize("stage", STAGES)
def test_the_waveform_monitor_draws_every_stage(application: BenchApplication, stage: str, line: int) -> None:
    application.path.receive({"stage": stage})
    application.scope.receive({"set": {"line": line, "magnify": 5}})
    assert application.scope.draw()
    assert application.scope.x_range.end - application.scope.x_range.start == pytest.approx(63.556 / 5, rel=1e-3)
    assert application.scope.settings.notice == ""


# What comes back from the page ------------------------------------------------------------------------------


def test_moves_are_carried_out_and_acknowledged(application: BenchApplication) -> None:
    board = application.controls.board
    application.controls.receive({"number": 4, "moves": {"guide_height_um": 20.0, "channel_on_2": 0.0}})
    assert board.applied == 4
    tick_round(application)
    assert board_values(application) == application.bench.recorder.controls
    assert json.loads(board.values)["applied"] == 4
    assert json.loads(application.log.list.moves)[0] == "Channel 2: on to off"


def test_a_move_that_is_refused_says_why_beside_its_control_and_gives_the_old_value(
    application: BenchApplication,
) -> None:
    board = application.controls.board
    application.controls.receive({"number": 1, "moves": {"guide_height_um": 5000.0}})
    assert "range" in board.notes["guide_height_um"]
    assert board.applied == 1
    assert json.loads(board.values) == {"applied": 1, "values": application.bench.recorder.controls}
    application.controls.receive({"number": 2, "moves": {"guide_height_um": 50.0}})
    assert board.notes == {}


def test_a_picture_that_cannot_be_played_says_why(application: BenchApplication) -> None:
    application.on_picture_file(PictureFile("dot.png", np.zeros((1, 1, 3), np.float32)))
    assert application.monitor.monitor.notice != ""
    assert application.bench.programme == "bars"
    application.on_picture_file(PictureFile("ok.png", np.zeros((8, 8, 3), np.float32)))
    assert application.monitor.monitor.notice == ""
    assert application.bench.picture_name == "ok.png"


@pytest.mark.parametrize("view", ["controls", "path", "monitor", "scope", "meters", "lesson"])
def test_an_unknown_message_is_an_error_of_the_program(application: BenchApplication, view: str) -> None:
    with pytest.raises((ValueError, KeyError)):
        getattr(application, view).receive({"do": "dance"})


def test_what_was_described_is_wiped_when_it_no_longer_holds(application: BenchApplication) -> None:
    application.monitor.receive({"do": "describe"})
    application.scope.receive({"describe": True})
    assert application.monitor.monitor.sentence.startswith("Picture monitor:")
    assert application.scope.settings.sentence.startswith("Waveform monitor:")
    application.controls.receive({"number": 1, "moves": {"guide_height_um": 50.0}})
    tick_round(application)
    assert (application.monitor.monitor.sentence, application.scope.settings.sentence) == ("", "")


# A lesson ---------------------------------------------------------------------------------------------------


def test_the_lesson_card_from_choice_to_result(application: BenchApplication, clock: Clock) -> None:
    card = application.lesson.card

    def do(what: str, value: object = None) -> str:
        clock.now_s += 1.0
        application.lesson.receive({"do": what, "value": value})
        tick_round(application)
        return str(card.notice)

    do("mode", "learn")
    do("lesson", "tracking-and-guide")
    assert card.page == "briefing"
    assert card.lesson["title"]
    do("begin")
    assert card.page == "steps"
    assert card.step["number"] == 1
    assert application.controls.board.fixed
    assert set(application.controls.board.offered) < set(CONTROLS)
    do("step", 3)
    assert card.step["number"] == 3
    assert [watched["name"] for watched in card.watch] == ["rf_level_db"]
    assert "open hint 1 first" in do("hint", 2)
    assert card.hints == []
    do("hint", 1)
    assert len(card.hints) == 1
    do("check")
    assert [one["passed"] for one in card.checks] == [False, False]
    assert application.result.page.result == {}
    # Asked for before the pass, the result shows one's own moves but gives nothing away.
    do("result")
    assert application.result.page.result["debrief"] == []
    assert drawn_labels(application) == {say("result.reading"), say("result.band"), say("result.yours")}
    application.result.receive({"do": "close"})
    session = application.bench.running_session()
    for number, (control, value) in enumerate(solution_moves(session.lesson, session.start), start=1):
        clock.now_s += 5.0
        application.controls.receive({"number": number, "moves": {control: value}})
    do("check")
    finished = [card.finished]
    result = application.result.page.result
    assert result["passed"]
    assert [one["passed"] for one in result["checks"]] == [True, True]
    # What was done when, two readings, two controls moved.
    assert len(application.result.plots) == 5
    assert len(result["debrief"]) == 3
    assert say("result.reference") in drawn_labels(application)
    seed = card.seed
    application.result.receive({"do": "again"})
    tick_round(application)
    assert card.seed != seed
    finished.append(card.finished)
    assert finished == [True, False]
    assert application.result.page.result == {}
    # The result of one attempt does not stay beside another that is looked at.
    passed = session.past[-1]
    do("check")
    do("result")
    assert not application.result.page.result["passed"]
    application.bench.look_back(passed, clock.now_s)
    tick_round(application)
    assert application.result.page.result == {}
    do("mode", None)
    assert card.page == "choose"


def test_faults_are_told_only_when_they_may_be(application: BenchApplication) -> None:
    card = application.lesson.card
    application.lesson.receive({"do": "mode", "value": "practise"})
    application.lesson.receive({"do": "hide_fault"})
    tick_round(application)
    assert card.fault["state"] == "hidden"
    assert application.bench.fault is not None
    application.lesson.receive({"do": "show_fault"})
    tick_round(application)
    assert card.fault["state"] == "shown"
    application.lesson.receive({"do": "clear_fault"})
    tick_round(application)
    assert card.fault["state"] == "none"
