"""Pictures made away from the machine: an order, sent as the page sends it, gives the same picture to the last bit."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from bandbench.bench.pictures import PictureOrder, grey_or_colour, order_of, ordered_picture
from bandbench.runtime.orders import OrderReceiver, OrderSender
from sim.condition import Condition
from sim.correction import CORRECTIONS
from sim.frame import PlaybackFrame
from sim.instruments.testpoints import PLAYED_POINTS
from sim.recorder import Recorder
from sim.running import Running

COLOUR = float(CORRECTIONS.index("colour"))
# Everything that acts behind the switcher, and much before it.
WORN = Condition(
    wheel_jitter_ns=150.0,
    switch_jump_deg=90.0,
    head_timing_offset_ns=(0.0, 80.0, -60.0, 0.0),
    demodulator_gain_db=1.0,
    limiter_leak_pct=10.0,
    video_hum_pct=3.0,
    corrector_noise_ns=5.0,
)


def sent(sender: OrderSender, receiver: OrderReceiver, order: PictureOrder | None) -> tuple[PictureOrder, int]:
    """Return an order as it arrives, from copies of its bytes as between two workers, and how many those are."""
    assert order is not None
    pickled, buffers = sender.pack(order)
    copies = [bytearray(buffer) for buffer in buffers]
    return receiver.unpack(bytes(pickled), copies), len(pickled) + sum(map(len, copies))


@pytest.mark.parametrize("practice", ["525 high-band", "625 high-band"])
@pytest.mark.parametrize("point", PLAYED_POINTS)
def test_an_ordered_picture_is_the_machines_own(practice: str, point: str) -> None:
    standard = practice.split()[0] + ("/60" if practice.startswith("525") else "/50")
    controls = {"guide_position_um": 12.0, "video_level_db": 1.0, "dropout_threshold_db": -20.0, "correction": COLOUR}
    recorder = Recorder(standard, practice, condition=WORN, controls=controls, seed=3)
    runs = (
        Running(),
        # Early by a few samples, and by so much that the picture has rolled.
        Running(early_s=2e-7, speed_error=1e-7, residual_peak_s=5e-8),
        Running(early_s=3e-4, speed_error=1e-4),
        Running(has_recording=False),
    )
    sender, receiver = OrderSender(), OrderReceiver()
    for index, running in enumerate(runs):
        frame = recorder.play_frame(index, running)
        for in_colour in (False, True):
            order, _ = sent(sender, receiver, order_of(frame, point, in_colour=in_colour))
            np.testing.assert_array_equal(
                ordered_picture(order), grey_or_colour(frame, point, in_colour=in_colour), strict=True
            )


def frames_of_one_guide(count: int) -> list[PlaybackFrame]:
    """Return frames of a machine of which only the time goes on."""
    recorder = Recorder(controls={"guide_position_um": 10.0})
    return [recorder.play_frame(index) for index in range(count)]


def test_the_time_base_goes_once_for_many_frames_and_again_when_it_has_changed() -> None:
    recorder = Recorder(controls={"guide_position_um": 10.0})
    sender, receiver = OrderSender(), OrderReceiver()
    sizes = []
    for index, guide_um in enumerate((10.0, 10.0, 10.0, 11.0, 11.0)):
        recorder.set_control("guide_position_um", guide_um)
        frame = recorder.play_frame(index)
        order, size = sent(sender, receiver, order_of(frame, "processed", in_colour=False))
        np.testing.assert_array_equal(ordered_picture(order), grey_or_colour(frame, "processed", in_colour=False))
        sizes.append(size)
    assert sizes[1] == pytest.approx(sizes[2], rel=0.01)
    assert sizes[0] == pytest.approx(sizes[3], rel=0.1)
    # RF of a frame and little else, eight bytes a sample; a new time base is as long again.
    assert sizes[1] < 8 * recorder.standard.samples_per_frame + 20_000
    assert sizes[0] < 16 * recorder.standard.samples_per_frame + 20_000
    assert sizes[1] < 0.6 * sizes[0]


def test_an_order_whose_time_base_never_came_is_refused() -> None:
    first, second = (order_of(frame, "processed", in_colour=False) for frame in frames_of_one_guide(2))
    sender = OrderSender()
    assert first is not None
    assert second is not None
    sender.pack(first)
    pickled, buffers = sender.pack(second)
    with pytest.raises(pickle.UnpicklingError, match="nothing was sent before"):
        OrderReceiver().unpack(pickled, buffers)


def test_what_is_no_order_is_refused() -> None:
    with pytest.raises(pickle.UnpicklingError, match="expected a PictureOrder, not a list"):
        OrderReceiver().unpack(pickle.dumps([1]), [])


def test_what_did_not_come_off_the_tape_is_not_ordered() -> None:
    recorder = Recorder()
    played = recorder.play_frame(0)
    assert order_of(played, "input", in_colour=False) is None
    assert order_of(played, "electronics", in_colour=False) is None
    assert order_of(recorder.electronics_frame(0), "processed", in_colour=False) is None
    assert order_of(recorder.dead_frame(0), "processed", in_colour=False) is None
