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
from sim.wording import wording

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
    Stage("tape", wording("controls.tape"), wording("controls.what_recorded_tape_how")),
    Stage("headwheel", wording("controls.guide_heads"), wording("controls.vacuum_guide_cups_tape")),
    Stage("channels", wording("controls.channels_1_4"), wording("controls.one_amplifier_equaliser_each")),
    Stage("switcher", wording("controls.switcher"), wording("controls.takes_four_channels_turn")),
    Stage("demodulator", wording("controls.demodulator"), wording("controls.limits_rf_turns_frequency")),
    Stage("processing", wording("controls.processing"), wording("controls.replaces_sync_blanking_clean")),
    Stage("output", wording("controls.output"), wording("controls.finished_video_picture_monitor")),
    Stage("input", wording("controls.input"), wording("controls.video_recorded_set_level"), "record"),
    Stage("modulator", wording("controls.modulator"), wording("controls.turns_inputs_level_into"), "record"),
    Stage("record_drive", wording("controls.record_drive"), wording("controls.record_current_each_head"), "record"),
    Stage("sound", wording("controls.sound"), wording("controls.programme_sound_cue_track"), "sound"),
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
            wording("controls.tracking"),
            "deg",
            (-180.0, 180.0),
            (0.1, 1.0, 10.0),
            "tape",
            wording("controls.moves_tape_against_wheel"),
        ),
        _number(
            "fm_deviation_khz",
            wording("controls.fm_level"),
            "kHz",
            (400.0, 5000.0),
            (5.0, 25.0, 100.0),
            "modulator",
            wording("controls.carrier_deviation_from_blanking"),
            default=2100.0,
        ),
        _number(
            "fm_carrier_khz",
            wording("controls.fm_carrier"),
            "kHz",
            (3500.0, 9500.0),
            (2.0, 10.0, 100.0),
            "modulator",
            wording("controls.carrier_stands_blanking_level"),
            default=7900.0,
        ),
        _number(
            "guide_position_um",
            wording("controls.guide_position"),
            "um",
            (-150.0, 150.0),
            (0.1, 1.0, 10.0),
            "headwheel",
            wording("controls.moves_guide_towards_wheel"),
        ),
        _number(
            "guide_height_um",
            wording("controls.guide_height"),
            "um",
            (-300.0, 300.0),
            (0.5, 2.0, 20.0),
            "headwheel",
            wording("controls.moves_guide_across_tape"),
        ),
    ]
    controls += _number_of_each_head(
        "record_current_pct",
        wording("controls.head_record_current"),
        "%",
        (10.0, 250.0),
        (0.5, 2.0, 10.0),
        "record_drive",
        wording("controls.record_current_head_percent"),
        default=100.0,
    )
    controls += _number_of_each_head(
        "head_timing_ns",
        wording("controls.head_timing"),
        "ns",
        (-500.0, 500.0),
        (1.0, 5.0, 50.0),
        "headwheel",
        wording("controls.delays_advances_head_wrong"),
    )
    controls += _number_of_each_head(
        "channel_gain_db",
        wording("controls.channel_gain"),
        "dB",
        (-20.0, 12.0),
        (0.1, 0.5, 3.0),
        "channels",
        wording("controls.sets_rf_level_channel"),
    )
    controls += _number_of_each_head(
        "channel_eq_db",
        wording("controls.channel_equaliser"),
        "dB",
        (-6.0, 6.0),
        (0.05, 0.25, 1.0),
        "channels",
        wording("controls.sets_how_strongly_channel"),
    )
    for head in range(1, 5):
        controls.append(
            ControlSpec(
                name=f"channel_on_{head}",
                label=wording("controls.channel", head=head),
                unit="",
                minimum=0.0,
                maximum=1.0,
                default=1.0,
                step=1.0,
                fine_step=1.0,
                coarse_step=1.0,
                stage="channels",
                kind="switch",
                description=wording("controls.switches_channel_off_off", head=head),
                head=head,
            )
        )
    controls += [
        _number(
            "switch_timing_us",
            wording("controls.switch_timing"),
            "us",
            (-12.0, 15.0),
            (0.1, 0.5, 2.0),
            "switcher",
            wording("controls.when_switcher_turns_over"),
        ),
        _number(
            "dropout_threshold_db",
            wording("controls.dropout_threshold"),
            "dB",
            (-40.0, 0.0),
            (0.5, 1.0, 5.0),
            "switcher",
            wording("controls.when_rf_falls_compensator"),
            default=-40.0,
        ),
        ControlSpec(
            name="correction",
            label=wording("controls.time_base_correction"),
            unit="",
            minimum=0.0,
            maximum=float(len(CORRECTIONS) - 1),
            default=0.0,
            step=1.0,
            fine_step=1.0,
            coarse_step=1.0,
            stage="processing",
            kind="choice",
            description=wording("controls.puts_each_line_back"),
            choices=CORRECTIONS,
        ),
    ]
    controls.append(
        _number(
            "video_level_db",
            wording("controls.video_level"),
            "dB",
            (-6.0, 6.0),
            (0.05, 0.1, 1.0),
            "demodulator",
            wording("controls.sets_level_video_after"),
        )
    )
    return controls + _servo_controls() + _record_controls() + _sound_controls()


def _switch(name: str, label: str, stage: str, description: str) -> ControlSpec:
    return ControlSpec(name, label, "", 0.0, 1.0, 0.0, 1.0, 1.0, 1.0, stage, "switch", description)


def _servo_controls() -> list[ControlSpec]:
    return [
        _number(
            "capstan_servo_gain_db",
            wording("controls.capstan_servo_gain"),
            "dB",
            (-20.0, 20.0),
            (0.1, 0.5, 3.0),
            "tape",
            wording("controls.how_strongly_capstan_follows"),
        ),
        _number(
            "wheel_servo_gain_db",
            wording("controls.wheel_servo_gain"),
            "dB",
            (-20.0, 20.0),
            (0.1, 0.5, 3.0),
            "headwheel",
            wording("controls.how_strongly_head_wheel"),
        ),
        _switch(
            "guide_auto",
            wording("controls.automatic_guide_position"),
            "headwheel",
            wording("controls.lets_servo_move_guide"),
        ),
    ]


def _record_controls() -> list[ControlSpec]:
    return [
        _number(
            "input_level_db",
            wording("controls.input_video_level"),
            "dB",
            (-6.0, 6.0),
            (0.05, 0.1, 1.0),
            "input",
            wording("controls.sets_level_video_before"),
        ),
        _number(
            "control_record_level_db",
            wording("controls.control_track_record_level"),
            "dB",
            (-30.0, 6.0),
            (0.1, 0.5, 3.0),
            "record_drive",
            wording("controls.level_control_track_new"),
        ),
        _number(
            "control_record_phase_deg",
            wording("controls.control_track_record_phase"),
            "deg",
            (-180.0, 180.0),
            (0.1, 1.0, 10.0),
            "record_drive",
            wording("controls.where_control_track_lies"),
        ),
        _number(
            "frame_pulse_level_pct",
            wording("controls.frame_pulse_level"),
            "%",
            (0.0, 150.0),
            (1.0, 5.0, 20.0),
            "record_drive",
            wording("controls.height_frame_pulse_control"),
            default=100.0,
        ),
    ]


def _sound_controls() -> list[ControlSpec]:
    level_steps = (0.1, 0.5, 3.0)
    record = wording("controls.level_which_recorded")
    play = wording("controls.level_which_played")
    tracks = {
        "audio": (wording("controls.programme_sound"), wording("controls.programme_sound_2")),
        "cue": (wording("controls.cue"), wording("controls.cue_track")),
    }
    controls = []
    for name, (label, track) in tracks.items():
        controls += [
            _number(
                f"{name}_record_level_db",
                wording("controls.record_level", label=label),
                "dB",
                (-20.0, 20.0),
                level_steps,
                "sound",
                record.format(track=track),
            ),
            _number(
                f"{name}_play_level_db",
                wording("controls.play_level", label=label),
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
            wording("controls.sound_bias"),
            "%",
            (20.0, 200.0),
            (0.5, 2.0, 10.0),
            "sound",
            wording("controls.bias_new_sound_recording"),
            default=100.0,
        ),
        _number(
            "audio_azimuth_arcmin",
            wording("controls.sound_head_azimuth"),
            "arcmin",
            (-60.0, 60.0),
            (0.1, 1.0, 5.0),
            "sound",
            wording("controls.turns_sound_head_upright"),
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
        wanted = (
            wording("controls.one", choices=known_names(spec.choices)) if spec.choices else wording("controls.number")
        )
        raise ControlError(wording("controls.control_not", name=name, value=repr(value), wanted=wanted)) from None
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ControlError(wording("controls.control_not_finite_number", name=name, value=repr(value)))
    if spec.kind == "choice" and number not in range(len(spec.choices)):
        raise ControlError(
            wording("controls.control_not_one", name=name, value=repr(value), choices=known_names(spec.choices))
        )
    if spec.kind == "switch" and number not in (0.0, 1.0):
        raise ControlError(wording("controls.control_neither_0_off", name=name, value=repr(value)))
    if not spec.minimum <= number <= spec.maximum:
        raise ControlError(
            wording(
                "controls.control_outside_range",
                name=name,
                number=f"{number:g}",
                unit=spec.unit,
                minimum=f"{spec.minimum:g}",
                maximum=f"{spec.maximum:g}",
            ).rstrip()
        )
    return number
