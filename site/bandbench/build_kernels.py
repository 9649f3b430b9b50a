"""Assemble the browser's kernels from WebAssembly's text format.

Contents: `assembled_kernels`.
"""

from __future__ import annotations

from pathlib import Path

import wasmtime

from bandbench.runtime.kernels import KERNELS_TEXT
from sim.errors import BandbenchError

__all__ = ["KernelsError", "assembled_kernels"]

_TEXT = Path(__file__).parent / "runtime" / KERNELS_TEXT


class KernelsError(BandbenchError):
    """The kernels' text is no WebAssembly."""


def assembled_kernels(text: Path = _TEXT) -> bytes:
    """Return the kernels as a browser takes them.

    Parameters
    ----------
    text : Path, optional
        A module in WebAssembly's text format.

    Raises
    ------
    KernelsError
        If it is not.
    """
    try:
        return bytes(wasmtime.wat2wasm(text.read_text("utf-8")))
    except wasmtime.WasmtimeError as error:
        raise KernelsError(f"{text.name} is no WebAssembly text:\n{error}\nMend it, then build again.") from None
