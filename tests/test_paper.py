"""Sheets of paper: what stands on them, that it is right, that it gives nothing away, and that texts stay texts."""

from __future__ import annotations

import json
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from bandbench.bench.paper import PractisedAttempt, alignment_sheet, job_sheet, practice_sheet
from bandbench.bench.sheets import Grid, Items, Lines, Prose, Sheet, sheet_data, sheets_html
from bandbench.command import main
from sim.controls import CONTROLS
from sim.training.alignment import AlignmentRecord, alignment_record
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, HintOpened, NoteWritten
from sim.training.deal import deal
from sim.training.help import Help
from sim.training.lesson import Lesson
from sim.training.machine import LessonMachine
from sim.training.run import machine_for
from sim.training.solution import solution_moves

LESSONS = read_lessons()
LESSON = LESSONS["tracking-and-guide"]
SEED = 7

# Texts that would run if anything took them for markup (common practice of testing for script injection).
XSS = (
    "<script>globalThis.hurt = 1</script>",
    '"><img src=x onerror="globalThis.hurt = 1">',
    "<svg/onload=globalThis.hurt=1>",
    "javascript:globalThis.hurt=1",
    "</style><script>globalThis.hurt=1</script>",
    "**<b>**`<i onclick=globalThis.hurt=1>`",
)


@pytest.fixture(scope="module")
def machine() -> LessonMachine:
    return machine_for(LESSON, FAULTS)


@pytest.fixture(scope="module")
def attempt(machine: LessonMachine) -> Attempt:
    """A try that failed, a note, the worked solution submitted, and a turn after it was over."""
    moves = solution_moves(LESSON, deal(LESSON, SEED, machine))
    log = Attempt(LESSON.id, LESSON.version, SEED)
    log = log.with_event(CheckSubmitted(1.0)).with_event(NoteWritten(2.0, XSS[0]))
    for place, (control, value) in enumerate(moves):
        log = log.with_event(ControlMoved(3.0 + place, control, value))
    return log.with_event(CheckSubmitted(10.0)).with_event(ControlMoved(11.0, moves[0][0], 0.0))


@pytest.fixture(scope="module")
def record(machine: LessonMachine, attempt: Attempt) -> AlignmentRecord:
    return alignment_record(LESSON, attempt, machine)


class Tags(HTMLParser):
    """Every tag, attribute and text of a document."""

    def __init__(self, document: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: set[str] = set()
        self.texts: list[str] = []
        self.alts: list[str] = []
        self.feed(document)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        self.alts += [value or "" for name, value in attrs if name == "alt"]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def texts(sheet: Sheet) -> str:
    return json.dumps(sheet_data(sheet), ensure_ascii=False)


def grids(sheet: Sheet) -> list[Grid]:
    return [block for part in sheet.parts for block in part if isinstance(block, Grid)]


# Values found and left --------------------------------------------------------------------------------------


def test_found_is_the_dealt_start_and_left_the_deciding_submission(
    record: AlignmentRecord, attempt: Attempt, machine: LessonMachine
) -> None:
    start = deal(LESSON, SEED, machine)
    moves = dict(solution_moves(LESSON, start))
    assert record.submitted
    assert record.left_at_s == 10.0
    for setting in record.settings:
        assert setting.found == start.controls[setting.control]
        # What was turned after the submission that decides is not what was submitted.
        assert setting.left == moves.get(setting.control, start.controls[setting.control])
        assert setting.moves == (setting.control in moves)
    first, last = record.score.submissions
    checked = [one for one in record.readings if one.check]
    for one, before, after in zip(checked, first.results, last.results, strict=True):
        # Before anything was turned the readings are those of the first submission, but for the noise of its frame.
        assert one.found == pytest.approx(before.value, abs=one.check.tolerance if one.check else 0.0)
        assert (one.left, one.passed) == (after.value, after.passed)
    assert not all(result.passed for result in first.results)
    assert all(one.passed for one in checked)
    assert {one.measurement for one in record.readings if not one.check} <= {
        name for step in LESSON.steps for name in step.watch
    }


def test_without_a_submission_left_is_how_it_stood_at_the_end(machine: LessonMachine) -> None:
    control = LESSON.controls[0]
    log = Attempt(LESSON.id, LESSON.version, SEED).with_event(ControlMoved(4.0, control, 1.0))
    found = alignment_record(LESSON, log, machine)
    assert not found.submitted
    assert (found.settings[0].left, found.settings[0].moves, found.left_at_s) == (1.0, 1, 4.0)


def test_a_machine_that_runs_is_recorded_too() -> None:
    lesson = next(lesson for lesson in LESSONS.values() if lesson.running is not None)
    running = machine_for(lesson, FAULTS)
    found = alignment_record(lesson, Attempt(lesson.id, lesson.version, 1).with_event(CheckSubmitted(2.0)), running)
    sheet = alignment_sheet(lesson, Attempt(lesson.id, lesson.version, 1), found)
    assert [one.check for one in found.readings if one.check] == list(lesson.checks)
    assert len(grids(sheet)) == (bool(found.settings) + bool(found.readings))


def test_the_alignment_record_has_every_control_and_reading_with_units(
    record: AlignmentRecord, attempt: Attempt
) -> None:
    sheet = alignment_sheet(LESSON, attempt, record, name=XSS[1], began="2026-03-02T12:00:00.000Z")
    controls, readings = grids(sheet)
    assert [row[0] for row in controls.rows] == [CONTROLS[name].label for name in LESSON.controls]
    assert any("µm" in row[1] for row in controls.rows)
    assert [row[4] for row in readings.rows[: len(LESSON.checks)]] == ["yes"] * len(LESSON.checks)
    assert any(isinstance(block, Items) and XSS[0] in block.texts[0] for part in sheet.parts for block in part)
    assert "2026-03-02 12:00 UTC" in texts(sheet)


def test_a_pass_with_more_help_than_was_permitted_is_none_on_paper(machine: LessonMachine, attempt: Attempt) -> None:
    helped = Attempt(LESSON.id, LESSON.version, SEED, (HintOpened(0.5, 1), *attempt.events))
    sheet = alignment_sheet(LESSON, helped, alignment_record(LESSON, helped, machine), permitted=Help(hints=0))
    assert "no hint was permitted" in texts(sheet)
    assert '"Result", "not yet"' in texts(sheet)


# Job sheet --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lesson", LESSONS.values(), ids=lambda lesson: lesson.id)
def test_a_job_sheet_asks_for_everything_and_gives_nothing_away(lesson: Lesson) -> None:
    sheet = job_sheet(lesson, 3, Help(hints=1))
    written = texts(sheet)
    assert len([block for part in sheet.parts for block in part if isinstance(block, Lines)]) == (
        len(lesson.steps) + len(lesson.questions) + 1
    )
    for grid in grids(sheet):
        assert len(grid.rows) == len(lesson.checks)
        assert all(row[2:] == ("", "", "") for row in grid.rows)
    assert len(lesson.cautions) == len(next(block for block in sheet.parts[3] if isinstance(block, Items)).texts)
    # What a step says in the same words is no secret.
    told = " ".join(step.text for step in lesson.steps)
    for secret in (
        lesson.hints.symptom, lesson.hints.cause, lesson.hints.step, lesson.debrief.what,
        *(move.text for move in lesson.solution if move.text not in told),
        *(question.explain for question in lesson.questions),
    ):  # fmt: skip
        assert json.dumps(secret, ensure_ascii=False)[1:-1] not in written
    assert "hints to level 1" in written


# Record of practice, and texts as texts ---------------------------------------------------------------------------


def practised(attempt: Attempt, title: str = LESSON.title, passed: bool | None = True) -> PractisedAttempt:
    return PractisedAttempt(title, 1, "2026-03-02T12:34:56.000Z", attempt, attempt.to_json(), passed)


def test_the_record_of_practice_says_what_was_done_and_by_what_it_can_be_known(attempt: Attempt) -> None:
    sheet = practice_sheet("Ines", "abc", [practised(attempt), practised(attempt, passed=None)])
    (grid,) = grids(sheet)
    assert grid.rows[0][:1] == ("2026-03-02 12:34 UTC",)
    assert grid.rows[0][2:4] == (str(SEED), "passed")
    assert grid.rows[1][3] == "not scored yet"
    assert "1 passed of 2" in texts(sheet)
    # The same digest as any program makes of the log (PUB, FIPS 180-4 through hashlib).
    import hashlib

    assert hashlib.sha256(attempt.to_json().encode()).hexdigest()[:12] in grid.rows[0][4]


def test_no_name_note_or_title_becomes_markup(record: AlignmentRecord, attempt: Attempt) -> None:
    plain = [alignment_sheet(LESSON, attempt, record, name="Ines"), practice_sheet("Ines", "abc", [practised(attempt)])]
    usual = Tags(sheets_html("Sheets", plain))
    for text in XSS:
        sheets = [
            alignment_sheet(LESSON, attempt, record, name=text, began="2026-03-02T12:00:00.000Z"),
            practice_sheet(text, text, [practised(attempt, title=text)]),
            Sheet("job", text, ((Prose(text), Items((text,)), Lines(text, 1), Grid(text, (text,), ((text,),))),)),
        ]
        found = Tags(sheets_html(text, sheets))
        allowed = {*usual.tags, "ul", "li", "strong", "em"}
        assert set(found.tags) <= allowed
        assert "script" not in found.tags
        assert not any(name.startswith("on") for name in found.attributes)
        # Nothing of it is lost either: a person reads what was typed.
        assert "globalThis.hurt" in "".join(found.texts)


def test_a_document_needs_nothing_from_elsewhere() -> None:
    document = sheets_html("Job sheet", [job_sheet(LESSON)])
    assert "default-src 'none'" in document
    assert "http" not in document.replace("http-equiv", "")
    found = Tags(document)
    assert found.tags.count("h1") == 1
    assert "caption" in found.tags
    assert "th" in found.tags


# The command ------------------------------------------------------------------------------------------------


def test_the_command_writes_sheets_from_exported_records(
    tmp_path: Path, attempt: Attempt, capsys: pytest.CaptureFixture[str]
) -> None:
    profile = {
        "id": "11111111-1111-4111-8111-111111111111", "name": XSS[1],
        "created_at": "2026-01-05T09:00:00.000Z", "used_at": "2026-01-05T09:00:00.000Z",
    }  # fmt: skip
    row = {
        "id": "22222222-2222-4222-8222-000000000001", "profile": profile["id"], "lesson": LESSON.id,
        "lesson_version": LESSON.version, "started_at": "2026-01-05T09:00:00.000Z",
        "ended_at": "2026-01-05T09:30:00.000Z", "app_version": "0000",
        "log": replace(attempt, help=Help(1, worked=False, why=False, glossary=False)).to_json(),
    }  # fmt: skip
    file = {
        "format": "bandbench-records", "format_version": 1, "exported_at": "2026-01-05T10:00:00.000Z",
        "app_version": "0000", "profile": profile, "attempts": [row], "running": [], "notes": [],
    }  # fmt: skip
    records = tmp_path / "records.json"
    records.write_text(json.dumps(file), "utf-8")
    for action, says in (("alignment", "Alignment record"), ("practice", "Record of practice")):
        out = tmp_path / f"{action}.html"
        assert main(["paper", action, str(records), "--out", str(out)]) == 0
        document = out.read_text("utf-8")
        assert says in document
        assert "passed" in document
        assert "hints to level 1" in document
        assert "img" not in Tags(document).tags
    assert main(["paper", "job", LESSON.id, "--help-permitted", "none", "--out", str(tmp_path / "job.html")]) == 0
    capsys.readouterr()
    for words in (
        ["job", "no-lesson", "--out", str(tmp_path / "x.html")],
        ["job", LESSON.id, "--help-permitted", "much", "--out", str(tmp_path / "x.html")],
        ["practice", str(tmp_path / "none.json"), "--out", str(tmp_path / "x.html")],
        ["job", LESSON.id, "--out", str(tmp_path / "no" / "x.html")],
        ["handout", "--fault", "no_fault", "--out", str(tmp_path / "h")],
        ["handout", "--standard", "405/50", "--out", str(tmp_path / "h")],
    ):
        assert main(["paper", *words]) == 2
        assert capsys.readouterr().err.startswith("bandbench paper: ")


@pytest.mark.parametrize(
    ("standard", "practice", "unit", "strange"),
    [("525/60", "525 high-band", "IRE", ("625", "mV")), ("625/50", "625 high-band", "mV", ("525", "IRE"))],
)
def test_a_handout_has_a_picture_a_trace_a_caption_and_words_for_each_fault(
    tmp_path: Path, standard: str, practice: str, unit: str, strange: tuple[str, str]
) -> None:
    names = ["guide_knocked", "dull_channel_1"]
    out = tmp_path / "handout"
    faults = [word for name in names for word in ("--fault", name)]
    assert main(["paper", "handout", *faults, "--standard", standard, "--out", str(out)]) == 0
    found = Tags((out / "index.html").read_text("utf-8"))
    assert any(f"{standard}, {practice}, one fault" in text for text in found.texts)
    # Captions and words are those of the machine that is shown, its unit of level (PUB: `sim.standards`) among them.
    assert any(f" {unit}" in words for words in found.alts)
    assert not any(one in text for one in strange for text in [*found.texts, *found.alts])
    assert found.tags.count("figure") == found.tags.count("figcaption") == len(found.alts) == 2 * (len(names) + 1)
    assert all(len(words) > 20 for words in found.alts)
    assert len(set(found.alts)) == len(found.alts)
    for name in names:
        assert any(FAULTS[name].symptoms["picture"] in text for text in found.texts)
        with Image.open(out / f"{name}-picture.png") as faulty, Image.open(out / "in-order-picture.png") as sound:
            assert faulty.width / faulty.height == pytest.approx(4 / 3, rel=0.01)
            assert faulty.tobytes() != sound.tobytes()
        with Image.open(out / f"{name}-trace.png") as trace:
            # Black on white: paper is mostly white, and something is drawn.
            light, dark = trace.convert("L").point(lambda level: level < 128).histogram()[:2]
            assert 0.02 < dark / (light + dark) < 0.6
