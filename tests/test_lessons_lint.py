"""The linter: every lesson that ships can be done from what a trainee sees, and broken ones are told apart."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest
from jsonschema import Draft202012Validator

from bandbench.command import main
from bandbench.lessons import LESSONS_FOLDER, lesson_files, read_lesson
from sim.controls import CONTROLS
from sim.errors import BandbenchError
from sim.training import follower
from sim.training.attempt import CheckSubmitted, ControlMoved
from sim.training.deal import deal
from sim.training.follower import MOST_MOVES, _climbed, _Operator, _set_best, _swept, follow_steps
from sim.training.lesson import parse_lesson
from sim.training.lint import SEEDS, lint_lesson
from sim.training.reader import LessonError
from sim.training.score import score_attempt
from tests.solved_lessons import SEED, linted
from tests.training_examples import EXAMPLES, EXAMPLES_FOLDER, example, example_data, example_faults
from tests.training_lessons import LINE_UP_FILE, line_up, line_up_data, line_up_machine

TEXT = LINE_UP_FILE.read_text(encoding="utf-8")


@pytest.mark.parametrize("path", lesson_files([]), ids=lambda path: path.stem)
def test_every_lesson_fails_as_delivered_and_passes_by_solution_and_by_instruments(path: Path) -> None:
    # All of `SEEDS` take a quarter of an hour and more over the whole course: `bandbench lessons lint` tries them.
    report = linted(read_lesson(path).id)
    assert report.problems == ()
    assert [seed.seed for seed in report.seeds] == [SEED] == list(SEEDS[:1])
    for seed in report.seeds:
        assert not seed.delivered.passed
        assert seed.solved.passed
        assert seed.followed.passed
        assert seed.followed.moves <= MOST_MOVES
        assert seed.followed.forbidden_acts == ()


def test_schema_is_itself_a_valid_schema_of_2020_12_and_strict_everywhere() -> None:
    schema = json.loads((LESSONS_FOLDER / "lesson.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["$id"]
    open_tables = []

    def visit(node: object, path: str) -> None:
        if isinstance(node, dict):
            strict = "additionalProperties" in node or node.get("unevaluatedProperties") is False
            if node.get("type") == "object" and not strict:
                open_tables.append(path)
            for key, value in node.items():
                visit(value, f"{path}/{key}")

    visit(schema, "")
    assert open_tables == []


@pytest.mark.parametrize("thorough", [False, True])
def test_operator_works_by_the_instruments_and_stays_out_of_forbidden_ground(thorough: bool) -> None:
    lesson, machine = line_up(), line_up_machine()
    start = deal(lesson, 2, machine)
    work = follow_steps(lesson, start, machine, thorough)
    positions = [
        event.value
        for event in work.attempt.events
        if isinstance(event, ControlMoved) and event.control == "guide_position_um"
    ]
    if thorough:
        # The whole range it may use, as one who does not know where the right place is goes through it.
        assert (min(positions), max(positions)) == (-150.0, 120.0)
    else:
        assert max(positions) - min(positions) < 200.0
    assert work.moves <= MOST_MOVES
    assert score_attempt(lesson, work.attempt, machine).passed


def test_operator_gives_up_and_submits_when_it_is_out_of_moves(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(follower, "MOST_MOVES", 3)
    lesson, machine = line_up(), line_up_machine()
    work = follow_steps(lesson, deal(lesson, 2, machine), machine, thorough=True)
    assert work.moves == 3
    assert isinstance(work.attempt.events[-1], CheckSubmitted)


def test_thorough_operator_finds_the_higher_of_two_peaks() -> None:
    # Seen from here the lower peak is nearer, so whoever only follows the rise ends on it.
    def badness(place: float) -> float:
        return -max(20.0 - abs(place + 100.0) / 10.0, 10.0 - abs(place - 60.0))

    spec = CONTROLS["guide_position_um"]
    limits = (spec.minimum, spec.maximum)
    assert _climbed(badness, 50.0, limits, spec, -math.inf) == (50.0, 70.0)
    low, high = _swept(badness, 50.0, limits, spec, -math.inf)
    assert low < -100.0 < high


def test_operator_puts_a_control_back_that_betters_nothing() -> None:
    class Bench:
        """Readings that no control moves, with the noise of reading."""

        lesson = line_up()

        def __init__(self) -> None:
            self.controls = {"guide_position_um": 37.5}
            self.moves = 0

        def turn(self, control: str, value: float) -> None:
            self.controls[control] = value
            self.moves += 1

        def badness(self, watched: set[str]) -> float:
            return 3.0 - 0.01 * (self.moves % 3)

    for find in (_climbed, _swept):
        bench = Bench()
        _set_best(cast(_Operator, bench), CONTROLS["guide_position_um"], {"skew_us"}, find)
        assert bench.moves > 2
        assert bench.controls == {"guide_position_um": 37.5}


@pytest.mark.parametrize(("watched", "turned"), [({"skew_us"}, False), ({"skew_us", "rf_level_db"}, True)])
def test_operator_leaves_a_control_whose_readings_are_right(watched: set[str], turned: bool) -> None:
    class Bench:
        """Readings a twentieth of their tolerance from their target; the peak of `rf_level_db` is for whoever looks."""

        lesson = line_up()

        def __init__(self) -> None:
            self.controls = {"guide_position_um": 37.5}
            self.moves = 0

        def turn(self, control: str, value: float) -> None:
            self.moves += 1

        def badness(self, watched: set[str]) -> float:
            return 0.05

    kinds = {check.measurement: check.kind for check in Bench.lesson.checks}
    assert ("peak" in {kinds[name] for name in watched}) == turned
    bench = Bench()
    _set_best(cast(_Operator, bench), CONTROLS["guide_position_um"], watched, _climbed)
    assert (bench.moves > 0) == turned


def broken(change: Callable[[dict[str, Any]], object], seeds: int = 1) -> list[tuple[str, str]]:
    """Lint a changed lesson; return (key, reason) of every problem."""
    data = line_up_data()
    change(data)
    report = lint_lesson(line_up(**data), range(1, seeds + 1))
    assert all(problem.remedy for problem in report.problems)
    return [(problem.key, problem.reason) for problem in report.problems]


def test_solution_with_the_wrong_sign_is_found() -> None:
    found = broken(lambda data: data["solution"][1].update(gain=1.0))
    assert [key for key, _ in found] == ["solution"]
    assert "seed 1: the worked solution does not pass: Lean of the bands:" in found[0][1]


def test_steps_that_never_lead_to_a_pass_are_found() -> None:
    found = broken(lambda data: data["steps"].pop(3))
    assert [key for key, _ in found] == ["steps"]
    assert "working by the instruments alone" in found[0][1]


def test_tolerance_nobody_can_meet_is_found() -> None:
    found = broken(lambda data: data["checks"][1].update(tolerance=1e-6))
    assert [key for key, _ in found] == ["solution", "steps"]


def test_start_that_is_already_right_is_found() -> None:
    def settle(data: dict[str, Any]) -> None:
        data["start"] = {"controls": {}, "condition": {}}
        for move in data["solution"]:
            del move["cancels"]

    found = broken(settle, seeds=2)
    assert [key for key, _ in found] == ["start", "start"]
    assert found[1][1].startswith("seed 2: all of 20 draws leave too little to do")


def test_solution_out_of_a_controls_range_is_found() -> None:
    found = broken(lambda data: data["solution"][1].update(value=149.0, gain=-50.0), seeds=2)
    assert [key for key, _ in found] == ["solution[2]", "solution[2]"]
    assert "outside its range -150 to 150 um" in found[0][1]


def test_condition_that_no_machine_can_have_is_found() -> None:
    pump = {"vacuum_pump_failed": {"distribution": "fixed", "centre": 0.5}}
    assert broken(lambda data: data["start"]["condition"].update(pump)) == [
        ("start.condition", "seed 1: condition 'vacuum_pump_failed': 0.5 is neither 0 nor 1")
    ]


def test_names_that_do_not_exist_are_reported_without_playing_anything() -> None:
    assert broken(lambda data: data["steps"][2].update(stage="attic")) == [
        ("steps[3].stage", "there is no stage 'attic'")
    ]


def lint_file(
    tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str], name: str = LINE_UP_FILE.name
) -> list[str]:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    assert main(["lessons", "lint", str(path), "--seeds", "1"]) == 1
    output = capsys.readouterr().out.splitlines()
    errors = [line.removeprefix(f"error: {path}: ") for line in output if line.startswith(f"error: {path}: ")]
    assert output[-1] == f"1 lesson(s), 1 seed(s) each, {len(errors)} error(s)"
    return errors


@pytest.mark.parametrize(
    ("old", "new", "error"),
    [
        ('mode = "practice"', "mode = practice", r"the whole file: is not TOML \(.*line 14.*\)\. Correct the file"),
        ('mode = "practice"', 'mode = "exam"', r"mode: 'exam' is not allowed\. Use one of 'demonstration', "),
        ("minutes = 10", "minuts = 10", r"minuts: unknown key\. Remove it or use one of the known keys: "),
        ("tolerance = 0.07", 'tolerance = "0.07"', r"checks\[2\]\.tolerance: must be a number, not '0\.07'\. "),
        ('tape = "alignment-525"', 'tape = "alignment"', r"tape: there is no 525/60 tape 'alignment'\. Use one of "),
        ('measurement = "skew_us"', 'measurement = "lean"', r"checks\[2\]\.measurement: there is no measurement "),
    ],
)
def test_broken_file_gives_file_key_reason_and_remedy(
    old: str, new: str, error: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert TEXT.count(old) == 1
    assert re.match(error, lint_file(tmp_path, TEXT.replace(old, new), capsys)[0])


def test_everything_the_schema_refuses_is_listed_at_once_and_each_thing_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = TEXT.replace("minutes = 10", "minuts = 10").replace("hold_s = 1.0", 'hold_s = "long"')
    keys = [error.split(": ")[0] for error in lint_file(tmp_path, text, capsys)]
    assert sorted(keys) == ["checks[1].hold_s", "checks[2].hold_s", "minutes", "minuts"]


def test_an_id_that_is_not_the_files_name_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (found,) = lint_file(tmp_path, TEXT, capsys, "copied.toml")
    assert found == (
        "id: 'tracking-and-guide' is not the file's name, 'copied'. "
        'Write id = "copied", or name the file tracking-and-guide.toml.'
    )


def test_two_lessons_of_one_id_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("a.toml", "b.toml"):
        (tmp_path / name).write_text(TEXT, encoding="utf-8")
    assert main(["lessons", "lint", str(tmp_path), "--seeds", "1"]) == 1
    assert "already has the id 'tracking-and-guide'. Give each lesson its own id." in capsys.readouterr().out


def test_lint_of_a_good_lesson_ends_well(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lessons", "lint", str(LINE_UP_FILE), "--seeds", "1"]) == 0
    output = capsys.readouterr().out
    assert "seed    1: delivered not yet, worked solution passed, by the instruments passed in" in output
    assert output.endswith("1 lesson(s), 1 seed(s) each, 0 error(s)\n")


def test_list_shows_every_lesson(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lessons", "list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(lesson_files([]))
    assert any("tracking-and-guide" in line and "10 min" in line for line in lines)


def test_list_of_a_broken_lesson_says_what_is_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "broken.toml"
    path.write_text("format_version = 1\n", encoding="utf-8")
    assert main(["lessons", "list", str(path)]) == 2
    assert "broken.toml: start: is missing. Add the key 'start'." in capsys.readouterr().err
    with pytest.raises(LessonError):
        read_lesson(path)


def test_files_that_are_not_there_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BandbenchError, match="no such file or folder"):
        lesson_files([tmp_path / "nowhere.toml"])
    with pytest.raises(BandbenchError, match="no lesson"):
        lesson_files([tmp_path])


def test_file_that_is_not_text_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "noise.toml"
    path.write_bytes(b"\xff\xfe\x00")
    assert main(["lessons", "lint", str(path)]) == 1
    assert f"error: {path}: the whole file: is not TOML" in capsys.readouterr().out


def test_new_lesson_lints_as_it_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lessons", "new", "first-try", "--folder", str(tmp_path)]) == 0
    path = tmp_path / "first-try.toml"
    assert f"{path} written" in capsys.readouterr().out
    assert read_lesson(path).id == "first-try"
    assert main(["lessons", "lint", str(path), "--seeds", "1"]) == 0
    before = path.read_text(encoding="utf-8")
    assert main(["lessons", "new", "first-try", "--folder", str(tmp_path)]) == 2
    assert "is there already; choose another id" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == before


@pytest.mark.parametrize(
    ("lesson_id", "words"),
    [("First Try", "use small letters and digits"), ("../away", "use small letters"), ("course", "holds other data")],
)
def test_new_lesson_with_an_unusable_id_is_refused(
    lesson_id: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["lessons", "new", lesson_id, "--folder", str(tmp_path)]) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_new_lesson_where_nothing_can_be_written_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lessons", "new", "first-try", "--folder", str(tmp_path / "nowhere")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_solve_prints_what_is_hidden_the_moves_and_what_the_checks_read(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lessons", "solve", str(LINE_UP_FILE), "--seed", "3"]) == 0
    lines = capsys.readouterr().out.splitlines()
    start = deal(line_up(), 3, line_up_machine())
    assert lines[0].endswith("seed 3")
    assert f"  hidden: tracking_offset_deg = {start.condition.tracking_offset_deg:.4g}" in lines
    assert [line.split(":")[1] for line in lines if line.startswith("  move: ")] == [
        f" Tracking to {-start.condition.tracking_offset_deg:.1f} deg".replace(".0 ", " "),
        f" Guide position to {-start.condition.guide_offset_um:.1f} um".replace(".0 ", " "),
    ]
    assert lines[-1] == "  passed: All 2 checks are in tolerance."


@pytest.mark.parametrize("seed", ["-1", "x", "1.5"])
def test_unusable_seeds_are_refused(seed: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["lessons", "solve", str(LINE_UP_FILE), f"--seed={seed}"])
    assert "use a whole number, 0 or more" in capsys.readouterr().err


def test_several_processes_print_the_same_as_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("demonstration", "guided"):
        text = (EXAMPLES_FOLDER / f"{name}.toml").read_text(encoding="utf-8")
        (tmp_path / f"example-{name}.toml").write_text(text, encoding="utf-8")
    printed = []
    for jobs in ("1", "2"):
        assert main(["lessons", "lint", str(tmp_path), "--seeds", "3", "--jobs", jobs]) == 0
        printed.append(capsys.readouterr().out)
    assert printed[0] == printed[1]
    assert printed[0].count("  seed ") == 6


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_of_every_mode_can_be_done(name: str) -> None:
    report = lint_lesson(example(name), range(1, 4), None, example_faults())
    assert report.problems == ()
    assert len(report.seeds) == 3
    for seed in report.seeds:
        assert not seed.delivered.passed
        assert seed.solved.passed
        assert seed.followed.passed


def test_options_that_the_proofs_do_not_tell_apart_are_found() -> None:
    # Both faults show as the same low RF of all heads, so the operator cannot tell them.
    data = example_data("diagnosis")
    data["start"]["fault_choice"]["from"] = ["track_lost", "grainy"]
    data["questions"] = data["questions"][:1]
    faults = dict(example_faults())
    faults["grainy"] = replace(faults["grainy"], effects=faults["track_lost"].effects, proof=faults["track_lost"].proof)
    report = lint_lesson(parse_lesson(data, "x.toml"), range(1, 13), None, faults)
    assert {problem.key for problem in report.problems} == {"steps"}
    assert "not right" in report.problems[0].reason


def test_question_that_cannot_be_read_as_delivered_is_found() -> None:
    data = example_data("demonstration")
    data["controls"] += [f"channel_on_{head}" for head in range(1, 5)]
    data["start"]["controls"] |= {f"channel_on_{head}": {"distribution": "fixed", "centre": 0} for head in range(1, 5)}
    data["instruments"].append("skew_us")
    data["checks"] = []
    del data["start"]["must_fail"]
    data["questions"][0] |= {"answer_measurement": "skew_us", "unit": "us"}
    report = lint_lesson(parse_lesson(data, "x.toml"), range(1, 2), None, example_faults())
    assert [problem.key for problem in report.problems] == ["questions[1].answer_measurement"]


@pytest.mark.parametrize("count", ["0", "-3", "many", "100000"])
def test_unusable_seed_counts_are_refused(count: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["lessons", "lint", f"--seeds={count}"])
    assert "use a whole number from 1 to 1000" in capsys.readouterr().err
