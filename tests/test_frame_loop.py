"""The loop that keeps the picture moving: never more frames under way than the page can draw, events never starved."""

from __future__ import annotations

import asyncio
import selectors
import time
from typing import cast

import numpy as np
import pytest

from bandbench.bench.pictures import PictureOrder
from bandbench.runtime.application import FrameImage, FrameOrder
from bandbench.runtime.loop import (
    FRAME_PERIOD_S,
    FRAMES_IN_FLIGHT,
    HELP_AFTER_S,
    ORDERS_IN_FLIGHT,
    PATIENCE_TICKS,
    SHARE_ABOVE_S,
    TICK_PERIOD_S,
    TICK_SHARE,
    FrameLoop,
)

FRAME = FrameImage({"picture": np.zeros((2, 2), np.uint8)})


def test_the_frame_period_is_that_of_525_lines() -> None:
    # 30/1.001 frames a second (PUB: SMPTE ST 170, 525-line colour).
    assert pytest.approx(29.97, abs=0.001) == 1 / FRAME_PERIOD_S


def run_for(loop: FrameLoop, seconds: float) -> None:
    async def main() -> None:
        running = asyncio.ensure_future(loop.run())
        await asyncio.sleep(seconds)
        loop.stop()
        await asyncio.wait_for(running, 5)

    asyncio.run(main())


def test_frames_come_at_the_frame_rate_while_the_page_draws_them() -> None:
    sent: list[int] = []

    def send(sequence: int, _frame: FrameImage) -> None:
        sent.append(sequence)
        loop.acknowledge(sequence)

    loop = FrameLoop(lambda: FRAME, lambda _now_s: None, send)
    run_for(loop, 1.0)
    assert sent == list(range(1, len(sent) + 1))
    # 30 in a second; a busy machine makes fewer, none makes more.
    assert 10 <= len(sent) <= 31


def test_a_page_that_draws_nothing_gets_two_frames_and_ticks_go_on() -> None:
    sent: list[int] = []
    ticks: list[float] = []
    loop = FrameLoop(lambda: FRAME, ticks.append, lambda sequence, _: sent.append(sequence))
    run_for(loop, 0.6)
    assert sent == [1, 2]
    assert len(sent) == FRAMES_IN_FLIGHT
    assert len(ticks) >= 3


def test_one_acknowledgement_covers_the_frames_before_it() -> None:
    sent: list[int] = []
    loop = FrameLoop(lambda: FRAME, lambda _: None, lambda sequence, _: sent.append(sequence))

    async def main() -> None:
        running = asyncio.ensure_future(loop.run())
        await asyncio.sleep(0.2)
        assert sent == [1, 2]
        loop.acknowledge(2)
        await asyncio.sleep(0.2)
        loop.stop()
        await running

    asyncio.run(main())
    assert sent == [1, 2, 3, 4]


def test_a_paused_picture_sends_nothing() -> None:
    sent: list[int] = []
    loop = FrameLoop(lambda: None, lambda _: None, lambda sequence, _: sent.append(sequence))
    run_for(loop, 0.2)
    assert sent == []


def test_frames_that_take_too_long_do_not_starve_other_tasks() -> None:
    turns = 0

    def slow_frame() -> FrameImage:
        time.sleep(2 * FRAME_PERIOD_S)
        return FRAME

    loop = FrameLoop(slow_frame, lambda _: None, lambda sequence, _: loop.acknowledge(sequence))

    async def other() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    async def main() -> None:
        running = asyncio.ensure_future(loop.run())
        beside = asyncio.ensure_future(other())
        await asyncio.sleep(0.5)
        loop.stop()
        await running
        beside.cancel()

    asyncio.run(main())
    assert turns >= 5


def test_waking_makes_a_frame_at_once_and_a_tick_when_one_may_be() -> None:
    done: list[str] = []
    clock_s = 100.0

    def frame() -> FrameImage:
        done.append("frame")
        return FRAME

    def tick(_: float) -> None:
        done.append("tick")

    loop = FrameLoop(frame, tick, lambda sequence, _: loop.acknowledge(sequence), lambda: clock_s)

    async def main() -> None:
        nonlocal clock_s
        running = asyncio.ensure_future(loop.run())
        await asyncio.sleep(0.01)
        assert done == ["frame", "tick"]
        # Little time has passed: a change shows in the picture, the instruments have only just been read.
        clock_s += 0.01
        loop.wake()
        await asyncio.sleep(0.01)
        assert done == ["frame", "tick", "frame"]
        clock_s += TICK_PERIOD_S
        loop.wake()
        await asyncio.sleep(0.01)
        loop.stop()
        await running

    asyncio.run(main())
    assert done == ["frame", "tick", "frame", "frame", "tick"]


def test_a_control_that_moves_during_a_frame_is_seen_before_it_is_read() -> None:
    done: list[str] = []

    def frame() -> FrameImage:
        done.append("frame")
        if len(done) == 1:
            asyncio.get_running_loop().call_soon(loop.wake)
        return FRAME

    loop = FrameLoop(frame, lambda _: done.append("tick"), lambda sequence, _: loop.acknowledge(sequence))
    run_for(loop, 0.02)
    assert done[:3] == ["frame", "frame", "tick"]


def test_long_ticks_leave_most_of_the_time_to_the_picture() -> None:
    clock_s = 0.0
    ticks: list[float] = []
    tick_s = 0.2

    def tick(now_s: float) -> None:
        nonlocal clock_s
        ticks.append(now_s)
        clock_s += tick_s

    def frame() -> FrameImage:
        nonlocal clock_s
        clock_s += 0.02
        return FRAME

    def send(sequence: int, _: FrameImage) -> None:
        loop.acknowledge(sequence)

    loop = FrameLoop(frame, tick, send, lambda: clock_s)

    async def main() -> None:
        nonlocal clock_s
        running = asyncio.ensure_future(loop.run())
        for _ in range(300):
            clock_s += 0.02
            await asyncio.sleep(0.001)
        loop.stop()
        await running

    asyncio.run(main())
    assert len(ticks) > 3
    gaps = np.diff(ticks)
    assert gaps.min() >= tick_s / TICK_SHARE - 1e-9


def test_an_error_of_the_application_ends_the_loop_and_is_raised() -> None:
    def broken() -> FrameImage:
        raise ZeroDivisionError("planted")

    loop = FrameLoop(broken, lambda _: None, lambda *_: None)
    with pytest.raises(ZeroDivisionError, match="planted"):
        asyncio.run(loop.run())


def test_long_work_goes_on_in_between_and_ends_with_the_last_bit_of_it() -> None:
    bits: list[int] = []
    sent: list[int] = []
    ticks: list[float] = []

    def work() -> bool:
        bits.append(len(bits))
        return len(bits) < 50

    loop = FrameLoop(lambda: None, ticks.append, lambda sequence, _: sent.append(sequence), work=work)
    run_for(loop, 0.6)
    # All of it is done at once, then it is only asked for now and then; ticks go on.
    assert 50 <= len(bits) <= 50 + 7
    assert len(ticks) >= 3


def test_long_work_does_not_stop_a_moving_picture() -> None:
    bits: list[float] = []
    sent: list[int] = []

    def send(sequence: int, _frame: FrameImage) -> None:
        sent.append(sequence)
        loop.acknowledge(sequence)

    def work() -> bool:
        began_s = time.monotonic()
        while time.monotonic() < began_s + 0.05:
            pass
        bits.append(began_s)
        return True

    loop = FrameLoop(lambda: FRAME, lambda _: None, send, work=work)
    run_for(loop, 1.0)
    # A frame at least after each bit of work: the picture goes on.
    assert len(sent) >= len(bits) - 1 > 3


ORDER = FrameOrder(cast(PictureOrder, "an order"))


class Helped:
    """A loop with a picture worker that takes its time, and a page that draws all it gets."""

    def __init__(self, makes_after_s: float | None) -> None:
        self.orders: list[int] = []
        self.frames: list[tuple[int, int]] = []
        self.lost = self.called = 0
        self.makes_after_s = makes_after_s
        self.loop = FrameLoop(
            lambda: FRAME, lambda _: None, self.send,
            next_order=lambda: ORDER, send_order=self.take_order, lose_frame=self.lose, call_help=self.call,
        )  # fmt: skip

    def send(self, sequence: int, frame: FrameImage) -> None:
        self.frames.append((sequence, frame.after))
        self.loop.acknowledge(sequence)

    def take_order(self, sequence: int, _frame: FrameOrder) -> None:
        self.orders.append(sequence)
        if self.makes_after_s is not None:
            asyncio.get_running_loop().call_later(self.makes_after_s, self.made, sequence)

    def made(self, sequence: int) -> None:
        self.loop.order_made()
        self.loop.acknowledge(sequence)

    def lose(self) -> None:
        self.lost += 1

    def call(self) -> None:
        self.called += 1


def test_a_picture_worker_that_is_quick_makes_all_frames() -> None:
    helped = Helped(0.0)
    helped.loop.set_help(True)
    run_for(helped.loop, 0.5)
    assert len(helped.orders) >= 4
    assert helped.frames == []


def test_a_picture_worker_that_is_slow_gets_no_more_than_it_can_do_and_this_one_keeps_free() -> None:
    helped = Helped(None)
    helped.loop.set_help(True)
    run_for(helped.loop, 0.5)
    assert helped.orders == [1, 2]
    assert len(helped.orders) == ORDERS_IN_FLIGHT
    assert helped.frames == []


def test_where_the_picture_worker_is_far_too_slow_both_make_frames_shown_in_their_order() -> None:
    # The share of new measurements is a fifth: some frames pass before it is believed.
    helped = Helped(2 * SHARE_ABOVE_S)
    helped.loop.set_help(True)
    run_for(helped.loop, 3.0)
    assert len(helped.orders) > 5
    assert len(helped.frames) > 5
    # Each waits for what was ordered last before it.
    for sequence, after in helped.frames:
        assert after == max(order for order in helped.orders if order < sequence)


def test_what_a_control_has_just_changed_waits_for_no_frame_before_it() -> None:
    helped = Helped(None)
    helped.loop.set_help(True)

    async def main() -> None:
        running = asyncio.ensure_future(helped.loop.run())
        while not helped.orders:
            await asyncio.sleep(0)
        helped.loop.wake()
        while not helped.frames:
            await asyncio.sleep(0)
        helped.loop.stop()
        await running

    asyncio.run(main())
    assert helped.frames[0] == (2, 0)


def test_a_frame_that_is_asked_for_a_moment_too_early_is_asked_for_again_soon() -> None:
    asked: list[float] = []

    def frame() -> FrameImage | None:
        asked.append(time.monotonic())
        # There, not there yet, there ...
        return FRAME if len(asked) % 2 else None

    loop = FrameLoop(frame, lambda _: None, lambda sequence, _: loop.acknowledge(sequence))
    run_for(loop, 0.5)
    waits = [later - sooner for sooner, later in zip(asked[1::2], asked[2::2], strict=False)]
    assert len(waits) >= 3
    # Soon is well within the time of a frame; a busy machine may be late once.
    assert sorted(waits)[len(waits) // 2] < 0.8 * FRAME_PERIOD_S


@pytest.mark.parametrize("ordered", range(1, ORDERS_IN_FLIGHT + 1))
def test_a_picture_worker_that_goes_leaves_its_frames_to_be_made_here(ordered: int) -> None:
    helped = Helped(None)
    helped.loop.set_help(True)

    async def main() -> None:
        running = asyncio.ensure_future(helped.loop.run())
        while len(helped.orders) < ordered:
            await asyncio.sleep(0)
        helped.loop.set_help(False)
        await asyncio.sleep(0.3)
        helped.loop.stop()
        await running

    asyncio.run(main())
    assert helped.lost == 1
    assert len(helped.orders) == ordered
    # The page draws those as ever: one after the other, not only what had room beside the lost ones.
    assert len(helped.frames) > FRAMES_IN_FLIGHT
    assert all(after == 0 for _, after in helped.frames)


def test_a_picture_worker_that_keeps_silent_is_given_up_and_the_picture_goes_on() -> None:
    helped, clock_s = Helped(None), 0.0
    dismissed: list[float] = []

    def clock() -> float:
        # As if everything took some time: 10 s pass in a moment.
        nonlocal clock_s
        clock_s += 0.2
        return clock_s

    def dismiss() -> None:
        # The page ends it, and tells the bench so.
        dismissed.append(clock_s)
        helped.loop.set_help(False)

    helped.loop = FrameLoop(
        lambda: FRAME, lambda _: None, helped.send, clock,
        next_order=lambda: ORDER, send_order=helped.take_order, lose_frame=helped.lose, dismiss_help=dismiss,
    )  # fmt: skip
    helped.loop.set_help(True)

    async def main() -> None:
        running = asyncio.ensure_future(helped.loop.run())
        while len(helped.frames) <= FRAMES_IN_FLIGHT:
            # The page has nothing new to say, but the loop does not sleep for it.
            helped.loop.acknowledge(0)
            await asyncio.sleep(0)
        helped.loop.stop()
        await running

    asyncio.run(main())
    assert len(helped.orders) == ORDERS_IN_FLIGHT
    assert len(dismissed) == 1
    # PARAM (bandbench): ten times a second, read a hundred times.
    assert dismissed[0] >= PATIENCE_TICKS * TICK_PERIOD_S


class NoWaiting(selectors.SelectSelector):
    """What an event loop waits with: here time is let pass without waiting."""

    passed_s = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        self.passed_s += timeout or 0.0
        return super().select(0)


@pytest.mark.parametrize(("frame_s", "called"), [(0.025, False), (0.05, True)])
def test_help_is_called_for_only_where_the_picture_is_too_slow(frame_s: float, called: bool) -> None:
    waiting = NoWaiting()
    calls: list[float] = []

    def clock() -> float:
        # Whoever looks at it has taken a moment.
        waiting.passed_s += 1e-4
        return waiting.passed_s

    def frame() -> FrameImage:
        waiting.passed_s += frame_s
        return FRAME

    def send(sequence: int, _frame: FrameImage) -> None:
        loop.acknowledge(sequence)
        if waiting.passed_s > 2 * HELP_AFTER_S:
            loop.stop()

    loop = FrameLoop(
        frame, lambda _: None, send, clock, next_order=lambda: None, call_help=lambda: calls.append(waiting.passed_s)
    )
    events = asyncio.SelectorEventLoop(waiting)
    events.time = clock  # type: ignore[method-assign]
    with asyncio.Runner(loop_factory=lambda: events) as runner:
        runner.run(loop.run())
    assert bool(calls) is called
    assert all(at_s >= HELP_AFTER_S for at_s in calls)
