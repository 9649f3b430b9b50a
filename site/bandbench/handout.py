"""Pictures for handouts: each fault as the picture monitor and the waveform monitor show it, with caption and words.

Contents: `write_handout`; ``bandbench paper handout`` calls it. Captions are the symptoms of the fault catalogue; the
words for those who cannot see a picture are the instruments' own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from bandbench.bench.faults import FAULTS, with_fault
from bandbench.bench.readings import typeset, unit_sign
from bandbench.bench.sheets import Block, Heading, Picture, Prose, Sheet, sheets_html
from bandbench.bench.words import say
from bandbench.picture_files import picture_image
from sim.condition import Condition
from sim.errors import BandbenchError
from sim.faults import FaultSpec, distinct_faults
from sim.frame import PlaybackFrame
from sim.instruments import (
    TEST_POINTS,
    WaveformRaster,
    colour_picture,
    describe_picture,
    describe_waveform,
    picture,
    waveform,
)
from sim.instruments.vectorscope import VectorRaster, describe_vectorscope, vectorscope
from sim.recorder import NORMAL_PRACTICE, Recorder
from sim.reel import make_reel
from sim.standards import get_standard
from sim.station import Station

__all__ = ["HandoutError", "pictured_faults", "write_handout"]

# Tape (without its standard's number of lines), signal (empty: the tape's own) and controls under which a proof's
# set-up is photographed.
_HELD: Mapping[str, tuple[str, str, Mapping[str, float]]] = {
    "playback": ("alignment", "", {}),
    "weak_rf": ("alignment", "", {f"channel_gain_db_{head}": -6.0 for head in range(1, 5)}),
    "bars": ("programme", "bars", {}),
    "colour": ("programme", "bars", {"correction": 2.0}),
    "compensated": ("programme", "bars", {"dropout_threshold_db": -12.0}),
    "multiburst": ("programme", "multiburst", {}),
    # The work tape is recorded by this machine, so that what is wrong with its record side shows in it.
    "electronics": ("programme", "bars", {}),
}
_RUN = ("running", "recording")
_SEED = 3
# From rest to locked, with time to spare; and how much is recorded (MODEL).
_RUN_UP_S = 9.0
_RECORDED_S = 5.0
_TRACE_SIZE = (640, 320)
_MARGINS = (64, 12, 12, 44)
_FONT_SIZE = 15


class HandoutError(BandbenchError):
    """A handout cannot be written as asked."""


@dataclass(frozen=True)
class _Shot:
    """A machine photographed: its picture, its trace and both in words."""

    picture: Image.Image
    picture_words: str
    trace: Image.Image
    trace_words: str
    trace_label: str


def pictured_faults() -> dict[str, FaultSpec]:
    """Return the faults that show on the picture monitor, each once, by the name they are planted as."""
    found = (fault for fault in distinct_faults(FAULTS).values() if "picture" in fault.symptoms)
    return {fault.name: fault for fault in found}


def write_handout(folder: Path, names: Sequence[str] | None = None, standard: str = "525/60") -> list[Path]:
    """Write the pictures and the sheet ``index.html`` that shows them.

    Parameters
    ----------
    folder : Path
        Where; made if it is not there. Files of the same names are replaced.
    names : sequence of str, optional
        Which faults; all that show on the picture monitor if None.
    standard : str
        The scanning standard of the machine that is photographed, one of `sim.standards.STANDARDS`.

    Returns
    -------
    list of Path
        What was written, the sheet first.

    Raises
    ------
    HandoutError
        If a fault does not exist or shows no picture, or the folder cannot be written.
    UnknownNameError
        If there is no such standard.
    """
    practice = NORMAL_PRACTICE[get_standard(standard).name]
    known = pictured_faults()
    chosen = list(known) if names is None else list(dict.fromkeys(names))
    for name in chosen:
        if name not in known:
            raise HandoutError(
                f"fault '{name}': it does not show on the picture monitor, or there is none of that name; "
                "`bandbench render --help` lists the faults"
            )
    written: list[Path] = []
    about = say("handout.about", standard=standard, practice=practice)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        parts: list[tuple[Block, ...]] = [(Prose(about), Prose(say("paper.caution"), quiet=True))]
        parts.append(tuple(_entry(folder, None, standard, written)))
        parts += [tuple(_entry(folder, known[name], standard, written)) for name in chosen]
        index = folder / "index.html"
        sheet = Sheet("handout", say("handout.title"), tuple(parts))
        index.write_text(sheets_html(say("handout.title"), [sheet]), "utf-8")
    except OSError as error:
        raise HandoutError(f"{folder}: cannot be written: {error.strerror or error}") from None
    return [index, *written]


def _entry(folder: Path, fault: FaultSpec | None, standard: str, written: list[Path]) -> Iterator[Block]:
    """Write the two pictures of a fault, or of a machine in order, and yield their part of the sheet."""
    shot = _shot(fault, standard)
    stem = fault.name if fault else "in-order"
    title = typeset(fault.title) if fault else say("handout.sound")
    text = typeset(fault.symptoms["picture"]) if fault else say("handout.sound_text")
    view = _view(fault)
    seen = typeset(fault.symptoms.get(view, "")) if fault else ""
    yield Heading(title)
    about = typeset(fault.description) if fault else ""
    if fault and fault.head:
        about = f"{about} {say('handout.any_head', head=fault.head)}"
    if about:
        yield Prose(about, quiet=True)
    entries = (
        ("picture", shot.picture, say("handout.picture_words", title=title, text=shot.picture_words), text),
        (
            "trace",
            shot.trace,
            say("handout.trace_words", point=shot.trace_label, title=title, text=shot.trace_words),
            say("handout.trace_caption", point=shot.trace_label, text=seen).strip(),
        ),
    )
    for kind, image, words, caption in entries:
        path = folder / f"{stem}-{kind}.png"
        image.save(path, format="PNG", optimize=True)
        written.append(path)
        yield Picture(path.name, image.width, image.height, words, caption)


def _view(fault: FaultSpec | None) -> str:
    """Return which of the catalogue's views stands beside the picture."""
    symptoms = fault.symptoms if fault else {"rf": ""}
    return next((view for view in ("vectorscope", "rf", "waveform") if view in symptoms), "rf")


def _shot(fault: FaultSpec | None, standard: str) -> _Shot:
    frame = _frame(fault, standard)
    in_colour = fault is not None and _setup(fault) == "colour"
    shown = colour_picture(frame) if in_colour else picture(frame)
    image = picture_image(shown, frame.standard.picture_aspect)
    if in_colour:
        vectors = vectorscope(frame, "processed")
        return _Shot(
            image,
            describe_picture(frame),
            _vector_image(vectors),
            describe_vectorscope(frame, "processed"),
            say("handout.vectorscope"),
        )
    point, rate = _connection(fault)
    raster = waveform(frame, point, rate, rows=_TRACE_SIZE[1], columns=_TRACE_SIZE[0])
    label = TEST_POINTS[point].label
    return _Shot(image, describe_picture(frame), _trace_image(raster), describe_waveform(raster), label)


def _setup(fault: FaultSpec) -> str:
    # What shows on the vectorscope shows in colour or not at all.
    if "vectorscope" in fault.symptoms:
        return "colour"
    return next((proof.setup for proof in fault.proof if proof.setup in (*_HELD, *_RUN)), "playback")


def _frame(fault: FaultSpec | None, standard: str) -> PlaybackFrame:
    """Play a frame under the set-up of the fault's first proof that says how the machine runs."""
    setup = _setup(fault) if fault else "playback"
    condition = with_fault(Condition(), fault.name, fault.most) if fault else Condition()
    practice, lines = NORMAL_PRACTICE[standard], standard.partition("/")[0]
    if setup in _HELD:
        tape, signal, controls = _HELD[setup]
        recorder = Recorder(
            standard,
            practice,
            f"{tape}-{lines}" if tape == "alignment" else tape,
            signal or None,
            condition,
            dict(controls),
            _SEED,
        )
        return recorder.play_frame(0)
    station = Station(Recorder(standard, practice, signal="bars", condition=condition, seed=_SEED), seed=_SEED)
    if setup == "running":
        station.make_ready("stop")
        station.do("play")
        station.advance(_RUN_UP_S)
        return station.frame()
    reel = make_reel(f"blank-{lines}")
    reel.ring_fitted = True
    station.put_on(reel, "play")
    station.advance(1.0)
    place_m = station.deck.position_m
    for act in ("record_arm", "record"):
        station.do(act)
    station.advance(_RECORDED_S)
    station.make_ready("play", place_m + 0.4)
    station.advance(3.0)
    return station.frame()


def _connection(fault: FaultSpec | None) -> tuple[str, str]:
    """Return test point and rate of the waveform monitor."""
    view = _view(fault)
    if fault is None or view == "rf":
        along = fault is not None and fault.group in ("tape", "capstan_servo", "switcher")
        return "rf_switched", "field" if along else "wheel"
    text = fault.symptoms.get(view, "")
    return "processed" if fault.group == "processing" else "demodulated", "field" if "field" in text else "line"


# Drawing ----------------------------------------------------------------------------------------------------


def _ink(brightness: NDArray[np.float32]) -> Image.Image:
    """Return a screen in black on white, as paper wants it."""
    # The root brings out faint paths, which paper would lose.
    dark = np.sqrt(np.clip(brightness[::-1], 0.0, 1.0))
    return Image.fromarray(np.rint(255.0 * (1.0 - dark)).astype(np.uint8))


def _ticks(low: float, high: float, most: int) -> list[float]:
    """Return round numbers between two ends, at most so many."""
    width = (high - low) / most
    power = 10.0 ** math.floor(math.log10(width))
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= width)
    first = math.ceil(low / step)
    return [number * step for number in range(first, math.floor(high / step + 1e-9) + 1)]


def _trace_image(raster: WaveformRaster) -> Image.Image:
    left, top, right, bottom = _MARGINS
    screen = _ink(raster.image)
    width, height = screen.size
    image = Image.new("L", (width + left + right, height + top + bottom), 255)
    draw, font = ImageDraw.Draw(image), ImageFont.load_default(_FONT_SIZE)
    image.paste(screen, (left, top))
    draw.rectangle((left - 1, top - 1, left + width, top + height), outline=80)
    (x_low, x_high), (y_low, y_high) = raster.x_range, raster.y_range
    for value in _ticks(y_low, y_high, 8):
        y = top + height * (1.0 - (value - y_low) / (y_high - y_low))
        draw.line((left - 6, y, left - 1, y), fill=0)
        draw.text((left - 9, y), f"{value:g}", fill=0, font=font, anchor="rm")
    for value in _ticks(x_low, x_high, 8):
        x = left + width * (value - x_low) / (x_high - x_low)
        draw.line((x, top + height, x, top + height + 5), fill=0)
        draw.text((x, top + height + 7), f"{value:g}", fill=0, font=font, anchor="mt")
    draw.text((left + width, top + height + bottom - 3), unit_sign(raster.x_unit), fill=0, font=font, anchor="rs")
    draw.text((4, top + height + bottom - 3), raster.y_unit, fill=0, font=font, anchor="ls")
    return image


def _vector_image(vectors: VectorRaster) -> Image.Image:
    screen = _ink(vectors.image)
    draw = ImageDraw.Draw(screen)
    size = screen.width
    draw.line((0, size // 2, size, size // 2), fill=160)
    draw.line((size // 2, 0, size // 2, size), fill=160)
    draw.rectangle((0, 0, size - 1, size - 1), outline=80)
    return screen
