"""``python -m tests.flashes [FAULT ...]``: every fault of the catalogue, at its worst, is played to the page's flash
limiter, in monochrome and in colour; what would be seen may not flash more than three times a second."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence

import numpy as np

from bandbench.bench.application import BenchApplication
from bandbench.bench.faults import FAULTS
from sim.correction import CORRECTIONS
from sim.faults import FaultSpec
from tests.bench_clock import Clock
from tests.flash_limiter import MOST_FLASHES, Frames, Limiter, counted_at, seen_at

_FRAME_S = 1001 / 30000
# What the machine is given to come to what is wrong with it, in steps; then what is looked at.
_BEFORE_S, _STEP_S = 1.5, 0.1
_FRAMES = 60
# The widths of the picture at a desk, on a page that gives it all there is, and twice as large. [CSS px]
_WIDTHS_CSS = (415.0, 800.0)


def pictures_of(fault: FaultSpec, severity: float, in_colour: bool) -> Frames:
    """Return two seconds of what a machine with this fault shows, grey or in colour."""
    application = BenchApplication(clock := Clock())
    bench = application.bench
    bench.choose_mode("demonstrate")
    if in_colour:
        bench.set_control("correction", CORRECTIONS.index("colour"), clock.now_s)
    bench.plant_fault(fault.name, severity)
    bench.set_playing(True)
    for _ in range(round(_BEFORE_S / _STEP_S)):
        clock.now_s += _STEP_S
        application.next_frame()
    shown: list[Frames] = []
    for _ in range(_FRAMES):
        clock.now_s += _FRAME_S
        made = application.next_frame()
        # Nothing new is what stood there before.
        picture = made.images["picture"] if made is not None else None
        if picture is not None:
            shown.append(np.moveaxis(picture, 0, -1) if picture.ndim == 3 else picture)
        elif shown:
            shown.append(shown[-1])
    # The monitor of a machine in colour shows grey while bursts are out of place.
    if any(one.ndim == 3 for one in shown):
        shown = [one if one.ndim == 3 else np.repeat(one[..., None], 3, axis=-1) for one in shown]
    return np.stack(shown)


def judge(limiter: Limiter, frames: Frames) -> tuple[float, float, int]:
    """Return the most flashes a second as the picture is made and as it is drawn, and in how many it was held back."""
    times_s = np.arange(len(frames)) * np.float64(_FRAME_S)
    most, left, most_held = 0.0, 0.0, 0
    for width in _WIDTHS_CSS:
        drawn, held = limiter.play(frames, times_s, [seen_at(frames, width)])
        if frames.ndim == 3:
            drawn = drawn[..., 0]
        made = counted_at(frames, times_s, width)
        most, most_held = max(most, made), max(most_held, sum(held))
        left = max(left, counted_at(drawn, times_s, width) if any(held) else made)
    return most, left, most_held


def main(words: Sequence[str] | None = None) -> int:
    """Play the faults; return 1 if one of them is left to flash."""
    parser = argparse.ArgumentParser(prog="bb.py flashes", description=__doc__)
    parser.add_argument("faults", nargs="*", metavar="FAULT", help="which (default: one of each entry)")
    parser.add_argument("--severity", type=float, help="how severe, 0 to 1 (default: at its worst)")
    parser.add_argument("--only", choices=("monochrome", "colour"), help="play them in this alone (default: in both)")
    arguments = parser.parse_args(words)
    unknown = sorted(set(arguments.faults) - set(FAULTS))
    if unknown:
        parser.error(f"no such fault: {', '.join(unknown)}; bandbench render --help lists them")
    # Of four heads' faults one: the others flash in the next band.
    chosen = [FAULTS[name] for name in arguments.faults] or [one for one in FAULTS.values() if one.head in (0, 1)]
    colours = [False, True] if arguments.only is None else [arguments.only == "colour"]
    limiter = Limiter({})
    failed, played = [], 0
    for fault in chosen:
        for in_colour in colours:
            began_s = time.monotonic()
            severity = fault.most if arguments.severity is None else arguments.severity
            made, left, held = judge(limiter, pictures_of(fault, severity, in_colour))
            played += 1
            what = f"{fault.name}={severity:g} in {'colour' if in_colour else 'monochrome'}"
            if left > MOST_FLASHES:
                failed.append(what)
            taken_s = time.monotonic() - began_s
            print(f"{what}: {made:g} flashes/s made, {left:g} left, held back in {held} of {_FRAMES} ({taken_s:.1f} s)"
                  f"{'  TOO MANY' if left > MOST_FLASHES else ''}", flush=True)  # fmt: skip
    limiter.close()
    print(f"{played} played, {len(failed)} flash too much: {', '.join(failed) or 'none'}")
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main())
