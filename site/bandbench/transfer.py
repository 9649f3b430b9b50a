"""What a first visit takes from the network, against a recorded figure: ``python -m bandbench.transfer`` tells.

Contents: `cold_bytes`, `total_bytes`, `cold_table` (of a built site's files); `recorded_bytes` and `overdrawn` (the
budget). After a growth that is wanted, ``python -m bandbench.transfer --record`` writes the figure anew, for
``site/transfer_budget.json``: commit it with what made it grow.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

from bandbench.build_assets import COMPRESSIBLE, compressed

__all__ = ["BUDGET", "GROWTH_LIMIT", "cold_bytes", "cold_table", "main", "overdrawn", "recorded_bytes", "total_bytes"]

BUDGET = Path(__file__).parents[1] / "transfer_budget.json"
"""The recorded figure: bytes by group of files."""

GROWTH_LIMIT = 1.1
"""How many times the recorded total a first visit may take."""

# What no first visit asks for: the console, the guide, other languages, what only an installed copy shows, and
# Panel's spare styles.
_LATER = re.compile(
    r"^console\.html$|^guide/|/(console|consolewords|guide)\.(mjs|css)$|^service-worker\.js$|\.webmanifest$|^assets/(words|icon)-|\.json$"
    r"|^assets/panel-[^/]+/[^/]+/dist/(?!panel\.min\.js$|css/(loading|card|button)\.css$)"
)
_GROUP = re.compile(r"^assets/([a-z]+)-")


def cold_bytes(files: Mapping[str, bytes]) -> dict[str, int]:
    """Return how much a first visit takes of each group of files, with the server's compression.

    Parameters
    ----------
    files : mapping of str to bytes
        A built site's files by path. Those that come later, and compressed copies, may be among them.
    """
    groups: dict[str, int] = {}
    for path, content in files.items():
        if _LATER.search(path) or path.endswith(".gz"):
            continue
        found = _GROUP.match(path)
        group = found[1] if found else "index"
        sent = len(compressed(content)) if PurePosixPath(path).suffix in COMPRESSIBLE else len(content)
        groups[group] = groups.get(group, 0) + sent
    return dict(sorted(groups.items()))


def total_bytes(groups: Mapping[str, int]) -> int:
    """Return the bytes of all groups together."""
    return sum(groups.values())


def recorded_bytes() -> dict[str, int]:
    """Return the recorded figure, bytes by group."""
    recorded: dict[str, int] = json.loads(BUDGET.read_text("utf-8"))
    return recorded


def overdrawn(groups: Mapping[str, int], recorded: Mapping[str, int]) -> bool:
    """Tell whether a first visit takes more than the budget allows.

    Examples
    --------
    >>> overdrawn({"page": 109}, {"page": 100}), overdrawn({"page": 60, "icon": 60}, {"page": 100})
    (False, True)
    """
    return total_bytes(groups) > GROWTH_LIMIT * total_bytes(recorded)


def cold_table(groups: Mapping[str, int]) -> str:
    """Return what a first visit takes as a table, beside what was recorded."""
    recorded = recorded_bytes()
    rows = [("a first visit takes", "bytes", "recorded", "share")]
    totals = [("total", total_bytes(groups), total_bytes(recorded))]
    for name, now, before in [*((name, groups[name], recorded.get(name, 0)) for name in groups), *totals]:
        rows.append((name, str(now), str(before), f"{now / before:.3f}" if before else "new"))
    return "\n".join(f"{first:20}" + "".join(f"{word:>12}" for word in words) for first, *words in rows)


def main() -> int:
    """Print the table of the built site; with ``--record``, write it down as the figure."""
    parser = argparse.ArgumentParser(description="What a first visit to the built site takes from the network.")
    parser.add_argument("folder", type=Path, nargs="?", default=Path("dist"), help="a built site (dist)")
    parser.add_argument("--record", action="store_true", help=f"write it into {BUDGET.name}")
    arguments = parser.parse_args()
    folder: Path = arguments.folder
    paths = [path for path in folder.rglob("*") if path.is_file()]
    groups = cold_bytes({path.relative_to(folder).as_posix(): path.read_bytes() for path in paths})
    if arguments.record:
        BUDGET.write_text(json.dumps(groups, indent=1) + "\n", "utf-8")
    print(cold_table(groups))
    return 0


if __name__ == "__main__":
    sys.exit(main())
