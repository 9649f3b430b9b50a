"""``python -m tests.fuzz``: spoil every input that comes from outside, each for its share of the time.

A finding is written to ``tests/output/fuzz/`` with its story. Once mended, its input belongs into ``tests/fuzz/found/``
under the target's name, where ``tests/test_fuzz_found.py`` gives it to the target ever after.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import time
from pathlib import Path

from tests.fuzz.inside import ALL_TARGETS
from tests.fuzz.running import fuzz
from tests.fuzz.scripts import fuzz_scripts

_SCRIPTS = "scripts"

_OUTPUT = Path(__file__).parents[1] / "output" / "fuzz"


def main() -> int:
    """Fuzz; return 0 if there was no finding, 1 otherwise."""
    known = [*ALL_TARGETS, _SCRIPTS]
    parser = argparse.ArgumentParser(prog="bb.py fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0, help="how long in all (default: %(default)s)")
    parser.add_argument("--seed", type=int, default=None, help="what the spoiling follows from (default: the time)")
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=f"of: {', '.join(known)}")
    arguments = parser.parse_args()
    seed = arguments.seed if arguments.seed is not None else int(time.time())
    names = arguments.targets or known
    if unknown := set(names) - set(known):
        parser.error(f"no such target: {', '.join(sorted(unknown))}")
    share_s = 60.0 * arguments.minutes / len(names)
    print(f"seed {seed}; {len(names)} targets, {share_s:.0f} s each", flush=True)
    found = cases = 0
    for name in names:
        outcome = fuzz_scripts(share_s, seed) if name == _SCRIPTS else fuzz(ALL_TARGETS[name], share_s, seed)
        found += len(outcome.faults)
        cases += outcome.cases
        print(
            f"{name:15} {outcome.cases:7} cases: {outcome.taken:6} taken, {outcome.refused:6} refused, "
            f"{len(outcome.faults)} findings; {outcome.lines} lines reached, slowest {outcome.slowest_s:.2f} s",
            flush=True,
        )
        for fault in outcome.faults.values():
            folder = _OUTPUT / name
            folder.mkdir(parents=True, exist_ok=True)
            stem = hashlib.sha256(fault.where.encode()).hexdigest()[:12]
            (folder / f"{stem}.input").write_bytes(fault.data)
            (folder / f"{stem}.txt").write_text(fault.told, "utf-8", "backslashreplace")
            print(f"  {fault.where}: {folder.name}/{stem}\n    {fault.told.strip().splitlines()[-1][:300]}", flush=True)
    print(f"{cases} cases, {found} findings")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
