"""Ways to let the page's worker die.

Contents: `BREAK_PYTHON`, `DYING_WORKERS`. The shipped page knows nothing of them.
"""

from __future__ import annotations

__all__ = ["BREAK_PYTHON", "DYING_WORKERS"]

# A worker that says it has died as soon as it is to start, while the test wants that: the page meets it as it would
# meet one that stops again and again.
DYING_WORKERS = """
globalThis.workersDie = false;
globalThis.Worker = class extends Worker {
  postMessage(message, ...rest) {
    if (!globalThis.workersDie) return super.postMessage(message, ...rest);
    const data = { type: "failed", kind: "bench", detail: "planted again" };
    queueMicrotask(() => this.dispatchEvent(new MessageEvent("message", { data })));
  }
};
"""

# Python meets an error of its own with the next picture.
BREAK_PYTHON = """
from bandbench.bench.application import BenchApplication
def broken(self): raise ZeroDivisionError("planted")
BenchApplication.next_frame = broken
"""
