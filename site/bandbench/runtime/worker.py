"""Run the bench inside the worker: start it, keep it going, pass messages. Imported in the browser only."""

from __future__ import annotations

import asyncio
import time
import traceback
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from pyodide.ffi import create_proxy, to_js

from bandbench.bench.application import BenchApplication
from bandbench.runtime import panel_glue
from bandbench.runtime.application import Application, FrameImage, FrameOrder, PictureFile
from bandbench.runtime.loop import FrameLoop
from bandbench.runtime.orders import OrderSender
from bandbench.runtime.posting import post_frame, post_message, post_order
from sim.recorder import Recorder

__all__ = ["Worker", "start"]

MEMORY_PATIENCE_S = 10.0
"""Memory that is short again within this time is not helped by freeing some. [s]"""

_T = TypeVar("_T")


class Worker:
    """The bench and its document, as `worker.mjs` sees them.

    Parameters
    ----------
    application : Application
        The bench.
    post : JS function
        Sends a message to the page: ``post(message, buffers_to_hand_over)``.
    """

    def __init__(self, application: Application, post: Any) -> None:
        self._application = application
        self._post_to_page = post
        self._document = panel_glue.new_document()
        self._loop = FrameLoop(
            self._next_frame, self._tick, self._send_frame, work=self._work,
            next_order=self._next_order, send_order=self._send_order, lose_frame=application.lose_frame,
            call_help=self._call_help,
            dismiss_help=self._dismiss_help,
        )  # fmt: skip
        self._called = False
        self._orders: OrderSender | None = None
        self._post_order: Any = None
        self._running: asyncio.Task[None] | None = None
        self._short_at_s = -MEMORY_PATIENCE_S

    @property
    def alive(self) -> bool:
        """Whether the loop that moves the picture goes on, or has not begun."""
        return self._running is None or not self._running.done()

    @property
    def revision(self) -> int:
        """How many changes of the controls there were, shown or not yet; for the tests."""
        return self._application.revision

    def show(self) -> None:
        """Send the page the parts of the bench to build."""
        message = panel_glue.document_message(self._document, self._application.roots())
        self._post(
            {
                "type": "document",
                "docs_json": message.docs_json,
                "render_items": message.render_items,
                "places": message.places,
            }
        )

    def run(self) -> None:
        """Start the moving picture: the page has built its parts."""
        self._dispatch = create_proxy(self._send_patch)
        panel_glue.connect(self._document, self._dispatch)
        self._running = asyncio.ensure_future(self._run())

    def patch(self, patch: Any) -> None:
        """Apply a change made in the page; show its effect at once."""
        try:
            panel_glue.apply_patch(self._document, patch)
        finally:
            self._loop.wake()
            self._send_records()
            self._post({"type": "idle"})

    def acknowledge(self, sequence: int) -> None:
        """Note that the page has drawn a frame."""
        self._loop.acknowledge(sequence)

    def help(self, post_order: Any = None) -> None:
        """Have pictures made by the picture worker, or no longer by it.

        Parameters
        ----------
        post_order : JS function, optional
            Sends it a message, as `post` does to the page; left out when it has gone.
        """
        self._post_order = post_order
        self._orders = None if post_order is None else OrderSender()
        self._loop.set_help(post_order is not None)

    def picture_made(self) -> None:
        """Note that the picture worker has made what was ordered first."""
        self._loop.order_made()

    def picture_file(self, name: str, rows: int, columns: int, levels: Any) -> None:
        """Give the bench a picture of the user's, as bytes of red, green and blue in rows."""
        pixels = np.asarray(levels.to_py(), np.uint8).reshape(rows, columns, 3)
        with panel_glue.current(self._document):
            self._application.on_picture_file(PictureFile(name, pixels.astype(np.float32) / np.float32(255)))
        self._loop.wake()

    def microphone(self, samples: Any) -> None:
        """Give the bench a note spoken into the microphone."""
        spoken = np.asarray(samples.to_py(), np.float32)
        with panel_glue.current(self._document):
            self._application.on_microphone(spoken)
        self._loop.wake()

    def records(self, kind: str, text: str) -> None:
        """Tell the bench what the page keeps of the learner."""
        with panel_glue.current(self._document):
            self._application.on_records(kind, text)
        self._send_records()

    def console(self, text: str) -> None:
        """Do what an instructor's console asks; show its effect at once."""
        with panel_glue.current(self._document):
            self._application.on_console(text)
        self._loop.wake()
        self._send_console()

    def _next_frame(self) -> FrameImage | None:
        with panel_glue.current(self._document):
            frame = self._with_room(self._application.next_frame)
        self._send_sound()
        return frame

    def _next_order(self) -> FrameImage | FrameOrder | None:
        with panel_glue.current(self._document):
            frame: FrameImage | FrameOrder | None = self._with_room(self._application.next_order)
        self._send_sound()
        return frame

    def _tick(self, now_s: float) -> None:
        with panel_glue.current(self._document):
            self._with_room(lambda: self._application.tick(now_s))
        # A page that is hidden asks for no frames, and is still heard.
        self._send_sound()
        self._send_records()
        self._send_console()

    def _work(self) -> bool:
        with panel_glue.current(self._document):
            return self._application.work()

    def _with_room(self, do: Callable[[], _T]) -> _T | None:
        """Do something; where memory does not suffice, free some and leave it out this time.

        Raises
        ------
        MemoryError
            If nothing can be freed without harm, or it was short a moment ago.
        """
        try:
            return do()
        except MemoryError:
            # The picture worker has memory of its own.
            self._dismiss_help()
            now_s = time.monotonic()
            if now_s - self._short_at_s < MEMORY_PATIENCE_S or not self._application.free_memory():
                raise
            self._short_at_s = now_s
            return None

    async def _run(self) -> None:
        try:
            await self._loop.run()
        except Exception as error:
            kind = "memory" if isinstance(error, MemoryError) else "bench"
            self._post({"type": "failed", "kind": kind, "detail": traceback.format_exc()})
            raise

    def _send_frame(self, sequence: int, frame: FrameImage) -> None:
        post_frame(self._post_to_page, sequence, frame)

    def _send_order(self, sequence: int, frame: FrameOrder) -> None:
        if self._orders is None:
            raise RuntimeError("a picture was ordered, and there is nobody to make it")
        post_order(self._post_order, sequence, frame.revision, *self._orders.pack(frame.order))

    def _call_help(self) -> None:
        # Once: what the page could not give, or took away, it cannot give now.
        if not self._called:
            self._called = True
            self._post({"type": "help", "wanted": True})

    def _dismiss_help(self) -> None:
        self._called = True
        self._post({"type": "help", "wanted": False})

    def _send_sound(self) -> None:
        sound = self._application.next_sound()
        if sound is None:
            return
        copied = to_js(np.ascontiguousarray(sound.samples).data.cast("B"))
        self._post({"type": "sound", "rate": sound.rate_hz, "data": copied.buffer}, [copied.buffer])

    def _send_records(self) -> None:
        changes = self._application.next_records()
        if changes:
            self._post({"type": "records", "text": changes})

    def _send_console(self) -> None:
        messages = self._application.next_console()
        if messages:
            self._post({"type": "console", "text": messages})

    def _send_patch(self, patch: Any, buffers: Any, _message_id: Any) -> None:
        self._post({"type": "patch", "patch": patch, "buffers": buffers})

    def _post(self, message: dict[str, Any], buffers: list[Any] | None = None) -> None:
        post_message(self._post_to_page, message, buffers)


def start(post: Any, lesson: str = "", recorder: Recorder | None = None) -> Worker:
    """Make the bench and return the worker that runs it.

    Parameters
    ----------
    post : JS function
        See `Worker`.
    lesson : str, optional
        The only lesson to be offered.
    recorder : Recorder, optional
        The one whose picture the page shows already.
    """
    return Worker(cast(Application, BenchApplication(lesson=lesson, recorder=recorder)), post)
