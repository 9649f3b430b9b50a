"""The lesson parser and the JSON Schema: both refuse the same files, and say where."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandbench.lessons import file_problems, schema_problems
from sim.errors import known_names
from sim.signals import SIGNALS
from sim.training.lesson import Care, Forbidden, Lesson, parse_lesson
from sim.training.reader import LessonError
from sim.training.references import name_problems
from tests.training_examples import EXAMPLES, example, example_data, example_faults
from tests.training_lessons import line_up_data

SOURCE = "mutated.toml"

# What the parser refuses and no JSON Schema can state: relations between two values.
RELATIONS = (
    "names two checks",
    "no check is named",
    "is below the minimum",
    "is outside",
    "is greater than above",
    "names two questions",
    "is not one of the options",
)


def parsed(data: object) -> Lesson:
    return parse_lesson(data, SOURCE)


def refusal(data: object) -> LessonError:
    with pytest.raises(LessonError) as caught:
        parsed(data)
    return caught.value


def places(node: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every path into a lesson's data but the empty one."""
    if path:
        yield path
    if isinstance(node, dict):
        for key, value in node.items():
            yield from places(value, (*path, key))
    elif isinstance(node, list):
        for index, value in enumerate(node):
            yield from places(value, (*path, index))


def holder(data: Any, path: tuple[str | int, ...]) -> Any:
    for part in path[:-1]:
        data = data[part]
    return data


# One lesson of each mode: between them they hold everything a lesson can.
BASES: dict[str, Callable[[], dict[str, Any]]] = {
    "practice": line_up_data,
    **{name: partial(example_data, name) for name in EXAMPLES},
}
PLACES = [(base, path) for base, data in BASES.items() for path in places(data())]
SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 400),
    st.floats(-200.0, 200.0),
    st.sampled_from(
        [
            "",
            " ",
            "\n",
            "x",
            "Not A Name",
            "rf_level_db",
            "peak",
            "target",
            "normal",
            "choice",
            "MODEL",
            "pool",
            "fault",
            "head",
        ]
    ),
    st.text(max_size=8),
)
VALUES = st.one_of(SCALARS, st.lists(SCALARS, max_size=3), st.dictionaries(st.sampled_from(["a", "control"]), SCALARS))


ADDED = [
    "extra",
    "centre",
    "gain",
    "target",
    "Watch",
    "answer",
    "answer_from",
    "extreme",
    "options",
    "unit",
    "questions",
]


@st.composite
def mutations(draw: st.DrawFn) -> tuple[dict[str, Any], tuple[str | int, ...]]:
    """A good lesson with one thing deleted, added, doubled, emptied or replaced, and where."""
    base, path = draw(st.sampled_from(PLACES))
    data = BASES[base]()
    parent, last = holder(data, path), path[-1]
    match draw(st.sampled_from(["delete", "add", "double", "empty", "replace", "replace"])):
        case "delete":
            del parent[last]
        case "add" if isinstance(parent[last], dict):
            parent[last][draw(st.sampled_from(ADDED))] = draw(VALUES)
        case "double" if isinstance(parent[last], list) and parent[last]:
            parent[last].append(copy.deepcopy(parent[last][0]))
        case "empty" if isinstance(parent[last], str | list | dict):
            parent[last] = type(parent[last])()
        case _:
            parent[last] = draw(VALUES)
    return data, path


def test_good_lesson_is_accepted_by_parser_and_schema_and_all_its_names_exist() -> None:
    lesson = parsed(line_up_data())
    assert schema_problems(line_up_data(), SOURCE) == []
    assert name_problems(lesson) == []
    assert (lesson.id, lesson.mode, lesson.tape) == ("tracking-and-guide", "practice", "alignment-525")
    assert [check.kind for check in lesson.checks] == ["peak", "target"]
    assert lesson.hints.text(1) == lesson.hints.symptom != lesson.hints.text(3)


@given(mutations())
@settings(max_examples=250, deadline=None)
def test_parser_and_schema_refuse_the_same_mutations(mutation: tuple[dict[str, Any], tuple[str | int, ...]]) -> None:
    data, path = mutation
    told = schema_problems(data, SOURCE)
    try:
        parsed(data)
    except LessonError as error:
        problem = error.problem
        assert told or any(words in problem.reason for words in RELATIONS), problem
        # Whatever was refused lies in the part of the file that was changed, or is a name that part took away.
        place = problem.key.split(".")[0].split("[")[0]
        # Without questions, checks, moves and controls must be there.
        assert place == path[0] or path[0] == "questions" or "no check is named" in problem.reason
        assert problem.reason
        assert problem.remedy
    else:
        assert told == []


@given(mutations())
@settings(max_examples=50, deadline=None)
def test_whatever_the_schema_refuses_lint_refuses_with_file_key_and_reason(
    mutation: tuple[dict[str, Any], tuple[str | int, ...]],
) -> None:
    data, _ = mutation
    refused = schema_problems(data, SOURCE)
    lesson, problems = file_problems(data, SOURCE)
    if refused:
        assert lesson is None
        assert {problem.key for problem in refused} <= {problem.key for problem in problems}
    for problem in problems:
        assert str(problem).startswith(f"{SOURCE}: {problem.key}: {problem.reason}. ")


@pytest.mark.parametrize("base", BASES)
def test_every_entry_of_a_wrong_type_is_refused_at_its_place(base: str) -> None:
    for path in places(BASES[base]()):
        refuse_wrong_type(BASES[base](), path)


def refuse_wrong_type(data: dict[str, Any], path: tuple[str | int, ...]) -> None:
    parent, last = holder(data, path), path[-1]
    parent[last] = None
    key = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path)[1:]
    assert refusal(data).problem.key == key
    assert schema_problems(data, SOURCE)


@pytest.mark.parametrize(
    ("path", "value", "key", "reason"),
    [
        (("format_version",), 2, "format_version", "is 2, but this program reads format 1"),
        (("colour",), "red", "colour", "unknown key"),
        (("mode",), "exam", "mode", "'exam' is not allowed"),
        (("minutes",), 2.5, "minutes", "must be a whole number, not 2.5"),
        (("minutes",), True, "minutes", "must be a number, not True"),
        (("title",), " \n", "title", "is an empty text"),
        (("id",), "Tracking", "id", "'Tracking' has the wrong form"),
        (("controls",), [], "controls", "has 0 entries"),
        (("instruments", 1), "picture", "instruments[2]", "'picture' is listed twice"),
        (("checks", 0, "tolerance"), 0, "checks[1].tolerance", "0 is too small"),
        (("checks", 0, "tolerance"), math.nan, "checks[1].tolerance", "must be a finite number, not nan"),
        (("checks", 0, "hold_s"), 60, "checks[1].hold_s", "60 is too large"),
        (("checks", 0, "target"), 1.0, "checks[1].target", "a check of kind 'peak' has no target of its own"),
        (("checks", 1, "name"), "rf", "checks[2].name", "'rf' names two checks"),
        (("start", "must_fail"), ["scallop"], "start.must_fail[1]", "no check is named 'scallop'"),
        (("hints", "fourth"), "x", "hints.fourth", "unknown key"),
        (("forbidden", 0, "below"), 130, "forbidden[1].below", "130 is greater than above = 120"),
        (("start", "controls", "Tracking"), {}, "start.controls.Tracking", "is not a name"),
        (
            ("start", "controls", "tracking_phase_deg", "minimum"),
            200,
            "start.controls.tracking_phase_deg.maximum",
            "130 is below the minimum 200",
        ),
        (
            ("start", "controls", "tracking_phase_deg", "deviation"),
            3,
            "start.controls.tracking_phase_deg.deviation",
            "unknown key",
        ),
    ],
)
def test_refusal_names_file_key_and_reason(path: tuple[str | int, ...], value: object, key: str, reason: str) -> None:
    data = line_up_data()
    holder(data, path)[path[-1]] = value
    problem = refusal(data).problem
    assert (problem.source, problem.key, problem.reason) == (SOURCE, key, reason)


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_of_every_mode_are_accepted_by_parser_and_schema_and_all_their_names_exist(name: str) -> None:
    lesson = example(name)
    assert schema_problems(example_data(name), SOURCE) == []
    assert name_problems(lesson, example_faults()) == []
    assert lesson.mode == name


def test_what_a_lesson_leaves_out_follows_from_its_mode() -> None:
    assert (example("demonstration").worked, example("demonstration").passes) == (2, 1)
    assert (example("diagnosis").worked, example("diagnosis").passes, example("diagnosis").order) == (0, 2, ())
    assert (example("guided").worked, example("guided").passes) == (2, 1)
    assert parsed(line_up_data()).care == Care(None, None)


@pytest.mark.parametrize(
    ("name", "path", "value", "key", "reason"),
    [
        ("diagnosis", ("questions", 0, "kind"), "essay", "questions[1].kind", "'essay' is not allowed"),
        ("diagnosis", ("questions", 0, "unit"), "dB", "questions[1].unit", "unknown key of a 'cause' question"),
        ("diagnosis", ("questions", 0, "options"), "all", "questions[1].options", "'all' is not allowed"),
        (
            "diagnosis",
            ("questions", 1, "answers", "dirty_head"),
            "Rub",
            "questions[2].answers.dirty_head",
            "'Rub' is not one of the options",
        ),
        ("diagnosis", ("questions", 1, "answer"), "Clean the head", "questions[2]", "has 'answer', 'answer_from'"),
        ("diagnosis", ("questions", 2, "extreme"), "lowest", "questions[3].extreme", "does not go with 'answer_from'"),
        ("diagnosis", ("questions", 2, "name"), "cause", "questions[3].name", "'cause' names two questions"),
        ("diagnosis", ("start", "fault_choice", "count"), 4, "start.fault_choice.count", "4 is outside the range"),
        (
            "demonstration",
            ("questions", 1, "answer"),
            "Wear",
            "questions[2].answer",
            "'Wear' is not one of the options",
        ),
        ("demonstration", ("topic",), 21, "topic", "21 is outside the range"),
        ("demonstration", ("topic",), "colour", "topic", "'colour' is not allowed"),
        ("guided", ("order",), [["guide_position_um"]], "order", "has 1 entries"),
        ("guided", ("order", 0), [], "order[1]", "has 0 entries"),
        ("guided", ("order", 0), ["Guide"], "order[1][1]", "'Guide' has the wrong form"),
        ("guided", ("care",), {}, "care", "sets no par"),
        ("guided", ("mastery", "passes"), 0, "mastery.passes", "0 is outside the range"),
        ("guided", ("solution", 0, "step"), 0, "solution[1].step", "0 is outside the range"),
    ],
)
def test_refusal_of_questions_faults_and_order(
    name: str, path: tuple[str | int, ...], value: object, key: str, reason: str
) -> None:
    data = example_data(name)
    holder(data, path)[path[-1]] = value
    problem = refusal(data).problem
    assert problem.key == key
    assert problem.reason.startswith(reason)


def test_lesson_without_questions_needs_checks_moves_and_controls() -> None:
    for key in ("controls", "checks", "solution"):
        assert refusal(line_up_data() | {key: []}).problem.key == key
        assert schema_problems(line_up_data() | {key: []}, SOURCE)


@pytest.mark.parametrize(
    ("name", "path", "value", "key", "reason"),
    [
        (
            "diagnosis",
            ("start", "fault_choice", "from"),
            ["rust"],
            "start.fault_choice.from[1]",
            "there is no fault or group in the catalogue 'rust'",
        ),
        (
            "diagnosis",
            ("start", "fault_choice", "count"),
            3,
            "start.fault_choice.count",
            "there are fewer than 3 to draw",
        ),
        (
            "diagnosis",
            ("start", "faults"),
            {"rust": {"distribution": "fixed", "centre": 0.5}},
            "start.faults.rust",
            "there is no fault in the catalogue 'rust'",
        ),
        (
            "diagnosis",
            ("start", "fault_choice", "severity", "maximum"),
            1.2,
            "start.fault_choice.severity",
            "can deal a severity outside 0 to 1",
        ),
        (
            "diagnosis",
            ("start", "fault_choice", "from"),
            ["heads", "grainy"],
            "questions[3].answer_from",
            "fault 'grainy' can be dealt and is of no head",
        ),
        (
            "diagnosis",
            ("questions", 0, "options"),
            ["dirty_head", "grainy"],
            "questions[1].options",
            "fault 'early_head_1' can be dealt and is not among them",
        ),
        (
            "diagnosis",
            ("questions", 1, "answers"),
            {"heads": "Clean the head", "x": "Clean the head"},
            "questions[2].answers",
            "there is no fault in the catalogue 'x'",
        ),
        (
            "diagnosis",
            ("start", "fault_choice", "from"),
            ["early_head"],
            "questions[1].options",
            "the lesson can deal one fault only",
        ),
        (
            "guided",
            ("questions", 0, "answer_measurement"),
            "skew_us",
            "questions[1].answer_measurement",
            "there is no reading of each head 'skew_us'",
        ),
        (
            "guided",
            ("questions", 0, "answer_measurement"),
            "head_position_ns",
            "questions[1].answer_measurement",
            "the lesson does not offer reading 'head_position_ns_1'",
        ),
        ("guided", ("worked",), 4, "worked", "is 4, but there are 3 steps"),
        ("guided", ("mode",), "practice", "worked", "in mode 'practice' the trainee does every step"),
        ("guided", ("mode",), "demonstration", "worked", "a demonstration does every step"),
        ("guided", ("solution", 0, "step"), 9, "solution[1].step", "there is no step 9"),
        (
            "guided",
            ("order", 1, 0),
            "video_level_db",
            "order[2][1]",
            "the lesson does not offer control 'video_level_db'",
        ),
        (
            "guided",
            ("order", 1, 0),
            "weight",
            "order[2][1]",
            "there is no control, question or act of the steps 'weight'",
        ),
        ("guided", ("order", 1, 0), "tracking_phase_deg", "order[2][1]", "'tracking_phase_deg' is listed twice"),
        (
            "demonstration",
            ("questions", 0, "unit"),
            "us",
            "questions[1].unit",
            "'rf_level_db' is read in dB, not in us",
        ),
        (
            "demonstration",
            ("questions", 0, "answer_measurement"),
            "smell",
            "questions[1].answer_measurement",
            "there is no measurement 'smell'",
        ),
    ],
)
def test_names_in_questions_faults_and_order_that_do_not_exist_or_do_not_fit(
    name: str, path: tuple[str | int, ...], value: object, key: str, reason: str
) -> None:
    data = example_data(name)
    holder(data, path)[path[-1]] = value
    problems = name_problems(parsed(data), example_faults())
    assert (key, reason) in [(problem.key, problem.reason) for problem in problems]


def test_of_many_names_those_like_the_wrong_one_are_offered() -> None:
    data = example_data("guided")
    data["controls"].append("guide_positon_um")
    data["signal"] = "bar"
    by_key = {problem.key: problem.remedy for problem in name_problems(parsed(data))}
    assert by_key["signal"] == f"Use one of {known_names(SIGNALS)}."
    (offered,) = (remedy for key, remedy in by_key.items() if key.startswith("controls["))
    assert "'guide_position_um'" in offered
    assert "'cue_play_level_db'" not in offered


def test_answer_that_is_dealt_needs_a_fault_to_be_dealt() -> None:
    data = example_data("diagnosis")
    del data["start"]["fault_choice"]
    keys = [problem.key for problem in name_problems(parsed(data), example_faults())]
    assert keys == ["questions[1].answer_from", "questions[2].answer_from", "questions[3].answer_from"]


def test_unknown_key_lists_the_known_ones() -> None:
    data = line_up_data()
    data["hints"]["extra"] = "x"
    assert refusal(data).problem.remedy.endswith("use one of the known keys: 'symptom', 'cause', 'step'.")


def test_newer_format_is_named_before_its_unknown_keys() -> None:
    assert refusal({"format_version": 7, "whatever": 1}).problem.key == "format_version"


def test_what_is_not_a_table_is_refused() -> None:
    assert refusal([1, 2]).problem.reason == "must be a table of keys, not a list of 2"


def test_gain_without_a_condition_is_refused() -> None:
    data = line_up_data()
    del data["solution"][0]["cancels"]
    data["solution"][0]["gain"] = 2.0
    assert refusal(data).problem.key == "solution[1].gain"
    assert schema_problems(data, SOURCE)


@pytest.mark.parametrize(
    "spread",
    [
        {"distribution": "fixed", "centre": 3.0},
        {"distribution": "choice", "choices": [1, 2]},
        {"distribution": "normal", "centre": 0, "deviation": 2, "minimum": -5, "maximum": 5},
    ],
    ids=lambda spread: spread["distribution"],
)
def test_other_distributions_are_accepted_by_both(spread: dict[str, object]) -> None:
    data = line_up_data()
    data["start"]["controls"]["guide_position_um"] = spread
    assert parsed(data).start_controls["guide_position_um"].distribution == spread["distribution"]
    assert schema_problems(data, SOURCE) == []


@pytest.mark.parametrize(
    ("path", "value", "key", "reason"),
    [
        (("standard",), "819/50", "standard", "there is no standard '819/50'"),
        (("practice",), "wire", "practice", "there is no 525/60 recording practice 'wire'"),
        (("tape",), "demo", "tape", "there is no 525/60 tape 'demo'"),
        (("signal",), "cat", "signal", "there is no test signal 'cat'"),
        (("controls", 0), "warp_drive", "controls[1]", "there is no control 'warp_drive'"),
        (("instruments", 0), "oscilloscope", "instruments[1]", "there is no instrument 'oscilloscope'"),
        (
            ("start", "controls", "nothing"),
            {"distribution": "fixed", "centre": 0},
            "start.controls.nothing",
            "there is no control 'nothing'",
        ),
        (
            ("start", "controls", "guide_position_um", "maximum"),
            151.0,
            "start.controls.guide_position_um",
            "can deal -151, outside the control's range",
        ),
        (
            ("start", "controls", "channel_on_1"),
            {"distribution": "uniform", "minimum": 0, "maximum": 1},
            "start.controls.channel_on_1",
            "a switch can only be dealt 0 or 1",
        ),
        (
            ("start", "condition", "rust"),
            {"distribution": "fixed", "centre": 0},
            "start.condition.rust",
            "there is no hidden condition 'rust'",
        ),
        (
            ("steps", 2, "control"),
            "video_level_db",
            "steps[3].control",
            "the lesson does not offer control 'video_level_db'",
        ),
        (("steps", 2, "stage"), "attic", "steps[3].stage", "there is no stage 'attic'"),
        (("steps", 2, "watch"), ["scallop_us"], "steps[3].watch[1]", "the lesson does not offer reading 'scallop_us'"),
        (("checks", 1, "measurement"), "smell", "checks[2].measurement", "there is no measurement 'smell'"),
        (("checks", 1, "unit"), "ns", "checks[2].unit", "'skew_us' is read in us, not in ns"),
        (
            ("solution", 1, "cancels"),
            "head_output_db",
            "solution[2].cancels",
            "there is no single hidden condition 'head_output_db'",
        ),
        (
            ("solution", 1, "cancels"),
            "guide_height_offset_um",
            "solution[2].cancels",
            "the start plants no 'guide_height_offset_um'",
        ),
        (
            ("forbidden", 0, "control"),
            "guide_height_um",
            "forbidden[1].control",
            "the lesson does not offer control 'guide_height_um'",
        ),
    ],
)
def test_names_that_do_not_exist_or_are_not_offered(
    path: tuple[str | int, ...], value: object, key: str, reason: str
) -> None:
    data = line_up_data()
    holder(data, path)[path[-1]] = value
    problems = name_problems(parsed(data))
    assert (key, reason) in [(problem.key, problem.reason) for problem in problems]


def test_forbidden_acts_by_limit_and_outright() -> None:
    limited = Forbidden("too deep", "guide_position_um", below=-10.0, above=10.0)
    moves = [(-11.0, True), (-10.0, False), (0.0, False), (10.0, False), (10.1, True)]
    assert [limited.broken_by("guide_position_um", value) for value, _ in moves] == [broken for _, broken in moves]
    assert not limited.broken_by("guide_height_um", 99.0)
    assert Forbidden("hands off", "video_level_db").broken_by("video_level_db", 0.0)


def test_tolerances_from_memory_or_of_our_own_are_never_worded_as_a_standard() -> None:
    texts = []
    for mark in ("PUB", "QUOTED", "DERIVED", "TRADE", "MEMORY", "MODEL"):
        data = line_up_data()
        data["checks"][0] |= {"provenance": mark, "source": "so it is"}
        texts.append(parsed(data).checks[0].source_text)
    assert texts == [
        "so it is",
        "so it is",
        "so it is",
        "Common practice: so it is",
        "Typical, unchecked: so it is",
        "Chosen for this exercise: so it is",
    ]
