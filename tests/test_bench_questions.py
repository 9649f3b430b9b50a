"""The lesson card's questions and worked steps, and the result's parts, without a browser."""

from __future__ import annotations

from typing import Any

import pytest

from bandbench.bench.bench import Bench
from bandbench.bench.lesson import LessonView
from bandbench.bench.progress import Advice
from bandbench.bench.result import ResultView
from sim.errors import BandbenchError
from sim.training.answers import right_answer
from sim.training.attempt import ControlMoved, NoteWritten, QuestionAnswered
from sim.training.solution import solution_moves
from tests.training_examples import example


class Card:
    """A bench with one example lesson begun, its lesson card and its result page."""

    def __init__(self, name: str) -> None:
        lesson = example(name)
        self.now_s = 0.0
        self.bench = Bench({lesson.id: lesson})
        self.result = ResultView(
            self.bench, self.act, self.clock, lambda session, _score: Advice("Again.", session.lesson.id, True)
        )
        self.view = LessonView(self.bench, self.act, self.clock, self.result.show)
        self.do("mode", "learn")
        self.bench.begin_lesson(self.now_s, seed=3)
        self.view.refresh()

    def clock(self) -> float:
        return self.now_s

    def act(self, action: Any) -> str | None:
        try:
            action()
        except BandbenchError as error:
            return str(error)
        finally:
            if hasattr(self, "view"):
                self.view.refresh()
        return None

    def do(self, what: str, value: object = None) -> str:
        self.now_s += 1.0
        self.view.receive({"do": what, "value": value})
        return str(self.view.card.notice)

    def right(self, place: int) -> dict[str, str]:
        session = self.bench.running_session()
        question = session.lesson.questions[place]
        answer = right_answer(session.lesson, question, session.start, session.machine)
        assert answer is not None
        return {"question": question.name, "answer": answer}


@pytest.fixture
def card() -> Card:
    return Card("demonstration")


def test_questions_show_what_can_be_answered_and_nothing_of_what_is_right(card: Card) -> None:
    number, why = card.view.card.questions
    assert (number["kind"], number["unit"], number["options"]) == ("numeric", "dB", [])
    assert sorted(words for _, words in why["options"]) == ["One worn head", "The processing amplifier", "Tracking"]
    for question in (number, why):
        assert (question["given"], question["right"], question["explain"], question["told"]) == ("", "", "", False)


def test_answer_is_taken_once_and_told(card: Card) -> None:
    assert card.do("answer", {"question": "why", "answer": "One worn head"}) == ""
    why = card.view.card.questions[1]
    assert (why["given"], why["told"], why["passed"], why["right"]) == ("One worn head", True, False, "Tracking")
    assert "has been answered" in card.do("answer", {"question": "why", "answer": "Tracking"})
    assert "is not a number" in card.do("answer", {"question": "as_delivered", "answer": "low"})
    assert card.view.card.questions[0]["given"] == ""


def test_lesson_does_its_steps_and_the_result_tells_its_parts(card: Card) -> None:
    assert not card.view.card.step["worked"]
    card.do("step", 2)
    assert card.view.card.step["worked"]
    assert card.view.card.step["reasons"] == ["Tracking to the peak: the heads are over their tracks."]
    assert card.do("worked") == ""
    assert card.bench.recorder.controls["tracking_phase_deg"] == 0.0
    assert [move.control for move in card.bench.log.moves] == ["tracking_phase_deg"]
    for place in (0, 1):
        assert card.do("answer", card.right(place)) == ""
    card.do("check")
    result = card.result.page.result
    assert result["passed"]
    assert [(name, good) for name, good, _ in result["parts"]] == [
        ("Signals", True),
        ("Answers", True),
        ("Order and care", True),
    ]
    assert [answer["passed"] for answer in result["answers"]] == [True, True]
    assert len(result["chain"]) == 3
    moves = [event for event in card.bench.running_session().attempt.events if isinstance(event, ControlMoved)]
    assert [move.shown for move in moves] == [True]


def test_step_that_is_the_trainees_own_is_not_done_for_them() -> None:
    card = Card("guided")
    card.do("step", 3)
    assert not card.view.card.step["worked"]
    assert "step 3 is yours to do" in card.do("worked")


def test_notes_go_into_the_attempts_log(card: Card) -> None:
    card.bench.write_note("Low on all four.", 7.5)
    assert card.bench.running_session().attempt.events == (NoteWritten(6.5, "Low on all four."),)


def test_attempt_left_is_taken_up_with_its_answers(card: Card) -> None:
    card.do("step", 2)
    card.do("worked")
    card.do("answer", card.right(1))
    left = card.bench.running_session().attempt
    other = Card("demonstration")
    other.bench.resume_lesson(left, 100.0)
    other.view.refresh()
    assert other.bench.recorder.controls["tracking_phase_deg"] == 0.0
    assert other.view.card.step["number"] == 2
    assert other.view.card.questions[1]["passed"]
    assert isinstance(other.bench.running_session().attempt.events[-1], QuestionAnswered)
    assert solution_moves(example("demonstration"), other.bench.running_session().start)


def test_worked_steps_fade_with_what_the_learner_has_passed() -> None:
    card = Card("guided")
    worked = card.bench.running_session().worked
    assert worked > 0
    card.bench.fading = lambda lesson: lesson.worked - 1
    card.do("restart")
    assert card.bench.running_session().worked == worked - 1
    card.bench.begin_lesson(card.now_s, seed=4)
    assert card.bench.running_session().worked == worked - 1
