"""Scanning standards: timing and levels of a television signal, and how it is sampled here.

Contents: `Standard`, `STANDARDS`, `get_standard`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from sim.errors import UnknownNameError
from sim.standards.provenance import marks

__all__ = ["STANDARDS", "Standard", "get_standard"]

BT470 = "PUB ITU-R BT.470"


@dataclass(frozen=True)
class Standard:
    """One television scanning standard: timing, levels and how it is sampled here.

    Arrays of one frame have the shape ``(lines_per_frame, samples_per_line)`` in time order, each row starting at 0H.

    Attributes
    ----------
    name : str
        Key of `STANDARDS`.
    lines_per_frame : int
        Lines in a frame of two interlaced fields.
    line_rate_hz : float
        Line rate [Hz].
    samples_per_line : int
        Samples in a line of every video array.
    subcarrier_hz : float
        Colour subcarrier [Hz].
    level_unit : str
        What video levels are counted in.
    sync_level : float
        Level of sync tip [level unit].
    blanking_level : float
        Level of blanking [level unit].
    white_level : float
        Level of peak white [level unit].
    setup_level : float
        Level of black, above blanking in 525/60 [level unit].
    line_blanking_s : float
        Line blanking, from the end of one line's picture to the beginning of the next [s].
    front_porch_s : float
        From the end of the picture to 0H, the leading edge of line sync [s].
    line_sync_s : float
        Width of line sync at half amplitude [s].
    burst_start_s : float
        Burst begins this long after 0H [s].
    burst_cycles : int
        Cycles of subcarrier in a burst.
    burst_amplitude : float
        Half of the burst's peak-to-peak value [level unit].
    equalising_pulse_s : float
        Width of an equalising pulse [s].
    broad_gap_s : float
        Gap between two broad pulses of vertical sync [s].
    equalising_half_lines : int
        Half lines in each group of equalising pulses.
    broad_half_lines : int
        Half lines in each group of broad pulses.
    edge_rise_s : float
        Rise of sync, from 10 to 90 % [s].
    video_bandwidth_hz : float
        Video bandwidth [Hz].
    wheel_turns_per_frame : int
        Turns of the head wheel in a frame.
    first_active_line : two ints
        First whole line of the picture in each field.
    field_start_half_line : two ints
        Where each field's first equalising pulse falls, in half lines from 0H of line 1.
    active_half_lines : two pairs of ints
        Where each field's picture begins and ends, in half lines from 0H of line 1.
    burst_rise_s : float
        Rise of the burst's envelope, from 10 to 90 % [s].
    pulse_2t_s : float
        Width of the 2T pulse at half amplitude [s].
    picture_aspect : float
        Width of the picture over its height.
    blanking_rise_s : float
        Rise of picture blanking, from 10 to 90 % [s].
    colour_system : str
        NTSC or PAL.
    colour_frames : int
        Frames after which the colour signal repeats.
    burst_swing_deg : float
        Turn of the burst from 180 degrees (minus B-Y) against the sense of V on its line: 0 in NTSC, 45 in PAL, whose
        V is turned over every line [deg].
    burst_free_lines : ranges of line numbers
        Lines without burst, first and last, for each frame of the colour sequence; a shorter list repeats.
    chroma_bandwidth_hz : float
        Bandwidth of the colour differences [Hz].
    multiburst_hz : tuple of floats
        Frequencies of the packets of multiburst [Hz].
    provenance : mapping
        Where each number comes from, by attribute.
    """

    name: str
    lines_per_frame: int
    line_rate_hz: float
    samples_per_line: int
    subcarrier_hz: float
    level_unit: str
    sync_level: float
    blanking_level: float
    white_level: float
    setup_level: float
    line_blanking_s: float
    front_porch_s: float
    line_sync_s: float
    burst_start_s: float
    burst_cycles: int
    burst_amplitude: float
    equalising_pulse_s: float
    broad_gap_s: float
    equalising_half_lines: int
    broad_half_lines: int
    edge_rise_s: float
    video_bandwidth_hz: float
    wheel_turns_per_frame: int
    first_active_line: tuple[int, int]
    field_start_half_line: tuple[int, int]
    active_half_lines: tuple[tuple[int, int], tuple[int, int]]
    burst_rise_s: float
    pulse_2t_s: float
    picture_aspect: float
    blanking_rise_s: float
    colour_system: str
    colour_frames: int
    burst_swing_deg: float
    burst_free_lines: tuple[tuple[tuple[int, int], ...], ...]
    chroma_bandwidth_hz: float
    multiburst_hz: tuple[float, ...]
    provenance: Mapping[str, str] = field(default_factory=dict, repr=False, compare=False)

    @property
    def line_period_s(self) -> float:
        """Line period H [s]."""
        return 1.0 / self.line_rate_hz

    @property
    def frame_rate_hz(self) -> float:
        """Frame rate [Hz]; the field rate is twice this."""
        return self.line_rate_hz / self.lines_per_frame

    @property
    def field_rate_hz(self) -> float:
        """Field rate [Hz]."""
        return 2.0 * self.frame_rate_hz

    @property
    def sample_rate_hz(self) -> float:
        """Sample rate of every video array [Hz]: samples per line times line rate (4 fsc in 525/60)."""
        return self.samples_per_line * self.line_rate_hz

    @property
    def samples_per_frame(self) -> int:
        """Samples in one frame."""
        return self.lines_per_frame * self.samples_per_line

    @property
    def wheel_rate_hz(self) -> float:
        """Head-wheel speed [rev/s]."""
        return self.wheel_turns_per_frame * self.frame_rate_hz

    @property
    def subcarrier_cycles_per_line(self) -> float:
        """Cycles of subcarrier in one line."""
        return self.subcarrier_hz / self.line_rate_hz

    @property
    def switches_v(self) -> bool:
        """True where the V axis is turned over from line to line (PAL)."""
        return self.colour_system == "PAL"

    @property
    def passes_per_frame(self) -> int:
        """Head passes (tracks) in one frame: four heads a turn."""
        return 4 * self.wheel_turns_per_frame

    @property
    def lines_per_pass(self) -> float:
        """Television lines that pass while the wheel makes a quarter turn."""
        return self.lines_per_frame / self.passes_per_frame


STANDARDS: Mapping[str, Standard] = MappingProxyType(
    {
        "525/60": Standard(
            name="525/60",
            lines_per_frame=525,
            # 4.5 MHz / 286, the relation that gives the 15 734.264 Hz of BT.470.
            line_rate_hz=4.5e6 / 286.0,
            samples_per_line=910,
            subcarrier_hz=455.0 / 2.0 * 4.5e6 / 286.0,
            level_unit="IRE",
            sync_level=-40.0,
            blanking_level=0.0,
            white_level=100.0,
            setup_level=7.5,
            line_blanking_s=10.9e-6,
            front_porch_s=1.5e-6,
            line_sync_s=4.7e-6,
            burst_start_s=5.3e-6,
            burst_cycles=9,
            burst_amplitude=20.0,
            equalising_pulse_s=2.3e-6,
            broad_gap_s=4.7e-6,
            equalising_half_lines=6,
            broad_half_lines=6,
            edge_rise_s=140e-9,
            video_bandwidth_hz=4.2e6,
            wheel_turns_per_frame=8,
            first_active_line=(21, 284),
            # Counted in half lines from 0H of line 1: where each field's first equalising pulse falls, and
            # where its picture begins and ends (line 21 to mid 263, mid 283 to the end of 525).
            field_start_half_line=(0, 525),
            active_half_lines=((40, 525), (565, 1050)),
            burst_rise_s=300e-9,
            pulse_2t_s=250e-9,
            picture_aspect=4.0 / 3.0,
            blanking_rise_s=140e-9,
            colour_system="NTSC",
            colour_frames=2,
            burst_swing_deg=0.0,
            burst_free_lines=(((1, 9), (264, 272)),),
            chroma_bandwidth_hz=1.3e6,
            multiburst_hz=(0.5e6, 1.25e6, 2.0e6, 3.0e6, 3.58e6, 4.1e6),
            provenance=marks(
                lines_per_frame=f"{BT470}",
                line_rate_hz=f"{BT470}, 15 734.264 Hz",
                subcarrier_hz=f"{BT470}, 455/2 line rate",
                sync_level=f"{BT470}, ratios",
                setup_level=f"{BT470}, ratios",
                line_blanking_s=f"{BT470}, 10.9 +-0.2 us",
                front_porch_s=f"{BT470}, 1.27-2.22 us; 1.5 us chosen inside the range",
                line_sync_s=f"{BT470}, 4.7 +-0.1 us",
                burst_start_s=f"{BT470}, 5.3 (4.71-5.71) us",
                burst_cycles=f"{BT470}, 9 +-1",
                burst_amplitude="MEMORY, 40 IRE peak to peak",
                equalising_pulse_s=f"{BT470}, 2.3 us",
                broad_gap_s=f"{BT470}, 4.7 us",
                equalising_half_lines=f"{BT470}, 3H each",
                broad_half_lines=f"{BT470}, 3H",
                edge_rise_s="MEMORY, 10-90 % rise of sync, 140 ns",
                blanking_rise_s="MEMORY, 10-90 % rise of blanking, 140 ns",
                video_bandwidth_hz=f"{BT470}, 4.2 MHz",
                wheel_turns_per_frame="QUOTED, 240 rev/s nominal (239.76 at 59.94 Hz fields)",
                first_active_line="MEMORY, first full active line of each field",
                field_start_half_line=f"{BT470}, a field is 262.5 lines and starts with equalising pulses",
                active_half_lines="MEMORY, lines 21-263 and 283-525 with a half line in each field",
                burst_rise_s="MEMORY, 10-90 % rise of the burst envelope, 300 ns",
                pulse_2t_s="MEMORY, half-amplitude duration of the 2T pulse, 250 ns",
                picture_aspect="TRADE, 4:3",
                samples_per_line="MODEL, four samples a subcarrier cycle",
                level_unit="TRADE, IRE",
                blanking_level="TRADE, zero of the IRE scale",
                white_level="TRADE, 100 of the IRE scale",
                colour_system=f"{BT470}, NTSC",
                colour_frames="DERIVED, 525 x 227.5 cycles a frame leave half a cycle over",
                burst_swing_deg="MEMORY, burst at 180 degrees on every line",
                burst_free_lines=f"{BT470}, no burst in the 9H of vertical sync of each field",
                chroma_bandwidth_hz="MODEL, 3 dB at 1.3 MHz for both axes alike; the 1.3 MHz is from memory",
                multiburst_hz="MEMORY",
            ),
        ),
        "625/50": Standard(
            name="625/50",
            lines_per_frame=625,
            line_rate_hz=15625.0,
            # Near four samples a subcarrier cycle (4 fsc would be 1135.0064), and 625 x 1134 = 2 x 3^4 x 5^4 x 7
            # keeps the FFTs fast.
            samples_per_line=1134,
            subcarrier_hz=4.43361875e6,
            level_unit="mV",
            sync_level=-300.0,
            blanking_level=0.0,
            white_level=700.0,
            setup_level=0.0,
            line_blanking_s=12.0e-6,
            front_porch_s=1.5e-6,
            line_sync_s=4.7e-6,
            burst_start_s=5.6e-6,
            burst_cycles=10,
            burst_amplitude=150.0,
            equalising_pulse_s=2.35e-6,
            broad_gap_s=4.7e-6,
            equalising_half_lines=5,
            broad_half_lines=5,
            edge_rise_s=200e-9,
            video_bandwidth_hz=5.0e6,
            wheel_turns_per_frame=10,
            first_active_line=(24, 336),
            # Line 1 begins with the first broad pulse of field 1; its equalising pulses come 2.5 lines earlier.
            field_start_half_line=(-5, 620),
            active_half_lines=((45, 620), (670, 1245)),
            burst_rise_s=300e-9,
            pulse_2t_s=200e-9,
            picture_aspect=4.0 / 3.0,
            blanking_rise_s=300e-9,
            colour_system="PAL",
            colour_frames=4,
            burst_swing_deg=45.0,
            burst_free_lines=(
                ((1, 6), (310, 318), (622, 625)),
                ((1, 5), (311, 319), (623, 625)),
            ),
            chroma_bandwidth_hz=1.3e6,
            multiburst_hz=(0.5e6, 1.0e6, 2.0e6, 4.0e6, 4.8e6, 5.8e6),
            provenance=marks(
                lines_per_frame=f"{BT470}",
                line_rate_hz=f"{BT470}, 15 625 Hz",
                subcarrier_hz="MEMORY, (1135/4 + 1/625) line rate: a quarter-line offset and 25 Hz",
                samples_per_line="MODEL, 17.71875 MHz, near four samples a subcarrier cycle",
                level_unit="MEMORY, mV of a 1 V signal",
                sync_level=f"{BT470}, ratio 3 to 7; -300 mV from memory",
                blanking_level="MEMORY, zero of the mV scale",
                white_level=f"{BT470}, ratio 7 to 3; 700 mV from memory",
                setup_level=f"{BT470}, none",
                line_blanking_s=f"{BT470}, 12.0 +-0.3 us",
                front_porch_s=f"{BT470}, 1.5 +-0.3 us",
                line_sync_s=f"{BT470}, 4.7 +-0.2 us",
                burst_start_s=f"{BT470}, 5.6 +-0.1 us",
                burst_cycles=f"{BT470}, 10 +-1",
                burst_amplitude="MEMORY, 300 mV peak to peak",
                equalising_pulse_s=f"{BT470}, 2.35 us",
                broad_gap_s=f"{BT470}, 4.7 us",
                equalising_half_lines=f"{BT470}, 2.5H each",
                broad_half_lines=f"{BT470}, 2.5H",
                edge_rise_s="MEMORY, 10-90 % rise of sync, 0.2 +-0.1 us",
                blanking_rise_s="MEMORY, 10-90 % rise of blanking, 0.3 +-0.1 us",
                video_bandwidth_hz=f"{BT470}, 5.0 MHz (System B,G)",
                wheel_turns_per_frame="QUOTED, 250 rev/s",
                first_active_line="MEMORY, first full active line of each field",
                field_start_half_line="MEMORY, line 1 begins with the first broad pulse",
                active_half_lines="MEMORY, lines 23-310 and 336-623 with a half line in each field",
                burst_rise_s="MEMORY, 10-90 % rise of the burst envelope, 300 ns",
                pulse_2t_s="MEMORY, half-amplitude duration of the 2T pulse, 200 ns",
                picture_aspect="TRADE, 4:3",
                colour_system=f"{BT470}, PAL",
                colour_frames="DERIVED, 625 x 283.7516 cycles a frame leave three quarters of a cycle over; V turns "
                "over from frame to frame",
                burst_swing_deg="MEMORY, burst at 135 degrees where V is as in NTSC, at 225 where it is turned over",
                burst_free_lines="MEMORY, nine lines in each field, moved over four fields so that every field's "
                "first and last burst stand at 135 degrees",
                chroma_bandwidth_hz="MODEL, 3 dB at 1.3 MHz for both axes alike; the 1.3 MHz is from memory",
                multiburst_hz="MEMORY; the last packet lies beyond the 5.0 MHz of System B,G",
            ),
        ),
    }
)


def get_standard(name: str) -> Standard:
    """Return the scanning standard called `name`.

    Raises
    ------
    UnknownNameError
        If there is none; the message lists those there are.

    Examples
    --------
    >>> round(get_standard("525/60").lines_per_pass, 5)
    16.40625
    """
    try:
        return STANDARDS[name]
    except KeyError:
        raise UnknownNameError("standard", name, STANDARDS) from None
