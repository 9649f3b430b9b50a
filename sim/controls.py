"""Everything a technician can turn: names, ranges, steps and words, declared once.

Contents: `Stage` and `STAGES` (the signal path), `ControlSpec` and `CONTROLS`, `check_control`, `default_controls`.
The view, the lesson linter, the help and the command line all read from here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from sim.correction import CORRECTIONS
from sim.errors import BandbenchError, UnknownNameError, known_names
from sim.standards import Practice

__all__ = [
    "CONTROLS",
    "STAGES",
    "ControlError",
    "ControlSpec",
    "Stage",
    "check_control",
    "default_controls",
]


class ControlError(BandbenchError):
    """A control value that cannot be set; says which control, the value and the allowed range."""


@dataclass(frozen=True)
class Stage:
    """One stage, in words; `side` is "play" (from tape to output), "record" (from input to tape) or "sound"."""

    name: str
    title: str
    description: str
    side: str = "play"


_STAGES = (
    Stage("tape", "Tape", "What is recorded on the tape, and how the heads are placed over its tracks."),
    Stage("headwheel", "Guide and heads", "The vacuum guide that cups the tape and the wheel with the four heads."),
    Stage("channels", "Channels 1-4", "One amplifier and equaliser for each head."),
    Stage("switcher", "Switcher", "Takes the four channels in turn, changing over in line blanking."),
    Stage("demodulator", "Demodulator", "Limits the RF and turns its frequency back into video."),
    Stage("processing", "Processing", "Replaces sync and blanking by clean ones; the picture passes."),
    Stage("output", "Output", "The finished video, as the picture monitor shows it."),
    Stage("input", "Input", "The video that is to be recorded, set to its level.", "record"),
    Stage("modulator", "Modulator", "Turns the input's level into a carrier's frequency.", "record"),
    Stage("record_drive", "Record drive", "Record current of each head; control track and frame pulse.", "record"),
    Stage("sound", "Sound", "Programme sound and cue track, each along its own edge of the tape.", "sound"),
)
STAGES: Mapping[str, Stage] = MappingProxyType({stage.name: stage for stage in _STAGES})


@dataclass(frozen=True)
class ControlSpec:
    """One control: what it is called, how far it goes and by what steps it moves.

    `step` is one press of an arrow key, `fine_step` with Shift, `coarse_step` with Page Up or Page Down. A switch
    has the values 0.0 (off) and 1.0 (on); a choice has the number of one of its `choices`, from 0.
    """

    name: str
    label: str
    unit: str
    minimum: float
    maximum: float
    default: float
    step: float
    fine_step: float
    coarse_step: float
    stage: str
    kind: str
    description: str
    head: int = 0
    choices: tuple[str, ...] = ()


def _number(
    name: str,
    label: str,
    unit: str,
    limits: tuple[float, float],
    steps: tuple[float, float, float],
    stage: str,
    description: str,
    default: float = 0.0,
    head: int = 0,
) -> ControlSpec:
    fine, step, coarse = steps
    return ControlSpec(name, label, unit, *limits, default, step, fine, coarse, stage, "number", description, head)


def _number_of_each_head(
    name: str,
    label: str,
    unit: str,
    limits: tuple[float, float],
    steps: tuple[float, float, float],
    stage: str,
    description: str,
    default: float = 0.0,
) -> list[ControlSpec]:
    """Return one control for each head; ``{head}`` in the texts is its number, which also ends the name."""
    return [
        _number(
            f"{name}_{head}",
            label.format(head=head),
            unit,
            limits,
            steps,
            stage,
            description.format(head=head),
            default,
            head,
        )
        for head in range(1, 5)
    ]


def _control_list() -> list[ControlSpec]:
    controls = [
        _number(
            "tracking_phase_deg",
            "Tracking",
            "deg",
            (-180.0, 180.0),
            (0.1, 1.0, 10.0),
            "tape",
            "Moves the tape against the wheel, so that the heads run along the middle of the tracks. "
            "One turn is four tracks.",
        ),
        _number(
            "fm_deviation_khz",
            "FM level",
            "kHz",
            (400.0, 5000.0),
            (5.0, 25.0, 100.0),
            "modulator",
            "Carrier deviation from blanking to peak white when this machine records. "
            "What is on a tape already keeps its own. Its default is the recording practice's own.",
            default=2100.0,
        ),
        _number(
            "fm_carrier_khz",
            "FM carrier",
            "kHz",
            (3500.0, 9500.0),
            (2.0, 10.0, 100.0),
            "modulator",
            "Carrier that stands for blanking level when this machine records. "
            "What is on a tape already keeps its own. Its default is the recording practice's own.",
            default=7900.0,
        ),
        _number(
            "guide_position_um",
            "Guide position",
            "um",
            (-150.0, 150.0),
            (0.1, 1.0, 10.0),
            "headwheel",
            "Moves the guide in towards the wheel or out from it. Wrong: every band leans.",
        ),
        _number(
            "guide_height_um",
            "Guide height",
            "um",
            (-300.0, 300.0),
            (0.5, 2.0, 20.0),
            "headwheel",
            "Moves the guide across the tape. Wrong: every band is bowed.",
        ),
    ]
    controls += _number_of_each_head(
        "record_current_pct",
        "Head {head} record current",
        "%",
        (10.0, 250.0),
        (0.5, 2.0, 10.0),
        "record_drive",
        "Record current of head {head}, in percent of nominal. Set for the peak of the playback level of a new "
        "recording.",
        default=100.0,
    )
    controls += _number_of_each_head(
        "head_timing_ns",
        "Head {head} timing",
        "ns",
        (-500.0, 500.0),
        (1.0, 5.0, 50.0),
        "headwheel",
        "Delays or advances head {head}. Wrong: one band in four stands aside.",
    )
    controls += _number_of_each_head(
        "channel_gain_db",
        "Channel {head} gain",
        "dB",
        (-20.0, 12.0),
        (0.1, 0.5, 3.0),
        "channels",
        "Sets the RF level that channel {head} gives the switcher.",
    )
    controls += _number_of_each_head(
        "channel_eq_db",
        "Channel {head} equaliser",
        "dB",
        (-6.0, 6.0),
        (0.05, 0.25, 1.0),
        "channels",
        "Sets how strongly channel {head} reproduces fine detail, measured at subcarrier frequency.",
    )
    for head in range(1, 5):
        controls.append(
            ControlSpec(
                name=f"channel_on_{head}",
                label=f"Channel {head}",
                unit="",
                minimum=0.0,
                maximum=1.0,
                default=1.0,
                step=1.0,
                fine_step=1.0,
                coarse_step=1.0,
                stage="channels",
                kind="switch",
                description=f"Switches channel {head} on or off. Off: every fourth band is noise.",
                head=head,
            )
        )
    controls += [
        _number(
            "switch_timing_us",
            "Switch timing",
            "us",
            (-12.0, 15.0),
            (0.1, 0.5, 2.0),
            "switcher",
            "When the switcher turns over, against the middle of the front porch. Practices differ: in sync tip or in "
            "the back porch is right too; in the picture it shows as a row of ticks.",
        ),
        _number(
            "dropout_threshold_db",
            "Dropout threshold",
            "dB",
            (-40.0, 0.0),
            (0.5, 1.0, 5.0),
            "switcher",
            "When the RF falls to this, the compensator takes what came lines before. Too high: it repeats good "
            "picture; too low: dropouts show. Lowest: compensator off.",
            default=-40.0,
        ),
        ControlSpec(
            name="correction",
            label="Time-base correction",
            unit="",
            minimum=0.0,
            maximum=float(len(CORRECTIONS) - 1),
            default=0.0,
            step=1.0,
            fine_step=1.0,
            coarse_step=1.0,
            stage="processing",
            kind="choice",
            description="Puts each line back by its sync (monochrome) or also by its burst (colour). It hides small "
            "guide errors: set the guide with the correction off.",
            choices=CORRECTIONS,
        ),
    ]
    controls.append(
        _number(
            "video_level_db",
            "Video level",
            "dB",
            (-6.0, 6.0),
            (0.05, 0.1, 1.0),
            "demodulator",
            "Sets the level of the video after the demodulator.",
        )
    )
    return controls + _servo_controls() + _record_controls() + _sound_controls()


def _switch(name: str, label: str, stage: str, description: str) -> ControlSpec:
    return ControlSpec(name, label, "", 0.0, 1.0, 0.0, 1.0, 1.0, 1.0, stage, "switch", description)


def _servo_controls() -> list[ControlSpec]:
    return [
        _number(
            "capstan_servo_gain_db",
            "Capstan servo gain",
            "dB",
            (-20.0, 20.0),
            (0.1, 0.5, 3.0),
            "tape",
            "How strongly the capstan follows the control track. Too high: the tracking hunts; too low: it strays.",
        ),
        _number(
            "wheel_servo_gain_db",
            "Wheel servo gain",
            "dB",
            (-20.0, 20.0),
            (0.1, 0.5, 3.0),
            "headwheel",
            "How strongly the head wheel is held to the reference. Too high: it hunts; too low: it locks late and "
            "shivers.",
        ),
        _switch(
            "guide_auto",
            "Automatic guide position",
            "headwheel",
            "Lets a servo move the guide until the bands no longer lean. Off: you set it by hand.",
        ),
    ]


def _record_controls() -> list[ControlSpec]:
    return [
        _number(
            "input_level_db",
            "Input video level",
            "dB",
            (-6.0, 6.0),
            (0.05, 0.1, 1.0),
            "input",
            "Sets the level of the video before the modulator. Read it on the electronics-to-electronics path.",
        ),
        _number(
            "control_record_level_db",
            "Control-track record level",
            "dB",
            (-30.0, 6.0),
            (0.1, 0.5, 3.0),
            "record_drive",
            "Level of the control track in a new recording. Too low: the capstan loses it in playback.",
        ),
        _number(
            "control_record_phase_deg",
            "Control-track record phase",
            "deg",
            (-180.0, 180.0),
            (0.1, 1.0, 10.0),
            "record_drive",
            "Where the control track lies against the tracks in a new recording. Set so that your own recording needs "
            "the same tracking as the alignment tape.",
        ),
        _number(
            "frame_pulse_level_pct",
            "Frame pulse level",
            "%",
            (0.0, 150.0),
            (1.0, 5.0, 20.0),
            "record_drive",
            "Height of the frame pulse on the control track in a new recording. Too low: playback and editing cannot "
            "find the frames.",
            default=100.0,
        ),
    ]


def _sound_controls() -> list[ControlSpec]:
    level_steps = (0.1, 0.5, 3.0)
    record = "Level at which the {track} is recorded."
    play = "Level at which the {track} is played."
    tracks = {"audio": ("Programme sound", "programme sound"), "cue": ("Cue", "cue track")}
    controls = []
    for name, (label, track) in tracks.items():
        controls += [
            _number(
                f"{name}_record_level_db",
                f"{label} record level",
                "dB",
                (-20.0, 20.0),
                level_steps,
                "sound",
                record.format(track=track),
            ),
            _number(
                f"{name}_play_level_db",
                f"{label} play level",
                "dB",
                (-20.0, 20.0),
                level_steps,
                "sound",
                play.format(track=track),
            ),
        ]
    return [
        *controls,
        _number(
            "audio_bias_pct",
            "Sound bias",
            "%",
            (20.0, 200.0),
            (0.5, 2.0, 10.0),
            "sound",
            "Bias of a new sound recording, in percent of the right one. Low: distorted; high: treble is lost.",
            default=100.0,
        ),
        _number(
            "audio_azimuth_arcmin",
            "Sound head azimuth",
            "arcmin",
            (-60.0, 60.0),
            (0.1, 1.0, 5.0),
            "sound",
            "Turns the sound head upright against the tape. Wrong: treble is lost. Set for most level of a high tone.",
        ),
    ]


CONTROLS: Mapping[str, ControlSpec] = MappingProxyType({spec.name: spec for spec in _control_list()})


def default_controls(practice: Practice | None = None) -> dict[str, float]:
    """Return every control at its default; record controls at those of `practice` (525 high-band if omitted)."""
    values = {name: spec.default for name, spec in CONTROLS.items()}
    if practice is not None:
        values["fm_deviation_khz"] = practice.white_deviation_hz / 1e3
        values["fm_carrier_khz"] = practice.blanking_hz / 1e3
    return values


def check_control(name: str, value: float | str) -> float:
    """Return `value` as a float if the control exists and can be set to it.

    Raises
    ------
    UnknownNameError
        If no control has this name.
    ControlError
        If the value is not a finite number in the control's range, not 0 or 1 for a switch, or neither the name
        nor the number of a choice.

    Examples
    --------
    >>> check_control("guide_position_um", 12)
    12.0
    """
    if name not in CONTROLS:
        raise UnknownNameError("control", name, CONTROLS)
    spec = CONTROLS[name]
    if spec.kind == "choice" and isinstance(value, str) and value in spec.choices:
        return float(spec.choices.index(value))
    try:
        number = float(value)
    except (TypeError, ValueError):
        wanted = f"one of {known_names(spec.choices)}" if spec.choices else "a number"
        raise ControlError(f"control '{name}': {value!r} is not {wanted}") from None
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ControlError(f"control '{name}': {value!r} is not a finite number")
    if spec.kind == "choice" and number not in range(len(spec.choices)):
        raise ControlError(f"control '{name}': {value!r} is not one of {known_names(spec.choices)}")
    if spec.kind == "switch" and number not in (0.0, 1.0):
        raise ControlError(f"control '{name}': {value!r} is neither 0 (off) nor 1 (on)")
    if not spec.minimum <= number <= spec.maximum:
        raise ControlError(
            f"control '{name}': {number:g} {spec.unit} is outside its range "
            f"{spec.minimum:g} to {spec.maximum:g} {spec.unit}".rstrip()
        )
    return number
