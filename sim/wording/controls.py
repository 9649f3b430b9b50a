"""English texts of `sim` by key: what can be turned and done at a machine.

Contents: `CONTROL_TEXTS`, a part of `sim.wording.ENGLISH`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["CONTROL_TEXTS"]

CONTROL_TEXTS: Mapping[str, str] = MappingProxyType(
    {
        "controls.level_which_recorded": "Level at which the {track} is recorded.",
        "controls.level_which_played": "Level at which the {track} is played.",
        "controls.tape": "Tape",
        "controls.what_recorded_tape_how": "What is recorded on the tape, and how the heads are placed over its "
        "tracks.",
        "controls.guide_heads": "Guide and heads",
        "controls.vacuum_guide_cups_tape": "The vacuum guide that cups the tape and the wheel with the four heads.",
        "controls.channels_1_4": "Channels 1-4",
        "controls.one_amplifier_equaliser_each": "One amplifier and equaliser for each head.",
        "controls.switcher": "Switcher",
        "controls.takes_four_channels_turn": "Takes the four channels in turn, changing over in line blanking.",
        "controls.demodulator": "Demodulator",
        "controls.limits_rf_turns_frequency": "Limits the RF and turns its frequency back into video.",
        "controls.processing": "Processing",
        "controls.replaces_sync_blanking_clean": "Replaces sync and blanking by clean ones; the picture passes.",
        "controls.output": "Output",
        "controls.finished_video_picture_monitor": "The finished video, as the picture monitor shows it.",
        "controls.input": "Input",
        "controls.video_recorded_set_level": "The video that is to be recorded, set to its level.",
        "controls.modulator": "Modulator",
        "controls.turns_inputs_level_into": "Turns the input's level into a carrier's frequency.",
        "controls.record_drive": "Record drive",
        "controls.record_current_each_head": "Record current of each head; control track and frame pulse.",
        "controls.sound": "Sound",
        "controls.programme_sound_cue_track": "Programme sound and cue track, each along its own edge of the tape.",
        "controls.head_record_current": "Head {head} record current",
        "controls.record_current_head_percent": "Record current of head {head}, in percent of nominal. Set for the "
        "peak of the playback level of a new recording.",
        "controls.head_timing": "Head {head} timing",
        "controls.delays_advances_head_wrong": "Delays or advances head {head}. Wrong: one band in four stands aside.",
        "controls.channel_gain": "Channel {head} gain",
        "controls.sets_rf_level_channel": "Sets the RF level that channel {head} gives the switcher.",
        "controls.channel_equaliser": "Channel {head} equaliser",
        "controls.sets_how_strongly_channel": "Sets how strongly channel {head} reproduces fine detail, measured at "
        "subcarrier frequency.",
        "controls.tracking": "Tracking",
        "controls.moves_tape_against_wheel": "Moves the tape against the wheel, so that the heads run along the "
        "middle of the tracks. One turn is four tracks.",
        "controls.fm_level": "FM level",
        "controls.carrier_deviation_from_blanking": "Carrier deviation from blanking to peak white when this machine "
        "records. What is on a tape already keeps its own. Its default is the recording practice's own.",
        "controls.fm_carrier": "FM carrier",
        "controls.carrier_stands_blanking_level": "Carrier that stands for blanking level when this machine records. "
        "What is on a tape already keeps its own. Its default is the recording practice's own.",
        "controls.guide_position": "Guide position",
        "controls.moves_guide_towards_wheel": "Moves the guide in towards the wheel or out from it. Wrong: every "
        "band leans.",
        "controls.guide_height": "Guide height",
        "controls.moves_guide_across_tape": "Moves the guide across the tape. Wrong: every band is bowed.",
        "controls.switch_timing": "Switch timing",
        "controls.when_switcher_turns_over": "When the switcher turns over, against the middle of the front porch. "
        "Practices differ: in sync tip or in the back porch is right too; in the picture it shows as a row of "
        "ticks.",
        "controls.dropout_threshold": "Dropout threshold",
        "controls.when_rf_falls_compensator": "When the RF falls to this, the compensator takes what came lines "
        "before. Too high: it repeats good picture; too low: dropouts show. Lowest: compensator off.",
        "controls.video_level": "Video level",
        "controls.sets_level_video_after": "Sets the level of the video after the demodulator.",
        "controls.capstan_servo_gain": "Capstan servo gain",
        "controls.how_strongly_capstan_follows": "How strongly the capstan follows the control track. Too high: the "
        "tracking hunts; too low: it strays.",
        "controls.wheel_servo_gain": "Wheel servo gain",
        "controls.how_strongly_head_wheel": "How strongly the head wheel is held to the reference. Too high: it "
        "hunts; too low: it locks late and shivers.",
        "controls.automatic_guide_position": "Automatic guide position",
        "controls.lets_servo_move_guide": "Lets a servo move the guide until the bands no longer lean. Off: you set "
        "it by hand.",
        "controls.input_video_level": "Input video level",
        "controls.sets_level_video_before": "Sets the level of the video before the modulator. Read it on the "
        "electronics-to-electronics path.",
        "controls.control_track_record_level": "Control-track record level",
        "controls.level_control_track_new": "Level of the control track in a new recording. Too low: the capstan "
        "loses it in playback.",
        "controls.control_track_record_phase": "Control-track record phase",
        "controls.where_control_track_lies": "Where the control track lies against the tracks in a new recording. "
        "Set so that your own recording needs the same tracking as the alignment tape.",
        "controls.frame_pulse_level": "Frame pulse level",
        "controls.height_frame_pulse_control": "Height of the frame pulse on the control track in a new recording. "
        "Too low: playback and editing cannot find the frames.",
        "controls.programme_sound": "Programme sound",
        "controls.programme_sound_2": "programme sound",
        "controls.cue": "Cue",
        "controls.cue_track": "cue track",
        "controls.sound_bias": "Sound bias",
        "controls.bias_new_sound_recording": "Bias of a new sound recording, in percent of the right one. Low: "
        "distorted; high: treble is lost.",
        "controls.sound_head_azimuth": "Sound head azimuth",
        "controls.turns_sound_head_upright": "Turns the sound head upright against the tape. Wrong: treble is lost. "
        "Set for most level of a high tone.",
        "controls.control_not_finite_number": "control '{name}': {value} is not a finite number",
        "controls.control_not_one": "control '{name}': {value} is not one of {choices}",
        "controls.control_neither_0_off": "control '{name}': {value} is neither 0 (off) nor 1 (on)",
        "controls.time_base_correction": "Time-base correction",
        "controls.puts_each_line_back": "Puts each line back by its sync (monochrome) or also by its burst (colour). "
        "It hides small guide errors: set the guide with the correction off.",
        "controls.record_level": "{label} record level",
        "controls.play_level": "{label} play level",
        "controls.one": "one of {choices}",
        "controls.number": "a number",
        "controls.control_not": "control '{name}': {value} is not {wanted}",
        "controls.channel": "Channel {head}",
        "controls.switches_channel_off_off": "Switches channel {head} on or off. Off: every fourth band is noise.",
        "controls.control_outside_range": "control '{name}': {number} {unit} is outside its range {minimum} to "
        "{maximum} {unit}",
        "deeds.machines_own_endless_tape": "the machine's own endless tape",
        "deeds.tracks_record": "Tracks to record",
        "deeds.how_recording_joins": "How a recording joins",
        "deeds.length_insert": "Length of an insert",
        "deeds.edit_colour_sequence": "Edit in the colour sequence",
        "deeds.edit_frame_pulse": "Edit on a frame pulse",
        "deeds.erase_head_ahead_heads": "Erase head ahead of the heads",
        "deeds.reel_taken_hand": "Reel taken to hand",
        "deeds.sent_programme_sound": "Sent to programme sound",
        "deeds.sent_cue": "Sent to cue",
        "deeds.no_deed": "there is no deed '{name}' at a machine; use one of {names}",
        "deeds.nothing_to_choose": "'{name}' leaves nothing to choose, but {choice} is given: leave it out",
        "deeds.choose_one": "'{name}': nothing is chosen; choose one",
        "deeds.choose_some": "'{name}': nothing is chosen; choose at least one",
        "deeds.no_choice": "'{name}': {choice} cannot be chosen; use {choices}",
        "deeds.no_seconds": "'{name}': {choice} is no number of seconds",
        "deeds.no_reel_of_standard": "unknown reel of this standard {choice}; use one of {names}",
        "acts.machines_manual_site_rules": " The machine's manual, the site rules, local codes and a qualified "
        "person come first.",
        "acts.head_wheel_turns_14": "The head wheel turns at 14 400 to 15 000 turns a minute and takes a while to "
        "come to rest. Keep the covers shut while it turns; keep hair, ties, sleeves and fingers away. It must "
        "never turn without air.",
        "acts.reels_turn_pinch_full": "Reels that turn pinch, and a full one is slow to stop: keep fingers, sleeves "
        "and loose things away from reels, arms and pinch roller.",
        "acts.full_reel_heavy_hold": "A full reel is heavy: hold it with both hands at hub and flange, bend the "
        "knees, and see that it sits and is locked on its hub.",
        "acts.mains_voltage_stored_charge": "Mains voltage and stored charge kill. Switch off, lock the switch off "
        "and keep the key, wait until the supplies are discharged, and prove it with a meter before you touch "
        "anything.",
        "acts.cleaning_solvent_burns_vapour": "Cleaning solvent burns and its vapour is harmful: open a window, no "
        "flame, no sparks, gloves. Only with the mains locked off and the wheel at rest. The tips are brittle: no "
        "force, and wipe them only as the manual says.",
        "acts.degaussers_field_erases_tapes": "A degausser's field erases tapes and disturbs pacemakers: no tape "
        "near, nobody with a pacemaker in the room. Switch it on and off at arm's length and move it slowly.",
        "acts.tips_brittle_sharp_wheel": "The tips are brittle and sharp, and the wheel must be at rest: look, and "
        "touch with nothing hard.",
        "acts.stop": "Stop",
        "acts.running_up": "Running up",
        "acts.standby": "Standby",
        "acts.play": "Play",
        "acts.record": "Record",
        "acts.winding_forward": "Winding forward",
        "acts.winding_back": "Winding back",
        "acts.stopping": "Stopping",
        "acts.new_recording": "New recording",
        "acts.assemble": "Assemble",
        "acts.insert": "Insert",
        "acts.tape": "Tape",
        "acts.timer": "Timer",
        "acts.reel_threading": "Reel and threading",
        "acts.covers_power": "Covers and power",
        "acts.care": "Care",
        "acts.cards": "Cards",
        "acts.stop_tape_let_head": "Stop the tape and let the head wheel run down.",
        "acts.bring_wheel_servos_up": "Bring wheel and servos up to speed and hold the tape still.",
        "acts.run_tape_past_heads": "Run the tape past the heads at its speed.",
        "acts.wind_forward": "Wind forward",
        "acts.wind_take_up_reel": "Wind on to the take-up reel; stops before the end.",
        "acts.wind_back": "Wind back",
        "acts.wind_supply_reel_stops": "Wind on to the supply reel; stops before the beginning.",
        "acts.arm_record": "Arm record",
        "acts.first_two_steps_what": "First of two steps: what lies on the tape is erased by the second.",
        "acts.recording_erases_read_label": "Recording erases. Read the label of the reel; an alignment tape is "
        "never recorded on.",
        "acts.second_two_steps_erase": "Second of two steps: erase and record from here.",
        "acts.disarm_record": "Disarm record",
        "acts.end_recording_take_back": "End a recording, or take back the first step.",
        "acts.reset_timer": "Reset timer",
        "acts.set_tape_timer_0": "Set the tape timer to 0 by hand.",
        "acts.fit_reel": "Fit reel",
        "acts.put_full_reel_supply": "Put the full reel on the supply hub and lock it.",
        "acts.take_off_reel": "Take off reel",
        "acts.take_full_reel_off": "Take the full reel off the supply hub.",
        "acts.thread": "Thread",
        "acts.lead_tape_through_arms": "Lead the tape through arms, guide and capstan to the other reel and wind "
        "some turns on by hand.",
        "acts.check_threading": "Check threading",
        "acts.turn_reels_hand_no": "Turn the reels by hand: no slack, no twist, the tape in every guide and clear of "
        "the wheel.",
        "acts.unthread": "Unthread",
        "acts.take_tape_out_path": "Take the tape out of the path and back on its reel.",
        "acts.fit_ring": "Fit ring",
        "acts.fit_ring_allows_recording": "Fit the ring that allows recording on this reel.",
        "acts.remove_ring": "Remove ring",
        "acts.take_ring_out_reel": "Take the ring out: the reel cannot be recorded on.",
        "acts.open_covers": "Open covers",
        "acts.open_covers_over_wheel": "Open the covers over wheel and reels.",
        "acts.close_covers": "Close covers",
        "acts.close_covers_2": "Close the covers.",
        "acts.isolate": "Isolate",
        "acts.switch_mains_off_lock": "Switch the mains off, lock it off and keep the key.",
        "acts.restore_power": "Restore power",
        "acts.unlock_mains_switch": "Unlock the mains and switch it on.",
        "acts.clean_heads_path": "Clean heads and path",
        "acts.clean_head_tips_guide": "Clean head tips, guide, fixed heads, capstan and rollers.",
        "acts.degauss_heads": "Degauss heads",
        "acts.take_magnetism_out_heads": "Take magnetism out of heads and guides.",
        "acts.inspect_heads": "Inspect heads",
        "acts.look_head_tips_through": "Look at the head tips through a glass.",
        "acts.card_extender": "Card on extender",
        "acts.put_card_stage_extender": "Put the card of a stage on the extender, so that its inner points can be "
        "probed.",
        "acts.card_back_place": "Card back in place",
        "acts.take_card_off_extender": "Take the card off the extender and put it back in its place.",
        "acts.cards_put_taken_out": "Cards are put in and taken out with the power down: a live card can destroy "
        "itself and others. ",
        "interlocks.mains_locked_off_restore": "The mains is locked off: restore power first.",
        "interlocks.covers_open_close_them": "The covers are open: close them first; wheel and reels run only behind "
        "closed covers.",
        "interlocks.covers_closed_open_them": "The covers are closed: open them first, with the wheel at rest.",
        "interlocks.there_no_reel_machine": "There is no reel on the machine: fit one first.",
        "interlocks.reel_machine_unthread_tape": "The reel is on the machine: unthread the tape and take the reel "
        "off first.",
        "interlocks.tape_not_threaded_open": "The tape is not threaded: open the covers, thread it and check the "
        "threading.",
        "interlocks.tape_threaded_unthread_first": "The tape is threaded: unthread it first.",
        "interlocks.threading_not_been_checked": "The threading has not been checked: open the covers and see that "
        "the tape lies in every guide without slack.",
        "interlocks.transport_not_stopped_press": "The transport is not stopped: press stop and wait until it is.",
        "interlocks.recording_running_end_stop": "A recording is running: end it with stop or disarm first.",
        "interlocks.power_isolate_machine_lock": "The power is on: isolate the machine, lock it off and wait for the "
        "supplies to discharge first.",
        "interlocks.supplies_still_hold_charge": "The supplies still hold charge: wait until they are discharged, "
        "then prove it with a meter.",
        "interlocks.head_wheel_still_turning": "The head wheel is still turning: wait until it has come to rest.",
        "interlocks.ring_not_fitted_so": "The ring is not fitted, so this reel cannot be recorded on: read its "
        "label; if it may be recorded on, take it off and fit the ring.",
        "interlocks.tape_end_wind_back": "The tape is at its end: wind back, or play.",
        "interlocks.tape_beginning_wind_forward": "The tape is at its beginning: wind forward, or play.",
        "interlocks.tape_not_held_play": "The tape is not held or in play: wait for standby, then arm.",
        "interlocks.record_not_armed_arm": "Record is not armed: arm it first, as a step of its own.",
        "interlocks.transport_neither_standby_nor": "The transport is neither in standby nor in play: bring it to "
        "standby, then record.",
        "interlocks.head_wheel_not_locked": "The head wheel is not locked: wait for the lock, or see why it does not "
        "come.",
        "interlocks.there_nothing_record_insert": "There is nothing to record: insert leaves the control track as it "
        "is; choose another track as well.",
        "interlocks.record_not_armed_there": "Record is not armed: there is nothing to take back.",
        "interlocks.reel_machine_take_off": "A reel is on the machine: take it off before you fit another.",
        "interlocks.all_tape_take_up": "All the tape is on the take-up reel: thread its end to the supply reel and "
        "wind back first.",
        "interlocks.tape_threaded_already_check": "The tape is threaded already: check the threading.",
        "interlocks.tape_not_threaded_thread": "The tape is not threaded: thread it first.",
        "interlocks.tape_not_threaded_there": "The tape is not threaded: there is nothing to take out.",
        "interlocks.there_tape_both_reels": "There is tape on both reels: close the covers and wind back to the "
        "beginning first.",
        "interlocks.ring_fitted_already": "The ring is fitted already.",
        "interlocks.there_no_ring_reel": "There is no ring in this reel.",
        "interlocks.covers_open_already": "The covers are open already.",
        "interlocks.tape_moving_press_stop": "The tape is moving: press stop and wait until reels and wheel are at "
        "rest.",
        "interlocks.head_wheel_driven_press": "The head wheel is driven: press stop and wait until it has come to "
        "rest.",
        "interlocks.covers_closed_already": "The covers are closed already.",
        "interlocks.mains_locked_off_already": "The mains is locked off already.",
        "interlocks.head_wheel_still_turning_2": "The head wheel is still turning and needs its air: wait until it "
        "has come to rest, then isolate. In an emergency a real machine is switched off at once.",
        "interlocks.power_already": "The power is on already.",
        "interlocks.tape_path_solvent_harms": "The tape is in the path and solvent harms it: unthread it first.",
        "interlocks.tape_machine_degausser_would": "A tape is on the machine and the degausser would erase it: take "
        "the reel off and far away first.",
        "interlocks.tape_front_heads_unthread": "The tape is in front of the heads: unthread it first.",
        "interlocks.card_extender_already_put": "A card is on the extender already: put it back in its place first.",
        "interlocks.there_no_card_extender": "There is no card on the extender.",
        "deck.air_head_wheel_does": "The air for the head wheel does not hold: the wheel was switched off. Look at "
        "the gauge, pump and lines.",
        "deck.head_wheel_did_not": "The head wheel did not lock in time: it was switched off. Look at the air, the "
        "drive and the reference.",
        "deck.vacuum_does_not_hold": "The vacuum does not hold the tape in the guide: the tape was stopped. Look at "
        "the gauge, pump and guide.",
        "deck.head_wheel_lost_lock": "The head wheel lost its lock: the recording was ended. See why before you "
        "record again.",
        "deck.tension_arm_stands_slack": "The {side} tension arm stands at its slack stop: the tape was stopped. See "
        "whether the tape is still threaded.",
        "deck.tension_arm_stands_tight": "The {side} tension arm stands at its tight stop: the tape was stopped. "
        "Check the tension of that side.",
        "deck.end_tape_near_winding": "The end of the tape is near: winding stopped by itself, with the leader left "
        "on the supply reel.",
        "deck.beginning_tape_near_winding": "The beginning of the tape is near: winding stopped by itself, with the "
        "leader on the take-up reel.",
        "deck.tape_ran_off_reel": "The tape ran off its reel: open the covers and thread it again.",
        "deck.no_track_chosen_choose": "No track is chosen: choose at least one to record.",
        "deck.reel_machine_unthread_tape": "A reel is on the machine: unthread the tape and take the reel off first.",
        "deck.place_m_tape_choose": "place {place_m} m on the tape: choose from {lowest} to {highest} m",
        "deck.recording_running_end_stop": "A recording is running: end it with stop or disarm first.",
        "deck.supply": "supply",
        "deck.takeup": "take-up",
        "station.endless_work_tape_shows": "This is the endless work tape: it shows at once what this machine would "
        "record now. Put another reel on to record.",
        "station.reel_reel_machine_set": "reel '{name}' is a {name_2} reel; the machine is set to {name_3}. Choose a "
        "{name_3} reel or change the standard",
        "station.elapsed_time_s_use": "elapsed time {elapsed_s} s: use a finite number, 0 or more",
    }
)
