"""The page's flash limiter, fed with scenes: what it draws is counted by the definition of WCAG 2.2, not by its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from bandbench.bench.application import BenchApplication
from tests.bench_clock import Clock
from tests.flash_counting import flashes
from tests.flash_limiter import DIVISIONS, MOST_FLASHES, Frames, Limiter, counted_at, seen_at

_WIDTH, _HEIGHT = 84, 64
# The picture as large as on a page of 1400 CSS pixels; one of its elements is five of them.
_CSS = 5.0
_WHOLE = {
    "left": 0, "top": 0, "width": _WIDTH, "height": _HEIGHT, "cssWidth": _CSS * _WIDTH, "cssHeight": _CSS * _HEIGHT,
}  # fmt: skip


@pytest.fixture(scope="module")
def limiter() -> Iterator[Limiter]:
    """Return the limiter, in one process for all tests."""
    one = Limiter(_WHOLE)
    yield one
    one.close()


def counted(frames: Frames, times_s: NDArray[np.float64]) -> float:
    """Return the most flashes a second, by several divisions of the picture."""
    return max(flashes(frames, times_s, (_CSS, _CSS), cell, shift) for cell, shift in DIVISIONS)


@dataclass(frozen=True)
class Patch:
    """A part of a scene that goes to and fro between two colours, or between a colour and noise."""

    left: float
    top: float
    width: float
    height: float
    colours: tuple[tuple[int, int, int], tuple[int, int, int]]
    frames_each: int
    noise: int
    drift: int

    def draw(self, frame: Frames, number: int, chance: np.random.Generator) -> None:
        """Draw it into a frame."""
        rows, columns = frame.shape[:2]
        top = (int(self.top * rows) + self.drift * number) % rows
        left, right = int(self.left * columns), int(min(1.0, self.left + self.width) * columns)
        part = frame[top : top + max(1, int(self.height * rows)), left : max(left + 1, right)]
        colour = np.array(self.colours[number // self.frames_each % 2], np.int32)
        grains = chance.integers(-self.noise, self.noise + 1, part.shape[:2])[..., None]
        part[...] = np.clip(colour + grains, 0, 255).astype(np.uint8)


_CODES = st.sampled_from([0, 0, 60, 128, 190, 255, 255])
_COLOURS = st.tuples(_CODES, _CODES, _CODES)
_PATCHES = st.builds(
    Patch, left=st.floats(0.0, 0.6), top=st.floats(0.0, 0.6), width=st.floats(0.1, 1.0), height=st.floats(0.05, 1.0),
    colours=st.tuples(_COLOURS, _COLOURS), frames_each=st.integers(1, 9), noise=st.sampled_from([0, 0, 40, 255]),
    drift=st.sampled_from([0, 0, 0, 1, 7]),
)  # fmt: skip


def scene(patches: list[Patch], times_s: NDArray[np.float64], grey: bool, seed: int) -> Frames:
    """Return the frames of a scene."""
    chance = np.random.default_rng(seed)
    frames = np.full((len(times_s), _HEIGHT, _WIDTH, 3), 90, np.uint8)
    for number, frame in enumerate(frames):
        for patch in patches:
            patch.draw(frame, number, chance)
    return frames[..., 1].copy() if grey else frames


@settings(max_examples=15, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(st.lists(_PATCHES, min_size=1, max_size=3), st.booleans(), st.sampled_from([33, 40, 60, 90]), st.integers(0, 99))
def test_no_scene_flashes_more_than_three_times_a_second(
    limiter: Limiter, patches: list[Patch], grey: bool, period_ms: int, seed: int
) -> None:
    times_s = np.arange(int(2000 / period_ms)) * period_ms / 1000.0
    drawn, _ = limiter.play(scene(patches, times_s, grey, seed), times_s)
    assert counted(drawn, times_s) <= MOST_FLASHES


FLASHING = Patch(0.0, 0.0, 1.0, 1.0, ((0, 0, 0), (255, 255, 255)), 2, 0, 0)
RED = Patch(0.0, 0.0, 1.0, 1.0, ((255, 0, 0), (60, 60, 60)), 3, 0, 0)
TIMES_S = np.arange(60) / 30.0


@pytest.mark.parametrize("patch", [FLASHING, RED], ids=["light", "red"])
def test_what_flashes_too_much_is_held_back_and_would_break_the_limit(limiter: Limiter, patch: Patch) -> None:
    asked = scene([patch], TIMES_S, False, 1)
    drawn, at_work = limiter.play(asked, TIMES_S)
    # DERIVED: every second or third of 30 frames a second is a change, two changes a flash.
    assert counted(asked, TIMES_S) == pytest.approx(30 / patch.frames_each / 2, abs=0.5)
    assert counted(drawn, TIMES_S) <= MOST_FLASHES
    # Four changes come first; from then on it is said to be at work, without a break.
    assert not any(at_work[: 5 * patch.frames_each])
    assert all(at_work[5 * patch.frames_each :])


@pytest.mark.parametrize(
    "patch",
    [
        # A flash a second; a small flashing place; a change that goes one way.
        Patch(0.0, 0.0, 1.0, 1.0, ((0, 0, 0), (255, 255, 255)), 15, 0, 0),
        Patch(0.3, 0.3, 0.15, 0.15, ((0, 0, 0), (255, 255, 255)), 1, 0, 0),
        Patch(0.0, 0.0, 1.0, 1.0, ((90, 90, 90), (200, 200, 200)), 40, 0, 0),
    ],
    ids=["slow", "small", "once"],
)
def test_what_does_not_flash_too_much_is_drawn_as_it_is_made(limiter: Limiter, patch: Patch) -> None:
    asked = scene([patch], TIMES_S, False, 2)
    drawn, at_work = limiter.play(asked, TIMES_S)
    assert not any(at_work)
    assert np.array_equal(drawn, asked)


def test_fine_noise_is_no_flashing(limiter: Limiter) -> None:
    # A picture whose elements are as small on the page as the bench's: 0.6 CSS px.
    noise = np.random.default_rng(5).integers(40, 160, (30, 486, 720), np.uint8)
    seen = {"left": 0.0, "top": 0.0, "width": 720.0, "height": 486.0, "cssWidth": 415.0, "cssHeight": 311.0}
    drawn, at_work = limiter.play(noise, TIMES_S[:30], [seen])
    assert not any(at_work)
    assert np.array_equal(drawn[..., 0], noise)


@pytest.mark.parametrize("columns_each", [1, 2, 3])
def test_dots_that_change_places_are_no_flashing(limiter: Limiter, columns_each: int) -> None:
    # As a colour subcarrier is seen on a monochrome monitor: with the next picture, light is where dark was.
    dots = np.tile(np.arange(754) // columns_each % 2 == 0, (486, 1))
    frames = np.stack([np.where(dots ^ bool(number % 2), 220, 30) for number in range(20)]).astype(np.uint8)
    seen = {"left": 0.0, "top": 0.0, "width": 754.0, "height": 486.0, "cssWidth": 415.0, "cssHeight": 311.0}
    drawn, at_work = limiter.play(frames, TIMES_S[:20], [seen])
    assert not any(at_work)
    assert np.array_equal(drawn[..., 0], frames)


def test_when_it_is_calm_the_picture_is_drawn_as_it_is_made(limiter: Limiter) -> None:
    times_s = np.arange(100) / 30.0
    asked = scene([FLASHING], times_s, True, 3)
    asked[40:] = np.arange(_WIDTH, dtype=np.uint8)
    drawn, at_work = limiter.play(asked, times_s)
    assert at_work[39]
    # A second without changes, and the frame in which that is seen.
    calm = 40 + 33
    assert not any(at_work[calm:])
    assert np.array_equal(drawn[calm:, ..., 0], asked[calm:])


def test_a_dead_channels_noise_is_no_flashing(limiter: Limiter) -> None:
    # Every fourth band is noise, as wide as video lets it be: what one looks for must not be held back.
    chance = np.random.default_rng(6)
    frames = np.full((30, 486, 754), 120, np.uint8)
    for frame in frames:
        wide = np.convolve(chance.normal(0.0, 1.0, frame.size), np.ones(4) / 2.0, "same").reshape(frame.shape)
        noisy = np.arange(486) // 16 % 4 == 1
        frame[noisy] = np.clip(120.0 + 90.0 * wide[noisy], 0.0, 255.0).astype(np.uint8)
    drawn, at_work = limiter.play(frames, TIMES_S[:30], [seen_at(frames, 415.0)])
    assert not any(at_work)
    assert np.array_equal(drawn[..., 0], frames)


def test_a_servo_that_hunts_is_held_back(limiter: Limiter) -> None:
    application = BenchApplication(clock := Clock())
    application.bench.choose_mode("demonstrate")
    application.bench.plant_fault("wheel_gain_high", 0.8)
    application.bench.set_playing(True)
    frames = []
    # A second and a half to begin hunting, then what is seen for a second and a half.
    for number in range(60):
        clock.now_s += 0.1 if number < 15 else 1.001 / 30.0
        made = application.next_frame()
        if number >= 15 and made is not None:
            frames.append(made.images["picture"])
    asked = np.stack(frames)
    times_s = np.linspace(0.0, (len(asked) - 1) * 1.001 / 30.0, len(asked))
    # Severity and size were found by a search for what escapes: on a page that gives the picture all its width.
    drawn, at_work = limiter.play(asked, times_s, [seen_at(asked, 620.0)])
    assert counted_at(asked, times_s, 620.0, DIVISIONS[:1]) > 2.0 * MOST_FLASHES
    assert counted_at(drawn, times_s, 620.0) <= MOST_FLASHES
    assert at_work[-1]


def test_magnified_and_moved_about_it_goes_on_holding_back(limiter: Limiter) -> None:
    asked = scene([FLASHING], TIMES_S, True, 4)
    parts = [_WHOLE | {"left": 10.0 * step, "width": _WIDTH / 2, "height": _HEIGHT / 2} for step in range(4)]
    # A second of the whole picture, then another part of it, twice as large, with every frame.
    drawn, at_work = limiter.play(asked, TIMES_S, [_WHOLE] * 30 + [parts[step % 4] for step in range(30)])
    assert all(at_work[20:])
    # What all these parts have in common, from the first move on.
    common = drawn[30:, :32, 30:42]
    assert flashes(common, TIMES_S[30:], (2 * _CSS, 2 * _CSS)) <= MOST_FLASHES
