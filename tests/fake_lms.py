"""A learning system with a record store, as small as the tests of reporting need it: launches, listens, refuses.

Contents: `FakeLms`. It refuses what a record store must (by the schema of `tests.statement_judges`, not by our own
check), gives a token once, answers a browser of another origin, and can be told to fail.
"""

from __future__ import annotations

import base64
import json
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from tests.statement_judges import refused_by_schema

__all__ = ["FakeLms", "running_lms"]

CMI5 = "https://w3id.org/xapi/cmi5/context/"
TOKEN = base64.b64encode(b"one launch:only").decode()
USER, SECRET = "school", "pässword"


@dataclass
class FakeLms:
    """What the learning system knows and was told.

    Attributes
    ----------
    address : str
        Its origin.
    statements : list
        What was taken, in the order it came.
    requests : list
        Method and path of each request but preflights.
    refused : list
        Why statements were refused.
    failing : list of int
        How the next posts of statements are answered instead.
    """

    address: str = ""
    statements: list[dict[str, Any]] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    versions: set[str] = field(default_factory=set)
    refused: list[str] = field(default_factory=list)
    failing: list[int] = field(default_factory=list)
    tokens: dict[str, int] = field(default_factory=dict)
    mode: str = "Normal"
    actor: dict[str, Any] = field(
        default_factory=lambda: {
            "objectType": "Agent",
            "name": "Mara Example",
            "account": {"homePage": "https://lms.school.example", "name": "4711"},
        }
    )
    registration: str = "760e3480-ba55-4991-94b0-01820dbd23a2"
    session: str = "session-1"
    publisher: str = "https://bandbench.example/lessons/tracking-and-guide"

    @property
    def activity(self) -> str:
        """What the lesson is called here."""
        return f"{self.address}/activities/8"

    def launch_address(self, page: str, slash: str = "") -> str:
        """Return the address of a page with the parameters of a launch, in no particular order.

        The endpoint stands without its last slash, as some systems have it, unless one is asked for.
        """
        self.tokens[self.session] = 0
        values = {
            "registration": self.registration,
            "fetch": f"{self.address}/token?session={self.session}",
            "activityId": self.activity,
            "actor": json.dumps(self.actor),
            "endpoint": f"{self.address}/xapi{slash}",
        }
        return f"{page}{'&' if '?' in page else '?'}{urlencode(values)}"

    def judged(self) -> dict[str, Any]:
        """Return the launch as `cmi5_problems` wants it."""
        return {
            "actor": self.actor,
            "registration": self.registration,
            "activityId": self.activity,
            "session": self.session,
            "mode": self.mode,
            "masteryScore": 1,
            "passed": False,
            "completed": False,
            "publisher": self.publisher,
        }

    def launch_data(self) -> dict[str, Any]:
        """Return the document LMS.LaunchData."""
        return {
            "contextTemplate": {
                "contextActivities": {"grouping": [{"id": self.publisher}]},
                "extensions": {f"{CMI5}extensions/sessionid": self.session},
            },
            "launchMode": self.mode,
            "moveOn": "Passed",
            "masteryScore": 1,
            "returnURL": f"{self.address}/back",
        }

    def take(self, statements: list[dict[str, Any]]) -> tuple[int, str]:
        """Take all of them or none; return status and answer."""
        for one in statements:
            refused = refused_by_schema(one)
            if refused:
                self.refused += refused
                return 400, refused[0]
        known = {one["id"]: one for one in self.statements}
        if any(one["id"] in known and known[one["id"]] != one for one in statements):
            return 409, "another statement has this id"
        self.statements += [one for one in statements if one["id"] not in known]
        return 200, json.dumps([one["id"] for one in statements])


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    @property
    def lms(self) -> FakeLms:
        return self.server.lms  # type: ignore[attr-defined, no-any-return]

    def log_message(self, *_: object) -> None:
        """Keep quiet."""

    def _answer(self, status: int, body: str = "", kind: str = "application/json") -> None:
        content = body.encode()
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Access-Control-Allow-Origin", "*")
        self.send_header("Access-Control-Allow-Methods", "GET, POST, PUT")
        self.send_header("Access-Control-Allow-Headers", "Authorization, Content-Type, X-Experience-API-Version")
        self.send_header("Access-Control-Expose-Headers", "Retry-After")
        self.end_headers()
        self.wfile.write(content)

    def do_OPTIONS(self) -> None:
        self._answer(204)

    def do_GET(self) -> None:
        path, values = self._noted()
        if path == "/back":
            self._answer(200, "<!doctype html><title>Back</title><h1>Back at school</h1>", "text/html")
        elif not self._authorised():
            self._answer(401, "{}")
        elif path == "/xapi/activities/state":
            asked = (values.get("stateId"), values.get("activityId"), values.get("registration"))
            known = asked == ("LMS.LaunchData", self.lms.activity, self.lms.registration)
            mine = json.loads(values.get("agent", "null")) == self.lms.actor
            self._answer(200, json.dumps(self.lms.launch_data())) if known and mine else self._answer(404, "{}")
        elif path == "/xapi/agents/profile":
            self._answer(200, json.dumps({"languagePreference": "en-GB", "audioPreference": "off"}))
        elif path == "/xapi/statements":
            found = [one for one in self.lms.statements if one["verb"]["id"] == values.get("verb")]
            self._answer(200, json.dumps({"statements": found, "more": ""}))
        else:
            self._answer(404, "{}")

    def do_POST(self) -> None:
        path, values = self._noted()
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        if path == "/token":
            session = values.get("session", "")
            self.lms.tokens[session] = self.lms.tokens.get(session, 0) + 1
            once = self.lms.tokens[session] == 1
            failure = {"error-code": "1", "error-text": "The token has been given."}
            self._answer(200, json.dumps({"auth-token": TOKEN} if once else failure))
        elif path != "/xapi/statements":
            self._answer(404, "{}")
        elif self.lms.failing:
            self._answer(self.lms.failing.pop(0), "{}")
        elif not self._authorised():
            self._answer(401, "{}")
        else:
            self.lms.versions.add(self.headers.get("X-Experience-API-Version", ""))
            data = json.loads(body)
            self._answer(*self.lms.take(data if isinstance(data, list) else [data]))

    def do_PUT(self) -> None:
        _, values = self._noted()
        statement = json.loads(self.rfile.read(int(self.headers.get("Content-Length") or 0)))
        status, _ = self.lms.take([{"id": values["statementId"], **statement}])
        self._answer(204 if status == 200 else status)

    def _noted(self) -> tuple[str, Mapping[str, str]]:
        parts = urlsplit(self.path)
        self.lms.requests.append(f"{self.command} {parts.path}")
        return parts.path, {key: value[0] for key, value in parse_qs(parts.query).items()}

    def _authorised(self) -> bool:
        known = {TOKEN, base64.b64encode(f"{USER}:{SECRET}".encode()).decode()}
        return self.headers.get("Authorization", "").removeprefix("Basic ") in known


@contextmanager
def running_lms() -> Iterator[FakeLms]:
    """Run a learning system on an origin of its own."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Handler)
    server.daemon_threads = True
    lms = FakeLms(f"http://127.0.0.1:{server.server_address[1]}")
    server.lms = lms  # type: ignore[attr-defined]
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield lms
    finally:
        server.shutdown()
        server.server_close()
