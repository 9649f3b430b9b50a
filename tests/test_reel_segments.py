"""A reel's segments, held to a brute-force model: an array with one cell for each millimetre of tape."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import BandbenchError, UnknownNameError
from sim.reel import TRACKS, Reel

CELLS = 60
# Runs of recording: told apart by identity, so two of them may be equal.
RUNS = (["run"], ["run"], ["another run"])

# An act: whether it records, which run, and from which millimetre to which (also beyond the ends of the tape).
acts = st.tuples(st.booleans(), st.integers(0, 2), st.integers(-5, CELLS + 5), st.integers(0, 25))


def in_metres(millimetres: int) -> float:
    return millimetres / 1000.0


def reel_after(moves: list[tuple[bool, int, int, int]]) -> tuple[Reel, list[object | None]]:
    reel = Reel("scrap", "Scrap reel", "525/60", in_metres(CELLS))
    cells: list[object | None] = [None] * CELLS
    for records, run, start, length in moves:
        stop = start + length
        if records:
            reel.record("video", in_metres(start), in_metres(stop), RUNS[run])
        else:
            reel.erase("video", in_metres(start), in_metres(stop))
        for cell in range(max(0, start), min(CELLS, stop)):
            cells[cell] = RUNS[run] if records else None
    return reel, cells


@given(st.lists(acts, max_size=25))
@settings(max_examples=150, deadline=None)
def test_a_reel_holds_what_an_array_of_millimetres_holds(moves: list[tuple[bool, int, int, int]]) -> None:
    reel, cells = reel_after(moves)
    for cell, content in enumerate(cells):
        assert reel.at("video", in_metres(cell) + 0.0005) is content
        assert reel.at("video", in_metres(cell)) is content  # a segment holds its beginning, not its end
    # Lengths are conserved exactly: not one nanometre more or less than the array counts.
    recorded = sum(content is not None for content in cells)
    assert round(reel.recorded_m("video") * 1e9) == recorded * 1_000_000
    # Segments are the array's runs: in order, not overlapping, and none that could be merged is left apart.
    wanted = []
    for content, group in itertools.groupby(range(CELLS), key=lambda cell: id(cells[cell])):
        run = list(group)
        if content != id(None):
            wanted.append((in_metres(run[0]), in_metres(run[-1] + 1), content))
    assert [(one.start_m, one.end_m, id(one.content)) for one in reel.segments("video")] == wanted
    assert not any(reel.segments(track) for track in TRACKS if track != "video")
    for cell in range(CELLS):
        first = cell
        while cells[cell] is not None and first > 0 and cells[first - 1] is not None:
            first -= 1
        assert reel.unbroken_from_m("video", in_metres(cell)) == in_metres(first)


@given(st.lists(acts, max_size=12), st.integers(0, CELLS), st.integers(1, CELLS))
@settings(max_examples=60, deadline=None)
def test_segments_of_a_stretch_are_those_that_reach_into_it(
    moves: list[tuple[bool, int, int, int]], start: int, length: int
) -> None:
    reel, _ = reel_after(moves)
    first, last = in_metres(start), in_metres(min(CELLS, start + length))
    inside = reel.segments("video", first, last)
    expected = [one for one in reel.segments("video") if one.end_m > first and one.start_m < last]
    assert [(one.start_m, one.end_m) for one in inside] == [(one.start_m, one.end_m) for one in expected]


@given(
    st.floats(0.0, 5.0),
    st.lists(st.floats(1e-6, 0.02), min_size=1, max_size=60),
    st.floats(-1e-12, 1e-12),
)
@settings(max_examples=60, deadline=None)
def test_a_run_handed_over_in_steps_is_one_segment(start_m: float, steps: list[float], rounding_m: float) -> None:
    """Also when the beginning of a step differs from the end of the last one by rounding."""
    reel = Reel("scrap", "Scrap reel", "525/60", 10.0)
    reel.record("programme", 0.0, 10.0, "old")
    position_m = start_m
    for step_m in steps:
        reel.record(
            "programme", position_m + rounding_m if position_m > start_m else position_m, position_m + step_m, RUNS[0]
        )
        position_m += step_m
    kept = reel.segments("programme")
    assert [one.content for one in kept if one.content is RUNS[0]] == [RUNS[0]]
    assert kept[-1].content == "old"
    assert sum(round(one.length_m * 1e9) for one in kept) == 10_000_000_000
    # DERIVED: a nanometre of rounding at each end.
    new = next(one for one in kept if one.content is RUNS[0])
    assert new.length_m == pytest.approx(sum(steps), abs=2.5e-9)


def test_a_reel_without_its_ring_is_neither_recorded_nor_erased() -> None:
    reel = Reel("kept", "Kept reel", "625/50", 20.0)
    reel.record("video", 1.0, 2.0, "programme")
    reel.ring_fitted = False
    with pytest.raises(BandbenchError, match="record ring is off"):
        reel.record("video", 0.0, 3.0, "new")
    with pytest.raises(BandbenchError, match="record ring is off"):
        reel.erase("control", 0.0, 3.0)
    assert [(one.start_m, one.end_m, one.content) for one in reel.segments("video")] == [(1.0, 2.0, "programme")]


def test_what_makes_no_sense_is_refused() -> None:
    reel = Reel("scrap", "Scrap reel", "525/60", 10.0)
    with pytest.raises(UnknownNameError, match="'video', 'control', 'programme', 'cue'"):
        reel.at("sound", 1.0)
    with pytest.raises(BandbenchError, match="runs backwards"):
        reel.record("video", 2.0, 1.0, "programme")
    for place in (float("nan"), float("inf")):
        with pytest.raises(BandbenchError, match="not a place on tape"):
            reel.erase("video", 0.0, place)
    with pytest.raises(BandbenchError, match="use erase"):
        reel.record("video", 0.0, 1.0, None)
    with pytest.raises(BandbenchError, match="length"):
        Reel("none", "No tape", "525/60", 0.0)
    assert reel.recorded_m("video") == 0.0
