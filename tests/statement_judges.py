"""Who judges statements in the tests beside ourselves: a validator of a record store, and a schema written for this.

Contents: `refused_by_store` (Learning Locker's validator, under Node.js), `refused_by_schema`, `cmi5_problems` (the
rules of one cmi5 session, from the statements alone). The schema and the rules are written from the specification's
text, apart from `sim.training.statementcheck` and `sim.training.cmi5`.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

from bandbench.npm_client import pinned_node
from tests.npm_packages import npm_package

__all__ = ["cmi5_problems", "refused_by_schema", "refused_by_store"]

VERBS = "http://adlnet.gov/expapi/verbs/"

_JUDGE = """
const judge = require("@learninglocker/xapi-validation").default;
const statements = JSON.parse(require("fs").readFileSync(0, "utf-8"));
const verdicts = statements.map((statement) => {
  try {
    return judge(statement, ["statement"]).map((warning) => JSON.stringify(warning));
  } catch (error) {
    return [String(error)];
  }
});
process.stdout.write(JSON.stringify(verdicts));
"""


def refused_by_store(statements: Sequence[object], folder: Path) -> list[list[str]]:
    """Return, for each statement, why Learning Locker's validator refuses it; nothing where it does not.

    Parameters
    ----------
    statements : sequence
        Statements, or what is none.
    folder : Path
        Room for links to the packages.
    """
    modules = folder / "node_modules"
    for name in ("@learninglocker/xapi-validation", "lodash", "rulr"):
        link = modules / name
        link.parent.mkdir(parents=True, exist_ok=True)
        if not link.exists():
            link.symlink_to(npm_package(name), target_is_directory=True)
    node = shutil.which("node") or str(pinned_node())
    done = subprocess.run(
        [node, "--preserve-symlinks", "-e", _JUDGE],
        input=json.dumps(statements),
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, "NODE_PATH": str(modules)},
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    verdicts: list[list[str]] = json.loads(done.stdout)
    return verdicts


_TEXT = {"type": "string", "minLength": 1}
_IRI = {"type": "string", "pattern": r"^[A-Za-z][A-Za-z0-9+.-]*:\S+$"}
_UUID = {"type": "string", "pattern": "^[0-9a-fA-F]{8}-([0-9a-fA-F]{4}-){3}[0-9a-fA-F]{12}$"}
_LANGUAGES = {
    "type": "object",
    "minProperties": 1,
    "propertyNames": {"pattern": "^[A-Za-z]{2,8}(-[A-Za-z0-9]+)*$"},
    "additionalProperties": _TEXT,
}
_EXTENSIONS = {"type": "object", "minProperties": 1, "propertyNames": _IRI}


def _object(properties: Mapping[str, Any], *required: str) -> dict[str, Any]:
    return {
        "type": "object",
        "minProperties": 1,
        "properties": properties,
        "required": list(required),
        "additionalProperties": False,
    }


_AGENT = {
    **_object(
        {
            "objectType": {"const": "Agent"},
            "name": _TEXT,
            "mbox": {"type": "string", "pattern": "^mailto:.+@.+$"},
            "mbox_sha1sum": {"type": "string", "pattern": "^[0-9a-fA-F]{40}$"},
            "openid": _IRI,
            "account": _object({"homePage": _IRI, "name": _TEXT}, "homePage", "name"),
        }
    ),
    "oneOf": [{"required": [name]} for name in ("mbox", "mbox_sha1sum", "openid", "account")],
}
_ACTIVITY = _object(
    {
        "objectType": {"const": "Activity"},
        "id": _IRI,
        "definition": _object(
            {
                "name": _LANGUAGES,
                "description": _LANGUAGES,
                "type": _IRI,
                "extensions": _EXTENSIONS,
                "interactionType": {"enum": ["choice", "numeric", "performance", "other"]},
                "choices": {
                    "type": "array",
                    "minItems": 1,
                    "items": _object({"id": _TEXT, "description": _LANGUAGES}, "id"),
                },
            }
        ),
    },
    "id",
)
_ACTIVITIES = {"type": "array", "minItems": 1, "items": _ACTIVITY}
SCHEMA = _object(
    {
        "id": _UUID,
        "actor": _AGENT,
        "verb": _object({"id": _IRI, "display": _LANGUAGES}, "id"),
        "object": _ACTIVITY,
        "result": _object(
            {
                "score": _object({"scaled": {"type": "number", "minimum": -1, "maximum": 1}}),
                "success": {"type": "boolean"},
                "completion": {"type": "boolean"},
                "response": _TEXT,
                # Stores take finer ones than they compare.
                "duration": {"type": "string", "pattern": r"^PT\d+(\.\d+)?S$"},
                "extensions": _EXTENSIONS,
            }
        ),
        "context": _object(
            {
                "registration": _UUID,
                "contextActivities": _object(dict.fromkeys(("parent", "grouping", "category", "other"), _ACTIVITIES)),
                "revision": _TEXT,
                "platform": _TEXT,
                "language": {"type": "string", "pattern": "^[a-z]{2}(-[A-Z]{2})?$"},
                "extensions": _EXTENSIONS,
            }
        ),
        "timestamp": {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z$"},
    },
    "id",
    "actor",
    "verb",
    "object",
    "timestamp",
)
_VALIDATOR = Draft202012Validator(SCHEMA)


def refused_by_schema(statement: object) -> list[str]:
    """Return why the schema refuses a statement."""
    return [f"{error.json_path}: {error.message}" for error in _VALIDATOR.iter_errors(statement)]


_CMI5 = "https://w3id.org/xapi/cmi5/context/"


def cmi5_problems(statements: Sequence[Mapping[str, Any]], launch: Mapping[str, Any]) -> list[str]:
    """Return what breaks the rules of cmi5 in the statements of one session, in the order they were received.

    Parameters
    ----------
    statements : sequence of mapping
        All of the session.
    launch : mapping
        ``actor``, ``registration``, ``activityId``, ``session``, ``mode``, ``masteryScore`` (or None), and ``passed``
        and ``completed``: whether an earlier session of the registration said so.
    """
    problems = []
    defined = []
    for place, one in enumerate(statements):
        where = f"{place} {one['verb']['id'].removeprefix(VERBS)}"
        context = one.get("context", {})
        categories = [entry["id"] for entry in context.get("contextActivities", {}).get("category", [])]
        result = one.get("result", {})
        if one["actor"] != launch["actor"]:
            problems.append(f"{where}: another actor")
        if context.get("registration") != launch["registration"]:
            problems.append(f"{where}: another registration")
        if context.get("extensions", {}).get(f"{_CMI5}extensions/sessionid") != launch["session"]:
            problems.append(f"{where}: another session")
        grouping = [entry["id"] for entry in context["contextActivities"].get("grouping", [])]
        if launch["publisher"] not in grouping:
            problems.append(f"{where}: the template's grouping is not kept")
        is_defined = f"{_CMI5}categories/cmi5" in categories
        judged = "success" in result or "completion" in result
        if (f"{_CMI5}categories/moveon" in categories) != (is_defined and judged):
            problems.append(f"{where}: the category moveon is wrong")
        if not is_defined:
            if launch["mode"] != "Normal":
                problems.append(f"{where}: more than initialized and terminated in mode {launch['mode']}")
            continue
        if one["object"]["id"] != launch["activityId"]:
            problems.append(f"{where}: another object")
        name = one["verb"]["id"].removeprefix(VERBS)
        defined.append(name)
        problems += [f"{where}: {text}" for text in _result_problems(name, one, launch)]
    names = [one["verb"]["id"].removeprefix(VERBS) for one in statements]
    if not names or names[0] != "initialized" or names[-1] != "terminated":
        problems.append("initialized is not first or terminated is not last")
    if len(set(defined)) != len(defined):
        problems.append("a verb stands twice")
    if {"passed", "failed"} <= set(defined) or (launch["passed"] and {"passed", "failed"} & set(defined)):
        problems.append("passed and failed, or either after passed")
    if launch["completed"] and "completed" in defined:
        problems.append("completed twice in the registration")
    if launch["mode"] != "Normal" and set(defined) != {"initialized", "terminated"}:
        problems.append("judged outside mode Normal")
    moments = [datetime.fromisoformat(one["timestamp"].replace("Z", "+00:00")) for one in statements]
    if moments and (min(moments) != moments[0] or max(moments) != moments[-1]):
        problems.append("the times of the others are not between initialized and terminated")
    return problems


def _result_problems(name: str, statement: Mapping[str, Any], launch: Mapping[str, Any]) -> list[str]:
    result = statement.get("result", {})
    said = statement["context"]["extensions"].get(f"{_CMI5}extensions/masteryscore")
    problems = []
    if ("score" in result) and name not in ("passed", "failed"):
        problems.append("a score")
    if result.get("success") is not {"passed": True, "failed": False}.get(name):
        problems.append("success is wrong")
    if result.get("completion") is not {"completed": True}.get(name):
        problems.append("completion is wrong")
    if name in ("terminated", "completed", "passed", "failed") and not re.fullmatch(
        r"PT\d+(\.\d+)?S", result.get("duration", "")
    ):
        problems.append("no duration")
    mastery = launch["masteryScore"]
    if name in ("passed", "failed") and said != mastery:
        problems.append("the masteryScore is not repeated")
    if "score" in result and not 0 <= result["score"]["scaled"] <= 1:
        problems.append("the score is not within 0 to 1")
    if "score" in result and mastery is not None and (result["score"]["scaled"] >= mastery) != (name == "passed"):
        problems.append("the score contradicts the outcome")
    return problems
