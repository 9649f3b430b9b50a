"""Ways to let the page's workers die.

Contents: `DYING_WORKERS`, `HURRY`, `SLOW_PICTURE`, `Death`, `DEATHS`, `PICTURE_DEATHS`. The page knows nothing of them.
"""

from __future__ import annotations

from dataclasses import dataclass

from tests.browser.watching import WatchedPage

__all__ = ["DEATHS", "DYING_WORKERS", "HURRY", "PICTURE_DEATHS", "SLOW_PICTURE", "Death"]

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

# The timer that watches the worker, and the page's clock with it, run a hundred times as fast until the page is in the
# state `hurriedTo`. What goes by the hour does not count: each time, the clock would be put on by as much.
HURRY = """
{
  const now = performance.now.bind(performance);
  const every = globalThis.setInterval;
  const periodMs = 50;
  let aheadMs = 0;
  globalThis.hurriedTo = "";
  globalThis.skip = (ms) => { aheadMs += ms; };
  performance.now = () => now() + aheadMs;
  globalThis.setInterval = (callback, ms, ...rest) => {
    if (ms < 1000 || ms > 10_000) return every(callback, ms, ...rest);
    let last = now();
    return every(() => {
      if (document.body.dataset.state === globalThis.hurriedTo) globalThis.hurriedTo = "";
      if (globalThis.hurriedTo !== "") aheadMs += ms;
      else if (now() - last < ms) return;
      last = now();
      callback(...rest);
    }, periodMs);
  };
}
"""

# As on a slow machine: each picture takes this worker as long as two and a half may.
SLOW_PICTURE = """
import time
from bandbench.bench.application import BenchApplication
def slow(self, quick=BenchApplication.next_frame):
    end_s = time.monotonic() + 2.5 * 1.001 / 30.0
    frame = quick(self)
    while frame is not None and time.monotonic() < end_s:
        pass
    return frame
BenchApplication.next_frame = slow
"""

_NEXT_FRAME = """
from bandbench.bench.application import BenchApplication
def planted(self):
{body}
BenchApplication.next_frame = BenchApplication.next_order = planted
"""

_NEXT_ORDER = """
from bandbench.runtime.maker import PictureMaker
def planted(self, *order):
{body}
PictureMaker.make = planted
"""

# As where the browser has no more memory for a page: not one array more than what is free already.
_REFUSE_MEMORY = """() => {
  WebAssembly.Memory.prototype.grow = () => { throw new RangeError("WebAssembly.Memory.grow(): refused"); };
  self.bandbench.pyodide.runPython(`
import numpy as np
hoard = []
for size in (1 << 22, 1 << 18, 1 << 14):
    try:
        while True:
            hoard.append(np.ones(size))
    except MemoryError:
        pass
`);
}"""

_RAISE = '    raise ZeroDivisionError("planted")'

# Far beyond all memory there is.
_READ_OUTSIDE = """
    import numpy as np
    np.lib.stride_tricks.as_strided(np.zeros(1), (4,), (1 << 29,)).sum()
"""

# Not at once: who plants it has to be answered.
_LOOP = "() => { setTimeout(() => { for (;;) {} }, 500); }"
_CLOSE = "() => { setTimeout(() => self.close(), 500); }"


@dataclass(frozen=True)
class Death:
    """A way to die.

    Attributes
    ----------
    told : str
        What is then told of it, as a pattern: in the page's details, or of a picture worker in the console.
    python : str
        Run in the worker first.
    script : str
        JavaScript run in the worker then.
    silent : bool
        Whether nothing is heard of it but silence.
    """

    told: str
    python: str = ""
    script: str = ""
    silent: bool = False

    def plant(self, watched: WatchedPage, number: int = 0) -> None:
        """Have a worker of a page, the bench's or one after it, die so."""
        worker = watched.page.workers[number]
        if self.python:
            worker.evaluate("(code) => self.bandbench.pyodide.runPython(code)", self.python)
        if self.script:
            worker.evaluate(self.script)


# Otherwise a bench that empties its caches now and then may go on with what they held, as it should.
_FREE_NOTHING = """
from bandbench.bench.application import BenchApplication
BenchApplication.free_memory = lambda self: False
"""

# Python says so itself, unless it is what passes arrays between the languages that finds none.
_NO_MEMORY = "MemoryError|memory access out of bounds"

DEATHS = {
    "exception": Death("ZeroDivisionError: planted", _NEXT_FRAME.format(body=_RAISE)),
    "memory": Death(_NO_MEMORY, _FREE_NOTHING, _REFUSE_MEMORY),
    "trap": Death("memory access out of bounds", _NEXT_FRAME.format(body=_READ_OUTSIDE)),
    "endless loop": Death("No message for", script=_LOOP, silent=True),
    "terminated": Death("No message for", script=_CLOSE, silent=True),
}

PICTURE_DEATHS = {
    "exception": Death("ZeroDivisionError: planted", _NEXT_ORDER.format(body=_RAISE)),
    "memory": Death(_NO_MEMORY, script=_REFUSE_MEMORY),
    "trap": Death("memory access out of bounds", _NEXT_ORDER.format(body=_READ_OUTSIDE)),
    "endless loop": Death("", script=_LOOP, silent=True),
    "terminated": Death("", script=_CLOSE, silent=True),
}
