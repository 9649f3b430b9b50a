"""Keep the picture moving without ever starving the controls.

Everything in the worker shares one thread. The loop therefore gives the thread away once in every turn, whatever
happened in it, and makes no frame while the page still has two to draw: a slow page then sees fewer frames, never
older ones.

Where a second processor is free, a picture worker makes the frames that are ordered from it. What a control has just
changed does not stand in line there: it is made here if need be, and for that this worker keeps itself free. Only where
the picture worker alone would be far too slow, as in colour, do both make frames all the time.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace

from bandbench.runtime.application import FrameImage, FrameOrder

__all__ = [
    "FRAMES_IN_FLIGHT",
    "FRAME_PERIOD_S",
    "HELP_AFTER_S",
    "ORDERS_IN_FLIGHT",
    "PATIENCE_TICKS",
    "SHARE_ABOVE_S",
    "TICK_PATIENCE_S",
    "TICK_PERIOD_S",
    "TICK_SHARE",
    "WORK_SHARE",
    "FrameLoop",
]

FRAME_PERIOD_S = 1001 / 30000
"""Time between frames of the moving picture: the 525-line frame rate, 30000/1001 a second. [s]"""
TICK_PERIOD_S = 0.1
"""Shortest time between updates of scopes and readings. [s]"""
TICK_SHARE = 0.2
"""Largest share of the time that these updates may take from the picture, unless a control has just moved."""
TICK_PATIENCE_S = 0.2
"""How long these updates may be put off for a picture that shows a control's move. [s]"""
WORK_SHARE = 0.8
"""Largest share of the time that long work may take from a moving picture; a frame gets its turn after every bit."""
FRAMES_IN_FLIGHT = 2
"""How many frames may be on their way to the page: one being drawn, one waiting."""
ORDERS_IN_FLIGHT = 2
"""How many orders may be with the picture worker: one being made, and one for when this worker is busy meanwhile."""
PATIENCE_TICKS = 100
"""A picture worker that has made nothing for so many updates of scopes and readings, 10 s at the least, is given up.
Counted in updates and not in seconds: a computer that has slept has made none either."""
SHARE_ABOVE_S = 2 * FRAME_PERIOD_S
"""Where the picture worker takes longer than this for a frame, frames are made here too. [s]"""
HELP_AFTER_S = 4.0
"""After so long a moving picture that is too slow calls for the picture worker. [s]"""
HELP_BELOW = 0.93
"""A picture is too slow with less than this share of its frames."""
# So often in a row, and so many times a frame, a moving picture's next frame is asked for that is not there yet.
_MOST_EARLY = 8


class FrameLoop:
    """Ask for frames at the frame rate and hand them on; tick in between.

    Parameters
    ----------
    next_frame, tick : callable
        Those of `bandbench.runtime.application.Application`.
    send : Callable[[int, FrameImage], None]
        Hands a frame, with its sequence number, to the page.
    clock : Callable[[], float], optional
        Goes forward only. [s]
    work : Callable[[], bool], optional
        That of `Application`.
    next_order, send_order, lose_frame : callable, optional
        Those of `Application`, and what hands an order, with its sequence number, to the picture worker. Without them
        there is none.
    call_help, dismiss_help : Callable[[], None], optional
        Called when a moving picture is too slow without a picture worker, and when one keeps silent.
    """

    def __init__(
        self,
        next_frame: Callable[[], FrameImage | None],
        tick: Callable[[float], None],
        send: Callable[[int, FrameImage], None],
        clock: Callable[[], float] = time.monotonic,
        work: Callable[[], bool] = lambda: False,
        *,
        next_order: Callable[[], FrameImage | FrameOrder | None] | None = None,
        send_order: Callable[[int, FrameOrder], None] | None = None,
        lose_frame: Callable[[], None] = lambda: None,
        call_help: Callable[[], None] = lambda: None,
        dismiss_help: Callable[[], None] = lambda: None,
    ) -> None:
        self._make_frame = next_frame
        self._tick = tick
        self._send = send
        self._clock = clock
        self._sent = 0
        self._drawn = 0
        self._stopped = False
        self._woken = asyncio.Event()
        self._work = work
        self._working = self._moving = False
        self._next_frame_s = self._next_tick_s = self._next_work_s = clock()
        self._last_tick_s = -TICK_PERIOD_S
        self._next_order, self._send_order, self._lose_frame = next_order, send_order, lose_frame
        self._helped = self._hurried = False
        # Numbers of the frames that are with the picture worker, oldest first.
        self._ordered: deque[int] = deque()
        # When it began with the oldest, and how long it takes for one.
        self._order_began_s = self._order_took_s = 0.0
        # How many ticks it has been at it.
        self._order_ticks = 0
        self._call_help, self._dismiss_help = call_help, dismiss_help
        # How often in a row a frame was asked for before it was there.
        self._early = _MOST_EARLY
        # Since when the picture has moved without a pause, and how many frames there have been of it.
        self._moved_since_s: float | None = None
        self._moved_frames = 0

    def acknowledge(self, sequence: int) -> None:
        """Note that the page has drawn this frame and all before it."""
        self._drawn = max(self._drawn, sequence)
        if self._next_frame_s <= self._clock():
            self._woken.set()

    def wake(self) -> None:
        """Make the next frame now and the next tick soon: something the user sees has changed."""
        self._next_frame_s = self._clock()
        # While a control is dragged its changes come faster than instruments can be read: the picture goes first.
        self._next_tick_s = min(self._next_tick_s, max(self._next_frame_s, self._last_tick_s + TICK_PERIOD_S))
        self._hurried = True
        self._woken.set()

    def set_help(self, there: bool) -> None:
        """Note that the picture worker is ready, or that it has gone with what was ordered from it."""
        self._helped = there and self._next_order is not None
        lost = [] if there else list(self._ordered)
        self._ordered.clear()
        if lost:
            # Nobody will ever draw them: left among those on their way to the page they would take up its room.
            self._drawn = max(self._drawn, lost[-1])
            self._lose_frame()
            self.wake()

    def order_made(self) -> None:
        """Note that the picture worker has made what was ordered first."""
        now_s = self._clock()
        if self._ordered:
            self._ordered.popleft()
            self._order_ticks = 0
            self._order_took_s += 0.2 * (now_s - self._order_began_s - self._order_took_s)
            self._order_began_s = now_s
        if self._next_frame_s <= self._clock():
            self._woken.set()

    def stop(self) -> None:
        """End `run` after the turn it is in."""
        self._stopped = True
        self._woken.set()

    @property
    def _room(self) -> bool:
        """Whether another frame may be made, or ordered, now."""
        shared = self._hurried or self._order_took_s > SHARE_ABOVE_S
        if len(self._ordered) == ORDERS_IN_FLIGHT and not shared:
            return False
        # What is still with the picture worker is not on its way to the page.
        return self._sent - self._drawn < FRAMES_IN_FLIGHT + len(self._ordered)

    def _send_due_frame(self) -> None:
        # A turn that came late does not make the following ones hurry.
        self._next_frame_s = max(self._next_frame_s + FRAME_PERIOD_S, self._clock())
        hurried, self._hurried = self._hurried, False
        free = self._helped and len(self._ordered) < (1 if hurried else ORDERS_IN_FLIGHT)
        frame = self._next_order() if free and self._next_order is not None else self._make_frame()
        if frame is None and self._early < _MOST_EARLY:
            # Frames of a moving picture come by the tape's clock: this one is not there yet, but soon.
            self._early += 1
            self._next_frame_s = self._clock() + FRAME_PERIOD_S / _MOST_EARLY
            return
        self._early = _MOST_EARLY if frame is None else 0
        self._moving = frame is not None
        self._judge_speed()
        if frame is None:
            return
        self._sent += 1
        if isinstance(frame, FrameImage):
            # Where nobody waits for it, what was ordered before is shown before.
            waits = len(self._ordered) > 0 and not hurried
            self._send(self._sent, replace(frame, after=self._ordered[-1]) if waits else frame)
        elif self._send_order is not None:
            if not self._ordered:
                self._order_began_s, self._order_ticks = self._clock(), 0
            self._ordered.append(self._sent)
            self._send_order(self._sent, frame)

    def _judge_speed(self) -> None:
        """Call for help when the picture has moved for a while and was too slow."""
        now_s = self._clock()
        if not self._moving or self._moved_since_s is None:
            self._moved_since_s, self._moved_frames = (now_s if self._moving else None), 0
            return
        self._moved_frames += 1
        passed_s = now_s - self._moved_since_s
        if passed_s < HELP_AFTER_S:
            return
        if not self._helped and self._moved_frames * FRAME_PERIOD_S < HELP_BELOW * passed_s:
            self._call_help()
        self._moved_since_s, self._moved_frames = now_s, 0

    async def run(self) -> None:
        """Make frames and ticks until `stop`."""
        while not self._stopped:
            self._woken.clear()
            if self._clock() >= self._next_frame_s and self._room:
                self._send_due_frame()
                # A control moved meanwhile is seen in the picture before it is read on the instruments.
                await asyncio.sleep(0)
            self._tick_if_due()
            self._work_if_due()
            # Unconditional: with it the messages of the page get their turn even when frames take too long.
            await asyncio.sleep(0)
            await self._wait()

    def _tick_if_due(self) -> None:
        now_s = self._clock()
        due_s = self._next_tick_s + (TICK_PATIENCE_S if self._woken.is_set() else 0.0)
        if now_s < due_s:
            return
        self._last_tick_s = now_s
        self._next_tick_s = now_s + TICK_PERIOD_S
        self._tick(now_s)
        took_s = self._clock() - now_s
        self._next_tick_s = max(self._next_tick_s, now_s + took_s / TICK_SHARE)
        self._order_ticks += 1
        if self._ordered and self._order_ticks == PATIENCE_TICKS:
            self._dismiss_help()

    def _work_if_due(self) -> None:
        now_s = self._clock()
        # What the user has just done is shown first.
        if now_s < self._next_work_s or self._woken.is_set():
            return
        self._working = self._work()
        ended_s = self._clock()
        if not self._working:
            self._next_work_s = ended_s + TICK_PERIOD_S
        else:
            self._next_work_s = ended_s + ((ended_s - now_s) * (1.0 / WORK_SHARE - 1.0) if self._moving else 0.0)

    async def _wait(self) -> None:
        """Sleep until the next frame or tick is due, or until something wakes the loop."""
        due_s = min(self._next_frame_s, self._next_tick_s) if self._room else self._next_tick_s
        if self._working:
            due_s = min(due_s, self._next_work_s)
        delay_s = due_s - self._clock()
        if delay_s > 0:
            # Not asyncio.wait_for: it turns the delay into a moment, which a busy machine may reach before the
            # browser's event loop is asked for it; that loop refuses moments that have passed.
            alarm = asyncio.get_running_loop().call_later(delay_s, self._woken.set)
            await self._woken.wait()
            alarm.cancel()
