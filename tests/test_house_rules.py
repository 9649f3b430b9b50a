"""Rules of the house that a machine can hold: who may import what."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SIM_FILES = sorted((ROOT / "sim").rglob("*.py"))


def imported_packages(path: Path) -> set[str]:
    """Return the top-level packages a module imports, wherever in it the import stands."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name.split(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write the package out"
            found.add((node.module or "").split(".")[0])
    return found


@pytest.mark.parametrize("path", SIM_FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_sim_imports_numpy_and_the_standard_library_only(path: Path) -> None:
    foreign = imported_packages(path) - set(sys.stdlib_module_names) - {"numpy", "sim"}
    assert not foreign, f"{path.name} imports {sorted(foreign)}"


@pytest.mark.parametrize("path", SIM_FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_sim_touches_no_file_system_network_or_clock(path: Path) -> None:
    outside = {"os", "io", "pathlib", "shutil", "tempfile", "socket", "urllib", "http", "subprocess", "time", "random"}
    assert not imported_packages(path) & outside, f"{path.name} reaches outside: pass what it needs to it"
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in {"open", "print", "input"}, f"{path.name}:{node.lineno} calls {node.func.id}"


def test_numbers_come_before_stages_and_stages_before_the_machine() -> None:
    """Arrows of the architecture: a room imports only rooms the signal has already visited."""
    order = {
        "errors": 0, "wording": 0, "arithmetic": 0, "standards": 1, "headtape": 1, "sound": 2, "timebase": 2,
        "servos": 2, "controltrack": 2, "signals": 2, "colour": 2, "fm": 2, "headwheel": 2, "tracking": 2, "dropout": 2,
        "output": 2, "running": 2, "modulated": 3, "correction": 3, "tape": 3, "playback": 3, "sliprings": 3,
        "tapestate": 3, "videocircuits": 3, "transport": 4, "controls": 4, "condition": 4, "recordchain": 4,
        "headreader": 4, "demodulator": 4, "videoframe": 4, "frame": 4, "adjustment": 4, "rfpath": 4, "videopath": 4,
        "recorder": 5, "reel": 6, "instruments": 6, "drawings": 6, "recordrun": 7, "station": 8, "machine_readings": 8,
        "deeds": 9, "training": 10, "faults": 10, "faultchart": 10, "showing": 11,
    }  # fmt: skip
    for path in SIM_FILES:
        parts = path.relative_to(ROOT / "sim").parts
        room = parts[0].removesuffix(".py")
        if room == "__init__":
            continue
        assert room in order, f"sim/{room} has no place in the order of rooms: give it one here"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("sim."):
                visited = str(node.module).split(".")[1]
                assert order[visited] <= order[room], f"{path.name} imports sim.{visited}, a later room"
