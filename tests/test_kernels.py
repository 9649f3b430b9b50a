"""The browser's kernels, run by a WebAssembly engine outside the browser, against NumPy.

That the browser uses them, tests/browser/test_site_foundation.py sees.
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import wasmtime
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from bandbench.build_kernels import KernelsError, assembled_kernels
from bandbench.runtime.kernels import KernelArithmetic
from sim.arithmetic import Arithmetic, arithmetic, use_arithmetic
from sim.recorder import Recorder

FloatArray = NDArray[np.float32]

NUMPY = Arithmetic()


class EngineKernels:
    """The kernels in an engine whose memory is not NumPy's: what they read and write is copied in and out."""

    def __init__(self) -> None:
        self.engine = wasmtime.Engine()
        self.store = wasmtime.Store(self.engine)
        self.memory = wasmtime.Memory(self.store, wasmtime.MemoryType(wasmtime.Limits(1024, None)))
        module = wasmtime.Module(self.engine, assembled_kernels())
        self.exports = wasmtime.Instance(self.store, module, [self.memory]).exports(self.store)
        self.calls = 0

    def call(self, name: str, areas: list[tuple[int, int, int]], to: tuple[int, int], *numbers: float) -> None:
        """Call a kernel. `areas`: address, bytes before it and bytes from it on that are read; `to`: likewise."""
        self.calls += 1
        places, free = [], 64
        for address, before, size in areas:
            self.memory.write(self.store, ctypes.string_at(address - before, before + size), free)
            places.append(free + before)
            free += (before + size + 79) // 16 * 16
        address, size = to
        # What was there is read too: a kernel that leaves gaps leaves what is in them.
        self.memory.write(self.store, ctypes.string_at(address, size), free)
        function = self.exports[name]
        assert isinstance(function, wasmtime.Func)
        arguments = {
            "phase_steps": (*places, free, *numbers),
            "weighted_sums": (*places, *numbers[:2], free, *numbers[2:]),
            "spline_taps": (places[0], free, *numbers, *places[1:]),
            "filter_lines": (places[0], numbers[0], free, *numbers[1:4], *places[1:3], *numbers[4:], *places[3:]),
        }[name]
        function(self.store, *arguments)
        written = bytes(self.memory.read(self.store, free, free + size))
        ctypes.memmove(address, written, size)

    def phase_steps(self, samples: int, to: int, count: int, scale: float, offset: float) -> None:
        self.call("phase_steps", [(samples, 8, 8 * count)], (to, 4 * count), count, scale, offset)

    def weighted_sums(self, values: int, weights: int, row: int, taps: int, to: int, count: int) -> None:
        areas = [(values, 0, 4 * (count + taps - 1)), (weights, 0, row * (taps - 1) + 4 * count)]
        self.call("weighted_sums", areas, (to, 4 * count), row, taps, count)

    def spline_taps(
        self, shift: int, to: int, segments: int, runs: int, length: int, margin: int, taps: int, row: int, work: int
    ) -> None:
        areas = [(shift, 0, 4 * segments * runs * length), (work, 0, 128)]
        self.call("spline_taps", areas, (to, row * taps), segments, runs, length, margin, taps, row)

    def filter_lines(
        self, lines: int, row: int, to: int, to_row: int, count: int, length: int,
        response: int, units: int, units_row: int, turns: int, work: int,
    ) -> None:  # fmt: skip
        areas = [
            (lines, 0, row * (count - 1) + 4 * length),
            (response, 0, 8 * (length // 2 + 1)),
            (units, 0, units_row + 4 * count),
            (turns, 0, 8 * length),
            (work, 0, 64 * length),
        ]
        written = (to, to_row * (count - 1) + 4 * length)
        self.call("filter_lines", areas, written, row, to_row, count, length, units_row)


ENGINE = EngineKernels()
KERNELS = KernelArithmetic(ENGINE)


@pytest.fixture(scope="module", autouse=True)
def engine_closed() -> Iterator[None]:
    """Close the engine while Python is whole."""
    yield
    ENGINE.store.close()
    ENGINE.engine.close()


# Bigger than any RF, and smaller than the noise of a limiter with nothing before it.
SIZES = st.sampled_from([1e-6, 1e-3, 1.0, 100.0])


def noise(seed: int, *shape: int) -> FloatArray:
    return np.random.default_rng(seed).standard_normal(shape).astype(np.float32)


def signal(seed: int, count: int) -> NDArray[np.complex64]:
    return noise(seed, count, 2).view(np.complex64).ravel()


class TestPhaseSteps:
    @given(seed=st.integers(0, 2**32), count=st.integers(5, 400), size=SIZES)
    def test_they_are_the_angles_between_samples(self, seed: int, count: int, size: float) -> None:
        envelope = signal(seed, count) * np.float32(size)
        calls = ENGINE.calls
        steps = KERNELS.phase_steps(envelope, 1.0, 0.0)
        assert ENGINE.calls > calls
        # NumPy's arctangent in double precision; products are rounded to single precision, which turns them by no
        # more than that of their size.
        exact = np.angle(envelope.astype(complex) * np.conj(np.roll(envelope.astype(complex), 1)))
        turned = np.abs(np.angle(np.exp(1j * (steps - exact))))
        assert turned.max() < 1e-6
        assert np.abs(steps).max() <= np.float32(np.pi)

    def test_every_eighth_of_the_circle_and_its_borders(self) -> None:
        degrees = np.arange(-180.0, 180.0, 0.25)
        # Every second sample is 1: the steps to the others are their angles.
        envelope = np.ones(2 * degrees.size, np.complex64)
        envelope[1::2] = np.exp(1j * np.radians(degrees))
        steps = KERNELS.phase_steps(envelope, 180.0 / np.pi, 0.0)[1::2]
        apart = (steps - degrees + 180.0) % 360.0 - 180.0
        # 4e-8 rad of the polynomial, and the rounding of single precision at 180 degrees.
        assert np.abs(apart).max() < 3e-5

    def test_nothing_has_no_angle(self) -> None:
        nothing = np.zeros(64, np.complex64)
        np.testing.assert_array_equal(KERNELS.phase_steps(nothing, 2.0, 3.0), 3.0)

    def test_what_is_no_number_stays_none(self) -> None:
        envelope = signal(1, 40)
        envelope[17] = np.nan
        steps = KERNELS.phase_steps(envelope, 1.0, 0.0)
        np.testing.assert_array_equal(np.flatnonzero(np.isnan(steps)), [17, 18])

    @pytest.mark.parametrize("count", [1, 2, 4, 5, 6, 7, 8, 9])
    def test_of_few_samples_none_is_left_out(self, count: int) -> None:
        envelope = signal(count, count)
        expected = NUMPY.phase_steps(envelope, 3.0, 1.0)
        np.testing.assert_allclose(KERNELS.phase_steps(envelope, 3.0, 1.0), expected, atol=1e-5)

    def test_samples_that_lie_apart(self) -> None:
        apart = signal(5, 60)[::2]
        np.testing.assert_array_equal(KERNELS.phase_steps(apart, 1.0, 0.0), NUMPY.phase_steps(apart, 1.0, 0.0))


@given(seed=st.integers(0, 2**32), count=st.integers(8, 300), taps=st.integers(1, 8))
def test_weighted_sums_are_those_of_numpy_to_the_last_bit(seed: int, count: int, taps: int) -> None:
    values, weights = noise(seed, count), noise(seed + 1, taps, count)
    kept = count - taps + 1
    sums, expected = KERNELS.weighted_sums(values, weights), NUMPY.weighted_sums(values, weights)
    np.testing.assert_array_equal(sums[:kept], expected[:kept])
    # And NumPy's are those of the definition.
    windows = np.lib.stride_tricks.sliding_window_view(values.astype(float), taps)
    exact = (windows * weights[:, :kept].T.astype(float)).sum(axis=1)
    np.testing.assert_allclose(expected[:kept], exact, atol=1e-4)


@given(
    seed=st.integers(0, 2**32),
    segments=st.integers(1, 5),
    runs=st.integers(1, 6),
    run=st.integers(4, 13),
    span=st.integers(0, 10),
    margin=st.integers(0, 9),
)
def test_spline_taps_are_those_of_numpy(seed: int, segments: int, runs: int, run: int, span: int, margin: int) -> None:
    chance = np.random.default_rng(seed)
    shift = chance.uniform(0.0, span + 0.999, (segments, runs * run)).astype(np.float32)
    calls = ENGINE.calls
    quick = KERNELS.spline_taps(shift, span, runs * run + margin, run)
    assert ENGINE.calls == calls + 1
    # Weights of a spline are 0 to 66/120.
    np.testing.assert_allclose(quick, NUMPY.spline_taps(shift, span, runs * run + margin, run), atol=2e-7)


def test_spline_taps_where_each_line_begins_and_ends_are_those_of_scipy() -> None:
    shift = np.linspace(0.0, 1.99, 8, dtype=np.float32).reshape(1, 8)
    taps = KERNELS.spline_taps(shift, 1, 8, 4)[:, 0]
    spline = BSpline.basis_element(np.arange(7.0) - 3.0, extrapolate=False)
    for sample in (0, 3, 4, 7):
        # Tap k stands two samples before the place that the shift tells, and k after that.
        expected = np.nan_to_num(spline(np.arange(7) - 2.0 - float(shift[0, sample])))
        np.testing.assert_allclose(taps[:, sample], expected, atol=1e-6)


def test_taps_for_which_there_is_no_kernel_are_worked_out_all_the_same() -> None:
    for run, span in ((3, 0), (4, 11)):
        shift = np.full((2, 12), 0.5, np.float32)
        quick, exact = KERNELS.spline_taps(shift, span, 20, run), NUMPY.spline_taps(shift, span, 20, run)
        np.testing.assert_array_equal(quick, exact)


@given(
    seed=st.integers(0, 2**32),
    count=st.integers(8, 21),
    length=st.sampled_from([64, 256, 320, 1024, 1280]),
    overlap=st.integers(0, 40),
    filtered=st.booleans(),
    late=st.booleans(),
)
def test_filtered_and_shifted_lines_are_those_of_numpy(
    seed: int, count: int, length: int, overlap: int, filtered: bool, late: bool
) -> None:
    # Lines with margins share samples with their neighbours.
    step = length - overlap
    samples = noise(seed, count * step + overlap)
    lines = np.lib.stride_tricks.sliding_window_view(samples, length)[::step][:count]
    # The response of real weights: any but for its ends, which have no phase.
    response = noise(seed + 1, length // 2 + 1, 2).view(np.complex64).ravel() if filtered else None
    if response is not None:
        response[[0, -1]] = response[[0, -1]].real
    shifts = 20.0 * noise(seed + 2, count).astype(float) if late else None
    calls = ENGINE.calls
    quick = KERNELS.filter_lines(lines, response, shifts)
    assert ENGINE.calls == calls + 2
    exact = NUMPY.filter_lines(lines.astype(np.float64), response, shifts)
    largest = np.abs(exact).max()
    # Rounding of single precision: 1e-6 by the transforms, and the shift's turn adds up from bin to bin.
    assert np.abs(quick - exact).max() < (1e-4 if late else 2e-6) * largest


@pytest.mark.parametrize(("count", "length"), [(7, 64), (8, 1250), (9, 100)])
def test_lines_for_which_there_is_no_kernel_are_filtered_all_the_same(count: int, length: int) -> None:
    lines, shifts = noise(count, count, length), noise(1, count)
    quick, exact = KERNELS.filter_lines(lines, None, shifts), NUMPY.filter_lines(lines, None, shifts)
    np.testing.assert_array_equal(quick, exact)


def test_a_frame_is_the_same_but_for_rounding() -> None:
    videos = []
    calls = ENGINE.calls
    for each in (NUMPY, KERNELS):
        before = arithmetic()
        use_arithmetic(each)
        try:
            videos.append(Recorder(controls={"guide_position_um": 20.0}).play_frame(3).processed)
        finally:
            use_arithmetic(before)
    assert ENGINE.calls > calls + 3
    # One level of white's 100 is two steps and a half of the screen's 256: less than a hundredth of a step.
    assert np.abs(videos[0] - videos[1]).max() < 0.004


def test_a_text_that_is_none_is_told_with_its_place(tmp_path: Path) -> None:
    text = tmp_path / "wrong.wat"
    text.write_text("(module (func (i32.ad)))")
    with pytest.raises(KernelsError, match=r"wrong\.wat is no WebAssembly text:[\s\S]*i32\.ad[\s\S]*build again"):
        assembled_kernels(text)
