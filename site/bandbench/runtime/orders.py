"""Orders for pictures on their way from the worker to the picture worker.

Both are of the same build and on the same page: what one has pickled the other may unpickle. Long arrays go beside the
pickle, as buffers that are handed over instead of copied. What stays the same from frame to frame goes once.

Contents: `OrderSender`, `OrderReceiver`.
"""

from __future__ import annotations

import io
import pickle
from collections.abc import Iterable
from typing import Any

from bandbench.bench.pictures import PictureOrder
from sim.demodulator import TimeBase

__all__ = ["OrderReceiver", "OrderSender"]

_SAME_BASE = "the time base sent last"


class OrderSender:
    """Packs one order after the other for one receiver, which must get them all and in this order."""

    def __init__(self) -> None:
        self._base: TimeBase | None = None

    def pack(self, order: PictureOrder) -> tuple[bytes, list[memoryview]]:
        """Return the order as a pickle, and the long arrays that go beside it.

        Parameters
        ----------
        order : PictureOrder
            What is wanted.

        Returns
        -------
        pickled : bytes
            The order without its long arrays.
        buffers : list of memoryview of bytes
            Those arrays, in the order in which `OrderReceiver.unpack` wants them; not copied.
        """
        buffers: list[pickle.PickleBuffer] = []
        written = io.BytesIO()
        _Pickler(written, self._base, buffers).dump(order)
        self._base = order.video.base
        return written.getvalue(), [buffer.raw() for buffer in buffers]


class OrderReceiver:
    """Unpacks what one `OrderSender` packs."""

    def __init__(self) -> None:
        self._base: TimeBase | None = None

    def unpack(self, pickled: bytes, buffers: Iterable[Any]) -> PictureOrder:
        """Return the order; its arrays lie in the buffers, whatever kind of bytes those are.

        Raises
        ------
        pickle.UnpicklingError
            If an order that this one builds upon never came.
        """
        order = _Unpickler(io.BytesIO(pickled), self._base, buffers).load()
        if not isinstance(order, PictureOrder):
            raise pickle.UnpicklingError(f"expected a PictureOrder, not a {type(order).__name__}")
        self._base = order.video.base
        return order


class _Pickler(pickle.Pickler):
    def __init__(self, file: io.BytesIO, base: TimeBase | None, buffers: list[pickle.PickleBuffer]) -> None:
        super().__init__(file, protocol=5, buffer_callback=buffers.append)
        self._base = base

    def persistent_id(self, obj: Any) -> str | None:
        return _SAME_BASE if obj is self._base and obj is not None else None


class _Unpickler(pickle.Unpickler):
    def __init__(self, file: io.BytesIO, base: TimeBase | None, buffers: Iterable[Any]) -> None:
        super().__init__(file, buffers=buffers)
        self._base = base

    def persistent_load(self, pid: Any) -> TimeBase:
        if pid != _SAME_BASE or self._base is None:
            raise pickle.UnpicklingError(f"nothing was sent before that could be '{pid}'")
        return self._base
