"""Every topic with a skill goes from a whole demonstration to work on one's own, and the page says where one is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bandbench.bench.lessons import read_course, read_lessons
from bandbench.bench.stagewords import stage_sentence, stage_words
from sim.training.progress import Outcome
from sim.training.stages import STAGES, Stage, stage_at, stage_of, stage_with, worked_work

LESSONS = read_lessons()
IN_ORDER = [LESSONS[name] for name in read_course(LESSONS).lessons]
TOPICS = sorted({lesson.topic for lesson in IN_ORDER if isinstance(lesson.topic, int)})
# A skill is something that is set until a measurement is right; what is only read and answered has no steps to fade.
SKILLS = [topic for topic in TOPICS if any(lesson.checks for lesson in IN_ORDER if lesson.topic == topic)]


def path_of(topic: int) -> list[Stage]:
    """The stages of a topic in the order of the course: each lesson's, from its first attempt to its last pass."""
    return [
        stage_at(lesson, row)
        for lesson in IN_ORDER
        if lesson.topic == topic and lesson.checks
        for row in range(lesson.passes)
    ]


def test_there_are_twenty_topics() -> None:
    assert list(range(1, 21)) == TOPICS
    assert len(SKILLS) >= 18


@pytest.mark.parametrize("topic", SKILLS)
def test_a_skill_is_shown_whole_first_and_done_alone_last(topic: int) -> None:
    path = path_of(topic)
    assert path[0].name == "shown"
    assert path[0].yours == ()
    assert path[-1].name == "own"
    assert path[-1].worked == 0
    assert path[-1].yours
    # Nothing that has been left to the learner is taken back on the way through one lesson.
    for lesson in IN_ORDER:
        if lesson.topic == topic and lesson.mode == "guided":
            stages = [stage_at(lesson, row) for row in range(lesson.passes + 1)]
            assert [stage.worked for stage in stages] == sorted((stage.worked for stage in stages), reverse=True)
            assert stages[lesson.passes - 1].name == stages[lesson.passes].name == "own"


@pytest.mark.parametrize("name", [lesson.id for lesson in IN_ORDER if lesson.mode == "guided"])
def test_a_guided_lesson_with_room_for_it_leaves_the_last_of_the_work_before_all_of_it(name: str) -> None:
    lesson = LESSONS[name]
    work = worked_work(lesson)
    if lesson.passes > 2 and len(work) > 1:
        between = stage_at(lesson, 1)
        assert between.name == "guided"
        assert between.yours == work[-len(between.yours) :]
        assert 0 < len(between.yours) < len(work)


def test_other_modes_have_one_stage() -> None:
    for lesson in IN_ORDER:
        wanted = {"demonstration": "shown", "guided": None}.get(lesson.mode, "own")
        if wanted:
            assert {stage_at(lesson, row).name for row in range(4)} == {wanted}


def test_the_stage_follows_the_passes_in_a_row() -> None:
    lesson = LESSONS["guide-position"]
    outcomes: list[Outcome] = []
    seen = [stage_of(lesson, outcomes).name]
    for number, clean in enumerate((True, True, True, False, True)):
        outcomes.append(Outcome(lesson.id, number, float(number), True, clean, clean))
        seen.append(stage_of(lesson, outcomes).name)
    assert seen == ["shown", "guided", "own", "own", "shown", "guided"]


def test_a_lesson_without_work_and_one_with_a_single_setting() -> None:
    asked = replace(LESSONS["guide-position"], solution=())
    assert stage_at(asked, 0).name == "shown"
    assert stage_at(asked, 2).name == "own"
    single = LESSONS["rf-envelope"]
    assert len(worked_work(single)) == 1
    assert [stage_at(single, row).name for row in range(3)] == ["shown", "own", "own"]


def test_every_stage_has_its_words() -> None:
    lesson = LESSONS["record-current"]
    told = {stage_words(stage_at(lesson, row)): stage_sentence(stage_at(lesson, row)) for row in range(3)}
    assert list(told) == ["shown", "guided: the last 2 settings are yours", "on your own"]
    assert "steps 4, 5 are yours" in told["guided: the last 2 settings are yours"]
    assert stage_words(stage_with(LESSONS["guide-position"], 3)) == "guided: the last setting is yours"
    assert [sentence.split(":")[0] for sentence in told.values()] == ["Shown", "Guided", "On your own"]
    assert len(STAGES) == len(told)
