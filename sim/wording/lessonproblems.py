"""English texts of `sim` by key: what is wrong with a lesson file, and what its author does about it.

Contents: `LESSON_PROBLEM_TEXTS`, a part of `sim.wording.ENGLISH`. A reason follows the name of the entry, a remedy the
reason. What every data file can have wrong is among the `sim.wording.refusals`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["LESSON_PROBLEM_TEXTS"]

LESSON_PROBLEM_TEXTS: Mapping[str, str] = MappingProxyType(
    {
        # The form of a lesson
        "lesson_problem.two_checks": "{name} names two checks",
        "lesson_problem.two_checks_do": "Give each check its own name.",
        "lesson_problem.two_questions": "{name} names two questions",
        "lesson_problem.two_questions_do": "Give each question its own name.",
        "lesson_problem.no_check": "no check is named {name}",
        "lesson_problem.no_check_do": "Use the 'name' of one of the checks.",
        "lesson_problem.no_par": "sets no par",
        "lesson_problem.no_par_do": "Give 'moves_par', 'minutes_par' or both, or remove the table.",
        "lesson_problem.no_name": "is not a name",
        "lesson_problem.no_name_do": "Use small letters, digits and '_', as in 'guide_position_um'.",
        "lesson_problem.no_fault_name_do": "Use the name of a fault or of a group of faults.",
        "lesson_problem.maximum_below": "{maximum} is below the minimum {minimum}",
        "lesson_problem.maximum_below_do": "Exchange minimum and maximum.",
        "lesson_problem.centre_outside": "{centre} is outside {minimum} to {maximum}",
        "lesson_problem.centre_outside_do": "Choose a centre between the limits.",
        "lesson_problem.until_nothing": "waits for nothing",
        "lesson_problem.until_nothing_do": "Give 'above', 'below' or both.",
        "lesson_problem.peak_target": "a check of kind 'peak' has no target of its own",
        "lesson_problem.peak_target_do": "Remove it, or use kind = 'target'.",
        "lesson_problem.acts_on_nothing": "has nothing to act on",
        "lesson_problem.gain_alone_do": "Name the condition in 'cancels', or remove 'gain'.",
        "lesson_problem.answers_alone_do": "Write answer_from = 'fault', or remove 'answers'.",
        "lesson_problem.control_or_act": "needs either 'control' or 'act'",
        "lesson_problem.control_or_act_do": "Give one of the two.",
        "lesson_problem.with_control": "goes with a control",
        "lesson_problem.with_control_do": "Remove it, or name a control.",
        "lesson_problem.below_above": "{below} is greater than above = {above}",
        "lesson_problem.below_above_do": "Exchange the two limits.",
        # The form of a question
        "lesson_problem.question_key": "unknown key of a '{kind}' question",
        "lesson_problem.question_key_do": "Its keys are {keys}.",
        "lesson_problem.more_than_one": "has {found}",
        "lesson_problem.none_of": "has none of {keys}",
        "lesson_problem.exactly_one_do": "Give exactly one of {keys}.",
        "lesson_problem.no_option": "{answer} is not one of the options",
        "lesson_problem.no_option_do": "Write it as it stands in 'options'.",
        "lesson_problem.no_answers": "is empty",
        "lesson_problem.no_answers_do": "Give the right option for each fault or group that can be dealt.",
        "lesson_problem.no_extreme": "does not go with '{form}'",
        "lesson_problem.no_extreme_do": "Name a reading in 'answer_measurement', or remove it.",
        # Names that do not exist
        "lesson_problem.not_known_do": "Use one of {names}.",
        "lesson_problem.no_standard": "there is no standard {name}",
        "lesson_problem.no_practice": "there is no {standard} recording practice {name}",
        "lesson_problem.no_tape": "there is no {standard} tape {name}",
        "lesson_problem.no_reel": "there is no {standard} reel {name}",
        "lesson_problem.no_signal": "there is no test signal {name}",
        "lesson_problem.no_control": "there is no control {name}",
        "lesson_problem.no_instrument": "there is no instrument {name}",
        "lesson_problem.no_measurement": "there is no measurement {name}",
        "lesson_problem.no_reading": "there is no reading {name}",
        "lesson_problem.no_head_reading": "there is no reading of each head {name}",
        "lesson_problem.no_stage": "there is no stage {name}",
        "lesson_problem.no_condition": "there is no hidden condition {name}",
        "lesson_problem.no_single_condition": "there is no single hidden condition {name}",
        "lesson_problem.no_fault": "there is no fault in the catalogue {name}",
        "lesson_problem.no_fault_or_group": "there is no fault or group in the catalogue {name}",
        "lesson_problem.no_order_part": "there is no control, question or act of the steps {name}",
        # Names that are not offered
        "lesson_problem.control_not_offered": "the lesson does not offer control {name}",
        "lesson_problem.control_not_offered_do": "Add {name} to 'controls' or use another.",
        "lesson_problem.reading_not_offered": "the lesson does not offer reading {name}",
        "lesson_problem.reading_not_offered_do": "Add {name} to 'instruments' or use another.",
        # What is dealt
        "lesson_problem.deals_outside": "can deal {value}, outside the control's range",
        "lesson_problem.deals_outside_do": "Keep it from {minimum} to {maximum}.",
        "lesson_problem.switch_dealt": "a switch can only be dealt 0 or 1",
        "lesson_problem.switch_dealt_do": "Use distribution 'fixed' or 'choice'.",
        "lesson_problem.severity_outside": "can deal a severity outside 0 to 1",
        "lesson_problem.severity_outside_do": "Keep it from 0 (none) to 1 (worst).",
        "lesson_problem.few_to_draw": "there are fewer than {count} to draw",
        "lesson_problem.few_to_draw_do": "Name more in 'from'.",
        "lesson_problem.small_catalogue": "the catalogue at hand has {faults} faults to draw {count} from",
        "lesson_problem.small_catalogue_do": "Use names or groups of the catalogue ({groups}).",
        "lesson_problem.fault_not_at_hand": "there is no fault {name} in the catalogue at hand",
        "lesson_problem.fault_not_at_hand_do": "Use the name of a fault of the catalogue.",
        # Questions, and what is dealt for them
        "lesson_problem.nothing_dealt": "the start deals no fault of the catalogue",
        "lesson_problem.nothing_dealt_do": "Deal one with start.faults or start.fault_choice, or state the answer.",
        "lesson_problem.other_unit": "'{name}' is read in {unit}, not in {given}",
        "lesson_problem.question_unit_do": "Write unit = {unit} and give the tolerance in it.",
        "lesson_problem.check_unit_do": "Write unit = {unit} and give target and tolerance in it.",
        "lesson_problem.fault_of_no_head": "fault '{name}' can be dealt and is of no head",
        "lesson_problem.fault_of_no_head_do": "Deal faults of one head only, or ask for the cause.",
        "lesson_problem.one_fault_only": "the lesson can deal one fault only",
        "lesson_problem.one_fault_only_do": "Use 'look_alikes' or a list of faults.",
        "lesson_problem.fault_not_among": "fault '{name}' can be dealt and is not among them",
        "lesson_problem.fault_not_among_do": "Add it to '{where}'.",
        # Steps, deeds, order and solution
        "lesson_problem.nothing_done": "nothing is done at a machine that is held in play",
        "lesson_problem.nothing_done_do": "Give the lesson a [running] table, or remove it.",
        "lesson_problem.deed_do": "Write a deed as 'play', or with its choice as 'select_tracks:video'.",
        "lesson_problem.no_step_to_read": "there is no step {step} after which the machine could be read",
        "lesson_problem.no_step_to_read_do": "Use 1 to {steps}, with a [running] table, or remove it.",
        "lesson_problem.held_waits": "a machine that is held does not change",
        "lesson_problem.held_waits_do": "Remove 'wait_s' and 'until'.",
        "lesson_problem.no_wait": "waits for no time at all",
        "lesson_problem.no_wait_do": "Say with 'wait_s' how long at most.",
        "lesson_problem.order_twice_do": "List it in one group only.",
        "lesson_problem.worked_beyond": "is {worked}, but there are {steps} steps",
        "lesson_problem.worked_beyond_do": "Count the steps again.",
        "lesson_problem.shown_whole": "a demonstration does every step",
        "lesson_problem.shown_whole_do": "Remove 'worked', or use mode = 'guided'.",
        "lesson_problem.worked_alone": "in mode '{mode}' the trainee does every step",
        "lesson_problem.worked_alone_do": "Remove it, or use mode = 'guided'.",
        "lesson_problem.move_no_step": "there is no step {step}",
        "lesson_problem.move_no_step_do": "Use 1 to {steps}.",
        "lesson_problem.not_planted": "the start plants no '{name}'",
        "lesson_problem.not_planted_do": "Plant it under start.condition, or remove 'cancels'.",
        # A condition that no machine can have
        "condition.not_four": "condition '{name}': needs four values, one a head, got {value}",
        "condition.not_finite": "condition '{name}': {value} is not finite",
        "condition.too_low": "condition '{name}': {value} is below {lowest}",
        "condition.no_switch": "condition '{name}': {value} is neither 0 nor 1",
        "condition.outside": "condition '{name}': {value} is not a number from {lowest} to {highest}",
        "condition.servo_outside": "servo condition '{name}': {value} is not a number from {lowest} to {highest}",
        # Found by trying a lesson with a seed
        "lesson_problem.with_seed": "seed {seed}: {error}",
        "lesson_problem.impossible_condition_do": "Deal only what a machine can have.",
        "lesson_problem.move_not_set_do": "Narrow the spread of the condition it cancels, or correct 'value' "
        "and 'gain'.",
        "lesson_problem.not_delivered_do": "Deliver the machine in a state that it can be in.",
        "lesson_problem.little_to_do": "seed {seed}: all of {draws} draws leave too little to do (must fail: "
        "any check)",
        "lesson_problem.little_to_do_must_fail": "seed {seed}: all of {draws} draws leave too little to do (must fail: "
        "{must_fail})",
        "lesson_problem.little_to_do_do": "Move the start further away from the right settings, or narrow the "
        "tolerances.",
        "lesson_problem.nothing_to_read": "seed {seed}: the instrument has nothing to read when it is asked",
        "lesson_problem.nothing_to_read_do": "Ask for a reading the signals allow then, or narrow the start.",
        "lesson_problem.passes_untouched": "seed {seed}: submitted as delivered, with nothing done, it passes",
        "lesson_problem.passes_untouched_do": "Move the start away from the right settings, or ask something.",
        "lesson_problem.not_solved": "seed {seed}: the worked solution does not pass: {reason}",
        "lesson_problem.not_solved_do": "Correct the moves (control, value, cancels, gain, order), or the check it "
        "misses.",
        "lesson_problem.not_followed": "seed {seed}: working by the instruments alone, step by step, does not lead to "
        "a pass: {reason}",
        "lesson_problem.not_followed_do": "Give each check's reading to a step that names the control which moves it "
        "('control', 'watch'), in an order in which a later step does not undo an earlier one, or widen the tolerance. "
        "Ask only what the readings of the delivered state tell, with options the catalogue's proofs tell apart.",
    }
)
