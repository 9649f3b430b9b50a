"""Lessons on a machine that runs: the log is lived through, and lived again it comes out the same."""

from __future__ import annotations

import contextlib
import math
import random
from functools import cache
from typing import Any

import pytest

from bandbench.bench.bench import Bench
from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from sim.deeds import DEEDS, DeedError, check_deed, deed_words
from sim.errors import BandbenchError
from sim.station import LONGEST_GAP_S
from sim.training.attempt import (
    ActDone,
    Attempt,
    ControlMoved,
    QuestionAnswered,
    attempt_from_json,
)
from sim.training.deal import deal
from sim.training.lesson import Lesson, parse_lesson
from sim.training.lint import solution_attempt
from sim.training.reader import AttemptError, LessonError
from sim.training.references import name_problems
from sim.training.run import Run, RunningMachine
from sim.training.score import Score, score_attempt
from sim.training.session import Session, SessionError
from sim.training.timeline import reading_tracks
from tests.training_lessons import line_up_data

SEED = 5


@cache
def lesson() -> Lesson:
    return read_lessons()["run-up-and-lock"]


def again(attempt: Attempt) -> Score:
    """The score from the log alone, on another machine."""
    log = attempt_from_json(attempt.to_json(), "log.json")
    return score_attempt(lesson(), log, RunningMachine(lesson(), FAULTS))


class Person:
    """Somebody at the lesson's session, with a clock of their own."""

    def __init__(self, seed: int = SEED) -> None:
        self.now_s = 100.0
        self.session = Session(lesson(), seed, self.now_s, RunningMachine(lesson(), FAULTS))

    def wait(self, seconds: float, look_every_s: float = 1.0 / 30.0) -> None:
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.now_s += look_every_s
            self.session.live(self.now_s)

    def do(self, act: str, choice: str = "") -> None:
        self.session.do(act, choice, self.now_s)

    def read(self, name: str) -> float:
        running = self.session.running
        assert running is not None
        assert running.live is not None
        return running.live.read([name])[name]

    def start_up(self) -> None:
        for act in ("check_threading", "close_covers", "standby"):
            self.do(act)
            self.wait(0.7)
        self.session.show_step(2, self.now_s)
        self.wait(5.0)


def test_a_session_that_is_lived_is_scored_the_same_from_its_log() -> None:
    person = Person()
    person.start_up()
    session = person.session
    session.answer("lock_time", repr(person.read("wheel_lock_time_s")), person.now_s)
    person.do("play")
    session.show_step(3, person.now_s)
    person.wait(16.0)
    session.answer("control", repr(person.read("control_level_db")), person.now_s)
    session.answer("air_first", str(lesson().questions[1].answer), person.now_s)
    session.move("tracking_phase_deg", -session.start.condition.tracking_offset_deg, person.now_s)
    person.wait(4.0)
    session.check_now(person.now_s)
    assert session.finished
    lived = session.score()
    assert lived.passed, lived.reason
    assert again(session.attempt) == lived
    # The debrief's readings, which were noted while the session was lived, are those of the log.
    other = RunningMachine(lesson(), FAULTS)
    tracks = reading_tracks(lesson(), session.attempt, session.start, session.machine)
    assert tracks == reading_tracks(lesson(), session.attempt, session.start, other)
    assert len(tracks[0].times_s) > 4


def test_how_often_one_looks_at_the_machine_changes_nothing() -> None:
    runs = []
    for every_s in (1.0 / 60.0, 0.31):
        person = Person()
        person.do("check_threading")
        person.do("close_covers")
        person.do("play")
        person.wait(20.0 - (person.now_s - 100.0), every_s)
        session = person.session
        machine = session.machine
        names = ["rf_level_db", "tracking_error_deg", "wheel_phase_error_us", "sound_programme_level_db"]
        runs.append(machine.read(session.start, session.attempt.events, 19.5, names))
    assert runs[0] == runs[1]
    assert all(map(math.isfinite, runs[0].values()))


def test_what_is_refused_stands_in_the_log_and_what_is_dangerous_costs_the_pass() -> None:
    person = Person()
    with pytest.raises(SessionError, match=r"threading has not been checked|covers are open"):
        person.do("play")
    assert person.session.attempt.events == (ActDone(0.0, "play"),)
    machine = RunningMachine(lesson(), FAULTS)
    start = deal(lesson(), SEED, machine)
    right = solution_attempt(lesson(), start, machine)
    # Hands at the heads of a machine that is not locked off (a caution of the trade).
    reckless = Attempt(right.lesson_id, right.lesson_version, SEED, (ActDone(0.1, "clean_path"), *right.events))
    score = score_attempt(lesson(), reckless, machine)
    assert not score.passed
    assert [one.act for one in score.incidents] == ["clean_path"]
    assert "which is dangerous here" in score.reason
    assert score_attempt(lesson(), right, machine).passed


def test_forbidden_deeds_and_their_order_are_judged() -> None:
    machine = RunningMachine(lesson(), FAULTS)
    start = deal(lesson(), SEED, machine)
    right = solution_attempt(lesson(), start, machine)
    armed = Attempt(right.lesson_id, right.lesson_version, SEED, (ActDone(0.1, "record_arm"), *right.events))
    score = score_attempt(lesson(), armed, machine)
    assert [(act.name, act.value) for act in score.forbidden_acts] == [("record_arm", None)]
    assert not score.passed
    # What the machine refuses has not been done too early; covers closed over an unchecked thread have.
    for act, early in (("standby", []), ("close_covers", ["close_covers"])):
        hasty = Attempt(right.lesson_id, right.lesson_version, SEED, (ActDone(0.1, act), *right.events))
        assert [one.name for one in score_attempt(lesson(), hasty, machine).out_of_order] == early


def test_a_session_broken_off_goes_on_as_it_was() -> None:
    person = Person()
    person.start_up()
    person.do("play")
    person.wait(14.0)
    kept = attempt_from_json(person.session.attempt.to_json(), "kept.json")
    resumed = Session.resumed(lesson(), kept, 5000.0, RunningMachine(lesson(), FAULTS))
    assert resumed.running is not None
    assert resumed.running.live is not None
    assert resumed.running.live.at_s == pytest.approx(kept.duration_s, abs=0.011)
    assert resumed.running.live.station.deck.mode == "play"
    assert abs(resumed.running.live.read(["timer_s"])["timer_s"]) < 0.1
    resumed.live(5014.0)
    one = resumed.running.live.read(["rf_level_db", "timer_s"])
    first = person.session.running
    assert first is not None
    assert first.live is not None
    assert one == pytest.approx(first.live.read(["rf_level_db", "timer_s"]), abs=0.2)


def test_a_computer_that_slept_does_not_let_the_machine_run_on() -> None:
    person = Person()
    person.start_up()
    before_s = person.session.attempt.duration_s
    person.now_s += LONGEST_GAP_S + 3000.0
    person.session.live(person.now_s)
    person.do("play")
    assert person.session.attempt.duration_s - before_s < 10.0


def test_practice_after_the_end_is_done_but_not_logged() -> None:
    machine = RunningMachine(lesson(), FAULTS)
    right = solution_attempt(lesson(), deal(lesson(), SEED, machine), machine)
    session = Session.resumed(lesson(), right, 0.0, machine)
    assert session.finished
    session.do("stop", "", 1.0)
    session.move("tracking_phase_deg", 99.0, 1.0)
    session.live(6.0)
    assert session.attempt == right
    assert session.running is not None
    assert session.running.live is not None
    assert session.running.live.station.deck.mode in ("stop", "stopping")
    assert session.score() == again(right)


def test_a_worked_step_does_its_deeds_and_its_waiting_at_once() -> None:
    person = Person()
    session = person.session
    assert session.worked == 4
    for number in range(1, 5):
        session.show_step(number, person.now_s)
        session.do_worked_step(person.now_s)
    shown = [event for event in session.attempt.events if isinstance(event, ActDone | ControlMoved)]
    assert all(event.shown for event in shown)
    assert [event.act for event in shown if isinstance(event, ActDone)] == [deed.name for deed in lesson().acts]
    results = session.check_now(person.now_s).results
    assert [result.passed for result in results] == [True, True, True]


@pytest.mark.parametrize("seed", range(5))
def test_any_sequence_of_deeds_is_lived_and_scored_twice_the_same(seed: int) -> None:
    chance = random.Random(seed)
    person = Person()
    names = [*DEEDS, "play", "stop", "standby", "close_covers", "check_threading"]
    for _ in range(15):
        act = chance.choice(names)
        spec = DEEDS[act]
        choice = chance.choice(list(spec.choices)) if spec.choices else "2.5" if spec.kind == "seconds" else ""
        with contextlib.suppress(BandbenchError):
            person.do(act, choice)
        if chance.random() < 0.3:
            person.session.move("tracking_phase_deg", float(chance.randrange(-90, 90)), person.now_s)
        person.wait(chance.random() * 2.0, 0.1)
    person.session.note("so far", person.now_s)
    assert again(person.session.attempt) == person.session.score()


@pytest.mark.parametrize(
    ("act", "choice", "reason"),
    [
        ("jump", "", "there is no deed 'jump'"),
        ("play", "fast", "leaves nothing to choose"),
        ("select_tracks", "", "choose at least one"),
        ("select_tracks", "video+smell", "'smell' cannot be chosen"),
        ("edit_length_s", "long", "no number of seconds"),
        ("select_edit_mode", "", "nothing is chosen"),
        ("take_reel", "nobody-knows", "cannot be chosen"),
    ],
)
def test_deeds_that_no_machine_knows(act: str, choice: str, reason: str) -> None:
    with pytest.raises(DeedError, match=reason):
        check_deed(act, choice)


def test_deeds_are_told_in_words() -> None:
    assert deed_words("play") == "Play"
    assert deed_words("select_tracks", check_deed("select_tracks", "control+video")) == (
        "Tracks to record: video and control"
    )
    assert deed_words("edit_length_s", "2.5") == "Length of an insert: 2.5 s"


def test_a_log_of_a_held_lesson_holds_no_deeds() -> None:
    held = read_lessons()["tracking-and-guide"]
    with pytest.raises(AttemptError, match="held in play"):
        score_attempt(held, Attempt(held.id, held.version, 1, (ActDone(1.0, "play"),)))


@pytest.mark.parametrize(
    ("path", "value", "key"),
    [
        (("running", "reel"), "alignment-625", "running.reel"),
        (("running", "before"), ["jump"], "running.before[1]"),
        (("steps", 0, "acts"), ["select_tracks:smell"], "steps[1].acts[1]"),
        (("steps", 0, "until"), {"reading": "smell", "above": 1.0}, "steps[1].until.reading"),
        (("forbidden", 0), {"act": "jump:high", "reason": "so"}, "forbidden[1].act"),
    ],
)
def test_names_of_a_running_lesson_that_do_not_exist(path: tuple[Any, ...], value: object, key: str) -> None:
    data = line_up_data() | {"tape": "programme", "running": {"reel": "endless", "mode": "play"}}
    assert name_problems(parse_lesson(data, "lesson.toml")) == []
    inner: Any = data
    for part in path[:-1]:
        inner = inner[part]
    inner[path[-1]] = value
    assert key in [problem.key for problem in name_problems(parse_lesson(data, "lesson.toml"))]


def test_a_machine_that_cannot_be_delivered_so_is_a_fault_of_the_lesson() -> None:
    data = line_up_data() | {"tape": "programme", "running": {"reel": "endless", "mode": "play", "before": ["thread"]}}
    wrong = parse_lesson(data, "lesson.toml")
    with pytest.raises(LessonError, match="running: seed 3"):
        deal(wrong, 3, RunningMachine(wrong))


def test_an_answer_is_what_is_read_when_it_is_given() -> None:
    machine = RunningMachine(lesson(), FAULTS)
    start = deal(lesson(), SEED, machine)
    right = solution_attempt(lesson(), start, machine)
    early = [event for event in right.events if not isinstance(event, QuestionAnswered)]
    told = next(
        event for event in right.events if isinstance(event, QuestionAnswered) and event.question == "lock_time"
    )
    log = Attempt(
        right.lesson_id, right.lesson_version, SEED, (QuestionAnswered(0.1, "lock_time", told.answer), *early)
    )
    answer = score_attempt(lesson(), log, machine).answers[0]
    # Before the wheel has been started there is nothing to read.
    assert (answer.passed, answer.right) == (False, None)
    with pytest.raises(SessionError, match="belongs to step 2"):
        Person().session.answer("lock_time", "3.6", 100.0)


def test_the_bench_shows_the_lessons_machine_and_gives_its_own_back() -> None:
    bench = Bench(read_lessons())
    bench.choose_lesson("run-up-and-lock")
    bench.begin_lesson(0.0, SEED)
    bench.set_playing(True)
    session = bench.session
    assert session is not None
    assert session.running is not None
    assert session.running.live is not None
    assert not bench.machines.held
    assert bench.station is session.running.live.station
    assert not bench.frame.off_tape
    assert bench.reel_name == "interchange-525"
    assert bench.act_refusal("play") is not None
    bench.advance(1.0)
    for act in ("check_threading", "close_covers", "play"):
        bench.do_act(act)
    for frame in range(31, 18 * 30):
        bench.advance(frame / 30.0)
    shown = bench.frame
    assert shown.off_tape
    bench.set_control("tracking_phase_deg", 11.0, 18.0)
    before = session.start.controls["tracking_phase_deg"]
    assert bench.recorder.control("tracking_phase_deg") == 11.0
    bench.undo(18.0)
    assert bench.recorder.control("tracking_phase_deg") == before
    assert [event.act for event in session.attempt.events if isinstance(event, ActDone)] == [
        "check_threading", "close_covers", "play",
    ]  # fmt: skip
    bench.begin_replay(20.0)
    with pytest.raises(BandbenchError, match="replay"):
        bench.do_act("stop")
    bench.set_replay(20.0, speed=16.0)
    bench.advance(20.5)
    assert bench.station is not session.running.live.station
    assert bench.station.time_s == pytest.approx(8.0, abs=0.02)
    bench.seek_replay(0.0, 20.5)
    assert bench.station.deck.mode == "stop"
    bench.end_replay()
    assert bench.station is session.running.live.station
    lessons_own = session.running.live.station
    bench.choose_mode(None)
    assert bench.act_refusal("play") is not None
    assert bench.station is not lessons_own
    assert bench.frame.off_tape


def test_a_run_goes_forward_only() -> None:
    start = deal(lesson(), SEED, RunningMachine(lesson(), FAULTS))
    run = Run(lesson(), start)
    done = (ActDone(0.5, "check_threading"), ActDone(1.0, "close_covers"))
    run.follow(done, 3.0)
    assert run.precedes(done, 3.0)
    assert run.precedes((*done, ActDone(3.0, "play")), 9.0)
    assert not run.precedes(done, 2.0)
    assert not run.precedes(done[:1], 3.0)
    assert not run.precedes((done[0], ActDone(1.0, "open_covers")), 3.0)
