"""Questions: what is offered, what is right, what an answer is worth, and how answers count in the score."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.faults import FaultSpec
from sim.training.answers import (
    AnswerError,
    answer_options,
    checked_answer,
    extreme_head,
    judged,
    right_answer,
    takes_many,
)
from sim.training.attempt import Attempt, CheckSubmitted, ControlMoved, Event, HintOpened, QuestionAnswered
from sim.training.deal import deal, dealable, draw, fault_pool
from sim.training.lesson import Lesson, Spread
from sim.training.machine import DealtFault, Start
from sim.training.parts import Care, FaultChoice, Question
from sim.training.reader import AttemptError, LessonError
from sim.training.score import Score, score_attempt
from sim.training.session import Session, SessionError
from sim.training.solution import solution_moves
from tests.training_examples import example, example_faults, example_machine

FAULTS = example_faults()


def asked(lesson: Lesson, name: str) -> Question:
    question = lesson.question(name)
    assert question is not None
    return question


def start_of(name: str, seed: int) -> Start:
    return deal(example(name), seed, example_machine(name))


# What is dealt -----------------------------------------------------------------------------------------------------


def test_faults_are_dealt_from_the_pool_with_a_severity_worth_planting() -> None:
    lesson = example("assessment")
    starts = [draw(lesson, seed, 0, FAULTS) for seed in range(60)]
    dealt = [start.faults[0] for start in starts]
    assert {fault.name for fault in dealt} == {"guide_out", "guide_tall", "track_lost"}
    assert all(FAULTS[fault.name].least <= fault.severity <= FAULTS[fault.name].most for fault in dealt)
    for start, fault in zip(starts, dealt, strict=True):
        if fault.name == "guide_out":
            assert start.condition.guide_offset_um == pytest.approx(70.0 * fault.severity)


def test_each_fault_of_the_pool_is_dealt_about_equally_often_and_each_head_too() -> None:
    starts = [draw(example("diagnosis"), seed, 0, FAULTS) for seed in range(800)]
    names = [start.faults[0].name for start in starts]
    # DERIVED: eight names, 100 each, standard deviation 9.4; four of them allowed.
    assert all(62 <= names.count(name) <= 138 for name in {*names})
    assert len({*names}) == 8


def test_a_fault_more_in_the_catalogue_changes_only_the_starts_that_deal_it() -> None:
    lesson = replace(example("diagnosis"), fault_choice=FaultChoice(("heads", "channels"), 1))
    fewer = {name: fault for name, fault in FAULTS.items() if name != "grainy"}
    for seed in range(60):
        before, after = draw(lesson, seed, 0, fewer).faults, draw(lesson, seed, 0, FAULTS).faults
        assert after == before or after[0].name == "grainy"


def test_several_faults_are_different_ones_and_come_beside_those_that_are_always_dealt() -> None:
    lesson = replace(
        example("diagnosis"),
        start_faults={"dirty_head_3": Spread("fixed", centre=0.5)},
        fault_choice=FaultChoice(("heads", "guide"), 2, Spread("fixed", centre=0.6)),
    )
    for seed in range(30):
        first, *others = draw(lesson, seed, 0, FAULTS).faults
        assert first == DealtFault("dirty_head_3", 0.5)
        entries = {FAULTS[fault.name].entry for fault in others}
        assert len(entries) == 2
        assert "dirty_head" not in entries
        assert {fault.severity for fault in others} == {0.6}


def test_faults_that_are_not_in_the_catalogue_are_refused() -> None:
    with pytest.raises(LessonError, match="the catalogue at hand has 0 faults to draw 1 from"):
        draw(example("diagnosis"), 1)
    lesson = replace(example("diagnosis"), start_faults={"rust": Spread("fixed", centre=0.5)})
    with pytest.raises(LessonError, match="there is no fault 'rust'"):
        draw(lesson, 1, 0, FAULTS)


def test_pool_by_name_entry_and_group() -> None:
    def pool(*names: str) -> dict[str, int]:
        lesson = replace(example("diagnosis"), fault_choice=FaultChoice(names, 1))
        return {entry: len(members) for entry, members in fault_pool(lesson, FAULTS).items()}

    assert pool("dirty_head_2") == {"dirty_head": 1}
    assert pool("dirty_head", "guide_out") == {"guide_out": 1, "dirty_head": 4}
    assert pool("guide", "guide_out") == {"guide_out": 1, "guide_tall": 1}
    assert len(dealable(example("diagnosis"), FAULTS)) == 8


# What is offered and what is right ---------------------------------------------------------------------------------


def test_options_of_a_cause_do_not_give_the_head_away() -> None:
    lesson = example("diagnosis")
    options = answer_options(lesson, asked(lesson, "cause"), start_of("diagnosis", 1), FAULTS)
    assert sorted(options) == [("dirty_head", "One head dirty"), ("early_head", "One head early")]
    named = replace(asked(lesson, "cause"), options=("dirty_head_1", "dirty_head_2"))
    titles = {title for _, title in answer_options(lesson, named, start_of("diagnosis", 1), FAULTS)}
    assert titles == {"Head 1 dirty", "Head 2 dirty"}


def test_look_alikes_are_the_fault_that_was_dealt_and_what_it_is_mistaken_for() -> None:
    lesson = example("assessment")
    question = replace(asked(lesson, "cause"), options=("look_alikes",))
    alike = {"guide_out": {"guide_out", "guide_tall"}, "track_lost": {"track_lost", "grainy"}}
    seen = set()
    for seed in range(12):
        start = draw(lesson, seed, 0, FAULTS)
        dealt = start.faults[0].name
        options = {name for name, _ in answer_options(lesson, question, start, FAULTS)}
        assert options == alike.get(dealt, {"guide_out", "guide_tall"})
        seen.add(dealt)
    assert len(seen) == 3


def test_place_of_the_right_option_tells_nothing() -> None:
    lesson = example("demonstration")
    question = asked(lesson, "why")
    starts = [draw(lesson, seed) for seed in range(300)]
    places = [
        [option for option, _ in answer_options(lesson, question, start, FAULTS)].index("Tracking") for start in starts
    ]
    # DERIVED: three places, 100 each, standard deviation 8.2; four of them allowed.
    assert all(67 <= places.count(place) <= 133 for place in range(3))
    assert answer_options(lesson, question, starts[0], FAULTS) == answer_options(lesson, question, starts[0], FAULTS)


def test_right_answers_follow_what_was_dealt() -> None:
    lesson, machine = example("diagnosis"), example_machine("diagnosis")
    actions = {"dirty_head": "Clean the head", "early_head": "Trim the head's timing"}
    for seed in range(1, 9):
        start = start_of("diagnosis", seed)
        fault: FaultSpec = FAULTS[start.faults[0].name]
        right = [right_answer(lesson, question, start, machine) for question in lesson.questions]
        assert right == [fault.entry, actions[fault.entry], str(fault.head)]


def test_right_answer_of_a_reading_is_what_the_instrument_shows_as_delivered() -> None:
    lesson, machine, start = example("demonstration"), example_machine("demonstration"), start_of("demonstration", 2)
    read = machine.readings(start.controls, start.condition, 0, ["rf_level_db"])["rf_level_db"]
    question = asked(lesson, "as_delivered")
    for off_db, passed in ((0.0, True), (0.49, True), (-0.49, True), (0.51, False), (-0.51, False)):
        assert judged(lesson, question, start, machine, str(read + off_db)).passed is passed


def test_weakest_head_is_the_one_with_the_least_output() -> None:
    lesson, machine = example("guided"), example_machine("guided")
    for seed in range(1, 7):
        start = start_of("guided", seed)
        output = start.condition.head_output_db
        assert right_answer(lesson, lesson.questions[0], start, machine) == str(1 + output.index(min(output)))


@pytest.mark.parametrize(
    ("values", "extreme", "head"),
    [
        ([0.0, -1.0, 0.5, 0.2], "lowest", 2),
        ([0.0, -1.0, 0.5, 0.2], "highest", 3),
        ([0.0, -1.0, 0.5, 0.2], "furthest", 2),
        ([0.0, 0.1, 2.0, -0.5], "furthest", 3),
        ([0.0, float("-inf"), 0.5, 0.2], "furthest", 2),
        ([0.0, float("nan"), 0.5, 0.2], "lowest", None),
    ],
)
def test_head_that_stands_out(values: list[float], extreme: str, head: int | None) -> None:
    assert extreme_head(values, extreme) == head


def test_where_several_faults_are_dealt_all_of_them_are_asked_for() -> None:
    lesson = replace(example("diagnosis"), fault_choice=FaultChoice(("heads",), 2, Spread("fixed", centre=0.6)))
    machine = example_machine("diagnosis")
    start = draw(lesson, 3, 0, FAULTS)
    cause, head = asked(lesson, "cause"), asked(lesson, "which_head")
    assert takes_many(lesson, cause)
    assert takes_many(lesson, head)
    assert not takes_many(example("diagnosis"), cause)
    both = {"dirty_head+early_head", "early_head+dirty_head"}
    assert right_answer(lesson, cause, start, machine) in both
    # Whatever the order they are ticked in, it is one answer.
    assert all(judged(lesson, cause, start, machine, answer).passed for answer in both)
    assert not judged(lesson, cause, start, machine, "dirty_head").passed
    heads = sorted(str(FAULTS[fault.name].head) for fault in start.faults)
    assert judged(lesson, head, start, machine, "+".join(dict.fromkeys(heads))).passed


@pytest.mark.parametrize(
    ("text", "logged"), [("-3.5", "-3.5"), (" 2 ", "2.0"), ("\N{MINUS SIGN}0,25", "-0.25"), ("1e1", "10.0")]
)
def test_numbers_are_taken_as_people_write_them(text: str, logged: str) -> None:
    lesson = example("demonstration")
    assert checked_answer(lesson, lesson.questions[0], start_of("demonstration", 1), FAULTS, text) == logged


@pytest.mark.parametrize("text", ["", "low", "nan", "inf", "3 dB"])
def test_what_is_not_a_number_is_refused(text: str) -> None:
    lesson = example("demonstration")
    with pytest.raises(AnswerError, match="is not a number; write it in dB"):
        checked_answer(lesson, lesson.questions[0], start_of("demonstration", 1), FAULTS, text)


@pytest.mark.parametrize(("name", "answer"), [("cause", "rust"), ("which_head", "5"), ("action", ""), ("cause", "a+b")])
def test_what_is_not_an_option_is_refused(name: str, answer: str) -> None:
    lesson = example("diagnosis")
    with pytest.raises(AnswerError, match="is not one of"):
        checked_answer(lesson, asked(lesson, name), start_of("diagnosis", 1), FAULTS, answer)


# In the score ------------------------------------------------------------------------------------------------------


def scored(name: str, seed: int, *events: Event, lesson: Lesson | None = None) -> Score:
    lesson = lesson or example(name)
    return score_attempt(lesson, Attempt(lesson.id, lesson.version, seed, events), example_machine(name))


def solved(name: str, seed: int, at_s: float = 10.0) -> list[Event]:
    """Right answers, then the moves of the solution."""
    lesson, machine, start = example(name), example_machine(name), start_of(name, seed)
    events: list[Event] = []
    for question in lesson.questions:
        right = right_answer(lesson, question, start, machine)
        assert right is not None
        events.append(QuestionAnswered(at_s, question.name, right))
    return [*events, *(ControlMoved(at_s + 1.0, control, value) for control, value in solution_moves(lesson, start))]


def parts(score: Score) -> dict[str, bool]:
    return {part.name: part.passed for part in score.parts}


def test_all_parts_in_order_are_a_pass() -> None:
    score = scored("assessment", 1, *solved("assessment", 1), CheckSubmitted(20.0))
    assert score.passed
    assert parts(score) == {"result": True, "diagnosis": True, "order_and_care": True}
    assert score.points == 1.0
    assert score.reason == "All 3 checks are in tolerance. The answer is right."


def test_right_signals_with_a_wrong_answer_are_not_a_pass_and_the_reason_says_so() -> None:
    events = [
        replace(event, answer="grainy") if isinstance(event, QuestionAnswered) else event
        for event in solved("assessment", 1)
    ]
    score = scored("assessment", 1, *events, CheckSubmitted(20.0))
    assert not score.passed
    assert parts(score) == {"result": True, "diagnosis": False, "order_and_care": True}
    assert score.points == 0.75
    assert score.reason == "The cause: not right (answered: RF noise; right: Tracking off)."


def test_unanswered_questions_are_not_a_pass() -> None:
    moves = [event for event in solved("guided", 2) if isinstance(event, ControlMoved)]
    score = scored("guided", 2, *moves, CheckSubmitted(20.0))
    assert (score.passed, score.reason) == (False, "The weakest head: not answered.")


def test_in_an_assessment_answers_after_the_submission_are_too_late_and_elsewhere_they_count() -> None:
    for name, passed in (("assessment", False), ("guided", True)):
        late = [
            replace(event, at_s=30.0) if isinstance(event, QuestionAnswered) else event for event in solved(name, 1)
        ]
        events = sorted([*late, CheckSubmitted(20.0)], key=lambda event: event.at_s)
        assert scored(name, 1, *events).passed is passed


def test_lesson_that_only_asks_has_no_result_and_needs_a_submission() -> None:
    events = solved("diagnosis", 1)
    assert scored("diagnosis", 1, *events).reason == "The answers were not submitted for checking."
    score = scored("diagnosis", 1, *events, CheckSubmitted(20.0))
    assert score.passed
    assert parts(score) == {"diagnosis": True, "order_and_care": True}
    assert score.reason == "All 3 answers are right."


def test_turning_before_naming_the_cause_is_out_of_order() -> None:
    answer, *moves = solved("assessment", 1)
    score = scored("assessment", 1, *moves, replace(answer, at_s=15.0), CheckSubmitted(20.0))
    assert not score.passed
    assert parts(score) == {"result": True, "diagnosis": True, "order_and_care": False}
    assert score.reason == (
        "All checks are in tolerance and all answers are right, but Tracking came before 'The cause', which is first."
    )


def test_order_asks_only_for_what_the_start_makes_necessary() -> None:
    start = start_of("guided", 1)
    guide = [event for event in solved("guided", 1) if event != solved("guided", 1)[1]]
    assert not parts(scored("guided", 1, *guide))["order_and_care"]
    # With tracking right from the start, the guide may come first.
    lesson = replace(example("guided"), start_controls={}, must_fail=("skew",))
    assert start.controls["tracking_phase_deg"] != 0.0
    assert parts(scored("guided", 1, *guide, lesson=lesson))["order_and_care"]


def test_moves_of_the_lesson_are_not_counted_as_the_trainees() -> None:
    events = [
        replace(event, shown=True) if isinstance(event, ControlMoved) and "tracking" in event.control else event
        for event in solved("guided", 1)
    ]
    score = scored("guided", 1, *events, CheckSubmitted(75.0))
    assert score.passed
    assert score.moves == 1
    assert score.fluency == (
        "1 moves; a practised hand needs about 12.",
        "1.2 minutes; a practised hand needs about 2.",
    )
    assert (
        scored("guided", 1, *events, CheckSubmitted(75.0), lesson=replace(example("guided"), care=Care())).fluency == ()
    )


def test_more_moves_than_par_still_pass() -> None:
    extra = [ControlMoved(1.0, "tracking_phase_deg", float(value)) for value in range(30)]
    score = scored("guided", 1, *extra, *solved("guided", 1), CheckSubmitted(600.0))
    assert score.passed
    assert score.moves == 32


def test_hint_bars_an_assessment_that_is_right_otherwise() -> None:
    score = scored("assessment", 1, HintOpened(0.5, 1), *solved("assessment", 1), CheckSubmitted(20.0))
    assert not score.passed
    assert score.reason.startswith("All checks are in tolerance and all answers are right, but a hint was opened")


def test_answer_that_cannot_have_been_given_is_a_damaged_log() -> None:
    with pytest.raises(AttemptError, match=r"answer to 'cause'.*'rust' is not one of"):
        scored("diagnosis", 1, QuestionAnswered(1.0, "cause", "rust"), CheckSubmitted(2.0))


# In the session ----------------------------------------------------------------------------------------------------


def begun(name: str, seed: int = 1, worked: int | None = None) -> Session:
    return Session(example(name), seed, 100.0, example_machine(name), worked)


def answer_all(session: Session, now_s: float = 101.0) -> None:
    for question in session.lesson.questions:
        right = right_answer(session.lesson, question, session.start, session.machine)
        assert right is not None
        assert session.answer(question.name, right, now_s).passed


def test_questions_are_answered_once_and_logged() -> None:
    session = begun("diagnosis")
    answer_all(session)
    assert session.unanswered == ()
    assert [type(event) for event in session.attempt.events] == [QuestionAnswered] * 3
    logged = session.attempt
    with pytest.raises(SessionError, match="has been answered; restart for a fresh variation"):
        session.answer("cause", "dirty_head", 102.0)
    with pytest.raises(SessionError, match="is not part of lesson"):
        session.answer("colour", "red", 102.0)
    assert session.attempt == logged
    session.check_now(103.0)
    assert session.finished
    assert session.score().passed


def test_what_cannot_be_an_answer_is_refused_and_the_question_stays_open() -> None:
    session = begun("diagnosis")
    with pytest.raises(AnswerError):
        session.answer("cause", "rust", 101.0)
    assert session.attempt.events == ()
    assert "cause" in session.unanswered


def test_where_it_can_be_submitted_only_once_questions_come_first() -> None:
    for name in ("diagnosis", "assessment"):
        with pytest.raises(SessionError, match=r"answer 'The cause' first; [13] not answered yet"):
            begun(name).check_now(101.0)
    session = begun("guided")
    assert not session.check_now(101.0).passed


def test_what_an_answer_is_worth_is_told_at_once_only_where_it_is_not_the_test() -> None:
    assert begun("guided").tells_answers
    session = begun("assessment")
    assert not session.tells_answers
    answer_all(session)
    session.check_now(102.0)
    assert session.tells_answers


def test_signals_and_answers_may_come_in_either_order_in_practice() -> None:
    session = begun("guided")
    for control, value in solution_moves(session.lesson, session.start):
        session.move(control, value, 101.0)
    assert session.check_now(102.0).passed
    finished = [session.finished]
    answer_all(session, 103.0)
    finished.append(session.finished)
    assert finished == [False, True]
    assert session.score().passed


def test_worked_steps_are_made_by_the_lesson_and_logged_as_shown() -> None:
    session = begun("guided")
    assert session.step_is_worked
    assert session.do_worked_step(101.0) == []
    session.show_step(2, 102.0)
    ((control, value, reason),) = session.do_worked_step(103.0)
    assert (control, value) == ("tracking_phase_deg", 0.0)
    assert reason.startswith("RF first")
    assert session.controls["tracking_phase_deg"] == 0.0
    assert session.attempt.events[-1] == ControlMoved(3.0, "tracking_phase_deg", 0.0, shown=True)
    session.do_worked_step(104.0)
    assert len(session.attempt.events) == 2
    session.show_step(3, 105.0)
    with pytest.raises(SessionError, match="step 3 is yours to do"):
        session.do_worked_step(106.0)


def test_worked_examples_can_be_faded() -> None:
    session = begun("guided", worked=1)
    session.show_step(2, 101.0)
    assert session.worked_moves() == []
    assert begun("guided", worked=99).worked == 2


def test_a_demonstration_passes_by_its_own_steps_and_the_answers() -> None:
    session = begun("demonstration")
    answer_all(session)
    for step in (1, 2):
        session.show_step(step, 102.0)
        session.do_worked_step(103.0)
    assert session.check_now(104.0).passed
    score = session.score()
    assert (score.passed, score.moves) == (True, 0)


def test_notes_are_kept_in_the_log() -> None:
    session = begun("guided")
    session.note("Head 2 looks low.", 103.0)
    assert session.attempt.to_data()["events"] == [{"at_s": 3.0, "kind": "note_written", "text": "Head 2 looks low."}]
    for text in ("", "  \n", "x" * 4001):
        with pytest.raises(SessionError, match="a note has 1 to 4000 characters"):
            session.note(text, 104.0)
