"""The transport's modes: how one follows another, and what a recording writes and erases."""

from __future__ import annotations

import pytest

from sim.transport import ACTS, MODES, DeckCondition
from tests.transport_rig import Rig


def modes_met(rig: Rig, last: str, limit_s: float = 60.0) -> list[str]:
    """Modes in their order until `last` is reached."""
    met = [rig.deck.mode]
    start_s = rig.deck.time_s
    while rig.deck.mode != last:
        assert rig.deck.time_s - start_s < limit_s, met
        rig.step()
        if rig.deck.mode != met[-1]:
            met.append(rig.deck.mode)
    return met


def test_from_the_box_to_play_and_back() -> None:
    rig = Rig()
    assert rig.deck.mode == "stop"
    rig.thread().do("standby")
    assert modes_met(rig, "standby") == ["running_up", "standby"]
    assert rig.deck.tape_speed_m_per_s == 0.0
    rig.do("play")
    assert modes_met(rig, "play") == ["play"]
    rig.run(2.0).do("stop")
    assert modes_met(rig, "stop") == ["stopping", "stop"]


def test_play_from_stop_runs_up_first() -> None:
    rig = Rig().thread().do("play")
    assert rig.deck.goal == "play"
    assert modes_met(rig, "play") == ["running_up", "play"]


@pytest.mark.parametrize(
    ("act", "before", "way"),
    [
        ("wind_forward", "play", ["stopping", "wind_forward"]),
        ("wind_reverse", "wind_forward", ["stopping", "wind_reverse"]),
        ("standby", "wind_forward", ["stopping", "running_up", "standby"]),
        ("play", "wind_reverse", ["stopping", "running_up", "play"]),
        ("standby", "play", ["stopping", "running_up", "standby"]),
    ],
)
def test_every_change_of_motion_goes_by_way_of_a_stop(act: str, before: str, way: list[str]) -> None:
    rig = Rig().ready("standby", 700.0)
    rig.do(before).run(8.0).do(act)
    assert modes_met(rig, act) == way


def test_winding_from_play_leaves_the_guide_first() -> None:
    rig = Rig().ready("play", 700.0).run(1.0).do("wind_forward")
    rig.until("wind_forward")
    assert not rig.deck.tape_on_guide
    rig.run(10.0)
    assert rig.deck.wheel_driven
    assert rig.deck.tape_speed_m_per_s > 4.0


def test_winding_from_stop_leaves_the_wheel_at_rest() -> None:
    rig = Rig().ready("stop", 700.0).do("wind_forward").run(10.0)
    assert not rig.deck.wheel_driven
    rig.do("stop").until("stop")
    rig.do("open_covers")


def test_an_act_that_is_under_way_changes_nothing() -> None:
    rig = Rig().ready("play", 100.0).run(1.0)
    rig.do("play").run(0.01)
    assert rig.deck.mode == "play"
    assert rig.deck.tape_at_speed
    rig.do("stop", "stop")
    assert modes_met(rig, "stop") == ["stopping", "stop"]


def test_standby_waits_again_for_a_wheel_that_lost_its_lock() -> None:
    rig = Rig().ready("standby").run(1.0)
    rig.wheel_can_lock = False
    rig.run(0.1)
    assert rig.deck.mode == "running_up"
    rig.wheel_can_lock = True
    rig.run(0.1)
    assert rig.deck.mode == "standby"


def test_why_it_stopped_is_forgotten_with_the_next_motion() -> None:
    rig = Rig().ready("stop", 30.0).do("wind_reverse")
    rig.until("stop")
    assert rig.deck.stopped_because
    rig.do("wind_forward")
    assert rig.deck.stopped_because == ""


# --- recording -----------------------------------------------------------------------------------------------------


def recorder(mode: str = "standby", edit_mode: str = "off", tracks: tuple[str, ...] = ()) -> Rig:
    rig = Rig(ring=True).ready(mode, 100.0).run(0.5)
    rig.deck.select_edit_mode(edit_mode)
    if tracks:
        rig.deck.select_tracks(tracks)
    return rig


def test_recording_takes_two_steps_and_writes_once_the_tape_is_at_speed() -> None:
    rig = recorder()
    assert "arm it first" in rig.refused("record")
    rig.do("record_arm")
    assert (rig.deck.record_armed, rig.deck.recording) == (True, False)
    rig.do("record")
    seen = set()
    for _ in range(200):
        rig.step()
        seen.add((rig.deck.tape_at_speed, rig.deck.recording, rig.deck.master_erase_on))
    assert seen == {(False, False, False), (True, True, True)}


@pytest.mark.parametrize("act", ["play", "stop", "standby", "disarm"])
def test_leaving_record_disarms(act: str) -> None:
    rig = recorder("play").do("record_arm", "record").run(1.0)
    seen = [(rig.deck.record_armed, rig.deck.recording)]
    rig.do(act)
    seen.append((rig.deck.record_armed, rig.deck.recording))
    assert seen == [(True, True), (False, False)]
    assert rig.deck.mode == ("play" if act in ("play", "disarm") else "stopping")


def test_from_play_recording_begins_without_a_stop() -> None:
    rig = recorder("play").do("record_arm", "record")
    assert rig.deck.tape_speed_m_per_s == pytest.approx(0.381)
    rig.step()
    assert rig.deck.recording


@pytest.mark.parametrize("act", ["stop", "wind_forward"])
def test_stop_and_winding_take_the_first_step_back(act: str) -> None:
    rig = recorder("play").do("record_arm", act)
    assert not rig.deck.record_armed


def test_arming_lasts_through_standby_and_play() -> None:
    rig = Rig(ring=True).thread().do("record_arm", "play")
    rig.until("play")
    assert rig.do("record").run(1.0).deck.recording


@pytest.mark.parametrize(
    ("edit_mode", "tracks", "written", "erases"),
    [
        # Master, video, programme and cue erase. Common practice: the master erase clears the whole width of the tape,
        # so it runs only where the control track is made new.
        ("off", (), {"video", "control", "programme", "cue"}, (True, False, True, True)),
        ("assemble", (), {"video", "control", "programme", "cue"}, (True, False, True, True)),
        ("insert", (), {"video", "programme", "cue"}, (False, True, True, True)),
        ("insert", ("video", "control"), {"video"}, (False, True, False, False)),
        ("off", ("programme",), {"programme"}, (False, False, True, False)),
        ("insert", ("cue",), {"cue"}, (False, False, False, True)),
    ],
)
def test_what_a_recording_writes_and_erases(
    edit_mode: str, tracks: tuple[str, ...], written: set[str], erases: tuple[bool, ...]
) -> None:
    rig = recorder("play", edit_mode, tracks).do("record_arm")
    deck = rig.deck
    assert (deck.master_erase_on, deck.video_erase_on, deck.audio_erase_on, deck.cue_erase_on) == (False,) * 4
    rig.do("record").run(0.1)
    assert deck.written_tracks == written
    assert (deck.master_erase_on, deck.video_erase_on, deck.audio_erase_on, deck.cue_erase_on) == erases


def test_a_lost_lock_stops_writing_at_once_and_then_the_tape() -> None:
    rig = recorder("play").do("record_arm", "record").run(1.0)
    rig.wheel_can_lock = False
    rig.step()
    assert (rig.deck.mode, rig.deck.recording) == ("record", False)
    rig.until("stopping", 1.0)
    assert "lost its lock: the recording was ended" in rig.deck.stopped_because
    assert not rig.deck.record_armed


def test_a_capstan_at_rest_writes_nothing() -> None:
    rig = recorder("play").do("record_arm", "record").run(1.0)
    rig.ratio = 0.0
    rig.run(2.0)
    assert rig.deck.tape_speed_m_per_s == 0.0
    assert not rig.deck.recording


def test_another_reel_brings_its_own_length_and_ring() -> None:
    rig = Rig(ring=True).do("open_covers", "take_off_reel")
    rig.deck.choose_reel(800.0)
    rig.do("fit_reel", "thread", "check_threading", "close_covers")
    assert rig.deck.supply_m + rig.deck.path_m + rig.deck.takeup_m == pytest.approx(800.0)
    assert "ring is not fitted" in rig.refused("record_arm")


def test_ready_is_what_doing_and_waiting_gives() -> None:
    waited = Rig().thread().do("play")
    waited.run(30.0)
    ready = Rig().ready("play", waited.deck.position_m).run(1.0)
    first, second = waited.run(1.0).deck, ready.deck
    for name in ("mode", "goal", "threaded", "tape_on_guide", "capstan_engaged", "wheel_driven", "tension_ok"):
        assert getattr(first, name) == getattr(second, name), name
    for name in ("tape_speed_m_per_s", "air_kpa", "vacuum_kpa", "supply_arm", "takeup_arm", "supply_tension_n"):
        assert getattr(first, name) == pytest.approx(getattr(second, name), rel=0.05), name


def test_same_acts_same_readings() -> None:
    readings = []
    for _ in range(2):
        rig = Rig(DeckCondition(supply_tension_drift=0.1), seed=7).thread().do("play").run(7.0)
        readings.append((rig.deck.position_m, rig.deck.supply_tension_n, rig.deck.supply_arm, rig.deck.timer_s))
    assert readings[0] == readings[1]


def test_modes_and_acts_do_not_share_a_name_by_mistake() -> None:
    motions = {act.name for act in ACTS.values() if act.group == "motion"}
    assert motions | {"record", "running_up", "stopping"} == set(MODES)
