"""An attempt inside a launch by a learning system, after cmi5 (Quartz, first edition): which statements go, and how.

Contents: `Launch` with `read_launch` (what the system said), `Cmi5Session` (the rules of one session), `LaunchError`.

Statements of the attempt that cmi5 does not define go as it allows them: with the launch's context and without its
category. Of those that it defines, a session says ``initialized`` first and ``terminated`` last, each once; at most
one of ``passed`` and ``failed``; over all sessions of a registration ``passed`` and ``completed`` once each, and never
``failed`` after ``passed``. So a pass is told at once, but a fail only at the end of the session: until then it may
still be passed.

What the launch asks for decides. A score to be reached (``masteryScore``) makes an attempt passed that reached it with
care, whatever else it lacked; one that broke a rule, or had more help than was permitted, reaches nothing.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sim.errors import BandbenchError
from sim.training.statementcheck import statement_problems
from sim.training.statements import CAREFUL, VERBS, Statement, duration_text, lesson_iri, statement_id, utc_text, verb

__all__ = [
    "CATEGORY",
    "MASTERY_SCORE",
    "MOVE_ON",
    "MOVE_ON_CATEGORY",
    "Cmi5Session",
    "Launch",
    "LaunchError",
    "read_launch",
]

_CMI5 = "https://w3id.org/xapi/cmi5/context/"
CATEGORY = f"{_CMI5}categories/cmi5"
"""Marks the statements that cmi5 defines."""
MOVE_ON_CATEGORY = f"{_CMI5}categories/moveon"
"""Marks those of them with a success or a completion."""
_SESSION = f"{_CMI5}extensions/sessionid"
MASTERY_SCORE = f"{_CMI5}extensions/masteryscore"
"""Extension that repeats the score that counted as a pass."""
_MODES = ("Normal", "Browse", "Review")
MOVE_ON = ("NotApplicable", "Passed", "Completed", "CompletedAndPassed", "CompletedOrPassed")
"""What a learning system may wait for before it counts what was launched as done."""
_AUDIO = {"on": True, "off": False}
_JUDGED = ("passed", "failed", "completed")
# Said once a session; an attempt's own would stand before the first or behind the last of all statements.
_OF_SESSIONS = ("initialized", "terminated")
# Learners that a system launches: kept in this browser under an id of their own, made of the system's account.
_LEARNER = "cmi5-learner"


class LaunchError(BandbenchError):
    """A launch that says too little, or what no launch can say."""


@dataclass(frozen=True)
class Launch:
    """What a learning system said at a launch.

    Attributes
    ----------
    actor : mapping
        The learner, as every statement repeats him or her.
    registration, activity_id : str
        UUID of the enrolment, and the system's identifier of what was launched.
    lesson : str
        Id of the lesson that was launched.
    template : mapping
        What the context of every statement holds.
    session : str
        The system's identifier of this session.
    mode : str
        ``Normal``, ``Browse`` or ``Review``; only the first is judged.
    mastery_score : float or None
        The scaled score from which on an attempt counts as passed, if the system gave one.
    move_on : str
        One of `MOVE_ON`: what the system waits for; empty if it says nothing that can be understood.
    audio : bool or None
        Whether the learner wants sound; None if that was not said.
    passed, completed : bool
        Whether an earlier session of the registration said so.
    opened_at : datetime
        When the bench was ready.
    """

    actor: Mapping[str, Any]
    registration: str
    activity_id: str
    lesson: str
    template: Mapping[str, Any]
    session: str
    mode: str
    mastery_score: float | None
    move_on: str
    audio: bool | None
    passed: bool
    completed: bool
    opened_at: datetime

    @property
    def learner(self) -> str:
        """UUID under which the learner is kept in this browser."""
        account = self.actor["account"]
        return statement_id(_LEARNER, account["homePage"], account["name"])

    @property
    def name(self) -> str:
        """The learner's name, or the account's where the system gives none."""
        return str(self.actor.get("name") or self.actor["account"]["name"])


def read_launch(data: Mapping[str, Any], opened_at: datetime) -> Launch:
    """Return the launch in plain tables.

    Parameters
    ----------
    data : mapping
        ``actor``, ``registration``, ``activity_id``, ``lesson``, ``launch_data`` (the document LMS.LaunchData),
        ``preferences`` (cmi5LearnerPreferences; may be missing), ``passed`` and ``completed``.
    opened_at : datetime
        When the bench was ready.

    Raises
    ------
    LaunchError
        If something is missing or cannot be; names it.
    """
    actor, said = data.get("actor"), data.get("launch_data")
    if not isinstance(actor, Mapping) or not isinstance(actor.get("account"), Mapping):
        raise LaunchError("the learning system names no account of the learner (actor); launch the lesson again there")
    if not isinstance(said, Mapping):
        raise LaunchError("the learning system keeps no LMS.LaunchData for this launch; launch the lesson again there")
    template = said.get("contextTemplate")
    extensions = template.get("extensions") if isinstance(template, Mapping) else None
    session = extensions.get(_SESSION) if isinstance(extensions, Mapping) else None
    if not isinstance(template, Mapping) or not isinstance(session, str) or not session:
        raise LaunchError("LMS.LaunchData: contextTemplate holds no session id, without which nothing can be reported")
    activities = template.get("contextActivities", {})
    groups = activities.values() if isinstance(activities, Mapping) else [None]
    if not all(isinstance(one, Mapping) for group in groups for one in (group if isinstance(group, list) else [group])):
        raise LaunchError("LMS.LaunchData: contextTemplate holds contextActivities that are no activities")
    mode = said.get("launchMode", "Normal")
    if mode not in _MODES:
        raise LaunchError(f"LMS.LaunchData: launchMode is {mode!r}; cmi5 knows {', '.join(_MODES)}")
    mastery = said.get("masteryScore")
    if mastery is not None and (isinstance(mastery, bool) or not isinstance(mastery, int | float)):
        raise LaunchError(f"LMS.LaunchData: masteryScore is {mastery!r}, not a number")
    if mastery is not None and not 0.0 <= mastery <= 1.0:
        raise LaunchError(f"LMS.LaunchData: masteryScore {mastery!r} is outside 0 to 1")
    launch = Launch(
        actor=dict(actor),
        registration=str(data.get("registration", "")),
        activity_id=str(data.get("activity_id", "")),
        lesson=str(data.get("lesson", "")),
        template=dict(template),
        session=session,
        mode=str(mode),
        mastery_score=None if mastery is None else float(mastery),
        move_on=str(said["moveOn"]) if said.get("moveOn") in MOVE_ON else "",
        audio=_sound_wanted(data.get("preferences")),
        passed=bool(data.get("passed")),
        completed=bool(data.get("completed")),
        opened_at=opened_at,
    )
    problems = statement_problems(Cmi5Session(launch).opening())
    if problems:
        raise LaunchError(f"what the learning system said makes no statement: {problems[0]}")
    return launch


def _sound_wanted(preferences: object) -> bool | None:
    """Return whether the learner wants sound; a wish that cannot be understood stops no launch."""
    said = preferences.get("audioPreference") if isinstance(preferences, Mapping) else None
    return _AUDIO.get(said) if isinstance(said, str) else None


class Cmi5Session:
    """Turns the statements of attempts into those of one launch.

    Parameters
    ----------
    launch : Launch
        See there.
    """

    def __init__(self, launch: Launch) -> None:
        self.launch = launch
        self._passed = launch.passed
        self._completed = launch.completed
        self._told: set[str] = set()
        self._failed: Statement | None = None

    def opening(self) -> Statement:
        """Return the first statement of the session."""
        return self._defined("initialized", self.launch.opened_at)

    def translated(self, statements: Iterable[Statement]) -> list[Statement]:
        """Return what of an attempt's statements goes to the learning system now, in their order.

        The same statements may be given again; those that were told before are left out.
        """
        if self.launch.mode != "Normal":
            return []
        told = []
        for statement in statements:
            if statement["id"] in self._told:
                continue
            self._told.add(statement["id"])
            name = statement["verb"]["id"].removeprefix(VERBS)
            if name in _OF_SESSIONS:
                continue
            launched = statement["object"]["id"] == lesson_iri(self.launch.lesson)
            if not launched or name not in _JUDGED:
                told.append(self._allowed(statement))
            elif name == "failed" and not self._reached(statement):
                self._failed = statement
            elif name in ("passed", "failed"):
                told += self._pass(statement)
            elif name == "completed" and not self._completed:
                self._completed = True
                told.append(self._judged(statement))
        return told

    def reaches(self, statements: Iterable[Statement]) -> list[Statement]:
        """Return those that say an attempt failed though it reached the score that the launch asks for."""
        return [one for one in statements if one["verb"]["id"] == f"{VERBS}failed" and self._reached(one)]

    def _reached(self, failed: Statement) -> bool:
        mastery, result = self.launch.mastery_score, failed["result"]
        careful = bool(result.get("extensions", {}).get(CAREFUL))
        return mastery is not None and careful and bool(result["score"]["scaled"] >= mastery)

    def _pass(self, statement: Statement) -> list[Statement]:
        """Return that it is passed, if nobody said so yet; by a score that was reached, that is all there is to do."""
        if self._passed:
            return []
        self._passed, self._failed = True, None
        told = [self._judged({**statement, "verb": verb("passed"), "result": {**statement["result"], "success": True}})]
        if statement["verb"]["id"] == f"{VERBS}failed" and not self._completed:
            self._completed = True
            result = {"completion": True, "duration": statement["result"]["duration"]}
            own_id = statement_id(statement["id"], "completed")
            told.append(self._judged({**statement, "id": own_id, "verb": verb("completed"), "result": result}))
        return told

    def closing(self, ended_at: datetime) -> list[Statement]:
        """Return what ends the session at a moment: that it was failed, if it was, and ``terminated``.

        The page repeats the last one with its own clock if the session ends while Python has no time left.
        """
        last = self._defined("terminated", ended_at)
        last["result"] = {"duration": duration_text((ended_at - self.launch.opened_at).total_seconds())}
        if self._failed is None or self._passed:
            return [last]
        return [self._judged(self._failed), last]

    def _context(self, statement: Statement) -> dict[str, Any]:
        """Return a statement's context with all that the launch asks for; nothing of the system's is overwritten."""
        context = dict(statement.get("context", {}))
        template = copy.deepcopy(dict(self.launch.template))
        activities = {key: list(value) for key, value in context.get("contextActivities", {}).items()}
        for key, value in template.pop("contextActivities", {}).items():
            # Version 1.0 lets one activity stand without its list.
            own = activities.setdefault(key, [])
            own += [one for one in (value if isinstance(value, list) else [value]) if one not in own]
        extensions = {**context.get("extensions", {}), **template.pop("extensions", {})}
        activities["category"] = [
            one for one in activities.get("category", []) if one.get("id") not in (CATEGORY, MOVE_ON_CATEGORY)
        ]
        if not activities["category"]:
            del activities["category"]
        return {
            **context,
            **template,
            "registration": self.launch.registration,
            "contextActivities": activities,
            "extensions": extensions,
        }

    def _allowed(self, statement: Statement) -> Statement:
        return {**statement, "actor": dict(self.launch.actor), "context": self._context(statement)}

    def _categorised(self, statement: Statement, *categories: str) -> Statement:
        said = self._allowed(statement)
        activities = said["context"]["contextActivities"]
        marks = [{"objectType": "Activity", "id": category} for category in categories]
        activities["category"] = [*activities.get("category", []), *marks]
        return said

    def _defined(self, name: str, moment: datetime) -> Statement:
        statement: Statement = {
            "id": statement_id(self.launch.session, self.launch.registration, name),
            "verb": verb(name),
            "object": {"objectType": "Activity", "id": self.launch.activity_id},
            "timestamp": utc_text(moment),
        }
        return self._categorised(statement, CATEGORY)

    def _judged(self, statement: Statement) -> Statement:
        """Return passed, failed or completed as cmi5 has it."""
        name = statement["verb"]["id"].removeprefix(VERBS)
        result = dict(statement["result"])
        mastery = self.launch.mastery_score
        if name == "failed" and mastery is not None and result["score"]["scaled"] >= mastery:
            # Enough was right and it failed all the same, by the order of work, the care taken or the help that was
            # used: the share of what was right would contradict the outcome, and is left out.
            del result["score"]
        said = self._categorised({**statement, "result": result}, CATEGORY, MOVE_ON_CATEGORY)
        said["object"] = {"objectType": "Activity", "id": self.launch.activity_id}
        if mastery is not None and name != "completed":
            said["context"]["extensions"][MASTERY_SCORE] = mastery
        return said
