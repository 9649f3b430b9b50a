"""What fuzzing has found stays mended; every target takes valid input, and sees spoilt input through."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.fuzz.inside import ALL_TARGETS
from tests.fuzz.mutation import spoilt
from tests.fuzz.running import try_one

_FOUND = sorted((Path(__file__).parent / "fuzz" / "found").glob("*/*"))
# Valid input that a target has to take; of the commands some are left out on purpose.
_ALL_TAKEN = sorted(set(ALL_TARGETS) - {"words", "suspended-text", "value"})
_QUICK = ("assignment", "attempt", "records", "class-file", "link", "suspended-text", "value")


@pytest.mark.parametrize("path", _FOUND, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_what_was_found_stays_mended(path: Path) -> None:
    end, fault = try_one(ALL_TARGETS[path.parent.name], path.read_bytes())
    assert fault is None, fault.told
    assert end in ("taken", "refused")


@pytest.mark.parametrize("name", _ALL_TAKEN)
def test_every_target_takes_valid_input(name: str) -> None:
    for data in ALL_TARGETS[name].seeds()[:3]:
        end, fault = try_one(ALL_TARGETS[name], data)
        assert end == "taken", fault.told if fault else data[:200]


@pytest.mark.parametrize("name", _QUICK)
def test_spoilt_input_is_taken_or_refused_in_words(name: str) -> None:
    target, chance = ALL_TARGETS[name], random.Random(7)
    seeds = target.seeds()
    ends = set()
    for _ in range(60):
        end, fault = try_one(target, spoilt(chance.choice(seeds), target.form, chance, seeds))
        assert fault is None, fault.told
        ends.add(end)
    assert "refused" in ends or name == "class-file"
