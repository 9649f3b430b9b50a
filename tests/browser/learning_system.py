"""A learning system for the tests: serves an unpacked package as carelessly as a real one may, and plays its run time.

Contents: `LearningSystem`. The run time is the library scorm-again's, in a page around the package's frame; what it
holds is the test's to read, and comes back at the next visit as a learning system would bring it.
"""

from __future__ import annotations

import io
import threading
import zipfile
from collections.abc import Mapping
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, ClassVar

from playwright.sync_api import BrowserContext, Frame, Page

from tests.browser.bench_driver import WAIT_S, BenchPage
from tests.browser.records_driver import RecordsPage
from tests.browser.watching import START_LIMIT_MS, WatchedPage
from tests.npm_packages import npm_package

__all__ = ["BLOCKED", "LearningSystem", "Visit"]

# Below the server's root, and with a character that has to be escaped in addresses.
PLACE = "school/course 42/content"

BLOCKED = """
indexedDB.open = () => { throw new DOMException("no", "SecurityError"); };
const refuse = { get() { throw new DOMException("no", "SecurityError"); } };
for (const name of ["localStorage", "sessionStorage", "caches"]) Object.defineProperty(globalThis, name, refuse);
Object.defineProperty(Navigator.prototype, "serviceWorker", refuse);
"""
"""Run before a page's own scripts: a browser that keeps nothing for pages in frames."""

_PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><title>Learning system</title>
<link rel="icon" href="data:,">
<style>html, body { margin: 0; height: 100%; } iframe { border: 0; width: 100%; height: 100%; }</style>
<script src="/scorm12.js"></script>
<script>
globalThis.begin = (known, address) => {
  globalThis.calls = [];
  const api = new Scorm12API({ autocommit: false, logLevel: 5, mastery_override: true });
  api.loadFromJSON(known);
  for (const name of ["LMSInitialize", "LMSSetValue", "LMSCommit", "LMSFinish"]) {
    api.on(name, (element, value) => { calls.push([name, element ?? "", value ?? ""]); });
  }
  api.on("CommitError", () => { calls.push(["CommitError", "", ""]); });
  globalThis.API = api;
  const frame = document.createElement("iframe");
  frame.sandbox = "allow-scripts allow-same-origin";
  frame.src = address;
  document.body.append(frame);
};
globalThis.held = () => JSON.parse(JSON.stringify(API.cmi));
globalThis.end = () => document.querySelector("iframe").remove();
</script></html>"""


class _Handler(SimpleHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    # Whether files may be read by pages of any origin, as some systems have it.
    shared: ClassVar[bool] = False
    # No compression, no policies, and no idea of what WebAssembly or an archive of Python is.
    extensions_map: ClassVar[dict[str, str]] = {  # type: ignore[misc]
        "": "application/octet-stream", ".html": "text/html", ".js": "application/x-javascript", ".css": "text/css",
        ".png": "image/png", ".json": "text/plain",
    }  # fmt: skip

    def log_message(self, *_: object) -> None:
        """Keep quiet."""

    def end_headers(self) -> None:
        if self.shared:
            self.send_header("Access-Control-Allow-Origin", "*")
        super().end_headers()


class LearningSystem:
    """A served package and what the system knows of one learner's work in it.

    Parameters
    ----------
    folder : Path
        An empty one, to unpack into.
    package : bytes
        The zip.
    """

    def __init__(self, folder: Path, package: bytes) -> None:
        with zipfile.ZipFile(io.BytesIO(package)) as archive:
            archive.extractall(folder / PLACE)
        (folder / "index.html").write_text(_PAGE, "utf-8")
        (folder / "scorm12.js").write_bytes((npm_package("scorm-again") / "dist" / "scorm12.min.js").read_bytes())

        class Here(_Handler):
            shared = False

            def __init__(self, *words: Any) -> None:
                super().__init__(*words, directory=str(folder))

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Here)
        self._server.daemon_threads = True
        self._handler = Here
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/"
        self.start = f"{self.url}{PLACE.replace(' ', '%20')}/index.html"
        self.kept: dict[str, Any] = {}

    def frame_without_origin(self, context: BrowserContext, shared: bool) -> Frame:
        """Return the package's frame in a sandbox that takes its origin away.

        Parameters
        ----------
        context : BrowserContext
            Where it is opened.
        shared : bool
            Whether the server lets any page read its files: then the scripts run, though not what they need.
        """
        self._handler.shared = shared
        outer = context.new_page()
        outer.set_default_timeout(1000.0 * WAIT_S)
        outer.goto(self.url)
        outer.evaluate(
            """(address) => {
              const frame = document.createElement("iframe");
              frame.sandbox = "allow-scripts";
              frame.src = address;
              document.body.append(frame);
            }""",
            self.start,
        )
        frame = outer.query_selector("iframe")
        assert frame is not None
        inner = frame.content_frame()
        assert inner is not None
        return inner

    def close(self) -> None:
        """Serve no longer."""
        self._server.shutdown()
        self._server.server_close()

    def visit(self, context: BrowserContext, init_script: str = "", **launch: str) -> Visit:
        """Open the package for the learner as a system does who came back, or comes for the first time.

        Parameters
        ----------
        context : BrowserContext
            Whose storage the page has.
        init_script : str
            Run before anything of any page's.
        launch : str
            ``lesson_mode``, ``student_name``, ...: elements of ``cmi.core`` to be set.
        """
        known: dict[str, Any] = {"cmi": {"suspend_data": self.kept.get("suspend_data", ""), "launch_data": ""}}
        core = self.kept.get("core", {})
        known["cmi"]["core"] = {
            "student_id": "ines.7",
            "student_name": "Muster, Ines",
            "credit": "credit",
            "lesson_mode": "normal",
            "lesson_status": core.get("lesson_status", "not attempted"),
            "lesson_location": core.get("lesson_location", ""),
            "entry": "ab-initio" if not core else "resume" if core["exit"] == "suspend" else "",
            "total_time": core.get("total_time", "0000:00:00.00"),
            **({"score": core["score"]} if core.get("score") else {}),
            **launch,
        }
        for name in ("objectives", "interactions"):
            if self.kept.get(name):
                known["cmi"][name] = self.kept[name]
        return Visit(self, context, known, init_script)


class _Watched(WatchedPage):
    def _note(self, kind: str, text: str) -> None:
        # About the system's own frame; every learning system that uses a sandbox lives with it.
        if "can escape its sandboxing" not in text:
            super()._note(kind, text)


class _Inside:
    """A frame with the keyboard, mouse and workers of its page."""

    def __init__(self, frame: Frame, page: Page) -> None:
        self._frame, self._page = frame, page

    def __getattr__(self, name: str) -> Any:
        return getattr(self._frame if hasattr(self._frame, name) else self._page, name)


class Visit(RecordsPage):
    """The bench in the learning system's frame, opened, with the whole bench to be used in it."""

    def __init__(self, system: LearningSystem, context: BrowserContext, known: Mapping[str, Any], init: str) -> None:
        self.system = system
        self.made: list[list[str]] = []
        self.outer = context.new_page()
        self.outer.set_default_timeout(1000.0 * WAIT_S)
        if init:
            self.outer.add_init_script(init)
        self.watched = _Watched(self.outer, system.url)
        self.outer.goto(system.url)
        self.outer.evaluate("([known, address]) => begin(known, address)", [known, system.start])
        frame = self.outer.query_selector("iframe")
        assert frame is not None
        inner = frame.content_frame()
        assert inner is not None
        inner.wait_for_selector("body:is([data-state=running], [data-state=failed])", timeout=START_LIMIT_MS)
        assert inner.evaluate("document.body.dataset.state") == "running", inner.inner_text("#trouble")
        self.page = _Inside(inner, self.outer)  # type: ignore[assignment]
        self.watched.page = self.page
        self.bench = BenchPage(self.watched)
        self.part = self.page.locator(".part.learner")
        self.bench.until(lambda: self.line != "", "the line about the visit")

    @property
    def line(self) -> str:
        """What the page says about the visit."""
        return (self.page.locator("#visit").text_content() or "").strip()

    @property
    def held(self) -> dict[str, Any]:
        """What the system's run time holds now."""
        return dict(self.outer.evaluate("held()"))

    @property
    def calls(self) -> list[list[str]]:
        """Calls so far that were taken: name, element, value."""
        return list(self.outer.evaluate("calls"))

    def leave(self) -> dict[str, Any]:
        """Close the frame as the learner would; return what the system then keeps."""
        self.outer.evaluate("end()")
        kept, self.made = self.held, self.calls
        # A visit is begun once and ended once, whatever comes between.
        names = [name for name, _, _ in self.made]
        assert (names[0], names[-1]) == ("LMSInitialize", "LMSFinish")
        assert (names.count("LMSInitialize"), names.count("LMSFinish")) == (1, 1)
        assert "CommitError" not in names
        self.system.kept = kept
        self.outer.close()
        return kept
