"""The symptom chart as a page: from the fault catalogue, never written by hand.

``python -m bandbench.symptomchart`` writes ``lessons/symptom-chart.md``; with ``--check`` it only says whether the page
is still what the catalogue says.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence

from bandbench.bench.faults import FAULTS, FAULTS_FILE
from sim.faultchart import Cause, symptom_chart
from sim.faults import VIEWS, FaultSpec, distinct_faults

__all__ = ["PAGE", "main", "page"]

PAGE = FAULTS_FILE.parent / "symptom-chart.md"
_COMMAND = "python -m bandbench.symptomchart"

_HEAD = f"""# From symptom to cause

Made by `{_COMMAND}` from `faults.toml`; correct that, not this page.

Look up what you see where you see it. Take the proof before you touch anything; then rule out what looks the same.
N stands for the number of any head or its channel. Limits in the proofs are those of this simulator, for 525/60
high-band: no standard. At a real machine its manual, the site's rules, local codes and qualified people come first.
"""


def _cell(text: str) -> str:
    return text.replace("|", "\\|").strip()


def _causes(causes: Sequence[Cause]) -> list[tuple[str, str, str]]:
    return [
        (
            f"**{cause.title}** ({cause.group})",
            "<br>".join(cause.proofs),
            "<br>".join(f"*{title}*: {tell}" for title, tell in cause.told_from),
        )
        for cause in causes
    ]


def page(faults: Mapping[str, FaultSpec] = FAULTS) -> str:
    """Return the whole page."""
    rows = symptom_chart(faults)
    parts = [_HEAD, f"{len(distinct_faults(faults))} faults, {len(rows)} symptoms.\n"]
    for view, title in VIEWS.items():
        parts.append(f"## {title}\n\n| what shows | may be | proved by | told from |\n|---|---|---|---|")
        for row in rows:
            if row.view == view:
                for number, (cause, proof, told) in enumerate(_causes(row.causes)):
                    symptom = row.symptom if number == 0 else "as above"
                    parts.append(f"| {_cell(symptom)} | {_cell(cause)} | {_cell(proof)} | {_cell(told)} |")
        parts.append("")
    return "\n".join(parts).rstrip() + "\n"


def main(words: Sequence[str] | None = None) -> int:
    """Write the page, or check the one that is there.

    Parameters
    ----------
    words : Sequence[str] | None
        The command line after the program's name; None takes this process's own.

    Returns
    -------
    int
        Exit status: 0, or 1 if ``--check`` found the page stale.
    """
    parser = argparse.ArgumentParser(prog=_COMMAND, description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; fail if the page is stale")
    arguments = parser.parse_args(words)
    wanted, name = page(), f"{PAGE.parent.name}/{PAGE.name}"
    if not arguments.check:
        PAGE.write_text(wanted, encoding="utf-8")
        print(f"wrote {name}")
        return 0
    if PAGE.exists() and PAGE.read_text(encoding="utf-8") == wanted:
        return 0
    print(f"{name} is not what {FAULTS_FILE.name} says now: run {_COMMAND}", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
