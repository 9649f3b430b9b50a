"""``bandbench render``: any state of the recorder as a picture and as arrays, without a browser.

What goes into the NPZ file, its names, shapes and units, is the stable outside view of the model; `frame_arrays`
makes it, and ``meta`` in the file says it again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from bandbench.bench.faults import FAULTS, with_fault
from bandbench.picture_files import picture_image, read_picture
from sim.condition import Condition
from sim.controls import CONTROLS, check_control
from sim.correction import CORRECTIONS
from sim.errors import BandbenchError, known_names
from sim.frame import PlaybackFrame
from sim.instruments import colour_picture, picture
from sim.recorder import NORMAL_PRACTICE, Recorder
from sim.signals import SIGNALS, PictureError, signal_from_picture
from sim.standards import PRACTICES, STANDARDS, get_standard
from sim.tape import TAPES

__all__ = ["FORMAT_VERSION", "RenderError", "add_arguments", "frame_arrays", "run"]

FORMAT_VERSION = 1
"""Raised when the meaning of an array in the NPZ file changes; new arrays do not raise it."""

LARGEST_SEED = 2**32 - 1
LATEST_S = 1_000_000.0

# A moment this close before a frame's start, in frames, is taken as its start: decimals as people type them.
_FRAME_TOLERANCE = 1e-4


NumberT = TypeVar("NumberT", int, float)


class RenderError(BandbenchError):
    """Something on the command line of ``bandbench render`` that cannot be done."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what ``bandbench render`` understands."""
    parser.description = (
        "Play one frame with the given settings and write it: .npz for every signal as arrays, .png for what the "
        "picture monitor shows."
    )
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = _names_and_ranges().replace("%", "%%")
    parser.add_argument(
        "--standard", default="525/60", metavar="|".join(STANDARDS), help="scanning standard (default: %(default)s)"
    )
    parser.add_argument("--practice", metavar="NAME", help="recording practice (default: high-band)")
    parser.add_argument(
        "--tape", default="programme", metavar="NAME", help="tape on the machine (default: %(default)s)"
    )
    parser.add_argument(
        "--signal", metavar="NAME|PICTURE", help="test signal or picture file on the tape (default: the tape's own)"
    )
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        dest="settings",
        metavar="CONTROL=VALUE",
        help="set a control; may be repeated, the last word on a control counts",
    )
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        dest="faults",
        metavar="NAME[=SEVERITY]",
        help="plant a fault of severity 0 to 1 (default: 1); may be repeated, faults add up",
    )
    parser.add_argument("--seed", default="0", metavar="N", help="seed of all noise (default: %(default)s)")
    parser.add_argument(
        "--at", default="0", metavar="SECONDS", help="which moment: the frame then playing (default: %(default)s)"
    )
    parser.add_argument(
        "--out",
        action="append",
        required=True,
        metavar="FILE.npz|.png",
        help="where to write; may be repeated",
    )


def run(arguments: argparse.Namespace) -> int:
    """Carry out ``bandbench render``.

    Raises
    ------
    BandbenchError
        If anything asked for does not exist, is out of range, or cannot be read or written.
    """
    outputs = [_output(text) for text in arguments.out]
    seed = _number("--seed", arguments.seed, int, LARGEST_SEED, "a whole number")
    at_s = _number("--at", arguments.at, float, LATEST_S, "a time in seconds")
    faults = [_fault(text) for text in arguments.faults]
    controls = dict(_setting(text) for text in arguments.settings)

    standard = get_standard(arguments.standard)
    condition = Condition()
    for name, severity in faults:
        condition = with_fault(condition, name, severity)
    own_signal = arguments.signal is None or arguments.signal in SIGNALS
    recorder = Recorder(
        standard=standard.name,
        practice=NORMAL_PRACTICE[standard.name] if arguments.practice is None else arguments.practice,
        tape=arguments.tape,
        signal=arguments.signal if own_signal else None,
        condition=condition,
        controls=controls,
        seed=seed,
    )
    signal: str | dict[str, str] = arguments.signal or recorder.tape.signal
    if not own_signal:
        path = _picture_path(arguments.signal)
        # A monochrome monitor would show the colours as a pattern of dots and nothing else.
        colours = read_picture(path, colour=_in_colour(recorder.controls))
        recorder.load_programme(signal_from_picture(colours, standard))
        # Its content, not its place on this machine, is what the frame was made from.
        signal = {"picture": path.name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
    frame = recorder.play_frame(math.floor(at_s * standard.frame_rate_hz + _FRAME_TOLERANCE))

    inputs = {
        "standard": standard.name,
        "practice": recorder.practice.name,
        "tape": recorder.tape.name,
        "signal": signal,
        "controls": recorder.controls,
        "faults": [{"name": name, "severity": severity} for name, severity in faults],
        "seed": seed,
        "at_s": at_s,
    }
    for path, write in outputs:
        try:
            write(path, frame, inputs)
        except OSError as error:
            raise RenderError(f"--out {path}: cannot be written: {error.strerror or error}") from None
        print(f"wrote {path}")
    return 0


def frame_arrays(frame: PlaybackFrame, inputs: dict[str, Any]) -> dict[str, NDArray[Any]]:
    """Return what the NPZ file holds.

    Parameters
    ----------
    frame : PlaybackFrame
        The frame to write.
    inputs : dict
        Everything the frame was made from, for ``meta``; values that JSON can hold.

    Returns
    -------
    dict of ndarray
        When the time-base correction is set to colour also ``colour`` (rows, columns, 3): the colour monitor, 0 to 1.
        ``demod``, ``processed`` (lines, samples): video in time order, first field then second, each row one nominal
        line period from the reference's 0H [level unit of the standard]; ``picture`` (rows, columns): 0 to 1;
        ``rf_envelope`` (lines, samples): 1 = nominal; ``time_base_error_s`` (lines, samples) [s]; ``head_of_line``
        (lines,): 1 to 4, 0 where none; ``sample_rate_hz``: one number [Hz]; ``meta``: one text, JSON.
    """
    standard = frame.standard
    units = {
        "demod": standard.level_unit,
        "processed": standard.level_unit,
        "picture": "1 (0 = black, 1 = white)",
        "rf_envelope": "1 (1 = a good head on its track)",
        "time_base_error_s": "s",
        "head_of_line": "head 1 to 4, 0 = none",
        "sample_rate_hz": "Hz",
    }
    meta = {
        "format": "bandbench frame",
        "format_version": FORMAT_VERSION,
        "inputs": inputs,
        "control_units": {name: spec.unit for name, spec in CONTROLS.items()},
        "control_choices": {name: list(spec.choices) for name, spec in CONTROLS.items() if spec.choices},
        "frame_index": frame.index,
        "frame_rate_hz": standard.frame_rate_hz,
        "lines_per_frame": standard.lines_per_frame,
        "units": units,
    }
    shown = {"picture": picture(frame)}
    if _in_colour(inputs["controls"]):
        shown["colour"] = colour_picture(frame)
        units["colour"] = "1 (red, green, blue; 0 = black, 1 = full)"
    return {
        "demod": frame.demod,
        "processed": frame.processed,
        **shown,
        "rf_envelope": frame.rf_envelope,
        "time_base_error_s": frame.time_base_error_s,
        "head_of_line": frame.head_of_line,
        "sample_rate_hz": np.array(standard.sample_rate_hz),
        "meta": np.array(json.dumps(meta, indent=1)),
    }


Writer = Callable[[Path, PlaybackFrame, dict[str, Any]], None]


def _in_colour(controls: Mapping[str, float]) -> bool:
    """Tell whether the machine puts out colour: only a colour corrector keeps bursts to lock to."""
    return CORRECTIONS[int(controls["correction"])] == "colour"


def _write_npz(path: Path, frame: PlaybackFrame, inputs: dict[str, Any]) -> None:
    with path.open("wb") as file:
        np.savez_compressed(file, allow_pickle=False, **frame_arrays(frame, inputs))


def _write_png(path: Path, frame: PlaybackFrame, inputs: dict[str, Any]) -> None:
    shown = colour_picture(frame) if _in_colour(inputs["controls"]) else picture(frame)
    picture_image(shown, frame.standard.picture_aspect).save(path, format="PNG", optimize=True)


_WRITERS: dict[str, Writer] = {".npz": _write_npz, ".png": _write_png}


def _output(text: str) -> tuple[Path, Writer]:
    path = Path(text)
    writer = _WRITERS.get(path.suffix.lower())
    if writer is None:
        raise RenderError(f"--out {text}: end the name in {' or '.join(_WRITERS)}, so that it says what to write")
    if not path.parent.is_dir():
        raise RenderError(f"--out {text}: there is no folder {str(path.parent)!r}; make it first")
    return path, writer


def _number(option: str, text: str, kind: type[NumberT], largest: NumberT, what: str) -> NumberT:
    try:
        number = kind(text)
        # NaN compares false, so it is refused here too.
        if 0 <= number <= largest:
            return number
    except ValueError:
        pass
    raise RenderError(f"{option} {text}: give {what} from 0 to {largest}")


def _setting(text: str) -> tuple[str, float]:
    name, equals, value = text.partition("=")
    if not equals:
        raise RenderError(f"--set {text}: write CONTROL=VALUE, for example guide_position_um=12")
    return name.strip(), check_control(name.strip(), value.strip())


def _fault(text: str) -> tuple[str, float]:
    name, equals, value = text.partition("=")
    try:
        return name.strip(), float(value) if equals else 1.0
    except ValueError:
        raise RenderError(f"--fault {text}: the severity {value!r} is not a number from 0 to 1") from None


def _picture_path(text: str) -> Path:
    path = Path(text)
    if not path.exists():
        raise PictureError(
            f"--signal {text}: neither a test signal ({known_names(SIGNALS)}) nor a picture file that exists"
        )
    return path


def _names_and_ranges() -> str:
    """Return every name that the options take, as the text at the end of the help."""
    controls = {
        spec.name: " | ".join(spec.choices) or f"{spec.minimum:g} to {spec.maximum:g} {spec.unit}".rstrip()
        for spec in CONTROLS.values()
    }
    lists = {
        "controls": controls,
        "test signals": {spec.name: spec.title for spec in SIGNALS.values()},
        "faults": {spec.name: spec.title for spec in FAULTS.values()},
        "practices": {spec.name: f"for {spec.standard}" for spec in PRACTICES.values()},
        "tapes": {spec.name: spec.title for spec in TAPES.values()},
    }
    lines = []
    for heading, entries in lists.items():
        lines += [f"{heading}:", *(f"  {name:20} {what}" for name, what in entries.items()), ""]
    return "\n".join(lines)
