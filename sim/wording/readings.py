"""English texts of `sim` by key: what instruments read and how it is said.

Contents: `READING_TEXTS`, a part of `sim.wording.ENGLISH`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["READING_TEXTS"]

READING_TEXTS: Mapping[str, str] = MappingProxyType(
    {
        "readings.saturation_hue": "saturation and hue",
        "readings.response_channels_subcarrier": "response of the channels at subcarrier",
        "readings.velocity_error": "velocity error",
        "readings.signal_bars": "the signal bars",
        "readings.signal_burst": "a signal with burst",
        "readings.no_bursts_colour_cannot": "no bursts: colour cannot be read",
        "readings.head_draws_no_picture": "head {head} draws no picture: its channel is off or its RF too low",
        "readings.burst_phase_there_no": "burst phase: there is no burst at the output; set the time-base correction "
        "to colour",
        "readings.burst_jitter_bursts_phases": "burst jitter: the bursts' phases are spread over more than a cycle; "
        "correct the time base first",
        "readings.colour_framing_no_line": "colour framing: no line has both sync and burst",
        "readings.colour_framing_burst_sync": "colour framing: burst and sync do not hold one phase; the sync is too "
        "unsteady",
        "readings.colour_framing_subcarrier_stands": "colour framing: subcarrier stands {frame} degrees from sync, "
        "between two colour frames",
        "readings.saturation": "Saturation",
        "readings.amplitude_colour_bars_against": "Amplitude of the colour of the bars against nominal, mean of the "
        "heads, off tape.",
        "readings.spread_saturation": "Spread of saturation",
        "readings.saturation_most_saturated_heads": "Saturation of the most saturated head's bands against the least "
        "saturated.",
        "readings.spread_hue": "Spread of hue",
        "readings.how_far_apart_hues": "How far apart the hues of the heads' bands are.",
        "readings.velocity_error_2": "Velocity error",
        "readings.rms_time_error_end": "Rms time error at the end of the lines that is left when each line is right "
        "at its burst.",
        "readings.bars_red_stair_subcarrier": "bars, red, or a stair with subcarrier",
        "readings.jitter_bursts": "Jitter of the bursts",
        "readings.rms_time_error_from": "Rms time error from line to line by the bursts, behind the time-base "
        "correction.",
        "readings.phase_burst_output": "Phase of the burst at the output",
        "readings.how_far_burst_processing": "How far the burst that processing puts in is ahead of the station's "
        "subcarrier; all hues turn back by it.",
        "readings.time_base_correction_set": "time-base correction set to colour",
        "readings.phase_subcarrier_sync": "Phase of subcarrier to sync",
        "readings.phase_off_tape_subcarrier": "Phase of the off-tape subcarrier at the off-tape sync, against the "
        "station's colour frame 0.",
        "readings.colour_framing": "Colour framing",
        "readings.how_many_frames_off": "By how many frames the off-tape picture is out of the station's colour "
        "sequence; 0 is right.",
        "readings.saturation_head": "Saturation of head {head}",
        "readings.amplitude_colour_bars_bands": "Amplitude of the colour of the bars in the bands of head {head} "
        "against nominal, off tape.",
        "readings.channel": "{bars}, channel {head} on",
        "readings.hue_head": "Hue of head {head}",
        "readings.how_far_colours_bars": "How far the colours of the bars in the bands of head {head} are turned "
        "against their bursts; in PAL neighbouring lines show it in opposite senses.",
        "readings.response_channel_subcarrier": "Response of channel {head} at subcarrier",
        "readings.level_near_subcarrier_bands": "Level near subcarrier in the bands of head {head} against the mean "
        "of the heads, off tape.",
        "readings.bars_red_stair_subcarrier_2": "bars, red, a stair with subcarrier or multiburst; channel {head} on",
        "readings.carrier_white": "carrier at white",
        "readings.one_signals": "one of the signals {names}",
        "readings.off_tape": "off tape",
        "readings.demodulated_video": "of the demodulated video",
        "readings.electronics_electronics": "electronics to electronics",
        "readings.through_modulator_demodulator_without": "through modulator and demodulator without tape",
        "readings.output": "at the output",
        "readings.processed_video": "of the processed video",
        "readings.too_few_lines_sync": "too few lines with sync: there is no blanking to read",
        "readings.burst_level_there_no": "burst level: there is no burst; it is taken out with blanking unless "
        "colour is kept",
        "readings.carriers_modulator_gives_no": "carriers: the modulator gives no RF; the machine has no power",
        "readings.white_level_input": "White level at the input",
        "readings.peak_white_above_blanking": "Peak white above blanking behind the input level control.",
        "readings.carrier_sync_tip": "Carrier at sync tip",
        "readings.frequency_modulators_carrier_sync": "Frequency of the modulator's carrier on sync tips.",
        "readings.carrier_blanking": "Carrier at blanking",
        "readings.frequency_modulators_carrier_blank": "Frequency of the modulator's carrier on blank lines.",
        "readings.carrier_white_2": "Carrier at white",
        "readings.frequency_modulators_carrier_peak": "Frequency of the modulator's carrier on peak white.",
        "readings.deviation_blanking_white": "Deviation, blanking to white",
        "readings.how_far_modulators_carrier": "How far the modulator's carrier moves from blanking to peak white.",
        "readings.white_level": "White level, {where}",
        "readings.peak_white_above_blanking_2": "Peak white above blanking, {long}.",
        "readings.black_level_setup": "Black level (setup), {where}",
        "readings.black_above_blanking": "Black above blanking, {long}.",
        "readings.sync_level": "Sync level, {where}",
        "readings.sync_tip_against_blanking": "Sync tip against blanking, {long}: below it.",
        "readings.burst": "Burst, {where}",
        "readings.burst_from_peak_peak": "Burst from peak to peak, {long}.",
        "readings.burst_time_base_correction": "burst, and time-base correction set to colour",
        "readings.blanking_level": "Blanking level, {where}",
        "readings.blanking_not_clamped_0": "Blanking {long}, not clamped: 0 where its carrier stands where the "
        "demodulator expects it.",
        "readings.spread_rf_levels_fewer": "spread of the RF levels: fewer than two channels are on; switch the "
        "channels on",
        "readings.fall_rf_ends_picture": "fall of the RF at the ends: the picture rolls; wait until the head wheel "
        "is locked",
        "readings.head_gives_no_rf": "head {head} gives no RF: its channel is off",
        "readings.fall_rf_ends_all": "fall of the RF at the ends: all four channels are off",
        "readings.dropouts_no_head_gives": "dropouts: no head gives enough RF to tell dropouts from noise",
        "readings.rf_level": "RF level",
        "readings.mean_rf_level_four": "Mean RF level of the four heads at the switcher's output, against a good "
        "head on its track.",
        "readings.spread_rf_levels": "Spread of the RF levels",
        "readings.rf_level_strongest_head": "RF level of the strongest head against that of the weakest; channels "
        "that are off do not count.",
        "readings.fall_rf_ends_worst": "Fall of the RF at the ends, worst head",
        "readings.how_much_rf_lower": "By how much the RF at the lower end of a pass lies below its middle, for the "
        "head where it is most: even bursts read 0.",
        "readings.dropouts_frame": "Dropouts in the frame",
        "readings.how_often_rf_falls": "How often the RF falls 10 dB or more below its head's own level for 1 us or "
        "longer.",
        "readings.longest_dropout": "Longest dropout",
        "readings.how_long_longest_dropout": "How long the longest dropout of the frame lasts; 0 without any.",
        "readings.time_lost_dropouts": "Time lost to dropouts",
        "readings.share_frame_lies_dropouts": "Share of the frame that lies in dropouts.",
        "readings.two_more_channels": "two or more channels on",
        "readings.rf_level_head": "RF level of head {head}",
        "readings.rf_level_bands_head": "RF level of the bands of head {head} at the switcher's output, against a "
        "good head on its track.",
        "readings.fall_rf_ends_head": "Fall of the RF at the ends, head {head}",
        "readings.how_much_rf_head": "By how much the RF of head {head} at the lower end of its passes lies below "
        "their middle.",
        "readings.channel_2": "channel {head} on",
        "readings.head_gives_no_usable": "head {head} gives no usable sync: its channel is off or its RF too low",
        "readings.vertical_position_no_vertical": "vertical position: no vertical sync is found in the demodulated "
        "video",
        "readings.control_track_none_found": "control track: none is found on the tape here",
        "readings.lean_bands": "Lean of the bands",
        "readings.how_much_further_left": "How much further left the bottom of a band stands than its top, from the "
        "off-tape sync.",
        "readings.bow_bands": "Bow of the bands",
        "readings.how_much_further_left_2": "How much further left the ends of a band stand than its middle, from "
        "the off-tape sync.",
        "readings.spread_heads_positions": "Spread of the heads' positions",
        "readings.how_far_apart_bands": "How far apart the bands of the head furthest left and of the head furthest "
        "right stand.",
        "readings.jitter_lines": "Jitter of the lines",
        "readings.rms_time_error_off": "Rms time error of the off-tape sync that is left when lean, bow and "
        "positions of the heads are taken out.",
        "readings.range_corrector_use": "Range of the corrector in use",
        "readings.largest_time_error_off": "Largest time error of the off-tape sync, one line in a hundred left out, "
        "against what this machine's time-base corrector can take out; above 100 it cannot.",
        "readings.centring_corrector": "Centring of the corrector",
        "readings.how_early_off_tape": "How early the off-tape sync is against the reference in the middle of its "
        "errors.",
        "readings.vertical_position": "Vertical position",
        "readings.how_many_lines_picture": "How many lines the picture stands too high, from the off-tape vertical "
        "sync.",
        "readings.phase_control_track": "Phase of the control track",
        "readings.how_far_off_tape": "How far the off-tape control track is ahead of the head wheel; a whole cycle "
        "is four tracks.",
        "readings.control_track": "a control track",
        "readings.level_control_track": "Level of the control track",
        "readings.level_control_head_gives": "Level the control head gives, against that of a sound head on a good "
        "control track.",
        "readings.too_few_lines_usable": "too few lines with usable sync: fewer than two heads give enough RF",
        "readings.position_head_s_bands": "Position of head {head}'s bands",
        "readings.how_much_further_left_3": "How much further left the bands of head {head} stand than the mean of "
        "all heads.",
        "readings.hum_output": "hum at the output",
        "readings.frequency_response": "frequency response",
        "readings.hum_too_few_lines": "hum: too few lines with sync",
        "readings.switching_disturbance_picture_rolls": "switching disturbance: the picture rolls; wait until the "
        "head wheel is locked",
        "readings.switching_disturbance_too_few": "switching disturbance: too few lines with sync around the changes "
        "of head",
        "readings.moire_none_stands_out": "moire: none stands out of the noise",
        "readings.picture_signal_noise": "Picture signal to noise",
        "readings.blanking_white_over_rms": "Blanking to white over rms noise, on the blank lines before the picture "
        "of the first field.",
        "readings.response_4_mhz": "Response at 4 MHz",
        "readings.level_multiburst_packet_nearest": "Level of the multiburst packet nearest to 4 MHz against that of "
        "the first packet, off tape.",
        "readings.signal_multiburst": "the signal multiburst",
        "readings.hum_off_tape": "Hum, off tape",
        "readings.peak_peak_swing_blanking": "Peak-to-peak swing of blanking with the fields, off tape.",
        "readings.hum_output_2": "Hum, at the output",
        "readings.peak_peak_swing_pictures": "Peak-to-peak swing of the picture's level with the fields, of the "
        "processed video.",
        "readings.signal_whose_lines_alike": "a signal whose lines are alike: any but grid and sweep",
        "readings.switching_disturbance": "Switching disturbance",
        "readings.height_disturbance_where_switcher": "Height of the disturbance where the switcher changes heads, "
        "in the middle of the frame's changes; what noise alone reaches is in it.",
        "readings.moire": "Moire",
        "readings.peak_peak_level_strongest": "Peak-to-peak level of the strongest beat on an even field against "
        "blanking to white.",
        "readings.signal_red_flat_no": "the signal red; flat has no colour to beat with",
        "readings.frequency_moire": "Frequency of the moire",
        "readings.frequency_strongest_beat_even": "Frequency of the strongest beat on an even field.",
        "readings.signal_noise_head": "Signal to noise of head {head}",
        "readings.blanking_white_over_rms_2": "Blanking to white over rms noise on the sync tips of head {head}, off "
        "tape.",
        "readings.no_test_signal": "no test signal",
        "readings.seen_read": "{reading}: {what} is seen; it is read on {titles}",
        "readings.too_few_lines_sync_2": "too few lines with sync: there is no picture to read levels from",
        "readings.no_tape_being_played": "no tape is being played, so nothing comes off it to be read",
        "readings.rf_heads": "RF of the heads",
        "readings.geometry_bands": "Geometry of the bands",
        "readings.tracking_control_track": "Tracking and control track",
        "readings.video_levels": "Video levels",
        "readings.response_noise_disturbances_picture": "Response, noise and disturbances of the picture",
        "readings.colour": "Colour",
        "readings.time_base": "Time base",
        "readings.input_modulator_electronics_electronics": "Input, modulator and electronics to electronics",
        "readings.white": "white level",
        "readings.black": "black level",
        "readings.no_saturation_spread": "spread of saturation: fewer than two heads draw a picture",
        "readings.no_hue_spread": "spread of hue: fewer than two heads draw a picture",
        "machine_readings.tape_plays_control_track": "a tape that plays, with a control track",
        "machine_readings.joints_among_last_s": "joints among the last {joints_s} s of tape played",
        "machine_readings.head_wheel_capstan": "Head wheel and capstan",
        "machine_readings.transport_services": "Transport and services",
        "machine_readings.joints_recordings": "Joints of recordings",
        "machine_readings.sound": "Sound",
        "machine_readings.tracking_error": "tracking error",
        "machine_readings.framing_error": "framing error",
        "machine_readings.jump_picture_up_down": "jump of the picture up or down",
        "machine_readings.jump_picture_sideways": "jump of the picture sideways",
        "machine_readings.tape_without_picture_joint": "tape without picture at a joint",
        "machine_readings.step_control_track": "step of the control track",
        "machine_readings.lock_up_time_head": "lock-up time: the head wheel has not locked since it was started",
        "machine_readings.head_wheel_phase_wheel": "head wheel phase: the wheel is not locked",
        "machine_readings.unsteadiness_head_wheel_wheel": "unsteadiness of the head wheel: the wheel is not in full "
        "lock",
        "machine_readings.unsteadiness_head_wheel_machine": "unsteadiness of the head wheel: the machine has only "
        "just begun to run",
        "machine_readings.tape_does_not_run": "{what}: the tape does not run; play it",
        "machine_readings.capstan_servo_finds_no": "{what}: the capstan servo finds no control track",
        "machine_readings.framing_error_no_frame": "framing error: no frame pulses are found on the control track",
        "machine_readings.level_control_track_none": "level of the control track: none is found; play a tape that "
        "has one",
        "machine_readings.tape_speed_error_capstan": "tape speed error: the capstan does not drive the tape; play it",
        "machine_readings.slip_capstan_capstan_does": "slip at the capstan: the capstan does not drive the tape; "
        "play it",
        "machine_readings.swing_rf_no_tape": "swing of the RF: no tape is being played",
        "machine_readings.swing_rf_machine_only": "swing of the RF: the machine has only just begun to play",
        "machine_readings.joints_no_reel_being": "joints: no reel is being played; play over the joint",
        "machine_readings.no_joint_been_played": "{what}: no joint has been played over in the last {joints_s} s of "
        "tape",
        "machine_readings.lock_up_time_head_2": "Lock-up time of the head wheel",
        "machine_readings.how_long_last_lock": "How long the last lock-up took, from rest or coasting to full lock.",
        "machine_readings.speed_head_wheel": "Speed of the head wheel",
        "machine_readings.tachometer": "By its tachometer.",
        "machine_readings.phase_error_head_wheel": "Phase error of the head wheel",
        "machine_readings.how_early_head_wheel": "How early the head wheel is against the reference.",
        "machine_readings.unsteadiness_head_wheel": "Unsteadiness of the head wheel",
        "machine_readings.rms_head_wheels_error": "Rms of the head wheel's error at line rate over the last second.",
        "machine_readings.drive_head_wheel": "Drive of the head wheel",
        "machine_readings.torque_motor_against_full": "Torque of the motor against its full torque; what it takes in "
        "lock is drag.",
        "machine_readings.tracking_error_2": "Tracking error",
        "machine_readings.how_far_control_track": "How far the control track is ahead of the tracking phase that is "
        "set.",
        "machine_readings.framing_error_2": "Framing error",
        "machine_readings.control_track_cycles_which": "Control-track cycles by which the frame pulse is early; 0 is "
        "framed.",
        "machine_readings.level_control_track": "Level of the control track",
        "machine_readings.level_control_head_gives": "Level the control head gives, against that of a sound head on "
        "a good control track.",
        "machine_readings.tape_speed_error": "Tape speed error",
        "machine_readings.how_much_too_fast": "How much too fast the tape runs.",
        "machine_readings.slip_capstan": "Slip at the capstan",
        "machine_readings.how_much_faster_capstans": "How much faster the capstan's rim runs than the tape.",
        "machine_readings.swing_rf": "Swing of the RF",
        "machine_readings.highest_against_lowest_rf": "Highest against lowest RF level over the last four seconds, "
        "from the swing of the tracking.",
        "machine_readings.tape_timer": "Tape timer",
        "machine_readings.seconds_play_timers_roller": "Seconds of play, as the timer's roller counts.",
        "machine_readings.air": "Air",
        "machine_readings.pressure_head_wheels_air": "Pressure of the head wheel's air.",
        "machine_readings.vacuum": "Vacuum",
        "machine_readings.vacuum_guide_below_rooms": "Vacuum of the guide, below the room's pressure.",
        "machine_readings.supply_tension": "Supply tension",
        "machine_readings.tension_between_supply_reel": "Tension between supply reel and capstan.",
        "machine_readings.threaded_tape": "a threaded tape",
        "machine_readings.take_up_tension": "Take-up tension",
        "machine_readings.tension_between_capstan_take": "Tension between capstan and take-up reel.",
        "machine_readings.head_time_used": "Head time used",
        "machine_readings.time_heads_have_run": "Time the heads have run on tape.",
        "machine_readings.joints_played_over": "Joints played over",
        "machine_readings.places_among_last_s": "Places among the last {joints_s} s of tape where one recording "
        "follows another.",
        "machine_readings.reel_plays": "a reel that plays",
        "machine_readings.jump_up_down_joint": "Jump up or down at a joint",
        "machine_readings.how_far_picture_stands": "How far the picture stands up or down behind the worst of them, "
        "until it is framed anew.",
        "machine_readings.jump_sideways_joint": "Jump sideways at a joint",
        "machine_readings.how_far_picture_held": "How far a picture held by its burst jumps sideways at the worst of "
        "them.",
        "machine_readings.tape_without_picture_joint_2": "Tape without picture at a joint",
        "machine_readings.length_tape_without_picture": "Length of tape without picture between the two recordings, "
        "at the worst of them.",
        "machine_readings.step_control_track_joint": "Step of the control track at a joint",
        "machine_readings.how_far_control_track_2": "How far the control track behind the worst of them is ahead; "
        "180 where there is none.",
        "machine_readings.sound_from_tape": "sound from the tape",
        "machine_readings.head_wheel_locked": "a head wheel that has locked",
        "machine_readings.locked_head_wheel": "a locked head wheel",
        "machine_readings.head_wheel_full_lock": "a head wheel in full lock for a second",
        "machine_readings.frame_pulses": "{plays} and frame pulses",
        "machine_readings.tape_plays": "a tape that plays",
        "machine_readings.no_supply_tension": "supply tension: no tape is threaded",
        "machine_readings.no_takeup_tension": "take-up tension: no tape is threaded",
    }
)
