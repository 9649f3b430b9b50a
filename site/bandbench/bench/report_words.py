"""Every text of the class report, in the page and on paper, by key.

Contents: `REPORT_WORDS`, `report_say`. ``{name}`` is filled in.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["REPORT_WORDS", "report_say"]

REPORT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        # The part of the page
        "title": "Class report",
        "open_button": "Class report",
        "open_about": "For instructors: what a class can do, from its exported files.",
        "close": "Close",
        "press_name": "Press a name to see what stands behind the row.",
        "person_close": "Back to the table",
        "about": "Choose the files that learners exported, or drop them here. Every attempt is scored again from its "
        "log. The files are read in this page and go nowhere; nothing of them is kept.",
        "files": "Exported records or attempt logs (.json)",
        "take_away": "Take the files away",
        "stop": "Stop scoring",
        "go_on": "Go on scoring",
        "progress": "Attempts scored",
        "nothing": "No file has been taken yet.",
        "scoring": "Scoring: {done} of {total} logs. {left}The bench stays usable meanwhile.",
        "left_minutes": "About {minutes} min left. ",
        "left_soon": "Less than a minute left. ",
        "stopped": "Stopped after {done} of {total} logs. What is below counts only those.",
        "done": "All {total} logs are scored.",
        "too_large": "{name} is larger than any file of records. Choose a file that was exported from here.",
        "not_text": "{name} is not a text file, so it is not a file of records.",
        "unreadable": "{name} could not be read. Choose it again.",
        "refused": "Not taken",
        "save_skills": "Skills (CSV)",
        "save_items": "Checks and questions (CSV)",
        "save_flags": "To be looked at (CSV)",
        "save_page": "Page to print (HTML)",
        "saved": "Handed to the browser as {file}.",
        "scroll": "Table, can be scrolled sideways",
        # The report itself
        "heading": "Class report of {date}",
        "counts": "Files: {files}. Learners: {people}. Attempts: {attempts}; counted: {counted}, held: {held}, not "
        "scored yet: {waiting}. Still going on, not counted: {unfinished}.",
        "trust": "Every result was computed from the attempt's own log. A log carries no signature: a log that could "
        "have been made at the bench counts, whoever made it.",
        "skills": "People and skills",
        "skills_none": "There is no attempt at any lesson of this site.",
        "person": "Learner",
        "sum": "Mastered",
        "sum_of": "{count} of {total}",
        "mastered": "mastered {date}",
        "due": "review due {date}",
        "passed": "{row} of {needed} passes",
        "not_yet": "not yet",
        "held": "held",
        "open": "–",
        "held_also": "{text}; {count} held",
        "no_date": "no date",
        "evidence": "What stands behind it",
        "evidence_about": "For each learner: the skills tried, with passes, dates and what was missing last time.",
        "evidence_line": "{state}. Attempts {attempts}, passes {passes}, last pass {last_pass}, last tried {last}.",
        "evidence_reason": "Last time: {reason}",
        "evidence_held": "Held: {held}.",
        "nobody": "No learner's file has been read.",
        "no_attempts": "No attempt that counts.",
        "items": "Checks and questions",
        "items_about": "Of the attempts that came to a submission, how many missed each check or question at the one "
        "that decided.",
        "items_none": "No attempt has come to a submission yet.",
        "items_lesson": "{title}: {attempts} submitted, {passed} passed",
        "item": "Check or question",
        "kind": "Kind",
        "step": "Step",
        "missed": "Missed",
        "missed_of": "{missed} of {asked} ({share} %)",
        "common": "Wrong answer given most",
        "worst_step": "Missed most: step {step}, {title} ({missed} attempts).",
        "kind_check": "check",
        "kind_question": "question",
        "kind_care": "order and care",
        "care_title": "Order and care",
        "flags": "To be looked at",
        "flags_about": "“Held” means: not counted until you have looked at it.",
        "flags_none": "Nothing.",
        "flag_kind": "What",
        "flag_who": "Learner",
        "flag_where": "File and entry",
        "flag_lesson": "Lesson",
        "flag_why": "Why",
        "flag_held": "Held",
        "yes": "yes",
        "no": "no",
        "flag_file": "file not readable",
        "flag_entry": "entry not readable",
        "flag_lesson_": "lesson or version not here",
        "flag_refused": "not a log of its lesson",
        "flag_impossible": "cannot have happened",
        "flag_changed": "changed after scoring",
        "flag_stated": "stated result differs",
        "flag_unstated": "pass without a stated result",
        "flag_times": "moments cannot be",
        "flag_copied": "same log of several people",
        "flag_alike": "same moves of several people",
        "flag_twice": "stands twice",
        "flag_number": "one number, two attempts",
        "flag_name": "one learner, two names",
    }
)


def report_say(key: str, **values: object) -> str:
    """Return a text, filled in."""
    return REPORT_WORDS[key].format(**values)
